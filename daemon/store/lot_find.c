#include "store/lot_find.h"
#include "base/text.h"
#include "store/db.h"
#include <string.h>

#define ROW_COLUMNS                                                                                \
    "SELECT l.id, l.product_id, l.lot, l.fold, l.plant, l.line, l.shift, p.product,"               \
    " l.packed_from_ms, l.packed_to_ms, l.units, l.code_day, p.shelf_life_days"                    \
    " FROM lot l JOIN product p ON p.id = l.product_id"

/* Lots whose packing tells how much is on sale at a time: enough for a few days of a small plant
 * or some hours of a large company. */
enum { VOLUME_SAMPLE = 64 };

char *lot_find_fold(const char *code, char *out, size_t size)
{
    size_t at = 0;
    for (const char *s = code; *s && at + 1 < size; s++) {
        if ((*s >= '0' && *s <= '9') || (*s >= 'A' && *s <= 'Z'))
            out[at++] = *s;
        else if (*s >= 'a' && *s <= 'z')
            out[at++] = (char)(*s - 'a' + 'A');
    }
    if (size)
        out[at] = '\0';
    return out;
}

bool lot_find_begin(struct store *store)
{
    return sqlite3_get_autocommit(db_handle(store)) && db_exec(store, "BEGIN", NULL) == 0;
}

void lot_find_end(struct store *store, bool begun)
{
    if (begun)
        db_exec(store, "ROLLBACK", NULL);
}

static void copy_text(sqlite3_stmt *st, int at, char *out, size_t size)
{
    const char *text = db_text(st, at);
    size_t length = strnlen(text, size);
    if (length < size)
        memcpy(out, text, length + 1);
    else
        text_clip(text, out, size);
}

static void read_row(sqlite3_stmt *st, struct lot_find_row *row)
{
    row->lot_id = sqlite3_column_int64(st, 0);
    row->product_id = sqlite3_column_int64(st, 1);
    copy_text(st, 2, row->code, sizeof row->code);
    copy_text(st, 3, row->fold, sizeof row->fold);
    copy_text(st, 4, row->plant, sizeof row->plant);
    copy_text(st, 5, row->line, sizeof row->line);
    copy_text(st, 6, row->shift, sizeof row->shift);
    copy_text(st, 7, row->product, sizeof row->product);
    row->packed_from_ms = db_ms(st, 8);
    row->packed_to_ms = db_ms(st, 9);
    row->units = sqlite3_column_int64(st, 10);
    row->code_day = db_day(st, 11);
    row->shelf_life_days = sqlite3_column_int(st, 12);
}

static int read_one(struct store *store, sqlite3_stmt *st, struct lot_find_row *ret,
                    struct error *err)
{
    int rc = db_step(store, st, err);
    if (rc > 0)
        read_row(st, ret);
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no such lot");
    return rc < 0 ? rc : 0;
}

/* The statement asks for one row more than wanted, so that an overflow shows. */
static int read_rows(struct store *store, sqlite3_stmt *st, size_t limit,
                     struct lot_find_rows *rows, struct error *err)
{
    int rc;
    size_t taken = 0;
    while ((rc = db_step(store, st, err)) > 0) {
        if (taken == limit || rows->count == rows->capacity) {
            rows->overflow = true;
            rc = 0;
            break;
        }
        read_row(st, &rows->row[rows->count++]);
        taken++;
    }
    db_reset(st);
    return rc;
}

int lot_find_by_id(struct store *store, int64_t lot_id, struct lot_find_row *ret, struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.id = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_id(st, 1, lot_id);
    return read_one(store, st, ret, err);
}

int lot_find_by_code(struct store *store, const char *code, struct lot_find_row *ret,
                     struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.lot = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_text(st, 1, code);
    return read_one(store, st, ret, err);
}

int lot_find_by_fold(struct store *store, const char *fold, size_t limit,
                     struct lot_find_rows *rows, struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.fold = ?1 ORDER BY l.id DESC LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_text(st, 1, fold);
    db_bind_int(st, 2, (int64_t)limit + 1);
    return read_rows(store, st, limit, rows, err);
}

