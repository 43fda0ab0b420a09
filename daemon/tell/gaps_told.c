#include "tell/gaps_told.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "rank/case_rank.h"
#include "store/case.h"
#include "store/record_gaps.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CASES = 200,      /* the newest: they are ranked once for each record */
    RECORDS = 160,    /* kinds of records that rules read */
    LEAST_CASES = 20, /* with the record, and */
    LEAST_WEEKS = 4,  /* in which such came in: of fewer no range is known */
};
static const int64_t WEEK_MS = 7 * WHEN_DAY_MS;
static const double SETTLED = 0.8, ERRORS = 2; /* standard errors on each side */
/* Beside chance, what a record told is another than what it will tell: by how much, as standard
 * deviation of the logarithm, was found on simulated plants (tests/plants/given_back.py), and the
 * share of nine in ten of a normal spread. */
static const double MISFIT = 1.2, NINE_IN_TEN = 1.645;
static const double NOTHING = 5e-4; /* bits a case */
static const double LEAST_CHANCE =
    1e-9; /* of a cause: a ranking without the record may have none */

/* A case as it stands. */
struct weighed {
    int64_t id, lot_id, week;
    double *chances; /* of each cause, by index in the rules; owned */
    bool settled;
};

struct estimate {
    double mean, low, high; /* a case, over all cases */
};

enum outcome { UNMEASURED, NONE_LACKS, TOO_FEW, MEASURED };
struct record {
    enum record_kind kind;
    char what[LENGTH_NAME + 1];
    int with, without; /* of the cases looked at */
    enum outcome outcome;
    struct estimate bits, settled; /* if all lots had it */
};

struct telling {
    struct triage *triage;
    struct store *store;
    const struct without *only; /* NULL: all records */
    int64_t until_ms;           /* monotonic */
    struct weighed cases[CASES];
    int case_count;
    struct record records[RECORDS];
    int record_count;
    int64_t ids[CASES];
    int id_count;
};

static bool time_is_over(const struct telling *t)
{
    return clock_monotonic_ms() >= t->until_ms;
}

/* ---- cases ---- */

static int take_case(void *arg, const struct case_row *row)
{
    struct telling *t = arg;
    if (t->id_count < CASES)
        t->ids[t->id_count++] = row->id;
    return 0;
}

/* What was learned from ranking `then` to ranking `now`: their relative entropy. Where chances are
 * right it is on the mean by how much doubt falls, without that being so in each case: a ranking
 * that was sure and wrong is told much by what makes it doubt. */
static double bits_told(const struct telling *t, const struct weighed *now,
                        const struct weighed *then)
{
    double sum = 0;
    for (int i = 0; i < t->triage->rules->cause_count; i++)
        if (now->chances[i] > 0)
            sum += now->chances[i] * log2(now->chances[i] / fmax(then->chances[i], LEAST_CHANCE));
    return fmax(sum, 0);
}

/* lot_id 0: none that is likely, or nothing to find out by ranking. */
static int weigh(struct triage *triage, struct store *store, int64_t id, struct weighed *ret,
                 struct error *err)
{
    struct case_rank ranked;
    *ret = (struct weighed){.id = id};
    int rc = case_rank_read(triage, store, id, &ranked, err);
    if (rc) /* gone, or of no kind that is ranked */
        return rc == ERROR_NOT_FOUND || rc == ERROR_INVALID ? 0 : rc;
    if (!ranked.input.harm && ranked.rank->count > 0 && ranked.lots[0].lot_id) {
        ret->lot_id = ranked.lots[0].lot_id;
        ret->week = ranked.input.as_of_ms / WEEK_MS;
        ret->chances = xcalloc((size_t)triage->rules->cause_count, sizeof *ret->chances);
        for (int i = 0; i < ranked.rank->count; i++)
            ret->chances[ranked.rank->causes[i].cause] = ranked.rank->causes[i].probability;
        ret->settled = ranked.rank->causes[0].probability >= SETTLED;
    }
    case_rank_clear(&ranked);
    return 0;
}

static int weigh_cases(struct telling *t, struct error *err)
{
    int rc = 0;
    for (int i = 0; i < t->id_count && !rc && !time_is_over(t); i++) {
        struct weighed *one = &t->cases[t->case_count];
        rc = weigh(t->triage, t->store, t->ids[i], one, err);
        t->case_count += one->lot_id != 0;
    }
    return rc;
}

/* ---- records ---- */

