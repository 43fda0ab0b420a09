/* Harm in a note, by both readers of it: what its phrases say (harm_words.h), and what its words
 * weigh where they say nothing, or say it against all weight (harm_weights.h). */
#ifndef ODDLOAF_INTAKE_HARM_NOTE_H
#define ODDLOAF_INTAKE_HARM_NOTE_H

#include "intake/harm_weights.h"
#include "intake/harm_words.h"

/* As harm_words_read(), and with `weights` (NULL: none): what weighs as said or as possible is
 * that, though no phrase says it; what a phrase says is possible, no less, if the note's words
 * weigh hardly anything. */
int harm_note_read(const struct harm_words *words, const struct harm_weights *weights,
                   const char *text, struct harm_heard **ret_heard);

#endif
