#include "serve/setup.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "notify/mime.h"
#include "rules/limits.h"
#include "rules/rule_files.h"
#include "rules/rule_files_plant.h"
#include "rules/severity.h"
#include "rules/targets.h"
#include "serve/credentials.h"
#include "serve/installed.h"
#include "serve/logons.h"
#include "serve/tls.h"
#include "serve/users.h"
#include <malloc.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

static void log_fault(void *arg, const struct error *fault)
{
    char text[1024];
    log_write(arg, LOG_LEVEL_ERROR, "%s", error_format(fault, text, sizeof text));
}

/* Faults of what the settings name: logged with the place of the setting. */
struct outside {
    const struct config *config;
    const struct log *log;
    struct error first;
};

static void take_fault(void *arg, const struct error *fault)
{
    struct outside *outside = arg;
    struct error placed = *fault;
    config_locate(outside->config, &placed);
    log_fault((void *)outside->log, &placed);
    if (!outside->first.code)
        outside->first = placed;
}

static void open_zone(struct setup *setup, struct outside *outside)
{
    const char *zone = config_text(setup->config, "time_zone");
    struct error fault = {0};
    if (tz_open(zone, &setup->tz, &fault) == 0)
        return;
    error_field(&fault, "time_zone", zone);
    take_fault(outside, &fault);
}

static void open_zones_of_plants(struct setup *setup, struct outside *outside)
{
    const struct config *config = setup->config;
    for (int plant = 0; plant < config_plant_count(config) && setup->tz; plant++) {
        const char *name = config_plant_name(config, plant);
        const char *zone = config_text_of(config, plant, "time_zone");
        char key[CONFIG_KEY];
        struct error fault = {0};
        if (tz_of_add(setup->tz, name, zone, &fault) == 0)
            continue;
        snprintf(key, sizeof key, "plants/%s/time_zone", name);
        error_field(&fault, key, zone);
        take_fault(outside, &fault);
    }
}

static void open_tls(struct setup *setup, struct outside *outside)
{
    struct error fault = {0};
    if (!*config_text(setup->config, "tcp/listen") ||
        credentials_check(setup->config, take_fault, outside))
        return;
    if (tls_context_new(setup->config, &setup->tls, &fault))
        take_fault(outside, &fault);
}

/* The settings, those that need a restart as they are in force. */
static int load_settings(struct setup *setup, const struct setup *in_force, const struct log *log,
                         struct error *err)
{
    int rc = config_load(setup->config_path, log_fault, (void *)log, &setup->config, err);
    if (rc)
        return rc;
    if (in_force)
        config_keep(setup->config, in_force->config, &setup->needs_restart);
    else
        setup->needs_restart = json_array();
    struct outside outside = {setup->config, log, {0}};
    open_zone(setup, &outside);
    open_zones_of_plants(setup, &outside);
    open_tls(setup, &outside);
    if (outside.first.code)
        *err = outside.first;
    return outside.first.code;
}

static const char *no_alarm(const void *arg)
{
    const struct mail_settings mail = setup_mail(arg);
    return mail_settings_no_alarm(&mail);
}

/* ---- rules ---- */

static int read_lexicon(struct setup *setup, enum lexicon_part part, const struct log *log,
                        struct error *err)
{
    struct text_buffer dir = {0};
    doc_below(setup->rules_dir, "lexicon", &dir);
    int rc = lexicon_load_part(setup->lexicon, part, dir.data, log_fault, (void *)log, err);
    text_buffer_free(&dir);
    return rc;
}

static int read_harm_words(struct setup *setup, const struct log *log, struct error *err)
{
    return read_lexicon(setup, LEXICON_HARM, log, err);
}

static int read_languages(struct setup *setup, const struct log *log, struct error *err)
{
    return read_lexicon(setup, LEXICON_LANGUAGES, log, err);
}

static int read_weights(struct setup *setup, const struct log *log, struct error *err)
{
    return read_lexicon(setup, LEXICON_WEIGHTS, log, err);
}

/* Of each plant that the settings name, beside the company's: where settings are wrong, or the
 * company's rules are, those are mended first. */
