#include "base/jsonx.h"
#include "base/weight.h"
#include "base/words.h"
#include "commands/case_path.h"
#include "commands/command.h"
#include "commands/save_page.h"
#include "show/harm.h"
#include "show/measured_show.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

#define CAUSES_SHOWN 8
#define FACTS_SHOWN 3
#define RANKS_PAGE "100"

static const struct option_row options[] = {
    {"all", NULL, "every case, oldest first; one JSON document a line under --json"},
    {"plant", "NAME", "with --all: of that plant of a company alone"},
    {"html", "FILE",
     "the case sheet: one page with pictures, for mail and paper (- is standard output)"},
    {"revision", "N", "as a mail tells it: of what was mailed or settled, and the newest"},
    {0}};

/* What a rule says of its fact is what the cause would show: against it, that is missing. */
static void show_facts(const struct view *v, const json_t *facts, const char *word,
                       const char *between)
{
    size_t i;
    const json_t *fact;
    json_array_foreach(facts, i, fact)
    {
        if (i == FACTS_SHOWN)
            break;
        char *shown = show_fact(fact);
        const char *because = pick_text(fact, "because", ""),
                   *although = pick_text(fact, "although", "");
        view_textf(v, VIEW_PLAIN, 2, 9, "%-7s  %s (%s)%s%s%s%s", i ? "" : word, shown,
                   weight_word(pick_number(fact, "bits", 0)), *because ? between : "", because,
                   *although ? "; it is " : "", although);
        free(shown);
    }
}

static void show_verdict(const struct view *v, const json_t *document)
{
    const json_t *verdict = json_object_get(document, "verdict");
    if (!json_is_object(verdict))
        return;
    view_label(v, "verdict", "%s, confirmed by %s%s%s", pick_text(verdict, "cause", "?"),
               pick_text(verdict, "confirmed_by", "?"), pick_text(verdict, "by", NULL) ? ", " : "",
               pick_text(verdict, "by", ""));
    if (pick_text(verdict, "note", NULL))
        view_label(v, "", "%s", pick_text(verdict, "note", ""));
}

/* The same person told us again: not counted, but there. */
static void show_joined(const struct view *v, const json_t *document)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(document, "joined"), i, item)
    {
        char when[VIEW_NUMBER];
        view_label(v, i ? "" : "told again", "%s: %s, joined to %s",
                   view_when(pick_text(item, "received_at", "?"), when),
                   pick_text(item, "complaint", "?"), pick_text(item, "same_as", "?"));
    }
}

/* Cases that were found to be about this lot. */
static void show_moved(const struct view *v, const json_t *document)
{
    char *cases = pick_shown(document, "moved_here");
    if (*cases)
        view_label(v, "cases here", "%s", cases);
    free(cases);
}

/* What harm is reported, by which complaints, and what to do with the lot. */
static void show_harms(const struct view *v, const json_t *document)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(document, "harms"), i, item)
    {
        char when[VIEW_NUMBER], *kinds = pick_shown(item, "harm");
        view_label(v, i ? "" : "reported", "%s (complaint %s, %s, as told)", kinds,
                   pick_text(item, "complaint", "?"), view_when(pick_text(item, "at", "?"), when));
        free(kinds);
    }
    bool exact = strcmp(pick_text(document, "lot_state", ""), "exact") == 0;
    struct text_buffer lot = {0};
    text_append_word(&lot, exact ? pick_text(document, "lot", "LOT") : "LOT");
    view_label(v, "hold the lot", "oddloaf hold %s --reason WHY", lot.data);
    text_buffer_free(&lot);
}

/* What the first line said, in full; beside it no cause is named. */
static void show_harm(const struct view *v, const json_t *document)
{
    if (!harm_reported(NULL, document) && !harm_possible(document))
        return;
    const char *caution =
        json_string_value(json_array_get(json_object_get(document, "cautions"), 0));
    view_label(v, "harm", "%s", caution ? caution : "");
    if (harm_reported(NULL, document))
        show_harms(v, document);
}

