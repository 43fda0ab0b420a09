/* Inside the loader: one file being checked, and where its errors go. */
#ifndef ODDLOAF_RULES_RULES_CHECK_H
#define ODDLOAF_RULES_RULES_CHECK_H

#include "rules/rules.h"

struct rules_check {
    struct rules *rules; /* being built */
    struct error *errors;
    size_t max, count;
    const char *source; /* the file, with its bytes */
    const char *bytes;
    size_t length;
};

/* Notes an error at the value that an RFC 6901 pointer names. */
void check_fail(struct rules_check *check, const char *pointer, const char *value,
                const char *format, ...) __attribute__((format(printf, 4, 5)));
/* The pointer of a member or an element, escaped. Returns `buffer`. */
const char *check_at(char *buffer, size_t size, const char *pointer, const char *name);
const char *check_at_index(char *buffer, size_t size, const char *pointer, size_t index);
/* Refuses members that are not in the NULL-ended list. */
void check_members(struct rules_check *check, const json_t *object, const char *pointer,
                   const char *const *known);
/* Members of `object` at `pointer`. The first two fail when it is missing or of the wrong type. */
const char *check_text(struct rules_check *check, const json_t *object, const char *pointer,
                       const char *name);
bool check_number(struct rules_check *check, const json_t *object, const char *pointer,
                  const char *name, bool required, double low, double high, double *ret);
/* One of a NULL-ended list. */
const char *check_word(struct rules_check *check, const json_t *object, const char *pointer,
                       const char *name, const char *const *words, bool required);
/* Numbers the fact; -1 after an error. `change` NULL but for models. */
int check_fact(struct rules_check *check, const json_t *object, const char *pointer,
               const struct change *change);
void check_guard(struct rules_check *check, const json_t *object, const char *pointer,
                 const char *name, struct rule_guard *ret);
/* "symptoms": array of names → bits; all symptoms if missing. */
unsigned check_symptoms(struct rules_check *check, const json_t *object, const char *pointer);
/* A curve's points: at least two, x increasing, y within the limits. */
bool check_curve(struct rules_check *check, const json_t *curve, const char *pointer, double low,
                 double high, struct rule_point **ret, int *ret_count);

/* The parts of the loader. `document` stays the caller's but for a cause, which keeps it. */
void check_cause(struct rules_check *check, json_t *document, const char *file_stem);
void check_asks(struct rules_check *check, const json_t *document);
void check_ranking(struct rules_check *check, const json_t *document);

void rule_evidence_free(struct rule_evidence *evidence);
void rule_guard_free(struct rule_guard *guard);

#endif
