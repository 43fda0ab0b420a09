/* Company evidence: complaints share causes. For each factor of a lot, how many complaints of the
 * symptom the other lots that share it have, against how many were to be expected, given units and
 * the share of their reporting time that has passed.
 *
 * Bayes factor of an excess: with theta the rate against the usual, P(n | factor guilty) over
 * P(n | not), theta ~ Gamma(2, mean 5) against Gamma(8, mean 1) (ordinary variation between
 * lots); both marginals are negative binomial. Fewer complaints than at the ratio's turning point
 * say no more than it does: a raised rate is never "far below the usual". Where a lot has several
 * levels of a factor (two flour lots), the mean of their Bayes factors: one of them is guilty, any
 * as likely. Nobody knows when a trouble on a line, on the plant, of a shift or of a product began
 * and ended: several extents around the lot are tried, and the mean of their Bayes factors counts
 * likewise. The relative rate for display is shrunk, (n + 1) / (E + 1).
 *
 * Days of packing are kept in memory, each dated by the store's serials, and who shares a mix or a
 * material lot, asked for by its index; a case costs one range read of serials and additions over
 * its window. */
#ifndef ODDLOAF_FACTS_COMPANY_H
#define ODDLOAF_FACTS_COMPANY_H

#include "facts/lot_record.h"
#include "rules/rules.h"
#include "store/store.h"

struct company;
struct company *company_new(void);
void company_free(struct company *company); /* NULL is fine */

struct company_factor {
    bool known;
    double observed, expected; /* of the level and extent shown: the likeliest */
    double rate;               /* shrunk, against the usual */
    double bits;               /* log2 Bayes factor */
    int lots;                  /* that share it */
};

/* Lines, shifts, mixes and routes are those of the lot's plant; what suppliers and retailers have
 * in hand spans plants. */
/* One lot's company around it: the complaints of one symptom, as of an instant. */
struct company_view;
struct company_around {
    const struct rules *rules;
    int symptom;
    const struct lot_record *record;
    int64_t as_of_ms;
};
int company_view_open(struct company *company, const struct lot_records *records,
                      const struct company_around *around, struct company_view **ret,
                      struct error *err);
/* A number that changes whenever that view would: to keep results by. */
int company_stamp(struct company *company, const struct lot_records *records,
                  const struct company_around *around, int64_t *ret, struct error *err);
void company_view_close(struct company_view *view);

/* Factors of the lot itself: FACTOR_LOT … FACTOR_SUPPLIER and FACTOR_ANY. */
struct company_factor company_of_factor(const struct company_view *view, int factor);
/* Of the lot itself and its line around it: of a view of another symptom than the case's. */
struct company_factor company_of_lot_and_line(const struct company_view *view);
/* Lots of its plant packed then on this line ("" any): between two cleanings of a place. */
struct company_factor company_of_window(const struct company_view *view, const char *line,
                                        struct when_span packed);
/* Complaints that name a route or a store, against units sent there. `own` complaints of the case
 * itself are in the count; the first of them is left out. */
struct company_trade {
    int factor; /* FACTOR_ROUTE or FACTOR_STORE */
    const char *level;
    int own;
};
int company_of_trade(const struct company_view *view, const struct lot_records *records,
                     const struct company_trade *trade, struct company_factor *ret,
                     struct error *err);

/* The other lots of the window with what they share with this one: for reach. */
struct company_lot {
    int64_t lot_id, packed_from_ms, packed_to_ms;
    double units, expected;
    int observed;
    unsigned shared;   /* bit 1 << FACTOR_… */
    double same_share; /* of this lot's mixes that the other has too, 0..1 */
};
typedef int (*company_lot_each)(void *arg, const struct company_lot *lot);
int company_lots(const struct company_view *view, company_lot_each each, void *arg);

/* log2 P(n | guilty) / P(n | not) as above. */
double company_bits(double observed, double expected);

/* What one factor's excess says beside the largest one (`best`, both as Bayes factors in bits).
 * Lots share many factors at once, so that one guilty factor raises the others too, and lots vary
 * more than counts do. The excess is explained best by the factor with the largest Bayes factor:
 * that one speaks, with ever smaller steps towards `most` bits (no hard limit at which rivals would
 * tie); another speaks `rival` bits less for each bit that it falls short. */
double company_beside(double bits, double best, double most, double rival);

#endif
