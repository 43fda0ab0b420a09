/* Predictions as facts. What a change predicts is worked out once for a lot, for every age. */
#include "base/text.h"
#include "triage/model_lot.h"
#include <math.h>
#include <stdlib.h>

enum { AGES = 61 };
/* Callers' dates are rough and breads differ: this share of the density is spread over all ages. */
#define ASTRAY 0.1

/* Of one lot, model and change: by age in days. */
struct prediction {
    struct cached cached;
    double by_age[AGES]; /* NAN: not valid, does not vote */
};

static void destroy(struct cached *cached)
{
    free((struct prediction *)(void *)cached);
}

/* Chance that a fault first seen within the horizon is seen at that age. */
static void normalise(struct prediction *prediction, int horizon)
{
    double sum = 0;
    for (int age = 0; age <= horizon; age++)
        sum += prediction->by_age[age];
    for (int age = 0; age < AGES; age++) {
        double share = sum > 0 ? prediction->by_age[age] / sum : NAN;
        prediction->by_age[age] =
            age > horizon || !(sum > 1e-12) ? NAN : (1 - ASTRAY) * share + ASTRAY / (horizon + 1);
    }
}

static void predict_ages(const struct facts_job *job, int code, const struct lot_conditions *made,
                         const struct lot_conditions *specified, int horizon,
                         struct prediction *ret)
{
    const struct models_parameters *models = job->source->models;
    struct mold_course course;
    if (code == MODEL_MOLD_AGE)
        predict_mold_course(made, specified, models, &course);
    for (int age = 0; age < AGES; age++) {
        struct rope_prediction rope;
        ret->by_age[age] = NAN;
        if (age > horizon)
            continue;
        if (code == MODEL_MOLD_AGE) {
            ret->by_age[age] = predict_course_density(&course, models, age, 1);
        } else if (code == MODEL_STALE_AGE) {
            ret->by_age[age] = predict_stale_density(made, specified, models, age, 1);
        } else if (age <= 14) {
            predict_rope(made, specified, models, age, &rope);
            ret->by_age[age] = rope.valid ? rope.share : NAN;
        }
    }
    if (code == MODEL_MOLD_AGE || code == MODEL_STALE_AGE)
        normalise(ret, horizon);
}

static const struct prediction *prediction_get(const struct facts_job *job,
                                               const struct model_lot *lot, int code,
                                               const json_t *change, uint64_t change_hash)
{
    const struct evidence_lot *own = &job->set->record->lot;
    int64_t as_of_day = tz_day(job->source->tz, job->input->as_of_ms);
    struct cache_key key = {(uint64_t)own->lot_id, change_hash,
                            (uint64_t)as_of_day * 64 + (uint64_t)code};
    struct prediction *prediction = cache_get(job->source->predictions, key, job->records_serial);
    if (prediction)
        return prediction;
    int horizon = own->shelf_life_days + 14;
    struct lot_conditions made;
    prediction = xcalloc(1, sizeof *prediction);
    cached_init(&prediction->cached, destroy);
    model_lot_change(lot, change, &made);
    predict_ages(job, code, &made, &lot->specified, horizon < AGES ? horizon : AGES - 1,
                 prediction);
    cache_put(job->source->predictions, key, job->records_serial, prediction);
    return prediction;
}

static void compare(const struct facts_job *job, const struct model_lot *lot, int f)
{
    const struct rule_fact *rule = &job->source->rules->facts[f];
    static const char SPECIFIED[] = "as specified";
    const struct prediction *changed =
        prediction_get(job, lot, rule->name.code, rule->change, rule->change_hash);
    const struct prediction *usual =
        prediction_get(job, lot, rule->name.code, NULL, cache_hash(0, SPECIFIED));
    double floor = rule->name.code == MODEL_ROPE_AGE ? 0.02 : 0;
    for (int i = 0; i < job->input->count; i++) {
        double age = facts_age_days(job, i);
        struct fact *fact = fact_set_at(job->set, f, i);
        if (isnan(age) || age >= AGES)
            continue;
        double of_change = changed->by_age[(int)age], of_usual = usual->by_age[(int)age];
        if (isnan(of_change) || isnan(of_usual))
            continue;
        fact_set_number(fact, age);
        fact->bits = log2((of_change + floor) / (of_usual + floor));
    }
    cached_unref((void *)changed);
    cached_unref((void *)usual);
}

/* ---- numbers of the lot as recorded ---- */

static double acid_sum(const struct acid_mix *mix)
{
    double sum = 0;
    for (int k = 0; k < ACID_KINDS; k++)
        sum += mix->mmol_l[k];
    return sum;
}

struct numbers {
    struct cached cached;
    double value[MODELS];
    double by_age[MODELS][AGES]; /* those that depend on age */
};

static void destroy_numbers(struct cached *cached)
{
    free((struct numbers *)(void *)cached);
}

