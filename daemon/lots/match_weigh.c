/* A candidate's weight is the product of: its share of what was on sale, the chance of what was
 * read if this is its code, the chance of everything else that was said if it was this lot. */
#include "lots/match_inside.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SENT_CHECKED = 48 }; /* candidates whose dispatch is looked at */
/* A reading so much dearer than the best is as good as none. */
static const float HOPELESS = 20.0F;

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
    double unrecorded = text_of_none(m);
    /* what is no reading of the lot's code looks like a code all the same: one from another day,
     * another maker */
    double astray = reading->junk * unrecorded + a->wrong_pack * other_pack(m);
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
    m->none *= aright * unrecorded + astray; /* an unrecorded lot's caller goes astray as well */
    m->astray = astray;
}

/* The lots no look-up brought: the text says nothing about them, so they share what chance there is
 * that it is no reading of the lot's code at all. */
static double weigh_rest(const struct matching *m)
{
    if (match_is_complete(m))
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
    const char *store = match_given(q->store) ? q->store : NULL;
    struct lot_find_sent sent[SENT_CHECKED];
    size_t count = m->rows.count < SENT_CHECKED ? m->rows.count : SENT_CHECKED, known = 0;
    double places = 0;
    if (!store && !match_given(q->route))
        return 0;
    for (size_t i = 0; i < count; i++) {
        int rc =
            lot_find_sent(m->store, m->scored[i].row->lot_id, store, q->route, &sent[i], m->err);
        if (rc == 0 && store && !sent[i].units && match_given(q->route))
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

int match_weigh(struct matching *m)
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
