/* With something done otherwise: as if it had been read so; what would have held does hold, and
 * just short of it does not; what speaks against a value is said. */
#include "../rank/fixture.h"
#include "tell/whatif.h"

struct plant {
    struct fixture f;
    struct triage *triage;
    struct limits *limits;
    int64_t lot;
};

static void open_plant(struct plant *p)
{
    static const char *const RULES[] = {"causes/packed-hot.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    struct error err = {0};
    fixture_open(&p->f);
    fixture_plant(&p->f, 30);
    p->lot = fixture_lot(20, 1, 0);
    for (size_t i = 0; i < sizeof RULES / sizeof RULES[0]; i++)
        fixture_copy(&p->f, "tests/rank/rules", RULES[i]);
    p->triage = fixture_triage(&p->f);
    if (limits_load(ODDLOAF_SOURCE_DIR "/rules/limits.json", NULL, NULL, &p->limits, &err))
        fail_msg("%s", err.text);
}

static void close_plant(struct plant *p)
{
    limits_free(p->limits);
    triage_free(p->triage);
    fixture_close(&p->f);
}

static json_t *told(struct plant *p, struct whatif asked)
{
    struct error err = {0};
    json_t *answer = NULL;
    asked.lot_id = asked.lot_id ? asked.lot_id : p->lot;
    asked.limits = p->limits;
    if (whatif_tell(p->triage, p->f.store, &asked, &answer, &err))
        fail_msg("%s", err.text);
    return answer;
}

/* `member` of the way at that place, as {"low","typical","high"}. */
static json_t *span_of(const json_t *answer, size_t way, const char *member)
{
    return json_object_get(json_array_get(json_object_get(answer, "ways"), way), member);
}

static double typical(const json_t *answer, size_t way, const char *member)
{
    return json_number_value(json_object_get(span_of(answer, way, member), "typical"));
}

static double without_mold(const json_t *answer, size_t way)
{
    return json_number_value(span_of(answer, way, "without_mold"));
}

/* A pack that molds before it may be sold any longer: said of each way, with that day. */
static void short_of_its_shelf_life_is_said(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    json_t *answer = told(&p, (struct whatif){0});
    int days = (int)floor(typical(answer, 0, "mold_free_days"));
    json_decref(answer);
    for (int life = days; life <= days + 1; life++) {
        fixture_sql(&p.f, "UPDATE product SET shelf_life_days = %d", life);
        fixture_records_changed(&p.f);
        answer = told(&p, (struct whatif){0});
        const json_t *said = span_of(answer, 0, "short_of");
        assert_true(life > days ? json_integer_value(said) == life : json_is_null(said));
        json_decref(answer);
    }
    close_plant(&p);
}

/* Of another lot of the same hour and product, which was read so. */
static void a_change_is_as_if_it_had_been_read(void **state)
{
    static const struct {
        const char *quantity;
        int id;
        double value;
    } ROWS[] = {{"core_at_pack_c", 1, 47}, {"crumb_ph", 2, 5.1}, {"inhibitor_pct_flour", 5, 0.15}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct plant p;
        open_plant(&p);
        json_t *changed = told(
            &p, (struct whatif){.changes = {{ROWS[i].quantity, ROWS[i].value}}, .change_count = 1});
        fixture_sql(&p.f, "DELETE FROM reading WHERE lot_id = %d AND quantity_id = %d", (int)p.lot,
                    ROWS[i].id);
        fixture_sql(&p.f, "INSERT INTO reading VALUES(%d, %d, %lld, '', '', %.3f, NULL)",
                    (int)p.lot, ROWS[i].id, (long long)AT(20, 0), ROWS[i].value);
        fixture_records_changed(&p.f);
        json_t *read = told(&p, (struct whatif){0});
        assert_int_equal(json_array_size(json_object_get(changed, "ways")), 3);
        assert_int_equal(json_array_size(json_object_get(read, "ways")), 2);
        assert_true(
            json_equal(span_of(changed, 2, "mold_free_days"), span_of(read, 0, "mold_free_days")));
        assert_true(json_equal(span_of(changed, 2, "odor"), span_of(read, 0, "odor")));
        assert_false(json_equal(span_of(changed, 2, "mold_free_days"),
                                span_of(changed, 0, "mold_free_days")));
        json_decref(changed);
        json_decref(read);
        close_plant(&p);
    }
}

/* The day at which three packs in four are without mold as made, asked for more. */
static void what_would_have_held_holds_and_no_less(void **state)
{
    struct plant p;
    int tried = 0;
    (void)state;
    open_plant(&p);
    const struct whatif asked = {
        .changes = {{"core_at_pack_c", 48}}, .change_count = 1, .hold_days = 5, .share = 0.9};
    json_t *answer = told(&p, asked), *lever;
    assert_true(without_mold(answer, 2) < 0.9);
    size_t i;
    json_array_foreach(json_object_get(json_object_get(answer, "hold"), "levers"), i, lever)
    {
        const char *quantity = json_string_value(json_object_get(lever, "quantity"));
        double needs = json_number_value(json_object_get(lever, "needs"));
        double now = json_number_value(json_object_get(lever, "now"));
        if (!quantity || !json_is_number(json_object_get(lever, "needs")))
            continue;
        for (int side = -1; side <= 1; side += 2) {
            struct whatif at = asked;
            bool same = strcmp(quantity, at.changes[0].quantity) == 0;
            double away = (now - needs) * 0.01 * side; /* a hundredth short, a hundredth past */
            at.changes[same ? 0 : at.change_count++] =
                (struct model_change){quantity, needs + away};
            json_t *there = told(&p, at);
            if ((without_mold(there, 2) >= 0.9) != (side < 0))
                fail_msg("%s at %g (needs %g): %g", quantity, needs + away, needs,
                         without_mold(there, 2));
            json_decref(there);
        }
        tried++;
    }
    assert_true(tried >= 2);
    json_decref(answer);
    close_plant(&p);
}

static bool is_lever(const json_t *answer, const char *quantity)
{
    size_t i, times = 0;
    json_t *lever;
    json_array_foreach(json_object_get(json_object_get(answer, "hold"), "levers"), i, lever)
    {
        const char *of = json_string_value(json_object_get(lever, "quantity"));
        times += of && strcmp(of, quantity) == 0;
    }
    assert_true(times < 2);
    return times;
}

/* Of a lot with another preserver and without the plant's own, nobody asks how much of the own it
 * would have taken. */
static void the_doses_looked_at_are_those_of_the_lot(void **state)
{
    static const struct {
        struct model_change sorbate;
        bool own_is_read, own, other;
    } ROWS[] = {{{"potassium_sorbate_pct_flour", 0.05}, false, false, true},
                {{"potassium_sorbate_pct_flour", 0.05}, true, true, true},
                {{"crumb_ph", 5.4}, true, true, false}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct plant p;
        open_plant(&p);
        if (!ROWS[i].own_is_read)
            fixture_sql(&p.f, "DELETE FROM reading WHERE quantity_id = 5; DELETE FROM target WHERE "
                              "quantity_id = 5");
        fixture_records_changed(&p.f);
        json_t *answer =
            told(&p, (struct whatif){.changes = {{"core_at_pack_c", 48}, ROWS[i].sorbate},
                                     .change_count = 2,
                                     .hold_days = 5,
                                     .share = 0.9});
        assert_int_equal(is_lever(answer, "inhibitor_pct_flour"), ROWS[i].own);
        assert_int_equal(is_lever(answer, "potassium_sorbate_pct_flour"), ROWS[i].other);
        assert_true(is_lever(answer, "core_at_pack_c"));
        json_decref(answer);
        close_plant(&p);
    }
}

static void where_nothing_holds_it_is_the_contamination(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    json_t *answer = told(&p, (struct whatif){.of_product = true, .hold_days = 40, .share = 0.99});
    json_t *hold = json_object_get(answer, "hold");
    json_t *dose = json_array_get(json_object_get(hold, "levers"), 1);
    assert_true(json_is_null(json_object_get(answer, "lot")));
    assert_int_equal(json_array_size(json_object_get(answer, "ways")), 1);
    assert_non_null(strstr(json_string_value(json_object_get(hold, "says")), "fewer spores"));
    assert_true(json_is_false(json_object_get(dose, "good")));
    json_decref(answer);
    close_plant(&p);
}

/* Nothing here reads as if packing hot did no harm: what the models leave out of it is said, of no
 * lot that was packed cold. */
static void packing_hot_is_never_cleared(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_sql(&p.f, "UPDATE reading SET value = 39.4 WHERE lot_id = %d AND quantity_id = 1",
                (int)p.lot);
    fixture_records_changed(&p.f);
    json_t *answer = told(&p, (struct whatif){.hold_days = 40, .share = 0.99});
    const char *heat = json_string_value(json_object_get(answer, "heat"));
    const char *says = json_string_value(json_object_get(json_object_get(answer, "hold"), "says"));
    assert_non_null(heat);
    assert_non_null(strstr(heat, "Packed at 39.4 °C"));
    assert_non_null(strstr(heat, "do not hold drops that stay on crust and film"));
    assert_null(strstr(says, "what must change is the contamination"));
    assert_true(json_is_false(json_object_get(answer, "calibrated")));
    json_decref(answer);
    fixture_sql(&p.f, "UPDATE reading SET value = 22 WHERE lot_id = %d AND quantity_id = 1",
                (int)p.lot);
    fixture_records_changed(&p.f);
    answer = told(&p, (struct whatif){.hold_days = 40, .share = 0.99});
    assert_true(json_is_null(json_object_get(answer, "heat")));
    json_decref(answer);
    close_plant(&p);
}

/* Who asks for a core tells how warm it is packed; what is at its target is not sent there. */
static void heat_is_told_of_the_core_asked_for(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    static const struct {
        double core_c;
        const char *packed;
        bool above;
    } ROWS[] = {{45, "Packed at 45.0 °C", true}, {38, "Packed at 38.0 °C", false}};
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        json_t *answer = told(&p, (struct whatif){.changes = {{"core_at_pack_c", ROWS[i].core_c}},
                                                  .change_count = 1});
        const char *heat = json_string_value(json_object_get(answer, "heat"));
        assert_non_null(heat);
        assert_non_null(strstr(heat, ROWS[i].packed));
        assert_int_equal(strstr(heat, "Bring it to its target") != NULL, ROWS[i].above);
        json_decref(answer);
    }
    close_plant(&p);
}

