/* What people call cases and holds: a letter and a number, "C12", "H7". */
#ifndef ODDLOAF_BASE_SHORT_ID_H
#define ODDLOAF_BASE_SHORT_ID_H

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

enum { SHORT_ID_CASE = 'C', SHORT_ID_HOLD = 'H', SHORT_ID_TEXT = 24 };

/* Returns `buffer`. */
char *short_id_format(char letter, int64_t number, char buffer[static SHORT_ID_TEXT]);
/* New reference; null for 0: there is none. */
json_t *short_id_json(char letter, int64_t number);
/* "C12", "c12" and "12"; the number is above 0. False, and *ret stays, if it is not such a name. */
bool short_id_parse(char letter, const char *text, int64_t *ret);

/* As an argument: the text lives as long as the block that it stands in. */
#define CASE_ID(number) short_id_format(SHORT_ID_CASE, (number), (char[SHORT_ID_TEXT]){0})
#define HOLD_ID(number) short_id_format(SHORT_ID_HOLD, (number), (char[SHORT_ID_TEXT]){0})
#define CASE_ID_JSON(number) short_id_json(SHORT_ID_CASE, (number))

#endif
