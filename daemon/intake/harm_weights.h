/* Harm in free text by what its words weighed in notes that people labelled: the sum tells how
 * likely the note speaks of harm, whatever no pattern of harm_words.h foresaw. */
#ifndef ODDLOAF_INTAKE_HARM_WEIGHTS_H
#define ODDLOAF_INTAKE_HARM_WEIGHTS_H

#include "base/doc.h"
#include <stdbool.h>
#include <stddef.h>

struct harm_weights;

/* The files of DIRS, made by tests/intake/harm_weights.py; a plant may change them. One that names
 * its language is of the notes in it, the other, harm.json, of those in all languages without one:
 * what "die" weighs depends on whose word it is.
 *
 *   {"said": 0.8, "possible": 0.1, "doubt": -1.4, "sure": 1.5,
 *    "weights": {"illness": {"1.31": ["vomi*"], "0.4": ["all night, feverish"]},
 *                "harmless": {"smel*": -0.9}}}
 *
 * Under a kind stand weights with lines of what weighs that, or what weighs with its weight. What
 * may weigh: a word as text_fold() writes it, without apostrophe ("#": any that begins with a
 * digit, "##" with three); how a longer one begins, four or six letters ("vomi*"); two in a row
 * ("all night"; "^" and "$" are the begin and end of a sentence). Each counts wherever it stands;
 * what it stands under is the kind of harm it speaks of. Sums of natural logarithms of odds, over
 * the passage of up to HARM_WEIGHTS_PASSAGE words that has the highest.
 *
 * Without a file nothing weighs: *ret is NULL. Every fault is reported (`report` may be NULL); then
 * the first is also in `err` and its code returned. */
int harm_weights_load(const char *dirs, doc_report report, void *arg, struct harm_weights **ret,
                      struct error *err);
void harm_weights_free(struct harm_weights *weights); /* NULL is fine */

enum {
    HARM_WEIGHTS_PASSAGE = 30,
    HARM_WEIGHTS_KINDS = 5 /* the first of the field "harm": nothing was learned of the others */
};

/* By the thresholds of the file. */
enum harm_weight {
    HARM_WEIGHT_LOW,      /* below "possible" */
    HARM_WEIGHT_POSSIBLE, /* below "said" */
    HARM_WEIGHT_SAID
};
struct harm_weighed {
    enum harm_weight weight;
    int kind;        /* of harm, that most of the weight speaks of: index into the field's words */
    size_t from, to; /* bytes of the text that weigh most; equal if it has no words */
};
/* The next file's, and the language that the first one's are of; NULL: there is none. Borrowed. */
const struct harm_weights *harm_weights_next(const struct harm_weights *weights);
const char *harm_weights_language(const struct harm_weights *weights);
/* By the first file's. Any UTF-8, any length, in time that grows with it. Thread-safe. */
struct harm_weighed harm_weights_read(const struct harm_weights *weights, const char *text);
/* Whether what these bytes of the text say of harm is unlikely by the words around: they sum up to
 * less than "doubt", and no words in a row to "sure". Words that begin as "faults" say, with what
 * is wrong with the bread, don't count against it. */
bool harm_weights_doubt(const struct harm_weights *weights, const char *text, size_t from,
                        size_t to);

#endif
