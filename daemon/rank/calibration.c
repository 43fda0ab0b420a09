#include "rank/calibration.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "facts/model_lot.h"
#include "models/calibrate.h"
#include "rank/case_rank.h"
#include "stats/robust.h"
#include "store/company_count.h"
#include "store/retained.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define QUANTITY "mold_free_days"
#define FACTOR_MOST 5.0 /* of time: beyond, something else than a scale is wrong */
enum { SAMPLES_MOST = 400, WATCHED_DAYS = 365 };

/* ---- what was adopted ---- */

static const struct {
    const char *factor, *parameter;
} SCALES[] = {{"time_scale", "mold.time_scale"}, {"spores_scale", "mold.spores_scale"}};

static int read_factor(const json_t *fit, const char *name, double ret[3], struct error *err)
{
    static const char *const ENDS[] = {"low", "typical", "high"};
    const json_t *factor = json_object_get(fit, name);
    for (int i = 0; i < 3; i++) {
        ret[i] = json_number_value(json_object_get(factor, ENDS[i]));
        if (!(ret[i] > 0) || !isfinite(ret[i]) || (i && ret[i] < ret[i - 1])) {
            error_set(err, ERROR_INVALID, "the calibration kept by the plant cannot be read");
            error_field(err, name, ENDS[i]);
            return ERROR_INVALID;
        }
    }
    return 0;
}

int calibration_apply(struct triage *triage, const json_t *adopted, struct error *err)
{
    const json_t *fit = json_object_get(adopted, "fit");
    struct models_parameters scaled = triage->models;
    int rc = 0;
    for (size_t i = 0; i < sizeof SCALES / sizeof SCALES[0]; i++) {
        double factor[3], low, typical, high;
        rc = read_factor(fit, SCALES[i].factor, factor, err);
        if (rc)
            return rc;
        parameters_get(&scaled, SCALES[i].parameter, &low, &typical, &high);
        parameters_set(&scaled, SCALES[i].parameter, typical * factor[0], typical * factor[1],
                       typical * factor[2]);
    }
    triage->uncalibrated = triage->models;
    triage->models = scaled;
    triage->calibration = json_deep_copy(adopted);
    triage_mark(triage, fit);
    for (int i = 0; i < triage->plant_count && !rc; i++)
        rc = calibration_apply(triage->plants[i].triage, adopted, err);
    return rc;
}

json_t *calibration_adoption(const json_t *report, const char *by, const char *at)
{
    const json_t *fit = json_object_get(report, "fit");
    return json_pack("{s:s, s:s, s:O, s:O, s:{s:O, s:O}}", "by", by, "at", at, "samples",
                     json_object_get(report, "samples"), "found", json_object_get(report, "found"),
                     "fit", "time_scale", json_object_get(fit, "new_lot"), "spores_scale",
                     json_object_get(fit, "spores_scale"));
}

/* ---- samples ---- */

struct kept {
    char lot[64], product[64];
    double before, now; /* predicted mold-free days by the rules, and as now in force */
};

struct fitting {
    struct triage *triage;
    struct lot_records records;
    struct retained_sample row[SAMPLES_MOST];
    int rows, blamed, outside;
    struct calibrate_sample sample[SAMPLES_MOST];
    struct mold_course course[SAMPLES_MOST];
    struct kept kept[SAMPLES_MOST];
    struct calibrate_residual residual[SAMPLES_MOST];
    size_t count;
    struct calibrate_fit fit;
    bool fitted;
};

static int take_row(void *arg, const struct retained_sample *row)
{
    struct fitting *f = arg;
    assert(f->rows < SAMPLES_MOST);
    f->row[f->rows++] = *row;
    return 0;
}

/* The sample never left the plant: it knew no lorry and no shop. */
static void stay_home(struct model_lot *lot)
{
    lot->made.segment_count = lot->specified.segment_count = 0;
}

/* By the rules of its lot's plant: the factors that are fitted go for the whole company. */
static int add_sample(struct fitting *f, struct store *store, const struct retained_sample *row,
                      struct error *err)
{
    struct triage *triage;
    struct lot_records own;
    const struct lot_record *record;
    const struct fact_baseline *baseline;
    int rc = triage_of_lot(f->triage, store, row->lot_id, &triage, err);
    const struct facts_source *source = &triage->source;
    const struct lot_records *records = triage == f->triage ? &f->records : &own;
    if (!rc && records == &own)
        rc = lot_record_all(store, triage->rules, triage->tz, &own, err);
    if (!rc)
        rc = lot_record_get(source->lots, records, row->lot_id, &record, err);
    if (rc)
        return rc;
    rc = facts_baseline(source, records, record, record->lot.packed_to_ms + WHEN_DAY_MS, &baseline,
                        err);
    if (!rc) {
        struct model_lot lot;
        struct mold_course now;
        struct mold_course *course = &f->course[f->count];
        struct kept *kept = &f->kept[f->count];
        model_lot_of(source->rules, record, baseline, INT64_MAX, &lot);
        stay_home(&lot);
        predict_mold_course(&lot.made, &lot.specified, &triage->uncalibrated, course);
        predict_mold_course(&lot.made, &lot.specified, &triage->models, &now);
        snprintf(kept->lot, sizeof kept->lot, "%s", record->lot.lot);
        snprintf(kept->product, sizeof kept->product, "%s", record->lot.product);
        if (course->valid && row->days > 0) {
            kept->before = mold_free_days(course, NAN);
            kept->now = mold_free_days(&now, NAN);
            f->sample[f->count++] = (struct calibrate_sample){course, row->days, row->none_yet, 1};
        } else {
            f->outside++;
        }
        cache_object_unref((void *)baseline);
    }
    lot_record_unref(record);
    return rc;
}

