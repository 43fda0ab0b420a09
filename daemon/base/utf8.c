/* The half of text.h that looks at characters. */
#include "base/latin_letters.h"
#include "base/text.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* Decodes one character of at most `length` bytes. Returns its bytes, or 0 where RFC 3629 is
 * broken: stray or missing continuation, overlong form, surrogate, beyond U+10FFFF. */
static size_t decode(const unsigned char *s, size_t length, uint32_t *ret)
{
    assert(length > 0);
    static const struct {
        unsigned char mask, lead;
        uint32_t least;
    } forms[] = {{0x80, 0x00, 0}, {0xE0, 0xC0, 0x80}, {0xF0, 0xE0, 0x800}, {0xF8, 0xF0, 0x10000}};

    for (size_t extra = 0; extra < 4; extra++) {
        if ((s[0] & forms[extra].mask) != forms[extra].lead)
            continue;
        if (extra >= length)
            return 0;
        uint32_t c = s[0] & (unsigned char)~forms[extra].mask;
        for (size_t i = 1; i <= extra; i++) {
            if ((s[i] & 0xC0) != 0x80)
                return 0;
            c = c << 6 | (s[i] & 0x3F);
        }
        if (c < forms[extra].least || c > 0x10FFFF || (c >= 0xD800 && c <= 0xDFFF))
            return 0;
        *ret = c;
        return extra + 1;
    }
    return 0;
}

/* Walks a terminated string; a malformed byte comes out as U+FFFD. */
static uint32_t next(const char **s)
{
    assert(**s); /* the end is no character */
    uint32_t c = (unsigned char)**s;
    if (c < 0x80) {
        ++*s;
        return c;
    }
    const unsigned char *bytes = (const unsigned char *)*s;
    size_t size = decode(bytes, strnlen(*s, 4), &c);
    if (size == 0) {
        size = 1;
        c = 0xFFFD;
    }
    *s += size;
    return c;
}

/* Of these eight bytes, is each a character of its own and none NUL? */
static bool is_plain(const char *s)
{
    static const uint64_t LOW = 0x0101010101010101, HIGH = 0x8080808080808080;
    uint64_t eight;
    memcpy(&eight, s, sizeof eight);
    return ((eight | (eight - LOW)) & HIGH) == 0; /* a 0 borrows */
}

size_t text_utf8_prefix(const char *s, size_t length)
{
    assert(s || length == 0);
    size_t at = 0;
    while (at < length) {
        uint32_t c = 0;
        if (length - at >= sizeof(uint64_t) && is_plain(s + at)) {
            at += sizeof(uint64_t);
            continue;
        }
        size_t size = decode((const unsigned char *)s + at, length - at, &c);
        if (size == 0 || c == 0)
            break;
        at += size;
    }
    return at;
}

bool text_is_utf8(const char *s, size_t length)
{
    return text_utf8_prefix(s, length) == length;
}

/* Quotes and dashes of Windows-1252 between 80 and 9F as ASCII has them; all others there are rarer
 * than a slip. */
static char plain_sign(unsigned char c)
{
    static const char SIGNS[] = "\x91'\x92'\x93\"\x94\"\x96-\x97-";
    for (const char *at = SIGNS; *at; at += 2)
        if ((unsigned char)*at == c)
            return at[1];
    return ' ';
}

char *text_as_utf8(const char *s, size_t length)
{
    struct text_buffer out = {0};
    size_t at = 0;
    text_append(&out, "");
    while (at < length) {
        size_t good = text_utf8_prefix(s + at, length - at);
        text_append_bytes(&out, s + at, good);
        at += good;
        if (at == length)
            break;
        unsigned char c = (unsigned char)s[at++];
        char two[2] = {(char)(0xC0 | c >> 6), (char)(0x80 | (c & 0x3F))}; /* U+00A0 and on */
        char one = c < 0xA0 ? plain_sign(c) : '\0';
        text_append_bytes(&out, one ? &one : two, one ? 1 : 2);
    }
    return text_take(&out);
}

/* ---- columns ---- */

struct range {
    uint32_t first, last;
};

static bool within(uint32_t c, const struct range *ranges, size_t count)
{
    size_t low = 0;
    size_t high = count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (c > ranges[middle].last)
            low = middle + 1;
        else if (c < ranges[middle].first)
            high = middle;
        else
            return true;
    }
    return false;
}

#define WITHIN(c, table) within((c), (table), sizeof(table) / sizeof *(table))

/* Own tables rather than wcwidth(3), whose answer depends on the locale; after the Unicode
 * Character Database, version 14. Zero: categories Mn, Me and Cf of the scripts likely in names of
 * products and stores, and the skin tones. Two: East Asian Width W and F, unassigned gaps bridged.
 */
