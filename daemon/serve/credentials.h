/* The files TCP stands on: certificate, key, the authority of client certificates, tokens. Looked
 * at before anything listens, since a key or token that others may read is nobody's proof any more.
 */
#ifndef ODDLOAF_SERVE_CREDENTIALS_H
#define ODDLOAF_SERVE_CREDENTIALS_H

#include "serve/config.h"

/* Reports every fault (field: the setting's key; of the token file's text: its own line and
 * column): missing, unreadable, open to anybody, no token or role. Returns how many. What a
 * certificate and its key say is for serve/tls.h to find out. */
int credentials_check(const struct config *config, doc_report report, void *arg);

#endif
