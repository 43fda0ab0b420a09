#include "commands/command.h"
#include "intake/fields.h"
#include "show/change_show.h"
#include "show/pick.h"
#include "show/table.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

static const struct column COLUMNS[] = {{"When", COLUMN_LEFT, 0},
                                        {"Who", COLUMN_LEFT, 12},
                                        {"What", COLUMN_LEFT, 10},
                                        {"Was", COLUMN_LEFT, 12},
                                        {"Is (why)", COLUMN_LEFT, 12}};

/* Complaints are told by the first letters of their ids, which name them as well; what the history
 * is of is not named again. */
static void add_what(struct table *t, const json_t *document, const json_t *event)
{
    const char *about = pick_text(event, "complaint", pick_text(event, "lot", ""));
    const char *of = pick_text(document, "complaint", pick_text(document, "lot", ""));
    const char *what = pick_text(event, "what", "?");
    const char *name = pick_text(event, "field", ""), *field = fields_title(name);
    bool named = *about && strcmp(about, of) != 0;
    if (pick_has(event, "kind")) {
        table_addf(t, "%s: %s %s%s%s%s", what, pick_text(event, "kind", "?"), name,
                   pick_has(event, "row") ? " (" : "", pick_text(event, "row", ""),
                   pick_has(event, "row") ? ")" : "");
        return;
    }
    if (strcmp(what, name) == 0 || strcmp(what, "spoke of harm") == 0) /* withdrawn */
        field = "";
    const char first[] = {(char)tolower((unsigned char)*field), '\0'};
    table_addf(t, "%s%s%s%s%s%s%s", what, *field ? " " : "", first, *field ? field + 1 : "",
               named ? " (" : "", named ? pick_complaint(event, about) : "", named ? ")" : "");
}

/* What is no longer anything is said, and a reason stands in brackets, so that neither reads as the
 * other. */
static void add_values(struct table *t, const json_t *event)
{
    const char *field = pick_text(event, "field", ""), *why = pick_text(event, "why", "");
    bool said = strcmp(field, "withdrawn") == 0; /* by what was done */
    char *was = change_show_value(field, said ? "" : pick_text(event, "was", ""), "");
    char *is =
        change_show_value(field, said ? "" : pick_text(event, "is", ""), *was ? "nothing" : "");
    table_add(t, was);
    table_addf(t, "%s%s%s%s%s", is, *is && *why ? " " : "", *why ? "(" : "", why, *why ? ")" : "");
    free(was);
    free(is);
}

/* Where the columns would be too narrow to read: an event a paragraph, all but its first line
 * behind the time. */
static void show_hung(const struct view *v, const struct table *t)
{
    enum { WHEN, WHO, WHAT, WAS, IS };
    for (size_t row = 0; row < table_rows(t); row++) {
        const char *was = table_cell(t, row, WAS), *is = table_cell(t, row, IS);
        view_textf(v, VIEW_PLAIN, 0, 18, "%-16s  %s: %s%s%s%s%s", table_cell(t, row, WHEN),
                   table_cell(t, row, WHO), table_cell(t, row, WHAT), *was ? ", was " : "", was,
                   *is && *is != '(' ? *was ? ", is " : ": "
                   : *is             ? " "
                                     : "",
                   is);
    }
}

static void show(const struct client *c, const json_t *document)
{
    size_t i;
    const json_t *event;
    char when[VIEW_NUMBER];
    struct table *t = table_new(COLUMNS, sizeof COLUMNS / sizeof *COLUMNS);
    const char *zone = pick_text(document, "zone", "");
    view_title(&c->view, "History of %s%s%s",
               pick_text(document, "case",
                         pick_text(document, "lot", pick_text(document, "complaint", "?"))),
               *zone ? ", by the clock of " : "", zone);
    json_array_foreach(json_object_get(document, "events"), i, event)
    {
        table_add(t, view_when(pick_text(event, "at", "?"), when));
        table_add(t, pick_text(event, "by", "?"));
        add_what(t, document, event);
        add_values(t, event);
    }
    if (table_rows(t) && table_fits(t, &c->view, 0))
        table_print(t, &c->view, 0);
    else if (table_rows(t))
        show_hung(&c->view, t);
    else
        view_text(&c->view, VIEW_PLAIN, 0, 0, "Nothing is on record.");
    table_free(t);
}

static int history(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    text_append(&path, "/v1/history/");
    client_path_word(&path, a->words[0]);
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_history = {
    .name = "history",
    .args = "CASE|COMPLAINT|LOT",
    .help = "who did what when, oldest first",
    .more =
        "Of a complaint: logged, joined, corrected, spoken of as harm, withdrawn, moved to another "
        "lot, contact "
        "erased. Of a case: those of its complaints, mails, verdicts, holds and laboratory results "
        "of "
        "its lot, holds for it, actions. Of a lot: holds, results, complaints that moved, and what "
        "of its "
        "records "
        "was changed: the lot's own, its mixes, uses, readings and dispatches, column by column.",
    .least = 1,
    .most = 1,
    .exec = history,
};
