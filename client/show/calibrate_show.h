/* How the plant's retained samples compare with the predictions, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_CALIBRATE_SHOW_H
#define ODDLOAF_CLIENT_SHOW_CALIBRATE_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* `document`: the answer to GET /v1/calibration. */
void calibrate_show(const struct view *v, const json_t *document);

#endif
