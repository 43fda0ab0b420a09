/* How a mail tells of the lot: each lot with one figure. */
#include "check.h"
#include "show/lot_told.h"
#include <stdlib.h>
#include <string.h>

static char *told(const char *json)
{
    struct view view = {0};
    struct text_buffer body = {0};
    json_t *object = json_loads(json, 0, NULL);
    assert_non_null(object);
    lot_told_rows(object, &view);
    view_plain(&view, &body);
    view_free(&view);
    json_decref(object);
    return text_take(&body);
}

/* A ranking rests on the lots of its complaints, the sentence on what one caller read. */
static void a_lot_that_is_named_has_one_figure(void **state)
{
    (void)state;
    char *text = told("{\"lot\":\"K1\",\"lot_state\":\"likely\",\"lot_says\":\"likely K1 (98 %)\","
                      "\"lots\":[{\"lot\":\"K1\",\"weight\":1.0}]}");
    assert_non_null(strstr(text, "likely K1 (98 %)"));
    assert_null(strstr(text, "100 %"));
    free(text);
    text = told("{\"lot\":\"K1\",\"lot_state\":\"likely\",\"lot_says\":\"likely K1 (90 %)\","
                "\"lots\":[{\"lot\":\"K1\",\"weight\":0.9},{\"lot\":\"K2\",\"weight\":0.08}]}");
    assert_null(strstr(text, "90 %  K1"));
    assert_non_null(strstr(text, "8 %  K2"));
    assert_non_null(strstr(text, "2 %  none of these"));
    free(text);
}

static void candidates_of_no_named_lot_are_all_told(void **state)
{
    (void)state;
    char *text =
        told("{\"lot\":null,\"lot_state\":\"several\",\"lot_says\":\"not certain\","
             "\"lots\":[{\"lot\":\"K1\",\"weight\":0.6},{\"lot\":\"K2\",\"weight\":0.4}]}");
    assert_non_null(strstr(text, "60 %  K1"));
    assert_non_null(strstr(text, "40 %  K2"));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lot_that_is_named_has_one_figure),
        cmocka_unit_test(candidates_of_no_named_lot_are_all_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
