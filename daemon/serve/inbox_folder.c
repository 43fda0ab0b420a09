#include "serve/inbox_folder.h"
#include "base/write_all.h"
#include "notify/mime.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static int open_below(const struct inbox_folder *folder, const char *name, int *ret,
                      struct error *err)
{
    if (mkdirat(folder->at, name, 0770) && errno != EEXIST) {
        error_at(err, name, 0, 0);
        return error_set(err, ERROR_IO, "cannot be made: %s", strerror(errno));
    }
    *ret = openat(folder->at, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (*ret >= 0)
        return 0;
    error_at(err, name, 0, 0);
    return error_set(err, ERROR_IO, "cannot be opened: %s", strerror(errno));
}

int inbox_folder_open(const char *path, struct inbox_folder *ret, struct error *err)
{
    *ret = (struct inbox_folder)INBOX_FOLDER_CLOSED;
    ret->at = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (ret->at < 0) {
        error_at(err, path, 0, 0);
        return error_set(err, ERROR_IO, "cannot be opened: %s", strerror(errno));
    }
    int rc = open_below(ret, "done", &ret->done, err);
    return rc ? rc : open_below(ret, "refused", &ret->refused, err);
}

void inbox_folder_close(struct inbox_folder *folder)
{
    int *const all[] = {&folder->at, &folder->done, &folder->refused};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++) {
        if (*all[i] >= 0)
            close(*all[i]);
        *all[i] = -1;
    }
}

DIR *inbox_folder_list(int fd)
{
    int own = openat(fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *folder = own < 0 ? NULL : fdopendir(own);
    if (!folder && own >= 0)
        close(own);
    return folder;
}

static bool ends(const char *name, const char *end)
{
    size_t a = strlen(name), b = strlen(end);
    return a >= b && strcmp(name + a - b, end) == 0;
}

int inbox_folder_refused(const struct inbox_folder *folder)
{
    int count = 0;
    DIR *list = inbox_folder_list(folder->refused);
    for (struct dirent *entry; list && (entry = readdir(list));)
        count += entry->d_name[0] != '.' && !ends(entry->d_name, INBOX_FOLDER_REPORT);
    if (list)
        closedir(list);
    return count;
}

/* ---- what may be taken ---- */

bool inbox_folder_passes_over(const char *name)
{
    static const char *const ENDS[] = {".part", ".tmp", ".filepart", ".crdownload", "~"};
    for (size_t i = 0; i < sizeof ENDS / sizeof *ENDS; i++)
        if (ends(name, ENDS[i]))
            return true;
    return name[0] == '.' || strcmp(name, "done") == 0 || strcmp(name, "refused") == 0;
}

const char *inbox_folder_name_fault(const char *name)
{
    return strlen(name) >= INBOX_FOLDER_NAME   ? "is longer than 199 bytes"
           : !name[strspn(name, " ")]          ? "is nothing but spaces"
           : !text_is_utf8(name, strlen(name)) ? "is not UTF-8"
           : !mime_is_one_line(name)           ? "holds a control character"
                                               : NULL;
}

/* ---- moving a file away, with a report ---- */

static bool is_free(int folder, const char *name)
{
    struct stat st;
    return fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) && errno == ENOENT;
}

void inbox_folder_name_away(int fd, const char *name, const struct civil *now,
                            char away[static INBOX_FOLDER_AWAY])
{
    for (int n = 1; n < 1000 && !(*away && is_free(fd, away)); n++) {
        char number[16] = "";
        if (n > 1)
            snprintf(number, sizeof number, "-%d", n);
        snprintf(away, INBOX_FOLDER_AWAY, "%04d%02d%02d-%02d%02d%02d%s-%s", now->year, now->month,
                 now->day, now->hour, now->minute, now->second, number, name);
    }
}

/* Whole or not at all; for whoever may read the folder. */
static int write_report(int folder, const char *name, const struct text_buffer *text)
{
    static const char UNDER_WAY[] = ".report.tmp";
    unlinkat(folder, UNDER_WAY, 0);
    int fd = openat(folder, UNDER_WAY, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0640);
    if (fd < 0)
        return errno;
    int failed =
        fchmod(fd, 0640) || write_all(fd, text->data, text->length) || fsync(fd) ? errno : 0;
    close(fd);
    if (!failed && renameat(folder, UNDER_WAY, folder, name))
        failed = errno;
    return failed;
}

/* Another file may have taken the name meanwhile: that one is none of ours. */
static int move_file(const struct inbox_folder *folder, const char *name, const struct stat *was,
                     int to, const char *away)
{
    struct stat st;
    if (fstatat(folder->at, name, &st, AT_SYMLINK_NOFOLLOW) || st.st_ino != was->st_ino ||
        st.st_dev != was->st_dev)
        return 0;
    if (renameat2(folder->at, name, to, away, RENAME_NOREPLACE))
        return errno;
    return 0;
}

int inbox_folder_move(const struct inbox_folder *folder, bool refused, const char *name,
                      const struct stat *st, const char *away, const struct text_buffer *report)
{
    char beside[INBOX_FOLDER_AWAY + 20];
    int to = refused ? folder->refused : folder->done;
    snprintf(beside, sizeof beside, "%s" INBOX_FOLDER_REPORT, away);
    int failed = write_report(to, beside, report);
    if (failed)
        return failed;
    if ((failed = move_file(folder, name, st, to, away))) {
        unlinkat(to, beside, 0);
        return failed;
    }
    return fsync(to) || fsync(folder->at) ? errno : 0;
}
