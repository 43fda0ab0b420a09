/* The stores that the complaints of a rise name: those that count for it and are most likely of its
 * cause, each complaint once, stores by how often they are named. */
#include "failing.h"
#include "patterns/week_stores.h"
#include "plant.h"

#define WHEN "2026-11-19T09:00:00-05:00"

/* About a lot of its own, so that each is a case. */
static void complain(struct plant *p, const char *line, const char *store, double share)
{
    int64_t lot = plant_lot(p, line, 1, "A", plant_time("2026-11-16T04:00:00-05:00"), 1000);
    struct complaint_new c = {.received_ms = plant_time(WHEN),
                              .logged_ms = plant_time(WHEN),
                              .channel = "phone",
                              .symptom = "mold",
                              .store = store,
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 1,
                              .body = "{}",
                              .lots = {.state = LOT_EXACT, .count = 1, .lot = {{lot, 0.95}}}};
    plant_rank(p, plant_log(p, &c).case_id, "hot-store", share, "other", 1 - share);
}

static struct pattern_scope all_of(int symptom)
{
    static const struct when_span ANY = {0, INT64_MAX};
    return (struct pattern_scope){.plant = "",
                                  .line = "",
                                  .not_line = "",
                                  .symptom = symptom_name(symptom),
                                  .cause = "",
                                  .span = ANY,
                                  .until_ms = INT64_MAX};
}

static json_t *stores_of(struct plant *p, const char *line, const char *cause, struct error *err)
{
    const struct week_level led = {
        .cut = cuts_find("line"), .level = (char *)(intptr_t)line, .plant = ""};
    const struct week_level of = {
        .cut = cuts_find("cause"), .level = (char *)(intptr_t)cause, .plant = ""};
    const struct pattern_scope scope = all_of(SYMPTOM_MOLD);
    json_t *told = NULL;
    int rc = week_stores(p->store, &scope, &(struct week_stores_of){&led, &of}, &told, err);
    assert_true((rc == 0) == (told != NULL));
    return told;
}

static void assert_told(struct plant *p, const char *line, const char *cause, const char *expected)
{
    struct error err = {0};
    json_t *told = stores_of(p, line, cause, &err);
    char *text = json_dumps(told, JSON_COMPACT);
    assert_string_equal(text, expected);
    free(text);
    json_decref(told);
}

static void the_most_named_come_first(void **state)
{
    static const struct {
        const char *store;
        int times;
    } NAMED[] = {{"Ash", 2}, {"Birch", 4}, {"Cedar", 1}, {"Elm", 3}, {"Fir", 2}, {NULL, 3}};
    struct plant *p = plant_new("America/New_York");
    (void)state;
    for (size_t i = 0; i < COUNT_OF(NAMED); i++)
        for (int n = 0; n < NAMED[i].times; n++)
            complain(p, "1", NAMED[i].store, 0.9);
    assert_told(p, "1", "hot-store",
                "[{\"store\":\"Birch\",\"complaints\":4},{\"store\":\"Elm\",\"complaints\":3},"
                "{\"store\":\"Ash\",\"complaints\":2}]");
    assert_told(p, "2", "hot-store", "[]");
    plant_free(p);
}

/* A complaint counts that is of both, half the probability is enough to be most likely its. */
static void a_complaint_counts_that_is_of_both(void **state)
{
    struct plant *p = plant_new("America/New_York");
    (void)state;
    complain(p, "1", "Ash", 0.5);
    complain(p, "1", "Ash", 0.5);
    complain(p, "1", "Birch", 0.499);
    complain(p, "1", "Birch", 0.499);
    complain(p, "2", "Elm", 0.9);
    complain(p, "2", "Elm", 0.9);
    assert_told(p, "1", "hot-store", "[{\"store\":\"Ash\",\"complaints\":2}]");
    assert_told(p, "1", "other",
                "[{\"store\":\"Ash\",\"complaints\":2},{\"store\":\"Birch\",\"complaints\":2}]");
    assert_told(p, "2", "hot-store", "[{\"store\":\"Elm\",\"complaints\":2}]");
    assert_told(p, "2", "other", "[]");
    plant_free(p);
}

static int ask(void *arg, struct error *err)
{
    json_t *told = stores_of(arg, "1", "hot-store", err);
    json_decref(told);
    return told ? 0 : (int)err->code;
}

static void what_cannot_be_read_is_said(void **state)
{
    struct plant *p = plant_new("America/New_York");
    (void)state;
    complain(p, "1", "Ash", 0.9);
    failing_check(p->store, ask, p, "the stores of a rise", 0);
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_most_named_come_first),
        cmocka_unit_test(a_complaint_counts_that_is_of_both),
        cmocka_unit_test(what_cannot_be_read_is_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
