/* Harm in the text of a file that is attached: a letter, a laboratory's report. It is read as a
 * note is, a paragraph at a time, outside the writer's transaction: files are long. */
#ifndef ODDLOAF_DESK_OVERHEARD_FILE_H
#define ODDLOAF_DESK_OVERHEARD_FILE_H

#include "base/text.h"
#include "desk/desk.h"

struct overheard_file {
    json_t *harm;              /* kinds that are said, empty: it may mean them; NULL: none */
    struct text_buffer quotes; /* the lines that say them, each kind's first, at most a note long;
                                * contact data stand in them */
};
/* `text` ends with a NUL. The caller clears `ret`. */
void overheard_file_read(const struct desk *desk, const char *text, struct overheard_file *ret);
void overheard_file_clear(struct overheard_file *file);

#endif
