#include "patterns/week_chart.h"
#include "base/jsonx.h"
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
#define CLIMB_WEEKS 5 /* of a sum from 0 to its limit, about */

/* Below that many a week a sum has nothing to go by. */
#define EXPECTED_LEAST 2.0

enum { PHI_COUNT = 6, EXPECTED_COUNT = 37, ROWS_TO_DOUBLE = 4 };
static const double PHI[PHI_COUNT] = {WEEK_CHART_PHI_LEAST, 1.5, 2, 3, 5, 8};
/* Limits in units of sqrt(phi x expected), by tests/stats/cusum_counts.h; a row an expectation of
 * 2 x 2^(i / 4), a column a phi. */
static const double LIMIT[EXPECTED_COUNT][PHI_COUNT] = {
    {4.1587, 4.5990, 5.2701, 6.1179, 7.0733, 7.8103},
    {3.8549, 4.3140, 4.9692, 5.7548, 6.7923, 7.5653},
    {3.6664, 3.8756, 4.6503, 5.5344, 6.4794, 7.3035},
    {3.5358, 3.7657, 4.3590, 5.2205, 6.2148, 7.0555},
    {3.4311, 3.6274, 4.0859, 4.9044, 5.9202, 6.7612},
    {3.3895, 3.5841, 3.8976, 4.5964, 5.6124, 6.4808},
    {3.2763, 3.5166, 3.7806, 4.3922, 5.3108, 6.1844},
    {3.2182, 3.3832, 3.7446, 4.0466, 5.0193, 5.8925},
    {3.1594, 3.3245, 3.5871, 3.8894, 4.7190, 5.5911},
    {3.0971, 3.1669, 3.5206, 3.8372, 4.4391, 5.2865},
    {3.0402, 3.2303, 3.4226, 3.7854, 4.1541, 4.9999},
    {3.0287, 3.1134, 3.3438, 3.6267, 4.0498, 4.7071},
    {3.0289, 3.1204, 3.2811, 3.5633, 3.9264, 4.4160},
    {2.9459, 3.0517, 3.2129, 3.4675, 3.8187, 4.1898},
    {2.9186, 3.0296, 3.1833, 3.3881, 3.7247, 4.0650},
    {2.9247, 2.9832, 3.1473, 3.3375, 3.6368, 3.9519},
    {2.8496, 2.9279, 3.0596, 3.2594, 3.5359, 3.8394},
    {2.7758, 2.8919, 3.0356, 3.2011, 3.4713, 3.7315},
    {2.8025, 2.8778, 2.9769, 3.1450, 3.3857, 3.6486},
    {2.7565, 2.8443, 2.9516, 3.0988, 3.3208, 3.5538},
    {2.7551, 2.7680, 2.9211, 3.0488, 3.2451, 3.4777},
    {2.7336, 2.7768, 2.8644, 3.0020, 3.1986, 3.4033},
    {2.7055, 2.7640, 2.8185, 2.9680, 3.1487, 3.3317},
    {2.6667, 2.7228, 2.8027, 2.9205, 3.0811, 3.2628},
    {2.6704, 2.7302, 2.7847, 2.8822, 3.0336, 3.2023},
    {2.6543, 2.6881, 2.7582, 2.8527, 2.9961, 3.1550},
    {2.6519, 2.6679, 2.7316, 2.8259, 2.9532, 3.0955},
    {2.6278, 2.6619, 2.7180, 2.7979, 2.9156, 3.0449},
    {2.6117, 2.6408, 2.7010, 2.7682, 2.8866, 3.0028},
    {2.6088, 2.6416, 2.6818, 2.7455, 2.8446, 2.9628},
    {2.6026, 2.6164, 2.6623, 2.7222, 2.8185, 2.9235},
    {2.5909, 2.6137, 2.6570, 2.7050, 2.7910, 2.8853},
    {2.5785, 2.6033, 2.6309, 2.6910, 2.7658, 2.8559},
    {2.5712, 2.5947, 2.6226, 2.6666, 2.7436, 2.8225},
    {2.5664, 2.5834, 2.6010, 2.6554, 2.7227, 2.7971},
    {2.5576, 2.5723, 2.6005, 2.6435, 2.7031, 2.7704},
    {2.5527, 2.5733, 2.5917, 2.6299, 2.6824, 2.7483},
};

