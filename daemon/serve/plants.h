/* People of one plant are kept to it: who asks a route sees which plants, and of what is another
 * plant's is told that there is no such thing. */
#ifndef ODDLOAF_SERVE_PLANTS_H
#define ODDLOAF_SERVE_PLANTS_H

#include "serve/route.h"
#include "serve/setup.h"

/* By rq->sight and the route's roles: fills rq->seen and
 * rq->roles, and refuses (ERROR_DENIED) who has none of them, or is of one plant where the company
 * is asked for. */
int plants_admit(struct request *rq, const struct setup *setup, const struct route *route,
                 struct error *err);
/* After the parameters were checked: "plant" of a list, and of what is of one plant, is one that is
 * seen (ERROR_INVALID), or where one alone is seen that one, and what
 * the path names is there for who asks (ERROR_NOT_FOUND, as the route's handler would say it of
 * what does not exist). The store is told whom it answers, until plants_leave(). */
int plants_enter(struct request *rq, const struct setup *setup, const struct route *route,
                 struct store *store, struct error *err);
void plants_leave(struct store *store);
/* Has that plant of the settings a list of its own, apart from the company's? */
bool plants_have_list(const struct setup *setup, int plant);
/* Where mail of a case goes: the plant's place in the settings, if that has a list of its own, else
 * CONFIG_COMPANY. */
int plants_of_case(const struct setup *setup, struct store *store, int64_t case_id);
/* By whose clock its mail of a day or week leaves: CONFIG_COMPANY where that is the company's zone,
 * else the plant itself. Of either the zone, and the name under which is kept what was done last.
 */
int plants_group(const struct setup *setup, int plant);
const struct tz *plants_tz(const struct setup *setup, int group);
char *plants_key(const struct setup *setup, const char *what, int group, char *out, size_t size);
/* Mail that goes to a plant's own list tells of that plant alone, until plants_leave();
 * CONFIG_COMPANY: of all. */
void plants_tell(const struct setup *setup, struct store *store, int plant);
/* The case that such a mail is of (store/outbox.h goes by its plant): the plant's newest, 0 if it
 * has none. */
int64_t plants_case(const struct setup *setup, struct store *store, int plant);

#endif
