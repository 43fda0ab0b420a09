/* What to ask next: expected information gain against computed values. */
#include "../rank/fixture.h"
#include "tell/tell.h"

/* Prior .5 .3 .2 (entropy 1.485475297 bits). Answer rows by cause:
 * Q1 .9 .2 .4 / .1 .8 .6                  gains .331234125
 * Q2 .6 .5 .1 / .4 .5 .9                  gains .118127173
 * Q3 .5 .1 .1 / .3 .6 .2 / .2 .3 .7       gains .216909075
 * Q4 all .5                               gains 0
 * (mutual information, D. V. Lindley 1956; values computed with two engines). With k answers of
 * equal share, P(answer | cause) = 2^bits / k where the row sums to 1: bits = log2(k P). */
static const double Q1[2][3] = {{.9, .2, .4}, {.1, .8, .6}};
static const double Q2[2][3] = {{.6, .5, .1}, {.4, .5, .9}};
static const double Q3[3][3] = {{.5, .1, .1}, {.3, .6, .2}, {.2, .3, .7}};
static const char *const YES_NO[] = {"yes", "no"};
static const char *const BAGS[] = {"sound", "torn"};
static const char *const WHERE[] = {"side", "base", "heel"};

static void item(struct text_buffer *text, const char *fact, const char *const *words,
                 const double (*rows)[3], int answers, int cause)
{
    text_appendf(text, "%s{\"fact\":\"%s\",\"table\":{", strchr(text->data, '[')[1] ? "," : "",
                 fact);
    for (int a = 0; a < answers; a++)
        text_appendf(text, "%s\"%s\":%.17g", a ? "," : "", words[a],
                     log2(answers * rows[a][cause]));
    text_append(text, "},\"because\":\"b\",\"source\":\"s\"}");
}

static void write_rules(struct fixture *f)
{
    static const double PRIOR[] = {.5, .3, .2};
    for (int c = 0; c < 3; c++) {
        struct text_buffer text = {0};
        char name[32];
        snprintf(name, sizeof name, "causes/c%d.json", c);
        text_appendf(&text,
                     "{\"id\":\"c%d\",\"title\":\"t\",\"symptoms\":{\"mold\":%g,\"off-odor\":1,"
                     "\"staling\":1},\"background\":true,\"evidence\":[",
                     c, PRIOR[c]);
        item(&text, "wet_inside_bag", YES_NO, Q1, 2, c);
        item(&text, "bag", BAGS, Q2, 2, c);
        item(&text, "where", WHERE, Q3, 3, c);
        text_append(&text, "]}");
        fixture_file(f, name, text.data);
        text_buffer_free(&text);
    }
    fixture_file(
        f, "asks.json",
        "{\"asks\":["
        "{\"fact\":\"kept\",\"ask\":\"q4\",\"of\":\"caller\",\"effort\":\"seconds\",\"answers\":["
        "{\"word\":\"fridge\",\"share\":1},{\"word\":\"counter\",\"share\":1}]},"
        "{\"fact\":\"bag\",\"ask\":\"q2\",\"of\":\"lab\",\"effort\":\"days\",\"answers\":["
        "{\"word\":\"sound\",\"share\":1},{\"word\":\"torn\",\"share\":1}]},"
        "{\"fact\":\"where\",\"ask\":\"q3\",\"of\":\"caller\",\"effort\":\"seconds\",\"answers\":["
        "{\"word\":\"side\",\"share\":1},{\"word\":\"base\",\"share\":1},{\"word\":\"heel\","
        "\"share\":1}]},"
        "{\"fact\":\"wet_inside_bag\",\"ask\":\"q1\",\"of\":\"lab\",\"effort\":\"days\","
        "\"answers\":[{\"word\":\"yes\",\"share\":1},{\"word\":\"no\",\"share\":1}]}]}");
}

static void test_gains(void **state)
{
    static const struct {
        const char *ask;
        double gain;
    } EXPECTED[] = {{"q1", .331234125}, {"q3", .216909075}, {"q2", .118127173}};
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    write_rules(&f);
    struct triage *triage = fixture_triage(&f);
    int64_t id = fixture_complain(&f, "mold", 0, AT(0, 0), "{}");
    json_t *asked = NULL;
    assert_int_equal(tell_ask(triage, f.store, id, &asked, &err), 0);
    const json_t *list = json_object_get(asked, "ask");
    assert_int_equal(json_array_size(list), 3); /* what gains nothing is not asked */
    for (size_t i = 0; i < 3; i++) {
        const json_t *one = json_array_get(list, i);
        assert_string_equal(json_string_value(json_object_get(one, "ask")), EXPECTED[i].ask);
        assert_near(json_number_value(json_object_get(one, "gain_bits")), EXPECTED[i].gain, 5e-4);
    }
    json_decref(asked);
    /* the desk has the caller on the line: the caller's question first */
    json_t *ranking = NULL;
    assert_int_equal(tell_case(triage, f.store, id, &ranking, NULL, &err), 0);
    const json_t *first = json_array_get(json_object_get(ranking, "ask"), 0);
    assert_string_equal(json_string_value(json_object_get(first, "ask")), "q3");
    assert_int_equal(json_array_size(json_object_get(first, "choices")), 3);
    json_decref(ranking);
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gains),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
