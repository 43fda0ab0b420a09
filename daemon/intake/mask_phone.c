#include "intake/mask_phone.h"
#include "base/text.h"
#include <assert.h>
#include <ctype.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { DIGITS_LEAST = 7, DIGITS_MOST = 15, OWN_LEAST = 5, BETWEEN_MOST = 3, DIGITS_SIZE = 64 };

/* How numbers are said: one digit; both digits; the first of two, of which the second may follow;
 * what follows a digit ("eight hundred"); that a digit comes twice or three times; a letter that is
 * a digit only among others. */
enum spoken { DIGIT, PAIR, TENS, HUNDRED, TIMES, LETTER };

/* By the alphabet. */
static const struct spoken_word {
    const char *word, *digits;
    enum spoken is;
} SPOKEN[] = {{"acht", "8", DIGIT},       {"achtzig", "80", PAIR},     {"catorce", "14", PAIR},
              {"cero", "0", DIGIT},       {"cien", "100", PAIR},       {"cinco", "5", DIGIT},
              {"cincuenta", "5", TENS},   {"cuarenta", "4", TENS},     {"cuatro", "4", DIGIT},
              {"diecinueve", "19", PAIR}, {"dieciocho", "18", PAIR},   {"dieciseis", "16", PAIR},
              {"diecisiete", "17", PAIR}, {"dieciséis", "16", PAIR},   {"diez", "10", PAIR},
              {"doble", "2", TIMES},      {"doce", "12", PAIR},        {"dos", "2", DIGIT},
              {"double", "2", TIMES},     {"drei", "3", DIGIT},        {"dreissig", "30", PAIR},
              {"dreißig", "30", PAIR},    {"eight", "8", DIGIT},       {"eighteen", "18", PAIR},
              {"eighty", "8", TENS},      {"ein", "1", DIGIT},         {"eins", "1", DIGIT},
              {"eleven", "11", PAIR},     {"elf", "11", PAIR},         {"fifteen", "15", PAIR},
              {"fifty", "5", TENS},       {"five", "5", DIGIT},        {"forty", "4", TENS},
              {"four", "4", DIGIT},       {"fourteen", "14", PAIR},    {"fourty", "4", TENS},
              {"fuenf", "5", DIGIT},      {"fuenfzig", "50", PAIR},    {"fünf", "5", DIGIT},
              {"fünfzig", "50", PAIR},    {"hundert", "00", HUNDRED},  {"hundred", "00", HUNDRED},
              {"neun", "9", DIGIT},       {"neunzig", "90", PAIR},     {"nine", "9", DIGIT},
              {"nineteen", "19", PAIR},   {"ninety", "9", TENS},       {"nought", "0", DIGIT},
              {"noventa", "9", TENS},     {"nueve", "9", DIGIT},       {"null", "0", DIGIT},
              {"o", "0", LETTER},         {"ochenta", "8", TENS},      {"ocho", "8", DIGIT},
              {"oh", "0", DIGIT},         {"once", "11", PAIR},        {"one", "1", DIGIT},
              {"quince", "15", PAIR},     {"sechs", "6", DIGIT},       {"sechzig", "60", PAIR},
              {"seis", "6", DIGIT},       {"sesenta", "6", TENS},      {"setenta", "7", TENS},
              {"seven", "7", DIGIT},      {"seventeen", "17", PAIR},   {"seventy", "7", TENS},
              {"sieben", "7", DIGIT},     {"siebzig", "70", PAIR},     {"siete", "7", DIGIT},
              {"six", "6", DIGIT},        {"sixteen", "16", PAIR},     {"sixty", "6", TENS},
              {"ten", "10", PAIR},        {"thirteen", "13", PAIR},    {"thirty", "3", TENS},
              {"three", "3", DIGIT},      {"trece", "13", PAIR},       {"treinta", "3", TENS},
              {"tres", "3", DIGIT},       {"triple", "3", TIMES},      {"twelve", "12", PAIR},
              {"twenty", "2", TENS},      {"two", "2", DIGIT},         {"uno", "1", DIGIT},
              {"veinte", "20", PAIR},     {"veinticinco", "25", PAIR}, {"veinticuatro", "24", PAIR},
              {"veintidos", "22", PAIR},  {"veintidós", "22", PAIR},   {"veintinueve", "29", PAIR},
              {"veintiocho", "28", PAIR}, {"veintiseis", "26", PAIR},  {"veintisiete", "27", PAIR},
              {"veintiséis", "26", PAIR}, {"veintitres", "23", PAIR},  {"veintitrés", "23", PAIR},
              {"veintiuno", "21", PAIR},  {"vier", "4", DIGIT},        {"vierzig", "40", PAIR},
              {"zehn", "10", PAIR},       {"zero", "0", DIGIT},        {"zwanzig", "20", PAIR},
              {"zwei", "2", DIGIT},       {"zwo", "2", DIGIT},         {"zwoelf", "12", PAIR},
              {"zwölf", "12", PAIR}};
