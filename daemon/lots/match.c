/* Candidates are gathered from what is cheap to look up (the same code, the stated product and code
 * date, the line and day that a pattern reads, codes one can mistake for the text), then weighed
 * all alike. A lot that no look-up brings has no weight worth naming. */
#include "lots/match.h"
#include "base/text.h"
#include "lots/matcher.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    CLOSEST = 192,       /* lots weighed */
    SAME_CODE = 32,      /* of one folded code */
    OF_DAY = 3000,       /* codes compared: of one code date */
    OF_OTHER_DAY = 1000, /* of one it may be mistaken for */
    OF_LINE = 200,       /* of a line's day */
    OF_PRODUCT = 3000,   /* of a product, if no date is known */
    RECENT = 1000,       /* of all there are, if a plant makes no more within reach */
    SENT_CHECKED = 48,   /* candidates whose dispatch is looked at */
};
/* Look-ups of the walk, and how much dearer than the best a reading may be: less where an exact
 * code agrees with everything else. */
static const int LOOKUPS = 420, LOOKUPS_FEW = 90, LOOKUPS_AGREED = 45;
static const double RECENT_SHELF_LIVES = 2.5;
/* A reading so much dearer than the best is as good as none. */
static const float HOPELESS = 20.0F;
static const float SLACK = 9.0F, SLACK_AGREED = 6.5F;

struct scored {
    const struct lot_find_row *row;
    double prior, text, rest; /* factors of its weight */
    double weight;
};

struct matching {
    const struct lot_matcher *matcher;
    struct store *store;
    const struct lot_query *query;
    struct lot_match_result *result;
    struct error *err;
    char fold[LOT_MATCH_CODE];
    struct reading_code text;
    int64_t product_id; /* 0 unknown */
    bool product_scanned;
    int32_t code_day;
    struct lot_find_volume volume;
    double units_on_sale; /* units weighted by how readily lots of their age are complained about */
    struct lot_find_rows rows;
    bool recent;           /* all lots of the last weeks are among them */
    struct scored *scored; /* one a row */
    struct walk_hit close[CLOSEST];
    size_t close_count;
    float worst_kept; /* dearer ones need not be offered */
    double astray;    /* P(text) if it is not a reading of the lot's code */
    double none;      /* weight of: none of the rows */
};

static bool given(const char *text)
{
    return text && *text;
}

/* ---- what is asked ---- */

static int find_product(struct matching *m)
{
    struct lot_parsed *parsed = &m->result->parsed;
    struct lot_find_product product;
    int rc = ERROR_NOT_FOUND;
    if (parsed->gtin[0]) {
        rc = lot_find_product_by_gtin(m->store, parsed->gtin, &product, NULL);
        if (rc == 0) {
            memcpy(parsed->product, product.product, sizeof parsed->product);
            m->product_id = product.product_id;
            m->product_scanned = true;
        }
        if (!parsed->scanned && rc == 0)
            parsed->text[0] = '\0'; /* the number under the barcode, no lot code */
        else if (!parsed->scanned)
            parsed->gtin[0] = '\0';
    }
    /* what the desk chose stands before what was read */
    const char *chosen = given(m->query->product) ? m->query->product : parsed->product;
    if (given(m->query->product) || (rc < 0 && *chosen)) {
        rc = lot_find_product_by_code(m->store, chosen, &product, NULL);
        if (rc == 0) {
            m->product_scanned = m->product_scanned && m->product_id == product.product_id;
            m->product_id = product.product_id;
        }
    }
    return rc == ERROR_NOT_FOUND ? 0 : rc;
}

static int prepare(struct matching *m)
{
    struct lot_parsed *parsed = &m->result->parsed;
    lot_understand(m->matcher, m->query->lot_text, m->query->plant, m->query->received_ms,
                   m->query->tz, parsed);
    int rc = find_product(m);
    if (rc == 0)
        rc = lot_find_volume(m->store, m->query->received_ms, &m->volume, m->err);
    if (rc < 0)
        return rc;
    m->code_day = m->query->code_day != WHEN_UNKNOWN_DAY ? m->query->code_day : parsed->code_day;
    lot_find_fold(parsed->text, m->fold, sizeof m->fold);
    reading_prepare(m->fold, &m->text);
    m->units_on_sale = m->volume.units_per_day *
                       agreement_age_days(&m->matcher->agreement, m->volume.shelf_life_days);
    return 0;
}

