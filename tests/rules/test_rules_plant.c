/* Rules of one plant of a company: whose files stand for whose, what is shared, and in what a plant
 * must be as its company is. */
#include "fixture.h"
#include "rules/catalogue.h"
#include "rules/rule_files_plant.h"
#include "rules/rules.h"
#include "rules/severity.h"

#define SYMPTOM(prior) "\"symptoms\":{\"mold\":" prior "}"
#define EVIDENCE(bits)                                                                             \
    "\"evidence\":[{\"fact\":\"core_at_pack_c\",\"as\":\"value\",\"curve\":[[34,-1],[43," bits     \
    "]],\"because\":\"b\",\"source\":\"s\"}]"
#define REST                                                                                       \
    "\"cautions\":[\"open\",\"wear a mask\"],\"caller_cautions\":[\"keep the bag\"],\"checks\":"   \
    "[{\"do\":\"look\",\"who\":\"qa\",\"effort\":\"minutes\",\"mind\":[\"open\"]}],\"actions\":["  \
    "\"clean\",{\"do\":\"open it\",\"mind\":[\"open\",\"heat\"]}]"
#define HOT(symptoms, evidence, rest)                                                              \
    "{\"id\":\"hot\",\"title\":\"Hot\"," symptoms "," evidence "," rest "}"
static const char BACKGROUND[] =
    "{\"id\":\"nk\",\"title\":\"NK\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1},"
    "\"background\":true}";
static const char SLICER[] = "{\"id\":\"slicer\",\"title\":\"Slicer\"," SYMPTOM("1") "}";
static const char CAUTIONS[] =
    "{\"cautions\":[{\"id\":\"open\",\"for\":[\"lab\"],\"text\":\"Not in the open\"},"
    "{\"id\":\"heat\",\"for\":[\"plant\"],\"text\":\"It burns\"}]}";
#define ASKS(text)                                                                                 \
    "{\"asks\":[{\"fact\":\"core_at_pack_c\",\"ask\":\"" text "\",\"of\":\"plant\",\"effort\":"    \
    "\"seconds\",\"answers\":[{\"value\":35,\"share\":3},{\"value\":40,\"share\":1}]}]}"

struct faults {
    struct error errors[64];
    size_t count;
};

static void keep(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    assert_true(faults->count < sizeof faults->errors / sizeof faults->errors[0]);
    faults->errors[faults->count++] = *fault;
}

struct company {
    struct fixture f;
    struct rules *rules;
    struct faults faults;
};

/* A rule folder is made for the first file. */
static void put(struct company *c, const char *name, const char *text)
{
    char command[300], path[200];
    snprintf(path, sizeof path, "%s/%s", c->f.rules, name);
    snprintf(command, sizeof command, "mkdir -p \"$(dirname '%s')\"", path);
    assert_int_equal(system(command), 0);
    fixture_file(&c->f, name, text);
}

static int setup(void **state)
{
    struct company *c = xcalloc(1, sizeof *c);
    fixture_folder(&c->f);
    put(c, "causes/hot.json", HOT(SYMPTOM("1"), EVIDENCE("2"), REST));
    put(c, "causes/nk.json", BACKGROUND);
    put(c, "causes/slicer.json", SLICER);
    put(c, "cautions.json", CAUTIONS);
    put(c, "asks.json", ASKS("How hot?"));
    put(c, "ranking.json", "{\"temper\":0.9,\"prior_weight\":50}");
    fixture_copy(&c->f, "rules", "preservers.json");
    fixture_copy(&c->f, "rules", "severity.json");
    assert_int_equal(rules_load(c->f.rules, fixture_print_fault, NULL, &c->rules, NULL), 0);
    *state = c;
    return 0;
}

static int teardown(void **state)
{
    struct company *c = *state;
    rules_free(c->rules);
    fixture_remove(&c->f);
    free(c);
    return 0;
}

static int load(struct company *c, struct rules **ret)
{
    const struct rules_plant of = {c->rules, "north", c->f.rules};
    struct error err = {0};
    c->faults.count = 0;
    int rc = rules_load_plant(&of, keep, &c->faults, ret, &err);
    assert_int_equal(err.code, rc);
    assert_int_equal(rc != 0, c->faults.count > 0);
    return rc;
}

static struct rules *north(struct company *c)
{
    struct rules *rules = NULL;
    if (load(c, &rules))
        fail_msg("%s: %s", c->faults.errors[0].source, c->faults.errors[0].text);
    return rules;
}

/* ---- what is whose ---- */

