/* What a file is that should be text and is none: said by name, with what to do, before its bytes
 * are taken for columns nobody knows. */
#ifndef ODDLOAF_TABLES_TEXT_KIND_H
#define ODDLOAF_TABLES_TEXT_KIND_H

#include "base/error.h"
#include <stddef.h>

/* `head`: how the file begins, four bytes at least if it has so many. ERROR_INVALID: its characters
 * are of two bytes or four, as of what spreadsheets call Unicode text. */
int text_kind_check(const void *head, size_t length, struct error *err);

#endif
