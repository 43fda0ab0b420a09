#include "patterns/effect.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "patterns/effect_preserving.h"
#include "patterns/week_expect.h"
#include "stats/poisson.h"
#include "store/action.h"
#include "store/pattern.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DAYS_MOST = 2 * 366 };

/* Reports that must be in before anything but "too early" is said of a difference not seen. */
#define SHARE_COMPLETE 0.9
/* Changes that matter: a corrective action is hoped to halve complaints at least. While the
 * interval holds one of them, "no difference" would be said of actions that worked. */
#define HALVED 0.5
#define DOUBLED 2.0

struct side {
    int32_t from_day, to_day; /* of packing, both included; to before from: none yet */
    double complaints, units;
    double exposure; /* units times the share of their complaints that are in */
    double daily[DAYS_MOST], daily_exposure[DAYS_MOST];
};

struct plan {
    struct store *store;
    const struct tz *tz; /* the action's plant's */
    const struct action_row *action;
    char cause[64];                 /* the action's, or that of its place */
    struct when_span before, after; /* of packing */
    int64_t now_ms;
    int32_t first_day;
    int days; /* to each side */
    struct week_lag lag[WEEK_SYMPTOMS];
    double weight[WEEK_SYMPTOMS]; /* of each symptom among the complaints looked at */
    bool lag_known;
};

/* ---- counting ---- */

/* The curve is of whole weeks of packing, age counted from the week's start, of which a lot is on
 * average half a week: a lot of age a is where its curve is at a + 1/2. In the
 * first half week the curve has no value to give: a parabola from 0 that meets it at 1/2. */
static double lot_share(const struct delay_curve *curve, double age)
{
    if (age < 0.5)
        return delay_share(curve, 1) * 4 * age * age;
    return age + 0.5 >= WEEK_DELAYS ? 1 : delay_share(curve, age + 0.5);
}

static double share_in(const struct plan *p, int64_t packed_ms)
{
    double age = (double)(p->now_ms - packed_ms) / (7.0 * (double)WHEN_DAY_MS), share = 0;
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        share += p->weight[s] * lot_share(&p->lag[s].curve, age > 0 ? age : 0);
    return share;
}

struct count {
    const struct plan *plan;
    struct side *side;
};

static int add_lot(void *arg, const struct pattern_lot *row)
{
    struct count *c = arg;
    int32_t day = tz_day(c->plan->tz, row->packed_from_ms) - c->plan->first_day;
    double exposure = (double)row->units * share_in(c->plan, row->packed_from_ms);
    c->side->units += (double)row->units;
    c->side->complaints += row->complaints;
    c->side->exposure += exposure;
    if (day >= 0 && day < DAYS_MOST) {
        c->side->daily[day] += row->complaints;
        c->side->daily_exposure[day] += exposure;
    }
    return 0;
}

static int read_side(const struct plan *p, bool elsewhere, struct when_span packed,
                     struct side *ret, struct error *err)
{
    const struct when_span known = when_span_until(packed, p->now_ms);
    struct count count = {p, ret};
    const struct pattern_scope scope = {.plant = p->action->plant,
                                        .line = elsewhere ? "" : p->action->line,
                                        .not_line = elsewhere ? p->action->line : "",
                                        .symptom = p->action->symptom,
                                        .cause = p->cause,
                                        .span = known,
                                        .until_ms = p->now_ms};
    memset(ret, 0, sizeof *ret);
    ret->from_day = tz_day(p->tz, packed.from_ms);
    ret->to_day = tz_day(p->tz, known.to_ms - 1);
    return pattern_lots(p->store, &scope, add_lot, &count, err);
}

/* How complaints lag, of the symptoms in the proportion they have come in. */
static int read_lags(struct plan *p, struct error *err)
{
    struct week_data *data = NULL;
    double total = 0;
    const struct week_data_query query = {iso_week_of(tz_day(p->tz, p->now_ms)), p->now_ms, 0,
                                          p->action->plant};
    int rc = week_data_read(p->store, p->tz, &query, &data, err);
    if (rc)
        return rc;
    week_expect_lags_make(data, data->now_week, p->lag);
    for (int s = 0; s < WEEK_SYMPTOMS; s++) {
        if (p->action->symptom[0] && s != symptom_of(p->action->symptom))
            continue;
        p->weight[s] = 1e-9; /* without any complaint, all alike */
        for (int i = 0; i < WEEK_HISTORY; i++)
            p->weight[s] += data->made_all[s][i];
        total += p->weight[s];
        p->lag_known |= p->lag[s].known;
    }
    for (int s = 0; s < WEEK_SYMPTOMS && total > 0; s++)
        p->weight[s] /= total;
    week_data_free(data);
    return 0;
}