enum { SPOKEN_COUNT = sizeof SPOKEN / sizeof SPOKEN[0] };

/* The zeros of digits that are not ASCII: Arabic, Persian, Devanagari, Bengali, full width. */
static const struct {
    unsigned char lead[3]; /* before the last byte; 0 ends */
    unsigned char zero;
} SCRIPTS[] = {{{0xD9}, 0xA0},
               {{0xDB}, 0xB0},
               {{0xE0, 0xA5}, 0xA6},
               {{0xE0, 0xA7}, 0xA6},
               {{0xEF, 0xBC}, 0x90}};

static const char *const BETWEEN[] = {" ",
                                      "-",
                                      ".",
                                      "/",
                                      "(",
                                      ")",
                                      "_",
                                      ",",
                                      "\xC2\xA0",
                                      "\xC2\xB7",
                                      "\xE2\x80\x89",
                                      "\xE2\x80\xAF",
                                      "\xE2\x80\xA2",
                                      "\xE2\x80\x90",
                                      "\xE2\x80\x91",
                                      "\xE2\x80\x92",
                                      "\xE2\x80\x93",
                                      "\xE2\x80\x94",
                                      "\xE2\x88\x92"};

/* ---- pieces ---- */

static bool is_letter(char c)
{
    return isalpha((unsigned char)c) || (unsigned char)c >= 0x80;
}

static int by_word(const void *word, const void *row)
{
    return strcmp(word, ((const struct spoken_word *)row)->word);
}

/* The row of the word there; SPOKEN_COUNT: it is none. */
static size_t row_at(const char *at)
{
    enum { WORD_MOST = 16 };
    char word[WORD_MOST];
    size_t length = 0;
    for (; is_letter(at[length]); length++) {
        if (length + 1 == WORD_MOST)
            return SPOKEN_COUNT;
        word[length] = (char)tolower((unsigned char)at[length]);
    }
    word[length] = '\0';
    const struct spoken_word *row =
        length ? bsearch(word, SPOKEN, SPOKEN_COUNT, sizeof SPOKEN[0], by_word) : NULL;
    return row ? (size_t)(row - SPOKEN) : SPOKEN_COUNT;
}

/* "five" behind "fifty", "fifty-" or "cincuenta y"; 0 if none is. */
static size_t second_at(const char *at, char *ret)
{
    static const char *const JOINTS[] = {" ", "-", " y "};
    for (size_t i = 0; i < sizeof JOINTS / sizeof JOINTS[0]; i++) {
        size_t length = strlen(JOINTS[i]);
        size_t row = strncasecmp(at, JOINTS[i], length) == 0 ? row_at(at + length) : SPOKEN_COUNT;
        if (row == SPOKEN_COUNT || SPOKEN[row].is != DIGIT || SPOKEN[row].digits[0] == '0')
            continue;
        *ret = SPOKEN[row].digits[0];
        return length + strlen(SPOKEN[row].word);
    }
    return 0;
}

