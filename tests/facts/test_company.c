/* Company evidence on a small plant: what is counted, what is expected, as of when. */
#include "check.h"
#include "facts/company.h"
#include "facts/company_history.h"
#include "facts/company_shares.h"
#include "facts/facts.h"
#include "fixture.h"
#include "stats/shrink.h"

/* A plant and what is kept of it. */
struct scene {
    struct fixture *f;
    struct company *company;
    const struct rules *rules;
    struct cache *lots;
};

static struct company_view *view_of(const struct scene *s, int64_t lot_id, int symptom,
                                    int64_t as_of_ms)
{
    struct error err = {0};
    const struct lot_record *record;
    struct company_view *view;
    struct lot_records records;
    assert_int_equal(lot_record_all(s->f->store, s->rules, fixture_utc(), &records, &err), 0);
    assert_int_equal(lot_record_get(s->lots, &records, lot_id, &record, &err), 0);
    const struct company_around around = {s->rules, symptom, record, as_of_ms};
    if (company_view_open(s->company, &records, &around, &view, &err))
        fail_msg("%s", err.text);
    lot_record_unref(record);
    return view;
}

static struct company_factor factor_of(const struct scene *s, int64_t lot_id, int64_t as_of_ms,
                                       int factor)
{
    struct company_view *view = view_of(s, lot_id, SYMPTOM_MOLD, as_of_ms);
    struct company_factor found =
        factor == FACTOR_MOLD ? company_of_lot_and_line(view) : company_of_factor(view, factor);
    company_view_close(view);
    return found;
}

