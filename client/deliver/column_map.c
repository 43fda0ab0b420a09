#include "deliver/column_map.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "form/form.h"
#include <stdlib.h>
#include <string.h>

#define KEY_BYTES 160

struct column_map {
    json_t *columns; /* folded column name → field name or "-" */
    json_t *values;  /* field name → {folded word: our word} */
};

struct column_map *column_map_new(void)
{
    struct column_map *map = xcalloc(1, sizeof *map);
    map->columns = json_object();
    map->values = json_object();
    return map;
}

void column_map_free(struct column_map *map)
{
    if (!map)
        return;
    json_decref(map->columns);
    json_decref(map->values);
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
