/* An event as mail: plain text and HTML of the same content, RFC 5322. The message is a pure
 * function of the event, the addresses and the time it was queued, and of the page that goes with
 * it. */
#ifndef ODDLOAF_NOTIFY_MESSAGE_H
#define ODDLOAF_NOTIFY_MESSAGE_H

#include "base/error.h"
#include "base/when.h"
#include <jansson.h>

struct message_envelope {
    const char *from;
    const json_t *to; /* list of addresses */
    const char *message_id;
    int64_t queued_ms;
    const struct tz *tz;
    const char *sheet; /* the case's page, attached; NULL: none */
};

/* *ret is malloc'd text with LF line ends. Refuses an address or a header value that could inject
 * another header. */
int message_compose(const json_t *event, const struct message_envelope *envelope, char **ret,
                    struct error *err);
/* The subject: plant, case and enumerated words only; nothing a caller said. */
void message_subject(const json_t *event, char *out, size_t size);

#endif
