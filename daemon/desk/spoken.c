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
    json_t *notes;              /* told already, of results that came together */
};

struct written {
    int64_t at_ms;
    const char *by, *text;
    const struct measured_row *result; /* a laboratory's: its words are of no language; NULL */
};

static bool says_harm(const json_t *item)
{
    return json_array_size(json_object_get(item, "harm")) > 0;
}

/* Of a full list the one that makes room: the oldest that only may be harm, else the oldest. */
static size_t least_of(const struct speaking *s)
{
    for (size_t i = SPOKEN_MOST; i > 0; i--)
        if (!says_harm(json_array_get(s->list, i - 1)))
            return i - 1;
    return SPOKEN_MOST - 1;
}

/* Before those that are older. */
static void put(struct speaking *s, int64_t at_ms, json_t *item)
{
    size_t i = 0, count = json_array_size(s->list);
    if (count == SPOKEN_MOST) {
        const size_t least = least_of(s);
        const bool was = says_harm(json_array_get(s->list, least)), is = says_harm(item);
        if ((was && !is) || (was == is && s->at_ms[least] > at_ms)) {
            json_decref(item);
            return;
        }
        json_array_remove(s->list, least);
        count--;
        memmove(s->at_ms + least, s->at_ms + least + 1, (count - least) * sizeof *s->at_ms);
    }
    while (i < count && s->at_ms[i] > at_ms)
        i++;
    json_array_insert_new(s->list, i, item);
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

/* Results that come together bear one note: it is told with the first of them. `told`: those that
 * were; NULL: of one by itself. */
static bool is_told(json_t *told, const struct measured_row *row)
{
    struct text_buffer key = {0};
    if (!told)
        return false;
    text_appendf(&key, "%lld\x1f%lld\x1f%s\x1f%s\x1f%s", (long long)row->lot_id,
                 (long long)row->logged_ms, row->lab, row->sample, row->note);
    bool is = json_object_get(told, key.data) != NULL;
    json_object_set_new(told, key.data, json_true());
    text_buffer_free(&key);
    return is;
}

/* "salmonella positive. told by phone" */
static void append_result(const struct desk *desk, const struct measured_row *row, json_t *told,
                          struct text_buffer *out)
{
    text_append(out, "");
    lab_row_result(desk->harm, row->quantity, row->said, out);
    if (*row->note && !is_told(told, row))
        text_appendf(out, "%s%s", out->length ? ". " : "", row->note);
}

static int take_result(void *arg, const struct measured_row *row)
{
    struct speaking *s = arg;
    struct text_buffer text = {0};
    append_result(s->desk, row, s->notes, &text);
    add(s, &(struct written){row->logged_ms, row->by_name, text.data, row});
    text_buffer_free(&text);
    return 0;
}

static int add_results(struct speaking *s, struct store *store, int64_t lot_id, struct error *err)
{
    s->notes = json_object();
    int rc = measured_of_lot(store, lot_id, take_result, s, err);
    json_decref(s->notes);
    return rc;
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
        rc = add_results(&s, store, row.lot_id, err);
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
    int rc = lot->lot_id > 0 ? add_results(&s, store, lot->lot_id, err) : 0;
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
    json_t *list, *notes;
};

static json_t *harm_of(const struct desk *desk, const struct measured_row *row, json_t *told,
                       struct text_buffer *text)
{
    append_result(desk, row, told, text);
    return text->length ? lexicon_harm(desk->lexicon, text->data, NULL) : NULL;
}

static int list_one(void *arg, const struct measured_row *row, const struct measured_lot *lot)
{
    const struct of_all *a = arg;
    struct text_buffer text = {0};
    char when[40], said[SPOKEN_TEXT];
    if (a->plant && *a->plant && strcmp(a->plant, lot->plant) != 0)
        return 0;
    json_t *harm = harm_of(a->desk, row, a->notes, &text);
    if (harm)
        json_array_append_new(
            a->list, json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:b, s:b, s:O}", "lot", lot->lot,
                               "spoken", text_clip(text.data, said, sizeof said), "at",
                               when_format(a->desk->tz, row->logged_ms, when), "by", row->by_name,
                               "lab", row->lab, "sample", row->sample, "held", (int)lot->held,
                               "decided", (int)lot->decided, "harm", harm));
    json_decref(harm);
    text_buffer_free(&text);
    return 0;
}

int spoken_in(const struct desk *desk, struct store *store, const struct spoken_in *of,
              json_t **ret, struct error *err)
{
    struct of_all a = {desk, of->plant, json_array(), json_object()};
    int rc = measured_in_words(store, of->entered, list_one, &a, err);
    json_decref(a.notes);
    if (rc)
        json_decref(a.list);
    else
        *ret = a.list;
    return rc;
}

