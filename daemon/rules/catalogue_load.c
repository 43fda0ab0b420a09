/* Reading the catalogue's files. Every fault is reported with its place. */
#include "base/doc.h"
#include "base/units.h"
#include "base/when.h"
#include "rules/catalogue.h"
#include "rules/catalogue_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ANY_NUMBER .low = -1e15, .high = 1e15
#define TEXT_ROW(label, type, member)                                                              \
    {                                                                                              \
        label, DOC_CHARS, DOC_AT(type, member), .required = true                                   \
    }
#define RANGE_ROWS(type)                                                                           \
    {"low", DOC_NUMBER, DOC_AT(type, low), ANY_NUMBER, .required = true},                          \
    {                                                                                              \
        "high", DOC_NUMBER, DOC_AT(type, high), ANY_NUMBER, .required = true                       \
    }

/* ---- what a table cannot say ---- */

static void check_word(const struct doc_place *object, const char *name, const char *word,
                       char joint)
{
    struct doc_place place = doc_member(object, name);
    bool good = *word >= 'a' && *word <= 'z';
    for (const char *p = word; *p; p++)
        good = good && ((*p >= 'a' && *p <= 'z') || (*p >= '0' && *p <= '9') || *p == joint);
    if (*word && !good)
        doc_fault(&place, "must be lower-case letters, digits and '%c', a letter first", joint);
}

static void check_measure(const struct doc_place *object, const char *unit, double low, double high)
{
    struct doc_place unit_place = doc_member(object, "unit"),
                     high_place = doc_member(object, "high");
    if (*unit && !units_known(unit))
        doc_fault(&unit_place, "unit is not known");
    if (low >= high && json_is_number(high_place.value))
        doc_fault(&high_place, "must be more than low");
}

/* "core_at_pack_c" in percent: a rule's curve and a reader would take it for degrees. */
static void check_suffix(const struct doc_place *object, const struct catalogue_quantity *q)
{
    struct doc_place place = doc_member(object, "unit");
    const char *suffix, *promised = units_promised(q->name, &suffix);
    double one = 0;
    bool same = promised && units_convert(1, q->unit, promised, &one, NULL) == 0 && one == 1;
    if (promised && units_known(q->unit) && !same)
        doc_fault(&place, "a name that ends in %s is of %s", suffix, promised);
}

static void refuse_twice(const struct doc_place *object, const char *name)
{
    struct doc_place place = doc_member(object, name);
    doc_fault(&place, "is there twice");
}

/* ---- rows ---- */

static void read_word(const struct doc_place *place, void *into)
{
    struct field_word **words = into;
    const char *word = json_string_value(place->value);
    size_t count = 0;
    bool good = word && *word;
    for (const char *p = good ? word : ""; *p; p++)
        good = good && *p >= 'a' && *p <= 'z';
    if (!good || strlen(word) > LENGTH_WORD) {
        doc_fault(place, "must be lower-case letters");
        return;
    }
    while (*words && (*words)[count].word)
        count++;
    *words = xrealloc(*words, (count + 2) * sizeof(struct field_word));
    (*words)[count] = (struct field_word){.word = xstrdup(word)};
    (*words)[count + 1] = (struct field_word){0};
}

/* A number has a unit and a range; what is told in words has neither. */
static void check_form(const struct doc_place *object, const struct catalogue_quantity *q)
{
    static const char *const OF_NUMBERS[] = {"unit", "low", "high"};
    for (size_t i = 0; i < sizeof OF_NUMBERS / sizeof *OF_NUMBERS; i++) {
        struct doc_place place = doc_member(object, OF_NUMBERS[i]);
        if (q->words && place.value)
            doc_fault(&place, "what is told in words has no %s", OF_NUMBERS[i]);
        else if (json_is_object(object->value) && !q->words && !place.value)
            doc_fault(&place, "'%s' is missing", OF_NUMBERS[i]);
    }
    if (q->words && (q->of != QUANTITY_OF_LOT || q->yes_no)) {
        struct doc_place words = doc_member(object, "words");
        doc_fault(&words, "only of a lot, and not yes_no");
    }
}

static void read_quantity(const struct doc_place *place, void *into)
{
    static const char *const OF[] = {
        [QUANTITY_OF_LOT] = "lot", [QUANTITY_OF_PLANT] = "plant", NULL};
    static const struct doc_row ROWS[] = {
        TEXT_ROW("quantity", struct catalogue_quantity, name),
        TEXT_ROW("title", struct catalogue_quantity, title),
        {"unit", DOC_CHARS, DOC_AT(struct catalogue_quantity, unit)},
        {"low", DOC_NUMBER, DOC_AT(struct catalogue_quantity, low), ANY_NUMBER},
        {"high", DOC_NUMBER, DOC_AT(struct catalogue_quantity, high), ANY_NUMBER},
        {"words", DOC_LIST, .at = offsetof(struct catalogue_quantity, words), .low = 2, .high = 64,
         .each = read_word},
        {"of", DOC_WORD, DOC_AT(struct catalogue_quantity, of), .words = OF, .required = true},
        {"yes_no", DOC_FLAG, DOC_AT(struct catalogue_quantity, yes_no)},
        {"about", DOC_CHARS, DOC_AT(struct catalogue_quantity, about), .empty = true},
        {0}};
    struct catalogue *c = into;
    struct catalogue_quantity *q = &c->quantities[c->quantity_count];
    doc_read(place, ROWS, q);
    check_word(place, "quantity", q->name, '_');
    check_form(place, q);
    check_measure(place, q->unit, q->low, q->high);
    check_suffix(place, q);
    c->quantity_count++;
    if (!catalogue_index_last(c) && *q->name)
        refuse_twice(place, "quantity");
}