static bool fact_record(const struct telling *t, const struct fact_name *name, struct record *ret)
{
    const char *what = "";
    *ret = (struct record){.kind = RECORD_DISPATCH};
    if (name->kind == FACT_QUANTITY && !triage_works_out(t->triage, name->quantity)) {
        ret->kind = RECORD_READINGS;
        what = name->quantity;
    } else if (name->kind == FACT_COMPANY && name->code == FACTOR_MIX) {
        ret->kind = RECORD_MIXES;
    } else if (name->kind == FACT_COMPANY && name->code >= FACTOR_FLOUR &&
               name->code < FACTOR_FLOUR + MATERIALS) {
        ret->kind = RECORD_USES;
        what = material_name(name->code - FACTOR_FLOUR);
    } else if (name->kind != FACT_DISPATCH) {
        return false;
    }
    snprintf(ret->what, sizeof ret->what, "%.*s", (int)sizeof ret->what - 1, what);
    return true;
}

static bool is_record(const struct record *r, const struct without *named)
{
    return r->kind == named->kind && strcmp(r->what, named->what) == 0;
}

static void find_records(struct telling *t)
{
    const struct rules *rules = t->triage->rules;
    for (int f = 0; f < rules->fact_count && t->record_count < RECORDS; f++) {
        struct record one;
        int at = 0;
        if (!fact_record(t, &rules->facts[f].name, &one))
            continue;
        while (at < t->record_count &&
               (t->records[at].kind != one.kind || strcmp(t->records[at].what, one.what) != 0))
            at++;
        if (at == t->record_count && (!t->only || is_record(&one, t->only)))
            t->records[t->record_count++] = one;
    }
}

/* A record that the lot need not have: of a material that its product does not have in it, of a
 * dose that is worked out from what was weighed. */
static int has_no_place(const struct telling *t, int64_t lot_id, const struct record *r, bool *ret,
                        struct error *err)
{
    const struct lot_record *record = NULL;
    struct lot_records records;
    if (r->kind == RECORD_USES)
        return record_gaps_has_no_place(t->store, lot_id, r->what, ret, err);
    if (r->kind != RECORD_READINGS)
        return 0;
    int rc = lot_record_all(t->store, t->triage->rules, t->triage->tz, &records, err);
    if (!rc)
        rc = lot_record_get(t->triage->source.lots, &records, lot_id, &record, err);
    if (rc)
        return rc;
    const struct lot_series *series = lot_record_series(record, r->what);
    *ret = series && series->computed && series->count > 0;
    lot_record_unref(record);
    return 0;
}

static int count_record(struct telling *t, struct record *r, struct error *err)
{
    const struct without hidden = {r->kind, r->what};
    int64_t first = 0;
    uint64_t weeks = 0;
    int rc = 0;
    for (int i = 0; i < t->case_count && !rc; i++) {
        bool has = false;
        bool no_place = false;
        rc = record_gaps_has(t->store, t->cases[i].lot_id, &hidden, &has, err);
        if (!rc && !has)
            rc = has_no_place(t, t->cases[i].lot_id, r, &no_place, err);
        r->with += has;
        r->without += !has && !no_place;
        if (!has)
            continue;
        first = r->with == 1 ? t->cases[i].week : first;
        weeks |= UINT64_C(1) << ((t->cases[i].week - first) & 63);
    }
    if (r->with < LEAST_CASES || __builtin_popcountll(weeks) < LEAST_WEEKS)
        r->outcome = TOO_FEW;
    else if (r->without == 0)
        r->outcome = NONE_LACKS;
    return rc;
}

/* ---- twice ---- */

struct differences {
    double bits[CASES], settled[CASES];
};

/* What a lot's own record says grows with the lots that have it. What one says of others, as a roll
 * of film in which several lots were packed, does so for each of them and weighs more the more of
 * them are known: it grows with their square. */
static double growth(const struct record *r)
{
    double times = 1 + (double)r->without / r->with;
    return (r->kind == RECORD_USES ? times * times : times) - 1;
}

/* Of a mean of all cases: those of one week count as one observation. */
static double standard_error(const struct telling *t, const double *differences, double mean)
{
    double squares = 0;
    int weeks = 0;
    for (int i = 0; i < t->case_count; i++) {
        double sum = 0;
        bool counted = false;
        for (int j = 0; j < t->case_count; j++) {
            bool same = t->cases[j].week == t->cases[i].week;
            counted = counted || (same && j < i);
            sum += same ? differences[j] - mean : 0;
        }
        if (counted)
            continue;
        weeks++;
        squares += sum * sum;
    }
    return sqrt(squares * weeks / fmax(weeks - 1, 1)) / t->case_count;
}

