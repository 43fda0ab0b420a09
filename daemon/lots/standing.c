#include "lots/standing.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "lots/matcher.h"
#include "lots/unrecorded.h"
#include "store/lot_find.h"
#include "store/seen.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A candidate below this tells nothing of what would decide. */
static const double TELLING = 0.01;
/* A code that is on record, with nothing said against it, has more. */
static const double UNDOUBTED = 0.95;

/* ---- what is known ---- */

static int add_candidate(struct store *store, int64_t lot_id, double weight, struct standing *s,
                         struct error *err)
{
    struct lot_find_row row;
    int rc = lot_find_by_id(store, lot_id, &row, err);
    bool hidden = !rc && !seen_plant(store, row.plant);
    if (hidden)
        s->elsewhere += weight;
    if (hidden && !s->count && lot_state_names_one(s->state))
        s->state = LOT_SEVERAL;
    if (rc || hidden)
        return rc;
    struct standing_candidate *c = &s->candidate[s->count++];
    *c = (struct standing_candidate){.lot_id = lot_id,
                                     .weight = weight,
                                     .packed_from_ms = row.packed_from_ms,
                                     .code_day = row.code_day};
    memcpy(c->lot, row.code, sizeof c->lot);
    memcpy(c->line, row.line, sizeof c->line);
    text_clip(row.plant, c->plant, sizeof c->plant);
    memcpy(c->product, row.product, sizeof c->product);
    return 0;
}

/* What the records know of a code that is not exact; what is exact needs no more words. */
static int look_up(struct store *store, const struct lot_parsed *parsed,
                   const struct unrecorded_code *record, struct standing *s, struct error *err)
{
    int64_t first_ms, newest_ms;
    s->asked_day = tz_of_day(s->tz, parsed->plant, s->asked_ms);
    s->has_code = parsed->text[0] != '\0';
    s->has_product |= parsed->product[0] != '\0';
    s->has_code_date |= parsed->code_day != WHEN_UNKNOWN_DAY;
    s->gap = record->gap;
    s->code_day = parsed->day;
    if (s->gap != LOT_GAP_NONE)
        text_clip(parsed->code[0] ? parsed->code : parsed->text, s->code, sizeof s->code);
    s->misread = s->gap != LOT_GAP_NONE && s->state != LOT_NOT_ON_RECORD;
    s->read_lot_id = record->lot_id;
    if (!record->found)
        text_clip(parsed->wrong, s->wrong, sizeof s->wrong);
    int rc = lot_find_span(store, &first_ms, &newest_ms, err);
    if (rc || newest_ms == WHEN_UNKNOWN_MS)
        return rc;
    s->first_day = tz_day(s->tz, first_ms);
    s->newest_day = tz_day(s->tz, newest_ms);
    return 0;
}

static void begin(const struct lot_query *query, enum lot_state state, struct standing *s)
{
    *s = (struct standing){.state = state,
                           .tz = query->tz,
                           .code_day = WHEN_UNKNOWN_DAY,
                           .first_day = WHEN_UNKNOWN_DAY,
                           .newest_day = WHEN_UNKNOWN_DAY,
                           .asked_ms = query->received_ms,
                           .asked_day = tz_of_day(query->tz, "", query->received_ms)};
    s->has_product = query->product && *query->product;
    s->has_code_date = query->code_day != WHEN_UNKNOWN_DAY;
    text_clip(query->lot_text ? query->lot_text : "", s->text, sizeof s->text);
}

/* All candidates are of plants that are not seen. */
static void end(struct standing *s)
{
    if (s->state > LOT_NOT_ON_RECORD && s->elsewhere > 0 && !s->count)
        s->state = LOT_UNKNOWN;
}

int standing_of_match(struct store *store, const struct lot_query *query,
                      const struct lot_match_result *matched, struct standing *ret,
                      struct error *err)
{
    begin(query, matched->state, ret);
    ret->codes_hold_time = matched->codes_hold_time;
    const struct unrecorded_code record = {.lot_id = matched->read_lot_id, .gap = matched->gap};
    int rc = ret->state == LOT_EXACT ? 0 : look_up(store, &matched->parsed, &record, ret, err);
    for (size_t i = 0; rc == 0 && i < matched->count; i++)
        rc = add_candidate(store, matched->candidate[i].lot_id, matched->candidate[i].weight, ret,
                           err);
    end(ret);
    return rc;
}

