/* What may weigh in a note, for what reads notes and what learns from them. Not for others. */
#ifndef ODDLOAF_INTAKE_HARM_WEIGHTS_INSIDE_H
#define ODDLOAF_INTAKE_HARM_WEIGHTS_INSIDE_H

#include "intake/lexicon_inside.h"

typedef void (*harm_weights_visit)(void *arg, int word, const char *feature);
/* Tells everything that may weigh of the word at `at`; words as lexicon_squeeze() leaves them. */
void harm_weights_word(const struct note_word *words, int count, int at, harm_weights_visit visit,
                       void *arg);

#endif
