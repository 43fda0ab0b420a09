/* Rule files with one fault each, and beside it what is just good: where the fault is and what is
 * said of it. */
#include "check.h"
#include "fixture.h"
#include "rules/rules.h"

static const char BACKGROUND[] =
    "{\"id\":\"nk\",\"title\":\"NK\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1},"
    "\"background\":true}";

struct told {
    int count;
    char first[700];
};

static void keep(void *arg, const struct error *fault)
{
    struct told *told = arg;
    if (!told->count++)
        snprintf(told->first, sizeof told->first, "%s: %s", fault->field, fault->text);
}

struct row {
    const char *text, *fault; /* as it begins; "" none */
};

/* Each alone, as the file of that name, its text between `before` and `after`. */
static void check_rows(const char *file, const char *before, const char *after,
                       const struct row *rows)
{
    struct fixture f;
    fixture_folder(&f);
    fixture_copy(&f, "rules", "preservers.json");
    fixture_file(&f, "causes/nk.json", BACKGROUND);
    for (; rows->text; rows++) {
        struct text_buffer text = {0};
        struct told told = {0};
        struct rules *rules = NULL;
        text_appendf(&text, "%s%s%s", before, rows->text, after);
        fixture_file(&f, file, text.data);
        int rc = rules_load(f.rules, keep, &told, &rules, NULL);
        if (strncmp(told.first, rows->fault, strlen(rows->fault)) != 0 ||
            (told.count > 0) != (*rows->fault != '\0') || (rc != 0) != (told.count > 0))
            fail_msg("%s: %d '%s', not '%s'", rows->text, told.count, told.first, rows->fault);
        rules_free(rc ? NULL : rules);
        text_buffer_free(&text);
    }
    fixture_remove(&f);
}

/* ---- causes ---- */

#define CAUSE(members) "{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1}" members "}"

static void causes(void **state)
{
    static const struct row ROWS[] = {
        {CAUSE(""), ""},
        {"{\"id\":\"b\",\"title\":\"A\",\"symptoms\":{\"mold\":1}}",
         "/id: must be the file's name, a"},
        {"{\"id\":\"a\",\"title\":\"\",\"symptoms\":{\"mold\":1}}", "/title: "},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{}}", "/symptoms: "},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"rot\":1}}",
         "/symptoms/rot: no such symptom"},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"other\":1}}",
         "/symptoms/other: no such symptom"},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":0}}",
         "/symptoms/mold: a prior weight must be"},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1000}}", ""},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":1000.5}}",
         "/symptoms/mold: a prior weight must be"},
        {"{\"id\":\"a\",\"title\":\"A\",\"symptoms\":{\"mold\":\"1\"}}",
         "/symptoms/mold: a prior weight must be"},
        {CAUSE(",\"reach\":[\"lot\",\"mix\",\"product\",\"place-window:slicer\"]"), ""},
        {CAUSE(",\"reach\":[\"place-window\"]"), "/reach/0: no such condition to share"},
        {CAUSE(",\"reach\":[\"place-window:attic\"]"), "/reach/0: no such condition to share"},
        {CAUSE(",\"reach\":[\"mix\",\"mixes\"]"), "/reach/1: no such condition to share"},
        {CAUSE(",\"reach\":[1]"), "/reach/0: no such condition to share"},
        {CAUSE(",\"reach_fact\":{\"fact\":\"crumb_ph\",\"as\":\"z\",\"curve\":[[0,0],[1,1]]}"), ""},
        {CAUSE(",\"reach_fact\":{\"fact\":\"crumb_ph\",\"as\":\"bits\",\"curve\":[[0,0],[1,1]]}"),
         "/reach_fact/as: must be one of value, z, ratio"},
        {CAUSE(",\"reach_fact\":{\"fact\":\"crumb_ph\",\"as\":\"z\",\"curve\":[[0,0],[1,1.1]]}"),
         "/reach_fact/curve/1: y must lie from 0 to 1"},
        {CAUSE(",\"reach_fact\":{\"fact\":\"nothing\",\"as\":\"z\",\"curve\":[[0,0],[1,1]]}"),
         "/reach_fact/fact: no such fact"},
        {CAUSE(",\"checks\":[{\"do\":\"d\",\"who\":\"lab\",\"effort\":\"hours\",\"settles\":1}]"),
         ""},
        {CAUSE(",\"checks\":[{\"do\":\"d\",\"who\":\"desk\",\"effort\":\"hours\"}]"),
         "/checks/0/who: "},
        {CAUSE(",\"checks\":[{\"do\":\"d\",\"who\":\"lab\",\"effort\":\"weeks\"}]"),
         "/checks/0/effort: "},
        {CAUSE(",\"checks\":[{\"do\":\"d\",\"who\":\"lab\",\"effort\":\"hours\",\"settles\":1.1}]"),
         "/checks/0/settles: "},
        {CAUSE(
             ",\"checks\":[{\"do\":\"d\",\"who\":\"lab\",\"effort\":\"hours\",\"mind\":[\"x\"]}]"),
         "/checks/0/mind/0: no such caution"},
        {CAUSE(",\"actions\":[\"do it\",{\"do\":\"that\"}]"), ""},
        {CAUSE(",\"actions\":[\"\"]"), "/actions/0: "},
        {CAUSE(",\"actions\":[{\"mind\":[\"x\"]}]"), "/actions/0"},
        {CAUSE(",\"cautions\":[\"two words\"]"), ""},
        {CAUSE(",\"cautions\":[\"one-word\"]"), "/cautions/0: no such caution"},
        {CAUSE(",\"colour\":1"), "/colour: no such member"},
        {0}};
    (void)state;
    check_rows("causes/a.json", "", "", ROWS);
}