static void what_a_plant_has_not_is_shared(void **state)
{
    struct company *c = *state;
    put(c, "plants/north/causes/hot.json", HOT(SYMPTOM("3"), EVIDENCE("5"), REST));
    struct rules *own = north(c);
    assert_int_equal(own->cause_count, c->rules->cause_count);
    for (int i = 0; i < own->cause_count; i++) {
        const struct rule_cause *mine = &own->causes[i], *theirs = &c->rules->causes[i];
        bool hot = strcmp(mine->id, "hot") == 0;
        assert_string_equal(mine->id, theirs->id);
        assert_int_equal(mine->document == theirs->document, !hot); /* is not parsed twice */
        assert_non_null(strstr(mine->file, hot ? "/plants/north/causes/hot.json" : "/causes/"));
    }
    assert_near(own->causes[0].prior[SYMPTOM_MOLD], 3, 0);
    assert_near(own->causes[0].evidence[0].curve[1].bits, 5, 0);
    assert_near(c->rules->causes[0].evidence[0].curve[1].bits, 2, 0);
    assert_ptr_equal(own->catalogue, c->rules->catalogue);
    assert_ptr_equal(own->asks_document, c->rules->asks_document);
    assert_ptr_equal(own->cautions_document, c->rules->cautions_document);
    assert_int_equal(own->caution_count, 2);
    assert_near(own->ranking.temper, 0.9, 0);
    rules_free(own);
}

/* The company's may be gone before: a reload of the daemon frees in any order. */
static void a_plants_rules_stand_by_themselves(void **state)
{
    struct company *c = *state;
    put(c, "plants/north/asks.json", ASKS("How warm?"));
    struct rules *own = north(c);
    rules_free(c->rules);
    c->rules = NULL;
    assert_string_equal(own->causes[0].title, "Hot");
    assert_string_equal(own->causes[0].evidence[0].because, "b");
    assert_string_equal(own->asks[0].ask, "How warm?");
    assert_string_equal(rules_caution(own, "open")->text, "Not in the open");
    rules_free(own);
}

/* As a copy of the company's does: what it does not say is as the program has it. */
static void a_file_stands_whole(void **state)
{
    struct company *c = *state;
    put(c, "plants/north/ranking.json", "{\"temper\":1.1,\"inhibitor\":\"potassium-sorbate\"}");
    struct rules *own = north(c);
    assert_near(own->ranking.temper, 1.1, 0);
    assert_near(own->ranking.prior_weight, 100, 0);
    assert_near(c->rules->ranking.prior_weight, 50, 0);
    assert_string_equal(rules_quantity(own, "potassium_sorbate_pct_flour"), "inhibitor_pct_flour");
    assert_string_equal(rules_quantity(c->rules, "calcium_propionate_pct_flour"),
                        "inhibitor_pct_flour");
    rules_free(own);
}

static void the_first_folder_goes_first(void **state)
{
    struct company *c = *state;
    char dirs[200];
    put(c, "first/plants/north/ranking.json", "{\"temper\":1.3}");
    put(c, "plants/north/ranking.json", "{\"temper\":1.1}");
    put(c, "plants/north/causes/hot.json", HOT(SYMPTOM("3"), EVIDENCE("5"), REST));
    snprintf(dirs, sizeof dirs, "%s/first:%s", c->f.rules, c->f.rules);
    const struct rules_plant of = {c->rules, "north", dirs};
    struct rules *own = NULL;
    assert_int_equal(rules_load_plant(&of, fixture_print_fault, NULL, &own, NULL), 0);
    assert_near(own->ranking.temper, 1.3, 0);
    assert_near(own->causes[0].prior[SYMPTOM_MOLD], 3, 0);
    rules_free(own);
}

static void the_hash_is_of_the_companys_and_what_differs(void **state)
{
    static const char *const FILES[] = {"models.json", "severity.json", "ranking.json"};
    struct company *c = *state;
    char before[80], name[80];
    put(c, "plants/north/causes/slicer.json", SLICER);
    struct rules *own = north(c);
    assert_string_not_equal(own->hash, c->rules->hash);
    for (size_t i = 0; i < sizeof FILES / sizeof *FILES; i++) {
        strcpy(before, own->hash);
        rules_free(own);
        snprintf(name, sizeof name, "plants/north/%s", FILES[i]);
        put(c, name, "{}");
        own = north(c);
        if (strcmp(own->hash, before) == 0)
            fail_msg("%s", FILES[i]);
    }
    strcpy(before, own->hash);
    rules_free(own);
    c->rules->hash[10] ^= 1;
    own = north(c);
    assert_string_not_equal(own->hash, before);
    rules_free(own);
}

