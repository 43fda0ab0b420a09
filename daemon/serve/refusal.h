/* What is refused before anything reads it: by its head, by how it is framed, or because nobody has
 * time. Loop thread only. */
#ifndef ODDLOAF_SERVE_REFUSAL_H
#define ODDLOAF_SERVE_REFUSAL_H

#include "serve/pending.h"

/* The hint of whatever is refused unread, though it may be about a complaint. */
#define REFUSAL_UNHEARD                                                                            \
    "nothing of it was read: if it tells that somebody was hurt or ill, phone the food-safety "    \
    "lead"                                                                                         \
    " now"

struct refusal {
    int status; /* 0: it is not refused */
    const char *title;
    char detail[200];
    char more[64]; /* headers, each ended by CR LF */
    bool close;    /* the connection, behind the answer */
    bool unheard;  /* people write there, and nothing of it was read: it may tell of harm */
};

void refusal_set(struct refusal *refusal, int status, const char *title, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* Whatever else it is refused for; whether people write there stays said. */
void refusal_stopping(struct refusal *refusal);
/* What the head of a request tells: another host, no such path or method, a browser's form, nobody
 * to be known. Finds the route of one that is not refused. */
void refusal_at_head(struct refusal *refusal, struct pending *pending);
/* What the bytes tell. `route` is NULL while the head is not read whole, as one that announces too
 * long a body is not. */
void refusal_of_fault(struct refusal *refusal, const struct wire_fault *fault,
                      const struct route *route);
/* Nothing of a body was read that people may have written to this route; NULL: to none that there
 * is. */
void refusal_unheard(struct refusal *refusal, const struct route *route);
/* Answers with it. */
void refusal_send(const struct refusal *refusal, struct conn *conn);

#endif