/* ---- gathering ---- */

/* Have all lots of the product or code date been seen? */
static bool is_complete(const struct matching *m)
{
    return (m->product_id || m->code_day != WHEN_UNKNOWN_DAY) && !m->rows.overflow;
}

/* Keeps the CLOSEST lots whose codes are cheapest to read as the text; without a text, the first.
 */
static void keep(struct matching *m, int64_t lot_id, float cost)
{
    struct walk_hit *worst = &m->close[0];
    if (m->close_count == CLOSEST) {
        for (size_t i = 1; i < CLOSEST; i++)
            if (m->close[i].cost > worst->cost)
                worst = &m->close[i];
        m->worst_kept = worst->cost;
        if (cost >= worst->cost) {
            m->rows.overflow = m->rows.overflow || !m->text.length;
            return;
        }
    }
    for (size_t i = 0; i < m->close_count; i++)
        if (m->close[i].lot_id == lot_id)
            return;
    if (m->close_count < CLOSEST)
        worst = &m->close[m->close_count++];
    *worst = (struct walk_hit){lot_id, cost};
}

static int keep_key(void *arg, const struct lot_find_key *key)
{
    struct matching *m = arg;
    float cost = m->text.length ? walk_cost(&m->matcher->costs, &m->text, key->fold) : 0;
    if (cost < m->worst_kept)
        keep(m, key->lot_id, cost);
    else
        m->rows.overflow = m->rows.overflow || !m->text.length;
    return 0;
}

static int gather_where(struct matching *m, const struct lot_find_where *where, size_t limit)
{
    return lot_find_each_key(m->store, where, limit, keep_key, m, &m->rows.overflow, m->err);
}

static int gather_code_days(struct matching *m, bool agreed)
{
    int32_t days[AGREEMENT_DAYS];
    struct lot_find_where where = {.product_id = m->product_id};
    if (m->code_day == WHEN_UNKNOWN_DAY || (agreed && !m->product_id))
        return 0;
    size_t count = agreement_code_days(m->code_day, days);
    if (!m->product_id && count > 3)
        count = 3; /* the day and its neighbours: others are too many without a product */
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < count; i++) {
        where.code_day = days[i];
        rc = gather_where(m, &where, i == 0 ? OF_DAY : OF_OTHER_DAY);
    }
    if (rc < 0 || !m->product_id || agreed)
        return rc;
    /* the product may be named wrongly and the date be right */
    where = (struct lot_find_where){.code_day = m->code_day};
    return gather_where(m, &where, OF_DAY);
}

static int gather_line(struct matching *m)
{
    const struct lot_parsed *parsed = &m->result->parsed;
    if (parsed->day == WHEN_UNKNOWN_DAY || !parsed->line[0])
        return 0;
    int64_t from = tz_day_start_ms(m->query->tz, parsed->day);
    /* packing ends in the night after the production day */
    struct lot_find_where where = {.plant = parsed->plant,
                                   .line = parsed->line,
                                   .code_day = WHEN_UNKNOWN_DAY,
                                   .from_ms = from,
                                   .to_ms = from + 32 * WHEN_HOUR_MS};
    bool overflow = m->rows.overflow;
    int rc = gather_where(m, &where, OF_LINE);
    m->rows.overflow = overflow;
    return rc;
}

static struct lot_find_where lately(const struct matching *m, double shelf_lives)
{
    double shelf_life = m->volume.shelf_life_days > 1 ? m->volume.shelf_life_days : 1;
    int64_t to = m->query->received_ms + WHEN_HOUR_MS;
    return (struct lot_find_where){
        .code_day = WHEN_UNKNOWN_DAY,
        .from_ms = to - (int64_t)(shelf_lives * shelf_life * (double)WHEN_DAY_MS),
        .to_ms = to};
}

static int gather_product(struct matching *m)
{
    struct lot_find_where where = lately(m, 3);
    if (!m->product_id || m->code_day != WHEN_UNKNOWN_DAY)
        return 0;
    where.product_id = m->product_id;
    return gather_where(m, &where, OF_PRODUCT);
}

