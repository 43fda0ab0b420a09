#include "patterns/week_expect.h"
#include "base/text.h"
#include "stats/negbin.h"
#include "stats/season.h"
#include "stats/shrink.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WEEKS_BEFORE_SEASON = 26, WEEKS_UNREAD = 6, ROUNDS = 6 };

/* Anscombe residuals beyond this count with their inverse square: A. Noufaily et al., "An improved
 * algorithm for outbreak detection in multiple surveillance systems", Statistics in Medicine 32
 * (2013) 1206-1222. */
#define RESIDUAL_MOST 2.58
/* … if they are also this rare for counts with the spread found so far: small counts that vary much
 * are skewed, and their ordinary tail must not be taken for outbreaks. */
#define OUTBREAK_P 0.002
/* A trend must be this sure before the future is drawn after it. */
#define TREND_P 0.01
/* How many weeks of one level the spread of its whole factor weighs: plant experience decides with
 * time, this only steadies the start. */
#define PHI_PRIOR_WEEKS 10.0
/* What is usual in its factor weighs in a level's rate as one complaint at most. */
#define ALIKE_MOST 1.0
/* … of which it is expected to bring half a one in its baseline, unless that is more than usual:
 * that it brought none yet does not say that it never will. */
#define RATE_LEAST 0.5
/* How far a plant as a whole is from what was usual of it, with no trouble anywhere: a gamma
 * variable of mean 1 and this shape, half of it up or down (chosen on simulated plants). */
#define WANDER_SHAPE 4.0
/* A wider group's delays weigh as much as this many reports. */
#define LAG_PRIOR_REPORTS 5.0

/* ---- how complaints lag ---- */

/* A usual curve for a plant without history (common practice, no source): most complaints about
 * packed bread come within two weeks. */
static const double USUAL[] = {0.35, 0.40, 0.17, 0.06, 0.02};

static void seen_delays(const struct week_data *d, int before, size_t seen[WEEK_HISTORY])
{
    for (int i = 0; i < WEEK_HISTORY; i++) {
        int age = before - (d->week - (WEEK_HISTORY - 1 - i)); /* whole weeks that are over */
        seen[i] = (size_t)(age < 0 ? 0 : age > WEEK_DELAYS ? WEEK_DELAYS : age);
    }
}

/* How all symptoms together lag, on top of the usual, as a symptom's prior. */
static void pooled_delays(const struct week_data *d, const size_t seen[WEEK_HISTORY],
                          double prior[WEEK_DELAYS])
{
    double all[WEEK_HISTORY * WEEK_DELAYS] = {0}, usual[WEEK_DELAYS] = {0}, before = 0;
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        for (int i = 0; i < WEEK_HISTORY * WEEK_DELAYS; i++)
            all[i] += (&d->made[s][0][0])[i];
    }
    for (size_t k = 0; k < sizeof USUAL / sizeof USUAL[0]; k++)
        usual[k] = USUAL[k] * LAG_PRIOR_REPORTS;
    const struct delay_triangle triangle = {WEEK_HISTORY, WEEK_DELAYS, all, seen};
    struct delay_curve curve;
    if (delay_fit(&triangle, usual, &curve) != 0)
        return;
    for (int k = 0; k < WEEK_DELAYS; k++) {
        prior[k] = (curve.share[k] - before) * LAG_PRIOR_REPORTS;
        before = curve.share[k];
    }
}

static void set_overlap(struct week_lag *lag)
{
    double own = 0;
    for (int j = 0; j < WEEK_DELAYS; j++) {
        double sum = 0;
        for (int d = 0; d + j < WEEK_DELAYS; d++)
            sum += lag->share[d] * lag->share[d + j];
        own = j ? own : sum;
        lag->overlap[j] = own > 0 ? sum / own : 0;
    }
}

/* Of n terms with correlations r_j between neighbours j apart a sum's variance is n times
 * 1 + 2 sum over j of (1 - j / n) r_j; that of weeks is the overlap of their lags. */
double week_expect_stretch(const struct week_lag *lag, int weeks)
{
    double stretch = 1;
    for (int j = 1; j < weeks && j < WEEK_DELAYS; j++)
        stretch += 2 * (1 - (double)j / weeks) * lag->overlap[j];
    return stretch;
}

