#include "store/record_write.h"
#include "base/hash.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "store/company_count.h"
#include "store/db.h"
#include "store/hold.h"
#include "store/material_first.h"
#include "store/move.h"
#include "store/pattern.h"
#include "store/record_sql.h"
#include <stdlib.h>
#include <string.h>

enum { QUANTITY_SLOTS = 1024, QUANTITY_NAME = 48 };

struct quantity_id {
    char name[QUANTITY_NAME];
    int64_t id; /* 0: the slot is free */
};

struct record_writing {
    struct store *store;
    const struct record_table *table;
    const struct record_sql *sql;
    enum record_kind kind;
    const char *source;
    int64_t now_ms;
    int used; /* of the slots */
    struct quantity_id quantities[QUANTITY_SLOTS];
};

struct record_writing *record_write_new(struct store *store, enum record_kind kind,
                                        const char *source, int64_t now_ms)
{
    struct record_writing *w = xcalloc(1, sizeof *w);
    w->store = store;
    w->table = record_kind_table(kind);
    w->sql = record_sql(kind);
    w->kind = kind;
    w->source = source;
    w->now_ms = now_ms;
    return w;
}

void record_write_free(struct record_writing *w)
{
    free(w);
}

/* ---- ids of quantities ---- */

static int intern(struct store *store, const char *name, bool add, int64_t *ret, struct error *err)
{
    static const char SQL_FIND[] = "SELECT id FROM quantity WHERE name = ?1";
    static const char SQL_ADD[] = "INSERT INTO quantity(name) VALUES(?1)";
    int rc = db_number(store, SQL_FIND, DB(DB_TEXT(name)), ret, err);
    if (rc || *ret || !add)
        return rc;
    rc = db_run(store, SQL_ADD, DB(DB_TEXT(name)), err);
    if (!rc)
        *ret = db_last_id(store);
    return rc;
}

static struct quantity_id *slot_of(struct record_writing *w, const char *name)
{
    struct quantity_id *slot = &w->quantities[hash_text(name) % QUANTITY_SLOTS];
    while (slot->id && strcmp(slot->name, name) != 0) {
        if (++slot == w->quantities + QUANTITY_SLOTS)
            slot = w->quantities;
    }
    return slot;
}

static int quantity_id(struct record_writing *w, const char *name, bool add, int64_t *ret,
                       struct error *err)
{
    struct quantity_id *slot = slot_of(w, name);
    if (slot->id) {
        *ret = slot->id;
        return 0;
    }
    int rc = intern(w->store, name, add, ret, err);
    if (!rc && *ret && strlen(name) < QUANTITY_NAME && w->used < QUANTITY_SLOTS / 2) {
        text_clip(name, slot->name, sizeof slot->name);
        slot->id = *ret;
        w->used++;
    }
    return rc;
}

/* Cells as the tables hold them: names of quantities become ids. */
static int resolve(struct record_writing *w, const struct record_cell *cells, bool add,
                   struct record_cell out[RECORD_COLUMNS], struct error *err)
{
    for (int i = 0; i < w->table->count; i++) {
        out[i] = cells[i];
        if (w->table->columns[i].type != RECORD_QUANTITY)
            continue;
        int rc = quantity_id(w, cells[i].text, add, &out[i].integer, err);
        if (rc)
            return rc;
        out[i].form = RECORD_INTEGER;
    }
    return 0;
}

/* ---- statements ---- */

static int run(struct record_writing *w, const char *sql, const struct record_cell *cells,
               struct error *err)
{
    struct db_query q = db_query_cells(w->store, sql, cells, w->table->count, err);
    db_next(&q);
    return db_end(&q, 0);
}

/* ---- keeping what was ---- */

static const char *name_of_id(struct store *store, const char *sql, int64_t id, char *out,
                              size_t size)
{
    struct db_query q = db_query(store, sql, DB(DB_ID(id)), NULL);
    out[0] = '\0';
    if (db_next(&q))
        db_copy(&q, 0, out, size);
    db_end(&q, 0);
    return out;
}

