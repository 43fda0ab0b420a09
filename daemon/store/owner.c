#include "store/owner.h"
#include "base/text.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

/* Only to be read by people: the lock is the directory's. */
static const char PID_FILE[] = "oddloafd.pid";

struct owner {
    int directory;
};

static long read_pid(int directory)
{
    char text[24] = "";
    int fd = openat(directory, PID_FILE, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return 0;
    ssize_t length = read(fd, text, sizeof text - 1);
    close(fd);
    return length > 0 ? strtol(text, NULL, 10) : 0;
}

/* A disk without room for it is no reason not to start. */
static void write_pid(int directory)
{
    int fd =
        openat(directory, PID_FILE, O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0644);
    if (fd < 0)
        return;
    dprintf(fd, "%ld\n", (long)getpid());
    close(fd);
}

static int name_holder(int directory, const char *state_dir, struct error *err)
{
    long pid = read_pid(directory);
    error_hint(err, "stop it first, or give this one a --state of its own");
    return pid > 0 ? error_set(err, ERROR_CONFLICT,
                               "the state in %s belongs to a running daemon, process %ld",
                               state_dir, pid)
                   : error_set(err, ERROR_CONFLICT, "the state in %s belongs to a running daemon",
                               state_dir);
}

/* What is read as the daemon's own word: the folder, the database, who was erased, backups, rows
 * that were accepted. */
static int check_files(int directory, const char *state_dir, struct error *err)
{
    static const char *const NAMES[] = {
        ".",       "oddloaf.db", "oddloaf.db-wal", "oddloaf.db-shm", "erasures",
        "backups", "replaced",   "loads",          "server"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++) {
        struct stat st;
        if (fstatat(directory, NAMES[i], &st, 0) || !(st.st_mode & S_IWOTH))
            continue;
        error_hint(err, "look at what is in it, then chmod o-w");
        return error_set(err, ERROR_INVALID, "%s%s%s may be written to by anybody", state_dir,
                         i ? "/" : "", i ? NAMES[i] : "");
    }
    return 0;
}

/* The lock is the folder's: through a link a daemon of another folder would write to it as well. */
static int check_links(int directory, const char *state_dir, struct error *err)
{
    static const char *const NAMES[] = {"oddloaf.db", "oddloaf.db-wal", "oddloaf.db-shm"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++) {
        struct stat st;
        if (fstatat(directory, NAMES[i], &st, AT_SYMLINK_NOFOLLOW) || !S_ISLNK(st.st_mode))
            continue;
        error_hint(err, "name the folder it leads to with --state, or put the file itself here");
        return error_set(err, ERROR_INVALID,
                         "%s/%s is a symbolic link: another daemon may have the database it leads "
                         "to",
                         state_dir, NAMES[i]);
    }
    return 0;
}

/* In a folder of another user's, or one that anybody writes to, the database may be anybody's; and
 * root's files in the service's folder would be none that the service can write to. */
static int check_folder(int directory, const char *state_dir, struct error *err)
{
    struct stat st;
    if (fstat(directory, &st))
        return error_set(err, ERROR_IO, "cannot look at %s: %s", state_dir, strerror(errno));
    if (st.st_uid != geteuid()) {
        error_hint(err, "run it as that user (runuser -u), or name another --state");
        return error_set(err, ERROR_INVALID, "%s belongs to another user, of number %lu", state_dir,
                         (unsigned long)st.st_uid);
    }
    int rc = check_links(directory, state_dir, err);
    return rc ? rc : check_files(directory, state_dir, err);
}

int owner_look(const char *state_dir, struct error *err)
{
    int directory = open(state_dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (directory < 0)
        return 0;
    int rc = check_files(directory, state_dir, err);
    close(directory);
    return rc;
}

int owner_take(const char *state_dir, struct owner **ret, struct error *err)
{
    int directory = open(state_dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (directory < 0) {
        error_hint(err, "check that the state directory exists and may be read");
        return error_set(err, ERROR_IO, "cannot open %s: %s", state_dir, strerror(errno));
    }
    int unfit = check_folder(directory, state_dir, err);
    if (unfit) {
        close(directory);
        return unfit;
    }
    if (flock(directory, LOCK_EX | LOCK_NB)) {
        int rc = errno == EWOULDBLOCK
                     ? name_holder(directory, state_dir, err)
                     : error_set(err, ERROR_IO, "cannot lock %s: %s", state_dir, strerror(errno));
        close(directory);
        return rc;
    }
    write_pid(directory);
    struct owner *owner = xcalloc(1, sizeof *owner);
    owner->directory = directory;
    *ret = owner;
    return 0;
}

void owner_free(struct owner *owner)
{
    if (!owner)
        return;
    unlinkat(owner->directory, PID_FILE, 0);
    close(owner->directory);
    free(owner);
}
