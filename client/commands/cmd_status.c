#include "base/plant_level.h"
#include "commands/command.h"
#include "deliver/deliver.h"
#include "show/harm.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static void show_uptime(const struct view *v, const json_t *document)
{
    int64_t s = pick_int(document, "uptime_s", -1);
    if (s < 0)
        return;
    if (s < 3600)
        view_label(v, "running for", "%lld min", (long long)(s / 60));
    else if (s < 172800)
        view_label(v, "running for", "%lld h %lld min", (long long)(s / 3600),
                   (long long)(s / 60 % 60));
    else
        view_label(v, "running for", "%lld days", (long long)(s / 86400));
}

static void show_plants_rules(const struct view *v, const json_t *of_plants)
{
    struct text_buffer names = {0};
    size_t i;
    const json_t *one;
    json_array_foreach(of_plants, i, one)
        text_appendf(&names, "%s%s", i ? ", " : "", pick_text(one, "plant", "?"));
    if (names.length)
        view_label(v, "plants' own rules", "%s", names.data);
    text_buffer_free(&names);
}

static void show_rules(const struct view *v, const json_t *rules)
{
    char when[VIEW_NUMBER];
    char number[VIEW_NUMBER];
    char hash[24];
    if (!json_is_object(rules))
        return;
    text_clip(pick_text(rules, "hash", "?"), hash, sizeof hash);
    view_label(v, "rules", "%s causes, %s…, loaded %s",
               view_number(pick_number(rules, "causes", 0), number), hash,
               view_when(pick_text(rules, "loaded_at", "?"), when));
    show_plants_rules(v, json_object_get(rules, "of_plants"));
    int behind = (int)pick_number(rules, "release_changed", 0);
    if (behind)
        view_label(v, "own rules",
                   "a release changed what %d of %d files %s copied from: oddloaf rules check",
                   behind, (int)pick_number(rules, "own_files", 0), behind == 1 ? "was" : "were");
    const json_t *error = json_object_get(rules, "last_error");
    if (error && !json_is_null(error)) {
        char *text = pick_shown(rules, "last_error");
        view_label(v, "reload refused", "%s", text);
        free(text);
    }
    if (json_array_size(json_object_get(rules, "needs_restart"))) {
        char *text = pick_shown(rules, "needs_restart");
        view_label(v, "needs a restart", "%s", text);
        free(text);
    }
}

static void show_counts(const struct view *v, const json_t *counts)
{
    char number[VIEW_NUMBER];
    const char *name;
    json_t *count;
    struct text_buffer line = {0};
    json_object_foreach((json_t *)counts, name, count)
    {
        text_appendf(&line, "%s%s ", line.length ? ", " : "",
                     view_number(json_is_number(count) ? json_number_value(count) : 0, number));
        for (const char *p = name; *p; p++)
            text_append_bytes(&line, *p == '_' ? " " : p, 1);
    }
    if (line.length)
        view_label(v, "on record", "%s", line.data);
    text_buffer_free(&line);
}

static void show_mail(const struct view *v, const json_t *mail)
{
    size_t i;
    const json_t *fault;
    char sentence[160];
    if (pick_text(mail, "gap", NULL))
        view_label(v, "mail", "%s",
                   harm_sentence(pick_text(mail, "gap", ""), sentence, sizeof sentence));
    json_array_foreach(json_object_get(mail, "faults"), i, fault)
        view_label(v, "wrong setting", "%s", json_string_value(fault));
}

static void show_outbox(const struct view *v, const json_t *outbox)
{
    char a[VIEW_NUMBER];
    char b[VIEW_NUMBER];
    if (!json_is_object(outbox))
        return;
    view_label(v, "outbox", "%s waiting, %s parked",
               view_number(pick_number(outbox, "waiting", 0), a),
               view_number(pick_number(outbox, "parked", 0), b));
    if (pick_number(outbox, "urgent", 0) > 0)
        view_label(v, "urgent mail", "%s not yet with everybody: oddloaf outbox shows why",
                   view_number(pick_number(outbox, "urgent", 0), a));
    if (pick_text(outbox, "last_error", NULL) && *pick_text(outbox, "last_error", ""))
        view_label(v, "last failure", "%s", pick_text(outbox, "last_error", ""));
}

