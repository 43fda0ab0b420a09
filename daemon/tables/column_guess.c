#include "tables/column_guess.h"
#include "base/text.h"
#include "base/units.h"
#include "base/when.h"
#include "base/words.h"
#include "tables/cell_number.h"
#include "tables/column_heading.h"
#include "tables/column_map_inside.h"
#include "tables/column_names.h"
#include "tables/csv_rows.h"
#include "tables/date_form.h"
#include "tables/lines.h"
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = 400, HEADERS = 20, WIDTH = 100, FORM = 40 };

/* The beginning of the file. */
struct table {
    char *(*cells)[WIDTH]; /* NULL: nothing */
    long line[ROWS];
    int rows, header; /* index of the row of names */
    int width;
};

/* What is thought of a column. */
struct column {
    struct column_heading heading;
    const char *ours;  /* NULL: nothing */
    const char *given; /* to another column, which is it more surely; or NULL */
    bool fahrenheit;   /* by its values */
    bool left_out;     /* and it was said why */
};

struct guess {
    struct table table;
    enum record_kind kind;
    struct column columns[WIDTH];
    char order; /* 'M' or 'D', that one column of days shows to stand first; '\0' none, or both */
    json_t *notes;
};

/* ---- the table ---- */

static void on_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    struct table *t = arg;
    bool empty = true;
    if (t->rows == ROWS)
        return;
    for (size_t i = 0; i < count; i++)
        empty = empty && !fields[i].text[strspn(fields[i].text, " \t")];
    if (empty)
        return;
    for (size_t i = 0; i < count && i < WIDTH; i++)
        t->cells[t->rows][i] = xstrdup(fields[i].text + strspn(fields[i].text, " \t"));
    if ((int)count > t->width)
        t->width = count < WIDTH ? (int)count : WIDTH;
    t->line[t->rows++] = line;
}

static void on_refused(void *arg, long line, const char *reason)
{
    (void)arg;
    (void)line;
    (void)reason;
}

/* The line with the most separators among the first says what they are. */
static char separator_of(const char *csv, size_t length)
{
    size_t most = 0;
    char found = ',';
    for (int i = 0; i < HEADERS && length; i++) {
        const char *end = memchr(csv, '\n', length);
        size_t n = end ? (size_t)(end - csv) : length, count = 0;
        char separator = csv_rows_separator(csv, n);
        for (size_t k = 0; k < n; k++)
            count += csv[k] == separator;
        if (count > most) {
            most = count;
            found = separator;
        }
        length -= n + (end != NULL);
        csv += n + (end != NULL);
    }
    return found;
}

static const char *cell_of(const struct table *t, int row, int column)
{
    const char *text = t->cells[row][column];
    return text ? text : "";
}

static void free_table(struct table *t)
{
    for (int row = 0; row < t->rows; row++)
        for (int i = 0; i < WIDTH; i++)
            free(t->cells[row][i]);
    free(t->cells);
}

static void read_table(struct table *t, const char *csv, size_t length)
{
    struct lines lines = {.limit = CSV_ROWS_BYTES};
    struct csv_rows *rows =
        csv_rows_new(&(struct csv_rows_sink){on_row, on_refused, t}, separator_of(csv, length));
    t->cells = xcalloc(ROWS, sizeof *t->cells);
    lines_feed(&lines, csv, length, csv_rows_line, rows);
    lines_finish(&lines, csv_rows_line, rows);
    csv_rows_finish(rows);
    csv_rows_free(rows);
    lines_free(&lines);
}

/* ---- columns by their names ---- */

/* Which of two columns that are called alike is ours. */
static void settle(const struct guess *g, int header, struct column *columns, int at)
{
    struct column *c = &columns[at];
    for (int k = 0; k < at && c->ours; k++) {
        if (!columns[k].ours || strcmp(columns[k].ours, c->ours) != 0)
            continue;
        const char *name = cell_of(&g->table, header, at), *had = cell_of(&g->table, header, k);
        bool day = column_names_is_day(had) && !column_names_is_day(name);
        bool better = c->heading.sure > columns[k].heading.sure ||
                      (c->heading.sure == columns[k].heading.sure && day);
        struct column *worse = better ? &columns[k] : c;
        worse->given = better ? name : had;
        worse->ours = NULL;
    }
}

