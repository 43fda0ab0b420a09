/* The table of fields: whole, and read as a complaint is built. */
#include "check.h"
#include "intake/complaint_form.h"
#include "intake/fields.h"
#include <string.h>

static void every_row_is_whole(void **state)
{
    (void)state;
    for (const struct field *f = fields_all(); f->name; f++) {
        bool chosen = f->type == FIELD_WORD || f->type == FIELD_WORDS;
        bool apart = f->flags & (FIELD_OWN | FIELD_PERSON);
        if (!f->option || (!f->help && !f->words) || chosen != (f->words != NULL))
            fail_msg("%s: option, help or words are missing", f->name);
        if (!f->title || (!apart && !f->ask))
            fail_msg("%s: title or question is missing", f->name);
        if ((f->type == FIELD_TEXT || f->type == FIELD_WHOLE) && f->high <= f->low)
            fail_msg("%s: no limit", f->name);
        for (const struct field *g = fields_all(); g != f; g++)
            if (strcmp(g->name, f->name) == 0 || strcmp(g->option, f->option) == 0)
                fail_msg("%s and %s have one name or option", f->name, g->name);
        for (const struct field_word *w = f->words; w && w->word; w++)
            assert_ptr_equal(fields_word(f->words, w->word), w);
    }
}

/* A member named as a path is not the field that stands at that path. */
static void a_path_is_no_member(void **state)
{
    static const char TEXT[] = "{\"symptom\":\"mold\",\"observed/colour\":\"black\","
                               "\"contact/name\":\"Ann\"}";
    const struct form_options options = {.partial = true};
    struct complaint_form *form = NULL;
    struct error err = {0};
    (void)state;
    json_t *complaint = json_loads(TEXT, 0, NULL);
    assert_int_equal(complaint_form_read(complaint, &options, &form, &err), 0);
    assert_null(json_object_get(form->body, "observed/colour"));
    assert_int_equal(json_array_size(form->ignored), 2);
    complaint_form_free(form);
    json_decref(complaint);
}

static void a_value_is_set_and_taken_where_it_stands(void **state)
{
    (void)state;
    json_t *complaint = json_object();
    const struct field *colour = fields_find("observed/colour");
    assert_ptr_equal(fields_fact("colour"), colour);
    assert_ptr_equal(fields_member("observed", "colour"), colour);
    assert_null(fields_member("", "colour"));
    fields_set_new(complaint, colour, json_string("black"));
    assert_string_equal(json_string_value(fields_get(complaint, colour)), "black");
    fields_unset(complaint, colour);
    assert_int_equal(json_object_size(complaint), 0);
    json_decref(complaint);
}

/* What rules may speak of: what is observed, and what is told to be. */
static void facts_are_found_by_their_last_name(void **state)
{
    (void)state;
    for (const struct field *f = fields_all(); f->name; f++) {
        bool speaks = strncmp(f->name, "observed/", 9) == 0 || f->flags & FIELD_FACT;
        const struct field *found = fields_fact(fields_leaf(f));
        if (speaks)
            assert_ptr_equal(found, f);
        else if (found)
            assert_ptr_not_equal(found, f);
    }
    assert_string_equal(fields_fact("colour")->name, "observed/colour");
    assert_null(fields_fact("note"));
    assert_null(fields_fact("observed/colour"));
}

/* As people write one: by its path, with a dot, by its last name, by its option. */
static void a_field_has_many_names(void **state)
{
    static const char *const NAMES[] = {"observed/wet_inside_bag", "observed.wet_inside_bag",
                                        "wet_inside_bag", "wet-inside"};
    (void)state;
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++)
        assert_string_equal(fields_named(NAMES[i])->name, "observed/wet_inside_bag");
    assert_null(fields_named("wet_inside"));
    assert_null(fields_named(""));
}

/* What people call it, by any name of it; what has no title is told without its group. */
static void a_field_has_one_title(void **state)
{
    static const char *const ROWS[][2] = {{"observed/odor", "Smell"},
                                          {"observed.odor", "Smell"},
                                          {"odor", "Smell"},
                                          {"symptom", "Symptom"},
                                          {"lot", "Lot"},
                                          {"lot_text", "Code as read"},
                                          {"lot_state", "Lot's state"},
                                          {"measured/crumb_ph", "crumb_ph"},
                                          {"lots", "lots"},
                                          {"", ""}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_string_equal(fields_title(ROWS[i][0]), ROWS[i][1]);
}

static void a_name_nearly_right_is_meant(void **state)
{
    static const char *const ROWS[][2] = {{"simptom", "symptom"}, {"Wet Inside", "wet-inside"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_string_equal(fields_near(ROWS[i][0]), ROWS[i][1]);
    assert_null(fields_near("xyzzy"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_row_is_whole),
        cmocka_unit_test(facts_are_found_by_their_last_name),
        cmocka_unit_test(a_field_has_many_names),
        cmocka_unit_test(a_field_has_one_title),
        cmocka_unit_test(a_name_nearly_right_is_meant),
        cmocka_unit_test(a_path_is_no_member),
        cmocka_unit_test(a_value_is_set_and_taken_where_it_stands),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
