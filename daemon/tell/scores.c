/* How good the rankings were, now that verdicts say what it was. */
#include "base/jsonx.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "stats/score.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BINS = 10 };
#define LOG_FLOOR 1e-4 /* a stated 0 that comes true would cost infinity */

struct scoring {
    double *said; /* every statement "this cause, p" of every ranking */
    int *was;
    size_t count;
    double *top_said; /* the first cause's only */
    int *top_was;
    size_t cases;
    size_t top1, top3, floored;
    double log_sum, brier_sum;
};

static void add_statement(struct scoring *scoring, double p, int y)
{
    size_t n = scoring->count + 1;
    scoring->said = xrealloc(scoring->said, n * sizeof *scoring->said);
    scoring->was = xrealloc(scoring->was, n * sizeof *scoring->was);
    scoring->said[scoring->count] = p;
    scoring->was[scoring->count++] = y;
}

static void add_top(struct scoring *scoring, double p, int y)
{
    size_t n = scoring->cases + 1;
    scoring->top_said = xrealloc(scoring->top_said, n * sizeof *scoring->top_said);
    scoring->top_was = xrealloc(scoring->top_was, n * sizeof *scoring->top_was);
    scoring->top_said[scoring->cases] = p;
    scoring->top_was[scoring->cases++] = y;
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
        add_statement(scoring, p[i], is);
    }
    /* a verdict that the ranking did not have among its causes was given probability 0 */
    size_t causes = confirmed == n ? n + 1 : n;
    size_t place = score_case_rank(p, causes, confirmed);
    scoring->top1 += place <= 1 && confirmed < n;
    scoring->top3 += place <= 3 && confirmed < n;
    scoring->log_sum += score_case_log(p, causes, confirmed, LOG_FLOOR, &scoring->floored);
    scoring->brier_sum += score_case_brier(p, causes, confirmed);
    add_top(scoring, p[0], confirmed == 0);
    free(p);
}

static int take_verdict(void *arg, const struct verdict_row *row)
{
    if (row->said_count) /* else settled before it was ranked */
        score_ranking(arg, row);
    return 0;
}

static json_t *calibration_json(const double *said, const int *was, size_t n, double *ret_error)
{
    struct score_bin bins[BINS];
    json_t *list = json_array();
    *ret_error = NAN;
    if (n == 0 || score_calibration(said, was, n, BINS, bins))
        return list;
    *ret_error = score_calibration_error(bins, BINS);
    for (int i = 0; i < BINS; i++)
        if (bins[i].n)
            json_array_append_new(
                list, json_pack("{s:o, s:o, s:I}", "said", jsonx_rounded(bins[i].said, 4), "was",
                                jsonx_rounded(bins[i].was, 4), "n", (json_int_t)bins[i].n));
    return list;
}

static json_t *scores_json(const struct scoring *scoring)
{
    struct score_brier brier = {NAN, NAN, NAN, NAN, NAN, NAN};
    double n = (double)scoring->cases, error, top_error;
    if (scoring->count)
        score_brier(scoring->said, scoring->was, scoring->count, BINS, &brier);
    json_t *calibration = calibration_json(scoring->said, scoring->was, scoring->count, &error);
    json_t *top = calibration_json(scoring->top_said, scoring->top_was, scoring->cases, &top_error);
    return json_pack(
        "{s:I, s:o, s:o, s:o, s:o, s:I, s:{s:o, s:o, s:o, s:o}, s:o, s:o, s:o, s:o}", "verdicts",
        (json_int_t)scoring->cases, "top1", jsonx_rounded((double)scoring->top1 / n, 4), "top3",
        jsonx_rounded((double)scoring->top3 / n, 4), "log_score",
        jsonx_rounded(scoring->log_sum / n, 4), "case_brier",
        jsonx_rounded(scoring->brier_sum / n, 4), "floored", (json_int_t)scoring->floored, "brier",
        "score", jsonx_rounded(brier.score, 6), "reliability", jsonx_rounded(brier.reliability, 6),
        "resolution", jsonx_rounded(brier.resolution, 6), "uncertainty",
        jsonx_rounded(brier.uncertainty, 6), "calibration", calibration, "calibration_error",
        jsonx_rounded(error, 4), "top_calibration", top, "top_calibration_error",
        jsonx_rounded(top_error, 4));
}

int tell_scores(struct triage *triage, struct store *store, struct when_span span, json_t **ret,
                struct error *err)
{
    struct scoring scoring = {0};
    int rc = verdict_between(store, span, take_verdict, &scoring, err);
    json_t *proposals = NULL, *stages = NULL;
    if (!rc)
        rc = tell_proposals(triage, store, span.to_ms, &proposals, err);
    if (!rc)
        rc = tell_stages(store, span, &stages, err);
    if (!rc) {
        *ret = scores_json(&scoring);
        json_object_set_new(*ret, "proposals", proposals);
        json_object_set_new(*ret, "stages", stages);
    } else {
        json_decref(proposals);
    }
    free(scoring.said);
    free(scoring.was);
    free(scoring.top_said);
    free(scoring.top_was);
    return rc;
}
