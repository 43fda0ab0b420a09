/* Days without mold, as the models expect them, for people. */
#ifndef ODDLOAF_TELL_MOLD_DAYS_H
#define ODDLOAF_TELL_MOLD_DAYS_H

#include "models/predict.h"
#include <jansson.h>

/* {"low","typical","high","beyond","valid","reason"}: past the horizon no number is told but the
 * horizon's own, and `beyond` says that the typical one lies there. New reference. */
json_t *mold_days_json(const struct mold_prediction *mold);

#endif
