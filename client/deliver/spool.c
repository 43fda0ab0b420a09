#include "deliver/spool.h"
#include "base/hash.h"
#include "base/jsonx.h"
#include "base/sync_path.h"
#include "base/text.h"
#include "base/uuid.h"
#include "base/when.h"
#include "base/write_all.h"
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define NAME_DIGITS 8
#define ENDING ".ndjson"
#define TEMPORARY ".new"
#define TORN ".torn"

enum {
    FILE_NAME = 240,
    DAEMON = 120,
    SUM = 17
}; /* bytes; an address may become three times as long */
#define DAEMON_MARK '@'

struct spool {
    char folder[SPOOL_PATH - FILE_NAME];
    char daemon[DAEMON + 1]; /* as it stands in the names of files */
    int lock;
};

static int fail(struct error *err, const char *what, const char *path)
{
    int why = errno;
    error_at(err, path, 0, 0);
    if (why == ENOSPC || why == EDQUOT)
        error_hint(err, "free some space on this disk");
    return error_set(err, why == ENOSPC || why == EDQUOT ? ERROR_NO_SPACE : ERROR_IO, "%s: %s",
                     what, strerror(why));
}

/* ---- the folder ---- */

static int find_folder(char *out, size_t size, struct error *err)
{
    const char *own = getenv("ODDLOAF_SPOOL");
    const char *state = getenv("XDG_STATE_HOME");
    const char *home = getenv("HOME");
    int n;
    if (own && *own)
        n = snprintf(out, size, "%s", own);
    else if (state && *state)
        n = snprintf(out, size, "%s/oddloaf/spool", state);
    else if (home && *home)
        n = snprintf(out, size, "%s/.local/state/oddloaf/spool", home);
    else
        return error_set(err, ERROR_INVALID, "no folder to keep complaints in: set ODDLOAF_SPOOL");
    if (n < 0 || (size_t)n >= size)
        return error_set(err, ERROR_INVALID, "the folder's name is too long");
    return 0;
}

/* What is kept in a folder is on disk no sooner than the folder's own name. One that we may not
 * read is not ours to sync: it stood before us. */
static int sync_parent(const char *path)
{
    return sync_path_folder_of(path) != 0 && errno != EACCES ? -1 : 0;
}

static int make_folders(const char *path, struct error *err)
{
    char part[SPOOL_PATH];
    snprintf(part, sizeof part, "%s", path);
    for (char *p = part + 1;; p++) {
        if (*p != '/' && *p != '\0')
            continue;
        char was = *p;
        *p = '\0';
        if (mkdir(part, 0700) == 0) {
            if (sync_parent(part) != 0)
                return fail(err, "cannot sync the folder of", part);
        } else if (errno != EEXIST) {
            return fail(err, "cannot make the folder", part);
        }
        *p = was;
        if (!was)
            return 0;
    }
}

/* A folder of another user, or one that anybody writes to, would show callers' contact data to
 * others, or have us send what they put there. */
static int check_folder(const char *path, struct error *err)
{
    struct stat st;
    if (stat(path, &st) != 0)
        return fail(err, "cannot look at", path);
    const char *why = !S_ISDIR(st.st_mode)     ? "is no folder"
                      : st.st_uid != geteuid() ? "is another user's"
                      : (st.st_mode & S_IWOTH) ? "may be written to by anybody"
                                               : NULL;
    if (!why)
        return 0;
    error_hint(err, "complaints are kept there: name a folder of your own with ODDLOAF_SPOOL");
    return error_set(err, ERROR_INVALID, "%s %s", path, why);
}

/* 16 digits that tell addresses apart which begin alike. */
static void append_sum(const char *address, char *at)
{
    snprintf(at, SUM + 1, "-%016llx", (unsigned long long)hash_text(address));
}

/* Letters that a file's name can't have, or that mean something in ours, as %2F; of one that is too
 * long the beginning and a sum of all. */
