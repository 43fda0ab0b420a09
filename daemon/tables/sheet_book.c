/* ECMA-376 part 1 (5th edition, 2016): 18.2 workbook, 18.4 shared strings, 18.8 styles; part 2:
 * relationships. */
#include "tables/sheet_book.h"
#include "base/text.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATH = 256, NAME = 128, SHEETS = 1000, STYLES = 65536, FORMATS = 4096 };
#define TEXTS_BYTES ((size_t)128 << 20)
#define TEXTS_MOST ((size_t)4 << 20)

struct format {
    int64_t id;
    unsigned style;
};

struct sheet_book {
    struct sheet_zip *zip;
    char workbook[PATH], sheet[PATH], texts[PATH], styles[PATH]; /* parts; "" none */
    char id[NAME];                                               /* of the sheet's relation */
    const char *wanted;                                          /* by name; NULL the first */
    bool found;
    struct text_buffer known; /* names of sheets */
    int sheets;
    bool is_1904;
    struct text_buffer text; /* all shared texts, NUL-ended */
    size_t *starts, start_count, start_capacity;
    int phonetic; /* depth inside of what tells how to say a text */
    bool in_text;
    struct format *formats;
    size_t format_count;
    unsigned char *style; /* of each cell format */
    size_t style_count;
    bool in_cell_formats;
};

/* ---- relations ---- */

struct relations {
    struct sheet_book *book;
    const char *folder; /* targets are relative to */
    bool of_package;
};

/* "worksheets/sheet1.xml" below "xl/", "/xl/workbook.xml" from the top; no way up. */
static void place(const struct relations *r, const char *target, char out[static PATH])
{
    int length = *target == '/' ? snprintf(out, PATH, "%s", target + 1)
                                : snprintf(out, PATH, "%s%s", r->folder, target);
    if (length >= PATH || strstr(out, ".."))
        out[0] = '\0';
}

static bool ends(const char *text, const char *end)
{
    size_t a = strlen(text), b = strlen(end);
    return a >= b && strcmp(text + a - b, end) == 0;
}

static int on_relation(void *arg, const char *name, const char **attributes, struct error *err)
{
    const struct relations *r = arg;
    struct sheet_book *b = r->book;
    (void)err;
    const char *type = sheet_part_attribute(attributes, "Type"),
               *target = sheet_part_attribute(attributes, "Target"),
               *id = sheet_part_attribute(attributes, "Id");
    if (strcmp(name, "Relationship") != 0 || !type || !target)
        return 0;
    if (r->of_package && ends(type, "/officeDocument"))
        place(r, target, b->workbook);
    else if (!r->of_package && ends(type, "/sharedStrings"))
        place(r, target, b->texts);
    else if (!r->of_package && ends(type, "/styles"))
        place(r, target, b->styles);
    else if (!r->of_package && ends(type, "/worksheet") && id && strcmp(id, b->id) == 0)
        place(r, target, b->sheet);
    return 0;
}

static int read_relations(struct sheet_book *b, const char *part, const char *folder,
                          struct error *err)
{
    struct relations r = {b, folder, strcmp(part, "_rels/.rels") == 0};
    const struct sheet_reader reader = {.start = on_relation, .arg = &r};
    return sheet_part_read(b->zip, part, &reader, err);
}

/* ---- workbook ---- */

static bool is_true(const char *text)
{
    return text && (strcmp(text, "1") == 0 || strcmp(text, "true") == 0);
}

static int on_workbook(void *arg, const char *name, const char **attributes, struct error *err)
{
    struct sheet_book *b = arg;
    if (strcmp(name, "workbookPr") == 0)
        b->is_1904 = is_true(sheet_part_attribute(attributes, "date1904"));
    if (strcmp(name, "sheet") != 0)
        return 0;
    const char *title = sheet_part_attribute(attributes, "name"),
               *state = sheet_part_attribute(attributes, "state"),
               *id = sheet_part_attribute(attributes, "id");
    if (!title || !id)
        return 0;
    if (++b->sheets > SHEETS)
        return error_set(err, ERROR_TOO_LARGE, "has more than %d sheets", SHEETS);
    char shown[64];
    if (b->known.length < 120)
        text_appendf(&b->known, "%s%s", b->known.length ? ", " : "",
                     text_clip(title, shown, sizeof shown));
    bool hidden = state && strcmp(state, "visible") != 0;
    bool wanted = b->wanted ? text_equal_fold(title, b->wanted) : !hidden;
    if (wanted && !b->found)
        b->found = snprintf(b->id, NAME, "%s", id) < NAME;
    return 0;
}

