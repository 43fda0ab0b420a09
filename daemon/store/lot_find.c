#include "store/lot_find.h"
#include "store/db.h"
#include "store/seen.h"
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

static void read_row(struct db_query *q, struct lot_find_row *row)
{
    row->lot_id = db_int64(q, 0);
    row->product_id = db_int64(q, 1);
    db_copy(q, 2, row->code, sizeof row->code);
    db_copy(q, 3, row->fold, sizeof row->fold);
    db_copy(q, 4, row->plant, sizeof row->plant);
    db_copy(q, 5, row->line, sizeof row->line);
    db_copy(q, 6, row->shift, sizeof row->shift);
    db_copy(q, 7, row->product, sizeof row->product);
    row->packed_from_ms = db_ms(q, 8);
    row->packed_to_ms = db_ms(q, 9);
    row->units = db_int64(q, 10);
    row->code_day = db_day(q, 11);
    row->shelf_life_days = db_int(q, 12);
}

static int read_one(struct db_query *q, struct lot_find_row *ret)
{
    if (db_next(q))
        read_row(q, ret);
    return db_found(q, "there is no such lot");
}

/* Those that who asks may see. The statement asks for one row more than wanted, so that an overflow
 * shows. */
static int read_rows(struct db_query *q, size_t limit, struct lot_find_rows *rows)
{
    for (size_t taken = 0; db_next(q); taken++) {
        if (!seen_plant(q->store, db_text(q, 4)))
            continue;
        if (taken == limit || rows->count == rows->capacity) {
            rows->overflow = true;
            break;
        }
        read_row(q, &rows->row[rows->count++]);
    }
    return db_end(q, 0);
}

int lot_find_by_id(struct store *store, int64_t lot_id, struct lot_find_row *ret, struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.id = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_ID(lot_id)), err);
    return read_one(&q, ret);
}

int lot_find_by_code(struct store *store, const char *code, struct lot_find_row *ret,
                     struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.lot = ?1";
    struct lot_find_row row;
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(code)), err);
    while (db_next(&q) && !seen_plant(store, db_text(&q, 4)))
        q.rows = 0; /* as if there were none */
    if (q.rows)
        read_row(&q, &row);
    int rc = db_found(&q, "there is no such lot");
    if (!rc)
        *ret = row;
    return rc;
}

int lot_find_by_fold(struct store *store, const char *fold, size_t limit,
                     struct lot_find_rows *rows, struct error *err)
{
    static const char SQL[] = ROW_COLUMNS " WHERE l.fold = ?1 ORDER BY l.id DESC LIMIT ?2";
    enum { OF_ALL_PLANTS = 256 };
    int64_t most = seen_all(store) ? (int64_t)limit + 1 : OF_ALL_PLANTS;
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(fold), DB_INT(most)), err);
    return read_rows(&q, limit, rows);
}

/* The key is all in the index, but for a line. */
static const char SQL_DAY[] = "SELECT id, fold FROM lot WHERE code_day = ?1 LIMIT ?2";
static const char SQL_DAY_PRODUCT[] =
    "SELECT id, fold FROM lot WHERE code_day = ?1 AND product_id = ?3 LIMIT ?2";
#define KEYS_PACKED(which)                                                                         \
    "SELECT id, fold FROM lot WHERE " which "packed_from_ms < ?1 AND packed_from_ms >= ?3"         \
    " ORDER BY packed_from_ms DESC LIMIT ?2"
static const char SQL_PACKED[] = KEYS_PACKED("");
static const char SQL_PRODUCT[] = KEYS_PACKED("product_id = ?4 AND ");
static const char SQL_LINE[] = KEYS_PACKED("line = ?4 AND (?5 IS NULL OR plant = ?5) AND ");

static struct db_query query_keys(struct store *store, const struct lot_find_where *where,
                                  struct error *err)
{
    const struct db_value most = DB_INT((int64_t)where->limit + 1);
    const struct db_value product = DB_ID(where->product_id);
    const struct db_value from = DB_MS(where->packed.from_ms), to = DB_MS(where->packed.to_ms);
    if (where->code_day != WHEN_UNKNOWN_DAY && where->product_id)
        return db_query(store, SQL_DAY_PRODUCT, DB(DB_DAY(where->code_day), most, product), err);
    if (where->code_day != WHEN_UNKNOWN_DAY)
        return db_query(store, SQL_DAY, DB(DB_DAY(where->code_day), most), err);
    if (where->line)
        return db_query(store, SQL_LINE,
                        DB(to, most, from, DB_TEXT(where->line), DB_SAID(where->plant)), err);
    if (where->product_id)
        return db_query(store, SQL_PRODUCT, DB(to, most, from, product), err);
    return db_query(store, SQL_PACKED, DB(to, most, from), err);
}

