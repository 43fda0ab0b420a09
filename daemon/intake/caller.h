/* Who called, where only the story says it: nobody was asked, or the question was passed over. */
#ifndef ODDLOAF_INTAKE_CALLER_H
#define ODDLOAF_INTAKE_CALLER_H

#include <jansson.h>

/* Gives `complaint` the members of `contact` (name, phone, email) that nobody gave and `story`
 * says: its first mail address; its first phone number, rather one that is announced or written
 * like one, never one told as another ("order 6075550142"); and a name in capital letters behind a
 * plain phrase: "my name is Verena Koskie", "call me, Verena Koskie 555-0142", "regards, Verena",
 * or a first and a family name behind "this is", "I am" or "soy"; "mein Name ist
 * Verena Koskie", "soy la señora Koskie", "Verena Koskie here", "you can reach Verena at". Words
 * that stand for other things are no name. `story` is the note, or that with blanks for the names
 * that the trade knows. What stands in a contact already is left as it is. A story that is
 * longer than a note may be says nothing: it will be refused. Behind "my name is" and its like, and
 * "regards" at the end, a name is read in small letters as well, or where all is in capitals, but
 * for words that `lexicon` reads (NULL: not at all). Pure. */
struct lexicon;
void caller_fill(const struct lexicon *lexicon, json_t *complaint, const char *story);

#endif
