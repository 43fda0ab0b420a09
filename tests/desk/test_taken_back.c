/* Harm that a correction took back, by what is on record of the report's changes. */
#include "desk/taken_back.h"
#include "fixture.h"
#include "store/change.h"

struct change {
    const char *field, *was, *now;
};

enum { CHANGES = 3 };

static void put_all(struct fixture *f, const struct change changes[CHANGES])
{
    struct error err = {0};
    for (int i = 0; i < CHANGES && changes[i].field; i++) {
        char by[16], reason[32], *was = fixture_text(changes[i].was),
                                 *now = fixture_text(changes[i].now);
        snprintf(by, sizeof by, "user %d", i);
        snprintf(reason, sizeof reason, "reason %d", i);
        const struct change_row row = {
            .complaint = FIRST, .at_ms = f->now_ms + i * 60000, .by = by, .reason = reason};
        if (change_add(f->store, &row, changes[i].field, was, now, &err))
            fail_msg("%s", err.text);
        free(was);
        free(now);
    }
}

static void it_is_what_the_newest_correction_of_harm_left(void **state)
{
    static const struct {
        struct change changes[CHANGES];
        const char *harm; /* that comes again */
        bool read;        /* somebody corrected what it says of harm */
        int back;         /* the change that took it back; -1: none did */
    } ROWS[] = {
        {{{0}}, "['illness']", false, -1},
        {{{"note", "['illness']", ""}}, "['illness']", false, -1},
        {{{"symptom", "mold", "staling"}}, "['illness']", false, -1},
        {{{"harm", "['illness']", ""}}, "['illness']", true, 0},
        {{{"harm", "['illness']", "[]"}}, "['illness']", true, 0},
        {{{"harm", "['illness']", ""}}, "['injury']", true, -1},
        {{{"harm", "['illness','injury']", ""}}, "['injury']", true, 0},
        {{{"harm", "['illness']", ""}}, "['illness','injury']", true, -1},
        {{{"harm", "['illness']", "['injury']"}}, "['illness']", true, -1},
        {{{"harm", "", "['illness']"}, {"harm", "['illness']", ""}}, "['illness']", true, 1},
        {{{"harm", "['illness']", ""}, {"harm", "", "['illness']"}}, "['illness']", true, -1},
        {{{"harm", "['illness']", "['injury']"}, {"harm", "['injury']", ""}},
         "['injury','illness']",
         true,
         1},
        {{{"harm", "['illness']", ""}, {"packs", "1", "2"}}, "['illness']", true, 0},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *harm = fixture_json(ROWS[i].harm);
        fixture_begin(f);
        put_all(f, ROWS[i].changes);
        json_t *back = taken_back_find(&f->desk, f->store, FIRST, harm);
        json_t *other = taken_back_find(&f->desk, f->store, SECOND, harm);
        if ((back != NULL) != (ROWS[i].back >= 0) || other ||
            taken_back_read(f->store, FIRST) != ROWS[i].read)
            fail_msg("row %zu", i);
        if (back) {
            char told[160];
            snprintf(told, sizeof told,
                     "it was reported before, and taken back 2026-11-20T12:%02d:00-05:00 by user "
                     "%d: reason %d",
                     ROWS[i].back, ROWS[i].back, ROWS[i].back);
            json_t *says = taken_back_told(back);
            assert_string_equal(json_string_value(says), told);
            assert_true(json_equal(json_object_get(back, "harm"), harm));
            json_decref(says);
        }
        fixture_end(f, false);
        json_decref(back);
        json_decref(harm);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_is_what_the_newest_correction_of_harm_left),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
