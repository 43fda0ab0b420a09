#include "patterns/week_harm.h"
#include "base/text.h"
#include "desk/spoken.h"
#include "patterns/span_rows.h"
#include "patterns/week_words.h"
#include <string.h>

enum {
    HARM_SAID = 5, /* cases that a sentence names */
    SINCE_DAYS = 7 /* up to today: what came of them behind the span is told */
};

/* " (hospital, died)": words of gravity, of which "*" stands for any ending. */
static void add_grave(struct text_buffer *b, const json_t *grave)
{
    size_t i;
    const json_t *word;
    json_array_foreach(grave, i, word)
    {
        const char *text = json_string_value(word);
        text_appendf(b, "%s%.*s", i ? ", " : " (", (int)strcspn(text, "*"), text);
    }
    text_append(b, i ? ")" : "");
}

/* "C5 foreign matter (hospital), lot L2 6329 on hold, mira's" */
static void add_harm_case(struct text_buffer *b, const json_t *row)
{
    const json_t *kinds = json_object_get(row, "harm"), *kind;
    const char *lot = json_string_value(json_object_get(row, "lot"));
    const char *owner = json_string_value(json_object_get(row, "owner"));
    size_t i;
    text_append(b, json_string_value(json_object_get(row, "case")));
    json_array_foreach(kinds, i, kind)
    {
        text_append(b, i ? " and " : " ");
        for (const char *at = json_string_value(kind); *at; at++)
            text_appendf(b, "%c", *at == '-' ? ' ' : *at);
    }
    add_grave(b, json_object_get(row, "grave"));
    if (lot)
        text_appendf(b, ", lot %s %s", lot,
                     json_is_true(json_object_get(row, "held")) ? "on hold" : "NOT on hold");
    else
        text_append(b, ", lot not certain");
    text_appendf(b, ", %s%s", owner ? owner : "nobody", "'s");
}

/* What words of gravity stand beside (a hospital, a death), what befell somebody, what could; of
 * each, of a lot that is not on hold first. */
static int gravity_of(const json_t *row)
{
    static const char *const OF_A_BODY[] = {"illness", "injury", "allergic-reaction"};
    size_t i;
    const json_t *kind;
    bool body = false, held = json_is_true(json_object_get(row, "held"));
    json_array_foreach(json_object_get(row, "harm"), i, kind)
    {
        for (size_t k = 0; k < sizeof OF_A_BODY / sizeof OF_A_BODY[0]; k++)
            body = body || strcmp(json_string_value(kind), OF_A_BODY[k]) == 0;
    }
    bool grave = json_array_size(json_object_get(row, "grave")) > 0;
    return (grave ? 4 : 0) + (body ? 2 : 0) + (held ? 0 : 1);
}

/* The gravest first, of those as grave as they came. New reference. */
static json_t *gravest_first(const json_t *rows)
{
    enum { GRAVEST = 7 };
    size_t i;
    json_t *row, *list = json_array();
    for (int gravity = GRAVEST; gravity >= 0; gravity--)
        json_array_foreach(rows, i, row)
        {
            if (gravity_of(row) == gravity)
                json_array_append(list, row);
        }
    return list;
}

/* " (C5 …; C9 …; 3 further cases: … lists them)": each case once. */
static void add_harm_cases(struct text_buffer *b, const json_t *all)
{
    json_t *rows = gravest_first(all);
    json_t *named = json_object();
    size_t i, more;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        const char *name = json_string_value(json_object_get(row, "case"));
        size_t before = json_object_size(named);
        json_object_set_new(named, name, json_true());
        if (json_object_size(named) == before || before >= HARM_SAID)
            continue;
        text_append(b, before ? "; " : " (");
        add_harm_case(b, row);
    }
    more = json_object_size(named) > HARM_SAID ? json_object_size(named) - HARM_SAID : 0;
    if (more)
        text_appendf(b, "; %zu further %s: oddloaf cases --order urgent lists the open ones", more,
                     more == 1 ? "case" : "cases");
    text_append(b, i ? ")" : "");
    json_decref(named);
    json_decref(rows);
}

static void say_harm(const char *when, const json_t *harm, const json_t *possible, json_t *headline)
{
    size_t n = json_array_size(harm), more = json_array_size(possible);
    struct text_buffer b = {0};
    if (!n && !more)
        return;
    text_append(&b, when);
    if (n) {
        week_words_count(&b, (double)n, "report of harm: it goes", "reports of harm: they go");
        text_append(&b, " by the plant's own procedure");
        add_harm_cases(&b, harm);
    }
    if (more)
        text_appendf(&b, "%s%zu %smay speak of harm, nobody has read %s", n ? "; " : "", more,
                     n           ? "more "
                     : more == 1 ? "complaint "
                                 : "complaints ",
                     more == 1 ? "it" : "them");
    add_harm_cases(&b, possible);
    week_words_say(&b, headline);
}

