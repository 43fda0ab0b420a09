/* Inside tables/sheet*.c only: what a workbook says of its sheets: their names and parts, its
 * texts, which styles are dates. */
#ifndef ODDLOAF_TABLES_SHEET_BOOK_H
#define ODDLOAF_TABLES_SHEET_BOOK_H

#include "tables/sheet_part.h"

struct sheet_book;

enum sheet_style { SHEET_DATE = 1, SHEET_TIME = 2, SHEET_ELAPSED = 4 };

/* `sheet` is the name of one, NULL the first that is not hidden. ERROR_NOT_FOUND names those that
 * are there. */
int sheet_book_open(struct sheet_zip *zip, const char *sheet, struct sheet_book **ret,
                    struct error *err);
void sheet_book_close(struct sheet_book *book);             /* NULL is fine */
const char *sheet_book_part(const struct sheet_book *book); /* of the sheet */
bool sheet_book_1904(const struct sheet_book *book);
/* NULL if there is no such text. */
const char *sheet_book_text(const struct sheet_book *book, int64_t index);
/* Of enum sheet_style; 0: a plain number. */
unsigned sheet_book_style(const struct sheet_book *book, int64_t index);

#endif
