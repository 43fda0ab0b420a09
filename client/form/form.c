#include "form/form.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/uuid.h"
#include "base/when.h"
#include "intake/said_date.h"
#include "show/pick.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MEASURED "measured."

/* ---- reading one value ---- */

static bool word_in(const char *list, const char *word)
{
    size_t length = strlen(word);
    while (list && *list) {
        size_t n = strcspn(list, "|");
        if (n == length && strncmp(list, word, n) == 0)
            return true;
        list += n + (list[n] == '|');
    }
    return false;
}

/* By number, by word, by another word for it, by the beginning of a word if only one begins so. */
static const struct field_word *find_choice(const struct field_word *choices, const char *said)
{
    int64_t number = 0;
    int64_t i = 0;
    bool counted = text_to_int64(said, &number) == 0;
    for (const struct field_word *c = choices; c->word; c++)
        if ((counted && ++i == number) || strcmp(c->word, said) == 0)
            return c;
    for (const struct field_word *c = choices; c->word; c++)
        if (word_in(c->other, said))
            return c;
    const struct field_word *found = NULL;
    for (const struct field_word *c = choices; c->word; c++) {
        if (strncmp(c->word, said, strlen(said)) != 0)
            continue;
        if (found)
            return NULL;
        found = c;
    }
    return strlen(said) >= 2 ? found : NULL;
}

/* Whole words of a phrase: "on the bottom" holds "bottom". */
static bool holds(const char *phrase, const char *words, size_t length)
{
    for (const char *at = phrase; *at; at++) {
        bool begins = at == phrase || !isalnum((unsigned char)at[-1]);
        if (begins && strncmp(at, words, length) == 0 && !isalnum((unsigned char)at[length]))
            return true;
    }
    return false;
}

static bool speaks_of(const char *phrase, const struct field_word *c)
{
    if (holds(phrase, c->word, strlen(c->word)))
        return true;
    for (const char *list = c->other; list && *list;) {
        size_t n = strcspn(list, "|");
        if (n > 2 && holds(phrase, list, n))
            return true;
        list += n + (list[n] == '|');
    }
    return false;
}

/* What a phrase of several words names; none where something is denied in it. */
static int find_in_phrase(const struct field_word *choices, const char *phrase,
                          const struct field_word **ret, int most)
{
    static const char *const denials[] = {"not",   "no",      "isn't", "wasn't",
                                          "never", "without", "sin"};
    int count = 0;
    for (size_t i = 0; i < sizeof denials / sizeof *denials; i++)
        if (holds(phrase, denials[i], strlen(denials[i])))
            return 0;
    for (const struct field_word *c = choices; c->word; c++)
        if (strchr(phrase, ' ') && speaks_of(phrase, c) && count++ < most)
            ret[count - 1] = c;
    return count;
}

static int refuse_choice(const struct field *f, struct error *err)
{
    struct text_buffer known = {0};
    fields_list(f->words, &known);
    int rc = error_set(err, ERROR_INVALID, "not one of %s", known.data);
    text_buffer_free(&known);
    return rc;
}

static int read_choice(const struct field *f, const char *text, bool spoken, json_t **ret,
                       struct error *err)
{
    char folded[96];
    const struct field_word *c = find_choice(f->words, text_fold(text, folded, sizeof folded));
    if (!c && spoken && find_in_phrase(f->words, folded, &c, 1) != 1)
        c = NULL;
    if (!c)
        return refuse_choice(f, err);
    *ret = json_string(c->word);
    return 0;
}

static bool is_no(const char *folded)
{
    return word_in("no|none|nobody|nothing|nope|n|nadie|nada", folded);
}

/* Several, separated by commas, semicolons, "and" or blanks. A phrase with blanks in it is tried
 * whole first ("nail polish"). */
