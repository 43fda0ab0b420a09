#include "records/apply.h"
#include "base/text.h"
#include "records/stage.h"
#include "store/company_count.h"
#include "store/complaint_place.h"
#include "store/load_part.h"
#include "store/lot_find.h"
#include "store/record_came.h"
#include "store/record_find.h"
#include "store/record_write.h"
#include "store/work.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    TOUCHED_SLOTS = 4096,
    SINCE_WAIT_MS = 30000 /* while the rest of the file comes; a crash costs no more than that */
};

/* Where a reader stands: before the source row `rows` (counted from 0, dropped ones not). */
struct place {
    uint64_t offset;
    int64_t rows;
};

struct slice {
    const char *state_dir;
    const char *wanted; /* the file somebody waits for, or NULL */
    int64_t now_ms;
    /* kept from slice to slice while the file is the same */
    struct stage_reader *reader;
    char reader_id[UUID_TEXT];
    struct place place;
    int32_t since_day; /* complaints received since are matched again; WHEN_UNKNOWN_DAY none */
    int32_t rank_day;  /* cases that heard of one since are ranked again; likewise */
    /* results of the job, valid once it is committed */
    bool idle;    /* nothing waits */
    bool through; /* the wanted file is done or failed, by whomever */
    struct load_file file;
    struct place next;
    /* of the job at hand */
    struct store *store;
    struct record_writing *writing;
    enum record_outcome row_outcome;
    bool in_row;
    int64_t touched[TOUCHED_SLOTS];
    int touched_count;
};

/* ---- lots whose cases are to be ranked again ---- */

/* Complaints received from this day on may be about what a row says, or look otherwise by it. */
static void note_day(struct slice *s, int64_t ms)
{
    int32_t day = (int32_t)(ms / WHEN_DAY_MS) - 1; /* whatever the plant's zone */
    if (ms != WHEN_UNKNOWN_MS && (s->since_day == WHEN_UNKNOWN_DAY || day < s->since_day))
        s->since_day = day;
}

/* Other lots are held against what is recorded of this one, and the company's complaints against
 * what was sold: of those that were ranked after it was packed any may have been. */
static void note_packed(struct slice *s, int64_t packed_ms)
{
    int32_t day = (int32_t)(packed_ms / WHEN_DAY_MS) - 1;
    if (packed_ms != WHEN_UNKNOWN_MS && (s->rank_day == WHEN_UNKNOWN_DAY || day < s->rank_day))
        s->rank_day = day;
}

static int note_lot(struct slice *s, int64_t lot_id, struct error *err)
{
    struct lot_find_row lot;
    int rc = lot_find_by_id(s->store, lot_id, &lot, err);
    if (rc)
        return rc;
    note_packed(s, lot.packed_from_ms);
    if (s->file.kind == RECORD_DISPATCH) /* where bread went tells which lot a store's may be */
        note_day(s, lot.packed_from_ms);
    return 0;
}

static int touch(struct slice *s, int64_t lot_id, struct error *err)
{
    int rc = 0;
    if (s->touched_count < TOUCHED_SLOTS / 2) {
        size_t at = (uint64_t)lot_id * 2654435761u % TOUCHED_SLOTS;
        while (s->touched[at] && s->touched[at] != lot_id)
            at = (at + 1) % TOUCHED_SLOTS;
        if (s->touched[at])
            return 0;
        s->touched[at] = lot_id;
        s->touched_count++;
    }
    if (s->file.kind != RECORD_LOTS)
        rc = record_came_note(s->store, lot_id, s->file.kind, s->now_ms, err);
    if (!rc)
        rc = note_lot(s, lot_id, err);
    return rc ? rc : record_find_touch_lot(s->store, lot_id, s->now_ms, err);
}

/* A lot came or changed: complaints about it may have been taken for another's, or the other way
 * round. */
static int touch_lot(struct slice *s, const struct record_cell *cells, enum record_outcome outcome,
                     struct error *err)
{
    int64_t lot_id, packed_ms, first_ms = WHEN_UNKNOWN_MS;
    int rc = record_find_lot(s->store, cells[0].text, &lot_id, &packed_ms, err);
    if (rc)
        return rc;
    note_day(s, packed_ms);
    note_packed(s, packed_ms);
    rc = record_came_note(s->store, lot_id, RECORD_LOTS, s->now_ms, err);
    if (rc || outcome == RECORD_NEW)
        return rc ? rc : complaint_place_doubt(s->store, lot_id, err);
    rc = complaint_place_first(s->store, lot_id, &first_ms, err);
    note_day(s, first_ms);
    return rc ? rc : touch(s, lot_id, err);
}

