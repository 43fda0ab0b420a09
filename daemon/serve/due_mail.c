#include "serve/due_mail.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/call_backs.h"
#include "desk/event.h"
#include "desk/following.h"
#include "serve/plants.h"
#include "store/mailed_last.h"
#include "store/outbox.h"
#include <stdlib.h>
#include <string.h>

enum { LISTED_MOST = 40 }; /* of each; the others are counted */

struct day_mail {
    char message_id[128], *payload; /* payload NULL: nothing is due */
    int64_t case_id;                /* of a plant's: one of its */
};

struct day {
    char key[sizeof MAILED_LAST_DUE + LENGTH_CODE + 2], day[16];
    struct day_mail whole; /* the company's people have all of it */
    struct day_mail mail[CONFIG_PLANTS];
    int64_t now_ms;
};

static int is_done(struct store *store, const struct day *d, bool *ret, struct error *err)
{
    char *done = NULL;
    int rc = store_setting_get(store, d->key, &done, err);
    *ret = done && strcmp(done, d->day) == 0;
    free(done);
    return rc;
}

static int add_mail(struct store *store, const struct day *d, const struct day_mail *mail,
                    struct error *err)
{
    const struct outbox_new row = {.event = "due",
                                   .case_id = mail->case_id,
                                   .message_id = mail->message_id,
                                   .payload = mail->payload,
                                   .created_ms = d->now_ms};
    return mail->payload ? outbox_add(store, &row, err) : 0;
}

static int queue(struct store *store, void *arg, struct error *err)
{
    const struct day *d = arg;
    bool done = false;
    int rc = is_done(store, d, &done, err);
    if (rc || done) /* by another daemon, meanwhile */
        return rc;
    rc = add_mail(store, d, &d->whole, err);
    for (int plant = 0; plant < CONFIG_PLANTS && !rc; plant++)
        rc = add_mail(store, d, &d->mail[plant], err);
    return rc ? rc : store_setting_set(store, d->key, d->day, err);
}

struct of_day {
    const struct setup *setup;
    const struct tz *tz;
    int32_t today;
    const char *day;
};

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

/* Of the plants that are seen; `plant`: the one that is, NULL all. */
static int read_lists(const struct of_day *of, struct store *store, const char *plant,
                      struct event_due_lists *lists, struct error *err)
{
    const int32_t today = of->today;
    const struct call_back_query due = {0, today, LISTED_MOST};
    const struct call_backs_view without_contact = {today, false};
    const struct follow_late late = {today, LISTED_MOST, plant};
    int rc = following_overdue_json(store, &late, &lists->overdue, &lists->overdue_count, err);
    if (!rc)
        rc = call_backs_json(&of->setup->desk, store, &due, &without_contact, &lists->call_backs,
                             err);
    drop_texts(lists->call_backs);
    if (!rc)
        rc = call_back_count(store, today, plant, &lists->call_back_count, err);
    if (!rc)
        rc = call_backs_lost_json(store, LISTED_MOST, &lists->unreachable, err);
    return rc ? rc
              : call_back_unreachable_count(store, WHEN_UNKNOWN_MS, &lists->unreachable_count, err);
}

/* Harm of today was mailed as it came: by itself it makes no list. */
static int is_due(const struct of_day *of, struct store *store, const struct event_due_lists *lists,
                  bool *ret, struct error *err)
{
    int64_t old = 0;
    int rc = call_back_unreachable_count(store, tz_day_start_ms(of->tz, of->today), &old, err);
    *ret = lists->overdue_count || lists->call_back_count || old;
    return rc;
}

static int make(const struct of_day *of, struct store *store, int plant, struct day_mail *mail,
                struct error *err)
{
    const struct setup *setup = of->setup;
    const bool whole = plant == CONFIG_COMPANY;
    const char *name = whole ? NULL : config_plant_name(setup->config, plant);
    struct event_due_lists lists = {0};
    bool due = false;
    plants_tell(setup, store, plant);
    int rc = read_lists(of, store, name, &lists, err);
    if (!rc)
        rc = is_due(of, store, &lists, &due, err);
    mail->case_id = whole ? 0 : plants_case(setup, store, plant);
    plants_leave(store);
    if (rc || !due || (!whole && !mail->case_id)) {
        json_decref(lists.overdue);
        json_decref(lists.call_backs);
        json_decref(lists.unreachable);
        return rc;
    }
    json_t *event = event_due(config_text(setup->config, "plant"), of->day, &lists);
    event_due_id(setup->desk.mail_domain, of->day, name, mail->message_id, sizeof mail->message_id);
    mail->payload = jsonx_dump(event);
    json_decref(event);
    return 0;
}

/* The company's list and those of plants in its zone, or that of the one plant in another. */
static int make_all(const struct of_day *of, struct store *store, int group, struct day *d,
                    struct error *err)
{
    const struct setup *setup = of->setup;
    bool began = store_look(store);
    int rc = group == CONFIG_COMPANY ? make(of, store, CONFIG_COMPANY, &d->whole, err) : 0;
    for (int plant = 0; plant < config_plant_count(setup->config) && !rc; plant++)
        if (plants_have_list(setup, plant) && plants_group(setup, plant) == group)
            rc = make(of, store, plant, &d->mail[plant], err);
    if (!rc) /* what names a case may have failed within a list */
        rc = store_failed(store, err);
    store_unlook(store, began);
    return rc;
}

/* On the clock of the group. */
static int send_if_due(struct app *app, const struct setup *setup, struct store *store, int group,
                       struct error *err)
{
    struct day d = {.now_ms = app_now_ms(app)};
    const struct tz *tz = plants_tz(setup, group);
    const struct of_day of = {setup, tz, tz_day(tz, d.now_ms), d.day};
    bool done = false;
    if (tz_civil(tz, d.now_ms).hour < config_number(setup->config, "mail/due_hour"))
        return 0;
    plants_key(setup, MAILED_LAST_DUE, group, d.key, sizeof d.key);
    day_format(of.today, d.day);
    int rc = is_done(store, &d, &done, err);
    if (rc || done)
        return rc;
    rc = make_all(&of, store, group, &d, err);
    if (!rc)
        rc = writer_run(app->writer, queue, &d, err);
    free(d.whole.payload);
    for (int plant = 0; plant < CONFIG_PLANTS; plant++)
        free(d.mail[plant].payload);
    return rc;
}

int due_mail_if_due(struct app *app, const struct setup *setup, struct store *store,
                    struct error *err)
{
    int rc = send_if_due(app, setup, store, CONFIG_COMPANY, err);
    for (int plant = 0; plant < config_plant_count(setup->config) && !rc; plant++)
        if (plants_group(setup, plant) == plant && plants_have_list(setup, plant))
            rc = send_if_due(app, setup, store, plant, err);
    return rc;
}