/* ---- not decided about ---- */

/* Results are only added: each is read once by a connection, and by one set of words. Of a lot the
 * newest that says harm is kept: what has been decided since then was decided of all. */
struct reader {
    const struct desk *desk;
    struct measured_reading *reading;
    int rows;
    bool full;
};

static struct measured_pick *pick_of(struct measured_reading *reading, int64_t lot_id)
{
    for (int i = 0; i < reading->count; i++)
        if (reading->pick[i].lot_id == lot_id)
            return &reading->pick[i];
    return NULL;
}

static int read_one(void *arg, const struct measured_row *row)
{
    struct reader *r = arg;
    struct measured_reading *reading = r->reading;
    struct text_buffer text = {0};
    json_t *harm = harm_of(r->desk, row, NULL, &text);
    struct measured_pick *pick = harm ? pick_of(reading, row->lot_id) : NULL;
    r->full = harm && !pick && reading->count == MEASURED_PICKS;
    if (harm && !pick && !r->full) {
        pick = &reading->pick[reading->count++];
        pick->lot_id = row->lot_id;
    }
    if (pick)
        pick->id = row->id;
    if (!r->full)
        reading->last_id = row->id;
    r->rows++;
    json_decref(harm);
    text_buffer_free(&text);
    return r->full ? ERROR_TOO_LARGE : 0;
}

static int read_on(struct store *store, struct reader *r, struct error *err)
{
    int rc = 0;
    do {
        r->rows = 0;
        rc = measured_words_behind(store, r->reading->last_id, read_one, r, err);
    } while (!rc && r->rows == MEASURED_AT_ONCE);
    return r->full ? 0 : rc;
}

struct newest {
    const struct desk *desk;
    int64_t id;
};

static int keep_newest(void *arg, const struct measured_row *row)
{
    struct newest *n = arg;
    struct text_buffer text = {0};
    json_t *harm = harm_of(n->desk, row, NULL, &text);
    if (harm && row->id > n->id)
        n->id = row->id;
    json_decref(harm);
    text_buffer_free(&text);
    return 0;
}

/* Was its newest taken back, the one before it counts. */
static int weigh_pick(struct store *store, const struct desk *desk, struct measured_pick *pick,
                      struct measured_fate *ret, struct error *err)
{
    int rc = measured_fate(store, pick->id, ret, err);
    if (rc || ret->stands)
        return rc;
    struct newest newest = {desk, 0};
    rc = measured_of_lot(store, pick->lot_id, keep_newest, &newest, err);
    pick->id = newest.id;
    return rc || !newest.id ? rc : measured_fate(store, newest.id, ret, err);
}

static void count_lot(struct spoken_lots *lots, const char *code)
{
    const size_t length = strlen(lots->first), room = sizeof lots->first - length;
    if (lots->count++ < SPOKEN_NAMED)
        snprintf(lots->first + length, room, "%s%s", length ? ", " : "", code);
}

/* What was taken back or decided about stays so, and makes room. */
static int weigh_picks(struct store *store, const struct reader *r, struct spoken_lots *ret,
                       struct error *err)
{
    struct measured_reading *reading = r->reading;
    int rc = 0, kept = 0, i = 0;
    for (; i < reading->count && !rc; i++) {
        struct measured_fate fate;
        struct measured_pick pick = reading->pick[i];
        rc = weigh_pick(store, r->desk, &pick, &fate, err);
        if (!rc && (!fate.stands || fate.decided))
            continue;
        reading->pick[kept++] = pick;
        if (!rc && fate.seen && !fate.held)
            count_lot(ret, fate.lot);
    }
    /* of a failed look what was not reached stays, once */
    memmove(reading->pick + kept, reading->pick + i,
            (size_t)(reading->count - i) * sizeof *reading->pick);
    reading->count += kept - i;
    return rc;
}

int spoken_undecided(const struct desk *desk, struct store *store, struct spoken_lots *ret,
                     struct error *err)
{
    struct measured_reading *reading = measured_reading(store);
    const int64_t words = lexicon_number(desk->lexicon);
    if (reading->by != words)
        *reading = (struct measured_reading){.by = words};
    struct reader reader = {desk, reading, 0, false};
    *ret = (struct spoken_lots){0};
    int rc = read_on(store, &reader, err);
    if (!rc)
        rc = weigh_picks(store, &reader, ret, err);
    if (!rc && reader.full)
        count_lot(ret, "others");
    return rc;
}
