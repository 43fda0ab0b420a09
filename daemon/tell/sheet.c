/* What the pictures of a case's sheet are drawn from, of its own lot where that is settled: nothing
 * is worked out here that another answer tells, but what lies behind their figures is read out. */
#include "base/text.h"
#include "base/tz_of.h"
#include "store/case.h"
#include "tell/case_json.h"
#include "tell/tell.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    COURSE_POINTS = 60, /* of one lot, at most */
    COURSE_RECENT = 12, /* lots drawn beside it */
    NEAR_HOURS = 36,
    NEAR_LOTS = 300,
    AGE_DAYS = 60 /* older finds are told as one */
};

struct sheet {
    struct triage *triage;
    const struct case_rank *ranked;
    const struct case_row *row;
    struct lot_records records;
    const struct lot_record *record;
};

/* ---- core temperature through bake and cooling ---- */

static json_t *point_json(double x, double y, int decimals)
{
    return json_pack("[o, o]", jsonx_rounded(x, 1), jsonx_rounded(y, decimals));
}

/* Minutes since its first reading; of many every few. */
static json_t *series_json(const struct lot_record *record)
{
    const struct lot_series *series = lot_record_series(record, "core_temp_c");
    if (!series || series->count < 2)
        return NULL;
    json_t *points = json_array();
    const struct lot_value *values = &record->values[series->first];
    int every = (series->count + COURSE_POINTS - 1) / COURSE_POINTS;
    for (int i = 0; i < series->count; i += every)
        json_array_append_new(points, point_json(60 * (double)(values[i].at_ms - values[0].at_ms) /
                                                     (double)WHEN_HOUR_MS,
                                                 values[i].value, 1));
    return points;
}

static double median_of(const struct lot_record *record, const char *quantity)
{
    const struct lot_series *series = lot_record_series(record, quantity);
    return series && series->count ? lot_record_summary(record, series, INT64_MAX).median : NAN;
}

/* Where no series is kept: as it was packed, by how long it had cooled. */
static json_t *packed_json(const struct lot_record *record)
{
    double minutes = median_of(record, "cool_min"), packed_c = median_of(record, "core_at_pack_c");
    if (isnan(minutes) || isnan(packed_c))
        return NULL;
    return json_pack("[o]", point_json(minutes, packed_c, 1));
}

struct recent_courses {
    bool series;
    json_t *list;
};

static int add_recent(void *arg, const struct lot_record *record)
{
    struct recent_courses *recent = arg;
    json_t *points = recent->series ? series_json(record) : packed_json(record);
    if (points && json_array_size(recent->list) < COURSE_RECENT)
        json_array_append(recent->list, points);
    json_decref(points);
    return 0;
}

static double target_of(const struct lot_record *record, const char *quantity)
{
    const struct lot_series *series = lot_record_series(record, quantity);
    return series ? series->target : NAN;
}

static int add_course(const struct sheet *sheet, json_t *into, struct error *err)
{
    json_t *own = series_json(sheet->record);
    struct recent_courses recent = {.series = own != NULL};
    if (!own)
        own = packed_json(sheet->record);
    if (!own)
        return 0;
    recent.list = json_array();
    json_object_set_new(into, "course",
                        json_pack("{s:b, s:o, s:o, s:o}", "series", recent.series, "own", own,
                                  "recent", recent.list, "target_packed_c",
                                  jsonx_rounded(target_of(sheet->record, "core_at_pack_c"), 1)));
    return facts_recent(&sheet->triage->source, &sheet->records, sheet->record, add_recent, &recent,
                        err);
}

/* ---- when it was found ---- */

