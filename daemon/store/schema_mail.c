/* Step 16: of a mail about a case nothing asks by its id, which is made at random: only those ids
 * are kept in order that say what a mail is about, lest it leaves twice. */
#include "store/db.h"
#include "store/schema.h"
#include "store/store_inside.h"

/* clang-format off */
static const char SQLITE_WITHOUT[] =
    "CREATE TABLE outbox_next(id INTEGER PRIMARY KEY, event TEXT NOT NULL,"
    " case_id INTEGER REFERENCES complaint_case, revision INTEGER, message_id TEXT NOT NULL,"
    " created_ms INTEGER NOT NULL, state TEXT NOT NULL DEFAULT 'new' CHECK(state IN ('new', 'open',"
    " 'sent')), sent_ms INTEGER, held TEXT, not_before_ms INTEGER, taken_up INTEGER NOT NULL DEFAULT"
    " 0) STRICT;"
    "INSERT INTO outbox_next SELECT id, event, case_id, revision, message_id, created_ms, state,"
    " sent_ms, held, not_before_ms, taken_up FROM outbox;"
    "DROP TABLE outbox; ALTER TABLE outbox_next RENAME TO outbox;"
    "CREATE INDEX outbox_state ON outbox(state, event);"
    "CREATE INDEX outbox_case ON outbox(case_id);"
    "CREATE INDEX outbox_sent ON outbox(sent_ms) WHERE sent_ms IS NOT NULL;";
/* clang-format on */

const char SCHEMA_MAIL_ONCE[] =
    "CREATE UNIQUE INDEX outbox_once ON outbox(message_id) WHERE event <> 'case';";

int schema_mail_move(struct store *store, struct error *err)
{
    static const char SERVER_WITHOUT[] = "ALTER TABLE outbox DROP CONSTRAINT outbox_message_id_key";
    return db_exec(store, store->engine->is_server ? SERVER_WITHOUT : SQLITE_WITHOUT, err);
}