/* Thirty days of the fixture's plant and rules with no cause but the background. */
static struct rules *small_plant(struct fixture *f)
{
    struct rules *rules = NULL;
    fixture_open(f);
    fixture_plant(f, 30);
    fixture_file(f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"n\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    assert_int_equal(rules_load(f->rules, fixture_print_fault, NULL, &rules, NULL), 0);
    return rules;
}

static void test_bits(void **state)
{
    (void)state;
    /* negative binomial marginals: more than expected speaks for, as expected against */
    assert_true(company_bits(10, 1) > 5);
    assert_true(company_bits(1, 10) < -1);
    assert_true(company_bits(0, 0.01) < 0 && company_bits(0, 0.01) > -0.1);
    assert_near(company_bits(0, 0), 0, 1e-12);
    for (int n = 2; n < 20; n++)
        assert_true(company_bits(n + 1, 2) > company_bits(n, 2));
    /* against the definition, by the negative binomial distribution of scipy.stats.nbinom:
     * nbinom.pmf(5, 2, .4/(.4+1)) / nbinom.pmf(5, 8, 8/(8+1)), log2 */
    double p = exp(lgamma(7) - lgamma(2) - lgamma(6) + 2 * log(.4 / 1.4) + 5 * log(1 / 1.4));
    double q = exp(lgamma(13) - lgamma(8) - lgamma(6) + 8 * log(8.0 / 9) + 5 * log(1.0 / 9));
    assert_near(company_bits(5, 1), log2(p / q), 1e-9);
}

/* Several factors explain one excess: order stays whatever the size, the best one speaks, a rival
 * less the further it falls short; what is no excess is left alone. */
static void test_beside(void **state)
{
    (void)state;
    for (int best = 1; best < 40; best++) {
        double own = company_beside(best, best, 4, 0.4);
        assert_true(own <= 4 && own <= best);
        for (int rival = best - 1; rival > -3; rival--)
            assert_true(company_beside(rival, best, 4, 0.4) <
                        company_beside(rival + 1, best, 4, 0.4));
    }
    assert_near(company_beside(1.5, 1.5, 4, 0.4), 1.5, 1e-12);
    assert_near(company_beside(-1, 0, 4, 0.4), -1, 1e-12);
    assert_near(company_beside(30, 30, 4, 0.4), 4, 1e-5);
    /* at 10 bits against 12 both would stand at a hard limit of 4 */
    assert_near(company_beside(12, 12, 4, 0.4) - company_beside(10, 12, 4, 0.4), 0.8, 1e-12);
}

static void test_counts(void **state)
{
    struct fixture f;
    (void)state;
    struct rules *rules = small_plant(&f);
    struct cache *lots = cache_new(64);
    struct company *company = company_new();
    const struct scene scene = {&f, company, rules, lots};
    int64_t own = fixture_lot(12, 1, 2);
    /* film lot F1-2 is used on line 1 from day 10 to 14 */
    fixture_complain(&f, "mold", fixture_lot(10, 1, 0), AT(16, 10), "{}");
    fixture_complain(&f, "mold", fixture_lot(11, 1, 1), AT(17, 10), "{}");
    fixture_complain(&f, "mold", fixture_lot(13, 1, 1), AT(19, 10), "{}");
    fixture_complain(&f, "mold", fixture_lot(12, 2, 1), AT(18, 10), "{}");
    fixture_complain(&f, "staling", fixture_lot(13, 1, 3), AT(19, 10), "{}");
    fixture_complain(&f, "mold", own, AT(18, 12), "{}");
    fixture_complain(&f, "mold", own, AT(19, 12), "{}");
    struct company_factor film = factor_of(&scene, own, AT(20, 0), FACTOR_FILM);
    assert_near(film.observed, 3, 1e-12);
    assert_int_equal(film.lots, 5 * 4 - 1);
    assert_true(film.expected > 0 && film.bits > 0);
    struct company_factor line = factor_of(&scene, own, AT(20, 0), FACTOR_LINE);
    /* of the extents that are tried the likeliest is shown: it leaves out the complaint two days
     * off */
    assert_near(line.observed, 2, 1e-12);
    assert_true(line.bits > 0 && line.lots < film.lots);
    struct company_factor plant = factor_of(&scene, own, AT(20, 0), FACTOR_PLANT);
    assert_near(plant.observed, 3, 1e-12);
    struct company_factor lot = factor_of(&scene, own, AT(20, 0), FACTOR_LOT);
    assert_near(lot.observed, 1, 1e-12); /* the case's first complaint is not company */
    /* earlier, less was known: complaints received later do not count */
    film = factor_of(&scene, own, AT(18, 0), FACTOR_FILM);
    assert_near(film.observed, 2, 1e-12);
    /* less reporting time passed, less is expected */
    struct company_factor later = factor_of(&scene, own, AT(28, 0), FACTOR_FILM);
    assert_true(later.expected > film.expected);
    /* for a case about something else: the line with the lot's own */
    struct company_factor mold = factor_of(&scene, own, AT(20, 0), FACTOR_MOLD);
    assert_near(mold.observed, line.observed + 2, 1e-12);
    assert_int_equal(mold.lots, line.lots + 1);
    /* a new complaint is seen at once, although days are kept in memory */
    fixture_complain(&f, "mold", fixture_lot(14, 1, 0), AT(19, 20), "{}");
    film = factor_of(&scene, own, AT(20, 0), FACTOR_FILM);
    assert_near(film.observed, 4, 1e-12);
    cache_free(lots);
    company_free(company);
    rules_free(rules);
    fixture_close(&f);
}

/* A trouble of one day among quiet ones: trying extents sees it better than the whole span would.
 */
static void test_extents(void **state)
{
    struct fixture f;
    (void)state;
    struct rules *rules = small_plant(&f);
    struct cache *lots = cache_new(64);
    struct company *company = company_new();
    const struct scene scene = {&f, company, rules, lots};
    int64_t own = fixture_lot(12, 1, 2);
    for (int line = 1; line <= 2; line++)
        for (int n = 0; n < 4; n++)
            fixture_complain(&f, "mold", fixture_lot(12, line, n), AT(18, 10), "{}");
    struct company_view *view = view_of(&scene, own, SYMPTOM_MOLD, AT(20, 0));
    struct company_factor plant = company_of_factor(view, FACTOR_PLANT);
    struct company_factor whole =
        company_of_window(view, "", (struct when_span){AT(8, 0), AT(17, 0)});
    assert_near(plant.observed, whole.observed, 1e-12);
    assert_true(plant.expected < whole.expected / 2);
    assert_true(plant.bits > whole.bits + 1);
    /* with the lot's own, which has one of the eight */
    struct company_factor line = company_of_factor(view, FACTOR_LINE);
    struct company_factor with_own = company_of_lot_and_line(view);
    assert_int_equal(with_own.lots, line.lots + 1);
    assert_near(with_own.observed, line.observed + 1, 1e-12);
    company_view_close(view);
    /* nobody complains of line 2's last lot or of any around it: the widest extent is shown */
    view = view_of(&scene, fixture_lot(29, 2, 3), SYMPTOM_STALING, AT(40, 0));
    line = company_of_factor(view, FACTOR_LINE);
    whole = company_of_window(view, "2", (struct when_span){AT(25, 0), AT(30, 0)});
    assert_near(line.observed, 0, 1e-12);
    assert_true(line.lots >= 12 && line.lots <= whole.lots);
    assert_true(line.bits < 0 && line.bits >= whole.bits);
    company_view_close(view);
    cache_free(lots);
    company_free(company);
    rules_free(rules);
    fixture_close(&f);
}

/* A lot moved to another case takes its complaint along. */
static void test_recount(void **state)
{
    struct fixture f;
    struct error err = {0};
    int64_t before, after;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 3);
    const struct company_count_scope scope = {"mold", DAY0, DAY0 + 3};
    assert_int_equal(store_begin(f.store, &err), 0);
    assert_int_equal(company_count(f.store, 5, "mold", AT(4, 0), 1, &err), 0);
    assert_int_equal(company_count_days_serial(f.store, &scope, &before, &err), 0);
    assert_int_equal(company_count(f.store, 5, "mold", AT(4, 0), -1, &err), 0);
    assert_int_equal(company_count_days_serial(f.store, &scope, &after, &err), 0);
    assert_true(after > before);
    assert_int_equal(company_count(f.store, 5, "mold", AT(4, 0), -1, &err), 0); /* nothing there */
    assert_int_equal(company_count(f.store, 9999, "mold", AT(4, 0), 1, &err), ERROR_NOT_FOUND);
    fixture_close(&f);
}

