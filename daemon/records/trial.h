/* What dry runs of one file would have added before this one: a map of several kinds loads lots,
 * then what refers to them, so a trial of the later kinds must know of the earlier. Kept beside the
 * staging files for as long as refusals are. */
#ifndef ODDLOAF_RECORDS_TRIAL_H
#define ODDLOAF_RECORDS_TRIAL_H

#include "base/record_kind.h"
#include "records/refs.h"

struct trial;

/* Reads what is at `path`; a file that is not there is an empty one. */
int trial_open(const char *path, struct trial **ret, struct error *err);
void trial_free(struct trial *trial); /* NULL is fine */
/* A row that a load would take: lots and products are kept, all others are nothing that rows refer
 * to. */
void trial_add(struct trial *trial, enum record_kind kind, const struct record_cell *cells);
int trial_write(struct trial *trial, struct error *err); /* whole or not at all */
/* Id 0: not known here. Ids are below zero and stand for the name as long as the trial lasts. */
struct refs_lot trial_lot(const struct trial *trial, const char *lot);
int64_t trial_product(const struct trial *trial, const char *product);

#endif
