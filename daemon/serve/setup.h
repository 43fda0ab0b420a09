/* Rules, config and what was made from them: loaded whole, checked whole, swapped at once by app.h,
 * shared by reference, so that a request under way keeps the set it began with. */
#ifndef ODDLOAF_SERVE_SETUP_H
#define ODDLOAF_SERVE_SETUP_H

#include "base/log.h"
#include "base/when.h"
#include "desk/desk.h"
#include "notify/mail_settings.h"
#include "rank/triage.h"
#include "serve/config.h"

struct lot_matcher;
struct lexicon;
struct severity_rules;
struct limits;
struct targets;
struct users;

enum { SETUP_DECISIONS = 2 };

struct setup {
    int references;          /* atomic */
    const char *config_path; /* borrowed from main, or where it is installed; NULL: all defaults */
    const char *rules_dir;   /* one folder or several: base/doc.h */
    json_t *own_rules;       /* the plant's own files: rules/rule_files.h */
    struct config *config;
    struct users *users; /* roles of the machine's users by `config` */
    struct tz *tz;
    struct triage *triage;
    struct lot_matcher *matcher;
    struct lexicon *lexicon;
    json_t *harm;                    /* what is said when harm is reported: intake/harm.h */
    struct severity_rules *severity; /* rules/severity.h */
    struct limits *limits;           /* rules/limits.h */
    struct targets *targets;         /* rules/targets.h */
    struct ssl_ctx_st *tls;          /* what TLS clients are shown; NULL: none are listened for */
    json_t *needs_restart;        /* names of changed settings that keep their value until then */
    struct lot_settle *settle_of; /* of each plant; ended as lots/match.h says */
    struct desk desk;             /* what the desk's work stands on, of the above */
    int64_t loaded_ms;
    char *decided[SETUP_DECISIONS]; /* app_decide(): as the store had them; NULL: it had none */
};

/* `config_path`, `rules_dir`: NULL for those that are installed. `in_force`:
 * the set that this one is to replace in a running daemon, NULL at the start. */
int setup_load(const char *config_path, const char *rules_dir, const struct setup *in_force,
               struct setup **ret, const struct log *log, struct error *err);
void setup_unref(struct setup *setup);
/* What it says of mail and hook; lives as long as the set. */
struct mail_settings setup_mail(const struct setup *setup);
/* Logs every fault of them; ERROR_INVALID with the first one if there is any. */
int setup_check_mail(const struct setup *setup, const struct log *log, struct error *err);

/* Logs what does nothing, and is no fault: what keeps people out (serve/logons.h), rule files
 * that have the name of none, or that no plant may have, and those of a plant that is not named. */
void setup_warn(const struct setup *setup, const struct log *log);

#endif