void week_expect_lags_make(const struct week_data *d, int before_week,
                           struct week_lag lag[WEEK_SYMPTOMS])
{
    size_t seen[WEEK_HISTORY];
    double prior[WEEK_DELAYS] = {0};
    struct delay_unlike unlike = {0};
    seen_delays(d, before_week, seen);
    pooled_delays(d, seen, prior);
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        struct delay_triangle triangle = {WEEK_HISTORY, WEEK_DELAYS, &d->made[s][0][0], seen};
        double before = 0;
        if (delay_fit(&triangle, prior, &lag[s].curve) != 0)
            continue;
        lag[s].known = lag[s].curve.reports >= 2 * LAG_PRIOR_REPORTS;
        delay_unlike_add(&triangle, &lag[s].curve, &unlike);
        for (int k = 0; k < WEEK_DELAYS; k++) {
            double share = delay_share(&lag[s].curve, k + 1.0);
            lag[s].share[k] = share - before;
            before = share;
        }
        set_overlap(&lag[s]);
    }
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        lag[s].unlike = delay_unlike(&unlike);
}

/* ret[i] belongs to the week of units[i + skip]. */
static void on_sale(const double *units, int skip, const double share[WEEK_DELAYS], double *ret,
                    int ret_count)
{
    for (int i = 0; i < ret_count; i++) {
        ret[i] = 0;
        for (int k = 0; k < WEEK_DELAYS && i + skip - k >= 0; k++)
            ret[i] += units[i + skip - k] * share[k];
    }
}

/* ---- season ---- */

static bool fit_season(const double *counts, const double *exposure, int first, int count,
                       struct season *ret)
{
    double times[WEEK_HISTORY], x[WEEK_HISTORY], e[WEEK_HISTORY];
    size_t n = 0;
    for (int i = first; i < count; i++) {
        if (exposure[i] <= 0)
            continue;
        times[n] = i;
        x[n] = counts[i];
        e[n++] = exposure[i];
    }
    if (n < WEEKS_BEFORE_SEASON)
        return false;
    struct season_design design = season_design_for((double)(count - first));
    if (season_fit(times, x, e, n, &design, ret))
        return false;
    if (!design.trend || ret->trend_p < TREND_P)
        return true;
    design.trend = false;
    return season_fit(times, x, e, n, &design, ret) == 0;
}

/* Factors relative to their mean over the baseline, so that levels keep their own rates. */
static void make_season(struct week_model *m, int s)
{
    const struct week_data *d = m->data;
    double exposure[WEEK_HISTORY], mean = 0;
    struct season season;
    on_sale(d->units, WEEK_DELAYS, m->lag[s].share, exposure, WEEK_HISTORY);
    for (int i = 0; i < WEEK_SPAN; i++)
        m->season[s][i] = 1;
    int first = d->first_units > WEEK_DELAYS ? d->first_units - WEEK_DELAYS : 0;
    if (!m->recent || !fit_season(d->counts[s], exposure, first, WEEK_HISTORY - m->recent, &season))
        return;
    int baseline = 0;
    m->seasonal[s] = season.design.harmonics > 0;
    m->trending[s] = season.design.trend;
    for (int i = 0; i < WEEK_SPAN; i++) {
        double se;
        m->season[s][i] = season_expected(&season, WEEK_HISTORY - WEEK_SPAN + i, 1, &se);
        if (i == WEEK_SPAN - 1 && m->season[s][i] > 0)
            m->season_cv[s] = se / m->season[s][i];
        if (i >= m->first && i < m->baseline) {
            mean += m->season[s][i];
            baseline++;
        }
    }
    for (int i = 0; i < WEEK_SPAN && baseline && mean > 0; i++)
        m->season[s][i] *= baseline / mean;
}

/* Common practice, no source: a third of what there is, eight weeks at most; a plant of less than
 * six weeks has no past to be judged by. */
static int recent_weeks(int weeks)
{
    static const struct {
        int history, recent;
    } RULES[] = {{24, 8}, {12, 4}, {6, 2}};
    for (size_t i = 0; i < sizeof RULES / sizeof RULES[0]; i++) {
        if (weeks >= RULES[i].history)
            return RULES[i].recent;
    }
    return 0;
}

static bool is_unheard(const struct week_data *d)
{
    double sum = 0;
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        for (int i = 0; i < WEEK_HISTORY - 1; i++)
            sum += d->counts[s][i];
    return !(sum > 0);
}

void week_expect_model_make(const struct week_data *data, struct week_model *ret)
{
    *ret = (struct week_model){.data = data};
    int skipped = data->first_units - (WEEK_HISTORY + WEEK_DELAYS - WEEK_SPAN);
    /* of an older plant, the units sold before the span are not read */
    ret->first = skipped > 0 ? skipped : WEEKS_UNREAD;
    ret->unheard = is_unheard(data);
    ret->recent = ret->unheard ? 0 : recent_weeks(WEEK_SPAN - ret->first);
    ret->baseline = WEEK_SPAN - (ret->recent ? ret->recent : 1);
    week_expect_lags_make(data, data->week, ret->lag);
    week_expect_lags_make(data, data->now_week, ret->coming);
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        make_season(ret, s);
}

