#include "serve/installed.h"
#include <errno.h>
#include <stdbool.h>
#include <unistd.h>

/* What is there and not to be read counts as there: whoever reads it says what is wrong. */
static bool is_there(const char *path)
{
    return access(path, F_OK) == 0 || (errno != ENOENT && errno != ENOTDIR);
}

const char *installed_config(void)
{
    return is_there(INSTALLED_CONFIG) ? INSTALLED_CONFIG : NULL;
}
