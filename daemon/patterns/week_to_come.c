#include "patterns/week_to_come.h"
#include "stats/shrink.h"
#include <math.h>

/* A plant's week-to-week spread is never known better than this. */
#define PRIOR_SHAPE_MOST 100.0
#define PRIOR_SHAPE_LEAST 0.5
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
    return age <= 0 ? 0 : delay_share(&model->lag[symptom].curve, age);
}

/* Final counts of weeks that are all in, against the units they packed: how many a unit, and how
 * much weeks differ. */
static struct delay_prior usual_final(const struct week_model *m, int symptom, int index)
{
    const struct week_data *d = m->data;
    double observed[WEEK_HISTORY], expected[WEEK_HISTORY], counts = 0, units = 0;
    int last = d->now_week - WEEK_DELAYS - (d->week - (WEEK_HISTORY - 1));
    size_t n = 0;
    last = last < index ? last : index;
    for (int i = last < WEEK_SPAN ? 0 : last - WEEK_SPAN; i < last; i++) {
        if (d->units[i + WEEK_DELAYS] <= 0)
            continue;
        observed[n] = d->made_all[symptom][i];
        expected[n++] = d->units[i + WEEK_DELAYS];
        counts += d->made_all[symptom][i];
        units += d->units[i + WEEK_DELAYS];
    }
    if (counts <= 0)
        return (struct delay_prior){0, 0};
    struct shrink_gamma spread = {PRIOR_SHAPE_LEAST, 1};
    for (size_t i = 0; i < n; i++)
        expected[i] *= counts / units;
    shrink_fit_moments(observed, expected, n, &spread);
    double shape = fmin(fmax(spread.shape, PRIOR_SHAPE_LEAST), PRIOR_SHAPE_MOST);
    double mean = counts / units * d->units[index + WEEK_DELAYS];
    return (struct delay_prior){shape, shape / mean};
}

bool week_to_come_forecast(const struct week_model *model, int symptom, int index,
                           struct delay_forecast *ret)
{
    const struct week_data *d = model->data;
    const struct week_lag *lag = &model->lag[symptom];
    double age = age_weeks(d, index);
    if (!lag->known || d->units[index + WEEK_DELAYS] <= 0 || age <= 0)
        return false;
    struct delay_prior prior = usual_final(model, symptom, index);
    const struct delay_so_far so_far = {
        .reported = d->made_all[symptom][index],
        .share = week_to_come_share_in(model, symptom, index),
        .log_variance = age >= WEEK_DELAYS ? 0 : delay_log_variance(&lag->curve, age),
        .dispersion = lag->curve.dispersion};
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
