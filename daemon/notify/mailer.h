/* The mailer: one thread that takes due rows of the outbox, makes each row's message and runs the
 * plant's programs with it. At least once: a row leaves the outbox only after the program said it
 * took the message, and a crash between the two sends it again under the same Message-ID. */
#ifndef ODDLOAF_NOTIFY_MAILER_H
#define ODDLOAF_NOTIFY_MAILER_H

#include "base/error.h"
#include "base/log.h"
#include "base/when.h"
#include "store/writer.h"
#include <jansson.h>

/* Texts and lists are borrowed and copied. */
struct mail_settings {
    const char *program;      /* sendmail-compatible; "" sends no mail */
    const char *hook_program; /* gets each event's JSON on standard input; "" none */
    const char *from, *plant;
    const json_t *to, *urgent_to, *digest_to; /* lists of addresses; empty ones fall back to `to` */
    const char *tz_name;                      /* IANA zone for dates; the mailer opens its own */
    int timeout_s, retry_s, park_h;
};

struct mailer;

int mailer_start(const char *state_dir, struct writer *writer, const struct log *log,
                 const struct clock *clock, const struct mail_settings *settings,
                 struct mailer **ret, struct error *err);
/* Lets the message under way finish (bounded by its time limit). NULL is fine. */
void mailer_stop(struct mailer *mailer);
/* New settings from a reload. Thread-safe. */
void mailer_configure(struct mailer *mailer, const struct mail_settings *settings);
/* Rows may be due. Thread-safe. */
void mailer_wake(struct mailer *mailer);

#endif