/* ---- first what a person should see to ---- */

static void add_need(json_t *needs, const char *what, const char *says, const char *to_do)
{
    json_array_insert_new(needs, 0,
                          json_pack("{ss ss ss}", "what", what, "says", says, "do", to_do));
}

static const char *say_waiting(int files, char *out, size_t size)
{
    char count[VIEW_COUNT];
    snprintf(out, size, "%s of complaints %s not sent yet", view_count(files, "kept file", count),
             files == 1 ? "is" : "are");
    return out;
}

/* Before all that the daemon knows of: complaints taken on this machine, by this user, that nobody
 * has read. */
static void add_kept(json_t *document, const struct spool_counts *kept)
{
    char says[96];
    json_t *needs = json_object_get(document, "needs");
    if (!needs)
        json_object_set_new(document, "needs", needs = json_array());
    if (kept->torn) {
        snprintf(says, sizeof says, "%d kept file%s not whole and set aside, named *.torn",
                 kept->torn, kept->torn == 1 ? " is" : "s are");
        add_need(needs, "kept-torn", says, "look at what is left of them: oddloaf(1), FILES");
    }
    if (kept->elsewhere) {
        snprintf(says, sizeof says, "%d kept file%s of complaints for another daemon than this one",
                 kept->elsewhere, kept->elsewhere == 1 ? " is" : "s are");
        add_need(needs, "kept-elsewhere", says,
                 "send them there, or to this one if that is gone: oddloaf(1), FILES");
    }
    if (kept->unfinished > kept->harmed)
        add_need(needs, "unfinished-here",
                 "an interview on this machine was broken off; nobody has its answers",
                 "oddloaf log offers to go on with it");
    if (kept->waiting)
        add_need(needs, "kept-here", say_waiting(kept->waiting, says, sizeof says),
                 "oddloaf log --replay sends them and says what harm is heard in them");
    if (kept->harmed)
        add_need(needs, "unfinished-harm", HARM_UNSENT " (an interview that was broken off here)",
                 "oddloaf log, then log, logs what there is of it at once");
}

/* Nobody has to do anything, and yet not all is told. */
static void show_well(const struct view *v, const json_t *document)
{
    double left = pick_number(json_object_get(document, "work"), "rank", 0);
    char count[VIEW_COUNT];
    int64_t behind = pick_int(document, "records_behind_days", 0);
    if (behind)
        view_textf(v, VIEW_PLAIN, 0, 2,
                   "Nothing needs a hand, but the newest lot on record was packed %lld days ago: "
                   "complaints about later ones find no lot, and weeks no packs.",
                   (long long)behind);
    if (left < 1 && behind)
        return;
    if (left < 1)
        view_text(v, VIEW_PLAIN, 0, 2, "All is well: nothing needs a hand.");
    else
        view_textf(v, VIEW_PLAIN, 0, 2,
                   "Nothing needs a hand. Still to be ranked: %s; until then weeks and lists are "
                   "without their causes.",
                   view_count(left, "case", count));
}

static void show_needs(const struct view *v, const json_t *document)
{
    const json_t *needs = json_object_get(document, "needs");
    size_t i;
    const json_t *need;
    char sentence[600];
    if (!json_array_size(needs)) {
        show_well(v, document);
        return;
    }
    view_section(v, "Needs a hand");
    json_array_foreach(needs, i, need)
    {
        view_textf(v, VIEW_BOLD, 2, 2, "- %s",
                   harm_sentence(pick_text(need, "says", "?"), sentence, sizeof sentence));
        view_textf(v, VIEW_PLAIN, 4, 2, "%s", pick_text(need, "do", ""));
    }
}

/* ---- records ---- */

static void show_line(const struct view *v, const char *line, const struct text_buffer *newest)
{
    char label[PLANT_LEVEL + 8];
    snprintf(label, sizeof label, "%s%s%s", *line && *line != '(' ? "line" : "no line",
             *line ? " " : "", line);
    view_label(v, label, "%s", newest->length ? newest->data : "none");
}

