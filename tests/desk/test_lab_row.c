/* Rows of a laboratory's report: which deny, and what of the others is heard. */
#include "base/text.h"
#include "check.h"
#include "desk/lab_row.h"
#include "intake/harm.h"
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
    const json_t *harm = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct text_buffer out = {0};
        bool tells = lab_row_tells(harm, ROWS[i].name, strlen(ROWS[i].name), ROWS[i].said,
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
    const json_t *harm = *state;
    assert_true(lab_row_tells(harm, "methodical", 6, "metal sieve, broke", 11, &out));
    assert_string_equal(out.data, " sieve");
    text_reset(&out);
    assert_false(lab_row_tells(harm, "Glass", 5, "0 pieces, no: 3", 8, &out));
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
    const json_t *harm = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct text_buffer out = {0};
        text_append(&out, "");
        assert_int_equal(lab_row_result(harm, ROWS[i].name, ROWS[i].said, &out),
                         ROWS[i].heard != NULL);
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
    const json_t *harm = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        if (lab_row_cells_deny(harm, ROWS[i].line, strlen(ROWS[i].line), ROWS[i].separator) !=
            ROWS[i].denies)
            fail_msg("%s", ROWS[i].line);
    assert_true(lab_row_cells_deny(harm, "Salmonella,absent,found", 17, ','));
}

/* A plant whose file has no such words hears all of each row, and one with its own by those. */
static void the_words_are_the_plant_s(void **state)
{
    json_t *none = json_object(),
           *own = json_pack("{s:{s:[s, s], s:[s], s:[s]}}", "laboratory", "denials", "keine",
                            "keine gefunden", "methods", "Verfahren", "tools", "Glas");
    struct text_buffer out = {0};
    (void)state;
    assert_true(lab_row_tells(none, "Glass", 5, "none", 4, &out));
    assert_true(lab_row_tells(none, "Glass", 5, "<1", 2, &out));
    assert_false(lab_row_cells_deny(none, "Glass,none", 10, ','));
    assert_true(lab_row_tells(own, "Glass", 5, "none", 4, &out));
    assert_false(lab_row_tells(own, "Glas", 4, "keine gefunden", 14, &out));
    text_reset(&out);
    assert_true(lab_row_tells(own, "Verfahren", 9, "Glas, Sieb", 10, &out));
    assert_string_equal(out.data, ", Sieb");
    text_buffer_free(&out);
    json_decref(none);
    json_decref(own);
}

static int load(void **state)
{
    struct error err = {0};
    json_t *harm = NULL;
    if (harm_load(ODDLOAF_SOURCE_DIR "/rules/harm.json", NULL, NULL, &harm, &err))
        fail_msg("%s", err.text);
    *state = harm;
    return 0;
}

static int unload(void **state)
{
    json_decref(*state);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_told_and_what_denied),
        cmocka_unit_test(only_so_much_of_it_is_read),
        cmocka_unit_test(a_result_is_heard_with_its_name),
        cmocka_unit_test(a_row_of_cells_denies_as_a_whole),
        cmocka_unit_test(the_words_are_the_plant_s),
    };
    return cmocka_run_group_tests(tests, load, unload);
}
