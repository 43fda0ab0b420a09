#include "serve/credentials.h"
#include "base/length.h"
#include "base/text.h"
#include "serve/listen.h"
#include "serve/peer.h"
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct {
    const char *key;
    bool needed, secret;
} FILES[] = {
    {"tcp/certificate", true, false},
    {"tcp/key", true, true},
    {"tcp/client_ca", false, false},
    {"tcp/tokens", false, true},
};
enum { FILE_COUNT = sizeof FILES / sizeof FILES[0], TOKEN_HEX = 64, WORD = 16 };

struct finding {
    const struct config *config;
    doc_report report;
    void *arg;
    int count;
    json_t *named; /* the tokens' names, folded → their plant */
};

static void tell(struct finding *f, const struct error *fault)
{
    f->report(f->arg, fault);
    f->count++;
}

static void find(struct finding *f, const char *key, const char *why, const char *hint)
{
    struct error fault = {0};
    error_set(&fault, ERROR_INVALID, "%s", why);
    error_field(&fault, key, config_text(f->config, key));
    if (hint)
        error_hint(&fault, "%s", hint);
    tell(f, &fault);
}

static void check_file(struct finding *f, const char *key, bool needed, bool secret)
{
    const char *path = config_text(f->config, key);
    struct stat about;
    if (!*path) {
        if (needed)
            find(f, key, "is not set, and TLS at tcp/listen needs it", NULL);
    } else if (stat(path, &about)) {
        find(f, key, strerror(errno), NULL);
    } else if (!S_ISREG(about.st_mode)) {
        find(f, key, "is not a file", NULL);
    } else if (access(path, R_OK)) {
        find(f, key, "cannot be read: permission denied", NULL);
    } else if (about.st_mode & S_IWOTH) {
        find(f, key, "may be written by anybody", "chmod o= takes that away");
    } else if (secret && (about.st_mode & S_IROTH)) {
        find(f, key, "may be read by anybody",
             "chmod o= takes that away; whoever has read it keeps it, so make a new one");
    }
}

/* ---- tokens ---- */

/* Neither a hash nor what somebody wrote in its place belongs in a log: the line says enough. */
static void on_token_fault(void *arg, const struct error *fault)
{
    struct error plain = *fault;
    plain.value[0] = '\0';
    error_field(&plain, "tcp/tokens", NULL);
    tell(arg, &plain);
}

/* "": of the company. */
static const char *plant_of(const char *role)
{
    const char *at = strchr(role, '@');
    return at ? at + 1 : "";
}

/* Is a login of that name somebody of other plants? What is entered is kept with the name of who
 * entered it, who sees it again. */
static bool is_other_login(const struct config *config, const char *name, const char *plant)
{
    struct sight sight;
    if (!peer_sight_of_login(config, name, &sight) || !sight_anywhere(&sight))
        return false;
    bool other = (sight.company != 0) != !*plant;
    for (int i = 0; i < config_plant_count(config) && *plant; i++)
        other = other || (sight.plant[i] != 0) != (i == config_plant_named(config, plant));
    return other;
}

static void check_named(const struct finding *f, const struct doc_place *place, const char *name,
                        const char *role)
{
    char kept[LENGTH_PERSON + 1], fold[2 * sizeof kept]; /* as rq->user is cut */
    text_fold(text_clip(name, kept, sizeof kept), fold, sizeof fold);
    const char *plant = plant_of(role);
    const char *was = json_string_value(json_object_get(f->named, fold));
    if (was && strcmp(was, plant) != 0)
        doc_fault(place, "a token of the same name is of another plant, or of the company: they "
                         "would be one person on record, who sees what both entered; give each a "
                         "name of its own");
    else if (is_other_login(f->config, name, plant))
        doc_fault(place, "a login of this machine has the token's name and is of another plant, or "
                         "of the company: they would be one person on record; give the token a "
                         "name of its own");
    json_object_set_new(f->named, fold, json_string(plant));
}

/* A few letters, and a plant behind them, are a slip to be found again; anything else may be a
 * token that somebody wrote there, and is not repeated. */
static bool may_be_told(const char *word)
{
    size_t letters = strspn(word, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ");
    return letters > 0 && letters <= WORD &&
           (!word[letters] || (word[letters] == '@' && strlen(word + letters) <= LENGTH_CODE + 1));
}

/* A slip in a member's name would take its meaning away in silence. */
static void check_members(const struct doc_place *place)
{
    const char *name;
    json_t *value;
    if (!json_is_object(place->value))
        return;
    json_object_foreach((json_t *)(uintptr_t)place->value, name, value)
    {
        struct doc_place member = doc_member(place, name);
        if (strcmp(name, "role") != 0 && strcmp(name, "name") != 0)
            doc_fault(&member, "%s is no member of a token: it has a role and may have a name",
                      may_be_told(name) ? name : "this");
    }
}

static void refuse_role(const struct doc_place *place, const char *role)
{
    bool told = role && may_be_told(role);
    doc_fault(place,
              "a token's role is one of desk, qa, manager, admin, metrics, or of one plant of the "
              "settings desk@NAME, qa@NAME, manager@NAME%s%s",
              told ? ", and not " : "", told ? role : "");
}

static void check_token(const struct doc_place *place, void *part)
{
    const struct finding *f = place->doc->arg;
    struct sight sight = {0};
    const char *role = peer_token_role(place->value);
    const json_t *name = json_object_get(place->value, "name");
    (void)part;
    check_members(place);
    if (strlen(place->name) != TOKEN_HEX || strspn(place->name, "0123456789abcdef") != TOKEN_HEX)
        doc_fault(place, "a token is given by its SHA-256, 64 hex digits in lower case");
    if (!role || !sight_add(&sight, f->config, role))
        refuse_role(place, role);
    if (name && (!json_is_string(name) || !json_string_length(name)))
        doc_fault(place, "a token's name is text: it stands beside what is done with the token");
    else if (name && role)
        check_named(f, place, json_string_value(name), role);
}

static void check_tokens(struct finding *f)
{
    static const struct doc_row TOKENS = {.kind = DOC_MAP, .each = check_token};
    const char *path = config_text(f->config, "tcp/tokens");
    struct doc doc = {.report = on_token_fault, .arg = f};
    if (*path && doc_open(&doc, path, false) == 0) {
        struct doc_place top = doc_top(&doc);
        doc_value(&top, &TOKENS, &doc);
    }
    doc_close(&doc);
}

int credentials_check(const struct config *config, doc_report report, void *arg)
{
    struct finding f = {config, report, arg, 0, json_object()};
    const char *where = config_text(config, "tcp/listen");
    struct error fault = {0};
    if (*where && listen_check(where, &fault))
        tell(&f, &fault);
    int others = 0; /* the tokens are the last: what is wrong with them hides behind no other */
    for (size_t i = 0; i < FILE_COUNT; i++) {
        others = f.count;
        check_file(&f, FILES[i].key, FILES[i].needed, FILES[i].secret);
    }
    if (f.count == others)
        check_tokens(&f);
    json_decref(f.named);
    return f.count;
}
