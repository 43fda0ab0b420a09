/* Input: a byte that says which file, then the file. It stands for the one of its name among the
 * few in rules/ here, as a plant's own does, or is the daemon's settings or its tokens. What is
 * refused is told with its place; what is taken is whole. */
#include "base/text.h"
#include "fuzz.h"
#include "intake/common_words.h"
#include "intake/harm.h"
#include "intake/harm_weights.h"
#include "intake/harm_words.h"
#include "intake/lexicon.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "rules/limits.h"
#include "rules/models_file.h"
#include "rules/rules.h"
#include "rules/severity.h"
#include "rules/targets.h"
#include "serve/config.h"
#include "serve/credentials.h"
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A few of each kind, so that a run is short; of all the shipped files tests/rules/ asks more. */
#define FEW ODDLOAF_SOURCE_DIR "/tests/fuzz/rules"

struct faults {
    int count;
};

static void on_fault(void *arg, const struct error *fault)
{
    struct faults *faults = arg;
    char line[1024];
    faults->count++;
    PROMISE(fault->code != ERROR_NONE && fault->text[0]);
    PROMISE(fault->line >= 0 && fault->column >= 0);
    PROMISE(text_is_utf8(fault->value, strlen(fault->value)));
    PROMISE(strlen(error_format(fault, line, sizeof line)) < sizeof line);
}

static int load_rules(const char *own, struct faults *faults, struct error *err)
{
    struct rules *rules = NULL;
    int rc = rules_load(own, on_fault, faults, &rules, err);
    PROMISE((rc == 0) == (rules != NULL));
    json_t *list = rc ? NULL : rules_list(rules);
    PROMISE(rc || json_is_object(list));
    json_decref(list);
    rules_free(rules);
    return rc;
}

static int load_models(const char *own, struct faults *faults, struct error *err)
{
    struct models_parameters parameters;
    return models_file_load(own, on_fault, faults, &parameters, err);
}

static int load_lots(const char *path, struct faults *faults, struct error *err)
{
    struct lot_matcher *matcher = NULL;
    struct lot_parsed parsed;
    int rc = lot_rules_load(path, on_fault, faults, &matcher, err);
    if (!rc)
        match_understand(matcher, "L2 6321 B0412", NULL, INT64_C(1795190400000), NULL, &parsed);
    lot_rules_free(matcher);
    return rc;
}

static int load_lexicon(const char *folder, struct faults *faults, struct error *err)
{
    struct lexicon *lexicon = NULL;
    int rc = lexicon_load(folder, on_fault, faults, &lexicon, err);
    if (!rc) {
        json_t *taken, *given = json_pack("{s:s}", "note", "no mold, it smelled sour on the top");
        json_decref(lexicon_fill(lexicon, given, 20782, &taken));
        json_decref(taken);
        json_decref(given);
    }
    lexicon_free(lexicon);
    return rc;
}

static int load_harm(const char *folder, struct faults *faults, struct error *err)
{
    struct harm_words *words = NULL;
    struct harm_hearing hearing = {0};
    int rc = harm_words_load(folder, NULL, on_fault, faults, &words, err);
    if (!rc)
        harm_words_hear(words, "nobody broke a tooth, but my son was sick", &hearing);
    harm_words_hearing_done(&hearing);
    harm_words_free(words);
    return rc;
}

static int load_common(const char *folder, struct faults *faults, struct error *err)
{
    struct common_words *words = NULL;
    int rc = common_words_load(folder, on_fault, faults, &words, err);
    if (!rc)
        common_words_has(words, "inspected");
    common_words_free(words);
    return rc;
}

static int load_weights(const char *folder, struct faults *faults, struct error *err)
{
    struct harm_weights *weights = NULL;
    int rc = harm_weights_load(folder, on_fault, faults, &weights, err);
    if (!rc && harm_weights_read(weights, "nobody broke a tooth, but my son was sick").to)
        harm_weights_doubt(weights, "but my son was sick", 4, 19);
    harm_weights_free(weights);
    return rc;
}

static int load_targets(const char *path, struct faults *faults, struct error *err)
{
    struct targets *targets = NULL;
    int rc = targets_load(path, on_fault, faults, &targets, err);
    if (!rc)
        targets_per_million(targets, "", "2", "mold");
    targets_free(targets);
    return rc;
}

static int load_limits(const char *path, struct faults *faults, struct error *err)
{
    struct limits *limits = NULL;
    int rc = limits_load(path, on_fault, faults, &limits, err);
    limits_free(limits);
    return rc;
}

