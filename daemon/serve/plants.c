#include "serve/plants.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/uuid.h"
#include "desk/named.h"
#include "serve/app.h"
#include "serve/peer.h"
#include "serve/plant_asked.h"
#include "serve/role.h"
#include "store/case.h"
#include <stdio.h>
#include <string.h>

_Static_assert((int)SEEN_PLANTS >= (int)CONFIG_PLANTS, "who is of all plants sees them");

static int deny_role(unsigned roles, struct error *err)
{
    char needed[64];
    role_words(roles, needed, sizeof needed);
    error_hint(err, "ask the administrator to add you to that role's group (config roles/…)");
    return error_set(err, ERROR_DENIED, "this needs the role %s", needed);
}

static int deny_company(struct error *err)
{
    error_hint(err, "ask somebody whose role is in the company (config roles/…), not in one plant");
    return error_set(err, ERROR_DENIED, "this is of the company, not of one plant");
}

/* To one plant. */
static int narrow(struct request *rq, const struct setup *setup, struct store *store,
                  const char *plant, struct error *err)
{
    int rc = plant_asked_check(rq, setup, store, plant, err);
    if (rc)
        return rc;
    int at = config_plant_named(setup->config, plant);
    rq->roles = rq->sight.company | (at < 0 ? 0 : sight_at(&rq->sight, at));
    rq->sees_all = false;
    rq->seen =
        (struct seen_plants){1, {at < 0 ? plant : config_plant_name(setup->config, at)}, rq->user};
    return 0;
}

static int narrow_as_asked(struct request *rq, const struct setup *setup, struct store *store,
                           enum route_about about, struct error *err)
{
    if (about != ROUTE_LIST && (about != ROUTE_PLANT || rq->sees_all))
        return 0;
    const char *plant = request_query(rq, "plant");
    if (!plant && (about == ROUTE_LIST || rq->seen.count == 1))
        return 0;
    return narrow(rq, setup, store, plant ? plant : "", err);
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
}

int plants_admit(struct request *rq, const struct setup *setup, const struct route *route,
                 struct error *err)
{
    rq->sees_all = true;
    rq->seen.count = 0;
    rq->roles = rq->sight.company;
    rq->seen.user = rq->user;
    if (!(rq->roles & route->roles))
        see_plants(rq, setup, route);
    if (!rq->sees_all && rq->seen.count == 0)
        return deny_role(route->roles, err);
    if (!rq->sees_all && route->about == ROUTE_COMPANY)
        return deny_company(err);
    return 0;
}

int plants_enter(struct request *rq, const struct setup *setup, const struct route *route,
                 struct store *store, struct error *err)
{
    char uuid[UUID_TEXT];
    int64_t id;
    int narrowed = narrow_as_asked(rq, setup, store, route->about, err);
    if (narrowed || rq->sees_all)
        return narrowed;
    seen_set(store, &rq->seen);
    if (route->about == ROUTE_CASE)
        return named_case(store, rq->part[0], &id, err);
    int rc = route->about == ROUTE_COMPLAINT ? named_complaint(store, rq->part[0], uuid, err) : 0;
    return rc || route->about != ROUTE_COMPLAINT ? rc : case_of_uuid(store, uuid, &id, err);
}

bool plants_have_list(const struct setup *setup, int plant)
{
    static const char TO[] = "mail/to"; /* one that it does not set is the company's */
    return config_list_of(setup->config, plant, TO) != config_list(setup->config, TO);
}

int plants_group(const struct setup *setup, int plant)
{
    const char *name = config_plant_name(setup->config, plant);
    return tz_of(setup->tz, name) == setup->tz ? CONFIG_COMPANY : plant;
}

const struct tz *plants_tz(const struct setup *setup, int group)
{
    return tz_of(setup->tz, group == CONFIG_COMPANY ? "" : config_plant_name(setup->config, group));
}

char *plants_key(const struct setup *setup, const char *what, int group, char *out, size_t size)
{
    bool own = group != CONFIG_COMPANY;
    snprintf(out, size, "%s%s%s", what, own ? "/" : "",
             own ? config_plant_name(setup->config, group) : "");
    return out;
}

int plants_of_case(const struct setup *setup, struct store *store, int64_t case_id)
{
    struct case_row row;
    int plant =
        case_get(store, case_id, &row, NULL) ? -1 : config_plant_named(setup->config, row.plant);
    return plant >= 0 && plants_have_list(setup, plant) ? plant : CONFIG_COMPANY;
}

void plants_tell(const struct setup *setup, struct store *store, int plant)
{
    const char *name = plant == CONFIG_COMPANY ? NULL : config_plant_name(setup->config, plant);
    const struct seen_plants seen = {1, {name}, ""};
    seen_set(store, name ? &seen : NULL);
}

static int take_id(void *arg, const struct case_row *row)
{
    *(int64_t *)arg = row->id;
    return 0;
}

int64_t plants_case(const struct setup *setup, struct store *store, int plant)
{
    const struct case_filter newest = {
        .plant = config_plant_name(setup->config, plant), .since_ms = WHEN_UNKNOWN_MS, .limit = 1};
    int64_t id = 0;
    case_list(store, &newest, take_id, &id, NULL);
    return id;
}

void plants_leave(struct store *store)
{
    seen_set(store, NULL);
}
