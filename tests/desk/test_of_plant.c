/* Whose a complaint is that no lot places: the plant's whose people took it, unless all lots that
 * it may be about are one other plant's, or it says another itself. */
#include "fixture.h"

static void set_plants(struct fixture *f, const char *one, const char *two)
{
    char sql[160];
    snprintf(sql, sizeof sql,
             "UPDATE lot SET plant = '%s' WHERE id = 1; UPDATE lot SET plant = '%s' WHERE id = 2",
             one, two);
    assert_int_equal(db_exec(f->store, sql, NULL), 0);
}

static void whose_it_is_where_no_lot_tells(void **state)
{
    static const struct {
        const char *one, *two; /* whose the lots are */
        const char *of, *more, *whose, *from;
    } ROWS[] = {{"north", "south", "north", "{'lot_text':'?'}", "north", "who took it"},
                {"north", "south", NULL, "{'lot_text':'?'}", "", ""},
                {"north", "south", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"south", "south", "north", "{'lot_text':'L? 6318 A0400'}", "", ""},
                {"north", "north", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"", "", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"south", "south", "north", "{}", "", ""}, /* its lot is known, and tells */
                {"north", "south", "north", "{'lot_text':'?','plant':'south'}", "south", ""},
                {"north", "south", "north", "{'lot_text':'?','plant':'nrth'}", "north",
                 "who took it; nrth is no plant"}};
    struct fixture *f = *state;
    json_t *plants = json_pack("{s:{}, s:{}}", "north", "south");
    f->desk.plants = plants;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *said = fixture_complaint("01990000-0000-7000-8000-000000000001", ROWS[i].more);
        struct taking t = {.user = "mira", .alone = true, .of_plant = ROWS[i].of};
        set_plants(f, ROWS[i].one, ROWS[i].two);
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        assert_non_null(t.form);
        const char *from = "";
        size_t k;
        json_t *taken;
        json_array_foreach(t.taken, k, taken)
        {
            if (strcmp(json_string_value(json_object_get(taken, "field")), "plant") == 0)
                from = json_string_value(json_object_get(taken, "from"));
        }
        if (strcmp(t.placing.plant, ROWS[i].whose) != 0 || strcmp(from, ROWS[i].from) != 0)
            fail_msg("row %zu: '%s' from '%s', %d lots", i, t.placing.plant, from,
                     t.placing.lots.count);
        const char *kept = json_string_value(json_object_get(t.form->body, "plant"));
        assert_string_equal(kept ? kept : "", ROWS[i].whose);
        taking_clear(&t);
        json_decref(said);
    }
    f->desk.plants = NULL;
    json_decref(plants);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(whose_it_is_where_no_lot_tells)};
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