static void read_key(struct db_query *q, struct lot_find_key *key)
{
    key->lot_id = db_int64(q, 0);
    const char *fold = db_text(q, 1);
    size_t length = strnlen(fold, sizeof key->fold - 1);
    memcpy(key->fold, fold, length);
    key->fold[length] = '\0';
}

int lot_find_each_key(struct store *store, const struct lot_find_where *where, lot_find_each each,
                      void *arg, bool *ret_overflow, struct error *err)
{
    struct db_query q = query_keys(store, where, err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        struct lot_find_key key;
        if ((size_t)q.rows > where->limit) {
            *ret_overflow = true;
            break;
        }
        read_key(&q, &key);
        rc = each(arg, &key);
    }
    return db_end(&q, rc);
}

int lot_find_keys(struct store *store, const char *from, size_t prefix, struct lot_find_keys *ret,
                  struct error *err)
{
    static const char SQL[] = "SELECT id, fold FROM lot WHERE fold >= ?1 ORDER BY fold LIMIT ?2";
    struct db_query q =
        db_query(store, SQL, DB(DB_TEXT(from), DB_INT((int64_t)ret->capacity)), err);
    bool within = true;
    ret->count = 0;
    while (within && db_next(&q)) {
        struct lot_find_key *key = &ret->key[ret->count++];
        read_key(&q, key);
        within = strncmp(key->fold, from, prefix) == 0;
    }
    return db_end(&q, 0);
}

static int read_product(struct db_query *q, struct lot_find_product *ret)
{
    if (db_next(q)) {
        ret->product_id = db_int64(q, 0);
        db_copy(q, 1, ret->product, sizeof ret->product);
        db_copy(q, 2, ret->name, sizeof ret->name);
        ret->shelf_life_days = db_int(q, 3);
    }
    return db_found(q, "there is no such product");
}

int lot_find_product_by_code(struct store *store, const char *product, struct lot_find_product *ret,
                             struct error *err)
{
    static const char SQL[] =
        "SELECT id, product, name, shelf_life_days FROM product WHERE product = ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(product)), err);
    return read_product(&q, ret);
}

int lot_find_called(struct store *store, bool only_also, lot_find_each_called each, void *arg,
                    struct error *err)
{
#define CALLED                                                                                     \
    "SELECT id, product, name, family, coalesce(gtin, ''), coalesce(also, ''), shelf_life_days"    \
    " FROM product"
    static const char SQL[] = CALLED " ORDER BY product";
    static const char SQL_ALSO[] = CALLED " WHERE also IS NOT NULL ORDER BY product";
    struct db_query q = db_query(store, only_also ? SQL_ALSO : SQL, NULL, err);
    int rc = 0;
    while (!rc && db_next(&q)) {
        const struct lot_find_called row = {.product_id = db_int64(&q, 0),
                                            .product = db_text(&q, 1),
                                            .name = db_text(&q, 2),
                                            .family = db_text(&q, 3),
                                            .gtin = db_text(&q, 4),
                                            .also = db_text(&q, 5),
                                            .shelf_life_days = db_int(&q, 6)};
        rc = each(arg, &row);
    }
    return db_end(&q, rc);
}

int lot_find_product_by_gtin(struct store *store, const char *gtin14, struct lot_find_product *ret,
                             struct error *err)
{
    static const char SQL[] = "SELECT id, product, name, shelf_life_days FROM product"
                              " WHERE gtin IN (?1, ?2, ?3, ?4) ORDER BY id LIMIT 1";
    static const size_t LEADING[] = {0, 1, 2, 6}; /* zeros before a GTIN-13, -12, -8 */
    if (strlen(gtin14) != 14)
        return error_set(err, ERROR_INVALID, "a GTIN has 14 digits here");
    struct db_value as[5] = {[4] = {.form = DB_IS_END}};
    for (size_t i = 0; i < sizeof LEADING / sizeof LEADING[0]; i++)
        as[i] =
            strspn(gtin14, "0") >= LEADING[i] ? DB_TEXT(gtin14 + LEADING[i]) : DB_NULL(DB_IS_TEXT);
    struct db_query q = db_query(store, SQL, as, err);
    return read_product(&q, ret);
}

