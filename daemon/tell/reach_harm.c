/* Beside harm no cause of the bread is asked for: the case's own lot, and the lots that shared what
 * could carry it, said as such and without probabilities. Which ways count is common practice, no
 * source: what fell in or was on the line lies in the lots packed about it, what came in with a
 * material in all lots of that material, an allergen in what was carried over a changeover or put
 * into another's bag, a wrong label in the run and the packaging that carries labels, what was done
 * to packs after the plant in those of the same store. A material lot that most lots of the plant
 * had in those days tells none from another: it is told as one. So is a lot of film that three
 * products or more ran on: nothing is printed on it that is one bread's. That two did may be the
 * mistake itself, one in the other's bags. A case without causes and harm has its lot and what the
 * line packed within a day. */
#include "base/short_id.h"
#include "base/text.h"
#include "facts/case_input.h"
#include "rank/case_rank.h"
#include "store/lot_around.h"
#include "store/seen.h"
#include "tell/case_json.h"
#include "tell/reach_lot.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

enum { NAMED_MOST = 1000, SHARERS_MOST = 500, RUN_MOST = 30, MATERIALS_MOST = 100 };
enum {
    COMMON_LEAST = 10, /* so few are listed, however common */
    COMMON_DAYS = 2 /* of packing, before the first of them and after the last, are counted, too */
};
enum {
    PRODUCTS_PRINTED = 2, /* of one lot of film that bears a label, at most */
    PRODUCTS_MOST = 20    /* that are told */
};
/* How near the lots are that a way leads to, the nearest first. */
enum nearness { NEAR_CHANGEOVER, NEAR_LINE, NEAR_SHARED };
#define HOUR_MS (WHEN_DAY_MS / 24)

struct carried {
    int64_t lot_id, apart_ms;
    enum nearness nearness; /* of its nearest way */
    struct text_buffer because;
};

struct material {
    char kind[LENGTH_CODE + 1], level[LENGTH_CODE + 1];
    int64_t at_ms;
};

struct carrying {
    struct triage *triage;
    struct lot_records records;
    const struct case_input *input;
    const struct tell_asked *asked;
    bool harm, tampered; /* whether, and of which kind */
    bool label, allergen;
    bool labelled_alone; /* no other kind: nothing in the bread is wrong */
    int32_t today;
    const struct lot_record *own; /* NULL: open */
    const char *way;              /* how what is added now could have carried it */
    enum nearness nearness;       /* of that way */
    struct material materials[MATERIALS_MOST];
    int material_count;
    struct carried *lots;
    int count;
    int elsewhere; /* of plants that who asks does not see: counted, not named */
    bool more;
    json_t *common;         /* ways of which no lot is added: [{"shares","lots"}] */
    json_t *carry_no_label; /* materials that were not gone by: "flour lot F-9" */
};

/* ---- which lots ---- */

/* Whether it stands there as a whole: "flour lot F-9" is none of "same flour lot F-91". */
static bool stands_in(const char *because, const char *way)
{
    size_t length = strlen(way);
    for (const char *at = because; (at = strstr(at, way)); at++) {
        bool begins = at == because || strncmp(at - 2, "; ", 2) == 0;
        if (begins && (!at[length] || strncmp(at + length, "; ", 2) == 0))
            return true;
    }
    return false;
}

static void add(struct carrying *c, int64_t lot_id, int64_t packed_ms)
{
    struct carried *lot = NULL;
    if (lot_id == c->own->lot.lot_id)
        return;
    for (int i = 0; i < c->count && !lot; i++)
        lot = c->lots[i].lot_id == lot_id ? &c->lots[i] : NULL;
    if (!lot && c->count == NAMED_MOST) {
        c->more = true;
        return;
    }
    if (!lot) {
        lot = &c->lots[c->count++];
        *lot = (struct carried){
            lot_id, llabs(packed_ms - c->own->lot.packed_from_ms), c->nearness, {0}};
    }
    if (c->nearness < lot->nearness)
        lot->nearness = c->nearness;
    if (!lot->because.length || !stands_in(lot->because.data, c->way))
        text_appendf(&lot->because, "%s%s", lot->because.length ? "; " : "", c->way);
}

