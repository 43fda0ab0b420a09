/* When a pack was bought, against the lot it is said to be of. */
#include "check.h"

#include "base/when.h"
#include "lots/agreement.h"
#include <math.h>

enum { PACKED = 20000, CODE = PACKED + 10 };

/* On sale, sold late, and neither; together at most one, each day of a kind alike. */
static void bought_on_sale_late_or_wrong(void **state)
{
    (void)state;
    struct agreement a;
    agreement_defaults(&a);
    double on_sale = agreement_bought(&a, PACKED + 4, PACKED, CODE);
    double late = agreement_bought(&a, CODE + 1, PACKED, CODE);
    double wrong = agreement_bought(&a, CODE + AGREEMENT_LATE_DAYS + 1, PACKED, CODE);
    assert_true(on_sale > late && late > wrong && wrong > 0);
    assert_true(fabs(late - agreement_bought(&a, CODE + AGREEMENT_LATE_DAYS, PACKED, CODE)) <
                1e-15);
    assert_true(fabs(on_sale - agreement_bought(&a, CODE, PACKED, CODE)) < 1e-15);
    assert_true(fabs(wrong - agreement_bought(&a, PACKED - 1, PACKED, CODE)) < 1e-15);
    assert_true(agreement_bought(&a, WHEN_UNKNOWN_DAY, PACKED, CODE) == 1);
    double sum = 0;
    for (int32_t day = PACKED; day <= CODE + AGREEMENT_LATE_DAYS; day++)
        sum += agreement_bought(&a, day, PACKED, CODE);
    assert_true(sum > .9 && sum <= 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(bought_on_sale_late_or_wrong)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
