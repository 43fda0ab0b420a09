/* How fresh the records of each line are, in the order that is promised. */
#include "fixture.h"
#include "store/freshness.h"

static int tell(void *arg, const struct freshness *one)
{
    const char *kind = record_kind_table(one->kind)->kind;
    if (one->at_ms != WHEN_UNKNOWN_MS)
        text_appendf(arg, "%s:%s:%lld ", *one->line ? one->line : "-", kind, (long long)one->at_ms);
    return 0;
}

static void lines_and_then_the_log_s_in_order(void **state)
{
    struct fixture *f = *state;
    struct text_buffer said = {0};
    fixture_write(f, "INSERT INTO quantity(id, name) VALUES(900, 'air_c');"
                     "INSERT INTO lot(id,lot,fold,product_id,line,made_from_ms,made_to_ms,"
                     "packed_from_ms,packed_to_ms,units,code_day) VALUES"
                     "(3,'L3','L3',1,'0',0,1,5,7,1000,10);"
                     "INSERT INTO plantlog(place, quantity_id, line, at_ms, value) VALUES"
                     "('cooler', 900, '2', 40, 1), ('cooler', 900, '', 50, 1),"
                     "('dock', 900, '1', 60, 1), ('dock', 900, '2', 30, 1)");
    assert_int_equal(freshness_list(f->store, tell, &said, NULL), 0);
    assert_string_equal(said.data, "0:lots:7 1:lots:3 -:plantlog:50 1:plantlog:60 2:plantlog:40 ");
    text_buffer_free(&said);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test_setup_teardown(
        lines_and_then_the_log_s_in_order, fixture_open, fixture_close)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