/* ---- in what it is its company's ---- */

static const struct refused {
    const char *name, *text, *field, *says;
} REFUSED[] = {
    {"causes/other.json", "{\"id\":\"other\",\"title\":\"O\"," SYMPTOM("1") "}", "",
     "the plant north cannot have a cause that the company has not"},
    {"causes/hot.json",
     "{\"id\":\"hot\",\"title\":\"Warm\"," SYMPTOM("1") "," EVIDENCE("1") "," REST "}", "/title",
     "'title' must be the company's"},
    {"causes/hot.json", HOT("\"symptoms\":{\"staling\":1}", EVIDENCE("1"), REST), "/symptoms",
     "'symptoms' must be the company's"},
    {"causes/hot.json", HOT(SYMPTOM("1"), EVIDENCE("1"), REST ",\"background\":true"),
     "/background", "'background' must be the company's"},
    {"causes/hot.json", HOT(SYMPTOM("1"), EVIDENCE("1"), REST ",\"after_dispatch\":true"),
     "/after_dispatch", "'after_dispatch' must be the company's"},
    {"causes/hot.json",
     HOT(SYMPTOM("1"), EVIDENCE("1"),
         "\"cautions\":[\"wear a mask\"],\"caller_cautions\":[\"keep the bag\"]"),
     "/cautions", "leaves out 'open'"},
    {"causes/hot.json", HOT(SYMPTOM("1"), EVIDENCE("1"), "\"cautions\":[\"open\",\"wear a mask\"]"),
     "/caller_cautions", "leaves out 'keep the bag'"},
    {"causes/hot.json",
     HOT(SYMPTOM("1"), EVIDENCE("1"),
         "\"cautions\":[\"open\",\"wear a mask\"],\"caller_cautions\":[\"keep the bag\"],"
         "\"checks\":[{\"do\":\"look\",\"who\":\"qa\",\"effort\":\"minutes\"}]"),
     "/checks/0/mind", "leaves out 'open'"},
    {"causes/hot.json",
     HOT(SYMPTOM("1"), EVIDENCE("1"),
         "\"cautions\":[\"open\",\"wear a mask\"],\"caller_cautions\":[\"keep the bag\"],"
         "\"actions\":[\"clean\",{\"do\":\"open it\",\"mind\":[\"open\"]}]"),
     "/actions/1/mind", "leaves out 'heat'"},
    {"causes/hot.json",
     HOT(SYMPTOM("1"), EVIDENCE("1"),
         "\"cautions\":[\"open\",\"wear a mask\"],\"caller_cautions\":[\"keep the bag\"],"
         "\"actions\":[\"open it\"]"),
     "/actions/0", "leaves out 'open'"},
    {"causes/hot.json", HOT("\"symptoms\":{\"never\":1}", EVIDENCE("1"), REST), "/symptoms/never",
     "no such symptom"},
    {"ranking.json", "{\"temper\":9}", "/temper", "must"},
    {"asks.json", "{\"asks\":1}", "/asks", "must"},
    {"causes/hot.json", "{", "", ""},
    {"preservers.json", "{\"preservers\":[]}", "", ""},
};

static void what_is_refused_names_file_and_reason(void **state)
{
    struct company *c = *state;
    for (size_t i = 0; i < sizeof REFUSED / sizeof *REFUSED; i++) {
        const struct refused *one = &REFUSED[i];
        struct rules *own = NULL;
        char name[80], command[200];
        snprintf(name, sizeof name, "plants/north/%s", one->name);
        put(c, name, one->text);
        if (load(c, &own) == 0)
            fail_msg("%zu: %s passed", i, one->text);
        const struct error *fault = &c->faults.errors[0];
        if (!strstr(fault->source, name) || !strstr(fault->text, one->says) ||
            (*one->field && strncmp(fault->field, one->field, strlen(one->field)) != 0))
            fail_msg("%zu: %s %s: %s", i, fault->source, fault->field, fault->text);
        snprintf(command, sizeof command, "rm -r '%s/plants'", c->f.rules);
        assert_int_equal(system(command), 0);
    }
}

