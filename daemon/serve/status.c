/* Health for people, and the counting again of what is counted. */
#include "base/jsonx.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "lots/lot_rules.h"
#include "serve/health.h"
#include "serve/route.h"
#include "store/recount.h"
#include <string.h>

static json_t *time_json(const struct health *h, int64_t ms)
{
    char text[40];
    return ms == WHEN_UNKNOWN_MS ? json_null() : json_string(when_format(h->setup->tz, ms, text));
}

static json_t *text_or_null(const char *text)
{
    return jsonx_outside(text && *text ? text : NULL);
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

static json_t *rules_json(const struct health *h)
{
    const struct setup *setup = h->setup;
    json_t *of_plants = triage_plants_json(setup->triage);
    json_t *rules = json_pack(
        "{s:s, s:i, s:i, s:i, s:o, s:O, s:o}", "hash", triage_hash(setup->triage), "causes",
        triage_cause_count(setup->triage), "own_files", (int)json_array_size(setup->own_rules),
        "release_changed", left_behind(setup->own_rules), "loaded_at",
        time_json(h, setup->loaded_ms), "needs_restart", setup->needs_restart, "last_error",
        text_or_null(h->reload_error));
    if (json_array_size(of_plants))
        json_object_set(rules, "of_plants", of_plants);
    json_decref(of_plants);
    return rules;
}

static void add_mail_fault(void *arg, const struct error *fault)
{
    char text[512];
    json_array_append_new(arg, json_string(error_format(fault, text, sizeof text)));
}

/* What of the mail is not set up, and what is wrong with it, as the machine is now. */
static json_t *mail_json(const struct health *h)
{
    const struct mail_settings mail = setup_mail(h->setup);
    json_t *faults = json_array();
    mail_settings_check(&mail, add_mail_fault, faults);
    return json_pack("{s:s?, s:o}", "gap", mail_settings_gap(&mail), "faults", faults);
}

static json_t *counts_json(const struct health *h)
{
    const struct totals *t = &h->totals;
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:I}", "products", (json_int_t)t->products, "lots",
                     (json_int_t)t->lots, "readings", (json_int_t)t->readings, "complaints",
                     (json_int_t)t->complaints, "cases_open", (json_int_t)t->cases_open,
                     "cases_settled", (json_int_t)t->cases_settled);
}

static json_t *outbox_json(const struct health *h)
{
    const struct outbox_counts *o = &h->outbox;
    return json_pack("{s:I, s:I, s:I, s:I, s:o, s:o}", "waiting", (json_int_t)o->waiting, "urgent",
                     (json_int_t)o->urgent, "parked", (json_int_t)o->parked, "sent",
                     (json_int_t)o->sent, "oldest_at", time_json(h, o->oldest_ms), "last_error",
                     text_or_null(o->last_error));
}

static const char *check_word(const struct keeper_told *k)
{
    return k->checked_ms == WHEN_UNKNOWN_MS ? "under way" : k->damage.code ? "damaged" : "sound";
}

static json_t *store_json(const struct health *h)
{
    json_t *integrity =
        json_pack("{s:s, s:o, s:o}", "state", check_word(&h->keeper), "at",
                  time_json(h, h->keeper.checked_ms), "found", text_or_null(h->keeper.damage.text));
    return json_pack("{s:I, s:I, s:I, s:o, s:o, s:o}", "db_bytes", (json_int_t)h->size.db_bytes,
                     "wal_bytes", (json_int_t)h->size.wal_bytes, "disk_free_bytes",
                     (json_int_t)h->disk_free_bytes, "lost", text_or_null(h->writer.lost.text),
                     "unread", text_or_null(h->unread.text), "integrity", integrity);
}

static json_t *backup_json(const struct health *h)
{
    return json_pack("{s:o, s:o, s:b, s:I, s:o}", "at", time_json(h, h->backup.at_ms), "path",
                     text_or_null(h->backup.path), "there", h->backup.is_there, "every_h",
                     (json_int_t)config_number(h->setup->config, "backup/every_h"), "last_error",
                     text_or_null(h->keeper.unbacked.text));
}

