/* Inside store/ only: libpq, loaded when a state is kept on a server. What it brings along
 * (Kerberos, LDAP and what they encrypt with, twenty libraries) is half of what the loader would
 * have to do at the start of a daemon that keeps its state in a file. */
#ifndef ODDLOAF_STORE_LIBPQ_H
#define ODDLOAF_STORE_LIBPQ_H

#include "base/error.h"
#include <libpq-fe.h>

/* Those that are called, without their PQ. */
#define LIBPQ_FUNCTIONS(X)                                                                         \
    X(cancel)                                                                                      \
    X(clear)                                                                                       \
    X(cmdStatus)                                                                                   \
    X(cmdTuples)                                                                                   \
    X(connectdbParams)                                                                             \
    X(conninfoFree)                                                                                \
    X(conninfoParse)                                                                               \
    X(consumeInput)                                                                                \
    X(errorMessage)                                                                                \
    X(exec)                                                                                        \
    X(finish)                                                                                      \
    X(freeCancel)                                                                                  \
    X(freemem)                                                                                     \
    X(ftype)                                                                                       \
    X(getCancel)                                                                                   \
    X(getResult)                                                                                   \
    X(getisnull)                                                                                   \
    X(getlength)                                                                                   \
    X(getvalue)                                                                                    \
    X(isBusy)                                                                                      \
    X(makeEmptyPGresult)                                                                           \
    X(nfields)                                                                                     \
    X(ntuples)                                                                                     \
    X(prepare)                                                                                     \
    X(putCopyData)                                                                                 \
    X(putCopyEnd)                                                                                  \
    X(resultErrorField)                                                                            \
    X(resultStatus)                                                                                \
    X(sendQuery)                                                                                   \
    X(sendQueryPrepared)                                                                           \
    X(serverVersion)                                                                               \
    X(setNoticeReceiver)                                                                           \
    X(socket)                                                                                      \
    X(status)                                                                                      \
    X(unescapeBytea)

struct libpq {
#define LIBPQ_MEMBER(name) __typeof__(PQ##name) *name; // NOLINT(bugprone-macro-parentheses)
    LIBPQ_FUNCTIONS(LIBPQ_MEMBER)
#undef LIBPQ_MEMBER
};

/* Once loaded it stays, and is not loaded twice. ERROR_INVALID, saying what is missing, if it
 * cannot be. Thread-safe. */
int libpq_load(struct libpq *ret, struct error *err);

#endif
