#include "stats/evidence.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"

double evidence_log_sum(const double *log_weights, size_t n)
{
    double top = -INFINITY;
    for (size_t i = 0; i < n; i++)
        if (isnan(log_weights[i]) || log_weights[i] > top)
            top = log_weights[i];
    if (!isfinite(top))
        return top;
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += exp(log_weights[i] - top);
    return top + log(sum);
}

int evidence_normalise(const double *log_weights, size_t n, double *ret_probabilities,
                       double *ret_log_evidence)
{
    assert(ret_probabilities);
    double total = evidence_log_sum(log_weights, n);
    if (!isfinite(total))
        return ERROR_INVALID;
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += ret_probabilities[i] = exp(log_weights[i] - total);
    assert(sum > 0);
    for (size_t i = 0; i < n; i++) /* the last rounding: sums to 1 as printed */
        ret_probabilities[i] /= sum;
    if (ret_log_evidence)
        *ret_log_evidence = total;
    return 0;
}

/* Sum of one cause's answers, or -1 if one of them is no probability. */
static double column_sum(const double *likelihood, size_t causes, size_t answers, size_t cause)
{
    double sum = 0;
    for (size_t a = 0; a < answers; a++) {
        double p = likelihood[a * causes + cause];
        if (!(p >= 0) || !isfinite(p))
            return -1.0;
        sum += p;
    }
    return sum;
}

/* Sum over answers of P(answer, cause) log2 [P(answer | cause) / P(answer)]: no differences of
 * entropies, so small gains keep their digits. */
/* sum of joint log2 P(answer | cause) over the causes, of one answer; *ret_answer: its probability.
 * Causes that no rule speaks of have the same share: one logarithm for a run of them. */
static double information(const double *prior, const double *given, size_t causes,
                          double *ret_answer)
{
    double answer = 0, inner = 0, last = 1, log_last = 0;
    for (size_t c = 0; c < causes; c++) {
        double joint = prior[c] * given[c];
        answer += joint;
        if (!(joint > 0))
            continue;
        if (given[c] != last) {
            last = given[c];
            log_last = log2(last);
        }
        inner += joint * log_last;
    }
    *ret_answer = answer;
    return inner;
}

int evidence_gain_bits(const double *prior, size_t causes, const double *likelihood, size_t answers,
                       double *ret)
{
    double total = 0, gain = 0;
    double *sums = xcalloc(3 * causes + 1, sizeof *sums);
    double *share = sums + causes, *given = share + causes;
    bool sound = true;
    for (size_t c = 0; c < causes; c++) {
        sums[c] = column_sum(likelihood, causes, answers, c);
        sound = sound && prior[c] >= 0 && sums[c] > 0;
        total += prior[c];
    }
    sound = sound && total > 0 && isfinite(total);
    for (size_t c = 0; c < causes && sound; c++)
        share[c] = prior[c] / total;
    for (size_t a = 0; a < answers && sound; a++) {
        double answer;
        for (size_t c = 0; c < causes; c++)
            given[c] = likelihood[a * causes + c] / sums[c];
        double inner = information(share, given, causes, &answer);
        assert(answer >= 0 && answer <= 1 + 1e-9);
        gain += answer > 0 ? inner - answer * log2(answer) : 0.0;
    }
    free(sums);
    if (!sound)
        return ERROR_INVALID;
    *ret = fmax(0.0, gain);
    return 0;
}

int evidence_gain_first(const double *prior, size_t causes, const double *likelihood,
                        size_t answers, double *ret)
{
    double before = 0, after = 0;
    bool sound = true;
    double *sums = xcalloc(causes + 1, sizeof *sums);
    for (size_t c = 0; c < causes; c++) {
        sums[c] = column_sum(likelihood, causes, answers, c);
        sound = sound && prior[c] >= 0 && isfinite(prior[c]) && sums[c] > 0;
        before = fmax(before, prior[c]);
    }
    for (size_t a = 0; a < answers && sound; a++) {
        double first = 0;
        for (size_t c = 0; c < causes; c++)
            first = fmax(first, prior[c] * (likelihood[a * causes + c] / sums[c]));
        after += first;
    }
    free(sums);
    if (!sound)
        return ERROR_INVALID;
    /* the same cause in front whatever is answered: what rounding leaves of that is nothing */
    *ret = after - before > 1e-12 * before ? after - before : 0;
    return 0;
}