static int look_again(const struct lot_matcher *matcher, struct store *store,
                      const struct lot_query *query, struct standing *s, struct error *err)
{
    struct lot_parsed parsed;
    struct unrecorded_code record;
    match_understand(matcher, query->lot_text, query->plant, query->received_ms, query->tz,
                     &parsed);
    struct product_named named;
    int rc = unrecorded_look(store, query->tz, &parsed, &record, err);
    if (!rc && !record.found)
        rc = match_named(store, &parsed, &named, err);
    return rc ? rc : look_up(store, &parsed, &record, s, err);
}

int standing_of_kept(const struct lot_matcher *matcher, struct store *store,
                     const struct lot_query *query, const struct standing_kept *kept,
                     struct standing *ret, struct error *err)
{
    begin(query, kept->state, ret);
    ret->codes_hold_time = matcher_holds_time(matcher, query->plant);
    int rc = ret->state == LOT_EXACT ? 0 : look_again(matcher, store, query, ret, err);
    for (size_t i = 0; rc == 0 && i < kept->count && i < LOT_MATCH_CANDIDATES; i++)
        rc = add_candidate(store, kept->lot_id[i], kept->weight[i], ret, err);
    end(ret);
    return rc;
}

const char *standing_lot(const struct standing *s)
{
    return lot_state_names_one(s->state) && s->count ? s->candidate[0].lot : NULL;
}

/* ---- in words ---- */

/* How many candidates are worth telling. */
static size_t told(const struct standing *s)
{
    size_t count = 0;
    while (count < s->count && s->candidate[count].weight >= TELLING)
        count++;
    return count;
}

static void append_named(const struct standing *s, struct text_buffer *out)
{
    const char *const ALONE[] = {[LOT_UNKNOWN] = "lot not known",
                                 [LOT_SEVERAL] =
                                     told(s) > 1 ? "one of several lots" : "lot not certain"};
    if (s->state == LOT_NOT_ON_RECORD)
        text_appendf(out, "%s, not on record", s->code);
    else if (standing_lot(s))
        text_appendf(out, "%s%s", s->state == LOT_LIKELY ? "likely " : "", standing_lot(s));
    else
        text_append(out, ALONE[s->state == LOT_SEVERAL ? LOT_SEVERAL : LOT_UNKNOWN]);
}

static void append_read(const struct standing *s, struct text_buffer *out)
{
    if (s->wrong[0])
        text_appendf(out,
                     "; the code as read, %s, cannot be right, for there is no %s: it was"
                     " misread, or printed wrong",
                     s->text, s->wrong);
    else if (s->has_code)
        text_appendf(out, "; the code as read: %s", s->text);
    else if (s->text[0])
        text_appendf(out, "; no code is in what was read: %s", s->text);
    else
        text_append(out, "; no code was read");
}

static void append_percent(double weight, struct text_buffer *out)
{
    char percent[8];
    text_appendf(out, "%s %%", text_chance(weight, percent));
}

/* The code is a lot's, and a date or product that was said with it is not. */
static bool is_doubtful(const struct standing *s)
{
    return s->state == LOT_EXACT && s->count && s->candidate[0].weight < UNDOUBTED;
}

static void say_exact(const struct standing *s, struct text_buffer *out)
{
    text_appendf(out, "%s: the code read is on record", s->candidate[0].lot);
    if (strcmp(s->text, s->candidate[0].lot) != 0)
        text_appendf(out, "; as read: %s", s->text);
    if (!is_doubtful(s))
        return;
    text_append(out, ", but what else was said does not fit it: it is this lot with ");
    append_percent(s->candidate[0].weight, out);
}

static void say_likely(const struct standing *s, struct text_buffer *out)
{
    text_appendf(out, "likely %s (", s->candidate[0].lot);
    append_percent(s->candidate[0].weight, out);
    text_append(out, ")");
    if (s->misread)
        text_appendf(out, ", if the code was misread: %s, as read, is whole and on no record",
                     s->code);
    else if (s->wrong[0])
        text_appendf(out,
                     ", if the code was misread: %s, as read, cannot be right, for there is no %s",
                     s->text, s->wrong);
    else
        append_read(s, out);
    if (s->read_lot_id)
        text_append(out, ", is on record as another lot");
}

