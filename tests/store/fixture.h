/* A database of one's own, in memory where there is a folder for it: empty, with rows, or with a
 * product, its two lots and, as one likes, complaints. */
#ifndef ODDLOAF_TESTS_STORE_FIXTURE_H
#define ODDLOAF_TESTS_STORE_FIXTURE_H

#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/complaint.h"
#include "store/db.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct fixture {
    char dir[64];
    struct store *store;
};

static inline void fixture_write(struct fixture *f, const char *sql)
{
    struct error err = {0};
    if (db_exec(f->store, sql, &err))
        fail_msg("%s", err.text);
}

static inline int fixture_empty(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    const char *where = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    snprintf(f->dir, sizeof f->dir, "%s/oddloaf-store-XXXXXX", where);
    assert_non_null(state_folder(f->dir));
    assert_int_equal(store_open(f->dir, STORE_WRITE, &f->store, NULL), 0);
    *state = f;
    return 0;
}

/* In a transaction of the writer. */
static inline int fixture_with(void **state, const char *rows)
{
    fixture_empty(state);
    struct fixture *f = *state;
    assert_int_equal(store_begin(f->store, NULL), 0);
    fixture_write(f, rows);
    return 0;
}

/* One product and one lot of it, "L1". */
#define FIXTURE_LOT                                                                                \
    "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin)"                \
    " VALUES(1, 'W24', 'Wheat', 'pan-bread', 10, 680, NULL);"                                      \
    "INSERT INTO lot(id, lot, fold, product_id, line, made_from_ms, made_to_ms, packed_from_ms,"   \
    " packed_to_ms, units, code_day) VALUES(1, 'L1', 'L1', 1, '1', 0, 1, 2, 3, 1000, 10);"

static inline int fixture_open(void **state)
{
    return fixture_with(
        state, FIXTURE_LOT
        "INSERT INTO lot(id, lot, fold, product_id, line, made_from_ms, made_to_ms, packed_from_ms,"
        " packed_to_ms, units, code_day) VALUES(2, 'L2', 'L2', 1, '1', 0, 1, 2, 3, 1000, 10)");
}

static inline int fixture_close(void **state)
{
    struct fixture *f = *state;
    struct text_buffer command = {0};
    store_close(f->store);
    text_appendf(&command, "rm -rf %s", f->dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    free(f);
    return rc;
}

/* Of two moldy packs. `lot_id`: 0, it is not known. */
static inline struct complaint_new fixture_complaint(const char *uuid, int64_t lot_id)
{
    struct complaint_new c = {.uuid = uuid,
                              .received_ms = 50,
                              .logged_ms = 100,
                              .channel = "phone",
                              .symptom = "mold",
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .packs = 2,
                              .body = "{}",
                              .lots = {.state = LOT_UNKNOWN}};
    if (lot_id)
        c.lots = (struct complaint_lots){.state = LOT_EXACT, .count = 1, .lot = {{lot_id, 0.95}}};
    return c;
}

#endif
