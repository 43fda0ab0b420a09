/* What a restored state holds back, and how what was kept long enough is found. */
#include "store/schema.h"

const char SCHEMA_CARE[] =
    /* held: why a mail that has not left does not leave by itself; NULL: it may */
    "ALTER TABLE outbox ADD COLUMN held TEXT;"
    "CREATE INDEX outbox_sent ON outbox(sent_ms) WHERE sent_ms IS NOT NULL;"
    /* texts apart: rows that shrink where they stand would leave their pages all but empty */
    "CREATE TABLE outbox_text(mail_id INTEGER PRIMARY KEY REFERENCES outbox ON DELETE CASCADE,"
    " payload TEXT NOT NULL) STRICT;"
    "INSERT INTO outbox_text SELECT id, payload FROM outbox WHERE payload <> '';"
    "ALTER TABLE outbox DROP COLUMN payload;"
    "CREATE INDEX ranking_mailed ON ranking(as_of_ms) WHERE why IS NOT NULL;"
    "CREATE INDEX replaced_row_at ON replaced_row(replaced_ms);";
