#include "deliver/column_map.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "base/when.h"
#include "form/form.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KEY_BYTES 160

struct column_map {
    json_t *columns; /* folded column name → field name or "-" */
    json_t *values;  /* field name → {folded word: our word} */
    json_t *dates;   /* field name → how its dates are written */
};

struct column_map *column_map_new(void)
{
    struct column_map *map = xcalloc(1, sizeof *map);
    map->columns = json_object();
    map->values = json_object();
    map->dates = json_object();
    return map;
}

void column_map_free(struct column_map *map)
{
    if (!map)
        return;
    json_decref(map->columns);
    json_decref(map->values);
    json_decref(map->dates);
    free(map);
}

/* "measured.crumb_ph" and the like are fields too. */
static const char *field_name(const char *name)
{
    if (strncmp(name, "measured.", 9) == 0 && name[9])
        return name;
    const struct field *f = form_find(name);
    return f ? f->name : NULL;
}

static int add_column(struct column_map *map, const char *column, const char *field,
                      struct error *err)
{
    char key[KEY_BYTES];
    const char *name = strcmp(field, "-") == 0 ? "-" : field_name(field);
    if (!name) {
        error_field(err, column, field);
        error_hint(err, "fields are the options of `oddloaf help log`, measured.QUANTITY, or - "
                        "to leave the column out");
        return error_set(err, ERROR_INVALID, "no such field of a complaint");
    }
    text_fold(column, key, sizeof key);
    json_object_set_new(map->columns, key, json_string(name));
    return 0;
}

static int add_values(struct column_map *map, const char *field, const json_t *words,
                      struct error *err)
{
    const char *name = field_name(field);
    const char *word;
    json_t *ours;
    if (!name || !json_is_object(words)) {
        error_field(err, field, "");
        return error_set(err, ERROR_INVALID,
                         name ? "must be an object of words" : "no such field of a complaint");
    }
    json_t *folded = json_object();
    json_object_foreach((json_t *)words, word, ours)
    {
        char key[KEY_BYTES];
        json_object_set(folded, text_fold(word, key, sizeof key), ours);
    }
    json_object_set_new(map->values, name, folded);
    return 0;
}

/* ---- dates ---- */

/* What of a date or time a form's letters stand for. */
enum { YEAR, MONTH, DAY, HOUR, MINUTE, PARTS };
static const struct {
    const char *letters;
    int part;
    size_t most; /* digits */
} LETTERS[] = {{"YYYY", YEAR, 4}, {"YY", YEAR, 2}, {"MM", MONTH, 2},
               {"DD", DAY, 2},    {"hh", HOUR, 2}, {"mm", MINUTE, 2}};
enum { LETTER_COUNT = sizeof LETTERS / sizeof LETTERS[0] };

/* The letters at `at`, LETTER_COUNT if there are none. */
static size_t letters_at(const char *at)
{
    size_t i = 0;
    while (i < LETTER_COUNT && strncmp(at, LETTERS[i].letters, strlen(LETTERS[i].letters)) != 0)
        i++;
    return i;
}

/* Year, month and day once each; hour and minute both or neither. */
static bool is_form(const char *form)
{
    int seen[PARTS] = {0};
    for (const char *at = form; *at;) {
        size_t i = letters_at(at);
        if (i < LETTER_COUNT)
            seen[LETTERS[i].part]++;
        at += i < LETTER_COUNT ? strlen(LETTERS[i].letters) : 1;
    }
    return seen[YEAR] == 1 && seen[MONTH] == 1 && seen[DAY] == 1 && seen[HOUR] == seen[MINUTE] &&
           seen[HOUR] <= 1;
}

