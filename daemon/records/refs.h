/* Lots and products that rows refer to, remembered so that most rows need no query. */
#ifndef ODDLOAF_RECORDS_REFS_H
#define ODDLOAF_RECORDS_REFS_H

#include "base/error.h"
#include <stddef.h>
#include <stdint.h>

struct refs_lot {
    int64_t id; /* 0: there is none */
    int64_t packed_ms;
};
/* Where names are looked up; *ret_id 0: there is none. Errors are the system's, not the row's. */
struct refs_source {
    int (*lot)(void *arg, const char *lot, struct refs_lot *ret, struct error *err);
    int (*product)(void *arg, const char *product, int64_t *ret_id, struct error *err);
    void *arg;
    /* Whose a lot on record is; "" nobody's that is named, or there is none. */
    int (*plant)(void *arg, const char *lot, char *ret_plant, size_t size, struct error *err);
};

struct refs; /* of bounded size */

struct refs *refs_new(void);
void refs_free(struct refs *refs);
int refs_lot(struct refs *refs, const struct refs_source *source, const char *lot, size_t length,
             struct refs_lot *ret, struct error *err);
int refs_product(struct refs *refs, const struct refs_source *source, const char *product,
                 size_t length, int64_t *ret_id, struct error *err);

#endif