/* The key is all in the index, but for a line. */
static const char SQL_DAY[] = "SELECT id, fold FROM lot WHERE code_day = ?1 LIMIT ?2";
static const char SQL_DAY_PRODUCT[] =
    "SELECT id, fold FROM lot WHERE code_day = ?1 AND product_id = ?3 LIMIT ?2";
static const char SQL_PACKED[] = "SELECT id, fold FROM lot WHERE packed_from_ms >= ?3"
                                 " AND packed_from_ms < ?1 ORDER BY packed_from_ms DESC LIMIT ?2";
static const char SQL_PRODUCT[] =
    "SELECT id, fold FROM lot WHERE product_id = ?4 AND packed_from_ms >= ?3"
    " AND packed_from_ms < ?1 ORDER BY packed_from_ms DESC LIMIT ?2";
static const char SQL_LINE[] = "SELECT id, fold FROM lot WHERE line = ?5 AND packed_from_ms >= ?3"
                               " AND packed_from_ms < ?1 AND (?6 IS NULL OR plant = ?6)"
                               " ORDER BY packed_from_ms DESC LIMIT ?2";

static sqlite3_stmt *prepare_where(struct store *store, const struct lot_find_where *where,
                                   struct error *err)
{
    sqlite3_stmt *st;
    if (where->code_day != WHEN_UNKNOWN_DAY) {
        st = db_prepare(store, where->product_id ? SQL_DAY_PRODUCT : SQL_DAY, err);
        if (!st)
            return NULL;
        db_bind_day(st, 1, where->code_day);
        if (where->product_id)
            db_bind_id(st, 3, where->product_id);
        return st;
    }
    st = db_prepare(store,
                    where->line         ? SQL_LINE
                    : where->product_id ? SQL_PRODUCT
                                        : SQL_PACKED,
                    err);
    if (!st)
        return NULL;
    db_bind_ms(st, 1, where->to_ms);
    db_bind_ms(st, 3, where->from_ms);
    if (where->line) {
        db_bind_text(st, 5, where->line);
        db_bind_text(st, 6, where->plant && *where->plant ? where->plant : NULL);
    } else if (where->product_id) {
        db_bind_id(st, 4, where->product_id);
    }
    return st;
}

static void read_key(sqlite3_stmt *st, struct lot_find_key *key)
{
    key->lot_id = sqlite3_column_int64(st, 0);
    const char *fold = db_text(st, 1);
    size_t length = strnlen(fold, sizeof key->fold - 1);
    memcpy(key->fold, fold, length);
    key->fold[length] = '\0';
}

