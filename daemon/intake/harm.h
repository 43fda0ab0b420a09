/* What is said when a complaint reports harm: the words are the plant's, in rules/harm.json. */
#ifndef ODDLOAF_INTAKE_HARM_H
#define ODDLOAF_INTAKE_HARM_H

#include "base/doc.h"

/* {"script": read out to the caller, "call_back": behind it to one who left no number, "mail":
 * [cautions of the urgent mail], "possible": the same two where harm may be meant and a person must
 * read, "ask": what to ask of it, "laboratory": words of its rows (desk/lab_row.h)}; checked. New
 * reference. Every fault is reported
 * (`report` may be NULL); then the first is also in `err` and its code returned. */
int harm_load(const char *path, doc_report report, void *arg, json_t **ret, struct error *err);
/* Of `harm` as loaded, borrowed: what to read out, and what the mail says this needs. */
const char *harm_script_of(const json_t *harm, bool possible);
/* All that is read out; `reachable`: who called left a number or an address. New reference. */
json_t *harm_read_out(const json_t *harm, bool possible, bool reachable);
const json_t *harm_needs_of(const json_t *harm, bool possible);
/* What smells or tastes so ("odors" of "possible"), of fuel or cleaner, has something in it that
 * does not belong there, and a pack that is so ("bags"), blown up by gas, may hold what makes it:
 * such a complaint may be harm, and a person must read it, unless it says harm itself or one has
 * read it. Adds that to what was filled in, and to `taken` what it was taken from. */
void harm_fill_observed(const json_t *harm, json_t *filled, json_t *taken);
/* For how long urgent mails of one case wait for each other, the first of a kind of harm, or of a
 * word of gravity, never. */
int64_t harm_gather_ms(const json_t *harm);
/* Words of gravity ("hospital*", a plague's name) that stand in `text`, as the file has them: such
 * harm is news beside any that was told. New reference, NULL: none. */
json_t *harm_grave_of(const json_t *harm, const char *text);
/* What to ask and look up: [{"ask","of"}], `of` "caller", "plant" or "lab"; of harm in general, and
 * behind it of each of its `kinds` (a list of words, or NULL). A plant's own file may say none:
 * then what is read out. New reference. */
enum harm_about { HARM_SAID, HARM_POSSIBLE, HARM_OTHER }; /* HARM_OTHER: a kind without causes */
json_t *harm_asks_of(const json_t *harm, enum harm_about about, const json_t *kinds);

#endif