static void read_column(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {TEXT_ROW("column", struct catalogue_column, column),
                                          TEXT_ROW("unit", struct catalogue_column, unit),
                                          RANGE_ROWS(struct catalogue_column),
                                          {.name = "about"},
                                          {0}};
    struct catalogue *c = into;
    struct catalogue_column *column = &c->columns[c->column_count];
    doc_read(place, ROWS, column);
    check_measure(place, column->unit, column->low, column->high);
    if (*column->column && catalogue_column(c, column->column))
        refuse_twice(place, "column");
    c->column_count++;
}

static void read_place(const struct doc_place *place, void *into)
{
    static const struct doc_row ROWS[] = {
        TEXT_ROW("place", struct catalogue_place, place),
        TEXT_ROW("name", struct catalogue_place, name),
        {"zone", DOC_WHOLE, DOC_AT(struct catalogue_place, zone), 1, 4, .required = true},
        {"about", DOC_CHARS, DOC_AT(struct catalogue_place, about), .empty = true},
        {0}};
    struct catalogue *c = into;
    struct catalogue_place *p = &c->places[c->place_count];
    doc_read(place, ROWS, p);
    check_word(place, "place", p->place, '-');
    if (*p->place && catalogue_place(c, p->place))
        refuse_twice(place, "place");
    c->place_count++;
}

/* Every number column that records have must have its range. */
static void check_columns(struct doc *doc, const struct catalogue *c)
{
    static const char *const NEEDED[] = {"shelf_life_days", "unit_g",     "units",    "flour_kg",
                                         "amount",          "active_pct", "transit_c"};
    struct doc_place top = doc_top(doc), columns = doc_member(&top, "columns");
    for (size_t i = 0; i < sizeof NEEDED / sizeof *NEEDED; i++)
        if (!catalogue_column(c, NEEDED[i]))
            doc_fault(&columns, "the column '%s' is missing", NEEDED[i]);
}

/* ---- files ---- */

static void read_times(const struct doc_place *place, void *into)
{
    struct times {
        int32_t from, to;
    } times = {0};
    static const struct doc_row ROWS[] = {
        {"from", DOC_DAY, DOC_AT(struct times, from), .required = true},
        {"to", DOC_DAY, DOC_AT(struct times, to), .required = true},
        {0}};
    struct catalogue *c = into;
    doc_read(place, ROWS, &times);
    c->from_ms = times.from * WHEN_DAY_MS;
    c->to_ms = times.to * WHEN_DAY_MS;
}

static void read_quantities(struct doc *doc, struct catalogue *c)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"times", DOC_OTHER, .each = read_times, .required = true},
        {"columns", DOC_LIST, .low = 1, .high = CATALOGUE_COLUMNS, .each = read_column,
         .required = true},
        {"quantities", DOC_LIST, .low = 1, .high = CATALOGUE_LIMIT, .each = read_quantity,
         .required = true},
        {0}};
    struct doc_place top = doc_top(doc);
    doc_read(&top, ROWS, c);
    check_columns(doc, c);
}

static void read_places(struct doc *doc, struct catalogue *c)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "note"},
                                          {"places", DOC_LIST, .low = 1, .high = CATALOGUE_LIMIT,
                                           .each = read_place, .required = true},
                                          {0}};
    struct doc_place top = doc_top(doc);
    doc_read(&top, ROWS, c);
}

/* A plant that has had a quantity of that name keeps it as its file has it. */
static void add_measure(struct catalogue *c, const struct preserver *preserver,
                        enum preserver_measure measure)
{
    struct catalogue_quantity *q = &c->quantities[c->quantity_count++];
    *q = (struct catalogue_quantity){.unit = "%", .high = measure == PRESERVER_STRENGTH ? 100 : 30};
    preserver_quantity(preserver->kind, measure, q->name);
    preserver_quantity_title(preserver, measure, q->title, sizeof q->title);
    if (!catalogue_index_last(c)) {
        c->quantity_count--;
        q = (struct catalogue_quantity *)(uintptr_t)catalogue_quantity(c, q->name);
    }
    q->preserver = preserver;
    q->measure = measure;
}

static void add_measures(struct catalogue *c)
{
    for (int i = 0; i < c->preservers.count; i++)
        for (int m = 0; m < PRESERVER_MEASURES; m++)
            add_measure(c, &c->preservers.row[i], (enum preserver_measure)m);
}

struct catalogue *catalogue_read(struct doc *doc, const char *rules_dir)
{
    static const struct {
        const char *file;
        void (*read)(struct doc *doc, struct catalogue *c);
    } FILES[] = {{"quantities.json", read_quantities}, {"places.json", read_places}};
    struct catalogue *c = xcalloc(1, sizeof *c);
    atomic_init(&c->references, 1);
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++) {
        struct text_buffer path = {0};
        doc_path(rules_dir, FILES[i].file, &path);
        if (doc_open(doc, path.data, false) == 0)
            FILES[i].read(doc, c);
        doc_close(doc);
        text_buffer_free(&path);
    }
    preserver_read_all(doc, rules_dir, &c->preservers);
    if (c->quantity_count)
        add_measures(c);
    return c;
}