static const struct range zero_columns[] = {
    {0x0300, 0x036F}, {0x0483, 0x0489},   {0x0591, 0x05BD},   {0x05BF, 0x05BF}, {0x05C1, 0x05C2},
    {0x05C4, 0x05C5}, {0x0610, 0x061A},   {0x064B, 0x065F},   {0x0670, 0x0670}, {0x06D6, 0x06DC},
    {0x06DF, 0x06E4}, {0x06E7, 0x06E8},   {0x06EA, 0x06ED},   {0x093C, 0x093C}, {0x0941, 0x0948},
    {0x094D, 0x094D}, {0x0E31, 0x0E31},   {0x0E34, 0x0E3A},   {0x0E47, 0x0E4E}, {0x1AB0, 0x1AFF},
    {0x1DC0, 0x1DFF}, {0x200B, 0x200F},   {0x202A, 0x202E},   {0x2060, 0x2064}, {0x2066, 0x206F},
    {0x20D0, 0x20F0}, {0x302A, 0x302D},   {0x3099, 0x309A},   {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F},
    {0xFEFF, 0xFEFF}, {0x1F3FB, 0x1F3FF}, {0xE0100, 0xE01EF},
};
static const struct range two_columns[] = {
    {0x1100, 0x115F},   {0x231A, 0x231B},   {0x2329, 0x232A},   {0x23E9, 0x23EC},
    {0x23F0, 0x23F0},   {0x23F3, 0x23F3},   {0x25FD, 0x25FE},   {0x2614, 0x2615},
    {0x2648, 0x2653},   {0x267F, 0x267F},   {0x2693, 0x2693},   {0x26A1, 0x26A1},
    {0x26AA, 0x26AB},   {0x26BD, 0x26BE},   {0x26C4, 0x26C5},   {0x26CE, 0x26CE},
    {0x26D4, 0x26D4},   {0x26EA, 0x26EA},   {0x26F2, 0x26F3},   {0x26F5, 0x26F5},
    {0x26FA, 0x26FA},   {0x26FD, 0x26FD},   {0x2705, 0x2705},   {0x270A, 0x270B},
    {0x2728, 0x2728},   {0x274C, 0x274C},   {0x274E, 0x274E},   {0x2753, 0x2755},
    {0x2757, 0x2757},   {0x2795, 0x2797},   {0x27B0, 0x27B0},   {0x27BF, 0x27BF},
    {0x2B1B, 0x2B1C},   {0x2B50, 0x2B50},   {0x2B55, 0x2B55},   {0x2E80, 0x303E},
    {0x3041, 0x3247},   {0x3250, 0x4DBF},   {0x4E00, 0xA4C6},   {0xA960, 0xA97C},
    {0xAC00, 0xD7A3},   {0xF900, 0xFAD9},   {0xFE10, 0xFE6B},   {0xFF01, 0xFF60},
    {0xFFE0, 0xFFE6},   {0x16FE0, 0x1B2FB}, {0x1F004, 0x1F004}, {0x1F0CF, 0x1F0CF},
    {0x1F18E, 0x1F18E}, {0x1F191, 0x1F19A}, {0x1F200, 0x1F320}, {0x1F32D, 0x1F335},
    {0x1F337, 0x1F37C}, {0x1F37E, 0x1F393}, {0x1F3A0, 0x1F3CA}, {0x1F3CF, 0x1F3D3},
    {0x1F3E0, 0x1F3F0}, {0x1F3F4, 0x1F3F4}, {0x1F3F8, 0x1F43E}, {0x1F440, 0x1F440},
    {0x1F442, 0x1F4FC}, {0x1F4FF, 0x1F53D}, {0x1F54B, 0x1F54E}, {0x1F550, 0x1F567},
    {0x1F57A, 0x1F57A}, {0x1F595, 0x1F596}, {0x1F5A4, 0x1F5A4}, {0x1F5FB, 0x1F64F},
    {0x1F680, 0x1F6C5}, {0x1F6CC, 0x1F6CC}, {0x1F6D0, 0x1F6D2}, {0x1F6D5, 0x1F6DF},
    {0x1F6EB, 0x1F6EC}, {0x1F6F4, 0x1F6FC}, {0x1F7E0, 0x1F7F0}, {0x1F90C, 0x1F93A},
    {0x1F93C, 0x1F945}, {0x1F947, 0x1F9FF}, {0x1FA70, 0x1FAF6}, {0x20000, 0x3FFFD},
};

