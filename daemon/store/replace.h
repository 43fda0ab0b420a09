/* One database in the place of another, across a crash at any point: what is to come lies whole in
 * a folder of its own, whose name says that it is ready; what is replaced is kept aside. Inside
 * store/ only. */
#ifndef ODDLOAF_STORE_REPLACE_H
#define ODDLOAF_STORE_REPLACE_H

#include "base/error.h"
#include <stdbool.h>
#include <stdint.h>

/* STATE/restoring, made anew and empty: where the database to come is got ready. malloc'd. */
char *replace_folder(const char *state_dir, struct error *err);
/* From `now_ms` on, the first second under whose name nothing is kept aside yet. */
int64_t replace_time(const char *state_dir, int64_t now_ms);
/* Is there anything that would be replaced? */
bool replace_any(const char *state_dir);
/* It is ready: synced and named so. The caller owns the state (owner.h). */
int replace_ready(const char *state_dir, int64_t kept_ms, struct error *err);
/* Puts what is ready in place; nothing to do if there is none. What was there is then in
 * STATE/replaced/TIME, which is not made for nothing. The caller owns the state. */
int replace_finish(const char *state_dir, struct error *err);

#endif