static json_t *restored_json(const struct health *h)
{
    json_t *told = NULL;
    char at[40];
    if (!h->restored.told || jsonx_parse(h->restored.told, strlen(h->restored.told), &told, NULL))
        return json_null();
    json_object_set_new(told, "at",
                        json_string(when_format_exact(h->setup->tz, h->restored.at_ms, at)));
    return told;
}

static json_t *records_json(const struct health *h)
{
    json_t *all = json_array();
    size_t i;
    const json_t *row;
    json_array_foreach(h->records, i, row)
    {
        const json_t *at = json_object_get(row, "last_at_ms");
        int64_t ms = json_is_integer(at) ? json_integer_value(at) : WHEN_UNKNOWN_MS;
        json_array_append_new(
            all, json_pack("{s:O, s:O, s:o, s:O*}", "line", json_object_get(row, "line"), "kind",
                           json_object_get(row, "kind"), "last_at", time_json(h, ms), "plant",
                           json_object_get(row, "plant")));
    }
    return all;
}

/* Days since the newest lot of any line was packed, beyond a long weekend; 0: not behind, or none
 * is on record. */
static int days_behind(const struct health *h)
{
    enum { BEHIND_DAYS = 3 };
    int64_t newest_ms = WHEN_UNKNOWN_MS;
    size_t i;
    const json_t *row;
    json_array_foreach(h->records, i, row)
    {
        const json_t *at = json_object_get(row, "last_at_ms");
        const char *kind = json_string_value(json_object_get(row, "kind"));
        if (kind && strcmp(kind, "lots") == 0 && json_is_integer(at) &&
            (newest_ms == WHEN_UNKNOWN_MS || json_integer_value(at) > newest_ms))
            newest_ms = json_integer_value(at);
    }
    int64_t days = newest_ms == WHEN_UNKNOWN_MS ? 0 : (h->now_ms - newest_ms) / WHEN_DAY_MS;
    return days > BEHIND_DAYS ? (int)days : 0;
}

static json_t *inbox_json(const struct health *h)
{
    char text[512] = "";
    const struct inbox_told *i = &h->inbox;
    if (!i->set_up)
        return json_null();
    if (i->fault.code)
        error_format(&i->fault, text, sizeof text);
    return json_pack("{s:s, s:i, s:i, s:I, s:I, s:o, s:o, s:o}", "folder",
                     config_text(h->setup->config, "inbox/folder"), "waiting", i->waiting,
                     "refused_there", i->refused_there, "done", (json_int_t)i->done, "refused",
                     (json_int_t)i->refused, "last_file", text_or_null(i->last), "last_at",
                     time_json(h, i->last_ms), "fault", text_or_null(text));
}

static json_t *writer_json(const struct health *h)
{
    const struct writer_counts *w = &h->writer;
    return json_pack("{s:I, s:I, s:I, s:I, s:I}", "jobs", (json_int_t)w->jobs, "groups",
                     (json_int_t)w->groups, "refused", (json_int_t)w->refused, "queued",
                     (json_int_t)w->queued, "largest_group", (json_int_t)w->largest_group);
}

static void add_zone_of(json_t *list, const struct tz *tz, const char *plant)
{
    const char *apart = tz_of_apart(tz, plant);
    json_t *name = apart ? json_string(apart) : NULL;
    if (name && !jsonx_holds(list, name))
        json_array_append(list, name);
    json_decref(name);
}

struct zones {
    json_t *list;
    const struct tz *company;
};

static int add_zone(void *arg, const char *plant, const struct tz *of)
{
    struct zones *zones = arg;
    (void)of;
    add_zone_of(zones->list, zones->company, plant);
    return 0;
}

