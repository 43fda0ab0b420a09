#include "serve/due_mail.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/call_backs.h"
#include "desk/event.h"
#include "desk/following.h"
#include "store/outbox.h"
#include <stdlib.h>
#include <string.h>

#define DONE "due/last" /* the last day whose list was made */

enum { LISTED_MOST = 40 }; /* of each; the others are counted */

struct day {
    char day[16], message_id[128], *payload; /* payload NULL: nothing is due */
    int64_t now_ms;
};

static int is_done(struct store *store, const struct day *d, bool *ret, struct error *err)
{
    char *done = NULL;
    int rc = store_setting_get(store, DONE, &done, err);
    *ret = done && strcmp(done, d->day) == 0;
    free(done);
    return rc;
}

static int queue(struct store *store, void *arg, struct error *err)
{
    const struct day *d = arg;
    bool done = false;
    int rc = is_done(store, d, &done, err);
    if (rc || done) /* by another daemon, meanwhile */
        return rc;
    const struct outbox_new mail = {.event = "due",
                                    .message_id = d->message_id,
                                    .payload = d->payload,
                                    .created_ms = d->now_ms};
    rc = d->payload ? outbox_add(store, &mail, err) : 0;
    return rc ? rc : store_setting_set(store, DONE, d->day, err);
}

/* What people wrote stays in the house: `oddloaf follow CASE` shows it. */
static void drop_texts(json_t *call_backs)
{
    size_t i;
    json_t *item;
    json_array_foreach(call_backs, i, item)
    {
        json_object_del(item, "why");
    }
}

static int read_lists(const struct setup *setup, struct store *store, int32_t today,
                      struct event_due_lists *lists, struct error *err)
{
    const struct call_back_query due = {0, today, LISTED_MOST};
    const struct call_backs_view without_contact = {today, false};
    const struct follow_late late = {today, LISTED_MOST, NULL};
    int rc = following_overdue_json(store, &late, &lists->overdue, &lists->overdue_count, err);
    if (!rc)
        rc = call_backs_json(&setup->desk, store, &due, &without_contact, &lists->call_backs, err);
    drop_texts(lists->call_backs);
    if (!rc)
        rc = call_back_count(store, today, NULL, &lists->call_back_count, err);
    if (!rc)
        rc = call_backs_lost_json(store, LISTED_MOST, &lists->unreachable, err);
    return rc ? rc
              : call_back_unreachable_count(store, WHEN_UNKNOWN_MS, &lists->unreachable_count, err);
}

/* Harm of today was mailed as it came: by itself it makes no list. */
static int is_due(const struct setup *setup, struct store *store, int32_t today,
                  const struct event_due_lists *lists, bool *ret, struct error *err)
{
    int64_t old = 0;
    int rc = call_back_unreachable_count(store, tz_day_start_ms(setup->tz, today), &old, err);
    *ret = lists->overdue_count || lists->call_back_count || old;
    return rc;
}

static int make(const struct setup *setup, struct store *store, int32_t today, struct day *d,
                struct error *err)
{
    struct event_due_lists lists = {0};
    bool began = store_look(store);
    bool due = false;
    int rc = read_lists(setup, store, today, &lists, err);
    if (!rc)
        rc = is_due(setup, store, today, &lists, &due, err);
    store_unlook(store, began);
    if (rc || !due) {
        json_decref(lists.overdue);
        json_decref(lists.call_backs);
        json_decref(lists.unreachable);
        return rc;
    }
    json_t *event = event_due(config_text(setup->config, "plant"), d->day, &lists);
    event_due_id(setup->desk.mail_domain, d->day, d->message_id, sizeof d->message_id);
    d->payload = jsonx_dump(event);
    json_decref(event);
    return 0;
}

int due_mail_if_due(struct app *app, const struct setup *setup, struct store *store,
                    struct error *err)
{
    struct day d = {.now_ms = app_now_ms(app)};
    int32_t today = tz_day(setup->tz, d.now_ms);
    bool done = false;
    if (tz_civil(setup->tz, d.now_ms).hour < config_number(setup->config, "mail/due_hour"))
        return 0;
    day_format(today, d.day);
    int rc = is_done(store, &d, &done, err);
    if (rc || done)
        return rc;
    rc = make(setup, store, today, &d, err);
    if (!rc)
        rc = writer_run(app->writer, queue, &d, err);
    free(d.payload);
    return rc;
}
