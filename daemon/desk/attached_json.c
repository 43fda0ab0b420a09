#include "desk/attached_json.h"
#include "base/short_id.h"

json_t *attached_json(const struct tz *tz, const struct attached_row *row)
{
    char at[40];
    return json_pack("{s:I, s:o, s:o, s:s, s:s, s:I, s:I, s:s, s:s, s:s}", "attachment",
                     (json_int_t)row->id, "case", CASE_ID_JSON(row->case_id), "complaint",
                     *row->complaint ? json_string(row->complaint) : json_null(), "name", row->name,
                     "type", row->type, "bytes", (json_int_t)row->bytes, "removed",
                     (json_int_t)row->removed, "sha256", row->sha256, "by", row->by_name, "at",
                     when_format(tz, row->at_ms, at));
}

struct listing {
    const struct tz *tz;
    json_t *list;
};

static int add_row(void *arg, const struct attached_row *row)
{
    const struct listing *l = arg;
    return json_array_append_new(l->list, attached_json(l->tz, row));
}

int attached_json_add(struct store *store, const struct tz *tz, int64_t case_id,
                      int64_t complaint_id, json_t *into, struct error *err)
{
    struct listing l = {tz, json_array()};
    int rc = attached_of(store, case_id, complaint_id, add_row, &l, err);
    json_object_set_new(into, "attachments", l.list);
    return rc;
}