static int take_packed(void *arg, const struct evidence_packed *row)
{
    struct carrying *c = arg;
    if (strcmp(row->plant, c->own->lot.plant) == 0 && strcmp(row->line, c->own->lot.line) == 0)
        add(c, row->lot_id, row->packed_from_ms);
    return 0;
}

static int find_line(struct carrying *c, int64_t within_ms, const char *way, struct error *err)
{
    const struct when_span span = {c->own->lot.packed_from_ms - within_ms,
                                   c->own->lot.packed_to_ms + within_ms};
    c->way = way;
    c->nearness = NEAR_LINE;
    return evidence_packed(c->records.store, span, take_packed, c, err);
}

static int take_material(void *arg, const struct evidence_share *row)
{
    struct carrying *c = arg;
    if (c->material_count == MATERIALS_MOST)
        return 0;
    struct material *m = &c->materials[c->material_count++];
    text_clip(row->kind, m->kind, sizeof m->kind);
    text_clip(row->level, m->level, sizeof m->level);
    m->at_ms = row->at_ms;
    return 0;
}

struct sharers {
    int64_t first_ms, last_ms; /* when those of the plant were packed */
    int count, own, products;  /* own: of the plant; products: counted to PRODUCTS_MOST */
    int64_t product_id[PRODUCTS_MOST];
    struct evidence_sharer rows[SHARERS_MOST];
};

static void count_product(struct sharers *s, int64_t product_id)
{
    for (int i = 0; i < s->products; i++)
        if (s->product_id[i] == product_id)
            return;
    if (s->products < PRODUCTS_MOST)
        s->product_id[s->products++] = product_id;
}

static int take_sharer(void *arg, const struct evidence_sharer *row)
{
    struct sharers *s = arg;
    if (row->own && row->packed_from_ms < s->first_ms)
        s->first_ms = row->packed_from_ms;
    if (row->own && row->packed_from_ms > s->last_ms)
        s->last_ms = row->packed_from_ms;
    s->own += row->own;
    s->rows[s->count++] = *row;
    count_product(s, row->product_id);
    return 0;
}

struct plant_lots {
    const char *plant;
    int count;
};

static int count_packed(void *arg, const struct evidence_packed *row)
{
    struct plant_lots *lots = arg;
    lots->count += strcmp(lots->plant, row->plant) == 0;
    return 0;
}

/* Did more than half of the plant's lots of those days have it? Other plants' are not counted. */
static int ask_common(const struct carrying *c, const struct sharers *s, bool *ret,
                      struct error *err)
{
    const struct when_span days = {s->first_ms - COMMON_DAYS * WHEN_DAY_MS,
                                   s->last_ms + COMMON_DAYS * WHEN_DAY_MS + 1};
    struct plant_lots lots = {.plant = c->own->lot.plant};
    *ret = false;
    if (s->own < COMMON_LEAST)
        return 0;
    int rc = evidence_packed(c->records.store, days, count_packed, &lots, err);
    *ret = 2 * s->own > lots.count;
    return rc;
}

/* What a label is printed on. */
static bool is_labelled(const struct material *m)
{
    static const char *const KINDS[] = {"film", "bag", "label", "packaging", "sleeve"};
    for (size_t i = 0; i < sizeof KINDS / sizeof KINDS[0]; i++)
        if (strstr(m->kind, KINDS[i]))
            return true;
    return false;
}

