/* What was refused of a part of a file: the first refusals as JSON, those beyond them in a file of
 * their own, one JSON object a line, that is read page by page. Memory does not grow with their
 * number, and an answer with the first of them stays far below JSONX_BYTES.
 *
 * A refusal is {"source","line","column","value","reason"}. */
#ifndef ODDLOAF_RECORDS_REFUSALS_H
#define ODDLOAF_RECORDS_REFUSALS_H

#include "base/error.h"
#include <jansson.h>
#include <stdint.h>

enum { REFUSALS_FIRST = 1000, REFUSALS_PAGE = 256 << 10 };

struct refusals;

/* `path` is where the file goes if one is needed. */
struct refusals *refusals_new(const char *path);
void refusals_free(struct refusals *refusals); /* the file stays. NULL is fine */
/* `why` has source, line, field (the column), value and text (the reason). The first refusal after
 * refusals_take() begins a new part: those before are forgotten. */
void refusals_add(struct refusals *refusals, const struct error *why);
/* *ret_first is a new array of the part's first refusals, *ret_more says how many are in the file.
 * Fails if the file could not be written. */
int refusals_take(struct refusals *refusals, json_t **ret_first, int64_t *ret_more,
                  struct error *err);
/* Whole lines of the file from byte `from` on, at most REFUSALS_PAGE bytes; none are left if
 * *ret_length is 0. *ret_lines is malloc'd. ERROR_NOT_FOUND if there is no such file. */
int refusals_page(const char *path, int64_t from, char **ret_lines, size_t *ret_length,
                  struct error *err);

#endif
