#include "check.h"

#include "base/uuid.h"
#include <stdlib.h>
#include <string.h>

/* The time stamp of RFC 9562 (K. Davis, B. Peabody, P. Leach, 2024), Appendix A.6:
 * 017F22E2-79B0-7CC3-98C4-DC0C0C07398F is 2022-02-22T19:22:22Z. */
static void carries_its_time(void **state)
{
    (void)state;
    char text[UUID_TEXT];
    uuid_v7(INT64_C(1645557742000), text);
    assert_int_equal(strlen(text), 36);
    assert_memory_equal(text, "017f22e2-79b0-7", 15);
    assert_non_null(strchr("89ab", text[19]));
    assert_true(uuid_normalize(text, NULL));
}

static int compare(const void *a, const void *b)
{
    return strcmp(a, b);
}

static void does_not_repeat(void **state)
{
    (void)state;
    enum { N = 20000 };
    char(*all)[UUID_TEXT] = malloc(N * sizeof *all);
    assert_non_null(all);
    for (int i = 0; i < N; i++)
        uuid_v7(1, all[i]);
    qsort(all, N, sizeof *all, compare);
    for (int i = 1; i < N; i++)
        assert_string_not_equal(all[i - 1], all[i]);
    free(all);
}

static void later_sorts_later(void **state)
{
    (void)state;
    char a[UUID_TEXT];
    char b[UUID_TEXT];
    uuid_v7(-1, a); /* a clock before its epoch is one at it */
    assert_memory_equal(a, "00000000-0000-7", 15);
    uuid_v7(INT64_C(1793511000000), a);
    uuid_v7(INT64_C(1793511000001), b);
    assert_true(strcmp(a, b) < 0);
    uuid_v7(INT64_C(0xFFFFFFFFFFFF), a);
    assert_memory_equal(a, "ffffffff-ffff-7", 15);
}

static void text_forms(void **state)
{
    (void)state;
    char out[UUID_TEXT] = "untouched";
    static const char *const bad[] = {
        "",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398F0",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398G",
        "017F22E279B07CC398C4DC0C0C07398F",
        "017F22E2079B0-7CC3-98C4-DC0C0C07398F",
        "{017F22E2-79B0-7CC3-98C4-DC0C0C07398F}",
        " 017F22E2-79B0-7CC3-98C4-DC0C0C07398F",
        "017F22E2-79B0-7CC3-98C4-DC0C0C07398F\n",
        "017F22E2-79B0-7CC3-98C4-DC0C0C0739\xc3\xa9",
    };
    for (size_t i = 0; i < COUNT_OF(bad); i++)
        assert_false(uuid_normalize(bad[i], out));
    assert_false(uuid_normalize(NULL, out));
    assert_string_equal(out, "untouched");
    assert_true(uuid_normalize("017F22E2-79B0-7CC3-98C4-DC0C0C07398F", out));
    assert_string_equal(out, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
    char same[UUID_TEXT] = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F";
    assert_true(uuid_normalize(same, same));
    assert_string_equal(same, out);
    assert_true(uuid_normalize("00000000-0000-0000-0000-000000000000", NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(carries_its_time),
        cmocka_unit_test(does_not_repeat),
        cmocka_unit_test(later_sorts_later),
        cmocka_unit_test(text_forms),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
