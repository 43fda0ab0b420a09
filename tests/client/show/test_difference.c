/* How two documents differ. */
#include "show/difference.h"
#include <stdlib.h>
#include <string.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static void differs(const char *was, const char *is, const char *expected)
{
    json_t *a = was ? json_loads(was, JSON_DECODE_ANY, NULL) : NULL;
    json_t *b = is ? json_loads(is, JSON_DECODE_ANY, NULL) : NULL;
    json_t *found = difference_of(a, b);
    char *text = json_dumps(found, JSON_COMPACT | JSON_PRESERVE_ORDER);
    assert_string_equal(text, expected);
    free(text);
    json_decref(found);
    json_decref(a);
    json_decref(b);
}

static void members(void **state)
{
    (void)state;
    differs("{\"a\":1,\"b\":{\"c\":[1,2]}}", "{\"b\":{\"c\":[1,2]},\"a\":1}", "[]");
    differs("{\"a\":1,\"gone\":true}", "{\"a\":2,\"new\":null}",
            "[{\"at\":\"/a\",\"was\":1,\"is\":2},{\"at\":\"/gone\",\"was\":true},"
            "{\"at\":\"/new\",\"is\":null}]");
    differs("{\"a/b\":{\"~\":1}}", "{\"a/b\":{\"~\":\"1\"}}",
            "[{\"at\":\"/a~1b/~0\",\"was\":1,\"is\":\"1\"}]");
    differs("{\"a\":{\"b\":1}}", "{\"a\":[1]}", "[{\"at\":\"/a\",\"was\":{\"b\":1},\"is\":[1]}]");
}

static void lists(void **state)
{
    (void)state;
    differs("[1,2,3]", "[1,9,3]", "[{\"at\":\"/1\",\"was\":2,\"is\":9}]");
    differs("[1,2,3]", "[1,3]", "[{\"at\":\"/1\",\"was\":2}]");
    differs("[1,3]", "[1,2,3]", "[{\"at\":\"/1\",\"is\":2}]");
    differs("[{\"x\":1},5]", "[{\"x\":2},5,6]",
            "[{\"at\":\"/0/x\",\"was\":1,\"is\":2},{\"at\":\"/2\",\"is\":6}]");
    differs("[1,1]", "[1,1,1]", "[{\"at\":\"/2\",\"is\":1}]");
}

static void whole_documents(void **state)
{
    (void)state;
    differs(NULL, "{}", "[{\"at\":\"\",\"is\":{}}]");
    differs("{}", NULL, "[{\"at\":\"\",\"was\":{}}]");
    differs(NULL, NULL, "[]");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(members),
        cmocka_unit_test(lists),
        cmocka_unit_test(whole_documents),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
