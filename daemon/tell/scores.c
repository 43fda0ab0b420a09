/* How good the rankings were, now that verdicts say what it was. */
#include "base/jsonx.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "rank/learning.h"
#include "stats/proportion.h"
#include "stats/score.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BINS = 10 };
#define LOG_FLOOR 1e-4 /* a stated 0 that comes true would cost infinity */

/* What was said to be so with a probability, and whether it was. */
struct statements {
    double *said;
    int *was;
    size_t count;
};

struct scoring {
    const char *plant;     /* verdict_is_of() */
    struct statements all; /* every cause of every ranking */
    struct statements top; /* the first cause's only: one a case */
    size_t top1, top3, floored;
    double log_sum, brier_sum;
};

static void add_statement(struct statements *to, double p, int y)
{
    size_t n = to->count + 1;
    to->said = xrealloc(to->said, n * sizeof *to->said);
    to->was = xrealloc(to->was, n * sizeof *to->was);
    to->said[to->count] = p;
    to->was[to->count++] = y;
}

static void free_statements(struct statements *of)
{
    free(of->said);
    free(of->was);
}

static void score_ranking(struct scoring *scoring, const struct verdict_row *row)
{
    size_t n = (size_t)row->said_count, confirmed = n;
    double *p = xcalloc(n + 2, sizeof *p);
    for (size_t i = 0; i < n; i++) {
        bool is = strcmp(row->said[i].cause, row->cause) == 0;
        p[i] = row->said[i].probability;
        if (is)
            confirmed = i;
        add_statement(&scoring->all, p[i], is);
    }
    /* a verdict that the ranking did not have among its causes was given probability 0 */
    size_t causes = confirmed == n ? n + 1 : n;
    size_t place = score_case_rank(p, causes, confirmed);
    scoring->top1 += place <= 1 && confirmed < n;
    scoring->top3 += place <= 3 && confirmed < n;
    scoring->log_sum += score_case_log(p, causes, confirmed, LOG_FLOOR, &scoring->floored);
    scoring->brier_sum += score_case_brier(p, causes, confirmed);
    add_statement(&scoring->top, p[0], confirmed == 0);
    free(p);
}

static int take_verdict(void *arg, const struct verdict_row *row)
{
    struct scoring *scoring = arg;
    if (row->said_count && /* else settled before it was ranked */
        verdict_is_of(row, scoring->plant))
        score_ranking(scoring, row);
    return 0;
}

static json_t *calibration_json(const struct statements *of, double *ret_error)
{
    struct score_bin bins[BINS];
    json_t *list = json_array();
    *ret_error = NAN;
    if (of->count == 0 || score_calibration(of->said, of->was, of->count, BINS, bins))
        return list;
    *ret_error = score_calibration_error(bins, BINS);
    for (int i = 0; i < BINS; i++)
        if (bins[i].n)
            json_array_append_new(
                list, json_pack("{s:o, s:o, s:I}", "said", jsonx_rounded(bins[i].said, 4), "was",
                                jsonx_rounded(bins[i].was, 4), "n", (json_int_t)bins[i].n));
    return list;
}

/* Null where there are no verdicts. */
static json_t *range_json(size_t x, double n)
{
    struct interval limits = proportion_wilson((double)x, n, 0.95);
    return n > 0 ? json_pack("{s:o, s:o}", "low", jsonx_rounded(limits.low, 4), "high",
                             jsonx_rounded(limits.high, 4))
                 : json_null();
}

static json_t *scores_json(const struct scoring *scoring)
{
    struct score_brier brier = {NAN, NAN, NAN, NAN, NAN, NAN};
    const struct statements *all = &scoring->all;
    double n = (double)scoring->top.count, error, top_error;
    if (all->count)
        score_brier(all->said, all->was, all->count, BINS, &brier);
    json_t *calibration = calibration_json(all, &error);
    json_t *top = calibration_json(&scoring->top, &top_error);
    return json_pack(
        "{s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:I, s:{s:o, s:o, s:o, s:o}, s:o, s:o, s:o, s:o}",
        "verdicts", (json_int_t)scoring->top.count, "top1",
        jsonx_rounded((double)scoring->top1 / n, 4), "top3",
        jsonx_rounded((double)scoring->top3 / n, 4), "top1_range", range_json(scoring->top1, n),
        "top3_range", range_json(scoring->top3, n), "log_score",
        jsonx_rounded(scoring->log_sum / n, 4), "case_brier",
        jsonx_rounded(scoring->brier_sum / n, 4), "floored", (json_int_t)scoring->floored, "brier",
        "score", jsonx_rounded(brier.score, 6), "reliability", jsonx_rounded(brier.reliability, 6),
        "resolution", jsonx_rounded(brier.resolution, 6), "uncertainty",
        jsonx_rounded(brier.uncertainty, 6), "calibration", calibration, "calibration_error",
        jsonx_rounded(error, 4), "top_calibration", top, "top_calibration_error",
        jsonx_rounded(top_error, 4));
}

/* Whether rankings learn from verdicts nearby, who decided so, and what it is worth here: over the
 * same cases as all else that is told, each ranked without and with it. */
static int learning_json(struct triage *triage, struct store *store, const struct stage_of *of,
                         json_t **ret, struct error *err)
{
    struct case_rank_learned learned;
    size_t i;
    const json_t *one;
    int rc = case_rank_learned(triage, store, of->span, of->plant, &learned, err);
    if (rc)
        return rc;
    json_t *switches = json_array();
    json_array_foreach(json_object_get(learning_kept(triage), "switches"), i, one)
    {
        json_array_append_new(
            switches, json_pack("{s:O, s:O, s:O}", "on", json_object_get(one, "on"), "by",
                                json_object_get(one, "by"), "at", json_object_get(one, "at")));
    }
    double n = (double)learned.cases; /* 0: NAN, which is told as null */
    *ret = json_pack("{s:b, s:o, s:i, s:o, s:o}", "on", learning_is_on(triage), "switches",
                     switches, "cases", learned.cases, "top1_without",
                     jsonx_rounded(learned.right_without / n, 4), "top1_with",
                     jsonx_rounded(learned.right_with / n, 4));
    return 0;
}

int tell_scores(struct triage *triage, struct store *store, const struct stage_of *of, json_t **ret,
                struct error *err)
{
    struct scoring scoring = {.plant = of->plant};
    int rc = verdict_between(store, of->span, take_verdict, &scoring, err);
    json_t *proposals = NULL, *stages = NULL, *learning = NULL;
    if (!rc)
        rc = tell_proposals(triage, store, of, &proposals, err);
    if (!rc)
        rc = tell_stages(store, of, &stages, err);
    if (!rc)
        rc = learning_json(triage, store, of, &learning, err);
    if (!rc) {
        *ret = scores_json(&scoring);
        json_object_set_new(*ret, "proposals", proposals);
        json_object_set_new(*ret, "stages", stages);
        json_object_set_new(*ret, "learning", learning);
    } else {
        json_decref(proposals);
        json_decref(stages);
    }
    free_statements(&scoring.all);
    free_statements(&scoring.top);
    return rc;
}
