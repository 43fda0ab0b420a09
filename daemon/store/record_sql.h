/* Inside store/ only: the statements that write one row of a kind. Parameters are numbered as the
 * kind's columns, so that one binding serves all three; `old` gives the columns after the key. */
#ifndef ODDLOAF_STORE_RECORD_SQL_H
#define ODDLOAF_STORE_RECORD_SQL_H

#include "base/record_kind.h"

struct record_sql {
    const char *insert, *old, *update;
};
const struct record_sql *record_sql(enum record_kind kind);

#endif
