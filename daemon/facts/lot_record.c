#include "facts/lot_record.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/units.h"
#include "rules/catalogue.h"
#include "rules/vocabulary.h"
#include "stats/robust.h"
#include "store/company_count.h"
#include "store/measured.h"
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- building ---- */

enum { MIXES_MOST = 512 };

struct build {
    struct lot_record *record;
    const struct rules *rules;
    const struct tz *tz;
    double mix_flour[MIXES_MOST];
};

static struct lot_series *series_of(struct lot_record *record, const char *quantity)
{
    /* rows come by quantity: the last series is nearly always the one */
    for (int i = record->series_count - 1; i >= 0; i--)
        if (strcmp(record->series[i].quantity, quantity) == 0)
            return &record->series[i];
    record->series =
        xrealloc(record->series, (size_t)(record->series_count + 1) * sizeof *record->series);
    struct lot_series *series = &record->series[record->series_count++];
    *series =
        (struct lot_series){.first = record->value_count, .target = NAN, .low = NAN, .high = NAN};
    snprintf(series->quantity, sizeof series->quantity, "%s", quantity);
    return series;
}

/* Two names of one quantity need not come one behind the other: a series has its values together,
 * by time, whatever was added of others meanwhile. */
static void add_value(struct lot_record *record, struct lot_series *series, double value,
                      int64_t at_ms)
{
    if (series->count == 0)
        series->first = record->value_count;
    int at = series->first + series->count, behind;
    while (at > series->first && record->values[at - 1].at_ms > at_ms)
        at--;
    record->values =
        xrealloc(record->values, (size_t)(record->value_count + 1) * sizeof *record->values);
    behind = record->value_count - at;
    memmove(record->values + at + 1, record->values + at, (size_t)behind * sizeof *record->values);
    for (int i = 0; behind && i < record->series_count; i++)
        record->series[i].first += record->series + i != series && record->series[i].first >= at;
    record->values[at] = (struct lot_value){value, at_ms};
    record->value_count++;
    series->count++;
}

static int take_reading(void *arg, const struct evidence_reading *row)
{
    struct build *build = arg;
    const char *quantity = rules_quantity(build->rules, row->quantity);
    add_value(build->record, series_of(build->record, quantity), row->value, row->at_ms);
    return 0;
}

static int take_target(void *arg, const struct evidence_target *row)
{
    struct build *build = arg;
    struct lot_series *series =
        series_of(build->record, rules_quantity(build->rules, row->quantity));
    series->target = row->target;
    series->low = row->low;
    series->high = row->high;
    return 0;
}

static int take_mix(void *arg, const struct evidence_mix *row)
{
    struct build *build = arg;
    struct lot_record *record = build->record;
    if (record->mix_count == MIXES_MOST)
        return 0; /* no plant makes a lot of more mixes; the rest adds nothing */
    size_t count = (size_t)record->mix_count + 1;
    record->mixes = xrealloc(record->mixes, count * sizeof *record->mixes);
    record->mix_at_ms = xrealloc(record->mix_at_ms, count * sizeof *record->mix_at_ms);
    snprintf(record->mixes[count - 1], sizeof record->mixes[0], "%s", row->mix);
    record->mix_at_ms[count - 1] = row->at_ms;
    build->mix_flour[count - 1] = row->flour_kg;
    record->flour_kg += row->flour_kg;
    record->mix_count++;
    return 0;
}

static int mix_of(const struct lot_record *record, const char *mix)
{
    for (int i = 0; i < record->mix_count; i++)
        if (strcmp(record->mixes[i], mix) == 0)
            return i;
    return -1;
}

/* Preserving ingredients that a use tells the kind of, besides the plant's own two. */
struct named {
    char dose[LENGTH_WORD + 1], strength[LENGTH_WORD + 1]; /* quantities */
    bool is_inhibitor;
};