static int collect(struct fitting *f, struct store *store, struct error *err)
{
    int64_t newest = WHEN_UNKNOWN_MS;
    int rc = lot_record_all(store, f->triage->rules, f->triage->tz, &f->records, err);
    if (!rc)
        rc = retained_newest(store, &newest, err);
    if (!rc && newest != WHEN_UNKNOWN_MS) {
        const struct retained_scope scope = {
            QUANTITY, {newest - WATCHED_DAYS * WHEN_DAY_MS, newest + 1}, SAMPLES_MOST};
        rc = retained_samples(store, &scope, take_row, f, &f->blamed, err);
    }
    for (int i = 0; i < f->rows && !rc; i++)
        rc = add_sample(f, store, &f->row[i], err);
    return rc;
}

/* ---- the report ---- */

static json_t *factor_json(const struct calibrate_factor *factor)
{
    return json_pack("{s:o, s:o, s:o}", "low", jsonx_rounded(factor->low, 4), "typical",
                     jsonx_rounded(factor->value, 4), "high", jsonx_rounded(factor->high, 4));
}

static json_t *fit_json(const struct fitting *f)
{
    if (!f->fitted)
        return json_null();
    return json_pack(
        "{s:o, s:o, s:o, s:o, s:o}", "time_scale", factor_json(&f->fit.time), "spores_scale",
        factor_json(&f->fit.spores), "new_lot", factor_json(&f->fit.predictive), "lot_sigma",
        jsonx_rounded(f->fit.lot_sigma, 4), "position_gap", jsonx_rounded(f->fit.position_ks, 3));
}

/* Mold seen in a daily look came up in the day before it. */
static double seen_days(const struct calibrate_sample *sample)
{
    return sample->days - sample->look_days / 2;
}

static json_t *errors_json(const struct fitting *f)
{
    double *before = xcalloc(f->count + 1, sizeof *before);
    double *after = xcalloc(f->count + 1, sizeof *after);
    double *now = xcalloc(f->count + 1, sizeof *now);
    size_t n = 0;
    for (size_t i = 0; i < f->count; i++) {
        if (f->sample[i].none_yet)
            continue;
        double seen = seen_days(&f->sample[i]);
        before[n] = fabs(seen - f->kept[i].before);
        now[n] = fabs(seen - f->kept[i].now);
        after[n++] = fabs(seen - f->residual[i].predicted_days);
    }
    json_t *errors =
        json_pack("{s:o, s:o, s:o, s:s}", "before", jsonx_rounded(robust_median(before, n), 2),
                  "after", jsonx_rounded(f->fitted ? robust_median(after, n) : NAN, 2), "now",
                  jsonx_rounded(robust_median(now, n), 2), "unit", "d");
    free(before);
    free(after);
    free(now);
    return errors;
}

static json_t *residuals_json(const struct fitting *f)
{
    json_t *list = json_array();
    for (size_t i = 0; i < f->count; i++) {
        const struct calibrate_residual *r = &f->residual[i];
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:o, s:o, s:o, s:b, s:o}", "lot", f->kept[i].lot, "product",
                            f->kept[i].product, "before", jsonx_rounded(f->kept[i].before, 2),
                            "predicted", jsonx_rounded(f->fitted ? r->predicted_days : NAN, 2),
                            "observed", jsonx_rounded(f->sample[i].days, 2), "none_yet",
                            f->sample[i].none_yet, "position",
                            jsonx_rounded(f->fitted ? r->position : NAN, 4)));
    }
    return list;
}

/* Why the fit cannot stand for the plant, "" if it can. */
static void judge(const struct fitting *f, const struct error *fault, char *out, size_t size)
{
    double time = f->fit.time.value;
    *out = '\0';
    if (!f->fitted)
        snprintf(out, size, "%s", fault->text);
    else if (time > FACTOR_MOST || time < 1 / FACTOR_MOST)
        snprintf(out, size,
                 "a factor of %.2g on mold times is more than a scale can stand for: look at the "
                 "doses, pH and how samples are kept first",
                 time);
}

int calibration_report(struct triage *triage, struct store *store, json_t **ret, struct error *err)
{
    struct error fault = {0};
    char reason[sizeof fault.text];
    struct fitting *f = xcalloc(1, sizeof *f);
    size_t found = 0;
    f->triage = triage;
    int rc = collect(f, store, err);
    if (rc) {
        free(f);
        return rc;
    }
    assert(f->count + (size_t)f->outside == (size_t)f->rows);
    f->fitted = calibrate_mold(f->sample, f->count, f->residual, &f->fit, &fault) == 0;
    for (size_t i = 0; i < f->count; i++)
        found += !f->sample[i].none_yet;
    judge(f, &fault, reason, sizeof reason);
    *ret = json_pack("{s:I, s:I, s:{s:i, s:i}, s:o, s:o, s:o, s:O?, s:b, s:s}", "samples",
                     (json_int_t)f->count, "found", (json_int_t)found, "left_out", "blamed",
                     f->blamed, "outside", f->outside, "fit", fit_json(f), "before_after",
                     errors_json(f), "residuals", residuals_json(f), "adopted", triage->calibration,
                     "valid", !*reason, "reason", reason);
    free(f);
    return 0;
}
