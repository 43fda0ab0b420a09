/* Inside store/ only: what PostgreSQL has another word for than SQLite. Statements are written
 * once, so that both take them (numbered parameters, upserts that name their key, flags compared
 * with 0 or 1, derived tables with a name); what is left differs in the table of dialect.c alone:
 *
 *     ?1                        $1
 *     CAST(x AS INTEGER)        integer_of(x)             the only CAST there may be
 *     a CROSS JOIN b ON x       a JOIN b ON x             SQLite keeps the order of the tables
 *     entry_words MATCH (x)     entry_words.words @@ words_of(x)
 *     FROM (SELECT …)           FROM (SELECT …) derived, if it has no name
 *     of tables INTEGER, REAL, TEXT, BLOB    bigint, double precision, text COLLATE "C", bytea
 *     id INTEGER PRIMARY KEY    with next_number() by default: 1 more than the highest there
 *     STRICT, WITHOUT ROWID     nothing
 *     DROP VIEW v               and those made of it, which whoever converts makes again
 *
 * instr(), json_each(), integer_of(), words_of() and next_number() are functions that
 * DIALECT_FUNCTIONS makes.
 */
#ifndef ODDLOAF_STORE_DIALECT_H
#define ODDLOAF_STORE_DIALECT_H

#include <stdbool.h>

/* Commands, made before any table. */
extern const char DIALECT_FUNCTIONS[];
/* Commands in the place of what SQLite has for the words of reports (schema_entry.c), and what has
 * to be added to tables. */
extern const char DIALECT_WORDS[], DIALECT_ADDED[];
/* A table that a file has no need of: the rows of a file of records that was accepted and is not
 * applied yet, in parts, so that what one daemon has accepted another can apply. In a state's
 * folder they are a file beside the database (records/stage.h), which no other machine sees. */
#define DIALECT_SHARED_TABLE "load_part"
extern const char DIALECT_SHARED[]; /* makes it, where it is not there */
/* The table whose rows are in an order of their own, that of the column `rowid`. */
#define DIALECT_ORDERED "load_file"

/* The text for PostgreSQL, malloc'd. `references`: as a table's are kept; else they are left out,
 * for the tables that they name may not be there yet. */
char *dialect_text(const char *sql, bool references);

#endif
