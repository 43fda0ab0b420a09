/* Complaints from a file or standard input, sent in batches of at most DELIVER_BYTES; a
 * longer line goes alone. */
#ifndef ODDLOAF_CLIENT_DELIVER_BATCH_H
#define ODDLOAF_CLIENT_DELIVER_BATCH_H

#include "deliver/client.h"
#include "deliver/complaint_rows.h"
#include <jansson.h>

struct batch_options {
    const json_t *defaults; /* fields for rows that lack them */
    const struct column_map *map;
    bool dry_run;
};

/* Sends the rows of one file. Rows without an id get one made of their content, so that the
 * same file sent twice logs once. Returns the exit code. */
int batch_run(struct client *c, const char *path, const struct batch_options *options);
/* The id of a row that has none: its received_at in front, then SHA-256 of the row (its "unread"
 * apart: complaint_rows.h) and of how many rows like it came before (two callers may say the same).
 * UUID version 8 (RFC 9562). */
void batch_id(const json_t *complaint, long before, char out[static 37]);

#endif