static int read_choices(const struct field *f, const char *text, bool spoken, json_t **ret,
                        struct error *err)
{
    enum { MOST = 8 };
    const struct field_word *named[MOST];
    char folded[256];
    text_fold(text, folded, sizeof folded);
    json_t *list = json_array();
    if (is_no(folded)) {
        *ret = list;
        return 0;
    }
    const struct field_word *whole = find_choice(f->words, folded);
    if (whole) {
        json_array_append_new(list, json_string(whole->word));
        *ret = list;
        return 0;
    }
    int rc = 0;
    char *save = NULL;
    char phrase[256];
    memcpy(phrase, folded, sizeof phrase);
    for (char *word = strtok_r(folded, ",;/ ", &save); word && !rc;
         word = strtok_r(NULL, ",;/ ", &save)) {
        if (strcmp(word, "and") == 0 || strcmp(word, "y") == 0)
            continue;
        const struct field_word *c = find_choice(f->words, word);
        if (c)
            json_array_append_new(list, json_string(c->word));
        else
            rc = refuse_choice(f, err);
    }
    bool phrased = spoken && !strpbrk(phrase, ",;/"); /* in a list each word must be right */
    int count = rc && phrased ? find_in_phrase(f->words, phrase, named, MOST) : 0;
    if (count > 0 && count <= MOST) {
        json_array_clear(list);
        for (int i = 0; i < count; i++)
            json_array_append_new(list, json_string(named[i]->word));
        error_clear(err);
        rc = 0;
    }
    if (rc)
        json_decref(list);
    else
        *ret = list;
    return rc;
}

static int read_yesno(const char *text, bool spoken, json_t **ret, struct error *err)
{
    char folded[96];
    text_fold(text, folded, sizeof folded);
    if (spoken) /* "yes, a lot" */
        folded[strcspn(folded, " ,.;!")] = '\0';
    bool yes = word_in("yes|y|true|1|yeah|yep|yup|si|wet", folded);
    if (!yes && !is_no(folded) && !word_in("false|0|2|dry", folded))
        return error_set(err, ERROR_INVALID, "must be yes or no");
    *ret = json_boolean(yes);
    return 0;
}

static int read_count(const struct field *f, const char *text, json_t **ret, struct error *err)
{
    static const char *const words[] = {"none",  "one",   "two",  "three", "four",   "five",  "six",
                                        "seven", "eight", "nine", "ten",   "eleven", "twelve"};
    char folded[32];
    int64_t count = -1;
    text_fold(text, folded, sizeof folded);
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(folded, words[i]) == 0)
            count = (int64_t)i;
    if (count < 0 && text_to_int64(folded, &count) != 0)
        return error_set(err, ERROR_INVALID, "must be a whole number");
    if (count < f->low || count > f->high)
        return error_set(err, ERROR_INVALID, "must lie between %ld and %ld", f->low, f->high);
    *ret = json_integer((json_int_t)count);
    return 0;
}

int form_date(const char *text, const struct form_day *day, enum said_span span, int32_t *ret,
              struct error *err)
{
    int32_t whole = 0;
    enum said_span order = day->day_first ? SAID_DAY_FIRST : 0;
    if (span == SAID_PAST && said_date(text, day->today, SAID_FULL | order, &whole, NULL) == 0 &&
        whole > day->today && whole <= day->latest) {
        *ret = whole;
        return 0;
    }
    return said_date(text, day->today, span | order, ret, err);
}

static int read_date(const struct field *f, const char *text, const struct form_day *day,
                     json_t **ret, struct error *err)
{
    int32_t date = 0;
    char buffer[16];
    enum said_span span = f->type == FIELD_NEAR ? SAID_NEAR : SAID_PAST;
    int rc = form_date(text, day, day->full ? SAID_FULL : span, &date, err);
    if (!rc)
        *ret = json_string(day_format(date, buffer));
    return rc;
}

/* "2026-11-20 09:14" by the plant's clock. */
static bool read_local(const struct tz *tz, const char *text, char buffer[static 40])
{
    int32_t day;
    int hour = 0, minute = 0, end = 0;
    char date[16];
    text_clip(text, date, 11);
    if (strlen(text) != 16 || day_parse(date, &day, NULL) ||
        sscanf(text + 10, "%*1[ T]%2d:%2d%n", &hour, &minute, &end) != 2 || end != 6 || hour > 23 ||
        minute > 59)
        return false;
    int64_t ms = tz_day_start_ms(tz, day) + (hour * INT64_C(60) + minute) * 60000;
    struct civil there = tz_civil(tz, ms); /* the day may have 23 hours, or 25 */
    ms += ((hour - there.hour) * INT64_C(60) + minute - there.minute) * 60000;
    when_format(tz, ms, buffer);
    return true;
}

