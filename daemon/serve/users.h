/* Users of this machine by their numbers: what each may do, and its name. To ask the machine takes
 * a tenth of the time of a complaint, so its answer is kept for a second. */
#ifndef ODDLOAF_SERVE_USERS_H
#define ODDLOAF_SERVE_USERS_H

#include "serve/sight.h"
#include <stdint.h>
#include <sys/types.h>

enum { USERS_NAME = 64, USERS_KEPT_MS = 1000 };

struct user_known {
    uid_t uid;
    struct sight sight;
    char name[USERS_NAME]; /* cut to it; "uid 1234" of one without */
};

struct users;

/* `config`: borrowed, for the roles' groups. */
struct users *users_new(const struct config *config);
void users_free(struct users *users);
/* As of at most USERS_KEPT_MS before now_ms (of the monotonic clock). Any thread but the loop's. */
struct user_known users_get(struct users *users, uid_t uid, int64_t now_ms);
/* As of now: for who would be refused by what was known. */
struct user_known users_look(struct users *users, uid_t uid, int64_t now_ms);

#endif
