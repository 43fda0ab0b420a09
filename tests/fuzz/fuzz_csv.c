/* Input: a byte that says kind of record, format and where the file is cut; then the file. What
 * comes of it must not depend on the cut, and no row is both refused and staged. */
#include "../no_plant.h"
#include "../rules/load_catalogue.h"
#include "base/when.h"
#include "fuzz.h"
#include "records/import.h"
#include "records/stage.h"
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Lots that end in a digit are there, products too. */
static int find_lot(void *arg, const char *lot, struct refs_lot *ret, struct error *err)
{
    (void)arg;
    (void)err;
    char last = lot[strlen(lot) - 1];
    ret->id = last >= '0' && last <= '9' ? last - '0' + 1 : 0;
    ret->packed_ms = 1795000000000;
    return 0;
}

static int find_product(void *arg, const char *product, int64_t *ret_id, struct error *err)
{
    struct refs_lot found;
    int rc = find_lot(arg, product, &found, err);
    *ret_id = found.id;
    return rc;
}

struct outcome {
    struct import_counts counts;
    uint64_t faults, hash; /* of the faults, whatever their order */
};

static void on_refused(void *arg, const struct error *why)
{
    struct outcome *o = arg;
    uint64_t hash = (uint64_t)why->line * 31;
    PROMISE(why->code && why->text[0]);
    for (const char *p = why->text; *p; p++)
        hash = (hash ^ (unsigned char)*p) * 1099511628211u;
    o->faults++;
    o->hash += hash;
}

static void count_staged(const char *path, enum record_kind kind, const struct outcome *o)
{
    struct stage_reader *reader;
    struct stage_row row;
    int64_t rows = 0;
    int rc;
    PROMISE(stage_reader_new(path, record_kind_table(kind)->count, STAGE_NEAR, &reader, NULL) == 0);
    while ((rc = stage_next(reader, &row, NULL)) == 1)
        rows += (row.flags & (STAGE_FIRST | STAGE_DROPPED)) == STAGE_FIRST;
    PROMISE(rc == 0);
    PROMISE(rows == o->counts.accepted - o->counts.idle);
    stage_reader_free(reader);
}

static struct outcome run(const struct catalogue *catalogue, uint8_t choice, const char *bytes,
                          size_t length, size_t cut)
{
    struct outcome o = {0};
    struct refs_source refs = {find_lot, find_product, NULL, no_plant};
    char path[64];
    struct import *import;
    snprintf(path, sizeof path, "/dev/shm/fuzz-csv-%d.rows", getpid());
    unlink(path);
    struct import_options options = {(enum record_kind)(choice % RECORD_KINDS),
                                     choice & 64 ? IMPORT_NDJSON : IMPORT_CSV,
                                     "fuzz",
                                     path,
                                     catalogue,
                                     on_refused,
                                     &o,
                                     (choice & 32) != 0};
    PROMISE(import_new(&options, &import, NULL) == 0);
    PROMISE(import_feed(import, &refs, bytes, cut, NULL) == 0);
    PROMISE(import_feed(import, &refs, bytes + cut, length - cut, NULL) == 0);
    PROMISE(import_finish(import, &refs, NULL) == 0);
    o.counts = import_counts(import);
    PROMISE(o.counts.unusable || o.counts.accepted + o.counts.refused == o.counts.read);
    PROMISE((o.counts.refused > 0) == (o.faults > 0));
    count_staged(path, options.kind, &o);
    import_free(import);
    unlink(path);
    return o;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct catalogue *catalogue; /* read once: the harness, not the daemon */
    if (size < 2)
        return 0;
    if (!catalogue)
        PROMISE(load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &catalogue, NULL) == 0);
    const char *bytes = (const char *)data + 2;
    size_t length = size - 2;
    struct outcome whole = run(catalogue, data[0], bytes, length, length);
    struct outcome parts = run(catalogue, data[0], bytes, length, length * data[1] / 256);
    PROMISE(whole.faults == parts.faults && whole.hash == parts.hash);
    PROMISE(memcmp(&whole.counts, &parts.counts, sizeof whole.counts) == 0);
    return 0;
}
