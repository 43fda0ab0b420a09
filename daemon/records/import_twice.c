/* The same key twice in one file. Twice the same row is harmless; two that differ contradict each
 * other, and which is right the daemon cannot know: the later one is refused. */
#include "base/when.h"
#include "records/import_inside.h"
#include <stdio.h>
#include <string.h>

struct twice {
    struct import *import;
    struct stage_reader *first, *later;
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

static int on_pair(void *arg, uint64_t first, uint64_t later, struct error *err)
{
    struct twice *t = arg;
    struct import *im = t->import;
    struct stage_row a = {0}, b = {0};
    char reason[96], buffer[40];
    bool dropped;
    int rc = read_at(t->first, first, &a, err);
    if (rc == 1)
        rc = read_at(t->later, later, &b, err);
    if (rc < 0)
        return rc;
    int column = difference(im->table, &a, &b);
    if (column < 0)
        return 0;
    im->line = b.line;
    snprintf(reason, sizeof reason, "contradicts line %ld, which has the same key", a.line);
    import_fault(im, column_name(im, &b, column),
                 cell_text(&im->table->columns[column], &b.cells[column], buffer), reason);
    rc = stage_drop(im->stage, later, &dropped, err);
    if (!rc && dropped) {
        im->counts.refused++;
        im->counts.accepted--;
    }
    return rc;
}

int import_drop_twice(struct import *im, struct error *err)
{
    struct twice t = {.import = im};
    int rc = stage_reader_new(im->path, im->table->count, STAGE_NEAR, &t.first, err);
    if (!rc)
        rc = stage_reader_new(im->path, im->table->count, STAGE_NEAR, &t.later, err);
    if (!rc)
        rc = key_index_pairs(im->keys, on_pair, &t, err);
    stage_reader_free(t.first);
    stage_reader_free(t.later);
    return rc;
}
