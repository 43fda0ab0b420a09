#include "tables/text_kind.h"
#include <stdbool.h>

/* The Unicode Standard, 23.8 and D98: a byte order mark, or every other byte of plain text is 0. */
static bool is_wide(const unsigned char *head, size_t length)
{
    bool marked = length >= 2 &&
                  ((head[0] == 0xff && head[1] == 0xfe) || (head[0] == 0xfe && head[1] == 0xff));
    bool low = length >= 4 && head[0] && !head[1] && !head[3];
    bool high = length >= 4 && !head[0] && !head[2] && head[3];
    return marked || low || high;
}

int text_kind_check(const void *head, size_t length, struct error *err)
{
    if (!is_wide(head, length))
        return 0;
    error_hint(err, "save it as CSV UTF-8, or as .xlsx; iconv -f UTF-16 -t UTF-8 makes it so, too");
    return error_set(err, ERROR_INVALID, "is UTF-16, as spreadsheets save Unicode text");
}
