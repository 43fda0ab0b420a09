#include "store/files.h"
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { PATH_BYTES = 4096, DATABASE = 0, LOG = 1 };

static const char *const SUFFIX[FILES_COUNT] = {"", "-wal", "-shm"};

static int look(const char *path, int i, char name[static PATH_BYTES], struct stat *ret)
{
    snprintf(name, PATH_BYTES, "%s%s", path, SUFFIX[i]);
    return stat(name, ret);
}

void files_note(struct files *files, const char *path, off_t log_bytes)
{
    char name[PATH_BYTES];
    struct stat st;
    for (int i = 0; i < FILES_COUNT; i++) {
        off_t least = i == LOG ? log_bytes : i == DATABASE ? files->of[i].bytes : 0;
        files->of[i].known = look(path, i, name, &st) == 0;
        if (!files->of[i].known)
            continue;
        files->of[i].device = st.st_dev;
        files->of[i].inode = st.st_ino;
        files->of[i].bytes = least > st.st_size ? least : st.st_size;
    }
}

static int lost(struct error *err, const char *name, const char *what)
{
    error_hint(err, "put the file back as it was, or save what the daemon still holds with "
                    "`oddloaf backup FILE`, stop it and start from that file or the last backup");
    return error_set(err, ERROR_LOST, "%s %s under the running daemon", name, what);
}

int files_check(const struct files *files, const char *path, bool lengths, struct error *err)
{
    char name[PATH_BYTES];
    struct stat st;
    for (int i = 0; i < FILES_COUNT; i++) {
        if (!files->of[i].known)
            continue;
        if (look(path, i, name, &st) != 0)
            return errno == ENOENT || errno == ENOTDIR ? lost(err, name, "was removed")
                                                       : lost(err, name, "became unreadable");
        if (st.st_ino != files->of[i].inode || st.st_dev != files->of[i].device)
            return lost(err, name, "was replaced");
        if (lengths && st.st_size < files->of[i].bytes)
            return lost(err, name, "was cut short");
    }
    return 0;
}
