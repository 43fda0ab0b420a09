/* Finding what is no complaint: lots by how their code begins, cases by their number or owner, and
 * what the plant itself wrote (store/noted.h), by its words. Reads only. */
#ifndef ODDLOAF_STORE_WRITTEN_FIND_H
#define ODDLOAF_STORE_WRITTEN_FIND_H

#include "store/store.h"

enum written_kind {
    WRITTEN_LOT,
    WRITTEN_CASE,
    WRITTEN_NOTE,
    WRITTEN_RESULT,
    WRITTEN_FILE,
    WRITTEN_HOLD,
    WRITTEN_ACTION,
    WRITTEN_KINDS
};

struct written_filter {
    const char *words;    /* all of them: whole, or how one begins ("mol*"), folded */
    const char *products; /* ",3,7,": of a lot of one of these; NULL any */
    const char *family;   /* or of that family; NULL none */
    int64_t since_ms;     /* written, made or opened since; WHEN_UNKNOWN_MS any */
    int limit;            /* of each kind */
};
/* Text lives until the callback returns, "" where there is none. */
struct written_row {
    enum written_kind kind;
    int64_t id, at_ms, case_id; /* case_id 0: of none */
    const char *lot;            /* its code */
    const char *complaint;      /* uuid, of a file */
    const char *by;
    const char *says; /* in the words it was written; of a lot its product and line */
};
typedef int (*written_each)(void *arg, const struct written_row *row);

/* Those of one kind, the newest first. A callback's non-zero answer stops and is returned. */
int written_find(struct store *store, enum written_kind kind, const struct written_filter *filter,
                 written_each each, void *arg, struct error *err);

#endif
