/* What explains complaints best: rivals that go along, that cannot be told apart, that overlap. */
#include "patterns/trace_cells.h"
#include "patterns/trace_explain.h"
#include "plant.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LINES = 3, DAYS = 42, RUNS_A_DAY = 3, LOTS = LINES * DAYS * RUNS_A_DAY };

/* Six weeks of three lines; film changes twice a week on each line, flour every third day on all;
 * every lot goes to four stores on two routes, two of each retailer. */
struct bakery {
    struct trace_lots *t;
    struct dice dice;
};

enum { LARK = 10 }; /* any store of it */
static const char *const RETAILERS[] = {"Lark", "Lamp"};

static void deliver(struct trace_lots *t, struct trace_trips *to, size_t lot, int store)
{
    char name[8];
    snprintf(name, sizeof name, "S%d", store);
    const struct evidence_dispatch row = {.route = store < 2 ? "R0" : "R1",
                                          .store = name,
                                          .retailer = RETAILERS[store % 2],
                                          .units = 500};
    trace_lots_send(t, to, lot, &row);
}

static struct bakery bake(uint64_t seed)
{
    struct bakery b = {trace_lots_new(), {seed}};
    for (size_t i = 0; i < LOTS; i++) {
        int line = (int)(i % LINES), run = (int)(i / LINES), day = run / RUNS_A_DAY;
        char text[24];
        struct trace_lot lot = {.lot_id = (int64_t)i + 1,
                                .packed_from_ms = (int64_t)run * 8 * WHEN_HOUR_MS,
                                .packed_to_ms = (int64_t)(run + 1) * 8 * WHEN_HOUR_MS,
                                .units = 2000,
                                .week = day / 7 * 7};
        size_t at = trace_lots_add(b.t, &lot);
        snprintf(text, sizeof text, "%d", line);
        trace_lots_share(b.t, at, "line", text);
        snprintf(text, sizeof text, "%c", 'A' + run % RUNS_A_DAY);
        trace_lots_share(b.t, at, "shift", text);
        snprintf(text, sizeof text, "F%d-%d", line, (2 * day + line) / 7);
        trace_lots_share(b.t, at, "film", text);
        snprintf(text, sizeof text, "FL%d", day / 3);
        trace_lots_share(b.t, at, "flour", text);
        for (int store = 0; store < 4; store++) {
            snprintf(text, sizeof text, "S%d", store);
            trace_lots_share(b.t, at, "route", store < 2 ? "R0" : "R1");
            trace_lots_share(b.t, at, "store", text);
            trace_lots_share(b.t, at, "retailer", RETAILERS[store % 2]);
            deliver(b.t, &b.t->sent, at, store);
        }
    }
    return b;
}

static bool has(const struct trace_lots *t, const char *factor, const char *level, size_t lot)
{
    for (size_t i = 0; i < t->level_count; i++) {
        const struct trace_level *l = &t->levels[i];
        for (size_t k = 0; k < l->count; k++) {
            if (l->lots[k] == lot && strcmp(l->factor, factor) == 0 && strcmp(l->level, level) == 0)
                return true;
        }
    }
    return false;
}

/* Complaints at `usual` a lot; of those where `bad` says so at `rate`; three in four name a store,
 * any, or that of the trouble. */
static void complain(struct bakery *b, double usual, double rate, int store,
                     bool (*bad)(const struct trace_lots *t, size_t lot))
{
    for (size_t i = 0; i < LOTS; i++) {
        int ordinary = (int)dice_poisson(&b->dice, usual);
        int more = bad && bad(b->t, i) ? (int)dice_poisson(&b->dice, rate) : 0;
        b->t->lots[i].complaints = ordinary + more;
        b->t->lots[i].failed = ordinary + more > 0;
        for (int k = 0; k < ordinary + more; k++) {
            if (dice_unit(&b->dice) >= 0.75)
                continue;
            bool any = k >= more || store < 0;
            int of = any || store == LARK ? (int)(4 * dice_unit(&b->dice)) : store;
            deliver(b->t, &b->t->reports, i, !any && store == LARK ? of / 2 * 2 : of);
        }
    }
}

