/* Health, rules in force, backup, erasure. */
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/complaint_form.h"
#include "serve/app.h"
#include "serve/route.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/outbox.h"
#include "store/recount.h"
#include "store/totals.h"
#include "store/work.h"
#include <stdlib.h>
#include <string.h>

void admin_rules(struct request *rq, struct store *store)
{
    (void)store;
    struct setup *setup = app_setup(rq->app);
    json_t *rules = triage_rules_json(setup->triage);
    json_object_set_new(rules, "folders", json_string(setup->rules_dir));
    json_object_set(rules, "own", setup->own_rules);
    request_reply_json(rq, 200, rules);
    setup_unref(setup);
}

/* ---- status ---- */

struct health {
    struct totals totals;
    struct outbox_counts outbox;
    int64_t rank_waiting, rematch_waiting;
    struct writer_counts writer;
    struct store_size size;
};

static int read_health(const struct app *app, struct store *store, struct health *h,
                       struct error *err)
{
    int rc = totals_get(store, &h->totals, err);
    if (!rc)
        rc = outbox_count(store, &h->outbox, err);
    if (!rc)
        rc = work_count(store, WORK_RANK, &h->rank_waiting, err);
    if (!rc)
        rc = work_count(store, WORK_REMATCH, &h->rematch_waiting, err);
    h->writer = writer_counts(app->writer);
    h->size = store_size(store);
    return rc;
}

/* Copies of shipped files that a release has changed since. */
static int left_behind(const json_t *own)
{
    size_t i;
    const json_t *file;
    int count = 0;
    json_array_foreach(own, i, file)
    {
        count += strcmp(json_string_value(json_object_get(file, "release")), "changed") == 0 &&
                 strcmp(json_string_value(json_object_get(file, "is")), "same") != 0;
    }
    return count;
}

static json_t *rules_status(struct app *app, const struct setup *setup)
{
    char when[40], error_text[512];
    pthread_mutex_lock(&app->lock);
    text_clip(app->reload_error, error_text, sizeof error_text);
    pthread_mutex_unlock(&app->lock);
    json_t *rules = json_pack("{s:s, s:i, s:s, s:i, s:i}", "hash", triage_hash(setup->triage),
                              "causes", triage_cause_count(setup->triage), "loaded_at",
                              when_format(setup->tz, setup->loaded_ms, when), "own_files",
                              (int)json_array_size(setup->own_rules), "release_changed",
                              left_behind(setup->own_rules));
    json_object_set(rules, "needs_restart", setup->needs_restart);
    json_object_set_new(rules, "last_error", error_text[0] ? json_string(error_text) : json_null());
    return rules;
}

static void add_mail_fault(void *arg, const struct error *fault)
{
    char text[512];
    json_array_append_new(arg, json_string(error_format(fault, text, sizeof text)));
}

/* What of the mail is not set up, and what is wrong with it, as the machine is now. */
static json_t *mail_status(const struct setup *setup)
{
    const struct mail_settings mail = setup_mail(setup);
    json_t *faults = json_array();
    mail_settings_check(&mail, add_mail_fault, faults);
    return json_pack("{s:s?, s:o}", "gap", mail_settings_gap(&mail), "faults", faults);
}

static json_t *status_json(struct app *app, const struct setup *setup, const struct health *h)
{
    json_t *counts = json_pack(
        "{s:I, s:I, s:I, s:I, s:I, s:I}", "products", (json_int_t)h->totals.products, "lots",
        (json_int_t)h->totals.lots, "readings", (json_int_t)h->totals.readings, "complaints",
        (json_int_t)h->totals.complaints, "cases_open", (json_int_t)h->totals.cases_open,
        "cases_settled", (json_int_t)h->totals.cases_settled);
    json_t *outbox =
        json_pack("{s:I, s:I, s:I, s:I, s:s?}", "waiting", (json_int_t)h->outbox.waiting, "urgent",
                  (json_int_t)h->outbox.urgent, "parked", (json_int_t)h->outbox.parked, "sent",
                  (json_int_t)h->outbox.sent, "last_error",
                  h->outbox.last_error[0] ? h->outbox.last_error : NULL);
    json_t *status = json_pack(
        "{s:s, s:s, s:s, s:I, s:o, s:o, s:o, s:{s:I, s:I}, s:{s:I, s:I, s:s?}, s:{s:I, s:I, s:I, "
        "s:I}}",
        "version", ODDLOAF_VERSION, "plant", config_text(setup->config, "plant"), "time_zone",
        tz_name(setup->tz), "uptime_s", (json_int_t)((app_now_ms(app) - app->started_ms) / 1000),
        "rules", rules_status(app, setup), "counts", counts, "outbox", outbox, "work", "rank",
        (json_int_t)h->rank_waiting, "rematch", (json_int_t)h->rematch_waiting, "store", "db_bytes",
        (json_int_t)h->size.db_bytes, "wal_bytes", (json_int_t)h->size.wal_bytes, "lost",
        h->writer.lost.code ? h->writer.lost.text : NULL, "writer", "jobs",
        (json_int_t)h->writer.jobs, "groups", (json_int_t)h->writer.groups, "queued",
        (json_int_t)h->writer.queued, "largest_group", (json_int_t)h->writer.largest_group);
    json_object_set_new(status, "mail", mail_status(setup));
    return status;
}

