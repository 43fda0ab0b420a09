/* Why a cause stands where it stands, and what would move it. */
#include "base/short_id.h"
#include "base/text.h"
#include "rules/fact_title.h"
#include "tell/case_json.h"
#include "tell/measured_json.h"
#include "tell/tell.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FLIPS_SHOWN = 5 };

/* ---- for and against ---- */

/* What is not known: by name, and in words. */
static void set_missing(const struct triage *triage, const struct rank_cause *one, json_t *into)
{
    json_t *titles = json_array();
    json_t *list = json_array();
    for (int i = 0; i < one->item_count; i++) {
        const struct fact_name *name;
        char title[FACT_TITLE];
        bool listed = false;
        if (!isnan(one->items[i].bits))
            continue;
        name = &triage->rules->facts[one->items[i].evidence->fact].name;
        for (size_t k = 0; k < json_array_size(list); k++)
            listed = listed || strcmp(json_string_value(json_array_get(list, k)), name->text) == 0;
        if (listed)
            continue;
        json_array_append_new(list, json_string(name->text));
        json_array_append_new(titles,
                              json_string(fact_title(triage->rules->vocabulary, name, title)));
    }
    json_object_set_new(into, "missing", list);
    json_object_set_new(into, "missing_names", titles);
}

static json_t *cause_json(const struct triage *triage, const struct case_rank *ranked,
                          const struct rank_cause *one)
{
    const struct rule_cause *cause = &triage->rules->causes[one->cause];
    json_t *facts = json_array();
    for (int i = 0; i < one->item_count; i++)
        if (!isnan(one->items[i].bits))
            json_array_append_new(facts,
                                  case_json_item(triage, ranked, cause, &one->items[i], true));
    json_t *told = json_pack("{s:s, s:s, s:f, s:f, s:o, s:o}", "cause", cause->id, "title",
                             cause->title, "probability", one->probability, "prior", one->prior,
                             "bits", jsonx_rounded(one->bits, 3), "facts", facts);
    set_missing(triage, one, told);
    return told;
}

/* ---- what would change the order ---- */

struct flipping {
    const struct triage *triage;
    const struct case_rank *ranked;
    struct fact_set facts; /* a copy to play with */
    int cause, place;      /* the cause looked at and where it stands */
};

/* Where the cause would stand with the facts as they are now. */
static int place_now(struct flipping *flipping)
{
    struct rank rank;
    rank_make(&flipping->facts, flipping->ranked->input.symptom, flipping->ranked->lots[0].priors,
              &rank);
    int place = rank_find(&rank, flipping->cause);
    rank_free(&rank);
    return place;
}

static bool counts_cells(const char *quantity)
{
    return strstr(quantity, "_cfu") || strstr(quantity, "_rlu");
}

static void restore(struct flipping *flipping)
{
    const struct fact_set *from = case_rank_facts(flipping->ranked);
    size_t lot = (size_t)from->rules->lot_slots;
    size_t complaints = (size_t)from->complaint_count * (size_t)from->rules->complaint_slots;
    memcpy(flipping->facts.lot, from->lot, lot * sizeof *from->lot);
    memcpy(flipping->facts.complaints, from->complaints, complaints * sizeof *from->complaints);
}

static void set_one(struct flipping *flipping, int f, double value)
{
    const struct fact *was = fact_set_at(case_rank_facts(flipping->ranked), f, 0);
    struct fact *fact = fact_set_at(&flipping->facts, f, 0);
    const struct fact_name *name = &flipping->triage->rules->facts[f].name;
    bool logged = name->kind == FACT_PLACE && counts_cells(name->quantity);
    fact->value = value;
    if (isnan(was->z) || fabs(was->z) < 1e-9)
        return;
    double usual = logged ? log1p(was->usual) : was->usual;
    double spread = ((logged ? log1p(was->value) : was->value) - usual) / was->z;
    fact->z = ((logged ? log1p(fmax(value, 0)) : value) - usual) / spread;
}

/* Another name for the same record: the least and the most of a quantity, the last entry and the
 * peak of a place's. */
static bool same_record(const struct fact_name *a, const struct fact_name *b)
{
    return a->kind == b->kind && (a->kind == FACT_QUANTITY || a->kind == FACT_PLACE) &&
           strcmp(a->place, b->place) == 0 && strcmp(a->quantity, b->quantity) == 0 &&
           (a->kind == FACT_QUANTITY || (a->code <= PLACE_PEAK && b->code <= PLACE_PEAK));
}

