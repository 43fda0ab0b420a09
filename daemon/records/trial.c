#include "records/trial.h"
#include "base/text.h"
#include "records/key_index.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* As it is in the file, too. */
struct known {
    int64_t id; /* of the kind and the name */
    int64_t packed_ms;
};

struct trial {
    char *path;
    struct known *known; /* those that were read by id; what is added comes behind them */
    size_t count, room, sorted;
};

/* Names are told apart by 62 bits of a hash: a trial that took one for another would say that a row
 * is taken which a load refuses, and so once in 10^12 trials of a million lots. */
static int64_t id_of(enum record_kind kind, const char *name, size_t length)
{
    const struct record_cell cells[] = {
        {.form = RECORD_INTEGER, .integer = kind},
        {.form = RECORD_TEXT, .text = name, .length = (uint32_t)length}};
    return -1 - (int64_t)(key_index_hash(cells, 2) >> 2);
}

static void add(struct trial *t, struct known one)
{
    if (t->count == t->room) {
        t->room = t->room ? 2 * t->room : 1024;
        t->known = xrealloc(t->known, t->room * sizeof *t->known);
    }
    t->known[t->count++] = one;
}

static int by_id(const void *a, const void *b)
{
    const struct known *x = a, *y = b;
    return (x->id > y->id) - (x->id < y->id);
}

static const struct known *find(const struct trial *t, int64_t id)
{
    const struct known key = {.id = id};
    return t && t->sorted ? bsearch(&key, t->known, t->sorted, sizeof *t->known, by_id) : NULL;
}

static int fail(const struct trial *t, const char *doing, struct error *err)
{
    enum error_code code = errno == ENOSPC || errno == EDQUOT ? ERROR_NO_SPACE : ERROR_IO;
    return error_set(err, code, "cannot %s %s: %s", doing, t->path, strerror(errno));
}

int trial_open(const char *path, struct trial **ret, struct error *err)
{
    struct known one;
    struct trial *t = xcalloc(1, sizeof *t);
    t->path = xstrdup(path);
    errno = 0;
    FILE *file = fopen(path, "re");
    while (file && fread(&one, sizeof one, 1, file) == 1)
        add(t, one);
    int rc = (file && ferror(file)) || (!file && errno != ENOENT) ? fail(t, "read", err) : 0;
    if (file)
        fclose(file);
    if (rc) {
        trial_free(t);
        return rc;
    }
    if (t->count)
        qsort(t->known, t->count, sizeof *t->known, by_id);
    t->sorted = t->count;
    *ret = t;
    return 0;
}

void trial_free(struct trial *t)
{
    if (!t)
        return;
    free(t->known);
    free(t->path);
    free(t);
}

void trial_add(struct trial *t, enum record_kind kind, const struct record_cell *cells)
{
    const struct record_table *table = record_kind_table(kind);
    if (kind != RECORD_LOTS && kind != RECORD_PRODUCTS)
        return;
    const int at = record_kind_column(table, "packed_to");
    add(t, (struct known){id_of(kind, cells[0].text, cells[0].length),
                          at < 0 ? 0 : cells[at].integer});
}

int trial_write(struct trial *t, struct error *err)
{
    struct text_buffer part = {0};
    text_appendf(&part, "%s.part", t->path);
    FILE *file = fopen(part.data, "we");
    bool written =
        file && (!t->count || fwrite(t->known, sizeof *t->known, t->count, file) == t->count);
    written = file && fclose(file) == 0 && written;
    int rc = written && rename(part.data, t->path) == 0 ? 0 : fail(t, "write", err);
    if (rc)
        unlink(part.data);
    text_buffer_free(&part);
    return rc;
}

struct refs_lot trial_lot(const struct trial *t, const char *lot)
{
    const struct known *found = find(t, id_of(RECORD_LOTS, lot, strlen(lot)));
    return found ? (struct refs_lot){found->id, found->packed_ms} : (struct refs_lot){0};
}

int64_t trial_product(const struct trial *t, const char *product)
{
    const struct known *found = find(t, id_of(RECORD_PRODUCTS, product, strlen(product)));
    return found ? found->id : 0;
}