/* ---- judging ---- */

/* Days vary more than a Poisson count if bad lots come in spells; then fewer complaints speak. */
static double spread(const struct side *before, const struct side *after)
{
    double chi_square = 0, df = 0;
    const struct side *const sides[] = {before, after};
    for (int i = 0; i < 2; i++) {
        double rate = sides[i]->exposure > 0 ? sides[i]->complaints / sides[i]->exposure : 0;
        double days = 0;
        for (int d = 0; d < DAYS_MOST && rate > 0; d++) {
            double expected = rate * sides[i]->daily_exposure[d];
            if (expected <= 0)
                continue;
            double off = sides[i]->daily[d] - expected;
            chi_square += off * off / expected;
            days++;
        }
        df += days > 0 ? days - 1 : 0;
    }
    return df > 0 ? fmax(1, chi_square / df) : 1;
}

struct judgement {
    bool known;
    double spread, share; /* of the reports about the time after that are in */
    struct poisson_ratio plain, widened;
};

static struct judgement judge(const struct side *before, const struct side *after)
{
    struct judgement j = {.spread = spread(before, after),
                          .share = after->units > 0 ? after->exposure / after->units : 0};
    long x1 = lround(after->complaints), x2 = lround(before->complaints);
    if (before->exposure <= 0 || after->exposure <= 0 || x1 + x2 == 0)
        return j;
    j.known = !poisson_compare(x1, after->exposure, x2, before->exposure, 0.95, &j.plain) &&
              !poisson_compare(lround((double)x1 / j.spread), after->exposure,
                               lround((double)x2 / j.spread), before->exposure, 0.95, &j.widened);
    return j;
}

enum verdict { TOO_EARLY, TOO_FEW, FEWER, MORE, NO_DIFFERENCE };
static const char *const VERDICTS[] = {
    [TOO_EARLY] = "too early to tell",      [TOO_FEW] = "too few to tell",
    [FEWER] = "fewer complaints",           [MORE] = "more complaints",
    [NO_DIFFERENCE] = "no difference seen",
};

static enum verdict verdict_of(const struct plan *p, const struct judgement *j)
{
    if (!j->known || j->share < DELAY_TOO_EARLY)
        return TOO_EARLY;
    if (j->widened.exact.high < 1)
        return FEWER;
    if (j->widened.exact.low > 1)
        return MORE;
    if (j->widened.exact.low > HALVED && j->widened.exact.high < DOUBLED)
        return NO_DIFFERENCE;
    return p->now_ms >= p->after.to_ms && j->share >= SHARE_COMPLETE ? TOO_FEW : TOO_EARLY;
}

/* ---- JSON ---- */

static json_t *number(double x)
{
    return isfinite(x) ? json_real(x) : json_null();
}

static int days_of(const struct side *s)
{
    return s->to_day - s->from_day + 1;
}

static json_t *side_json(const struct side *s)
{
    struct interval limits = poisson_limits(s->complaints, 0.95);
    double scale = s->exposure > 0 ? 1e6 / s->exposure : NAN;
    json_t *out = json_pack("{s:f, s:f, s:o, s:o, s:o, s:o}", "complaints",
                            round(s->complaints * 100) / 100, "units", s->units, "share_in",
                            number(s->units > 0 ? s->exposure / s->units : NAN), "per_million",
                            number(s->complaints * scale), "low", number(limits.low * scale),
                            "high", number(limits.high * scale));
    if (days_of(s) > 0) {
        char day[16];
        json_object_set_new(out, "from", json_string(day_format(s->from_day, day)));
        json_object_set_new(out, "to", json_string(day_format(s->to_day, day)));
    }
    return out;
}

static void add_days(struct text_buffer *b, const struct side *s)
{
    char from[16], to[16];
    int days = days_of(s);
    text_appendf(b, "%s to %s (%d day%s", day_format(s->from_day, from), day_format(s->to_day, to),
                 days, days == 1 ? "" : "s");
}

