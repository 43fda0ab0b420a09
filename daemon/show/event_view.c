/* What mails of a case and of harm hold. */
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/weight.h"
#include "base/words.h"
#include "show/fact_told.h"
#include "show/lot_told.h"
#include "show/told_view.h"
#include "show/view.h"
#include "tell/tell.h"
#include <math.h>
#include <string.h>

enum { CAUSES = 5, REASONS = 4 };

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

static void add_row(struct view *view, const char *label, const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    if (json_is_string(value) && json_string_length(value))
        view_add(view, VIEW_ROW, label, 0, "%s", json_string_value(value));
    else if (json_is_integer(value))
        view_add(view, VIEW_ROW, label, 0, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
}

/* ": 51.9 °C, target 38" */
static void append_value(struct text_buffer *out, const json_t *fact)
{
    struct text_buffer value = {0};
    fact_told_value(&value, fact);
    if (value.length)
        text_appendf(out, ": %s", value.data);
    text_buffer_free(&value);
}

/* What a rule says of its fact is what the cause would show: against it, that is missing. */
static void add_reasons(struct view *view, const json_t *cause, const char *side,
                        const char *before, const char *between)
{
    const json_t *facts = json_object_get(cause, side);
    for (size_t i = 0; i < json_array_size(facts) && i < REASONS; i++) {
        const json_t *fact = json_array_get(facts, i);
        struct text_buffer line = {0};
        text_appendf(&line, "%s (%s): %s", before,
                     weight_word(json_number_value(json_object_get(fact, "bits"))),
                     *text_of(fact, "name") ? text_of(fact, "name") : text_of(fact, "fact"));
        append_value(&line, fact);
        text_appendf(&line, "%s%s", between, text_of(fact, "because"));
        view_add(view, VIEW_ITEM, NULL, 0, "%s", line.data);
        text_buffer_free(&line);
    }
}

/* The unlikely are named if they are among the first three, and explained only if they are not so
 * unlikely. */
static void add_causes(struct view *view, const json_t *ranked)
{
    static const double NAMED = 0.01;
    view_add(view, VIEW_HEADING, NULL, 0, "Likely causes");
    for (size_t i = 0; i < json_array_size(ranked) && i < CAUSES; i++) {
        const json_t *cause = json_array_get(ranked, i);
        double p = json_number_value(json_object_get(cause, "probability"));
        if (i >= TELL_FIRST && p < NAMED)
            break;
        view_add(view, VIEW_CAUSE, text_of(cause, "cause"), p, "%s", text_of(cause, "title"));
        if (tell_mailed_why((int)i, p)) {
            add_reasons(view, cause, "for", "for", ". ");
            add_reasons(view, cause, "against", "against", "; one would rather see: ");
        }
    }
}

static void add_asks(struct view *view, const json_t *asks)
{
    if (json_array_size(asks))
        view_add(view, VIEW_HEADING, NULL, 0, "What to ask or test next");
    size_t i;
    const json_t *ask;
    json_array_foreach(asks, i, ask)
    {
        view_add(view, VIEW_ITEM, NULL, 0, "%s (%s, %s)", text_of(ask, "ask"), text_of(ask, "of"),
                 weight_gain(json_number_value(json_object_get(ask, "gain_bits"))));
    }
}

static bool has_harm(const json_t *ranking)
{
    return json_is_true(json_object_get(ranking, "harm")) ||
           json_is_true(json_object_get(ranking, "harm_possible"));
}

/* Beside harm, or words that may mean it, no cause is named: it would be read as that of the harm.
 */
static bool has_causes(const json_t *ranking)
{
    return strcmp(text_of(ranking, "symptom"), "other") != 0 && !has_harm(ranking);
}

/* Results and calls that speak of harm, as they were written. */
static void add_spoken(struct view *view, const json_t *ranking)
{
    size_t i;
    const json_t *one, *spoken = json_object_get(ranking, "spoken");
    if (json_array_size(spoken))
        view_add(view, VIEW_HEADING, NULL, 0, "What else was written of it, and speaks of harm");
    json_array_foreach(spoken, i, one)
    {
        view_add(view, VIEW_ITEM, NULL, 0, "%s, %s: %s", text_of(one, "at"), text_of(one, "by"),
                 text_of(one, "spoken"));
    }
}

/* What to do from here, and what the list of causes is worth; of a kind that has causes or not. */
static void add_next(struct view *view, const json_t *event, const json_t *ranking)
{
    const char *of = text_of(ranking, "case");
    const json_int_t revision = json_integer_value(json_object_get(event, "revision"));
    bool ranked = has_causes(ranking), harm = has_harm(ranking);
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    view_add(view, VIEW_ITEM, NULL, 0, "%s: oddloaf reach %s",
             ranked ? "Other lots at risk"
             : harm ? "Lots it may lie in, to be held"
                    : "What was packed beside it, to be held",
             of);
    if (ranked)
        view_add(view, VIEW_ITEM, NULL, 0, "All the working: oddloaf why %s", of);
    else
        view_add(view, VIEW_ITEM, NULL, 0, "What to ask: oddloaf ask %s", of);
    if (!harm)
        view_add(view, VIEW_ITEM, NULL, 0, "Record the confirmed cause: oddloaf settle %s %s", of,
                 ranked ? "CAUSE" : "not-known");
    view_add(view, VIEW_TEXT, NULL, 0, "%s Rules %.19s, revision %" JSON_INTEGER_FORMAT ".",
             ranked ? "Ranked causes are hypotheses, not findings."
             : harm ? "Beside harm no cause is named: a person must read what was said."
                    : "Cases of this kind are never ranked: a person must read what was said.",
             text_of(ranking, "rules"), revision);
}

/* Checks and cautions are texts, or objects with a "do". */
static void add_list(struct view *view, enum view_kind kind, const char *heading,
                     const json_t *list)
{
    if (json_array_size(list))
        view_add(view, VIEW_HEADING, NULL, 0, "%s", heading);
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item)
    {
        const char *who = text_of(item, "who"), *effort = text_of(item, "effort");
        const char *text = json_is_string(item) ? json_string_value(item) : text_of(item, "do");
        if (*who)
            view_add(view, kind, NULL, 0, "%s (%s%s%s)", text, who, *effort ? ", " : "", effort);
        else
            view_add(view, kind, NULL, 0, "%s", text);
    }
}

