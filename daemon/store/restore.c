#include "store/restore.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "base/when.h"
#include "store/db.h"
#include "store/disk.h"
#include "store/engine_sqlite.h"
#include "store/erasures.h"
#include "store/integrity.h"
#include "store/mailed_last.h"
#include "store/numbers.h"
#include "store/owner.h"
#include "store/replace.h"
#include "store/restore_missing.h"
#include "store/store_inside.h"
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char NOTE[] = "restore/last";
/* Ordinary mail of a time that is over tells old news as new. */
#define STALE_MS WHEN_DAY_MS

/* ---- looking at a file ---- */

static bool has_bytes(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && st.st_size > 0;
}

static bool has_log(const char *file)
{
    struct text_buffer log = {0};
    text_appendf(&log, "%s-wal", file);
    bool found = has_bytes(log.data);
    text_buffer_free(&log);
    return found;
}

/* Without a log beside it nothing is written beside it either: it may lie where only reading is
 * allowed. */
static char *address_of(const char *file)
{
    struct text_buffer uri = {0};
    text_append(&uri, "file:");
    for (const char *p = file; *p; p++) {
        if (strchr("?#%", *p))
            text_appendf(&uri, "%%%02X", (unsigned char)*p);
        else
            text_append_bytes(&uri, p, 1);
    }
    text_append(&uri, has_log(file) ? "?mode=ro" : "?immutable=1");
    return text_take(&uri);
}

static int identify(struct store *store, struct error *err)
{
    int version = 0;
    int rc = engine_sqlite_identify(store, &version, err);
    if (!rc && version == 0)
        rc = error_set(err, ERROR_INVALID, "%s is not an oddloaf database", store->path);
    return rc;
}

static int check_file(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    int rc = identify(store, err);
    return rc ? rc : integrity_check(store, NULL, err);
}

/* Opens the file for `look`, which is given the store and `arg`; nothing is written to it. */
static int look_at(const char *file, int (*look)(struct store *, void *, struct error *), void *arg,
                   struct error *err)
{
    struct error why = {0};
    if (!has_bytes(file)) {
        error_field(err, "file", file);
        error_hint(err, "it must be there, not empty, and readable by the daemon's user");
        return error_set(err, ERROR_INVALID, "%s cannot be read: %s", file,
                         access(file, R_OK) ? strerror(errno) : "it is empty");
    }
    struct store *store = xcalloc(1, sizeof *store);
    char *address = address_of(file);
    store->engine = &ENGINE_SQLITE;
    store->path = xstrdup(file);
    const int flags =
        SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE | SQLITE_OPEN_READONLY | SQLITE_OPEN_URI;
    int rc = sqlite3_open_v2(address, &store->db, flags, NULL) == SQLITE_OK
                 ? look(store, arg, &why)
                 : error_set(&why, ERROR_IO, "%s cannot be opened: %s", file,
                             store->db ? sqlite3_errmsg(store->db) : "no memory");
    free(address);
    store_close(store);
    if (!rc)
        return 0;
    error_field(err, "file", file);
    error_hint(err, "choose another backup");
    return error_set(err, ERROR_INVALID, "%s is not restored: %s", file, why.text);
}

int restore_look(const char *file, struct error *err)
{
    return look_at(file, check_file, NULL, err);
}

/* ---- getting it ready ---- */

/* They stand beside the database, and so do not depend on what became of it. */
static int copy_erasures(const char *state_dir, const char *folder, struct error *err)
{
    struct text_buffer from = {0}, to = {0};
    text_appendf(&from, "%s/%s", state_dir, ERASURES_FILE);
    text_appendf(&to, "%s/%s", folder, ERASURES_FILE);
    int rc = has_bytes(from.data) ? disk_copy(from.data, to.data, err) : 0;
    text_buffer_free(&from);
    text_buffer_free(&to);
    return rc;
}

