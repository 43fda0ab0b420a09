/* How well a lot agrees with what else a complaint says: product, code date, when it was bought,
 * found and reported. Each function gives a probability (of what was said, if it was this lot) or a
 * weight; the factors multiply. The numbers are from memory: rule values. Pure. */
#ifndef ODDLOAF_LOTS_AGREEMENT_H
#define ODDLOAF_LOTS_AGREEMENT_H

#include "store/lot_find.h"

enum { AGREEMENT_POINTS = 16, AGREEMENT_DAYS = 8, AGREEMENT_LATE_DAYS = 7 };

struct agreement {
    double unrecorded;     /* a complaint's lot is not among the records */
    double unrecorded_day; /* likewise, of a line's day of which nothing is on record */
    double misread_odds;   /* so much likelier must it be that a whole code on no record is another
                              one misread */
    double wrong_pack;     /* the code was read off another pack */
    double product_wrong, scanned_wrong; /* product named by a person, by a barcode */
    double code_date_day_off;            /* one day too early (too late: as much again) */
    double code_date_week_off;           /* likewise seven days */
    double code_date_swapped;            /* day and month exchanged */
    double code_date_year_off;
    double code_date_wrong;       /* any other day … */
    double code_date_spread_days; /* … of so many */
    double store_wrong, bought_wrong, found_wrong;
    double bought_late; /* sold within AGREEMENT_LATE_DAYS after the code date */
    /* how readily lots are complained about by age, in shelf lives; linear between points */
    struct {
        double age, weight;
    } reported[AGREEMENT_POINTS];
    size_t reported_count;
};

/* Values from memory, used where the rule file says nothing. */
void agreement_defaults(struct agreement *ret);

/* Relative rate of complaints at that age; 0 for a lot that was not packed yet. */
double agreement_age(const struct agreement *a, double age_days, double shelf_life_days);
/* Its integral over all ages, in days. */
double agreement_age_days(const struct agreement *a, double shelf_life_days);

/* `products`: how many there are. */
double agreement_product(const struct agreement *a, int products, bool same, bool scanned);
double agreement_code_date(const struct agreement *a, int32_t stated_day, int32_t code_day);
/* Of a lot nobody recorded: any day. */
double agreement_code_date_any(const struct agreement *a);
/* The days that may be meant, likeliest first; returns how many. */
size_t agreement_code_days(int32_t stated_day, int32_t days[static AGREEMENT_DAYS]);

/* Days may be WHEN_UNKNOWN_DAY: then 1. */
double agreement_bought(const struct agreement *a, int32_t bought_day, int32_t packed_day,
                        int32_t code_day);
double agreement_found(const struct agreement *a, int32_t found_day, int32_t packed_day);

#endif