static int load_severity(const char *path, struct faults *faults, struct error *err)
{
    struct severity_rules *severity = NULL;
    int rc = severity_load(path, on_fault, faults, &severity, err);
    severity_free(severity);
    return rc;
}

static int load_needs(const char *path, struct faults *faults, struct error *err)
{
    json_t *harm = NULL;
    int rc = harm_load(path, on_fault, faults, &harm, err);
    json_decref(harm);
    return rc;
}

static int load_settings(const char *path, struct faults *faults, struct error *err)
{
    struct config *config = NULL;
    int rc = config_load(path, on_fault, faults, &config, err);
    PROMISE(rc || config_number(config, "limits/connections") > 0);
    config_free(config);
    return rc;
}

/* The settings that name the file are ours. */
static int load_tokens(const char *path, struct faults *faults, struct error *err)
{
    static const char SETTINGS[] =
        "{\"tcp\":{\"certificate\":\"%s\",\"key\":\"%s\",\"tokens\":\"%s\"}}";
    char settings[256];
    struct config *config = NULL;
    snprintf(settings, sizeof settings, "%s.settings", path);
    FILE *file = fopen(settings, "we");
    PROMISE(file);
    fprintf(file, SETTINGS, path, path, path);
    fclose(file);
    PROMISE(config_load(settings, NULL, NULL, &config, NULL) == 0);
    unlink(settings);
    int count = credentials_check(config, on_fault, faults);
    PROMISE(count == faults->count);
    config_free(config);
    return count ? error_set(err, ERROR_INVALID, "faults") : 0;
}

static const struct kind {
    const char *name; /* below the folder; what is loaded is the file or, with `whole`, all */
    int (*load)(const char *path, struct faults *faults, struct error *err);
    bool whole;
} KINDS[] = {
    {"settings.json", load_settings, false},  {"tokens.json", load_tokens, false},
    {"lots.json", load_lots, false},          {"models.json", load_models, true},
    {"quantities.json", load_rules, true},    {"places.json", load_rules, true},
    {"ranking.json", load_rules, true},       {"asks.json", load_rules, true},
    {"cautions.json", load_rules, true},      {"causes/packed-hot.json", load_rules, true},
    {"lexicon/xx.json", load_lexicon, false}, {"harm/xx.json", load_harm, false},
    {"common/xx.json", load_common, false},   {"weights/harm.json", load_weights, false},
    {"preservers.json", load_rules, true},    {"targets.json", load_targets, false},
    {"limits.json", load_limits, false},      {"severity.json", load_severity, false},
    {"harm.json", load_needs, false},
};
enum { KIND_COUNT = sizeof KINDS / sizeof KINDS[0] };

static const char *folder(void)
{
    static char path[64]; /* one for the run */
    static const char *const PARTS[] = {"", "/causes", "/lexicon", "/harm", "/common", "/weights"};
    if (!path[0]) {
        snprintf(path, sizeof path, "/dev/shm/fuzz-rules-%d", getpid());
        for (size_t i = 0; i < sizeof PARTS / sizeof PARTS[0]; i++) {
            char part[128];
            snprintf(part, sizeof part, "%s%s", path, PARTS[i]);
            PROMISE(mkdir(part, 0700) == 0);
        }
    }
    return path;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 1)
        return 0;
    const struct kind *kind = &KINDS[(uint8_t)(data[0] - '0') % KIND_COUNT];
    char path[192], dirs[sizeof FEW + 192];
    snprintf(path, sizeof path, "%s/%s", folder(), kind->name);
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    PROMISE(fd >= 0 && write(fd, data + 1, size - 1) == (ssize_t)size - 1);
    close(fd);
    if (kind->whole)
        snprintf(dirs, sizeof dirs, "%s:%s", folder(), FEW);
    else if (strchr(kind->name, '/')) /* a folder of its own */
        snprintf(dirs, sizeof dirs, "%s/%.*s", folder(), (int)strcspn(kind->name, "/"), kind->name);
    else
        snprintf(dirs, sizeof dirs, "%s", path);
    struct faults faults = {0};
    struct error err = {0};
    int rc = kind->load(dirs, &faults, &err);
    PROMISE((rc != 0) == (faults.count > 0));
    PROMISE((rc != 0) == (err.code != ERROR_NONE));
    unlink(path);
    return 0;
}
