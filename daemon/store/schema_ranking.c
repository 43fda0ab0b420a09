/* Rankings were JSON texts of 12 kB, and so were mails long after they had left. Now a ranking is
 * its causes and what was told of them, and a mail about a case that has left is the ranking it
 * told and why. */
#include "base/jsonx.h"
#include "base/text.h"
#include "store/db.h"
#include "store/ranking_pack.h"
#include "store/schema.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

const char SCHEMA_RANKING_TABLES[] =
    "CREATE TABLE cause(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;"
    /* place 0: the likeliest */
    "CREATE TABLE ranking_cause(case_id INTEGER NOT NULL, revision INTEGER NOT NULL,"
    " place INTEGER NOT NULL, cause_id INTEGER NOT NULL REFERENCES cause, probability REAL NOT NULL"
    " CHECK(probability BETWEEN 0 AND 1), PRIMARY KEY(case_id, revision, place),"
    " FOREIGN KEY(case_id, revision) REFERENCES ranking ON DELETE CASCADE) STRICT, WITHOUT ROWID;"
    /* items: as ranking_pack.h has them; why: it was mailed, NULL: it was not */
    "ALTER TABLE ranking ADD COLUMN items TEXT NOT NULL DEFAULT '';"
    "ALTER TABLE ranking ADD COLUMN why TEXT;"
    /* lot: what was told, '' none; NULL: of a time when a guess was told as the lot */
    "ALTER TABLE ranking ADD COLUMN lot TEXT;"
    "ALTER TABLE ranking ADD COLUMN moved_here INTEGER NOT NULL DEFAULT 0;";

const char SCHEMA_RANKING_WITHOUT_BODY[] =
    "ALTER TABLE ranking DROP COLUMN body;"
    "UPDATE outbox SET payload = '' WHERE event = 'case' AND state = 'sent';";

