/* What the desk's work stands on: the rules in force and what the plant has set. Made whole by
 * serve/, read by any thread, everything borrowed. */
#ifndef ODDLOAF_DESK_DESK_H
#define ODDLOAF_DESK_DESK_H

#include "base/when.h"
#include "lots/match.h"
#include <jansson.h>

struct lexicon;
struct lot_settle;
struct severity_rules;
struct triage;

struct desk {
    const struct tz *tz;
    const struct lot_matcher *matcher;
    const struct lexicon *lexicon;
    struct triage *triage;
    const json_t *harm;                    /* what is said when harm is reported: intake/harm.h */
    const struct severity_rules *severity; /* rules/severity.h */
    const char *plant, *mail_domain;
    const json_t *plants; /* a company's, by their names; NULL or empty: none is named */
    /* NULL: a mail about a report of harm would leave now; else why not, and to phone. Asked each
     * time: a mail program may go missing. */
    const char *(*no_alarm)(const void *arg);
    const void *no_alarm_arg;
    double settle_at; /* a likeliest lot of at least this weight is taken as the lot */
    const struct lot_settle *settle_of; /* of plants that have another level: lots/match.h */
    int64_t similar_ms; /* how far apart two reports of one person can be of one thing */
    int64_t contact_ms; /* for which contact data are kept */
};

#endif
