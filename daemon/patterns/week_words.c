#include "patterns/week_words.h"
#include "base/typeset.h"
#include "base/when.h"
#include <ctype.h>
#include <math.h>

static void add_digits(struct text_buffer *b, double n)
{
    struct text_buffer digits = {0};
    text_appendf(&digits, "%.0f", n);
    typeset_digits(b, digits.data, "\u00a0");
    text_buffer_free(&digits);
}

void week_words_money(struct text_buffer *b, const char *currency, double amount)
{
    text_appendf(b, "%s ", currency);
    add_digits(b, amount);
}

void week_words_count(struct text_buffer *b, double n, const char *one, const char *many)
{
    add_digits(b, n);
    text_appendf(b, " %s", llround(n) == 1 ? one : many);
}

void week_words_day(struct text_buffer *b, int32_t day)
{
    static const char *const MONTHS[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    int year, month, day_of_month;
    day_to_civil(day, &year, &month, &day_of_month);
    text_appendf(b, "%d %s", day_of_month, MONTHS[month - 1]);
}

void week_words_title(struct text_buffer *b, const char *title)
{
    bool small = isupper((unsigned char)title[0]) && !isupper((unsigned char)title[1]);
    text_appendf(b, "%c%s", small ? tolower((unsigned char)title[0]) : title[0], title + 1);
}

void week_words_piece(struct text_buffer *b, const char *piece)
{
    text_appendf(b, "%s%s", b->length ? "; " : "", piece);
}

void week_words_say(struct text_buffer *b, json_t *headline)
{
    b->data[0] = (char)toupper((unsigned char)b->data[0]);
    json_array_append_new(headline, json_string(b->data));
    text_buffer_free(b);
}
