#include "serve/health.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "records/apply.h"
#include "store/freshness.h"
#include "store/work.h"
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>

/* ---- reading ---- */

static int add_freshness(void *arg, const struct freshness *one)
{
    json_t *row =
        json_pack("{s:s, s:s}", "line", one->line, "kind", record_kind_table(one->kind)->kind);
    plant_level_set(row, one->plant);
    json_object_set_new(row, "last_at_ms",
                        one->at_ms == WHEN_UNKNOWN_MS ? json_null() : json_integer(one->at_ms));
    return json_array_append_new(arg, row);
}

static int rank_waiting(struct store *store, int64_t *ret, struct error *err)
{
    static const char *const KINDS[] = {WORK_RANK, WORK_AGAIN, WORK_SINCE,
                                        WORK_NEWS, WORK_BULK,  WORK_TOLD};
    int rc = 0;
    *ret = 0;
    for (size_t i = 0; i < sizeof KINDS / sizeof KINDS[0] && !rc; i++) {
        int64_t count = 0;
        rc = work_count(store, KINDS[i], &count, err);
        *ret += count;
    }
    return rc;
}

static int read_store(struct store *store, struct health *h, struct error *err)
{
    int rc = totals_get(store, &h->totals, err);
    if (!rc)
        rc = open_harm_count(store, &h->harm, err);
    if (!rc)
        rc = spoken_undecided(&h->setup->desk, store, &h->found, err);
    if (!rc)
        rc = outbox_count(store, &h->outbox, err);
    if (!rc)
        rc = outbox_urgent_stuck(store, h->now_ms, &h->urgent_stuck, err);
    if (!rc)
        rc = rank_waiting(store, &h->rank_waiting, err);
    if (!rc)
        rc = work_count(store, WORK_REMATCH, &h->rematch_waiting, err);
    if (!rc)
        rc = backup_last_get(store, &h->backup, err);
    if (!rc)
        rc = restore_last(store, &h->restored, err);
    if (!rc)
        rc = load_file_failed(store, &h->failed, &h->failed_loads, err);
    if (!rc)
        rc = plant_names_read(h->setup->config, store, &h->plants, err);
    return rc ? rc : freshness_list(store, add_freshness, h->records, err);
}

static int64_t free_bytes(const char *state_dir)
{
    struct statvfs fs;
    return statvfs(state_dir, &fs) ? -1 : (int64_t)fs.f_bavail * (int64_t)fs.f_frsize;
}

void health_read(struct app *app, const struct setup *setup, struct store *store,
                 struct health *ret)
{
    *ret = (struct health){
        .setup = setup,
        .now_ms = app_now_ms(app),
        .outbox = {.oldest_ms = WHEN_UNKNOWN_MS, .oldest_urgent_ms = WHEN_UNKNOWN_MS},
        .backup = {.at_ms = WHEN_UNKNOWN_MS},
        .restored = {.at_ms = WHEN_UNKNOWN_MS},
        .records = json_array(),
        .writer = writer_counts(app->writer),
        .size = store_size(store),
        .disk_free_bytes = free_bytes(app->state_dir),
    };
    ret->uptime_s = app_uptime_ms(app) / 1000;
    keeper_tell(app->keeper, &ret->keeper);
    inbox_tell(app->inbox, &ret->inbox);
    bool began = store_look(store);
    read_store(store, ret, &ret->unread);
    store_take_failed(store, &ret->unread);
    store_unlook(store, began);
    pthread_mutex_lock(&app->lock);
    text_clip(app->reload_error, ret->reload_error, sizeof ret->reload_error);
    pthread_mutex_unlock(&app->lock);
}

void health_clear(struct health *h)
{
    json_decref(h->records);
    plant_names_clear(&h->plants);
    free(h->restored.told);
    h->records = NULL;
    h->restored.told = NULL;
}

/* ---- what needs a hand ---- */

enum { FIRST_BACKUP_S = 7200, DEFAULT_LATE_H = 7 * 24 };
#define MB INT64_C(1000000)
#define MINUTE_MS INT64_C(60000)
#define URGENT_LATE_MS (10 * MINUTE_MS) /* mail about harm leaves within seconds */
#define BACKUP_LATE INT64_C(2) /* times the hours between two; common practice, no source */
/* A line runs if a lot was packed that lately; its readings should come with its lots, or a day
 * after. Common practice, no source. */
#define RUNS_MS (2 * WHEN_DAY_MS)
#define LAG_MS WHEN_DAY_MS

static void need(json_t *needs, const char *what, const char *to_do, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void need(json_t *needs, const char *what, const char *to_do, const char *format, ...)
{
    struct text_buffer says = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&says, format, args);
    va_end(args);
    json_array_append_new(
        needs, json_pack("{s:s, s:s, s:s}", "what", what, "says", says.data, "do", to_do));
    text_buffer_free(&says);
}

