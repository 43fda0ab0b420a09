#include "patterns/effect.h"
#include "stats/poisson.h"
#include "store/case_work.h"
#include "store/pattern.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct side {
    long complaints;
    double units;
};

struct scope {
    const struct action_row *action;
    struct side *side;
};

static int add_lot(void *arg, const struct pattern_lot *row)
{
    struct scope *s = arg;
    s->side->units += (double)row->units;
    s->side->complaints += (long)row->complaints;
    return 0;
}

static int read_side(struct store *store, const struct action_row *a, int64_t from_ms,
                     int64_t to_ms, int64_t until_ms, struct side *ret, struct error *err)
{
    struct scope scope = {a, ret};
    *ret = (struct side){0};
    return pattern_lots(store, a->line, a->symptom, from_ms, to_ms, until_ms, add_lot, &scope, err);
}

static json_t *side_json(const struct side *s)
{
    struct interval limits = poisson_limits((double)s->complaints, 0.95);
    double scale = s->units > 0 ? 1e6 / s->units : 0;
    return json_pack("{s:I, s:f, s:f, s:f, s:f}", "complaints", (json_int_t)s->complaints, "units",
                     s->units, "per_million", (double)s->complaints * scale, "low",
                     limits.low * scale, "high", limits.high * scale);
}

static json_t *effect_json(const struct action_row *a, const struct side *before,
                           const struct side *after)
{
    struct poisson_ratio ratio;
    json_t *out = json_pack("{s:I, s:s, s:o, s:o}", "action", (json_int_t)a->id, "note", a->note,
                            "before", side_json(before), "after", side_json(after));
    if (before->units <= 0 || after->units <= 0 ||
        poisson_compare(after->complaints, after->units, before->complaints, before->units, 0.95,
                        &ratio)) {
        json_object_set_new(out, "verdict", json_string("too early to tell"));
        return out;
    }
    json_object_set_new(
        out, "ratio",
        json_pack("{s:o, s:o, s:o}", "ratio",
                  isfinite(ratio.ratio) ? json_real(ratio.ratio) : json_null(), "low",
                  json_real(ratio.exact.low), "high",
                  isfinite(ratio.exact.high) ? json_real(ratio.exact.high) : json_null()));
    json_object_set_new(out, "p", json_real(ratio.p.two_sided));
    json_object_set_new(out, "verdict",
                        json_string(ratio.exact.high < 1  ? "fewer complaints"
                                    : ratio.exact.low > 1 ? "more complaints"
                                                          : "too early to tell"));
    return out;
}

int effect_report(struct store *store, const struct tz *tz, int64_t action_id, int days,
                  int64_t now_ms, json_t **ret, struct error *err)
{
    struct action_row action;
    struct side before, after;
    int rc = action_get(store, action_id, &action, err);
    if (rc)
        return rc;
    int32_t day = tz_day(tz, action.at_ms);
    int64_t from_ms = tz_day_start_ms(tz, day - days), to_ms = tz_day_start_ms(tz, day + days);
    rc = read_side(store, &action, from_ms, action.at_ms, now_ms, &before, err);
    if (!rc)
        rc = read_side(store, &action, action.at_ms, to_ms, now_ms, &after, err);
    if (!rc)
        *ret = effect_json(&action, &before, &after);
    return rc;
}
