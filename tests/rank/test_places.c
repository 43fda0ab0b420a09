/* What samples of a place and its cleanings say of a lot, by the shipped rules of the slicer: one
 * complaint, a dirty swab before the lot, cleanings between the two or missed, a swab after it. */
#include "fixture.h"

enum { LOT_DAY = 24, SWABBED_DAYS_BEFORE = 3, DIRTY = 400 };

/* How it went in the days before the lot and after it. */
struct story {
    int cleanings; /* of the three between the dirty swab and the lot, the others were missed */
    bool dirty;    /* the last swab before the lot */
    int next;      /* colonies of a swab after it; 0: none was taken */
    bool cleaned_after; /* before that */
};

static void log_row(struct fixture *f, int quantity, int day, int hour, int value)
{
    fixture_sql(f, "INSERT INTO plantlog VALUES('slicer', %d, '', '1', %lld, %d, NULL)", quantity,
                (long long)AT(day, hour), value);
}

static void write_log(struct fixture *f, const struct story *story)
{
    enum { SWAB = 3, CLEANED = 4 };
    const int swabbed = LOT_DAY - SWABBED_DAYS_BEFORE;
    for (int day = 0; day <= LOT_DAY - 1; day++) {
        int missed = day >= swabbed && day - swabbed < SWABBED_DAYS_BEFORE - story->cleanings;
        if (day <= swabbed)
            log_row(f, SWAB, day, 6, day == swabbed && story->dirty ? DIRTY : 4 + day % 3);
        log_row(f, CLEANED, day, 20, !missed);
    }
    if (story->next)
        log_row(f, SWAB, LOT_DAY + 2, 6, story->next);
    if (story->cleaned_after)
        log_row(f, CLEANED, LOT_DAY, 20, 1);
}

/* What one item says of the slicer, and how likely that is. */
struct said {
    double p, swab, next, missed;
};

static struct said rank_story(const struct triage *rules, const struct story *story)
{
    struct fixture f;
    struct error err = {0};
    struct case_rank ranked;
    struct said said = {NAN, NAN, NAN, NAN};
    fixture_open(&f);
    fixture_plant(&f, LOT_DAY + 6);
    write_log(&f, story);
    struct triage *triage = triage_apart(rules); /* what it keeps is of one store */
    int64_t id = fixture_complain(&f, "mold", fixture_lot(LOT_DAY, 1, 2), AT(LOT_DAY + 6, 0),
                                  "{\"observed\":{\"where\":\"cut-face\"}}");
    if (case_rank_read(triage, f.store, id, &ranked, &err))
        fail_msg("%s", err.text);
    int at = rank_find(ranked.rank, rules_cause(triage->rules, "contamination-slicer"));
    const struct rank_cause *slicer = &ranked.rank->causes[at];
    said.p = slicer->probability;
    for (int i = 0; i < slicer->item_count; i++) {
        const char *fact = triage->rules->facts[slicer->items[i].evidence->fact].name.text;
        double bits = slicer->items[i].bits;
        if (strcmp(fact, "slicer.swab_cfu") == 0)
            said.swab = bits;
        if (strcmp(fact, "slicer.swab_cfu.next") == 0)
            said.next = bits;
        if (strcmp(fact, "slicer.cleaning_missed") == 0)
            said.missed = bits;
    }
    case_rank_clear(&ranked);
    triage_free(triage);
    fixture_close(&f);
    return said;
}

/* Each cleaning since leaves less of it: the place's habit, no more its state. */
static void a_dirty_swab_fades_with_each_cleaning(void **state)
{
    struct triage *triage = *state;
    const struct said now = rank_story(triage, &(struct story){.cleanings = 0, .dirty = true});
    const struct said once = rank_story(triage, &(struct story){.cleanings = 1, .dirty = true});
    const struct said thrice = rank_story(triage, &(struct story){.cleanings = 3, .dirty = true});
    const struct said never = rank_story(triage, &(struct story){.cleanings = 3});
    assert_true(now.swab > 4);
    assert_near(once.swab, .8 * now.swab, 1e-9);
    assert_near(thrice.swab, .512 * now.swab, 1e-9);
    assert_true(now.p > .97); /* dirty when the lot passed, as far as is known */
    assert_true(once.p < now.p && thrice.p < once.p - .2);
    assert_true(thrice.p > never.p); /* it is known to have been so */
}

/* The first swab after the lot speaks for itself, and not in the older one's stead. */
static void a_clean_swab_after_the_lot_takes_back(void **state)
{
    const struct story old = {.cleanings = 2, .dirty = true};
    struct story clean = old, dirty = old, cleaned = old;
    struct triage *triage = *state;
    clean.next = cleaned.next = 5;
    cleaned.cleaned_after = true;
    dirty.next = DIRTY;
    const struct said alone = rank_story(triage, &old), later = rank_story(triage, &clean);
    const struct said both = rank_story(triage, &dirty), after = rank_story(triage, &cleaned);
    assert_near(later.swab, alone.swab, 1e-9);
    assert_true(later.next < -.3 && later.p < alone.p);
    assert_near(after.next, .8 * later.next, 1e-9); /* clean since it was cleaned: says less */
    assert_true(after.p > later.p && after.p < alone.p);
    assert_true(both.p > alone.p);
}

/* What was missed would have shown where it was sampled since. */
static void a_missed_cleaning_says_nothing_beside_a_clean_swab(void **state)
{
    struct triage *triage = *state;
    const struct said dirty = rank_story(triage, &(struct story){.cleanings = 0, .dirty = true});
    const struct said clean = rank_story(triage, &(struct story){.cleanings = 0});
    const struct said done = rank_story(triage, &(struct story){.cleanings = 3});
    assert_true(dirty.missed > 2);
    assert_near(clean.missed, 0, 1e-9);
    assert_true(clean.p < .5);
    assert_true(done.p <= clean.p);
}

static int load_rules(void **state)
{
    return triage_new(ODDLOAF_SOURCE_DIR "/rules", NULL, fixture_print_fault, NULL,
                      (struct triage **)state, NULL);
}

static int drop_rules(void **state)
{
    triage_free(*state);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_dirty_swab_fades_with_each_cleaning),
        cmocka_unit_test(a_clean_swab_after_the_lot_takes_back),
        cmocka_unit_test(a_missed_cleaning_says_nothing_beside_a_clean_swab),
    };
    return cmocka_run_group_tests(tests, load_rules, drop_rules);
}
