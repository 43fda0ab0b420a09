/* What a plant wants and what a complaint costs it, as its file says. */
#include "check.h"
#include "rules/targets.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct targets *load(const char *text, struct error *err)
{
    char path[] = "/tmp/oddloaf-targets-XXXXXX";
    struct targets *targets = NULL;
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, text, strlen(text)), (ssize_t)strlen(text));
    close(fd);
    targets_load(path, NULL, NULL, &targets, err);
    unlink(path);
    return targets;
}

static void a_lines_own_target_goes_before_that_of_all(void **state)
{
    struct error err = {0};
    (void)state;
    struct targets *t = load("{\"targets\":[{\"symptom\":\"mold\",\"per_million\":30},"
                             "{\"line\":\"2\",\"symptom\":\"mold\",\"per_million\":45}],"
                             "\"currency\":\"EUR\",\"costs\":[{\"symptom\":\"other\",\"each\":8}]}",
                             &err);
    assert_non_null(t);
    assert_true(targets_per_million(t, "", "2", "mold") == 45);
    assert_true(targets_per_million(t, "", "1", "mold") == 30);
    assert_true(isnan(targets_per_million(t, "", "2", "staling")));
    assert_true(targets_cost(t, "other") == 8);
    assert_true(isnan(targets_cost(t, "mold")));
    assert_string_equal(targets_currency(t), "EUR");
    targets_free(t);
    /* each symptom may have a cost, and that of all others */
    t = load("{\"targets\":[],\"currency\":\"EUR\",\"costs\":[{\"symptom\":\"mold\",\"each\":1},"
             "{\"symptom\":\"off-odor\",\"each\":2},{\"symptom\":\"staling\",\"each\":3},"
             "{\"symptom\":\"other\",\"each\":4}]}",
             &err);
    assert_non_null(t);
    assert_true(targets_cost(t, "mold") == 1 && targets_cost(t, "other") == 4);
    targets_free(t);
}

static void a_plants_own_target_goes_before_that_of_all(void **state)
{
    struct error err = {0};
    (void)state;
    struct targets *t =
        load("{\"targets\":[{\"symptom\":\"mold\",\"per_million\":30},"
             "{\"line\":\"2\",\"symptom\":\"mold\",\"per_million\":45},"
             "{\"plant\":\"north\",\"symptom\":\"mold\",\"per_million\":60},"
             "{\"plant\":\"north\",\"line\":\"1\",\"symptom\":\"mold\",\"per_million\":75}],"
             "\"costs\":[]}",
             &err);
    static const struct {
        const char *plant, *line;
        double per_million;
    } ROWS[] = {{"", "1", 30},      {"", "2", 45},      {"south", "1", 30}, {"south", "2", 45},
                {"north", "1", 75}, {"north", "2", 60}, {"north", "3", 60}};
    assert_non_null(t);
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++)
        assert_true(targets_per_million(t, ROWS[i].plant, ROWS[i].line, "mold") ==
                    ROWS[i].per_million);
    targets_free(t);
    t = load("{\"targets\":[{\"plant\":\"north\",\"symptom\":\"mold\",\"per_million\":3},"
             "{\"plant\":\"north\",\"symptom\":\"mold\",\"per_million\":4}],\"costs\":[]}",
             &err);
    assert_null(t);
    assert_non_null(strstr(err.text, "have a target"));
}

static void nothing_is_wanted_of_what_is_shipped_or_missing(void **state)
{
    static const char *const PATHS[] = {ODDLOAF_SOURCE_DIR "/rules/targets.json",
                                        ODDLOAF_SOURCE_DIR "/rules/no-such.json"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(PATHS); i++) {
        struct targets *t = NULL;
        assert_int_equal(targets_load(PATHS[i], NULL, NULL, &t, NULL), 0);
        assert_true(isnan(targets_per_million(t, "", "2", "mold")));
        assert_true(isnan(targets_cost(t, "mold")));
        assert_null(targets_currency(t));
        targets_free(t);
    }
    assert_true(isnan(targets_per_million(NULL, "", "2", "mold")));
    assert_null(targets_currency(NULL));
}

static void wrong_values_are_refused_with_their_reason(void **state)
{
    static const struct {
        const char *text, *says;
    } WRONG[] = {
        {"{\"targets\":[{\"symptom\":\"molt\",\"per_million\":30}],\"costs\":[]}",
         "no such symptom"},
        {"{\"targets\":[{\"symptom\":\"mold\",\"per_million\":0}],\"costs\":[]}", ""},
        {"{\"targets\":[{\"symptom\":\"mold\",\"per_million\":3},"
         "{\"symptom\":\"mold\",\"per_million\":4}],\"costs\":[]}",
         "have a target there already"},
        {"{\"targets\":[],\"costs\":[{\"symptom\":\"mold\",\"each\":5}]}", "is needed where costs"},
        {"{\"targets\":[],\"currency\":\"EUR\",\"costs\":[{\"symptom\":\"mold\",\"each\":5},"
         "{\"symptom\":\"mold\",\"each\":6}]}",
         "has a cost already"},
        {"{\"targets\":[],\"currency\":7,\"costs\":[]}", "must be text"},
        {"{\"targets\":[]}", ""},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(WRONG); i++) {
        struct error err = {0};
        assert_null(load(WRONG[i].text, &err));
        assert_int_not_equal(err.code, 0);
        if (!strstr(err.text, WRONG[i].says))
            fail_msg("%s: %s", WRONG[i].text, err.text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lines_own_target_goes_before_that_of_all),
        cmocka_unit_test(a_plants_own_target_goes_before_that_of_all),
        cmocka_unit_test(nothing_is_wanted_of_what_is_shipped_or_missing),
        cmocka_unit_test(wrong_values_are_refused_with_their_reason),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
