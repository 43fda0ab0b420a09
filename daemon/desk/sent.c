#include "desk/sent.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/receipt.h"
#include <string.h>

json_t *sent_of(const json_t *first_body, const json_t *taken)
{
    size_t i;
    const json_t *item;
    json_t *sent = json_deep_copy(first_body);
    json_object_del(sent, "harm_possible");
    json_t *stamp = json_object_get(sent, RECEIPT_SAID);
    if (stamp)
        json_object_set(sent, "received_at", stamp);
    json_object_del(sent, RECEIPT_SAID);
    json_array_foreach(taken, i, item)
    {
        const char *field = json_string_value(json_object_get(item, "field"));
        char name[96];
        text_clip(field ? field : "", name, sizeof name);
        char *dot = strchr(name, '.');
        if (dot)
            *dot = '/';
        const struct field *f = fields_find(name);
        if (f)
            fields_unset(sent, f);
    }
    return sent;
}

int sent_read(void *arg, const struct entry_row *row)
{
    json_t *first = NULL, *taken = NULL;
    int rc = jsonx_parse(row->first, strlen(row->first), &first, NULL);
    if (!rc)
        rc = jsonx_parse(row->taken, strlen(row->taken), &taken, NULL);
    if (!rc)
        *(json_t **)arg = sent_of(first, taken);
    json_decref(first);
    json_decref(taken);
    return rc;
}