/* "double five": 0 if no digit follows. */
static size_t times_at(const char *at, int times, char digits[MASK_PHONE_SPOKEN])
{
    size_t row = *at == ' ' ? row_at(at + 1) : SPOKEN_COUNT;
    if (row == SPOKEN_COUNT || (SPOKEN[row].is != DIGIT && SPOKEN[row].is != LETTER))
        return 0;
    memset(digits, SPOKEN[row].digits[0], (size_t)times);
    digits[times] = '\0';
    return 1 + strlen(SPOKEN[row].word);
}

size_t mask_phone_spoken_at(const char *at, bool among, char digits[MASK_PHONE_SPOKEN])
{
    size_t row = row_at(at), more = 0;
    if (row == SPOKEN_COUNT)
        return 0;
    const enum spoken is = SPOKEN[row].is;
    size_t length = strlen(SPOKEN[row].word);
    memcpy(digits, SPOKEN[row].digits, strlen(SPOKEN[row].digits) + 1);
    if (!among && (is == HUNDRED || is == LETTER))
        return 0;
    if (is == TENS) {
        digits[1] = '0';
        digits[2] = '\0';
        more = second_at(at + length, &digits[1]);
    } else if (is == TIMES) {
        more = times_at(at + length, SPOKEN[row].digits[0] - '0', digits);
        return more ? length + more : 0;
    }
    return length + more;
}

static size_t digit_at(const char *at, char *ret)
{
    *ret = *at;
    if (isdigit((unsigned char)*at))
        return 1;
    for (size_t i = 0; i < sizeof SCRIPTS / sizeof SCRIPTS[0]; i++) {
        size_t lead = strlen((const char *)SCRIPTS[i].lead);
        if (strncmp(at, (const char *)SCRIPTS[i].lead, lead) != 0)
            continue;
        unsigned last = (unsigned char)at[lead];
        if (last >= SCRIPTS[i].zero && last < SCRIPTS[i].zero + 10u) {
            *ret = (char)('0' + (last - SCRIPTS[i].zero));
            return lead + 1;
        }
    }
    return 0;
}

/* A letter O typed for a zero: in a word of digits only. `start`: before it is nothing to look at.
 */
static size_t oh_at(const char *start, const char *at, char *ret)
{
    static const char DIGITS[] = "0123456789Oo";
    if (*at != 'O' && *at != 'o')
        return 0;
    const char *from = at, *to = at;
    bool any = false;
    for (; from > start && strchr(DIGITS, from[-1]); from--)
        any = any || isdigit((unsigned char)from[-1]);
    for (; *to && strchr(DIGITS, *to); to++)
        any = any || isdigit((unsigned char)*to);
    *ret = '0';
    return any && !is_letter(*to) && (from == start || !is_letter(from[-1]));
}

static size_t digit_or_oh_at(const char *start, const char *at, char *ret)
{
    size_t size = digit_at(at, ret);
    return size ? size : oh_at(start, at, ret);
}

/* "five five five dash oh one": read out with what is between. */
static size_t joint_at(const char *at)
{
    static const char *const JOINTS[] = {"dash", "hyphen", "guion", "guión", "space", "then"};
    for (size_t i = 0; i < sizeof JOINTS / sizeof JOINTS[0]; i++) {
        size_t length = strlen(JOINTS[i]);
        if (strncasecmp(at, JOINTS[i], length) == 0 && at[length] == ' ')
            return length;
    }
    return 0;
}

static size_t between_at(const char *at)
{
    for (size_t i = 0; i < sizeof BETWEEN / sizeof BETWEEN[0]; i++) {
        size_t length = strlen(BETWEEN[i]);
        if (strncmp(at, BETWEEN[i], length) == 0)
            return length;
    }
    return 0;
}

/* ---- a number ---- */

struct number {
    char digits[DIGITS_SIZE];
    size_t count, length; /* digits, bytes */
    bool spoken;          /* ends in a word */
};

static void add_digits(struct number *n, const char *digits)
{
    for (; *digits && n->count + 1 < sizeof n->digits; digits++)
        n->digits[n->count++] = *digits;
}