static void number_of_facts(const struct facts_job *job, const struct model_lot *lot,
                            struct numbers *ret)
{
    const struct models_values *values = &job->source->models->typical;
    struct lot_conditions made = lot->made, specified = lot->specified;
    struct lot_facts of_made, of_specified;
    lot_conditions_fill(&specified, NULL, values);
    lot_conditions_fill(&made, &specified, values);
    lot_conditions_facts(&made, values, &of_made);
    lot_conditions_facts(&specified, values, &of_specified);
    ret->value[MODEL_CONDENSATE_G] = of_made.condensate.valid ? of_made.condensate.free_g : NAN;
    ret->value[MODEL_ENZYME_MIN_RATIO] = of_made.enzyme_min_ratio;
    if (!of_made.acid_valid || (made.dose_count == 0 && isnan(made.propionate_mg_kg)))
        return;
    ret->value[MODEL_ACID_MMOL_L] = acid_sum(&of_made.undissociated_mmol_l);
    if (acid_sum(&of_specified.undissociated_mmol_l) > 0)
        ret->value[MODEL_ACID_RATIO] =
            ret->value[MODEL_ACID_MMOL_L] / acid_sum(&of_specified.undissociated_mmol_l);
}

static void number_of_predictions(const struct facts_job *job, const struct model_lot *lot,
                                  struct numbers *ret)
{
    const struct models_parameters *models = job->source->models;
    struct odor_prediction odor;
    predict_odor(&lot->made, &lot->specified, models, &odor);
    if (odor.valid) {
        ret->value[MODEL_ODOR_RATIO] = odor.cold.ratio;
        ret->value[MODEL_ODOR_WARM_RATIO] = odor.warm.ratio;
    }
    struct mold_course course;
    predict_mold_course(&lot->made, &lot->specified, models, &course);
    if (course.valid)
        ret->value[MODEL_MOLD_FREE_DAYS] = mold_free_days(&course, NAN, NULL);
    for (int age = 0; age < AGES; age += 1) {
        struct firmness_prediction firmness;
        struct rope_prediction rope;
        ret->by_age[MODEL_FIRMNESS_RATIO][age] = ret->by_age[MODEL_ROPE_SHARE][age] = NAN;
        if (age > 21)
            continue;
        predict_firmness(&lot->made, &lot->specified, models, age, &firmness);
        if (firmness.valid) {
            ret->by_age[MODEL_FIRMNESS_RATIO][age] = firmness.ratio.typical;
            ret->value[MODEL_GUMMY_SHARE] = firmness.gummy_share;
        }
        if (age > 14)
            continue;
        predict_rope(&lot->made, &lot->specified, models, age, &rope);
        if (rope.valid)
            ret->by_age[MODEL_ROPE_SHARE][age] = rope.share;
    }
}

static const struct numbers *numbers_get(const struct facts_job *job, const struct model_lot *lot)
{
    int64_t as_of_day = tz_day(job->source->tz, job->input->as_of_ms);
    struct cache_key key = {(uint64_t)job->set->record->lot.lot_id, 0,
                            (uint64_t)as_of_day * 64 + 63};
    struct numbers *numbers = cache_get(job->source->predictions, key, job->records_serial);
    if (numbers)
        return numbers;
    numbers = xcalloc(1, sizeof *numbers);
    cached_init(&numbers->cached, destroy_numbers);
    for (int m = 0; m < MODELS; m++)
        numbers->value[m] = NAN;
    number_of_facts(job, lot, numbers);
    number_of_predictions(job, lot, numbers);
    cache_put(job->source->predictions, key, job->records_serial, numbers);
    return numbers;
}

static void number(const struct facts_job *job, const struct numbers *numbers, int f)
{
    int code = job->source->rules->facts[f].name.code;
    bool by_age = code == MODEL_FIRMNESS_RATIO || code == MODEL_ROPE_SHARE;
    for (int i = 0; i < job->input->count; i++) {
        double age = facts_age_days(job, i);
        double value = numbers->value[code];
        if (by_age)
            value = isnan(age) || age >= AGES ? NAN : numbers->by_age[code][(int)age];
        fact_set_number(fact_set_at(job->set, f, i), value);
    }
}

int facts_model(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    const struct fact_baseline *baseline;
    const struct numbers *numbers = NULL;
    struct model_lot lot;
    int rc = facts_baseline(job->source, job->store, job->records_serial, job->set->record,
                            job->input->as_of_ms, &baseline, err);
    if (rc)
        return rc;
    /* as of the day's start, like the baseline: kept predictions answer alike all day */
    int64_t until_ms =
        tz_day_start_ms(job->source->tz, tz_day(job->source->tz, job->input->as_of_ms));
    model_lot_of(rules, job->set->record, baseline, until_ms, &lot);
    cached_unref((void *)baseline);
    for (int f = 0; f < rules->fact_count; f++) {
        if (rules->facts[f].name.kind != FACT_MODEL)
            continue;
        if (rules->facts[f].name.code <= MODEL_ROPE_AGE) {
            compare(job, &lot, f);
            continue;
        }
        if (!numbers)
            numbers = numbers_get(job, &lot);
        number(job, numbers, f);
    }
    cached_unref((void *)numbers);
    return 0;
}
