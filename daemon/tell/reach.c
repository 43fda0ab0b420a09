/* The case's own lot, and other lots that share the suspected condition, with the probability that
 * they share the fault: P(cause) x P(fault there | cause). The second factor starts from how often
 * lots that share this condition share the fault (reach_share in rules/ranking.json), or, where the
 * cause's file says how to tell, from the other lot's own records, and is updated by its own
 * complaints against the number expected.
 *
 * Lots of the plant packed within reach_days that share nothing of it are named as well if their
 * own records tell of the cause (reach_bits), and lots of the line if a case of theirs does: a fan
 * that is down for days is found by what was read, not by the hour. */
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "store/case.h"
#include "store/company_count.h"
#include "store/seen.h"
#include "tell/case_json.h"
#include "tell/reach_lot.h"
#include "tell/reach_records.h"
#include "tell/tell.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LOOKED_LOTS = 1000, CASES = 1000, WINDOWS = 4 };
#define LEAST_SHARE 0.005

struct condition {
    int factor;
    const char *text;
};
static const struct condition CONDITIONS[REACH_WINDOW] = {
    [REACH_MIX] = {FACTOR_MIX, "made of the same mix"},
    [REACH_LINE_HOURS] = {FACTOR_LINE_HOUR, "same line within six hours"},
    [REACH_INHIBITOR] = {FACTOR_INHIBITOR, "same inhibitor lot"},
    [REACH_SOFTENER] = {FACTOR_SOFTENER, "same softener lot"},
    [REACH_FILM] = {FACTOR_FILM, "same film lot"},
    [REACH_FAT] = {FACTOR_FAT, "same fat lot"},
    [REACH_ACID] = {FACTOR_ACID, "same acid lot"},
    [REACH_YEAST] = {FACTOR_YEAST, "same yeast lot"},
    [REACH_FLOUR] = {FACTOR_FLOUR, "same flour lot"},
    [REACH_CLOSURE] = {FACTOR_CLOSURE, "same closure lot"},
    [REACH_SHIFT] = {FACTOR_SHIFT, "same line and shift"},
    [REACH_LINE_DAY] = {FACTOR_LINE, "same line within a day"},
    [REACH_ROUTE] = {FACTOR_ROUTE, "sent on the same route"},
    [REACH_STORE] = {FACTOR_STORE, "sent to the same store"},
    [REACH_PRODUCT] = {FACTOR_PRODUCT, "same product within a day"},
};

struct window {
    char place[LENGTH_WORD + 1];
    struct facts_window cleaned;
};

struct reached {
    int64_t lot_id, apart_ms; /* how far from the case's own lot it was packed */
    double share;             /* by what it shares; 0: nothing that counts */
    const struct condition *condition;
    unsigned same; /* materials: bits of all conditions that count, its own, too */
    const struct window *window;
    const struct window *cleaned; /* its place was, between the two: not of one window */
    int observed;
    double expected;
    bool same_line;
    int64_t case_id; /* an open case on it that is most likely of this cause; 0 none */
    double case_probability;
    bool case_harm; /* it reports harm, or may */
};

struct reaching {
    struct triage *triage;
    struct lot_records records;
    const struct case_rank *ranked;
    const struct rule_cause *cause;
    const struct evidence_lot *own;
    int64_t packed_from_ms, window_ms; /* of the case's own lot; reach_days */
    int64_t read_by_ms;                /* records of other lots, as they stand now */
    int32_t today; /* of the plant, not of the case: what is still sold is asked of now */
    struct window windows[WINDOWS];
    int window_count;
    struct reached *lots;
    int count;
    bool more;     /* than were looked at */
    int elsewhere; /* of plants that who asks does not see: counted, not named */
};

static bool holds(const struct reaching *reaching, int reach, const struct company_lot *lot)
{
    bool near = llabs(lot->packed_from_ms - reaching->packed_from_ms) <= WHEN_DAY_MS;
    if (!(lot->shared & 1u << CONDITIONS[reach].factor))
        return false;
    return near || (reach != REACH_LINE_DAY && reach != REACH_PRODUCT);
}

static bool wanted(const struct rule_cause *cause, const char *word)
{
    for (int i = 0; i < cause->reach_count; i++)
        if (strcmp(cause->reach[i], word) == 0)
            return true;
    return false;
}

/* Its own complaints against the expected ones: odds times the Bayes factor of an excess. */
static double updated(double share, double observed, double expected)
{
    double odds = share / (1 - share) * exp2(fmin(company_bits(observed, expected), 8));
    return odds / (1 + odds);
}

