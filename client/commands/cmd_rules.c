#include "commands/command.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "rules/limits.h"
#include "rules/models_file.h"
#include "rules/rule_files.h"
#include "rules/rule_files_plant.h"
#include "rules/rules.h"
#include "rules/severity.h"
#include "rules/targets.h"
#include "show/difference.h"
#include "show/own_rules_show.h"
#include "show/pick.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { FAULTS_KEPT = 500 };

static const struct column columns[] = {
    {"cause", COLUMN_LEFT, 14}, {"title", COLUMN_LEFT, 20}, {"symptoms", COLUMN_LEFT, 10}};

static void show_list(const struct client *c, const json_t *document)
{
    struct table *t = table_new(columns, 3);
    size_t i;
    const json_t *cause;
    view_title(&c->view, "Rules %s", pick_text(document, "rules", ""));
    json_array_foreach(json_object_get(document, "causes"), i, cause)
    {
        struct text_buffer symptoms = {0};
        const char *name;
        json_t *prior;
        json_object_foreach(json_object_get(cause, "symptoms"), name, prior)
            text_appendf(&symptoms, "%s%s", symptoms.length ? ", " : "", name);
        table_add(t, pick_text(cause, "cause", "?"));
        table_add(t, pick_text(cause, "title", ""));
        table_add(t, symptoms.data);
        text_buffer_free(&symptoms);
    }
    table_print(t, &c->view, 2);
    table_free(t);
    own_rules_show(&c->view, json_object_get(document, "own"));
}

static int list(struct client *c)
{
    json_t *document = NULL;
    int rc = client_get(c, "/v1/rules", &document);
    if (rc)
        return rc;
    if (c->json)
        client_print(document);
    else
        show_list(c, document);
    json_decref(document);
    return EXIT_DONE;
}

/* What names a record may have: the catalogue's quantities, or its places. */
struct names {
    const char *member, *name, *last;
    struct column columns[3];
};
static const struct names NAMES[] = {
    {"quantities",
     "quantity",
     "unit",
     {{"quantity", COLUMN_LEFT, 14}, {"what it is", COLUMN_LEFT, 20}, {"unit", COLUMN_LEFT, 4}}},
    {"places",
     "place",
     "zone",
     {{"place", COLUMN_LEFT, 14}, {"what it is", COLUMN_LEFT, 20}, {"zone", COLUMN_RIGHT, 0}}}};

static const struct names *names_of(const char *verb)
{
    for (size_t i = 0; i < sizeof NAMES / sizeof *NAMES; i++)
        if (strcmp(NAMES[i].member, verb) == 0)
            return &NAMES[i];
    return NULL;
}

static int list_names(struct client *c, const struct names *of)
{
    json_t *document = NULL;
    size_t i;
    const json_t *one;
    int rc = client_get(c, "/v1/rules", &document);
    if (rc)
        return rc;
    const json_t *list = json_object_get(document, of->member);
    struct table *t = table_new(of->columns, 3);
    json_array_foreach(list, i, one)
    {
        char *last = pick_shown(one, of->last);
        table_add(t, pick_text(one, of->name, "?"));
        table_add(t, pick_text(one, "title", ""));
        table_add(t, last);
        free(last);
    }
    if (c->json)
        client_print(list);
    else
        table_print(t, &c->view, 0);
    table_free(t);
    json_decref(document);
    return EXIT_DONE;
}

static json_t *error_json(const struct error *e)
{
    return json_pack("{ss sI sI ss ss ss}", "source", e->source, "line", (json_int_t)e->line,
                     "column", (json_int_t)e->column, "field", e->field, "value", e->value,
                     "reason", e->text);
}

struct faults {
    size_t count;
    json_t *list; /* the first FAULTS_KEPT */
};

static void on_fault(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    char line[1024];
    if (faults->count++ >= FAULTS_KEPT)
        return;
    fprintf(stderr, "%s\n", error_format(fault, line, sizeof line));
    json_array_append_new(faults->list, error_json(fault));
}

