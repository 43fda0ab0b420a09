/* OpenMetrics 1.0: counters end in _total, the text in # EOF; no lot and no person in a label. What
 * cannot be read has no sample, rather than a wrong one. */
#include "base/text.h"
#include "serve/health.h"
#include "serve/route.h"

struct metric {
    const char *name, *type, *unit, *help;
    bool known;
    double value;
};

static void add_head(struct text_buffer *out, const struct metric *m)
{
    text_appendf(out, "# TYPE %s %s\n", m->name, m->type);
    if (m->unit)
        text_appendf(out, "# UNIT %s %s\n", m->name, m->unit);
    text_appendf(out, "# HELP %s %s\n", m->name, m->help);
}

static void add_metric(struct text_buffer *out, const struct metric *m)
{
    add_head(out, m);
    if (m->known)
        text_appendf(out, "%s%s %.15g\n", m->name, m->type[0] == 'c' ? "_total" : "", m->value);
}

static double age_s(const struct health *h, int64_t at_ms)
{
    return (double)(h->now_ms - at_ms) / 1000;
}

/* A label's value: backslash, quote and line break escaped. */
static void add_label(struct text_buffer *out, const char *name, const char *value)
{
    text_appendf(out, "%s=\"", name);
    for (const char *p = value; *p; p++) {
        if (*p == '\n')
            text_append(out, "\\n");
        else
            text_appendf(out, "%s%c", *p == '"' || *p == '\\' ? "\\" : "", *p);
    }
    text_append(out, "\"");
}

static void add_records(struct text_buffer *out, const struct health *h)
{
    static const struct metric HEAD = {
        "oddloaf_record_last_timestamp_seconds",
        "gauge",
        "seconds",
        "End of packing of the line's newest lot that has such records; plantlog: newest entry",
        true,
        0};
    size_t i;
    const json_t *row;
    add_head(out, &HEAD);
    json_array_foreach(h->records, i, row)
    {
        const json_t *at = json_object_get(row, "last_at_ms");
        if (!json_is_integer(at))
            continue;
        text_appendf(out, "%s{", HEAD.name);
        add_label(out, "kind", json_string_value(json_object_get(row, "kind")));
        text_append(out, ",");
        add_label(out, "line", json_string_value(json_object_get(row, "line")));
        const char *plant = json_string_value(json_object_get(row, "plant"));
        text_append(out, plant ? "," : "");
        if (plant)
            add_label(out, "plant", plant);
        text_appendf(out, "} %.15g\n", (double)json_integer_value(at) / 1000);
    }
}

static void add_needs(struct text_buffer *out, const struct health *h)
{
    json_t *needs = health_needs(h);
    const struct metric metric = {
        "oddloaf_needs_hand",          "gauge", NULL, "What status asks a person to see to", true,
        (double)json_array_size(needs)};
    add_metric(out, &metric);
    json_decref(needs);
}

static void add_all(struct text_buffer *out, const struct health *h)
{
    const bool read = h->unread.code == 0, mail = h->outbox.oldest_ms != WHEN_UNKNOWN_MS;
    const bool backup = h->backup.is_there;
    const bool checked = h->keeper.checked_ms != WHEN_UNKNOWN_MS;
    const struct totals *t = &h->totals;
    const struct writer_counts *w = &h->writer;
    const struct metric metrics[] = {
        {"oddloaf_complaints", "gauge", NULL, "Complaints on record", read, (double)t->complaints},
        {"oddloaf_lots", "gauge", NULL, "Lots on record", read, (double)t->lots},
        {"oddloaf_cases_open", "gauge", NULL, "Cases not settled", read, (double)t->cases_open},
        {"oddloaf_harm_unowned", "gauge", NULL, "Open cases of reported harm that nobody owns",
         read, (double)h->harm.unowned},
        {"oddloaf_harm_unread", "gauge", NULL,
         "Open cases with words that may be harm and nobody has read", read,
         (double)h->harm.unread},
        {"oddloaf_rankings_waiting", "gauge", NULL, "Cases waiting to be ranked", read,
         (double)h->rank_waiting},
        {"oddloaf_mail_waiting", "gauge", NULL, "Mail waiting to be sent", read,
         (double)h->outbox.waiting},
        {"oddloaf_mail_urgent_waiting", "gauge", NULL, "Mail about harm that has not left", read,
         (double)h->outbox.urgent},
        {"oddloaf_mail_parked", "gauge", NULL, "Mail given up for now, or held back", read,
         (double)h->outbox.parked},
        {"oddloaf_mail_oldest_age_seconds", "gauge", "seconds",
         "How long the oldest mail that waits has waited; 0: none waits", read,
         mail ? age_s(h, h->outbox.oldest_ms) : 0},
        {"oddloaf_write_jobs", "counter", NULL, "Jobs committed or refused", true, (double)w->jobs},
        {"oddloaf_write_groups", "counter", NULL, "Commits", true, (double)w->groups},
        {"oddloaf_write_refused", "counter", NULL, "Jobs refused", true, (double)w->refused},
        {"oddloaf_write_queue", "gauge", NULL, "Jobs waiting for the writer", true,
         (double)w->queued},
        {"oddloaf_store_bytes", "gauge", "bytes", "Size of the database", true,
         (double)h->size.db_bytes},
        {"oddloaf_wal_bytes", "gauge", "bytes", "Size of the write-ahead log", true,
         (double)h->size.wal_bytes},
        {"oddloaf_disk_free_bytes", "gauge", "bytes", "Free on the state's disk",
         h->disk_free_bytes >= 0, (double)h->disk_free_bytes},
        {"oddloaf_store_lost", "gauge", NULL, "1: the database was taken away, nothing is written",
         true, w->lost.code != 0},
        {"oddloaf_store_readable", "gauge", NULL, "0: the database cannot be read", true, read},
        {"oddloaf_store_sound", "gauge", NULL, "What the check at start found: 1 nothing", checked,
         h->keeper.damage.code == 0},
        {"oddloaf_inbox_waiting", "gauge", NULL, "Files in the inbox that are not taken yet",
         h->inbox.set_up, (double)h->inbox.waiting},
        {"oddloaf_inbox_refused_there", "gauge", NULL, "Files in the inbox's folder refused",
         h->inbox.set_up, (double)h->inbox.refused_there},
        {"oddloaf_inbox_done", "counter", NULL, "Files of the inbox loaded since the start",
         h->inbox.set_up, (double)h->inbox.done},
        {"oddloaf_inbox_refused", "counter", NULL, "Files of the inbox refused since the start",
         h->inbox.set_up, (double)h->inbox.refused},
        {"oddloaf_backup_age_seconds", "gauge", "seconds",
         "Age of the last backup, while it is there", backup,
         backup ? age_s(h, h->backup.at_ms) : 0},
    };
    for (size_t i = 0; i < sizeof metrics / sizeof metrics[0]; i++)
        add_metric(out, &metrics[i]);
    add_records(out, h);
    add_needs(out, h);
    text_append(out, "# EOF\n");
}

void metrics_get(struct request *rq, struct store *store)
{
    struct health h;
    struct text_buffer out = {0};
    struct setup *setup = app_setup(rq->app);
    health_read(rq->app, setup, store, &h);
    add_all(&out, &h);
    health_clear(&h);
    setup_unref(setup);
    size_t length = out.length;
    request_reply(rq, 200, "application/openmetrics-text; version=1.0.0; charset=utf-8",
                  text_take(&out), length);
}
