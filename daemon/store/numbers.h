/* Numbers by which people name a row (C12, H3, action 7, mail 40): the next is above every one that
 * is there or, in a state that this one replaced, was. SQL. */
#ifndef ODDLOAF_STORE_NUMBERS_H
#define ODDLOAF_STORE_NUMBERS_H

/* The highest of a table's, in `schema` ("", "past."); what it keeps of states before it is `key`.
 */
#define NUMBERS_LAST(schema, table, key)                                                           \
    "(SELECT max(n) FROM (SELECT max(id) AS n FROM " schema table " UNION ALL SELECT"              \
    " CAST(value AS INTEGER) FROM " schema "setting WHERE key = '" key "' UNION ALL SELECT 0) t)"
#define NUMBERS_NEXT(table, key) "1 + " NUMBERS_LAST("", table, key)

/* Those of the state that is replaced are kept. */
#define NUMBERS_TAKE(table, key)                                                                   \
    "INSERT INTO setting(key, value) SELECT '" key "', " NUMBERS_LAST(                             \
        "past.", table, key) " WHERE true ON CONFLICT DO UPDATE SET value = excluded.value WHERE"  \
                             " CAST(excluded.value AS INTEGER) > CAST(setting.value AS INTEGER)"

#endif