/* All there are, in the dough and on the surface. */
enum { NAMED_MOST = 2 * PRESERVERS_MOST, DOSED = MATERIALS + NAMED_MOST };

/* Uses of one material or named ingredient, per mix where the record says which. */
struct dosing {
    struct build *build;
    int named_count;
    bool by_mix[DOSED], any[DOSED];
    double lot_kg[DOSED], lot_active_kg[DOSED];
    double active_sum[DOSED], active_weight[DOSED];
    /* of each mix; zero as far as there are mixes */
    double kg[DOSED][MIXES_MOST];
    double active_kg[DOSED][MIXES_MOST];
    bool entered[DOSED][MIXES_MOST];
    struct named named[NAMED_MOST];
};

static void clear_mixes(struct dosing *dosing, int m)
{
    size_t mixes = (size_t)dosing->build->record->mix_count;
    memset(dosing->kg[m], 0, mixes * sizeof dosing->kg[m][0]);
    memset(dosing->active_kg[m], 0, mixes * sizeof dosing->active_kg[m][0]);
    memset(dosing->entered[m], 0, mixes * sizeof dosing->entered[m][0]);
}

/* All of it would be 800 KB to clear, for each of the dozens of lots that a first ranking reads. */
static struct dosing *dosing_new(struct build *build)
{
    struct dosing *dosing = xmalloc(sizeof *dosing);
    memset(dosing, 0, offsetof(struct dosing, kg));
    dosing->build = build;
    for (int m = 0; m < MATERIALS; m++)
        clear_mixes(dosing, m);
    return dosing;
}

enum { INHIBITOR = 1, SOFTENER = 2, ACID = 3, YEAST = 4, FAT = 5 }; /* material_of() */

static bool is_on_surface(const struct preserver *preserver, const char *applied)
{
    return *applied ? strcmp(applied, "surface") == 0 : preserver && preserver->on_surface;
}

/* Which of what is dosed a use is of; -1: none. */
static int dosed_of(struct dosing *dosing, const struct evidence_use *row)
{
    const struct rules *rules = dosing->build->rules;
    const struct preserver *preserver = catalogue_preserver(rules->catalogue, row->kind);
    bool on_surface = is_on_surface(preserver, row->applied);
    char name[LENGTH_WORD + 1], strength[LENGTH_WORD + 1];
    if (!*row->kind)
        return material_of(row->material);
    const char *dose = rules_quantity(
        rules,
        preserver_quantity(row->kind, on_surface ? PRESERVER_SURFACE_DOSE : PRESERVER_DOSE, name));
    if (dose != name)
        return strcmp(dose, "acid_pct_flour") == 0 ? ACID : INHIBITOR;
    for (int i = 0; i < dosing->named_count; i++)
        if (strcmp(dosing->named[i].dose, dose) == 0)
            return MATERIALS + i;
    if (dosing->named_count == NAMED_MOST)
        return -1; /* kinds that no rule has any more */
    clear_mixes(dosing, MATERIALS + dosing->named_count);
    struct named *named = &dosing->named[dosing->named_count++];
    text_clip(dose, named->dose, sizeof named->dose);
    text_clip(rules_quantity(rules, preserver_quantity(row->kind, PRESERVER_STRENGTH, strength)),
              named->strength, sizeof named->strength);
    named->is_inhibitor = preserver && preserver->role == PRESERVER_INHIBITOR;
    return MATERIALS + dosing->named_count - 1;
}