int lot_find_sent(struct store *store, int64_t lot_id, const char *store_name, const char *route,
                  struct lot_find_sent *ret, struct error *err)
{
    static const char SQL_STORE[] = "SELECT store, SUM(units) FROM dispatch WHERE lot_id = ?1"
                                    " AND store <> '' GROUP BY store";
    static const char SQL_ROUTE[] = "SELECT route, SUM(units) FROM dispatch WHERE lot_id = ?1"
                                    " GROUP BY route";
    const char *there = store_name ? store_name : route;
    struct db_query q = db_query(store, store_name ? SQL_STORE : SQL_ROUTE, DB(DB_ID(lot_id)), err);
    *ret = (struct lot_find_sent){0};
    while (db_next(&q)) {
        int64_t units = db_int64(&q, 1);
        ret->units += units;
        ret->units_there += strcmp(db_text(&q, 0), there) == 0 ? units : 0;
        ret->places = q.rows;
    }
    return db_end(&q, 0);
}

int lot_find_routes(struct store *store, int64_t lot_id,
                    int (*each)(void *arg, const char *route, int64_t units), void *arg,
                    struct error *err)
{
    static const char SQL[] = "SELECT route, SUM(units) FROM dispatch WHERE lot_id = ?1"
                              " GROUP BY route ORDER BY route";
    struct db_query q = db_query(store, SQL, DB(DB_ID(lot_id)), err);
    int rc = 0;
    while (!rc && db_next(&q))
        rc = each(arg, db_text(&q, 0), db_int64(&q, 1));
    return db_end(&q, rc);
}

int lot_find_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_newest_ms,
                  struct error *err)
{
    /* apart: together they would scan the index instead of looking at its ends */
    static const char SQL[] = "SELECT (SELECT MIN(packed_from_ms) FROM lot),"
                              " (SELECT MAX(packed_from_ms) FROM lot)";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q)) {
        *ret_first_ms = db_ms(&q, 0);
        *ret_newest_ms = db_ms(&q, 1);
    }
    return db_end(&q, 0);
}

int lot_find_first(struct store *store, const char *plant, int64_t *ret_ms, struct error *err)
{
    static const char SQL[] = "SELECT MIN(packed_from_ms) FROM lot",
                      SQL_PLANT[] = "SELECT MIN(packed_from_ms) FROM lot WHERE plant = ?1";
    struct db_query q = *plant ? db_query(store, SQL_PLANT, DB(DB_TEXT(plant)), err)
                               : db_query(store, SQL, NULL, err);
    if (db_next(&q))
        *ret_ms = db_ms(&q, 0);
    return db_end(&q, 0);
}

int lot_find_place_known(struct store *store, enum lot_find_place kind, const char *name,
                         bool *ret_known, struct error *err)
{
    static const char SQL_STORE[] = "SELECT EXISTS(SELECT 1 FROM dispatch WHERE store = ?1)";
    static const char SQL_ROUTE[] = "SELECT EXISTS(SELECT 1 FROM dispatch WHERE route = ?1)";
    int64_t known = 0;
    int rc = db_number(store, kind == LOT_FIND_STORE ? SQL_STORE : SQL_ROUTE, DB(DB_TEXT(name)),
                       &known, err);
    *ret_known = known != 0;
    return rc;
}

