#include "store/freshness.h"
#include "store/db.h"
#include "store/lot_find.h"
#include <string.h>

enum { PLACE_BYTES = 80 };

/* A line that never had any must not have all its lots looked at. */
#define NEWEST_LOT_WITH(table)                                                                     \
    "SELECT packed_to_ms FROM (SELECT id, packed_to_ms FROM lot WHERE plant = ?2 AND line = ?1"    \
    " ORDER BY packed_from_ms DESC LIMIT 3000) l WHERE EXISTS (SELECT 1 FROM " table               \
    " r WHERE r.lot_id = l.id) LIMIT 1"

static const char SQL_LOTS[] = "SELECT packed_to_ms FROM lot WHERE plant = ?2 AND line = ?1 ORDER "
                               "BY packed_from_ms DESC LIMIT 1";
static const char SQL_MIXES[] = NEWEST_LOT_WITH("mix");
static const char SQL_USES[] = NEWEST_LOT_WITH("material_use");
static const char SQL_READINGS[] = NEWEST_LOT_WITH("reading");
static const char SQL_DISPATCH[] = NEWEST_LOT_WITH("dispatch");

static const struct {
    enum record_kind kind;
    const char *sql;
} OF_LOTS[] = {{RECORD_LOTS, SQL_LOTS},
               {RECORD_MIXES, SQL_MIXES},
               {RECORD_USES, SQL_USES},
               {RECORD_READINGS, SQL_READINGS},
               {RECORD_DISPATCH, SQL_DISPATCH}};

/* The next one after it; false: it was the last. */
static bool next_line(struct store *store, struct lot_find_line *line, int *rc, struct error *err)
{
    *rc = lot_find_next_line(store, line, err);
    return !*rc && *line->line;
}

static int list_line(struct store *store, const struct lot_find_line *line, freshness_each each,
                     void *arg, struct error *err)
{
    int rc = 0;
    for (size_t i = 0; i < sizeof OF_LOTS / sizeof OF_LOTS[0] && !rc; i++) {
        struct freshness one = {OF_LOTS[i].kind, line->plant, line->line, WHEN_UNKNOWN_MS};
        struct db_query q =
            db_query(store, OF_LOTS[i].sql, DB(DB_TEXT(line->line), DB_TEXT(line->plant)), err);
        if (db_next(&q))
            one.at_ms = db_ms(&q, 0);
        rc = db_end(&q, 0);
        if (!rc)
            rc = each(arg, &one);
    }
    return rc;
}

/* ---- the plant log, whose key begins with place and quantity ---- */

struct log_key {
    char place[PLACE_BYTES];
    struct lot_find_line line;
    int64_t quantity_id;
};

static bool next_key(struct store *store, struct log_key *key, int *rc, struct error *err)
{
    static const char SQL[] = "SELECT place, quantity_id, line, plant FROM plantlog WHERE"
                              " (place, quantity_id, plant, line) > (?1, ?2, ?4, ?3)"
                              " ORDER BY place, quantity_id, plant, line LIMIT 1";
    struct db_query q = db_query(store, SQL,
                                 DB(DB_TEXT(key->place), DB_INT(key->quantity_id),
                                    DB_TEXT(key->line.line), DB_TEXT(key->line.plant)),
                                 err);
    bool found = db_next(&q);
    if (found) {
        db_copy(&q, 0, key->place, sizeof key->place);
        key->quantity_id = db_int64(&q, 1);
        db_copy(&q, 2, key->line.line, sizeof key->line.line);
        db_copy(&q, 3, key->line.plant, sizeof key->line.plant);
    }
    *rc = db_end(&q, 0);
    return !*rc && found;
}

static int newest_of_key(struct store *store, const struct log_key *key, int64_t *ret,
                         struct error *err)
{
    static const char SQL[] = "SELECT max(at_ms) FROM plantlog WHERE place = ?1 AND quantity_id ="
                              " ?2 AND line = ?3 AND plant = ?4";
    return db_number(store, SQL,
                     DB(DB_TEXT(key->place), DB_INT(key->quantity_id), DB_TEXT(key->line.line),
                        DB_TEXT(key->line.plant)),
                     ret, err);
}

enum { LOG_LINES = 64 };
struct log_lines {
    struct {
        struct lot_find_line line;
        int64_t at_ms;
    } of[LOG_LINES];
    int count;
};

static int compare(const struct lot_find_line *a, const struct lot_find_line *b)
{
    int plants = strcmp(a->plant, b->plant);
    return plants ? plants : strcmp(a->line, b->line);
}

/* In the order of plants and lines. */
static void take_newest(struct log_lines *lines, const struct lot_find_line *line, int64_t at_ms)
{
    int i = 0, order = 1;
    while (i < lines->count && (order = compare(line, &lines->of[i].line)) > 0)
        i++;
    if (order != 0 || i == lines->count) {
        if (lines->count == LOG_LINES)
            return;
        memmove(&lines->of[i + 1], &lines->of[i],
                (size_t)(lines->count++ - i) * sizeof lines->of[0]);
        lines->of[i].line = *line;
        lines->of[i].at_ms = at_ms;
    }
    if (lines->of[i].at_ms < at_ms)
        lines->of[i].at_ms = at_ms;
}

static int list_log(struct store *store, freshness_each each, void *arg, struct error *err)
{
    struct log_lines lines = {.count = 0};
    struct log_key key = {.quantity_id = -1};
    int rc = 0;
    while (!rc && next_key(store, &key, &rc, err)) {
        int64_t at_ms = 0;
        rc = newest_of_key(store, &key, &at_ms, err);
        take_newest(&lines, &key.line, at_ms);
    }
    for (int i = 0; i < lines.count && !rc; i++) {
        const struct freshness one = {RECORD_PLANTLOG, lines.of[i].line.plant,
                                      lines.of[i].line.line, lines.of[i].at_ms};
        rc = each(arg, &one);
    }
    return rc;
}

int freshness_list(struct store *store, freshness_each each, void *arg, struct error *err)
{
    struct lot_find_line line = {"", ""};
    int rc = 0;
    while (!rc && next_line(store, &line, &rc, err))
        rc = list_line(store, &line, each, arg, err);
    return rc ? rc : list_log(store, each, arg, err);
}
