/* Rows of a laboratory's report: which deny, and what of the others is heard. */
#include "base/text.h"
#include "check.h"
#include "desk/lab_row.h"
#include <string.h>

static void what_is_told_and_what_denied(void **state)
{
    static const struct {
        const char *name, *said, *heard; /* NULL: it denies */
    } ROWS[] = {
        {"Salmonella", "absent/25 g", NULL},
        {"Salmonella", " Absent in 25g", NULL},
        {"Salmonella", "not detected", NULL},
        {"Salmonella", "not detected in 5 samples", NULL},
        {"Salmonella", "ausencia/25 g", NULL},
        {"Glass", "<1", NULL},
        {"Glass", "< 0.5 mg/kg", NULL},
        {"Glass", "<= 3", NULL},
        {"Glass", "0", NULL},
        {"Glass", "0 pieces", NULL},
        {"Glass", "none", NULL},
        {"Glass", "n.d.", NULL},
        {"Salmonella", "detected in 25 g", "detected in 25 g"},
        {"Salmonella", "absent, but Listeria found", "absent, but Listeria found"},
        {"Salmonella", "absently", "absently"},
        {"Glass", "0.5", "0.5"},
        {"Glass", "0,5 mm", "0,5 mm"},
        {"Glass", "05", "05"},
        {"Glass", "< some", "< some"},
        {"Glass", "3 pieces", "3 pieces"},
        {"Glass", "none at first, then 3", "none at first, then 3"},
        {"Glass", "", ""},
        /* how it was looked for: without its tools, unless something happened or was found */
        {"equipment", "metal sieve", " sieve"},
        {" Method ", "Salmonella, Listeria broth", ",  broth"},
        {"METODO", "Listeria caldo", " caldo"},
        {"equipments", "metal sieve", "metal sieve"},
        {"Equipment", "glass cover broke", "glass cover broke"},
        {"Method", "Salmonella positive", "Salmonella positive"},
        {"Method", "Salmonella, positive control", ", positive control"},
        {"Method", "Salmonella, positive (control)", ", positive (control)"},
        {"Method", "my glass", "my glass"},
        {"Method", "none", NULL},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct text_buffer out = {0};
        bool tells = lab_row_tells(ROWS[i].name, strlen(ROWS[i].name), ROWS[i].said,
                                   strlen(ROWS[i].said), &out);
        if (tells != (ROWS[i].heard != NULL) ||
            strcmp(out.data, ROWS[i].heard ? ROWS[i].heard : "") != 0)
            fail_msg("%s: %s: %d '%s'", ROWS[i].name, ROWS[i].said, tells, out.data);
        text_buffer_free(&out);
    }
}

/* No more of either text than it is told. */
static void only_so_much_of_it_is_read(void **state)
{
    struct text_buffer out = {0};
    (void)state;
    assert_true(lab_row_tells("methodical", 6, "metal sieve, broke", 11, &out));
    assert_string_equal(out.data, " sieve");
    text_reset(&out);
    assert_false(lab_row_tells("Glass", 5, "0 pieces, no: 3", 8, &out));
    assert_string_equal(out.data, "");
    text_buffer_free(&out);
}

static void a_result_is_heard_with_its_name(void **state)
{
    static const struct {
        const char *name, *said, *heard; /* NULL: it denies */
    } ROWS[] = {
        {"glass_pieces", "3", "glass pieces 3"},
        {"glass_pieces", "0", NULL},
        {"", "Salmonella found", "Salmonella found"},
        {"salmonella", "absent/25 g", NULL},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct text_buffer out = {0};
        text_append(&out, "");
        assert_int_equal(lab_row_result(ROWS[i].name, ROWS[i].said, &out), ROWS[i].heard != NULL);
        assert_string_equal(out.data, ROWS[i].heard ? ROWS[i].heard : "");
        text_buffer_free(&out);
    }
}

static void a_row_of_cells_denies_as_a_whole(void **state)
{
    static const struct {
        const char *line;
        char separator;
        bool denies;
    } ROWS[] = {
        {"Salmonella,25 g,absent", ',', true},
        {"Salmonella,absent,25 g", ',', true},
        {"\"Salmonella spp\", \"absent\"", ',', true},
        {"Salmonella;absent;", ';', true},
        {"Listeria of a swab,absent", ',', false}, /* four words */
        {"Listeria of swabs,absent", ',', true},
        {"Salmonella,25 g", ',', false}, /* nothing denies */
        {"Salmonella,25 g,found", ',', false},
        {"Salmonella,absent,found in crumb", ',', false},
        {"Salmonella found,absent", ',', false},
        {"we ate,none", ',', false},
        {"Glass,0,5 g", ',', false}, /* half a gram, perhaps */
        {"Glass;0;5 g", ';', true},
        {"Glass,0,mm", ',', false},
        {",absent", ',', false},
        {"Salmonella absent", ',', false},
        {"Salmonella|absent", '|', true},
        {"Salmonella|absent", ',', false},
        {"Glass,<1", ',', true},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        if (lab_row_cells_deny(ROWS[i].line, strlen(ROWS[i].line), ROWS[i].separator) !=
            ROWS[i].denies)
            fail_msg("%s", ROWS[i].line);
    assert_true(lab_row_cells_deny("Salmonella,absent,found", 17, ','));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_told_and_what_denied),
        cmocka_unit_test(only_so_much_of_it_is_read),
        cmocka_unit_test(a_result_is_heard_with_its_name),
        cmocka_unit_test(a_row_of_cells_denies_as_a_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