static void view_of_case(const json_t *event, struct view *view)
{
    const json_t *ranking = json_object_get(event, "ranking");
    bool harm = json_is_true(json_object_get(ranking, "harm"));
    bool possible = json_is_true(json_object_get(ranking, "harm_possible"));
    view_add(view, VIEW_TITLE, NULL, 0, "%sCase %s: %s",
             harm       ? "HARM REPORTED. "
             : possible ? "MAY BE HARM. "
                        : "",
             text_of(ranking, "case"), text_of(ranking, "symptom"));
    add_row(view, "Plant", event, "plant");
    lot_told_rows(ranking, view);
    told_view_lot(view, json_object_get(event, "made"));
    view_add(view, VIEW_ROW, "Complaints", 0, "%zu",
             json_array_size(json_object_get(ranking, "complaints")));
    add_row(view, "Severity", json_object_get(event, "follow"), "severity");
    add_row(view, "Owner", json_object_get(event, "follow"), "owner");
    add_row(view, "Due", json_object_get(event, "follow"), "due");
    add_row(view, "As of", ranking, "as_of");
    add_row(view, "Why now", event, "why");
    add_list(view, VIEW_CAUTION, "Cautions", json_object_get(ranking, "cautions"));
    if (has_causes(ranking))
        add_causes(view, json_object_get(ranking, "ranked"));
    if (json_is_true(json_object_get(ranking, "words_alone")) && !has_harm(ranking))
        view_add(view, VIEW_TEXT, NULL, 0, "%s", WORDS_ALONE_SAYS);
    if (!has_harm(ranking))
        add_list(view, VIEW_ITEM, "Checks that would settle it",
                 json_object_get(ranking, "checks"));
    if (*text_of(ranking, "held") && !has_harm(ranking)) {
        view_add(view, VIEW_HEADING, NULL, 0, "What would have held");
        view_add(view, VIEW_TEXT, NULL, 0, "%s", text_of(ranking, "held"));
    }
    add_spoken(view, ranking);
    if (!has_harm(ranking))
        add_asks(view, json_object_get(ranking, "ask"));
    told_view_case(view, json_object_get(event, "said"),
                   json_array_size(json_object_get(ranking, "complaints")));
    add_next(view, event, ranking);
}

