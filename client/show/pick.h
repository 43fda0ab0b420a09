/* Reading a JSON answer for show: every key may be missing, and a missing one is no error. */
#ifndef ODDLOAF_CLIENT_SHOW_PICK_H
#define ODDLOAF_CLIENT_SHOW_PICK_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

/* The member if it is there and of that type, else `fallback`. `object` may be NULL. */
const char *pick_text(const json_t *object, const char *name, const char *fallback);
double pick_number(const json_t *object, const char *name, double fallback);
int64_t pick_int(const json_t *object, const char *name, int64_t fallback);
bool pick_bool(const json_t *object, const char *name, bool fallback);
/* What a complaint is called: "short" of what tells of it, else its whole id. */
const char *pick_complaint(const json_t *object, const char *fallback);
/* True if the member is there and not null. */
bool pick_has(const json_t *object, const char *name);
/* The objects of a list, those with the largest (absolute) `name` first, else in their order. New
 * reference; an empty list for NULL. */
json_t *pick_sorted(const json_t *list, const char *name);
/* Any value as people read it: 47.5, yes, "sour, musty", "crumb_ph 5.9, aw 0.95"; "" for null or
 * missing. Caller frees. */
char *pick_shown(const json_t *object, const char *name);
char *pick_shown_json(const json_t *value);

#endif
