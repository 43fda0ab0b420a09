#include "models/predict.h"

#include "models/normal.h"

#include <math.h>
#include <string.h>

/* A predicted gain or loss below this is noise. */
static const double costly_days = 0.1;

static const char *const term_names[PREDICT_TERMS] = {
    [PREDICT_INHIBITOR] = "inhibitor",     [PREDICT_PH] = "crumb pH",
    [PREDICT_WATER] = "crumb water",       [PREDICT_PACKED_WET] = "packed warm",
    [PREDICT_TEMPERATURE] = "temperature", [PREDICT_CONTAMINATION] = "contamination",
};

#define GROUP_FIELD(field, run)                                                                    \
    {                                                                                              \
        offsetof(struct models_values, mold.group[0].field), run,                                  \
            sizeof(struct mold_group_values), MOLD_GROUPS                                          \
    }
#define FIELDS(field, run)                                                                         \
    {                                                                                              \
        offsetof(struct models_values, field), run, 0, 1                                           \
    }

/* Not known of a lot's ingredients: strengths without a certificate, how deep a spray went. */
#define OF_SYSTEM FIELDS(acid.strength_place, 1), FIELDS(acid.layer_share, 1)
enum { OF_SYSTEM_COUNT = 2 };

/* What is not known of lag and growth of this plant's flora is in the time scale. */
static const struct spread_direction mold_directions[] = {
    FIELDS(mold.time_scale, 1),     GROUP_FIELD(mic_mmol_l, ACID_KINDS),
    GROUP_FIELD(t_min_c, 3),        GROUP_FIELD(aw_min, 3),
    FIELDS(mold.mic_lag_factor, 1), FIELDS(acid.pka_shift, 1),
    FIELDS(mold.spores_scale, 1),   OF_SYSTEM,
};

static const struct spread_direction firmness_directions[] = {
    FIELDS(staling.time_scale, 1),       FIELDS(staling.avrami_n, 1),
    FIELDS(staling.limit_ratio, 1),      FIELDS(staling.no_softener_factor, 1),
    FIELDS(staling.moisture_per_pct, 1), FIELDS(staling.leak_loss_pct_d, 1),
};

static const struct spread_direction rope_directions[] = {
    FIELDS(rope.t_min_c, 3),
    FIELDS(rope.ph_min, 3),
    FIELDS(rope.aw_min, 1),
    FIELDS(rope.rate_opt_log10_h, 1),
    FIELDS(rope.lag_opt_h, 1),
    FIELDS(rope.notice_log10_cfu_g, 1),
    FIELDS(rope.mic_propionic_mmol_l, 2),
    FIELDS(rope.spore_survival_share, 1),
};

static const struct spread_direction odor_directions[] = {
    FIELDS(odor.propionic_mg_kg, 2),
    FIELDS(acid.pka_shift, 1),
    FIELDS(acid.bake_loss_share, 1),
    OF_SYSTEM,
};

#define COUNT(table) (sizeof(table) / sizeof((table)[0]))

static bool any_uncertain(const struct acid_dose *doses, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (isnan(doses[i].active_pct) &&
            doses[i].product->low_active_pct < doses[i].product->high_active_pct) {
            return true;
        }
    }
    return false;
}

/* Of `count` directions, those that the lot has anything of: the last are OF_SYSTEM. */
static size_t directions_of(const struct lot_conditions *lot, size_t count)
{
    bool uncertain = lot->spray_count > 0 || any_uncertain(lot->doses, lot->dose_count);
    return uncertain ? count : count - OF_SYSTEM_COUNT;
}

/* A lot as made and as specified, filled. */
struct filled {
    struct lot_conditions made, specified;
};

static void fill_both(struct filled *both, const struct lot_conditions *made,
                      const struct lot_conditions *specified, const struct models_values *values)
{
    both->made = *made;
    if (specified) {
        both->specified = *specified;
        lot_conditions_fill(&both->specified, NULL, values);
        lot_conditions_fill(&both->made, &both->specified, values);
    } else {
        lot_conditions_fill(&both->made, NULL, values);
        both->specified = both->made;
    }
}

const char *predict_term_name(enum predict_term term)
{
    return term < PREDICT_TERMS ? term_names[term] : "none";
}

