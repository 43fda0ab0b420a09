#include "store/engine.h"
#ifdef ODDLOAF_POSTGRES
#include "store/engine_postgresql.h"
#else
#include "store/place.h"
#endif

const struct engine *engine_of(const char *address, struct error *err)
{
    if (!address)
        return &ENGINE_SQLITE;
#ifdef ODDLOAF_POSTGRES
    (void)err;
    return engine_postgresql();
#else
    place_check(address, err); /* says so */
    return NULL;
#endif
}