/* ---- one level ---- */

static double anscombe(double count, double expected, double phi)
{
    return 1.5 * (cbrt(count * count) / pow(expected, 1 / 6.0) - sqrt(expected)) / sqrt(phi);
}

static double weight_of(double count, double expected, double phi)
{
    double off = count - expected;
    if (off <= 0 || off * off < 4 * phi * expected) /* far from standing out */
        return 1;
    double residual = anscombe(count, expected, phi);
    if (residual <= RESIDUAL_MOST)
        return 1;
    double size = phi > 1 ? expected / (phi - 1) : INFINITY;
    double p = negbin_more_than((long)floor(count + 0.5) - 1, expected, size);
    return p < OUTBREAK_P ? 1 / (residual * residual) : 1;
}

bool week_expect_stands_out(const struct week_series *series, int index, double count)
{
    double expected = series->expected[index];
    return expected > 0 && weight_of(count, expected, series->phi) < 1;
}

static double spread_of(const struct week_base *f)
{
    return f->df > 0 ? fmax(1, f->chi_square / f->df) : 1;
}

/* The level's own rate. The spread grows from round to round as far as it is the weeks' own. */
static struct week_base fit_level(const struct week_model *m, const double counts[WEEK_SPAN],
                                  const double due[WEEK_SPAN])
{
    struct week_base f = {0};
    double rate = 0, phi = 1;
    for (int round = 0; round < ROUNDS; round++) {
        struct week_base next = {0};
        for (int i = m->first; i < m->baseline; i++) {
            if (due[i] <= 0)
                continue;
            double expected = rate * due[i], weight = 1;
            if (expected > 0) {
                double off = counts[i] - expected;
                weight = weight_of(counts[i], expected, phi);
                /* what stands out spreads like an ordinary week */
                next.chi_square += weight < 1 ? phi : off * off / expected;
            }
            next.df += 1;
            next.counts += weight * counts[i];
            next.exposure += weight * due[i];
        }
        f = next;
        f.df = fmax(0, f.df - 1);
        rate = f.exposure > 0 ? f.counts / f.exposure : 0;
        phi = spread_of(&f);
        if (f.counts <= 0)
            break;
    }
    return f;
}

static void due_of(const struct week_model *m, int s, const struct week_series *series,
                   double due[WEEK_SPAN])
{
    for (int w = 0; w < WEEK_SPAN; w++)
        due[w] = series->on_sale[w] * m->season[s][w];
}

/* All levels of a factor. */
struct week_factor {
    struct week_base all;
    size_t levels;
    bool many;
    double alike; /* shape of the gamma by which their rates differ, 1 at most */
};

/* Levels as unlike as causes, of which some are common and most never seen, tell little about each
 * other. */
static double fit_alike(const struct week_model *m, const struct cut *cut,
                        const struct week_factor *f, const struct week_series *series)
{
    const struct week_data *d = m->data;
    struct shrink_gamma rates = {ALIKE_MOST, 1};
    double usual = f->all.exposure > 0 ? f->all.counts / f->all.exposure : 0;
    double *observed = xcalloc(2 * d->level_count, sizeof *observed);
    double *expected = observed + d->level_count;
    size_t n = 0;
    for (size_t i = 0; i < d->level_count; i++) {
        if (d->levels[i].cut != cut || series[i].base.exposure <= 0)
            continue;
        observed[n] = series[i].base.counts;
        expected[n++] = usual * series[i].base.exposure;
    }
    shrink_fit_moments(observed, expected, n, &rates); /* or as it was, of nothing observed */
    free(observed);
    return fmin(rates.shape, ALIKE_MOST);
}

/* Bad weeks of packing come in runs: so many complaints tell as much as a single one by chance. */
static double lasting_of(const struct week_model *m, int s, double phi)
{
    return 1 + (phi - 1) * week_expect_stretch(&m->lag[s], WEEK_SPAN);
}

