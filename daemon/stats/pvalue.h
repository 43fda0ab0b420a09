/* Exact p-values of a discrete statistic, in every definition that people mean by "p".
 *
 * "Two-sided" has two definitions in use and they differ in print: the sum of all outcomes no
 * likelier than the one seen (`two_sided`), and twice the smaller tail (`doubled`). The mid-P
 * variants count half of the outcome seen (H. O. Lancaster, "Significance tests in discrete
 * distributions", 1961): less conservative for small counts. */
#ifndef ODDLOAF_STATS_PVALUE_H
#define ODDLOAF_STATS_PVALUE_H

struct pvalue {
    double less;         /* P(X <= x) */
    double greater;      /* P(X >= x) */
    double two_sided;    /* sum of P(k) over outcomes with P(k) <= P(x) (1 + 1e-7) */
    double doubled;      /* 2 min(less, greater), at most 1 */
    double midp_less;    /* P(X < x) + P(x)/2 */
    double midp_greater; /* P(X > x) + P(x)/2 */
    double midp_doubled; /* 2 min(midp_less, midp_greater), at most 1 */
};

/* Probabilities that differ by less than this ratio count as tied: sums over "no likelier"
 * outcomes must not hang on the last bit of a floating-point product. */
#define PVALUE_TIE 1e-7

/* Fills every field but `two_sided` from the three masses below, at and above the outcome. */
void pvalue_from_masses(double below, double at, double above, struct pvalue *ret);

#endif
