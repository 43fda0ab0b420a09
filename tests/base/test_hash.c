/* The vectors are of the authors' list (Fowler, Noll and Vo), from memory. */
#include "base/hash.h"
#include "check.h"

static void the_authors_vectors(void **state)
{
    (void)state;
    assert_true(hash_text("") == UINT64_C(0xcbf29ce484222325));
    assert_true(hash_text("a") == UINT64_C(0xaf63dc4c8601ec8c));
    assert_true(hash_text("foobar") == UINT64_C(0x85944171f73967e8));
}

static void goes_on_where_it_ended(void **state)
{
    (void)state;
    assert_true(hash_bytes(hash_text("foo"), "bar", 3) == hash_text("foobar"));
    assert_true(hash_bytes(HASH_EMPTY, "ab\0c", 4) != hash_bytes(HASH_EMPTY, "a\0bc", 4));
    assert_true(hash_text("\xc3\xa4") ==
                hash_bytes(HASH_EMPTY, (const unsigned char[]){0xc3, 0xa4}, 2));
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_authors_vectors),
        cmocka_unit_test(goes_on_where_it_ended),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
