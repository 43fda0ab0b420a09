/* Harm in a note, by both readers of it: what its phrases say (harm_words.h), and what its words
 * weigh where they say nothing, or say it against all weight (harm_weights.h). */
#ifndef ODDLOAF_INTAKE_HARM_NOTE_H
#define ODDLOAF_INTAKE_HARM_NOTE_H

#include "intake/harm_weights.h"
#include "intake/harm_words.h"

/* A kind beside those of harm_words.h: the note is in a language that is not read, so a person must
 * read it. */
enum { HARM_NOTE_UNREAD = HARM_WORDS_POSSIBLE - 1 };
/* As harm_words_hear(), and with `weights` (NULL: it is no whole note): what weighs as said or as
 * possible is that, though no phrase says it; what a phrase says is possible, no less, if the
 * note's words weigh hardly anything; and one in which nothing is heard may be HARM_NOTE_UNREAD. */
int harm_note_read(const struct harm_words *words, const struct harm_weights *weights,
                   const char *text, struct harm_heard **ret_heard);
/* Of what a plant writes of its work, where words of a trade stand: is it, or a sentence of it, in
 * a language that is not read? *ret: that part, HARM_NOTE_UNREAD. */
bool harm_note_is_strange(const struct harm_words *words, const char *text, struct harm_heard *ret);

#endif
