/* What became of a complaint that was corrected, withdrawn or brought back; and how a change of one
 * of its fields is told, wherever it is. */
#ifndef ODDLOAF_CLIENT_SHOW_CHANGE_SHOW_H
#define ODDLOAF_CLIENT_SHOW_CHANGE_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* The answer to a correction, or to a withdrawal and its undoing. */
void change_show(const struct view *v, const json_t *answer);

/* "illness, foreign-matter" for the text ["illness","foreign-matter"] of such a field, "yes" for
 * true; words as they are, `none` for "". Caller frees. */
char *change_show_value(const char *name, const char *text, const char *none);

#endif