static void set_series(const struct week_model *m, int s, const struct week_factor *factor,
                       struct week_series *ret)
{
    const struct week_base *own = &ret->base, *all = &factor->all;
    double pooled = spread_of(all);
    double usual = all->exposure > 0 ? all->counts / all->exposure : 0;
    bool lone = factor->levels < 2;
    double mean = usual * own->exposure / fmax(1, own->df + 1);
    double prior = lone ? 0 : PHI_PRIOR_WEEKS;
    if (factor->many && mean > 0) /* the fewer complaints, the less a week tells of the spread */
        prior *= 1 + 1 / (2 * mean);
    double df = fmax(1, own->df + prior);
    ret->phi = fmax(1, (own->chi_square + prior * pooled) / df);
    /* a variance is the less sure the heavier the tails: excess kurtosis of such counts */
    double tails = mean > 0 ? 6 * (ret->phi - 1) / mean + 1 / (ret->phi * mean) : 0;
    ret->phi_high = 1 + (ret->phi - 1) * (1 + sqrt((2 + tails) / df));
    /* a year of weeks tells less about the rate than it seems */
    double lasting = lasting_of(m, s, ret->phi);
    double prior_counts = lone ? 0 : factor->alike;
    double exposure = own->exposure + (lone || usual <= 0 ? 0 : prior_counts / usual);
    double shape = own->counts / lasting + prior_counts;
    ret->rate = exposure > 0 && usual > 0 ? (own->counts + prior_counts) / exposure : 0;
    if (!lone && own->exposure > 0 && usual > 0)
        ret->rate = fmax(ret->rate, fmin(usual, RATE_LEAST / own->exposure));
    double cv = m->season_cv[s];
    /* relative variances add: 1 / shape of a gamma's rate, and the season's */
    ret->rate_shape = 1 / (1 / fmax(shape, 0.5) + cv * cv);
    double due[WEEK_SPAN];
    due_of(m, s, ret, due);
    for (int i = 0; i < WEEK_SPAN; i++)
        ret->expected[i] = ret->rate * due[i];
}

double week_expect_on_sale(const struct week_model *model, const struct week_level *level,
                           int symptom)
{
    double due[WEEK_SPAN];
    on_sale(level->units, 0, model->lag[symptom].share, due, WEEK_SPAN);
    return due[WEEK_SPAN - 1] * model->data->passed;
}

/* Of a store that only callers name no dispatch tells what it got: its part of all is as usual. */
static const double *units_of(const struct week_data *d, const struct week_level *level)
{
    bool any = !level->cut || !(level->cut->flags & CUT_SENT);
    for (int i = 0; i < WEEK_SPAN && !any; i++)
        any = level->units[i] > 0;
    return any ? level->units : d->levels[0].units;
}

void week_expect_model_factor(const struct week_model *model, const struct cut *cut, int symptom,
                              struct week_series *ret)
{
    const struct week_data *d = model->data;
    struct week_factor factor = {.many = cut && cut->flags & CUT_MANY};
    for (size_t i = 0; i < d->level_count; i++) {
        const struct week_level *level = &d->levels[i];
        double due[WEEK_SPAN];
        if (level->cut != cut)
            continue;
        on_sale(units_of(d, level), 0, model->lag[symptom].share, ret[i].on_sale, WEEK_SPAN);
        ret[i].on_sale[WEEK_SPAN - 1] *= d->passed;
        due_of(model, symptom, &ret[i], due);
        ret[i].base = fit_level(model, level->counts[symptom], due);
        factor.all.counts += ret[i].base.counts;
        factor.all.exposure += ret[i].base.exposure;
        factor.all.chi_square += ret[i].base.chi_square;
        factor.all.df += ret[i].base.df;
        factor.levels++;
    }
    factor.alike = fit_alike(model, cut, &factor, ret);
    for (size_t i = 0; i < d->level_count; i++) {
        if (d->levels[i].cut == cut)
            set_series(model, symptom, &factor, &ret[i]);
    }
}

void week_expect_beside(const struct week_model *model, int symptom, const struct week_series *all,
                        const struct week_level *level, struct week_series *series)
{
    const double *counts = model->data->levels[0].counts[symptom];
    double past = all->base.counts - series->base.counts;
    double units = all->base.exposure - series->base.exposure;
    double phi = spread_of(&all->base), lasting = lasting_of(model, symptom, phi);
    struct shrink_gamma times = {WANDER_SHAPE, WANDER_SHAPE};
    if (past <= 0 || units <= 0)
        return;
    for (int i = model->baseline; i < WEEK_SPAN; i++) {
        double due = fmax(0, all->on_sale[i] - series->on_sale[i]);
        double usual = past / units * due * model->season[symptom][i];
        double came = fmax(0, counts[i] - level->counts[symptom][i]);
        double mean = usual * shrink_mean(times);
        /* what stands out is a trouble elsewhere, and they tell no more than is known of them */
        double weight = mean > 0 ? weight_of(came, mean, phi) : 1;
        weight /= lasting * (1 + usual / past);
        times = shrink_posterior(times, weight * came, weight * usual);
        series->expected[i] *= fmax(1, shrink_mean(times));
    }
    series->rate_shape = 1 / (1 / series->rate_shape + 1 / times.shape);
}