static int touch_row(struct slice *s, const struct record_cell *cells, enum record_outcome outcome,
                     struct error *err)
{
    if (outcome == RECORD_SAME)
        return 0;
    if (s->file.kind == RECORD_LOTS)
        return touch_lot(s, cells, outcome, err);
    if (record_kind_table(s->file.kind)->columns[0].type == RECORD_LOT_REF)
        return touch(s, cells[0].integer, err);
    return 0;
}

/* What the whole file means for cases, when its last row is in. */
static int touch_file(struct slice *s, struct error *err)
{
    const struct load_file *f = &s->file;
    bool of_lot = record_kind_table(f->kind)->columns[0].type == RECORD_LOT_REF;
    if (f->new_rows + f->changed_rows == 0)
        return 0;
    if (f->kind == RECORD_PRODUCTS)
        s->since_day = 0; /* it may have been a product unknown until now */
    return of_lot || f->kind == RECORD_LOTS ? 0 : work_rank_open_cases(s->store, s->now_ms, err);
}

/* In the commit of the rows that call for it: one row, however many cases it means. */
static int queue_since(struct slice *s, const char *kind, int32_t day, struct error *err)
{
    int64_t wait_ms = s->file.state == LOAD_DONE ? 0 : SINCE_WAIT_MS;
    return day == WHEN_UNKNOWN_DAY ? 0 : work_add(s->store, kind, day, s->now_ms + wait_ms, err);
}

/* ---- one slice ---- */

static void end_row(struct slice *s)
{
    if (!s->in_row)
        return;
    s->file.new_rows += s->row_outcome == RECORD_NEW;
    s->file.changed_rows += s->row_outcome == RECORD_CHANGED;
    s->file.same_rows += s->row_outcome == RECORD_SAME;
    s->file.applied++;
    s->in_row = false;
}

static int apply_record(struct slice *s, const struct stage_row *row, struct error *err)
{
    enum record_outcome outcome;
    if (row->flags & STAGE_FIRST) {
        end_row(s);
        s->in_row = true;
        s->row_outcome = RECORD_SAME;
    }
    int rc = record_write(s->writing, row->cells, &outcome, err);
    if (rc)
        return rc;
    s->file.new_records += outcome == RECORD_NEW;
    if (outcome > s->row_outcome) /* changed over new over same */
        s->row_outcome = outcome;
    return touch_row(s, row->cells, outcome, err);
}

/* Accepted by a version whose targets bore no day. */
static void give_day(enum record_kind kind, struct record_cell *cells)
{
    enum { FROM = 2, BEHIND = 3 };
    if (kind != RECORD_TARGETS || cells[FROM].form != RECORD_NUMBER)
        return;
    memmove(&cells[FROM + 1], &cells[FROM], BEHIND * sizeof *cells);
    cells[FROM] = (struct record_cell){.form = RECORD_INTEGER};
}

/* The same of the plant log, before its rows named a plant: behind quantity stood line and time. */
static void give_plant(enum record_kind kind, struct record_cell *cells)
{
    enum { PLANT = 2, LINE = 3, BEHIND = 4 };
    if (kind != RECORD_PLANTLOG || cells[LINE].form != RECORD_INTEGER)
        return;
    memmove(&cells[PLANT + 1], &cells[PLANT], BEHIND * sizeof *cells);
    cells[PLANT] = (struct record_cell){.form = RECORD_TEXT, .text = ""};
}

static int apply_rows(struct slice *s, struct error *err)
{
    struct stage_row row;
    int64_t seen = s->place.rows, start = s->file.applied;
    int records = 0;
    int rc;
    stage_seek(s->reader, s->place.offset);
    while ((rc = stage_next(s->reader, &row, err)) == 1) {
        if (row.flags & STAGE_DROPPED)
            continue;
        if ((row.flags & STAGE_FIRST) && records >= APPLY_SLICE)
            break;
        seen += (row.flags & STAGE_FIRST) != 0;
        if (seen <= start)
            continue; /* applied before */
        records++;
        give_day(s->file.kind, row.cells);
        give_plant(s->file.kind, row.cells);
        if ((rc = apply_record(s, &row, err)))
            return rc;
    }
    if (rc < 0)
        return rc;
    end_row(s);
    s->next = (struct place){rc == 1 ? row.offset : stage_tell(s->reader), seen};
    if (rc == 0) {
        s->file.state = LOAD_DONE;
        rc = touch_file(s, err);
        if (!rc && store_is_server(s->store))
            rc = load_part_drop(s->store, s->file.id, err);
    } else {
        rc = 0;
    }
    if (!rc)
        rc = queue_since(s, WORK_REMATCH, s->since_day, err);
    if (!rc)
        rc = queue_since(s, WORK_SINCE, s->rank_day, err);
    if (!rc && records)
        rc = company_count_records_changed(s->store, err); /* dates the rankers' caches */
    return rc ? rc : load_file_progress(s->store, &s->file, err);
}