/* What a lot was made of or packed in is told beside the nearest; a run tells its line and day. */
static bool is_material(int reach)
{
    static const bool MATERIAL[REACH_WINDOW] = {
        [REACH_MIX] = true,   [REACH_INHIBITOR] = true, [REACH_SOFTENER] = true,
        [REACH_FILM] = true,  [REACH_FAT] = true,       [REACH_ACID] = true,
        [REACH_YEAST] = true, [REACH_FLOUR] = true,     [REACH_CLOSURE] = true};
    return MATERIAL[reach];
}

static void add_reached(struct reaching *reaching, struct reached reached)
{
    if ((reaching->count & (reaching->count + 1)) == 0)
        reaching->lots =
            xrealloc(reaching->lots, (size_t)(2 * reaching->count + 2) * sizeof *reaching->lots);
    reaching->lots[reaching->count++] = reached;
}

/* What tells by hours and days that the lots met the same, and not by what they were made of. */
static bool is_run(int reach)
{
    return reach == REACH_LINE_HOURS || reach == REACH_SHIFT || reach == REACH_LINE_DAY;
}

static bool passed_in(const struct window *window, const struct company_lot *lot)
{
    const struct when_span *span = &window->cleaned.span;
    return lot->packed_from_ms >= span->from_ms && lot->packed_from_ms < span->to_ms &&
           (lot->shared & 1u << (window->cleaned.own_line ? FACTOR_LINE : FACTOR_PLANT));
}

/* A place of the cause that was cleaned between the lot and the case's own, where there is none
 * that was not. */
static const struct window *cleaned_between(const struct reaching *reaching,
                                            const struct company_lot *lot)
{
    for (int i = 0; i < reaching->window_count; i++)
        if (passed_in(&reaching->windows[i], lot))
            return NULL;
    return reaching->window_count ? &reaching->windows[0] : NULL;
}

static int take_lot(void *arg, const struct company_lot *lot)
{
    struct reaching *reaching = arg;
    struct reached reached = {.lot_id = lot->lot_id,
                              .apart_ms = llabs(lot->packed_from_ms - reaching->packed_from_ms),
                              .observed = lot->observed,
                              .expected = lot->expected,
                              .same_line = lot->shared & 1u << FACTOR_LINE};
    const double *shares = reaching->triage->rules->ranking.reach_share;
    const struct window *cleaned = cleaned_between(reaching, lot);
    for (int i = 0; i < REACH_WINDOW; i++) {
        if (!wanted(reaching->cause, rules_reach_name((enum rule_reach)i)) ||
            !holds(reaching, i, lot))
            continue;
        double share = shares[i];
        reached.same |= is_material(i) ? 1u << i : 0;
        if (i == REACH_MIX)
            share *= fmax(lot->same_share, 0.3);
        if (cleaned && is_run(i))
            share *= 1 - shares[REACH_WINDOW]; /* what a cleaning leaves */
        if (share > reached.share) {
            reached.share = share;
            reached.condition = &CONDITIONS[i];
            reached.cleaned = is_run(i) ? cleaned : NULL;
        }
    }
    for (int i = 0; i < reaching->window_count; i++) {
        const struct window *window = &reaching->windows[i];
        if (!passed_in(window, lot) || reached.share >= shares[REACH_WINDOW])
            continue;
        reached.share = shares[REACH_WINDOW];
        reached.window = window;
        reached.cleaned = NULL;
    }
    if (reached.share > 0 || reached.apart_ms <= reaching->window_ms)
        add_reached(reaching, reached);
    return 0;
}

static struct reached *find_reached(const struct reaching *reaching, int64_t lot_id)
{
    for (int i = 0; i < reaching->count; i++)
        if (reaching->lots[i].lot_id == lot_id)
            return &reaching->lots[i];
    return NULL;
}

/* The company ends with the case's newest complaint; lots were packed since. */
static int take_since(void *arg, const struct evidence_packed *row)
{
    struct reaching *reaching = arg;
    const struct evidence_lot *own = reaching->own;
    if (row->lot_id != own->lot_id && strcmp(row->plant, own->plant) == 0 &&
        !find_reached(reaching, row->lot_id))
        add_reached(reaching, (struct reached){
                                  .lot_id = row->lot_id,
                                  .apart_ms = llabs(row->packed_from_ms - reaching->packed_from_ms),
                                  .same_line = strcmp(row->line, own->line) == 0});
    return 0;
}

static int find_since(struct reaching *reaching, struct error *err)
{
    struct when_span span = {reaching->ranked->input.as_of_ms / WHEN_DAY_MS * WHEN_DAY_MS,
                             reaching->packed_from_ms + reaching->window_ms};
    return evidence_packed(reaching->records.store, span, take_since, reaching, err);
}

