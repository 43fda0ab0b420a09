/* The plant's own codes in a text, which are no phone numbers. */
#include "desk/apart_codes.h"
#include "fixture.h"
#include <time.h>

static void codes_are(struct fixture *f, const char *text, const char *codes)
{
    char *got = apart_codes(&f->desk, f->store, text, NULL);
    assert_string_equal(got, codes);
    free(got);
}

/* Wherever it stands; what is on no record fits a pattern; digits alone, or too few, are none. */
static void codes_are_found_where_they_stand(void **state)
{
    struct fixture *f = *state;
    codes_are(f, "L1 6318 A0400 was moldy", "\nL1 6318 A0400");
    codes_are(f, "moldy: L1 6318 A0400.", "\nL1 6318 A0400");
    codes_are(f, "12 packs of L1 6318 A0400 and 3 of L2 6318 A0400",
              "\nL1 6318 A0400\nL2 6318 A0400");
    codes_are(f, "call 555 013 4711", "");
    codes_are(f, "L1 6318", "");
    codes_are(f, "", "");
}

/* Digits that come late are not counted anew at each word before them. */
static void a_long_text_is_read_in_time_of_its_length(void **state)
{
    struct fixture *f = *state;
    struct text_buffer text = {0};
    while (text.length < 400000)
        text_append(&text, "a ");
    text_append(&text, "L1 6318 A0400");
    clock_t from = clock();
    codes_are(f, text.data, "\nL1 6318 A0400");
    assert_true((double)(clock() - from) / CLOCKS_PER_SEC <
                10); /* a tenth of a second; minutes else */
    text_buffer_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_are_found_where_they_stand),
        cmocka_unit_test(a_long_text_is_read_in_time_of_its_length),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
