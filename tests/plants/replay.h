/* A plant as rows of SQL in a store of its own, counted as the daemon counts them. */
#ifndef ODDLOAF_TESTS_PLANTS_REPLAY_H
#define ODDLOAF_TESTS_PLANTS_REPLAY_H

#include "base/error.h"
#include "base/text.h"
#include "store/db.h"
#include "store/pattern.h"
#include <stdio.h>
#include <stdlib.h>

struct replay {
    struct store *store;
    struct tz *tz;
};

static inline void must(int rc, const struct error *err)
{
    if (rc) {
        fprintf(stderr, "replay: %s\n", err->text);
        exit(1);
    }
}

/* From standard input, into an empty folder. */
static inline void replay_fill(struct replay *r, const char *folder)
{
    struct error err = {0};
    struct text_buffer sql = {0};
    char part[65536];
    size_t n;
    struct store *store;
    while ((n = fread(part, 1, sizeof part - 1, stdin)) > 0) {
        part[n] = 0;
        text_append(&sql, part);
    }
    must(store_open(folder, STORE_WRITE, &store, &err), &err);
    must(db_exec(store, "PRAGMA synchronous=OFF", &err), &err);
    must(store_begin(store, &err), &err);
    must(pattern_set_up(store, r->tz, &err), &err);
    must(db_exec(store, sql.data, &err), &err);
    must(pattern_recount(store, &err), &err);
    must(store_commit(store, &err), &err);
    text_buffer_free(&sql);
    r->store = store;
}

#endif