/* Its harm is told before all else already. */
static void add_said(struct view *view, const json_t *said)
{
    json_t *rest = json_copy((json_t *)said);
    view_add(view, VIEW_HEADING, NULL, 0, "What was said");
    json_object_del(rest, "harm");
    told_view_complaint(view, rest);
    json_decref(rest);
}

static void add_needs(struct view *view, const json_t *event)
{
    add_list(view, VIEW_CAUTION, "What this needs", json_object_get(event, "needs"));
}

/* A correction may take back some of it and leave the rest. */
static void add_harm(struct view *view, const json_t *event, bool taken_back)
{
    bool heard = json_object_get(event, "heard_in") != NULL;
    size_t i;
    const json_t *word, *harm = json_object_get(event, "harm");
    const json_t *said = json_object_get(json_object_get(event, "said"), "harm");
    json_array_foreach(harm, i, word)
    {
        view_add(view, VIEW_ROW,
                 taken_back ? "Taken back"
                 : heard    ? "Spoken of"
                            : "Reported",
                 0, "%s", json_string_value(word));
    }
    json_array_foreach(taken_back ? said : NULL, i, word)
    {
        if (!jsonx_holds(harm, word))
            view_add(view, VIEW_ROW, "Still said", 0, "%s", json_string_value(word));
    }
}

/* None of who called stands in a mail. */
static void add_contact(struct view *view, const json_t *event)
{
    const json_t *contact = json_object_get(event, "contact");
    if (contact)
        view_add(view, VIEW_ROW, "Caller", 0,
                 json_is_true(contact) ? "contact data is with the desk, not in this mail"
                                       : "no number was left: nobody can call back");
}

static void view_of_urgent(const json_t *event, struct view *view)
{
    bool heard = json_object_get(event, "heard_in") != NULL;
    bool taken_back = json_is_true(json_object_get(event, "taken_back"));
    if (taken_back)
        view_add(view, VIEW_TITLE, NULL, 0, "A report of harm was taken back");
    else if (json_is_true(json_object_get(event, "alone")))
        view_add(view, VIEW_TITLE, NULL, 0,
                 "Urgent: harm is spoken of where no complaint tells it");
    else if (heard)
        view_add(view, VIEW_TITLE, NULL, 0, "%s",
                 json_is_true(json_object_get(event, "possible"))
                     ? "To read: what was written of a case may speak of harm"
                     : "Urgent: what was written of a case speaks of harm");
    else if (json_is_true(json_object_get(event, "possible")))
        view_add(view, VIEW_TITLE, NULL, 0, "To read: a complaint may speak of harm");
    else
        view_add(view, VIEW_TITLE, NULL, 0, "Urgent: a complaint reports harm");
    if (json_object_get(event, "refused"))
        view_add(
            view, VIEW_CAUTION, NULL, 0,
            "The complaint was refused, so no case holds it: see it where it came from, mend it "
            "and log it again.");
    add_harm(view, event, taken_back);
    if (heard)
        add_row(view, "Says so", event, "why");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Case", event, "case");
    add_row(view, heard ? "About" : "Complaint", event, "complaint");
    add_row(view, heard ? "Its receipt" : "Received", event, "received_at");
    add_contact(view, event);
    add_row(view, "Channel", event, "channel");
    add_row(view, "Symptom", event, "symptom");
    lot_told_rows(event, view);
    if (!heard)
        add_row(view, "Told again", event, "why");
    add_row(view, "Case before", event, "case_was");
    told_view_lot(view, json_object_get(event, "made"));
    add_row(view, "Refused", event, "refused");
    add_row(view, "From", event, "source");
    add_row(view, "Line", event, "line");
    if (json_is_object(json_object_get(event, "said")))
        add_said(view, json_object_get(event, "said"));
    add_needs(view, event);
}

