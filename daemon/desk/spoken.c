#include "desk/spoken.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/lab_row.h"
#include "intake/lexicon.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/measured.h"
#include <string.h>

enum { SPOKEN_MOST = 20, SPOKEN_TEXT = 300 };

struct speaking {
    const struct desk *desk;
    const struct case_row *of; /* NULL: of a lot */
    const char *lot;           /* its code then, and only what says harm */
    json_t *list;
    int64_t at_ms[SPOKEN_MOST]; /* of each of the list */
};

struct written {
    int64_t at_ms;
    const char *by, *text;
    const struct measured_row *result; /* a laboratory's: its words are of no language; NULL */
};

/* Before those that are older; the oldest makes room. */
static void put(struct speaking *s, int64_t at_ms, json_t *item)
{
    size_t i = 0, count = json_array_size(s->list);
    while (i < count && s->at_ms[i] > at_ms)
        i++;
    if (i == SPOKEN_MOST) {
        json_decref(item);
        return;
    }
    json_array_insert_new(s->list, i, item);
    if (count == SPOKEN_MOST)
        json_array_remove(s->list, count--);
    memmove(s->at_ms + i + 1, s->at_ms + i, (count - i) * sizeof *s->at_ms);
    s->at_ms[i] = at_ms;
}

static void add(struct speaking *s, const struct written *w)
{
    char when[40], text[SPOKEN_TEXT];
    const struct lexicon *lexicon = s->desk->lexicon;
    json_t *harm = !*w->text   ? NULL
                   : w->result ? lexicon_harm(lexicon, w->text, NULL)
                               : lexicon_harm_written(lexicon, w->text);
    if (!harm || (!s->of && !json_array_size(harm))) {
        json_decref(harm);
        return;
    }
    json_t *item = json_pack(
        "{s:s, s:s, s:s, s:o}", "spoken", text_clip(w->text, text, sizeof text), "at",
        when_format(s->desk->tz, w->at_ms, when), "by", *w->by ? w->by : "oddloaf", "harm", harm);
    json_object_set_new(item, s->of ? "case" : "lot",
                        s->of ? CASE_ID_JSON(s->of->id) : json_string(s->lot));
    if (s->of)
        json_object_set_new(item, "symptom", json_string(s->of->symptom));
    if (w->result) {
        json_object_set_new(item, "lab", json_string(w->result->lab));
        json_object_set_new(item, "sample", json_string(w->result->sample));
    }
    put(s, w->at_ms, item);
}

static int take_entry(void *arg, const struct follow_entry *entry)
{
    add(arg, &(struct written){entry->at_ms, entry->by_name, entry->text, NULL});
    return 0;
}

/* "salmonella positive. told by phone" */
static int take_result(void *arg, const struct measured_row *row)
{
    struct text_buffer text = {0};
    text_append(&text, "");
    lab_row_result(row->quantity, row->said, &text);
    if (*row->note)
        text_appendf(&text, "%s%s", text.length ? ". " : "", row->note);
    add(arg, &(struct written){row->logged_ms, row->by_name, text.data, row});
    text_buffer_free(&text);
    return 0;
}

int spoken_of_case(const struct desk *desk, struct store *store, int64_t case_id, json_t **ret,
                   struct error *err)
{
    struct case_row row;
    struct speaking s = {.desk = desk, .of = &row, .list = json_array()};
    int rc = case_get(store, case_id, &row, err);
    if (!rc)
        rc = follow_entries(store, row.id, take_entry, &s, err);
    if (!rc && row.lot_id > 0)
        rc = measured_of_lot(store, row.lot_id, take_result, &s, err);
    if (rc)
        json_decref(s.list);
    else
        *ret = s.list;
    return rc;
}

int spoken_of_lot(const struct desk *desk, struct store *store, const struct hold_of *lot,
                  json_t **ret, struct error *err)
{
    struct speaking s = {.desk = desk, .lot = lot->code, .list = json_array()};
    int rc = lot->lot_id > 0 ? measured_of_lot(store, lot->lot_id, take_result, &s, err) : 0;
    if (rc)
        json_decref(s.list);
    else
        *ret = s.list;
    return rc;
}