static void name_daemon(const char *address, char ret[static DAEMON + 1])
{
    const char *c = address;
    static const char PLAIN[] =
        "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.:-_[]";
    size_t length = 0;
    for (; *c && length + 3 <= DAEMON; c++)
        length += (size_t)snprintf(ret + length, DAEMON + 1 - length,
                                   strchr(PLAIN, *c) ? "%c" : "%%%02X", (unsigned char)*c);
    ret[length] = '\0';
    if (*c)
        append_sum(address, ret + (length < DAEMON - SUM ? length : DAEMON - SUM));
}

int spool_open(const char *daemon, struct spool **ret, struct error *err)
{
    struct spool *s = xcalloc(1, sizeof *s);
    char path[SPOOL_PATH];
    s->lock = -1;
    name_daemon(daemon, s->daemon);
    int rc = find_folder(s->folder, sizeof s->folder, err);
    if (!rc)
        rc = make_folders(s->folder, err);
    if (!rc)
        rc = check_folder(s->folder, err);
    if (!rc) {
        snprintf(path, sizeof path, "%s/lock", s->folder);
        s->lock = open(path, O_RDWR | O_CREAT | O_NOFOLLOW | O_CLOEXEC, 0600);
        if (s->lock < 0)
            rc = fail(err, "cannot open", path);
    }
    if (rc) {
        spool_close(s);
        return rc;
    }
    *ret = s;
    return 0;
}

void spool_close(struct spool *s)
{
    if (!s)
        return;
    if (s->lock >= 0)
        close(s->lock);
    free(s);
}

const char *spool_folder(const struct spool *s)
{
    return s->folder;
}