static int add_date(struct column_map *map, const char *field, const json_t *form,
                    struct error *err)
{
    const char *name = field_name(field), *text = json_string_value(form);
    const struct field *f = name ? form_find(name) : NULL;
    if (!f || (f->type != FIELD_PAST && f->type != FIELD_NEAR && f->type != FIELD_TIME)) {
        error_field(err, field, text ? text : "");
        return error_set(err, ERROR_INVALID, "is no field of a date");
    }
    if (!text || !is_form(text)) {
        error_field(err, field, text ? text : "");
        error_hint(err, "YYYY or YY, MM, DD, and with a time hh and mm: \"DD.MM.YYYY\"");
        return error_set(err, ERROR_INVALID, "does not say how a date is written");
    }
    json_object_set(map->dates, name, (json_t *)form);
    return 0;
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

static bool read_form(const char *form, const char *cell, int part[PARTS])
{
    part[HOUR] = -1;
    while (*form) {
        size_t i = letters_at(form);
        if (i == LETTER_COUNT) {
            if (*form++ != *cell++)
                return false;
            continue;
        }
        if (!read_part(&cell, LETTERS[i].most, &part[LETTERS[i].part]))
            return false;
        if (LETTERS[i].part == YEAR && LETTERS[i].most == 2)
            part[YEAR] += 2000;
        form += strlen(LETTERS[i].letters);
    }
    return *cell == '\0';
}

int column_map_date(const struct column_map *map, const char *field, const char *cell,
                    bool *ret_declared, char out[static COLUMN_DATE], struct error *err)
{
    int part[PARTS] = {0};
    int32_t day;
    const char *form = json_string_value(json_object_get(map->dates, field));
    *ret_declared = form && *cell;
    if (!*ret_declared)
        return 0;
    bool read = read_form(form, cell, part);
    if (read && part[HOUR] >= 0)
        snprintf(out, COLUMN_DATE, "%04d-%02d-%02d %02d:%02d", part[YEAR], part[MONTH], part[DAY],
                 part[HOUR], part[MINUTE]);
    else
        snprintf(out, COLUMN_DATE, "%04d-%02d-%02d", part[YEAR], part[MONTH], part[DAY]);
    char date[16];
    snprintf(date, sizeof date, "%.10s", out);
    if (read && part[HOUR] < 24 && part[MINUTE] < 60 && day_parse(date, &day, NULL) == 0)
        return 0;
    error_field(err, field, cell);
    return error_set(err, ERROR_INVALID, "is no date written %s, as the map says", form);
}

static int add_file(struct column_map *map, const char *path, struct error *err)
{
    json_t *root = NULL;
    const char *key;
    json_t *value;
    int rc = jsonx_load(path, &root, err);
    if (!rc && !json_is_object(json_object_get(root, "columns")))
        rc = error_set(err, ERROR_INVALID, "must be an object with \"columns\"");
    json_object_foreach(json_object_get(root, "columns"), key, value)
    {
        if (!rc && json_is_string(value))
            rc = add_column(map, key, json_string_value(value), err);
        else if (!rc)
            rc = error_set(err, ERROR_INVALID, "column '%s' must name a field", key);
    }
    json_object_foreach(json_object_get(root, "values"), key, value)
    {
        if (!rc)
            rc = add_values(map, key, value, err);
    }
    json_object_foreach(json_object_get(root, "dates"), key, value)
    {
        if (!rc)
            rc = add_date(map, key, value, err);
    }
    if (rc)
        error_at(err, path, 0, 0);
    json_decref(root);
    return rc;
}

int column_map_add(struct column_map *map, const char *text, struct error *err)
{
    const char *equals = strrchr(text, '=');
    if (!equals)
        return add_file(map, text, err);
    char *column = xstrndup(text, (size_t)(equals - text));
    int rc = add_column(map, column, equals + 1, err);
    free(column);
    return rc;
}

const char *column_map_field(const struct column_map *map, const char *column, bool *ret_skip)
{
    char key[KEY_BYTES] = "";
    char plain[KEY_BYTES] = "";
    text_fold(column, key, sizeof key);
    if (!json_object_get(map->columns, key)) {
        /* a field's own name, blanks for its underscores; kept, so that the name outlives us */
        memcpy(plain, key, sizeof plain);
        for (char *p = plain; *p; p++)
            if (*p == ' ')
                *p = '_';
        const char *name = field_name(plain);
        if (!name)
            return NULL;
        json_object_set_new(map->columns, key, json_string(name));
    }
    const char *field = json_string_value(json_object_get(map->columns, key));
    *ret_skip = strcmp(field, "-") == 0;
    return *ret_skip ? NULL : field;
}

const char *column_map_unit(const char *column, char unit[static COLUMN_UNIT], size_t *ret_bare)
{
    const char *bracket = strrchr(column, '[');
    const char *end = bracket ? strchr(bracket, ']') : NULL;
    size_t length = end ? (size_t)(end - bracket - 1) : 0;
    if (!end || end[1 + strspn(end + 1, " ")] || length == 0 || length >= COLUMN_UNIT)
        return NULL;
    memcpy(unit, bracket + 1, length);
    unit[length] = '\0';
    *ret_bare = (size_t)(bracket - column);
    while (*ret_bare && column[*ret_bare - 1] == ' ')
        --*ret_bare;
    return unit;
}

const char *column_map_value(const struct column_map *map, const char *field, const char *value)
{
    char key[KEY_BYTES];
    const json_t *words = json_object_get(map->values, field);
    if (!words)
        return value;
    const char *ours = json_string_value(json_object_get(words, text_fold(value, key, sizeof key)));
    return ours ? ours : value;
}
