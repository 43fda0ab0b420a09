/* A statement as SQLite has it, and as PostgreSQL gets it. */
#include "check.h"
#include "store/dialect.h"
#include <stdlib.h>

static const struct {
    const char *sql, *is;
} ROWS[] = {
    {"SELECT id FROM lot WHERE line = ?1 AND (?12 IS NULL OR units > ?12)",
     "SELECT id FROM lot WHERE line = $1 AND ($12 IS NULL OR units > $12)"},
    {"SELECT '?1 CAST(' || ?1, \"a ?2\"", "SELECT '?1 CAST(' || $1, \"a ?2\""},
    {"SELECT 'it''s ?1'", "SELECT 'it''s ?1'"},
    {"SELECT CAST(substr(k.was, 2) AS INTEGER) FROM k",
     "SELECT integer_of(substr(k.was, 2)) FROM k"},
    {"FROM lot l CROSS JOIN mix m ON m.lot_id = l.id", "FROM lot l JOIN mix m ON m.lot_id = l.id"},
    {"FROM a CROSS JOIN b ON b.x = a.x CROSS JOIN c WHERE",
     "FROM a JOIN b ON b.x = a.x CROSS JOIN c WHERE"},
    {"FROM lot l CROSS JOIN complaint_case c WHERE c.lot_id = l.id",
     "FROM lot l CROSS JOIN complaint_case c WHERE c.lot_id = l.id"},
    {"WHERE entry_words MATCH (coalesce(?7, ''))",
     "WHERE entry_words.words @@ words_of(coalesce($7, ''))"},
    {"SELECT count(*) FROM (SELECT a FROM (SELECT 1 AS a) GROUP BY a)",
     "SELECT count(*) FROM (SELECT a FROM (SELECT 1 AS a) derived GROUP BY a) derived"},
    {"SELECT a FROM (SELECT 1 AS a) x JOIN (SELECT 2) AS y ON true",
     "SELECT a FROM (SELECT 1 AS a) x JOIN (SELECT 2) AS y ON true"},
    {"CREATE TABLE t(a INTEGER NOT NULL REFERENCES u ON DELETE CASCADE, b TEXT, c REAL, d BLOB)"
     " STRICT, WITHOUT ROWID;SELECT INTEGER",
     "CREATE TABLE t(a bigint NOT NULL REFERENCES u ON DELETE CASCADE, b text COLLATE \"C\","
     " c double precision, d bytea);SELECT INTEGER"},
    {"CREATE TABLE \"t\"(id INTEGER PRIMARY KEY, x TEXT) STRICT; DROP TABLE u",
     "CREATE TABLE \"t\"(id bigint PRIMARY KEY, x text COLLATE \"C\");ALTER TABLE \"t\" ALTER "
     "COLUMN"
     " id SET DEFAULT next_number('t', 'id'); DROP TABLE u"},
    {"DROP VIEW a; DROP VIEW b; DROP TABLE c",
     "DROP VIEW IF EXISTS a CASCADE; DROP VIEW IF EXISTS b CASCADE; DROP TABLE c"},
    {"ALTER TABLE t ADD COLUMN n INTEGER", "ALTER TABLE t ADD COLUMN n bigint"},
};

static void each_is_as_it_says(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char *text = dialect_text(ROWS[i].sql, true);
        assert_string_equal(text, ROWS[i].is);
        free(text);
    }
}

static void what_a_table_names_may_come_later(void **state)
{
    (void)state;
    char *text = dialect_text("CREATE TABLE t(a INTEGER REFERENCES u, b INTEGER REFERENCES \"v\" ON"
                              " DELETE CASCADE, c TEXT)",
                              false);
    assert_string_equal(text, "CREATE TABLE t(a bigint , b bigint , c text COLLATE \"C\")");
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_is_as_it_says),
                                       cmocka_unit_test(what_a_table_names_may_come_later)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
