/* On which route a store is that only callers name. */
#include "patterns/trace_leans.h"
#include "plant.h"
#include <math.h>
#include <stdio.h>

enum { ROUTES = 3, LOTS = 12 };

/* Every lot goes by two of three routes: lot 0 by R0 and R1, lot 1 by R1 and R2, lot 2 by R2 and
 * R0 …, a quarter of it by the first. */
static struct trace_lots *send(void)
{
    struct trace_lots *t = trace_lots_new();
    for (int i = 0; i < LOTS; i++) {
        const struct trace_lot lot = {.lot_id = i + 1, .units = 2000};
        size_t at = trace_lots_add(t, &lot);
        for (int k = 0; k < 2; k++) {
            char route[8];
            snprintf(route, sizeof route, "R%d", (i + k) % ROUTES);
            const struct evidence_dispatch row = {
                .route = route, .store = "", .retailer = "", .units = k ? 1500 : 500};
            trace_lots_share(t, at, "route", route);
            trace_lots_send(t, &t->sent, at, &row);
        }
    }
    return t;
}

static size_t level(struct trace_lots *t, const char *factor, const char *name)
{
    return (size_t)(trace_lots_level(t, factor, name, "") - t->levels) + 1;
}

static void name(struct trace_lots *t, const size_t *lots, size_t count)
{
    struct trace_leans *x = trace_leans_new(t);
    size_t store = level(t, "store", "S");
    t->levels[store - 1].only_named = true;
    for (size_t i = 0; i < count; i++)
        trace_leans_name(x, store, lots[i]);
    trace_leans_set(x);
    trace_leans_free(x);
}

static double lean(struct trace_lots *t, const char *route)
{
    return trace_leans_of(t, level(t, "store", "S"), level(t, "route", route));
}

/* By hand: each route has a third of all; two hundredths go astray. */
static double times(double part)
{
    return 0.98 * part * 3 + 0.02;
}

static void a_lot_tells_by_how_much_of_it_went_by_each_route(void **state)
{
    (void)state;
    struct trace_lots *t = send();
    const double r0 = times(0.25), r1 = times(0.75), r2 = times(0), all = r0 + r1 + r2;
    name(t, (size_t[]){0, 3}, 2); /* both by R0 and R1 */
    const double both = r0 * r0 + r1 * r1 + r2 * r2;
    assert_true(fabs(lean(t, "R1") - r1 * r1 / both) < 1e-9);
    name(t, (size_t[]){0, 0, 0}, 3); /* once, whoever complains again */
    assert_true(fabs(lean(t, "R0") - r0 / all) < 1e-9);
    assert_true(fabs(lean(t, "R1") - r1 / all) < 1e-9);
    assert_true(fabs(lean(t, "R2") - r2 / all) < 1e-9);
    trace_lots_free(t);
}

static void what_two_lots_have_in_common_is_the_route(void **state)
{
    (void)state;
    struct trace_lots *t = send();
    name(t, (size_t[]){0, 1, 3, 4}, 4);
    assert_true(lean(t, "R1") > 0.95);
    trace_lots_free(t);
}

static void nothing_is_known_of_a_store_nobody_names_or_that_dispatch_tells(void **state)
{
    (void)state;
    struct trace_lots *t = send();
    name(t, NULL, 0);
    assert_true(lean(t, "R0") == 0);
    name(t, (size_t[]){0}, 1);
    assert_true(lean(t, "R0") > 0);
    struct trace_leans *x = trace_leans_new(t);
    t->levels[level(t, "store", "S") - 1].only_named = false;
    trace_leans_name(x, level(t, "store", "S"), 0);
    trace_leans_set(x);
    trace_leans_free(x);
    assert_true(lean(t, "R0") == 0);
    trace_lots_free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lot_tells_by_how_much_of_it_went_by_each_route),
        cmocka_unit_test(what_two_lots_have_in_common_is_the_route),
        cmocka_unit_test(nothing_is_known_of_a_store_nobody_names_or_that_dispatch_tells),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
