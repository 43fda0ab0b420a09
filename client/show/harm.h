/* What is read out and done when a complaint reports harm: illness, injury, an allergic reaction,
 * foreign matter, tampering. The plant's own words come from the daemon; these stand in. */
#ifndef ODDLOAF_CLIENT_SHOW_HARM_H
#define ODDLOAF_CLIENT_SHOW_HARM_H

#include "base/text.h"
#include "show/view.h"
#include <jansson.h>
#include <stdbool.h>

/* What a complaint that was only kept says of mail. */
#define HARM_KEPT "no mail goes out before the daemon has taken it: phone the food-safety lead"

/* What a correction that did not get through says of mail: it is not kept. */
#define HARM_LOST "nothing was recorded and no mail goes out: phone the food-safety lead"

/* What an interview that stops after harm was told says. */
#define HARM_UNSENT "HARM was told and nobody has been mailed: phone the food-safety lead"

/* What a note that no word list has read says of itself: it was refused here, or only kept. */
#define HARM_UNREAD                                                                                \
    "nobody has read the note yet: if anyone is unwell or hurt, or something was in the pack, "    \
    "phone the food-safety lead"

/* What a file that was refused as a whole, or from some row on, says of itself. */
#define HARM_FILE_UNREAD                                                                           \
    "nobody has read for harm what was not taken of this file: if anyone is unwell or hurt, or "   \
    "something was in the pack, phone the food-safety lead"

/* "heard" of an answer: what was written says of harm; nothing if it says none. */
void harm_show_heard(const struct view *v, const json_t *answer);
/* Harm in what was written where nobody is on the line: whom to tell. `alarm` as of harm_show(). */
void harm_show_written(const struct view *v, bool possible, const char *alarm);
/* `script`: the daemon's words for the caller, or NULL for ours. `alarm`: whether a mail leaves, in
 * its words; NULL says nothing. */
void harm_show(const struct view *v, const char *script, const char *alarm);
/* "No mail is set up: …": begins a sentence. Returns `out`. */
char *harm_sentence(const char *alarm, char *out, size_t size);
/* That harm is told below, before anything else is shown. */
void harm_show_first(const struct view *v);
/* harm_show() where harm may be meant: what to ask, and that a person must read. */
void harm_show_possible(const struct view *v, const char *script, const char *alarm);
/* Of a note that was only kept, or refused here: what to ask, and what to read out if it is harm.
 */
void harm_show_unread(const struct view *v);
/* Of a kept complaint in which harm was heard, or `possible` is, once it was sent: what its caller
 * has not been told. `script` as of harm_show(). */
void harm_show_call_back(const struct view *v, bool possible, const char *script);
/* What is read out of harm; `reachable`: who called is asked for no number. */
const char *harm_script(const char *script, bool reachable);
/* What was heard of harm in many complaints, to be told at their end. */
struct harm_tally {
    struct text_buffer names; /* of those that report harm: cases, or lines of a file */
    json_t *more;             /* the names that found no room, as keys; NULL none */
    char alarm[128];          /* whether mails about them leave */
    long possible;
};
/* `alarm` NULL: as was said before. Each name is told once, in as many as fit a line or two, and
 * how many more there are. */
void harm_tally_add(struct harm_tally *tally, const char *name, const char *alarm);
/* What to do; nothing if nothing was heard. */
void harm_tally_show(const struct view *v, const struct harm_tally *tally);
void harm_tally_clear(struct harm_tally *tally);
/* True if the complaint, or the answer to it (may be NULL), says so. */
bool harm_reported(const json_t *complaint, const json_t *answer);
/* "harm was reported in it before, and taken back 2026-11-20 09:14 by Dana: …"; NULL if the answer
 * does not say so. Returns `out`. */
const char *harm_taken_back(const json_t *answer, char *out, size_t size);
/* Of a list of open harm (of a refusal, or of what was done all the same) one row: "C12 mold:
 * illness, 2026-11-20 09:14: 'my son vomited' (complaint 0199…)". Appends. */
void harm_open_line(const json_t *row, struct text_buffer *out);
/* What is open of what an answer did: nothing if nothing is. */
void harm_show_open(const struct view *v, const json_t *answer);
/* True if one of these words of a command line gives harm: "harm=illness", "--harm",
 * "--harm=injury".
 */
bool harm_in_words(int count, char *const *words);
/* True if the answer (may be NULL) says that it may be meant. */
bool harm_possible(const json_t *answer);

#endif
