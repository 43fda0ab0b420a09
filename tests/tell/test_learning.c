/* What learning from verdicts is worth on a small plant, case by case as they come: a trouble of
 * four days on line 1 that the evidence of a case alone is too weak to tell, background beside it
 * and on line 2. Each case is settled three days after its newest complaint. Switched off, nothing
 * is left. */
#include "../rank/fixture.h"
#include "rank/learning.h"
#include "store/verdict.h"
#include "tell/tell.h"

enum { DAYS = 24, FIRST = 8, LAST = 12, COMES = 4, SETTLED = 7, MOST = 4 * DAYS };

struct told {
    int64_t case_id;
    const char *was;
};
struct plant {
    struct told cases[MOST];
    int count;
};

/* "fault" has a tenth of all cases and is four times as likely to be on the cut slices: 4 to 9. */
static void write_rules(struct fixture *f)
{
    fixture_file(
        f, "causes/fault.json",
        "{\"id\":\"fault\",\"title\":\"t\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
        "\"staling\":1},\"evidence\":[{\"fact\":\"where\",\"table\":{\"cut-face\":2,\"*\":0},"
        "\"because\":\"b\",\"source\":\"s\"}]}");
    fixture_file(f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"t\",\"symptoms\":{\"mold\":9,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    fixture_file(f, "asks.json", "{\"asks\":[]}");
}

static void settle(struct fixture *f, int64_t case_id, const char *was, int day)
{
    struct error err = {0};
    const struct verdict_new verdict = {case_id, AT(day, 9), was, "inspection", "", "qa"};
    assert_int_equal(store_begin(f->store, &err), 0);
    if (verdict_add(f->store, &verdict, &err))
        fail_msg("%s", err.text);
    assert_int_equal(store_commit(f->store, &err), 0);
}

static void happens(struct fixture *f, struct plant *p, int day, int line)
{
    bool fault = line == 1 && day >= FIRST && day <= LAST;
    struct told *one = &p->cases[p->count++];
    one->was = fault ? "fault" : "nk";
    one->case_id = fixture_complain(f, "mold", fixture_lot(day, line, 0), AT(day + COMES, 12),
                                    fault ? "{\"observed\":{\"where\":\"cut-face\"}}"
                                          : "{\"observed\":{\"where\":\"side\"}}");
    settle(f, one->case_id, one->was, day + SETTLED);
}

static struct triage *triage_switched(struct fixture *f, int times)
{
    struct triage *triage = fixture_triage(f);
    struct error err = {0};
    json_t *kept = NULL;
    for (int i = 0; i < times; i++) {
        struct triage *other = fixture_triage(f);
        if (kept)
            assert_int_equal(learning_apply(other, kept, &err), 0);
        json_decref(kept);
        kept = learning_switched(other,
                                 &(struct learning_switch){i % 2 == 0, "mira", "then", 1000 + i});
        triage_free(other);
    }
    if (kept)
        assert_int_equal(learning_apply(triage, kept, &err), 0);
    json_decref(kept);
    return triage;
}

/* Texts of all rankings, to be freed; how many were right first. */
static char *rankings(struct fixture *f, const struct plant *p, int switched, int *ret_faults,
                      int *ret_background)
{
    struct triage *triage = triage_switched(f, switched);
    struct text_buffer all = {0};
    struct error err = {0};
    *ret_faults = *ret_background = 0;
    for (int i = 0; i < p->count; i++) {
        json_t *told = NULL;
        if (tell_case(triage, f->store, p->cases[i].case_id, &told, NULL, &err))
            fail_msg("%s", err.text);
        const json_t *first = json_array_get(json_object_get(told, "ranked"), 0);
        bool right =
            strcmp(json_string_value(json_object_get(first, "cause")), p->cases[i].was) == 0;
        *(p->cases[i].was[0] == 'f' ? ret_faults : ret_background) += right;
        char *text = jsonx_dump(told);
        text_appendf(&all, "%s\n", text);
        free(text);
        json_decref(told);
    }
    triage_free(triage);
    return text_take(&all);
}

static void helps_and_is_taken_back(void **state)
{
    struct fixture f;
    struct plant p = {0};
    int faults[3], background[3];
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, DAYS);
    write_rules(&f);
    for (int day = 0; day < DAYS; day++)
        for (int line = 1; line <= 2; line++)
            happens(&f, &p, day, line);
    char *never = rankings(&f, &p, 0, &faults[0], &background[0]);
    char *on = rankings(&f, &p, 1, &faults[1], &background[1]);
    char *off = rankings(&f, &p, 2, &faults[2], &background[2]);
    assert_int_equal(faults[0], 0);
    /* of days 11 and 12: by the time they come, those of days 8 and 9 are settled */
    assert_int_equal(faults[1], 2);
    assert_int_equal(background[0], p.count - (LAST - FIRST + 1));
    assert_int_equal(background[1], background[0]);
    assert_string_not_equal(never, on);
    assert_string_equal(never, off);
    free(never);
    free(on);
    free(off);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(helps_and_is_taken_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