static double number_of(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

static void write_value(const json_t *value, char *out, size_t size)
{
    struct text_buffer text = {0};
    if (json_is_number(value))
        text_appendf(&text, "%.12g", json_number_value(value));
    else if (json_is_string(value))
        text_append(&text, json_string_value(value));
    for (size_t i = 0; i < json_array_size(value); i++)
        text_appendf(&text, "%s%s", i ? "," : "", json_string_value(json_array_get(value, i)));
    text_clip(text.data ? text.data : "", out, size);
    text_buffer_free(&text);
}

static void take_items(const json_t *list, struct ranking *ranking)
{
    for (size_t i = 0; i < json_array_size(list); i++) {
        const json_t *fact = json_array_get(list, i);
        const char *name = json_string_value(json_object_get(fact, "fact"));
        struct ranking_item item = {
            .cause = ranking->cause_count - 1,
            .target = number_of(fact, "target"),
            .observed = number_of(fact, "observed"),
            .expected = number_of(fact, "expected"),
            .lots = (int)json_integer_value(json_object_get(fact, "lots")),
            .bits_hundredths = (int)lround(100 * json_number_value(json_object_get(fact, "bits")))};
        if (!name)
            continue;
        text_clip(name, item.fact, sizeof item.fact);
        write_value(json_object_get(fact, "value"), item.value, sizeof item.value);
        ranking_pack_item(ranking, &item);
    }
}

static void take_body(const char *text, struct ranking *ranking)
{
    json_t *body = NULL;
    if (jsonx_parse(text, strlen(text), &body, NULL))
        return;
    const json_t *ranked = json_object_get(body, "ranked");
    for (size_t i = 0; i < json_array_size(ranked); i++) {
        const json_t *one = json_array_get(ranked, i);
        const char *cause = json_string_value(json_object_get(one, "cause"));
        double probability = number_of(one, "probability");
        if (!cause || !(probability >= 0 && probability <= 1))
            continue;
        ranking_pack_cause(ranking, cause, probability);
        take_items(json_object_get(one, "for"), ranking);
        take_items(json_object_get(one, "against"), ranking);
    }
    ranking->lot_told = json_object_get(body, "lot_state") != NULL;
    const char *lot = json_string_value(json_object_get(body, "lot"));
    if (lot)
        text_clip(lot, ranking->lot, sizeof ranking->lot);
    ranking->moved_here = (int)json_array_size(json_object_get(body, "moved_here"));
    json_decref(body);
}

static char *take_why(const char *payload)
{
    json_t *event = NULL;
    jsonx_parse(payload, strlen(payload), &event, NULL);
    const char *why = json_string_value(json_object_get(event, "why"));
    char *copy = xstrdup(why ? why : "");
    json_decref(event);
    return copy;
}

static void clear(struct ranking *ranking)
{
    free(ranking->why);
    free(ranking->causes);
    free(ranking->items);
    *ranking = (struct ranking){.case_id = ranking->case_id, .revision = ranking->revision};
}

/* Goes on to the next ranking; *ret_more false: that was the last. */
static int next_body(struct store *store, struct ranking *ranking, bool *ret_more,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT r.case_id, r.revision, r.body, o.id, o.payload FROM ranking r LEFT JOIN outbox o"
        " ON o.case_id = r.case_id AND o.revision = r.revision AND o.event = 'case'"
        " WHERE r.case_id > ?1 OR (r.case_id = ?1 AND r.revision > ?2)"
        " ORDER BY r.case_id, r.revision LIMIT 1";
    struct db_query q =
        db_query(store, SQL, DB(DB_INT(ranking->case_id), DB_INT(ranking->revision)), err);
    clear(ranking);
    *ret_more = db_next(&q);
    if (*ret_more) {
        ranking->case_id = db_int64(&q, 0);
        ranking->revision = db_int(&q, 1);
        take_body(db_text(&q, 2), ranking);
        if (db_int64(&q, 3))
            ranking->why = take_why(db_text(&q, 4));
    }
    return db_end(&q, 0);
}

static int set_items(struct store *store, const struct ranking *ranking, struct error *err)
{
    static const char SQL[] = "UPDATE ranking SET items = ?3, why = ?4, lot = ?5, moved_here = ?6"
                              " WHERE case_id = ?1 AND revision = ?2";
    char *items = ranking_pack(ranking);
    int rc = db_run(store, SQL,
                    DB(DB_INT(ranking->case_id), DB_INT(ranking->revision), DB_TEXT(items),
                       DB_TEXT(ranking->why), DB_TEXT(ranking->lot_told ? ranking->lot : NULL),
                       DB_INT(ranking->moved_here)),
                    err);
    free(items);
    return rc;
}

/* As it was when this was shipped, whatever ranking.c becomes. */
static int add_cause(struct store *store, const struct ranking *ranking, int place,
                     struct error *err)
{
    static const char SQL_NAME[] = "INSERT INTO cause(name) VALUES(?1) ON CONFLICT DO NOTHING";
    static const char SQL[] =
        "INSERT INTO ranking_cause(case_id, revision, place, cause_id, probability)"
        " SELECT ?1, ?2, ?3, id, ?5 FROM cause WHERE name = ?4";
    const struct ranking_cause *cause = &ranking->causes[place];
    int rc = db_run(store, SQL_NAME, DB(DB_TEXT(cause->cause)), err);
    return rc ? rc
              : db_run(store, SQL,
                       DB(DB_INT(ranking->case_id), DB_INT(ranking->revision), DB_INT(place),
                          DB_TEXT(cause->cause), DB_REAL(cause->probability)),
                       err);
}

int schema_ranking_move(struct store *store, struct error *err)
{
    struct ranking ranking = {0};
    bool more;
    int rc = next_body(store, &ranking, &more, err);
    while (!rc && more) {
        rc = set_items(store, &ranking, err);
        for (int i = 0; i < ranking.cause_count && !rc; i++)
            rc = add_cause(store, &ranking, i, err);
        if (!rc)
            rc = next_body(store, &ranking, &more, err);
    }
    clear(&ranking);
    return rc;
}
