#include "patterns/week.h"
#include "base/text.h"
#include "patterns/week_chart.h"
#include "patterns/week_rates.h"
#include "patterns/week_right.h"
#include "patterns/week_signals.h"
#include "patterns/week_to_come.h"
#include "rank/triage.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

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
    json_object_set_new(row, "still", json_boolean(signal->still));
    if (title)
        json_object_set_new(row, "title", json_string(title));
    return row;
}

static json_t *signals_json(const struct week_model *model, const struct triage *triage,
                            size_t *ret_tested)
{
    struct week_signal *signals = week_signals(model, ret_tested);
    json_t *rows = json_array();
    for (size_t i = 0; i < *ret_tested && signals[i].q <= WEEK_FALSE_SIGNALS; i++)
        json_array_append_new(rows, signal_json(model->data, &signals[i], triage));
    free(signals);
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

static json_t *report_json(const struct week_model *model, const struct triage *triage,
                           const struct tz *tz, unsigned by)
{
    const struct week_data *d = model->data;
    char name[16], now[40];
    size_t tested = 0;
    json_t *signals = signals_json(model, triage, &tested);
    json_t *out =
        json_pack("{s:s, s:s, s:b, s:o, s:I}", "week", week_data_name(d->week, name), "as_of",
                  when_format(tz, d->now_ms, now), "over", d->passed >= 1, "complaints",
                  complaints_json(d), "units", (json_int_t)d->levels[0].units[WEEK_SPAN - 1]);
    json_object_set_new(out, "by",
                        week_rates_by_json(model, triage, by ? by : cuts_set(CUT_USUAL)));
    if (by)
        json_object_set_new(out, "by_only", names_json(by));
    json_object_set_new(out, "causes", week_rates_causes_json(model, triage));
    json_object_set_new(out, "to_come", week_to_come_json(model));
    json_object_set_new(out, "signals", signals);
    json_object_set_new(out, "tested",
                        json_pack("{s:I, s:f, s:i, s:i}", "series", (json_int_t)tested,
                                  "false_share", WEEK_FALSE_SIGNALS, "recent_weeks", model->recent,
                                  "baseline_weeks",
                                  model->recent ? WEEK_SPAN - model->first - model->recent : 0));
    json_object_set_new(out, "charts", week_chart_json(model));
    return out;
}

int week_report(struct store *store, const struct tz *tz, struct triage *triage,
                const struct week_query *query, json_t **ret, struct error *err)
{
    struct week_data *data = NULL;
    json_t *right = NULL, *open = NULL;
    /* one state of the counts; a caller that is inside a transaction has one already */
    bool began = store_look(store);
    unsigned cuts = cuts_set(CUT_JUDGED) | (query->by ? query->by : cuts_set(CUT_USUAL));
    int rc = week_data_read(store, tz, query->week, query->now_ms, cuts, &data, err);
    if (!rc)
        rc = week_right_json(store, data, &right, &open, err);
    store_unlook(store, began);
    if (!rc) {
        struct week_model *model = xcalloc(1, sizeof *model);
        week_expect_model_make(data, model);
        *ret = report_json(model, triage, tz, query->by);
        json_object_set_new(*ret, "right", right);
        json_object_set_new(*ret, "open_cases", open);
        free(model);
    }
    week_data_free(data);
    return rc;
}