static json_t *cell_json(struct store *store, enum record_type type, const struct record_cell *cell)
{
    static const char SQL_LOT[] = "SELECT lot FROM lot WHERE id = ?1";
    static const char SQL_PRODUCT[] = "SELECT product FROM product WHERE id = ?1";
    char text[128];
    if (cell->form == RECORD_NOTHING)
        return json_null();
    switch (type) {
    case RECORD_LOT_REF:
        return json_string(name_of_id(store, SQL_LOT, cell->integer, text, sizeof text));
    case RECORD_PRODUCT_REF:
        return json_string(name_of_id(store, SQL_PRODUCT, cell->integer, text, sizeof text));
    case RECORD_WHEN:
        return json_string(when_format_utc(cell->integer, text));
    case RECORD_DAY: /* day 0: from the first on */
        return cell->integer ? json_string(day_format((int32_t)cell->integer, text)) : json_null();
    default:
        break;
    }
    if (cell->form == RECORD_TEXT)
        return json_stringn(cell->text, cell->length);
    return cell->form == RECORD_INTEGER ? json_integer(cell->integer) : json_real(cell->number);
}

static json_t *key_json(struct record_writing *w, const struct record_cell *cells)
{
    json_t *key = json_array();
    for (int i = 0; i < w->table->keys; i++)
        json_array_append_new(key, cell_json(w->store, w->table->columns[i].type, &cells[i]));
    return key;
}

/* `q` stands on the old row. `cells` carry names, not ids, of quantities. */
static json_t *old_json(struct record_writing *w, const struct record_cell *cells,
                        struct db_query *q)
{
    const struct record_table *table = w->table;
    json_t *was = json_object();
    for (int i = 0; i < table->count; i++) {
        if (table->columns[i].type == RECORD_FOLD)
            continue;
        struct record_cell old = i < table->keys ? cells[i] : db_cell(q, i - table->keys);
        json_object_set_new(was, table->columns[i].name,
                            cell_json(w->store, table->columns[i].type, &old));
    }
    return was;
}

/* What of it is otherwise now. */
static json_t *new_json(struct record_writing *w, const struct record_cell *cells,
                        const json_t *was)
{
    const struct record_table *table = w->table;
    json_t *now = json_object();
    for (int i = table->keys; i < table->count; i++) {
        if (table->columns[i].type == RECORD_FOLD)
            continue;
        json_t *is = cell_json(w->store, table->columns[i].type, &cells[i]);
        if (!json_equal(is, json_object_get(was, table->columns[i].name)))
            json_object_set(now, table->columns[i].name, is);
        json_decref(is);
    }
    return now;
}

static int keep_old(struct record_writing *w, const struct record_cell *cells, struct db_query *old,
                    struct error *err)
{
    static const char SQL_KEEP[] =
        "INSERT INTO replaced_row(kind, row_key, was, replaced_ms, source, now)"
        " VALUES(?1, ?2, ?3, ?4, ?5, ?6)";
    json_t *key_value = key_json(w, cells), *was_value = old_json(w, cells, old);
    json_t *now_value = new_json(w, cells, was_value);
    char *key = jsonx_dump(key_value), *was = jsonx_dump(was_value), *now = jsonx_dump(now_value);
    int rc = db_run(w->store, SQL_KEEP,
                    DB(DB_TEXT(w->table->kind), DB_TEXT(key), DB_TEXT(was), DB_MS(w->now_ms),
                       DB_TEXT(w->source), DB_TEXT(now)),
                    err);
    json_decref(key_value);
    json_decref(was_value);
    json_decref(now_value);
    free(key);
    free(was);
    free(now);
    return rc;
}

/* ---- one row ---- */

static bool same_values(const struct record_table *table, const struct record_cell *cells,
                        struct db_query *q)
{
    for (int i = table->keys; i < table->count; i++) {
        struct record_cell old = db_cell(q, i - table->keys);
        if (!record_kind_cell_equal(&old, &cells[i]))
            return false;
    }
    return true;
}

/* The row is there already: the same, or replaced by this one (`keep`: and kept as it was). */
static int against_old(struct record_writing *w, const struct record_cell *cells,
                       const struct record_cell *names, bool keep, enum record_outcome *ret,
                       struct error *err)
{
    struct db_query q = db_query_cells(w->store, w->sql->old, cells, w->table->keys, err);
    int rc = 0;
    db_keep(&q); /* keeping it asks for the names of lots and products */
    *ret = RECORD_NEW;
    if (db_next(&q)) {
        bool same = same_values(w->table, cells, &q);
        *ret = same ? RECORD_SAME : RECORD_CHANGED;
        rc = same || !keep ? 0 : keep_old(w, names, &q, err);
    }
    return db_end(&q, rc);
}

/* ---- counts ---- */

static int id_of(struct store *store, const char *sql, const struct record_cell *cells,
                 int64_t *ret, struct error *err)
{
    return db_number(store, sql, DB(DB_TEXT(cells[0].text)), ret, err);
}