static int name_columns(struct guess *g, int header, enum record_kind kind, struct column *columns)
{
    int score = 0;
    const struct record_table *table = record_kind_table(kind);
    for (int i = 0; i < g->table.width; i++) {
        struct column *c = &columns[i];
        *c = (struct column){.ours = NULL};
        column_heading_read(kind, cell_of(&g->table, header, i), &c->heading);
        c->ours = *c->heading.odd ? NULL : c->heading.ours;
        settle(g, header, columns, i);
    }
    for (int i = 0; i < g->table.width; i++) {
        int at = columns[i].ours ? record_kind_column(table, columns[i].ours) : -1;
        unsigned flags = at < 0 ? 0 : table->columns[at].flags;
        if (columns[i].ours)
            score += columns[i].heading.sure * (flags & RECORD_REQUIRED ? 2 : 1);
    }
    for (int k = 0; k < table->count; k++) {
        bool there = false;
        for (int i = 0; i < g->table.width; i++)
            there =
                there || (columns[i].ours && strcmp(columns[i].ours, table->columns[k].name) == 0);
        if ((table->columns[k].flags & RECORD_REQUIRED) && !there)
            score -= 2;
    }
    return score;
}

/* A column of values without one of quantities beside it says nothing. */
static void drop_lone_value(struct guess *g)
{
    struct column *value = NULL;
    for (int i = 0; i < g->table.width; i++) {
        const char *ours = g->columns[i].ours;
        if (ours && strcmp(ours, "quantity") == 0)
            return;
        if (ours && strcmp(ours, "value") == 0)
            value = &g->columns[i];
    }
    if (value && g->kind == RECORD_READINGS)
        value->ours = NULL;
}

/* The kind and the row of names that fit best. */
static bool find_kind(struct guess *g, const enum record_kind *known)
{
    struct column columns[WIDTH];
    int best = 0;
    for (int header = 0; header < g->table.rows && header < HEADERS; header++) {
        for (int kind = 0; kind < RECORD_KINDS; kind++) {
            if (known && kind != (int)*known)
                continue;
            int score = name_columns(g, header, (enum record_kind)kind, columns);
            if (score <= best && !(known && best == 0 && score > -100 && header == 0))
                continue;
            best = score > 0 ? score : best;
            g->kind = (enum record_kind)kind;
            g->table.header = header;
            memcpy(g->columns, columns, sizeof columns);
        }
    }
    int named = 0;
    drop_lone_value(g);
    for (int i = 0; i < g->table.width; i++)
        named += g->columns[i].ours != NULL;
    return named > 0 && (best > 0 || known);
}

/* ---- what stands in them ---- */

