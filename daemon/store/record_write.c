#include "store/record_write.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "store/db.h"
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

struct record_writing *record_writing_new(struct store *store, enum record_kind kind,
                                          const char *source, int64_t now_ms)
{
    struct record_writing *w = xcalloc(1, sizeof *w);
    w->store = store;
    w->table = record_table(kind);
    w->sql = record_sql(kind);
    w->kind = kind;
    w->source = source;
    w->now_ms = now_ms;
    return w;
}

void record_writing_free(struct record_writing *w)
{
    free(w);
}

/* ---- ids of quantities ---- */

static int look_up_id(struct store *store, const char *sql, const char *name, int64_t *ret,
                      struct error *err)
{
    sqlite3_stmt *st = db_prepare(store, sql, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, name);
    int rc = db_step(store, st, err);
    if (rc >= 0)
        *ret = rc ? sqlite3_column_int64(st, 0) : 0;
    db_reset(st);
    return rc < 0 ? rc : 0;
}

static int intern(struct store *store, const char *name, bool add, int64_t *ret, struct error *err)
{
    static const char SQL_FIND[] = "SELECT id FROM quantity WHERE name = ?1";
    static const char SQL_ADD[] = "INSERT INTO quantity(name) VALUES(?1)";
    int rc = look_up_id(store, SQL_FIND, name, ret, err);
    if (rc || *ret || !add)
        return rc;
    sqlite3_stmt *st = db_prepare(store, SQL_ADD, err);
    if (!st)
        return ERROR_IO;
    db_bind_text(st, 1, name);
    rc = db_run(store, st, err);
    if (!rc)
        *ret = sqlite3_last_insert_rowid(db_handle(store));
    return rc;
}

