#include "base/uuid.h"
#include <assert.h>
#include <errno.h>
#include <stddef.h>
#include <stdlib.h>
#include <sys/random.h>

static void random_bytes(unsigned char *out, size_t length)
{
    while (length > 0) {
        ssize_t n = getrandom(out, length, 0);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            abort(); /* names must not repeat: without randomness there is no going on */
        out += n;
        length -= (size_t)n;
    }
}

static bool is_dash_place(size_t i)
{
    return i == 8 || i == 13 || i == 18 || i == 23;
}

void uuid_v7(int64_t unix_ms, char out[static UUID_TEXT])
{
    static const char digits[] = "0123456789abcdef";
    unsigned char b[16];
    uint64_t ms = unix_ms > 0 ? (uint64_t)unix_ms : 0;
    for (int i = 0; i < 6; i++)
        b[i] = (unsigned char)(ms >> (40 - 8 * i) & 0xFF);
    random_bytes(b + 6, sizeof b - 6);
    b[6] = (unsigned char)(0x70 | (b[6] & 0x0F)); /* version 7 */
    b[8] = (unsigned char)(0x80 | (b[8] & 0x3F)); /* variant 10 */

    size_t nibble = 0;
    for (size_t i = 0; i < UUID_TEXT - 1; i++) {
        if (is_dash_place(i)) {
            out[i] = '-';
            continue;
        }
        unsigned char byte = b[nibble / 2];
        out[i] = digits[nibble % 2 ? byte & 0x0F : byte >> 4];
        nibble++;
    }
    assert(nibble == 2 * sizeof b);
    out[UUID_TEXT - 1] = '\0';
}

/* The lower-case digit, or 0 if `c` is no hexadecimal digit. */
static char hex_lower(char c)
{
    if (c >= 'A' && c <= 'F')
        return (char)(c + ('a' - 'A'));
    return (char)((c >= '0' && c <= '9') || (c >= 'a' && c <= 'f') ? c : 0);
}

bool uuid_normalize(const char *s, char *out)
{
    char lower[UUID_TEXT];
    if (!s)
        return false;
    for (size_t i = 0; i < UUID_TEXT - 1; i++) {
        lower[i] = is_dash_place(i) ? (char)(s[i] == '-' ? '-' : 0) : hex_lower(s[i]);
        if (!lower[i])
            return false;
    }
    lower[UUID_TEXT - 1] = '\0';
    if (s[UUID_TEXT - 1] != '\0')
        return false;
    for (size_t i = 0; out && i < UUID_TEXT; i++)
        out[i] = lower[i];
    return true;
}
