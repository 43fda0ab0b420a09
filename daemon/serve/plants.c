#include "serve/plants.h"
#include "base/uuid.h"
#include "desk/named.h"
#include "serve/app.h"
#include "serve/peer.h"
#include "store/case.h"
#include <stdio.h>

static int deny_role(unsigned roles, struct error *err)
{
    char needed[64];
    peer_role_words(roles, needed, sizeof needed);
    error_hint(err, "ask the administrator to add you to that role's group (config roles/…)");
    return error_set(err, ERROR_DENIED, "this needs the role %s", needed);
}

static int deny_company(struct error *err)
{
    error_hint(err, "ask somebody whose role is in the company (config roles/…), not in one plant");
    return error_set(err, ERROR_DENIED, "this is of the company, not of one plant");
}

/* A plant in which the route may be asked is seen, and a role that is had in all of them is had. */
static void see_plants(struct request *rq, const struct setup *setup, const struct route *route)
{
    unsigned roles = ROLE_ANY;
    rq->sees_all = false;
    for (int i = 0; i < config_plant_count(setup->config); i++) {
        unsigned here = sight_at(&rq->sight, i);
        if (!(here & route->roles))
            continue;
        roles &= here;
        rq->seen.plant[rq->seen.count++] = config_plant_name(setup->config, i);
    }
    rq->roles = roles;
    rq->seen.user = rq->user;
}

int plants_admit(struct request *rq, const struct setup *setup, const struct route *route,
                 struct error *err)
{
    rq->sees_all = true;
    rq->seen.count = 0;
    rq->roles = rq->sight.company;
    if (rq->roles & route->roles)
        return 0;
    see_plants(rq, setup, route);
    if (rq->seen.count == 0)
        return deny_role(route->roles, err);
    return route->about == ROUTE_COMPANY ? deny_company(err) : 0;
}

int plants_enter(struct request *rq, const struct route *route, struct store *store,
                 struct error *err)
{
    char uuid[UUID_TEXT];
    int64_t id;
    if (rq->sees_all)
        return 0;
    seen_set(store, &rq->seen);
    if (route->about == ROUTE_CASE)
        return named_case(store, rq->part[0], &id, err);
    int rc = route->about == ROUTE_COMPLAINT ? named_complaint(store, rq->part[0], uuid, err) : 0;
    return rc || route->about != ROUTE_COMPLAINT ? rc : case_of_uuid(store, uuid, &id, err);
}

void plants_leave(struct store *store)
{
    seen_set(store, NULL);
}
