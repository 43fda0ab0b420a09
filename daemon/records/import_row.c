/* One row, whatever the file's format: checked, staged, or told of as faulty. */
#include "records/import_inside.h"
#include <string.h>

void import_fault(struct import *im, const char *name, const char *value, const char *reason)
{
    struct error why = {0};
    error_set(&why, ERROR_INVALID, "%s", reason);
    error_at(&why, im->source, im->line, 0);
    error_field(&why, name, value);
    im->row_refused = true;
    im->refused(im->refused_arg, &why);
}

void import_header_fault(void *arg, const char *name, const char *reason)
{
    import_fault(arg, name, NULL, reason);
}

static void stage_cells(struct import *im, const struct record_cell *cells, bool first)
{
    uint64_t offset;
    int rc = stage_append(im->stage, first, im->line, cells, &offset, im->err);
    if (!rc)
        rc = key_index_add(im->keys, key_index_hash(cells, im->table->keys), offset, im->err);
    if (rc)
        im->code = rc;
}

/* A wide row is a record for each quantity it has. */
static void stage_wide(struct import *im, const struct check_row *row)
{
    struct record_cell cells[RECORD_COLUMNS];
    int quantity = record_kind_column(im->table, "quantity");
    int value = record_kind_column(im->table, "value");
    memcpy(cells, row->cells, sizeof cells);
    for (int i = 0; i < row->measured_count && !im->code; i++) {
        const struct check_measured *m = &row->measured[i];
        cells[quantity] = (struct record_cell){.form = RECORD_TEXT,
                                               .text = m->quantity->name,
                                               .length = (uint32_t)strlen(m->quantity->name)};
        cells[value] = (struct record_cell){.form = RECORD_NUMBER, .number = m->value};
        stage_cells(im, cells, i == 0);
    }
    if (row->measured_count == 0)
        im->counts.idle++;
}

void import_row(struct import *im, struct check_value *values)
{
    const struct check_row *row = NULL;
    int rc = check_row(im->check, im->refs, &im->header, values, &row, im->err);
    if (rc)
        im->code = rc;
    if (rc || !row)
        return;
    if (im->header.wide)
        stage_wide(im, row);
    else
        stage_cells(im, row->cells, true);
    im->counts.accepted++;
}
