#include "lots/match.h"
#include "base/text.h"
#include "lots/match_inside.h"
#include "lots/outlet_named.h"
#include "store/seen.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- what is asked ---- */

static int find_product(struct matching *m)
{
    struct lot_parsed *parsed = &m->result->parsed;
    struct lot_find_product *product = &m->product.row[0];
    int rc = ERROR_NOT_FOUND;
    if (parsed->gtin[0]) {
        rc = lot_find_product_by_gtin(m->store, parsed->gtin, product, NULL);
        if (rc == 0) {
            memcpy(parsed->product, product->product, sizeof parsed->product);
            m->product.count = 1;
            m->product_scanned = true;
        }
        if (!parsed->scanned && rc == 0)
            parsed->text[0] = '\0'; /* the number under the barcode, no lot code */
        else if (!parsed->scanned)
            parsed->gtin[0] = '\0';
    }
    /* what the desk chose stands before what was read */
    const char *chosen = match_given(m->query->product) ? m->query->product : parsed->product;
    bool said = match_given(m->query->product);
    if (said || (rc < 0 && *chosen)) {
        struct product_named named;
        rc = product_named_find(m->store, chosen, &named, NULL);
        m->result->product_id = said && rc == 0 ? product_named_one(&named) : 0;
        if (rc == 0 && named.count) {
            m->product_scanned =
                m->product_scanned && product_named_fits(&named, product->product_id);
            m->product = named;
        }
    }
    if (rc < 0 && rc != ERROR_NOT_FOUND)
        return error_set(m->err, (enum error_code)rc, "the product could not be looked up");
    return 0;
}

int match_named(struct store *store, struct lot_parsed *parsed, struct product_named *ret,
                struct error *err)
{
    bool instead = !parsed->pattern[0] && !parsed->scanned && !parsed->wrong[0];
    int rc = product_named_find(store, instead ? parsed->text : parsed->beside, ret, err);
    if (rc || !ret->count)
        return rc;
    if (instead)
        parsed->text[0] = '\0';
    if (product_named_one(ret) && !parsed->product[0])
        text_clip(ret->row[0].product, parsed->product, sizeof parsed->product);
    return 0;
}

static int take_named(struct matching *m)
{
    struct product_named named;
    int rc = match_named(m->store, &m->result->parsed, &named, m->err);
    if (rc || m->product.count || !named.count)
        return rc;
    m->product = named;
    m->result->product_id = product_named_one(&named);
    return 0;
}

static int find_outlets(struct matching *m)
{
    struct lot_match_result *r = m->result;
    struct outlet_named named;
    int rc = outlet_named_find(m->store, LOT_FIND_STORE, m->query->store, &named, m->err);
    text_clip(outlet_named_one(&named), r->store, sizeof r->store);
    m->store_guessed = named.part;
    if (rc == 0)
        rc = outlet_named_find(m->store, LOT_FIND_ROUTE, m->query->route, &named, m->err);
    text_clip(outlet_named_one(&named), r->route, sizeof r->route);
    m->route_guessed = named.part;
    return rc;
}

/* What a lot of ours bears is its code, whatever else it looks like: a date, a barcode, a name. */
static int take_known(struct matching *m, bool *ret_known)
{
    struct lot_parsed whole;
    struct lot_find_row row;
    struct lot_find_rows rows = {.row = &row, .capacity = 1};
    char fold[LOT_MATCH_CODE];
    match_understand_whole(m->query->lot_text, &whole);
    lot_find_fold(m->result->parsed.text, m->fold, sizeof m->fold);
    lot_find_fold(whole.text, fold, sizeof fold);
    bool same = strcmp(fold, m->fold) == 0 && !m->result->parsed.gtin[0];
    int rc = *fold ? lot_find_by_fold(m->store, fold, 1, &rows, m->err) : 0;
    *ret_known = rc == 0 && rows.count > 0;
    if (*ret_known && !same)
        m->result->parsed = whole;
    return rc;
}

