/* Predictions as facts: of the lot as recorded, and of what a cause would change compared with the
 * lot as specified. What was worked out for a case is kept. */
#include "base/text.h"
#include "facts/model_lot.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LAST_AGE = 60, ROPE_LAST_AGE = 14, HORIZON_PAST_CODE = 14 };
/* Callers' dates are rough and breads differ: this share of the density is spread over all ages. */
#define ASTRAY 0.1
#define ROPE_FLOOR 0.02

/* Of one case: by fact and complaint, in the order in which the facts come. */
struct kept {
    struct cache_object cached;
    int count;
    double value[]; /* bits, or the number; NAN: does not vote */
};

static void destroy(struct cache_object *cached)
{
    free((struct kept *)(void *)cached);
}

struct modelling {
    const struct facts_job *job;
    struct model_lot lot;
    bool sours;         /* has acids of its own that no record tells */
    int horizon;        /* ages beyond it are not compared */
    const double *ages; /* by complaint */
};

/* ---- a change against the specification ---- */

/* Chance that a fault first seen within the horizon is seen at that age. */
static double within(const struct modelling *modelling, double density, double share)
{
    if (isnan(density) || !(share > 1e-9))
        return NAN;
    return (1 - ASTRAY) * density / share + ASTRAY / (modelling->horizon + 1);
}

struct course {
    int code;
    struct lot_conditions made;
    struct mold_course mold;
    double share; /* by the horizon */
};

static void course_of(const struct modelling *modelling, int code, const struct change *change,
                      struct course *ret)
{
    const struct models_parameters *models = modelling->job->source->models;
    const struct lot_conditions *specified = &modelling->lot.specified;
    int horizon = modelling->horizon;
    ret->code = code;
    ret->share = 1;
    change_apply(change, &modelling->lot.made, specified, &ret->made);
    if (code == MODEL_MOLD_AGE) {
        predict_mold_course(&ret->made, specified, models, &ret->mold);
        ret->share = predict_course_share(&ret->mold, models, horizon);
    } else if (code == MODEL_STALE_AGE) {
        ret->share = predict_stale_density(&ret->made, specified, models, horizon, horizon + 1);
    }
}

static double course_at(const struct modelling *modelling, const struct course *course, double age)
{
    const struct models_parameters *models = modelling->job->source->models;
    const struct lot_conditions *specified = &modelling->lot.specified;
    if (course->code == MODEL_MOLD_AGE)
        return within(modelling, predict_course_density(&course->mold, models, age, 1),
                      course->share);
    if (course->code == MODEL_STALE_AGE)
        return within(modelling, predict_stale_density(&course->made, specified, models, age, 1),
                      course->share);
    struct rope_prediction rope;
    if (age > ROPE_LAST_AGE)
        return NAN;
    predict_rope(&course->made, specified, models, age, &rope);
    return rope.valid ? rope.share + ROPE_FLOOR : NAN;
}

static void compare(const struct modelling *modelling, const struct rule_fact *rule, double *ret)
{
    struct course changed, usual;
    course_of(modelling, rule->name.code, rule->change, &changed);
    course_of(modelling, rule->name.code, NULL, &usual);
    for (int i = 0; i < modelling->job->input->count; i++) {
        double age = modelling->ages[i];
        ret[i] = NAN;
        if (isnan(age) || age > modelling->horizon)
            continue;
        for (int k = 0; k < i; k++)
            if (modelling->ages[k] == age) {
                ret[i] = ret[k];
                break;
            }
        if (isnan(ret[i]))
            ret[i] = log2(course_at(modelling, &changed, age) / course_at(modelling, &usual, age));
    }
}

/* ---- numbers of the lot as recorded ---- */

static double acid_sum(const struct acid_mix *mix)
{
    double sum = 0;
    for (int k = 0; k < ACID_KINDS; k++)
        sum += mix->mmol_l[k];
    return sum;
}

