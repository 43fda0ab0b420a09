#include "base/phone_key.h"
#include <ctype.h>
#include <string.h>

enum { DIGITS_LEAST = 5, DIGITS_TOLD = 9 };

static bool is_number(const char *folded)
{
    size_t digits = 0;
    for (const char *p = folded; *p; p++) {
        if (isalpha((unsigned char)*p))
            return false;
        digits += isdigit((unsigned char)*p) != 0;
    }
    return digits >= DIGITS_LEAST;
}

bool phone_key(const char *folded, char *out, size_t size)
{
    size_t count = 0;
    if (!is_number(folded))
        return false;
    out[count++] = '#';
    const char *begin = folded + strspn(folded, "0+ -./()");
    for (const char *p = begin + strlen(begin);
         p > begin && count <= DIGITS_TOLD && count + 1 < size;) {
        if (isdigit((unsigned char)*--p))
            out[count++] = *p;
    }
    out[count] = '\0';
    return true;
}