static int add_sharers(struct carrying *c, const struct material *m, struct sharers *s,
                       struct error *err)
{
    const struct evidence_share of = {
        .kind = m->kind, .level = m->level, .at_ms = m->at_ms, .plant = c->own->lot.plant};
    bool common = false, printed = is_labelled(m) && (c->label || c->allergen);
    s->count = s->own = s->products = 0;
    s->first_ms = s->last_ms = c->own->lot.packed_from_ms;
    int rc = evidence_sharers(c->records.store, &of, SHARERS_MOST, take_sharer, s, err);
    bool plain = printed && s->products > PRODUCTS_PRINTED;
    if (!rc && !printed)
        rc = ask_common(c, s, &common, err);
    for (int i = 0; i < s->count && !common && !plain && !rc; i++)
        add(c, s->rows[i].lot_id, s->rows[i].packed_from_ms);
    json_t *told = json_pack("{s:s, s:i}", "shares", c->way, "lots", s->own);
    if (s->count > s->own)
        json_object_set_new(told, "elsewhere", json_integer(s->count - s->own));
    if (plain)
        json_object_set_new(told, "products", json_integer(s->products));
    if (common || plain)
        json_array_append(c->common, told);
    json_decref(told);
    return rc;
}

static int find_materials(struct carrying *c, struct error *err)
{
    char way[2 * LENGTH_CODE + 16];
    struct sharers *sharers = xcalloc(1, sizeof *sharers);
    int rc = evidence_made_of(c->records.store, c->own->lot.lot_id, take_material, c, err);
    for (int i = 0; i < c->material_count && !rc; i++) {
        const struct material *m = &c->materials[i];
        snprintf(way, sizeof way, "same %s%s %s", m->kind,
                 strcmp(m->kind, "mix") == 0 ? "" : " lot", m->level);
        c->way = way;
        c->nearness = NEAR_SHARED;
        if (c->labelled_alone && !is_labelled(m))
            json_array_append_new(c->carry_no_label, json_string(way + strlen("same ")));
        else
            rc = add_sharers(c, m, sharers, err);
    }
    free(sharers);
    return rc;
}

struct run {
    int64_t lot_id[2 * RUN_MOST], packed_ms[2 * RUN_MOST];
    bool other[2 * RUN_MOST]; /* another product than the case's lot */
    int count, before;        /* in order of packing; so many of them before it */
    const char *product;
};

static int take_beside(void *arg, const struct lot_around_row *row)
{
    struct run *run = arg;
    run->lot_id[run->count] = row->lot_id;
    run->packed_ms[run->count] = row->packed_from_ms;
    run->other[run->count++] = strcmp(row->product, run->product) != 0;
    run->before += row->before;
    return 0;
}

/* The run since the changeover before it, and the last lot before that; the one after the next
 * changeover, if it carried the allergen or the bags on. */
static int find_run(struct carrying *c, struct error *err)
{
    struct run run = {.product = c->own->lot.product};
    int rc =
        lot_around_line(c->records.store, c->own->lot.lot_id, RUN_MOST, take_beside, &run, err);
    if (rc)
        return rc;
    for (int step = -1; step <= 1; step += 2) {
        bool changed = false;
        for (int i = step < 0 ? run.before - 1 : run.before; i >= 0 && i < run.count && !changed;
             i += step) {
            changed = run.other[i];
            c->way = !changed   ? "same run on the line, no changeover between"
                     : step < 0 ? "on the line before the changeover"
                                : "on the line after the changeover";
            c->nearness = changed ? NEAR_CHANGEOVER : NEAR_LINE;
            add(c, run.lot_id[i], run.packed_ms[i]);
        }
    }
    return 0;
}

static bool went_to(const struct lot_record *record, const char *store)
{
    for (int i = 0; i < record->dispatch_count; i++)
        if (*store && strcmp(record->dispatches[i].store, store) == 0)
            return true;
    return false;
}

static bool is_named(const struct case_input *input, const char *store)
{
    for (int i = 0; i < input->count; i++)
        if (strcmp(input->complaints[i].store, store) == 0)
            return true;
    return false;
}

/* Where no caller says which of the lot's stores it was, all are looked at, and that is said. */
static int take_traded(void *arg, const struct evidence_share *row)
{
    struct carrying *c = arg;
    c->way = is_named(c->input, row->level)
                 ? "sent to the same store while it was in code"
                 : "sent to a store this lot went to while it was in code; nobody names that store";
    if (strcmp(row->kind, "store") == 0 && went_to(c->own, row->level))
        add(c, row->lot_id, c->own->lot.packed_from_ms);
    return 0;
}

