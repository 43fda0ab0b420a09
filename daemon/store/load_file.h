/* Accepted files of records. A file is applied slice by slice, each slice in a transaction of its
 * own that also says how far it got, so that a crash resumes where it stopped. Files are applied in
 * the order of their acceptance. Functions that write run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_LOAD_FILE_H
#define ODDLOAF_STORE_LOAD_FILE_H

#include "base/record_kind.h"
#include "base/uuid.h"
#include "store/store.h"

enum load_state { LOAD_WAITING, LOAD_DONE, LOAD_FAILED };

struct load_file {
    char id[UUID_TEXT];
    enum record_kind kind;
    char source[128];
    char path[64]; /* of the staged rows, below the state directory */
    int64_t applied, new_rows, changed_rows, same_rows;
    int64_t new_records; /* a wide row of readings is one for each quantity it has */
    enum load_state state;
    int64_t accepted_ms;
};

int load_file_accept(struct store *store, const struct load_file *file, struct error *err);
/* The earliest that waits; *ret_found says whether there is one. */
int load_file_next(struct store *store, struct load_file *ret, bool *ret_found, struct error *err);
/* ERROR_NOT_FOUND if unknown. */
int load_file_get(struct store *store, const char *id, struct load_file *ret, struct error *err);
/* Those that could not be applied to their end and that were not loaded again since, by kind and
 * source; *ret is the newest of them. */
int load_file_failed(struct store *store, struct load_file *ret, int64_t *ret_count,
                     struct error *err);
/* Writes applied, counts and state. */
int load_file_progress(struct store *store, const struct load_file *file, struct error *err);

#endif
