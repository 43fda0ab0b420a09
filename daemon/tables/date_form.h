/* How a file writes its dates: YYYY or YY (of this century), MM, DD, hh, mm and ss stand for their
 * digits, AM for AM or PM, all else for itself. A number of two digits may lack its leading zero.
 */
#ifndef ODDLOAF_TABLES_DATE_FORM_H
#define ODDLOAF_TABLES_DATE_FORM_H

#include <stdbool.h>
#include <stdint.h>

struct date_form_read {
    int32_t day;      /* since 1970-01-01 */
    int hour, minute; /* -1: the form has no time */
    int second;       /* 0 where the form has none */
};

/* Year, month and day once each; hour and minute both or neither, once; seconds and AM only with
 * them. *ret_timed: it has a time. */
bool date_form_is(const char *form, bool *ret_timed);
/* False if the text is not written so, or is no real date or time. Blanks around it don't count. */
bool date_form_read(const char *form, const char *text, struct date_form_read *ret);

#endif
