/* What the plant has set up for its mail and its hook: who gets which event, and what is wrong with
 * it. Faults are looked for on the machine as it is now (a mail program may go missing later). */
#ifndef ODDLOAF_NOTIFY_MAIL_SETTINGS_H
#define ODDLOAF_NOTIFY_MAIL_SETTINGS_H

#include "base/error.h"
#include <jansson.h>
#include <stdbool.h>

/* Texts and lists are borrowed, but those of a copy. */
struct mail_settings {
    const char *program;      /* sendmail-compatible; "" sends no mail */
    const char *hook_program; /* gets each event's JSON on standard input; "" none */
    const char *from, *plant;
    const json_t *to, *urgent_to, *digest_to; /* addresses; where none is sound, as `to` */
    const json_t *records_to;                 /* of what the inbox took; where none is, nobody */
    const json_t *due_to;                     /* what is due today; where none is sound, as `to` */
    const json_t *plants; /* name → the same of that plant, "mail/to" …; NULL: none is named */
    const char *tz_name;  /* IANA zone for dates; the mailer opens its own */
    int sheet_kb;         /* the largest that is attached; 0 none */
    int timeout_s, retry_s, park_h;
};

struct mail_settings mail_settings_copy(const struct mail_settings *settings);
void mail_settings_free(struct mail_settings *copy);

/* Who gets this event: sound addresses, each once; empty if no mail goes out. New reference. */
json_t *mail_settings_to(const struct mail_settings *settings, const char *event);
/* The same of a case of that plant: where none of its own is sound, as of the company. */
json_t *mail_settings_to_plant(const struct mail_settings *settings, const char *event,
                               const char *plant);
/* What people call that plant; the company's name where it is none of those that are named. */
const char *mail_settings_title(const struct mail_settings *settings, const char *plant);
/* For the desk: NULL, or why a mail about a report of harm would reach nobody or not all it should,
 * and to phone. */
const char *mail_settings_no_alarm(const struct mail_settings *settings);
/* For those who run the daemon: NULL, or that no mail is set up and which settings say so. */
const char *mail_settings_gap(const struct mail_settings *settings);
/* Calls `each` with every fault (field: the setting's key; value): malformed addresses, programs
 * that are missing or cannot be run. Returns how many. */
int mail_settings_check(const struct mail_settings *settings,
                        void (*each)(void *arg, const struct error *fault), void *arg);

#endif