struct dawn {
    int32_t day;
    int64_t ms;
};

static int earlier_dawn(void *arg, const char *plant, const struct tz *of)
{
    struct dawn *dawn = arg;
    int64_t ms = tz_day_start_ms(of, dawn->day);
    (void)plant;
    dawn->ms = ms < dawn->ms ? ms : dawn->ms;
    return 0;
}

/* The start of a day here; of one that has begun at a plant alone, its start there. */
static int64_t start_of(const struct form_day *day, int32_t date)
{
    struct dawn dawn = {date, tz_day_start_ms(day->tz, date)};
    if (date > day->today)
        tz_of_each(day->tz, earlier_dawn, &dawn);
    return dawn.ms;
}

static int read_instant(const char *text, const struct form_day *day, json_t **ret,
                        struct error *err)
{
    int64_t ms = 0;
    int32_t date = 0;
    char buffer[40];
    if (when_parse(text, &ms, NULL) == 0) {
        *ret = json_string(text);
        return 0;
    }
    if (read_local(day->tz, text, buffer)) {
        *ret = json_string(buffer);
        return 0;
    }
    if (strcmp(text, "now") == 0) {
        *ret = json_string(form_now(day->tz, buffer));
        return 0;
    }
    int rc = form_date(text, day, day->full ? SAID_FULL : SAID_PAST, &date, err);
    if (rc) {
        error_hint(err, "a time like 2026-11-20T09:14:00-05:00 or 2026-11-20 09:14, or a date");
        return rc;
    }
    /* its start: never in the future, whatever the hour, and the same whenever a file is read */
    *ret = json_string(when_format(day->tz, start_of(day, date), buffer));
    return 0;
}

static int read_id(const char *text, json_t **ret, struct error *err)
{
    char id[UUID_TEXT];
    if (!uuid_normalize(text, id))
        return error_set(err, ERROR_INVALID, "must be a UUID");
    *ret = json_string(id);
    return 0;
}

static int read_value(const struct field *f, const char *text, const struct form_day *day,
                      json_t **ret, struct error *err)
{
    switch (f->type) {
    case FIELD_ID:
        return read_id(text, ret, err);
    case FIELD_TIME:
        return read_instant(text, day, ret, err);
    case FIELD_WORD:
        return read_choice(f, text, !day->full, ret, err);
    case FIELD_WORDS:
        return read_choices(f, text, !day->full, ret, err);
    case FIELD_BOOL:
        return read_yesno(text, !day->full, ret, err);
    case FIELD_WHOLE:
        return read_count(f, text, ret, err);
    case FIELD_PAST:
    case FIELD_NEAR:
        return read_date(f, text, day, ret, err);
    case FIELD_TEXT:
    case FIELD_MEASURED: /* set pair by pair */
        break;
    }
    *ret = json_string(text);
    return 0;
}

/* As UTF-8, whatever a keyboard or a file writes; blanks at the ends go. */
static char *clean(const char *text)
{
    while (isspace((unsigned char)*text))
        text++;
    size_t length = strlen(text);
    while (length > 0 && isspace((unsigned char)text[length - 1]))
        length--;
    return text_as_utf8(text, length);
}

/* ---- measured quantities ---- */

int form_set_measured(json_t *complaint, const char *quantity, const char *text, struct error *err)
{
    double value = 0;
    char *trimmed = clean(text);
    int rc = 0;
    if (*trimmed && text_to_double(trimmed, &value) != 0) {
        char field[64 + sizeof MEASURED];
        snprintf(field, sizeof field, MEASURED "%.60s", quantity);
        error_field(err, field, trimmed);
        if (strchr(trimmed, ','))
            error_hint(err, "the decimal sign is a point");
        rc = error_set(err, ERROR_INVALID, "must be a number");
    } else if (*trimmed) {
        json_t *measured = json_object_get(complaint, "measured");
        if (!measured) {
            measured = json_object();
            json_object_set_new(complaint, "measured", measured);
        }
        json_object_set_new(measured, quantity, json_real(value));
    }
    free(trimmed);
    return rc;
}