double week_chart_rise(double expected, double phi)
{
    double rise = RISE_SIGMAS * sqrt(phi / expected);
    return 1 + fmin(fmax(rise, RISE_LEAST), RISE_MOST);
}

double week_chart_spread(const struct week_lag *lag, double expected, double phi)
{
    double fitted = fmin(0.79 + 0.075 * log(fmax(expected, EXPECTED_LEAST)), 1.1);
    fitted *= pow(phi / 1.6, 0.12);
    return 1 + (phi - 1) * fmax(1, week_expect_stretch(lag, CLIMB_WEEKS) * fitted);
}

double week_chart_limit(double expected, double phi)
{
    if (!(expected >= EXPECTED_LEAST))
        return NAN;
    double row = fmin(ROWS_TO_DOUBLE * log2(expected / EXPECTED_LEAST), EXPECTED_COUNT - 1.000001);
    double spread = fmin(fmax(phi, PHI[0]), PHI[PHI_COUNT - 1]);
    int r = (int)row, c = 0;
    while (c < PHI_COUNT - 2 && PHI[c + 1] <= spread)
        c++;
    double down = row - r, across = (spread - PHI[c]) / (PHI[c + 1] - PHI[c]);
    double above = LIMIT[r][c] + across * (LIMIT[r][c + 1] - LIMIT[r][c]);
    double below = LIMIT[r + 1][c] + across * (LIMIT[r + 1][c + 1] - LIMIT[r + 1][c]);
    return (above + down * (below - above)) * sqrt(fmax(phi, PHI[0]) * expected);
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

static void run_sums(const struct week_model *m, const struct week_series *s, int symptom,
                     struct sums *ret)
{
    double usual = mean_expected(s, m->first), sum = 0, phi = fmax(s->phi, WEEK_CHART_PHI_LEAST);
    const double *counts = m->data->levels[0].counts[symptom];
    double spread = week_chart_spread(&m->lag[symptom], usual, s->phi_high);
    ret->limit = usual > 0 ? week_chart_limit(usual, spread) : NAN;
    ret->rise = usual > 0 ? week_chart_rise(usual, phi) : NAN;
    ret->since = WEEK_SPAN;
    for (int i = 0; i < WEEK_SPAN; i++) {
        double e = s->expected[i], size = e / (phi - 1);
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

static json_t *week_json(const struct week_model *m, const struct week_series *s, int symptom,
                         int i, const struct chart_point *point, const struct sums *sums)
{
    char name[16];
    return json_pack("{s:s, s:I, s:o, s:o, s:o, s:o, s:i, s:o}", "week",
                     week_data_name(m->data->week - (LAST - i), name), "complaints",
                     (json_int_t)llround(m->data->levels[0].counts[symptom][i]), "on_sale",
                     jsonx_rounded(s->on_sale[i], 4), "expected", jsonx_rounded(s->expected[i], 4),
                     "per_million", jsonx_rounded(point->value, 4), "low",
                     jsonx_rounded(point->low, 4), "signal", m->recent ? point->signal : 0, "sum",
                     jsonx_rounded(sums->sum[i], 4));
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
                                week_data_name(m->data->week - (WEEK_HISTORY - 1 - i), name),
                                "units", (json_int_t)units, "reported",
                                (json_int_t)llround(m->data->made_all[symptom][i]));
        if (week_to_come_forecast(m, symptom, i, &f)) {
            double scale = 1e6 / units;
            json_object_set_new(row, "per_million", jsonx_rounded(f.expected_final * scale, 4));
            json_object_set_new(row, "low", jsonx_rounded(f.final.low * scale, 4));
            json_object_set_new(row, "high", jsonx_rounded(f.final.high * scale, 4));
            json_object_set_new(row, "too_early", json_boolean(f.too_early));
        }
        json_array_append_new(rows, row);
    }
    return rows;
}

/* A Shewhart chart of the newest weeks whose limits past outbreaks do not widen: a week of the
 * baseline that stands out counts as an ordinary one there. */
static void draw_limits(const struct week_model *m, const struct week_series *s, int symptom,
                        struct chart_summary *ret, struct chart_point points[WEEK_SPAN])
{
    const double *counts = m->data->levels[0].counts[symptom];
    double sizes[WEEK_SPAN], ordinary[WEEK_SPAN];
    int first = m->first > WEEK_SPAN - CHART_WEEKS ? m->first : WEEK_SPAN - CHART_WEEKS;
    for (int i = 0; i < WEEK_SPAN; i++) {
        bool out = i < m->baseline && week_expect_stands_out(s, i, counts[i]);
        ordinary[i] = out ? s->expected[i] : counts[i];
        sizes[i] = s->on_sale[i] * m->season[symptom][i] / 1e6;
        points[i] = (struct chart_point){NAN, NAN, NAN, NAN, 0};
    }
    if (first >= m->baseline)
        return;
    const struct chart_data data = {CHART_U, ordinary + first, sizes + first,
                                    (size_t)(WEEK_SPAN - first), (size_t)(m->baseline - first)};
    chart_counts(&data, CHART_LANEY_IF_NEEDED, 3, ret, points + first);
    for (int i = first; i < m->baseline; i++) {
        struct chart_point *point = &points[i];
        if (!(sizes[i] > 0))
            continue;
        point->value = counts[i] / sizes[i];
        point->signal = (point->value > point->high) - (point->value < point->low);
    }
}

static json_t *chart_json(const struct week_model *m, const struct week_series *s, int symptom)
{
    struct chart_point points[WEEK_SPAN];
    struct chart_summary summary = {.center = NAN, .sigma_z = NAN};
    struct sums sums;
    int first = m->first > WEEK_SPAN - CHART_WEEKS ? m->first : WEEK_SPAN - CHART_WEEKS;
    draw_limits(m, s, symptom, &summary, points);
    run_sums(m, s, symptom, &sums);
    json_t *weeks = json_array();
    for (int i = first; i < WEEK_SPAN; i++) {
        json_t *week = week_json(m, s, symptom, i, &points[i], &sums);
        json_object_set_new(week, "high", jsonx_rounded(points[i].high, 4));
        json_array_append_new(weeks, week);
    }
    bool alarm = m->recent && isfinite(sums.sum[LAST]) && sums.sum[LAST] >= sums.limit;
    char since[16];
    json_t *sum = json_pack(
        "{s:o, s:o, s:i, s:b, s:o}", "limit", jsonx_rounded(sums.limit, 4), "rise",
        jsonx_rounded(sums.rise, 4), "run_length", WEEK_RUN_LENGTH, "alarm", alarm, "since",
        sums.since < WEEK_SPAN && alarm
            ? json_string(week_data_name(m->data->week - (LAST - sums.since), since))
            : json_null());
    return json_pack("{s:o, s:o, s:o, s:b, s:b, s:o, s:o, s:o}", "center",
                     jsonx_rounded(summary.center, 4), "sigma_factor",
                     jsonx_rounded(summary.sigma_z, 4), "dispersion", jsonx_rounded(s->phi, 4),
                     "season", m->seasonal[symptom], "trend", m->trending[symptom], "sum", sum,
                     "weeks", weeks, "made", made_json(m, symptom));
}

json_t *week_chart_json(const struct week_model *model)
{
    json_t *charts = json_object();
    struct week_series *series = xcalloc(model->data->level_count, sizeof *series);
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        week_expect_model_factor(model, NULL, s, series);
        json_object_set_new(charts, symptom_name(s), chart_json(model, &series[0], s));
    }
    free(series);
    return charts;
}