/* What may have gone wrong with the bread, and what to do if it did. */
static void show_causes(const struct view *v, const json_t *document)
{
    const json_t *ranked = json_object_get(document, "ranked");
    const json_t *first = json_array_get(ranked, 0);
    view_section(v, "Likely causes");
    show_ranked(v, ranked, CAUSES_SHOWN);
    if (pick_bool(document, "words_alone", false))
        view_text(v, VIEW_BOLD, 2, 2, WORDS_ALONE_SAYS);
    if (first) {
        struct text_buffer title = {0};
        text_appendf(&title, "%s: %s", pick_text(first, "title", pick_text(first, "cause", "?")),
                     view_likely(pick_number(first, "probability", 0)));
        view_section(v, title.data);
        text_buffer_free(&title);
        show_facts(v, json_object_get(first, "for"), "for", ". ");
        show_facts(v, json_object_get(first, "against"), "against", "; one would rather see: ");
    }
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    bool harm = harm_reported(NULL, document) || harm_possible(document);
    size_t complaints = json_array_size(json_object_get(document, "complaints"));
    char count[VIEW_COUNT];
    case_path_title(c, document);
    view_label(v, "state", "%s, %s", pick_text(document, "state", "open"),
               view_count((double)complaints, "complaint", count));
    show_harm(v, document);
    show_joined(v, document);
    show_moved(v, document);
    show_verdict(v, document);
    if (harm)
        view_text(v, VIEW_PLAIN, 0, 0, "Beside harm no cause is named.");
    else
        show_causes(v, document);
    measured_show(v, document);
    if (!harm) {
        show_ask(v, json_object_get(document, "ask"), "Would tell most", NULL);
        show_list(v, "Checks", json_object_get(document, "checks"));
        show_list(v, "If it is so", json_object_get(document, "actions"));
    }
    show_list(v, "Cautions", json_object_get(document, "cautions"));
    view_blank(v);
    if (strcmp(pick_text(document, "symptom", ""), "other") ==
        0) /* no causes, nothing to say why */
        view_textf(v, VIEW_DIM, 0, 0, "Who did what: oddloaf history %s",
                   pick_text(document, "case", "CASE"));
    else
        view_textf(v, VIEW_DIM, 0, 0, "All facts: oddloaf why %s",
                   pick_text(document, "case", "CASE"));
}

/* ---- as it was told ---- */

static void show_kept(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    const json_t *ranked = json_object_get(document, "ranked");
    const json_t *first = json_array_get(ranked, 0);
    char when[VIEW_NUMBER], count[VIEW_COUNT];
    view_title(v, "%s  as of %s", pick_text(document, "case", "?"),
               view_when(pick_text(document, "as_of", "?"), when));
    double complaints = pick_number(document, "complaints", 0);
    view_label(v, "revision", "%.0f, %s, rules %.19s", pick_number(document, "revision", 0),
               view_count(complaints, "complaint", count), pick_text(document, "rules", "?"));
    view_label(v, "mailed", "%s", pick_text(document, "mailed", "no"));
    view_section(v, "Likely causes, as told then");
    show_ranked(v, ranked, CAUSES_SHOWN);
    show_facts(v, json_object_get(first, "for"), "for", "");
    show_facts(v, json_object_get(first, "against"), "against", "");
}

static int rank_kept(struct client *c, const char *word, const char *revision)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    text_append(&path, "/v1/cases/");
    client_path_word(&path, word);
    client_path_query(&path, "revision", revision);
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show_kept);
}

/* ---- every case ---- */

