/* Complaints of other things by kind. */
#include "base/jsonx.h"
#include "intake/other_kind.h"
#include <string.h>

#include "check.h"

static void kinds_of_other_things(void **state)
{
    (void)state;
    static const struct {
        const char *body, *kind;
    } ROWS[] = {
        {"{\"note\":\"It weighed only 14 oz!\"}", "underweight"},
        {"{\"note\":\"Le faltan rebanadas\"}", "underweight"},
        {"{\"note\":\"the bag was ripped at the end\"}", "torn-bag"},
        {"{\"note\":\"bag is not torn, it weighs less\"}", "underweight"},
        {"{\"note\":\"the bag isn't torn\"}", "else"},
        {"{\"observed\":{\"bag\":\"seal-open\"}}", "torn-bag"},
        {"{\"observed\":{\"bag\":\"sound\"},\"note\":\"tasted salty\"}", "taste"},
        {"{\"harm\":[\"wrong-label\"],\"note\":\"too light, too\"}", "wrong-label"},
        {"{\"note\":\"Wrong label on the bag\"}", "wrong-label"},
        {"{\"note\":\"all squashed flat\"}", "damaged"},
        {"{\"note\":\"burnt underneath\"}", "bake"},
        {"{\"note\":\"drawer\"}", "else"},
        {"{}", "else"},
    };
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        json_t *body = NULL;
        assert_int_equal(jsonx_parse(ROWS[i].body, strlen(ROWS[i].body), &body, NULL), 0);
        if (strcmp(other_kind_of(body)->kind, ROWS[i].kind) != 0)
            fail_msg("%s: %s, not %s", ROWS[i].body, other_kind_of(body)->kind, ROWS[i].kind);
        json_decref(body);
    }
    int count = 0;
    while (other_kind_at(count))
        count++;
    assert_int_equal(count, 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kinds_of_other_things),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