/* Reports of one case that came after it was mailed. */
static void view_of_gathered(const json_t *event, struct view *view)
{
    size_t i;
    const json_t *report;
    bool alone = json_is_true(json_object_get(event, "alone"));
    view_add(view, VIEW_TITLE, NULL, 0,
             alone ? "Urgent: more that speaks of harm, and no case tells it"
                   : "Urgent: more reports of harm that was mailed before");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Case", event, "case");
    if (!alone) {
        lot_told_rows(event, view);
        told_view_lot(view, json_object_get(event, "made"));
    }
    json_array_foreach(json_object_get(event, "reports"), i, report)
    {
        const json_t *said = json_object_get(report, "said");
        view_add(view, VIEW_HEADING, NULL, 0, alone ? "Lot %s" : "Complaint %s",
                 text_of(report, alone ? "lot_named" : "complaint"));
        add_row(view, "Received", said, "received_at");
        add_row(view, alone || json_object_get(report, "heard_in") ? "Says so" : "Told again",
                report, "why");
        add_contact(view, report);
        if (json_is_true(json_object_get(report, "possible")))
            view_add(view, VIEW_ROW, "Reported", 0, "it may speak of harm");
        told_view_complaint(view, said);
    }
    add_needs(view, event);
}

static void view_of_despite(const json_t *event, struct view *view)
{
    size_t i;
    const json_t *harm, *said = json_object_get(event, "said");
    bool alone = *text_of(event, "unfit") && !json_is_true(json_object_get(event, "possible")) &&
                 !json_array_size(json_object_get(event, "harm"));
    view_add(view, VIEW_TITLE, NULL, 0,
             alone ? "Urgent: moldy or ropy bread is open, and yet it was done"
                   : "Urgent: harm is open, and yet it was done");
    add_row(view, "Done", event, "did");
    add_row(view, "Why", event, "why");
    json_array_foreach(json_object_get(event, "harm"), i, harm)
    {
        view_add(view, VIEW_ROW, "Reported", 0, "%s", json_string_value(harm));
    }
    if (json_is_true(json_object_get(event, "possible")))
        view_add(view, VIEW_ROW, "Reported", 0, "a note may speak of harm");
    add_row(view, "Moldy or ropy by", event, "unfit");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Case", event, "case");
    lot_told_rows(event, view);
    told_view_lot(view, json_object_get(event, "made"));
    told_view_case(view, said, json_array_size(said));
    add_needs(view, event);
    if (!*text_of(event, "case")) /* a laboratory's, of a lot nobody complained of */
        return;
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    view_add(view, VIEW_ITEM, NULL, 0, "Who did what: oddloaf history %s", text_of(event, "case"));
}

static void view_of_emptied(const json_t *event, struct view *view)
{
    bool back = json_is_true(json_object_get(event, "back"));
    view_add(view, VIEW_TITLE, NULL, 0, "Case %s: %s", text_of(event, "case"),
             back ? "it has a complaint again" : "its last complaint was withdrawn");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Symptom", event, "symptom");
    lot_told_rows(event, view);
    add_row(view, "Why now", event, "why");
    add_row(view, "Complaint", event, "complaint");
    told_view_lot(view, json_object_get(event, "made"));
    add_said(view, json_object_get(event, "said"));
    if (!back)
        view_add(view, VIEW_TEXT, NULL, 0,
                 "The case is open no more and is not ranked. What was done because of it (holds, "
                 "questions to suppliers) stands until somebody undoes it.");
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    view_add(view, VIEW_ITEM, NULL, 0, "Who did what: oddloaf history %s", text_of(event, "case"));
}

/* Its lot, with the plant where it is one of several. */
static void lot_of(const json_t *one, char out[static PLANT_LEVEL])
{
    const char *lot = text_of(one, "lot");
    plant_level(*lot ? lot : "lot not known", text_of(one, "plant"), out);
}

/* Beside harm a cause would be read as its own. */
static void add_reranked(struct view *view, const json_t *one)
{
    char percent[8], what[200], lot[PLANT_LEVEL];
    const char *title = text_of(one, "title");
    lot_of(one, lot);
    snprintf(what, sizeof what, "%s, %s %%", *title ? title : text_of(one, "cause"),
             text_chance(json_number_value(json_object_get(one, "probability")), percent));
    view_add(view, VIEW_ITEM, NULL, 0, "%s %s, %s: %s (%s)", text_of(one, "case"),
             text_of(one, "symptom"), lot,
             json_is_true(json_object_get(one, "harm")) ? "HARM REPORTED" : what,
             text_of(one, "why"));
}