/* Digits with a little between them; a comma only where they are spoken. */
static void read_number(const char *at, struct number *n)
{
    size_t length = *at == '+' || *at == '(';
    int between = 0;
    *n = (struct number){0};
    while (at[length] && between <= BETWEEN_MOST && n->count + 1 < sizeof n->digits) {
        char digits[MASK_PHONE_SPOKEN] = "";
        size_t size = digit_or_oh_at(at, at + length, digits);
        bool spoken = size == 0 && (between > 0 || n->count == 0);
        if (spoken)
            size = mask_phone_spoken_at(at + length, n->count > 0, digits);
        if (size) {
            add_digits(n, digits);
            n->length = length + size;
            n->spoken = spoken;
            between = 0;
        } else {
            bool none = n->count == 0 || (at[length] == ',' && !n->spoken);
            size = none ? 0 : between_at(at + length);
            size = size || !n->spoken ? size : joint_at(at + length);
            between++;
        }
        if (!size)
            break;
        length += size;
    }
    n->digits[n->count] = '\0';
}

/* " x12", " ext. 12": rung from inside. */
static size_t extension_at(const char *at)
{
    static const char *const WORDS[] = {"x", "ext.", "ext", "extension"};
    size_t blank = *at == ' ';
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        size_t length = blank + strlen(WORDS[i]);
        if (strncasecmp(at + blank, WORDS[i], strlen(WORDS[i])) != 0)
            continue;
        length += at[length] == ' ';
        size_t digits = strspn(at + length, "0123456789");
        if (digits > 0 && digits < DIGITS_LEAST && !is_letter(at[length + digits]))
            return length + digits;
    }
    return 0;
}

static size_t plain_digits(const char *text, char *out, size_t size)
{
    size_t count = 0;
    char digit;
    for (const char *at = text; at && *at && count + 1 < size; at++) {
        if (digit_or_oh_at(text, at, &digit))
            out[count++] = digit;
    }
    out[count] = '\0';
    return count;
}

/* The caller's own number may be said without its area. */
static bool is_own(const struct number *n, const struct mask_options *o)
{
    char own[DIGITS_SIZE];
    size_t least = o->sure ? DIGITS_LEAST : OWN_LEAST;
    const char *phone = json_string_value(json_object_get(o->contact, "phone"));
    size_t length = plain_digits(phone, own, sizeof own);
    return n->count >= least && n->count <= length &&
           strcmp(own + length - n->count, n->digits) == 0;
}

/* Each line is a code. */
static bool is_of_codes(const struct number *n, const char *codes)
{
    char digits[DIGITS_SIZE];
    while (codes && *codes) {
        size_t length = strcspn(codes, "\n");
        char *code = xstrndup(codes, length);
        bool of_it = plain_digits(code, digits, sizeof digits) && strstr(digits, n->digits);
        free(code);
        if (of_it)
            return true;
        codes += length + (codes[length] == '\n');
    }
    return false;
}

/* One of the words, NULL after the last, just before it. */
static bool is_behind(const char *text, const char *at, const char *const *words)
{
    while (at > text && strchr(" .:#", at[-1]))
        at--;
    for (; *words; words++) {
        size_t length = strlen(*words);
        if ((size_t)(at - text) >= length && strncasecmp(at - length, *words, length) == 0 &&
            ((size_t)(at - text) == length || !is_letter(at[-(long)length - 1])))
            return true;
    }
    return false;
}

static bool is_announced(const char *text, const char *at)
{
    static const char *const WORDS[] = {"tel",    "phone", "call",   "ring", "cell",
                                        "mobile", "fon",   "text",   "fax",  "telefono",
                                        "ph",     "mob",   "llamar", NULL};
    return is_behind(text, at, WORDS);
}

/* "purchase order 4500123456": digits in one, behind what is numbered so. */
static bool is_paper(const char *text, const char *at, size_t length)
{
    static const char *const WORDS[] = {"purchase order",   "work order",  "order no",
                                        "order number",     "po",          "po no",
                                        "invoice",          "invoice no",  "delivery note",
                                        "delivery note no", "credit note", "orden de compra",
                                        "factura",          "Rechnung",    "Lieferschein",
                                        "Bestellung",       NULL};
    return strspn(at, "0123456789") == length && is_behind(text, at, WORDS);
}

