/* On a server: the rows of an accepted file until they are applied, in parts, so that another
 * daemon can apply them. Writers run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_LOAD_PART_H
#define ODDLOAF_STORE_LOAD_PART_H

#include "store/store.h"

enum { LOAD_PART_BYTES = 1 << 20 };

/* What was there of that part goes. */
int load_part_put(struct store *store, const char *load_id, int64_t part, const void *bytes,
                  size_t length, struct error *err);
/* *ret_length bytes into `out`; 0: there is no such part. */
int load_part_get(struct store *store, const char *load_id, int64_t part,
                  unsigned char out[LOAD_PART_BYTES], size_t *ret_length, struct error *err);
/* Applied, or never to be. */
int load_part_drop(struct store *store, const char *load_id, struct error *err);
/* Those of files that were not accepted: ids are in the order of time, and those below `before` are
 * long over. */
int load_part_drop_strays(struct store *store, const char *before, struct error *err);

#endif