static double number_of_facts(const struct modelling *modelling, int code)
{
    const struct models_values *values = &modelling->job->source->models->typical;
    struct lot_conditions made = modelling->lot.made, specified = modelling->lot.specified;
    struct lot_facts of_made, of_specified;
    lot_conditions_fill(&specified, NULL, values);
    lot_conditions_fill(&made, &specified, values);
    lot_conditions_facts(&made, values, &of_made);
    lot_conditions_facts(&specified, values, &of_specified);
    bool acid = of_made.acid_valid && made.doses_known;
    double usual = acid_sum(&of_specified.undissociated_mmol_l);
    switch (code) {
    case MODEL_CONDENSATE_G:
        return of_made.condensate.valid ? of_made.condensate.free_g : NAN;
    case MODEL_ENZYME_MIN_RATIO:
        return of_made.enzyme_min_ratio;
    case MODEL_ACID_MMOL_L:
        return acid ? acid_sum(&of_made.undissociated_mmol_l) : NAN;
    default:
        return acid && modelling->lot.dose_compared && usual > 0
                   ? acid_sum(&of_made.undissociated_mmol_l) / usual
                   : NAN;
    }
}

static double number_at(const struct modelling *modelling, int code, double age)
{
    const struct models_parameters *models = modelling->job->source->models;
    const struct lot_conditions *made = &modelling->lot.made;
    const struct lot_conditions *specified = &modelling->lot.specified;
    struct odor_prediction odor;
    struct firmness_prediction firmness;
    struct rope_prediction rope;
    struct mold_course course;
    switch (code) {
    case MODEL_ODOR_RATIO:
    case MODEL_ODOR_WARM_RATIO:
        predict_odor(made, specified, models, &odor);
        return !odor.valid ? NAN : code == MODEL_ODOR_RATIO ? odor.cold.ratio : odor.warm.ratio;
    case MODEL_MOLD_FREE_DAYS:
        predict_mold_course(made, specified, models, &course);
        if (!course.valid)
            return NAN;
        double days = mold_free_days(&course, NAN);
        return days <= course.horizon_days ? days : NAN; /* no number is told past it */
    case MODEL_FIRMNESS_RATIO:
    case MODEL_GUMMY_SHARE:
        predict_firmness(made, specified, models, isnan(age) ? 1 : age, &firmness);
        if (!firmness.valid)
            return NAN;
        return code == MODEL_GUMMY_SHARE ? firmness.gummy_share
               : isnan(age)              ? NAN
                                         : firmness.ratio.typical;
    case MODEL_ROPE_SHARE:
        if (isnan(age) || age > ROPE_LAST_AGE)
            return NAN;
        predict_rope(made, specified, models, age, &rope);
        return rope.valid ? rope.share : NAN;
    default:
        return number_of_facts(modelling, code);
    }
}

static void number(const struct modelling *modelling, int code, double *ret)
{
    bool by_age = code == MODEL_FIRMNESS_RATIO || code == MODEL_ROPE_SHARE;
    for (int i = 0; i < modelling->job->input->count; i++) {
        int same = 0;
        while (same < i && by_age && modelling->ages[same] != modelling->ages[i])
            same++;
        ret[i] = same < i ? ret[same] : number_at(modelling, code, modelling->ages[i]);
    }
}

/* ---- all of a case ---- */

/* A dose without a target says nothing about the dose: all else is compared on the doses made. */
static void take_doses(struct model_lot *lot)
{
    if (!lot->dose_compared && lot->made.doses_known)
        lot_conditions_take_doses(&lot->specified, &lot->made);
}

/* Rests on how much acid there is: not to be said of a sourdough whose own is on no record. */
static bool rests_on_acid(int code)
{
    return code == MODEL_MOLD_AGE || code == MODEL_ROPE_AGE || code == MODEL_MOLD_FREE_DAYS ||
           code == MODEL_ODOR_RATIO || code == MODEL_ODOR_WARM_RATIO || code == MODEL_ROPE_SHARE ||
           code == MODEL_ACID_MMOL_L;
}