static void no_plant_takes_a_cause_away(void **state)
{
    struct company *c = *state;
    struct rules *own = NULL;
    char path[200];
    put(c, "plants/north/causes/hot.json", HOT(SYMPTOM("3"), EVIDENCE("5"), REST));
    snprintf(path, sizeof path, "%s/plants/north/causes/slicer.json", c->f.rules);
    assert_int_equal(symlink("/dev/null", path), 0);
    assert_int_equal(load(c, &own), ERROR_INVALID);
    assert_int_equal(c->faults.count, 1);
    assert_string_equal(c->faults.errors[0].source, path);
    assert_string_equal(c->faults.errors[0].text,
                        "the plant north cannot take a cause of the company's away");
    assert_non_null(strstr(c->faults.errors[0].hint, "a low weight under symptoms"));
}

/* More of everything is the plant's to say. */
static void a_plant_adds_cautions(void **state)
{
    struct company *c = *state;
    put(c, "plants/north/causes/hot.json",
        HOT(SYMPTOM("1"), EVIDENCE("1"),
            "\"cautions\":[\"wear a mask\",\"open\",\"heat\"],\"caller_cautions\":[\"keep the "
            "bag\",\"wash hands\"],\"checks\":[{\"do\":\"look closely\",\"who\":\"qa\",\"effort\":"
            "\"hours\"}],\"needs_dose\":\"inhibitor_pct_flour\""));
    rules_free(north(c));
}

/* ---- what it preserves with ---- */

static json_t *shipped(struct company *c)
{
    char path[200];
    snprintf(path, sizeof path, "%s/preservers.json", c->f.rules);
    json_t *document = json_load_file(path, 0, NULL);
    assert_non_null(document);
    return document;
}

static void put_document(struct company *c, const char *name, json_t *document)
{
    char *text = json_dumps(document, 0);
    put(c, name, text);
    free(text);
    json_decref(document);
}

static void strengths_are_the_plants_and_names_the_companys(void **state)
{
    struct company *c = *state;
    struct rules *own = NULL;
    json_t *document = shipped(c), *list = json_object_get(document, "preservers");
    json_object_set_new(json_array_get(list, 0), "title", json_string("Ours"));
    const char *kind = json_string_value(json_object_get(json_array_get(list, 0), "kind"));
    char first[40], dose[80];
    snprintf(first, sizeof first, "%s", kind);
    put_document(c, "plants/north/preservers.json", document);
    own = north(c);
    assert_string_equal(catalogue_preserver(own->catalogue, first)->title, "Ours");
    assert_string_not_equal(catalogue_preserver(c->rules->catalogue, first)->title, "Ours");
    assert_non_null(
        catalogue_quantity(own->catalogue, preserver_quantity(first, PRESERVER_DOSE, dose)));
    rules_free(own);

    document = shipped(c);
    json_array_remove(json_object_get(document, "preservers"), 1);
    put_document(c, "plants/north/preservers.json", document);
    assert_int_equal(load(c, &own), ERROR_INVALID);
    assert_non_null(strstr(c->faults.errors[0].text, "leaves out the preserving ingredient "));
    assert_non_null(strstr(c->faults.errors[0].source, "plants/north/preservers.json"));

    document = shipped(c);
    list = json_object_get(document, "preservers");
    json_t *one = json_deep_copy(json_array_get(list, 0));
    json_object_set_new(one, "kind", json_string("north-mix"));
    json_array_append_new(list, one);
    put_document(c, "plants/north/preservers.json", document);
    assert_int_equal(load(c, &own), ERROR_INVALID);
    assert_string_equal(c->faults.errors[0].text, "adds the preserving ingredient north-mix");
}

/* ---- how severe ---- */

static json_t *severity_of_company(void)
{
    json_t *document = json_load_file(ODDLOAF_SOURCE_DIR "/rules/severity.json", 0, NULL);
    assert_non_null(document);
    return document;
}

static int add_severity(struct company *c, struct severity_rules *severity, json_t *document)
{
    char path[200];
    put_document(c, "plants/north/severity.json", document);
    snprintf(path, sizeof path, "%s/plants/north/severity.json", c->f.rules);
    c->faults.count = 0;
    return severity_add_plant(severity, "north", path, keep, &c->faults, NULL);
}

static json_t *at(json_t *document, const char *a, const char *b)
{
    json_t *found = json_object_get(json_object_get(document, a), b);
    assert_non_null(found);
    return found;
}

