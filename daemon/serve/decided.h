/* What the plant decided beside its rule files: kept by the store, in force with the rules. */
#ifndef ODDLOAF_SERVE_DECIDED_H
#define ODDLOAF_SERVE_DECIDED_H

#include "serve/app.h"

/* Keeps a setting (NULL: forgets it) and loads all anew with it: kept and in force, or neither.
 * Rule files that are broken meanwhile refuse it. */
int decided_keep(struct app *app, const char *key, const char *value, struct error *err);
/* What people of another daemon decided is in force here as well. On the background's thread. */
void decided_follow(struct app *app, struct store *store);

#endif
