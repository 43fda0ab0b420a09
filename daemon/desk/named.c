#include "desk/named.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/when.h"
#include "store/case.h"
#include "store/entry_find.h"
#include "store/joined.h"

enum { SEVERAL = 4 }; /* that an error's text has room for */

static int take_receipt(void *arg, const struct complaint_row *row)
{
    *(int64_t *)arg = row->received_ms;
    return 0;
}

static int take_joined_receipt(void *arg, const struct joined_row *row)
{
    *(int64_t *)arg = row->received_ms;
    return 0;
}

static void list_one(struct store *store, const char *uuid, struct text_buffer *out)
{
    char day[16];
    int64_t ms = 0;
    if (complaint_by_uuid(store, uuid, take_receipt, &ms, NULL))
        joined_by_uuid(store, uuid, take_joined_receipt, &ms, NULL);
    text_appendf(out, "%s%s (%s)", out->length ? ", " : "", uuid,
                 day_format((int32_t)(ms / WHEN_DAY_MS), day));
}

static int several(struct store *store, const char *word, char (*uuids)[UUID_TEXT], int count,
                   struct error *err)
{
    struct text_buffer list = {0};
    for (int i = 0; i < count && i < SEVERAL; i++)
        list_one(store, uuids[i], &list);
    error_set(err, ERROR_CONFLICT, "%.40s is the name of several complaints: %s%s", word, list.data,
              count > SEVERAL ? ", and more" : "");
    error_hint(err, "name one by the first letters that tell it from the others");
    text_buffer_free(&list);
    return ERROR_CONFLICT;
}

int named_complaint(struct store *store, const char *word, char uuid[static UUID_TEXT],
                    struct error *err)
{
    char uuids[SEVERAL + 1][UUID_TEXT];
    int count = 0;
    if (uuid_normalize(word, uuid))
        return 0;
    int rc = entry_find_named(store, word, uuids, SEVERAL + 1, &count, err);
    if (rc)
        return rc;
    if (count > 1)
        return several(store, word, uuids, count, err);
    if (count == 1) {
        text_clip(uuids[0], uuid, UUID_TEXT);
        return 0;
    }
    error_hint(err, "`oddloaf find` looks for complaints by ticket, caller, store, lot and words");
    return error_set(err, ERROR_NOT_FOUND, "%.60s is no complaint's id or ticket", word);
}

void named_short_json(struct store *store, const char *uuid, json_t *into)
{
    char beginning[UUID_TEXT];
    if (entry_find_beginning(store, uuid, beginning, NULL) == 0)
        json_object_set_new(into, "short", json_string(beginning));
}

/* ---- cases ---- */

static int case_of_complaint(struct store *store, const char *text, int64_t *ret, struct error *err)
{
    char uuid[UUID_TEXT];
    int rc = named_complaint(store, text, uuid, err);
    if (rc == ERROR_NOT_FOUND) {
        error_clear(err);
        error_hint(err, "`oddloaf cases` lists the cases");
        return error_set(err, ERROR_NOT_FOUND,
                         "%.60s is neither a case (C12) nor a complaint's id or ticket", text);
    }
    return rc ? rc : case_of_uuid(store, uuid, ret, err);
}

int named_case(struct store *store, const char *word, int64_t *ret, struct error *err)
{
    struct case_row row;
    int64_t id = 0;
    int rc =
        short_id_parse(SHORT_ID_CASE, word, &id) ? 0 : case_of_complaint(store, word, &id, err);
    if (!rc)
        rc = case_get(store, id, &row, err);
    if (!rc)
        *ret = row.id;
    return rc;
}