static void course_of(const struct lot_conditions *lot, const struct models_values *values,
                      struct lot_facts *facts, struct mold_course *course)
{
    struct mold_conditions conditions;
    lot_conditions_facts(lot, values, facts);
    lot_conditions_mold(lot, facts, &conditions);
    mold_course_init(course, &conditions, &values->mold);
}

static double days_of(const struct models_values *values, const void *context, double guess)
{
    struct lot_facts facts;
    struct mold_course course;
    course_of(context, values, &facts, &course);
    return mold_free_days(&course, guess);
}

/* Puts into `lot` what `made` has for one term. */
static void take_term(struct lot_conditions *lot, const struct lot_conditions *made,
                      enum predict_term term)
{
    switch (term) {
    case PREDICT_INHIBITOR:
        lot_conditions_take_doses(lot, made);
        lot->propionate_mg_kg = made->propionate_mg_kg;
        lot->bread_per_flour = made->bread_per_flour;
        break;
    case PREDICT_PH:
        lot->crumb_ph = made->crumb_ph;
        break;
    case PREDICT_WATER:
        lot->crumb_aw = made->crumb_aw;
        lot->crumb_moisture_pct = made->crumb_moisture_pct;
        break;
    case PREDICT_PACKED_WET:
        lot->core_at_pack_c = made->core_at_pack_c;
        lot->pack_room_c = made->pack_room_c;
        lot->loaf_g = made->loaf_g;
        break;
    case PREDICT_TEMPERATURE:
        memcpy(lot->segments, made->segments, sizeof(lot->segments));
        lot->segment_count = made->segment_count;
        break;
    case PREDICT_CONTAMINATION:
        lot->spores_per_pack = made->spores_per_pack;
        lot->spores_factor = made->spores_factor;
        memcpy(lot->group_weights, made->group_weights, sizeof(lot->group_weights));
        break;
    case PREDICT_TERMS:
        break;
    }
}

static void cost_terms(const struct filled *both, const struct models_values *values,
                       struct mold_prediction *ret)
{
    double specified_days = days_of(values, &both->specified, NAN);
    double fewest = isinf(specified_days) ? INFINITY : specified_days - costly_days;
    ret->costliest = PREDICT_TERMS;
    for (int t = 0; t < PREDICT_TERMS; t++) {
        struct lot_conditions lot = both->specified;
        take_term(&lot, &both->made, (enum predict_term)t);
        double days = days_of(values, &lot, specified_days);
        ret->term_days[t] = days == specified_days ? 0 : specified_days - days;
        if (days < fewest) {
            fewest = days;
            ret->costliest = (enum predict_term)t;
        }
    }
}

static const char *why_not(const struct mold_course *course, const struct lot_conditions *lot,
                           const struct lot_facts *facts)
{
    return !course->valid       ? course->reason
           : !lot->doses_known  ? "what it holds against mold is on no record, nor a target for it"
           : !facts->acid_valid ? "crumb outside the range of the acid formulas"
                                : "";
}

void predict_mold(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, struct mold_prediction *ret)
{
    const struct models_values *values = &parameters->typical;
    struct filled both;
    struct mold_course course;
    fill_both(&both, made, specified, values);
    course_of(&both.made, values, &ret->facts, &course);
    ret->mold_free_days =
        spread_over(parameters, mold_directions, directions_of(&both.made, COUNT(mold_directions)),
                    days_of, &both.made);
    ret->horizon_days = course.horizon_days;
    ret->contaminated_share = -expm1(-course.spores);
    cost_terms(&both, values, ret);
    ret->reason = why_not(&course, &both.made, &ret->facts);
    ret->valid = ret->reason[0] == '\0';
}

void predict_mold_course(const struct lot_conditions *made, const struct lot_conditions *specified,
                         const struct models_parameters *parameters, struct mold_course *ret)
{
    struct filled both;
    struct lot_facts facts;
    fill_both(&both, made, specified, &parameters->typical);
    course_of(&both.made, &parameters->typical, &facts, ret);
    ret->reason = why_not(ret, &both.made, &facts);
    ret->valid = ret->reason[0] == '\0';
}

/* Standard deviation in the log of a scale whose low and high are its 5 and 95 %. */
static double scale_sigma(double low, double high)
{
    return high > low && low > 0 ? log(high / low) / (2 * 1.6448536269514722) : 0;
}

