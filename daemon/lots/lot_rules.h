/* Inside lots/ only: reading rules/lots.json, members checked one by one, faults with their
 * place. */
#ifndef ODDLOAF_LOTS_LOT_RULES_H
#define ODDLOAF_LOTS_LOT_RULES_H

#include "base/text.h"
#include "lots/matcher.h"
#include <jansson.h>

enum { LOT_RULES_POINTER = 96 };

struct lot_rules {
    struct lot_matcher *matcher; /* being filled */
    lot_report report;
    void *arg;
    struct error *err; /* gets the first fault */
    int code;          /* of the first fault, 0 if none */
    const char *path;
    struct text_buffer text;
};

/* RFC 6901 pointers to a member, to an item of a list. Return `out`. */
const char *lot_rules_at(const char *pointer, const char *name, char out[static LOT_RULES_POINTER]);
const char *lot_rules_at_index(const char *pointer, size_t index,
                               char out[static LOT_RULES_POINTER]);
/* `pointer` (RFC 6901) names the member at fault. */
void lot_rules_fault(struct lot_rules *r, const char *pointer, const char *value,
                     const struct error *why);
void lot_rules_say(struct lot_rules *r, const char *pointer, const char *value, const char *text);
/* Members: absent leaves things as they are; what is wrong is reported. `known` ends with NULL. */
void lot_rules_only(struct lot_rules *r, const json_t *object, const char *pointer,
                    const char *const *known);
const json_t *lot_rules_object(struct lot_rules *r, const json_t *object, const char *pointer,
                               const char *name);
const json_t *lot_rules_array(struct lot_rules *r, const json_t *object, const char *pointer,
                              const char *name, size_t most);
const char *lot_rules_text(struct lot_rules *r, const json_t *object, const char *pointer,
                           const char *name, bool required);
void lot_rules_number(struct lot_rules *r, const json_t *object, const char *pointer,
                      const char *name, double low, double high, double *ret);

/* The parts of the file about misreading and about agreement; NULL is an absent part. */
void lot_rules_reading(struct lot_rules *r, const json_t *reading);
void lot_rules_agreement(struct lot_rules *r, const json_t *agreement);

#endif
