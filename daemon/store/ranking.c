#include "store/ranking.h"
#include "base/short_id.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include "store/ranking_pack.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RANKING_MILLION 1e6

void ranking_clear(struct ranking *ranking)
{
    free(ranking->why);
    free(ranking->causes);
    free(ranking->items);
    *ranking = (struct ranking){0};
}

/* As a cause's probability is kept. */
static long long millionths(const struct ranking_cause *cause)
{
    return llround(cause->probability * RANKING_MILLION);
}

bool ranking_same(const struct ranking *a, const struct ranking *b)
{
    if (a->as_of_ms != b->as_of_ms || a->complaints != b->complaints ||
        a->moved_here != b->moved_here || a->harm != b->harm || a->lot_told != b->lot_told ||
        strcmp(a->lot, b->lot) != 0 || a->cause_count != b->cause_count ||
        strcmp(a->rules, b->rules) != 0)
        return false;
    for (int i = 0; i < a->cause_count; i++)
        if (millionths(&a->causes[i]) != millionths(&b->causes[i]) ||
            strcmp(a->causes[i].cause, b->causes[i].cause) != 0)
            return false;
    char *items_a = ranking_pack(a), *items_b = ranking_pack(b);
    bool same = strcmp(items_a, items_b) == 0;
    free(items_a);
    free(items_b);
    return same;
}

/* ---- saving ---- */

static int drop_unkept(struct store *store, int64_t case_id, struct error *err)
{
    static const char SQL[] = "DELETE FROM ranking WHERE case_id = ?1 AND kept = 0";
    return db_run(store, SQL, DB(DB_INT(case_id)), err);
}

static int case_take_ranking(struct store *store, struct ranking *ranking, struct error *err)
{
    static const char SQL[] = "UPDATE complaint_case SET revision = revision + 1, top_cause = ?2,"
                              " top_probability = ?3 WHERE id = ?1 RETURNING revision";
    const struct ranking_cause *top = ranking->cause_count ? ranking->causes : NULL;
    struct db_query q = db_query(store, SQL,
                                 DB(DB_INT(ranking->case_id), DB_TEXT(top ? top->cause : NULL),
                                    DB_REAL(top ? top->probability : (double)NAN)),
                                 err);
    if (db_next(&q))
        ranking->revision = db_int(&q, 0);
    return db_found(&q, "there is no case %s", CASE_ID(ranking->case_id));
}

static int add_cause(struct store *store, const char *name, int64_t *ret_id, struct error *err)
{
    static const char SQL[] = "INSERT INTO cause(name) VALUES(?1)";
    int rc = db_run(store, SQL, DB(DB_TEXT(name)), err);
    *ret_id = rc ? 0 : db_last_id(store);
    return rc;
}

/* `ids`: of the ranking's causes; 0 of one that no ranking had before. All that there are in one
 * statement: they are few, and a server is asked once. */
static int find_causes(struct store *store, const struct ranking *ranking, int64_t *ids,
                       struct error *err)
{
    static const char SQL[] = "SELECT id, name FROM cause";
    struct db_query q = db_query(store, SQL, NULL, err);
    while (db_next(&q)) {
        const char *name = db_text(&q, 1);
        for (int i = 0; i < ranking->cause_count; i++)
            if (strcmp(ranking->causes[i].cause, name) == 0)
                ids[i] = db_int64(&q, 0);
    }
    return db_end(&q, 0);
}

/* What is kept of the causes, `;CAUSE:MILLIONTHS` each and `;` behind the last. */
static int pack_causes(struct store *store, const struct ranking *ranking, struct text_buffer *out,
                       struct error *err)
{
    int64_t *ids = xcalloc((size_t)ranking->cause_count + 1, sizeof *ids);
    int rc = find_causes(store, ranking, ids, err);
    for (int i = 0; i < ranking->cause_count && !rc; i++) {
        const struct ranking_cause *cause = &ranking->causes[i];
        if (!ids[i])
            rc = add_cause(store, cause->cause, &ids[i], err);
        text_appendf(out, ";%lld:%lld", (long long)ids[i], millionths(cause));
    }
    text_append(out, ";");
    free(ids);
    return rc;
}

