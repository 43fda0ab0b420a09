/* How much a fact weighs, in words: what people read who need not know what a bit is. */
#ifndef ODDLOAF_BASE_WEIGHT_H
#define ODDLOAF_BASE_WEIGHT_H

/* "strongly" from 3 bits on (eight times the odds), "clearly" from 1.5, "somewhat" from 0.5,
 * "slightly" below; whichever way it speaks. */
const char *weight_word(double bits);
/* Of a question, by what its answer is expected to gain: "tells much" from half a bit on, "tells
 * something" from a tenth, "tells little". */
const char *weight_gain(double bits);

#endif