/* A plant whose lots within reach are few has them all compared: nothing is missed. */
static int gather_recent(struct matching *m)
{
    struct lot_find_where where = lately(m, RECENT_SHELF_LIVES);
    double days = (double)(where.to_ms - where.from_ms) / (double)WHEN_DAY_MS;
    if (m->volume.lots_per_day * days > 0.9 * RECENT)
        return 0;
    bool overflow = m->rows.overflow;
    m->rows.overflow = false;
    int rc = gather_where(m, &where, RECENT);
    m->recent = !m->rows.overflow;
    m->rows.overflow = overflow;
    return rc;
}

/* An exact code of which nothing else that was said differs. */
static bool is_agreed(const struct matching *m)
{
    for (size_t i = 0; i < m->rows.count; i++) {
        const struct lot_find_row *row = &m->rows.row[i];
        double age = (double)(m->query->received_ms - row->packed_from_ms) / (double)WHEN_DAY_MS;
        if ((!m->product_id || m->product_id == row->product_id) &&
            (m->code_day == WHEN_UNKNOWN_DAY || m->code_day == row->code_day) && age > -0.25 &&
            age < 3 * row->shelf_life_days)
            return true;
    }
    return false;
}

/* Many look-ups only where nothing else has brought all lots that can be meant. */
static int gather_mistaken(struct matching *m, bool agreed)
{
    if (!m->text.length)
        return 0;
    struct walk_result *walk = xmalloc(sizeof *walk);
    bool few = m->recent || is_complete(m);
    int rc = walk_find(&m->matcher->costs, m->store, &m->text, agreed ? SLACK_AGREED : SLACK,
                       agreed ? LOOKUPS_AGREED
                       : few  ? LOOKUPS_FEW
                              : LOOKUPS,
                       walk, m->err);
    m->result->lookups = walk->lookups;
    for (size_t i = 0; rc == 0 && i < walk->count; i++)
        keep(m, walk->hit[i].lot_id, walk->hit[i].cost);
    free(walk);
    return rc;
}

static int gather_by_text(struct matching *m, bool *ret_agreed)
{
    int rc = lot_find_by_fold(m->store, m->fold, SAME_CODE, &m->rows, m->err);
    if (rc < 0)
        return rc;
    m->result->exact = m->rows.count == 1 && !m->rows.overflow;
    *ret_agreed = is_agreed(m);
    for (size_t i = 0; i < m->rows.count; i++)
        keep(m, m->rows.row[i].lot_id, 0);
    return *ret_agreed ? 0 : gather_recent(m);
}

static int fetch_rows(struct matching *m)
{
    m->rows.count = 0;
    for (size_t i = 0; i < m->close_count; i++) {
        int rc = lot_find_by_id(m->store, m->close[i].lot_id, &m->rows.row[i], m->err);
        if (rc < 0)
            return rc;
        m->rows.count++;
    }
    return 0;
}

static int gather(struct matching *m)
{
    bool agreed = false;
    int rc = m->text.length ? gather_by_text(m, &agreed) : 0;
    if (rc == 0)
        rc = gather_line(m);
    if (rc == 0)
        rc = gather_code_days(m, agreed);
    if (rc == 0 && !agreed)
        rc = gather_product(m);
    if (rc == 0)
        rc = gather_mistaken(m, agreed);
    return rc < 0 ? rc : fetch_rows(m);
}

/* ---- weighing ---- */

static double age_days(const struct matching *m, const struct lot_find_row *row)
{
    return (double)(m->query->received_ms - row->packed_from_ms) / (double)WHEN_DAY_MS;
}

/* Share of what was on sale that this lot is. */
static double prior_of(const struct matching *m, const struct lot_find_row *row)
{
    const struct agreement *a = &m->matcher->agreement;
    double units = row->units > 0 ? (double)row->units : 1;
    return (1 - a->unrecorded) * units * agreement_age(a, age_days(m, row), row->shelf_life_days) /
           m->units_on_sale;
}