static int told(const struct trace_lots *t, struct trace_story s[TRACE_STORIES])
{
    int count = 0;
    trace_explain(t, -INFINITY, s);
    while (count < TRACE_STORIES && s[count].told)
        count++;
    return count;
}

static bool is(const struct trace_lots *t, const struct trace_blame *b, const char *factor,
               const char *level)
{
    return strcmp(t->levels[b->level].factor, factor) == 0 &&
           strcmp(t->levels[b->level].level, level) == 0;
}

static bool film_is_bad(const struct trace_lots *t, size_t lot)
{
    return has(t, "film", "F1-5", lot);
}

/* Film lots are nested in lines; this one was on its line for half a week, as its line's stretch.
 */
static void a_rival_on_the_same_lots_is_told_beside(void **state)
{
    (void)state;
    struct bakery b = bake(3);
    struct trace_story s[TRACE_STORIES];
    complain(&b, 0.05, 1.2, -1, film_is_bad);
    assert_int_equal(told(b.t, s), 1);
    bool film = false, line = false;
    for (int i = 0; i < s[0].count; i++) {
        film = film || is(b.t, &s[0].of[i], "film", "F1-5");
        line = line || is(b.t, &s[0].of[i], "line", "1");
    }
    assert_true(film && line);
    assert_true(s[0].of[0].share < 0.95);
    assert_true(s[0].of[0].observed > 3 * s[0].of[0].expected);
    trace_lots_free(b.t);
}

static bool flour_is_bad(const struct trace_lots *t, size_t lot)
{
    return has(t, "flour", "FL6", lot);
}

/* One flour on all lines for three days: no line and no film can have done it. */
static void what_only_goes_along_has_nothing_left(void **state)
{
    (void)state;
    int first = 0;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct bakery b = bake(seed);
        struct trace_story s[TRACE_STORIES];
        complain(&b, 0.05, 1, -1, flour_is_bad);
        int count = told(b.t, s);
        first += count == 1 && is(b.t, &s[0].of[0], "flour", "FL6") && s[0].of[0].share > 0.8;
        trace_lots_free(b.t);
    }
    assert_true(first >= 9);
}

static bool two_are_bad(const struct trace_lots *t, size_t lot)
{
    return flour_is_bad(t, lot) || (lot % LINES == 2 && lot > LOTS / 2 && lot < LOTS * 3 / 4);
}

static void two_troubles_are_two_stories(void **state)
{
    (void)state;
    struct bakery b = bake(5);
    struct trace_story s[TRACE_STORIES];
    complain(&b, 0.05, 1, -1, two_are_bad);
    assert_int_equal(told(b.t, s), 2);
    assert_true(is(b.t, &s[0].of[0], "flour", "FL6") || is(b.t, &s[1].of[0], "flour", "FL6"));
    assert_true(is(b.t, &s[0].of[0], "line", "2") || is(b.t, &s[1].of[0], "line", "2"));
    trace_lots_free(b.t);
}

static bool fortnight(const struct trace_lots *t, size_t lot)
{
    (void)t;
    return lot > LOTS / 3 && lot < LOTS * 2 / 3;
}

/* Every lot goes to every store: only what callers name tells. */
static void a_store_is_told_by_those_who_name_it(void **state)
{
    (void)state;
    struct bakery b = bake(8);
    struct trace_story s[TRACE_STORIES];
    complain(&b, 0.05, 0.25, 2, fortnight);
    assert_int_equal(told(b.t, s), 1);
    assert_true(is(b.t, &s[0].of[0], "store", "S2"));
    trace_lots_free(b.t);
}

/* Callers name stores: what two of them on two routes share is whose they are. */
static void a_retailer_is_told_by_its_stores(void **state)
{
    (void)state;
    struct bakery b = bake(8);
    struct trace_story s[TRACE_STORIES];
    complain(&b, 0.05, 0.4, LARK, fortnight);
    assert_int_equal(told(b.t, s), 1);
    assert_true(is(b.t, &s[0].of[0], "retailer", "Lark"));
    trace_lots_free(b.t);
}