/* "reported": of those that did not say, it is the day they came; it was found by then. */
static json_t *found_json(const struct sheet *sheet)
{
    int count[AGE_DAYS + 1] = {0}, reported[AGE_DAYS + 1] = {0};
    const struct tz *tz = tz_of(sheet->triage->tz, sheet->record->lot.plant);
    json_t *list = json_array();
    struct fact_set facts = *case_rank_facts(sheet->ranked);
    const struct facts_job job = {.source = &sheet->triage->source,
                                  .input = &sheet->ranked->input,
                                  .set = &facts,
                                  .packed_day = tz_day(tz, sheet->record->lot.packed_from_ms)};
    for (int i = 0; i < job.input->count; i++) {
        double days = facts_age_days(&job, i);
        int at = isnan(days) ? -1 : days < AGE_DAYS ? (int)days : AGE_DAYS;
        if (at < 0)
            continue;
        count[at]++;
        reported[at] += job.input->complaints[i].found_day == WHEN_UNKNOWN_DAY;
    }
    for (int day = 0; day <= AGE_DAYS; day++)
        if (count[day])
            json_array_append_new(list, json_pack("{s:i, s:i, s:i}", "day", day, "complaints",
                                                  count[day], "reported", reported[day]));
    return list;
}

/* ---- the lots packed around it ---- */

struct near_lot {
    int64_t lot_id, packed_from_ms, packed_to_ms;
    int complaints;
};
struct near {
    const struct sheet *sheet;
    struct near_lot *lots;
    size_t count;
};

static int64_t apart_ms(const struct sheet *sheet, int64_t packed_from_ms)
{
    return packed_from_ms - sheet->record->lot.packed_from_ms;
}

static int take_near(void *arg, const struct company_lot *lot)
{
    struct near *near = arg;
    if (llabs(apart_ms(near->sheet, lot->packed_from_ms)) > NEAR_HOURS * WHEN_HOUR_MS)
        return 0;
    near->lots = xrealloc(near->lots, (near->count + 1) * sizeof *near->lots);
    near->lots[near->count++] =
        (struct near_lot){lot->lot_id, lot->packed_from_ms, lot->packed_to_ms, lot->observed};
    return 0;
}

static int by_complaints(const void *a, const void *b)
{
    const struct near_lot *x = a, *y = b;
    if (x->complaints != y->complaints)
        return x->complaints > y->complaints ? -1 : 1;
    return (x->lot_id > y->lot_id) - (x->lot_id < y->lot_id);
}

static double hours_of(const struct sheet *sheet, int64_t ms)
{
    return (double)apart_ms(sheet, ms) / (double)WHEN_HOUR_MS;
}

static json_t *near_lot_json(const struct sheet *sheet, const struct lot_record *record,
                             int complaints)
{
    const struct evidence_lot *lot = &record->lot;
    return json_pack("{s:s, s:s, s:o, s:o, s:i, s:b}", "lot", lot->lot, "line", lot->line, "from_h",
                     jsonx_rounded(hours_of(sheet, lot->packed_from_ms), 2), "to_h",
                     jsonx_rounded(hours_of(sheet, lot->packed_to_ms), 2), "complaints", complaints,
                     "own", record == sheet->record);
}

/* Those with most complaints, if there are too many. */
static int list_near(struct near *near, json_t *list, struct error *err)
{
    const struct sheet *sheet = near->sheet;
    int rc = 0;
    if (near->count)
        qsort(near->lots, near->count, sizeof *near->lots, by_complaints);
    for (size_t i = 0; i < near->count && i < NEAR_LOTS && !rc; i++) {
        const struct lot_record *record;
        rc = lot_record_get(sheet->triage->source.lots, &sheet->records, near->lots[i].lot_id,
                            &record, err);
        if (rc)
            break;
        if (strcmp(record->lot.plant, sheet->record->lot.plant) == 0)
            json_array_append_new(list, near_lot_json(sheet, record, near->lots[i].complaints));
        lot_record_unref(record);
    }
    return rc;
}

static int add_near(const struct sheet *sheet, json_t *into, struct error *err)
{
    struct company_view *view;
    struct near near = {.sheet = sheet};
    const struct case_input *input = &sheet->ranked->input;
    const struct company_around around = {sheet->triage->rules, input->symptom, sheet->record,
                                          input->as_of_ms};
    json_t *list = json_array();
    json_array_append_new(list, near_lot_json(sheet, sheet->record, sheet->row->complaints));
    json_object_set_new(into, "near",
                        json_pack("{s:i, s:o}", "hours", (int)NEAR_HOURS, "lots", list));
    int rc = company_view_open(sheet->triage->source.company, &sheet->records, &around, &view, err);
    if (rc)
        return rc;
    company_lots(view, take_near, &near);
    company_view_close(view);
    rc = list_near(&near, list, err);
    free(near.lots);
    return rc;
}

