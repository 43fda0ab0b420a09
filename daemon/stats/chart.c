#include "stats/chart.h"

#include <assert.h>
#include <gsl/gsl_cdf.h>
#include <math.h>

#include "base/error.h"

/* Mean range of two standard normal values. Tables print 1.128. */
#define D2 1.1283791670955126
/* 99.73 % limit of a moving range of two over its mean: (d2 + 3 d3) / d2, d3 = sqrt(2 - 4/pi). */
#define D4 3.266532

/* Limits computed from sums may miss a tie by the last bit. */
#define TIE 1e-9

static double size_at(const struct chart_data *c, size_t i)
{
    return c->sizes ? c->sizes[i] : 1.0;
}

static int check(const struct chart_data *c)
{
    if (c->kind != CHART_C && !c->sizes)
        return ERROR_INVALID;
    for (size_t i = 0; i < c->n; i++) {
        double x = c->counts[i], size = size_at(c, i);
        if (!(x >= 0) || !isfinite(x) || !(size >= 0) || !isfinite(size))
            return ERROR_INVALID;
        if ((c->kind == CHART_P && x > size) || (size == 0 && x > 0))
            return ERROR_INVALID;
    }
    return 0;
}

static double sigma_at(const struct chart_data *c, double center, size_t i)
{
    double variance = c->kind == CHART_P ? center * (1.0 - center) : center;
    return sqrt(variance / size_at(c, i));
}

static double z_at(const struct chart_data *c, double center, size_t i)
{
    double off = c->counts[i] / size_at(c, i) - center, sigma = sigma_at(c, center, i);
    return sigma > 0 ? off / sigma : 0.0;
}

/* Laney's factor: 1 if fewer than two points can be compared. */
static double laney_factor(const struct chart_data *c, double center)
{
    assert(c->baseline <= c->n);
    double sum = 0, last = NAN;
    size_t ranges = 0;
    for (size_t i = 0; i < c->baseline; i++) {
        if (size_at(c, i) == 0)
            continue;
        double z = z_at(c, center, i);
        if (!isnan(last)) {
            sum += fabs(z - last);
            ranges++;
        }
        last = z;
    }
    return ranges ? sum / (double)ranges / D2 : 1.0;
}

static int summarize(const struct chart_data *c, enum chart_limits limits, struct chart_summary *s)
{
    assert(c->baseline <= c->n);
    double total = 0, size = 0, used = 0;
    for (size_t i = 0; i < c->baseline; i++) {
        total += c->counts[i];
        size += size_at(c, i);
        used += size_at(c, i) > 0;
    }
    if (!(size > 0))
        return ERROR_INVALID;
    s->center = total / size;
    for (size_t i = 0; i < c->baseline; i++)
        if (size_at(c, i) > 0)
            s->chi_square += z_at(c, s->center, i) * z_at(c, s->center, i);
    s->df = used - 1.0;
    s->p = s->df > 0 ? gsl_cdf_chisq_Q(s->chi_square, s->df) : 1.0;
    s->sigma_z = 1.0;
    if (limits == CHART_LANEY)
        s->sigma_z = laney_factor(c, s->center);
    else if (limits == CHART_LANEY_IF_NEEDED && s->p < 0.05)
        s->sigma_z = fmax(1.0, laney_factor(c, s->center));
    return 0;
}

static struct chart_point judge(const struct chart_data *c, const struct chart_summary *s,
                                double width, size_t i)
{
    assert(i < c->n);
    assert(width > 0);
    assert(s->sigma_z >= 0);
    if (size_at(c, i) == 0)
        return (struct chart_point){NAN, NAN, NAN, NAN, 0};
    double half = width * s->sigma_z * sigma_at(c, s->center, i), slack = TIE * s->center;
    struct chart_point p = {.value = c->counts[i] / size_at(c, i),
                            .low = fmax(0.0, s->center - half),
                            .high = s->center + half,
                            .z = z_at(c, s->center, i)};
    if (c->kind == CHART_P)
        p.high = fmin(1.0, p.high);
    assert(p.low <= s->center && s->center <= p.high); /* of shares, too: none is above 1 */
    p.signal = p.value > p.high + slack ? 1 : p.value < p.low - slack ? -1 : 0;
    return p;
}

int chart_counts(const struct chart_data *data, enum chart_limits limits, double width,
                 struct chart_summary *ret, struct chart_point *ret_points)
{
    struct chart_data c = *data;
    struct chart_summary s = {0};
    if (!c.baseline || c.baseline > c.n)
        c.baseline = c.n;
    if (!(width > 0) || check(&c) != 0 || summarize(&c, limits, &s) != 0)
        return ERROR_INVALID;
    for (size_t i = 0; i < c.n; i++)
        ret_points[i] = judge(&c, &s, width, i);
    *ret = s;
    return 0;
}
