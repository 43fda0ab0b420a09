#include "store/attached.h"
#include "base/text.h"
#include "store/case.h"
#include "store/db.h"
#include "store/file_hash.h"
#include "store/seen.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

/* ---- reading ---- */

#define ROWS                                                                                       \
    "SELECT a.id, a.case_id, a.complaint_id, coalesce(c.uuid, ''), a.name, a.type, a.sha256,"      \
    " a.bytes, a.removed, a.by_name, a.by_user, a.at_ms FROM attached a LEFT JOIN complaint c"     \
    " ON c.id = a.complaint_id WHERE a.file_id IS NOT NULL"

static int each_row(struct db_query *q, attached_each each, void *arg)
{
    int rc = 0;
    db_keep(q);
    while (!rc && db_next(q)) {
        const struct attached_row row = {.id = db_int64(q, 0),
                                         .case_id = db_int64(q, 1),
                                         .complaint_id = db_int64(q, 2),
                                         .complaint = db_text(q, 3),
                                         .name = db_text(q, 4),
                                         .type = db_text(q, 5),
                                         .sha256 = db_text(q, 6),
                                         .bytes = db_int64(q, 7),
                                         .removed = db_int64(q, 8),
                                         .by_name = db_text(q, 9),
                                         .user = db_text(q, 10),
                                         .at_ms = db_ms(q, 11)};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int attached_of(struct store *store, int64_t case_id, int64_t complaint_id, attached_each each,
                void *arg, struct error *err)
{
    static const char SQL[] =
        ROWS " AND (a.case_id IN (SELECT id FROM complaint_case WHERE id = ?1 OR moved_to = ?1)"
             " OR a.complaint_id = ?2 OR a.complaint_id IN (SELECT id FROM complaint WHERE"
             " case_id = ?1)) ORDER BY a.at_ms, a.id";
    struct db_query q = db_query(store, SQL, DB(DB_ID(case_id), DB_ID(complaint_id)), err);
    return each_row(&q, each, arg);
}

struct found {
    attached_each each;
    void *arg;
    char sha256[FILE_HASH];
};

static int take_found(void *arg, const struct attached_row *row)
{
    struct found *f = arg;
    text_clip(row->sha256, f->sha256, sizeof f->sha256);
    return f->each(f->arg, row);
}

static int read_bytes(struct store *store, const char *sha256, char **ret, struct error *err)
{
    static const char SQL[] = "SELECT data FROM attached_file WHERE sha256 = ?1";
    char now[FILE_HASH] = "";
    size_t length = 0;
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(sha256)), err);
    if (db_next(&q)) {
        const void *bytes = db_bytes(&q, 0, &length);
        file_hash(bytes, length, now);
        *ret = xmalloc(length + 1);
        memcpy(*ret, bytes ? bytes : "", length);
        (*ret)[length] = '\0';
    }
    int rc = db_end(&q, 0);
    if (rc || strcmp(now, sha256) == 0)
        return rc;
    error_set(err, ERROR_INTERNAL,
              "the file %.12s is not what was attached: the database is"
              " damaged",
              sha256);
    error_hint(err, "oddloaf status says what is known of the database");
    return ERROR_INTERNAL;
}

/* As what it belongs to. */
static bool is_seen(struct store *store, int64_t id)
{
    static const char SQL[] = "SELECT coalesce(case_id, 0), coalesce(complaint_id, 0) FROM attached"
                              " WHERE id = ?1";
    int64_t case_id = 0, complaint_id = 0;
    if (seen_all(store))
        return true;
    struct db_query q = db_query(store, SQL, DB(DB_INT(id)), NULL);
    if (db_next(&q)) {
        case_id = db_int64(&q, 0);
        complaint_id = db_int64(&q, 1);
    }
    if (db_end(&q, 0))
        return false;
    struct case_row row; /* the one it is by now */
    return case_id ? case_get(store, case_id, &row, NULL) == 0
                   : seen_complaint(store, complaint_id);
}

int attached_get(struct store *store, int64_t id, attached_each each, void *arg, char **ret_bytes,
                 struct error *err)
{
    static const char SQL[] = ROWS " AND a.id = ?1";
    struct found f = {each, arg, ""};
    const int64_t sought = is_seen(store, id) ? id : 0;
    struct db_query q = db_query(store, SQL, DB(DB_INT(sought)), err);
    int rc = each_row(&q, take_found, &f);
    if (!rc && !f.sha256[0]) {
        error_set(err, ERROR_NOT_FOUND, "there is no attachment %lld", (long long)id);
        error_hint(err, "`oddloaf attach CASE --list` lists them");
        return ERROR_NOT_FOUND;
    }
    return rc || !ret_bytes ? rc : read_bytes(store, f.sha256, ret_bytes, err);
}

/* ---- limits ---- */

static int within(struct store *store, const char *sql, const struct db_value *with, int64_t most,
                  const char *whose, struct error *err)
{
    int64_t bytes = 0;
    int rc = most ? db_number(store, sql, with, &bytes, err) : 0;
    if (rc || !most || bytes <= most)
        return rc;
    error_set(err, ERROR_TOO_LARGE, "%s would have more than %lld MB; nothing was attached", whose,
              (long long)(most >> 20));
    error_field(err, "file", "");
    return ERROR_TOO_LARGE;
}

