/* Rankings of cases as they were made, by revision. What left the house (a mail, a verdict) stays,
 * besides the newest: causes with their probabilities, and what was mailed to speak for and against
 * them. The texts are those of the rules it was made by, which their hash names. */
#ifndef ODDLOAF_STORE_RANKING_H
#define ODDLOAF_STORE_RANKING_H

#include "base/length.h"
#include "store/store.h"

enum { RANKING_CAUSE = 64, RANKING_FACT = 80, RANKING_VALUE = 160, RANKING_RULES = 80 };

struct ranking_cause {
    char cause[RANKING_CAUSE];
    double probability; /* kept in millionths */
};

/* One fact that was told to speak for (bits > 0) or against a cause, rounded as it was told. */
struct ranking_item {
    int cause; /* index in the causes */
    char fact[RANKING_FACT];
    char value[RANKING_VALUE]; /* a number, or words with a comma between; "" unknown */
    double target;             /* NAN none */
    double observed, expected; /* company evidence; NAN otherwise */
    int lots;
    int bits_hundredths;
};

struct ranking {
    int64_t case_id, as_of_ms;
    int revision, complaints;
    int moved_here;            /* cases that were found to be this one */
    bool harm;                 /* a complaint of it told harm */
    bool kept;                 /* left the house */
    bool lot_told;             /* false: of a time when a guess was told as the lot */
    char lot[LENGTH_CODE + 4]; /* where one may be named alone, else "" */
    char rules[RANKING_RULES];
    char *why;                    /* why it was mailed; NULL: it was not. Owned */
    struct ranking_cause *causes; /* likeliest first; owned */
    int cause_count;
    struct ranking_item *items; /* owned */
    int item_count;
};
void ranking_clear(struct ranking *ranking);
/* Of the same complaints, lot and rules, with the same probabilities and items: nothing new. */
bool ranking_same(const struct ranking *a, const struct ranking *b);

/* Saves a new revision (case.revision + 1, set in `ranking`) and drops the unkept one before it;
 * updates the case's top cause. Kept if it has a `why`. ERROR_NOT_FOUND if there is no such case.
 */
int ranking_save(struct store *store, struct ranking *ranking, struct error *err);
/* revision 0: the newest; ERROR_NOT_FOUND if none. The caller clears *ret. */
int ranking_get(struct store *store, int64_t case_id, int revision, struct ranking *ret,
                struct error *err);
/* The newest revision that was mailed; ERROR_NOT_FOUND if none. */
int ranking_last_mailed(struct store *store, int64_t case_id, struct ranking *ret,
                        struct error *err);

#endif