static void unsaid(const struct modelling *modelling, double *ret)
{
    for (int i = 0; i < modelling->job->input->count; i++)
        ret[i] = NAN;
}

static int work_all(const struct facts_job *job, const double *ages, struct kept *kept,
                    struct error *err)
{
    const struct rules *rules = job->source->rules;
    const struct evidence_lot *own = &job->set->record->lot;
    const struct fact_baseline *baseline;
    int horizon = own->shelf_life_days + HORIZON_PAST_CODE;
    struct modelling modelling = {
        .job = job, .horizon = horizon < LAST_AGE ? horizon : LAST_AGE, .ages = ages};
    int rc = facts_baseline(job->source, &job->records, job->set->record, job->input->as_of_ms,
                            &baseline, err);
    if (rc)
        return rc;
    model_lot_of(rules, job->set->record, baseline, job->input->as_of_ms, &modelling.lot);
    modelling.sours = model_lot_sours(job->set->record, &modelling.lot.made);
    take_doses(&modelling.lot);
    cache_object_unref((void *)baseline);
    for (int f = 0; f < rules->fact_count; f++) {
        if (!facts_wanted(job, f, FACT_MODEL))
            continue;
        if (modelling.sours && rests_on_acid(rules->facts[f].name.code))
            unsaid(&modelling, &kept->value[kept->count]);
        else if (rules->facts[f].name.code <= MODEL_ROPE_AGE)
            compare(&modelling, &rules->facts[f], &kept->value[kept->count]);
        else
            number(&modelling, rules->facts[f].name.code, &kept->value[kept->count]);
        kept->count += job->input->count;
    }
    return 0;
}

static void take(const struct facts_job *job, int f, const double *values, const double *ages)
{
    bool compared = job->source->rules->facts[f].name.code <= MODEL_ROPE_AGE;
    for (int i = 0; i < job->input->count; i++) {
        struct fact *fact = fact_set_at(job->set, f, i);
        if (isnan(values[i]))
            continue;
        fact_set_number(fact, compared ? ages[i] : values[i]);
        if (compared)
            fact->bits = values[i];
    }
}

static struct cache_key key_of(const struct facts_job *job, const double *ages)
{
    uint64_t all = 0;
    for (int i = 0; i < job->input->count; i++)
        all = (all + (uint64_t)(isnan(ages[i]) ? 1000 : ages[i] + 1)) * UINT64_C(1099511628211);
    return (struct cache_key){(uint64_t)job->set->record->lot.lot_id * 4 +
                                  (uint64_t)job->input->symptom,
                              (uint64_t)job->input->as_of_ms, all};
}

int facts_model(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    size_t n = (size_t)job->input->count, facts = 0;
    double *ages = xcalloc(n + 1, sizeof *ages);
    for (int i = 0; i < job->input->count; i++)
        ages[i] = facts_age_days(job, i);
    struct cache_key key = key_of(job, ages);
    struct kept *kept = cache_get(job->source->predictions, key, job->records.serial);
    int rc = 0, at = 0;
    for (int f = 0; f < rules->fact_count; f++)
        facts += facts_wanted(job, f, FACT_MODEL);
    if (!kept) {
        kept = xcalloc(1, sizeof *kept + (facts * n + 1) * sizeof kept->value[0]);
        cache_object_init(&kept->cached, destroy);
        rc = work_all(job, ages, kept, err);
        if (!rc)
            cache_put(job->source->predictions, key, job->records.serial, kept);
    }
    for (int f = 0; !rc && f < rules->fact_count; f++)
        if (facts_wanted(job, f, FACT_MODEL)) {
            take(job, f, &kept->value[at], ages);
            at += job->input->count;
        }
    cache_object_unref(kept);
    free(ages);
    return rc;
}