static int read_workbook(struct sheet_book *b, struct error *err)
{
    char rels[2 * PATH + 32];
    const struct sheet_reader reader = {.start = on_workbook, .arg = b};
    int rc = read_relations(b, "_rels/.rels", "", err);
    if (!rc && !*b->workbook)
        rc = error_set(err, ERROR_INVALID, "is no workbook");
    if (!rc)
        rc = sheet_part_read(b->zip, b->workbook, &reader, err);
    if (!rc && !b->found) {
        error_hint(err, "it has %s", b->known.data ? b->known.data : "none");
        rc = b->wanted ? error_set(err, ERROR_NOT_FOUND, "has no sheet '%.60s'", b->wanted)
                       : error_set(err, ERROR_NOT_FOUND, "has no sheet that is not hidden");
    }
    if (rc)
        return rc;
    char *slash = strrchr(b->workbook, '/');
    int folder = slash ? (int)(slash - b->workbook) + 1 : 0;
    char below[PATH];
    snprintf(below, sizeof below, "%.*s", folder, b->workbook);
    snprintf(rels, sizeof rels, "%s_rels/%s.rels", below, b->workbook + folder);
    rc = read_relations(b, rels, below, err);
    return rc || *b->sheet ? rc : error_set(err, ERROR_INVALID, "does not say where its sheet is");
}

/* ---- shared texts ---- */

static int on_text_start(void *arg, const char *name, const char **attributes, struct error *err)
{
    struct sheet_book *b = arg;
    (void)attributes;
    if (strcmp(name, "rPh") == 0)
        b->phonetic++;
    b->in_text = strcmp(name, "t") == 0 && b->phonetic == 0;
    if (strcmp(name, "si") != 0)
        return 0;
    if (b->start_count == TEXTS_MOST)
        return error_set(err, ERROR_TOO_LARGE, "has more than %zu different texts", TEXTS_MOST);
    if (b->start_count == b->start_capacity) {
        b->start_capacity = b->start_capacity ? b->start_capacity * 2 : 256;
        b->starts = xrealloc(b->starts, b->start_capacity * sizeof *b->starts);
    }
    b->starts[b->start_count++] = b->text.length;
    return 0;
}

static int on_text_end(void *arg, const char *name, struct error *err)
{
    struct sheet_book *b = arg;
    (void)err;
    if (strcmp(name, "rPh") == 0)
        b->phonetic--;
    b->in_text = false;
    if (strcmp(name, "si") == 0)
        text_append_bytes(&b->text, "", 1);
    return 0;
}

static int on_text(void *arg, const char *text, size_t length, struct error *err)
{
    struct sheet_book *b = arg;
    if (!b->in_text || b->start_count == 0)
        return 0;
    if (b->text.length + length > TEXTS_BYTES)
        return error_set(err, ERROR_TOO_LARGE, "has more than %zu MiB of text", TEXTS_BYTES >> 20);
    text_append_bytes(&b->text, text, length);
    return 0;
}

/* ---- styles ---- */

/* What a format's letters show, those in quotes, brackets and behind a backslash aside. Only its
 * first section counts: the others are for negative numbers and texts. */
static unsigned style_of(const char *code)
{
    unsigned style = 0;
    bool month = false;
    for (; *code && *code != ';'; code++) {
        if (*code == '"') {
            code = strchr(code + 1, '"');
            if (!code)
                break;
        } else if (*code == '[') {
            if (strchr("hHmMsS", code[1]) && code[1])
                style |= SHEET_TIME | SHEET_ELAPSED;
            code = strchr(code, ']');
            if (!code)
                break;
        } else if ((*code == '\\' || *code == '_' || *code == '*') && code[1]) {
            code++;
        } else if (strchr("yYdD", *code)) {
            style |= SHEET_DATE;
        } else if (strchr("hHsS", *code)) {
            style |= SHEET_TIME;
        } else if (strchr("mM", *code)) {
            month = true;
        } else if (strncmp(code, "General", 7) == 0) {
            return 0;
        }
    }
    return month && !style ? SHEET_DATE : style;
}