/* Whole and on disk under `path`, or not there at all. */
static int write_file(const char *folder, const char *path, const char *bytes, size_t length,
                      struct error *err)
{
    char temporary[SPOOL_PATH + 8];
    snprintf(temporary, sizeof temporary, "%s" TEMPORARY, path);
    int fd = open(temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (fd < 0)
        return fail(err, "cannot write", path);
    bool written = write_all(fd, bytes, length) == 0 && fsync(fd) == 0;
    int why = errno;
    close(fd);
    errno = why;
    if (written && rename(temporary, path) == 0 && sync_path(folder) == 0)
        return 0;
    int rc = fail(err, "cannot write", path);
    unlink(temporary);
    return rc;
}

static int read_file(const char *path, struct text_buffer *ret, struct error *err)
{
    char chunk[16384];
    FILE *file = fopen(path, "rbe");
    if (!file)
        return fail(err, "cannot open", path);
    size_t n;
    while ((n = fread(chunk, 1, sizeof chunk, file)) > 0)
        text_append_bytes(ret, chunk, n);
    int rc = ferror(file) ? fail(err, "cannot read", path) : 0;
    fclose(file);
    return rc;
}

/* ---- what waits ---- */

static bool ends_with(const char *name, const char *end)
{
    size_t n = strlen(name);
    size_t m = strlen(end);
    return n > m && strcmp(name + n - m, end) == 0;
}

static int is_waiting(const struct dirent *entry)
{
    return strspn(entry->d_name, "0123456789") == NAME_DIGITS && ends_with(entry->d_name, ENDING);
}

/* Cut off before the rename. */
static int is_cut_off(const struct dirent *entry)
{
    return strspn(entry->d_name, "0123456789") == NAME_DIGITS &&
           ends_with(entry->d_name, ENDING TEMPORARY);
}

/* Kept for the daemon of that address, or for none that is named. */
static bool is_for(const struct spool *s, const char *name)
{
    const char *mark = strchr(name, DAEMON_MARK);
    size_t length = strlen(s->daemon);
    return !mark ||
           (strncmp(mark + 1, s->daemon, length) == 0 && strcmp(mark + 1 + length, ENDING) == 0);
}

static int by_name(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static void free_list(struct dirent **list, int count)
{
    for (int i = 0; i < count; i++)
        free(list[i]);
    free(list);
}

static int is_torn(const struct dirent *entry)
{
    return ends_with(entry->d_name, TORN);
}

static int count_files(const struct spool *s, int (*which)(const struct dirent *), int *ret_ours)
{
    struct dirent **list = NULL;
    int count = scandir(s->folder, &list, which, by_name);
    *ret_ours = 0;
    for (int i = 0; i < count; i++)
        *ret_ours += is_for(s, list[i]->d_name);
    if (count < 0)
        return 0;
    free_list(list, count);
    return count;
}

static long next_number(const struct spool *s)
{
    struct dirent **list = NULL;
    int count = scandir(s->folder, &list, is_waiting, by_name);
    long number = 1;
    if (count > 0)
        number = strtol(list[count - 1]->d_name, NULL, 10) + 1;
    if (count >= 0)
        free_list(list, count);
    return number;
}

int spool_keep(struct spool *s, const char *lines, size_t length, char ret_path[static SPOOL_PATH],
               struct error *err)
{
    char id[UUID_TEXT];
    struct clock clock = clock_system();
    uuid_v7(clock_now_ms(&clock), id);
    if (flock(s->lock, LOCK_EX) != 0)
        return fail(err, "cannot lock", s->folder);
    snprintf(ret_path, SPOOL_PATH, "%s/%0*ld-%s%c%s" ENDING, s->folder, NAME_DIGITS, next_number(s),
             id, DAEMON_MARK, s->daemon);
    int rc = write_file(s->folder, ret_path, lines, length, err);
    flock(s->lock, LOCK_UN);
    return rc;
}

/* ---- sending again ---- */

/* The lines that are whole, each a JSON document and ended; false if there are others, or none. */
static bool take_whole_lines(const struct text_buffer *lines, struct text_buffer *ret)
{
    const char *at = lines->length ? lines->data : "";
    const char *end, *last = at + lines->length;
    bool all = lines->length > 0;
    while ((end = memchr(at, '\n', (size_t)(last - at)))) {
        json_t *one = NULL;
        if (jsonx_parse(at, (size_t)(end - at), &one, NULL) == 0)
            text_append_bytes(ret, at, (size_t)(end - at) + 1);
        else
            all = false;
        json_decref(one);
        at = end + 1;
    }
    return all && at == last;
}

static int set_aside(const struct spool *s, const char *path, struct error *err)
{
    char aside[SPOOL_PATH + 8];
    snprintf(aside, sizeof aside, "%s" TORN, path);
    if (rename(path, aside) != 0 || sync_path(s->folder) != 0)
        return fail(err, "cannot set aside", path);
    return 0;
}

/* A file whose rename never happened was never said to be kept; what there is of it is somebody's
 * complaint all the same: it waits like the others, whole or torn. */
static void take_up_cut_off(const struct spool *s)
{
    struct dirent **list = NULL;
    int count = scandir(s->folder, &list, is_cut_off, by_name);
    for (int i = 0; i < count; i++) {
        char from[SPOOL_PATH];
        char to[SPOOL_PATH];
        struct text_buffer lines = {0};
        snprintf(from, sizeof from, "%s/%.230s", s->folder, list[i]->d_name);
        snprintf(to, sizeof to, "%.*s", (int)(strlen(from) - strlen(TEMPORARY)), from);
        if (read_file(from, &lines, NULL) != 0)
            set_aside(s, from, NULL); /* else it would keep the others waiting */
        else if (lines.length == 0)
            unlink(from); /* nothing was written yet */
        else
            rename(from, to);
        text_buffer_free(&lines);
    }
    if (count >= 0)
        free_list(list, count);
}

static int keep_refused(const struct spool *s, const char *name, const struct text_buffer *lines,
                        char ret_path[static SPOOL_PATH], struct error *err)
{
    char folder[SPOOL_PATH];
    snprintf(folder, sizeof folder, "%s/refused", s->folder);
    int rc = make_folders(folder, err);
    snprintf(ret_path, SPOOL_PATH, "%s/refused/%.220s", s->folder, name);
    return rc ? rc : write_file(folder, ret_path, lines->data, lines->length, err);
}

bool spool_is_of_all(int sent)
{
    return sent == ERROR_UNREACHABLE || sent == ERROR_BUSY || sent == ERROR_DENIED ||
           sent == ERROR_NO_SPACE;
}

struct replaying {
    struct spool *s;
    spool_send send;
    void *arg;
    char *refused; /* SPOOL_PATH */
    bool stop;
};

/* What was sent goes; of a torn file what is whole is sent, and the file stays. */
static int replay_one(struct replaying *r, const char *name, struct error *err)
{
    char path[SPOOL_PATH];
    struct text_buffer lines = {0};
    struct text_buffer whole = {0};
    struct text_buffer refused = {0};
    bool torn = false;
    snprintf(path, sizeof path, "%s/%.230s", r->s->folder, name);
    int rc = read_file(path, &lines, err);
    if (!rc)
        torn = !take_whole_lines(&lines, &whole);
    if (!rc && whole.length) {
        rc = r->send(r->arg, whole.data, whole.length, &refused);
        r->stop = spool_is_of_all(rc);
    }
    if (!rc && refused.length)
        rc = keep_refused(r->s, name, &refused, r->refused, err);
    if (!rc && torn)
        rc = set_aside(r->s, path, err);
    else if (!rc && (unlink(path) != 0 || sync_path(r->s->folder) != 0))
        rc = fail(err, "sent, but cannot remove", path);
    text_buffer_free(&lines);
    text_buffer_free(&whole);
    text_buffer_free(&refused);
    return rc;
}

int spool_replay(struct spool *s, spool_send send, void *arg, char ret_refused[static SPOOL_PATH],
                 struct error *err)
{
    struct dirent **list = NULL;
    struct replaying r = {.s = s, .send = send, .arg = arg, .refused = ret_refused};
    ret_refused[0] = '\0';
    if (flock(s->lock, LOCK_EX) != 0)
        return fail(err, "cannot lock", s->folder);
    take_up_cut_off(s);
    int count = scandir(s->folder, &list, is_waiting, by_name);
    int rc = count < 0 ? fail(err, "cannot list", s->folder) : 0;
    for (int i = 0; i < count && !r.stop; i++) {
        struct error why = {0};
        int one = is_for(s, list[i]->d_name) ? replay_one(&r, list[i]->d_name, &why) : 0;
        if (one && !rc && err)
            *err = why;
        rc = rc ? rc : one;
    }
    if (count >= 0)
        free_list(list, count);
    flock(s->lock, LOCK_UN);
    return rc;
}

/* ---- the plant's time zone ---- */

static bool zone_path(char out[static SPOOL_PATH])
{
    char folder[SPOOL_PATH - FILE_NAME];
    if (find_folder(folder, sizeof folder, NULL) != 0)
        return false;
    snprintf(out, SPOOL_PATH, "%s/zone", folder);
    return true;
}

bool spool_kept_zone(struct text_buffer *ret)
{
    char path[SPOOL_PATH];
    return zone_path(path) && read_file(path, ret, NULL) == 0 && ret->length > 0;
}

void spool_keep_zone(const char *zone)
{
    char path[SPOOL_PATH];
    struct text_buffer kept = {0};
    bool noted = !zone_path(path) || (spool_kept_zone(&kept) && strcmp(kept.data, zone) == 0);
    text_buffer_free(&kept);
    if (noted)
        return;
    FILE *out = fopen(path, "we");
    if (!out)
        return;
    fputs(zone, out);
    fclose(out);
}

/* ---- drafts ---- */

struct draft {
    char path[SPOOL_PATH];
    char folder[SPOOL_PATH];
    int fd; /* a file of its own that says, while locked, that somebody is at it */
};

static int hold(const char *path, int *ret_fd, struct error *err)
{
    char name[SPOOL_PATH + 8];
    snprintf(name, sizeof name, "%s.held", path);
    int fd = open(name, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (fd < 0)
        return fail(err, "cannot write", name);
    if (flock(fd, LOCK_EX | LOCK_NB) != 0) {
        close(fd);
        return error_set(err, ERROR_BUSY, "another interview holds it");
    }
    *ret_fd = fd;
    return 0;
}

static int open_draft(const struct spool *s, const char *path, struct draft **ret,
                      struct error *err)
{
    int fd = -1;
    int rc = hold(path, &fd, err);
    if (rc)
        return rc;
    struct draft *d = xcalloc(1, sizeof *d);
    snprintf(d->path, sizeof d->path, "%s", path);
    snprintf(d->folder, sizeof d->folder, "%s", s->folder);
    d->fd = fd;
    *ret = d;
    return 0;
}

int spool_draft_begin(struct spool *s, const char *id, struct draft **ret, struct error *err)
{
    char path[SPOOL_PATH];
    snprintf(path, sizeof path, "%s/draft-%s.json", s->folder, id);
    return open_draft(s, path, ret, err);
}

static int is_draft(const struct dirent *entry)
{
    return strncmp(entry->d_name, "draft-", 6) == 0 && ends_with(entry->d_name, ".json");
}

/* A draft that lies there, taken hold of; false if a running interview holds it or it is torn. */
static bool take_draft(const struct spool *s, const char *name, struct draft **ret,
                       json_t **ret_complaint)
{
    char path[SPOOL_PATH];
    snprintf(path, sizeof path, "%s/%.230s", s->folder, name);
    if (open_draft(s, path, ret, NULL))
        return false;
    if (jsonx_load(path, ret_complaint, NULL) == 0)
        return true;
    spool_draft_end(*ret, false);
    return false;
}

struct taken {
    struct draft *draft; /* NULL: none */
    json_t *complaint;
};

static bool is_harm(const json_t *complaint)
{
    return json_object_get(complaint, SPOOL_DRAFT_HARM) != NULL;
}

static void let_go(struct taken *taken)
{
    spool_draft_end(taken->draft, false);
    json_decref(taken->complaint);
}

/* The drafts that no running interview holds, the oldest first. What `each` leaves in *taken is let
 * go. */
static void each_draft(const struct spool *s, void (*each)(void *arg, struct taken *taken),
                       void *arg)
{
    struct dirent **list = NULL;
    int count = scandir(s->folder, &list, is_draft, by_name);
    for (int i = 0; i < count; i++) {
        struct taken taken = {0};
        if (!take_draft(s, list[i]->d_name, &taken.draft, &taken.complaint))
            continue;
        each(arg, &taken);
        let_go(&taken);
    }
    if (count >= 0)
        free_list(list, count);
}

static void count_draft(void *arg, struct taken *taken)
{
    struct spool_counts *counts = arg;
    counts->unfinished++;
    counts->harmed += is_harm(taken->complaint);
}

/* The first is kept, or the first with harm. */
static void prefer_harm(void *arg, struct taken *taken)
{
    struct taken *kept = arg, other = *kept;
    if (!kept->draft || (is_harm(taken->complaint) && !is_harm(kept->complaint))) {
        *kept = *taken;
        *taken = other;
    }
}

int spool_draft_resume(struct spool *s, struct draft **ret, json_t **ret_complaint,
                       struct error *err)
{
    struct taken kept = {0};
    each_draft(s, prefer_harm, &kept);
    if (!kept.draft)
        return error_set(err, ERROR_NOT_FOUND, "no draft");
    *ret = kept.draft;
    *ret_complaint = kept.complaint;
    return 0;
}

int spool_draft_save(struct draft *d, const json_t *complaint, struct error *err)
{
    char *text = jsonx_dump(complaint);
    int rc = write_file(d->folder, d->path, text, strlen(text), err);
    free(text);
    return rc;
}

void spool_draft_end(struct draft *d, bool remove_file)
{
    if (!d)
        return;
    char name[SPOOL_PATH + 8];
    snprintf(name, sizeof name, "%s.held", d->path);
    if (remove_file)
        unlink(d->path);
    unlink(name);
    close(d->fd);
    free(d);
}

/* ---- what lies there ---- */

struct spool_counts spool_count(const struct spool *s)
{
    struct spool_counts counts = {0};
    int ours;
    counts.torn = count_files(s, is_torn, &ours);
    counts.elsewhere = count_files(s, is_waiting, &counts.waiting);
    counts.elsewhere -= counts.waiting;
    each_draft(s, count_draft, &counts);
    return counts;
}