/* +1…, (607) 555-0142, 607-555-0142: nobody writes a code or a ticket like that. */
static bool is_dialled(const char *at, size_t length)
{
    static const char *const SHAPES[] = {"(999) 999-9999", "(999)999-9999", "999-999-9999",
                                         "999.999.9999"};
    if (*at == '+')
        return true;
    for (size_t i = 0; i < sizeof SHAPES / sizeof SHAPES[0]; i++) {
        size_t k = 0;
        while (k < length && SHAPES[i][k] &&
               (SHAPES[i][k] == '9' ? isdigit((unsigned char)at[k]) : at[k] == SHAPES[i][k]))
            k++;
        if (k == length && !SHAPES[i][k])
            return true;
    }
    return false;
}

size_t mask_phone_at(const char *text, const char *at, const struct mask_options *o)
{
    assert(at >= text);
    struct number n;
    read_number(at, &n);
    if (n.count == 0)
        return 0;
    size_t extension = extension_at(at + n.length);
    if (!extension && isalpha((unsigned char)at[n.length]))
        return 0;
    if (is_own(&n, o))
        return n.length + extension;
    bool rung = *at == '+' || is_announced(text, at);
    if (n.count < DIGITS_LEAST || n.count > DIGITS_MOST || (!rung && is_of_codes(&n, o->codes)))
        return 0;
    if (is_paper(text, at, n.length))
        return 0;
    if (o->sure && !rung && !is_dialled(at, n.length)) {
        if (o->unsure)
            *o->unsure = true;
        return 0;
    }
    return n.length + extension;
}

char *mask_digits(const char *at, size_t length, char *out, size_t size)
{
    size_t count = 0;
    const char *start = at;
    for (const char *end = at + length; at < end && count + 1 < size;) {
        char digits[MASK_PHONE_SPOKEN] = "";
        size_t bytes = digit_or_oh_at(start, at, digits);
        bool begins = at == start || !is_letter(at[-1]);
        if (!bytes && begins)
            bytes = mask_phone_spoken_at(at, count > 0, digits);
        for (const char *digit = digits; bytes && *digit && count + 1 < size; digit++)
            out[count++] = *digit;
        at += bytes ? bytes : 1;
    }
    out[count] = '\0';
    return out;
}

/* ---- what is none ---- */

static bool has_shape(const char *at, const char *shape)
{
    size_t i = 0;
    for (; shape[i]; i++)
        if (shape[i] == '9' ? !isdigit((unsigned char)at[i]) : at[i] != shape[i])
            return false;
    return !isdigit((unsigned char)at[i]);
}

/* GTIN-12, -13, -14: the last digit checks the others (GS1 General Specifications 7.9). */
static bool is_article(const char *digits, size_t count)
{
    int sum = 0;
    if (count < 12 || count > 14)
        return false;
    for (size_t i = 0; i + 1 < count; i++)
        sum += (digits[i] - '0') * ((count - 1 - i) % 2 ? 3 : 1);
    return (10 - sum % 10) % 10 == digits[count - 1] - '0';
}

size_t mask_phone_not_at(const char *at)
{
    static const char *const DATES[] = {"9999-99-99", "99.99.9999", "99/99/9999", "9.9.9999",
                                        "9/9/9999",   "99/9/9999",  "9/99/9999",  "9.99.9999",
                                        "99.9.9999",  "9999/99/99", "9999.99.99", "99-99-9999"};
    for (size_t i = 0; i < sizeof DATES / sizeof DATES[0]; i++)
        if (has_shape(at, DATES[i]))
            return strlen(DATES[i]);
    size_t digits = strspn(at, "0123456789");
    bool day = digits == 8 && (strncmp(at, "20", 2) == 0) && strncmp(at + 4, "12", 2) <= 0 &&
               strncmp(at + 6, "31", 2) <= 0;
    return day || is_article(at, digits) ? digits : 0;
}
