#include "patterns/week_head.h"
#include "base/plant_level.h"
#include "desk/following.h"
#include "patterns/effect.h"
#include "patterns/week_harm.h"
#include "patterns/week_told.h"
#include "patterns/week_words.h"
#include "rules/targets.h"
#include "store/seen.h"
#include "tell/hold_json.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SOON 0.4 /* of a week: Wednesday */

enum {
    OVERDUE_MOST = 50, /* listed; the others are counted */
    ACTIONS_MOST = 5,  /* the newest */
    ACTION_DAYS = 56,  /* … of the weeks in which an effect may show */
    MISSED_SAID = 3,   /* targets of the headline */
    EFFECT_DAYS = 28   /* to either side, as `action --effect` has it */
};

struct listing {
    const struct week_head *head;
    json_t *list;
    int32_t today;
    double lots, unrecorded, units, units_in_code; /* held */
    struct week_action actions[ACTIONS_MOST];
    int count;
};

/* ---- holds ---- */

/* Several holds may stand on one lot. */
static bool is_listed(const json_t *list, const char *lot)
{
    size_t i;
    const json_t *item;
    json_array_foreach(list, i, item)
    {
        if (strcmp(json_string_value(json_object_get(item, "lot")), lot) == 0)
            return true;
    }
    return false;
}

static int add_hold(void *arg, const struct hold_row *row)
{
    struct listing *l = arg;
    char code[16];
    const char *plant = l->head->model->data->plant;
    if (*plant && strcmp(plant, row->plant) != 0)
        return 0;
    bool recorded = row->lot_id > 0, in_code = recorded && row->code_day >= l->today;
    json_t *item = hold_json(l->head->tz, row);
    if (!is_listed(l->list, row->lot)) {
        l->lots++;
        l->unrecorded += recorded ? 0 : 1;
        l->units += (double)row->units;
        l->units_in_code += in_code ? (double)row->units : 0;
    }
    json_object_set_new(item, "units", recorded ? json_integer(row->units) : json_null());
    json_object_set_new(item, "in_code", recorded ? json_boolean(in_code) : json_null());
    json_object_set_new(item, "code_date",
                        row->code_day == WHEN_UNKNOWN_DAY
                            ? json_null()
                            : json_string(day_format(row->code_day, code)));
    json_array_append_new(l->list, item);
    return 0;
}

/* What no record bears has no packs that could be counted. */
static void say_unrecorded(const struct listing *l, struct text_buffer *b)
{
    if (l->unrecorded >= l->lots)
        text_append(b, ", on no record: packs not known");
    else if (l->unrecorded > 0)
        text_appendf(b, " (%.0f of them on no record, packs not known)", l->unrecorded);
}

/* Holds are those of now: of a week that is over, the day is said. */
static void say_holds(const struct listing *l, json_t *headline)
{
    struct text_buffer b = {0};
    if (!json_array_size(l->list))
        return;
    week_words_count(&b, l->lots, "lot on hold", "lots on hold");
    if (l->head->model->data->passed >= 1) {
        text_append(&b, " as of ");
        week_words_day(&b, l->today);
    }
    say_unrecorded(l, &b);
    if (l->lots > l->unrecorded) {
        text_append(&b, ", ");
        week_words_count(&b, l->units, "pack; ", "packs; ");
        week_words_count(&b, l->units_in_code, "of them still in code", "of them still in code");
    }
    week_words_say(&b, headline);
}

/* ---- actions ---- */

static int add_action(void *arg, const struct action_row *row)
{
    struct listing *l = arg;
    const struct week_data *d = l->head->model->data;
    if (*d->plant && row->plant[0] && strcmp(d->plant, row->plant) != 0)
        return 0; /* one of no plant is judged on all of them */
    if (row->at_ms >= d->shown.to_ms || row->at_ms > d->now_ms ||
        row->at_ms < d->shown.from_ms - ACTION_DAYS * WHEN_DAY_MS)
        return 0;
    int i = l->count < ACTIONS_MOST ? l->count++ : 0;
    for (int k = 0; l->count == ACTIONS_MOST && k < l->count; k++)
        i = l->actions[k].row.at_ms < l->actions[i].row.at_ms ? k : i;
    if (row->at_ms > l->actions[i].row.at_ms)
        l->actions[i] = (struct week_action){.row = *row};
    return 0;
}

static int by_newest(const void *a, const void *b)
{
    const struct action_row *x = &((const struct week_action *)a)->row;
    const struct action_row *y = &((const struct week_action *)b)->row;
    if (x->at_ms != y->at_ms)
        return x->at_ms > y->at_ms ? -1 : 1;
    return x->id > y->id ? -1 : x->id < y->id;
}

