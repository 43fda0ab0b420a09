#include "patterns/week_to_come.h"
#include "stats/shrink.h"
#include <math.h>

/* How much weeks of packing differ, as a relative variance, is learnt from few of them: until then
 * this (common practice, no source), which weighs as much as so many weeks of many reports. */
#define UNLIKE_USUAL 0.5
#define UNLIKE_WEEKS 2.0
#define UNLIKE_LEAST 0.03
/* From there on a week is as good as final. */
#define SHARE_ALL_IN 0.99

static double age_weeks(const struct week_data *d, int index)
{
    double passed = (double)(d->now_ms - d->shown.from_ms) / (7.0 * (double)WHEN_DAY_MS);
    return passed + (WEEK_HISTORY - 1 - index);
}

double week_to_come_share_in(const struct week_model *model, int symptom, int index)
{
    double age = age_weeks(model->data, index);
    if (age >= WEEK_DELAYS)
        return 1;
    return age <= 0 ? 0 : delay_share(&model->coming[symptom].curve, age);
}

/* Sums over the other weeks of packing, each as far as it is in. */
struct usual {
    double counts, due;     /* due: units times the share that is in */
    double unlike, telling; /* relative variance between weeks, and what it rests on */
    double square;          /* of what should have come */
};

static void sum_usual(const struct week_model *m, int symptom, int index, double rate,
                      struct usual *ret)
{
    const struct week_data *d = m->data;
    *ret = (struct usual){0};
    for (int i = WEEK_HISTORY - WEEK_SPAN; i < WEEK_HISTORY; i++) {
        double due = d->units[i + WEEK_DELAYS] * week_to_come_share_in(m, symptom, i);
        double expected = rate * due, off = d->made_all[symptom][i] - expected, telling;
        if (i == index || due <= 0)
            continue;
        ret->counts += d->made_all[symptom][i];
        ret->due += due;
        ret->square += expected * expected;
        if (expected <= 0)
            continue;
        telling = expected / (1 / UNLIKE_USUAL + expected);
        telling *= telling;
        ret->unlike += telling * (off * off - expected) / (expected * expected);
        ret->telling += telling;
    }
}

/* What is believed of a week's final count before its own reports: the rate of all other weeks,
 * unsure by how much weeks differ (by moments; weeks that are not all in count as far as they are)
 * and by how few reports and weeks the rate rests on. */
static struct delay_prior usual_final(const struct week_model *m, int symptom, int index)
{
    struct usual u;
    sum_usual(m, symptom, index, 0, &u);
    if (u.due <= 0)
        return (struct delay_prior){0, 0};
    double counts = u.counts + 0.5, rate = counts / u.due;
    sum_usual(m, symptom, index, rate, &u);
    double unlike = (u.unlike + UNLIKE_WEEKS * UNLIKE_USUAL) / (u.telling + UNLIKE_WEEKS);
    unlike = fmax(unlike, UNLIKE_LEAST);
    double weeks = rate * u.due * (rate * u.due) / u.square; /* as many as equal ones would be */
    double shape = 1 / (unlike + unlike / weeks + 1 / counts);
    return (struct delay_prior){shape, shape / (rate * m->data->units[index + WEEK_DELAYS])};
}

bool week_to_come_forecast(const struct week_model *model, int symptom, int index,
                           struct delay_forecast *ret)
{
    const struct week_data *d = model->data;
    const struct week_lag *lag = &model->coming[symptom];
    double age = age_weeks(d, index);
    if (!lag->known || d->units[index + WEEK_DELAYS] <= 0 || age <= 0)
        return false;
    struct delay_prior prior = usual_final(model, symptom, index);
    const struct delay_so_far so_far = {
        .reported = d->made_all[symptom][index],
        .share = week_to_come_share_in(model, symptom, index),
        .log_variance = age >= WEEK_DELAYS ? 0 : delay_log_variance(&lag->curve, age),
        .unlike = lag->unlike};
    return delay_forecast(&so_far, prior, TO_COME_CONFIDENCE, ret) == 0;
}

json_t *week_to_come_json(const struct week_model *model)
{
    json_t *rows = json_array();
    for (int i = WEEK_HISTORY - 1; i >= WEEK_HISTORY - TO_COME_WEEKS; i--) {
        for (int s = 0; s < WEEK_SYMPTOMS; s++) {
            struct delay_forecast f;
            char name[16];
            if (!week_to_come_forecast(model, s, i, &f) || f.share > SHARE_ALL_IN)
                continue;
            json_t *row = json_pack(
                "{s:s, s:s, s:I, s:f, s:I, s:I, s:f, s:b}", "made_week",
                week_data_name(model->data->week - (WEEK_HISTORY - 1 - i), name), "symptom",
                symptom_name(s), "reported", (json_int_t)f.reported, "expected_final",
                f.expected_final, "low", (json_int_t)f.final.low, "high", (json_int_t)f.final.high,
                "share", f.share, "too_early", f.too_early);
            json_object_set_new(row, "units",
                                json_integer((json_int_t)model->data->units[i + WEEK_DELAYS]));
            json_array_append_new(rows, row);
        }
    }
    return rows;
}