static void say_several(const struct standing *s, struct text_buffer *out)
{
    text_append(out, told(s) > 1 ? "not certain: the likeliest lot has "
                                 : "not certain: the only lot that fits has ");
    append_percent(s->candidate[0].weight, out);
    append_read(s, out);
    if (s->misread)
        text_append(out, ", whole and on no record, so likely misread");
    if (s->read_lot_id)
        text_append(out, ", is on record, but what else was said speaks against it");
}

/* Where its day lies beside the records, so that one knows what to load or to look up. */
static void say_where(const struct standing *s, struct text_buffer *out)
{
    char day[16], newest[16], first[16];
    day_format(s->code_day, day);
    day_format(s->newest_day, newest);
    if (s->code_day != WHEN_UNKNOWN_DAY && s->code_day > s->asked_day)
        text_appendf(
            out, "; its day, %s, has not come yet, so the code was misread or printed wrong", day);
    else if (s->newest_day == WHEN_UNKNOWN_DAY)
        text_append(out, "; no lots are loaded at all");
    else if (s->code_day == WHEN_UNKNOWN_DAY)
        text_appendf(out, "; the newest lot on record was packed on %s", newest);
    else if (s->gap == LOT_GAP_LINE)
        text_appendf(out, "; of its line nothing is on record; its day is %s", day);
    else if (s->code_day < s->first_day)
        text_appendf(out, "; its day, %s, lies before the first lot on record, of %s", day,
                     day_format(s->first_day, first));
    else if (s->code_day > s->newest_day)
        text_appendf(out, "; its day, %s, lies after the last lots loaded, which end on %s", day,
                     newest);
    else if (s->gap == LOT_GAP_LATER)
        text_appendf(out, "; it lies after the last lots loaded of its line for %s", day);
    else if (s->gap == LOT_GAP_DAY)
        text_appendf(out, "; of its line and day, %s, nothing is on record", day);
    else
        text_appendf(out,
                     "; its day, %s, lies within the records, so the lot is missing there or the "
                     "code was misread",
                     day);
}

static void say_not_on_record(const struct standing *s, struct text_buffer *out)
{
    text_appendf(out, "%s is on no record", s->code);
    if (strcmp(s->text, s->code) != 0)
        text_appendf(out, " (as read: %s)", s->text);
    say_where(s, out);
}

static void say_unknown(const struct standing *s, struct text_buffer *out)
{
    text_append(out, "not known");
    append_read(s, out);
}

static void append_says(const struct standing *s, struct text_buffer *out)
{
    static void (*const SAY[])(const struct standing *,
                               struct text_buffer *) = {[LOT_UNKNOWN] = say_unknown,
                                                        [LOT_NOT_ON_RECORD] = say_not_on_record,
                                                        [LOT_SEVERAL] = say_several,
                                                        [LOT_LIKELY] = say_likely,
                                                        [LOT_EXACT] = say_exact};
    SAY[s->count || s->state <= LOT_NOT_ON_RECORD ? s->state : LOT_UNKNOWN](s, out);
    if (s->elsewhere >= TELLING)
        text_append(out, "; lots of other plants fit, too");
}

/* ---- what would decide ---- */

static bool differ_by_line(const struct standing_candidate *a, const struct standing_candidate *b)
{
    return strcmp(a->line, b->line) != 0;
}

static bool differ_by_product(const struct standing_candidate *a,
                              const struct standing_candidate *b)
{
    return strcmp(a->product, b->product) != 0;
}

static bool differ_by_code_date(const struct standing_candidate *a,
                                const struct standing_candidate *b)
{
    return a->code_day != b->code_day;
}

static bool differ_by_time(const struct standing_candidate *a, const struct standing_candidate *b)
{
    return a->packed_from_ms % WHEN_DAY_MS != b->packed_from_ms % WHEN_DAY_MS;
}