/* A dose that holds, and is past what the European Union allows in such bread: 3000 mg/kg as
 * propionic acid (Regulation (EC) 1333/2008 Annex II 07.1). */
static void what_speaks_against_a_dose_is_said(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    json_t *answer = told(&p, (struct whatif){.hold_days = 9, .share = 0.95});
    json_t *levers = json_object_get(json_object_get(answer, "hold"), "levers");
    json_t *dose = json_array_get(levers, 1);
    const char *against = json_string_value(json_object_get(dose, "against"));
    assert_string_equal(json_string_value(json_object_get(dose, "quantity")),
                        "inhibitor_pct_flour");
    assert_true(json_number_value(json_object_get(dose, "needs")) > 0.57);
    assert_non_null(strstr(against, "above 3000"));
    assert_non_null(strstr(against, "smelled"));
    assert_true(json_is_false(json_object_get(dose, "good")));
    json_decref(answer);
    close_plant(&p);
}

static void what_followed_from_a_changed_thing_is_forgotten(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_sql(&p.f, "INSERT INTO quantity VALUES(7, 'propionate_ppm')");
    fixture_sql(&p.f, "INSERT INTO reading VALUES(%d, 7, %lld, '', '', 200, NULL)", (int)p.lot,
                (long long)AT(20, 1));
    fixture_records_changed(&p.f);
    json_t *low =
        told(&p, (struct whatif){.changes = {{"inhibitor_pct_flour", 0.1}}, .change_count = 1});
    json_t *high =
        told(&p, (struct whatif){.changes = {{"inhibitor_pct_flour", 0.4}}, .change_count = 1});
    assert_true(typical(high, 2, "odor") > 2 * typical(low, 2, "odor"));
    json_decref(low);
    json_decref(high);
    close_plant(&p);
}

