/* What the complaints say. Unknown is not "no": a member that is missing says nothing. */
#include "facts/facts.h"
#include <math.h>
#include <string.h>

static const char *season_of(int month)
{
    static const char *const SEASONS[] = {"winter", "spring", "summer", "autumn"};
    return SEASONS[month % 12 / 3];
}

/* "unknown" is a word of the form, and says nothing. */
static void take_word(const struct fact_name *name, const char *word, struct fact *fact)
{
    if (word && strcmp(word, "unknown") != 0)
        fact_set_word(fact, vocabulary_word(name, word));
}

static void take_field(const struct case_complaint *complaint, const struct fact_name *name,
                       struct fact *fact)
{
    const json_t *value = fields_get(complaint->body, name->field);
    size_t i;
    const json_t *item;
    if (json_is_number(value))
        fact_set_number(fact, json_number_value(value));
    else if (json_is_boolean(value))
        take_word(name, json_is_true(value) ? "yes" : "no", fact);
    else
        take_word(name, json_string_value(value), fact);
    json_array_foreach(value, i, item) take_word(name, json_string_value(item), fact);
}

static int32_t found_day(const struct facts_job *job, int i)
{
    const struct case_complaint *complaint = &job->input->complaints[i];
    return complaint->found_day != WHEN_UNKNOWN_DAY ? complaint->found_day
                                                    : tz_day(facts_tz(job), complaint->received_ms);
}

static void take_season(const struct facts_job *job, int i, struct fact *fact)
{
    int year, month, of_month;
    day_to_civil(found_day(job, i), &year, &month, &of_month);
    fact_set_word(fact, season_of(month));
}

static int32_t code_day(const struct facts_job *job, int i)
{
    return job->set->record ? job->set->record->lot.code_day : job->input->complaints[i].code_day;
}

static double days_between(int32_t from, int32_t to)
{
    return from == WHEN_UNKNOWN_DAY || to == WHEN_UNKNOWN_DAY ? NAN : (double)to - from;
}

/* 0 on the day of packing, 1 on the code date, above 1 past it. */
static double life_share(const struct facts_job *job, int32_t day)
{
    if (!job->set->record || job->packed_day == WHEN_UNKNOWN_DAY)
        return NAN;
    double life = days_between(job->packed_day, job->set->record->lot.code_day);
    return life > 0 ? days_between(job->packed_day, day) / life : NAN;
}

static void take_one(const struct facts_job *job, const struct fact_name *name, int i,
                     struct fact *fact)
{
    const struct case_complaint *complaint = &job->input->complaints[i];
    switch (name->code) {
    case SEEN_SEASON:
        take_season(job, i, fact);
        break;
    case SEEN_AGE_DAYS:
        fact_set_number(fact, facts_age_days(job, i));
        break;
    case SEEN_RECEIVED_AGE_DAYS:
        if (job->packed_day != WHEN_UNKNOWN_DAY)
            fact_set_number(fact, (double)tz_day(facts_tz(job), complaint->received_ms) -
                                      job->packed_day);
        break;
    case SEEN_DAYS_PAST_CODE:
        fact_set_number(fact, days_between(code_day(job, i), found_day(job, i)));
        break;
    case SEEN_BOUGHT_LIFE_SHARE:
        fact_set_number(fact, life_share(job, complaint->bought_day));
        break;
    case SEEN_DAYS_AT_HOME:
        fact_set_number(fact, days_between(complaint->bought_day, found_day(job, i)));
        break;
    case SEEN_PACKS:
        fact_set_number(fact, complaint->packs);
        break;
    default:
        take_field(complaint, name, fact);
    }
}

void facts_observed(const struct facts_job *job)
{
    const struct rules *rules = job->source->rules;
    for (int f = 0; f < rules->fact_count; f++)
        if (facts_wanted(job, f, FACT_OBSERVATION))
            for (int i = 0; i < job->input->count; i++)
                take_one(job, &rules->facts[f].name, i, fact_set_at(job->set, f, i));
}