static char *staged_path(const struct slice *s)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", s->state_dir, s->file.path);
    return text_take(&path);
}

/* What another daemon has accepted is brought here from the server, whole or not at all. */
static int bring(struct slice *s, const char *path, struct error *err)
{
    struct text_buffer partial = {0};
    unsigned char *bytes = xmalloc(LOAD_PART_BYTES);
    size_t length = LOAD_PART_BYTES;
    int rc = 0;
    text_appendf(&partial, "%s.brought", path);
    FILE *file = fopen(partial.data, "we");
    for (int64_t part = 0; file && !rc && length; part++) {
        rc = load_part_get(s->store, s->file.id, part, bytes, &length, err);
        if (!rc && fwrite(bytes, 1, length, file) != length)
            rc = error_set(err, ERROR_NO_SPACE, "cannot write %s: %s", path, strerror(errno));
    }
    if (!file || (fclose(file) && !rc) || (!rc && rename(partial.data, path)))
        rc = error_set(err, ERROR_IO, "cannot write %s: %s", path, strerror(errno));
    if (rc)
        unlink(partial.data);
    free(bytes);
    text_buffer_free(&partial);
    return rc;
}

static int bring_if_elsewhere(struct slice *s, const char *path, struct error *err)
{
    struct text_buffer folder = {0};
    if (!store_is_server(s->store) || access(path, F_OK) == 0)
        return 0;
    text_appendf(&folder, "%s/loads", s->state_dir);
    mkdir(folder.data, 0700); /* that it is there already is well; else bring() says so */
    text_buffer_free(&folder);
    return bring(s, path, err);
}

static int open_reader(struct slice *s, struct error *err)
{
    if (s->reader && strcmp(s->reader_id, s->file.id) == 0 && s->place.rows <= s->file.applied)
        return 0;
    stage_reader_free(s->reader);
    s->reader = NULL;
    s->place = (struct place){0, 0};
    s->since_day = s->rank_day = WHEN_UNKNOWN_DAY;
    char *path = staged_path(s);
    int rc = bring_if_elsewhere(s, path, err);
    if (!rc)
        rc = stage_reader_new(path, record_kind_table(s->file.kind)->count, STAGE_FAR, &s->reader,
                              err);
    free(path);
    memcpy(s->reader_id, s->file.id, sizeof s->reader_id);
    return rc;
}

static int look_for_wanted(struct slice *s, struct store *store, struct error *err)
{
    struct load_file wanted;
    if (!s->wanted)
        return 0;
    int rc = load_file_get(store, s->wanted, &wanted, err);
    s->through = !rc && wanted.state != LOAD_WAITING;
    return rc;
}

static int slice_job(struct store *store, void *arg, struct error *err)
{
    struct slice *s = arg;
    bool found = false;
    s->file.id[0] = '\0';
    int rc = look_for_wanted(s, store, err);
    if (rc || s->through)
        return rc;
    rc = load_file_next(store, &s->file, &found, err);
    s->idle = !found;
    s->store = store;
    if (!rc && found)
        rc = open_reader(s, err);
    if (rc || !found)
        return rc;
    s->in_row = false;
    memset(s->touched, 0, sizeof s->touched);
    s->touched_count = 0;
    s->writing = record_write_new(store, s->file.kind, s->file.source, s->now_ms);
    rc = apply_rows(s, err);
    record_write_free(s->writing);
    return rc;
}

/* ---- driving ---- */

static int failed_job(struct store *store, void *arg, struct error *err)
{
    struct load_file *file = arg;
    int rc = load_file_get(store, file->id, file, err);
    file->state = LOAD_FAILED;
    if (!rc && store_is_server(store))
        rc = load_part_drop(store, file->id, err);
    return rc ? rc : load_file_progress(store, file, err);
}

/* No later attempt will fare better. */
static bool is_hopeless(int rc)
{
    return rc == ERROR_CONFLICT || rc == ERROR_INTERNAL || rc == ERROR_INVALID ||
           rc == ERROR_TOO_LARGE;
}