/* Which days of packing were compared. */
static char *compared(const struct side *before, const struct side *after, int days)
{
    struct text_buffer b = {0};
    text_append(&b, "Lots packed ");
    add_days(&b, before);
    text_append(&b, ") beside ");
    if (days_of(after) <= 0) {
        text_append(&b, "none since the action.");
        return text_take(&b);
    }
    text_append(&b, "those packed ");
    add_days(&b, after);
    if (days_of(after) < days)
        text_appendf(&b, " of %d so far", days);
    text_append(&b, ").");
    return text_take(&b);
}

enum { WORDS = 64 };

static const char *amount(double complaints, char buffer[static 24])
{
    snprintf(buffer, 24, "%.3g", round(complaints * 10) / 10);
    return complaints <= 0 ? "none" : buffer;
}

/* Where a ratio is none, or nothing at all: what there was, in the fewest words, in `buffer`. NULL
 * if its number tells more. */
static const char *ratio_words(const struct side *before, const struct side *after,
                               char buffer[static WORDS])
{
    char n[2][24];
    if (before->units <= 0)
        return "nothing packed before";
    if (after->units <= 0)
        return "nothing packed after";
    if (before->complaints > 0 && after->complaints > 0)
        return NULL;
    snprintf(buffer, WORDS, "%s before, %s after", amount(before->complaints, n[0]),
             amount(after->complaints, n[1]));
    return buffer;
}

/* A ratio without end is null, and "word" says why. */
static json_t *ratio_json(const struct poisson_ratio *r, const char *word)
{
    return json_pack("{s:o, s:o, s:o, s:s*}", "ratio", number(r->ratio), "low",
                     number(r->exact.low), "high", number(r->exact.high), "word", word);
}

static json_t *ratio_of(const struct side *before, const struct side *after,
                        const struct judgement *j)
{
    const struct poisson_ratio none = {.ratio = NAN, .exact = {NAN, NAN}};
    char words[WORDS];
    const char *word = ratio_words(before, after, words);
    if (!word && !(j->known && isfinite(j->widened.ratio)))
        word = VERDICTS[TOO_FEW];
    return ratio_json(j->known ? &j->widened : &none, word);
}

/* Two digits that count, written plainly: 0.31, 14, 210. */
static char *two_digits(double x, char out[static 24])
{
    snprintf(out, 24, x < 100 ? "%.2g" : "%.0f", x < 100 ? x : 10 * round(x / 10));
    return out;
}

/* "0.4 to 1.3 times", "at least 2 times", "at most 0.3 times", "anything". */
static void add_range(struct text_buffer *b, const struct interval *limits)
{
    char low[24], high[24];
    if (limits->low > 0 && isfinite(limits->high))
        text_appendf(b, "%s to %s times", two_digits(limits->low, low),
                     two_digits(limits->high, high));
    else if (limits->low > 0)
        text_appendf(b, "at least %s times", two_digits(limits->low, low));
    else if (isfinite(limits->high))
        text_appendf(b, "at most %s times", two_digits(limits->high, high));
    else
        text_append(b, "any number of times");
}

static char *say(enum verdict verdict, const struct judgement *j, const struct side *before,
                 const struct side *after)
{
    struct text_buffer b = {0};
    char n[2][24];
    char ratio[24];
    text_appendf(&b, "%c%s: ", VERDICTS[verdict][0] - 'a' + 'A', VERDICTS[verdict] + 1);
    if (!j->known) {
        text_append(&b, "there is nothing to compare yet.");
        return text_take(&b);
    }
    text_appendf(&b, "%s before, %s after; the rate after the action is ",
                 amount(before->complaints, n[0]), amount(after->complaints, n[1]));
    if (isfinite(j->widened.ratio) && j->widened.ratio > 0)
        text_appendf(&b, "%s times that before it (95 %%: ", two_digits(j->widened.ratio, ratio));
    add_range(&b, &j->widened.exact);
    text_append(&b, isfinite(j->widened.ratio) && j->widened.ratio > 0 ? ")" : " that before it");
    if (verdict == TOO_EARLY)
        text_appendf(&b, ", and %.0f %% of the complaints about what was made since are in",
                     100 * j->share);
    if (verdict == TOO_EARLY || verdict == TOO_FEW)
        text_append(&b, ": a halving or a doubling cannot be told from no change");
    text_append(&b, ".");
    return text_take(&b);
}