/* One line a production line: "lots 2026-11-20 09:14, readings …". */
static void show_records(const struct view *v, const json_t *records)
{
    struct text_buffer text = {0};
    char when[VIEW_NUMBER];
    size_t i;
    const json_t *row;
    char name[2][PLANT_LEVEL];
    const char *line = NULL;
    if (json_array_size(records))
        view_section(v, "Newest records");
    json_array_foreach(records, i, row)
    {
        const char *of = plant_level_of(row, "line", name[i % 2]);
        const char *at = pick_text(row, "last_at", NULL);
        if (line && strcmp(line, of) != 0) {
            show_line(v, line, &text);
            text_reset(&text);
        }
        line = of;
        if (at || strcmp(pick_text(row, "kind", ""), "readings") == 0)
            text_appendf(&text, "%s%s %s", text.length ? ", " : "", pick_text(row, "kind", "?"),
                         at ? view_when(at, when) : "none");
    }
    if (line)
        show_line(v, line, &text);
    text_buffer_free(&text);
}

/* ---- what is kept ---- */

static void show_store(const struct view *v, const json_t *store)
{
    char a[VIEW_NUMBER];
    char b[VIEW_NUMBER];
    char when[VIEW_NUMBER];
    const json_t *integrity = json_object_get(store, "integrity");
    const char *at = pick_text(integrity, "at", NULL);
    if (!store)
        return;
    view_label(v, "store", "%s MB, log %s MB",
               view_rough(pick_number(store, "db_bytes", 0) / 1e6, a),
               view_rough(pick_number(store, "wal_bytes", 0) / 1e6, b));
    if (pick_number(store, "disk_free_bytes", -1) >= 0)
        view_label(v, "disk", "%s MB free",
                   view_number(pick_number(store, "disk_free_bytes", 0) / 1e6, a));
    if (integrity)
        view_label(v, "integrity", "%s%s%s%s", pick_text(integrity, "state", "?"),
                   at ? " when looked at, " : "", at ? view_when(at, when) : "",
                   at ? "; harm done to the file since is seen by the next start or backup" : "");
    if (pick_has(store, "lost"))
        view_label(v, "NOT WRITING", "%s", pick_text(store, "lost", ""));
    else if (pick_has(store, "unread"))
        view_label(v, "NOT READABLE", "%s", pick_text(store, "unread", ""));
}

static void show_backup(const struct view *v, const json_t *backup)
{
    char when[VIEW_NUMBER];
    long long every_h = (long long)pick_int(backup, "every_h", 0);
    if (!backup)
        return;
    if (pick_has(backup, "at"))
        view_label(v, "last backup", "%s, %s%s", view_when(pick_text(backup, "at", "?"), when),
                   pick_text(backup, "path", "?"),
                   pick_bool(backup, "there", true) ? "" : " (gone)");
    else
        view_label(v, "last backup", "none yet");
    if (every_h)
        view_label(v, "backups", "one every %lld h", every_h);
    else
        view_label(v, "backups", "none by the clock");
}

static void show_inbox(const struct view *v, const json_t *inbox)
{
    char when[VIEW_NUMBER];
    if (!inbox || json_is_null(inbox))
        return;
    view_label(v, "inbox", "%s: %lld waiting, %lld loaded and %lld refused since the start",
               pick_text(inbox, "folder", "?"), (long long)pick_int(inbox, "waiting", 0),
               (long long)pick_int(inbox, "done", 0), (long long)pick_int(inbox, "refused", 0));
    if (pick_has(inbox, "last_file"))
        view_label(v, "taken last", "%s, %s", pick_text(inbox, "last_file", "?"),
                   view_when(pick_text(inbox, "last_at", "?"), when));
}

static void show_restored(const struct view *v, const json_t *restored)
{
    char when[VIEW_NUMBER];
    if (restored && !json_is_null(restored))
        view_label(v, "restored", "%s from %s", view_when(pick_text(restored, "at", "?"), when),
                   pick_text(restored, "file", "?"));
}