static int place_with(struct flipping *flipping, int f, double value)
{
    const struct rules *rules = flipping->triage->rules;
    for (int other = 0; other < rules->fact_count; other++)
        if (other == f || (same_record(&rules->facts[f].name, &rules->facts[other].name) &&
                           fact_set_at(&flipping->facts, other, 0)->known))
            set_one(flipping, other, value);
    int place = place_now(flipping);
    restore(flipping);
    return place;
}

static const char *nth(int place, char buffer[16])
{
    static const char *const ENDS[] = {"th", "st", "nd", "rd"};
    int n = place + 1;
    snprintf(buffer, 16, "%d%s", n, n % 10 < 4 && n / 10 % 10 != 1 ? ENDS[n % 10] : "th");
    return buffer;
}

static json_t *flip_json(const struct flipping *flipping, int f, json_t *from, json_t *to,
                         int place)
{
    const struct rules *rules = flipping->triage->rules;
    char position[16], title[FACT_TITLE],
        *from_text = json_dumps(from, JSON_ENCODE_ANY | JSON_REAL_PRECISION(4));
    char *to_text = json_dumps(to, JSON_ENCODE_ANY | JSON_REAL_PRECISION(4));
    const struct fact_name name =
        fact_set_name(&flipping->facts, f, fact_set_at(&flipping->facts, f, 0));
    fact_title(rules->vocabulary, &name, title);
    title[0] = (char)tolower((unsigned char)title[0]);
    json_t *text = json_sprintf("if %s were %s instead of %s, %s %s to %s", title, to_text,
                                from_text, rules->causes[flipping->cause].id,
                                place > flipping->place ? "falls" : "rises", nth(place, position));
    free(from_text);
    free(to_text);
    return json_pack("{s:s, s:o, s:o, s:o}", "fact", name.text, "from", from, "to", to, "text",
                     text);
}

/* The value nearest to the recorded one that moves the cause: candidates are where evidence bends
 * and the target; between the last that does not and the first that does, bisection. */
static json_t *flip_number(struct flipping *flipping, int f)
{
    const struct rules *rules = flipping->triage->rules;
    struct fact was = *fact_set_at(&flipping->facts, f, 0);
    double best = NAN;
    for (int c = 0; c < rules->cause_count; c++)
        for (int e = 0; e < rules->causes[c].evidence_count; e++) {
            const struct rule_evidence *evidence = &rules->causes[c].evidence[e];
            if (evidence->fact != f)
                continue;
            double against = isnan(was.target) ? was.usual : was.target;
            double scale = evidence->how == EVIDENCE_RATIO ? against : 1;
            for (int p = 0; evidence->how != EVIDENCE_Z && p < evidence->point_count; p++) {
                double value = evidence->curve[p].x * scale;
                if (isnan(value) || value == was.value ||
                    (!isnan(best) && fabs(value - was.value) >= fabs(best - was.value)))
                    continue;
                if (place_with(flipping, f, value) != flipping->place)
                    best = value;
            }
        }
    double usual = isnan(was.target) ? was.usual : was.target;
    if (isnan(best) && !isnan(usual) && place_with(flipping, f, usual) != flipping->place)
        best = usual;
    if (isnan(best))
        return NULL;
    double stays = was.value, moves = best;
    for (int i = 0; i < 10; i++) {
        double middle = (stays + moves) / 2;
        if (place_with(flipping, f, middle) != flipping->place)
            moves = middle;
        else
            stays = middle;
    }
    return flip_json(flipping, f, jsonx_rounded(was.value, 3), jsonx_rounded(moves, 3),
                     place_with(flipping, f, moves));
}

static json_t *flip_word(struct flipping *flipping, int f)
{
    const struct fact_name *name = &flipping->triage->rules->facts[f].name;
    struct fact was = *fact_set_at(&flipping->facts, f, 0);
    for (const struct field_word *w = name->allowed; w && w->word; w++) {
        struct fact *fact = fact_set_at(&flipping->facts, f, 0);
        if (strcmp(w->word, was.words[0]) == 0)
            continue;
        fact->words[0] = w->word;
        fact->word_count = 1;
        int place = place_now(flipping);
        *fact = was;
        if (place != flipping->place)
            return flip_json(flipping, f, case_json_value(&was), json_string(w->word), place);
    }
    return NULL;
}

/* A set of its own to play with. */
static void copy_facts(const struct fact_set *from, struct fact_set *to)
{
    size_t lot = (size_t)from->rules->lot_slots;
    size_t complaints = (size_t)from->complaint_count * (size_t)from->rules->complaint_slots;
    *to = *from;
    to->record = NULL; /* not read by the ranking; stays the other's */
    to->lot = xmalloc((lot + 1) * sizeof *to->lot);
    to->complaints = xmalloc((complaints + 1) * sizeof *to->complaints);
    memcpy(to->lot, from->lot, lot * sizeof *to->lot);
    memcpy(to->complaints, from->complaints, complaints * sizeof *to->complaints);
}

