/* What kind of other thing a complaint of symptom "other" is about, by what was observed and said:
 * enough to count them by, and no cause is looked for. */
#ifndef ODDLOAF_INTAKE_OTHER_KIND_H
#define ODDLOAF_INTAKE_OTHER_KIND_H

#include <jansson.h>

struct other_kind {
    const char *kind, *says; /* "torn-bag", "torn or open bag" */
};

/* `body` as a complaint is kept. One kind a complaint, the last one where none fits; static. */
const struct other_kind *other_kind_of(const json_t *body);
/* All of them, in order, by place; NULL behind the last. */
const struct other_kind *other_kind_at(int place);

#endif