static int check_limits(struct store *store, const struct attached_row *row,
                        const struct attached_limits *limits, struct error *err)
{
    static const char SQL_CASE[] =
        "SELECT coalesce(sum(bytes), 0) + ?3 FROM attached WHERE file_id IS NOT NULL AND (case_id "
        "= ?1 OR"
        " complaint_id = ?2 OR complaint_id IN (SELECT id FROM complaint WHERE case_id = ?1))";
    static const char SQL_USER[] =
        "SELECT coalesce(sum(bytes), 0) + ?3 FROM attached WHERE by_user = ?1 AND at_ms > ?2";
    int rc = within(store, SQL_CASE,
                    DB(DB_ID(row->case_id), DB_ID(row->complaint_id), DB_INT(row->bytes)),
                    limits->case_bytes, "the case or complaint", err);
    return rc ? rc
              : within(store, SQL_USER,
                       DB(DB_TEXT(row->user), DB_MS(row->at_ms - WHEN_DAY_MS), DB_INT(row->bytes)),
                       limits->user_bytes, "what you attached within a day", err);
}

/* ---- writing ---- */

static int find_same(struct store *store, const struct attached_row *row, int64_t *ret,
                     struct error *err)
{
    static const char SQL[] =
        "SELECT id FROM attached WHERE sha256 = ?1 AND file_id IS NOT NULL AND"
        " (case_id = ?2 OR complaint_id = ?3)";
    return db_number(store, SQL,
                     DB(DB_TEXT(row->sha256), DB_ID(row->case_id), DB_ID(row->complaint_id)), ret,
                     err);
}

static int keep_file(struct store *store, const struct attached_row *row, int64_t *ret_file,
                     struct error *err)
{
    static const char SQL_FIND[] = "SELECT id FROM attached_file WHERE sha256 = ?1";
    static const char SQL_ADD[] = "INSERT INTO attached_file(sha256, data) VALUES(?1, ?2)";
    int rc = db_number(store, SQL_FIND, DB(DB_TEXT(row->sha256)), ret_file, err);
    if (rc || *ret_file)
        return rc;
    rc = db_run(store, SQL_ADD, DB(DB_TEXT(row->sha256), DB_BYTES(row->data, (size_t)row->bytes)),
                err);
    *ret_file = db_last_id(store);
    return rc;
}

int attached_put(struct store *store, const struct attached_row *row,
                 const struct attached_limits *limits, int64_t *ret_id, bool *ret_again,
                 struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "INSERT INTO attached(case_id, complaint_id, file_id, sha256, name, type, bytes, removed,"
        " by_name, by_user, at_ms) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)";
    int64_t file_id = 0;
    *ret_id = 0;
    int rc = find_same(store, row, ret_id, err);
    *ret_again = *ret_id != 0;
    if (rc || *ret_again)
        return rc;
    rc = check_limits(store, row, limits, err);
    if (!rc)
        rc = keep_file(store, row, &file_id, err);
    if (!rc)
        rc = db_run(store, SQL,
                    DB(DB_ID(row->case_id), DB_ID(row->complaint_id), DB_INT(file_id),
                       DB_TEXT(row->sha256), DB_TEXT(row->name), DB_TEXT(row->type),
                       DB_INT(row->bytes), DB_INT(row->removed), DB_TEXT(row->by_name),
                       DB_TEXT(row->user), DB_MS(row->at_ms)),
                    err);
    if (!rc)
        *ret_id = db_last_id(store);
    return rc;
}

/* Files that nothing is attached by any more. */
static int drop_files(struct store *store, struct error *err)
{
    static const char SQL[] = "DELETE FROM attached_file WHERE NOT EXISTS (SELECT 1 FROM attached a"
                              " WHERE a.file_id = attached_file.id)";
    int rc = db_run(store, SQL, NULL, err);
    if (!rc && db_changes(store) > 0)
        store_checkpoint_soon(store);
    return rc;
}

int attached_detach(struct store *store, const struct attached_end *end, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "UPDATE attached SET file_id = NULL, end_reason = ?2, ended_by = ?3,"
                              " ended_ms = ?4 WHERE id = ?1 AND file_id IS NOT NULL";
    int rc = db_run(
        store, SQL,
        DB(DB_INT(end->id), DB_TEXT(end->reason), DB_TEXT(end->by_name), DB_MS(end->at_ms)), err);
    if (rc || db_changes(store) > 0)
        return rc ? rc : drop_files(store, err);
    error_set(err, ERROR_NOT_FOUND, "there is no attachment %lld", (long long)end->id);
    error_hint(err, "`oddloaf attach CASE --list` lists them");
    return ERROR_NOT_FOUND;
}

int attached_erase(struct store *store, int64_t complaint_id, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] =
        "UPDATE attached SET file_id = NULL, name = '[erased]', sha256 = '', end_reason ="
        " coalesce(end_reason, 'erased with the contact'), ended_by = coalesce(ended_by, ''),"
        " ended_ms = coalesce(ended_ms, (SELECT max(e.at_ms) FROM erased e WHERE e.report IN "
        "(SELECT"
        " uuid FROM complaint WHERE id = ?1 UNION SELECT uuid FROM joined WHERE complaint_id = "
        "?1)),"
        " at_ms) WHERE complaint_id = ?1 AND name <> '[erased]'";
    int rc = db_run(store, SQL, DB(DB_INT(complaint_id)), err);
    return rc || db_changes(store) == 0 ? rc : drop_files(store, err);
}