enum { NAMED = 150 };

/* A plant that writes of no store where lots went: callers name any of many, none more often than
 * by chance. */
static struct bakery bake_blind(uint64_t seed)
{
    struct bakery b = bake(seed);
    b.t->sent.count = 0;
    for (size_t i = 0; i < b.t->level_count; i++) {
        if (trace_cells_is_sent(b.t, i))
            b.t->levels[i].count = 0;
    }
    for (int store = 0; store < NAMED; store++) {
        char name[8];
        snprintf(name, sizeof name, "N%d", store);
        struct trace_level *level = trace_lots_level(b.t, "store", name, "");
        level->only_named = true;
        level->told = 1.0 / NAMED;
    }
    return b;
}

static void name_any_store(struct bakery *b)
{
    int named[NAMED] = {0};
    size_t first = b->t->level_count - NAMED;
    b->t->reports.count = 0;
    for (size_t lot = 0; lot < LOTS; lot++) {
        for (long k = 0; k < b->t->lots[lot].complaints; k++) {
            size_t store = (size_t)(NAMED * dice_unit(&b->dice));
            const struct evidence_dispatch row = {.route = "",
                                                  .store = b->t->levels[first + store].level,
                                                  .retailer = "",
                                                  .units = 1};
            trace_lots_send(b->t, &b->t->reports, lot, &row);
            named[store]++;
        }
    }
    for (size_t store = 0; store < NAMED; store++) { /* as trace_named.c does */
        for (size_t lot = 0; lot < LOTS && named[store] >= 2; lot++)
            trace_lots_add_to(&b->t->levels[first + store], lot);
    }
}

static bool line_is_bad(const struct trace_lots *t, size_t lot)
{
    return lot % LINES == 1 && fortnight(t, lot);
}

/* Of many stores some are named twice or three times by chance: that is no trouble of theirs. */
static void a_line_is_told_though_callers_name_stores(void **state)
{
    (void)state;
    int line = 0;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        struct bakery b = bake_blind(seed);
        struct trace_story s[TRACE_STORIES];
        complain(&b, 0.03, 0.3, -1, line_is_bad);
        name_any_store(&b);
        trace_explain(b.t, -INFINITY, s);
        line += is(b.t, &s[0].of[0], "line", "1");
        trace_lots_free(b.t);
    }
    assert_true(line >= 19);
}

enum { BAD_LOT = LOTS / 2, BROUGHT = 13, NAMING = 5 };

static bool is_bad_lot(const struct trace_lots *t, size_t lot)
{
    (void)t;
    return lot == BAD_LOT;
}

static void name_one_store(struct bakery *b)
{
    size_t store = b->t->level_count - 1;
    b->t->lots[BAD_LOT].complaints += BROUGHT;
    b->t->lots[BAD_LOT].failed = true;
    for (int k = 0; k < NAMING; k++) {
        const struct evidence_dispatch row = {
            .route = "", .store = b->t->levels[store].level, .retailer = "", .units = 1};
        trace_lots_send(b->t, &b->t->reports, BAD_LOT, &row);
    }
    b->t->levels[store].count = 0;
    for (size_t lot = 0; lot < LOTS; lot++)
        trace_lots_add_to(&b->t->levels[store], lot);
}

/* All who name a store name the same one: what its few packs bring is thousands of times the
 * usual, and no line's. Where they name any, it is the line's. */
