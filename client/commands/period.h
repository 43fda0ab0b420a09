/* Options that are days, as people say them. */
#ifndef ODDLOAF_CLIENT_COMMANDS_PERIOD_H
#define ODDLOAF_CLIENT_COMMANDS_PERIOD_H

#include "commands/args.h"
#include "deliver/client.h"
#include <stdint.h>

/* The day said with option `name`, else `usual`. Returns the exit code; a day that is none is told.
 */
int period_day(const struct client *c, const struct args *a, const char *name, int32_t usual,
               int32_t *ret);
/* Adds the day said with option `name` to the path, if one was. Returns the exit code. */
int period_query_day(const struct client *c, const struct args *a, const char *name,
                     struct text_buffer *path);
/* The same for --from and --to. */
int period_query(const struct client *c, const struct args *a, struct text_buffer *path);

#endif
