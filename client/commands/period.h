/* The options --from and --to: days as people say them. */
#ifndef ODDLOAF_CLIENT_COMMANDS_PERIOD_H
#define ODDLOAF_CLIENT_COMMANDS_PERIOD_H

#include "commands/args.h"
#include "deliver/client.h"
#include <stdint.h>

/* The day said with option `name`, else `usual`. Returns the exit code; a day that is none is told.
 */
int period_day(const struct client *c, const struct args *a, const char *name, int32_t usual,
               int32_t *ret);
/* Adds "from" and "to" to the path where they were said. Returns the exit code. */
int period_query(const struct client *c, const struct args *a, struct text_buffer *path);

#endif
