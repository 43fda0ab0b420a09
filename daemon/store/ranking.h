/* Rankings of cases as they were made, by revision. */
#ifndef ODDLOAF_STORE_RANKING_H
#define ODDLOAF_STORE_RANKING_H

#include "store/store.h"

struct ranking_row {
    int64_t case_id, as_of_ms;
    int revision, complaints;
    bool kept;
    char *rules, *body; /* malloc'd */
};
void ranking_row_free(struct ranking_row *row);
/* Saves a new revision (case.revision + 1) and drops the unkept one before it; updates the case's
 * top cause. *ret_revision is the number given. */
int ranking_save(struct store *store, int64_t case_id, int64_t as_of_ms, int complaints,
                 const char *rules, const char *body, const char *top_cause, double top_probability,
                 bool kept, int *ret_revision, struct error *err);
/* revision 0: the newest; ERROR_NOT_FOUND if none. */
int ranking_get(struct store *store, int64_t case_id, int revision, struct ranking_row *ret,
                struct error *err);
/* The newest revision that was mailed; ERROR_NOT_FOUND if none. */
int ranking_last_mailed(struct store *store, int64_t case_id, struct ranking_row *ret,
                        struct error *err);

#endif