/* A supplier's material is in so many lots that they are gone through day by day: who shares it is
 * the same as if each had been looked up. */
static void test_supplier(void **state)
{
    struct fixture f;
    (void)state;
    struct rules *rules = small_plant(&f);
    struct cache *lots = cache_new(64);
    struct company *company = company_new();
    const struct scene scene = {&f, company, rules, lots};
    int64_t own = fixture_lot(12, 1, 2);
    fixture_sql(&f, "UPDATE material_use SET supplier = 'Acme' WHERE lot_id IN (SELECT id FROM lot"
                    " WHERE line = '1')");
    fixture_complain(&f, "mold", fixture_lot(3, 1, 0), AT(9, 0), "{}");
    fixture_complain(&f, "mold", fixture_lot(3, 2, 0), AT(9, 0), "{}");
    struct company_factor by = factor_of(&scene, own, AT(29, 23), FACTOR_SUPPLIER);
    /* days 0 to 26 are in the window, four lots of line 1 each */
    assert_int_equal(by.lots, 27 * 4 - 1);
    assert_near(by.observed, 1, 1e-12);
    struct company_factor film = factor_of(&scene, own, AT(29, 23), FACTOR_FILM);
    assert_int_equal(film.lots, 5 * 4 - 1);
    assert_near(film.observed, 0, 1e-12);
    company_free(company);
    cache_free(lots);
    rules_free(rules);
    fixture_close(&f);
}

/* Where no other lot was packed within hours on the line, nothing was there to speak for or against
 * the line; it stood as explained better by the film. */
static void test_nothing_to_see(void **state)
{
    struct fixture f;
    (void)state;
    struct rules *rules = small_plant(&f);
    struct cache *lots = cache_new(64);
    struct company *company = company_new();
    const struct scene scene = {&f, company, rules, lots};
    int64_t own = fixture_lot(12, 1, 2);
    assert_true(factor_of(&scene, own, AT(20, 0), FACTOR_LINE_HOUR).known);
    fixture_sql(&f,
                "UPDATE lot SET packed_from_ms = packed_from_ms - 8 * %lld, packed_to_ms = "
                "packed_to_ms - 8 * %lld WHERE line = '1' AND id < %lld; UPDATE lot SET "
                "packed_from_ms = packed_from_ms + 8 * %lld, packed_to_ms = packed_to_ms + 8 * "
                "%lld WHERE line = '1' AND id > %lld",
                (long long)WHEN_HOUR_MS, (long long)WHEN_HOUR_MS, (long long)own,
                (long long)WHEN_HOUR_MS, (long long)WHEN_HOUR_MS, (long long)own);
    fixture_records_changed(&f);
    struct company *anew = company_new();
    struct cache *again = cache_new(64);
    const struct scene alone = {&f, anew, rules, again};
    struct company_factor hours = factor_of(&alone, own, AT(20, 0), FACTOR_LINE_HOUR);
    assert_int_equal(hours.lots, 0);
    assert_false(hours.known);
    assert_true(factor_of(&alone, own, AT(20, 0), FACTOR_FILM).known);
    cache_free(again);
    company_free(anew);
    cache_free(lots);
    company_free(company);
    rules_free(rules);
    fixture_close(&f);
}