static double mean_of(const struct telling *t, const double *differences)
{
    double sum = 0;
    for (int i = 0; i < t->case_count; i++)
        sum += differences[i];
    return sum / t->case_count;
}

/* Bits are never negative, and few cases tell most of them: a range in their logarithm. */
static struct estimate bits_of(const struct telling *t, const struct record *r,
                               const double *differences)
{
    double mean = mean_of(t, differences), error = standard_error(t, differences, mean);
    double relative = mean > 0 ? error / mean : 0;
    double factor = exp(NINE_IN_TEN * sqrt(MISFIT * MISFIT + relative * relative));
    mean *= growth(r);
    return (struct estimate){mean, mean / factor, mean * factor};
}

/* The cases that get the record are a sample as those that have it. One more may have changed than
 * was seen: few do, and where none did chance over weeks alone would promise that none will. */
static struct estimate settled_of(const struct telling *t, const struct record *r,
                                  const double *differences)
{
    double mean = mean_of(t, differences);
    double error = hypot(standard_error(t, differences, mean), 1.0 / t->case_count);
    double grows = growth(r), reach = ERRORS * error * sqrt(grows * (1 + grows));
    return (struct estimate){mean * grows, mean * grows - reach, mean * grows + reach};
}

static int rank_without(const struct telling *t, struct store *store, struct differences *ret,
                        bool *ret_over, struct error *err)
{
    struct triage *apart = triage_apart(t->triage);
    int rc = 0;
    for (int i = 0; i < t->case_count && !rc && !*ret_over; i++) {
        struct weighed less;
        rc = weigh(apart, store, t->cases[i].id, &less, err);
        bool there = less.lot_id != 0; /* else it went or changed meanwhile */
        ret->bits[i] = there ? bits_told(t, &t->cases[i], &less) : 0;
        ret->settled[i] = there ? t->cases[i].settled - less.settled : 0;
        free(less.chances);
        *ret_over = time_is_over(t);
    }
    triage_free(apart);
    return rc;
}

static int measure(const struct telling *t, struct record *r, struct error *err)
{
    const struct without hidden = {r->kind, r->what};
    struct differences told;
    struct store *store;
    bool over = time_is_over(t);
    int rc = over ? 0 : without_open(t->store, &hidden, &store, err);
    if (over || rc)
        return rc;
    rc = rank_without(t, store, &told, &over, err);
    store_close(store);
    if (rc || over)
        return rc;
    r->bits = bits_of(t, r, told.bits);
    r->settled = settled_of(t, r, told.settled);
    r->outcome = MEASURED;
    return 0;
}

/* ---- told ---- */

/* The measured first, by what they would bring; then what most lack. */
static int by_gain(const void *a, const void *b)
{
    const struct record *x = a, *y = b;
    if (x->outcome != y->outcome)
        return (int)y->outcome - (int)x->outcome;
    double gain = y->bits.mean - x->bits.mean;
    if (gain < 0 || gain > 0)
        return gain > 0 ? 1 : -1;
    return (y->without > x->without) - (y->without < x->without);
}

/* Those of which most can be told: many have it, many lack it. */
static int by_both(const void *a, const void *b)
{
    const struct record *x = a, *y = b;
    int p = x->with * x->without, q = y->with * y->without;
    return (q > p) - (q < p);
}

static json_t *estimate_json(const struct record *r, const char *name, struct estimate e,
                             double times)
{
    if (r->outcome != MEASURED)
        return json_null();
    return json_pack("{so so so}", name, jsonx_rounded(e.mean * times, 4), "low",
                     jsonx_rounded(e.low * times, 4), "high", jsonx_rounded(e.high * times, 4));
}

/* "film in uses", "Crumb moisture (crumb_moisture_pct in readings)": as it is asked for, and in
 * words. */
static void name_record(const struct vocabulary *vocabulary, const struct record *r,
                        struct text_buffer *out)
{
    const char *kind = record_kind_table(r->kind)->kind;
    const char *title = vocabulary_quantity_title(vocabulary, r->what);
    if (!*r->what)
        text_append(out, kind);
    else if (r->kind == RECORD_READINGS && strcmp(title, r->what) != 0)
        text_appendf(out, "%s (%s in %s)", title, r->what, kind);
    else
        text_appendf(out, "%s in %s", r->what, kind);
}

