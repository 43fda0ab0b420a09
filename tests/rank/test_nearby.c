/* What verdicts confirmed nearby: mixed into priors, taken out again, switched on and off. */
#include "fixture.h"
#include "rank/learning.h"
#include "rank/nearby.h"

enum { A, B, NK, CAUSES };
#define DAY(n) ((int64_t)((n)*WHEN_DAY_MS))

static const struct nearby_lot HERE = {DAY(100), "", "1"};

static void confirm(struct nearby *nearby, double day, int cause, struct nearby_lot lot)
{
    nearby_add(nearby, &(struct nearby_verdict){DAY(day), SYMPTOM_MOLD, cause, 1, lot});
}

/* The prior of A for a lot of line 1 packed on day 100, as of a day. */
static double prior_of_a(const struct nearby *nearby, double as_of)
{
    double priors[CAUSES] = {.1, .3, .6}, sum = 0;
    nearby_mix(nearby, SYMPTOM_MOLD, &HERE, DAY(as_of), priors, CAUSES);
    for (int i = 0; i < CAUSES; i++)
        sum += priors[i];
    assert_near(sum, 1, 1e-12);
    return priors[A];
}

/* Same line, packed within a week, given before: .8 x .1 + .2 x 1. */
static void counts_what_is_near(void **state)
{
    struct nearby *nearby = nearby_new(.2, 7);
    (void)state;
    assert_near(prior_of_a(nearby, 110), .1, 1e-12);
    confirm(nearby, 105, A, (struct nearby_lot){DAY(93), "", "1"});
    assert_near(prior_of_a(nearby, 110), .28, 1e-12);
    assert_near(prior_of_a(nearby, 105), .1, 1e-12); /* not before it was given */
    confirm(nearby, 106, B, (struct nearby_lot){DAY(106), "", "1"});
    assert_near(prior_of_a(nearby, 110), .18, 1e-12); /* halves: .08 + .1 */
    double priors[CAUSES] = {.1, .3, .6};
    assert_false(nearby_mix(nearby, SYMPTOM_STALING, &HERE, DAY(110), priors, CAUSES));
    assert_near(priors[A], .1, 1e-12);
    nearby_free(nearby);
}

static void leaves_what_is_far(void **state)
{
    struct nearby *nearby = nearby_new(.2, 7);
    (void)state;
    confirm(nearby, 90, A, (struct nearby_lot){DAY(88), "", "1"});
    confirm(nearby, 105, A, (struct nearby_lot){DAY(92.9), "", "1"});
    confirm(nearby, 105, A, (struct nearby_lot){DAY(100), "", "2"});
    confirm(nearby, 105, A, (struct nearby_lot){DAY(100), "east", "1"});
    confirm(nearby, 120, A, (struct nearby_lot){DAY(107.1), "", "1"});
    assert_near(prior_of_a(nearby, 130), .1, 1e-12);
    nearby_free(nearby);
}

/* A verdict of judgement alone weighs half, beside a surer one a third. */
static void weighs_how_sure_they_are(void **state)
{
    struct nearby *nearby = nearby_new(.2, 7);
    (void)state;
    nearby_add(nearby, &(struct nearby_verdict){DAY(101), SYMPTOM_MOLD, A, .5, HERE});
    assert_near(prior_of_a(nearby, 110), .9 * .1 + .1, 1e-12);
    confirm(nearby, 102, B, HERE);
    assert_near(prior_of_a(nearby, 110), .8 * .1 + .2 / 3, 1e-12);
    nearby_free(nearby);
}

static void cause(struct fixture *f, const char *id, const char *more)
{
    char name[40], text[400];
    snprintf(name, sizeof name, "causes/%s.json", id);
    snprintf(
        text, sizeof text,
        "{\"id\":\"%s\",\"title\":\"t\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1}%s}",
        id, more);
    fixture_file(f, name, text);
}

static struct priors_verdict verdict_of(const struct rules *rules, const char *id, double day,
                                        const struct nearby_lot *lot)
{
    return (struct priors_verdict){.at_ms = DAY(day),
                                   .as_of_ms = DAY(day - 1),
                                   .symptom = SYMPTOM_MOLD,
                                   .cause = rules_cause(rules, id),
                                   .weight = 1,
                                   .lot = lot};
}

