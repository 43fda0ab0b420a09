#include "serve/setup.h"
#include "base/text.h"
#include "intake/harm.h"
#include "intake/harm_weights.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "notify/mime.h"
#include "rules/limits.h"
#include "rules/rule_files.h"
#include "rules/severity.h"
#include "rules/targets.h"
#include "serve/credentials.h"
#include "serve/installed.h"
#include "serve/tls.h"
#include "serve/users.h"
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

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

/* The words of the lexicon are half of all that is read: another thread reads them meanwhile. */
struct words {
    const char *dir;
    const struct log *log;
    pthread_t thread;
    bool apart; /* there is such a thread */
    struct lexicon *lexicon;
    int rc;
    struct error err;
};

static void *load_words(void *arg)
{
    struct words *words = arg;
    words->rc =
        lexicon_load_words(words->dir, log_fault, (void *)words->log, &words->lexicon, &words->err);
    return NULL;
}

static void begin_words(struct words *words)
{
    words->apart = pthread_create(&words->thread, NULL, load_words, words) == 0;
    if (!words->apart)
        load_words(words);
}

static int end_words(struct words *words, struct setup *setup, struct error *err)
{
    struct harm_weights *weights = NULL;
    int rc = lexicon_load_weights(words->dir, log_fault, (void *)words->log, &weights, err);
    if (words->apart)
        pthread_join(words->thread, NULL);
    setup->lexicon = words->lexicon;
    if (setup->lexicon)
        lexicon_give_weights(setup->lexicon, weights);
    else
        harm_weights_free(weights);
    if (words->rc && !err->code)
        *err = words->err;
    return words->rc ? words->rc : rc;
}

/* All are read, so that one reload shows every fault. */
static int load_rules(struct setup *setup, const struct log *log, struct error *err)
{
    const char *dir = setup->rules_dir;
    struct text_buffer lots = {0}, lexicon = {0}, harm = {0}, severity = {0}, limits = {0},
                       targets = {0};
    doc_below(dir, "lexicon", &lexicon);
    struct words words = {.dir = lexicon.data, .log = log};
    begin_words(&words);
    doc_path(dir, "lots.json", &lots);
    doc_path(dir, "harm.json", &harm);
    doc_path(dir, "severity.json", &severity);
    doc_path(dir, "limits.json", &limits);
    doc_path(dir, "targets.json", &targets);
    void *arg = (void *)log;
    int rc = triage_new(dir, setup->tz, log_fault, arg, &setup->triage, err);
    int of_lots = lot_rules_load(lots.data, log_fault, arg, &setup->matcher, err);
    int of_harm = harm_load(harm.data, log_fault, arg, &setup->harm, err);
    int of_severity = severity_load(severity.data, log_fault, arg, &setup->severity, err);
    int of_limits = limits_load(limits.data, log_fault, arg, &setup->limits, err);
    int of_targets = targets_load(targets.data, log_fault, arg, &setup->targets, err);
    int of_words = end_words(&words, setup, err);
    text_buffer_free(&lexicon);
    text_buffer_free(&severity);
    text_buffer_free(&limits);
    text_buffer_free(&targets);
    text_buffer_free(&lots);
    text_buffer_free(&harm);
    const int codes[] = {rc, of_lots, of_words, of_harm, of_severity, of_limits, of_targets};
    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
        if (codes[i])
            return codes[i];
    return 0;
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
        setup_unref(setup);
        return rc;
    }
    setup->users = users_new(setup->config);
    setup->desk = (struct desk){
        .tz = setup->tz,
        .matcher = setup->matcher,
        .settle_at = (double)config_number(setup->config, "settle_lot_at") / 100,
        .similar_ms = config_number(setup->config, "similar_days") * WHEN_DAY_MS,
        .contact_ms = config_number(setup->config, "contact_days") * WHEN_DAY_MS,
        .lexicon = setup->lexicon,
        .triage = setup->triage,
        .harm = setup->harm,
        .severity = setup->severity,
        .plant = config_text(setup->config, "plant"),
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
    json_decref(setup->own_rules);
    users_free(setup->users);
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
