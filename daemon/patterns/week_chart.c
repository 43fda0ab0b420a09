#include "patterns/week_chart.h"
#include "base/text.h"
#include "patterns/week_to_come.h"
#include "stats/chart.h"
#include "stats/cusum.h"
#include "stats/poisson.h"
#include <math.h>
#include <stdlib.h>

enum { CHART_WEEKS = 52, LAST = WEEK_SPAN - 1 };

/* ---- the limit of the cumulative sum ---- */

#define RISE_LEAST 0.05
#define RISE_MOST 1.0
#define RISE_SIGMAS 1.5

/* Below that many a week a sum has nothing to go by. */
#define EXPECTED_LEAST 1.0

enum { PHI_COUNT = 7, EXPECTED_COUNT = 21 };
static const double PHI[PHI_COUNT] = {1, 1.25, 1.5, 2, 3, 5, 8};
/* Limits in units of sqrt(phi x expected), by cusum_counts_limit(); a row an expectation of
 * 2^(i / 2), a column a phi. */
static const double LIMIT[EXPECTED_COUNT][PHI_COUNT] = {
    {4.6875, 5.2548, 5.7920, 6.4744, 7.2890, 8.0778, 8.5737},
    {4.1125, 4.4892, 4.8061, 5.9646, 6.8272, 7.5917, 8.2130},
    {3.7013, 4.1703, 4.6008, 5.2812, 6.1237, 7.0756, 7.8125},
    {3.1310, 3.6729, 3.8839, 4.6512, 5.5356, 6.4817, 7.3053},
    {3.1562, 3.4380, 3.6360, 4.0880, 4.9075, 5.9256, 6.7617},
    {3.1271, 3.2788, 3.5188, 3.7906, 4.3998, 5.3119, 6.1876},
    {2.8947, 3.1623, 3.3288, 3.5938, 3.8911, 4.7237, 5.5938},
    {2.9544, 3.0414, 3.2316, 3.4293, 3.7870, 4.1549, 5.0060},
    {2.8750, 3.0327, 3.1257, 3.2814, 3.5633, 3.9271, 4.4194},
    {2.7329, 2.9262, 3.0360, 3.1867, 3.3984, 3.7253, 4.0693},
    {2.7842, 2.8559, 2.9319, 3.0625, 3.2660, 3.5378, 3.8438},
    {2.7315, 2.8087, 2.8826, 2.9826, 3.1540, 3.3904, 3.6526},
    {2.6719, 2.7601, 2.7684, 2.9279, 3.0491, 3.2563, 3.4803},
    {2.6409, 2.7147, 2.7678, 2.8244, 2.9736, 3.1495, 3.3354},
    {2.6296, 2.6781, 2.7334, 2.7891, 2.8833, 3.0338, 3.2031},
    {2.6200, 2.6591, 2.6702, 2.7329, 2.8322, 2.9583, 3.1008},
    {2.5859, 2.6134, 2.6409, 2.7069, 2.7695, 2.8929, 3.0052},
    {2.5687, 2.6089, 2.6176, 2.6664, 2.7233, 2.8205, 2.9266},
    {2.5522, 2.5792, 2.6071, 2.6328, 2.6919, 2.7670, 2.8594},
    {2.5549, 2.5677, 2.5868, 2.6015, 2.6605, 2.7256, 2.7986},
    {2.3906, 2.5575, 2.5771, 2.5964, 2.6342, 2.6833, 2.7511},
};

double week_chart_rise(double expected, double phi)
{
    double rise = RISE_SIGMAS * sqrt(phi / expected);
    return 1 + fmin(fmax(rise, RISE_LEAST), RISE_MOST);
}

double week_chart_limit(double expected, double phi)
{
    if (!(expected >= EXPECTED_LEAST))
        return NAN;
    double row = fmin(2 * log2(expected), EXPECTED_COUNT - 1.000001);
    double spread = fmin(fmax(phi, 1), PHI[PHI_COUNT - 1]);
    int r = (int)row, c = 0;
    while (c < PHI_COUNT - 2 && PHI[c + 1] <= spread)
        c++;
    double down = row - r, across = (spread - PHI[c]) / (PHI[c + 1] - PHI[c]);
    double above = LIMIT[r][c] + across * (LIMIT[r][c + 1] - LIMIT[r][c]);
    double below = LIMIT[r + 1][c] + across * (LIMIT[r + 1][c + 1] - LIMIT[r + 1][c]);
    return (above + down * (below - above)) * sqrt(phi * expected);
}

/* ---- one chart ---- */

struct sums {
    double sum[WEEK_SPAN], limit, rise;
    int since; /* where the present climb began; WEEK_SPAN: none */
};

static double mean_expected(const struct week_series *s, int first)
{
    double sum = 0;
    int n = 0;
    for (int i = first; i < LAST; i++, n++)
        sum += s->expected[i];
    return n ? sum / n : 0;
}