static int each_plant(struct setup *setup, const struct log *log,
                      int (*read)(struct setup *setup, const char *plant, const struct log *log,
                                  struct error *err),
                      struct error *err)
{
    int rc = 0, count = setup->config ? config_plant_count(setup->config) : 0;
    for (int plant = 0; plant < count; plant++) {
        int code = read(setup, config_plant_name(setup->config, plant), log, err);
        rc = rc ? rc : code;
    }
    return rc;
}

static int read_plant_causes(struct setup *setup, const char *plant, const struct log *log,
                             struct error *err)
{
    return triage_add_plant(setup->triage, setup->rules_dir, plant, log_fault, (void *)log, err);
}

static int read_causes(struct setup *setup, const struct log *log, struct error *err)
{
    int rc = triage_new(setup->rules_dir, setup->tz, log_fault, (void *)log, &setup->triage, err);
    return rc ? rc : each_plant(setup, log, read_plant_causes, err);
}

static int read_plant_severity(struct setup *setup, const char *plant, const struct log *log,
                               struct error *err)
{
    struct text_buffer path = {0};
    int rc = 0;
    if (rule_files_plant_has(setup->rules_dir, plant, "severity.json", &path))
        rc = severity_add_plant(setup->severity, plant, path.data, log_fault, (void *)log, err);
    text_buffer_free(&path);
    return rc;
}