static int prepare(struct matching *m)
{
    struct lot_parsed *parsed = &m->result->parsed;
    match_understand(m->matcher, m->query->lot_text, m->query->plant, m->query->received_ms,
                     m->query->tz, parsed);
    bool known = false;
    int rc = take_known(m, &known);
    if (rc == 0)
        rc = find_product(m);
    if (rc == 0 && !known)
        rc = take_named(m);
    if (rc == 0)
        rc = find_outlets(m);
    if (rc == 0)
        rc = lot_find_volume(m->store, m->query->received_ms, &m->volume, m->err);
    if (rc < 0)
        return rc;
    m->code_day = m->query->code_day != WHEN_UNKNOWN_DAY ? m->query->code_day : parsed->code_day;
    lot_find_fold(parsed->text, m->fold, sizeof m->fold);
    reading_prepare(m->fold, &m->text);
    rc = unrecorded_look(m->store, m->query->tz, parsed, &m->record, m->err);
    if (rc < 0)
        return rc;
    if (m->record.found) /* whatever its pattern says of it */
        parsed->wrong[0] = '\0';
    m->result->exact = m->record.lot_id > 0;
    m->result->read_lot_id = m->record.lot_id;
    m->result->gap = m->record.gap;
    m->units_on_sale = m->volume.units_per_day *
                       agreement_age_days(&m->matcher->agreement, m->volume.shelf_life_days);
    return 0;
}

/* ---- the answer ---- */

/* A likeliest lot below this is a guess at random. */
static const double WORTH_NAMING = 0.02;
/* A lot so much less likely than the first says nothing to the desk and changes no ranking. */
static const double WEIGHT_LEAST = 1e-6, OF_FIRST_LEAST = 0.002;

/* From memory: of codes that cannot be, so many were printed so, by a coder set or worn wrong, or
 * are another maker's: of which lot such a pack is the code does not tell. All others were misread,
 * as one code in five is. */
static const double PRINTED_WRONG = 0.05;

/* Is the code of some recorded lot by far likelier than one that is not on record? */
static bool is_misread(const struct matching *m)
{
    const struct lot_match_result *r = m->result;
    double recorded = 1 - r->none_weight;
    return recorded >= m->matcher->agreement.misread_odds * r->unrecorded_weight;
}

/* A few characters are in every code. */
static bool says_something(const struct matching *m)
{
    enum { LEGIBLE = 3 };
    return m->text.length >= LEGIBLE || match_product_known(m) || m->code_day != WHEN_UNKNOWN_DAY;
}

/* A whole code of a day that has not come is a misreading, or was printed by a coder set wrong, and
 * what it would be else is a guess. A plant east of the desk may be a day ahead. */
static bool is_to_come(const struct matching *m)
{
    const struct lot_match_result *r = m->result;
    return r->gap != LOT_GAP_NONE && r->parsed.day != WHEN_UNKNOWN_DAY &&
           r->parsed.day > tz_day(m->query->tz, m->query->received_ms) + 1;
}

/* The plant's own way of writing, and no code it can write. */
static bool cannot_be(const struct matching *m)
{
    return m->result->parsed.wrong[0] != '\0';
}

/* Of the plant that the likeliest lot is of. */
static double settle_level(const struct matching *m)
{
    const struct lot_settle *of = m->result->count ? m->query->settle_of : NULL;
    for (; of && of->plant; of++) {
        if (strcmp(of->plant, m->scored[0].row->plant) == 0)
            return of->at;
    }
    return m->query->settle_at > 0 ? m->query->settle_at : LOT_SETTLE_AT;
}

static enum lot_state state_of(const struct matching *m)
{
    const struct lot_match_result *r = m->result;
    double first = r->count ? r->candidate[0].weight : 0;
    double settle_at = settle_level(m);
    bool misread = is_misread(m);
    if ((r->gap != LOT_GAP_NONE && !misread) || is_to_come(m))
        return LOT_NOT_ON_RECORD;
    if (first >= settle_at && misread)
        return r->candidate[0].lot_id == m->record.lot_id ? LOT_EXACT : LOT_LIKELY;
    if (r->gap != LOT_GAP_NONE && first < WORTH_NAMING)
        return LOT_NOT_ON_RECORD;
    return first >= WORTH_NAMING && says_something(m) ? LOT_SEVERAL : LOT_UNKNOWN;
}

static void take_candidate(const struct matching *m, const struct scored *scored, double weight,
                           struct lot_candidate *ret)
{
    ret->lot_id = scored->row->lot_id;
    ret->weight = weight;
    memcpy(ret->code, scored->row->code, sizeof ret->code);
    ret->edits = m->text.length ? reading_edits(scored->row->fold, m->fold, true) : -1;
}