double predict_course_density(const struct mold_course *course,
                              const struct models_parameters *parameters, double age_days,
                              double look_days)
{
    double sigma = scale_sigma(parameters->low.mold.time_scale, parameters->high.mold.time_scale);
    double chance = 0;
    if (!course->valid) {
        return NAN;
    }
    for (int k = 0; k < NORMAL_NODES; k++) {
        chance += normal_weight(k) * mold_found_chance_scaled(course, age_days, look_days,
                                                              exp(sigma * normal_node(k)), 1);
    }
    return chance;
}

double predict_course_share(const struct mold_course *course,
                            const struct models_parameters *parameters, double age_days)
{
    /* found in one look that starts before packing */
    return predict_course_density(course, parameters, age_days, age_days + 1);
}

double predict_mold_soonest_days(void)
{
    static const double SHARE = 0.05, WARM_C = 30, DIRTY = 25;
    struct models_parameters parameters;
    struct lot_conditions lot;
    struct mold_course course;
    double low = 0, high = 10;
    parameters_default(&parameters);
    lot_conditions_unknown(&lot);
    lot.doses_known = true; /* of none */
    lot.spores_factor = DIRTY;
    lot.segments[0] = (struct mold_segment){24, WARM_C};
    lot.segment_count = 1;
    predict_mold_course(&lot, NULL, &parameters, &course);
    while (high - low > 0.01) {
        double middle = (low + high) / 2;
        if (predict_course_share(&course, &parameters, middle) < SHARE)
            low = middle;
        else
            high = middle;
    }
    return high;
}

bool predict_mold_too_soon(double age_days)
{
    static const double NEVER_DAYS = 3; /* most ages need no course */
    return age_days < NEVER_DAYS && age_days < predict_mold_soonest_days();
}

struct firmness_context {
    const struct lot_conditions *lot;
    struct staling_loaf loaf;
    double age_days;
};

static double firmness_of(const struct models_values *values, const void *context, double guess)
{
    const struct firmness_context *c = context;
    (void)guess;
    return staling_firmness_ratio(&values->staling, &c->loaf, c->lot->segments,
                                  c->lot->segment_count, c->age_days, NULL);
}

static struct firmness_context firmness_context(const struct lot_conditions *lot,
                                                const struct lot_facts *facts, double age_days)
{
    struct firmness_context context = {
        lot,
        {lot->softener_ratio, facts->enzyme_min_ratio, facts->moisture_lost_pct, lot->leaks > 0.5},
        age_days};
    return context;
}

void predict_firmness(const struct lot_conditions *made, const struct lot_conditions *specified,
                      const struct models_parameters *parameters, double age_days,
                      struct firmness_prediction *ret)
{
    const struct models_values *values = &parameters->typical;
    struct filled both;
    fill_both(&both, made, specified, values);
    lot_conditions_facts(&both.made, values, &ret->facts);
    struct firmness_context context = firmness_context(&both.made, &ret->facts, age_days);
    ret->ratio = spread_over(parameters, firmness_directions, COUNT(firmness_directions),
                             firmness_of, &context);
    ret->stale_share = staling_stale_share(&values->staling, ret->ratio.typical);
    ret->gummy_share =
        staling_gummy_share(&values->staling, both.made.softener_ratio, both.made.core_end_bake_c);
    staling_work(&values->staling, both.made.segments, both.made.segment_count, age_days,
                 &ret->valid);
    ret->valid = ret->valid && age_days >= 0;
    ret->reason = ret->valid ? "" : "temperature outside the range of the firming rates";
}