static int add_ranking(struct store *store, const struct ranking *ranking, struct error *err)
{
    static const char SQL_RULES[] = "INSERT INTO rule_set(hash) VALUES(?1) ON CONFLICT DO NOTHING";
    static const char SQL[] =
        "INSERT INTO ranking(case_id, revision, as_of_ms, rule_set_id, kept,"
        " complaints, moved_here, lot, items, why, causes, harm)"
        " SELECT ?1, ?2, ?3, id, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12 FROM rule_set"
        " WHERE hash = ?4";
    struct text_buffer causes = {0};
    char *items = ranking_pack(ranking);
    int rc = db_run(store, SQL_RULES, DB(DB_TEXT(ranking->rules)), err);
    if (!rc)
        rc = pack_causes(store, ranking, &causes, err);
    if (!rc)
        rc = db_run(
            store, SQL,
            DB(DB_INT(ranking->case_id), DB_INT(ranking->revision), DB_MS(ranking->as_of_ms),
               DB_TEXT(ranking->rules), DB_INT(ranking->why != NULL), DB_INT(ranking->complaints),
               DB_INT(ranking->moved_here), DB_TEXT(ranking->lot_told ? ranking->lot : NULL),
               DB_TEXT(items), DB_TEXT(ranking->why), DB_TEXT(causes.data), DB_INT(ranking->harm)),
            err);
    text_buffer_free(&causes);
    free(items);
    return rc;
}

int ranking_save(struct store *store, struct ranking *ranking, struct error *err)
{
    assert(ranking->case_id > 0 && ranking->cause_count >= 0 && ranking->item_count >= 0);
    assert(store_writing(store));
    int rc = pattern_count_causes(store, ranking->case_id, PATTERN_OUT, err);
    if (!rc)
        rc = drop_unkept(store, ranking->case_id, err);
    if (!rc)
        rc = case_take_ranking(store, ranking, err);
    if (!rc)
        rc = add_ranking(store, ranking, err);
    return rc ? rc : pattern_count_causes(store, ranking->case_id, PATTERN_IN, err);
}

/* ---- reading ---- */

static int read_causes(struct store *store, struct ranking *ret, struct error *err)
{
    static const char SQL[] = "SELECT k.name, r.probability FROM ranking_cause r JOIN cause k"
                              " ON k.id = r.cause_id WHERE r.case_id = ?1 AND r.revision = ?2"
                              " ORDER BY r.place";
    struct db_query q = db_query(store, SQL, DB(DB_INT(ret->case_id), DB_INT(ret->revision)), err);
    while (db_next(&q))
        ranking_pack_cause(ret, db_text(&q, 0), db_real(&q, 1));
    return db_end(&q, 0);
}

/* NULL is not "" here. */
static char *text_or_null(struct db_query *q, int is_null, int at)
{
    return db_int(q, is_null) ? NULL : xstrdup(db_text(q, at));
}

static int read_ranking(struct db_query *q, struct ranking *ret)
{
    struct store *store = q->store;
    struct error *err = q->err;
    char *items = NULL;
    *ret = (struct ranking){0};
    if (db_next(q)) {
        *ret = (struct ranking){.case_id = db_int64(q, 0),
                                .revision = db_int(q, 1),
                                .as_of_ms = db_ms(q, 2),
                                .kept = db_int(q, 4) != 0,
                                .complaints = db_int(q, 5),
                                .moved_here = db_int(q, 6),
                                .lot_told = db_int(q, 8) == 0,
                                .harm = db_int(q, 12) != 0,
                                .why = text_or_null(q, 11, 10)};
        db_copy(q, 3, ret->rules, sizeof ret->rules);
        db_copy(q, 7, ret->lot, sizeof ret->lot);
        items = xstrdup(db_text(q, 9));
    }
    int rc = db_found(q, "no such ranking is kept: the newest is, and those mailed or settled");
    if (rc)
        return rc;
    rc = read_causes(store, ret, err);
    ranking_pack_read(items, ret);
    free(items);
    if (rc)
        ranking_clear(ret);
    return rc;
}

#define RANKING_COLUMNS                                                                            \
    "SELECT r.case_id, r.revision, r.as_of_ms, s.hash, r.kept, r.complaints, r.moved_here, "       \
    "r.lot,"                                                                                       \
    " r.lot IS NULL, r.items, r.why, r.why IS NULL, r.harm FROM ranking r"                         \
    " JOIN rule_set s ON s.id = r.rule_set_id "

int ranking_get(struct store *store, int64_t case_id, int revision, struct ranking *ret,
                struct error *err)
{
    static const char SQL[] = RANKING_COLUMNS "WHERE r.case_id = ?1 AND (?2 = 0 OR r.revision = ?2)"
                                              " ORDER BY r.revision DESC LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id), DB_INT(revision)), err);
    return read_ranking(&q, ret);
}

int ranking_last_mailed(struct store *store, int64_t case_id, struct ranking *ret,
                        struct error *err)
{
    static const char SQL[] = RANKING_COLUMNS "WHERE r.case_id = ?1 AND r.why IS NOT NULL"
                                              " ORDER BY r.revision DESC LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(case_id)), err);
    return read_ranking(&q, ret);
}
