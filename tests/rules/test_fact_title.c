/* Every fact that the shipped rules use has words of its own. */
#include "base/text.h"
#include "rules/catalogue.h"
#include "rules/fact_title.h"
#include "rules/load_catalogue.h"
#include "rules/rules.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static struct vocabulary *vocabulary;

static const char *title_of(const char *name, char *out)
{
    struct fact_name fact;
    assert_int_equal(vocabulary_fact(vocabulary, name, &fact, NULL), 0);
    return fact_title(vocabulary, &fact, out);
}

static void test_kinds(void **state)
{
    static const struct {
        const char *fact, *title;
    } ROWS[] = {
        {"core_at_pack_c", "Core temperature at packing"},
        {"inhibitor_pct_flour.min", "Inhibitor dose, lowest"},
        {"where", "Where on the loaf"},
        {"film_lot_age_days", "Days the lot of film was in use"},
        {"slicer.swab_cfu.next", "Slicer: swab, next entry"},
        {"cooler-air.days_since_filter", "Cooler air: days since the filter was changed"},
        {"transit_c.max", "Highest temperature on the way"},
        {"company.line", "Complaints on the same line"},
        {"company.film", "Complaints on the same lot of film"},
        {"company.window.slicer", "Complaints between two cleanings: Slicer"},
        {"model.mold_age", "Day the mold was found or reported, by the growth model"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        char out[FACT_TITLE];
        assert_string_equal(title_of(ROWS[i].fact, out), ROWS[i].title);
    }
}

/* A rule may only use facts that QA can read. */
static void test_every_fact_of_the_rules(void **state)
{
    struct rules *rules;
    (void)state;
    assert_int_equal(rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &rules, NULL), 0);
    assert_true(rules->fact_count > 100);
    for (int i = 0; i < rules->fact_count; i++) {
        const struct fact_name *name = &rules->facts[i].name;
        char out[FACT_TITLE];
        fact_title(rules->vocabulary, name, out);
        if (!out[0] || strcmp(out, name->text) == 0 || strchr(out, '_') || strstr(out, "(null)"))
            fail_msg("%s has no words: '%s'", name->text, out);
    }
    rules_free(rules);
}

static int setup(void **state)
{
    (void)state;
    struct catalogue *catalogue = NULL;
    int rc = load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &catalogue, NULL);
    if (rc)
        return rc;
    vocabulary = vocabulary_new(catalogue);
    catalogue_free(catalogue);
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    vocabulary_free(vocabulary);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_kinds),
                                       cmocka_unit_test(test_every_fact_of_the_rules)};
    return cmocka_run_group_tests(tests, setup, teardown);
}
