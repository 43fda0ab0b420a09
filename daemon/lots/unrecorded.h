/* Inside lots/ only: lots that are not on record, as explanations of a text. */
#ifndef ODDLOAF_LOTS_UNRECORDED_H
#define ODDLOAF_LOTS_UNRECORDED_H

#include "lots/match.h"

struct matching;

/* What the records know of the code in a text. */
struct unrecorded_code {
    bool found;       /* some lot bears it, as read or as the plant prints it */
    int64_t lot_id;   /* the one lot that bears it as read, 0: none or several */
    enum lot_gap gap; /* where a whole code on no record would stand */
    bool line_busy;   /* its line was packing a recorded lot then, or was about to */
};
int unrecorded_look(struct store *store, const struct tz *tz, const struct lot_parsed *parsed,
                    struct unrecorded_code *ret, struct error *err);

/* Share of codes that are read without a mistake; from memory. */
#define UNRECORDED_READ_RIGHT 0.8
/* How many codes there are on packs on sale, about. */
double unrecorded_codes(const struct matching *m);
/* The chance of what else was said if it was a lot of which nothing is known: anything goes. */
double unrecorded_rest(const struct matching *m);
/* The weight of the lot of that very code, but for reading it; 0 if there is no such code. */
double unrecorded_weight(const struct matching *m);
/* The weight of lots made since the newest one on record, as misread. */
double unrecorded_misread(const struct matching *m);

#endif