/* One plant's rules beside the company's. */
static void check_plant(const char *dirs, const char *plant, const struct rules *company,
                        struct severity_rules *severity, struct faults *faults, json_t *list)
{
    const struct rules_plant of = {company, plant, dirs};
    struct models_parameters parameters;
    struct text_buffer path = {0};
    struct rules *own = NULL;
    if (severity && rule_files_plant_has(dirs, plant, "severity.json", &path))
        severity_add_plant(severity, plant, path.data, on_fault, faults, NULL);
    if (rule_files_plant_has(dirs, plant, "models.json", &path))
        models_file_read(path.data, on_fault, faults, &parameters, NULL);
    if (rules_load_plant(&of, on_fault, faults, &own, NULL) == 0)
        json_array_append_new(list, json_pack("{ss ss}", "plant", plant, "rules", own->hash));
    rules_free(own);
    text_buffer_free(&path);
}

/* Every plant that has a folder: whether the settings name it, the daemon says. */
static void check_plants(const char *dirs, const struct rules *company,
                         struct severity_rules *severity, struct faults *faults, json_t *list)
{
    json_t *names = rule_files_plant_names(dirs), *name;
    size_t i;
    json_array_foreach(names, i, name)
        check_plant(dirs, json_string_value(name), company, severity, faults, list);
    json_decref(names);
}

static int check_all(const char *dir, struct faults *faults, struct rules **ret, json_t *plants)
{
    struct models_parameters parameters;
    struct text_buffer lexicon_dir = {0}, harm_path = {0}, lots_path = {0}, severity_path = {0},
                       limits_path = {0}, targets_path = {0};
    struct limits *limits = NULL;
    struct targets *targets = NULL;
    struct severity_rules *severity = NULL;
    struct lexicon *lexicon = NULL;
    struct lot_matcher *lots = NULL;
    json_t *harm = NULL;
    doc_below(dir, "lexicon", &lexicon_dir);
    doc_path(dir, "harm.json", &harm_path);
    doc_path(dir, "lots.json", &lots_path);
    doc_path(dir, "severity.json", &severity_path);
    doc_path(dir, "limits.json", &limits_path);
    doc_path(dir, "targets.json", &targets_path);
    int rc = rules_load(dir, on_fault, faults, ret, NULL);
    lot_rules_load(lots_path.data, on_fault, faults, &lots, NULL);
    models_file_load(dir, on_fault, faults, &parameters, NULL);
    lexicon_load(lexicon_dir.data, on_fault, faults, &lexicon, NULL);
    harm_load(harm_path.data, on_fault, faults, &harm, NULL);
    severity_load(severity_path.data, on_fault, faults, &severity, NULL);
    limits_load(limits_path.data, on_fault, faults, &limits, NULL);
    targets_load(targets_path.data, on_fault, faults, &targets, NULL);
    if (!rc)
        check_plants(dir, *ret, severity, faults, plants);
    targets_free(targets);
    limits_free(limits);
    severity_free(severity);
    text_buffer_free(&limits_path);
    text_buffer_free(&targets_path);
    text_buffer_free(&severity_path);
    text_buffer_free(&lexicon_dir);
    text_buffer_free(&harm_path);
    text_buffer_free(&lots_path);
    lot_rules_free(lots);
    lexicon_free(lexicon);
    json_decref(harm);
    return rc || !faults->count ? rc : ERROR_INVALID;
}

/* The plant's files with what they differ in, and what a release changed. */
static json_t *compared(const char *dirs)
{
    json_t *own = rule_files_own(dirs), *file;
    size_t i;
    json_array_foreach(own, i, file)
    {
        json_t *mine = rule_files_document(dirs, file, RULE_FILES_MINE),
               *then = rule_files_document(dirs, file, RULE_FILES_THEN),
               *now = rule_files_document(dirs, file, RULE_FILES_NOW);
        bool changed = strcmp(pick_text(file, "is", ""), "changed") == 0;
        json_object_set_new(file, "differs", changed ? difference_of(now, mine) : json_array());
        json_object_set_new(file, "released", then ? difference_of(then, now) : json_array());
        json_decref(mine);
        json_decref(then);
        json_decref(now);
    }
    return own;
}

