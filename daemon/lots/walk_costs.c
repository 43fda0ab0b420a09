/* What each mistake of reading costs. Apart from the walk, for it needs no store. */
#include "lots/walk.h"
#include <math.h>

static float mean_cost(const struct reading *reading, double clear, double smudged)
{
    double rate = reading->quality[0].share * clear + reading->quality[1].share * smudged;
    return (float)-log(rate > 1e-9 ? rate : 1e-9);
}

void walk_prepare(const struct reading *reading, struct walk_costs *ret)
{
    const struct reading_rates *q = reading->quality;
    *ret = (struct walk_costs){
        .dropped = mean_cost(reading, q[0].dropped, q[1].dropped),
        .doubled = mean_cost(reading, q[0].doubled, q[1].doubled),
        /* a tenth: which of the others it is counts, but codes hold few different characters */
        .extra = mean_cost(reading, q[0].extra / 10, q[1].extra / 10),
        .unlike = mean_cost(reading, q[0].other / 10, q[1].other / 10),
        .swapped = mean_cost(reading, q[0].swapped, q[1].swapped),
        .head = (float)-log(reading->head_missing + 1e-6),
        .tail = (float)-log(reading->tail_missing + 1e-6),
    };
    for (size_t c = 0; c < READING_LETTERS; c++)
        for (size_t t = 0; t < READING_LETTERS; t++) {
            double alike = reading->alike[c][t];
            ret->read[c][t] = c == t ? 0
                                     : mean_cost(reading, q[0].confused * alike + q[0].other / 10,
                                                 q[1].confused * alike + q[1].other / 10);
        }
}
