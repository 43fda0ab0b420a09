#include "desk/spoken.h"
#include "base/short_id.h"
#include "base/text.h"
#include "desk/lab_row.h"
#include "intake/lexicon.h"
#include "store/case.h"
#include "store/follow.h"
#include "store/measured.h"
#include <stdio.h>
#include <string.h>

enum { SPOKEN_MOST = 20, SPOKEN_TEXT = 300 };

struct speaking {
    const struct desk *desk;
    const struct case_row *of; /* NULL: of a lot */
    const char *lot;           /* its code then */
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
    if (!harm)
        return;
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
static void append_result(const struct desk *desk, const struct measured_row *row,
                          struct text_buffer *out)
{
    text_append(out, "");
    lab_row_result(desk->harm, row->quantity, row->said, out);
    if (*row->note)
        text_appendf(out, "%s%s", out->length ? ". " : "", row->note);
}

static int take_result(void *arg, const struct measured_row *row)
{
    struct text_buffer text = {0};
    append_result(((const struct speaking *)arg)->desk, row, &text);
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

/* ---- of all lots ---- */

struct of_all {
    const struct desk *desk;
    const char *plant;
    json_t *list;
};

static json_t *harm_of(const struct desk *desk, const struct measured_row *row,
                       struct text_buffer *text)
{
    append_result(desk, row, text);
    return text->length ? lexicon_harm(desk->lexicon, text->data, NULL) : NULL;
}

static int list_one(void *arg, const struct measured_row *row, const struct measured_lot *lot)
{
    const struct of_all *a = arg;
    struct text_buffer text = {0};
    char when[40], said[SPOKEN_TEXT];
    if (a->plant && *a->plant && strcmp(a->plant, lot->plant) != 0)
        return 0;
    json_t *harm = harm_of(a->desk, row, &text);
    if (harm)
        json_array_append_new(a->list,
                              json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:b, s:O}", "lot", lot->lot,
                                        "spoken", text_clip(text.data, said, sizeof said), "at",
                                        when_format(a->desk->tz, row->logged_ms, when), "by",
                                        row->by_name, "lab", row->lab, "sample", row->sample,
                                        "held", (int)lot->held, "harm", harm));
    json_decref(harm);
    text_buffer_free(&text);
    return 0;
}

int spoken_in(const struct desk *desk, struct store *store, const struct spoken_in *of,
              json_t **ret, struct error *err)
{
    struct of_all a = {.desk = desk, .plant = of->plant, .list = json_array()};
    int rc = measured_in_words(store, of->entered, list_one, &a, err);
    if (rc)
        json_decref(a.list);
    else
        *ret = a.list;
    return rc;
}

/* Results are only added: each is read once by a connection, and by one set of words. */
struct reader {
    const struct desk *desk;
    struct measured_reading *reading;
};

static int read_one(void *arg, const struct measured_row *row)
{
    const struct reader *r = arg;
    struct measured_reading *reading = r->reading;
    struct text_buffer text = {0};
    json_t *harm = harm_of(r->desk, row, &text);
    bool full = harm && reading->count == MEASURED_PICKED;
    if (harm && !full)
        reading->id[reading->count++] = row->id;
    if (!full)
        reading->last_id = row->id;
    json_decref(harm);
    text_buffer_free(&text);
    return full ? ERROR_TOO_LARGE : 0;
}

/* What was taken back or decided about stays so. */
static int weigh_read(struct store *store, struct measured_reading *reading, json_t *lots,
                      struct error *err)
{
    int rc = 0, kept = 0;
    for (int i = 0; i < reading->count && !rc; i++) {
        struct measured_fate fate;
        char lot[24];
        rc = measured_fate(store, reading->id[i], &fate, err);
        if (rc || (fate.stands && !fate.decided))
            reading->id[kept++] = reading->id[i];
        snprintf(lot, sizeof lot, "%lld", (long long)fate.lot_id);
        if (fate.stands && fate.seen && !fate.held && !fate.decided)
            json_object_set_new(lots, lot, json_true());
    }
    if (!rc)
        reading->count = kept;
    return rc;
}

int spoken_undecided(const struct desk *desk, struct store *store, int64_t *ret, struct error *err)
{
    struct measured_reading *reading = measured_reading(store);
    const int64_t words = lexicon_number(desk->lexicon);
    if (reading->by != words)
        *reading = (struct measured_reading){.by = words};
    struct reader reader = {desk, reading};
    json_t *lots = json_object();
    int rc = measured_words_behind(store, reading->last_id, read_one, &reader, err);
    if (rc == ERROR_TOO_LARGE)
        rc = 0;
    if (!rc)
        rc = weigh_read(store, reading, lots, err);
    *ret = (int64_t)json_object_size(lots);
    json_decref(lots);
    return rc;
}
