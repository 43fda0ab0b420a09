#include "base/words.h"
#include "commands/case_path.h"
#include "commands/command.h"
#include "show/hold.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/table.h"
#include <stdlib.h>

#define WHICH                                                                                      \
    {                                                                                              \
        "lot", COLUMN_LEFT, 12                                                                     \
    }
#define REST                                                                                       \
    {"units", COLUMN_RIGHT, 0}, {"best by", COLUMN_LEFT, 0}, {"sent by", COLUMN_LEFT, 8},          \
    {                                                                                              \
        "", COLUMN_BENEATH, 0                                                                      \
    }
static const struct column at_risk[] = {WHICH, {"risk", COLUMN_RIGHT, 0}, REST};
static const struct column beside[] = {WHICH, REST};

/* Beside harm nothing is a risk in percent. */
static bool has_risks(const json_t *document)
{
    return !pick_has(document, "by");
}

static void add_lot(struct table *t, const json_t *lot, bool risks)
{
    char percent[VIEW_NUMBER];
    char number[VIEW_NUMBER];
    char *routes = pick_shown(lot, "routes");
    table_add(t, pick_text(lot, "lot", "?"));
    if (risks)
        table_add(t, view_chance(pick_number(lot, "probability", 0), percent));
    table_add(t, view_number(pick_number(lot, "units", 0), number));
    table_addf(t, "%s%s", pick_text(lot, "code_date", ""),
               pick_bool(lot, "in_code", true) ? "" : " past");
    table_add(t, routes);
    if (pick_has(lot, "came_of_it"))
        table_addf(t, "NOTHING LEFT, %s; %s", pick_text(lot, "came_of_it", ""),
                   pick_text(lot, "because", ""));
    else
        table_addf(t, "%s%s", pick_has(lot, "holds") ? "ON HOLD; " : "",
                   pick_text(lot, "because", ""));
    free(routes);
}

static double units_in_code(const json_t *lot)
{
    bool about = pick_bool(lot, "in_code", true) && !pick_has(lot, "came_of_it");
    return about ? pick_number(lot, "units", 0) : 0;
}

struct added {
    double units; /* still in code and about */
    size_t past;  /* lots past their code */
};

/* Those of the list that are still in code, or those that are past it: a hold is about the first.
 */
static void add_listed(struct table *t, const json_t *document, bool in_code, struct added *ret)
{
    size_t i;
    const json_t *lot;
    json_array_foreach(json_object_get(document, "lots"), i, lot)
    {
        if (pick_bool(lot, "in_code", true) != in_code)
            continue;
        add_lot(t, lot, has_risks(document));
        ret->units += units_in_code(lot);
        ret->past += !in_code;
    }
}

/* The case's own lot on top, then those still in code. */
static struct added add_lots(struct table *t, const json_t *document)
{
    struct added added = {0};
    const json_t *own = json_object_get(document, "own");
    if (own) {
        add_lot(t, own, has_risks(document));
        added.units += units_in_code(own);
    }
    add_listed(t, document, true, &added);
    add_listed(t, document, false, &added);
    return added;
}

/* Which of several is the case's own, and that nobody holds it by this. */
static void show_open(const struct client *c, const json_t *document)
{
    const json_t *candidates = json_object_get(document, "candidates");
    if (json_array_size(candidates))
        show_candidates(&c->view, candidates);
    view_textf(&c->view, VIEW_PLAIN, 2, 2,
               "The case's own lot is open: hold --reach %s holds neither it nor others.",
               pick_text(document, "case", "CASE"));
}

static void show_none(const struct client *c, const json_t *document)
{
    const char *because = pick_text(document, "none_because", "");
    view_textf(&c->view, VIEW_PLAIN, 2, 2, "No other lot named%s%s.", *because ? ": " : "",
               because);
    if (!pick_has(document, "own"))
        show_open(c, document);
}

/* What most lots share tells none from another; but nobody shall think that it was not looked at.
 */
static void show_common(const struct client *c, const json_t *document)
{
    size_t i;
    const json_t *one;
    char number[VIEW_COUNT], why[HOLD_WHY];
    json_array_foreach(json_object_get(document, "common"), i, one)
    {
        view_textf(&c->view, VIEW_PLAIN, 2, 2, "Also %s in %s, %s: not listed for that, nor held.",
                   pick_text(one, "shares", "?"),
                   view_count(pick_number(one, "lots", 0), "lot", number),
                   hold_why_common(one, why));
    }
}