#define ITEM(members) CAUSE(",\"evidence\":[{" members ",\"because\":\"b\",\"source\":\"s\"}]")
#define CURVE "\"curve\":[[0,0],[1,1]]"
#define LEVEL "\"fact\":\"crumb_ph\",\"as\":\"z\","
#define CHANGE "\"change\":{\"recorded\":[\"dose\"]}"

static void evidence(void **state)
{
    static const struct row ROWS[] = {
        {ITEM(LEVEL CURVE), ""},
        {ITEM("\"fact\":\"crumb_ph\"," CURVE), "/evidence/0/as: 'as' is missing"},
        {ITEM("\"fact\":\"crumb_ph\",\"as\":\"z\""), "/evidence/0: needs a 'curve' or a 'table'"},
        {ITEM("\"fact\":\"nothing\",\"as\":\"z\"," CURVE), "/evidence/0/fact: no such fact"},
        {ITEM("\"fact\":\"crumb_ph\",\"as\":\"bits\""),
         "/evidence/0/fact: only company facts are bits already"},
        {ITEM("\"fact\":\"company.line\",\"as\":\"bits\""), ""},
        {ITEM("\"fact\":\"season\",\"as\":\"z\"," CURVE),
         "/evidence/0/fact: this fact has words: give a 'table'"},
        {ITEM("\"fact\":\"season\",\"table\":{\"summer\":1,\"*\":-1}"), ""},
        {ITEM("\"fact\":\"season\",\"table\":{\"rainy\":1}"),
         "/evidence/0/table/rainy: 'season' has no such word"},
        {ITEM("\"fact\":\"season\",\"table\":{\"summer\":12}"), ""},
        {ITEM("\"fact\":\"season\",\"table\":{\"summer\":12.1}"), "/evidence/0/table/summer: "},
        {ITEM("\"fact\":\"season\",\"table\":{}"), "/evidence/0/table: "},
        {ITEM("\"fact\":\"crumb_ph\",\"table\":{\"x\":1}"),
         "/evidence/0/table: a table needs a fact that has words; crumb_ph is a number"},
        {ITEM("\"fact\":\"line\",\"table\":{\"any\":1}"), ""},
        {ITEM(LEVEL "\"curve\":[[0,-12],[1,12]]"), ""},
        {ITEM(LEVEL "\"curve\":[[0,0],[1,12.1]]"),
         "/evidence/0/curve/1: y must lie from -12 to 12"},
        {ITEM(LEVEL "\"curve\":[[0,-12.1],[1,0]]"),
         "/evidence/0/curve/0: y must lie from -12 to 12"},
        {ITEM(LEVEL "\"curve\":[[0,0],[0,1]]"),
         "/evidence/0/curve/1: x must be larger than in the point before"},
        {ITEM(LEVEL "\"curve\":[[0,0]]"), "/evidence/0/curve: "},
        {ITEM(LEVEL "\"curve\":[[0,0],[1]]"), "/evidence/0/curve/1: must be a point"},
        {ITEM(LEVEL "\"curve\":[[0,0],[1,1,1]]"), "/evidence/0/curve/1: must be a point"},
        {ITEM(LEVEL "\"curve\":[[0,0],[\"1\",1]]"), "/evidence/0/curve/1: must be a point"},
        {ITEM(LEVEL "\"curve\":[[0,0],[1,\"1\"]]"), "/evidence/0/curve/1: must be a point"},
        {ITEM(LEVEL CURVE ",\"limit\":[-12,12]"), ""},
        {ITEM(LEVEL CURVE ",\"limit\":[0,0]"), ""},
        {ITEM(LEVEL CURVE ",\"limit\":[-12.1,0]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[0,12.1]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[0.1,1]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[-1,-0.1]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[0]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[0,\"1\"]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"limit\":[\"0\",1]"), "/evidence/0/limit: must be [low, high]"},
        {ITEM(LEVEL CURVE ",\"scale\":4"), ""},
        {ITEM(LEVEL CURVE ",\"scale\":4.1"), "/evidence/0/scale: "},
        {ITEM(LEVEL CURVE ",\"symptoms\":[\"mold\",\"staling\"]"), ""},
        {ITEM(LEVEL CURVE ",\"symptoms\":[\"rot\"]"), "/evidence/0/symptoms/0: no such symptom"},
        {ITEM(LEVEL CURVE ",\"symptoms\":[]"), "/evidence/0/symptoms: "},
        {ITEM(LEVEL CURVE ",\"when\":{\"fact\":\"season\",\"in\":[\"summer\"]}"), ""},
        {ITEM(LEVEL CURVE ",\"when\":{\"fact\":\"season\",\"in\":[\"rainy\"]}"),
         "/evidence/0/when/in/0: not a word of this fact"},
        {ITEM(LEVEL CURVE ",\"when\":{\"fact\":\"season\",\"in\":[1]}"),
         "/evidence/0/when/in/0: not a word of this fact"},
        {ITEM(LEVEL CURVE ",\"when\":{\"fact\":\"crumb_ph\",\"in\":[\"x\"]}"),
         "/evidence/0/when/in/0: not a word of this fact"},
        {ITEM(LEVEL CURVE ",\"unless\":{\"fact\":\"crumb_ph\",\"from\":5}"), ""},
        {ITEM(LEVEL CURVE ",\"unless\":{\"fact\":\"crumb_ph\"}"),
         "/evidence/0/unless: needs 'in', 'from' or 'to'"},
        {ITEM(LEVEL CURVE "," CHANGE),
         "/evidence/0/change: only an age that a model predicts can change"},
        {ITEM("\"fact\":\"model.mold_age\"," CHANGE), ""},
        {ITEM("\"fact\":\"model.mold_age\""), "/evidence/0/change: 'change' is missing"},
        {ITEM("\"fact\":\"model.rope_age\""), "/evidence/0/change: 'change' is missing"},
        {ITEM("\"fact\":\"model.condensate_g\",\"as\":\"value\"," CURVE), ""},
        {CAUSE(",\"evidence\":[{" LEVEL CURVE ",\"source\":\"s\"}]"),
         "/evidence/0/because: 'because' is missing"},
        {CAUSE(",\"evidence\":[1]"), "/evidence/0: must be an object"},
        {0}};
    (void)state;
    check_rows("causes/a.json", "", "", ROWS);
}

