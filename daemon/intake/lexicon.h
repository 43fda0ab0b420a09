/* Free text of a complaint read with rules/lexicon/<language>.json: which chosen answers the words
 * of the note stand for. Negation ("no smell"), corrections
 * ("first I thought black, but it's green") and small misspellings are understood; a chosen answer
 * is never overridden. A plant adds languages by adding files. */
#ifndef ODDLOAF_INTAKE_LEXICON_H
#define ODDLOAF_INTAKE_LEXICON_H

#include "base/doc.h"
#include <stdint.h>

struct lexicon;

/* Every *.json of `dir`. A missing folder is an empty lexicon. Every fault is reported (`report`
 * may be NULL) with file, line and column; then the first is also in `err` and its code returned.
 */
int lexicon_load(const char *dir, doc_report report, void *arg, struct lexicon **ret,
                 struct error *err);
/* The same in parts, each of which a thread of its own may read (`report` is called by all): the
 * languages; what tells of harm, with the words that are no misspelling; what words weigh. */
enum lexicon_part { LEXICON_LANGUAGES, LEXICON_HARM, LEXICON_WEIGHTS, LEXICON_PARTS };
struct lexicon *lexicon_new(void);
int lexicon_load_part(struct lexicon *lexicon, enum lexicon_part part, const char *dir,
                      doc_report report, void *arg, struct error *err);
void lexicon_free(struct lexicon *lexicon); /* NULL is fine */
/* Another one of each that was made, not 0: tells what was read by another set of words. */
int64_t lexicon_number(const struct lexicon *lexicon);

/* A new complaint: `complaint` with the unanswered fields that its note answers filled in. `today`
 * is the day on which it was received where it was, by which "Saturday" is told; WHEN_UNKNOWN_DAY:
 * no days are read.
 * *ret_taken: what was taken, [{"field":"observed.odor","value":"sour","from":"smelled a bit
 * tangy"}] (new reference, may be empty). Neither fails: what can't be read is left alone.
 * Thread-safe. */
json_t *lexicon_fill(const struct lexicon *lexicon, const json_t *complaint, int32_t today,
                     json_t **ret_taken);
/* Of a complaint as filled whose symptom is `other`: what `note` names that may be harm by itself
 * (harm_words_bare()) makes it possible, unless harm was heard or a person has read it. */
void lexicon_fill_bare(const struct lexicon *lexicon, const char *note, json_t *filled,
                       json_t *taken);
/* Of a complaint as filled, what its stray words (stray.h) speak of: it may be harm, unless harm
 * was heard or a person has read it. What the complaint would not keep stands in its note then, or,
 * where its note is no text and it will be refused for that, in its reason. */
void lexicon_fill_stray(const struct lexicon *lexicon, const json_t *complaint, json_t *filled,
                        json_t *taken);
enum { LEXICON_HARMS = 6 }; /* kinds of harm */
/* Kinds of harm that a text says by its phrases, a list in the text's order; empty: it may mean it;
 * NULL: it speaks of none. For what is no caller's note: words weigh as they do in those. ret_at
 * (may be NULL): the byte where each is spoken of; the first of an empty list. New reference. */
json_t *lexicon_harm(const struct lexicon *lexicon, const char *text, size_t ret_at[LEXICON_HARMS]);
/* Of what people write of a case beside its complaints, and of what they did: as lexicon_harm(),
 * but that it may mean harm too if it, or a sentence of it, is in a language that is not read. */
json_t *lexicon_harm_written(const struct lexicon *lexicon, const char *text);

#endif