static int judge_action(const struct week_head *h, struct week_action *a, json_t *list,
                        struct error *err)
{
    json_t *effect = NULL;
    const struct effect_query query = {a->row.id, EFFECT_DAYS, h->model->data->now_ms};
    int rc = effect_report(h->store, h->tz, &query, &effect, err);
    if (rc)
        return rc;
    json_t *item =
        json_pack("{s:I, s:O, s:s, s:O, s:O}", "action", (json_int_t)a->row.id, "at",
                  json_object_get(effect, "at"), "note", a->row.note, "verdict",
                  json_object_get(effect, "verdict"), "text", json_object_get(effect, "text"));
    json_array_append_new(list, item);
    a->verdict = json_string_value(json_object_get(item, "verdict"));
    text_clip(a->row.cause, a->cause, sizeof a->cause);
    if (!a->cause[0] && a->row.place[0])
        week_data_cause_of_place(a->row.place, a->cause, sizeof a->cause);
    json_decref(effect);
    return 0;
}

static int list_actions(struct listing *l, json_t *report, struct error *err)
{
    json_t *list = json_array();
    json_object_set_new(report, "actions", list);
    int rc = action_list(l->head->store, add_action, l, err);
    qsort(l->actions, (size_t)l->count, sizeof l->actions[0], by_newest);
    for (int i = 0; i < l->count && !rc; i++)
        rc = judge_action(l->head, &l->actions[i], list, err);
    return rc;
}

/* Those that no sentence of a rise has told of. */
static void say_actions(const struct listing *l, json_t *headline)
{
    for (int i = 0; i < l->count; i++) {
        struct text_buffer b = {0};
        if (l->actions[i].told)
            continue;
        week_told_action(&b, l->head->tz, &l->actions[i]);
        week_words_say(&b, headline);
    }
}

/* ---- against the weeks before ---- */

enum { YEAR_WEEKS = 52, MONTH_WEEKS = 4 };

/* Complaints received in the `weeks` weeks from `ago` weeks before the one shown backwards, a week;
 * NAN if nothing had been packed yet. */
static double count_before(const struct week_data *d, int symptom, int ago, int weeks)
{
    double sum = 0;
    int last = WEEK_HISTORY - 1 - ago;
    if (d->first_units > WEEK_DELAYS + last - (weeks - 1))
        return NAN;
    for (int i = 0; i < weeks; i++)
        sum += d->counts[symptom][last - i];
    return sum / weeks;
}

