#include "notify/delivery.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "notify/message.h"
#include "notify/mime.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* Where the sender set up is no address: a report of harm leaves all the same. */
#define SENDER "oddloaf@localhost"

struct delivery {
    struct outbox_delivery row;
    bool begun;
    char *message;           /* what the program reads; borrowed by it */
    struct program *program; /* NULL once begun: could not be made, see failed */
    struct program_result failed;
    char no_zone[128]; /* why its times are in UTC, "" they are not */
};

static const char *sender_of(const struct mail_settings *s)
{
    return mime_is_address(s->from) ? s->from : SENDER;
}

/* Without one (no descriptor is free, the zone's file is gone) times are in UTC, and say so: what
 * the mail tells waits for no zone. */
static void open_zone(const struct mail_settings *s, struct delivery *d, struct tz **ret)
{
    struct error err = {0};
    if (tz_open(s->tz_name, ret, &err))
        error_format(&err, d->no_zone, sizeof d->no_zone);
}

static int compose(const struct mail_settings *s, struct delivery *d, const char *sheet,
                   struct error *err)
{
    json_t *event = NULL;
    struct tz *tz = NULL;
    int rc = jsonx_parse(d->row.payload, strlen(d->row.payload), &event, err);
    open_zone(s, d, &tz);
    if (!rc && d->row.plant[0])
        json_object_set_new(event, "plant", json_string(mail_settings_title(s, d->row.plant)));
    if (!rc) {
        json_t *to = mail_settings_to_plant(s, d->row.event, d->row.plant);
        const struct message_envelope envelope = {sender_of(s),      to, d->row.message_id,
                                                  d->row.created_ms, tz, sheet};
        rc = message_compose(event, &envelope, &d->message, err);
        json_decref(to);
    }
    tz_close(tz);
    json_decref(event);
    return rc;
}

static void start_program(struct delivery *d, char *const argv[], int timeout_s)
{
    d->program = program_start(argv, d->message, strlen(d->message), timeout_s);
}

/* sendmail -i -f sender -- recipient: no -t, so that the message's text cannot add any. */
static void start_mail(const struct mail_settings *s, struct delivery *d, const char *sheet)
{
    static char dots[] = "-i", sender[] = "-f", end[] = "--";
    struct error err = {0};
    if (compose(s, d, sheet, &err)) {
        error_format(&err, d->failed.why, sizeof d->failed.why);
        return;
    }
    char *const argv[] = {(char *)s->program, dots,        sender, (char *)sender_of(s), end,
                          d->row.recipient,   (char *)NULL};
    start_program(d, argv, s->timeout_s);
}

static void start_hook(const struct mail_settings *s, struct delivery *d)
{
    char *const argv[] = {(char *)s->hook_program, d->row.event, NULL};
    d->message = xstrdup(d->row.payload);
    start_program(d, argv, s->timeout_s);
}

struct delivery *delivery_new(struct outbox_delivery *row)
{
    struct delivery *d = xcalloc(1, sizeof *d);
    d->row = *row;
    row->payload = NULL;
    return d;
}

void delivery_begin(struct delivery *d, const struct mail_settings *settings, char *sheet)
{
    assert(!d->begun);
    d->begun = true;
    if (strcmp(d->row.recipient, OUTBOX_HOOK) == 0)
        start_hook(settings, d);
    else
        start_mail(settings, d, sheet);
    free(sheet);
}

bool delivery_has_begun(const struct delivery *d)
{
    return d->begun;
}

struct pollfd delivery_poll(const struct delivery *d)
{
    return d->program ? program_poll(d->program) : (struct pollfd){.fd = -1};
}

bool delivery_attend(struct delivery *d)
{
    return d->begun && (!d->program || program_attend(d->program));
}

const struct outbox_delivery *delivery_row(const struct delivery *d)
{
    return &d->row;
}

const struct program_result *delivery_result(const struct delivery *d)
{
    return d->program ? program_result(d->program) : &d->failed;
}

const char *delivery_no_zone(const struct delivery *d)
{
    return d->no_zone;
}

void delivery_free(struct delivery *d)
{
    if (!d)
        return;
    program_free(d->program);
    outbox_delivery_free(&d->row);
    free(d->message);
    free(d);
}