static int copy_with_log(const char *file, const char *to, struct error *err)
{
    struct text_buffer log = {0}, log_to = {0};
    text_appendf(&log, "%s-wal", file);
    text_appendf(&log_to, "%s-wal", to);
    int rc = disk_copy(file, to, err);
    if (!rc && has_bytes(log.data))
        rc = disk_copy(log.data, log_to.data, err);
    text_buffer_free(&log);
    text_buffer_free(&log_to);
    return rc;
}

/* ---- what became of the world since ---- */

static int past_open(struct store *store, const char *state_dir, struct error *err)
{
    static const char SQL[] = "SELECT count(*) FROM past.complaint";
    struct text_buffer path = {0};
    int64_t complaints = 0;
    int rc = 0;
    text_appendf(&path, "%s/oddloaf.db", state_dir);
    if (!has_bytes(path.data))
        rc = error_set(err, ERROR_NOT_FOUND, "there was no database");
    if (!rc) {
        char *sql = sqlite3_mprintf("ATTACH %Q AS past", path.data);
        rc = db_exec(store, sql, err);
        sqlite3_free(sql);
    }
    text_buffer_free(&path);
    return rc ? rc : db_number(store, SQL, NULL, &complaints, err);
}

struct foreseeing {
    const char *state_dir;
    struct restore_foreseen *foreseen;
};

static int foresee(struct store *store, void *arg, struct error *err)
{
    const struct foreseeing *f = arg;
    int rc = identify(store, err);
    if (!rc)
        rc = past_open(store, f->state_dir, err);
    return rc ? rc : restore_missing_foresee(store, f->foreseen, err);
}

int restore_foresee(const char *state_dir, const char *file, struct restore_foreseen *ret,
                    struct error *err)
{
    *ret = (struct restore_foreseen){.until_ms = WHEN_UNKNOWN_MS, .since_ms = WHEN_UNKNOWN_MS};
    return look_at(file, foresee, &(struct foreseeing){state_dir, ret}, err);
}

#define SENT_BEFORE "'sent before the state was restored'"

static int take_sent(struct store *store, struct error *err)
{
    static const char *const SQL[] = {
        "INSERT INTO outbox_delivery(mail_id, recipient, urgent, state, since_ms, due_ms, attempts,"
        " sent_ms) SELECT o.id, d.recipient, d.urgent, 'sent', d.since_ms, d.due_ms, d.attempts,"
        " d.sent_ms FROM past.outbox_delivery d JOIN past.outbox p ON p.id = d.mail_id"
        " JOIN outbox o ON o.message_id = p.message_id WHERE d.state = 'sent' AND o.state <> 'sent'"
        " AND p.state <> 'sent'"
        " ON CONFLICT(mail_id, recipient) DO UPDATE SET state = 'sent', sent_ms = excluded.sent_ms",
        "UPDATE outbox SET state = 'open' WHERE state = 'new' AND EXISTS (SELECT 1 FROM"
        " outbox_delivery d WHERE d.mail_id = outbox.id)",
        "UPDATE outbox SET held = " SENT_BEFORE " WHERE state <> 'sent' AND message_id IN"
        " (SELECT message_id FROM past.outbox WHERE state = 'sent')",
        /* the digest's week and the day of the list of what is due, lest either leaves twice */
        "INSERT INTO setting(key, value) SELECT key, value FROM past.setting WHERE key IN"
        " ('" MAILED_LAST_DIGEST "', '" MAILED_LAST_DUE "') OR key LIKE '" MAILED_LAST_DIGEST
        "/%' OR key LIKE '" MAILED_LAST_DUE "/%' ON CONFLICT DO UPDATE SET value = excluded.value"
        " WHERE excluded.value > setting.value",
        /* who was told of a case, a hold, an action or a mail by its number means that one */
        NUMBERS_TAKE("complaint_case", "case/last"), NUMBERS_TAKE("hold", "hold/last"),
        NUMBERS_TAKE("corrective_action", "action/last"), NUMBERS_TAKE("outbox", "mail/last"),
        /* the backups of the state that is left are still there */
        "INSERT INTO setting(key, value) SELECT key, value FROM past.setting WHERE key IN"
        " ('backup/at_ms', 'backup/path') AND (SELECT p.value FROM past.setting p WHERE p.key ="
        " 'backup/at_ms') > coalesce((SELECT s.value FROM setting s WHERE s.key = 'backup/at_ms'), "
        "'')"
        " ON CONFLICT DO UPDATE SET value = excluded.value"};
    int rc = 0;
    for (size_t i = 0; i < sizeof SQL / sizeof SQL[0] && !rc; i++)
        rc = db_run(store, SQL[i], NULL, err);
    return rc;
}

