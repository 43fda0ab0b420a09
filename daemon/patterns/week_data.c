#include "patterns/week_data.h"
#include "base/text.h"
#include "store/pattern_span.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

char *week_data_name(int week, char buffer[static 16])
{
    return iso_week_format(iso_week_of(pattern_monday(week)), buffer);
}

/* Contamination causes are named after their places; of these the names differ. */
static const char CONTAMINATION[] = "contamination-";
static const struct {
    const char *cause, *place;
} PLACES[] = {{"film", "film-store"}, {"returns", "returns-dock"}, {"waste", "waste-area"}};

/* The place a cause speaks of, borrowed; NULL if it speaks of none. */
static const char *place_of_cause(const char *cause)
{
    if (strncmp(cause, CONTAMINATION, sizeof CONTAMINATION - 1) != 0)
        return NULL;
    cause += sizeof CONTAMINATION - 1;
    for (size_t i = 0; i < sizeof PLACES / sizeof PLACES[0]; i++) {
        if (strcmp(cause, PLACES[i].cause) == 0)
            return PLACES[i].place;
    }
    return cause;
}

const char *week_data_cause_of_place(const char *place, char *buffer, size_t size)
{
    if (!*place)
        return NULL;
    for (size_t i = 0; i < sizeof PLACES / sizeof PLACES[0]; i++) {
        if (strcmp(place, PLACES[i].place) == 0)
            place = PLACES[i].cause;
    }
    snprintf(buffer, size, "%s%s", CONTAMINATION, place);
    return buffer;
}

void week_data_free(struct week_data *d)
{
    if (!d)
        return;
    for (size_t i = 0; i < d->level_count; i++) {
        free(d->levels[i].level);
        free(d->levels[i].plant);
        if (d->levels[i].shared)
            free(d->levels[i].shared->lots);
        free(d->levels[i].shared);
    }
    free(d->levels);
    free(d);
}

/* ---- series and levels ---- */

/* Where a series' counts go: index + 1 of a level, and of a place; 0: nowhere. */
struct target {
    size_t level, place;
    int symptom;           /* -1: units */
    const struct cut *cut; /* NULL: all together */
};

struct reading {
    struct week_data *d;
    unsigned cuts;          /* those wanted */
    struct target *targets; /* by id of the series */
    size_t target_count;
    struct series *all; /* of all together, a plant's each */
    size_t all_count;
    int sign;
};
struct series {
    int64_t id;
    int symptom; /* -1: units */
};

static size_t add_level(struct week_data *d, const struct cut *cut, const char *level,
                        const char *plant)
{
    if (d->level_count == d->level_capacity) {
        d->level_capacity = d->level_capacity ? d->level_capacity * 2 : 64;
        d->levels = xrealloc(d->levels, d->level_capacity * sizeof *d->levels);
    }
    struct week_level *l = &d->levels[d->level_count++];
    memset(l, 0, sizeof *l);
    l->cut = cut;
    l->level = xstrdup(level);
    l->plant = xstrdup(plant);
    return d->level_count - 1;
}

static size_t find_level(const struct week_data *d, const struct week_named *named)
{
    size_t i = 0;
    while (i < d->level_count &&
           (strcmp(d->levels[i].cut ? d->levels[i].cut->name : "", named->factor) != 0 ||
            strcmp(d->levels[i].level, named->level) != 0 ||
            strcmp(d->levels[i].plant, named->plant) != 0))
        i++;
    return i;
}

size_t week_data_level(struct week_data *d, const struct week_named *named,
                       struct week_shared *shared)
{
    size_t at = find_level(d, named);
    if (at == d->level_count)
        at = add_level(d, cuts_find(named->factor), named->level, named->plant);
    else if (shared) {
        free(shared->lots);
        free(shared);
        return at;
    }
    if (shared) {
        text_clip(named->factor, shared->name, sizeof shared->name);
        snprintf(shared->where, sizeof shared->where, "with %s", shared->name);
        shared->cut = (struct cut){.name = shared->name, .source = CUT_LOT, .where = shared->where};
        d->levels[at].shared = shared;
        d->levels[at].cut = &shared->cut;
    }
    return at;
}

