/* Candidates are gathered from what is cheap to look up: the same code; lots of the stated product
 * and code date, of the line and day that a pattern reads, of the last weeks where they are few,
 * each compared with the text by its code; codes one can mistake for the text. A lot that no
 * look-up brings has no weight worth naming. */
#include "base/text.h"
#include "base/tz_of.h"
#include "lots/match_inside.h"
#include <math.h>
#include <stdlib.h>

enum {
    SAME_CODE = 32,     /* of one folded code */
    OF_DAY = 3000,      /* codes compared: of one code date */
    OF_OTHER_DAY = 200, /* of one it may be mistaken for */
    OF_LINE = 200,      /* of a line's day */
    OF_PRODUCT = 3000,  /* of a product, if no date is known */
    FAVOURED = 64,      /* of the stated code date, kept whatever the text */
    RECENT = 1000,      /* of all there are, if a plant makes no more within reach */
};
/* Look-ups of the walk, and how much dearer than the best a reading may be: less where an exact
 * code agrees with everything else. */
static const int LOOKUPS = 420, LOOKUPS_DATED = 200, LOOKUPS_FEW = 120, LOOKUPS_AGREED = 6;
/* A code so much dearer than the cheapest says of its lot only that the text is no reading of it.
 */
static const float UNLIKE = 14.0F;
static const float SLACK = 9.0F, SLACK_AGREED = 6.5F;
static const double RECENT_SHELF_LIVES = 2.5;

bool match_is_complete(const struct matching *m)
{
    return (match_product_known(m) || m->code_day != WHEN_UNKNOWN_DAY) && !m->rows.overflow;
}

/* With a text, what goes reads worse than all that stay; without, it is as likely. */
static void leave_out(struct matching *m)
{
    m->rows.overflow = m->rows.overflow || !m->text.length;
    m->left_out += !m->text.length;
}

/* Keeps the MATCH_CLOSEST lots of the lowest rank: whose codes are cheapest to read as the text;
 * without a text, the first. */
static void keep(struct matching *m, int64_t lot_id, float cost, float rank)
{
    struct match_close *worst = &m->close[0];
    if (m->close_count == MATCH_CLOSEST) {
        for (size_t i = 1; i < MATCH_CLOSEST; i++)
            if (m->close[i].rank > worst->rank)
                worst = &m->close[i];
        m->worst_kept = worst->rank;
        if (rank >= worst->rank) {
            leave_out(m);
            return;
        }
    }
    for (size_t i = 0; i < m->close_count; i++)
        if (m->close[i].lot_id == lot_id) {
            m->close[i].rank = rank < m->close[i].rank ? rank : m->close[i].rank;
            return;
        }
    if (m->close_count < MATCH_CLOSEST)
        worst = &m->close[m->close_count++];
    *worst = (struct match_close){lot_id, cost, rank};
}

static int keep_key(void *arg, const struct lot_find_key *key)
{
    struct matching *m = arg;
    bool favoured = m->favours > 0;
    float most = m->worst_kept < m->cheapest + UNLIKE ? m->worst_kept : m->cheapest + UNLIKE;
    float cost = m->text.length ? walk_cost_next(&m->matcher->costs, &m->text, key->fold,
                                                 favoured ? INFINITY : most, m->compared)
                                : 0;
    float rank = favoured ? 0 : cost;
    m->favours -= favoured;
    m->cheapest = cost < m->cheapest ? cost : m->cheapest;
    if (!favoured && m->text.length && cost > most)
        return 0;
    if (rank < m->worst_kept)
        keep(m, key->lot_id, cost, rank);
    else
        leave_out(m);
    return 0;
}

static int gather_where(struct matching *m, const struct lot_find_where *where)
{
    return lot_find_each_key(m->store, where, keep_key, m, &m->rows.overflow, m->err);
}

/* Of each product that it may be; of any, if none is known. */
static int gather_products(struct matching *m, struct lot_find_where where)
{
    size_t count = match_product_known(m) ? m->product.count : 1;
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < count; i++) {
        where.product_id = match_product_known(m) ? m->product.row[i].product_id : 0;
        rc = gather_where(m, &where);
    }
    return rc;
}

static int gather_code_days(struct matching *m, bool agreed)
{
    int32_t days[AGREEMENT_DAYS];
    struct lot_find_where where = {.product_id = 0};
    bool known = match_product_known(m);
    if (m->code_day == WHEN_UNKNOWN_DAY || (agreed && !known))
        return 0;
    size_t count = agreement_code_days(m->code_day, days);
    if (!known && count > 3)
        count = 3; /* the day and its neighbours: others are too many without a product */
    int rc = 0;
    for (size_t i = 0; rc == 0 && i < count; i++) {
        where.code_day = days[i];
        m->favours = i == 0 ? FAVOURED : 0; /* the text may be no reading of this lot's code */
        where.limit = i == 0 ? OF_DAY : OF_OTHER_DAY;
        rc = gather_products(m, where);
    }
    m->favours = 0;
    if (rc < 0 || !known || agreed)
        return rc;
    /* the product may be named wrongly and the date be right */
    where = (struct lot_find_where){.code_day = m->code_day, .limit = OF_DAY};
    return gather_where(m, &where);
}