/* ---- questions ---- */

#define ASK(fact, answers)                                                                         \
    "{\"fact\":\"" fact                                                                            \
    "\",\"ask\":\"?\",\"of\":\"caller\",\"effort\":\"hours\",\"answers\":[" answers "]}"
#define SUMMER "{\"word\":\"summer\",\"share\":1}"

static void questions(void **state)
{
    static const struct row ROWS[] = {
        {ASK("season", SUMMER ",{\"word\":\"winter\",\"share\":2}"), ""},
        {ASK("season", SUMMER), "/asks/0/answers: "},
        {ASK("season", SUMMER ",{\"word\":\"rainy\",\"share\":2}"),
         "/asks/0/answers/1/word: 'season' has no such word"},
        {ASK("season", SUMMER ",{\"share\":2}"),
         "/asks/0/answers/1/word: 'season' has no such word"},
        {ASK("crumb_ph", "{\"value\":5,\"share\":1},{\"ratio\":2,\"share\":1}"), ""},
        {ASK("crumb_ph", "{\"value\":5,\"share\":1},{\"z\":2,\"share\":1}"), ""},
        {ASK("crumb_ph", "{\"value\":5,\"share\":1},{\"share\":1}"),
         "/asks/0/answers/1: needs 'value', 'ratio' or 'z'"},
        {ASK("crumb_ph", "{\"value\":5,\"share\":1},{\"z\":2}"),
         "/asks/0/answers/1/share: 'share' is missing"},
        {ASK("crumb_ph", "{\"value\":5,\"share\":0},{\"z\":2,\"share\":1}"),
         "/asks/0/answers/0/share: "},
        {ASK("nothing", SUMMER "," SUMMER), "/asks/0/fact: no such fact"},
        {"{\"fact\":\"season\",\"ask\":\"?\",\"of\":\"nobody\",\"effort\":\"hours\",\"answers\":"
         "[" SUMMER "," SUMMER "]}",
         "/asks/0/of: "},
        {"1", "/asks/0: must be an object"},
        {0}};
    (void)state;
    check_rows("asks.json", "{\"asks\":[", "]}", ROWS);
}

