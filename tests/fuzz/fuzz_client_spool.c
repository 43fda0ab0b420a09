/* Input: a byte that says as what, then a file that lies in the client's spool: kept complaints,
 * ones whose rename was cut off, a draft, the plant's time zone. Whoever wrote it, what is sent are
 * its bytes, and what is not sent or refused stays. */
#include "base/text.h"
#include "deliver/spool.h"
#include "fuzz.h"
#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char *const NAMES[] = {"00000001-a.ndjson", "00000001-a.ndjson.new", "draft-a.json",
                                    "zone"};
enum { NAME_COUNT = sizeof NAMES / sizeof NAMES[0] };

struct sent {
    const uint8_t *file;
    size_t size, at;
    bool refuses;
};

static const char *folder(void)
{
    static char path[64]; /* one for the run */
    if (!path[0]) {
        snprintf(path, sizeof path, "/dev/shm/fuzz-spool-%d", getpid());
        PROMISE(mkdir(path, 0700) == 0);
        PROMISE(setenv("ODDLOAF_SPOOL", path, 1) == 0);
    }
    return path;
}

static void put(const char *name, const uint8_t *data, size_t size)
{
    char path[128];
    snprintf(path, sizeof path, "%s/%s", folder(), name);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    PROMISE(fd >= 0 && write(fd, data, size) == (ssize_t)size);
    close(fd);
}

/* Whether the line is the file's next, or one after others that were not whole. */
static bool is_of_file(struct sent *sent, const char *line, size_t length)
{
    while (sent->at < sent->size) {
        const uint8_t *at = sent->file + sent->at;
        const uint8_t *end = memchr(at, '\n', sent->size - sent->at);
        size_t here = end ? (size_t)(end - at) + 1 : sent->size - sent->at;
        sent->at += here;
        if (here == length && memcmp(at, line, length) == 0)
            return true;
    }
    return false;
}

static int on_send(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    struct sent *sent = arg;
    sent->at = 0;
    for (const char *line = lines, *end; line < lines + length; line = end + 1) {
        end = memchr(line, '\n', (size_t)(lines + length - line));
        PROMISE(end && is_of_file(sent, line, (size_t)(end - line) + 1));
    }
    if (sent->refuses)
        text_append_bytes(refused, lines, length);
    return 0;
}

static void empty(const char *path)
{
    DIR *open_folder = opendir(path);
    for (struct dirent *entry; open_folder && (entry = readdir(open_folder));) {
        char inner[512];
        snprintf(inner, sizeof inner, "%s/%.200s", path, entry->d_name);
        if (entry->d_name[0] != '.' && unlink(inner))
            empty(inner);
    }
    if (open_folder)
        closedir(open_folder);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char refused[SPOOL_PATH];
    struct text_buffer zone = {0};
    struct error err = {0};
    struct spool *spool = NULL;
    struct draft *draft = NULL;
    json_t *complaint = NULL;
    if (size < 1)
        return 0;
    put(NAMES[(uint8_t)(data[0] - '0') % NAME_COUNT], data + 1, size - 1);
    PROMISE(spool_open("/d", &spool, &err) == 0);
    struct sent sent = {data + 1, size - 1, 0, data[0] & 64};
    int rc = spool_replay(spool, on_send, &sent, refused, &err);
    PROMISE((rc != 0) == (err.code != ERROR_NONE));
    PROMISE(!sent.refuses || !sent.at || access(refused, R_OK) == 0);
    if (spool_draft_resume(spool, &draft, &complaint, NULL) == 0)
        PROMISE(complaint && draft);
    spool_draft_end(draft, true);
    json_decref(complaint);
    spool_kept_zone(&zone);
    text_buffer_free(&zone);
    spool_close(spool);
    empty(folder());
    return 0;
}