static void no_plant_thinks_less_of_harm(void **state)
{
    struct company *c = *state;
    struct severity_rules *severity = NULL;
    const char *path = ODDLOAF_SOURCE_DIR "/rules/severity.json";
    assert_int_equal(severity_load(path, NULL, NULL, &severity, NULL), 0);

    json_t *document = severity_of_company();
    json_object_set_new(at(document, "levels", "urgent"), "due_days", json_integer(40));
    assert_int_equal(add_severity(c, severity, document), ERROR_INVALID);
    assert_string_equal(c->faults.errors[0].field, "/levels");
    assert_non_null(strstr(c->faults.errors[0].text, "due, or called back, later"));

    document = severity_of_company();
    json_object_del(at(document, "levels", "urgent"), "call_back_days");
    assert_int_equal(add_severity(c, severity, document), ERROR_INVALID);

    document = severity_of_company();
    json_object_del(json_object_get(document, "points"), "may_harm");
    assert_int_equal(add_severity(c, severity, document), ERROR_INVALID);
    assert_string_equal(c->faults.errors[0].field, "/points/may_harm");
    assert_non_null(strstr(c->faults.errors[0].text, "less severe than in the company's"));
    assert_ptr_equal(severity_of(severity, "north"), severity);

    document = severity_of_company();
    json_object_set_new(at(document, "levels", "urgent"), "due_days", json_integer(0));
    json_object_set_new(at(document, "points", "complaints"), "steps", json_pack("[[i,i]]", 2, 7));
    assert_int_equal(add_severity(c, severity, document), 0);
    const struct severity_rules *own = severity_of(severity, "north");
    assert_ptr_not_equal(own, severity);
    assert_int_equal(severity_due_days(own, SEVERITY_URGENT), 0);
    assert_int_equal(severity_points(own, SEVERITY_COMPLAINTS, 2), 7);
    assert_int_not_equal(severity_points(severity, SEVERITY_COMPLAINTS, 2), 7);
    assert_ptr_equal(severity_of(severity, "south"), severity);
    assert_ptr_equal(severity_of(severity, ""), severity);
    severity_free(severity);
}

/* ---- which there are ---- */

static void plants_are_the_folders_that_a_plants_name_can_have(void **state)
{
    struct company *c = *state;
    struct text_buffer out = {0};
    char *plant = NULL;
    put(c, "first/plants/south/ranking.json", "{}");
    put(c, "plants/north/causes/hot.json", "{}");
    put(c, "plants/.hidden/ranking.json", "{}");
    put(c, "plants/a:b/ranking.json", "{}");
    put(c, "plants/file.json", "{}");
    char dirs[200], path[200];
    snprintf(dirs, sizeof dirs, "%s/first:%s", c->f.rules, c->f.rules);
    json_t *names = rule_files_plant_names(dirs);
    assert_int_equal(json_array_size(names), 2);
    assert_string_equal(json_string_value(json_array_get(names, 0)), "north");
    assert_string_equal(json_string_value(json_array_get(names, 1)), "south");
    json_decref(names);
    assert_false(rule_files_plant_dirs(dirs, "west", &out));
    assert_false(rule_files_plant_dirs(dirs, "..", &out));
    assert_false(rule_files_plant_dirs(dirs, "a:b", &out));
    assert_false(rule_files_plant_dirs(dirs, "", &out));
    assert_true(rule_files_plant_dirs(dirs, "south", &out));
    snprintf(path, sizeof path, "%s/first/plants/south", c->f.rules);
    assert_string_equal(out.data, path);
    assert_true(rule_files_plant_has(dirs, "north", "causes/hot.json", &out));
    snprintf(path, sizeof path, "%s/plants/north/causes/hot.json", c->f.rules);
    assert_string_equal(out.data, path);
    assert_false(rule_files_plant_has(dirs, "north", "ranking.json", &out));
    assert_false(rule_files_plant_has(dirs, "west", "ranking.json", &out));
    assert_string_equal(rule_files_plant_rest("plants/north/causes/hot.json", &plant),
                        "causes/hot.json");
    assert_string_equal(plant, "north");
    free(plant);
    assert_null(rule_files_plant_rest("causes/hot.json", NULL));
    assert_null(rule_files_plant_rest("plants/file.json", NULL));
    assert_null(rule_files_plant_rest("plants/../hot.json", NULL));
    assert_null(rule_files_plant_rest("plants//hot.json", NULL));
    text_buffer_free(&out);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(what_a_plant_has_not_is_shared),
        TEST(a_plants_rules_stand_by_themselves),
        TEST(a_file_stands_whole),
        TEST(the_first_folder_goes_first),
        TEST(the_hash_is_of_the_companys_and_what_differs),
        TEST(what_is_refused_names_file_and_reason),
        TEST(no_plant_takes_a_cause_away),
        TEST(a_plant_adds_cautions),
        TEST(strengths_are_the_plants_and_names_the_companys),
        TEST(no_plant_thinks_less_of_harm),
        TEST(plants_are_the_folders_that_a_plants_name_can_have),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