static void run_sums(const struct week_model *m, const struct week_series *s, const double *counts,
                     struct sums *ret)
{
    double usual = mean_expected(s, m->first), sum = 0;
    ret->limit = usual > 0 ? week_chart_limit(usual, s->phi) : NAN;
    ret->rise = usual > 0 ? week_chart_rise(usual, s->phi) : NAN;
    ret->since = WEEK_SPAN;
    for (int i = 0; i < WEEK_SPAN; i++) {
        double e = s->expected[i], size = s->phi > 1 ? e / (s->phi - 1) : INFINITY;
        ret->sum[i] = NAN;
        if (i < m->first || !isfinite(ret->limit) || e <= 0)
            continue;
        if (sum >= ret->limit && counts[i] <= e) /* said and over: it starts afresh */
            sum = 0;
        sum = fmax(0, sum + counts[i] - cusum_reference(e, ret->rise, size));
        ret->sum[i] = sum;
        if (sum <= 0)
            ret->since = WEEK_SPAN;
        else if (ret->since == WEEK_SPAN)
            ret->since = i;
    }
}

static json_t *number(double x)
{
    return isfinite(x) ? json_real(round(x * 1e4) / 1e4) : json_null();
}

static json_t *week_json(const struct week_model *m, const struct week_series *s, int symptom,
                         int i, const struct chart_point *point, const struct sums *sums)
{
    char name[16];
    return json_pack("{s:s, s:I, s:o, s:o, s:o, s:o, s:i, s:o}", "week",
                     week_name(m->data->week - (LAST - i), name), "complaints",
                     (json_int_t)llround(m->data->levels[0].counts[symptom][i]), "on_sale",
                     number(s->on_sale[i]), "expected", number(s->expected[i]), "per_million",
                     number(point->value), "low", number(point->low), "signal", point->signal,
                     "sum", number(sums->sum[i]));
}

/* By week of make, complaints still to come included as far as they can be told. */
static json_t *made_json(const struct week_model *m, int symptom)
{
    json_t *rows = json_array();
    for (int i = WEEK_HISTORY - CHART_WEEKS; i < WEEK_HISTORY; i++) {
        double units = m->data->units[i + WEEK_DELAYS];
        struct delay_forecast f;
        char name[16];
        if (units <= 0)
            continue;
        json_t *row = json_pack("{s:s, s:I, s:I}", "week",
                                week_name(m->data->week - (WEEK_HISTORY - 1 - i), name), "units",
                                (json_int_t)units, "reported",
                                (json_int_t)llround(m->data->made_all[symptom][i]));
        if (week_forecast(m, symptom, i, &f)) {
            double scale = 1e6 / units;
            json_object_set_new(row, "per_million", number(f.expected_final * scale));
            json_object_set_new(row, "low", number(f.final.low * scale));
            json_object_set_new(row, "high", number(f.final.high * scale));
            json_object_set_new(row, "too_early", json_boolean(f.too_early));
        }
        json_array_append_new(rows, row);
    }
    return rows;
}

static json_t *chart_json(const struct week_model *m, const struct week_series *s, int symptom)
{
    const double *counts = m->data->levels[0].counts[symptom];
    double sizes[WEEK_SPAN];
    struct chart_point points[WEEK_SPAN];
    struct chart_summary summary = {.center = NAN, .sigma_z = NAN};
    struct sums sums;
    int first = m->first > WEEK_SPAN - CHART_WEEKS ? m->first : WEEK_SPAN - CHART_WEEKS;
    for (int i = 0; i < WEEK_SPAN; i++) {
        sizes[i] = s->on_sale[i] * m->season[symptom][i] / 1e6;
        points[i] = (struct chart_point){NAN, NAN, NAN, NAN, 0};
    }
    size_t n = (size_t)(WEEK_SPAN - first);
    if (first < WEEK_SPAN - m->recent)
        chart_counts(CHART_U, counts + first, sizes + first, n, n - (size_t)m->recent,
                     CHART_LANEY_IF_NEEDED, 3, &summary, points + first);
    run_sums(m, s, counts, &sums);
    json_t *weeks = json_array();
    for (int i = first; i < WEEK_SPAN; i++) {
        json_t *week = week_json(m, s, symptom, i, &points[i], &sums);
        json_object_set_new(week, "high", number(points[i].high));
        json_array_append_new(weeks, week);
    }
    bool alarm = isfinite(sums.sum[LAST]) && sums.sum[LAST] >= sums.limit;
    char since[16];
    json_t *sum =
        json_pack("{s:o, s:o, s:i, s:b, s:o}", "limit", number(sums.limit), "rise",
                  number(sums.rise), "run_length", WEEK_RUN_LENGTH, "alarm", alarm, "since",
                  sums.since < WEEK_SPAN && alarm
                      ? json_string(week_name(m->data->week - (LAST - sums.since), since))
                      : json_null());
    return json_pack("{s:o, s:o, s:o, s:b, s:b, s:o, s:o, s:o}", "center", number(summary.center),
                     "sigma_factor", number(summary.sigma_z), "dispersion", number(s->phi),
                     "season", m->seasonal[symptom], "trend", m->trending[symptom], "sum", sum,
                     "weeks", weeks, "made", made_json(m, symptom));
}

json_t *week_charts_json(const struct week_model *model)
{
    json_t *charts = json_object();
    struct week_series *series = xcalloc(model->data->level_count, sizeof *series);
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        week_model_factor(model, "", s, series);
        json_object_set_new(charts, WEEK_SYMPTOM[s], chart_json(model, &series[0], s));
    }
    free(series);
    return charts;
}
