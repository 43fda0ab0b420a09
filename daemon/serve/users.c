#include "serve/users.h"
#include "base/text.h"
#include "serve/peer.h"
#include <pthread.h>
#include <stdlib.h>

enum { KEPT = 64 }; /* users, each in the slot of its number */

struct kept {
    struct user_known user;
    int64_t until_ms; /* 0: nobody */
};

struct users {
    const struct config *config;
    pthread_mutex_t lock;
    struct kept kept[KEPT];
};

struct users *users_new(const struct config *config)
{
    struct users *users = xcalloc(1, sizeof *users);
    users->config = config;
    pthread_mutex_init(&users->lock, NULL);
    return users;
}

void users_free(struct users *users)
{
    if (!users)
        return;
    pthread_mutex_destroy(&users->lock);
    free(users);
}

struct user_known users_look(struct users *users, uid_t uid, int64_t now_ms)
{
    struct kept kept = {{.uid = uid}, now_ms + USERS_KEPT_MS};
    peer_sight_of_uid(users->config, uid, &kept.user.sight);
    peer_name_of_uid(uid, kept.user.name, sizeof kept.user.name);
    pthread_mutex_lock(&users->lock);
    users->kept[uid % KEPT] = kept;
    pthread_mutex_unlock(&users->lock);
    return kept.user;
}

struct user_known users_get(struct users *users, uid_t uid, int64_t now_ms)
{
    pthread_mutex_lock(&users->lock);
    const struct kept kept = users->kept[uid % KEPT];
    pthread_mutex_unlock(&users->lock);
    return kept.user.uid == uid && now_ms < kept.until_ms ? kept.user
                                                          : users_look(users, uid, now_ms);
}