/* 18.8.30: formats that every workbook has. */
static unsigned style_built_in(int64_t id)
{
    static const struct {
        int from, to;
        unsigned style;
    } ROWS[] = {{14, 17, SHEET_DATE},
                {18, 21, SHEET_TIME},
                {22, 22, SHEET_DATE | SHEET_TIME},
                {27, 31, SHEET_DATE},
                {32, 35, SHEET_TIME},
                {36, 36, SHEET_DATE},
                {45, 45, SHEET_TIME},
                {46, 46, SHEET_TIME | SHEET_ELAPSED},
                {47, 47, SHEET_TIME},
                {50, 58, SHEET_DATE}};
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++)
        if (id >= ROWS[i].from && id <= ROWS[i].to)
            return ROWS[i].style;
    return 0;
}

static unsigned style_by_id(const struct sheet_book *b, int64_t id)
{
    for (size_t i = 0; i < b->format_count; i++)
        if (b->formats[i].id == id)
            return b->formats[i].style;
    return style_built_in(id);
}

static int64_t whole(const char *text)
{
    int64_t value = -1;
    return text && text_to_int64(text, &value) == 0 ? value : -1;
}

static int on_style(void *arg, const char *name, const char **attributes, struct error *err)
{
    struct sheet_book *b = arg;
    int64_t id = whole(sheet_part_attribute(attributes, "numFmtId"));
    const char *code = sheet_part_attribute(attributes, "formatCode");
    if (strcmp(name, "cellXfs") == 0)
        b->in_cell_formats = true;
    if (strcmp(name, "numFmt") == 0 && code) {
        if (b->format_count == FORMATS)
            return error_set(err, ERROR_TOO_LARGE, "has more than %d formats", FORMATS);
        b->formats = xrealloc(b->formats, (b->format_count + 1) * sizeof *b->formats);
        b->formats[b->format_count++] = (struct format){id, style_of(code)};
    }
    if (strcmp(name, "xf") != 0 || !b->in_cell_formats)
        return 0;
    if (b->style_count == STYLES)
        return error_set(err, ERROR_TOO_LARGE, "has more than %d styles", STYLES);
    if (!b->style)
        b->style = xcalloc(STYLES, 1);
    b->style[b->style_count++] = (unsigned char)style_by_id(b, id);
    return 0;
}

static int on_style_end(void *arg, const char *name, struct error *err)
{
    struct sheet_book *b = arg;
    (void)err;
    if (strcmp(name, "cellXfs") == 0)
        b->in_cell_formats = false;
    return 0;
}

/* ---- outside ---- */

int sheet_book_open(struct sheet_zip *zip, const char *sheet, struct sheet_book **ret,
                    struct error *err)
{
    struct sheet_book *b = xcalloc(1, sizeof *b);
    const struct sheet_reader texts = {on_text_start, on_text_end, on_text, b},
                              styles = {on_style, on_style_end, NULL, b};
    b->zip = zip;
    b->wanted = sheet;
    int rc = read_workbook(b, err);
    if (!rc && *b->texts)
        rc = sheet_part_read(zip, b->texts, &texts, err);
    if (!rc && *b->styles)
        rc = sheet_part_read(zip, b->styles, &styles, err);
    if (rc) {
        sheet_book_close(b);
        return rc;
    }
    *ret = b;
    return 0;
}

void sheet_book_close(struct sheet_book *b)
{
    if (!b)
        return;
    text_buffer_free(&b->known);
    text_buffer_free(&b->text);
    free(b->starts);
    free(b->formats);
    free(b->style);
    free(b);
}

const char *sheet_book_part(const struct sheet_book *b)
{
    return b->sheet;
}

bool sheet_book_1904(const struct sheet_book *b)
{
    return b->is_1904;
}

const char *sheet_book_text(const struct sheet_book *b, int64_t index)
{
    return index < 0 || (uint64_t)index >= b->start_count ? NULL : b->text.data + b->starts[index];
}

unsigned sheet_book_style(const struct sheet_book *b, int64_t index)
{
    return index < 0 || (uint64_t)index >= b->style_count ? 0 : b->style[index];
}
