#include "tell/gaps.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "stats/robust.h"
#include "store/case.h"
#include "store/record_gaps.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CASES = 300,   /* the newest: they are ranked once for each record */
    RECORDS = 160, /* kinds of records that rules read */
    STILL = 12,    /* equal values in a row, of a quantity that took other ones before */
    VALUES = 8,    /* fewer are no usual */
    WEEK_MS = 7 * 24 * 3600 * 1000
};
static const double SETTLED = 0.8, DRIFT_Z = 3.5;

/* ---- which lots have which record ---- */

struct listing {
    json_t *rows; /* "kind what line" → row */
    const char *week;
};

static int take_gap(void *arg, const struct record_gap *one)
{
    struct listing *l = arg;
    char key[256];
    const char *kind = record_kind_table(one->kind)->kind;
    snprintf(key, sizeof key, "%s\t%s\t%s", kind, one->what, one->line);
    json_t *row = json_object_get(l->rows, key);
    if (!row) {
        row = json_pack("{ss ss ss si si s[]}", "kind", kind, "what", one->what, "line", one->line,
                        "lots", 0, "with", 0, "weeks");
        json_object_set_new(l->rows, key, row);
    }
    json_array_append_new(json_object_get(row, "weeks"),
                          json_pack("{ss sI}", "week", l->week, "with", (json_int_t)one->lots));
    return 0;
}

static json_int_t with_in(const json_t *row, const char *week)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(row, "weeks"), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "week")), week) == 0)
            return json_integer_value(json_object_get(one, "with"));
    }
    return 0;
}

/* Every week in which the line packed, with none where none has it. */
static void complete_row(const json_t *rows, json_t *row)
{
    char key[256];
    size_t i;
    const json_t *one;
    json_int_t lots = 0, with = 0;
    json_t *weeks = json_array();
    snprintf(key, sizeof key, "lots\t\t%s", json_string_value(json_object_get(row, "line")));
    json_array_foreach(json_object_get(json_object_get(rows, key), "weeks"), i, one)
    {
        const char *week = json_string_value(json_object_get(one, "week"));
        json_int_t all = json_integer_value(json_object_get(one, "with")), has = with_in(row, week);
        lots += all;
        with += has;
        json_array_append_new(weeks,
                              json_pack("{ss sI sI}", "week", week, "lots", all, "with", has));
    }
    json_object_set_new(row, "weeks_of", weeks);
    json_object_set_new(row, "lots", json_integer(lots));
    json_object_set_new(row, "with", json_integer(with));
    json_object_set_new(row, "share", jsonx_rounded(lots ? (double)with / (double)lots : 0, 4));
}

static int list_records(struct store *store, const struct tz *tz, struct when_span span,
                        json_t **ret, struct error *err)
{
    struct listing l = {.rows = json_object()};
    const char *key;
    json_t *row;
    int rc = 0;
    int32_t day = tz_day(tz, span.from_ms);
    for (; !rc && tz_day_start_ms(tz, day) < span.to_ms; day += 7) {
        char week[16];
        struct when_span one = {tz_day_start_ms(tz, day), tz_day_start_ms(tz, day + 7)};
        l.week = iso_week_format(iso_week_of(day), week);
        rc = record_gaps_list(store, one, take_gap, &l, err);
    }
    json_object_foreach(l.rows, key, row) complete_row(l.rows, row);
    *ret = json_array();
    json_object_foreach(l.rows, key, row)
    {
        json_object_set(row, "weeks", json_object_get(row, "weeks_of"));
        json_object_del(row, "weeks_of");
        json_array_append(*ret, row);
    }
    json_decref(l.rows);
    return rc;
}

/* ---- values that stand still, values that left their usual ---- */

struct series {
    char line[64], quantity[64];
    double *values;
    int64_t *at_ms;
    size_t count, capacity;
    int64_t recent_ms; /* from here on it is now */
    const struct tz *tz;
    json_t *still, *drifted;
};