static int by_id(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

bool week_data_bears(const struct week_shared *shared, int64_t lot_id)
{
    return shared->lot_count &&
           bsearch(&lot_id, shared->lots, shared->lot_count, sizeof lot_id, by_id) != NULL;
}

/* Whether a level is its plant's: else what plants have of it is added up. */
static bool is_own(const struct cut *cut)
{
    return cut && cut->flags & CUT_OWN;
}

bool week_data_is_of(const struct week_level *level, const struct pattern_part *part)
{
    if (level->shared)
        return part->lot_id && week_data_bears(level->shared, part->lot_id);
    return strcmp(level->cut ? level->cut->name : "", part->factor) == 0 &&
           strcmp(level->level, part->level) == 0 &&
           (!is_own(level->cut) || strcmp(level->plant, part->plant) == 0);
}

/* Series come by factor, level and plant, so that a level is the last one or new. */
static size_t take_level(struct week_data *d, const struct cut *cut,
                         const struct pattern_series *row)
{
    const char *plant = is_own(cut) ? row->plant : "";
    if (!cut)
        return 0;
    const struct week_level *last = &d->levels[d->level_count - 1];
    if (last->cut == cut && strcmp(last->level, row->level) == 0 && strcmp(last->plant, plant) == 0)
        return d->level_count - 1;
    return add_level(d, cut, row->level, plant);
}

/* Causes always: they have a table of their own, and places are made of them. */
static bool wanted(const struct reading *r, const struct cut *cut)
{
    return cut && (cuts_in(r->cuts, cut) || cut->source == CUT_CAUSE);
}

static int add_series(void *arg, const struct pattern_series *row)
{
    struct reading *r = arg;
    size_t id = (size_t)row->id;
    int symptom = symptom_of(row->symptom);
    const struct cut *cut = *row->factor ? cuts_find(row->factor) : NULL;
    if ((symptom < 0 && *row->symptom) || (*row->factor && !wanted(r, cut)) ||
        (*r->d->plant && strcmp(row->plant, r->d->plant) != 0))
        return 0;
    if (id >= r->target_count) {
        size_t count = id + 256;
        r->targets = xrealloc(r->targets, count * sizeof *r->targets);
        memset(r->targets + r->target_count, 0, (count - r->target_count) * sizeof *r->targets);
        r->target_count = count;
    }
    r->targets[id] =
        (struct target){.level = take_level(r->d, cut, row) + 1, .symptom = symptom, .cut = cut};
    if (!cut) {
        r->all = xrealloc(r->all, (r->all_count + 1) * sizeof *r->all);
        r->all[r->all_count++] = (struct series){row->id, symptom};
    }
    return 0;
}

static const struct cut *places(void)
{
    const struct cut *cut = cuts_all();
    while (cut->source != CUT_PLACE)
        cut++;
    return cut;
}

/* Places come after all series: they are levels of their own that causes count for. */
static int add_place(void *arg, const struct pattern_series *row)
{
    struct reading *r = arg;
    struct target *t = (size_t)row->id < r->target_count ? &r->targets[row->id] : NULL;
    bool cause = t && t->cut && t->cut->source == CUT_CAUSE;
    const char *place = cause ? place_of_cause(row->level) : NULL;
    if (!place)
        return 0;
    for (size_t i = r->d->level_count; i-- > 0 && !t->place;) {
        const struct week_level *l = &r->d->levels[i];
        if (!l->cut || l->cut->source != CUT_PLACE)
            break;
        if (strcmp(l->level, place) == 0 && strcmp(l->plant, row->plant) == 0)
            t->place = i + 1;
    }
    if (!t->place)
        t->place = add_level(r->d, places(), place, row->plant) + 1;
    return 0;
}

static const struct target *find_target(const struct reading *r, int64_t series_id)
{
    if (series_id <= 0 || (size_t)series_id >= r->target_count || !r->targets[series_id].level)
        return NULL;
    return &r->targets[series_id];
}

/* ---- counts ---- */

static int index_of(int week, int shown, int span)
{
    int i = week - (shown - span + 1);
    return i >= 0 && i < span ? i : -1;
}

static double amount(const struct reading *r, const struct target *t, int64_t n)
{
    return r->sign * (double)n / (t->cut && cuts_fractional(t->cut) ? PATTERN_MILLION : 1);
}

static int add_received(void *arg, const struct pattern_count *row)
{
    struct reading *r = arg;
    const struct target *t = find_target(r, row->series_id);
    int i = index_of(row->received_week, r->d->week, WEEK_SPAN);
    if (!t || i < 0 || t->symptom < 0)
        return 0;
    double n = amount(r, t, row->n);
    r->d->levels[t->level - 1].counts[t->symptom][i] += n;
    if (t->place)
        r->d->levels[t->place - 1].counts[t->symptom][i] += n;
    return 0;
}

static int add_units(void *arg, const struct pattern_count *row)
{
    struct reading *r = arg;
    struct week_data *d = r->d;
    const struct target *t = find_target(r, row->series_id);
    int i = index_of(row->week, d->week, WEEK_SPAN);
    if (!t || t->symptom >= 0)
        return 0;
    if (i >= 0)
        d->levels[t->level - 1].units[i] += (double)row->n;
    return 0;
}

static int add_all_units(void *arg, const struct pattern_count *row)
{
    struct week_data *d = ((struct reading *)arg)->d;
    int h = index_of(row->week, d->week, WEEK_HISTORY + WEEK_DELAYS);
    if (h >= 0)
        d->units[h] += (double)row->n;
    return 0;
}

/* Of all together: by week of receipt and of packing. */
static int add_total(void *arg, const struct pattern_count *row)
{
    struct reading *r = arg;
    struct week_data *d = r->d;
    const struct target *t = find_target(r, row->series_id);
    if (!t || t->level != 1 || t->symptom < 0 || row->received_week > d->now_week)
        return 0;
    int s = t->symptom, delay = row->received_week - row->week;
    int received = index_of(row->received_week, d->week, WEEK_HISTORY);
    int made = index_of(row->week, d->week, WEEK_HISTORY);
    double n = amount(r, t, row->n);
    if (received >= 0)
        d->counts[s][received] += n;
    if (made < 0 || row->week == PATTERN_NO_WEEK)
        return 0;
    d->made_all[s][made] += n;
    if (delay >= 0 && delay < WEEK_DELAYS)
        d->made[s][made][delay] += n;
    return 0;
}

static int add_made(void *arg, const struct pattern_count *row)
{
    struct reading *r = arg;
    const struct target *t = find_target(r, row->series_id);
    if (!t || t->symptom < 0 || row->week != r->d->week || row->received_week > r->d->now_week)
        return 0;
    r->d->levels[t->level - 1].made[t->symptom] += amount(r, t, row->n);
    if (t->place)
        r->d->levels[t->place - 1].made[t->symptom] += amount(r, t, row->n);
    return 0;
}

/* What came between now and the end of its week was not known now. */
static int take_off(void *arg, const struct pattern_count *row)
{
    add_received(arg, row);
    add_total(arg, row);
    return add_made(arg, row);
}

/* ---- all of it ---- */

static int read_counts(struct store *store, const struct tz *tz, struct reading *r,
                       struct error *err)
{
    struct week_data *d = r->d;
    const struct pattern_weeks shown = {d->week - WEEK_SPAN + 1, d->week};
    const struct pattern_weeks past = {d->week - WEEK_HISTORY - WEEK_DELAYS + 1, d->week};
    const struct pattern_weeks unknown = {PATTERN_NO_WEEK, PATTERN_NO_WEEK};
    struct pattern_weeks received = shown;
    if (received.to_week > d->now_week)
        received.to_week = d->now_week;
    /* until that week is over by every plant's clock */
    const struct when_span ahead = {d->now_ms,
                                    tz_day_start_ms(tz, pattern_monday(d->now_week) + 9)};
    int rc = pattern_series(store, add_series, r, err);
    if (!rc)
        rc = pattern_series(store, add_place, r, err);
    if (!rc)
        rc = pattern_received(store, received, add_received, r, err);
    if (!rc)
        rc = pattern_units(store, shown, add_units, r, err);
    for (size_t i = 0; i < r->all_count && !rc; i++) {
        const struct series *series = &r->all[i];
        if (series->symptom < 0)
            rc = pattern_units_of(store, series->id, past, add_all_units, r, err);
        else
            rc = pattern_made(store, series->id, past, add_total, r, err);
        if (!rc && series->symptom >= 0)
            rc = pattern_made(store, series->id, unknown, add_total, r, err);
    }
    if (!rc)
        rc = pattern_made_week(store, d->week, add_made, r, err);
    r->sign = -1;
    if (!rc)
        rc = pattern_between(store, ahead, take_off, r, err);
    return rc;
}

static void lend_units(struct week_data *d)
{
    for (size_t i = 1; i < d->level_count; i++) {
        struct week_level *l = &d->levels[i];
        if (cuts_lent_units(l->cut))
            memcpy(l->units, d->levels[0].units, sizeof l->units);
    }
    while (d->first_units < WEEK_HISTORY + WEEK_DELAYS && d->units[d->first_units] <= 0)
        d->first_units++;
}

static int add_sum(void *arg, const struct pattern_count *row)
{
    struct reading *r = arg;
    const struct target *t = find_target(r, row->series_id);
    if (!t)
        return 0;
    struct week_level *levels = r->d->levels;
    if (t->symptom < 0)
        levels[t->level - 1].units[WEEK_SPAN - 1] += (double)row->n;
    else
        levels[t->level - 1].counts[t->symptom][WEEK_SPAN - 1] += amount(r, t, row->n);
    if (t->place && t->symptom >= 0)
        levels[t->place - 1].counts[t->symptom][WEEK_SPAN - 1] += amount(r, t, row->n);
    return 0;
}

int week_data_read_days(struct store *store, const struct tz *tz, const struct week_data_days *days,
                        struct week_data **ret, struct error *err)
{
    int rc = pattern_check_zone(store, tz, err);
    if (rc)
        return rc;
    struct week_data *d = xcalloc(1, sizeof *d);
    struct reading r = {.d = d, .cuts = days->cuts, .sign = 1};
    d->plant = days->plant ? days->plant : "";
    struct pattern_span span = pattern_span(tz, days->from_day, days->to_day, days->now_ms);
    d->now_ms = days->now_ms;
    d->shown.from_ms = span.all.from_ms;
    d->shown.to_ms = tz_day_start_ms(tz, days->to_day);
    add_level(d, NULL, "", "");
    rc = pattern_series(store, add_series, &r, err);
    if (!rc)
        rc = pattern_series(store, add_place, &r, err);
    if (!rc)
        rc = pattern_span_received(store, &span, add_sum, &r, err);
    if (!rc)
        rc = pattern_span_units(store, &span, add_sum, &r, err);
    lend_units(d);
    free(r.targets);
    free(r.all);
    if (rc)
        week_data_free(d);
    else
        *ret = d;
    return rc;
}

int week_data_read(struct store *store, const struct tz *tz, const struct week_data_query *query,
                   struct week_data **ret, struct error *err)
{
    int rc = pattern_check_zone(store, tz, err);
    if (rc)
        return rc;
    struct week_data *d = xcalloc(1, sizeof *d);
    struct reading r = {.d = d, .cuts = query->cuts, .sign = 1};
    d->plant = query->plant ? query->plant : "";
    int32_t monday = iso_week_monday(query->week);
    d->week = pattern_week_of_day(monday);
    d->now_week = pattern_week_of_day(tz_day(tz, query->now_ms));
    d->now_ms = query->now_ms;
    d->shown.from_ms = tz_day_start_ms(tz, monday);
    d->shown.to_ms = tz_day_start_ms(tz, monday + 7);
    double passed =
        (double)(d->now_ms - d->shown.from_ms) / (double)(d->shown.to_ms - d->shown.from_ms);
    d->passed = passed < 0 ? 0 : passed > 1 ? 1 : passed;
    add_level(d, NULL, "", "");
    rc = read_counts(store, tz, &r, err);
    lend_units(d);
    free(r.targets);
    free(r.all);
    if (rc)
        week_data_free(d);
    else
        *ret = d;
    return rc;
}
