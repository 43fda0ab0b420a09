#include "patterns/trace_due.h"
#include <math.h>

/* Share of complaints that are in about what was packed so long ago. */
static double in_by(const struct week_lag *lag, double age_weeks)
{
    double in = 0;
    for (int k = 0; k < WEEK_DELAYS; k++)
        in += lag->share[k] * fmin(fmax(age_weeks - k, 0), 1);
    return in;
}

void trace_due(struct trace_lots *t, const struct week_lag *lag, int64_t until_ms)
{
    for (size_t i = 0; i < t->count; i++) {
        struct trace_lot *lot = &t->lots[i];
        double weeks = (double)(until_ms - lot->packed_from_ms) / (7.0 * WHEN_DAY_MS);
        lot->due = 1 + (int64_t)((double)lot->units * in_by(lag, weeks));
    }
}

int trace_due_read(struct trace_lots *t, struct store *store, const struct trace_due_by *by,
                   struct error *err)
{
    int32_t today = tz_day(by->tz, by->now_ms);
    const struct week_data_query query = {.week = iso_week_of(by->day < today ? by->day : today),
                                          .now_ms = by->now_ms,
                                          .plant = by->plant};
    struct week_lag lag[WEEK_SYMPTOMS];
    struct week_data *data;
    int rc = week_data_read(store, by->tz, &query, &data, err);
    if (rc)
        return rc;
    week_expect_lags_make(data, data->week, lag);
    week_data_free(data);
    /* as of the day's begin: who asks twice a day is answered alike */
    trace_due(t, &lag[by->symptom], tz_day_start_ms(by->tz, today));
    return 0;
}
