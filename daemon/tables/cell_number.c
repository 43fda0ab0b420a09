#include "tables/cell_number.h"
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* A sign of thousands at `at`: three digits behind it, and no fourth. */
static bool groups(const char *at, char thousands)
{
    return thousands && *at == thousands && is_digit(at[1]) && is_digit(at[2]) && is_digit(at[3]) &&
           !is_digit(at[4]);
}

/* e3, E-05; behind it no letter, for "5 eggs" is no number. */
static const char *exponent(const char *at, char *out, size_t *length)
{
    const char *p = at + 1;
    if (*at != 'e' && *at != 'E')
        return at;
    p += *p == '+' || *p == '-';
    size_t digits = strspn(p, "0123456789");
    if (digits == 0 || digits > 3 || *length + 6 > 38)
        return at;
    for (const char *c = at; c < p + digits; c++)
        out[(*length)++] = *c;
    return p + digits;
}

bool cell_number(const char *text, char decimal, char thousands, char out[static 40],
                 const char **ret_rest)
{
    size_t length = 0, before = 0;
    bool grouped = false, decimals = false;
    const char *at = text + strspn(text, " ");
    if (*at == '-' || *at == '+')
        out[length++] = *at++;
    for (; length < 38; at++) {
        if (is_digit(*at)) {
            out[length++] = *at;
            before++;
        } else if (!decimals && before > 0 && (grouped || before <= 3) && groups(at, thousands)) {
            grouped = true;
        } else if (!decimals && *at == decimal && is_digit(at[1])) {
            decimals = true;
            out[length++] = '.';
        } else {
            break;
        }
    }
    if (before == 0)
        return false;
    at = exponent(at, out, &length);
    out[length] = '\0';
    *ret_rest = at + strspn(at, " ");
    return !is_digit(*at) && *at != decimal && *at != '.' && *at != ',' &&
           !(thousands && *at == thousands && is_digit(at[1]));
}
