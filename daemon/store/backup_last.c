#include "store/backup_last.h"
#include "base/text.h"
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static const char LAST_AT[] = "backup/at_ms", LAST_PATH[] = "backup/path";

struct noting {
    const char *path;
    int64_t at_ms;
};

static int note(struct store *store, void *arg, struct error *err)
{
    const struct noting *n = arg;
    char at[24];
    snprintf(at, sizeof at, "%lld", (long long)n->at_ms);
    int rc = store_setting_set(store, LAST_AT, at, err);
    return rc ? rc : store_setting_set(store, LAST_PATH, n->path, err);
}

int backup_last_note(struct writer *writer, const char *path, int64_t at_ms, struct error *err)
{
    struct noting noting = {path, at_ms};
    return writer_run(writer, note, &noting, err);
}

int backup_last_get(struct store *store, struct backup_last *ret, struct error *err)
{
    char *at = NULL, *path = NULL;
    *ret = (struct backup_last){.at_ms = WHEN_UNKNOWN_MS};
    int rc = store_setting_get(store, LAST_AT, &at, err);
    if (!rc)
        rc = store_setting_get(store, LAST_PATH, &path, err);
    if (!rc && at && path && text_to_int64(at, &ret->at_ms) == 0) {
        snprintf(ret->path, sizeof ret->path, "%s", path);
        ret->is_there = access(path, F_OK) == 0;
    }
    free(at);
    free(path);
    return rc;
}
