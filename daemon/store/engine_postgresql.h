/* Inside store/ only: a PostgreSQL server. All is in one schema, "oddloaf", of the database that
 * the address names (server_schema.h). Rows of an answer are read whole, a statement is prepared by
 * the types of what is bound first. */
#ifndef ODDLOAF_STORE_ENGINE_POSTGRESQL_H
#define ODDLOAF_STORE_ENGINE_POSTGRESQL_H

#include "store/engine.h"

const struct engine *engine_postgresql(void);
/* An open store of a server is the only one there, and no other can be until it is closed. */
int engine_postgresql_alone(struct store *store, struct error *err);

#endif