double predict_stale_density(const struct lot_conditions *made,
                             const struct lot_conditions *specified,
                             const struct models_parameters *parameters, double age_days,
                             double look_days)
{
    struct models_values values = parameters->typical;
    double plant_scale = values.staling.time_scale;
    double sigma =
        scale_sigma(parameters->low.staling.time_scale, parameters->high.staling.time_scale);
    struct filled both;
    struct lot_facts facts;
    double chance = 0;
    fill_both(&both, made, specified, &values);
    lot_conditions_facts(&both.made, &values, &facts);
    bool valid = false;
    staling_work(&values.staling, both.made.segments, both.made.segment_count, age_days, &valid);
    if (!valid) {
        return NAN;
    }
    struct firmness_context now = firmness_context(&both.made, &facts, age_days);
    struct firmness_context before = firmness_context(&both.made, &facts, age_days - look_days);
    for (int k = 0; k < NORMAL_NODES; k++) {
        values.staling.time_scale = plant_scale * exp(sigma * normal_node(k));
        double by_now = staling_stale_share(&values.staling, firmness_of(&values, &now, NAN));
        double by_then =
            before.age_days > 0
                ? staling_stale_share(&values.staling, firmness_of(&values, &before, NAN))
                : 0;
        chance += normal_weight(k) * (by_now - by_then);
    }
    return chance;
}

static struct rope_conditions rope_conditions(const struct lot_conditions *lot,
                                              const struct lot_facts *facts)
{
    struct rope_conditions conditions = {
        lot->aerobic_spores_cfu_g,   lot->crumb_ph, lot->crumb_aw,
        facts->undissociated_mmol_l, lot->segments, lot->segment_count};
    return conditions;
}

/* Never is taken as a year, so that logs stay finite. */
static const double never_hours = 365.0 * 24;

static double rope_hours_of(const struct models_values *values, const void *context, double guess)
{
    (void)guess;
    return fmin(odor_rope_hours_to_notice(&values->rope, context), never_hours);
}

void predict_rope(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, double age_days,
                  struct rope_prediction *ret)
{
    const struct models_values *values = &parameters->typical;
    struct filled both;
    struct lot_facts facts;
    fill_both(&both, made, specified, values);
    lot_conditions_facts(&both.made, values, &facts);
    struct rope_conditions conditions = rope_conditions(&both.made, &facts);
    ret->hours = spread_over(parameters, rope_directions, COUNT(rope_directions), rope_hours_of,
                             &conditions);
    double *ends[] = {&ret->hours.low, &ret->hours.typical, &ret->hours.high};
    for (size_t i = 0; i < COUNT(ends); i++) {
        *ends[i] = *ends[i] >= never_hours ? INFINITY : *ends[i];
    }
    ret->share = odor_rope_share(&values->rope, &conditions, age_days * 24);
    ret->over_limit = odor_rope_over_limit(&values->rope, both.made.aerobic_spores_cfu_g);
    struct mold_conditions mold;
    struct mold_course course;
    lot_conditions_mold(&both.made, &facts, &mold);
    mold_course_init(&course, &mold, &values->mold);
    ret->reason = why_not(&course, &both.made, &facts);
    ret->valid = ret->reason[0] == '\0';
}

struct odor_context {
    const struct lot_conditions *lot;
};

static double odor_of(const struct models_values *values, const void *context, double guess)
{
    const struct odor_context *c = context;
    struct lot_facts facts;
    (void)guess;
    lot_conditions_facts(c->lot, values, &facts);
    struct odor_strength odor = odor_of_acids(&values->odor, &facts.smelled_mmol_l,
                                              c->lot->crumb_moisture_pct, values->odor.cold_c);
    return fmax(odor.ratio, 1e-9);
}

void predict_odor(const struct lot_conditions *made, const struct lot_conditions *specified,
                  const struct models_parameters *parameters, struct odor_prediction *ret)
{
    const struct models_values *values = &parameters->typical;
    struct filled both;
    struct lot_facts facts;
    fill_both(&both, made, specified, values);
    lot_conditions_facts(&both.made, values, &facts);
    const struct odor_values *odor = &values->odor;
    double moisture_pct = both.made.crumb_moisture_pct;
    ret->cold = odor_of_acids(odor, &facts.smelled_mmol_l, moisture_pct, odor->cold_c);
    ret->warm = odor_of_acids(odor, &facts.smelled_mmol_l, moisture_pct, odor->warm_c);
    struct odor_context context = {&both.made};
    ret->cold_ratio =
        spread_over(parameters, odor_directions, directions_of(&both.made, COUNT(odor_directions)),
                    odor_of, &context);
    ret->reason = !both.made.doses_known ? "what acid it holds is on no record, nor a target for it"
                  : !facts.acid_valid    ? "crumb outside the range of the acid formulas"
                                         : "";
    ret->valid = ret->reason[0] == '\0';
}
