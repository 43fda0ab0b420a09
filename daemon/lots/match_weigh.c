/* A candidate's weight is the product of: its share of what was on sale, the chance of what was
 * read if this is its code, the chance of everything else that was said if it was this lot. */
#include "base/tz_of.h"
#include "lots/match_inside.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SENT_CHECKED = 48 }; /* candidates whose dispatch is looked at */
/* A reading so much dearer than the best is as good as none. */
static const float HOPELESS = 20.0F;
/* From memory: of other things read than codes, how many look like a code of ours. */
static const double JUNK_LIKE_A_CODE = 0.02;
/* Of the ways of reading that were not looked into, so many lead to a lot after all: the likely
 * ones come first. Set by simulated misreads (tests/lots/sim.h, seed 7). */
static const double MISSED = 0.05;

/* From memory: of places of which a part of the name is said, so many are others, which no dispatch
 * names. */
static const double ANOTHER_PLACE = 0.5;

static double age_days(const struct matching *m, const struct lot_find_row *row)
{
    return (double)(m->query->received_ms - row->packed_from_ms) / (double)WHEN_DAY_MS;
}

/* Share of what was on sale that this lot is. */
static double prior_of(const struct matching *m, const struct lot_find_row *row)
{
    assert(m->units_on_sale > 0);
    const struct agreement *a = &m->matcher->agreement;
    double units = row->units > 0 ? (double)row->units : 1;
    return (1 - a->unrecorded) * units * agreement_age(a, age_days(m, row), row->shelf_life_days) /
           m->units_on_sale;
}

static double rest_of(const struct matching *m, const struct lot_find_row *row)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct lot_query *q = m->query;
    int32_t packed_day = tz_day(tz_of(q->tz, row->plant), row->packed_from_ms);
    double p = agreement_bought(a, q->bought_day, packed_day, row->code_day) *
               agreement_found(a, q->found_day, packed_day);
    if (match_product_known(m))
        p *=
            agreement_product(a, m->volume.products,
                              product_named_fits(&m->product, row->product_id), m->product_scanned);
    if (m->code_day != WHEN_UNKNOWN_DAY)
        p *= agreement_code_date(a, m->code_day, row->code_day);
    return p;
}

/* P(text) of a code that nobody recorded. If it is read right, one of so many codes. If it is
 * misread, the codes it may have been are the more, the more mistakes there are in it: each makes a
 * reading about a thousand times less likely, and three times as many used codes may have been
 * meant: with k mistakes L = 0.001^k, and 3^k L = L^(1 + ln 3 / ln 0.001). No source. */
static double text_of_none(const struct matching *m, double likeliest)
{
    assert(likeliest >= 0);
    static const double CODES_A_MISTAKE = 3, CHANCE_OF_ONE = 1e-3;
    double codes = unrecorded_codes(m);
    double misread = pow(likeliest, 1 + log(CODES_A_MISTAKE) / log(CHANCE_OF_ONE));
    /* a whole code read right is an explanation by itself: unrecorded.c */
    bool may_be_right = m->result->parsed.alternatives > 0 && m->result->gap == LOT_GAP_NONE;
    double right = may_be_right ? UNRECORDED_READ_RIGHT : 0;
    return (right > misread ? right : misread) / codes;
}

/* P(text) if what was read is no lot code: anything at all. Little of that looks like a code. */
static double text_of_junk(const struct matching *m)
{
    double chance = exp(reading_log_junk(&m->text));
    double codes = m->result->parsed.alternatives;
    return codes > 0 ? JUNK_LIKE_A_CODE / codes + chance : chance;
}

static double likelihoods(struct matching *m)
{
    double likeliest = 0;
    float cheapest = INFINITY;
    for (size_t i = 0; i < m->rows.count; i++)
        cheapest = m->close[i].cost < cheapest ? m->close[i].cost : cheapest;
    for (size_t i = 0; i < m->rows.count; i++) {
        struct reading_code code;
        m->scored[i].text = 0;
        if (m->close[i].cost > cheapest + HOPELESS)
            continue;
        reading_prepare(m->rows.row[i].code, &code);
        m->scored[i].text = exp(reading_log_likelihood(&m->matcher->reading, &code, &m->text,
                                                       m->result->parsed.scanned));
        likeliest = m->scored[i].text > likeliest ? m->scored[i].text : likeliest;
    }
    return likeliest;
}