int lot_find_each_key(struct store *store, const struct lot_find_where *where, size_t limit,
                      lot_find_each each, void *arg, bool *ret_overflow, struct error *err)
{
    sqlite3_stmt *st = prepare_where(store, where, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_int(st, 2, (int64_t)limit + 1);
    int rc;
    size_t count = 0;
    while ((rc = db_step(store, st, err)) > 0) {
        struct lot_find_key key;
        if (count++ == limit) {
            *ret_overflow = true;
            rc = 0;
            break;
        }
        read_key(st, &key);
        rc = each(arg, &key);
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}

int lot_find_keys(struct store *store, const char *from, size_t prefix, size_t limit,
                  struct lot_find_key *keys, size_t *ret_count, struct error *err)
{
    static const char SQL[] = "SELECT id, fold FROM lot WHERE fold >= ?1 ORDER BY fold LIMIT ?2";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    /* no copy: the statement is reset before this returns */
    sqlite3_bind_text(st, 1, from, -1, SQLITE_STATIC);
    db_bind_int(st, 2, (int64_t)limit);
    int rc;
    size_t count = 0;
    while ((rc = db_step(store, st, err)) > 0) {
        read_key(st, &keys[count]);
        if (strncmp(keys[count++].fold, from, prefix) != 0)
            break;
    }
    db_reset(st);
    if (rc < 0)
        return rc;
    *ret_count = count;
    return 0;
}

static int read_product(struct store *store, sqlite3_stmt *st, struct lot_find_product *ret,
                        struct error *err)
{
    int rc = db_step(store, st, err);
    if (rc > 0) {
        ret->product_id = sqlite3_column_int64(st, 0);
        text_clip(db_text(st, 1), ret->product, sizeof ret->product);
        text_clip(db_text(st, 2), ret->name, sizeof ret->name);
        ret->shelf_life_days = sqlite3_column_int(st, 3);
    }
    db_reset(st);
    if (rc == 0)
        return error_set(err, ERROR_NOT_FOUND, "there is no such product");
    return rc < 0 ? rc : 0;
}

int lot_find_product_by_code(struct store *store, const char *product, struct lot_find_product *ret,
                             struct error *err)
{
    static const char SQL[] =
        "SELECT id, product, name, shelf_life_days FROM product WHERE product = ?1";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_text(st, 1, product);
    return read_product(store, st, ret, err);
}

int lot_find_product_by_gtin(struct store *store, const char *gtin14, struct lot_find_product *ret,
                             struct error *err)
{
    static const char SQL[] = "SELECT id, product, name, shelf_life_days FROM product"
                              " WHERE gtin IN (?1, ?2, ?3, ?4) ORDER BY id LIMIT 1";
    static const size_t LEADING[] = {0, 1, 2, 6}; /* zeros before a GTIN-13, -12, -8 */
    if (strlen(gtin14) != 14)
        return error_set(err, ERROR_INVALID, "a GTIN has 14 digits here");
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    for (size_t i = 0; i < sizeof LEADING / sizeof LEADING[0]; i++)
        if (strspn(gtin14, "0") >= LEADING[i])
            db_bind_text(st, (int)i + 1, gtin14 + LEADING[i]);
    return read_product(store, st, ret, err);
}

int lot_find_sent(struct store *store, int64_t lot_id, const char *store_name, const char *route,
                  struct lot_find_sent *ret, struct error *err)
{
    static const char SQL_STORE[] =
        "SELECT COALESCE(SUM(units), 0),"
        " COALESCE(SUM(CASE WHEN store = ?2 THEN units END), 0), COUNT(DISTINCT store)"
        " FROM dispatch WHERE lot_id = ?1 AND store <> ''";
    static const char SQL_ROUTE[] =
        "SELECT COALESCE(SUM(units), 0),"
        " COALESCE(SUM(CASE WHEN route = ?2 THEN units END), 0), COUNT(DISTINCT route)"
        " FROM dispatch WHERE lot_id = ?1";
    sqlite3_stmt *st = db_prepare(store, store_name ? SQL_STORE : SQL_ROUTE, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_id(st, 1, lot_id);
    db_bind_text(st, 2, store_name ? store_name : route);
    int rc = db_step(store, st, err);
    if (rc > 0)
        *ret = (struct lot_find_sent){sqlite3_column_int64(st, 0), sqlite3_column_int64(st, 1),
                                      sqlite3_column_int(st, 2)};
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int lot_find_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_newest_ms,
                  struct error *err)
{
    /* apart: together they would scan the index instead of looking at its ends */
    static const char SQL[] = "SELECT (SELECT MIN(packed_from_ms) FROM lot),"
                              " (SELECT MAX(packed_from_ms) FROM lot)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    int rc = db_step(store, st, err);
    if (rc > 0) {
        *ret_first_ms = db_ms(st, 0);
        *ret_newest_ms = db_ms(st, 1);
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int lot_find_place_known(struct store *store, enum lot_find_place kind, const char *name,
                         bool *ret_known, struct error *err)
{
    static const char SQL_STORE[] = "SELECT EXISTS(SELECT 1 FROM dispatch WHERE store = ?1),"
                                    " EXISTS(SELECT 1 FROM dispatch WHERE store > '')";
    static const char SQL_ROUTE[] = "SELECT EXISTS(SELECT 1 FROM dispatch WHERE route = ?1),"
                                    " EXISTS(SELECT 1 FROM dispatch WHERE route > '')";
    sqlite3_stmt *st = db_prepare(store, kind == LOT_FIND_STORE ? SQL_STORE : SQL_ROUTE, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_text(st, 1, name);
    int rc = db_step(store, st, err);
    if (rc > 0)
        *ret_known = sqlite3_column_int(st, 0) || !sqlite3_column_int(st, 1);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

static int count_products(struct store *store, int *ret, struct error *err)
{
    static const char SQL[] = "SELECT COUNT(*) FROM product";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    int rc = db_step(store, st, err);
    if (rc > 0)
        *ret = sqlite3_column_int(st, 0);
    db_reset(st);
    return rc < 0 ? rc : 0;
}

static int read_volume(struct store *store, int64_t before_ms, struct lot_find_volume *ret,
                       struct error *err)
{
    static const char SQL[] =
        "SELECT COUNT(*), COALESCE(SUM(units), 0.0), MIN(packed_from_ms), MAX(packed_from_ms),"
        " AVG(shelf_life_days) FROM (SELECT l.units AS units, l.packed_from_ms AS packed_from_ms,"
        " p.shelf_life_days AS shelf_life_days FROM lot l JOIN product p ON p.id = l.product_id"
        " WHERE l.packed_from_ms < ?1 ORDER BY l.packed_from_ms DESC LIMIT ?2)";
    struct lot_find_volume volume = {0};
    int rc = count_products(store, &volume.products, err);
    if (rc < 0)
        return rc;
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    db_bind_ms(st, 1, before_ms);
    db_bind_int(st, 2, VOLUME_SAMPLE);
    rc = db_step(store, st, err);
    if (rc > 0 && sqlite3_column_int(st, 0) > 0) {
        double days = (double)(db_ms(st, 3) - db_ms(st, 2)) / (double)WHEN_DAY_MS;
        double lots = sqlite3_column_int(st, 0);
        double units = db_real(st, 1);
        /* n lots span n - 1 gaps; a lone lot counts as a day's work */
        volume.lots_per_day = days > 0 ? (lots - 1) / days : 1;
        volume.units_per_day = volume.lots_per_day * units / lots;
        volume.shelf_life_days = db_real(st, 4);
        volume.newest_ms = db_ms(st, 3);
    }
    db_reset(st);
    if (rc < 0)
        return rc;
    *ret = volume;
    return 0;
}

/* What the last answer was made from: it holds for the hour, as long as nothing is added. */
struct volume_memo {
    int64_t hour, last_lot, last_product;
    struct lot_find_volume volume;
};

static int read_last(struct store *store, struct volume_memo *ret, struct error *err)
{
    static const char SQL[] = "SELECT (SELECT MAX(id) FROM lot), (SELECT MAX(id) FROM product)";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_INTERNAL;
    int rc = db_step(store, st, err);
    if (rc > 0) {
        ret->last_lot = sqlite3_column_int64(st, 0);
        ret->last_product = sqlite3_column_int64(st, 1);
    }
    db_reset(st);
    return rc < 0 ? rc : 0;
}

int lot_find_volume(struct store *store, int64_t before_ms, struct lot_find_volume *ret,
                    struct error *err)
{
    static const char KEY[] = "volume";
    struct volume_memo *memo = db_memo(store, KEY, sizeof *memo);
    struct volume_memo now = {.hour = before_ms / WHEN_HOUR_MS};
    int rc = read_last(store, &now, err);
    if (rc)
        return rc;
    if (memo->hour != now.hour || memo->last_lot != now.last_lot ||
        memo->last_product != now.last_product) {
        /* up to the hour's end, so that it does not matter who asked first */
        rc = read_volume(store, (now.hour + 1) * WHEN_HOUR_MS, &now.volume, err);
        if (rc)
            return rc;
        *memo = now;
    }
    *ret = memo->volume;
    return 0;
}

/* ---- the record as a whole ---- */

int lot_find_lines(struct store *store, int (*each)(void *arg, const char *line), void *arg,
                   struct error *err)
{
    /* from line to line along the index: a DISTINCT would look at every lot */
    static const char SQL[] = "WITH RECURSIVE next(line) AS (SELECT min(line) FROM lot UNION ALL"
                              " SELECT (SELECT min(line) FROM lot WHERE line > next.line) FROM next"
                              " WHERE next.line IS NOT NULL)"
                              " SELECT line FROM next WHERE line IS NOT NULL";
    sqlite3_stmt *st = db_prepare(store, SQL, err);
    if (!st)
        return ERROR_IO;
    int rc;
    while ((rc = db_step(store, st, err)) == 1) {
        rc = each(arg, db_text(st, 0));
        if (rc)
            break;
    }
    db_reset(st);
    return rc;
}
