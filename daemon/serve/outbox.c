/* Mails on their way: what waits, what is parked and why; sending it again. */
#include "store/outbox.h"
#include "base/short_id.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/route.h"
#include <string.h>

enum { UNSENT_MOST = 500, SENT_MOST = 20 };

struct listing {
    struct store *store;
    struct tz *tz;
    const char *nobody; /* why a mail without deliveries has none */
    json_t *mails;
    struct error *err;
};

static void set_time(json_t *object, const char *name, const struct tz *tz, int64_t ms)
{
    char text[40];
    json_object_set_new(
        object, name, ms == WHEN_UNKNOWN_MS ? json_null() : json_string(when_format(tz, ms, text)));
}

struct recipients {
    const struct tz *tz;
    json_t *list, *to;
    int attempts;
    char last_error[OUTBOX_ERROR];
};

static int add_recipient(void *arg, const struct outbox_recipient *r)
{
    struct recipients *all = arg;
    json_t *one =
        json_pack("{s:s, s:s, s:i, s:s?}", "to", r->recipient, "state", r->state, "attempts",
                  r->attempts, "last_error", r->last_error[0] ? r->last_error : NULL);
    bool waits = strcmp(r->state, "waiting") == 0;
    set_time(one, "next_at", all->tz, waits ? r->due_ms : WHEN_UNKNOWN_MS);
    set_time(one, "sent_at", all->tz, r->sent_ms);
    json_array_append_new(all->list, one);
    if (strcmp(r->recipient, OUTBOX_HOOK) != 0)
        json_array_append_new(all->to, json_string(r->recipient));
    if (r->attempts > all->attempts)
        all->attempts = r->attempts;
    if (r->last_error[0])
        text_clip(r->last_error, all->last_error, sizeof all->last_error);
    return 0;
}

static int add_mail(void *arg, const struct outbox_mail *mail)
{
    struct listing *l = arg;
    struct recipients r = {.tz = l->tz, .list = json_array(), .to = json_array()};
    int rc = outbox_recipients(l->store, mail->id, add_recipient, &r, l->err);
    if (json_array_size(r.to) == 0 && strcmp(mail->state, "sent") != 0)
        text_clip(l->nobody, r.last_error, sizeof r.last_error);
    if (mail->held[0])
        text_clip(mail->held, r.last_error, sizeof r.last_error);
    json_t *one = json_pack("{s:I, s:s, s:o, s:o, s:s, s:i, s:s?, s:o}", "id", (json_int_t)mail->id,
                            "event", mail->event, "case", CASE_ID_JSON(mail->case_id), "to", r.to,
                            "state", mail->state, "attempts", r.attempts, "last_error",
                            r.last_error[0] ? r.last_error : NULL, "recipients", r.list);
    set_time(one, "queued_at", l->tz, mail->created_ms);
    set_time(one, "sent_at", l->tz, mail->sent_ms);
    json_array_append_new(l->mails, one);
    return rc;
}

static json_t *listing_json(const struct setup *setup, const struct outbox_counts *counts,
                            json_t *mails)
{
    const struct mail_settings mail = setup_mail(setup);
    return json_pack("{s:I, s:I, s:I, s:s?, s:o}", "waiting", (json_int_t)counts->waiting, "parked",
                     (json_int_t)counts->parked, "sent", (json_int_t)counts->sent, "gap",
                     mail_settings_gap(&mail), "mails", mails);
}

void outbox_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct outbox_counts counts = {0};
    struct setup *setup = app_setup(rq->app);
    struct listing l = {.store = store,
                        .tz = setup->tz,
                        .nobody = "nobody is set up to get it",
                        .mails = json_array(),
                        .err = &err};
    int rc = outbox_count(store, &counts, &err);
    if (!rc)
        rc = outbox_list(store, false, UNSENT_MOST, add_mail, &l, &err);
    if (!rc)
        rc = outbox_list(store, true, SENT_MOST, add_mail, &l, &err);
    if (rc) {
        json_decref(l.mails);
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200, listing_json(setup, &counts, l.mails));
    }
    setup_unref(setup);
}

/* ---- sending again ---- */

struct sending {
    int64_t mail_id, now_ms; /* mail_id 0: all */
    int due;
};

static int send_again(struct store *store, void *arg, struct error *err)
{
    struct sending *s = arg;
    return outbox_due_again(store, s->mail_id, s->now_ms, &s->due, err);
}

static int read_which(const struct request *rq, int64_t *ret, struct error *err)
{
    const char *which = rq->part[0];
    if (strcmp(which, "all") == 0)
        *ret = 0;
    else if (text_to_int64(which, ret) || *ret < 1) {
        error_set(err, ERROR_INVALID, "must be a mail's number or all");
        error_field(err, "mail", which);
        return ERROR_INVALID;
    }
    return 0;
}

void outbox_send(struct request *rq, struct store *store)
{
    (void)store;
    struct error err = {0};
    struct sending s = {.now_ms = app_now_ms(rq->app)};
    int rc = read_which(rq, &s.mail_id, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, send_again, &s, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
        return;
    }
    app_wake(rq->app);
    request_reply_json(rq, 200, json_pack("{s:i}", "due", s.due));
}