static void add_use(struct build *build, const struct evidence_use *row, double kg)
{
    struct lot_record *record = build->record;
    for (int i = 0; i < record->use_count; i++)
        if (strcmp(record->uses[i].material, row->material) == 0 &&
            strcmp(record->uses[i].material_lot, row->material_lot) == 0) {
            if (!isnan(kg))
                record->uses[i].kg = isnan(record->uses[i].kg) ? kg : record->uses[i].kg + kg;
            return;
        }
    record->uses = xrealloc(record->uses, (size_t)(record->use_count + 1) * sizeof *record->uses);
    struct lot_use *use = &record->uses[record->use_count++];
    *use = (struct lot_use){.kg = kg, .active_pct = row->active_pct, .first_ms = WHEN_UNKNOWN_MS};
    snprintf(use->material, sizeof use->material, "%s", row->material);
    snprintf(use->material_lot, sizeof use->material_lot, "%s", row->material_lot);
    snprintf(use->supplier, sizeof use->supplier, "%s", row->supplier);
    text_clip(row->kind, use->kind, sizeof use->kind);
    use->on_surface =
        is_on_surface(catalogue_preserver(build->rules->catalogue, row->kind), row->applied);
}

static int take_use(void *arg, const struct evidence_use *row)
{
    struct dosing *dosing = arg;
    double kg = NAN;
    if (isnan(row->amount) ||
        units_convert(row->amount, *row->unit ? row->unit : "kg", "kg", &kg, NULL))
        kg = NAN; /* film by the metre, closures by the piece */
    add_use(dosing->build, row, kg);
    int m = dosed_of(dosing, row);
    if (m < 0)
        return 0;
    if (!isnan(row->active_pct)) {
        double weight = isnan(kg) ? 1 : kg;
        dosing->active_sum[m] += row->active_pct * weight;
        dosing->active_weight[m] += weight;
    }
    if (isnan(kg))
        return 0;
    double active = isnan(row->active_pct) ? NAN : kg * row->active_pct / 100;
    int mix = mix_of(dosing->build->record, row->mix);
    dosing->any[m] = true;
    if (mix >= 0) {
        dosing->by_mix[m] = true;
        dosing->entered[m][mix] = true;
        dosing->kg[m][mix] += kg;
        dosing->active_kg[m][mix] += active;
    } else {
        dosing->lot_kg[m] += kg;
        dosing->lot_active_kg[m] += active;
    }
    return 0;
}

static void add_computed(struct lot_record *record, const char *quantity, double value,
                         int64_t at_ms, bool *fresh)
{
    struct lot_series *series = series_of(record, quantity);
    if (series->count > 0 && !*fresh)
        return; /* what was read stands */
    if (isnan(value))
        return;
    *fresh = true;
    series->computed = true;
    add_value(record, series, value, at_ms);
}

static void dose(struct dosing *dosing, int of, const char *quantity, bool active)
{
    struct build *build = dosing->build;
    struct lot_record *record = build->record;
    bool fresh = false;
    if (!dosing->any[of] || record->flour_kg <= 0)
        return;
    if (!dosing->by_mix[of]) {
        double kg = active ? dosing->lot_active_kg[of] : dosing->lot_kg[of];
        add_computed(record, quantity, 100 * kg / record->flour_kg, record->lot.made_from_ms,
                     &fresh);
        return;
    }
    /* a mix with no entry may have got none, or nobody wrote it down: not a dose of zero */
    for (int i = 0; i < record->mix_count; i++) {
        double kg = active ? dosing->active_kg[of][i] : dosing->kg[of][i];
        if (build->mix_flour[i] > 0 && dosing->entered[of][i])
            add_computed(record, quantity, 100 * kg / build->mix_flour[i], record->mix_at_ms[i],
                         &fresh);
    }
}

/* Share of the lot's mixes that have no entry of what others of them have. */
static double without_entry(const struct dosing *dosing, int of)
{
    int mixes = dosing->build->record->mix_count, without = 0;
    for (int i = 0; i < mixes && dosing->by_mix[of]; i++)
        without += !dosing->entered[of][i];
    return mixes ? (double)without / mixes : 0;
}

static void unrecorded(struct dosing *dosing, int material, const char *quantity)
{
    struct lot_record *record = dosing->build->record;
    double share = without_entry(dosing, material);
    bool fresh = false;
    for (int i = 0; material == INHIBITOR && i < dosing->named_count; i++)
        if (dosing->named[i].is_inhibitor)
            share = fmax(share, without_entry(dosing, MATERIALS + i));
    if (share > 0)
        add_computed(record, quantity, share, record->lot.made_from_ms, &fresh);
}

