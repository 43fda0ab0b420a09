/* Finds known codes that could have been read as a given text, likeliest readings first, in the
 * sorted index of folded codes. A guess is a place and a kind of mistake ("the fifth character is
 * really an O"); one look-up tells whether codes go on from there as the text does. The work is
 * bounded by a number of look-ups, whatever the number of lots. */
#ifndef ODDLOAF_LOTS_WALK_H
#define ODDLOAF_LOTS_WALK_H

#include "lots/reading.h"
#include "store/lot_find.h"

enum { WALK_FOUND = 192 };

/* Costs are -ln of rates averaged over the qualities of reading. */
struct walk_costs {
    float read[READING_LETTERS][READING_LETTERS]; /* [true][read] */
    float unlike;                                 /* read as one that is not alike */
    float dropped, doubled, extra, swapped, head, tail;
};
void walk_prepare(const struct reading *reading, struct walk_costs *ret);

/* Cost of the cheapest way to read a folded code as the text; INFINITY as soon as it is clear that
 * it is above `most`. */
float walk_cost(const struct walk_costs *costs, const struct reading_code *text, const char *fold,
                float most);

/* The same for one code after another: what it shares with one of those before is not compared
 * again. Codes of several lines come in turn, so that a few are kept. */
enum { WALK_KEPT = 8 };
struct walk_rows {
    size_t length, filled;
    char fold[READING_TEXT + 1];
    float row[READING_TEXT + 1][READING_TEXT + 1], stopped[READING_TEXT + 1];
};
struct walk_kept {
    size_t next; /* whose place the next code that is like none takes */
    struct walk_rows rows[WALK_KEPT];
};
/* Before the first code of a text. */
void walk_forget(struct walk_kept *kept);
float walk_cost_next(const struct walk_costs *costs, const struct reading_code *text,
                     const char *fold, float most, struct walk_kept *kept);

struct walk_hit {
    int64_t lot_id;
    float cost;
};
struct walk_result {
    struct walk_hit hit[WALK_FOUND]; /* cheapest first */
    size_t count;
    int lookups;
    float unseen; /* no code cheaper than this was missed; INFINITY: none within the slack */
};
struct walk_reach {
    float slack; /* cost above the cheapest found */
    int lookups; /* about so many */
};
int walk_find(const struct walk_costs *costs, struct store *store, const struct reading_code *text,
              struct walk_reach reach, struct walk_result *ret, struct error *err);

#endif
