/* What a cause does to a lot: read once, then numbers. */
#include "fixture.h"
#include "rules/change.h"
#include <math.h>
#include <string.h>

/* The document is closed: a change is numbers, once read. */
static struct change read_well(const char *text)
{
    struct doc doc = {.report = fixture_print_fault};
    struct change change;
    assert_int_equal(doc_parse(&doc, "change", text, strlen(text)), 0);
    struct doc_place top = doc_top(&doc);
    assert_true(change_read(&top, &change));
    doc_close(&doc);
    return change;
}

/* A lot packed hot and softer than specified, kept at 30 °C for a day. */
static void lots(struct lot_conditions *made, struct lot_conditions *specified)
{
    lot_conditions_unknown(made);
    lot_conditions_unknown(specified);
    specified->core_at_pack_c = 38;
    specified->cool_min = 90;
    specified->dose_count = 1;
    specified->doses[0].dose_pct_flour = 0.3;
    made->core_at_pack_c = 47;
    made->crumb_ph = 5.9;
    made->segments[0] = (struct mold_segment){24, 30};
    made->segment_count = 1;
    made->dose_count = 1;
    made->doses_known = true;
    made->doses[0].dose_pct_flour = 0.1;
}

static void test_applied(void **state)
{
    struct lot_conditions made, specified, changed;
    (void)state;
    lots(&made, &specified);
    change_apply(NULL, &made, &specified, &changed);
    assert_memory_equal(&changed, &specified, sizeof changed);

    struct change change = read_well("{\"recorded\":[\"packing\",\"dose\",\"storage\"],"
                                     "\"times\":{\"dose\":0.5,\"spores\":20,\"softener\":0.3}}");
    change_apply(&change, &made, &specified, &changed);
    assert_near(changed.core_at_pack_c, 47, 1e-12);
    assert_near(changed.cool_min, 90, 1e-12); /* made does not know it */
    assert_true(isnan(changed.crumb_ph));     /* not of that part */
    assert_near(changed.doses[0].dose_pct_flour, 0.05, 1e-12);
    assert_near(changed.spores_factor, 20, 1e-12);
    assert_near(changed.softener_ratio, 0.3, 1e-12);
    assert_near(changed.segments[0].temp_c, 30, 1e-12);

    change = read_well("{\"set\":{\"crumb_ph\":5.5},\"kept_c\":-18}");
    change_apply(&change, &made, &specified, &changed);
    assert_near(changed.core_at_pack_c, 38, 1e-12);
    assert_near(changed.crumb_ph, 5.5, 1e-12);
    assert_near(changed.doses[0].dose_pct_flour, 0.3, 1e-12);
    assert_int_equal(changed.segment_count, 1);
    assert_near(changed.segments[0].temp_c, -18, 1e-12);
}

/* The same change in other words predicts the same value: it is one fact. */
static void test_equal(void **state)
{
    static const struct {
        const char *a, *b;
        bool equal;
    } PAIRS[] = {
        {"{\"recorded\":[\"ph\",\"water\"]}", "{\"recorded\":[\"water\",\"ph\",\"ph\"]}", true},
        {"{\"times\":{\"dose\":1}}", "{}", true},
        {"{\"kept_c\":4}", "{\"kept_c\":4.0}", true},
        {"{\"kept_c\":4}", "{}", false},
        {"{\"set\":{\"leaks\":1}}", "{\"set\":{\"crumb_ph\":1}}", false},
        {"{\"recorded\":[\"ph\"]}", "{\"recorded\":[\"dose\"]}", false},
        {"{\"times\":{\"spores\":25}}", "{\"times\":{\"dose\":25}}", false},
    };
    (void)state;
    for (size_t i = 0; i < sizeof PAIRS / sizeof PAIRS[0]; i++) {
        struct change a = read_well(PAIRS[i].a), b = read_well(PAIRS[i].b);
        assert_int_equal(change_equal(&a, &b), PAIRS[i].equal);
    }
}

static void test_faults(void **state)
{
    static const struct {
        const char *text, *field, *says;
    } BAD[] = {
        {"{\"paint\":1}", "/paint", "no such member"},
        {"{\"recorded\":\"ph\"}", "/recorded", "a list"},
        {"{\"recorded\":[\"ph\",3]}", "/recorded/1", "no such part"},
        {"{\"set\":{\"mood\":1}}", "/set/mood", "no such thing"},
        {"{\"set\":{\"leaks\":-1}}", "/set/leaks", "0 or more"},
        {"{\"times\":{\"dose\":\"half\"}}", "/times/dose", "0 or more"},
        {"{\"times\":3}", "/times", "an object"},
        {"{\"kept_c\":61}", "/kept_c", "-60 to 60"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct doc doc = {0};
        struct change change;
        assert_int_equal(doc_parse(&doc, "change", BAD[i].text, strlen(BAD[i].text)), 0);
        struct doc_place top = doc_top(&doc);
        assert_false(change_read(&top, &change));
        assert_int_equal(doc.fault_count, 1);
        assert_non_null(strstr(doc.first.text, BAD[i].says));
        assert_string_equal(doc.first.field, BAD[i].field);
        doc_close(&doc);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_applied),
        cmocka_unit_test(test_equal),
        cmocka_unit_test(test_faults),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