static int take_case(void *arg, const struct case_row *row)
{
    struct reaching *reaching = arg;
    struct reached *reached = find_reached(reaching, row->lot_id);
    if (reached && reached->same_line && reached->apart_ms <= reaching->window_ms &&
        row->top_probability > reached->case_probability) {
        reached->case_id = row->id;
        reached->case_probability = row->top_probability;
        reached->case_harm = row->harm || case_may_harm(reaching->records.store, row);
    }
    return 0;
}

static int find_cases(struct reaching *reaching, struct error *err)
{
    const struct case_filter filter = {.plant = *reaching->own->plant ? reaching->own->plant : NULL,
                                       .line = reaching->own->line,
                                       .cause = reaching->cause->id,
                                       .state = "open",
                                       .since_ms = reaching->packed_from_ms - reaching->window_ms,
                                       .limit = CASES};
    return case_list(reaching->records.store, &filter, take_case, reaching, err);
}

static int find_windows(struct reaching *reaching, struct error *err)
{
    const struct case_rank *ranked = reaching->ranked;
    struct fact_set facts = *case_rank_facts(ranked);
    struct facts_job job = {&reaching->triage->source, reaching->records, &ranked->input, &facts,
                            tz_day(tz_of(reaching->triage->tz, facts.record->lot.plant),
                                   facts.record->lot.packed_from_ms)};
    int rc = 0;
    for (int i = 0; !rc && i < reaching->cause->reach_count; i++) {
        const char *word = reaching->cause->reach[i];
        struct window window = {0};
        if (strncmp(word, "place-window:", 13) != 0 || reaching->window_count == WINDOWS)
            continue;
        snprintf(window.place, sizeof window.place, "%s", word + 13);
        rc = facts_window(&job, window.place, &window.cleaned, err);
        if (!rc && window.cleaned.known)
            reaching->windows[reaching->window_count++] = window;
    }
    return rc;
}

