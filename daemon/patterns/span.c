#include "patterns/span.h"
#include "base/cuts.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "patterns/others.h"
#include "patterns/span_rows.h"
#include "patterns/week_data.h"
#include "patterns/week_harm.h"
#include "patterns/week_rates.h"
#include "store/pattern.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { YEAR_LEAST = 2000, YEAR_MOST = 2099 };

/* ---- its name ---- */

/* "2026" and what stands behind it; -1: no year. */
static int year_of(const char *text, const char **ret_rest)
{
    int year = 0;
    for (int i = 0; i < 4; i++) {
        if (!isdigit((unsigned char)text[i]))
            return -1;
        year = year * 10 + (text[i] - '0');
    }
    *ret_rest = text + 4;
    return year >= YEAR_LEAST && year <= YEAR_MOST ? year : -1;
}

static void months(struct span *s, int year, int first, int count)
{
    int next = first + count;
    s->from_day = day_from_civil(year, first, 1);
    s->to_day = day_from_civil(year + (next > 12), next > 12 ? next - 12 : next, 1);
}

int span_parse(const char *text, struct span *ret, struct error *err)
{
    struct span s = {0};
    struct iso_week week;
    const char *rest = "";
    int year = year_of(text, &rest), month = 0;
    size_t length = strlen(rest);
    bool two = length == 3 && isdigit((unsigned char)rest[1]) && isdigit((unsigned char)rest[2]);
    if (two)
        month = 10 * (rest[1] - '0') + rest[2] - '0';
    if (iso_week_parse(text, &week, NULL) == 0) {
        s.from_day = iso_week_monday(week);
        s.to_day = s.from_day + 7;
        s.is_week = true;
    } else if (year > 0 && length == 0) {
        months(&s, year, 1, 12);
    } else if (year > 0 && two && rest[0] == '-' && month >= 1 && month <= 12) {
        months(&s, year, month, 1);
    } else if (year > 0 && length == 3 && strncmp(rest, "-Q", 2) == 0 && rest[2] >= '1' &&
               rest[2] <= '4') {
        months(&s, year, 3 * (rest[2] - '1') + 1, 3);
    } else {
        return error_set(err, ERROR_INVALID,
                         "must be a week, a month, a quarter or a year: 2026-W47, 2026-11, "
                         "2026-Q4, 2026");
    }
    text_clip(text, s.name, sizeof s.name);
    *ret = s;
    return 0;
}

/* ---- its report ---- */

static json_t *counts_json(const struct week_level *all)
{
    json_t *out = json_object();
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        json_object_set_new(out, symptom_name(s),
                            json_integer((json_int_t)llround(all->counts[s][WEEK_SPAN - 1])));
    return out;
}

static json_t *rates_json(const struct week_level *all)
{
    json_t *out = json_object();
    double units = all->units[WEEK_SPAN - 1];
    for (int s = 0; s < WEEK_SYMPTOMS && units > 0; s++)
        json_object_set_new(out, symptom_name(s),
                            json_real(all->counts[s][WEEK_SPAN - 1] * 1e6 / units));
    return out;
}

static void add_names(json_t *out, const char *name, const struct span *span)
{
    char from[16], to[16];
    json_object_set_new(out, name, json_string(span->name));
    json_object_set_new(out, "from", json_string(day_format(span->from_day, from)));
    json_object_set_new(out, "to", json_string(day_format(span->to_day - 1, to)));
}

json_t *span_against_json(const struct span *span, const struct week_data *now,
                          const struct week_data *was)
{
    json_t *out = json_object();
    add_names(out, "span", span);
    json_object_set_new(out, "over", json_boolean(was->shown.to_ms <= was->now_ms));
    json_object_set_new(out, "units",
                        json_integer((json_int_t)was->levels[0].units[WEEK_SPAN - 1]));
    for (int s = 0; s < WEEK_SYMPTOMS; s++)
        json_object_set_new(out, symptom_name(s),
                            week_rates_compare_json(&now->levels[0], &was->levels[0], s));
    return out;
}

static struct week_data_days days_of(const struct span *span, const struct span_query *query)
{
    return (struct week_data_days){span->from_day, span->to_day, query->now_ms, query->by,
                                   query->plant};
}

static json_t *report_json(const struct tz *tz, struct triage *triage,
                           const struct span_query *query, const struct week_data *now,
                           const struct week_data *was)
{
    char as_of[40];
    const struct week_level *all = &now->levels[0];
    const struct week_rates rates = {now, NULL, was, query->by, query->targets};
    json_t *out = json_object();
    add_names(out, "span", &query->span);
    json_object_set_new(out, "as_of", json_string(when_format(tz, query->now_ms, as_of)));
    json_object_set_new(out, "over", json_boolean(now->shown.to_ms <= query->now_ms));
    json_object_set_new(out, "complaints", counts_json(all));
    json_object_set_new(out, "units", json_integer((json_int_t)all->units[WEEK_SPAN - 1]));
    plant_level_set(out, query->plant);
    json_object_set_new(out, "rates", rates_json(all));
    json_object_set_new(out, "by", week_rates_by_json(&rates, triage));
    json_object_set_new(
        out, "unplaced",
        week_rates_unplaced_json(json_object_get(out, "by"), json_object_get(out, "complaints")));
    json_object_set_new(out, "causes", week_rates_causes_json(now, triage));
    if (was)
        json_object_set_new(out, "against", span_against_json(&query->against, now, was));
    return out;
}

static int add_harm(const struct week_harm_of *of, json_t *report, struct error *err)
{
    int rc = week_harm_since(of, report, err);
    return rc ? rc : week_harm_in_lots(of, report, err);
}

int span_report(struct store *store, const struct tz *tz, struct triage *triage,
                const struct span_query *query, json_t **ret, struct error *err)
{
    struct week_data *now = NULL, *was = NULL;
    struct span_query q = *query;
    tz = tz_of(tz, q.plant);
    q.by = q.by ? q.by : cuts_set(CUT_USUAL);
    bool began = store_look(store);
    const struct week_data_days days = days_of(&q.span, &q);
    const struct week_data_days then = days_of(&q.against, &q);
    int64_t harm = 0;
    json_t *possible = NULL;
    json_t *others = json_pack("{s:[]}", "headline");
    int rc = week_data_read_days(store, tz, &days, &now, err);
    const struct when_span now_until =
        rc ? (struct when_span){0} : when_span_until(now->shown, q.now_ms);
    if (!rc)
        rc = others_add(store, now_until, q.plant, others, err);
    if (!rc)
        rc = pattern_harm(store, now_until, q.plant, &harm, err);
    if (!rc)
        rc = span_rows_harm(store, &(struct span_harm){tz, now_until, q.plant, true, NULL},
                            &possible, err);
    if (!rc)
        rc = add_harm(
            &(struct week_harm_of){store, tz, now->shown, q.now_ms, q.plant, q.harm, q.desk},
            others, err);
    if (!rc && q.against.name[0])
        rc = week_data_read_days(store, tz, &then, &was, err);
    store_unlook(store, began);
    if (!rc) {
        *ret = report_json(tz, triage, &q, now, was);
        json_object_update(*ret, others);
        json_object_set_new(*ret, "harm_reports", json_integer(harm));
        json_object_set_new(*ret, "harm_possible",
                            json_integer((json_int_t)json_array_size(possible)));
    }
    json_decref(possible);
    json_decref(others);
    week_data_free(now);
    week_data_free(was);
    return rc;
}