static void judge_still(struct series *s)
{
    size_t run = 1, others = 0;
    char at[40];
    while (run < s->count && s->values[s->count - 1 - run] == s->values[s->count - 1])
        run++;
    for (size_t i = 1; i + run < s->count; i++)
        others += s->values[i] != s->values[i - 1];
    if (run < STILL ||
        others < VALUES) /* one that is always the same, or seldom another, is none */
        return;
    json_array_append_new(
        s->still, json_pack("{ss ss so sI ss}", "line", s->line, "quantity", s->quantity, "value",
                            jsonx_rounded(s->values[s->count - 1], 6), "times", (json_int_t)run,
                            "since", when_format(s->tz, s->at_ms[s->count - run], at)));
}

static void judge_drift(struct series *s)
{
    size_t before = 0;
    while (before < s->count && s->at_ms[before] < s->recent_ms)
        before++;
    size_t now = s->count - before;
    if (before < VALUES || now < VALUES)
        return;
    struct robust_scale usual = robust_measure(s->values, before);
    double median = robust_median(s->values + before, now);
    /* of a median of many, what is far is far less than for one value */
    double z = robust_z(median, usual, fabs(usual.median) * 0.01 + 1e-9) * sqrt((double)now) / 2;
    if (fabs(median - usual.median) < usual.deviation || fabs(z) < DRIFT_Z)
        return;
    json_array_append_new(s->drifted,
                          json_pack("{ss ss so so so}", "line", s->line, "quantity", s->quantity,
                                    "usual", jsonx_rounded(usual.median, 4), "now",
                                    jsonx_rounded(median, 4), "z", jsonx_rounded(z, 2)));
}

static void end_series(struct series *s)
{
    if (s->count) {
        judge_still(s);
        judge_drift(s);
    }
    s->count = 0;
}

static int take_value(void *arg, const struct record_value *one)
{
    struct series *s = arg;
    if (strcmp(s->line, one->line) != 0 || strcmp(s->quantity, one->quantity) != 0) {
        end_series(s);
        snprintf(s->line, sizeof s->line, "%s", one->line);
        snprintf(s->quantity, sizeof s->quantity, "%s", one->quantity);
    }
    if (s->count == s->capacity) {
        s->capacity = s->capacity ? s->capacity * 2 : 1024;
        s->values = xrealloc(s->values, s->capacity * sizeof *s->values);
        s->at_ms = xrealloc(s->at_ms, s->capacity * sizeof *s->at_ms);
    }
    s->values[s->count] = one->value;
    s->at_ms[s->count++] = one->at_ms;
    return 0;
}

static int look_at_values(struct store *store, const struct tz *tz, struct when_span span,
                          json_t *into, struct error *err)
{
    struct series s = {.tz = tz,
                       .recent_ms = span.to_ms - WEEK_MS,
                       .still = json_array(),
                       .drifted = json_array()};
    int rc = record_gaps_values(store, span, take_value, &s, err);
    end_series(&s);
    free(s.values);
    free(s.at_ms);
    json_object_set_new(into, "still", s.still);
    json_object_set_new(into, "drifted", s.drifted);
    return rc;
}

/* ---- what each record tells ---- */

struct record {
    const char *kind; /* "readings", "uses", "mixes", "dispatch", "plantlog" */
    char what[3 * LENGTH_WORD + 24];
    int64_t with, without, settles;
    double bits;
};

struct telling {
    struct triage *triage;
    struct store *store;
    struct record records[RECORDS];
    int count;
    int *of_fact; /* record by fact; -1 none */
    struct store_ids cases;
    int64_t first_ms, last_ms;
    int64_t looked_at;
};

static const char *kind_of(const struct fact_name *name, char *what, size_t size)
{
    what[0] = '\0';
    switch (name->kind) {
    case FACT_QUANTITY:
        snprintf(what, size, "%s", name->quantity);
        return "readings";
    case FACT_PLACE:
        snprintf(what, size, "%s%s%s", name->place, *name->quantity ? ": " : "", name->quantity);
        return "plantlog";
    case FACT_DISPATCH:
        return "dispatch";
    case FACT_COMPANY:
        if (name->code == FACTOR_MIX)
            return "mixes";
        if (name->code == FACTOR_ROUTE || name->code == FACTOR_STORE)
            return "dispatch";
        if (name->code < FACTOR_FLOUR || name->code >= FACTOR_FLOUR + MATERIALS)
            return NULL;
        snprintf(what, size, "%s", material_name(name->code - FACTOR_FLOUR));
        return "uses";
    default:
        return NULL;
    }
}

