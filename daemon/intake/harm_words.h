/* Harm in free text, read with the files of one folder, one a language: who was ill or hurt, what
 * was found in the bread, what looks tampered with, what a label does not say. Two levels: said,
 * with its kind, and possible (a person must read this). Denials, guesses and idioms are weighed;
 * what they leave open is possible, never nothing. Any length is read whole, in time that grows
 * with it. */
#ifndef ODDLOAF_INTAKE_HARM_WORDS_H
#define ODDLOAF_INTAKE_HARM_WORDS_H

#include "base/doc.h"
#include <stdbool.h>
#include <stddef.h>

struct common_words;
struct harm_words;

/* A file names `sets` of words and, in the order in which they are found, what stands for what:
 *
 *   {"language": "en", "marks": ["the", "was"], "filler": ["a", "my"],
 *    "sets": {"tooth": ["tooth", "teeth", "molar*"], "break": ["broke", "chipped~"]},
 *    "context": {"deny": ["no", "didnt"], "idle": ["tooth fairy"]},
 *    "said": {"injury": ["@break _4 @tooth"]},
 *    "possible": ["@tooth"],
 *    "bare": ["@allergen"]}
 *
 * A pattern is words apart: "word"; "word*" begins so and "*word" ends so; "word~" is understood
 * misspelled; "@set", which must stand above; "@set!" one in other words than the same set's before
 * it (if there is none, than the pattern's first): "@variety label on @variety!"; "a|b" one of
 * them; "_4" up to four words of any kind between its neighbours; what stands behind "/" must
 * follow but is no part of it; "^" and "$" a pause, or the note's begin and end. Accents don't
 * matter, but an ñ and an umlaut do where the word without stands above ("hatte", "hätte"); one
 * with umlauts is known with an e behind each, too. In "said" and "possible" fillers may stand
 * between any two. The contexts are those of HARM_CONTEXTS in harm_words_inside.h.
 *
 * `common` (borrowed, may be NULL): words that are no misspelling. A missing folder hears nothing.
 * Every fault is reported (`report` may be NULL); then the first is also in `err` and its code
 * returned. */
int harm_words_load(const char *dir, const struct common_words *common, doc_report report,
                    void *arg, struct harm_words **ret, struct error *err);
void harm_words_free(struct harm_words *words); /* NULL is fine */

enum { HARM_WORDS_POSSIBLE = -1 };
struct harm_heard {
    int kind;        /* index into the words of the field "harm", or HARM_WORDS_POSSIBLE */
    size_t from, to; /* bytes of the text that say so */
};
/* A sentence and the languages it may be meant in: bit i is harm_words_language(words, i); 0: none.
 */
struct harm_sentence {
    size_t from, to; /* bytes of the text */
    unsigned languages;
};
struct harm_heed {
    bool denied;     /* some harm is spoken of that did not happen ("nobody got sick") */
    bool unread;     /* it, or a sentence of it, is in a language that none of the files is of */
    size_t from, to; /* bytes of that then */
    bool strange;    /* unread by so much that it is no talk of a trade either */
};
struct harm_hearing {
    struct harm_heard
        *heard; /* each kind once, or HARM_WORDS_POSSIBLE alone; in the text's order */
    int count;
    struct harm_heed heed;
    struct harm_sentence *sentences;
    int sentence_count;
};
/* What the text says; the caller frees it by harm_words_hearing_done(). Thread-safe. */
void harm_words_hear(const struct harm_words *words, const char *text, struct harm_hearing *ret);
void harm_words_hearing_done(struct harm_hearing *hearing);
/* The tag of a language read, "de"; NULL: there are not so many. Borrowed. */
const char *harm_words_language(const struct harm_words *words, int index);
/* Is there what may be harm if nothing else is said of the pack, as an allergen by itself ("had
 * nuts in it")? Denied, or as part of a name ("sesame bun"), it is none. *ret: where. */
bool harm_words_bare(const struct harm_words *words, const char *text, struct harm_heard *ret);

#endif
