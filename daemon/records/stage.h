/* The staging file: checked rows on their way into the store, in DIR/loads/. Whoever holds an
 * accepted file can apply it without the file it came from, at any later time.
 *
 * Form (native byte order; a staging file never leaves its machine): "oddloaf rows 1\n", then
 * records of
 *     u32 length of the whole record   u32 line of the source
 *     u32 bytes back to the first record of the same source row
 *     u8 flags   u8[3] zero
 *     per column of the kind: u8 form, then nothing | i64 | f64 | u16 length, text, NUL
 * A wide row of a source is several records; only the first has STAGE_FIRST. */
#ifndef ODDLOAF_RECORDS_STAGE_H
#define ODDLOAF_RECORDS_STAGE_H

#include "base/error.h"
#include "base/record_kind.h"

enum stage_flag {
    STAGE_FIRST = 1,  /* begins a source row */
    STAGE_DROPPED = 2 /* refused after it was staged */
};

struct stage_row {
    uint64_t offset; /* of the record */
    long line;
    unsigned flags;
    struct record_cell cells[RECORD_COLUMNS]; /* text lives until the next read */
};

/* ---- writing ---- */

struct stage;

/* Creates `path` (must not exist); columns is the number of cells of a row. */
int stage_new(const char *path, int columns, struct stage **ret, struct error *err);
/* *ret_offset names the record. */
int stage_append(struct stage *stage, bool first, long line, const struct record_cell *cells,
                 uint64_t *ret_offset, struct error *err);
int stage_flush(struct stage *stage, struct error *err);
/* Drops the whole source row the record belongs to, on disk (after stage_flush()).
 * *ret_dropped is false if it was dropped before. */
int stage_drop(struct stage *stage, uint64_t offset, bool *ret_dropped, struct error *err);
/* Everything on disk, file and folder. */
int stage_sync(struct stage *stage, struct error *err);
void stage_free(struct stage *stage); /* closes; the file stays. NULL is fine */

/* ---- reading ---- */

struct stage_reader;

/* How much is read at a time: a lot for going through, little for looking here and there. */
enum stage_reach { STAGE_FAR = 1 << 18, STAGE_NEAR = 1 << 13 };

/* ERROR_INTERNAL if the file is missing or damaged. */
int stage_reader_new(const char *path, int columns, enum stage_reach reach,
                     struct stage_reader **ret, struct error *err);
/* Rows in order, dropped ones too. 1 a row, 0 the end, negative error. */
int stage_next(struct stage_reader *reader, struct stage_row *ret, struct error *err);
/* Next stage_next() reads here: an offset of a row, or 0 for the first. */
void stage_seek(struct stage_reader *reader, uint64_t offset);
uint64_t stage_tell(const struct stage_reader *reader);
void stage_reader_free(struct stage_reader *reader); /* NULL is fine */

#endif
