/* The query: what is misspelt, empty, twice or no text is named, never passed over. */
#include "check.h"
#include "serve/query.h"
#include <string.h>

static void check(const char *text, const char *known, const char *field, const char *says)
{
    struct query query;
    struct error err = {0};
    query_read(text, &query);
    int rc = query_check(&query, known, &err);
    assert_int_equal(rc, field ? ERROR_INVALID : 0);
    if (field) {
        assert_string_equal(err.field, field);
        assert_non_null(strstr(err.text, says));
    }
    query_clear(&query);
}

static void faults_are_named(void **state)
{
    static const char KNOWN[] = "keep_good dry_run source";
    (void)state;
    check(NULL, KNOWN, NULL, NULL);
    check("", KNOWN, NULL, NULL);
    check("dry_run=1&keep_good=0", KNOWN, NULL, NULL);
    check("dry_run=1&keep_good", KNOWN, "keep_good", "no value");
    check("keep_good&dry_run=1", KNOWN, "keep_good", "no value");
    check("dry_run=", KNOWN, "dry_run", "no value");
    check("dry_rnu=1", KNOWN, "dry_rnu", "no parameter");
    check("dry=1", KNOWN, "dry", "no parameter");
    check("dry_run=1&dry_run=0", KNOWN, "dry_run", "twice");
    check("dry_run=1&", KNOWN, "", "no parameter");
    check("=1", KNOWN, "", "no parameter");
    check("source=%ff", KNOWN, "source", "UTF-8");
    check("source=a%00b", KNOWN, "source", "UTF-8");
    check("source=x", "", "source", "no parameter");
}

static void values_are_decoded(void **state)
{
    struct query query;
    (void)state;
    query_read("source=a%26b+c%3D&line=2", &query);
    assert_int_equal(query_check(&query, "line source", NULL), 0);
    assert_string_equal(query_get(&query, "source"), "a&b c=");
    assert_string_equal(query_get(&query, "line"), "2");
    query_clear(&query);
}

static void a_fault_says_what_the_request_takes(void **state)
{
    struct query query;
    struct error err = {0};
    (void)state;
    query_read("orden=urgent", &query);
    assert_int_equal(query_check(&query, "order state", &err), ERROR_INVALID);
    assert_string_equal(err.value, "urgent");
    assert_string_equal(err.hint, "it takes: order state");
    query_clear(&query);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(faults_are_named),
        cmocka_unit_test(values_are_decoded),
        cmocka_unit_test(a_fault_says_what_the_request_takes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