static bool said_before(const struct flipping *flipping, int f)
{
    const struct rules *rules = flipping->triage->rules;
    for (int other = 0; other < rules->fact_count; other++) {
        const struct fact_name *name = &rules->facts[other].name;
        /* the plain name first, else the first that is known */
        bool plainer = name->kind == FACT_QUANTITY
                           ? name->part == PART_MEDIAN && rules->facts[f].name.part != PART_MEDIAN
                           : other < f;
        if (other != f && same_record(name, &rules->facts[f].name) && plainer &&
            fact_set_at(&flipping->facts, other, 0)->known)
            return true;
    }
    return false;
}

/* Facts that speak of any cause by a table or a curve; with several complaints only the lot's. */
static bool can_flip(const struct flipping *flipping, int f)
{
    const struct fact_name *name = &flipping->triage->rules->facts[f].name;
    return name->kind != FACT_COMPANY && name->kind != FACT_MODEL &&
           (!name->per_complaint || flipping->ranked->input.count == 1) &&
           fact_set_at(&flipping->facts, f, 0)->known && !said_before(flipping, f);
}

struct flip_order {
    int fact;
    double weight;
};

static int by_weight(const void *a, const void *b)
{
    const struct flip_order *x = a, *y = b;
    if (x->weight != y->weight)
        return x->weight > y->weight ? -1 : 1;
    return x->fact - y->fact;
}

/* What says most of the cause now is looked at first. */
static double weight_of(const struct flipping *flipping, int f)
{
    const struct rank_cause *one =
        &flipping->ranked->rank->causes[rank_find(flipping->ranked->rank, flipping->cause)];
    double most = 0;
    for (int i = 0; i < one->item_count; i++)
        if (one->items[i].evidence->fact == f && !isnan(one->items[i].bits))
            most = fmax(most, fabs(one->items[i].bits));
    return most;
}

static json_t *flips_json(const struct triage *triage, const struct case_rank *ranked, int cause)
{
    struct flipping flipping = {.triage = triage, .ranked = ranked, .cause = cause};
    struct flip_order *order = xcalloc((size_t)triage->rules->fact_count + 1, sizeof *order);
    json_t *list = json_array();
    int count = 0;
    copy_facts(case_rank_facts(ranked), &flipping.facts);
    flipping.place = place_now(&flipping);
    for (int f = 0; f < triage->rules->fact_count; f++)
        if (can_flip(&flipping, f))
            order[count++] = (struct flip_order){f, weight_of(&flipping, f)};
    qsort(order, (size_t)count, sizeof *order, by_weight);
    for (int i = 0; i < count && json_array_size(list) < FLIPS_SHOWN; i++) {
        int f = order[i].fact;
        json_t *flip = triage->rules->facts[f].name.words ? flip_word(&flipping, f)
                                                          : flip_number(&flipping, f);
        if (flip)
            json_array_append_new(list, flip);
    }
    free(order);
    fact_set_clear(&flipping.facts);
    return list;
}

int tell_why(struct triage *triage, struct store *store, int64_t case_id, const char *cause,
             json_t **ret, struct error *err)
{
    struct case_rank ranked;
    int wanted = cause ? rules_cause(triage->rules, cause) : -1;
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc)
        return rc;
    triage = ranked.triage;
    if (cause && (wanted < 0 || rank_find(ranked.rank, wanted) < 0)) {
        case_rank_clear(&ranked);
        error_set(err, ERROR_NOT_FOUND, "not a cause of this symptom");
        error_field(err, "cause", cause);
        triage_cause_hint(triage, cause, "", err);
        return ERROR_NOT_FOUND;
    }
    json_t *causes = json_array();
    for (int i = 0; i < ranked.rank->count; i++)
        if (!cause || ranked.rank->causes[i].cause == wanted)
            json_array_append_new(causes, cause_json(triage, &ranked, &ranked.rank->causes[i]));
    *ret = json_pack("{s:o, s:s, s:o, s:s, s:f, s:o, s:o}", "case", CASE_ID_JSON(case_id),
                     "symptom", symptom_name(ranked.input.symptom), "as_of",
                     case_json_when(triage, case_json_plant(&ranked), ranked.input.as_of_ms),
                     "rules", triage->rules->hash, "pool_exponent",
                     triage->rules->ranking.pool_exponent, "causes", causes, "flips",
                     flips_json(triage, &ranked, cause ? wanted : ranked.rank->causes[0].cause));
    case_json_harm(&ranked, *ret);
    measured_json_add(triage, store, ranked.lots[0].lot_id, *ret);
    case_rank_clear(&ranked);
    return 0;
}