static void say_told(const struct record *r, double a_month, struct text_buffer *out)
{
    double low = r->settled.low * a_month, high = r->settled.high * a_month;
    text_appendf(out, "of all, an estimated %.3f bits a case (%.3f to %.3f)", r->bits.mean,
                 r->bits.low, r->bits.high);
    if (low <= 0 && high >= 0)
        text_appendf(out,
                     "; whether it would bring more cases to %.0f %% cannot be told (%.1f to %.1f "
                     "a month)",
                     SETTLED * 100, low, high);
    else
        text_appendf(out, ", and %.1f more cases a month at %.0f %% (%.1f to %.1f)",
                     r->settled.mean * a_month, SETTLED * 100, low, high);
}

static void say(const struct record *r, double a_month, struct text_buffer *out)
{
    text_append(out, ": ");
    if (r->with)
        text_appendf(out, "recorded for the lots of %d of %d cases; ", r->with,
                     r->with + r->without);
    else
        text_append(out, "recorded for the lot of no case; ");
    if (r->outcome == TOO_FEW)
        text_append(out, "too few cases to tell what it would say");
    else if (r->outcome == NONE_LACKS)
        text_append(out, "none lacks it");
    else if (r->outcome == UNMEASURED)
        text_append(out, "not measured in the time given");
    else if (r->bits.mean < NOTHING)
        text_appendf(out, "more of it would tell next to nothing (at most %.3f bits a case)",
                     r->bits.high);
    else
        say_told(r, a_month, out);
}

static json_t *record_json(const struct telling *t, const struct record *r, double a_month)
{
    struct text_buffer says = {0};
    name_record(t->triage->rules->vocabulary, r, &says);
    say(r, a_month, &says);
    json_t *told = json_pack("{ss ss si si so so so ss}", "kind", record_kind_table(r->kind)->kind,
                             "what", r->what, "with", r->with, "without", r->without, "share",
                             jsonx_rounded((double)r->with / (r->with + r->without), 4), "gain",
                             estimate_json(r, "bits", r->bits, 1), "more_a_month",
                             estimate_json(r, "cases", r->settled, a_month), "says", says.data);
    if (r->outcome == TOO_FEW)
        json_object_set_new(told, "too_few", json_true());
    text_buffer_free(&says);
    return told;
}

static void put(struct telling *t, json_t *into)
{
    int64_t first = INT64_MAX, last = INT64_MIN;
    for (int i = 0; i < t->case_count; i++) {
        first = t->cases[i].week < first ? t->cases[i].week : first;
        last = t->cases[i].week > last ? t->cases[i].week : last;
    }
    double months = t->case_count ? (double)(last - first + 1) * 7 / 30.44 : 0;
    json_t *tells = json_array();
    qsort(t->records, (size_t)t->record_count, sizeof *t->records, by_gain);
    for (int i = 0; i < t->record_count && t->case_count; i++)
        if (t->records[i].with + t->records[i].without > 0)
            json_array_append_new(tells, record_json(t, &t->records[i], t->case_count / months));
    json_object_set_new(into, "cases", json_integer(t->case_count));
    json_object_set_new(into, "months", jsonx_rounded(months, 2));
    json_object_set_new(into, "tells", tells);
}

static int not_read(const struct without *named, struct error *err)
{
    error_set(err, ERROR_INVALID, "no rule reads such a record");
    error_field(err, "record", named->what);
    error_hint(err,
               "uses:MATERIAL, readings:QUANTITY, mixes or dispatch, as oddloaf gaps lists them");
    return ERROR_INVALID;
}

int gaps_told(struct triage *triage, struct store *store, const struct gaps_query *query,
              int64_t since_ms, json_t *into, struct error *err)
{
    struct telling *t = xcalloc(1, sizeof *t);
    const struct case_filter filter = {.plant = query->plant,
                                       .since_ms = since_ms,
                                       .due_before = WHEN_UNKNOWN_DAY,
                                       .limit = CASES};
    t->triage = triage;
    t->store = store;
    t->only = query->only;
    t->until_ms = clock_monotonic_ms() + query->within_ms;
    int rc = case_list(store, &filter, take_case, t, err);
    if (!rc)
        rc = weigh_cases(t, err);
    find_records(t);
    if (!rc && t->only && !t->record_count)
        rc = not_read(t->only, err);
    for (int i = 0; i < t->record_count && !rc; i++)
        rc = count_record(t, &t->records[i], err);
    qsort(t->records, (size_t)t->record_count, sizeof *t->records, by_both);
    for (int i = 0; i < t->record_count && !rc; i++) {
        if (t->records[i].outcome == UNMEASURED)
            rc = measure(t, &t->records[i], err);
    }
    if (!rc)
        put(t, into);
    for (int i = 0; i < t->case_count; i++)
        free(t->cases[i].chances);
    free(t);
    return rc;
}