static void of_database(const struct health *h, json_t *needs)
{
    const struct error *lost = &h->writer.lost, *damage = &h->keeper.damage;
    if (lost->code)
        need(needs, "not-writing", lost->hint, "nothing is written: %s", lost->text);
    if (h->unread.code)
        need(needs, "not-readable", "bring back a backup: oddloafd(8), BACKUP AND RESTORE",
             "the database cannot be read: %s", h->unread.text);
    if (damage->code)
        need(needs, "damaged", damage->hint, "%s", damage->text);
}

/* However well the machine is. */
static void of_harm(const struct health *h, json_t *needs)
{
    if (h->harm.unowned)
        need(needs, "harm-unowned",
             "oddloaf cases --order urgent lists them, oddloaf follow CASE --owner NAME takes one",
             "open cases of reported harm that nobody owns: %lld", (long long)h->harm.unowned);
    if (h->harm.unread)
        need(needs, "harm-unread",
             "oddloaf cases --order urgent lists them; read what was said, then oddloaf correct ID "
             "harm=KIND, or harm=no, --reason TEXT",
             "open cases with words that may be harm and nobody has read: %lld",
             (long long)h->harm.unread);
    if (h->found.count)
        need(needs, "harm-in-lots",
             "oddloaf lot LOT tells the results; hold the lot, or take back a result that is none: "
             "oddloaf measure LOT QUANTITY= --reason TEXT",
             "lots in which a laboratory found what is or may be harm, not on hold and not "
             "decided: %lld (%s%s)",
             (long long)h->found.count, h->found.first,
             h->found.count > SPOKEN_NAMED ? ", ..." : "");
}

/* The database once more, where it lies there: a backup of it. */
static int64_t least_free(const struct setup *setup, const struct store_size *size)
{
    return config_number(setup->config, "disk_low_mb") * MB +
           (size->elsewhere ? 0 : size->db_bytes);
}

int health_room(const struct app *app, const struct setup *setup, struct store *store,
                struct error *err)
{
    struct store_size size = store_size(store);
    int64_t free = free_bytes(app->state_dir), least = least_free(setup, &size);
    if (free < 0 || free >= least)
        return 0;
    error_hint(err, "free space on the disk of the state's folder; complaints and records are "
                    "taken meanwhile");
    return error_set(err, ERROR_NO_SPACE,
                     "no file is attached while less than %lld MB are free on the disk: %lld are",
                     (long long)(least / MB), (long long)(free / MB));
}

static void of_disk(const struct health *h, json_t *needs)
{
    int64_t least = least_free(h->setup, &h->size);
    if (h->disk_free_bytes >= 0 && h->disk_free_bytes < least)
        need(needs, "disk-low", "free space on the disk of the state's folder, or enlarge it",
             "the disk has %lld MB left", (long long)(h->disk_free_bytes / MB));
}

static void add_fault(void *arg, const struct error *fault)
{
    char text[512];
    need(arg, "mail-setting", "mend the settings, then reload", "%s",
         error_format(fault, text, sizeof text));
}

static void of_mail(const struct health *h, json_t *needs)
{
    const struct mail_settings mail = setup_mail(h->setup);
    const char *gap = mail_settings_gap(&mail);
    int64_t oldest_ms = h->outbox.oldest_urgent_ms;
    int64_t late_ms = oldest_ms == WHEN_UNKNOWN_MS ? 0 : h->now_ms - oldest_ms;
    if (late_ms > URGENT_LATE_MS || (late_ms && h->urgent_stuck))
        need(needs, "urgent-mail", "phone whom it is for; oddloaf outbox shows why it waits",
             "mail about harm could not leave yet, for %lld minutes",
             (long long)(late_ms / MINUTE_MS));
    if (gap)
        need(needs, "mail-not-set-up", "set mail/program, mail/to and mail/urgent_to, then reload",
             "%s", gap);
    mail_settings_check(&mail, add_fault, needs);
    if (h->outbox.parked)
        need(needs, "mail-parked", "oddloaf outbox shows why, oddloaf outbox --send N sends it",
             "parked mails: %lld", (long long)h->outbox.parked);
}

/* ---- lines whose readings stay away ---- */

struct line {
    const json_t *row; /* of its lots */
    int64_t lot_ms, reading_ms;
};

static void judge_line(const struct health *h, const struct line *line, json_t *needs)
{
    char when[40], name[PLANT_LEVEL];
    bool runs = line->row && line->lot_ms != WHEN_UNKNOWN_MS && h->now_ms - line->lot_ms < RUNS_MS;
    /* a line that never had any is not measured */
    if (!runs || line->reading_ms == WHEN_UNKNOWN_MS || line->lot_ms - line->reading_ms < LAG_MS)
        return;
    need(needs, "no-readings", "look at what loads the readings of that line",
         "line %s packs, and its newest lot with readings is of %s",
         plant_level_of(line->row, "line", name),
         when_format(h->setup->tz, line->reading_ms, when));
}

