#include "base/letter.h"
#include <assert.h>

enum { DIGITS = 4 };

size_t letter_utf8(uint32_t letter, char out[LETTER_BYTES])
{
    static const unsigned char FIRST[] = {0, 0, 0xC0, 0xE0, 0xF0};
    assert(letter <= 0x10FFFF);
    size_t count = letter < 0x80 ? 1 : letter < 0x800 ? 2 : letter < 0x10000 ? 3 : 4;
    for (size_t i = count; i-- > 1; letter >>= 6)
        out[i] = (char)(0x80 | (letter & 0x3F));
    out[0] = (char)(FIRST[count] | letter);
    return count;
}

static int digit_of(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

bool letter_hex(const char *at, size_t length, uint32_t *ret)
{
    uint32_t value = 0;
    for (size_t i = 0; i < DIGITS; i++) {
        int digit = i < length ? digit_of(at[i]) : -1;
        if (digit < 0)
            return false;
        value = value << 4 | (uint32_t)digit;
    }
    *ret = value;
    return true;
}
