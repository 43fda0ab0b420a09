/* When each lot of a material was first used is kept right whatever comes later. */
#include "check.h"
#include "state.h"
#include "store/db.h"
#include "store/evidence.h"
#include "store/material_first.h"
#include "store/record_write.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct store *store;
static char dir[64];

static int setup(void **state)
{
    (void)state;
    strcpy(dir, "/tmp/oddloaf-material-XXXXXX");
    assert_non_null(state_folder(dir));
    assert_int_equal(store_open(dir, STORE_WRITE, &store, NULL), 0);
    assert_int_equal(store_begin(store, NULL), 0);
    return db_exec(store,
                   "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
                   "VALUES(1, 'W', 'White', 'pan-bread', 10, 680, NULL)",
                   NULL);
}

static int teardown(void **state)
{
    char command[96];
    (void)state;
    store_close(store);
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

static struct record_cell text(const char *said)
{
    return (struct record_cell){
        .form = RECORD_TEXT, .text = said, .length = (uint32_t)strlen(said)};
}

static struct record_cell whole(int64_t number)
{
    return (struct record_cell){.form = RECORD_INTEGER, .integer = number};
}

static enum record_outcome write_row(enum record_kind kind, const struct record_cell *cells)
{
    enum record_outcome outcome;
    struct record_writing *w = record_write_new(store, kind, "file", 0);
    assert_int_equal(record_write(w, cells, &outcome, NULL), 0);
    record_write_free(w);
    return outcome;
}

/* In the order of the kind's columns. */
static enum record_outcome write_lot(const char *lot, int64_t made_ms)
{
    return write_row(RECORD_LOTS, (const struct record_cell[]){
                                      text(lot), whole(1), text("1"), whole(made_ms),
                                      whole(made_ms + 1), whole(made_ms + 2), whole(made_ms + 3),
                                      whole(100), whole(1), text("A"), text(""), text(lot)});
}

static void write_use(int64_t lot_id, const char *material_lot, const char *mix)
{
    const struct record_cell nothing = {.form = RECORD_NOTHING};
    write_row(RECORD_USES, (const struct record_cell[]){
                               whole(lot_id), text("film"), text(material_lot), text(mix), nothing,
                               nothing, nothing, nothing, nothing, nothing});
}

static int64_t first_of(const char *material_lot)
{
    int64_t first_ms = 0, wrong = -1;
    assert_int_equal(evidence_material_first(store, "film", material_lot, &first_ms, NULL), 0);
    assert_int_equal(material_first_differences(store, &wrong, NULL), 0);
    assert_int_equal(wrong, 0);
    return first_ms;
}

static void test_first(void **state)
{
    (void)state;
    write_lot("L1", 500);
    write_lot("L2", 300);
    write_use(1, "F1", "");
    assert_int_equal(first_of("F1"), 500);
    write_use(2, "F1", "M1");
    write_use(2, "F1", "M2");
    assert_int_equal(first_of("F1"), 300);
    write_use(1, "F2", "");
    assert_int_equal(first_of("F2"), 500);
    assert_int_equal(first_of("F3"), WHEN_UNKNOWN_MS);
    /* a lot is corrected: later than the other, then the first of all */
    assert_int_equal(write_lot("L2", 700), RECORD_CHANGED);
    assert_int_equal(first_of("F1"), 500);
    assert_int_equal(write_lot("L1", 100), RECORD_CHANGED);
    assert_int_equal(first_of("F1"), 100);
    assert_int_equal(first_of("F2"), 100);
}

static void test_differences(void **state)
{
    int64_t wrong = 0;
    (void)state;
    write_lot("L1", 500);
    write_use(1, "F1", "");
    assert_int_equal(db_exec(store, "UPDATE material_first SET first_ms = 1", NULL), 0);
    assert_int_equal(material_first_differences(store, &wrong, NULL), 0);
    assert_int_equal(wrong, 1);
    assert_int_equal(db_exec(store, "DELETE FROM material_first", NULL), 0);
    assert_int_equal(material_first_differences(store, &wrong, NULL), 0);
    assert_int_equal(wrong, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_first, setup, teardown),
        cmocka_unit_test_setup_teardown(test_differences, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