/* Of the candidates worth telling. */
static bool any_differs(const struct standing *s, bool (*differ)(const struct standing_candidate *,
                                                                 const struct standing_candidate *))
{
    for (size_t i = 1; i < s->count && s->candidate[i].weight >= TELLING; i++)
        if (differ(&s->candidate[0], &s->candidate[i]))
            return true;
    return false;
}

static bool may_decide(const struct standing *s, bool (*differ)(const struct standing_candidate *,
                                                                const struct standing_candidate *))
{
    return s->state == LOT_UNKNOWN || (s->state != LOT_NOT_ON_RECORD && any_differs(s, differ));
}

static void add(json_t *list, const char *text)
{
    json_array_append_new(list, json_string(text));
}

static void add_times(const struct standing *s, json_t *list)
{
    int first = 24 * 60, last = 0;
    char text[96];
    for (size_t i = 0; i < s->count && s->candidate[i].weight >= TELLING; i++) {
        struct civil at =
            tz_civil(tz_of(s->tz, s->candidate[i].plant), s->candidate[i].packed_from_ms);
        int minute = at.hour * 60 + at.minute;
        first = minute < first ? minute : first;
        last = minute > last ? minute : last;
    }
    snprintf(text, sizeof text, "the time of packing in the code (%02d:%02d to %02d:%02d)",
             first / 60, first % 60, last / 60, last % 60);
    add(list, text);
}

static void add_lines(const struct standing *s, json_t *list)
{
    struct text_buffer text = {0};
    text_append(&text, "the line (");
    for (size_t i = 0; i < s->count && s->candidate[i].weight >= TELLING; i++) {
        bool told = false;
        for (size_t k = 0; k < i; k++)
            told = told || !differ_by_line(&s->candidate[k], &s->candidate[i]);
        if (!told)
            text_appendf(&text, "%s%s", i ? ", " : "", s->candidate[i].line);
    }
    text_append(&text, ")");
    add(list, text.data);
    text_buffer_free(&text);
}

static json_t *decides_json(const struct standing *s)
{
    json_t *list = json_array();
    char text[96], day[16];
    if (is_doubtful(s)) {
        add(list, "the dates and the product, asked again");
        add(list, "a photo of the code");
    }
    if (s->state == LOT_EXACT)
        return list;
    bool to_come = s->code_day != WHEN_UNKNOWN_DAY && s->code_day > s->asked_day;
    if (s->state == LOT_NOT_ON_RECORD && s->code_day != WHEN_UNKNOWN_DAY && !to_come) {
        snprintf(text, sizeof text, "the lots of %s, loaded", day_format(s->code_day, day));
        add(list, text);
    }
    if (!s->has_product && may_decide(s, differ_by_product))
        add(list, "the product");
    if (!s->has_code_date && may_decide(s, differ_by_code_date))
        add(list, "the code date");
    if (s->state == LOT_SEVERAL && any_differs(s, differ_by_line))
        add_lines(s, list);
    if (s->state == LOT_SEVERAL && s->codes_hold_time && any_differs(s, differ_by_time))
        add_times(s, list);
    add(list, s->has_code ? "a photo of the code" : "the code on the bag, or a photo of it");
    return list;
}

/* ---- JSON ---- */

static void set_text(json_t *into, const char *name,
                     void (*append)(const struct standing *, struct text_buffer *),
                     const struct standing *s)
{
    struct text_buffer text = {0};
    append(s, &text);
    json_object_set_new(into, name, json_string(text.data));
    text_buffer_free(&text);
}

void standing_json(const struct standing *s, json_t *into)
{
    const char *lot = standing_lot(s);
    json_object_set_new(into, "lot", lot ? json_string(lot) : json_null());
    json_object_set_new(into, "lot_text", s->text[0] ? json_string(s->text) : json_null());
    json_object_set_new(into, "lot_state", json_string(lot_state_word(s->state)));
    set_text(into, "lot_named", append_named, s);
    set_text(into, "lot_says", append_says, s);
    json_object_set_new(into, "lot_decides", decides_json(s));
}

json_t *standing_lots_json(const struct standing *s)
{
    json_t *lots = json_array();
    for (size_t i = 0; i < s->count; i++)
        json_array_append_new(lots, json_pack("{s:s, s:f}", "lot", s->candidate[i].lot, "weight",
                                              s->candidate[i].weight));
    return lots;
}
