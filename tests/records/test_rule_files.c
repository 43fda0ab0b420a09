/* The shipped rule files with one value at a time replaced by one of another kind: each is read to
 * the end, and whatever is refused is refused with its file, line and column. Of a list the first
 * entries stand for all. */
#include "../rules/fixture.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "rules/catalogue.h"
#include "rules/limits.h"
#include "rules/load_catalogue.h"
#include "rules/models_file.h"
#include "rules/rules.h"
#include "rules/severity.h"

enum { ENTRIES_TRIED = 3, MEMBERS_MOST = 64, REFUSED_LEAST = 30 };

struct trial {
    struct fixture folder;
    char path[160]; /* of the file that is changed */
    int (*load)(struct trial *t);
    json_t *root;
    int faults, refused, taken;
    size_t values; /* come to so far */
    size_t one_in; /* of the others that each value is replaced by */
};

static void on_fault(void *arg, const struct error *fault)
{
    struct trial *t = arg;
    t->faults++;
    assert_true(fault->code != 0 && fault->text[0] != '\0');
    if (strcmp(fault->source, t->path) == 0)
        assert_true(fault->line > 0 && fault->column > 0);
}

static int load_measures(struct trial *t)
{
    struct catalogue *catalogue = NULL;
    int rc = load_catalogue(t->folder.rules, on_fault, t, &catalogue, NULL);
    catalogue_free(catalogue);
    return rc;
}

static int load_lots(struct trial *t)
{
    struct lot_matcher *matcher = NULL;
    int rc = lot_rules_load(t->path, on_fault, t, &matcher, NULL);
    lot_rules_free(matcher);
    return rc;
}

static int load_models(struct trial *t)
{
    struct models_parameters parameters;
    return models_file_load(t->folder.rules, on_fault, t, &parameters, NULL);
}

static int load_rules(struct trial *t)
{
    struct rules *rules = NULL;
    int rc = rules_load(t->folder.rules, on_fault, t, &rules, NULL);
    rules_free(rules);
    return rc;
}

static int load_lexicon(struct trial *t)
{
    struct lexicon *lexicon = NULL;
    char dir[128];
    snprintf(dir, sizeof dir, "%s/lexicon", t->folder.rules);
    int rc = lexicon_load(dir, on_fault, t, &lexicon, NULL);
    lexicon_free(lexicon);
    return rc;
}

static int load_harm(struct trial *t)
{
    json_t *harm = NULL;
    int rc = harm_load(t->path, on_fault, t, &harm, NULL);
    json_decref(harm);
    return rc;
}

static int load_severity(struct trial *t)
{
    struct severity_rules *rules = NULL;
    int rc = severity_load(t->path, on_fault, t, &rules, NULL);
    severity_free(rules);
    return rc;
}

static int load_limits(struct trial *t)
{
    struct limits *limits = NULL;
    int rc = limits_load(t->path, on_fault, t, &limits, NULL);
    limits_free(limits);
    return rc;
}

static void load_changed(struct trial *t)
{
    t->faults = 0;
    assert_int_equal(json_dump_file(t->root, t->path, 0), 0);
    int rc = t->load(t);
    assert_int_equal(rc != 0, t->faults > 0);
    *(rc ? &t->refused : &t->taken) += 1;
}

static void put(json_t *parent, const char *name, size_t index, json_t *value)
{
    if (name)
        json_object_set_new(parent, name, value);
    else
        json_array_set_new(parent, index, value);
}

static void try_inside(struct trial *t, json_t *value);

/* Puts something else where a value stands, then goes on inside the value. */
static void try_value(struct trial *t, json_t *parent, const char *name, size_t index)
{
    static const char *const OTHERS[] = {"null", "-1",   "1e300", "\"\"",      "\"~/\"",
                                         "[]",   "[[]]", "{}",    "{\"x\":1}", "true"};
    json_t *value = name ? json_object_get(parent, name) : json_array_get(parent, index);
    json_incref(value);
    for (size_t i = t->values++ % t->one_in; i < sizeof OTHERS / sizeof *OTHERS; i += t->one_in) {
        put(parent, name, index, json_loads(OTHERS[i], JSON_DECODE_ANY, NULL));
        load_changed(t);
    }
    put(parent, name, index, value);
    try_inside(t, value);
}

static void try_inside(struct trial *t, json_t *value)
{
    char *names[MEMBERS_MOST];
    size_t count = 0;
    const char *name;
    json_t *member;
    for (size_t i = 0; i < json_array_size(value) && i < ENTRIES_TRIED; i++)
        try_value(t, value, NULL, i);
    if (!json_is_object(value))
        return;
    json_object_foreach(value, name, member)
    {
        assert_true(count < MEMBERS_MOST);
        names[count++] = strdup(name);
    }
    for (size_t i = 0; i < count; i++) {
        try_value(t, value, names[i], 0);
        free(names[i]);
    }
}

static void try_file(const char *file, int (*load)(struct trial *t), bool with_background)
{
    const char *one_in = getenv("ONE_IN");
    struct trial t = {.load = load, .one_in = one_in ? strtoul(one_in, NULL, 10) : 1};
    char path[512];
    fixture_folder(&t.folder);
    snprintf(path, sizeof path, "%s/lexicon", t.folder.rules);
    assert_int_equal(mkdir(path, 0755), 0);
    if (with_background) {
        fixture_copy(&t.folder, "rules", "causes/not-known.json");
        fixture_copy(&t.folder, "rules", "cautions.json");
    }
    fixture_copy(&t.folder, "rules", file);
    snprintf(t.path, sizeof t.path, "%s/%s", t.folder.rules, file);
    snprintf(path, sizeof path, ODDLOAF_SOURCE_DIR "/rules/%s", file);
    t.root = json_load_file(path, 0, NULL);
    assert_non_null(t.root);
    load_changed(&t);
    assert_int_equal(t.refused, 0);
    try_inside(&t, t.root);
    print_message("%s: %d refused, %d taken\n", file, t.refused, t.taken);
    assert_true((size_t)t.refused > REFUSED_LEAST / t.one_in && t.taken > 1);
    load_changed(&t); /* all put back */
    assert_int_equal(t.faults, 0);
    json_decref(t.root);
    fixture_remove(&t.folder);
}

static void the_catalogue(void **state)
{
    (void)state;
    try_file("quantities.json", load_measures, false);
    try_file("places.json", load_measures, false);
}

static void lots_and_models(void **state)
{
    (void)state;
    try_file("lots.json", load_lots, false);
    try_file("models.json", load_models, false);
}

static void causes(void **state)
{
    (void)state;
    try_file("causes/inhibitor-underdosed.json", load_rules, true);
    try_file("causes/contamination-film.json", load_rules, true);
}

static void what_is_read_and_said(void **state)
{
    (void)state;
    try_file("lexicon/es.json", load_lexicon, false);
    try_file("harm.json", load_harm, false);
    try_file("severity.json", load_severity, false);
    try_file("limits.json", load_limits, false);
}

static void questions_and_ranking(void **state)
{
    (void)state;
    try_file("cautions.json", load_rules, true);
    try_file("asks.json", load_rules, true);
    try_file("ranking.json", load_rules, true);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_catalogue),
        cmocka_unit_test(lots_and_models),
        cmocka_unit_test(causes),
        cmocka_unit_test(questions_and_ranking),
        cmocka_unit_test(what_is_read_and_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