/* One of many that a file brought. */
static void add_brought(struct view *view, const json_t *one)
{
    char percent[8], what[200], lot[PLANT_LEVEL];
    const char *title = text_of(one, "title");
    lot_of(one, lot);
    json_int_t count = json_integer_value(json_object_get(one, "complaints"));
    snprintf(what, sizeof what, "likeliest %s, %s %%", *title ? title : text_of(one, "cause"),
             text_chance(json_number_value(json_object_get(one, "probability")), percent));
    view_add(view, VIEW_ITEM, NULL, 0, "%s, %s: %s, %s, %" JSON_INTEGER_FORMAT " complaint%s: %s",
             text_of(one, "case"), text_of(one, "severity"), text_of(one, "symptom"), lot, count,
             count == 1 ? "" : "s",
             json_is_true(json_object_get(one, "harm")) ? "HARM REPORTED" : what);
}

static void view_of_summary(const json_t *event, struct view *view)
{
    size_t i;
    const json_t *one, *cases = json_object_get(event, "cases");
    json_int_t count = json_integer_value(json_object_get(event, "count"));
    bool file = strcmp(text_of(event, "of"), "file") == 0;
    view_add(view, VIEW_TITLE, NULL, 0,
             file ? "Cases of a file of complaints" : "Cases that rank otherwise than mailed");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Cases", event, "count");
    json_array_foreach(cases, i, one)
    {
        if (file)
            add_brought(view, one);
        else
            add_reranked(view, one);
    }
    if (count > (json_int_t)json_array_size(cases))
        view_add(view, VIEW_ITEM, NULL, 0, "and %" JSON_INTEGER_FORMAT " more: oddloaf cases%s",
                 count - (json_int_t)json_array_size(cases), file ? " --order urgent" : "");
    view_add(
        view, VIEW_TEXT, NULL, 0, "%s Ranked causes are hypotheses, not findings. Rules %.19s.",
        file ? "One mail for all that the file brought, the most urgent first; harm was mailed "
               "as it came."
             : "Because of other rules, or of complaints of earlier days that came, changed or "
               "went.",
        text_of(event, "rules"));
    view_add(view, VIEW_HEADING, NULL, 0, "Next");
    view_add(view, VIEW_ITEM, NULL, 0, "What speaks for a case: oddloaf why CASE");
}

/* What became of a file of the inbox. */
static void view_of_records(const json_t *event, struct view *view)
{
    size_t i;
    const json_t *one;
    bool refused = strcmp(text_of(event, "outcome"), "refused") == 0;
    view_add(view, VIEW_TITLE, NULL, 0, "%s %s", text_of(event, "file"),
             refused ? "was refused" : "was taken");
    add_row(view, "Plant", event, "plant");
    add_row(view, "Why", event, "why");
    json_array_foreach(json_object_get(event, "loads"), i, one)
    {
        view_add(view, VIEW_ROW, text_of(one, "kind"), 0, "%s", text_of(one, "says"));
    }
    json_array_foreach(json_object_get(event, "refused"), i, one)
    {
        view_add(view, VIEW_ITEM, NULL, 0, "%s", json_string_value(one));
    }
    add_row(view, "Report", event, "report");
    if (refused)
        view_add(
            view, VIEW_TEXT, NULL, 0,
            "Mend the file and put it into the inbox again: rows that are there already change "
            "nothing.");
}

void view_of_event(const json_t *event, struct view *ret)
{
    static const struct {
        const char *event;
        void (*view)(const json_t *, struct view *);
    } VIEWS[] = {
        {"case", view_of_case},       {"urgent", view_of_urgent},     {"emptied", view_of_emptied},
        {"despite", view_of_despite}, {"gathered", view_of_gathered}, {"summary", view_of_summary},
        {"records", view_of_records}, {"digest", view_of_digest},     {"due", view_of_due}};
    for (size_t i = 0; i < sizeof VIEWS / sizeof VIEWS[0]; i++) {
        if (strcmp(text_of(event, "event"), VIEWS[i].event) == 0)
            VIEWS[i].view(event, ret);
    }
}
