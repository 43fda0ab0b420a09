#include "store/load_part.h"
#include "store/db.h"
#include <assert.h>
#include <string.h>

int load_part_put(struct store *store, const char *load_id, int64_t part, const void *bytes,
                  size_t length, struct error *err)
{
    assert(store_writing(store) && length <= LOAD_PART_BYTES);
    static const char SQL_WAS[] = "DELETE FROM load_part WHERE load_id = ?1 AND part = ?2";
    static const char SQL[] = "INSERT INTO load_part(load_id, part, data) VALUES(?1, ?2, ?3)";
    int rc = db_run(store, SQL_WAS, DB(DB_TEXT(load_id), DB_INT(part)), err);
    if (rc)
        return rc;
    return db_run(store, SQL, DB(DB_TEXT(load_id), DB_INT(part), DB_BYTES(bytes, length)), err);
}

int load_part_get(struct store *store, const char *load_id, int64_t part,
                  unsigned char out[LOAD_PART_BYTES], size_t *ret_length, struct error *err)
{
    static const char SQL[] = "SELECT data FROM load_part WHERE load_id = ?1 AND part = ?2";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(load_id), DB_INT(part)), err);
    *ret_length = 0;
    if (db_next(&q)) {
        const void *bytes = db_bytes(&q, 0, ret_length);
        if (*ret_length > LOAD_PART_BYTES)
            return db_end(
                &q, error_set(err, ERROR_INTERNAL, "a part of load %s is too large", load_id));
        memcpy(out, bytes, *ret_length);
    }
    return db_end(&q, 0);
}

int load_part_drop(struct store *store, const char *load_id, struct error *err)
{
    static const char SQL[] = "DELETE FROM load_part WHERE load_id = ?1";
    return db_run(store, SQL, DB(DB_TEXT(load_id)), err);
}

int load_part_drop_strays(struct store *store, const char *before, struct error *err)
{
    static const char SQL[] = "DELETE FROM load_part WHERE load_id < ?1 AND NOT EXISTS (SELECT 1"
                              " FROM load_file f WHERE f.id = load_id)";
    return db_run(store, SQL, DB(DB_TEXT(before)), err);
}
