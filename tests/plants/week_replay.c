/* What a plant's weeks would have said, Monday by Monday and within the week: lines of JSON for
 * weeks.py. The plant is rows of SQL, counted as the daemon counts them.
 *
 *     week_replay FOLDER ZONE [hours after each Monday…] <ROWS.sql     default 0: weeks that are
 * over
 *
 * FOLDER is an empty one. */
#include <gsl/gsl_errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "patterns/week_stories.h"
#include "patterns/week_to_come.h"
#include "patterns/week_traced.h"
#include "replay.h"

#define HOUR_MS INT64_C(3600000)

static int week_of(struct store *store, const char *sql)
{
    struct error err = {0};
    int64_t n = 0;
    must(db_number(store, sql, NULL, &n, &err), &err);
    return (int)n;
}

static void print_forecasts(const struct week_model *m)
{
    const struct week_data *d = m->data;
    for (int i = WEEK_HISTORY - TO_COME_WEEKS; i < WEEK_HISTORY; i++) {
        for (int s = 0; s < WEEK_SYMPTOMS; s++) {
            struct delay_forecast f;
            if (!week_to_come_forecast(m, s, i, &f))
                continue;
            printf(
                "{\"made\": %d, \"symptom\": %d, \"now_ms\": %lld, \"history\": %d, "
                "\"reported\": %g, \"expected\": %g, \"low\": %g, \"high\": %g, \"share\": %g}\n",
                d->week - (WEEK_HISTORY - 1 - i), s, (long long)d->now_ms,
                WEEK_HISTORY + WEEK_DELAYS - d->first_units, f.reported, f.expected_final,
                f.final.low, f.final.high, f.share);
        }
    }
}

static void print_signal(const struct week_data *d, const struct week_signal *s, int story)
{
    const struct week_level *level = &d->levels[s->level];
    printf("{\"week\": %d, \"story\": %d, \"factor\": \"%s\", \"level\": \"%s\", \"symptom\": %d, "
           "\"since\": %d, \"observed\": %g, \"expected\": %g, \"q\": %g}\n",
           d->week, story, level->cut ? level->cut->name : "all", level->level, s->symptom,
           d->week - (WEEK_SPAN - 1 - s->since), s->observed, s->expected, s->q);
}

static void print_stories(const struct replay *r, const struct week_model *m, struct week_data *d)
{
    struct error err = {0};
    size_t tested, count = 0, stories;
    struct week_story *story;
    struct week_signal *signals = week_signals(m, &tested);
    while (count < tested && signals[count].q <= WEEK_FALSE_SIGNALS)
        count++;
    const struct week_traced traced = {r->store, r->tz, m, d};
    must(week_traced(&traced, &signals, &count, &err), &err);
    const struct week_risen risen = {r->store, m->data, signals, count};
    must(week_stories(&risen, &story, &stories, &err), &err);
    printf("{\"week\": %d, \"stories\": %zu, \"tested\": %zu}\n", m->data->week, stories, tested);
    for (size_t i = 0; i < stories; i++) {
        print_signal(m->data, story[i].led_by, (int)i);
        for (int k = 0; k < story[i].count; k++)
            print_signal(m->data, story[i].beneath[k], -1 - (int)i);
    }
    free(story);
    free(signals);
}

static void replay_week(const struct replay *r, int week, double hours)
{
    struct error err = {0};
    struct week_data *d;
    struct week_model *model = xcalloc(1, sizeof *model);
    int32_t monday = pattern_monday(week);
    int64_t over_ms = tz_day_start_ms(r->tz, monday + 7);
    const struct week_data_query query = {iso_week_of(monday), over_ms + (int64_t)(hours * HOUR_MS),
                                          cuts_set(CUT_JUDGED), NULL};
    must(week_data_read(r->store, r->tz, &query, &d, &err), &err);
    week_expect_model_make(d, model);
    print_forecasts(model);
    if (hours <= 0)
        print_stories(r, model, d);
    free(model);
    week_data_free(d);
}

int main(int argc, char **argv)
{
    struct error err = {0};
    struct replay r;
    if (argc < 3) {
        fprintf(stderr, "usage: week_replay FOLDER ZONE [HOURS…] <ROWS.sql\n");
        return 2;
    }
    gsl_set_error_handler_off();
    must(tz_open(argv[2], &r.tz, &err), &err);
    replay_fill(&r, argv[1]);
    int first = week_of(r.store, "SELECT min(week) FROM pattern_units WHERE n > 0");
    int last = week_of(r.store, "SELECT max(week) FROM pattern_received WHERE n > 0");
    for (int week = first; week <= last; week++) {
        for (int i = 3; i < argc || i == 3; i++)
            replay_week(&r, week, i < argc ? atof(argv[i]) : 0);
    }
    store_close(r.store);
    tz_close(r.tz);
    return 0;
}