static void show_line(const struct client *c, const json_t *document)
{
    char percent[VIEW_NUMBER];
    const json_t *first = json_array_get(json_object_get(document, "ranked"), 0);
    if (harm_reported(NULL, document) || harm_possible(document)) {
        view_textf(&c->view, VIEW_PLAIN, 0, 4, "%-7s %-9s %-18s       %s",
                   pick_text(document, "case", "?"), pick_text(document, "symptom", ""),
                   standing_named(document),
                   harm_reported(NULL, document) ? "HARM REPORTED" : "MAY BE HARM");
        return;
    }
    view_textf(&c->view, VIEW_PLAIN, 0, 4, "%-7s %-9s %-18s %5s %s",
               pick_text(document, "case", "?"), pick_text(document, "symptom", ""),
               standing_named(document), view_chance(pick_number(first, "probability", 0), percent),
               pick_text(first, "title", pick_text(first, "cause", "not ranked")));
}

/* Prints the lines of a page; *ret_after is the case of the last one. Counts them. */
static int take_page(const struct client *c, const struct text_buffer *body, char *ret_after,
                     size_t after_size, size_t *ret_count)
{
    struct error err = {0};
    size_t count = 0;
    for (const char *at = body->length ? body->data : ""; *at;) {
        size_t length = strcspn(at, "\n");
        json_t *document = NULL;
        if (length > 0) {
            if (jsonx_parse(at, length, &document, &err))
                return client_fail(c, &err);
            if (c->json)
                printf("%.*s\n", (int)length, at);
            else
                show_line(c, document);
            text_clip(pick_text(document, "case", ""), ret_after, after_size);
            json_decref(document);
            count++;
        }
        at += length + (at[length] == '\n');
    }
    *ret_count = count;
    return EXIT_DONE;
}

static int rank_all(struct client *c, const char *plant)
{
    char after[32] = "";
    char before[32];
    size_t count = 0;
    int rc = EXIT_DONE;
    struct reply reply = {0};
    do {
        struct error err = {0};
        struct text_buffer path = {0};
        snprintf(before, sizeof before, "%s", after);
        text_append(&path, "/v1/ranks");
        client_path_query(&path, "after", *after ? after : NULL);
        client_path_query(&path, "limit", RANKS_PAGE);
        client_path_query(&path, "plant", plant);
        struct request request = {.method = "GET", .path = path.data, .timeout_s = 300};
        if (transport_call(c->transport, &request, &reply, &err))
            rc = client_fail(c, &err);
        else if (!transport_is_good(&reply))
            rc = client_problem(c, &reply);
        else
            rc = take_page(c, &reply.body, after, sizeof after, &count);
        text_buffer_free(&path);
    } while (!rc && count > 0 && after[0] && strcmp(after, before) != 0);
    transport_reply_free(&reply);
    return rc;
}

static int save_sheet(const struct client *c, const char *word, const char *file)
{
    struct text_buffer path = {0};
    text_append(&path, "/v1/cases/");
    client_path_word(&path, word);
    text_append(&path, ".html");
    int rc = save_page(c, path.data, file);
    text_buffer_free(&path);
    return rc;
}

static int rank(struct client *c, const struct args *a)
{
    const char *html = args_value(a, "html");
    if (html && (args_has(a, "all") || args_has(a, "revision")))
        return client_usage(c, "--html is of one case as it stands now");
    if (args_has(a, "all"))
        return a->count ? client_usage(c, "--all takes no case")
                        : rank_all(c, args_value(a, "plant"));
    if (args_has(a, "plant"))
        return client_usage(c, "--plant goes with --all: a case is of one plant");
    if (a->count == 0)
        return client_usage(c, "name a case or a complaint's id, or --all");
    if (args_has(a, "revision"))
        return rank_kept(c, a->words[0], args_value(a, "revision"));
    int rc = html ? save_sheet(c, a->words[0], html) : EXIT_DONE;
    if (rc || (html && !c->json))
        return rc;
    json_t *document = NULL;
    rc = case_path_get_part(c, a->words[0], "", NULL, &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_rank = {
    .name = "rank",
    .args = "CASE",
    .help = "the causes of a case, ranked, with what speaks for them",
    .more = "CASE is a case as C12 or the id of one of its complaints.",
    .options = options,
    .least = 0,
    .most = 1,
    .exec = rank,
};
