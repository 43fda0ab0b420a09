/* The mailer: one thread that runs the plant's mail program for every delivery that is due, several
 * beside each other. Urgent mail has places of its own and waits for no other, nor for another
 * urgent one, nor for the page that one carries, which a second thread makes (sheet_maker.h). At
 * least once: a delivery leaves the outbox only after the program said it took the
 * message, and a crash between the two sends it again under the same Message-ID. */
#ifndef ODDLOAF_NOTIFY_MAILER_H
#define ODDLOAF_NOTIFY_MAILER_H

#include "base/error.h"
#include "base/log.h"
#include "base/when.h"
#include "notify/mail_settings.h"
#include "notify/sheet_maker.h"
#include "store/writer.h"

struct mailer;

/* Sends nothing before it was first told by mailer_configure() who gets what. */
int mailer_start(const char *state_dir, struct writer *writer, const struct log *log,
                 const struct clock *clock, struct mailer **ret, struct error *err);
/* How the page is made that a case's mail carries, when it leaves (sheet_maker.h). Before it is
 * configured first. */
int mailer_attach(struct mailer *mailer, const char *state_dir, sheet_maker_make make, void *arg,
                  struct error *err);
/* Gives programs that run a few seconds to end; what they did not take is sent after the next
 * start. NULL is fine. */
void mailer_stop(struct mailer *mailer);
/* Settings, at start and from a reload: they decide who gets what waits, and all of it is due,
 * parked or not, but for what a restore holds. Copied. Thread-safe. */
void mailer_configure(struct mailer *mailer, const struct mail_settings *settings);
/* Deliveries may be due. Thread-safe. */
void mailer_wake(struct mailer *mailer);

#endif