static int read_volume(struct store *store, int64_t before_ms, struct lot_find_volume *ret,
                       struct error *err)
{
    static const char SQL[] =
        "SELECT COUNT(*), COALESCE(SUM(units), 0.0), MIN(packed_from_ms), MAX(packed_from_ms),"
        " AVG(shelf_life_days) FROM (SELECT l.units AS units, l.packed_from_ms AS packed_from_ms,"
        " p.shelf_life_days AS shelf_life_days FROM lot l JOIN product p ON p.id = l.product_id"
        " WHERE l.packed_from_ms < ?1 ORDER BY l.packed_from_ms DESC LIMIT ?2) s";
    static const char SQL_PRODUCTS[] = "SELECT COUNT(*) FROM product";
    struct lot_find_volume volume = {0};
    int64_t products = 0;
    int rc = db_number(store, SQL_PRODUCTS, NULL, &products, err);
    if (rc)
        return rc;
    volume.products = (int)products;
    struct db_query q = db_query(store, SQL, DB(DB_MS(before_ms), DB_INT(VOLUME_SAMPLE)), err);
    if (db_next(&q) && db_int(&q, 0) > 0) {
        double days = (double)(db_ms(&q, 3) - db_ms(&q, 2)) / (double)WHEN_DAY_MS;
        double lots = db_int(&q, 0);
        double units = db_real(&q, 1);
        /* n lots span n - 1 gaps; a lone lot counts as a day's work */
        volume.lots_per_day = days > 0 ? (lots - 1) / days : 1;
        volume.units_per_day = volume.lots_per_day * units / lots;
        volume.shelf_life_days = db_real(&q, 4);
        volume.newest_ms = db_ms(&q, 3);
    }
    rc = db_end(&q, 0);
    if (!rc)
        *ret = volume;
    return rc;
}

/* What the last answer was made from: it holds for the hour, as long as nothing is added. */
struct volume_memo {
    int64_t hour, last_lot, last_product;
    struct lot_find_volume volume;
};

static int read_last(struct store *store, struct volume_memo *ret, struct error *err)
{
    static const char SQL[] = "SELECT (SELECT MAX(id) FROM lot), (SELECT MAX(id) FROM product)";
    struct db_query q = db_query(store, SQL, NULL, err);
    if (db_next(&q)) {
        ret->last_lot = db_int64(&q, 0);
        ret->last_product = db_int64(&q, 1);
    }
    return db_end(&q, 0);
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

int lot_find_next_line(struct store *store, struct lot_find_line *line, struct error *err)
{
    static const char SQL[] = "SELECT plant, line FROM lot WHERE (plant, line) > (?1, ?2)"
                              " ORDER BY plant, line LIMIT 1";
    struct lot_find_line next = {"", ""};
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(line->plant), DB_TEXT(line->line)), err);
    if (db_next(&q)) {
        db_copy(&q, 0, next.plant, sizeof next.plant);
        db_copy(&q, 1, next.line, sizeof next.line);
    }
    *line = next;
    return db_end(&q, 0);
}

int lot_find_lines(struct store *store, int (*each)(void *arg, const struct lot_find_line *line),
                   void *arg, struct error *err)
{
    struct lot_find_line line = {"", ""};
    int rc = lot_find_next_line(store, &line, err);
    while (!rc && *line.line) {
        rc = each(arg, &line);
        if (!rc)
            rc = lot_find_next_line(store, &line, err);
    }
    return rc;
}

int lot_find_plants(struct store *store, int (*each)(void *arg, const char *plant), void *arg,
                    struct error *err)
{
    static const char SQL_FIRST[] = "SELECT min(plant) FROM lot WHERE plant > ''";
    static const char SQL_NEXT[] = "SELECT min(plant) FROM lot WHERE plant > ?1";
    struct db_names plants = {.first = SQL_FIRST, .next = SQL_NEXT};
    int rc = 0;
    while (!rc && db_next_name(store, &plants, err))
        rc = each(arg, plants.name);
    return rc ? rc : plants.rc;
}

int lot_find_places(struct store *store, enum lot_find_place kind,
                    int (*each)(void *arg, const char *name), void *arg, struct error *err)
{
    static const char SQL_STORE[] = "SELECT min(store) FROM dispatch WHERE store > ''";
    static const char SQL_ROUTE[] = "SELECT min(route) FROM dispatch WHERE route > ''";
    static const char SQL_NEXT_STORE[] = "SELECT min(store) FROM dispatch WHERE store > ?1";
    static const char SQL_NEXT_ROUTE[] = "SELECT min(route) FROM dispatch WHERE route > ?1";
    struct db_names names = {.first = kind == LOT_FIND_STORE ? SQL_STORE : SQL_ROUTE,
                             .next = kind == LOT_FIND_STORE ? SQL_NEXT_STORE : SQL_NEXT_ROUTE};
    int rc = 0;
    while (!rc && db_next_name(store, &names, err))
        rc = each(arg, names.name);
    return rc ? rc : names.rc;
}