/* Whoever did it was where the packs lay: those that lay there beside them. */
static int find_stores(struct carrying *c, struct error *err)
{
    const int64_t life_ms = (int64_t)c->own->lot.shelf_life_days * WHEN_DAY_MS;
    const struct when_span span = {c->own->lot.packed_from_ms - life_ms,
                                   c->own->lot.packed_from_ms + life_ms + 1};
    c->nearness = NEAR_SHARED;
    return evidence_traded(c->records.store, span, take_traded, c, err);
}

static int find(struct carrying *c, struct error *err)
{
    if (!c->harm)
        return find_line(c, WHEN_DAY_MS, "same line within a day", err);
    int rc = c->labelled_alone ? 0 : find_line(c, 6 * HOUR_MS, "same line within six hours", err);
    if (!rc && (c->allergen || c->label))
        rc = find_run(c, err);
    if (!rc)
        rc = find_materials(c, err);
    return rc || !c->tampered ? rc : find_stores(c, err);
}

/* ---- told ---- */

static int get(const struct carrying *c, int64_t lot_id, const struct lot_record **ret,
               struct error *err)
{
    return lot_record_get(c->triage->source.lots, &c->records, lot_id, ret, err);
}

static int add_lot(struct carrying *c, int64_t lot_id, const char *because, json_t *list,
                   struct error *err)
{
    const struct lot_record *record;
    int rc = get(c, lot_id, &record, err);
    if (rc)
        return rc;
    if (seen_plant(c->records.store, record->lot.plant))
        json_array_append_new(list, reach_lot_json(c->triage->tz, c->records.store, record,
                                                   c->today, json_string(because)));
    else
        c->elsewhere++;
    lot_record_unref(record);
    return 0;
}

static int add_candidate(struct carrying *c, const struct complaint_lot *lot, json_t *list,
                         struct error *err)
{
    char because[64], percent[8];
    snprintf(because, sizeof because, "may be the lot of the complaint, %s %%",
             text_chance(lot->weight, percent));
    return add_lot(c, lot->lot_id, because, list, err);
}

static bool is_kept(const struct case_input *input, int64_t lot_id)
{
    for (int i = 0; i < input->lot_count; i++)
        if (input->lots[i].lot_id == lot_id)
            return true;
    return false;
}

/* Every lot that it could be is one that harm may lie in: those kept, and those beyond them. */
static int add_candidates(struct carrying *c, json_t *list, struct error *err)
{
    int rc = 0;
    for (int i = 0; i < c->input->lot_count && !rc; i++)
        rc = add_candidate(c, &c->input->lots[i], list, err);
    for (int i = 0; i < c->asked->may_be_count && !rc; i++)
        if (!is_kept(c->input, c->asked->may_be[i].lot_id))
            rc = add_candidate(c, &c->asked->may_be[i], list, err);
    c->more = c->asked->left_out > 0;
    return rc;
}