void apply_set_aside(const char *state_dir, const char *id)
{
    struct text_buffer from = {0}, to = {0};
    text_appendf(&from, "%s/loads/%s.rows", state_dir, id);
    text_appendf(&to, "%s/loads/%s" APPLY_FAILED, state_dir, id);
    rename(from.data, to.data);
    text_buffer_free(&from);
    text_buffer_free(&to);
}

/* *ret_marked: the file at hand can never be applied and is marked so. */
static int run_slice(struct writer *writer, struct slice *s, bool *ret_marked, struct error *err)
{
    int rc = writer_insist(writer, slice_job, s, err);
    *ret_marked = false;
    if (rc) {
        s->place = (struct place){0, 0};
        *ret_marked = is_hopeless(rc) && s->file.id[0] &&
                      writer_insist(writer, failed_job, &s->file, NULL) == 0;
        if (*ret_marked)
            apply_set_aside(s->state_dir, s->file.id);
        return rc;
    }
    if (s->idle || s->through)
        return 0;
    s->place = s->next;
    if (s->file.state == LOAD_DONE) {
        char *path = staged_path(s);
        unlink(path);
        free(path);
    }
    return 0;
}

struct state_job {
    const char *id;
    struct load_file *ret;
};

static int state_job(struct store *store, void *arg, struct error *err)
{
    struct state_job *job = arg;
    return load_file_get(store, job->id, job->ret, err);
}

int apply_state(struct writer *writer, const char *id, struct load_file *ret, struct error *err)
{
    return writer_insist(writer, state_job, &(struct state_job){id, ret}, err);
}

int apply_until(struct writer *writer, const char *state_dir, const char *id,
                const struct clock *clock, int slices, struct error *err)
{
    struct slice *s = xcalloc(1, sizeof *s);
    s->state_dir = state_dir;
    s->wanted = id;
    s->since_day = s->rank_day = WHEN_UNKNOWN_DAY;
    int rc = 0;
    for (int done = 0; !rc && !s->idle && !s->through && (slices < 0 || done < slices); done++) {
        struct error why = {0};
        bool marked;
        if (done && writer_is_hurried(writer)) {
            rc = error_set(err, ERROR_BUSY, "the daemon is stopping");
            break;
        }
        s->now_ms = clock_now_ms(clock);
        rc = run_slice(writer, s, &marked, &why);
        if (marked && !(id && strcmp(s->file.id, id) == 0))
            rc = 0; /* another's file: the ones behind it must not wait for ever */
        if (rc && err && !err->code)
            *err = why;
    }
    stage_reader_free(s->reader);
    free(s);
    return rc;
}

/* The next part of a staged file; read anew if the job runs again. */
struct sharing {
    const char *id;
    int fd;
    int64_t part;
    bool over;
    unsigned char *bytes;
};

static int share_job(struct store *store, void *arg, struct error *err)
{
    struct sharing *s = arg;
    size_t length = 0;
    ssize_t got = 1;
    while (length < LOAD_PART_BYTES && got > 0) {
        got = pread(s->fd, s->bytes + length, LOAD_PART_BYTES - length,
                    (off_t)(s->part * LOAD_PART_BYTES + (int64_t)length));
        length += got > 0 ? (size_t)got : 0;
    }
    if (got < 0)
        return error_set(err, ERROR_IO, "cannot read load %s: %s", s->id, strerror(errno));
    s->over = length < LOAD_PART_BYTES;
    return length ? load_part_put(store, s->id, s->part, s->bytes, length, err) : 0;
}

/* A job a part: no complaint waits for all of them. */
static int share(struct writer *writer, const char *state_dir, const struct load_file *file,
                 struct error *err)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", state_dir, file->path);
    struct sharing s = {.id = file->id, .fd = open(path.data, O_RDONLY | O_CLOEXEC)};
    int rc =
        s.fd < 0 ? error_set(err, ERROR_IO, "cannot read %s: %s", path.data, strerror(errno)) : 0;
    s.bytes = xmalloc(LOAD_PART_BYTES);
    for (; !rc && !s.over; s.part++)
        rc = writer_insist(writer, share_job, &s, err);
    if (s.fd >= 0)
        close(s.fd);
    free(s.bytes);
    text_buffer_free(&path);
    return rc;
}

static int accept_job(struct store *store, void *arg, struct error *err)
{
    return load_file_accept(store, arg, err);
}

int apply_accept(struct writer *writer, const char *state_dir, const struct load_file *file,
                 struct error *err)
{
    struct load_file copy = *file;
    int rc = writer_is_on_server(writer) ? share(writer, state_dir, file, err) : 0;
    return rc ? rc : writer_insist(writer, accept_job, &copy, err);
}
