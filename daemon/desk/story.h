/* Who did what when, to a case, a complaint or a lot, told in JSON. */
#ifndef ODDLOAF_DESK_STORY_H
#define ODDLOAF_DESK_STORY_H

#include "desk/desk.h"
#include "store/store.h"
#include <jansson.h>

/* `word`: C12, what a complaint is called (desk/named.h), or a lot's code; *ret is
 * {"case"|"complaint"|"lot","events":[{"at","by","what","was","is"}]} (new reference), oldest
 * first, an event with "complaint" (and "short", desk/named.h) or "lot", "field" and "why" where it
 * has them. "was" and "is" are words, null nothing. A changed record is an event a column, with its
 * "kind" and, of a record that is not the lot's own, which "row" it is. Holds contact data only
 * `with_contact`: what was changed, in the words it was said in. ERROR_NOT_FOUND, ERROR_CONFLICT
 * where several complaints are called so. */
int story_json(const struct desk *desk, struct store *store, const char *word, bool with_contact,
               json_t **ret, struct error *err);

#endif