static void weigh_text(struct matching *m)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct reading *reading = &m->matcher->reading;
    double likeliest = likelihoods(m);
    double unrecorded = text_of_none(m, likeliest);
    m->says_nothing = m->result->gap == LOT_GAP_NONE && likeliest < reading->junk * text_of_junk(m);
    /* some other pack's code, read as well or badly as the right one's would be */
    double other_pack = a->unrecorded * unrecorded + m->unrecorded;
    for (size_t i = 0; i < m->rows.count; i++)
        other_pack += m->scored[i].prior * m->scored[i].text;
    bool missed = isfinite(m->unseen) && !m->recent;
    m->missed = missed ? MISSED * text_of_none(m, exp(-(double)m->unseen)) : 0;
    m->astray = reading->junk * text_of_junk(m) + a->wrong_pack * (other_pack + m->missed);
    double aright = 1 - reading->junk - a->wrong_pack;
    m->unrecorded = aright * (m->unrecorded + unrecorded_misread(m));
    for (size_t i = 0; i < m->rows.count; i++)
        m->scored[i].text = aright * m->scored[i].text + m->astray;
    /* an unrecorded lot's caller goes astray as well */
    m->none *= aright * unrecorded + m->astray;
}

/* The lots no look-up brought share what chance there is that the text is no reading of the lot's
 * code at all, and that look-ups ended before theirs was found. */
static double weigh_rest(const struct matching *m)
{
    if (match_is_complete(m))
        return 0;
    double rest = (1 - m->matcher->agreement.unrecorded) * unrecorded_rest(m);
    for (size_t i = 0; i < m->rows.count; i++)
        rest -= m->scored[i].prior * m->scored[i].rest;
    return rest > 0 ? rest * (m->astray + m->missed) : 0;
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
    const char *store = match_given(m->result->store) ? m->result->store : NULL;
    const char *route = match_given(m->result->route) ? m->result->route : NULL;
    struct lot_find_sent sent[SENT_CHECKED];
    size_t count = m->rows.count < SENT_CHECKED ? m->rows.count : SENT_CHECKED, known = 0;
    double places = 0;
    if (!store && !route)
        return 0;
    int rc = 0;
    for (size_t i = 0; i < count; i++) {
        rc = lot_find_sent(m->store, m->scored[i].row->lot_id, store, route, &sent[i], m->err);
        if (rc == 0 && store && !sent[i].units && route)
            rc = lot_find_sent(m->store, m->scored[i].row->lot_id, NULL, route, &sent[i], m->err);
        if (rc < 0)
            return rc;
        if (sent[i].units > 0 && sent[i].places > 0) {
            places += sent[i].places;
            known++;
        }
    }
    if (!known)
        return 0;
    assert(places > 0);
    /* one over the mean number of places */
    double typical = (double)known / places, wrong = m->matcher->agreement.store_wrong;
    if (store ? m->store_guessed : m->route_guessed)
        wrong = fmax(wrong, ANOTHER_PLACE);
    for (size_t i = 0; i < m->rows.count; i++) {
        double there = typical;
        if (i < count && sent[i].units > 0)
            there =
                (1 - wrong) * (double)sent[i].units_there / (double)sent[i].units + wrong * typical;
        m->scored[i].weight *= there;
    }
    m->unrecorded *= typical;
    m->none *= typical;
    return 0;
}

int match_weigh(struct matching *m)
{
    size_t count = m->rows.count;
    m->none = m->matcher->agreement.unrecorded * unrecorded_rest(m);
    m->unrecorded = unrecorded_weight(m);
    m->astray = 1;
    m->missed = 0;
    for (size_t i = 0; i < count; i++) {
        const struct lot_find_row *row = &m->rows.row[i];
        m->scored[i] = (struct scored){row, prior_of(m, row), 1, rest_of(m, row), 0};
    }
    if (m->text.length)
        weigh_text(m);
    m->none += weigh_rest(m);
    if (m->says_nothing && !match_product_known(m) && m->code_day == WHEN_UNKNOWN_DAY) {
        m->rows.count = 0; /* any lot on sale: as if nothing had been read */
        return 0;
    }
    for (size_t i = 0; i < count; i++)
        m->scored[i].weight = m->scored[i].prior * m->scored[i].text * m->scored[i].rest;
    qsort(m->scored, count, sizeof *m->scored, by_weight); /* whose dispatch is worth a look-up */
    int rc = weigh_sent(m);
    qsort(m->scored, count, sizeof *m->scored, by_weight);
    return rc;
}
