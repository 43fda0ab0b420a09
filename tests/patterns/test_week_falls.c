/* What fell: found where it was planted, and in quiet plants at no more than the stated rate. */
#include "patterns/week_falls.h"
#include "sim.h"
#include <gsl/gsl_errno.h>

struct told {
    int any, line;
};

static struct told look(struct sim *sim, const char *line)
{
    struct week_data *d = sim_run(sim);
    struct week_model *model = xcalloc(1, sizeof *model);
    struct told told = {0};
    size_t count;
    week_expect_model_make(d, model);
    struct week_fall *falls = week_falls(model, &count);
    for (size_t i = 0; i < count; i++) {
        const struct week_level *l = &d->levels[falls[i].level];
        assert_true(falls[i].observed < falls[i].expected);
        told.any = 1;
        told.line |= l->cut == cuts_find("line") && strcmp(l->level, line) == 0;
    }
    free(falls);
    free(model);
    week_data_free(d);
    return told;
}

static void quiet_plants_fall_seldom(void **state)
{
    enum { PLANTS = 120 };
    int fell = 0;
    (void)state;
    for (int i = 0; i < PLANTS; i++) {
        struct sim sim = sim_plant(31000 + (uint64_t)i);
        sim.season = i % 2 ? 0.4 : 0;
        fell += look(&sim, "").any;
    }
    print_message("quiet plants with a fall: %d of %d\n", fell, PLANTS);
    assert_true(fell <= PLANTS * (0.1 + 2 * sqrt(0.09 / PLANTS)));
}

static void a_line_that_got_better_is_told(void **state)
{
    enum { PLANTS = 40 };
    int found = 0;
    (void)state;
    for (int i = 0; i < PLANTS; i++) {
        struct sim sim = sim_plant(32000 + (uint64_t)i);
        sim.rate[0] = 60e-6;
        sim.raised_line = 2;
        sim.raised_from = SIM_WEEKS - 8;
        sim.raised_times = 0.1;
        found += look(&sim, "2").line;
    }
    print_message("falls found: %d of %d\n", found, PLANTS);
    assert_true(found >= PLANTS * 0.7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quiet_plants_fall_seldom),
        cmocka_unit_test(a_line_that_got_better_is_told),
    };
    gsl_set_error_handler_off();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
