#include "patterns/week_beside.h"
#include "base/length.h"
#include "base/text.h"
#include "patterns/week_aside.h"
#include "stats/mantel.h"
#include <string.h>

enum { COMPLAINTS_LEAST = 2, WEEKS_BEFORE = 8, TIMES_USUAL = 2 };
#define NEW_P                                                                                      \
    0.1 /* that so many of the week's are of it by chance, by the story's weeks before             \
         */

/* Of the complaint at hand, and of all so far. */
struct telling {
    const struct week_level *led;
    const struct week_aside *aside;
    int64_t complaint_id;
    bool is_led;
    char cause[LENGTH_WORD + 1]; /* the likeliest, if likelier than not */
    json_t *counts;              /* by cause */
    json_int_t all;
};

static void end_complaint(struct telling *t)
{
    bool told = t->is_led && !week_aside_has(t->aside, t->complaint_id);
    t->all += told;
    if (told && t->cause[0]) {
        json_int_t before = json_integer_value(json_object_get(t->counts, t->cause));
        json_object_set_new(t->counts, t->cause, json_integer(before + 1));
    }
    t->is_led = false;
    t->cause[0] = 0;
}

static int add_part(void *arg, const struct pattern_part *row)
{
    struct telling *t = arg;
    if (row->complaint_id != t->complaint_id)
        end_complaint(t);
    t->complaint_id = row->complaint_id;
    t->is_led |= week_data_is_of(t->led, row);
    if (strcmp(row->factor, "cause") == 0 && 2 * (double)row->n > PATTERN_MILLION)
        text_clip(row->level, t->cause, sizeof t->cause);
    return 0;
}

/* Complaints a week that a cause is held to have had of late, of all the plant. */
static double usual(const struct week_data *d, int symptom, const char *cause)
{
    double sum = 0;
    for (size_t i = 0; i < d->level_count; i++) {
        const struct week_level *level = &d->levels[i];
        bool same =
            level->cut && level->cut->source == CUT_CAUSE && strcmp(level->level, cause) == 0;
        for (int w = 2; same && w < 2 + WEEKS_BEFORE; w++)
            sum += level->counts[symptom][WEEK_SPAN - w];
    }
    return sum / WEEKS_BEFORE;
}

static bool is_another(const struct week_beside_of *of, const char *cause)
{
    const struct week_level *led = of->led;
    bool leads = led->cut && led->cut->source == CUT_CAUSE && strcmp(led->level, cause) == 0;
    return !leads && strcmp(cause, "not-known") != 0 &&
           (!of->cause || strcmp(of->cause->level, cause) != 0);
}

/* Had the story's weeks before fewer of it? Of one that began this week: had the plant, if the
 * story is told as another cause. */
static bool is_new(const struct week_data *d, const struct week_beside_of *of,
                   const struct mantel_table *table, const char *cause)
{
    struct pvalue p;
    if (table->c + table->d == 0)
        return of->cause && (double)table->a >= TIMES_USUAL * usual(d, of->symptom, cause);
    return table->b + table->d == 0 ||
           (mantel_exact(table, 1, 0.95, &p, NULL) == 0 && p.midp_greater <= NEW_P);
}

static json_int_t count_of(const struct telling *t, const char *cause)
{
    return json_integer_value(json_object_get(t->counts, cause));
}

/* The most first. */
static json_t *rows_json(const struct week_data *d, const struct week_beside_of *of,
                         const struct telling *now, const struct telling *before)
{
    json_t *out = json_array(), *count;
    const char *cause;
    json_object_foreach(now->counts, cause, count)
    {
        json_int_t n = json_integer_value(count), was = count_of(before, cause);
        const struct mantel_table table = {n, now->all - n, was, before->all - was};
        size_t at = 0;
        if (n < COMPLAINTS_LEAST || !is_another(of, cause) || !is_new(d, of, &table, cause))
            continue;
        while (at < json_array_size(out) &&
               json_integer_value(json_object_get(json_array_get(out, at), "complaints")) >= n)
            at++;
        json_array_insert_new(out, at,
                              json_pack("{s:s, s:I, s:I, s:I, s:I}", "cause", cause, "complaints",
                                        n, "of", now->all, "before", was, "before_of",
                                        before->all));
    }
    return out;
}

static int tell(struct store *store, const struct week_data *d, const struct week_beside_of *of,
                struct when_span span, struct telling *ret, struct error *err)
{
    struct week_aside aside = {0};
    const struct pattern_scope scope = {
        .plant = d->plant, .symptom = symptom_name(of->symptom), .span = span};
    *ret = (struct telling){.led = of->led, .aside = &aside, .counts = json_object()};
    int rc = week_aside_read(store, &scope, &aside, err);
    if (!rc)
        rc = pattern_span_parts(store, &scope, add_part, ret, err);
    end_complaint(ret);
    week_aside_free(&aside);
    return rc;
}

int week_beside(struct store *store, const struct week_data *d, const struct week_beside_of *of,
                json_t **ret, struct error *err)
{
    struct telling now = {0}, before = {0};
    const int64_t since_ms = d->shown.from_ms - (int64_t)of->weeks_before * 7 * WHEN_DAY_MS;
    int rc = tell(store, d, of, when_span_until(d->shown, d->now_ms), &now, err);
    if (!rc)
        rc = tell(store, d, of, (struct when_span){since_ms, d->shown.from_ms}, &before, err);
    *ret = rc ? NULL : rows_json(d, of, &now, &before);
    json_decref(now.counts);
    json_decref(before.counts);
    return rc;
}