void admin_status(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct health h = {0};
    struct setup *setup = app_setup(rq->app);
    int rc = read_health(rq->app, store, &h, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, status_json(rq->app, setup, &h));
    setup_unref(setup);
}

void admin_recount(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct recount found = {0};
    int rc = recount(store, &found, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200,
                           json_pack("{s:{s:I, s:I, s:I}}", "differences", "weeks",
                                     (json_int_t)found.weeks, "cases", (json_int_t)found.cases,
                                     "company", (json_int_t)found.company));
}

/* OpenMetrics 1.0: counters end in _total, the text in # EOF; no lot and no person in a label. */
void admin_metrics(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct health h = {0};
    int rc = read_health(rq->app, store, &h, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
        return;
    }
    const struct {
        const char *name, *type, *suffix, *help;
        int64_t value;
    } metrics[] = {
        {"oddloaf_complaints", "gauge", "", "Complaints on record", h.totals.complaints},
        {"oddloaf_lots", "gauge", "", "Lots on record", h.totals.lots},
        {"oddloaf_cases_open", "gauge", "", "Cases not settled", h.totals.cases_open},
        {"oddloaf_rankings_waiting", "gauge", "", "Cases waiting to be ranked", h.rank_waiting},
        {"oddloaf_mail_waiting", "gauge", "", "Mail waiting to be sent", h.outbox.waiting},
        {"oddloaf_mail_urgent_waiting", "gauge", "", "Mail about harm that has not left",
         h.outbox.urgent},
        {"oddloaf_mail_parked", "gauge", "", "Mail given up for now", h.outbox.parked},
        {"oddloaf_write_jobs", "counter", "_total", "Jobs committed", (int64_t)h.writer.jobs},
        {"oddloaf_write_groups", "counter", "_total", "Commits", (int64_t)h.writer.groups},
        {"oddloaf_store_bytes", "gauge", "", "Size of the database", h.size.db_bytes},
        {"oddloaf_wal_bytes", "gauge", "", "Size of the write-ahead log", h.size.wal_bytes},
        {"oddloaf_store_lost", "gauge", "", "1: the database was taken away, nothing is written",
         h.writer.lost.code != 0},
    };
    struct text_buffer out = {0};
    for (size_t i = 0; i < sizeof metrics / sizeof metrics[0]; i++) {
        text_appendf(&out, "# TYPE %s %s\n# HELP %s %s\n%s%s %lld\n", metrics[i].name,
                     metrics[i].type, metrics[i].name, metrics[i].help, metrics[i].name,
                     metrics[i].suffix, (long long)metrics[i].value);
    }
    text_append(&out, "# EOF\n");
    size_t length = out.length;
    request_reply(rq, 200, "application/openmetrics-text; version=1.0.0; charset=utf-8",
                  text_take(&out), length);
}

/* ---- backup and erasure ---- */

static int back_up(struct store *store, const char *path, struct error *err)
{
    if (path[0] != '/') {
        error_set(err, ERROR_INVALID, "must be an absolute path on the daemon's machine");
        error_field(err, "path", path);
        return ERROR_INVALID;
    }
    return store_backup(store, path, err);
}

void admin_backup(struct request *rq, struct store *store)
{
    struct error err = {0};
    const char *path = "";
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = jsonx_string(body, "path", &path, &err);
    if (!rc)
        rc = back_up(store, path, &err);
    json_t *answer = rc ? NULL : json_pack("{s:s}", "backup", path);
    json_decref(body);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
}

struct erasing {
    char fold[256];
    int64_t now_ms;
    int erased;
};

static int erase(struct store *store, void *arg, struct error *err)
{
    struct erasing *e = arg;
    return contact_erase(store, e->fold, e->now_ms, &e->erased, err);
}

void admin_erase(struct request *rq, struct store *store)
{
    (void)store;
    struct error err = {0};
    struct erasing e = {.now_ms = app_now_ms(rq->app)};
    const char *contact = NULL;
    json_t *body = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = jsonx_string(body, "contact", &contact, &err);
    if (!rc)
        complaint_form_contact_key(contact ? contact : "", e.fold, sizeof e.fold);
    if (!rc && !e.fold[0]) {
        rc = error_set(&err, ERROR_INVALID, "must be a name, a phone number or a mail address");
        error_field(&err, "contact", "(not shown)");
    }
    if (!rc)
        rc = writer_run(rq->app->writer, erase, &e, &err);
    json_decref(body);
    if (rc) {
        request_reply_error(rq, rc, &err);
        return;
    }
    app_checkpoint(rq->app);
    request_reply_json(rq, 200, json_pack("{s:i}", "erased", e.erased));
}
