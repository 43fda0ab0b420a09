/* The case's own lot, and other lots that share the suspected condition, with the probability that
 * they share the fault: P(cause) x P(fault there | cause). The second factor starts from how often
 * lots that share this condition share the fault (reach_share in rules/ranking.json), or, where the
 * cause's file says how to tell, from the other lot's own records, and is updated by its own
 * complaints against the number expected. */
#include "base/short_id.h"
#include "base/text.h"
#include "store/case.h"
#include "store/company_count.h"
#include "tell/case_json.h"
#include "tell/hold_json.h"
#include "tell/tell.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_LOTS = 200, WINDOWS = 4 };
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
    int64_t lot_id;
    double share, units;
    const struct condition *condition;
    const struct window *window;
    int observed;
    double expected;
};

struct reaching {
    struct triage *triage;
    struct lot_records records;
    const struct case_rank *ranked;
    const struct rule_cause *cause;
    int64_t packed_from_ms;
    int32_t today; /* of the plant, not of the case: what is still sold is asked of now */
    struct window windows[WINDOWS];
    int window_count;
    struct reached *lots;
    int count;
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

static int take_lot(void *arg, const struct company_lot *lot)
{
    struct reaching *reaching = arg;
    struct reached reached = {.lot_id = lot->lot_id,
                              .units = lot->units,
                              .observed = lot->observed,
                              .expected = lot->expected};
    const double *shares = reaching->triage->rules->ranking.reach_share;
    for (int i = 0; i < REACH_WINDOW; i++) {
        if (!wanted(reaching->cause, rules_reach_name((enum rule_reach)i)) ||
            !holds(reaching, i, lot))
            continue;
        double share = shares[i];
        if (i == REACH_MIX)
            share *= fmax(lot->same_share, 0.3);
        if (share > reached.share) {
            reached.share = share;
            reached.condition = &CONDITIONS[i];
        }
    }
    for (int i = 0; i < reaching->window_count; i++) {
        const struct window *window = &reaching->windows[i];
        const struct when_span *span = &window->cleaned.span;
        if (lot->packed_from_ms < span->from_ms || lot->packed_from_ms >= span->to_ms ||
            (window->cleaned.own_line && !(lot->shared & 1u << FACTOR_LINE)) ||
            reached.share >= shares[REACH_WINDOW])
            continue;
        reached.share = shares[REACH_WINDOW];
        reached.window = window;
    }
    if (reached.share <= 0)
        return 0;
    reached.share = updated(reached.share, lot->observed, lot->expected);
    reaching->lots =
        xrealloc(reaching->lots, (size_t)(reaching->count + 1) * sizeof *reaching->lots);
    reaching->lots[reaching->count++] = reached;
    return 0;
}

static int find_windows(struct reaching *reaching, struct error *err)
{
    const struct case_rank *ranked = reaching->ranked;
    struct fact_set facts = *case_rank_facts(ranked);
    struct facts_job job = {&reaching->triage->source, reaching->records, &ranked->input, &facts,
                            tz_day(reaching->triage->tz, facts.record->lot.packed_from_ms)};
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

static int by_share(const void *a, const void *b)
{
    const struct reached *x = a, *y = b;
    if (x->share != y->share)
        return x->share > y->share ? -1 : 1;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

static json_t *routes_of(const struct lot_record *record)
{
    json_t *routes = json_array();
    const char *last = "";
    for (int i = 0; i < record->dispatch_count; i++) {
        /* dispatches come by route */
        if (strcmp(record->dispatches[i].route, last) != 0)
            json_array_append_new(routes, json_string(record->dispatches[i].route));
        last = record->dispatches[i].route;
    }
    return routes;
}

static json_t *because_json(const struct reached *reached)
{
    struct text_buffer text = {0};
    if (reached->window)
        text_appendf(&text, "passed the %s between the same two cleanings", reached->window->place);
    else
        text_append(&text, reached->condition->text);
    if (reached->observed > 0)
        text_appendf(&text, "; %d complaint%s there, %.1f expected", reached->observed,
                     reached->observed == 1 ? "" : "s", reached->expected);
    json_t *json = json_string(text.data);
    text_buffer_free(&text);
    return json;
}

/* The chance by the other lot's own record, if the rule file says how to read it. */
static int by_record(const struct reaching *reaching, const struct lot_record *record,
                     double *ret_share, struct error *err)
{
    const struct rule_evidence *how = &reaching->cause->reach_fact;
    const struct triage *triage = reaching->triage;
    const struct fact_baseline *baseline;
    if (how->fact < 0 || triage->rules->facts[how->fact].name.kind != FACT_QUANTITY)
        return 0;
    const struct fact_name *name = &triage->rules->facts[how->fact].name;
    const struct lot_series *series = lot_record_series(record, name->quantity);
    if (!series || series->count == 0)
        return 0;
    int64_t as_of = reaching->ranked->input.as_of_ms;
    int rc = facts_baseline(&triage->source, &reaching->records, record, as_of, &baseline, err);
    if (rc)
        return rc;
    const struct fact_usual *usual = facts_usual(baseline, name->quantity);
    struct lot_summary summary = lot_record_summary(record, series, as_of);
    struct fact fact = {.known = summary.count > 0,
                        .value = name->part == PART_MIN   ? summary.min
                                 : name->part == PART_MAX ? summary.max
                                                          : summary.median,
                        .target = series->target,
                        .usual = NAN,
                        .z = NAN};
    if (usual && usual->count >= FACTS_BASELINE_LEAST) {
        fact.usual = usual->median[name->part];
        fact.z = (fact.value - fact.usual) / usual->spread[name->part];
    }
    cache_object_unref((void *)baseline);
    double share = evidence_bits_of(how, &fact);
    if (!isnan(share))
        *ret_share = fmin(fmax(share, 0.001), 0.999);
    return 0;
}

/* Takes the reference of `because`. */
static json_t *lot_json(const struct reaching *reaching, const struct lot_record *record,
                        double probability, json_t *because)
{
    char code_date[16];
    json_t *lot = json_pack(
        "{s:s, s:o, s:I, s:s, s:b, s:s, s:s, s:o, s:o}", "lot", record->lot.lot, "probability",
        jsonx_rounded(probability, 4), "units", (json_int_t)record->lot.units, "code_date",
        day_format(record->lot.code_day, code_date), "in_code",
        record->lot.code_day >= reaching->today, "product", record->lot.product, "line",
        record->lot.line, "routes", routes_of(record), "because", because);
    hold_json_mark(reaching->records.store, reaching->triage->tz, record->lot.lot_id, lot);
    return lot;
}

static int add_lot(const struct reaching *reaching, const struct reached *reached,
                   double probability, json_t *list, struct error *err)
{
    const struct lot_record *record;
    int rc = lot_record_get(reaching->triage->source.lots, &reaching->records, reached->lot_id,
                            &record, err);
    if (rc)
        return rc;
    double share = NAN;
    rc = by_record(reaching, record, &share, err);
    share = isnan(share) ? reached->share : updated(share, reached->observed, reached->expected);
    if (!rc && share * probability >= LEAST_SHARE)
        json_array_append_new(
            list, lot_json(reaching, record, share * probability, because_json(reached)));
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

static int reach_lots(struct reaching *reaching, double probability, json_t *list,
                      struct error *err)
{
    const struct lot_record *record = case_rank_facts(reaching->ranked)->record;
    struct company_view *view;
    if (!record)
        return 0; /* no lot, no company */
    const struct company_around around = {reaching->triage->rules, reaching->ranked->input.symptom,
                                          record, reaching->ranked->input.as_of_ms};
    reaching->packed_from_ms = record->lot.packed_from_ms;
    int rc = find_windows(reaching, err);
    if (!rc)
        rc = company_view_open(reaching->triage->source.company, &reaching->records, &around, &view,
                               err);
    if (rc)
        return rc;
    company_lots(view, take_lot, reaching);
    company_view_close(view);
    if (reaching->count) /* qsort takes no NULL, even of nothing */
        qsort(reaching->lots, (size_t)reaching->count, sizeof *reaching->lots, by_share);
    for (int i = 0; !rc && i < reaching->count && i < SHOWN_LOTS; i++)
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

static int reach_json(struct reaching *reaching, int64_t case_id, double probability, json_t **ret,
                      struct error *err)
{
    char day[16];
    int64_t own = own_lot(reaching->records.store, case_id);
    const char *none = none_because(own, reaching->cause);
    json_t *list = json_array(), *answer = json_object();
    int rc = add_own(reaching, own, probability, answer, err);
    if (!rc && !none)
        rc = reach_lots(reaching, probability, list, err);
    free(reaching->lots);
    json_object_update_new(
        answer,
        json_pack("{s:o, s:s, s:s, s:f, s:o, s:s, s:o, s:s*}", "case", CASE_ID_JSON(case_id),
                  "cause", reaching->cause->id, "title", reaching->cause->title, "probability",
                  probability, "as_of",
                  case_json_when(reaching->triage, reaching->ranked->input.as_of_ms), "in_code_on",
                  day_format(reaching->today, day), "lots", sorted(list), "none_because", none));
    case_json_harm(reaching->ranked, answer);
    if (rc)
        json_decref(answer);
    else
        *ret = answer;
    return rc;
}

int tell_reach(struct triage *triage, struct store *store, int64_t case_id, const char *cause,
               json_t **ret, struct error *err)
{
    struct clock clock = clock_system();
    struct case_rank ranked;
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    int wanted_cause = cause ? rules_cause(triage->rules, cause) : ranked.rank->causes[0].cause;
    int place = wanted_cause < 0 ? -1 : rank_find(ranked.rank, wanted_cause);
    if (place < 0) {
        case_rank_clear(&ranked);
        error_set(err, ERROR_NOT_FOUND, "not a cause of this symptom");
        error_field(err, "cause", cause);
        return ERROR_NOT_FOUND;
    }
    struct reaching reaching = {.triage = triage,
                                .ranked = &ranked,
                                .cause = &triage->rules->causes[wanted_cause],
                                .today = tz_day(triage->tz, clock_now_ms(&clock))};
    rc = lot_record_all(store, &reaching.records, err);
    if (!rc)
        rc = reach_json(&reaching, case_id, ranked.rank->causes[place].probability, ret, err);
    case_rank_clear(&ranked);
    return rc;
}
