#include "commands/command.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "rules/catalogue.h"
#include "rules/models_file.h"
#include "rules/rules.h"
#include "show/pick.h"
#include "show/table.h"
#include <string.h>

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

/* Everything but the lot codes' patterns (lots.json), which the daemon compiles. */
static int check_all(const char *dir, struct faults *faults, struct rules **ret)
{
    struct models_parameters parameters;
    struct catalogue *catalogue = NULL;
    struct text_buffer lexicon_dir = {0}, harm_path = {0};
    struct lexicon *lexicon = NULL;
    json_t *harm = NULL;
    text_appendf(&lexicon_dir, "%s/lexicon", dir);
    text_appendf(&harm_path, "%s/harm.json", dir);
    int rc = rules_load(dir, on_fault, faults, ret, NULL);
    catalogue_load(dir, on_fault, faults, &catalogue, NULL);
    models_file_load(dir, on_fault, faults, &parameters, NULL);
    lexicon_load(lexicon_dir.data, on_fault, faults, &lexicon, NULL);
    harm_load(harm_path.data, on_fault, faults, &harm, NULL);
    text_buffer_free(&lexicon_dir);
    text_buffer_free(&harm_path);
    catalogue_free(catalogue);
    lexicon_free(lexicon);
    json_decref(harm);
    return rc || !faults->count ? rc : ERROR_INVALID;
}

/* Here, not in the daemon: a rule file is checked where it is written. */
static int check(struct client *c, const char *dir)
{
    struct faults faults = {.list = json_array()};
    struct rules *rules = NULL;
    int rc = check_all(dir, &faults, &rules);
    if (c->json) {
        json_t *document =
            json_pack("{sb si ss* sO}", "good", rc == 0, "causes", rc ? 0 : rules->cause_count,
                      "rules", rc ? NULL : rules->hash, "errors", faults.list);
        client_print(document);
        json_decref(document);
    } else if (rc) {
        client_say(c, "%zu %s in %s; a daemon would keep its present rules", faults.count,
                   faults.count == 1 ? "error" : "errors", dir);
    } else {
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Good: %d causes, %s", rules->cause_count,
                   rules->hash);
    }
    json_decref(faults.list);
    rules_free(rules);
    return rc == 0 ? EXIT_DONE : rc == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
}

static int rules_command(struct client *c, const struct args *a)
{
    if (strcmp(a->words[0], "check") == 0)
        return a->count == 2 ? check(c, a->words[1])
                             : client_usage(c, "rules check needs a folder");
    return a->count == 1 ? list(c) : client_usage(c, "rules list takes no folder");
}

const struct command cmd_rules = {
    .name = "rules",
    .args = "check DIR | list",
    .words = "check list",
    .help = "checks rule files with file:line:column, or lists causes",
    .least = 1,
    .most = 2,
    .exec = rules_command,
};