/* Other zones than the company's that its plants have: whoever reads dates needs them to know which
 * days have begun. */
static json_t *zones_json(const struct tz *company)
{
    struct zones zones = {json_array(), company};
    tz_of_each(company, add_zone, &zones);
    return zones.list;
}

static json_t *zones_of_plants(const struct request *rq, const struct tz *company)
{
    json_t *list = json_array();
    for (int i = 0; i < rq->seen.count; i++)
        add_zone_of(list, company, rq->seen.plant[i]);
    return list;
}

static json_t *status_json(const struct app *app, const struct health *h)
{
    char started[40];
    json_t *status =
        json_pack("{s:s, s:s, s:s, s:I, s:s}", "version", ODDLOAF_VERSION, "plant",
                  config_text(h->setup->config, "plant"), "time_zone", tz_name(h->setup->tz),
                  "uptime_s", (json_int_t)h->uptime_s, "started_at",
                  when_format_exact(h->setup->tz, app->started_ms, started));
    const struct {
        const char *name;
        json_t *value;
    } parts[] = {
        {"needs", health_needs(h)},
        {"time_zones", zones_json(h->setup->tz)},
        {"month_first", json_boolean(lot_rules_month_first(h->setup->matcher))},
        {"rules", rules_json(h)},
        {"counts", counts_json(h)},
        {"mail", mail_json(h)},
        {"outbox", outbox_json(h)},
        {"work", json_pack("{s:I, s:I}", "rank", (json_int_t)h->rank_waiting, "rematch",
                           (json_int_t)h->rematch_waiting)},
        {"records", records_json(h)},
        {"inbox", inbox_json(h)},
        {"store", store_json(h)},
        {"backup", backup_json(h)},
        {"restored", restored_json(h)},
        {"writer", writer_json(h)},
    };
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        json_object_set_new(status, parts[i].name, parts[i].value);
    if (days_behind(h))
        json_object_set_new(status, "records_behind_days", json_integer(days_behind(h)));
    return status;
}

/* What people of one plant need to read days and words as the daemon does, and its open harm:
 * everything else is of the company's records and machine. */
static json_t *short_json(const struct request *rq, const struct setup *setup, struct store *store)
{
    char started[40];
    json_t *plants = json_array();
    for (int i = 0; i < rq->seen.count; i++)
        json_array_append_new(plants, json_string(rq->seen.plant[i]));
    return json_pack("{s:s, s:s, s:s, s:o, s:I, s:s, s:b, s:o, s:o}", "version", ODDLOAF_VERSION,
                     "plant", config_text(setup->config, "plant"), "time_zone",
                     tz_name(tz_of(setup->tz, rq->seen.count == 1 ? rq->seen.plant[0] : "")),
                     "time_zones", zones_of_plants(rq, setup->tz), "uptime_s",
                     (json_int_t)(app_uptime_ms(rq->app) / 1000), "started_at",
                     when_format_exact(setup->tz, rq->app->started_ms, started), "month_first",
                     lot_rules_month_first(setup->matcher), "plants", plants, "needs",
                     health_needs_of_plants(setup, store));
}

void status_get(struct request *rq, struct store *store)
{
    struct health h;
    struct setup *setup = app_setup(rq->app);
    if (!rq->sees_all) {
        request_reply_json(rq, 200, short_json(rq, setup, store));
        setup_unref(setup);
        return;
    }
    health_read(rq->app, setup, store, &h);
    request_reply_json(rq, 200, status_json(rq->app, &h));
    health_clear(&h);
    setup_unref(setup);
}

void status_recount(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct recount found = {0};
    int rc = recount(store, &found, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200,
                           json_pack("{s:{s:I, s:I, s:I, s:I}}", "differences", "weeks",
                                     (json_int_t)found.weeks, "cases", (json_int_t)found.cases,
                                     "company", (json_int_t)found.company, "materials",
                                     (json_int_t)found.materials));
}