int text_columns(const char *s)
{
    int columns = 0;
    while (*s) {
        uint32_t c = next(&s);
        if (c < 0x20 || (c >= 0x7F && c < 0xA0) || WITHIN(c, zero_columns))
            continue;
        columns += WITHIN(c, two_columns) ? 2 : 1;
    }
    return columns;
}

/* ---- folding ---- */

static char lower(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c + ('a' - 'A') : c);
}

/* The letters as a terminated text, a capital's as capitals; "" is not Latin. */
static const char *latin_of(uint32_t c)
{
    static const char ASCII[2][26][2] = {
        {"A", "B", "C", "D", "E", "F", "G", "H", "I", "J", "K", "L", "M",
         "N", "O", "P", "Q", "R", "S", "T", "U", "V", "W", "X", "Y", "Z"},
        {"a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k", "l", "m",
         "n", "o", "p", "q", "r", "s", "t", "u", "v", "w", "x", "y", "z"}};
    for (size_t i = 0; i < sizeof LATIN / sizeof LATIN[0] && c >= LATIN[i].first; i++)
        if (c <= LATIN[i].last)
            return LATIN[i].base[c - LATIN[i].first];
    if (c >= 0xFF21 && c <= 0xFF5A && (c - 0xFF21) % 32 < 26) /* of full width */
        return ASCII[(c - 0xFF21) / 32][(c - 0xFF21) % 32];
    if (c >= 0x1D400 && c <= 0x1D6A3) /* of mathematics: bold, script and so on */
        return ASCII[(c - 0x1D400) / 26 % 2][(c - 0x1D400) % 26];
    return "";
}

/* An accent of its own, after its letter. */
static bool is_accent(uint32_t c)
{
    return (c >= 0x0300 && c <= 0x036F) || (c >= 0x1AB0 && c <= 0x1AFF) ||
           (c >= 0x1DC0 && c <= 0x1DFF) || (c >= 0x20D0 && c <= 0x20F0);
}

/* Greek, Cyrillic and Armenian: all of two bytes, before and after. */
static uint32_t lower_other(uint32_t c)
{
    static const struct {
        uint32_t first, last;
        int add;
    } RANGES[] = {{0x391, 0x3A1, 32},
                  {0x3A3, 0x3A9, 32},
                  {0x400, 0x40F, 80},
                  {0x410, 0x42F, 32},
                  {0x531, 0x556, 48}};
    /* with an accent, or at the end of a word, and what it is without */
    static const uint32_t PLAIN[][2] = {
        {0x386, 0x3B1}, {0x390, 0x3B9}, {0x3AA, 0x3B9}, {0x3AB, 0x3C5}, {0x3B0, 0x3C5},
        {0x388, 0x3B5}, {0x389, 0x3B7}, {0x38A, 0x3B9}, {0x38C, 0x3BF}, {0x38E, 0x3C5},
        {0x38F, 0x3C9}, {0x3AC, 0x3B1}, {0x3AD, 0x3B5}, {0x3AE, 0x3B7}, {0x3AF, 0x3B9},
        {0x3C2, 0x3C3}, {0x3CA, 0x3B9}, {0x3CB, 0x3C5}, {0x3CC, 0x3BF}, {0x3CD, 0x3C5},
        {0x3CE, 0x3C9}, {0x400, 0x435}, {0x401, 0x435}, {0x403, 0x433}, {0x407, 0x456},
        {0x40C, 0x43A}, {0x40D, 0x438}, {0x40E, 0x443}, {0x419, 0x438}, {0x439, 0x438},
        {0x450, 0x435}, {0x451, 0x435}, {0x453, 0x433}, {0x457, 0x456}, {0x45C, 0x43A},
        {0x45D, 0x438}, {0x45E, 0x443}};
    for (size_t i = 0; i < sizeof PLAIN / sizeof PLAIN[0]; i++)
        if (PLAIN[i][0] == c)
            return PLAIN[i][1];
    for (size_t i = 0; i < sizeof RANGES / sizeof RANGES[0]; i++)
        if (c >= RANGES[i].first && c <= RANGES[i].last)
            return c + (uint32_t)RANGES[i].add;
    return c >= 0x460 && c <= 0x52F && c % 2 == 0 ? c + 1 : c;
}

static bool is_blank(uint32_t c)
{
    if (c < 0x85)
        return c == ' ' || (c >= '\t' && c <= '\r');
    return c == 0x85 || c == 0xA0 || c == 0x1680 || (c >= 0x2000 && c <= 0x200A) || c == 0x2028 ||
           c == 0x2029 || c == 0x202F || c == 0x205F || c == 0x3000;
}

