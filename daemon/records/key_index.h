/* Which rows of a file have the same key, found in memory that does not grow with the file: the
 * hashes of keys are spread over buckets by their top bits, full blocks of a bucket go to a
 * scratch file, and at the end one bucket at a time is looked through. */
#ifndef ODDLOAF_RECORDS_KEY_INDEX_H
#define ODDLOAF_RECORDS_KEY_INDEX_H

#include "base/error.h"
#include "base/record_kind.h"

struct key_index;

/* The scratch file is made beside `path` when it is needed, without a name. */
struct key_index *key_index_new(const char *path);
void key_index_free(struct key_index *index); /* NULL is fine */

uint64_t key_index_hash(const struct record_cell *cells, int keys);
/* `offset` names the row; offsets ascend. */
int key_index_add(struct key_index *index, uint64_t hash, uint64_t offset, struct error *err);

/* `one` and `other` have the same hash; every other row is met once, with the first one or, if
 * `by_last`, with the last one. As often as it is asked for. */
typedef int (*key_index_pair)(void *arg, uint64_t one, uint64_t other, struct error *err);
int key_index_pairs(struct key_index *index, bool by_last, key_index_pair pair, void *arg,
                    struct error *err);

#endif
