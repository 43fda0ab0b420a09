#include "records/refs.h"
#include "base/hash.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

enum { SLOTS = 8192, NAME = 64 };

struct known {
    char name[NAME];
    struct refs_lot lot; /* or product; id 0: the slot is free */
    bool product;
};

struct refs {
    struct known slots[SLOTS]; /* one name a slot: a later one takes its place */
};

struct refs *refs_new(void)
{
    return xcalloc(1, sizeof(struct refs));
}

void refs_free(struct refs *refs)
{
    free(refs);
}

static struct known *slot_of(struct refs *refs, const char *name, size_t length)
{
    uint64_t hash = hash_bytes(HASH_EMPTY, name, length);
    return &refs->slots[(hash ^ hash >> 32) % SLOTS];
}

static bool holds(const struct known *k, const char *name, size_t length, bool product)
{
    return k->lot.id && k->product == product && memcmp(k->name, name, length + 1) == 0;
}

static void keep(struct known *k, const char *name, size_t length, const struct known *what)
{
    *k = *what;
    memcpy(k->name, name, length + 1);
}

int refs_lot(struct refs *refs, const struct refs_source *source, const char *lot, size_t length,
             struct refs_lot *ret, struct error *err)
{
    struct known found = {.product = false};
    *ret = (struct refs_lot){0};
    if (length >= NAME) /* no stored code is that long */
        return 0;
    struct known *k = slot_of(refs, lot, length);
    if (!holds(k, lot, length, false)) {
        int rc = source->lot(source->arg, lot, &found.lot, err);
        if (rc)
            return rc;
        if (found.lot.id)
            keep(k, lot, length, &found);
    } else {
        found = *k;
    }
    *ret = found.lot;
    return 0;
}

int refs_product(struct refs *refs, const struct refs_source *source, const char *product,
                 size_t length, int64_t *ret_id, struct error *err)
{
    struct known found = {.product = true};
    if (length >= NAME) {
        *ret_id = 0;
        return 0;
    }
    struct known *k = slot_of(refs, product, length);
    if (!holds(k, product, length, true)) {
        int rc = source->product(source->arg, product, &found.lot.id, err);
        if (rc)
            return rc;
        if (found.lot.id)
            keep(k, product, length, &found);
    } else {
        found = *k;
    }
    *ret_id = found.lot.id;
    return 0;
}
