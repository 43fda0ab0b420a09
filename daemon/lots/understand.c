#include "base/text.h"
#include "base/tz_of.h"
#include "lots/code_date.h"
#include "lots/gs1.h"
#include "lots/matcher.h"
#include <ctype.h>
#include <stdio.h>
#include <string.h>

/* Upper case without accents, anything else that is no printable ASCII made a blank, blanks single,
 * ends trimmed. */
static void clean(const char *text, char out[LOT_MATCH_TEXT])
{
    size_t at = 0;
    char plain[LOT_MATCH_TEXT];
    text_fold(text, plain, sizeof plain);
    for (const char *s = plain; *s; s++) {
        int c = (unsigned char)*s;
        if (c <= ' ' || c > '~')
            c = ' ';
        if (c == ' ' && (at == 0 || out[at - 1] == ' '))
            continue;
        out[at++] = (char)toupper(c);
    }
    while (at && out[at - 1] == ' ')
        at--;
    out[at] = '\0';
}

/* "LOT NO: L2 6321" → "L2 6321": words people read out with the code. */
static const char *after_words(const char *text)
{
    static const char *const WORDS[] = {"LOT", "LOTE",   "LOTS", "BATCH", "CODE", "THE",  "NO",
                                        "NR",  "NUMBER", "IS",   "IT",    "SAYS", "READS"};
    for (;;) {
        text += strspn(text, " #:.-,;'\"");
        size_t length = 0, i;
        while (isalpha((unsigned char)text[length]))
            length++;
        for (i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++)
            if (strlen(WORDS[i]) == length && !strncmp(text, WORDS[i], length))
                break;
        if (i == sizeof WORDS / sizeof WORDS[0] || !text[length])
            return text;
        text += length;
    }
}

static void take_code(struct lot_parsed *parsed, const char *text, size_t length)
{
    char cut[LOT_MATCH_TEXT];
    snprintf(cut, sizeof cut, "%.*s", (int)length, text);
    size_t end = strlen(cut);
    while (end && !isalnum((unsigned char)cut[end - 1]))
        cut[--end] = '\0';
    text_clip(cut, parsed->text, sizeof parsed->text);
}

static void take_reading(struct lot_parsed *parsed, const struct code_pattern_reading *reading,
                         const struct tz *tz)
{
    memcpy(parsed->code, reading->code, sizeof parsed->code);
    memcpy(parsed->pattern, reading->pattern, sizeof parsed->pattern);
    memcpy(parsed->plant, reading->plant, sizeof parsed->plant);
    memcpy(parsed->line, reading->line, sizeof parsed->line);
    memcpy(parsed->shift, reading->shift, sizeof parsed->shift);
    if (!parsed->product[0])
        snprintf(parsed->product, sizeof parsed->product, "%s", reading->product);
    parsed->alternatives = reading->alternatives;
    parsed->whole = true;
    if (reading->is_code_date) {
        if (parsed->code_day == WHEN_UNKNOWN_DAY)
            parsed->code_day = reading->day;
        return;
    }
    parsed->day = reading->day;
    parsed->minute = reading->minute;
    parsed->at_ms = code_pattern_instant_ms(reading, tz_of(tz, reading->plant));
}

/* The best pattern: one that takes the text whole before one that takes a part. `wrong`: what
 * cannot be of a text that one would take whole. */
static bool read_patterns(const struct lot_matcher *matcher, const char *text, const char *plant,
                          int32_t received_day, struct code_pattern_reading *ret,
                          char wrong[static LOT_MATCH_WORD])
{
    bool found = false;
    for (size_t i = 0; i < matcher->pattern_count; i++) {
        struct code_pattern_reading reading = {.wrong = ""};
        if (plant && *plant && strcmp(code_pattern_plant(matcher->pattern[i]), plant) != 0)
            continue;
        int rc = code_pattern_read(matcher->pattern[i], text, received_day, &reading, NULL);
        if (rc == ERROR_INVALID)
            text_clip(reading.wrong, wrong, LOT_MATCH_WORD);
        if (rc < 0)
            continue; /* one that runs into its limits does not fit */
        if (reading.whole || !found)
            *ret = reading;
        found = true;
        if (reading.whole)
            break;
    }
    return found;
}

/* A printed date in what is beside the code. */
static void take_date(const struct lot_matcher *matcher, struct lot_parsed *parsed,
                      const char *beside, int32_t received_day)
{
    struct code_date_printed date;
    if (parsed->code_day == WHEN_UNKNOWN_DAY &&
        code_date_find(beside, matcher->month_first, received_day, &date))
        parsed->code_day = date.day;
}

/* "21NOV26A2": many plants make their codes of a date and what tells the lots of a day apart. */
static bool is_part_of_code(const char *text, const struct code_date_printed *date)
{
    return (date->from && isalnum((unsigned char)text[date->from - 1]) &&
            isalnum((unsigned char)text[date->from])) ||
           isalnum((unsigned char)text[date->to]);
}

/* What is left of a text beside a date, when no pattern fits. */
static void take_rest(const struct lot_matcher *matcher, struct lot_parsed *parsed,
                      const char *text, int32_t received_day)
{
    struct code_date_printed date;
    char rest[LOT_MATCH_TEXT], fold[LOT_MATCH_CODE];
    if (!code_date_find(text, matcher->month_first, received_day, &date) ||
        is_part_of_code(text, &date)) {
        take_code(parsed, text, strlen(text));
        return;
    }
    if (parsed->code_day == WHEN_UNKNOWN_DAY)
        parsed->code_day = date.day;
    snprintf(rest, sizeof rest, "%.*s %s", (int)date.from, text, text + date.to);
    const char *code = after_words(rest);
    if (strlen(lot_find_fold(code, fold, sizeof fold)) >= 3)
        take_code(parsed, code, strlen(code));
}