static void a_delivery_that_went_bad_in_one_store_is_told(void **state)
{
    (void)state;
    int store = 0, line = 0;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct trace_story s[TRACE_STORIES];
        struct bakery b = bake_blind(seed);
        complain(&b, 0.02, 0, -1, NULL);
        b.t->reports.count = 0;
        name_one_store(&b);
        trace_explain(b.t, -INFINITY, s);
        store += is(b.t, &s[0].of[0], "store", "N149");
        trace_lots_free(b.t);
        b = bake_blind(seed);
        complain(&b, 0.02, BROUGHT, -1, is_bad_lot);
        name_any_store(&b);
        trace_explain(b.t, -INFINITY, s);
        line += strcmp(b.t->levels[s[0].of[0].level].factor, "line") == 0;
        trace_lots_free(b.t);
    }
    print_message("store %d, line %d of 10\n", store, line);
    assert_int_equal(store, 10);
    assert_true(line >= 9);
}

/* Six are weighed beside each other, whatever there is: those that might be something take next to
 * nothing from the one that is. */
static void what_is_not_likely_there_takes_little_from_what_is(void **state)
{
    (void)state;
    double lost = 0;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct trace_story alone[TRACE_STORIES], s[TRACE_STORIES];
        struct bakery b = bake(seed);
        complain(&b, 0.06, 0.45, -1, flour_is_bad);
        trace_explain(b.t, INFINITY, alone); /* no other is looked for */
        trace_explain(b.t, -INFINITY, s);
        lost += alone[0].evidence - s[0].evidence;
        trace_lots_free(b.t);
    }
    print_message("lost %.2f\n", lost / 10);
    assert_true(lost / 10 < 1);
}

static bool but_the_first_week(const struct trace_lots *t, size_t lot)
{
    (void)t;
    return lot >= LOTS / 6;
}

/* What goes on in nearly all of the weeks asked of is no usual that a store has of its own: how
 * much it got is known. */
static void a_store_that_goes_on_is_told(void **state)
{
    (void)state;
    int line = 0, store = 0;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        struct bakery b = bake(seed);
        struct trace_story s[TRACE_STORIES];
        complain(&b, 0.1, 0.15, 2, but_the_first_week);
        for (int i = told(b.t, s) - 1; i >= 0; i--) {
            store += is(b.t, &s[i].of[0], "store", "S2");
            line += is(b.t, &s[i].of[0], "line", "1");
        }
        trace_lots_free(b.t);
    }
    assert_int_equal(line, 0);
    assert_true(store >= 9);
}

static void without_a_trouble_there_is_no_story(void **state)
{
    (void)state;
    int stories = 0;
    for (uint64_t seed = 20; seed < 40; seed++) {
        struct bakery b = bake(seed);
        struct trace_story s[TRACE_STORIES];
        complain(&b, 0.2, 0, -1, NULL);
        stories += told(b.t, s);
        trace_lots_free(b.t);
    }
    assert_true(stories <= 2);
}

/* A client that has gone is not worked for: the stop is looked at before each level. */
static void nobody_waits_and_it_ends(void **state)
{
    struct plant *p = plant_new("UTC");
    struct bakery b = bake(11);
    struct trace_story s[TRACE_STORIES];
    atomic_bool dropped = false;
    (void)state;
    complain(&b, 0.1, 2, -1, film_is_bad);
    b.t->store = p->store;
    store_drop_if(p->store, &dropped);
    assert_true(trace_explain(b.t, -INFINITY, s));
    atomic_store(&dropped, true);
    assert_false(trace_explain(b.t, -INFINITY, s));
    store_drop_if(p->store, NULL);
    trace_lots_free(b.t);
    plant_free(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nobody_waits_and_it_ends),
        cmocka_unit_test(a_rival_on_the_same_lots_is_told_beside),
        cmocka_unit_test(what_only_goes_along_has_nothing_left),
        cmocka_unit_test(two_troubles_are_two_stories),
        cmocka_unit_test(a_store_is_told_by_those_who_name_it),
        cmocka_unit_test(a_retailer_is_told_by_its_stores),
        cmocka_unit_test(a_store_that_goes_on_is_told),
        cmocka_unit_test(what_is_not_likely_there_takes_little_from_what_is),
        cmocka_unit_test(a_line_is_told_though_callers_name_stores),
        cmocka_unit_test(a_delivery_that_went_bad_in_one_store_is_told),
        cmocka_unit_test(without_a_trouble_there_is_no_story),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
