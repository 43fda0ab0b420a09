/* Words of a complaint that stand where no field takes them: in a member that is none ("comment"),
 * in a value of another kind than its field's, and, as a sentence, where a name or a code belongs.
 * Nothing is read from them but harm. Pure. */
#ifndef ODDLOAF_INTAKE_STRAY_H
#define ODDLOAF_INTAKE_STRAY_H

#include <jansson.h>
#include <stdbool.h>

/* `kept`: the complaint has it by itself, as the text of a field that takes names or codes: it may
 * be just that. What a sender could not read, its "refused", is not among them. */
typedef void (*stray_each_text)(void *arg, const char *text, bool kept);
void stray_each(const json_t *complaint, stray_each_text each, void *arg);

#endif
