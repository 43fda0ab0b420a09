/* Reading the catalogue's two files. Every fault is reported with its place; a file with faults
 * gives no catalogue. */
#include "base/jsonx.h"
#include "base/text.h"
#include "base/units.h"
#include "base/when.h"
#include "records/catalogue.h"
#include "records/catalogue_inside.h"
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct reading {
    struct catalogue *catalogue;
    catalogue_report report;
    void *arg;
    struct error *err; /* gets the first fault */
    int code;          /* of the first fault, 0 if none */
    const char *path;
    struct text_buffer text;
};

/* ---- faults ---- */

static void pass_on(struct reading *r, const struct error *fault)
{
    if (r->report)
        r->report(r->arg, fault);
    if (r->code)
        return;
    r->code = fault->code;
    if (r->err && !r->err->code)
        *r->err = *fault;
}

/* `pointer` as printed; the member's name is its last part. */
static void fault(struct reading *r, const char *pointer, const char *value, const char *format,
                  ...) __attribute__((format(printf, 4, 5)));

static void fault(struct reading *r, const char *pointer, const char *value, const char *format,
                  ...)
{
    struct error why = {0};
    long line = 0, column = 0;
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    jsonx_locate(r->text.data, r->text.length, pointer, &line, &column);
    error_set(&why, ERROR_INVALID, "%s", text.data);
    error_at(&why, r->path, line, column);
    error_field(&why, pointer, value);
    pass_on(r, &why);
    text_buffer_free(&text);
}

/* ---- members ---- */

struct member {
    struct reading *reading;
    const json_t *object;
    const char *pointer; /* of the object */
};

static const char *pointer_to(const struct member *m, const char *name, char out[static 96])
{
    snprintf(out, 96, "%s/%s", m->pointer, name);
    return out;
}

static void text_member(const struct member *m, const char *name, bool required, char *out,
                        size_t size)
{
    char pointer[96];
    const json_t *value = json_object_get(m->object, name);
    out[0] = '\0';
    if (!value) {
        if (required)
            fault(m->reading, pointer_to(m, name, pointer), NULL, "'%s' is missing", name);
        return;
    }
    const char *text = json_string_value(value);
    if (!text || (required && !*text)) {
        fault(m->reading, pointer_to(m, name, pointer), NULL, "must be a text that says something");
        return;
    }
    if (strlen(text) >= size)
        fault(m->reading, pointer_to(m, name, pointer), text, "is longer than %zu bytes", size - 1);
    text_clip(text, out, size);
}

static double number_member(const struct member *m, const char *name)
{
    char pointer[96];
    const json_t *value = json_object_get(m->object, name);
    if (json_is_number(value))
        return json_number_value(value);
    fault(m->reading, pointer_to(m, name, pointer), json_string_value(value),
          value ? "must be a number" : "'%s' is missing", name);
    return NAN;
}

static void only_members(const struct member *m, const char *const *known, size_t count)
{
    char pointer[96];
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)m->object, name, value)
    {
        size_t i = 0;
        while (i < count && strcmp(known[i], name) != 0)
            i++;
        if (i == count)
            fault(m->reading, pointer_to(m, name, pointer), name, "is no member known here");
    }
}

#define ONLY(m, ...)                                                                               \
    only_members(m, (const char *const[]){__VA_ARGS__},                                            \
                 sizeof((const char *const[]){__VA_ARGS__}) / sizeof(const char *))