/* Appends if it fits whole with its NUL; once something did not fit, `*left` stays 0. */
static bool put(char **out, size_t *left, const char *bytes, size_t length)
{
    assert(bytes && length > 0);
    if (length + 1 > *left) {
        *left = 0;
        return false;
    }
    memcpy(*out, bytes, length);
    *out += length;
    *left -= length;
    return true;
}

/* What ASCII has from "!" to "~", as wide as a Chinese character: some keyboards write so. */
enum { FULL_WIDTH_FIRST = 0xFF01, FULL_WIDTH_LAST = 0xFF5E };

/* Returns the bytes of what stands for the character; 0: itself. */
static size_t fold_char(uint32_t c, char out[4])
{
    if (c < 0x80) {
        out[0] = lower((char)c);
        return 1;
    }
    if (c == 0xFFFD) {
        out[0] = '?';
        return 1;
    }
    if (c >= FULL_WIDTH_FIRST && c <= FULL_WIDTH_LAST) {
        out[0] = lower((char)('!' + (c - FULL_WIDTH_FIRST)));
        return 1;
    }
    if (c >= 0x386 && c <= 0x556) {
        uint32_t low = lower_other(c);
        out[0] = (char)(0xC0 | low >> 6);
        out[1] = (char)(0x80 | (low & 0x3F));
        return 2;
    }
    size_t length = 0;
    for (const char *latin = latin_of(c); latin[length]; length++)
        out[length] = lower(latin[length]);
    return length;
}

char *text_fold(const char *s, char *out, size_t size)
{
    char *end = out;
    size_t left = size;
    bool blank = false;
    while (*s) {
        const char *from = s;
        bool plain = *s > ' ' && *s <= '~'; /* as most are */
        if (plain && !blank && left > 1) {
            *end++ = lower(*s++);
            left--;
            continue;
        }
        uint32_t c = plain ? (uint32_t)*s++ : next(&s);
        if (is_blank(c)) {
            blank = end > out;
            continue;
        }
        if (is_accent(c))
            continue;
        if (blank && !put(&end, &left, " ", 1))
            break;
        blank = false;
        char folded[4] = "";
        size_t length = fold_char(c, folded);
        if (!put(&end, &left, length ? folded : from, length ? length : (size_t)(s - from)))
            break;
    }
    if (size)
        *end = '\0';
    return out;
}

bool text_is_capital(const char *s)
{
    uint32_t c = *s ? next(&s) : 0;
    if (c < 0x80)
        return c >= 'A' && c <= 'Z';
    if (c >= 0x386 && c <= 0x556)
        return (c <= 0x3AB && c != 0x390) || (c >= 0x400 && c <= 0x42F) ||
               (c >= 0x460 && c <= 0x52F && c % 2 == 0) || c >= 0x531;
    char first = latin_of(c)[0];
    return first >= 'A' && first <= 'Z';
}

/* Characters that move a terminal's cursor or turn the reading direction of what follows. */
static bool is_control(uint32_t c)
{
    return c < 0x20 || (c >= 0x7F && c < 0xA0) || c == 0x2028 || c == 0x2029 ||
           (c >= 0x202A && c <= 0x202E) || (c >= 0x2066 && c <= 0x2069);
}

char *text_clip(const char *s, char *out, size_t size)
{
    char *end = out;
    size_t left = size;
    while (*s) {
        const char *from = s;
        uint32_t c = next(&s);
        bool fits = is_control(c) || c == 0xFFFD ? put(&end, &left, "?", 1)
                                                 : put(&end, &left, from, (size_t)(s - from));
        if (!fits)
            break;
    }
    if (size)
        *end = '\0';
    return out;
}

size_t text_control_at(const char *s, unsigned *ret_code)
{
    const char *end = s;
    uint32_t c = *s ? next(&end) : ' ';
    *ret_code = c;
    return is_control(c) ? (size_t)(end - s) : 0;
}

char *text_tame(const char *s, const char *kept)
{
    struct text_buffer out = {0};
    bool same = true;
    while (*s) {
        const char *from = s;
        uint32_t c = next(&s);
        bool tame = !is_control(c) || (c < 0x80 && strchr(kept, (int)c));
        text_append_bytes(&out, tame ? from : " ", tame ? (size_t)(s - from) : 1);
        same = same && tame;
    }
    char *tamed = text_take(&out);
    if (same) {
        free(tamed);
        return NULL;
    }
    return tamed;
}

bool text_equal_fold(const char *a, const char *b)
{
    while (*a && lower(*a) == lower(*b)) {
        a++;
        b++;
    }
    return lower(*a) == lower(*b);
}