/* What cannot be read of it is told, and keeps nobody from restoring. */
static int take_past(struct store *store, struct restored *r, struct error *err)
{
    struct error why = {0};
    int rc = store_nest(store, err);
    if (rc)
        return rc;
    int taken = r->past_fault[0] ? ERROR_IO : take_sent(store, &why);
    if (!taken)
        taken = restore_missing_count(store, r, &why);
    r->past_read = taken == 0;
    if (taken && !r->past_fault[0])
        text_clip(why.text, r->past_fault, sizeof r->past_fault);
    return store_unnest(store, r->past_read, err);
}

/* Mail about harm leaves again rather than not at all. */
static int hold_stale(struct store *store, struct restored *r, struct error *err)
{
    static const char SQL[] =
        "UPDATE outbox SET held = CASE WHEN ?2 THEN 'written before the state was restored, and a"
        " day old by then' ELSE 'written before the state was restored: whether it was sent is not"
        " known' END WHERE state <> 'sent' AND held IS NULL AND event <> 'urgent'"
        " AND (NOT ?2 OR created_ms < ?1)";
    static const char SQL_COUNT[] = "SELECT count(*) FROM outbox WHERE held IS NOT NULL";
    int64_t held = 0;
    int rc = db_run(store, SQL, DB(DB_MS(r->at_ms - STALE_MS), DB_INT(r->past_read)), err);
    if (!rc)
        rc = db_number(store, SQL_COUNT, NULL, &held, err);
    r->held_mails = (int)held;
    return rc;
}

/* The next file, after `*id`, that was being applied; "": none. */
static int next_load(struct store *store, int64_t *id, char path[static 80], struct error *err)
{
    static const char SQL[] = "SELECT rowid, path FROM load_file WHERE state = 'waiting'"
                              " AND rowid > ?1 ORDER BY rowid LIMIT 1";
    struct db_query q = db_query(store, SQL, DB(DB_INT(*id)), err);
    path[0] = '\0';
    if (db_next(&q)) {
        *id = db_int64(&q, 0);
        db_copy(&q, 1, path, 80);
    }
    return db_end(&q, 0);
}

/* Their rows lie beside the database; those that are gone can't be applied. */
static int give_up_loads(struct store *store, const char *state_dir, struct error *err)
{
    static const char SQL_FAILED[] = "UPDATE load_file SET state = 'failed' WHERE rowid = ?1";
    int64_t id = 0;
    char name[80] = "";
    int rc = next_load(store, &id, name, err);
    while (!rc && *name) {
        struct text_buffer path = {0};
        text_appendf(&path, "%s/%s", state_dir, name);
        if (access(path.data, F_OK))
            rc = db_run(store, SQL_FAILED, DB(DB_INT(id)), err);
        text_buffer_free(&path);
        if (!rc)
            rc = next_load(store, &id, name, err);
    }
    return rc;
}

static json_t *missing_json(const struct restored *r)
{
    json_t *missing = json_object();
    for (size_t i = 0; r->past_read && i < RESTORE_KINDS; i++)
        json_object_set_new(missing, r->missing[i].what, json_integer(r->missing[i].count));
    return missing;
}