static int gather_line(struct matching *m)
{
    const struct lot_parsed *parsed = &m->result->parsed;
    if (parsed->day == WHEN_UNKNOWN_DAY || !parsed->line[0])
        return 0;
    int64_t from = tz_day_start_ms(tz_of(m->query->tz, parsed->plant), parsed->day);
    /* packing ends in the night after the production day */
    struct lot_find_where where = {.plant = parsed->plant,
                                   .line = parsed->line,
                                   .code_day = WHEN_UNKNOWN_DAY,
                                   .packed = {from, from + 32 * WHEN_HOUR_MS},
                                   .limit = OF_LINE};
    /* more than fit here does not make what was said of product and date incomplete */
    bool overflow = m->rows.overflow;
    int rc = gather_where(m, &where);
    m->rows.overflow = overflow;
    return rc;
}

static struct lot_find_where lately(const struct matching *m, double shelf_lives, size_t limit)
{
    double shelf_life = m->volume.shelf_life_days > 1 ? m->volume.shelf_life_days : 1;
    int64_t to = m->query->received_ms + WHEN_HOUR_MS;
    return (struct lot_find_where){
        .code_day = WHEN_UNKNOWN_DAY,
        .packed = {to - (int64_t)(shelf_lives * shelf_life * (double)WHEN_DAY_MS), to},
        .limit = limit};
}

static int gather_product(struct matching *m)
{
    struct lot_find_where where = lately(m, 3, OF_PRODUCT);
    if (!match_product_known(m) || m->code_day != WHEN_UNKNOWN_DAY)
        return 0;
    return gather_products(m, where);
}

/* A plant whose lots within reach are few has them all compared: nothing is missed. */
static int gather_recent(struct matching *m)
{
    struct lot_find_where where = lately(m, RECENT_SHELF_LIVES, RECENT);
    double days = (double)(where.packed.to_ms - where.packed.from_ms) / (double)WHEN_DAY_MS;
    if (m->volume.lots_per_day * days > 0.9 * RECENT)
        return 0;
    bool overflow = m->rows.overflow;
    m->rows.overflow = false;
    int rc = gather_where(m, &where);
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
        if ((!match_product_known(m) || product_named_fits(&m->product, row->product_id)) &&
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
    bool few = m->recent || match_is_complete(m);
    const struct walk_reach reach = {agreed ? SLACK_AGREED : SLACK,
                                     agreed                            ? LOOKUPS_AGREED
                                     : few                             ? LOOKUPS_FEW
                                     : m->code_day != WHEN_UNKNOWN_DAY ? LOOKUPS_DATED
                                                                       : LOOKUPS};
    int rc = walk_find(&m->matcher->costs, m->store, &m->text, reach, walk, m->err);
    m->result->lookups = walk->lookups;
    m->unseen = walk->unseen;
    for (size_t i = 0; rc == 0 && i < walk->count; i++)
        keep(m, walk->hit[i].lot_id, walk->hit[i].cost, walk->hit[i].cost);
    free(walk);
    return rc;
}

static int gather_by_text(struct matching *m, bool *ret_agreed)
{
    int rc = lot_find_by_fold(m->store, m->fold, SAME_CODE, &m->rows, m->err);
    if (rc < 0)
        return rc;
    *ret_agreed = is_agreed(m);
    for (size_t i = 0; i < m->rows.count; i++)
        keep(m, m->rows.row[i].lot_id, 0, 0);
    return *ret_agreed ? 0 : gather_recent(m);
}

static int fetch_rows(struct matching *m)
{
    size_t kept = 0;
    for (size_t i = 0; i < m->close_count; i++) {
        struct lot_find_row *row = &m->rows.row[kept];
        int rc = lot_find_by_id(m->store, m->close[i].lot_id, row, m->err);
        if (rc < 0)
            return rc;
        m->close[kept++] = m->close[i];
    }
    m->rows.count = m->close_count = kept;
    return 0;
}

int match_gather(struct matching *m)
{
    bool agreed = false;
    int rc = m->text.length ? gather_by_text(m, &agreed) : 0;
    if (rc == 0 && !agreed)
        rc = gather_line(m);
    if (rc == 0)
        rc = gather_code_days(m, agreed);
    if (rc == 0 && !agreed)
        rc = gather_product(m);
    if (rc == 0)
        rc = gather_mistaken(m, agreed);
    return rc < 0 ? rc : fetch_rows(m);
}