static void check_word(const struct member *m, const char *name, const char *word, char joint)
{
    char pointer[96];
    bool good = *word >= 'a' && *word <= 'z';
    for (const char *p = word; *p; p++)
        good = good && ((*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9') || *p == joint);
    if (*word && !good)
        fault(m->reading, pointer_to(m, name, pointer), word,
              "must be lower-case letters, digits and '%c', a letter first", joint);
}

static void check_range(const struct member *m, double low, double high)
{
    char pointer[96];
    if (low >= high)
        fault(m->reading, pointer_to(m, "high", pointer), NULL, "must be more than low");
}

static void check_unit(const struct member *m, const char *unit)
{
    char pointer[96];
    bool own = strcmp(unit, "pH") == 0 || strcmp(unit, "RLU") == 0 || strcmp(unit, "grain") == 0;
    if (*unit && !own && !units_known(unit))
        fault(m->reading, pointer_to(m, "unit", pointer), unit, "unit is not known");
}

/* ---- rows ---- */

static void read_quantity(struct reading *r, const struct member *m)
{
    char pointer[96], of[8];
    struct catalogue *c = r->catalogue;
    struct catalogue_quantity *q = &c->quantities[c->quantity_count];
    ONLY(m, "quantity", "title", "unit", "low", "high", "of", "yes_no", "about");
    text_member(m, "quantity", true, q->name, sizeof q->name);
    text_member(m, "title", true, q->title, sizeof q->title);
    text_member(m, "unit", true, q->unit, sizeof q->unit);
    text_member(m, "about", false, q->about, sizeof q->about);
    text_member(m, "of", true, of, sizeof of);
    q->low = number_member(m, "low");
    q->high = number_member(m, "high");
    q->yes_no = json_is_true(json_object_get(m->object, "yes_no"));
    q->of = strcmp(of, "plant") == 0 ? QUANTITY_OF_PLANT : QUANTITY_OF_LOT;
    if (*of && strcmp(of, "plant") != 0 && strcmp(of, "lot") != 0)
        fault(r, pointer_to(m, "of", pointer), of, "must be lot or plant");
    check_word(m, "quantity", q->name, '_');
    check_unit(m, q->unit);
    check_range(m, q->low, q->high);
    c->quantity_count++;
    if (!catalogue_index_last(c))
        fault(r, pointer_to(m, "quantity", pointer), q->name, "is there twice");
}

static void read_column(struct reading *r, const struct member *m)
{
    char pointer[96];
    struct catalogue *c = r->catalogue;
    struct catalogue_column *column = &c->columns[c->column_count];
    char about[204];
    ONLY(m, "column", "unit", "low", "high", "about");
    text_member(m, "column", true, column->column, sizeof column->column);
    text_member(m, "unit", true, column->unit, sizeof column->unit);
    text_member(m, "about", false, about, sizeof about);
    column->low = number_member(m, "low");
    column->high = number_member(m, "high");
    check_unit(m, column->unit);
    check_range(m, column->low, column->high);
    if (catalogue_column(c, column->column))
        fault(r, pointer_to(m, "column", pointer), column->column, "is there twice");
    c->column_count++;
}

static void read_place(struct reading *r, const struct member *m)
{
    char pointer[96];
    struct catalogue *c = r->catalogue;
    struct catalogue_place *place = &c->places[c->place_count];
    ONLY(m, "place", "name", "zone", "about");
    text_member(m, "place", true, place->place, sizeof place->place);
    text_member(m, "name", true, place->name, sizeof place->name);
    text_member(m, "about", false, place->about, sizeof place->about);
    check_word(m, "place", place->place, '-');
    double zone = number_member(m, "zone");
    if (!isnan(zone) && zone != 1 && zone != 2 && zone != 3 && zone != 4)
        fault(r, pointer_to(m, "zone", pointer), NULL, "must be 1, 2, 3 or 4");
    else if (!isnan(zone))
        place->zone = (int)zone;
    if (catalogue_place(c, place->place))
        fault(r, pointer_to(m, "place", pointer), place->place, "is there twice");
    c->place_count++;
}

static void read_rows(struct reading *r, const json_t *root, const char *name, size_t limit,
                      void (*read)(struct reading *, const struct member *))
{
    char pointer[64];
    const json_t *rows = json_object_get(root, name);
    size_t count = json_array_size(rows);
    snprintf(pointer, sizeof pointer, "/%s", name);
    if (count == 0 || count > limit) {
        fault(r, pointer, NULL, "must be a list of 1 to %zu entries", limit);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        snprintf(pointer, sizeof pointer, "/%s/%zu", name, i);
        struct member m = {r, json_array_get(rows, i), pointer};
        if (json_is_object(m.object))
            read(r, &m);
        else
            fault(r, pointer, NULL, "must be an object");
    }
}

static int64_t read_day(struct reading *r, const json_t *times, const char *name)
{
    char pointer[96];
    struct error why = {0};
    int32_t day = 0;
    struct member m = {r, times, "/times"};
    const char *text = json_string_value(json_object_get(times, name));
    if (!text)
        fault(r, pointer_to(&m, name, pointer), NULL, "must be a date like 2000-01-01");
    else if (day_parse(text, &day, &why))
        fault(r, pointer_to(&m, name, pointer), text, "%s", why.text);
    return day * WHEN_DAY_MS;
}

/* Every number column that records have must have its range. */
static void check_columns(struct reading *r)
{
    static const char *const needed[] = {"shelf_life_days", "unit_g",     "units",    "flour_kg",
                                         "amount",          "active_pct", "transit_c"};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; i++)
        if (!catalogue_column(r->catalogue, needed[i]))
            fault(r, "/columns", needed[i], "the column '%s' is missing", needed[i]);
}

static void read_quantities(struct reading *r, const json_t *root)
{
    struct member m = {r, root, ""};
    const json_t *times = json_object_get(root, "times");
    ONLY(&m, "$schema", "note", "times", "columns", "quantities");
    r->catalogue->from_ms = read_day(r, times, "from");
    r->catalogue->to_ms = read_day(r, times, "to");
    read_rows(r, root, "columns", CATALOGUE_COLUMNS, read_column);
    read_rows(r, root, "quantities", CATALOGUE_LIMIT, read_quantity);
    check_columns(r);
}

static void read_places(struct reading *r, const json_t *root)
{
    struct member m = {r, root, ""};
    ONLY(&m, "$schema", "note", "places");
    read_rows(r, root, "places", CATALOGUE_LIMIT, read_place);
}

/* ---- files ---- */

static int read_text(const char *path, struct text_buffer *ret, struct error *err)
{
    FILE *file = fopen(path, "rbe");
    if (!file) {
        int why = errno;
        error_at(err, path, 0, 0);
        return error_set(err, why == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "cannot open: %s",
                         strerror(why));
    }
    char chunk[8192];
    size_t n;
    while ((n = fread(chunk, 1, sizeof chunk, file)) > 0 && ret->length <= JSONX_BYTES)
        text_append_bytes(ret, chunk, n);
    fclose(file);
    return 0;
}

static void read_file(struct reading *r, const char *rules_dir, const char *name,
                      void (*read)(struct reading *, const json_t *))
{
    struct text_buffer path = {0};
    struct error why = {0};
    json_t *root = NULL;
    text_appendf(&path, "%s/%s", rules_dir, name);
    r->path = path.data;
    r->text = (struct text_buffer){0};
    int rc = read_text(path.data, &r->text, &why);
    if (!rc)
        rc = jsonx_parse(r->text.data ? r->text.data : "", r->text.length, &root, &why);
    if (rc) {
        error_at(&why, path.data, 0, 0);
        pass_on(r, &why);
    } else if (!json_is_object(root)) {
        fault(r, "", NULL, "must be an object");
    } else {
        read(r, root);
    }
    json_decref(root);
    text_buffer_free(&r->text);
    text_buffer_free(&path);
}

int catalogue_load(const char *rules_dir, catalogue_report report, void *arg,
                   struct catalogue **ret, struct error *err)
{
    struct reading r = {.report = report, .arg = arg, .err = err};
    r.catalogue = xcalloc(1, sizeof *r.catalogue);
    atomic_init(&r.catalogue->references, 1);
    read_file(&r, rules_dir, "quantities.json", read_quantities);
    read_file(&r, rules_dir, "places.json", read_places);
    if (r.code)
        catalogue_free(r.catalogue);
    else
        *ret = r.catalogue;
    return r.code;
}