static void strength(struct dosing *dosing, int of, const char *quantity)
{
    struct lot_record *record = dosing->build->record;
    bool fresh = false;
    if (dosing->active_weight[of] > 0)
        add_computed(record, quantity, dosing->active_sum[of] / dosing->active_weight[of],
                     record->lot.made_from_ms, &fresh);
}

static void dose_all(struct dosing *dosing)
{
    static const struct {
        const char *quantity;
        int material;
        bool active;
    } DOSES[] = {
        {"inhibitor_pct_flour", INHIBITOR, false}, {"inhibitor_active_pct_flour", INHIBITOR, true},
        {"softener_pct_flour", SOFTENER, false},   {"acid_pct_flour", ACID, false},
        {"yeast_pct_flour", YEAST, false},         {"fat_pct_flour", FAT, false}};
    for (size_t i = 0; i < sizeof DOSES / sizeof DOSES[0]; i++)
        dose(dosing, DOSES[i].material, DOSES[i].quantity, DOSES[i].active);
    unrecorded(dosing, INHIBITOR, "inhibitor_unrecorded_share");
    unrecorded(dosing, SOFTENER, "softener_unrecorded_share");
    strength(dosing, INHIBITOR, "inhibitor_active_pct");
    for (int i = 0; i < dosing->named_count; i++) {
        dose(dosing, MATERIALS + i, dosing->named[i].dose, false);
        strength(dosing, MATERIALS + i, dosing->named[i].strength);
    }
}

/* The weighed inhibitor, per mix in order of time, where uses give no amount. */
static void dose_from_weighed(struct build *build)
{
    struct lot_record *record = build->record;
    static const struct {
        const char *weighed, *dose;
    } PAIRS[] = {{"inhibitor_kg", "inhibitor_weighed_pct_flour"},
                 {"inhibitor_kg", "inhibitor_pct_flour"},
                 {"acid_kg", "acid_pct_flour"}};
    for (size_t p = 0; p < sizeof PAIRS / sizeof PAIRS[0]; p++) {
        const struct lot_series *weighed = lot_record_series(record, PAIRS[p].weighed);
        bool fresh = false;
        if (!weighed || weighed->count == 0 || record->flour_kg <= 0)
            continue;
        int first = weighed->first, count = weighed->count;
        bool one_each = count == record->mix_count;
        for (int i = 0; i < count; i++) {
            double flour = one_each ? build->mix_flour[i] : record->flour_kg / record->mix_count;
            double kg = record->values[first + i].value;
            int64_t at_ms = record->values[first + i].at_ms;
            if (flour > 0)
                add_computed(record, PAIRS[p].dose, 100 * kg / flour, at_ms, &fresh);
        }
    }
}

static int take_dispatch(void *arg, const struct evidence_dispatch *row)
{
    struct build *build = arg;
    struct lot_record *record = build->record;
    record->dispatches = xrealloc(record->dispatches, (size_t)(record->dispatch_count + 1) *
                                                          sizeof *record->dispatches);
    struct lot_dispatch *dispatch = &record->dispatches[record->dispatch_count++];
    *dispatch = (struct lot_dispatch){
        .at_ms = row->at_ms, .units = row->units, .transit_c = row->transit_c};
    snprintf(dispatch->route, sizeof dispatch->route, "%s", row->route);
    snprintf(dispatch->store, sizeof dispatch->store, "%s", row->store);
    return 0;
}