static void cautions(void **state)
{
#define CAUTION(id, more) "{\"id\":\"" id "\",\"for\":[\"desk\"],\"text\":\"t\"" more "}"
    static const struct row ROWS[] = {
        {CAUTION("x", "") "," CAUTION("y", ",\"symptoms\":[\"mold\"]"), ""},
        {CAUTION("x", "") "," CAUTION("x", ""), "/cautions/1: this id is taken by another caution"},
        {CAUTION("x", ",\"symptoms\":[\"rot\"]"), "/cautions/0/symptoms/0: no such symptom"},
        {"{\"id\":\"x\",\"for\":[\"nobody\"],\"text\":\"t\"}", "/cautions/0/for/0: "},
        {"{\"id\":\"x\",\"for\":[],\"text\":\"t\"}", "/cautions/0/for: "},
        {"{\"id\":\"x\",\"for\":[\"desk\"]}", "/cautions/0/text: 'text' is missing"},
        {0}};
    (void)state;
    check_rows("cautions.json", "{\"cautions\":[", "]}", ROWS);
}

/* ---- the ranking's numbers ---- */

static void numbers(void **state)
{
    static const struct row ROWS[] = {
        {"", ""},
        {"\"pool_exponent\":0,\"temper\":0.05,\"prior_weight\":1,\"background_weight\":1,"
         "\"near_share\":0,\"near_days\":0,\"company_most\":0.5,\"company_rival\":0,\"reach_days\":"
         "1,\"reach_bits\":0.5",
         ""},
        {"\"pool_exponent\":1,\"temper\":2,\"prior_weight\":1e6,\"background_weight\":1e6,"
         "\"near_share\":0.9,\"near_days\":42,\"company_most\":60,\"company_rival\":1,"
         "\"reach_days\":42,\"reach_bits\":60",
         ""},
        {"\"pool_exponent\":1.01", "/pool_exponent: "},
        {"\"temper\":0.04", "/temper: "},
        {"\"temper\":2.01", "/temper: "},
        {"\"prior_weight\":0.9", "/prior_weight: "},
        {"\"background_weight\":0.9", "/background_weight: "},
        {"\"near_share\":0.91", "/near_share: "},
        {"\"near_days\":42.1", "/near_days: "},
        {"\"company_most\":60.1", "/company_most: "},
        {"\"company_rival\":1.1", "/company_rival: "},
        {"\"reach_days\":0.9", "/reach_days: "},
        {"\"cleaned_share\":0,\"sample_usual_z\":3", ""},
        {"\"cleaned_share\":1,\"sample_usual_z\":0", ""},
        {"\"cleaned_share\":1.01", "/cleaned_share: "},
        {"\"sample_usual_z\":3.1", "/sample_usual_z: "},
        {"\"soon_share\":0.99", ""},
        {"\"soon_share\":1", "/soon_share: "},
        {"\"reach_bits\":0.4", "/reach_bits: "},
        {"\"inhibitor\":\"calcium-propionate\",\"acid\":\"vinegar\"", ""},
        {"\"inhibitor\":\"sawdust\"", "/inhibitor: no such product"},
        {"\"acid\":\"sawdust\"", "/acid: no such product"},
        {"\"reach_share\":{\"mix\":0.999,\"place-window\":0.001}", ""},
        {"\"reach_share\":{\"mix\":1}", "/reach_share/mix: "},
        {"\"reach_share\":{\"lot\":0.5}", "/reach_share/lot: no such condition to share"},
        {"\"base_per_million\":{\"mold\":0.001,\"staling\":1e6}", ""},
        {"\"base_per_million\":{\"mold\":0}", "/base_per_million/mold: "},
        {"\"base_per_million\":{\"rot\":1}", "/base_per_million/rot: no such symptom"},
        {"\"delay_days\":{\"mold\":[[0,0],[5,0],[9,1]]}", ""},
        {"\"delay_days\":{\"mold\":[[0,0],[5,0.9]]}", "/delay_days/mold: must rise to 1"},
        {"\"delay_days\":{\"mold\":[[0,0.5],[5,0.4],[6,1]]}", "/delay_days/mold: must rise to 1"},
        {"\"delay_days\":{\"mold\":[[0,0],[5,1.1]]}", "/delay_days/mold/1: y must lie from 0 to 1"},
        {"\"delay_days\":{\"rot\":[[0,0],[5,1]]}", "/delay_days/rot: no such symptom"},
        {"\"delay_days\":{\"mold\":[[0,0],[1,0],[2,0],[3,0],[4,0],[5,0],[6,0],[7,0],[8,0],[9,0],"
         "[10,0],[11,1]]}",
         ""},
        {"\"delay_days\":{\"mold\":[[0,0],[1,0],[2,0],[3,0],[4,0],[5,0],[6,0],[7,0],[8,0],[9,0],"
         "[10,0],[11,0],[12,1]]}",
         "/delay_days/mold: must rise to 1 in at most 12 points"},
        {0}};
    (void)state;
    check_rows("ranking.json", "{", "}", ROWS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(causes),   cmocka_unit_test(evidence), cmocka_unit_test(questions),
        cmocka_unit_test(cautions), cmocka_unit_test(numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
