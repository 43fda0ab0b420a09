#include "serve/uploads.h"
#include "base/uuid.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

enum { IDLE_MS = 60000, USER = 64 };

struct upload {
    char id[UUID_TEXT]; /* "": free */
    char user[USER];
    struct text_buffer bytes;
    int64_t next_part, used_ms;
};

struct uploads {
    pthread_mutex_t lock;
    struct upload upload[UPLOADS_MOST];
};

struct uploads *uploads_new(void)
{
    struct uploads *u = xcalloc(1, sizeof *u);
    pthread_mutex_init(&u->lock, NULL);
    return u;
}

static void drop(struct upload *upload)
{
    text_buffer_free(&upload->bytes);
    *upload = (struct upload){0};
}

void uploads_free(struct uploads *u)
{
    if (!u)
        return;
    for (int i = 0; i < UPLOADS_MOST; i++)
        drop(&u->upload[i]);
    pthread_mutex_destroy(&u->lock);
    free(u);
}

/* By "": a free one. */
static struct upload *find(struct uploads *u, const char *id)
{
    for (int i = 0; i < UPLOADS_MOST; i++)
        if (strcmp(u->upload[i].id, id) == 0)
            return &u->upload[i];
    return NULL;
}

static void expire(struct uploads *u, int64_t steady_ms)
{
    for (int i = 0; i < UPLOADS_MOST; i++)
        if (u->upload[i].id[0] && steady_ms - u->upload[i].used_ms > IDLE_MS)
            drop(&u->upload[i]);
}

static int count_of(const struct uploads *u, const char *user)
{
    int count = 0;
    for (int i = 0; i < UPLOADS_MOST; i++)
        count += u->upload[i].id[0] && strcmp(u->upload[i].user, user) == 0;
    return count;
}

/* A full house: whoever sends the most gives up what moved longest ago, unless the newcomer would
 * then send as much. So a few who fill all places do not keep out who sends one file. */
static struct upload *make_room(struct uploads *u, const char *user)
{
    struct upload *least = NULL;
    int most = count_of(u, user) + 1;
    for (int i = 0; i < UPLOADS_MOST; i++) {
        struct upload *one = &u->upload[i];
        int count = count_of(u, one->user);
        if (count > most || (least && count == most && one->used_ms < least->used_ms))
            least = one;
        if (least == one)
            most = count;
    }
    if (least)
        drop(least);
    return least;
}

static int open_one(struct uploads *u, const struct uploads_part *part, struct upload **ret,
                    struct error *err)
{
    if (find(u, part->id))
        return error_set(err, ERROR_CONFLICT, "the upload has begun already");
    *ret = NULL;
    if (count_of(u, part->user) < UPLOADS_OF_USER && !(*ret = find(u, "")))
        *ret = make_room(u, part->user);
    if (!*ret)
        return error_set(err, ERROR_BUSY, "too many files are being sent");
    text_clip(part->id, (*ret)->id, sizeof(*ret)->id);
    text_clip(part->user, (*ret)->user, sizeof(*ret)->user);
    return 0;
}

static int find_open(struct uploads *u, const char *id, const char *user, struct upload **ret,
                     struct error *err)
{
    *ret = find(u, id);
    if (*ret && strcmp((*ret)->user, user) == 0)
        return 0;
    error_set(err, ERROR_NOT_FOUND, "there is no such upload, or no longer");
    error_hint(err, "send the file again");
    return ERROR_NOT_FOUND;
}

static int add(struct uploads *u, const struct uploads_part *part, size_t *ret_length,
               struct error *err)
{
    struct upload *upload = NULL;
    int rc = part->number == 0 ? open_one(u, part, &upload, err)
                               : find_open(u, part->id, part->user, &upload, err);
    if (rc || !upload)
        return rc;
    if (part->number != upload->next_part)
        return error_set(err, ERROR_CONFLICT, "part %lld is not the next one",
                         (long long)part->number);
    /* a reload may have made the limit less than what came already */
    if (upload->bytes.length > part->most || part->length > part->most - upload->bytes.length) {
        drop(upload);
        error_set(err, ERROR_TOO_LARGE, "is larger than %zu MB (attach/file_mb)", part->most >> 20);
        error_field(err, "file", "");
        return ERROR_TOO_LARGE;
    }
    text_append_bytes(&upload->bytes, part->bytes, part->length);
    upload->next_part++;
    upload->used_ms = part->steady_ms;
    *ret_length = upload->bytes.length;
    return 0;
}

int uploads_add(struct uploads *u, const struct uploads_part *part, size_t *ret_length,
                struct error *err)
{
    pthread_mutex_lock(&u->lock);
    expire(u, part->steady_ms);
    int rc = add(u, part, ret_length, err);
    pthread_mutex_unlock(&u->lock);
    return rc;
}

int uploads_take(struct uploads *u, const char *id, const char *user, struct text_buffer *ret,
                 struct error *err)
{
    struct upload *upload = NULL;
    pthread_mutex_lock(&u->lock);
    int rc = find_open(u, id, user, &upload, err);
    if (!rc) {
        *ret = upload->bytes;
        *upload = (struct upload){0};
    }
    pthread_mutex_unlock(&u->lock);
    return rc;
}

void uploads_expire(struct uploads *u, int64_t steady_ms)
{
    pthread_mutex_lock(&u->lock);
    expire(u, steady_ms);
    pthread_mutex_unlock(&u->lock);
}