static int take_result(void *arg, const struct measured_row *row)
{
    struct lot_record *record = ((struct build *)arg)->record;
    if (isnan(row->value) && !*row->word)
        return 0; /* words that no rule has */
    record->results =
        xrealloc(record->results, (size_t)(record->result_count + 1) * sizeof *record->results);
    struct lot_result *result = &record->results[record->result_count++];
    *result = (struct lot_result){.value = row->value};
    text_clip(row->quantity, result->quantity, sizeof result->quantity);
    text_clip(row->word, result->word, sizeof result->word);
    return 0;
}

static int first_uses(struct store *store, struct lot_record *record, struct error *err)
{
    int rc = 0;
    for (int i = 0; !rc && i < record->use_count; i++)
        if (material_of(record->uses[i].material) >= 0)
            rc = evidence_material_first(store, record->uses[i].material,
                                         record->uses[i].material_lot, &record->uses[i].first_ms,
                                         err);
    return rc;
}

static void destroy(struct cache_object *cached)
{
    struct lot_record *record = (struct lot_record *)(void *)cached;
    free(record->series);
    free(record->values);
    free(record->uses);
    free(record->mixes);
    free(record->mix_at_ms);
    free(record->dispatches);
    free(record->results);
    free(record);
}

/* What is compared with the recipe's dose has its target. */
static void share_targets(struct lot_record *record)
{
    static const char *const SAME[] = {"inhibitor_weighed_pct_flour", "inhibitor_active_pct_flour"};
    const struct lot_series *dose = lot_record_series(record, "inhibitor_pct_flour");
    for (int i = 0; dose && i < record->series_count; i++)
        for (size_t k = 0; k < sizeof SAME / sizeof SAME[0]; k++)
            if (strcmp(record->series[i].quantity, SAME[k]) == 0 && isnan(record->series[i].target))
                record->series[i].target = dose->target;
}

static int read_record(struct store *store, int64_t lot_id, struct build *build, struct error *err)
{
    struct lot_record *record = build->record;
    int rc = evidence_lot(store, lot_id, &record->lot, err);
    if (!rc)
        rc = evidence_mixes(store, lot_id, take_mix, build, err);
    if (!rc)
        rc = evidence_readings(store, lot_id, take_reading, build, err);
    if (rc)
        return rc;
    struct dosing *dosing = dosing_new(build);
    rc = evidence_uses(store, lot_id, take_use, dosing, err);
    if (!rc) {
        dose_from_weighed(build); /* mix by mix: tells more than a lot's total */
        dose_all(dosing);
        rc = evidence_targets(
            store, record->lot.product_id,
            tz_day(tz_of(build->tz, record->lot.plant), record->lot.packed_from_ms), take_target,
            build, err);
        share_targets(record);
    }
    free(dosing);
    if (!rc)
        rc = evidence_dispatches(store, lot_id, take_dispatch, build, err);
    if (!rc)
        rc = measured_of_lot(store, lot_id, take_result, build, err);
    return rc ? rc : first_uses(store, record, err);
}

int lot_record_all(struct store *store, const struct rules *rules, const struct tz *tz,
                   struct lot_records *ret, struct error *err)
{
    ret->store = store;
    ret->tz = tz;
    ret->rules = rules;
    return company_count_records_serial(store, &ret->serial, err);
}

int lot_record_get(struct cache *cache, const struct lot_records *records, int64_t lot_id,
                   const struct lot_record **ret, struct error *err)
{
    struct cache_key key = {(uint64_t)lot_id, 0, 0};
    struct lot_record *record = cache_get(cache, key, records->serial);
    if (record) {
        *ret = record;
        return 0;
    }
    struct build *build = xcalloc(1, sizeof *build);
    record = xcalloc(1, sizeof *record);
    cache_object_init(&record->cached, destroy);
    build->record = record;
    build->rules = records->rules;
    build->tz = records->tz;
    int rc = read_record(records->store, lot_id, build, err);
    free(build);
    if (rc) {
        cache_object_unref(record);
        return rc;
    }
    cache_put(cache, key, records->serial, record);
    *ret = record;
    return 0;
}

