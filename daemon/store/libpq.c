#include "store/libpq.h"
#include <dlfcn.h>
#include <stddef.h>
#include <string.h>

/* By the number of its interface, which a program is built for. */
static const char LIBRARY[] = "libpq.so.5";

static const struct {
    const char *name;
    size_t at;
} FUNCTIONS[] = {
#define ROW(name) {"PQ" #name, offsetof(struct libpq, name)},
    LIBPQ_FUNCTIONS(ROW)
#undef ROW
};

static int refuse(struct error *err)
{
    error_hint(err, "install libpq (Debian: libpq5)");
    return error_set(err, ERROR_INVALID, "libpq, which speaks to the server, cannot be loaded: %s",
                     dlerror());
}

int libpq_load(struct libpq *ret, struct error *err)
{
    void *library = dlopen(LIBRARY, RTLD_NOW | RTLD_NODELETE);
    struct libpq found;
    if (!library)
        return refuse(err);
    for (size_t i = 0; i < sizeof FUNCTIONS / sizeof FUNCTIONS[0]; i++) {
        /* a function is as large as a pointer, says POSIX of this call, though C does not */
        void *function = dlsym(library, FUNCTIONS[i].name);
        if (!function)
            return refuse(err);
        memcpy((char *)&found + FUNCTIONS[i].at, &function, sizeof function);
    }
    *ret = found;
    return 0;
}