static int64_t time_of(const json_t *row)
{
    const json_t *at = json_object_get(row, "last_at_ms");
    return json_is_integer(at) ? json_integer_value(at) : WHEN_UNKNOWN_MS;
}

static void of_lines(const struct health *h, json_t *needs)
{
    struct line line = {NULL, WHEN_UNKNOWN_MS, WHEN_UNKNOWN_MS};
    size_t i;
    const json_t *row;
    json_array_foreach(h->records, i, row)
    {
        const char *kind = json_string_value(json_object_get(row, "kind"));
        if (strcmp(kind, "lots") == 0) {
            judge_line(h, &line, needs);
            line = (struct line){row, time_of(row), WHEN_UNKNOWN_MS};
        } else if (strcmp(kind, "readings") == 0) {
            line.reading_ms = time_of(row);
        }
    }
    judge_line(h, &line, needs);
}

/* ---- plants that are called otherwise ---- */

static void of_plants(const struct health *h, json_t *needs)
{
    const struct plant_names *plants = &h->plants;
    if (plants->without_lots.length)
        need(needs, "plant-without-lots",
             "spell it in the settings as its lots do, or load its lots",
             "no lot on record is of what the settings call a plant: %s",
             plants->without_lots.data);
    if (plants->not_named.length)
        need(needs, "plant-not-named",
             "name it in the settings, or its mail and harm go to the company's lists alone",
             "lots are of plants that the settings do not name: %s", plants->not_named.data);
}

/* ---- backups ---- */

static void of_backups(const struct health *h, json_t *needs)
{
    static const char DO[] = "oddloaf backup NAME makes one now; the log says why none was made";
    int64_t every_h = config_number(h->setup->config, "backup/every_h");
    int64_t late_h = every_h ? BACKUP_LATE * every_h : DEFAULT_LATE_H;
    const struct backup_last *last = &h->backup;
    bool something = h->totals.complaints || h->totals.lots;
    if (h->unread.code || h->size.elsewhere)
        return;
    if (h->keeper.unbacked.code)
        need(needs, "no-backup", DO, "the last backup failed: %s", h->keeper.unbacked.text);
    if (last->at_ms == WHEN_UNKNOWN_MS) {
        if (something && h->uptime_s > FIRST_BACKUP_S)
            need(needs, "no-backup", DO, "there is no backup");
    } else if (!last->is_there) {
        need(needs, "no-backup", DO, "the last backup is gone from %s", last->path);
    } else if (h->now_ms - last->at_ms > late_h * WHEN_HOUR_MS) {
        need(needs, "old-backup", DO, "the last backup is %lld hours old",
             (long long)((h->now_ms - last->at_ms) / WHEN_HOUR_MS));
    }
}

static void of_loads(const struct health *h, json_t *needs)
{
    if (h->failed_loads)
        need(needs, "load-failed",
             "load that file again; what was staged of it is kept beside the database",
             "%s of %s were accepted and not all could be applied: loads/%s" APPLY_FAILED,
             record_kind_table(h->failed.kind)->kind,
             h->failed.source[0] ? h->failed.source : "a file without a name", h->failed.id);
}

static void of_inbox(const struct health *h, json_t *needs)
{
    char text[512];
    const struct inbox_told *inbox = &h->inbox;
    if (!inbox->set_up)
        return;
    if (inbox->fault.code)
        need(needs, "inbox", "see oddloafd(8), INBOX", "the inbox: %s",
             error_format(&inbox->fault, text, sizeof text));
    if (inbox->refused_there)
        need(needs, "inbox-refused",
             "read the report beside each; put the mended file into the inbox, remove this one",
             "%s of records in the inbox's folder refused: %d",
             inbox->refused_there == 1 ? "a file" : "files", inbox->refused_there);
}

static void of_settings(const struct health *h, json_t *needs)
{
    if (h->reload_error[0])
        need(needs, "reload-refused", "mend the settings or rules, then reload",
             "the last reload was refused: %s", h->reload_error);
    if (json_array_size(h->setup->needs_restart))
        need(needs, "needs-restart", "restart the daemon when it suits",
             "a changed setting waits for a restart: %s",
             json_string_value(json_array_get(h->setup->needs_restart, 0)));
}

json_t *health_needs(const struct health *h)
{
    static void (*const OF[])(const struct health *, json_t *) = {
        of_database, of_harm,    of_disk,  of_mail,  of_plants,
        of_lines,    of_backups, of_loads, of_inbox, of_settings};
    json_t *needs = json_array();
    for (size_t i = 0; i < sizeof OF / sizeof OF[0]; i++)
        OF[i](h, needs);
    return needs;
}

json_t *health_needs_of_plants(const struct setup *setup, struct store *store)
{
    struct health h = {0};
    json_t *needs = json_array();
    if (!open_harm_count(store, &h.harm, &h.unread))
        spoken_undecided(&setup->desk, store, &h.found, &h.unread);
    of_database(&h, needs);
    of_harm(&h, needs);
    return needs;
}