void lot_record_unref(const struct lot_record *record)
{
    cache_object_unref((void *)record);
}

/* ---- reading ---- */

const struct lot_series *lot_record_series(const struct lot_record *record, const char *quantity)
{
    for (int i = 0; i < record->series_count; i++)
        if (strcmp(record->series[i].quantity, quantity) == 0)
            return &record->series[i];
    return NULL;
}

enum { FOUND_MOST = 64 }; /* values of one quantity beside the readings */

struct lot_summary lot_record_summary(const struct lot_record *record,
                                      const struct lot_series *series, int64_t as_of_ms)
{
    struct lot_summary summary = {0, NAN, NAN, NAN, WHEN_UNKNOWN_MS};
    double few[64], *values = few;
    if (series->count > 64)
        values = xcalloc((size_t)series->count, sizeof *values);
    for (int i = 0; i < series->count; i++) {
        const struct lot_value *value = &record->values[series->first + i];
        if (value->at_ms > as_of_ms)
            continue;
        values[summary.count++] = value->value;
        summary.min = fmin(summary.min, value->value); /* fmin(NAN, x) is x */
        summary.max = fmax(summary.max, value->value);
        if (value->at_ms > summary.last_ms)
            summary.last_ms = value->at_ms;
    }
    summary.median = robust_median(values, (size_t)summary.count);
    if (values != few)
        free(values);
    return summary;
}

/* Those of a laboratory, in `values`. */
static int results_of(const struct lot_record *record, const char *quantity, double *values,
                      int most)
{
    int n = 0;
    for (int i = 0; i < record->result_count && n < most; i++)
        if (strcmp(record->results[i].quantity, quantity) == 0 && !isnan(record->results[i].value))
            values[n++] = record->results[i].value;
    return n;
}

static struct lot_summary summary_of(const double *values, int count, int64_t at_ms)
{
    struct lot_summary summary = {count, NAN, NAN, NAN, at_ms};
    double sorted[FOUND_MOST];
    for (int i = 0; i < count; i++) {
        sorted[i] = values[i];
        summary.min = fmin(values[i], summary.min); /* fmin(x, NAN) is x */
        summary.max = fmax(values[i], summary.max);
    }
    if (count)
        summary.median = robust_median(sorted, (size_t)count);
    return summary;
}

struct lot_summary lot_record_with(const struct lot_record *record, const char *quantity,
                                   const double *found, int count, int64_t as_of_ms)
{
    double results[FOUND_MOST];
    const struct lot_series *series = lot_record_series(record, quantity);
    const int of_labs = results_of(record, quantity, results, FOUND_MOST);
    struct lot_summary summary = {0, NAN, NAN, NAN, WHEN_UNKNOWN_MS};
    if (of_labs)
        summary = summary_of(results, of_labs, as_of_ms);
    else if (series && series->count)
        summary = lot_record_summary(record, series, as_of_ms);
    if (count <= 0)
        return summary;
    struct lot_summary packs = summary_of(found, count < FOUND_MOST ? count : FOUND_MOST, as_of_ms);
    if (summary.count) {
        packs.median = (packs.median + summary.median) / 2;
        packs.min = fmin(packs.min, summary.min);
        packs.max = fmax(packs.max, summary.max);
        packs.count += summary.count;
    }
    return packs;
}

void lot_record_ages(const struct lot_record *record, double ret_days[MATERIALS])
{
    for (int m = 0; m < MATERIALS; m++)
        ret_days[m] = NAN;
    for (int i = 0; i < record->use_count; i++) {
        const struct lot_use *use = &record->uses[i];
        int m = material_of(use->material);
        if (m >= 0 && use->first_ms != WHEN_UNKNOWN_MS)
            ret_days[m] =
                fmax(ret_days[m], /* fmax(NAN, x) is x */
                     (double)(record->lot.made_from_ms - use->first_ms) / (double)WHEN_DAY_MS);
    }
}