/* Those that the list can least do without first. */
static int by_share(const void *a, const void *b)
{
    const struct reached *x = a, *y = b;
    if ((x->case_id > 0) != (y->case_id > 0))
        return x->case_id ? -1 : 1;
    if (x->share != y->share)
        return x->share > y->share ? -1 : 1;
    if (x->same_line != y->same_line)
        return x->same_line ? -1 : 1;
    if (x->apart_ms != y->apart_ms)
        return x->apart_ms < y->apart_ms ? -1 : 1;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

/* What of it counts for one lot, and the text that says so. */
struct judged {
    double probability;
    bool by_records; /* they tell of the cause */
    struct reach_told told;
};

static void append_part(struct text_buffer *text, const char *part)
{
    text_appendf(text, "%s%s", text->length ? "; " : "", part);
}

static json_t *because_json(const struct reached *reached, const struct judged *judged)
{
    struct text_buffer text = {0};
    char percent[8];
    if (reached->window)
        text_appendf(&text, "passed the %s between the same two cleanings", reached->window->place);
    else if (reached->condition)
        append_part(&text, reached->condition->text);
    if (reached->cleaned)
        text_appendf(&text, ", but the %s was cleaned between the two", reached->cleaned->place);
    for (int i = 0; i < REACH_WINDOW; i++)
        if ((reached->same & 1u << i) && (reached->window || &CONDITIONS[i] != reached->condition))
            append_part(&text, CONDITIONS[i].text);
    if (judged->by_records && *judged->told.because) {
        append_part(&text, "its own ");
        text_append(&text, judged->told.because);
    }
    if (reached->case_id) {
        append_part(&text, "its own case ");
        text_append(&text, CASE_ID(reached->case_id));
        if (reached->case_harm) /* beside which no cause is named */
            text_append(&text, ", which speaks of harm");
        else
            text_appendf(&text, ", %s %%", text_chance(reached->case_probability, percent));
    }
    if (reached->observed > 0)
        text_appendf(&text, "; %d complaint%s there, %.1f expected", reached->observed,
                     reached->observed == 1 ? "" : "s", reached->expected);
    json_t *json = json_string(text.data);
    text_buffer_free(&text);
    return json;
}

/* The share of lots that would have the fault if nothing were known but the plant, or the line, and
 * the days; then what the records say. */
static double share_by_bits(const struct reaching *reaching, const struct reached *reached,
                            double bits)
{
    const double *shares = reaching->triage->rules->ranking.reach_share;
    double share = shares[reached->same_line ? REACH_LINE_DAY : REACH_PRODUCT];
    double odds = share / (1 - share) * exp2(bits);
    return odds / (1 + odds);
}

/* `probability`: of the cause. What has no share, no records and no case is not named. */
static struct judged judge(const struct reaching *reaching, const struct reached *reached,
                           const struct lot_record *record, double probability,
                           const struct reach_told *told)
{
    const struct rule_ranking *ranking = &reaching->triage->rules->ranking;
    struct judged judged = {.told = *told};
    double share = reached->share;
    judged.by_records = told->bits >= ranking->reach_bits &&
                        reached->apart_ms <= reaching->window_ms &&
                        strcmp(record->lot.plant, reaching->own->plant) == 0;
    if (judged.by_records || share > 0) {
        if (!isnan(told->share))
            share = told->share;
        else if (judged.by_records)
            share = fmax(share, share_by_bits(reaching, reached, told->bits));
        share = updated(share, reached->observed, reached->expected);
    }
    judged.probability = fmax(share * probability, reached->case_probability);
    return judged;
}

/* Takes the reference of `because`. */
static json_t *lot_json(const struct reaching *reaching, const struct lot_record *record,
                        double probability, json_t *because)
{
    json_t *lot = reach_lot_json(reaching->triage->tz, reaching->records.store, record,
                                 reaching->today, because);
    json_object_set_new(lot, "probability", jsonx_rounded(probability, 4));
    return lot;
}

static int add_lot(struct reaching *reaching, const struct reached *reached, double probability,
                   json_t *list, struct error *err)
{
    const struct reach_asked asked = {reaching->triage, reaching->cause,
                                      reaching->ranked->input.symptom, reaching->read_by_ms};
    const struct lot_record *record;
    struct reach_told told;
    int rc = lot_record_get(reaching->triage->source.lots, &reaching->records, reached->lot_id,
                            &record, err);
    if (rc)
        return rc;
    rc = reach_records_ask(&asked, &reaching->records, record, &told, err);
    if (!rc) {
        struct judged judged = judge(reaching, reached, record, probability, &told);
        bool named = judged.probability >= LEAST_SHARE;
        if (named && !seen_plant(reaching->records.store, record->lot.plant))
            reaching->elsewhere++;
        else if (named)
            json_array_append_new(list, lot_json(reaching, record, judged.probability,
                                                 because_json(reached, &judged)));
    }
    lot_record_unref(record);
    return rc;
}

static int by_probability(const void *a, const void *b)
{
    const json_t *x = *(json_t *const *)a, *y = *(json_t *const *)b;
    double p = json_number_value(json_object_get(x, "probability"));
    double q = json_number_value(json_object_get(y, "probability"));
    if (p != q)
        return p > q ? -1 : 1;
    return strcmp(json_string_value(json_object_get(x, "lot")),
                  json_string_value(json_object_get(y, "lot")));
}

static json_t *sorted(json_t *list)
{
    size_t count = json_array_size(list);
    json_t **items = xcalloc(count + 1, sizeof(json_t *)), *ret = json_array();
    for (size_t i = 0; i < count; i++)
        items[i] = json_array_get(list, i);
    qsort(items, count, sizeof(json_t *), by_probability);
    for (size_t i = 0; i < count; i++)
        json_array_append(ret, items[i]);
    free(items);
    json_decref(list);
    return ret;
}

static int find_lots(struct reaching *reaching, const struct lot_record *record, struct error *err)
{
    struct company_view *view;
    const struct company_around around = {reaching->triage->rules, reaching->ranked->input.symptom,
                                          record, reaching->ranked->input.as_of_ms};
    int rc = find_windows(reaching, err);
    if (!rc)
        rc = company_view_open(reaching->triage->source.company, &reaching->records, &around, &view,
                               err);
    if (rc)
        return rc;
    company_lots(view, take_lot, reaching);
    company_view_close(view);
    rc = find_since(reaching, err);
    return rc ? rc : find_cases(reaching, err);
}

static int reach_lots(struct reaching *reaching, double probability, json_t *list,
                      struct error *err)
{
    const struct lot_record *record = case_rank_facts(reaching->ranked)->record;
    if (!record)
        return 0; /* no lot, no company */
    reaching->own = &record->lot;
    reaching->packed_from_ms = record->lot.packed_from_ms;
    int rc = find_lots(reaching, record, err);
    if (reaching->count) /* qsort takes no NULL, even of nothing */
        qsort(reaching->lots, (size_t)reaching->count, sizeof *reaching->lots, by_share);
    reaching->more = reaching->count > LOOKED_LOTS;
    for (int i = 0; !rc && i < reaching->count && i < LOOKED_LOTS; i++)
        rc = add_lot(reaching, &reaching->lots[i], probability, list, err);
    return rc;
}

/* The case's own lot, 0 while it is open. */
static int64_t own_lot(struct store *store, int64_t case_id)
{
    struct case_row row;
    return case_get(store, case_id, &row, NULL) == 0 && row.lot_id > 0 ? row.lot_id : 0;
}

/* It has the fault if the cause is right. */
static int add_own(const struct reaching *reaching, int64_t lot_id, double probability,
                   json_t *into, struct error *err)
{
    const struct lot_record *record;
    if (!lot_id)
        return 0;
    int rc =
        lot_record_get(reaching->triage->source.lots, &reaching->records, lot_id, &record, err);
    if (rc)
        return rc;
    json_object_set_new(into, "own",
                        lot_json(reaching, record, probability, json_string("the case's own lot")));
    lot_record_unref(record);
    return 0;
}

/* The likeliest of several lots would name others by a guess. */
static const char *none_because(int64_t own, const struct rule_cause *cause)
{
    if (!own)
        return "the case's own lot is not settled, and other lots are found by what they share "
               "with "
               "it";
    return cause->reach_count ? NULL : "what this cause is about, no two lots share";
}

static int reach_json(struct reaching *reaching, int64_t case_id, const struct rank_cause *cause,
                      json_t **ret, struct error *err)
{
    const double probability = cause->probability;
    char day[16];
    int64_t own = own_lot(reaching->records.store, case_id);
    const char *none = none_because(own, reaching->cause);
    json_t *list = json_array(), *answer = json_object();
    int rc = add_own(reaching, own, probability, answer, err);
    if (!rc && !none)
        rc = reach_lots(reaching, probability, list, err);
    free(reaching->lots);
    json_object_update_new(
        answer, json_pack("{s:o, s:s, s:s, s:f, s:o, s:s, s:o, s:b, s:i, s:s*}", "case",
                          CASE_ID_JSON(case_id), "cause", reaching->cause->id, "title",
                          reaching->cause->title, "probability", probability, "as_of",
                          case_json_when(reaching->triage, "", reaching->ranked->input.as_of_ms),
                          "in_code_on", day_format(reaching->today, day), "lots", sorted(list),
                          "more", reaching->more, "within_days",
                          (int)(reaching->window_ms / WHEN_DAY_MS), "none_because", none));
    case_json_harm(reaching->ranked, answer);
    json_object_set_new(
        answer, "words_alone",
        json_boolean(case_json_words_alone(reaching->triage, reaching->ranked, cause)));
    if (reaching->elsewhere)
        json_object_set_new(answer, "elsewhere", json_integer(reaching->elsewhere));
    if (rc)
        json_decref(answer);
    else
        *ret = answer;
    return rc;
}

static int reach_cause(struct triage *triage, struct store *store, const struct tell_asked *asked,
                       json_t **ret, struct error *err)
{
    const char *cause = asked->cause;
    const int64_t now_ms = asked->now_ms;
    struct case_rank ranked;
    int rc = case_rank_read(triage, store, asked->case_id, &ranked, err);
    if (rc)
        return rc;
    triage = ranked.triage;
    int wanted_cause = cause ? rules_cause(triage->rules, cause) : ranked.rank->causes[0].cause;
    int place = wanted_cause < 0 ? -1 : rank_find(ranked.rank, wanted_cause);
    if (place < 0) {
        case_rank_clear(&ranked);
        error_set(err, ERROR_NOT_FOUND, "not a cause of this symptom");
        error_field(err, "cause", cause);
        triage_cause_hint(triage, cause, "", err);
        return ERROR_NOT_FOUND;
    }
    struct reaching reaching = {
        .triage = triage,
        .ranked = &ranked,
        .cause = &triage->rules->causes[wanted_cause],
        .window_ms = (int64_t)triage->rules->ranking.reach_days * WHEN_DAY_MS,
        .read_by_ms = now_ms > ranked.input.as_of_ms ? now_ms : ranked.input.as_of_ms,
        .today = tz_day(triage->tz, now_ms)};
    rc = lot_record_all(store, triage->rules, triage->tz, &reaching.records, err);
    if (!rc)
        rc = reach_json(&reaching, asked->case_id, &ranked.rank->causes[place], ret, err);
    case_rank_clear(&ranked);
    return rc;
}

int tell_reach(struct triage *triage, struct store *store, const struct tell_asked *asked,
               json_t **ret, struct error *err)
{
    int rc = asked->cause ? 0 : tell_reach_harm(triage, store, asked, ret, err);
    return rc || (!asked->cause && *ret) ? rc : reach_cause(triage, store, asked, ret, err);
}