static int set_all_measured(json_t *complaint, char *text, struct error *err)
{
    char *save = NULL;
    int rc = 0;
    for (char *pair = strtok_r(text, ",; ", &save); pair && !rc;
         pair = strtok_r(NULL, ",; ", &save)) {
        char *equals = strchr(pair, '=');
        if (!equals || equals == pair || !equals[1]) {
            error_field(err, "measured", pair);
            return error_set(err, ERROR_INVALID, "must be QUANTITY=NUMBER, as crumb_ph=5.9");
        }
        *equals = '\0';
        rc = form_set_measured(complaint, pair, equals + 1, err);
    }
    return rc;
}

/* ---- one field ---- */

/* Something else that is told as a wrong label is harm, whoever or whatever sorted it. */
static void add_wrong_label(json_t *complaint, const char *text)
{
    char folded[96];
    const struct field *harm = fields_named("harm");
    const struct field_word *label = fields_word(harm->words, "wrong-label");
    json_t *told = fields_get(complaint, harm);
    text_fold(text, folded, sizeof folded);
    if (!word_in(label->other, folded) && !speaks_of(folded, label))
        return;
    if (!told)
        fields_set_new(complaint, harm, told = json_array());
    size_t i;
    const json_t *one;
    json_array_foreach(told, i, one)
    {
        if (json_is_string(one) && strcmp(json_string_value(one), label->word) == 0)
            return;
    }
    json_array_append_new(told, json_string(label->word));
}

int form_set(json_t *complaint, const struct field *field, const char *text,
             const struct form_day *day, struct error *err)
{
    char *value_text = clean(text);
    json_t *value = NULL;
    int rc = 0;
    if (!*value_text)
        fields_unset(complaint, field);
    else if (field->type == FIELD_MEASURED)
        rc = set_all_measured(complaint, value_text, err);
    else
        rc = read_value(field, value_text, day, &value, err);
    if (rc && field->type != FIELD_MEASURED)
        error_field(err, field->name, field->flags & FIELD_PERSON ? "" : value_text);
    else if (value)
        fields_set_new(complaint, field, value);
    if (!rc && strcmp(field->name, "symptom") == 0 &&
        strcmp(pick_text(complaint, "symptom", ""), "other") == 0)
        add_wrong_label(complaint, value_text);
    free(value_text);
    return rc;
}

/* ---- showing ---- */

static void show_word(struct text_buffer *out, const struct field *f, const char *word)
{
    text_append(out, word);
    const struct field_word *known = fields_word(f->words, word);
    if (known && known->say)
        text_appendf(out, " (%s)", known->say);
}

static void show_measured(struct text_buffer *out, const json_t *measured)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)measured, name, value)
    {
        char *number = pick_shown_json(value);
        text_appendf(out, "%s%s=%s", out->length ? ", " : "", name, number);
        free(number);
    }
}

char *form_show(const json_t *complaint, const struct field *field, const struct form_day *day)
{
    const json_t *value = fields_get(complaint, field);
    struct text_buffer out = {0};
    int32_t date = 0;
    char buffer[SAID_DATE_TEXT];
    if ((field->type == FIELD_PAST || field->type == FIELD_NEAR) && json_is_string(value) &&
        day_parse(json_string_value(value), &date, NULL) == 0) {
        text_append(&out, said_date_show(date, day->today, buffer));
    } else if (field->type == FIELD_WORD && json_is_string(value)) {
        show_word(&out, field, json_string_value(value));
    } else if (field->type == FIELD_WORDS && json_is_array(value)) {
        size_t i;
        const json_t *word;
        json_array_foreach(value, i, word)
        {
            text_append(&out, i ? ", " : "");
            show_word(&out, field, json_is_string(word) ? json_string_value(word) : "?");
        }
        if (json_array_size(value) == 0)
            text_append(&out, "none");
    } else if (field->type == FIELD_MEASURED) {
        show_measured(&out, value);
    } else if (value) {
        return pick_shown_json(value);
    }
    return text_take(&out);
}

/* ---- now ---- */

char *form_now(const struct tz *tz, char buffer[static 40])
{
    struct clock clock = clock_system();
    return when_format(tz, clock_now_ms(&clock), buffer);
}