static int note(struct store *store, const struct restored *r, struct error *err)
{
    char at[32];
    json_t *told = json_pack("{s:s, s:o, s:o, s:b, s:i, s:i, s:o, s:o}", "at",
                             when_format_utc(r->at_ms, at), "file", jsonx_outside(r->file), "kept",
                             jsonx_outside(r->kept), "past_read", r->past_read, "erased", r->erased,
                             "held_mails", r->held_mails, "missing", missing_json(r), "past_fault",
                             jsonx_outside(r->past_fault[0] ? r->past_fault : NULL));
    char *text = jsonx_dump(told);
    int rc = store_setting_set(store, NOTE, text, err);
    free(text);
    json_decref(told);
    return rc;
}

static int settle(struct store *store, const char *state_dir, struct restored *r, struct error *err)
{
    int rc = store_begin(store, err);
    if (rc)
        return rc;
    rc = take_past(store, r, err);
    if (!rc)
        rc = erasures_apply(store, &r->erased, err);
    if (!rc)
        rc = hold_stale(store, r, err);
    if (!rc)
        rc = give_up_loads(store, state_dir, err);
    if (!rc)
        rc = note(store, r, err);
    store_checkpoint_soon(store);
    if (!rc)
        return store_commit(store, err);
    store_rollback(store);
    return rc;
}

/* ---- all of it ---- */

static int get_ready(const char *state_dir, const char *folder, struct restored *r,
                     struct error *err)
{
    struct text_buffer copy = {0};
    struct store *store = NULL;
    struct error why = {0};
    text_appendf(&copy, "%s/oddloaf.db", folder);
    int rc = copy_with_log(r->file, copy.data, err);
    if (!rc)
        rc = copy_erasures(state_dir, folder, err);
    if (!rc) /* the copy is what counts */
        rc = restore_look(copy.data, err);
    if (!rc)
        rc = store_open(folder, STORE_WRITE, &store, err);
    if (!rc && past_open(store, state_dir, &why))
        text_clip(why.text, r->past_fault, sizeof r->past_fault);
    if (!rc)
        rc = settle(store, state_dir, r, err);
    store_close(store);
    if (!rc && has_log(copy.data))
        rc = error_set(err, ERROR_IO, "the log of %s could not be written back", copy.data);
    text_buffer_free(&copy);
    return rc;
}

int restore_make(const char *state_dir, const char *file, int64_t now_ms, struct restored *ret,
                 struct error *err)
{
    char stamp[DISK_STAMP];
    struct owner *owner = NULL;
    char *folder = NULL;
    *ret = (struct restored){.at_ms = now_ms};
    int rc = restore_look(file, err);
    if (!rc)
        rc = owner_take(state_dir, &owner, err);
    if (!rc)
        rc = replace_finish(state_dir, err); /* of an earlier one that was cut off */
    if (rc) {
        owner_free(owner);
        return rc;
    }
    const int64_t kept_ms = replace_time(state_dir, now_ms);
    snprintf(ret->file, sizeof ret->file, "%s", file);
    if (replace_any(state_dir))
        snprintf(ret->kept, sizeof ret->kept, "%s/replaced/%s", state_dir,
                 disk_stamp(kept_ms, stamp));
    folder = replace_folder(state_dir, err);
    rc = folder ? get_ready(state_dir, folder, ret, err) : ERROR_IO;
    if (!rc)
        rc = replace_ready(state_dir, kept_ms, err);
    ret->ready = rc == 0;
    if (!rc)
        rc = replace_finish(state_dir, err);
    free(folder);
    owner_free(owner);
    return rc;
}

int restore_last(struct store *store, struct restore_note *ret, struct error *err)
{
    json_t *told = NULL;
    *ret = (struct restore_note){.at_ms = WHEN_UNKNOWN_MS};
    int rc = store_setting_get(store, NOTE, &ret->told, err);
    if (rc || !ret->told)
        return rc;
    if (jsonx_parse(ret->told, strlen(ret->told), &told, NULL) == 0)
        when_parse(json_string_value(json_object_get(told, "at")), &ret->at_ms, NULL);
    json_decref(told);
    return 0;
}