static int by_distance(const void *a, const void *b)
{
    const struct carried *x = a, *y = b;
    if (x->nearness != y->nearness)
        return x->nearness < y->nearness ? -1 : 1;
    if (x->apart_ms != y->apart_ms)
        return x->apart_ms < y->apart_ms ? -1 : 1;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

static int add_carried(struct carrying *c, json_t *list, struct error *err)
{
    c->lots = xcalloc(NAMED_MOST, sizeof *c->lots);
    int rc = find(c, err);
    if (c->count)
        qsort(c->lots, (size_t)c->count, sizeof *c->lots, by_distance);
    for (int i = 0; i < c->count && !rc; i++)
        rc = add_lot(c, c->lots[i].lot_id, c->lots[i].because.data, list, err);
    for (int i = 0; i < c->count; i++)
        text_buffer_free(&c->lots[i].because);
    free(c->lots);
    return rc;
}

static int add_lots(struct carrying *c, json_t *into, json_t *list, struct error *err)
{
    int rc = 0;
    bool settled = c->input->lot_count == 1 && c->input->none_weight <= 0;
    if (!settled)
        return c->harm ? add_candidates(c, list, err) : 0;
    rc = get(c, c->input->lots[0].lot_id, &c->own, err);
    if (rc)
        return rc;
    json_object_set_new(into, "own",
                        reach_lot_json(c->triage->tz, c->records.store, c->own, c->today,
                                       json_string("the case's own lot")));
    rc = add_carried(c, list, err);
    lot_record_unref(c->own);
    return rc;
}

/* Which kinds the complaints tell; one that tells none of a harm that may be is any. */
static void take_kinds(struct carrying *c)
{
    bool other = c->input->harm_possible || !c->input->harm;
    for (int i = 0; i < c->input->count; i++) {
        size_t k;
        const json_t *one;
        json_array_foreach(json_object_get(c->input->complaints[i].body, "harm"), k, one)
        {
            const char *word = json_string_value(one);
            bool label = strcmp(word, "wrong-label") == 0;
            c->label = c->label || label;
            c->allergen = c->allergen || strcmp(word, "allergic-reaction") == 0;
            c->tampered = c->tampered || strcmp(word, "tampering") == 0;
            other = other || !label;
        }
    }
    c->labelled_alone = c->label && !other;
}

static int carrying_json(struct carrying *c, json_t **ret, struct error *err)
{
    char day[16];
    json_t *list = json_array(), *answer = json_object();
    int rc = add_lots(c, answer, list, err);
    bool own = json_object_get(answer, "own") != NULL;
    json_object_update_new(
        answer,
        json_pack("{s:o, s:s, s:s, s:o, s:s, s:o, s:b, s:b, s:b}", "case",
                  CASE_ID_JSON(c->input->case_id), "by", c->harm ? "harm" : "line", "title",
                  c->harm ? "what could have carried the harm" : "its line and day", "as_of",
                  case_json_when(c->triage, "", c->input->as_of_ms), "in_code_on",
                  day_format(c->today, day), "lots", list, "more", c->more, "harm", c->input->harm,
                  "harm_possible", c->input->harm_possible && !c->input->harm));
    if (c->input->symptom >= 0)
        json_object_set_new(answer, "causes", json_true());
    if (c->elsewhere)
        json_object_set_new(answer, "elsewhere", json_integer(c->elsewhere));
    if (json_array_size(c->common))
        json_object_set(answer, "common", c->common);
    if (json_array_size(c->carry_no_label))
        json_object_set(answer, "carry_no_label", c->carry_no_label);
    if (!own && c->more)
        json_object_set_new(answer, "left_out", json_integer(c->asked->left_out));
    if (!own)
        json_object_set_new(answer, "none_because",
                            json_string("the case's own lot is not settled, and other lots are "
                                        "found by what they share with it"));
    if (rc)
        json_decref(answer);
    else
        *ret = answer;
    return rc;
}

int tell_reach_harm(struct triage *triage, struct store *store, const struct tell_asked *asked,
                    json_t **ret, struct error *err)
{
    struct case_input input;
    int rc = case_input_read(store, asked->case_id, &input, err);
    if (rc)
        return rc;
    struct carrying c = {.triage = triage_of(triage, input.plant),
                         .input = &input,
                         .asked = asked,
                         .harm = input.harm || input.harm_possible,
                         .common = json_array(),
                         .carry_no_label = json_array(),
                         .today = tz_day(triage->tz, asked->now_ms)};
    *ret = NULL;
    take_kinds(&c);
    if (c.harm || input.symptom < 0)
        rc = lot_record_all(store, c.triage->rules, c.triage->tz, &c.records, err);
    if (!rc && (c.harm || input.symptom < 0))
        rc = carrying_json(&c, ret, err);
    json_decref(c.common);
    json_decref(c.carry_no_label);
    case_input_clear(&input);
    return rc;
}