static void what_is_not_known_is_not_said(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_sql(&p.f, "DELETE FROM target WHERE quantity_id = 5; DELETE FROM reading WHERE "
                      "quantity_id = 5");
    fixture_records_changed(&p.f);
    json_t *answer = told(&p, (struct whatif){.hold_days = 9, .share = 0.9});
    json_t *hold = json_object_get(answer, "hold");
    assert_true(json_is_false(json_object_get(span_of(answer, 0, "mold_free_days"), "valid")));
    assert_true(json_is_null(span_of(answer, 0, "without_mold")));
    assert_int_equal(json_array_size(json_object_get(hold, "levers")), 0);
    assert_non_null(strstr(json_string_value(json_object_get(hold, "says")), "cannot be said"));
    json_decref(answer);
    close_plant(&p);
}

static bool says(const json_t *list, const char *what)
{
    size_t i;
    const json_t *text;
    json_array_foreach(list, i, text)
    {
        if (strstr(json_string_value(text), what))
            return true;
    }
    return false;
}

/* Nobody asked how long it is to hold. */
static void a_dose_above_the_law_is_said_unasked(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    struct whatif asked = {.change_count = 1,
                           .changes = {{.quantity = "inhibitor_pct_flour", .value = 0.9}}};
    json_t *answer = told(&p, asked), *law = json_object_get(answer, "law");
    assert_true(says(law, "ABOVE THE LIMIT as changed"));
    assert_false(says(law, "ABOVE THE LIMIT as made"));
    assert_true(says(law, "3000 mg/kg of propionic acid, 2000 of sorbic acid"));
    assert_true(says(law, "European Union"));
    assert_true(says(law, "Local law and a licensed person decide"));
    json_decref(answer);
    asked.changes[0].value = 0.3;
    answer = told(&p, asked);
    assert_false(says(json_object_get(answer, "law"), "ABOVE"));
    assert_true(says(json_object_get(answer, "law"), "Local law"));
    json_decref(answer);
    asked.changes[0] = (struct model_change){"sodium_benzoate_pct_flour", 0.1};
    answer = told(&p, asked);
    assert_true(says(json_object_get(answer, "law"), "NO LIMIT IS ON RECORD as changed for"));
    json_decref(answer);
    fixture_sql(&p.f, "UPDATE product SET family = 'crispbread'");
    fixture_records_changed(&p.f);
    answer = told(&p, (struct whatif){0});
    assert_true(says(json_object_get(answer, "law"), "No limit is on record for products of"));
    json_decref(answer);
    close_plant(&p);
}

