#include "patterns/week.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "patterns/others.h"
#include "patterns/week_aside.h"
#include "patterns/week_chart.h"
#include "patterns/week_head.h"
#include "patterns/week_rates.h"
#include "patterns/week_right.h"
#include "patterns/week_to_come.h"
#include "patterns/week_traced.h"
#include "rank/triage.h"
#include "store/pattern.h"
#include "store/stage.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define QUARTER_DAYS INT64_C(91)

static json_t *complaints_json(const struct week_data *d)
{
    json_t *out = json_object();
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        json_object_set_new(
            out, symptom_name(s),
            json_integer((json_int_t)llround(d->levels[0].counts[s][WEEK_SPAN - 1])));
    return out;
}

static json_t *signal_json(const struct week_data *d, const struct week_signal *signal,
                           const struct triage *triage)
{
    const struct week_level *level = &d->levels[signal->level];
    const char *title = NULL;
    char since[16];
    bool all = !level->cut;
    if (!all && level->cut->source == CUT_CAUSE && triage)
        title = triage_cause_title(triage, level->level);
    json_t *row =
        json_pack("{s:s, s:s, s:s, s:s, s:o, s:f, s:f, s:f, s:f, s:f, s:f}", "factor",
                  all ? "all" : level->cut->name, "level", all ? "complaints" : level->level,
                  "symptom", symptom_name(signal->symptom), "since",
                  week_data_name(d->week - (WEEK_SPAN - 1 - signal->since), since), "observed",
                  json_real(round(signal->observed * 100) / 100), "expected",
                  round(signal->expected * 100) / 100, "ratio", signal->ratio, "low",
                  signal->ratio_low, "high", signal->ratio_high, "p", signal->p, "q", signal->q);
    plant_level_set(row, level->plant);
    json_object_set_new(row, "still", json_boolean(signal->course == WEEK_UP));
    json_object_set_new(row, "course", json_string(week_signals_course(signal->course)));
    if (title)
        json_object_set_new(row, "title", json_string(title));
    return row;
}

static json_t *signals_json(const struct week_data *d, const struct week_signal *signals,
                            size_t count, const struct triage *triage)
{
    json_t *rows = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(rows, signal_json(d, &signals[i], triage));
    return rows;
}

static json_t *names_json(unsigned by)
{
    json_t *names = json_array();
    for (const struct cut *cut = cuts_all(); cut->name; cut++) {
        if (cuts_in(by, cut))
            json_array_append_new(names, json_string(cut->name));
    }
    return names;
}

struct making {
    struct store *store;
    const struct tz *tz;
    struct triage *triage;
    const struct week_query *query;
    unsigned cuts; /* shown */
    struct week_data *data, *against;
};

static json_t *tested_json(const struct week_model *model, size_t tested)
{
    int before = model->recent ? WEEK_SPAN - model->first - model->recent : 0;
    return json_pack("{s:I, s:f, s:i, s:i}", "series", (json_int_t)tested, "false_share",
                     WEEK_FALSE_SIGNALS, "recent_weeks", model->recent, "baseline_weeks", before);
}

static json_t *report_json(const struct making *m, const struct week_model *model,
                           const struct week_signal *signals, size_t count, size_t tested)
{
    const struct week_data *d = m->data;
    const struct week_rates rates = {d, model, m->against, m->cuts, m->query->targets};
    char name[16], now[40];
    json_t *out =
        json_pack("{s:s, s:s, s:b, s:o, s:I}", "week", week_data_name(d->week, name), "as_of",
                  when_format(m->tz, d->now_ms, now), "over", d->passed >= 1, "complaints",
                  complaints_json(d), "units", (json_int_t)d->levels[0].units[WEEK_SPAN - 1]);
    plant_level_set(out, d->plant);
    json_object_set_new(out, "by", week_rates_by_json(&rates, m->triage));
    json_object_set_new(
        out, "unplaced",
        week_rates_unplaced_json(json_object_get(out, "by"), json_object_get(out, "complaints")));
    if (m->query->by)
        json_object_set_new(out, "by_only", names_json(m->query->by));
    json_object_set_new(out, "causes", week_rates_causes_json(d, m->triage));
    json_object_set_new(out, "to_come", week_to_come_json(model));
    json_object_set_new(out, "signals", signals_json(d, signals, count, m->triage));
    json_object_set_new(out, "tested", tested_json(model, tested));
    json_object_set_new(out, "charts", week_chart_json(model));
    if (m->against)
        json_object_set_new(out, "against", span_against_json(&m->query->against, d, m->against));
    return out;
}