static double rest_of(const struct matching *m, const struct lot_find_row *row)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct lot_query *q = m->query;
    int32_t packed_day = tz_day(q->tz, row->packed_from_ms);
    double p = agreement_bought(a, q->bought_day, packed_day, row->code_day) *
               agreement_found(a, q->found_day, packed_day);
    if (m->product_id)
        p *= agreement_product(a, m->volume.products, row->product_id == m->product_id,
                               m->product_scanned);
    if (m->code_day != WHEN_UNKNOWN_DAY)
        p *= agreement_code_date(a, m->code_day, row->code_day);
    return p;
}

/* The same for a lot that nobody recorded: anything goes. */
static double rest_of_none(const struct matching *m)
{
    const struct agreement *a = &m->matcher->agreement;
    double p = 1;
    if (m->product_id && m->volume.products > 1)
        p /= m->volume.products;
    if (m->code_day != WHEN_UNKNOWN_DAY)
        p *= agreement_code_date_any(a);
    if (m->query->bought_day != WHEN_UNKNOWN_DAY)
        p *= (1 - a->bought_wrong) / (m->volume.shelf_life_days + 1);
    if (m->query->found_day != WHEN_UNKNOWN_DAY)
        p *= 1 - a->found_wrong;
    return p;
}

/* P(text) of a code that was read off some other pack of ours. */
static double other_pack(const struct matching *m)
{
    double share = 0;
    for (size_t i = 0; i < m->rows.count; i++)
        if (!strcmp(m->rows.row[i].fold, m->fold))
            share += m->scored[i].prior;
    if (share <= 0 && m->result->parsed.alternatives > 0)
        share = 1 / m->result->parsed.alternatives;
    return share;
}

/* P(text) of the code of a lot that nobody recorded: as plants write them if a pattern fits; else a
 * misread one, of which there are some hundreds for every code. */
static double text_of_none(const struct matching *m)
{
    double codes = m->result->parsed.alternatives;
    if (codes > 0)
        return 0.8 / codes;
    return 0.2 / 400 / 1e6 + 0.05 * exp(reading_log_junk(&m->text));
}

static void weigh_text(struct matching *m)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct reading *reading = &m->matcher->reading;
    double astray = reading->junk * exp(reading_log_junk(&m->text)) + a->wrong_pack * other_pack(m);
    double aright = 1 - reading->junk - a->wrong_pack;
    float cheapest = INFINITY;
    for (size_t i = 0; i < m->rows.count; i++)
        cheapest = m->close[i].cost < cheapest ? m->close[i].cost : cheapest;
    for (size_t i = 0; i < m->rows.count; i++) {
        struct reading_code code;
        m->scored[i].text = astray;
        if (m->close[i].cost > cheapest + HOPELESS)
            continue;
        reading_prepare(m->rows.row[i].code, &code);
        m->scored[i].text += aright * exp(reading_log_likelihood(reading, &code, &m->text,
                                                                 m->result->parsed.scanned));
    }
    m->none *=
        aright * text_of_none(m) + astray; /* an unrecorded lot's caller goes astray as well */
    m->astray = astray;
}

/* The lots no look-up brought: the text says nothing about them, so they share what chance there is
 * that it is no reading of the lot's code at all. */
static double weigh_rest(const struct matching *m)
{
    if (is_complete(m))
        return 0;
    double rest = (1 - m->matcher->agreement.unrecorded) * rest_of_none(m);
    for (size_t i = 0; i < m->rows.count; i++)
        rest -= m->scored[i].prior * m->scored[i].rest;
    return rest > 0 ? rest * m->astray : 0;
}

static int by_weight(const void *a, const void *b)
{
    const struct scored *x = a, *y = b;
    if (x->weight != y->weight)
        return x->weight < y->weight ? 1 : -1;
    /* the same order every time */
    return x->row->lot_id < y->row->lot_id ? 1 : x->row->lot_id > y->row->lot_id ? -1 : 0;
}

/* Was the likely ones' bread sent there at all? One for which nothing is known of its dispatch, the
 * unlikely ones and an unrecorded lot are taken as sent to a typical place. */