static void note(struct guess *g, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void note(struct guess *g, const char *format, ...)
{
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    json_array_append_new(g->notes, json_string(text.data));
    text_buffer_free(&text);
}

static const char *cell(const struct guess *g, int row, int column)
{
    return cell_of(&g->table, row, column);
}

/* Whether all that stands in a column is read by the form; false if nothing does. */
static bool all_by(const struct guess *g, int column, const char *form)
{
    int count = 0;
    for (int row = g->table.header + 1; row < g->table.rows; row++) {
        struct date_form_read read;
        const char *text = cell(g, row, column);
        if (*text && !date_form_read(form, text, &read))
            return false;
        count += *text != '\0';
    }
    return count > 0;
}

/* As our own records have it, with its offset: no form is needed. */
static bool all_ours(const struct guess *g, int column)
{
    int64_t ms;
    int count = 0;
    for (int row = g->table.header + 1; row < g->table.rows; row++) {
        const char *text = cell(g, row, column);
        if (*text && when_parse(text, &ms, NULL))
            return false;
        count += *text != '\0';
    }
    return count > 0;
}

static bool is_time(const char *text)
{
    size_t hours = strspn(text, "0123456789");
    return hours >= 1 && hours <= 2 && text[hours] == ':' &&
           strspn(text + hours + 1, "0123456789") >= 2;
}

static const char *const DAY_FORMS[] = {"YYYY-MM-DD", "DD.MM.YYYY", "DD.MM.YY", "MM/DD/YYYY",
                                        "DD/MM/YYYY", "MM/DD/YY",   "DD/MM/YY", "DD-MM-YYYY",
                                        "MM-DD-YYYY", "YYYY/MM/DD", "YYYYMMDD"};
static const char *const TIME_FORMS[] = {"",          " hh:mm",       " hh:mm:ss",
                                         " hh:mm AM", " hh:mm:ss AM", "Thh:mm:ss"};
enum {
    DAY_COUNT = sizeof DAY_FORMS / sizeof *DAY_FORMS,
    TIME_COUNT = sizeof TIME_FORMS / sizeof *TIME_FORMS
};

/* 11/03 and 03/11: the form says which of the two stands first. */
static bool is_ordered(const char *form)
{
    return strncmp(form, "MM/DD", 5) == 0 || strncmp(form, "DD/MM", 5) == 0 ||
           strncmp(form, "MM-DD", 5) == 0 || strncmp(form, "DD-MM", 5) == 0;
}

/* What another column of the file shows holds for this one. */
static void decide_order(const struct guess *g, char form[static FORM], char other[static FORM])
{
    if (!g->order || !is_ordered(form) || !is_ordered(other) || form[2] != other[2])
        return;
    if (*form != g->order)
        memcpy(form, other, FORM);
    other[0] = '\0';
}

/* The form of a column's dates; whether another reads them as well, in `other`. */
static bool find_form(const struct guess *g, int column, char form[static FORM],
                      char other[static FORM])
{
    form[0] = other[0] = '\0';
    for (int time = 0; time < TIME_COUNT; time++) {
        for (int day = 0; day < DAY_COUNT; day++) {
            char one[FORM];
            snprintf(one, sizeof one, "%s%s", DAY_FORMS[day], TIME_FORMS[time]);
            if (!all_by(g, column, one))
                continue;
            snprintf(*form ? other : form, FORM, "%s", one);
            if (*other) {
                decide_order(g, form, other);
                return true;
            }
        }
    }
    return *form != '\0';
}

static char order_of_file(const struct guess *g)
{
    char order = '\0', form[FORM], other[FORM];
    for (int i = 0; i < g->table.width; i++) {
        if (!find_form(g, i, form, other) || *other || !is_ordered(form))
            continue;
        if (order && order != *form)
            return '\0';
        order = *form;
    }
    return order;
}

static const char *find_time_form(const struct guess *g, int column)
{
    static const char *const FORMS[] = {"hh:mm", "hh:mm:ss", "hh:mm AM", "hh:mm:ss AM"};
    for (size_t f = 0; f < sizeof FORMS / sizeof *FORMS; f++) {
        bool all = true;
        int count = 0;
        for (int row = g->table.header + 1; row < g->table.rows; row++) {
            char text[96], form[FORM];
            struct date_form_read read;
            if (!*cell(g, row, column))
                continue;
            snprintf(text, sizeof text, "2000-01-01 %.80s", cell(g, row, column));
            snprintf(form, sizeof form, "YYYY-MM-DD %s", FORMS[f]);
            all = all && is_time(cell(g, row, column)) && date_form_read(form, text, &read);
            count++;
        }
        if (all && count)
            return FORMS[f];
    }
    return NULL;
}

static enum column_type type_of(const struct guess *g, const struct column *c)
{
    const struct column_part part = {.kind = (int)g->kind};
    struct column_target target;
    return c->ours && column_map_target(&part, NULL, c->ours, &target, NULL) == 0 ? target.type
                                                                                  : COLUMN_TEXT;
}

/* ---- numbers ---- */

/* What the numbers of a file show of how it writes them: how often which sign must be the decimal
 * one, and a number that could be read either way. */
struct signs {
    int comma, point;
    const char *either;
};

static char other_sign(char sign)
{
    return sign == ',' ? '.' : ',';
}

/* `whole`: of a column that has no decimals. */
static void look_at_number(const char *text, bool whole, struct signs *ret)
{
    const char *last = NULL;
    size_t commas = 0, points = 0;
    for (const char *at = text; *at; at++) {
        commas += *at == ',';
        points += *at == '.';
        last = *at == ',' || *at == '.' ? at : last;
    }
    if (!last)
        return;
    bool alone = commas + points == 1;
    bool three = strspn(last + 1, "0123456789") == 3 && !(last == text + 1 && *text == '0');
    char decimal = *last;
    if ((alone && three && whole) || (!alone && !(commas && points)))
        decimal = other_sign(*last); /* 1.234.567: the sign that comes again parts thousands */
    else if (alone && three)
        decimal = '\0';
    ret->comma += decimal == ',';
    ret->point += decimal == '.';
    if (!decimal || (alone && three) || !alone)
        ret->either = text;
}

static struct signs look_at_numbers(const struct guess *g)
{
    struct signs found = {0};
    const struct record_table *table = record_kind_table(g->kind);
    for (int i = 0; i < g->table.width; i++) {
        const struct column *c = &g->columns[i];
        int at = c->ours ? record_kind_column(table, c->ours) : -1;
        if (type_of(g, c) != COLUMN_NUMBER)
            continue;
        for (int row = g->table.header + 1; row < g->table.rows; row++)
            look_at_number(cell(g, row, i), at >= 0 && table->columns[at].type == RECORD_WHOLE,
                           &found);
    }
    return found;
}

static void find_signs(struct guess *g, json_t *map)
{
    const struct signs found = look_at_numbers(g);
    char decimal = found.comma > found.point ? ',' : '.', thousands[] = {other_sign(decimal), '\0'};
    if (found.comma && found.point)
        note(g,
             "numbers are written with a comma and with a point: the %s is taken as the decimal "
             "sign",
             decimal == ',' ? "comma" : "point");
    if (decimal == ',')
        json_object_set_new(map, "decimal", json_string(","));
    if (!found.either)
        return;
    bool parted = strchr(found.either, *thousands) != NULL;
    if (parted)
        json_object_set_new(map, "thousands", json_string(thousands));
    note(g, "%s: its %s is taken as the sign of %s, look at it", found.either,
         strchr(found.either, ',') && (parted == (*thousands == ',')) ? "comma" : "point",
         parted ? "thousands" : "decimals");
}

/* ---- making the map ---- */

/* "core_at_pack [degF]" of core_at_pack_c in degF; the name itself where the unit is its own. */
static void target_text(const struct column *c, const char *unit, char out[static COLUMN_NAME + 32])
{
    const char *suffix = NULL, *own = units_promised(c->ours, &suffix);
    double one = 0, other = 0;
    bool same = own && units_convert(1, unit, own, &one, NULL) == 0 &&
                units_convert(20, unit, own, &other, NULL) == 0 && one == 1 && other == 20;
    if (!*unit || same || !own)
        snprintf(out, COLUMN_NAME + 32, *unit && !own ? "%s [%s]" : "%s", c->ours, unit);
    else
        snprintf(out, COLUMN_NAME + 32, "%.*s [%s]", (int)(suffix - c->ours), c->ours, unit);
}

/* A core of 97 is no Celsius at packing: the middle of what stands there. */
static const char *unit_by_values(struct guess *g, int column)
{
    double sum = 0;
    int count = 0;
    const char *suffix = NULL, *own = units_promised(g->columns[column].ours, &suffix);
    for (int row = g->table.header + 1; row < g->table.rows; row++) {
        char number[40];
        const char *rest = NULL;
        double value = 0;
        if (!cell_number(cell(g, row, column), strchr(cell(g, row, column), ',') ? ',' : '.', '\0',
                         number, &rest) ||
            text_to_double(number, &value))
            continue;
        if (*rest)
            return "";
        sum += value;
        count++;
    }
    bool baked = strstr(g->columns[column].ours, "end_bake") != NULL;
    if (!own || strcmp(own, "degC") != 0 || !count || sum / count < (baked ? 130 : 60))
        return "";
    note(g, "%s: values of %.0f are taken as degF", cell(g, g->table.header, column), sum / count);
    g->columns[column].fahrenheit = true;
    return "degF";
}

static void add_column(json_t *columns, const char *file_column, const char *target)
{
    json_t *had = json_object_get(columns, file_column);
    if (!had) {
        json_object_set_new(columns, file_column, json_string(target));
        return;
    }
    if (json_is_string(had)) {
        json_t *list = json_array();
        json_array_append(list, had);
        json_object_set_new(columns, file_column, list);
        had = list;
    }
    json_array_append_new(had, json_string(target));
}

/* The column of days that columns of times are joined to; -1 none. */
static int day_column(const struct guess *g)
{
    char form[FORM], other[FORM];
    for (int i = 0; i < g->table.width; i++)
        if (column_names_is_day(cell(g, g->table.header, i)) && find_form(g, i, form, other) &&
            !strstr(form, "hh"))
            return i;
    return -1;
}

static void say_ambiguous(struct guess *g, int column, const char *form, const char *other)
{
    if (*other)
        note(g, "%s: its dates may be %s or %s; %s is taken, look at it",
             cell(g, g->table.header, column), form, other, form);
}

/* Readings without a time are of their lot's packing. */
static bool may_be_left_out(const struct guess *g, const struct column *c)
{
    const struct record_table *table = record_kind_table(g->kind);
    int at = record_kind_column(table, c->ours);
    return at >= 0 && (table->columns[at].flags & RECORD_PACKED);
}

static void add_date(struct guess *g, int column, int day, json_t *columns, json_t *dates)
{
    struct column *c = &g->columns[column];
    const char *file_column = cell(g, g->table.header, column);
    char form[FORM + 16], other[FORM];
    const char *time = find_time_form(g, column);
    bool timed = type_of(g, c) == COLUMN_TIME;
    if (timed && time && day >= 0 && day != column) {
        find_form(g, day, form, other);
        say_ambiguous(g, day, form, other);
        add_column(columns, cell(g, g->table.header, day), c->ours);
        add_column(columns, file_column, c->ours);
        size_t length = strlen(form);
        snprintf(form + length, sizeof form - length, " %s", time);
    } else if (find_form(g, column, form, other)) {
        if (timed && !strstr(form, "hh") && may_be_left_out(g, c)) {
            note(g,
                 "%s: has no time of day, which %s needs: not used, each reading is taken at its "
                 "lot's packing",
                 file_column, c->ours);
            c->left_out = true;
            return;
        }
        say_ambiguous(g, column, form, other);
        add_column(columns, file_column, c->ours);
        if (timed && !strstr(form, "hh")) {
            note(g, "%s: has no time of day, which %s needs", file_column, c->ours);
            return;
        }
    } else {
        if (!timed || !all_ours(g, column))
            note(g, "%s: is no date that is known for %s", file_column, c->ours);
        add_column(columns, file_column, c->ours);
        return;
    }
    if (strncmp(form, "YYYY-MM-DD", 10) != 0)
        json_object_set_new(dates, c->ours, json_string(form));
}

/* Whether columns of times are there for the days to be joined to. */
static bool has_times(const struct guess *g, int day)
{
    for (int i = 0; i < g->table.width; i++)
        if (i != day && type_of(g, &g->columns[i]) == COLUMN_TIME && find_time_form(g, i))
            return true;
    return false;
}

static void add_columns(struct guess *g, json_t *columns, json_t *dates)
{
    int day = day_column(g);
    bool joined = day >= 0 && has_times(g, day);
    for (int i = 0; i < g->table.width; i++) {
        const char *file_column = cell(g, g->table.header, i);
        struct column *c = &g->columns[i];
        enum column_type type = type_of(g, c);
        char text[COLUMN_NAME + 32];
        if (!c->ours || (joined && i == day && type == COLUMN_TIME))
            continue;
        if (type == COLUMN_DAY || type == COLUMN_TIME) {
            add_date(g, i, day, columns, dates);
            continue;
        }
        const char *unit = c->heading.unit;
        if (type == COLUMN_NUMBER && !*unit)
            unit = unit_by_values(g, i);
        target_text(c, type == COLUMN_NUMBER ? unit : "", text);
        add_column(columns, file_column, text);
    }
}

static void add_name(struct text_buffer *list, const char *name)
{
    text_appendf(list, "%s%s", list->length ? ", " : "", name);
}

/* Numbers whose unit the heading does not say, where sheets are written in another as well. */
static void note_units(struct guess *g)
{
    struct text_buffer list = {0};
    for (int i = 0; i < g->table.width; i++) {
        const struct column *c = &g->columns[i];
        const char *suffix, *own = c->ours ? units_promised(c->ours, &suffix) : NULL;
        const char *name = cell(g, g->table.header, i);
        double ignored;
        bool mass = own && units_convert(1, own, "kg", &ignored, NULL) == 0;
        bool warmth = own && units_convert(1, own, "degC", &ignored, NULL) == 0;
        if (!(mass || warmth) || c->fahrenheit || *c->heading.unit ||
            text_equal_fold(c->ours, name))
            continue;
        text_appendf(&list, "%s%s as %s", list.length ? ", " : "", name, own);
    }
    if (list.length)
        note(g, "taken without a unit in the heading, look at it: %s", list.data);
    text_buffer_free(&list);
}

/* A quantity, in a table of another kind: the file may be read once more for it. */
static bool is_measured(const struct guess *g, const char *name)
{
    struct column_heading heading;
    if (g->kind == RECORD_READINGS)
        return false;
    column_heading_read(RECORD_READINGS, name, &heading);
    return heading.sure == COLUMN_NAMES_SURE && !*heading.odd &&
           record_kind_column(record_kind_table(RECORD_READINGS), heading.ours) < 0;
}

/* "Pounds" does not say of what, and "Cases" are no packs: said by name, since they look as if they
 * were understood. */
static bool note_bare_unit(struct guess *g, const char *name)
{
    static const char CASES[] = "case cases cs trays crates pallets boxes cajas kisten kartons";
    char key[FORM];
    if (strlen(name) >= sizeof key)
        return false;
    bool cases = words_has(CASES, text_fold(name, key, sizeof key));
    bool unit = strlen(name) > 1 && units_known(name);
    if (cases)
        note(g, "%s: counts cases and not packs: not used", name);
    else if (unit)
        note(g, "%s: is a unit, and does not say of what: not used, name it in the map", name);
    return cases || unit;
}

/* Why each column that goes nowhere does. */
static void note_unused(struct guess *g, const json_t *columns)
{
    struct text_buffer unknown = {0}, measured = {0};
    for (int i = 0; i < g->table.width; i++) {
        const char *name = cell(g, g->table.header, i);
        const struct column *c = &g->columns[i];
        if (!*name || c->left_out || json_object_get(columns, name) || note_bare_unit(g, name))
            continue;
        if (*c->heading.odd)
            note(g, "%s: '%s' is no unit known of %s: not used, since it would be taken wrongly",
                 name, c->heading.odd, c->heading.ours);
        else if (c->given)
            note(g, "%s: not used, %s is taken for %s", name, c->given, c->heading.ours);
        else
            add_name(is_measured(g, name) ? &measured : &unknown, name);
    }
    if (measured.length)
        note(g, "of readings, which are another kind, and not used: %s", measured.data);
    if (unknown.length)
        note(g, "columns that are not known, and not used: %s", unknown.data);
    text_buffer_free(&unknown);
    text_buffer_free(&measured);
}

static void note_missing(struct guess *g)
{
    const struct record_table *table = record_kind_table(g->kind);
    for (int k = 0; k < table->count; k++) {
        const struct record_column *column = &table->columns[k];
        bool there = false;
        bool wide = g->kind == RECORD_READINGS &&
                    (column->type == RECORD_QUANTITY || column->type == RECORD_VALUE);
        for (int i = 0; i < g->table.width; i++)
            there = there || (g->columns[i].ours && strcmp(g->columns[i].ours, column->name) == 0);
        if (there || wide || !(column->flags & RECORD_REQUIRED))
            continue;
        note(g, "nothing is found for %s: name a column, or give it under \"constants\"",
             column->name);
    }
}

int column_guess(const char *csv, size_t length, const enum record_kind *kind, json_t **ret_map,
                 json_t **ret_notes, struct error *err)
{
    struct guess *g = xcalloc(1, sizeof *g);
    g->notes = json_array();
    read_table(&g->table, csv, length);
    int rc = find_kind(g, kind)
                 ? 0
                 : error_set(err, ERROR_INVALID, "no row of names is known in its first %d rows",
                             HEADERS);
    if (!rc) {
        json_t *columns = json_object(), *dates = json_object();
        g->order = order_of_file(g);
        *ret_map = json_pack("{ss}", "kind", record_kind_table(g->kind)->kind);
        if (g->table.header > 0 || g->table.line[0] > 1)
            json_object_set_new(*ret_map, "header", json_integer(g->table.line[g->table.header]));
        add_columns(g, columns, dates);
        find_signs(g, *ret_map);
        note_units(g);
        note_missing(g);
        note_unused(g, columns);
        json_object_set_new(*ret_map, "columns", columns);
        if (json_object_size(dates))
            json_object_set(*ret_map, "dates", dates);
        json_decref(dates);
        *ret_notes = json_incref(g->notes);
    }
    json_decref(g->notes);
    free_table(&g->table);
    free(g);
    return rc;
}
