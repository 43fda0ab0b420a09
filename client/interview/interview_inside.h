/* Inside the interview: its state, and the parts of it. */
#ifndef ODDLOAF_CLIENT_INTERVIEW_INTERVIEW_INSIDE_H
#define ODDLOAF_CLIENT_INTERVIEW_INTERVIEW_INSIDE_H

#include "deliver/client.h"
#include "deliver/spool.h"
#include "form/form.h"
#include <jansson.h>
#include <stdbool.h>

#define INTERVIEW_HISTORY 64
#define INTERVIEW_LISTED 64

struct interview {
    struct client *c;
    struct view view; /* stdout, or stderr under --json */
    struct form_day day;
    json_t *complaint; /* owned */
    json_t *passed;    /* object: fields asked or skipped */
    const struct field *history[INTERVIEW_HISTORY];
    int history_count;
    struct spool *spool; /* NULL if there is no folder to keep things in */
    struct draft *draft;
    bool draft_warned;
    json_t *preview;    /* the daemon's last word, or NULL */
    bool offline;       /* said so already; not asked again */
    bool similar_asked; /* duplicates were offered */
    json_t *said;       /* object: cautions and read-backs shown already */
    json_t *doubted;    /* object: field → answer that was asked again */
    int telling;        /* questions of the daemon's asked so far */
    bool more;          /* the desk asked for further questions */
    bool harmed;        /* "yes" to the question of harm, and not yet which */
};

enum said { SAID_ANSWER, SAID_SKIP, SAID_BACK, SAID_DONE, SAID_QUIT, SAID_AGAIN };

/* ---- interview_draft.c ---- */

/* Keeps the answers so far in the draft, and what is said if a signal stops it now. */
void interview_save(struct interview *iv);

/* ---- interview_ask.c: one question ---- */

/* Prints a prompt and reads a line; NULL at the end of input. Caller frees. */
char *interview_line(const struct interview *iv, const char *prompt);
/* Asks until the answer is understood or is a command. `ask` NULL: the field's own question.
 * SAID_AGAIN: a command was obeyed that may have changed what comes next; *ret_field is then the
 * field to ask now, or NULL. */
enum said interview_ask(struct interview *iv, const struct field *f, const char *ask,
                        const struct field **ret_field);
/* What the daemon says fits several: a list to pick from, once; nothing picked leaves it as said.
 * False if there is nothing to pick from. */
bool interview_pick(struct interview *iv, const struct field *f);
/* All that is known so far, numbered: harm first, told or not, then what was answered and what the
 * story gave. */
void interview_list(const struct interview *iv);
/* The field of the list's line N, or of a field's name; NULL. */
const struct field *interview_listed(const struct interview *iv, const char *which);
/* Was harm told, in an answer or in the story? */
bool interview_harm_told(const struct interview *iv);
/* What the story gave for the field, or NULL. Borrowed. */
const json_t *interview_taken(const struct interview *iv, const struct field *f);
/* True if the interview is to stop: the complaint is thrown away or, with *ret_keep, kept as a
 * draft, as at the end of input. */
bool interview_quits(struct interview *iv, bool *ret_keep);

/* ---- interview_doubt.c: is this an answer to that question? ---- */

/* NULL, or why the line looks like an answer to another question (borrowed). The same line said to
 * the same question again is not doubted. */
const char *interview_doubt(struct interview *iv, const struct field *f, const char *line);

/* ---- interview_next.c: which question ---- */

/* The next question, or NULL when nothing is left to ask; *ret_ask its text or NULL. */
const struct field *interview_next(struct interview *iv, const char **ret_ask);
/* What the story says of what is wrong, if it says one thing only and nobody chose. */
void interview_story(struct interview *iv);
/* The story read for harm before anything else is asked, whatever is not yet known. */
void interview_story_harm(struct interview *iv);
/* Asks the daemon what it makes of the answers so far and shows what is new in it. */
void interview_preview(struct interview *iv);
/* If harm was reported: what to read out, from the daemon or, without one, our own; once. */
void interview_harm(struct interview *iv);

#endif
