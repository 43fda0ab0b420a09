#include "store/copies.h"
#include "base/text.h"
#include <dirent.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct {
    const char *folder; /* of the state's folder; "" itself */
    const char *begins; /* names of others are no copies */
    bool folders;       /* each is a folder, else a file */
} KINDS[COPIES_KINDS] = {
    {"backups", "", false}, {"replaced", "", true}, {"", "oddloaf.db.moved-", false}};

static void look_at(int folder, const char *name, bool folders, struct copies *ret)
{
    struct stat st;
    if (fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) ||
        !(folders ? S_ISDIR(st.st_mode) : S_ISREG(st.st_mode)))
        return;
    int64_t at_ms = (int64_t)st.st_mtim.tv_sec * 1000;
    ret->oldest_ms = ret->count && ret->oldest_ms < at_ms ? ret->oldest_ms : at_ms;
    ret->count++;
}

static void look_into(const char *path, const char *begins, bool folders, struct copies *ret)
{
    DIR *dir = opendir(path);
    const struct dirent *entry;
    while (dir && (entry = readdir(dir)))
        if (entry->d_name[0] != '.' && strncmp(entry->d_name, begins, strlen(begins)) == 0)
            look_at(dirfd(dir), entry->d_name, folders, ret);
    if (dir)
        closedir(dir);
}

int copies_look(const char *state_dir, struct copies ret[static COPIES_KINDS])
{
    int found = 0;
    for (int kind = 0; kind < COPIES_KINDS; kind++) {
        struct copies one = {0};
        struct text_buffer path = {0};
        text_appendf(&path, "%s%s%s", state_dir, *KINDS[kind].folder ? "/" : "",
                     KINDS[kind].folder);
        look_into(path.data, KINDS[kind].begins, KINDS[kind].folders, &one);
        if (!*KINDS[kind].folder)
            text_appendf(&path, "/%s*", KINDS[kind].begins);
        one.where = text_take(&path);
        if (one.count)
            ret[found++] = one;
        else
            free(one.where);
    }
    return found;
}

void copies_clear(struct copies copies[static COPIES_KINDS], int count)
{
    for (int i = 0; i < count; i++)
        free(copies[i].where);
}