/* What happened behind the plant is no trouble of a line; a ranking made with what is nearby is
 * taken back to one without, and teaches the shares no less than if it had been made so. */
static void is_taken_out_again(void **state)
{
    struct fixture f;
    double with[3], without[3], said[3], again[3], rates[3], same[3];
    (void)state;
    fixture_open(&f);
    cause(&f, "a", "");
    cause(&f, "warm", ",\"after_dispatch\":true");
    cause(&f, "nk", ",\"background\":true");
    struct triage *triage = fixture_triage(&f);
    const struct rules *rules = triage->rules;
    int a = rules_cause(rules, "a");
    struct priors *priors = priors_new(rules), *plain = priors_new(rules);
    struct priors_verdict warm = verdict_of(rules, "warm", 101, &HERE);
    struct priors_verdict first = verdict_of(rules, "a", 102, &HERE);
    priors_add(priors, &warm);
    priors_at(priors, SYMPTOM_MOLD, DAY(103), NULL, without);
    priors_at(priors, SYMPTOM_MOLD, DAY(103), &HERE, with);
    assert_near(with[a], without[a], 1e-12);
    priors_add(priors, &first);
    priors_at(priors, SYMPTOM_MOLD, DAY(105), NULL, without);
    priors_at(priors, SYMPTOM_MOLD, DAY(105), &HERE, with);
    assert_near(with[a], .8 * without[a] + .2, 1e-9);
    /* a later case, its evidence silent: its ranking is its priors */
    struct priors_verdict later = verdict_of(rules, "a", 106, &HERE);
    memcpy(said, with, sizeof said);
    later.said = said;
    later.nearby = true;
    priors_again(priors, &later, true, again);
    assert_near(again[a], with[a], 1e-12);
    priors_again(priors, &later, false, again);
    assert_near(again[a], without[a], 1e-12);
    priors_add(plain, &warm);
    priors_add(plain, &first);
    priors_add(priors, &later);
    later.nearby = false;
    later.said = without;
    priors_add(plain, &later);
    priors_at(priors, SYMPTOM_MOLD, DAY(200), NULL, rates);
    priors_at(plain, SYMPTOM_MOLD, DAY(200), NULL, same);
    assert_near(rates[a], same[a], 1e-12);
    priors_free(priors);
    priors_free(plain);
    triage_free(triage);
    fixture_close(&f);
}

static json_t *switched(const struct triage *triage, bool on, int64_t at_ms)
{
    return learning_switched(triage, &(struct learning_switch){on, "mira", "then", at_ms});
}

/* Off at first; on, the hash is another, off again the first one; what was when is known. */
static void is_switched(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    cause(&f, "nk", ",\"background\":true");
    struct triage *never = fixture_triage(&f), *on = fixture_triage(&f), *off = fixture_triage(&f);
    struct triage *broken = fixture_triage(&f);
    assert_false(learning_is_on(never));
    json_t *one = switched(never, true, 1000);
    assert_int_equal(learning_apply(on, one, &err), 0);
    assert_true(learning_is_on(on));
    assert_string_not_equal(triage_hash(on), triage_hash(never));
    json_t *two = switched(on, false, 2000);
    assert_int_equal(learning_apply(off, two, &err), 0);
    assert_false(learning_is_on(off));
    assert_string_equal(triage_hash(off), triage_hash(never));
    assert_false(learning_was_on(off, 999));
    assert_true(learning_was_on(off, 1000));
    assert_false(learning_was_on(off, 2000));
    assert_int_equal(json_array_size(json_object_get(learning_kept(off), "switches")), 2);
    json_t *unread = json_pack("{s:[{s:s}]}", "switches", "on", "yes");
    assert_int_equal(learning_apply(broken, unread, &err), ERROR_INVALID);
    assert_null(learning_kept(broken));
    json_decref(unread);
    json_decref(one);
    json_decref(two);
    triage_free(never);
    triage_free(on);
    triage_free(off);
    triage_free(broken);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_what_is_near),
        cmocka_unit_test(leaves_what_is_far),
        cmocka_unit_test(weighs_how_sure_they_are),
        cmocka_unit_test(is_taken_out_again),
        cmocka_unit_test(is_switched),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