static void find_records(struct telling *t)
{
    const struct rules *rules = t->triage->rules;
    t->of_fact = xcalloc((size_t)rules->fact_count + 1, sizeof *t->of_fact);
    for (int f = 0; f < rules->fact_count; f++) {
        struct record one = {.kind = NULL};
        int at = 0;
        one.kind = kind_of(&rules->facts[f].name, one.what, sizeof one.what);
        while (one.kind && at < t->count &&
               (strcmp(t->records[at].kind, one.kind) != 0 ||
                strcmp(t->records[at].what, one.what) != 0))
            at++;
        if (one.kind && at == t->count && t->count < RECORDS)
            t->records[t->count++] = one;
        t->of_fact[f] = one.kind && at < t->count ? at : -1;
    }
}

static double entropy(const struct rank *rank)
{
    double sum = 0;
    for (int i = 0; i < rank->count; i++) {
        double p = rank->causes[i].probability;
        sum -= p > 0 ? p * log2(p) : 0;
    }
    return sum;
}

/* Sets the facts of a record unknown, or as they were: `kept` holds what was known. Returns how
 * many are known. */
static int hide(struct telling *t, struct fact_set *set, int record, bool *kept, bool hidden)
{
    const struct rules *rules = t->triage->rules;
    int known = 0, at = 0;
    for (int f = 0; f < rules->fact_count; f++) {
        int rows = rules->facts[f].name.per_complaint ? set->complaint_count : 1;
        for (int i = 0; t->of_fact[f] == record && i < rows; i++, at++) {
            struct fact *fact = fact_set_at(set, f, i);
            if (hidden)
                kept[at] = fact->known;
            fact->known = hidden ? false : kept[at];
            known += kept[at];
        }
    }
    return known;
}

static void weigh_record(struct telling *t, struct case_rank *ranked, int record, bool *kept)
{
    struct fact_set *set = &ranked->lots[0].facts;
    struct record *r = &t->records[record];
    struct rank full, less;
    if (hide(t, set, record, kept, true) == 0) {
        r->without++;
        return;
    }
    rank_make(set, ranked->input.symptom, ranked->priors, &less);
    hide(t, set, record, kept, false);
    rank_make(set, ranked->input.symptom, ranked->priors, &full);
    r->with++;
    r->bits += entropy(&less) - entropy(&full);
    r->settles += (full.causes[0].probability >= SETTLED) - (less.causes[0].probability >= SETTLED);
    rank_free(&full);
    rank_free(&less);
}

static int weigh_case(struct telling *t, int64_t id, struct error *err)
{
    struct case_rank ranked;
    int rc = case_rank_read(t->triage, t->store, id, &ranked, err);
    if (rc) /* gone, or of no kind that is ranked */
        return rc == ERROR_NOT_FOUND || rc == ERROR_INVALID ? 0 : rc;
    if (ranked.lots[0].lot_id && !ranked.input.harm && ranked.rank->count > 0) {
        size_t most = (size_t)t->triage->rules->fact_count * (size_t)(ranked.input.count + 1);
        bool *kept = xcalloc(most + 1, sizeof *kept);
        t->looked_at++;
        for (int i = 0; i < t->count; i++)
            weigh_record(t, &ranked, i, kept);
        free(kept);
    }
    case_rank_clear(&ranked);
    return 0;
}

static int take_case(void *arg, const struct case_row *row)
{
    struct telling *t = arg;
    if (t->cases.count == 0 || row->as_of_ms > t->last_ms)
        t->last_ms = row->as_of_ms;
    if (t->cases.count == 0 || row->as_of_ms < t->first_ms)
        t->first_ms = row->as_of_ms;
    if (t->cases.count == t->cases.capacity) {
        t->cases.capacity = t->cases.capacity ? t->cases.capacity * 2 : CASES;
        t->cases.id = xrealloc(t->cases.id, (size_t)t->cases.capacity * sizeof *t->cases.id);
    }
    t->cases.id[t->cases.count++] = row->id;
    return 0;
}