/* Those reported, and those that may be. */
static int read_harm(const struct week_harm_of *of, struct when_span span, json_t **ret,
                     json_t **ret_possible, struct error *err)
{
    struct span_harm asked = {of->tz, span, of->plant, false, of->harm};
    int rc = span_rows_harm(of->store, &asked, ret, err);
    asked.possible = true;
    return rc ? rc : span_rows_harm(of->store, &asked, ret_possible, err);
}

/* Of what came behind the span. */
static int64_t since_ms(const struct week_harm_of *of)
{
    int64_t from_ms = tz_day_start_ms(of->tz, tz_day(of->tz, of->now_ms) - SINCE_DAYS + 1);
    return from_ms > of->shown.to_ms ? from_ms : of->shown.to_ms;
}

/* Whoever looks at a week that is over on Monday must know what this morning brought. */
int week_harm_since(const struct week_harm_of *of, json_t *report, struct error *err)
{
    json_t *harm = NULL, *possible = NULL;
    struct text_buffer when = {0};
    int64_t from_ms = since_ms(of);
    int rc = 0;
    if (from_ms < of->now_ms)
        rc = read_harm(of, (struct when_span){from_ms, of->now_ms}, &harm, &possible, err);
    if (!rc) {
        text_append(&when, "since ");
        week_words_day(&when, tz_day(of->tz, from_ms));
        text_append(&when, ", after what is shown here: ");
        say_harm(when.data, harm, possible, json_object_get(report, "headline"));
        harm = harm ? harm : json_array();
        json_array_extend(harm, possible);
        json_object_set(report, "harm_since", harm);
    }
    text_buffer_free(&when);
    json_decref(harm);
    json_decref(possible);
    return rc;
}

/* ---- what laboratories found ---- */

/* What nobody decided about first. */
static int stands_of(const json_t *row)
{
    if (json_is_true(json_object_get(row, "held")))
        return 1;
    return json_is_true(json_object_get(row, "decided")) ? 2 : 0;
}

/* Of these what is harm before what may be. */
enum { TURNS = 6 };
static int turn_of(const json_t *row)
{
    return 2 * stands_of(row) + (json_array_size(json_object_get(row, "harm")) == 0);
}

/* "lot L2 6329: salmonella positive (Millgate), NOT on hold" */
static void add_found(struct text_buffer *b, const json_t *row)
{
    const char *lab = json_string_value(json_object_get(row, "lab"));
    text_appendf(b, "lot %s: %s", json_string_value(json_object_get(row, "lot")),
                 json_string_value(json_object_get(row, "spoken")));
    if (*lab)
        text_appendf(b, " (%s)", lab);
    static const char *const STANDS[] = {", NOT on hold", ", on hold", ", its hold ended since"};
    text_append(b, STANDS[stands_of(row)]);
}

static void say_found(const json_t *rows, json_t *headline)
{
    size_t i, said = 0, count = json_array_size(rows);
    const json_t *row;
    struct text_buffer b = {0};
    if (!count)
        return;
    text_appendf(&b, "%zu laboratory %s or may: ", count,
                 count == 1 ? "result says harm" : "results say harm");
    for (int turn = 0; turn < TURNS; turn++)
        json_array_foreach(rows, i, row)
        {
            if (turn_of(row) != turn || said == HARM_SAID)
                continue;
            text_append(&b, said++ ? "; " : "");
            add_found(&b, row);
        }
    if (count > said)
        text_appendf(&b, "; %zu more", count - said);
    week_words_say(&b, headline);
}

int week_harm_in_lots(const struct week_harm_of *of, json_t *report, struct error *err)
{
    const struct when_span spans[] = {{since_ms(of), of->now_ms},
                                      when_span_until(of->shown, of->now_ms)};
    json_t *rows = json_array();
    int rc = 0;
    for (size_t i = 0; i < sizeof spans / sizeof spans[0] && of->desk && !rc; i++) {
        const struct spoken_in in = {spans[i], of->plant};
        json_t *found = NULL;
        rc = spoken_in(of->desk, of->store, &in, &found, err);
        json_array_extend(rows, found);
        json_decref(found);
    }
    if (!rc)
        say_found(rows, json_object_get(report, "headline"));
    if (json_array_size(rows))
        json_object_set(report, "harm_in_lots", rows);
    json_decref(rows);
    return rc;
}

int week_harm(const struct week_harm_of *of, json_t *report, struct error *err)
{
    json_t *harm = NULL, *possible = NULL;
    int rc = week_harm_since(of, report, err);
    if (!rc)
        rc = read_harm(of, when_span_until(of->shown, of->now_ms), &harm, &possible, err);
    if (!rc)
        say_harm("", harm, possible, json_object_get(report, "headline"));
    if (harm)
        json_object_set_new(report, "harm", harm);
    if (possible)
        json_object_set_new(report, "harm_possible", possible);
    return rc ? rc : week_harm_in_lots(of, report, err);
}
