/* File descriptors: what connections may take of them, so that accept(), SQLite and uploads do not
 * fight over the last one. */
#ifndef ODDLOAF_SERVE_DESCRIPTORS_H
#define ODDLOAF_SERVE_DESCRIPTORS_H

#include "base/log.h"
#include <stddef.h>

/* Sees to it that the process may open `connections` sockets beside `others` descriptors, raising
 * the soft limit (never beyond the hard one, never above what is asked for: mail programs inherit
 * it). Returns how many connections fit, with a warning if that is fewer. */
size_t descriptors_allow(size_t connections, size_t others, const struct log *log);

#endif
