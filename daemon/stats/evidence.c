#include "stats/evidence.h"

#include <assert.h>
#include <math.h>

#include "base/error.h"

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
int evidence_gain_bits(const double *prior, size_t causes, const double *likelihood, size_t answers,
                       double *ret)
{
    double total = 0;
    for (size_t c = 0; c < causes; c++) {
        if (!(prior[c] >= 0) || !(column_sum(likelihood, causes, answers, c) > 0))
            return ERROR_INVALID;
        total += prior[c];
    }
    if (!(total > 0) || !isfinite(total))
        return ERROR_INVALID;
    double gain = 0;
    for (size_t a = 0; a < answers; a++) {
        double answer = 0, inner = 0;
        for (size_t c = 0; c < causes; c++) {
            double given = likelihood[a * causes + c] / column_sum(likelihood, causes, answers, c);
            double joint = prior[c] / total * given;
            answer += joint;
            inner += joint > 0 ? joint * log2(given) : 0.0;
        }
        assert(answer >= 0 && answer <= 1 + 1e-9);
        gain += answer > 0 ? inner - answer * log2(answer) : 0.0;
    }
    *ret = fmax(0.0, gain);
    return 0;
}