/* ---- where its packs went ---- */

/* As the complaint says, else that of the store it names; "" unknown. */
static const char *route_of(const struct lot_record *record, const struct case_complaint *complaint)
{
    if (*complaint->route)
        return complaint->route;
    for (int i = 0; i < record->dispatch_count && *complaint->store; i++)
        if (strcmp(record->dispatches[i].store, complaint->store) == 0)
            return record->dispatches[i].route;
    return "";
}

/* Of its route, or of its route and store. */
static bool is_first(const struct lot_record *record, int at, bool by_store)
{
    const struct lot_dispatch *one = &record->dispatches[at];
    for (int i = 0; i < at; i++)
        if (strcmp(record->dispatches[i].route, one->route) == 0 &&
            (!by_store || strcmp(record->dispatches[i].store, one->store) == 0))
            return false;
    return true;
}

static json_t *route_json(const struct lot_record *record, const char *route, int complaints)
{
    json_int_t units = 0;
    int stores = 0;
    for (int i = 0; i < record->dispatch_count; i++) {
        const struct lot_dispatch *one = &record->dispatches[i];
        if (strcmp(one->route, route) != 0)
            continue;
        units += one->units;
        stores += *one->store && is_first(record, i, true);
    }
    return json_pack("{s:s, s:I, s:i, s:i}", "route", route, "units", units, "stores", stores,
                     "complaints", complaints);
}

static json_t *routes_json(const struct sheet *sheet)
{
    const struct lot_record *record = sheet->record;
    const struct case_input *input = &sheet->ranked->input;
    const char *from[CASE_COMPLAINTS];
    json_t *list = json_array();
    for (int c = 0; c < input->count; c++)
        from[c] = route_of(record, &input->complaints[c]);
    for (int i = 0; i < record->dispatch_count; i++) {
        const char *route = record->dispatches[i].route;
        int complaints = 0;
        if (!is_first(record, i, false))
            continue;
        for (int c = 0; c < input->count; c++)
            complaints += strcmp(from[c], route) == 0;
        json_array_append_new(list, route_json(record, route, complaints));
    }
    return list;
}

/* ---- all ---- */

static int sheet_json(const struct sheet *sheet, struct store *store, json_t *into,
                      struct error *err)
{
    json_t *lot = NULL;
    int rc = tell_lot(sheet->triage, store, sheet->record->lot.lot_id, &lot, err);
    if (rc)
        return rc;
    json_object_set_new(into, "lot", lot);
    json_object_set_new(into, "found", found_json(sheet));
    json_object_set_new(into, "routes", routes_json(sheet));
    rc = add_course(sheet, into, err);
    return rc ? rc : add_near(sheet, into, err);
}

static int of_lot(struct sheet *sheet, struct store *store, json_t *into, struct error *err)
{
    int rc = lot_record_all(store, sheet->triage->rules, sheet->triage->tz, &sheet->records, err);
    if (!rc)
        rc = lot_record_get(sheet->triage->source.lots, &sheet->records, sheet->row->lot_id,
                            &sheet->record, err);
    if (rc)
        return rc;
    rc = sheet_json(sheet, store, into, err);
    lot_record_unref(sheet->record);
    return rc;
}

int tell_sheet(struct triage *triage, struct store *store, int64_t case_id, json_t **ret,
               struct error *err)
{
    struct case_rank ranked;
    struct case_row row;
    json_t *answer = json_object();
    int rc = case_rank_read(triage, store, case_id, &ranked, err);
    if (rc) {
        json_decref(answer);
        return rc;
    }
    struct sheet sheet = {.triage = ranked.triage, .ranked = &ranked, .row = &row};
    rc = case_get(store, case_id, &row, err);
    if (!rc && row.lot_id > 0)
        rc = of_lot(&sheet, store, answer, err);
    case_rank_clear(&ranked);
    if (rc)
        json_decref(answer);
    else
        *ret = answer;
    return rc;
}