static void read_code(const struct lot_matcher *matcher, struct lot_parsed *parsed,
                      const char *text, const char *plant, int32_t received_day,
                      const struct tz *tz)
{
    struct code_pattern_reading reading;
    char fold[LOT_MATCH_CODE], beside[LOT_MATCH_TEXT], wrong[LOT_MATCH_WORD] = "";
    if (read_patterns(matcher, text, plant, received_day, &reading, wrong)) {
        take_reading(parsed, &reading, tz);
        take_code(parsed, text + reading.from, reading.to - reading.from);
        snprintf(beside, sizeof beside, "%.*s , %s", (int)reading.from, text, text + reading.to);
        text_clip(beside, parsed->beside, sizeof parsed->beside);
        take_date(matcher, parsed, beside, received_day);
    } else if (read_patterns(matcher, lot_find_fold(text, fold, sizeof fold), plant, received_day,
                             &reading, wrong) &&
               reading.whole) {
        take_reading(parsed, &reading, tz);
        take_code(parsed, text, strlen(text));
    } else {
        take_rest(matcher, parsed, text, received_day);
        memcpy(parsed->wrong, wrong, sizeof parsed->wrong);
    }
}

/* Fields of GS1 data; false if it is none. What is left to read as a lot code goes to `lot`. */
static bool take_gs1(struct lot_parsed *parsed, const char *text, int32_t received_day,
                     char lot[LOT_MATCH_TEXT])
{
    static const char *const KEPT_UNTIL[] = {"17", "15", "16"};
    struct error why = {0};
    struct gs1 gs1;
    lot[0] = '\0';
    int rc = gs1_parse_any(text, &gs1, &why);
    if (rc == ERROR_NOT_FOUND)
        return false;
    if (rc < 0) {
        error_format(&why, parsed->problem, sizeof parsed->problem);
        const char *open = strstr(text, "(10)");
        if (!open)
            return *text == ']' || strchr(text, 29) || strstr(text, "://");
        snprintf(lot, LOT_MATCH_TEXT, "%.*s", (int)strcspn(open + 4, "("), open + 4);
        return true;
    }
    int year, month, day;
    day_to_civil(received_day, &year, &month, &day);
    parsed->scanned = true;
    parsed->separator_missing = gs1.separator_missing;
    const char *gtin = gs1_get(&gs1, "01") ? gs1_get(&gs1, "01") : gs1_get(&gs1, "02");
    snprintf(parsed->gtin, sizeof parsed->gtin, "%.14s", gtin ? gtin : "");
    for (size_t i = 0; i < 3 && parsed->code_day == WHEN_UNKNOWN_DAY; i++) {
        const char *date = gs1_get(&gs1, KEPT_UNTIL[i]);
        if (date)
            gs1_day(date, year, true, &parsed->code_day, NULL, NULL);
    }
    const char *code = gs1_get(&gs1, "10");
    snprintf(lot, LOT_MATCH_TEXT, "%s", code ? code : "");
    return true;
}

/* Callers read out the number under the barcode instead of the lot code. Whether it is a product
 * is for the product table to say. */
static void note_barcode(struct lot_parsed *parsed, const char *cleaned)
{
    char fold[LOT_MATCH_CODE], gtin[GS1_GTIN];
    lot_find_fold(cleaned, fold, sizeof fold);
    if (strlen(fold) >= 12 && gs1_gtin14(fold, gtin))
        memcpy(parsed->gtin, gtin, sizeof gtin);
}

static void start(struct lot_parsed *ret)
{
    *ret = (struct lot_parsed){.day = WHEN_UNKNOWN_DAY,
                               .code_day = WHEN_UNKNOWN_DAY,
                               .at_ms = WHEN_UNKNOWN_MS,
                               .minute = -1};
}

char *match_plant(const struct lot_matcher *matcher, const char *lot_text, int64_t received_ms,
                  const struct tz *tz, char out[static LOT_MATCH_WORD])
{
    out[0] = '\0';
    for (size_t i = 0; i < matcher->pattern_count; i++) {
        const char *of = code_pattern_plant(matcher->pattern[i]);
        struct lot_parsed parsed;
        match_understand(matcher, lot_text, of, received_ms, tz, &parsed);
        if (!parsed.whole || !parsed.pattern[0])
            continue;
        bool other = out[0] && strcmp(out, parsed.plant) != 0;
        text_clip(other ? "" : parsed.plant, out, LOT_MATCH_WORD);
        if (!out[0])
            break;
    }
    return out;
}

void match_understand_whole(const char *lot_text, struct lot_parsed *ret)
{
    char cleaned[LOT_MATCH_TEXT];
    start(ret);
    if (!lot_text)
        return;
    clean(lot_text, cleaned);
    take_code(ret, cleaned, strlen(cleaned));
}

void match_understand(const struct lot_matcher *matcher, const char *lot_text, const char *plant,
                      int64_t received_ms, const struct tz *tz, struct lot_parsed *ret)
{
    char lot[LOT_MATCH_TEXT], cleaned[LOT_MATCH_TEXT];
    int32_t received_day = tz_day(tz, received_ms);
    start(ret);
    if (!lot_text || !*lot_text)
        return;
    if (take_gs1(ret, lot_text, received_day, lot)) {
        clean(lot, cleaned);
        if (*cleaned)
            read_code(matcher, ret, cleaned, plant, received_day, tz);
        ret->whole = ret->whole || (ret->text[0] && ret->scanned && !ret->separator_missing);
        return;
    }
    clean(lot_text, cleaned);
    const char *code = after_words(cleaned);
    read_code(matcher, ret, code, plant, received_day, tz);
    if (!ret->pattern[0])
        note_barcode(ret, code);
}
