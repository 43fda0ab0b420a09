#include "tell/kept.h"
#include "base/short_id.h"
#include "base/text.h"
#include "rules/fact_title.h"
#include "store/case.h"
#include "store/seen.h"
#include "tell/case_json.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- made ---- */

static double rounded(double value, double scale)
{
    return round(value * scale) / scale; /* NAN stays */
}

static void write_value(const struct fact *fact, char *out, size_t size)
{
    struct text_buffer text = {0};
    if (fact->known && fact->word_count == 0 && isfinite(fact->value))
        text_appendf(&text, "%.12g", rounded(fact->value, 1e4));
    for (int i = 0; fact->known && i < fact->word_count; i++)
        text_appendf(&text, "%s%s", i ? "," : "", fact->words[i]);
    text_clip(text.data ? text.data : "", out, size);
    text_buffer_free(&text);
}

static void keep_item(const struct case_rank *ranked, int place, const struct rank_item *item,
                      struct ranking *ret)
{
    int number = item->evidence->fact;
    const struct fact *fact = fact_set_at(case_rank_facts(ranked), number, item->complaint);
    bool company = !isnan(fact->observed);
    struct ranking_item *kept = &ret->items[ret->item_count++];
    *kept = (struct ranking_item){.cause = place,
                                  .target = rounded(fact->target, 1e4),
                                  .observed = company ? rounded(fact->observed, 1e2) : NAN,
                                  .expected = company ? rounded(fact->expected, 1e2) : NAN,
                                  .lots = company ? fact->lots : 0,
                                  .bits_hundredths = (int)lround(100 * item->bits)};
    const struct fact_name name = fact_set_name(case_rank_facts(ranked), number, fact);
    text_clip(name.text, kept->fact, sizeof kept->fact);
    write_value(fact, kept->value, sizeof kept->value);
}

bool tell_mailed_why(int place, double probability)
{
    static const double LIKELY = 0.05;
    return place == 0 || (place < TELL_FIRST && probability >= LIKELY);
}

void kept_make(const struct triage *triage, const struct case_rank *ranked, struct ranking *ret)
{
    const struct rank *rank = ranked->rank;
    size_t n = (size_t)rank->count;
    *ret = (struct ranking){.case_id = ranked->input.case_id,
                            .as_of_ms = ranked->input.as_of_ms,
                            .complaints = ranked->input.count,
                            .causes = xcalloc(n + 1, sizeof *ret->causes),
                            .items = xcalloc(n * 2 * CASE_ITEMS + 1, sizeof *ret->items)};
    text_clip(triage->rules->hash, ret->rules, sizeof ret->rules);
    for (int i = 0; i < rank->count; i++) {
        const struct rank_item *items[CASE_ITEMS];
        struct ranking_cause *cause = &ret->causes[ret->cause_count++];
        text_clip(triage->rules->causes[rank->causes[i].cause].id, cause->cause,
                  sizeof cause->cause);
        cause->probability = fmin(rank->causes[i].probability, 1);
        for (int side = 0; side < 2 && tell_mailed_why(i, cause->probability); side++) {
            int count = case_json_items(&rank->causes[i], side == 0, items);
            for (int k = 0; k < count; k++)
                keep_item(ranked, i, items[k], ret);
        }
    }
}

/* ---- told ---- */

static json_t *value_json(const char *text)
{
    double number;
    if (!*text)
        return json_null();
    if (text_to_double(text, &number) == 0)
        return json_real(number);
    if (!strchr(text, ','))
        return json_string(text);
    json_t *words = json_array();
    char *copy = xstrdup(text);
    for (char *next = copy, *word; (word = strsep(&next, ","));)
        json_array_append_new(words, json_string(word));
    free(copy);
    return words;
}

static json_t *item_json(const struct triage *triage, const struct ranking_item *item)
{
    const struct rules *rules = triage->rules;
    json_t *object = json_pack("{s:s, s:o, s:o, s:o}", "fact", item->fact, "value",
                               value_json(item->value), "target", jsonx_rounded(item->target, 4),
                               "bits", jsonx_rounded(item->bits_hundredths / 100.0, 2));
    struct fact_name name;
    if (vocabulary_fact(rules->vocabulary, item->fact, &name, NULL) == 0) {
        char title[FACT_TITLE];
        const char *unit = vocabulary_unit(rules->vocabulary, name.quantity);
        json_object_set_new(object, "name",
                            json_string(fact_title(rules->vocabulary, &name, title)));
        json_object_set_new(object, "unit", *unit ? json_string(unit) : json_null());
    }
    if (!isnan(item->observed)) {
        json_object_set_new(object, "observed", jsonx_rounded(item->observed, 2));
        json_object_set_new(object, "expected", jsonx_rounded(item->expected, 2));
        json_object_set_new(object, "lots", json_integer(item->lots));
    }
    return object;
}

static int by_strength(const void *a, const void *b)
{
    const struct ranking_item *x = *(const struct ranking_item *const *)a;
    const struct ranking_item *y = *(const struct ranking_item *const *)b;
    int bits_x = abs(x->bits_hundredths), bits_y = abs(y->bits_hundredths);
    return bits_x != bits_y ? bits_y - bits_x : (x > y) - (x < y);
}

/* `own`: with what speaks for it and against it. */
static json_t *cause_json(const struct triage *triage, const struct ranking *ranking, int place,
                          bool own)
{
    const struct ranking_cause *one = &ranking->causes[place];
    const struct ranking_item **items =
        xcalloc((size_t)ranking->item_count + 1, sizeof(const struct ranking_item *));
    int count = 0, cause = rules_cause(triage->rules, one->cause);
    for (int i = 0; i < ranking->item_count && own; i++)
        if (ranking->items[i].cause == place)
            items[count++] = &ranking->items[i];
    qsort(items, (size_t)count, sizeof(const struct ranking_item *), by_strength);
    json_t *speaks_for = json_array(), *against = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(items[i]->bits_hundredths > 0 ? speaks_for : against,
                              item_json(triage, items[i]));
    free(items);
    return json_pack("{s:s, s:s, s:f, s:o, s:o}", "cause", one->cause, "title",
                     cause >= 0 ? triage->rules->causes[cause].title : one->cause, "probability",
                     one->probability, "for", speaks_for, "against", against);
}

int tell_kept(struct triage *triage, struct store *store, int64_t case_id, int revision,
              json_t **ret, struct error *err)
{
    struct ranking ranking;
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (!rc)
        rc = ranking_get(store, case_id, revision, &ranking, err);
    if (rc)
        return rc;
    json_t *ranked = json_array();
    /* what was kept of an open lot is of the likeliest, whosever that was */
    bool own = seen_all(store) || (*ranking.lot && seen_code(store, ranking.lot));
    for (int i = 0; i < ranking.cause_count; i++)
        json_array_append_new(ranked, cause_json(triage, &ranking, i, own));
    *ret = json_pack("{s:o, s:s?, s:i, s:o, s:s, s:i, s:s?, s:o}", "case", CASE_ID_JSON(case_id),
                     "lot", own && *ranking.lot ? ranking.lot : NULL, "revision", ranking.revision,
                     "as_of", case_json_when(triage, row.plant, ranking.as_of_ms), "rules",
                     ranking.rules, "complaints", ranking.complaints, "mailed", ranking.why,
                     "ranked", ranked);
    ranking_clear(&ranking);
    return 0;
}
