/* Inside store/ only: the schema as numbered migrations. */
#ifndef ODDLOAF_STORE_SCHEMA_H
#define ODDLOAF_STORE_SCHEMA_H

#include <stddef.h>

struct migration {
    int number; /* 1, 2, 3 …: PRAGMA user_version after it ran */
    const char *sql;
};
/* All migrations in order; *ret_count is their number. */
const struct migration *schema_migrations(size_t *ret_count);

#define SCHEMA_APPLICATION_ID 0x6f64646c /* "oddl" */

#endif