/* What is usual of lots packed seventy days later than lot 1, told as of then. */
static struct company_history history_of(const struct scene *s)
{
    struct error err = {0};
    const struct lot_record *record;
    const struct company_history *history;
    struct lot_records records;
    struct cache *kept = cache_new(4), *lots = cache_new(4);
    assert_int_equal(lot_record_all(s->f->store, s->rules, fixture_utc(), &records, &err), 0);
    assert_int_equal(lot_record_get(lots, &records, 1, &record, &err), 0);
    const struct company_around around = {s->rules, SYMPTOM_MOLD, record, AT(80, 0)};
    assert_int_equal(company_history_get(kept, &records, &around, &history, &err), 0);
    struct company_history told = *history;
    cache_object_unref((void *)history);
    lot_record_unref(record);
    cache_free(kept);
    cache_free(lots);
    return told;
}

/* How late complaints of old lots came stands beside the shipped delays by their number, the day
 * itself included; what came before the packing or weeks too late tells nothing of it. */
static void test_history(void **state)
{
    struct fixture f;
    (void)state;
    struct rules *rules = small_plant(&f);
    const struct scene scene = {&f, NULL, rules, NULL};
    fixture_sql(&f, "UPDATE lot SET packed_from_ms = %lld, packed_to_ms = %lld WHERE id = 1",
                (long long)AT(70, 1), (long long)AT(70, 2));
    fixture_records_changed(&f);
    const struct company_history none = history_of(&scene);
    static const int DELAYS[] = {0, 0, 2, 2, 2, 5, 36, 37, -1};
    static const int TURNS[] = {1, 1, 2, 2, 2, 2, 3, 3, 3};
    for (size_t i = 0; i < COUNT_OF(DELAYS); i++)
        fixture_complain(&f, "mold", fixture_lot(10, 1, TURNS[i]), AT(10 + DELAYS[i], 1), "{}");
    const struct company_history told = history_of(&scene);
    assert_near(none.complaints, 0, 1e-12);
    assert_near(told.complaints, 2 + 3 + 1, 1e-12); /* of a lot three at most */
    assert_near(told.units, none.units, 1e-9);
    assert_true(none.units >= 5000 * 8 && none.units <= 5000 * 8 * 30);
    for (int d = 0; d < HISTORY_DELAY_DAYS; d++) {
        int so_far = 2 + 3 * (d >= 2) + (d >= 5);
        assert_near(told.reported[d] * (7 + 30), so_far + 30 * none.reported[d], 1e-9);
        assert_true(none.reported[d] > 0 || d == 0);
    }
    assert_near(told.reported[HISTORY_DELAY_DAYS], 1, 1e-12);
    /* between two days a share of both, before the first a share of it */
    assert_near(company_history_reported(&told, 0), 0, 1e-12);
    assert_near(company_history_reported(&told, 0.25), told.reported[0] / 2, 1e-12);
    assert_near(company_history_reported(&told, 0.5), told.reported[0], 1e-12);
    assert_near(company_history_reported(&told, 2.75),
                0.75 * told.reported[2] + 0.25 * told.reported[3], 1e-12);
    assert_near(company_history_reported(&told, 36.25), 0.25 * told.reported[35] + 0.75, 1e-12);
    assert_near(company_history_reported(&told, 36.5), 1, 1e-12);
    rules_free(rules);
    fixture_close(&f);
}

/* Whichever stands first, last or between is found, and none that is not there. */
static void test_levels_are_found(void **state)
{
    struct company_shares_level levels[] = {
        {.key = 5, .factor = 1}, {.key = 9, .factor = 1}, {.key = 2, .factor = 3}};
    static const struct company_shares_level OTHERS[] = {{.key = 4, .factor = 1},
                                                         {.key = 7, .factor = 1},
                                                         {.key = 2, .factor = 2},
                                                         {.key = 3, .factor = 3},
                                                         {.key = 5, .factor = 4}};
    struct company_shares shares = {.levels = levels};
    (void)state;
    for (int count = 0; count <= (int)COUNT_OF(levels); count++) {
        shares.level_count = count;
        for (int i = 0; i < (int)COUNT_OF(levels); i++)
            assert_ptr_equal(company_shares_find(&shares, levels[i].factor, levels[i].key),
                             i < count ? &levels[i] : NULL);
        for (size_t i = 0; i < COUNT_OF(OTHERS); i++)
            assert_null(company_shares_find(&shares, OTHERS[i].factor, OTHERS[i].key));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_to_see), cmocka_unit_test(test_bits),
        cmocka_unit_test(test_beside),         cmocka_unit_test(test_levels_are_found),
        cmocka_unit_test(test_counts),         cmocka_unit_test(test_supplier),
        cmocka_unit_test(test_extents),        cmocka_unit_test(test_recount),
        cmocka_unit_test(test_history),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