static void show_carry_no_label(const struct client *c, const json_t *document)
{
    char *materials = pick_shown(document, "carry_no_label");
    if (*materials)
        view_textf(&c->view, VIEW_PLAIN, 2, 2,
                   "Carry no label, and no lot is listed for them: %s. If it is an allergen in "
                   "the bread that the label does not name, it may have come with them.",
                   materials);
    free(materials);
}

/* How far the list reaches: who holds by it has to know. */
static void show_looked(const struct client *c, const json_t *document)
{
    char number[VIEW_COUNT];
    if (pick_has(document, "left_out"))
        view_textf(&c->view, VIEW_BOLD, 2, 2,
                   "Not all: it may be %.0f more lots, which are not named here. Ask for the code "
                   "or the best-by date of the pack, and hold by product until it is known.",
                   pick_number(document, "left_out", 0));
    else if (pick_bool(document, "more", false))
        view_text(&c->view, VIEW_BOLD, 2, 2,
                  "Not all: more lots share it than can be looked at here; those farthest off are "
                  "not named.");
    if (pick_has(document, "elsewhere"))
        view_textf(&c->view, VIEW_BOLD, 2, 2,
                   "Of other plants, and not named here: %s. Their people see them, and the "
                   "company's.",
                   view_count(pick_number(document, "elsewhere", 0), "lot", number));
    if (pick_has(document, "own") && !pick_has(document, "none_because") && has_risks(document))
        view_textf(&c->view, VIEW_PLAIN, 2, 2,
                   "Looked at by their own records: lots packed within %.0f days.",
                   pick_number(document, "within_days", 0));
}

static void show_by_shared(const struct client *c, const json_t *document)
{
    bool causes = pick_bool(document, "causes", false);
    show_common(c, document);
    show_carry_no_label(c, document);
    view_textf(&c->view, VIEW_BOLD, 2, 2,
               "By what they share, not by a cause: how far to hold or recall is for the "
               "food-safety lead and the law.%s%s%s",
               causes ? " oddloaf reach " : "", causes ? pick_text(document, "case", "CASE") : "",
               causes ? " CAUSE goes by a cause." : "");
}

static void show(const struct client *c, const json_t *document)
{
    struct table *t = has_risks(document) ? table_new(at_risk, sizeof at_risk / sizeof *at_risk)
                                          : table_new(beside, sizeof beside / sizeof *beside);
    struct added added = add_lots(t, document);
    char number[VIEW_COUNT];
    case_path_harm(c, document);
    view_title(&c->view,
               has_risks(document) ? "%s  lots that may share %s" : "%s  lots that share %s",
               pick_text(document, "case", "case"),
               pick_text(document, "title", pick_text(document, "cause", "the cause")));
    standing_show(&c->view, document, NULL);
    if (table_rows(t) > 0)
        table_print(t, &c->view, 2);
    if (table_rows(t) > 0 && pick_has(document, "as_of"))
        view_textf(&c->view, VIEW_DIM, 2, 2,
                   "Complaints and records as they stood at %s, the case's newest complaint.",
                   view_when(pick_text(document, "as_of", ""), number));
    if (added.past)
        view_textf(&c->view, VIEW_PLAIN, 2, 2, "Past their code, listed last: %s.",
                   view_count((double)added.past, "lot", number));
    if (pick_bool(document, "words_alone", false) && table_rows(t) > 0)
        view_text(&c->view, VIEW_BOLD, 2, 2, WORDS_ALONE_SAYS);
    if (json_array_size(json_object_get(document, "lots")) == 0)
        show_none(c, document);
    if (!has_risks(document))
        show_by_shared(c, document);
    show_looked(c, document);
    if (table_rows(t) > 0)
        view_textf(&c->view, VIEW_PLAIN, 2, 2,
                   "%s still in code on %s. A hold is QA's decision: oddloaf hold LOT… "
                   "--reason, or for all of them --reach %s",
                   view_count(added.units, "unit", number),
                   pick_text(document, "in_code_on", "that day"),
                   pick_text(document, "case", "CASE"));
    table_free(t);
}

static int reach(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    int rc =
        case_path_get_part(c, a->words[0], "/reach", a->count > 1 ? a->words[1] : NULL, &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_reach = {
    .name = "reach",
    .args = "CASE [CAUSE]",
    .help = "the case's lot, and others that share the suspected condition",
    .more = "Beside harm, and of a case without causes: those that shared what could have carried "
            "it.",
    .least = 1,
    .most = 2,
    .exec = reach,
};
