#include "store/replace.h"
#include "base/text.h"
#include "store/disk.h"
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char MAKING[] = "restoring", READY[] = "restore-ready-", PAST[] = "replaced";
static const char *const FILES[] = {"oddloaf.db", "oddloaf.db-wal", "oddloaf.db-shm"};
enum { FILE_COUNT = sizeof FILES / sizeof FILES[0] };

static char *join(const char *folder, const char *name)
{
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", folder, name);
    return text_take(&path);
}

static int failed(struct error *err, const char *doing, const char *path)
{
    int why = errno;
    return error_set(err, why == ENOSPC ? ERROR_NO_SPACE : ERROR_IO, "cannot %s %s: %s", doing,
                     path, strerror(why));
}

/* Folders in it, too; best effort. */
static void empty_folder(const char *path)
{
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        char *inner = join(path, entry->d_name);
        if (unlink(inner)) {
            empty_folder(inner);
            rmdir(inner);
        }
        free(inner);
    }
    if (folder)
        closedir(folder);
}

char *replace_folder(const char *state_dir, struct error *err)
{
    char *path = join(state_dir, MAKING);
    empty_folder(path);
    if (mkdir(path, 0700) == 0 || errno == EEXIST)
        return path;
    failed(err, "make", path);
    free(path);
    return NULL;
}

int64_t replace_time(const char *state_dir, int64_t now_ms)
{
    char stamp[DISK_STAMP], *past = join(state_dir, PAST);
    bool taken = true;
    while (taken) {
        char *kept = join(past, disk_stamp(now_ms, stamp));
        taken = access(kept, F_OK) == 0;
        free(kept);
        if (taken)
            now_ms += 1000;
    }
    free(past);
    return now_ms;
}

bool replace_any(const char *state_dir)
{
    bool any = false;
    for (int i = 0; i < FILE_COUNT && !any; i++) {
        char *path = join(state_dir, FILES[i]);
        any = access(path, F_OK) == 0;
        free(path);
    }
    return any;
}

int replace_ready(const char *state_dir, int64_t kept_ms, struct error *err)
{
    char stamp[DISK_STAMP], name[64];
    char *from = join(state_dir, MAKING), *database = join(from, FILES[0]);
    snprintf(name, sizeof name, "%s%s", READY, disk_stamp(kept_ms, stamp));
    char *to = join(state_dir, name);
    int rc = disk_sync(database, err);
    if (!rc)
        rc = disk_sync(from, err);
    if (!rc && rename(from, to))
        rc = failed(err, "name", to);
    if (!rc)
        rc = disk_sync(state_dir, err);
    free(database);
    free(from);
    free(to);
    return rc;
}

/* ---- putting it in place ---- */

/* Kept under a second name before it loses its first. A second try finds some of it done. */
static int keep_aside(const char *state_dir, const char *aside, struct error *err)
{
    int rc = mkdir(aside, 0700) && errno != EEXIST ? failed(err, "make", aside) : 0;
    for (int i = 0; i < FILE_COUNT && !rc; i++) {
        char *from = join(state_dir, FILES[i]), *to = join(aside, FILES[i]);
        if (link(from, to) && errno != EEXIST && errno != ENOENT)
            rc = failed(err, "keep", from);
        free(from);
        free(to);
    }
    return rc ? rc : disk_sync(aside, err);
}

/* The old log first: beside another database it would be taken for that one's. */
static int put_in_place(const char *state_dir, const char *fresh, struct error *err)
{
    char *place = join(state_dir, FILES[0]);
    int rc = 0;
    for (int i = 1; i < FILE_COUNT && !rc; i++) {
        char *log = join(state_dir, FILES[i]);
        if (unlink(log) && errno != ENOENT)
            rc = failed(err, "remove", log);
        free(log);
    }
    if (!rc)
        rc = disk_sync(state_dir, err);
    if (!rc && rename(fresh, place))
        rc = failed(err, "put in place", place);
    free(place);
    return rc ? rc : disk_sync(state_dir, err);
}

/* By now the database is in place; what is left is where the old one is found. */
static int name_aside(const char *state_dir, const char *aside, const char *stamp,
                      struct error *err)
{
    if (rmdir(aside) == 0) /* nothing was there */
        return 0;
    char *past = join(state_dir, PAST), *to = join(past, stamp);
    int rc = mkdir(past, 0700) && errno != EEXIST ? failed(err, "make", past) : 0;
    if (!rc && rename(aside, to) && errno != ENOENT)
        rc = failed(err, "name", to);
    if (!rc) /* before the folder it came from goes: else a power cut may leave neither name */
        rc = disk_sync(past, err);
    free(past);
    free(to);
    return rc;
}

static int finish(const char *state_dir, const char *ready, struct error *err)
{
    char *folder = join(state_dir, ready), *fresh = join(folder, FILES[0]);
    char *aside = join(folder, PAST);
    int rc = 0;
    if (access(fresh, F_OK) == 0) {
        rc = keep_aside(state_dir, aside, err);
        if (!rc)
            rc = put_in_place(state_dir, fresh, err);
    }
    if (!rc)
        rc = name_aside(state_dir, aside, ready + sizeof READY - 1, err);
    if (!rc) {
        empty_folder(folder);
        rmdir(folder);
        rc = disk_sync(state_dir, err);
    }
    free(folder);
    free(fresh);
    free(aside);
    return rc;
}

int replace_finish(const char *state_dir, struct error *err)
{
    char *ready = NULL;
    DIR *folder = opendir(state_dir);
    for (struct dirent *entry; folder && !ready && (entry = readdir(folder));) {
        if (strncmp(entry->d_name, READY, sizeof READY - 1) == 0)
            ready = xstrdup(entry->d_name);
    }
    if (folder)
        closedir(folder);
    int rc = ready ? finish(state_dir, ready, err) : 0;
    free(ready);
    return rc;
}