static json_t *effect_json(const struct plan *p, const struct side *before,
                           const struct side *after)
{
    char date[16];
    const struct action_row *a = p->action;
    struct judgement j = judge(before, after);
    enum verdict verdict = verdict_of(p, &j);
    char *text = say(verdict, &j, before, after), *days = compared(before, after, p->days);
    json_t *out = json_pack(
        "{s:I, s:s, s:s, s:o, s:o, s:s, s:s, s:s, s:s}", "action", (json_int_t)a->id, "at",
        day_format(tz_day(p->tz, a->at_ms), date), "note", a->note, "before", side_json(before),
        "after", side_json(after), "verdict", VERDICTS[verdict], "text", text, "compared", days,
        "caution",
        "Lots before and after differ in more than the action. Actions follow bad spells, so part "
        "of a fall would have come by itself.");
    free(text);
    free(days);
    json_object_set_new(out, "ratio", ratio_of(before, after, &j));
    if (j.known) {
        json_object_set_new(out, "p", json_real(j.widened.p.midp_doubled));
        json_object_set_new(out, "spread", json_real(j.spread));
        char words[WORDS];
        json_t *plain = ratio_json(&j.plain, ratio_words(before, after, words));
        json_object_set_new(plain, "p", json_real(j.plain.p.two_sided));
        json_object_set_new(out, "without_spread", plain);
    }
    return out;
}

/* The same days on the other lines of the plant: what changed there changed for another reason. */
static int add_elsewhere(const struct plan *p, json_t *out, struct error *err)
{
    struct side *sides = xcalloc(2, sizeof *sides);
    int rc = read_side(p, true, p->before, &sides[0], err);
    if (!rc)
        rc = read_side(p, true, p->after, &sides[1], err);
    if (!rc && sides[0].units > 0 && sides[1].units > 0) {
        struct judgement j = judge(&sides[0], &sides[1]);
        json_t *elsewhere =
            json_pack("{s:o, s:o}", "before", side_json(&sides[0]), "after", side_json(&sides[1]));
        json_object_set_new(elsewhere, "ratio", ratio_of(&sides[0], &sides[1], &j));
        json_object_set_new(out, "elsewhere", elsewhere);
    }
    free(sides);
    return rc;
}

/* What they were preserved with, where that moved. */
static int add_preserving(const struct plan *p, const struct side sides[2], json_t *out,
                          struct error *err)
{
    const struct effect_preserving query = {{p->action->plant, p->action->line},
                                            p->before,
                                            when_span_until(p->after, p->now_ms),
                                            sides[0].units,
                                            sides[1].units};
    json_t *moved = NULL;
    int rc = effect_preserving_json(p->store, &query, &moved, err);
    if (!rc && json_array_size(moved))
        json_object_set(out, "preserving", moved);
    json_decref(moved);
    return rc;
}

int effect_report(struct store *store, const struct tz *tz, const struct effect_query *query,
                  json_t **ret, struct error *err)
{
    struct action_row action;
    int rc = action_get(store, query->action_id, &action, err);
    if (rc)
        return rc;
    tz = tz_of(tz, action.plant);
    int32_t day = tz_day(tz, action.at_ms), first_day = day - query->days;
    struct plan *p = xcalloc(1, sizeof *p);
    struct side *sides = xcalloc(2, sizeof *sides);
    *p = (struct plan){.store = store,
                       .tz = tz,
                       .action = &action,
                       .before = {tz_day_start_ms(tz, first_day), action.at_ms},
                       .after = {action.at_ms, tz_day_start_ms(tz, day + query->days)},
                       .now_ms = query->now_ms,
                       .first_day = first_day,
                       .days = query->days};
    text_clip(action.cause, p->cause, sizeof p->cause);
    if (!p->cause[0] && action.place[0])
        week_data_cause_of_place(action.place, p->cause, sizeof p->cause);
    rc = read_lags(p, err);
    if (!rc)
        rc = read_side(p, false, p->before, &sides[0], err);
    if (!rc)
        rc = read_side(p, false, p->after, &sides[1], err);
    if (!rc) {
        json_t *out = effect_json(p, &sides[0], &sides[1]);
        rc = add_preserving(p, sides, out, err);
        if (!rc && action.line[0])
            rc = add_elsewhere(p, out, err);
        if (rc)
            json_decref(out);
        else
            *ret = out;
    }
    free(sides);
    free(p);
    return rc;
}