/* Of a company in two countries: what is too much at one plant may not be at the other. */
static void the_limit_is_that_of_the_lots_plant(void **state)
{
    static const char LIMITS[] =
        "{\"limits\":[{\"family\":\"pan-bread\",\"propionic_mg_kg\":500,\"what\":\"here\","
        "\"source\":\"s\"},{\"plant\":\"north\",\"family\":\"pan-bread\",\"propionic_mg_kg\":9000,"
        "\"what\":\"there\",\"source\":\"s\"}]}";
    const struct whatif asked = {.change_count = 1,
                                 .changes = {{.quantity = "inhibitor_pct_flour", .value = 0.9}}};
    struct plant p;
    char path[] = "/tmp/oddloaf-limits-XXXXXX";
    (void)state;
    open_plant(&p);
    int fd = mkstemp(path);
    assert_int_equal(write(fd, LIMITS, strlen(LIMITS)), (ssize_t)strlen(LIMITS));
    close(fd);
    limits_free(p.limits);
    assert_int_equal(limits_load(path, NULL, NULL, &p.limits, NULL), 0);
    unlink(path);
    for (int there = 0; there < 2; there++) {
        json_t *answer = told(&p, asked), *law = json_object_get(answer, "law");
        assert_int_equal(says(law, "ABOVE THE LIMIT as changed"), !there);
        assert_true(says(law, there ? "that of there: at most 9000" : "that of here: at most 500"));
        json_decref(answer);
        fixture_sql(&p.f, "UPDATE lot SET plant = 'north'");
        fixture_records_changed(&p.f);
    }
    close_plant(&p);
}

/* What is taken for so is said where a number rests on it. */
static void what_the_models_assume_is_said(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    json_t *answer = told(&p, (struct whatif){0});
    assert_int_equal(json_array_size(json_object_get(answer, "assumes")), 0);
    json_decref(answer);
    answer = told(&p, (struct whatif){.hold_days = 8, .share = 0.9});
    assert_true(says(json_object_get(answer, "assumes"), "spores that can grow"));
    json_decref(answer);
    fixture_sql(&p.f, "UPDATE product SET name = 'Country Sourdough', family = 'bun'");
    fixture_records_changed(&p.f);
    answer = told(&p, (struct whatif){0});
    assert_true(says(json_object_get(answer, "assumes"), "sourdough"));
    assert_true(says(json_object_get(answer, "assumes"), "'bun' firm is not known"));
    json_decref(answer);
    answer =
        told(&p, (struct whatif){.change_count = 1,
                                 .changes = {{.quantity = "lactic_acid_pct_flour", .value = 0.3}}});
    assert_false(says(json_object_get(answer, "assumes"), "sourdough"));
    json_decref(answer);
    close_plant(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_dose_above_the_law_is_said_unasked),
        cmocka_unit_test(the_limit_is_that_of_the_lots_plant),
        cmocka_unit_test(what_the_models_assume_is_said),
        cmocka_unit_test(short_of_its_shelf_life_is_said),
        cmocka_unit_test(a_change_is_as_if_it_had_been_read),
        cmocka_unit_test(what_would_have_held_holds_and_no_less),
        cmocka_unit_test(where_nothing_holds_it_is_the_contamination),
        cmocka_unit_test(the_doses_looked_at_are_those_of_the_lot),
        cmocka_unit_test(packing_hot_is_never_cleared),
        cmocka_unit_test(heat_is_told_of_the_core_asked_for),
        cmocka_unit_test(what_speaks_against_a_dose_is_said),
        cmocka_unit_test(what_followed_from_a_changed_thing_is_forgotten),
        cmocka_unit_test(what_is_not_known_is_not_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
