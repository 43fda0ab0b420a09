#include "store/claim.h"
#include "base/hash.h"
#include "store/store_inside.h"

/* Above the numbers that a server's sessions have besides (server.h). */
enum { KIND_BITS = 56 };

static int64_t key_of(enum claim_of of, int64_t id)
{
    const uint64_t mask = (UINT64_C(1) << KIND_BITS) - 1;
    return (int64_t)((uint64_t)of << KIND_BITS | ((uint64_t)id & mask));
}

bool claim_take(struct store *store, enum claim_of of, int64_t id)
{
    const struct engine *engine = store->engine;
    return !engine->claim || engine->claim(store, key_of(of, id));
}

void claim_drop(struct store *store, enum claim_of of, int64_t id)
{
    if (store->engine->unclaim)
        store->engine->unclaim(store, key_of(of, id));
}

int64_t claim_of_text(const char *text)
{
    return (int64_t)hash_text(text);
}

unsigned claim_connection(const struct store *store)
{
    const struct engine *engine = store->engine;
    return engine->connection_number ? engine->connection_number(store) : 0;
}
