/* The same key twice in one file. Twice the same row is harmless; rows that differ contradict each
 * other, and which is right the daemon cannot know: all of that key are refused, or the last one
 * stands where the sender says so. */
#include "base/when.h"
#include "records/import_inside.h"
#include <stdio.h>
#include <string.h>

struct twice {
    struct import *import;
    struct stage_reader *first, *later;
    bool found; /* rows that contradict each other */
};

/* What differs first, -1 nothing; -2 the keys do. */
static int difference(const struct record_table *table, const struct stage_row *a,
                      const struct stage_row *b)
{
    for (int i = 0; i < table->count; i++)
        if (!record_kind_cell_equal(&a->cells[i], &b->cells[i]))
            return i < table->keys ? -2 : i;
    return -1;
}

static const char *cell_text(const struct record_column *column, const struct record_cell *cell,
                             char buffer[static 40])
{
    buffer[0] = '\0';
    if (cell->form == RECORD_TEXT)
        return cell->text;
    if (cell->form == RECORD_NUMBER)
        snprintf(buffer, 40, "%.15g", cell->number);
    else if (cell->form == RECORD_INTEGER && column->type == RECORD_WHEN)
        when_format_utc(cell->integer, buffer);
    else if (cell->form == RECORD_INTEGER && column->type == RECORD_DAY)
        day_format((int32_t)cell->integer, buffer);
    else if (cell->form == RECORD_INTEGER && column->type == RECORD_WHOLE)
        snprintf(buffer, 40, "%lld", (long long)cell->integer);
    return buffer;
}

/* A wide row's column is named by its quantity. */
static const char *column_name(const struct import *im, const struct stage_row *row, int column)
{
    int quantity = record_kind_column(im->table, "quantity");
    bool value = im->table->columns[column].type == RECORD_VALUE;
    return im->header.wide && value && quantity >= 0 ? row->cells[quantity].text
                                                     : im->table->columns[column].name;
}

static int read_at(struct stage_reader *reader, uint64_t offset, struct stage_row *ret,
                   struct error *err)
{
    stage_seek(reader, offset);
    int rc = stage_next(reader, ret, err);
    return rc == 0 ? error_set(err, ERROR_INTERNAL, "a staged row is missing") : rc;
}

/* *ret_dropped: it was not dropped before. */
static int drop(struct import *im, uint64_t offset, int64_t *count, bool *ret_dropped,
                struct error *err)
{
    int rc = stage_drop(im->stage, offset, ret_dropped, err);
    if (!rc && *ret_dropped) {
        im->counts.accepted--;
        ++*count;
    }
    return rc;
}

/* Tells of a row that `other` contradicts in `column`, unless that was told before. */
static int refuse_row(struct import *im, const struct stage_row *row, const struct stage_row *other,
                      int column, struct error *err)
{
    char reason[96], buffer[40];
    bool dropped = false;
    int rc = drop(im, row->offset, &im->counts.refused, &dropped, err);
    if (rc || !dropped)
        return rc;
    im->line = row->line;
    snprintf(reason, sizeof reason, "contradicts line %ld, which has the same key", other->line);
    import_fault(im, column_name(im, row, column),
                 cell_text(&im->table->columns[column], &row->cells[column], buffer), reason);
    return 0;
}

static int read_pair(struct twice *t, uint64_t one, uint64_t other, struct stage_row *a,
                     struct stage_row *b, struct error *err)
{
    int rc = read_at(t->first, one, a, err);
    if (rc == 1)
        rc = read_at(t->later, other, b, err);
    return rc < 0 ? rc : 0;
}

/* The later one contradicts the first: neither can be trusted. */
static int on_pair(void *arg, uint64_t first, uint64_t later, struct error *err)
{
    struct twice *t = arg;
    struct stage_row a = {0}, b = {0};
    int rc = read_pair(t, first, later, &a, &b, err);
    int column = rc ? -1 : difference(t->import->table, &a, &b);
    if (rc || column < 0)
        return rc;
    t->found = true;
    a.offset = first;
    b.offset = later;
    rc = refuse_row(t->import, &a, &b, column, err);
    return rc ? rc : refuse_row(t->import, &b, &a, column, err);
}

/* One that says the same as the first, where that was refused. */
static int on_same(void *arg, uint64_t first, uint64_t later, struct error *err)
{
    struct twice *t = arg;
    struct stage_row a = {0}, b = {0};
    int rc = read_pair(t, first, later, &a, &b, err);
    if (rc || !(a.flags & STAGE_DROPPED) || difference(t->import->table, &a, &b) != -1)
        return rc;
    bool dropped = false;
    char reason[96];
    rc = drop(t->import, later, &t->import->counts.refused, &dropped, err);
    if (rc || !dropped)
        return rc;
    t->import->line = b.line;
    snprintf(reason, sizeof reason, "says the same as line %ld, which another line contradicts",
             a.line);
    import_fault(t->import, NULL, NULL, reason);
    return 0;
}

static int on_last(void *arg, uint64_t last, uint64_t earlier, struct error *err)
{
    struct twice *t = arg;
    struct stage_row a = {0}, b = {0};
    int rc = read_pair(t, last, earlier, &a, &b, err);
    if (rc || difference(t->import->table, &a, &b) < 0)
        return rc;
    bool dropped = false;
    return drop(t->import, earlier, &t->import->counts.passed_over, &dropped, err);
}

static int go_through(struct twice *t, bool by_last, key_index_pair pair, struct error *err)
{
    const struct import *im = t->import;
    int rc = stage_reader_new(im->path, im->table->count, STAGE_NEAR, &t->first, err);
    if (!rc)
        rc = stage_reader_new(im->path, im->table->count, STAGE_NEAR, &t->later, err);
    if (!rc)
        rc = key_index_pairs(im->keys, by_last, pair, t, err);
    stage_reader_free(t->first);
    stage_reader_free(t->later);
    t->first = t->later = NULL;
    return rc;
}

int import_drop_twice(struct import *im, struct error *err)
{
    struct twice t = {.import = im};
    if (im->take_last)
        return go_through(&t, true, on_last, err);
    int rc = go_through(&t, false, on_pair, err);
    return rc || !t.found ? rc : go_through(&t, false, on_same, err);
}
