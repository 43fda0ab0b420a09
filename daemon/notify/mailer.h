/* The mailer: one thread that runs the plant's mail program for every delivery that is due, several
 * beside each other. Urgent mail has places of its own and waits for no other, nor for another
 * urgent one. At least once: a delivery leaves the outbox only after the program said it took the
 * message, and a crash between the two sends it again under the same Message-ID. */
#ifndef ODDLOAF_NOTIFY_MAILER_H
#define ODDLOAF_NOTIFY_MAILER_H

#include "base/error.h"
#include "base/log.h"
#include "base/when.h"
#include "notify/mail_settings.h"
#include "store/writer.h"

struct mailer;

/* Sends nothing before it was first told by mailer_configure() who gets what. */
int mailer_start(const char *state_dir, struct writer *writer, const struct log *log,
                 const struct clock *clock, struct mailer **ret, struct error *err);
/* Who makes the page that a case's mail carries, when it leaves: malloc'd HTML, NULL: there is
 * none. On the mailer's thread, with its store. */
typedef char *(*mailer_sheet)(void *arg, struct store *store, int64_t case_id);
/* Before it is configured first. */
void mailer_attach(struct mailer *mailer, mailer_sheet sheet, void *arg);
/* Gives programs that run a few seconds to end; what they did not take is sent after the next
 * start. NULL is fine. */
void mailer_stop(struct mailer *mailer);
/* Settings, at start and from a reload: they decide who gets what waits, and all of it is due,
 * parked or not, but for what a restore holds. Copied. Thread-safe. */
void mailer_configure(struct mailer *mailer, const struct mail_settings *settings);
/* Deliveries may be due. Thread-safe. */
void mailer_wake(struct mailer *mailer);

#endif