static struct quantity_id *slot_of(struct record_writing *w, const char *name)
{
    uint32_t hash = 2166136261u;
    for (const char *p = name; *p; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619u;
    struct quantity_id *slot = &w->quantities[hash % QUANTITY_SLOTS];
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

/* Text is bound in place: it must live until the statement is reset. */
static void bind(sqlite3_stmt *st, const struct record_cell *cells, int count)
{
    for (int i = 0; i < count; i++) {
        switch (cells[i].form) {
        case RECORD_TEXT:
            sqlite3_bind_text(st, i + 1, cells[i].text, (int)cells[i].length, SQLITE_STATIC);
            break;
        case RECORD_INTEGER:
            sqlite3_bind_int64(st, i + 1, cells[i].integer);
            break;
        case RECORD_NUMBER:
            sqlite3_bind_double(st, i + 1, cells[i].number);
            break;
        case RECORD_NOTHING:
            sqlite3_bind_null(st, i + 1);
            break;
        }
    }
}

static int run(struct record_writing *w, const char *sql, const struct record_cell *cells,
               struct error *err)
{
    sqlite3_stmt *st = db_prepare(w->store, sql, err);
    if (!st)
        return ERROR_IO;
    bind(st, cells, w->table->count);
    int rc = db_step(w->store, st, err);
    sqlite3_reset(st); /* every parameter is bound anew next time */
    return rc < 0 ? rc : 0;
}

static struct record_cell cell_at(sqlite3_stmt *st, int at)
{
    struct record_cell cell = {.form = RECORD_NOTHING};
    switch (sqlite3_column_type(st, at)) {
    case SQLITE_INTEGER:
        cell.form = RECORD_INTEGER;
        cell.integer = sqlite3_column_int64(st, at);
        break;
    case SQLITE_FLOAT:
        cell.form = RECORD_NUMBER;
        cell.number = sqlite3_column_double(st, at);
        break;
    case SQLITE_TEXT:
        cell.form = RECORD_TEXT;
        cell.text = (const char *)sqlite3_column_text(st, at);
        cell.length = (uint32_t)sqlite3_column_bytes(st, at);
        break;
    default:
        break;
    }
    return cell;
}

/* ---- keeping what was ---- */

static const char *name_of_id(struct store *store, const char *sql, int64_t id, char *out,
                              size_t size)
{
    out[0] = '\0';
    sqlite3_stmt *st = db_prepare(store, sql, NULL);
    if (!st)
        return out;
    db_bind_id(st, 1, id);
    if (db_step(store, st, NULL) == 1)
        text_clip(db_text(st, 0), out, size);
    db_reset(st);
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
    case RECORD_DAY:
        return json_string(day_format((int32_t)cell->integer, text));
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

/* `st` stands on the old row. `cells` carry names, not ids, of quantities. */
static json_t *old_json(struct record_writing *w, const struct record_cell *cells, sqlite3_stmt *st)
{
    const struct record_table *table = w->table;
    json_t *was = json_object();
    for (int i = 0; i < table->count; i++) {
        if (table->columns[i].type == RECORD_FOLD)
            continue;
        struct record_cell old = i < table->keys ? cells[i] : cell_at(st, i - table->keys);
        json_object_set_new(was, table->columns[i].name,
                            cell_json(w->store, table->columns[i].type, &old));
    }
    return was;
}

static int keep_old(struct record_writing *w, const struct record_cell *cells, sqlite3_stmt *old,
                    struct error *err)
{
    static const char SQL_KEEP[] =
        "INSERT INTO replaced_row(kind, row_key, was, replaced_ms, source)"
        " VALUES(?1, ?2, ?3, ?4, ?5)";
    sqlite3_stmt *st = db_prepare(w->store, SQL_KEEP, err);
    if (!st)
        return ERROR_IO;
    json_t *key_value = key_json(w, cells), *was_value = old_json(w, cells, old);
    char *key = jsonx_dump(key_value), *was = jsonx_dump(was_value);
    db_bind_text(st, 1, w->table->kind);
    db_bind_text(st, 2, key);
    db_bind_text(st, 3, was);
    db_bind_ms(st, 4, w->now_ms);
    db_bind_text(st, 5, w->source);
    int rc = db_run(w->store, st, err);
    json_decref(key_value);
    json_decref(was_value);
    free(key);
    free(was);
    return rc;
}

/* ---- one row ---- */

static bool same_values(const struct record_table *table, const struct record_cell *cells,
                        sqlite3_stmt *st)
{
    for (int i = table->keys; i < table->count; i++) {
        struct record_cell old = cell_at(st, i - table->keys);
        if (!record_cell_equal(&old, &cells[i]))
            return false;
    }
    return true;
}

/* The row is there already: the same, or replaced by this one (`keep`: and kept as it was). */
static int against_old(struct record_writing *w, const struct record_cell *cells,
                       const struct record_cell *names, bool keep, enum record_outcome *ret,
                       struct error *err)
{
    sqlite3_stmt *st = db_prepare(w->store, w->sql->old, err);
    if (!st)
        return ERROR_IO;
    bind(st, cells, w->table->keys);
    int rc = db_step(w->store, st, err);
    if (rc == 0)
        *ret = RECORD_NEW;
    if (rc == 1) {
        bool same = same_values(w->table, cells, st);
        *ret = same ? RECORD_SAME : RECORD_CHANGED;
        rc = same || !keep ? 0 : keep_old(w, names, st, err);
    }
    sqlite3_reset(st);
    return rc;
}

int record_write(struct record_writing *w, const struct record_cell *cells,
                 enum record_outcome *ret, struct error *err)
{
    struct record_cell row[RECORD_COLUMNS];
    int rc = resolve(w, cells, true, row, err);
    if (!rc)
        rc = run(w, w->sql->insert, row, err);
    if (rc)
        return rc;
    if (sqlite3_changes(db_handle(w->store)) > 0) {
        *ret = RECORD_NEW;
        return 0;
    }
    rc = against_old(w, row, cells, true, ret, err);
    return rc || *ret != RECORD_CHANGED ? rc : run(w, w->sql->update, row, err);
}

int record_compare(struct record_writing *w, const struct record_cell *cells,
                   enum record_outcome *ret, struct error *err)
{
    struct record_cell row[RECORD_COLUMNS];
    int rc = resolve(w, cells, false, row, err);
    return rc ? rc : against_old(w, row, cells, false, ret, err);
}
