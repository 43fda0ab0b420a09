#include "base/when.h"
#include "commands/command.h"
#include "commands/pages.h"
#include "commands/period.h"
#include "show/pick.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

enum { NOTE_SHOWN = 90 };

static const struct option_row options[] = {
    {"phone", "NUMBER", "the caller's phone number, in any writing (desk)"},
    {"name", "NAME", "words of the caller's name, or how they begin (desk)"},
    {"ticket", "TICKET", "how its number in another system begins"},
    {"store", "NAME", "words of the store"},
    {"lot", "CODE", "words of the code as read, or the lot it was placed in"},
    {"product", "NAME", "of this product: a code, words of its name, a family"},
    {"plant", "NAME", "of that plant of a company alone"},
    {"since", "DATE", "received, or written, from then on"},
    {"limit", "N", "at most so many (20)"},
    {0}};
static const struct column columns[] = {
    {"complaint", COLUMN_LEFT, 0}, {"received", COLUMN_LEFT, 0},
    {"case", COLUMN_LEFT, 0},      {"symptom", COLUMN_LEFT, 0},
    {"lot", COLUMN_LEFT, 10},      {"what was said", COLUMN_LEFT, 16}};

static void append(struct text_buffer *out, const char *text)
{
    if (*text)
        text_appendf(out, "%s%s", out->length ? "; " : "", text);
}

/* What tells it from others: who, which ticket, where, in which words. */
static void add_said(struct table *t, const json_t *item)
{
    struct text_buffer said = {0};
    char note[NOTE_SHOWN + 1], store[128] = "";
    const json_t *contact = json_object_get(item, "contact");
    const char *whole = pick_text(item, "note", "");
    text_append(&said, "");
    append(&said, pick_bool(item, "withdrawn", false) ? "withdrawn" : "");
    if (pick_has(item, "reference"))
        text_appendf(&said, "%sticket %s", said.length ? "; " : "",
                     pick_text(item, "reference", ""));
    append(&said, pick_text(contact, "name", ""));
    append(&said, pick_text(contact, "phone", ""));
    if (pick_has(item, "store"))
        snprintf(store, sizeof store, "store %.110s", pick_text(item, "store", ""));
    append(&said, store);
    text_clip(whole, note, sizeof note);
    if (*note)
        text_appendf(&said, "%snote: %s%s", said.length ? "; " : "", note,
                     strlen(whole) > strlen(note) ? "..." : "");
    table_add(t, said.data);
    text_buffer_free(&said);
}

static void add_complaint(struct table *t, const json_t *item)
{
    table_add(t, pick_complaint(item, "?"));
    table_addf(t, "%.10s", pick_text(item, "received_at", "?"));
    table_add(t, pick_text(item, "case", "?"));
    table_add(t, pick_text(item, "symptom", ""));
    table_add(t, standing_named(item));
    add_said(t, item);
}

/* ---- what is no complaint ---- */

static const struct column written[] = {
    {"kind", COLUMN_LEFT, 0}, {"which", COLUMN_LEFT, 6}, {"case", COLUMN_LEFT, 0},
    {"on", COLUMN_LEFT, 0},   {"by", COLUMN_LEFT, 6},    {"what it says", COLUMN_LEFT, 16}};

/* A number tells a result or a note from others to no person; its lot does. */
static const char *which(const json_t *item)
{
    bool named = strchr("lcah", *pick_text(item, "kind", "?")) != NULL;
    return named ? pick_text(item, "id", "?") : pick_text(item, "lot", "");
}

static void show_written(const struct client *c, const json_t *list)
{
    struct table *t = table_new(written, sizeof written / sizeof *written);
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item)
    {
        table_add(t, pick_text(item, "kind", "?"));
        table_add(t, which(item));
        table_add(t, pick_text(item, "case", ""));
        table_addf(t, "%.10s", pick_text(item, "at", "?"));
        table_add(t, pick_text(item, "by", ""));
        table_add(t, pick_text(item, "says", ""));
    }
    if (table_rows(t) > 0) {
        view_section(&c->view, "Besides complaints");
        table_print(t, &c->view, 0);
    }
    table_free(t);
}

/* Who looks by caller, ticket, store or lot looks for complaints. */
static bool asks_all(const struct args *a)
{
    static const char *const complaints[] = {"phone", "name", "ticket", "store", "lot"};
    bool all = a->count > 0;
    for (size_t i = 0; i < sizeof complaints / sizeof *complaints; i++)
        all = all && !args_value(a, complaints[i]);
    return all;
}

static char *words_of(const struct args *a)
{
    struct text_buffer words = {0};
    for (int i = 0; i < a->count; i++)
        text_appendf(&words, "%s%s", i ? " " : "", a->words[i]);
    return a->count ? text_take(&words) : NULL;
}

/* "found" is set beside the complaints. */
static int get_written(struct client *c, const struct args *a, json_t *into)
{
    struct text_buffer path = {0};
    json_t *answer = NULL;
    char *words = words_of(a);
    text_append(&path, "/v1/found");
    client_path_query(&path, "word", words);
    client_path_query(&path, "product", args_value(a, "product"));
    client_path_query(&path, "plant", args_value(a, "plant"));
    int rc = period_query_day(c, a, "since", &path);
    if (!rc)
        rc = client_get(c, path.data, &answer);
    if (!rc)
        json_object_update(into, answer);
    json_decref(answer);
    text_buffer_free(&path);
    free(words);
    return rc;
}

/* ---- complaints ---- */

static void show(const struct client *c, const struct pages *found)
{
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *item;
    json_array_foreach(found->rows, i, item)
    {
        add_complaint(t, item);
    }
    if (table_rows(t) > 0)
        table_print(t, &c->view, 0);
    else
        view_text(&c->view, VIEW_PLAIN, 0, 0, "No such complaint.");
    pages_tell_more(found, c);
    show_written(c, json_object_get(found->rest, "found"));
    table_free(t);
}

static int add_query(const struct client *c, const struct args *a, struct text_buffer *path)
{
    static const char *const passed[] = {"phone", "name",    "ticket", "store",
                                         "lot",   "product", "plant"};
    char *words = words_of(a);
    text_append(path, "/v1/complaints");
    client_path_query(path, "word", words);
    free(words);
    for (size_t i = 0; i < sizeof passed / sizeof *passed; i++)
        client_path_query(path, passed[i], args_value(a, passed[i]));
    return period_query_day(c, a, "since", path);
}

static int tell(struct client *c, const struct args *a, struct pages *found)
{
    int rc = asks_all(a) ? get_written(c, a, found->rest) : EXIT_DONE;
    if (rc)
        return rc;
    if (c->json)
        pages_print(found, "complaints");
    else
        show(c, found);
    bool any =
        json_array_size(found->rows) || json_array_size(json_object_get(found->rest, "found"));
    return any ? EXIT_DONE : EXIT_NOT_FOUND;
}

static int find(struct client *c, const struct args *a)
{
    static const struct pages_list LIST = {"complaints", 20, 10000, add_query, tell};
    return pages_list(c, a, &LIST);
}

const struct command cmd_find = {
    .name = "find",
    .args = "[WORD...]",
    .help = "finds complaints, lots, cases and what was written of them",
    .more =
        "Every WORD must stand in the note, the reference, the store or the code as read; case "
        "and accents make no difference, and WORD* is how a word begins. All that is given must "
        "fit; without anything, the last complaints. The last logged come first. By words alone, "
        "or "
        "with a product, lots, cases, notes, results, attached files, holds and (not for the desk) "
        "actions are found as well. "
        "What is shown of a complaint's id is enough to name it.",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = find,
};
