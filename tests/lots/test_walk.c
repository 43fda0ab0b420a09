/* Comparing one code after another gives what comparing each by itself gives. */
#include "check.h"
#include "lots/walk.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static unsigned next(unsigned *seed)
{
    *seed = *seed * 1103515245U + 12345U;
    return *seed >> 16;
}

static void codes_in_a_row_cost_what_each_costs(void **state)
{
    (void)state;
    struct reading reading;
    struct walk_costs costs;
    reading_defaults(&reading);
    walk_prepare(&reading, &costs);
    unsigned seed = 5;
    for (int turn = 0; turn < 400; turn++) {
        struct reading_code text;
        struct walk_kept kept;
        walk_forget(&kept);
        char said[READING_TEXT], code[READING_TEXT] = "L26321B0412";
        snprintf(said, sizeof said, "L%u632%uB%03u", next(&seed) % 4, next(&seed) % 10,
                 next(&seed) % 1000);
        reading_prepare(said, &text);
        for (int i = 0; i < 40; i++) {
            size_t length = 6 + next(&seed) % 8;
            if (next(&seed) % 4 == 0)
                snprintf(code, length + 1, "L%u632%uB0%03u12", next(&seed) % 4, next(&seed) % 10,
                         next(&seed) % 1000);
            else
                code[next(&seed) % strlen(code)] = (char)('0' + next(&seed) % 10);
            float most = next(&seed) % 3 ? 8 + (float)(next(&seed) % 20) : INFINITY;
            float alone = walk_cost(&costs, &text, code, most);
            float in_a_row = walk_cost_next(&costs, &text, code, most, &kept);
            /* above `most` either may stop early */
            if (alone <= most || in_a_row <= most)
                assert_true(fabsf(alone - in_a_row) < 1e-5F);
        }
    }
}

static void what_reads_right_costs_nothing(void **state)
{
    (void)state;
    struct reading reading;
    struct walk_costs costs;
    struct reading_code text;
    reading_defaults(&reading);
    walk_prepare(&reading, &costs);
    reading_prepare("L2 6321 B0412", &text);
    assert_true(walk_cost(&costs, &text, "L26321B0412", INFINITY) == 0);
    float alike = walk_cost(&costs, &text, "L26321BO412", INFINITY);
    float unlike = walk_cost(&costs, &text, "L26321BX412", INFINITY);
    assert_true(alike > 0 && unlike > alike);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_in_a_row_cost_what_each_costs),
        cmocka_unit_test(what_reads_right_costs_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
