/* Where returned goods may stand. */
#include "check.h"
#include "desk/return_place.h"
#include "rules/load_catalogue.h"
#include <string.h>

static struct catalogue *places(void)
{
    struct catalogue *catalogue = NULL;
    struct error err = {0};
    assert_int_equal(load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &catalogue, &err), 0);
    return catalogue;
}

static void test_where_goods_may_stand(void **state)
{
    static const char *const OUTSIDE[] = {"returns-dock", "Returns dock", "waste area",
                                          "WASTE-AREA", "dispatch dock"};
    static const char *const NEAR[] = {"slicer",           "Cooler belt", "bagger",
                                       "the packing hall", "film store",  "end of line 2"};
    static const char *const UNKNOWN[] = {"", "yard", "truck 7"};
    struct catalogue *catalogue = places();
    (void)state;
    for (size_t i = 0; i < sizeof OUTSIDE / sizeof *OUTSIDE; i++)
        assert_null(return_place_caution(catalogue, OUTSIDE[i]));
    for (size_t i = 0; i < sizeof NEAR / sizeof *NEAR; i++)
        assert_non_null(
            strstr(return_place_caution(catalogue, NEAR[i]), "Move the returned goods"));
    for (size_t i = 0; i < sizeof UNKNOWN / sizeof *UNKNOWN; i++)
        assert_non_null(strstr(return_place_caution(catalogue, UNKNOWN[i]), "Say where"));
    assert_non_null(strstr(return_place_caution(catalogue, NULL), "Say where"));
    assert_non_null(return_place_caution(NULL, "returns dock"));
    catalogue_free(catalogue);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_where_goods_may_stand)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