static void show_good(const struct view *v, const struct rules *rules, const json_t *plants)
{
    size_t i;
    const json_t *one;
    view_textf(v, VIEW_PLAIN, 0, 2, "Good: %d causes, %s", rules->cause_count, rules->hash);
    json_array_foreach(plants, i, one)
        view_textf(v, VIEW_PLAIN, 0, 2, "Good, too: the rules of %s, %s",
                   pick_text(one, "plant", "?"), pick_text(one, "rules", "?"));
}

/* Here, not in the daemon: a rule file is checked where it is written. */
static int check(struct client *c, const char *dirs)
{
    struct faults faults = {.list = json_array()};
    struct rules *rules = NULL;
    json_t *plants = json_array();
    int rc = check_all(dirs, &faults, &rules, plants);
    json_t *own = compared(dirs);
    if (c->json) {
        json_t *document = json_pack("{sb si ss* sO sO sO}", "good", rc == 0, "causes",
                                     rc ? 0 : rules->cause_count, "rules", rc ? NULL : rules->hash,
                                     "errors", faults.list, "own", own, "of_plants", plants);
        client_print(document);
        json_decref(document);
    } else {
        if (rc)
            client_say(c, "%zu %s in %s; a daemon would keep its present rules", faults.count,
                       faults.count == 1 ? "error" : "errors", dirs);
        else
            show_good(&c->view, rules, plants);
        own_rules_show(&c->view, own);
    }
    json_decref(own);
    json_decref(plants);
    json_decref(faults.list);
    rules_free(rules);
    return rc == 0 ? EXIT_DONE : rc == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
}

/* Each file, until one is refused. */
static int each_file(struct client *c, const struct args *a, const char *dirs,
                     int (*work)(const char *dirs, const char *name, struct error *err))
{
    struct error err = {0};
    int rc = 0;
    umask(022); /* the daemon is another user, and reads them */
    for (int i = 1; i < a->count && !rc; i++)
        rc = work(dirs, a->words[i], &err);
    if (!rc)
        return EXIT_DONE;
    client_say(c, "%s%s%s%s", err.text, err.hint[0] ? " (" : "", err.hint, err.hint[0] ? ")" : "");
    return rc == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
}

static int rules_command(struct client *c, const struct args *a)
{
    const char *verb = a->words[0], *dirs = args_value(a, "dir");
    if (!dirs)
        dirs = RULE_FILES_INSTALLED;
    if (strcmp(verb, "list") == 0)
        return a->count == 1 ? list(c) : client_usage(c, "rules list takes no folder");
    if (names_of(verb))
        return a->count == 1 ? list_names(c, names_of(verb))
                             : client_usage(c, "rules %s takes no folder", verb);
    if (strcmp(verb, "check") == 0)
        return a->count > 2 ? client_usage(c, "rules check takes one folder")
                            : check(c, a->count == 2 ? a->words[1] : dirs);
    if (a->count == 1)
        return client_usage(c, "rules %s needs the name of a rule file: causes/rope.json", verb);
    return each_file(c, a, dirs, strcmp(verb, "copy") == 0 ? rule_files_copy : rule_files_seen);
}

static const struct option_row options[] = {
    {"dir", "DIR:DIR", "copy, seen: the plant's folder and that of the shipped rules"}, {0}};

const struct command cmd_rules = {
    .name = "rules",
    .args = "check [DIR] | list | quantities | places | copy FILE… | seen FILE…",
    .words = "check list quantities places copy seen",
    .help = "checks rule files with file:line:column, lists causes, quantities and places, copies "
            "shipped files",
    .more = "A plant changes a copy of a shipped rule file (copy), which stands for it from the "
            "next reload on. check without a folder reads the installed rules, says what the "
            "copies differ in, and what a release has changed since in the files they were copied "
            "from; once that has been looked at, seen says so.",
    .options = options,
    .least = 1,
    .most = -1,
    .exec = rules_command,
};
