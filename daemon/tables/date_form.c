#include "tables/date_form.h"
#include "base/when.h"
#include <stddef.h>
#include <string.h>

/* What of a date or time a form's letters stand for. */
enum { YEAR, MONTH, DAY, HOUR, MINUTE, SECOND, HALF, PARTS };
static const struct {
    const char *letters;
    int part;
    size_t most; /* digits */
} LETTERS[] = {{"YYYY", YEAR, 4}, {"YY", YEAR, 2},   {"MM", MONTH, 2},  {"DD", DAY, 2},
               {"hh", HOUR, 2},   {"mm", MINUTE, 2}, {"ss", SECOND, 2}, {"AM", HALF, 0}};
enum { LETTER_COUNT = sizeof LETTERS / sizeof LETTERS[0] };

/* The letters at `at`, LETTER_COUNT if there are none. */
static size_t letters_at(const char *at)
{
    size_t i = 0;
    while (i < LETTER_COUNT && strncmp(at, LETTERS[i].letters, strlen(LETTERS[i].letters)) != 0)
        i++;
    return i;
}

bool date_form_is(const char *form, bool *ret_timed)
{
    int seen[PARTS] = {0};
    for (const char *at = form; *at;) {
        size_t i = letters_at(at);
        if (i < LETTER_COUNT)
            seen[LETTERS[i].part]++;
        at += i < LETTER_COUNT ? strlen(LETTERS[i].letters) : 1;
    }
    *ret_timed = seen[HOUR] == 1;
    return seen[YEAR] == 1 && seen[MONTH] == 1 && seen[DAY] == 1 && seen[HOUR] == seen[MINUTE] &&
           seen[HOUR] <= 1 && seen[SECOND] <= seen[HOUR] && seen[HALF] <= seen[HOUR];
}

/* A number of `most` digits; of two, one will do. */
static bool read_part(const char **at, size_t most, int *ret)
{
    size_t digits = strspn(*at, "0123456789");
    if (digits > most)
        digits = most;
    if (digits == 0 || (most == 4 && digits < 4))
        return false;
    *ret = 0;
    for (size_t i = 0; i < digits; i++)
        *ret = *ret * 10 + (*at)[i] - '0';
    *at += digits;
    return true;
}

/* "AM", "pm", "a.m." */
static bool read_half(const char **at, int *ret)
{
    const char *p = *at;
    if (!strchr("aApP", *p) || !*p)
        return false;
    *ret = strchr("pP", *p) != NULL;
    p += 1 + (p[1] == '.');
    if (*p != 'm' && *p != 'M')
        return false;
    *at = p + 1 + (p[1] == '.');
    return true;
}

static bool read_form(const char *form, const char *cell, int part[PARTS])
{
    for (; *form; form++) {
        size_t i = letters_at(form);
        if (i == LETTER_COUNT) {
            if (*form != *cell++)
                return false;
            continue;
        }
        bool half = LETTERS[i].part == HALF;
        if (half ? !read_half(&cell, &part[HALF])
                 : !read_part(&cell, LETTERS[i].most, &part[LETTERS[i].part]))
            return false;
        if (LETTERS[i].part == YEAR && LETTERS[i].most == 2)
            part[YEAR] += 2000;
        form += strlen(LETTERS[i].letters) - 1;
    }
    return cell[strspn(cell, " ")] == '\0';
}

static bool settle_half(int part[PARTS])
{
    if (part[HALF] < 0)
        return true;
    if (part[HOUR] < 1 || part[HOUR] > 12)
        return false;
    part[HOUR] = part[HOUR] % 12 + (part[HALF] ? 12 : 0);
    return true;
}

bool date_form_read(const char *form, const char *text, struct date_form_read *ret)
{
    int part[PARTS] = {[HOUR] = -1, [MINUTE] = -1, [HALF] = -1};
    if (!read_form(form, text + strspn(text, " "), part) || !settle_half(part) ||
        !day_is_valid(part[YEAR], part[MONTH], part[DAY]) || part[HOUR] > 23 || part[MINUTE] > 59 ||
        part[SECOND] > 59)
        return false;
    *ret = (struct date_form_read){day_from_civil(part[YEAR], part[MONTH], part[DAY]), part[HOUR],
                                   part[MINUTE], part[SECOND]};
    return true;
}
