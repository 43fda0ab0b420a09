/* A level that is a plant's own, as it is told: "1 (north)" is line 1 of the plant north. One whose
 * plant nobody named is told by itself; of none at all there is "(north)". */
#ifndef ODDLOAF_BASE_PLANT_LEVEL_H
#define ODDLOAF_BASE_PLANT_LEVEL_H

#include "base/length.h"
#include <jansson.h>

enum { PLANT_LEVEL = LENGTH_NAME + LENGTH_CODE + 8 };

/* `plant` may be NULL. Returns `buffer`. */
char *plant_level(const char *level, const char *plant, char buffer[static PLANT_LEVEL]);
/* The same of a row's member ("level", "line", …) and its "plant". */
char *plant_level_of(const json_t *row, const char *member, char buffer[static PLANT_LEVEL]);
/* "plant" beside the row's level, where there is one. */
void plant_level_set(json_t *row, const char *plant);

#endif