static json_t *known(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static void add_before(const struct week_data *d, json_t *report)
{
    json_t *before = json_object();
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        json_object_set_new(before, symptom_name(s),
                            json_pack("{s:o, s:o, s:o}", "week", known(count_before(d, s, 1, 1)),
                                      "four_weeks", known(count_before(d, s, 1, MONTH_WEEKS)),
                                      "year", known(count_before(d, s, YEAR_WEEKS, 1))));
    json_object_set_new(report, "before", before);
}

/* "29 complaints in all; the week before 41, the four before 38.5 a week, a year ago 25" */
static void say_before(const struct week_data *d, json_t *headline)
{
    static const struct {
        const char *words;
        int ago, weeks;
    } TIMES[] = {{"; the week before %.4g", 1, 1},
                 {", the four before %.3g a week", 1, MONTH_WEEKS},
                 {", a year ago %.4g", YEAR_WEEKS, 1}};
    struct text_buffer b = {0};
    double now = 0;
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        now += d->levels[0].counts[s][WEEK_SPAN - 1];
    week_words_count(&b, now, "complaint", "complaints");
    text_append(&b, d->passed < 1 ? " so far" : " in all");
    size_t length = b.length;
    for (size_t i = 0; i < sizeof TIMES / sizeof TIMES[0]; i++) {
        double sum = 0;
        for (int s = 0; s < WEEK_SYMPTOMS; s++)
            sum += count_before(d, s, TIMES[i].ago, TIMES[i].weeks);
        if (isfinite(sum))
            text_appendf(&b, TIMES[i].words, sum);
    }
    if (b.length > length)
        week_words_say(&b, headline);
    else
        text_buffer_free(&b);
}

/* What is usual hangs on what was packed: of records that are behind, or of a plant that stood
 * still, it falls to nothing, and any complaint is a rise. */
static void say_missing(const struct week_data *d, json_t *headline)
{
    struct text_buffer b = {0};
    int last = WEEK_SPAN - 1;
    while (last >= 0 && d->levels[0].units[last] <= 0)
        last--;
    bool begun = last == WEEK_SPAN - 2 && d->passed < SOON; /* its records may come yet */
    if (last < 0 || last == WEEK_SPAN - 1 || begun)
        return;
    text_append(&b, "No lots packed after ");
    week_words_day(&b, pattern_monday(d->week - (WEEK_SPAN - 1 - last)) + 6);
    text_append(&b, " are on record: if the plant ran, what is called usual here is too low");
    week_words_say(&b, headline);
}

/* ---- all of it ---- */

static int list_holds(struct listing *l, json_t *report, struct error *err)
{
    l->list = json_array();
    json_object_set_new(report, "holds", l->list);
    return hold_each_standing(l->head->store, l->head->model->data->now_ms, add_hold, l, err);
}

/* Cases past their day: those of now, as the holds are. */
static int list_overdue(const struct week_head *h, json_t *report, json_t *headline,
                        struct error *err)
{
    const struct week_data *d = h->model->data;
    int32_t today = tz_day(h->tz, d->now_ms);
    json_t *list = NULL;
    int64_t count = 0;
    struct text_buffer b = {0};
    const struct follow_late late = {today, OVERDUE_MOST, d->plant};
    int rc = following_overdue_json(h->store, &late, &list, &count, err);
    if (rc)
        return rc;
    json_object_set_new(report, "overdue", list);
    json_object_set_new(report, "overdue_count", json_integer(count));
    if (!count)
        return 0;
    week_words_count(&b, (double)count, "case past its day", "cases past their day");
    if (d->passed >= 1) {
        text_append(&b, " as of ");
        week_words_day(&b, today);
    }
    week_words_say(&b, headline);
    return 0;
}

/* ---- what is wanted, what it costs ---- */

static void add_missed(struct text_buffer *b, const json_t *row)
{
    char line[PLANT_LEVEL];
    text_appendf(b, "%sline %s %s %.3g per million, target %.4g", b->length ? "; " : "",
                 plant_level_of(row, "level", line),
                 json_string_value(json_object_get(row, "symptom")),
                 json_number_value(json_object_get(row, "per_million")),
                 json_number_value(json_object_get(row, "target")));
}

/* "Targets: 1 not met (line 2 mold 65.8 per million, target 30), 2 met, 1 too few to say" */
static void say_targets(const json_t *report, json_t *headline)
{
    const json_t *rows = json_object_get(json_object_get(report, "by"), "line"), *row;
    int met = 0, missed = 0, unsure = 0;
    struct text_buffer b = {0}, which = {0};
    size_t i;
    json_array_foreach(rows, i, row)
    {
        const char *says = json_string_value(json_object_get(row, "target_met"));
        if (!says)
            continue;
        met += strcmp(says, "met") == 0;
        unsure += strcmp(says, "too few to say") == 0;
        if (strcmp(says, "not met") == 0 && missed++ < MISSED_SAID)
            add_missed(&which, row);
    }
    text_appendf(&b, "Targets: %d not met", missed);
    if (missed)
        text_appendf(&b, " (%s%s)", which.data, missed > MISSED_SAID ? "; …" : "");
    text_appendf(&b, ", %d met, %d too few to say", met, unsure);
    if (met + missed + unsure)
        week_words_say(&b, headline);
    text_buffer_free(&which);
    text_buffer_free(&b);
}

void week_head_cost(const struct week_head *head, json_t *report)
{
    const char *currency = targets_currency(head->targets);
    const json_t *complaints = json_object_get(report, "complaints");
    json_t *by = json_object();
    struct text_buffer b = {0};
    double total = 0;
    for (int s = 0; s <= WEEK_SYMPTOMS && currency; s++) {
        const char *symptom = s < WEEK_SYMPTOMS ? symptom_name(s) : "other";
        double each = targets_cost(head->targets, symptom);
        const json_t *count = json_object_get(s < WEEK_SYMPTOMS ? complaints : report, symptom);
        if (!isfinite(each))
            continue;
        json_object_set_new(by, symptom, json_real(each * json_number_value(count)));
        total += each * json_number_value(count);
    }
    if (currency) {
        json_object_set_new(
            report, "cost",
            json_pack("{s:s, s:f, s:O}", "currency", currency, "total", total, "by", by));
        text_append(&b, "the week's complaints cost ");
        week_words_money(&b, currency, total);
        week_words_say(&b, json_object_get(report, "headline"));
    }
    json_decref(by);
}

static int tell(struct listing *l, json_t *report, struct error *err)
{
    const struct week_head *h = l->head;
    json_t *headline = json_object_get(report, "headline");
    const struct week_told told = {.store = h->store,
                                   .tz = h->tz,
                                   .triage = h->triage,
                                   .model = h->model,
                                   .signals = h->signals,
                                   .signal_count = h->signal_count,
                                   .targets = h->targets,
                                   .holds = l->list,
                                   .actions = l->actions,
                                   .action_count = l->count};
    int rc = week_told(&told, report, err);
    if (rc)
        return rc;
    add_before(h->model->data, report);
    say_before(h->model->data, headline);
    say_targets(report, headline);
    say_holds(l, headline);
    rc = list_overdue(h, report, headline, err);
    say_actions(l, headline);
    return rc;
}

int week_head(const struct week_head *head, json_t *report, struct error *err)
{
    struct listing *l = xcalloc(1, sizeof *l);
    json_t *headline = json_array();
    l->head = head;
    l->today = tz_day(head->tz, head->model->data->now_ms);
    json_object_set_new(report, "headline", headline);
    const struct week_harm_of harm = {head->store,
                                      head->tz,
                                      head->model->data->shown,
                                      head->model->data->now_ms,
                                      head->model->data->plant,
                                      head->harm,
                                      head->desk};
    int rc = week_harm(&harm, report, err);
    say_missing(head->model->data, headline);
    if (!rc)
        rc = list_holds(l, report, err);
    if (!rc)
        rc = list_actions(l, report, err);
    if (!rc)
        rc = tell(l, report, err);
    free(l);
    return rc;
}