static int weigh_sent(struct matching *m)
{
    const struct lot_query *q = m->query;
    const char *store = given(q->store) ? q->store : NULL;
    struct lot_find_sent sent[SENT_CHECKED];
    size_t count = m->rows.count < SENT_CHECKED ? m->rows.count : SENT_CHECKED, known = 0;
    double places = 0;
    if (!store && !given(q->route))
        return 0;
    for (size_t i = 0; i < count; i++) {
        int rc =
            lot_find_sent(m->store, m->scored[i].row->lot_id, store, q->route, &sent[i], m->err);
        if (rc == 0 && store && !sent[i].units && given(q->route))
            rc =
                lot_find_sent(m->store, m->scored[i].row->lot_id, NULL, q->route, &sent[i], m->err);
        if (rc < 0)
            return rc;
        if (sent[i].units > 0 && sent[i].places > 0) {
            places += sent[i].places;
            known++;
        }
    }
    if (!known)
        return 0;
    double typical = (double)known / places, wrong = m->matcher->agreement.store_wrong;
    for (size_t i = 0; i < m->rows.count; i++) {
        double there = typical;
        if (i < count && sent[i].units > 0)
            there =
                (1 - wrong) * (double)sent[i].units_there / (double)sent[i].units + wrong * typical;
        m->scored[i].weight *= there;
    }
    m->none *= typical;
    return 0;
}

static int weigh(struct matching *m)
{
    size_t count = m->rows.count;
    m->none = m->matcher->agreement.unrecorded * rest_of_none(m);
    m->astray = 1;
    for (size_t i = 0; i < count; i++) {
        const struct lot_find_row *row = &m->rows.row[i];
        m->scored[i] = (struct scored){row, prior_of(m, row), 1, rest_of(m, row), 0};
    }
    if (m->text.length)
        weigh_text(m);
    m->none += weigh_rest(m);
    for (size_t i = 0; i < count; i++)
        m->scored[i].weight = m->scored[i].prior * m->scored[i].text * m->scored[i].rest;
    qsort(m->scored, count, sizeof *m->scored, by_weight);
    int rc = weigh_sent(m);
    qsort(m->scored, count, sizeof *m->scored, by_weight);
    return rc;
}

/* ---- the answer ---- */

static void answer(struct matching *m)
{
    struct lot_match_result *r = m->result;
    double sum = m->none, told = 0;
    for (size_t i = 0; i < m->rows.count; i++)
        sum += m->scored[i].weight;
    for (size_t i = 0; i < m->rows.count && r->count < LOT_MATCH_CANDIDATES; i++) {
        const struct scored *scored = &m->scored[i];
        double weight = sum > 0 ? scored->weight / sum : 0;
        if (weight < 1e-6)
            break;
        struct lot_candidate *candidate = &r->candidate[r->count++];
        candidate->lot_id = scored->row->lot_id;
        candidate->weight = weight;
        memcpy(candidate->code, scored->row->code, sizeof candidate->code);
        candidate->edits = m->text.length ? reading_edits(scored->row->fold, m->fold, true) : -1;
        told += weight;
    }
    r->none_weight = told < 1 ? 1 - told : 0;
    if (r->count && r->candidate[0].weight >= m->matcher->agreement.settled_at)
        r->settled_lot_id = r->candidate[0].lot_id;
}

int lot_match(const struct lot_matcher *matcher, struct store *read, const struct lot_query *query,
              struct lot_match_result *ret, struct error *err)
{
    struct lot_match_result *result = xcalloc(1, sizeof *result);
    struct matching m = {
        .matcher = matcher,
        .store = read,
        .query = query,
        .result = result,
        .err = err,
        .worst_kept = INFINITY,
        .rows = {.row = xmalloc(CLOSEST * sizeof *m.rows.row), .capacity = CLOSEST},
        .scored = xmalloc(CLOSEST * sizeof *m.scored)};
    result->none_weight = 1;
    bool begun = lot_find_begin(read);
    int rc = prepare(&m);
    if (rc == 0 && m.units_on_sale > 0) {
        rc = gather(&m);
        if (rc == 0)
            rc = weigh(&m);
        if (rc == 0)
            answer(&m);
    }
    lot_find_end(read, begun);
    if (rc == 0)
        *ret = *result;
    free(m.rows.row);
    free(m.scored);
    free(result);
    return rc;
}
