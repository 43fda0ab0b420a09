#include "records/key_index.h"
#include "base/text.h"
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { BUCKETS = 256, ENTRIES = 255 };

struct entry {
    uint64_t hash, offset;
};

/* As in the scratch file. */
struct block {
    uint64_t before; /* where the bucket's block before this one is, NONE: nowhere */
    uint64_t count;
    struct entry entries[ENTRIES];
};

#define NONE UINT64_MAX

struct bucket {
    struct block *filling; /* NULL until the first entry */
    uint64_t blocks;       /* in the scratch file */
};

struct key_index {
    char *path;
    int fd;
    uint64_t end; /* of the scratch file */
    struct bucket buckets[BUCKETS];
};

struct key_index *key_index_new(const char *path)
{
    struct key_index *index = xcalloc(1, sizeof *index);
    index->path = xstrdup(path);
    index->fd = -1;
    return index;
}

void key_index_free(struct key_index *index)
{
    if (!index)
        return;
    if (index->fd >= 0)
        close(index->fd);
    for (int i = 0; i < BUCKETS; i++)
        free(index->buckets[i].filling);
    free(index->path);
    free(index);
}

/* ---- hashing ---- */

static uint64_t mix(uint64_t hash, uint64_t word)
{
    hash = (hash ^ word) * UINT64_C(0x9E3779B97F4A7C15);
    return hash ^ hash >> 29;
}

static uint64_t mix_text(uint64_t hash, const char *text, size_t length)
{
    uint64_t word = 0;
    for (; length >= 8; text += 8, length -= 8) {
        memcpy(&word, text, 8);
        hash = mix(hash, word);
    }
    word = 0;
    memcpy(&word, text, length);
    return mix(hash, word ^ (uint64_t)length << 56);
}

uint64_t key_index_hash(const struct record_cell *cells, int keys)
{
    uint64_t hash = UINT64_C(0x6F64646C6F6166);
    for (int i = 0; i < keys; i++) {
        if (cells[i].form == RECORD_TEXT)
            hash = mix_text(hash, cells[i].text, cells[i].length);
        else if (cells[i].form == RECORD_INTEGER)
            hash = mix(hash, (uint64_t)cells[i].integer);
        else
            hash = mix(hash, 0);
    }
    return mix(hash, (uint64_t)keys);
}

/* ---- the scratch file ---- */

static int fail(struct error *err, const char *doing)
{
    enum error_code code = errno == ENOSPC || errno == EDQUOT ? ERROR_NO_SPACE : ERROR_IO;
    error_set(err, code, "cannot %s the scratch file of a load: %s", doing, strerror(errno));
    if (code == ERROR_NO_SPACE)
        error_hint(err, "free space on the disk of the state directory, then try again");
    return code;
}

static int open_scratch(struct key_index *index, struct error *err)
{
    struct text_buffer name = {0};
    text_appendf(&name, "%s.keys", index->path);
    index->fd = open(name.data, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (index->fd >= 0)
        unlink(name.data);
    text_buffer_free(&name);
    return index->fd < 0 ? fail(err, "create") : 0;
}

static int spill(struct key_index *index, struct bucket *bucket, struct error *err)
{
    int rc = index->fd < 0 ? open_scratch(index, err) : 0;
    if (rc)
        return rc;
    ssize_t n = pwrite(index->fd, bucket->filling, sizeof *bucket->filling, (off_t)index->end);
    if (n != (ssize_t)sizeof *bucket->filling) {
        errno = n < 0 ? errno : ENOSPC;
        return fail(err, "write");
    }
    bucket->filling->before = index->end;
    bucket->filling->count = 0;
    bucket->blocks++;
    index->end += sizeof *bucket->filling;
    return 0;
}

int key_index_add(struct key_index *index, uint64_t hash, uint64_t offset, struct error *err)
{
    struct bucket *bucket = &index->buckets[hash >> 56];
    if (!bucket->filling) {
        bucket->filling = xcalloc(1, sizeof *bucket->filling);
        bucket->filling->before = NONE;
    }
    struct block *block = bucket->filling;
    block->entries[block->count++] = (struct entry){hash, offset};
    return block->count == ENTRIES ? spill(index, bucket, err) : 0;
}

/* ---- looking through ---- */

/* All entries of a bucket in the order they came; the chain runs backwards. */
static int gather(struct key_index *index, const struct bucket *bucket, struct entry *ret,
                  struct error *err)
{
    struct entry *end = ret + bucket->blocks * ENTRIES;
    memcpy(end, bucket->filling->entries, bucket->filling->count * sizeof *end);
    uint64_t at = bucket->filling->before;
    while (at != NONE) {
        struct block block;
        ssize_t n = pread(index->fd, &block, sizeof block, (off_t)at);
        if (n != (ssize_t)sizeof block) {
            errno = n < 0 ? errno : EIO;
            return fail(err, "read");
        }
        end -= ENTRIES;
        memcpy(end, block.entries, sizeof block.entries);
        at = block.before;
    }
    return 0;
}

/* The entries of a bucket: as they came, or backwards. */
struct run {
    const struct entry *entries;
    size_t count;
    bool by_last;
};

static const struct entry *entry_at(const struct run *run, size_t i)
{
    return &run->entries[run->by_last ? run->count - 1 - i : i];
}

static int pairs_of(const struct run *run, key_index_pair pair, void *arg, struct error *err)
{
    size_t count = run->count;
    size_t slots = 16;
    while (slots < count * 2)
        slots *= 2;
    uint32_t *table =
        xcalloc(slots, sizeof *table); /* index + 1 of the one met first with its hash */
    int rc = 0;
    for (size_t i = 0; i < count && !rc; i++) {
        const struct entry *entry = entry_at(run, i);
        size_t at = entry->hash & (slots - 1);
        while (table[at] && entry_at(run, table[at] - 1)->hash != entry->hash)
            at = (at + 1) & (slots - 1);
        if (table[at])
            rc = pair(arg, entry_at(run, table[at] - 1)->offset, entry->offset, err);
        else
            table[at] = (uint32_t)i + 1;
    }
    free(table);
    return rc;
}

int key_index_pairs(struct key_index *index, bool by_last, key_index_pair pair, void *arg,
                    struct error *err)
{
    int rc = 0;
    for (int i = 0; i < BUCKETS && !rc; i++) {
        const struct bucket *bucket = &index->buckets[i];
        if (!bucket->filling)
            continue;
        size_t count = (size_t)(bucket->blocks * ENTRIES + bucket->filling->count);
        struct entry *entries = xmalloc((count + 1) * sizeof *entries);
        rc = gather(index, bucket, entries, err);
        if (!rc)
            rc = pairs_of(&(struct run){entries, count, by_last}, pair, arg, err);
        free(entries);
    }
    return rc;
}