static int add_rest(const struct making *m, const struct week_model *model,
                    const struct week_signal *signals, size_t count, json_t *report,
                    struct error *err)
{
    json_t *right = NULL, *open = NULL, *stages = NULL;
    const struct when_span quarter = {m->data->shown.to_ms - QUARTER_DAYS * WHEN_DAY_MS,
                                      m->data->shown.to_ms};
    const struct stage_of of = {when_span_until(quarter, m->data->now_ms), m->data->plant};
    const struct week_head head = {m->store,      m->tz, m->triage,         model,
                                   signals,       count, m->query->targets, m->query->harm,
                                   m->query->desk};
    int rc = week_head(&head, report, err);
    if (!rc)
        rc = week_right_json(m->store, m->data, &right, &open, err);
    if (!rc)
        rc = others_add(m->store, when_span_until(m->data->shown, m->data->now_ms), m->data->plant,
                        report, err);
    if (!rc)
        rc = tell_stages(m->store, &of, &stages, err);
    if (rc) {
        json_decref(right);
        json_decref(open);
        return rc;
    }
    json_object_set_new(report, "stages", stages);
    week_head_cost(&head, report);
    json_object_set_new(report, "right", right);
    json_object_set_new(report, "open_cases", open);
    return 0;
}

static int make(const struct making *m, json_t **ret, struct error *err)
{
    struct week_model *model = xcalloc(1, sizeof *model);
    size_t tested, count = 0;
    week_expect_model_make(m->data, model);
    struct week_signal *signals = week_signals(model, &tested);
    while (count < tested && signals[count].q <= WEEK_FALSE_SIGNALS)
        count++;
    const struct week_traced traced = {m->store, m->tz, model, m->data};
    json_t *report = NULL;
    int rc = week_aside_signals(m->store, m->data, signals, &count, err);
    if (!rc)
        rc = week_traced(&traced, &signals, &count, err);
    if (!rc) {
        report = report_json(m, model, signals, count, tested);
        rc = add_rest(m, model, signals, count, report, err);
    }
    free(signals);
    free(model);
    if (rc)
        json_decref(report);
    else
        *ret = report;
    return rc;
}

int week_report(struct store *store, const struct tz *tz, struct triage *triage,
                const struct week_query *query, json_t **ret, struct error *err)
{
    tz = tz_of(tz, query->plant);
    struct making m = {store, tz,  triage, query, query->by ? query->by : cuts_set(CUT_USUAL),
                       NULL,  NULL};
    /* one state of the counts; a caller that is inside a transaction has one already */
    const struct week_data_query now = {query->week, query->now_ms, cuts_set(CUT_JUDGED) | m.cuts,
                                        query->plant};
    const struct week_data_days then = {query->against.from_day, query->against.to_day,
                                        query->now_ms, m.cuts, query->plant};
    bool began = store_look(store);
    int rc = week_data_read(store, tz, &now, &m.data, err);
    if (!rc && query->against.name[0])
        rc = week_data_read_days(store, tz, &then, &m.against, err);
    if (!rc)
        rc = make(&m, ret, err);
    store_unlook(store, began);
    week_data_free(m.data);
    week_data_free(m.against);
    return rc;
}