static int count_lot(struct store *store, const struct record_cell *cells, enum pattern_way way,
                     struct error *err)
{
    static const char SQL[] = "SELECT id FROM lot WHERE lot = ?1";
    int64_t lot_id = 0;
    int rc = id_of(store, SQL, cells, &lot_id, err);
    if (!rc)
        rc = pattern_count_lot(store, lot_id, way, err);
    if (!rc)
        rc = company_count_lot(store, lot_id, way, err);
    return rc || way == PATTERN_OUT ? rc : material_first_lot(store, lot_id, err);
}

static int count_product(struct store *store, const struct record_cell *cells, enum pattern_way way,
                         struct error *err)
{
    static const char SQL[] = "SELECT id FROM product WHERE product = ?1";
    int64_t product_id = 0;
    int rc = id_of(store, SQL, cells, &product_id, err);
    return rc ? rc : pattern_count_product(store, product_id, way, err);
}

/* What counts by week and lot hang on: before the row is changed, and after it is written. */
static int count(struct record_writing *w, const struct record_cell *cells, enum pattern_way way,
                 struct error *err)
{
    switch (w->kind) {
    case RECORD_PRODUCTS:
        return count_product(w->store, cells, way, err);
    case RECORD_LOTS:
        return count_lot(w->store, cells, way, err);
    case RECORD_DISPATCH:
        return pattern_count_sent(w->store, cells, way, err);
    default:
        return 0;
    }
}

static int take_lot(struct store *store, int64_t lot_id, struct error *err)
{
    int rc = pattern_count_lot(store, lot_id, PATTERN_IN, err);
    return rc ? rc : hold_take_code(store, lot_id, err);
}

static int take_use(struct store *store, const struct record_cell *cells, struct error *err)
{
    enum { LOT, MATERIAL, MATERIAL_LOT };
    return material_first_used(store, cells[LOT].integer, cells[MATERIAL].text,
                               cells[MATERIAL_LOT].text, err);
}

static int count_new(struct record_writing *w, const struct record_cell *cells, struct error *err)
{
    if (w->kind == RECORD_PRODUCTS) /* nothing can be about it yet */
        return 0;
    if (w->kind == RECORD_LOTS)
        return take_lot(w->store, db_last_id(w->store), err);
    if (w->kind == RECORD_USES)
        return take_use(w->store, cells, err);
    return count(w, cells, PATTERN_IN, err);
}

static int own_lot(struct store *store, const struct record_cell *cells, struct error *err)
{
    static const char SQL[] = "SELECT id FROM lot WHERE lot = ?1";
    int64_t lot_id = 0;
    int rc = id_of(store, SQL, cells, &lot_id, err);
    return rc ? rc : move_lot_plant(store, lot_id, err);
}

static int change(struct record_writing *w, const struct record_cell *row, struct error *err)
{
    int rc = count(w, row, PATTERN_OUT, err);
    if (!rc)
        rc = run(w, w->sql->update, row, err);
    if (!rc && w->kind == RECORD_LOTS)
        rc = own_lot(w->store, row, err);
    return rc ? rc : count(w, row, PATTERN_IN, err);
}

/* ---- writing ---- */

static int write_row(struct record_writing *w, const struct record_cell *cells,
                     const struct record_cell *row, enum record_outcome *ret, struct error *err)
{
    int rc = run(w, w->sql->insert, row, err);
    if (rc)
        return rc;
    if (db_changes(w->store) > 0) {
        *ret = RECORD_NEW;
        return count_new(w, row, err);
    }
    rc = against_old(w, row, cells, true, ret, err);
    return rc || *ret != RECORD_CHANGED ? rc : change(w, row, err);
}

int record_write(struct record_writing *w, const struct record_cell *cells,
                 enum record_outcome *ret, struct error *err)
{
    struct record_cell row[RECORD_COLUMNS];
    int rc = resolve(w, cells, true, row, err);
    if (rc || w->kind != RECORD_DISPATCH)
        return rc ? rc : write_row(w, cells, row, ret, err);
    rc = pattern_count_routed(w->store, row, PATTERN_OUT, err);
    if (!rc)
        rc = write_row(w, cells, row, ret, err);
    return rc ? rc : pattern_count_routed(w->store, row, PATTERN_IN, err);
}

int record_write_compare(struct record_writing *w, const struct record_cell *cells,
                         enum record_outcome *ret, struct error *err)
{
    struct record_cell row[RECORD_COLUMNS];
    int rc = resolve(w, cells, false, row, err);
    return rc ? rc : against_old(w, row, cells, false, ret, err);
}