static int read_others(struct setup *setup, const struct log *log, struct error *err)
{
    struct text_buffer path[5] = {0};
    static const char *const NAMES[] = {"lots.json", "harm.json", "severity.json", "limits.json",
                                        "targets.json"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        doc_path(setup->rules_dir, NAMES[i], &path[i]);
    void *arg = (void *)log;
    /* one after the other: `err` has the first fault, whose code it is */
    int rc = lot_rules_load(path[0].data, log_fault, arg, &setup->matcher, err);
    int of_harm = harm_load(path[1].data, log_fault, arg, &setup->harm, err);
    int of_severity = severity_load(path[2].data, log_fault, arg, &setup->severity, err);
    int of_limits = limits_load(path[3].data, log_fault, arg, &setup->limits, err);
    int of_targets = targets_load(path[4].data, log_fault, arg, &setup->targets, err);
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        text_buffer_free(&path[i]);
    if (!of_severity)
        of_severity = each_plant(setup, log, read_plant_severity, err);
    const int codes[] = {of_harm, of_severity, of_limits, of_targets};
    for (size_t i = 0; !rc && i < sizeof codes / sizeof codes[0]; i++)
        rc = codes[i];
    return rc;
}

/* Parts that need nothing of each other, those that take longest first. */
static int (*const PARTS[])(struct setup *setup, const struct log *log, struct error *err) = {
    read_harm_words, read_causes, read_languages, read_weights, read_others};
enum { PARTS_COUNT = sizeof PARTS / sizeof PARTS[0] };
enum { MEMORY_OF_RULES = 10 << 20, LARGE_PAGE = 2 << 20 };

struct reading {
    struct setup *setup;
    const struct log *log;
    atomic_size_t next;
    int codes[PARTS_COUNT];
    struct error errors[PARTS_COUNT];
};

/* What a thread's rules need comes from the system in large pages and at once: by the page it is
 * four thousand faults, one thread's waiting for the other's. Where there are no large pages it
 * costs and gains nothing. */
static void take_memory_ahead(void)
{
    char *memory = xmalloc(MEMORY_OF_RULES);
    char *first = memory + (LARGE_PAGE - (uintptr_t)memory % LARGE_PAGE) % LARGE_PAGE;
    madvise(first, (size_t)(memory + MEMORY_OF_RULES - first) / LARGE_PAGE * LARGE_PAGE,
            MADV_HUGEPAGE);
    free(memory);
}

static void *read_parts(void *arg)
{
    struct reading *r = arg;
    size_t part;
    take_memory_ahead();
    while ((part = atomic_fetch_add(&r->next, 1)) < PARTS_COUNT)
        r->codes[part] = PARTS[part](r->setup, r->log, &r->errors[part]);
    return NULL;
}

/* Two threads take part for part; all are read, so that one reload shows every fault. */
static int load_rules(struct setup *setup, const struct log *log, struct error *err)
{
    struct reading r = {.setup = setup, .log = log};
    pthread_t second;
    setup->lexicon = lexicon_new();
    mallopt(M_MMAP_THRESHOLD, 2 * MEMORY_OF_RULES); /* so that what is taken ahead is kept; glibc */
    mallopt(M_TRIM_THRESHOLD, 2 * MEMORY_OF_RULES); /* would by itself come to 32 MB and 64 */
    bool apart = pthread_create(&second, NULL, read_parts, &r) == 0;
    read_parts(&r);
    if (apart)
        pthread_join(second, NULL);
    for (size_t part = 0; part < PARTS_COUNT; part++) {
        if (r.codes[part] && err && !err->code)
            *err = r.errors[part];
        if (r.codes[part])
            return r.codes[part];
    }
    return 0;
}

static struct lot_settle *settle_levels(const struct config *config)
{
    int count = config_plant_count(config);
    struct lot_settle *of = xcalloc((size_t)count + 1, sizeof *of);
    for (int plant = 0; plant < count; plant++)
        of[plant] =
            (struct lot_settle){config_plant_name(config, plant),
                                (double)config_number_of(config, plant, "settle_lot_at") / 100};
    return of;
}

int setup_load(const char *config_path, const char *rules_dir, const struct setup *in_force,
               struct setup **ret, const struct log *log, struct error *err)
{
    struct setup *setup = xcalloc(1, sizeof *setup);
    setup->references = 1;
    setup->config_path = config_path ? config_path : installed_config();
    setup->rules_dir = rules_dir ? rules_dir : RULE_FILES_INSTALLED;
    setup->own_rules = rule_files_own(setup->rules_dir);
    int rc = load_settings(setup, in_force, log, err);
    int rules = load_rules(setup, log, err);
    rc = rc ? rc : rules;
    if (rc) {
        struct error further = {0};
        if (setup->config) /* wrong rules hide no wrong address */
            setup_check_mail(setup, log, &further);
        setup_unref(setup);
        return rc;
    }
    setup->users = users_new(setup->config);
    setup->settle_of = settle_levels(setup->config);
    setup->desk = (struct desk){
        .tz = setup->tz,
        .matcher = setup->matcher,
        .settle_at = (double)config_number(setup->config, "settle_lot_at") / 100,
        .settle_of = setup->settle_of,
        .similar_ms = config_number(setup->config, "similar_days") * WHEN_DAY_MS,
        .contact_ms = config_number(setup->config, "contact_days") * WHEN_DAY_MS,
        .lexicon = setup->lexicon,
        .triage = setup->triage,
        .harm = setup->harm,
        .severity = setup->severity,
        .plant = config_text(setup->config, "plant"),
        .plants = config_plants(setup->config),
        .mail_domain = mime_domain(config_text(setup->config, "mail/from")),
    };
    setup->desk.no_alarm = no_alarm;
    setup->desk.no_alarm_arg = setup;
    *ret = setup;
    return 0;
}

void setup_unref(struct setup *setup)
{
    if (!setup || __atomic_sub_fetch(&setup->references, 1, __ATOMIC_ACQ_REL) > 0)
        return;
    triage_free(setup->triage);
    lot_rules_free(setup->matcher);
    lexicon_free(setup->lexicon);
    json_decref(setup->harm);
    severity_free(setup->severity);
    limits_free(setup->limits);
    targets_free(setup->targets);
    tz_close(setup->tz);
    SSL_CTX_free(setup->tls);
    json_decref(setup->needs_restart);
    for (int i = 0; i < SETUP_DECISIONS; i++)
        free(setup->decided[i]);
    json_decref(setup->own_rules);
    users_free(setup->users);
    free(setup->settle_of);
    config_free(setup->config);
    free(setup);
}

/* ---- mail ---- */

struct mail_settings setup_mail(const struct setup *setup)
{
    const struct config *c = setup->config;
    return (struct mail_settings){.program = config_text(c, "mail/program"),
                                  .hook_program = config_text(c, "hook/program"),
                                  .from = config_text(c, "mail/from"),
                                  .plant = config_text(c, "plant"),
                                  .to = config_list(c, "mail/to"),
                                  .urgent_to = config_list(c, "mail/urgent_to"),
                                  .digest_to = config_list(c, "mail/digest_to"),
                                  .records_to = config_list(c, "mail/records_to"),
                                  .due_to = config_list(c, "mail/due_to"),
                                  .plants = config_plants(c),
                                  .tz_name = config_text(c, "time_zone"),
                                  .sheet_kb = (int)config_number(c, "mail/sheet_kb"),
                                  .timeout_s = (int)config_number(c, "mail/timeout_s"),
                                  .retry_s = (int)config_number(c, "mail/retry_s"),
                                  .park_h = (int)config_number(c, "mail/park_h")};
}

int setup_check_mail(const struct setup *setup, const struct log *log, struct error *err)
{
    struct outside outside = {setup->config, log, {0}};
    const struct mail_settings mail = setup_mail(setup);
    if (mail_settings_check(&mail, take_fault, &outside) && !err->code)
        *err = outside.first;
    return outside.first.code;
}

/* ---- what does nothing ---- */

struct warning {
    const struct config *config;
    const struct log *log;
};

static void warn(void *arg, const struct error *fault)
{
    const struct warning *w = arg;
    struct error placed = *fault;
    char text[1024];
    config_locate(w->config, &placed);
    log_write(w->log, LOG_LEVEL_WARNING, "%s", error_format(&placed, text, sizeof text));
}

/* Files of rules that nobody reads. */
static void warn_of_files(const struct setup *setup, const struct log *log)
{
    static const struct {
        const char *is, *why;
    } ROWS[] = {{"not read", "no rule file has that name (oddloafd(8), RULES)"},
                {"the company's", "no plant has one of its own (oddloafd(8), RULES)"}};
    size_t i;
    const json_t *own;
    json_array_foreach(setup->own_rules, i, own)
    {
        const char *is = json_string_value(json_object_get(own, "is"));
        for (size_t k = 0; k < sizeof ROWS / sizeof *ROWS; k++)
            if (strcmp(is, ROWS[k].is) == 0)
                log_write(log, LOG_LEVEL_WARNING, "%s/%s: is not read: %s",
                          json_string_value(json_object_get(own, "folder")),
                          json_string_value(json_object_get(own, "file")), ROWS[k].why);
    }
}

static void warn_of_plants(const struct setup *setup, const struct log *log)
{
    json_t *names = rule_files_plant_names(setup->rules_dir), *name;
    size_t i;
    json_array_foreach(names, i, name)
    {
        const char *plant = json_string_value(name);
        if (config_plant_named(setup->config, plant) == CONFIG_COMPANY)
            log_write(log, LOG_LEVEL_WARNING,
                      "rules of the plant %s (plants/%s) are not read: the settings name no plant "
                      "%s",
                      plant, plant, plant);
    }
    json_decref(names);
}

/* Of a company that names its plants: a row of another name is nobody's. */
static void warn_of_row(const struct setup *setup, const struct log *log, const char *file,
                        size_t row, const char *plant)
{
    struct text_buffer path = {0};
    if (!*plant || !config_plant_count(setup->config) ||
        config_plant_named(setup->config, plant) >= 0)
        return;
    doc_path(setup->rules_dir, file, &path);
    log_write(log, LOG_LEVEL_WARNING,
              "%s: row %zu, plant \"%s\": is no plant of the settings, so the row is nobody's",
              path.data, row + 1, plant);
    text_buffer_free(&path);
}

static void warn_of_rows(const struct setup *setup, const struct log *log)
{
    const char *plant;
    for (size_t i = 0; (plant = limits_plant(setup->limits, i)); i++)
        warn_of_row(setup, log, "limits.json", i, plant);
    for (size_t i = 0; (plant = targets_plant(setup->targets, i)); i++)
        warn_of_row(setup, log, "targets.json", i, plant);
}

void setup_warn(const struct setup *setup, const struct log *log)
{
    struct warning warning = {setup->config, log};
    logons_check(setup->config, warn, &warning);
    warn_of_files(setup, log);
    warn_of_plants(setup, log);
    warn_of_rows(setup, log);
}