static void show_work(const struct view *v, const json_t *work, const json_t *writer)
{
    char a[VIEW_NUMBER];
    char b[VIEW_NUMBER], count[VIEW_COUNT];
    view_label(v, "to be ranked", "%s", view_count(pick_number(work, "rank", 0), "case", count));
    if (pick_number(work, "rematch", 0) > 0)
        view_label(v, "to be matched", "complaints whose lot is not exact, with the lots loaded");
    if (writer)
        view_label(v, "writer", "%s waiting, %s commits",
                   view_number(pick_number(writer, "queued", 0), a),
                   view_number(pick_number(writer, "groups", 0), b));
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    const char *plant = pick_text(document, "plant", "");
    view_title(v, "oddloafd %s at %s", pick_text(document, "version", "?"),
               transport_name(c->transport));
    show_needs(v, document);
    view_section(v, "Plant and rules");
    view_label(v, "plant", "%s, time zone %s", *plant ? plant : "not named",
               pick_text(document, "time_zone", "?"));
    show_uptime(v, document);
    if (pick_has(document, "plants")) { /* of people who see these alone */
        char *plants = pick_shown(document, "plants");
        view_label(v, "you see", "%s; the rest is told to the company's people", plants);
        free(plants);
        return;
    }
    show_rules(v, json_object_get(document, "rules"));
    show_counts(v, json_object_get(document, "counts"));
    show_records(v, json_object_get(document, "records"));
    view_section(v, "Mail");
    show_mail(v, json_object_get(document, "mail"));
    show_outbox(v, json_object_get(document, "outbox"));
    view_section(v, "Database");
    show_store(v, json_object_get(document, "store"));
    show_backup(v, json_object_get(document, "backup"));
    show_inbox(v, json_object_get(document, "inbox"));
    show_restored(v, json_object_get(document, "restored"));
    show_work(v, json_object_get(document, "work"), json_object_get(document, "writer"));
}

static const struct option_row options[] = {
    {"recount", NULL,
     "count again all that is counted beside the complaints, and say what differs"},
    {0}};

static int64_t differences(const json_t *document, const char *of)
{
    return pick_int(json_object_get(document, "differences"), of, 0);
}

static const struct counted {
    const char *name, *label;
} COUNTED[] = {{"weeks", "counts by week"},
               {"cases", "cases"},
               {"company", "counts by lot"},
               {"materials", "first uses"}};
enum { COUNTED_KINDS = sizeof COUNTED / sizeof COUNTED[0] };

static void show_recount(const struct client *c, const json_t *document)
{
    for (int i = 0; i < COUNTED_KINDS; i++) {
        int64_t n = differences(document, COUNTED[i].name);
        if (n)
            view_label(&c->view, COUNTED[i].label, "%lld differ from what is on record",
                       (long long)n);
        else
            view_label(&c->view, COUNTED[i].label, "as on record");
    }
}

static int admin_recount(struct client *c)
{
    json_t *document = NULL;
    int rc = client_get(c, "/v1/status/recount", &document);
    if (rc)
        return rc;
    bool agrees = true;
    for (int i = 0; i < COUNTED_KINDS; i++)
        agrees = agrees && !differences(document, COUNTED[i].name);
    rc = client_answer(c, document, show_recount);
    return rc || agrees ? rc : EXIT_REFUSED;
}

static int status(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    if (args_has(a, "recount"))
        return admin_recount(c);
    const struct spool_counts kept = deliver_kept(c);
    char says[96];
    int rc = client_get(c, "/v1/status", &document);
    if (rc && kept.waiting)
        client_say(c, "%s", say_waiting(kept.waiting, says, sizeof says));
    if (rc && kept.harmed)
        client_say(c, HARM_UNSENT "; oddloaf log keeps what there is of it");
    if (rc)
        return rc;
    add_kept(document, &kept);
    bool well = json_array_size(json_object_get(document, "needs")) == 0;
    rc = client_answer(c, document, show);
    return rc || well ? rc : EXIT_REFUSED;
}

const struct command cmd_status = {
    .name = "status",
    .args = "[--recount]",
    .help = "health of the daemon, first what needs a hand",
    .more = "Exit status 1 while something does: complaints kept on this machine, open harm that "
            "nobody owns, words that may be harm and nobody has read, a database that "
            "is not written, damaged or not "
            "backed up, a disk nearly full, mail that is parked or not set up, a line that packs "
            "and whose readings stay away.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = status,
};