static json_t *record_json(const struct telling *t, const struct record *r, double months)
{
    char says[320], name[128];
    double n = (double)r->with, share = n / (double)(r->with + r->without);
    double more = r->with ? (double)r->settles / n * (double)r->without / months : 0;
    (void)t;
    snprintf(name, sizeof name, "%s%s%s", *r->what ? r->what : r->kind, *r->what ? " in " : "",
             *r->what ? r->kind : "");
    if (!r->with)
        snprintf(says, sizeof says,
                 "%s: never recorded for these cases; what it would tell is not "
                 "known from them",
                 name);
    else if (r->without == 0)
        snprintf(says, sizeof says, "%s: recorded for all of these cases, %.2f bits each", name,
                 r->bits / n);
    else
        snprintf(says, sizeof says,
                 "%s: recorded for %.0f %% of these cases; recording all would settle at most "
                 "about %.0f "
                 "more a month (%.2f bits each)",
                 name, share * 100, fmax(more, 0), r->bits / n);
    return json_pack("{ss ss sI sI so so so so ss}", "kind", r->kind, "what", r->what, "with",
                     (json_int_t)r->with, "without", (json_int_t)r->without, "share",
                     jsonx_rounded(share, 4), "bits", jsonx_rounded(r->with ? r->bits / n : NAN, 4),
                     "settles", jsonx_rounded(r->with ? (double)r->settles / n : NAN, 4),
                     "more_a_month", jsonx_rounded(more, 2), "says", says);
}

/* What more of it would bring: bits in all the cases that lack it. */
static double missed(const struct record *r)
{
    return r->with ? r->bits / (double)r->with * (double)r->without : 0;
}

static int by_missed(const void *a, const void *b)
{
    double x = missed(a), y = missed(b);
    return x > y ? -1 : x < y ? 1 : 0;
}

static int look_at_cases(struct triage *triage, struct store *store, int64_t since_ms, json_t *into,
                         struct error *err)
{
    struct telling t = {.triage = triage, .store = store};
    const struct case_filter filter = {.since_ms = since_ms, .limit = CASES};
    find_records(&t);
    int rc = case_list(store, &filter, take_case, &t, err);
    for (size_t i = 0; i < (size_t)t.cases.count && !rc; i++)
        rc = weigh_case(&t, t.cases.id[i], err);
    double months = fmax(1, (double)(t.last_ms - t.first_ms) / (30.44 * 24 * 3600 * 1000));
    qsort(t.records, (size_t)t.count, sizeof *t.records, by_missed);
    json_t *tells = json_array();
    for (int i = 0; i < t.count && t.looked_at; i++)
        json_array_append_new(tells, record_json(&t, &t.records[i], months));
    json_object_set_new(into, "cases", json_integer(t.looked_at));
    json_object_set_new(into, "months", jsonx_rounded(months, 2));
    json_object_set_new(into, "tells", tells);
    free(t.cases.id);
    free(t.of_fact);
    return rc;
}

/* ---- all ---- */

int gaps_tell(struct triage *triage, struct store *store, const struct gaps_query *query,
              json_t **ret, struct error *err)
{
    int64_t newest = WHEN_UNKNOWN_MS;
    const struct tz *tz = triage->tz;
    json_t *records = json_array();
    int rc = record_gaps_newest(store, &newest, err);
    *ret = json_pack("{sn sn so s[] s[] si si s[]}", "from", "to", "records", records, "still",
                     "drifted", "cases", 0, "months", 0, "tells");
    if (!rc && newest != WHEN_UNKNOWN_MS) {
        char day[16];
        int32_t monday = iso_week_monday(iso_week_of(tz_day(tz, newest)));
        int32_t from = monday - 7 * (query->weeks - 1), to = monday + 7;
        struct when_span span = {tz_day_start_ms(tz, from), tz_day_start_ms(tz, to)};
        json_object_set_new(*ret, "from", json_string(day_format(from, day)));
        json_object_set_new(*ret, "to", json_string(day_format(to - 1, day)));
        rc = list_records(store, tz, span, &records, err);
        if (!rc)
            json_object_set_new(*ret, "records", records);
        if (!rc)
            rc = look_at_values(store, tz, (struct when_span){span.from_ms, newest + 1}, *ret, err);
        if (!rc)
            rc = look_at_cases(triage, store, newest - query->cases_ms, *ret, err);
    }
    if (rc)
        json_decref(*ret);
    return rc;
}