static void answer(struct matching *m)
{
    struct lot_match_result *r = m->result;
    double sum = m->none + m->unrecorded, told = 0;
    double misread = cannot_be(m) ? 1 - PRINTED_WRONG : 1;
    for (size_t i = 0; i < m->rows.count; i++)
        sum += m->scored[i].weight;
    size_t most = m->all ? m->rows.count : LOT_MATCH_CANDIDATES;
    for (size_t i = 0; i < m->rows.count && i < most; i++) {
        const struct scored *scored = &m->scored[i];
        double weight = sum > 0 ? misread * scored->weight / sum : 0;
        if (weight < WEIGHT_LEAST || (i && scored->weight < OF_FIRST_LEAST * m->scored[0].weight))
            break;
        if (m->all)
            take_candidate(m, scored, weight, &m->all->candidate[m->all->count++]);
        if (r->count == LOT_MATCH_CANDIDATES)
            continue;
        take_candidate(m, scored, weight, &r->candidate[r->count++]);
        told += weight;
    }
    r->none_weight = told < 1 ? 1 - told : 0;
    r->unrecorded_weight = sum > 0 ? m->unrecorded / sum : 0;
    r->state = state_of(m);
    if (lot_state_names_one(r->state))
        r->settled_lot_id = r->candidate[0].lot_id;
}

/* Who does not see a plant is not told where a code of its writing would stand in its records. */
static void hide_code(const struct store *store, struct lot_match_result *r)
{
    if (r->gap == LOT_GAP_NONE || !r->parsed.plant[0] || seen_plant(store, r->parsed.plant))
        return;
    r->gap = LOT_GAP_NONE;
    if (r->state == LOT_NOT_ON_RECORD)
        r->state = LOT_UNKNOWN;
}

bool matcher_holds_time(const struct lot_matcher *matcher, const char *plant)
{
    bool holds = false;
    for (size_t i = 0; i < matcher->pattern_count; i++) {
        const char *of = code_pattern_plant(matcher->pattern[i]);
        if (!plant || !*plant || strcmp(of, plant) == 0)
            holds = holds || code_pattern_holds_time(matcher->pattern[i]);
    }
    return holds;
}

static int match(const struct lot_matcher *matcher, struct store *read,
                 const struct lot_query *query, struct lot_match_result *ret,
                 struct lot_match_all *all, struct error *err)
{
    struct lot_match_result *result = xcalloc(1, sizeof *result);
    struct matching m = {
        .matcher = matcher,
        .store = read,
        .query = query,
        .result = result,
        .all = all,
        .err = err,
        .worst_kept = INFINITY,
        .unseen = INFINITY,
        .cheapest = INFINITY,
        .compared = xmalloc(sizeof *m.compared),
        .rows = {.row = xmalloc(MATCH_CLOSEST * sizeof *m.rows.row), .capacity = MATCH_CLOSEST},
        .scored = xmalloc(MATCH_CLOSEST * sizeof *m.scored)};
    walk_forget(m.compared);
    result->none_weight = 1;
    result->codes_hold_time = matcher_holds_time(matcher, query->plant);
    bool begun = store_look(read), some = seen_whole(read);
    int rc = prepare(&m);
    if (rc == 0 && m.units_on_sale > 0) {
        rc = match_gather(&m);
        if (rc == 0)
            rc = match_weigh(&m);
    }
    if (rc == 0)
        answer(&m);
    if (rc == 0 && all)
        all->left_out = m.left_out;
    seen_again(read, some);
    store_unlook(read, begun);
    if (rc == 0)
        hide_code(read, result);
    if (rc == 0)
        *ret = *result;
    free(m.compared);
    free(m.rows.row);
    free(m.scored);
    free(result);
    return rc;
}

int match_lot(const struct lot_matcher *matcher, struct store *read, const struct lot_query *query,
              struct lot_match_result *ret, struct error *err)
{
    return match(matcher, read, query, ret, NULL, err);
}

int match_lot_all(const struct lot_matcher *matcher, struct store *read,
                  const struct lot_query *query, struct lot_match_all *ret, struct error *err)
{
    struct lot_match_result *result = xcalloc(1, sizeof *result);
    memset(ret, 0, sizeof *ret);
    int rc = match(matcher, read, query, result, ret, err);
    free(result);
    return rc;
}
