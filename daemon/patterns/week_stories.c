#include "patterns/week_stories.h"
#include "base/text.h"
#include "store/pattern_span.h"
#include <stdlib.h>
#include <string.h>

/* A signal belongs to a story from this share of its complaints on. */
#define SAME 0.5
/* A cause is said to be the likely one if so much of what rose is held to be its. */
#define MOST 0.5

enum { NONE = -1 };

/* Signals of one symptom, and how many complaints every two of them share. */
struct shared {
    const struct week_data *data;
    const struct week_signal *of[WEEK_STORY_SIGNALS];
    int count;
    double both[WEEK_STORY_SIGNALS][WEEK_STORY_SIGNALS];
    double part[WEEK_STORY_SIGNALS]; /* of the complaint at hand */
    int64_t complaint_id;
    bool told[WEEK_STORY_SIGNALS];
};

static const struct cut *cut_of(const struct shared *s, int i)
{
    return s->data->levels[s->of[i]->level].cut;
}

static void end_complaint(struct shared *s)
{
    for (int i = 0; i < s->count; i++) {
        for (int j = 0; j < s->count; j++)
            s->both[i][j] += s->part[i] * s->part[j];
    }
    memset(s->part, 0, sizeof s->part);
}

static int add_part(void *arg, const struct pattern_part *row)
{
    struct shared *s = arg;
    if (row->complaint_id != s->complaint_id)
        end_complaint(s);
    s->complaint_id = row->complaint_id;
    for (int i = 0; i < s->count; i++) {
        const struct week_level *level = &s->data->levels[s->of[i]->level];
        bool fraction = level->cut && cuts_fractional(level->cut);
        if (week_data_is_of(level, row)) /* any part tells the lot, a cause's too */
            s->part[i] = fraction ? (double)row->n / PATTERN_MILLION : 1;
    }
    return 0;
}

/* A cause is what it was, not where. */
static bool is_place(const struct cut *cut)
{
    return cut && !cuts_fractional(cut);
}

static double excess(const struct week_signal *s)
{
    return s->observed - s->expected;
}

/* What tracing holds to be the one explains best; NONE if nothing was traced. */
static int find_traced(const struct shared *s)
{
    int best = NONE;
    for (int i = 0; i < s->count; i++) {
        if (!s->told[i] && s->of[i]->leads &&
            (best == NONE || s->of[i]->evidence > s->of[best]->evidence))
            best = i;
    }
    return best;
}

/* Signals are in the order of their p: backwards, the last one found is the surest. */
static int find_leader(const struct shared *s)
{
    int first = find_traced(s), all = -1;
    if (first != NONE)
        return first;
    for (int i = s->count; i-- > 0;) {
        if (s->told[i])
            continue;
        if (!cut_of(s, i))
            all = i;
        else if (is_place(cut_of(s, i)))
            first = i;
    }
    if (all >= 0 && (first < 0 || excess(s->of[first]) < SAME * excess(s->of[all])))
        return all;
    for (int i = 0; i < s->count && first < 0; i++)
        first = s->told[i] ? -1 : i;
    return first;
}

static bool is_cause(const struct shared *s, int i)
{
    return cut_of(s, i) && cut_of(s, i)->source == CUT_CAUSE;
}

static struct week_story make_story(struct shared *s, int leader)
{
    struct week_story story = {.led_by = s->of[leader]};
    for (int i = 0; i < s->count; i++) {
        bool same = i == leader || !cut_of(s, i) || !cut_of(s, leader) ||
                    s->both[leader][i] >= SAME * s->both[i][i];
        if (s->told[i] || !same)
            continue;
        s->told[i] = true;
        if (i != leader)
            story.beneath[story.count++] = s->of[i];
        if (is_cause(s, i) && excess(s->of[i]) >= MOST * excess(s->of[leader]))
            story.cause = s->of[i];
    }
    return story;
}

static int read_shared(struct store *store, struct shared *s, int symptom, struct error *err)
{
    int weeks = 0;
    for (int i = 0; i < s->count; i++)
        weeks = WEEK_SPAN - s->of[i]->since > weeks ? WEEK_SPAN - s->of[i]->since : weeks;
    struct when_span span = {s->data->shown.from_ms - (int64_t)(weeks - 1) * 7 * WHEN_DAY_MS,
                             s->data->shown.to_ms};
    span = when_span_until(span, s->data->now_ms);
    const struct pattern_scope scope = {
        .plant = s->data->plant, .symptom = symptom_name(symptom), .span = span};
    int rc = pattern_span_parts(store, &scope, add_part, s, err);
    end_complaint(s);
    return rc;
}

static double newest_excess(const struct week_signal *s)
{
    return s->newest - s->newest_usual;
}

/* What goes on before what eases, what is over last; of those, what began this week first, then
 * what brought most too many in it. */
static int by_news(const void *a, const void *b)
{
    const struct week_signal *x = ((const struct week_story *)a)->led_by;
    const struct week_signal *y = ((const struct week_story *)b)->led_by;
    bool new_x = x->since == WEEK_SPAN - 1, new_y = y->since == WEEK_SPAN - 1;
    if (x->course != y->course)
        return (int)x->course - (int)y->course;
    if (new_x != new_y)
        return new_x ? -1 : 1;
    if (newest_excess(x) != newest_excess(y))
        return newest_excess(x) > newest_excess(y) ? -1 : 1;
    return x < y ? -1 : x > y; /* of one array, the surest first */
}

int week_stories(const struct week_risen *risen, struct week_story **ret, size_t *ret_count,
                 struct error *err)
{
    struct week_story *stories = xcalloc(risen->count + 1, sizeof *stories);
    size_t n = 0;
    int rc = 0;
    for (int symptom = 0; symptom < WEEK_SYMPTOMS && !rc; symptom++) {
        struct shared *s = xcalloc(1, sizeof *s);
        s->data = risen->data;
        for (size_t i = 0; i < risen->count && s->count < WEEK_STORY_SIGNALS; i++) {
            if (risen->signals[i].symptom == symptom)
                s->of[s->count++] = &risen->signals[i];
        }
        if (s->count > 1)
            rc = read_shared(risen->store, s, symptom, err);
        for (int leader; !rc && (leader = find_leader(s)) >= 0;)
            stories[n++] = make_story(s, leader);
        free(s);
    }
    if (rc) {
        free(stories);
        return rc;
    }
    qsort(stories, n, sizeof *stories, by_news);
    *ret = stories;
    *ret_count = n;
    return 0;
}
