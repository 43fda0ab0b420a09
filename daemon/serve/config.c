#include "serve/config.h"
#include "base/jsonx.h"
#include "base/length.h"
#include "base/text.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum setting_type { SETTING_TEXT, SETTING_NUMBER, SETTING_LIST };

struct setting {
    const char *key;
    enum setting_type type;
    const char *text; /* default of a text or of a list of one; NULL: empty */
    int64_t number, low, high;
    const char *help;
};

static const struct setting SETTINGS[] = {
    {"plant", SETTING_TEXT, "", 0, 0, 0, "name of the plant, as mail and reports print it"},
    {"time_zone", SETTING_TEXT, "UTC", 0, 0, 0, "IANA zone of the plant: decides days and weeks"},
    {"store", SETTING_TEXT, "", 0, 0, 0,
     "postgresql://…: the server that keeps the state; \"\": a file in the state's folder does"},
    {"contact_days", SETTING_NUMBER, NULL, 90, 1, 3650,
     "days after which a caller's contact data is purged (local law decides)"},
    {"settle_lot_at", SETTING_NUMBER, NULL, 80, 50, 100,
     "percent at which the likeliest lot of a half-read code is taken as the lot"},
    {"similar_days", SETTING_NUMBER, NULL, 7, 0, 90,
     "days within which the same person, lot and symptom are offered as one"},
    {"readers", SETTING_NUMBER, NULL, 3, 1, 64,
     "threads that answer questions and rank; files and batches have threads of their own"},
    {"queue", SETTING_NUMBER, NULL, 4096, 16, 1000000, "requests that may wait; more get 503"},
    {"backup/every_h", SETTING_NUMBER, NULL, 24, 0, 8760,
     "hours between backups into the state's folder backups; 0: none are made by the clock"},
    {"backup/keep", SETTING_NUMBER, NULL, 7, 1, 1000, "how many of them are kept"},
    {"keep/rankings_days", SETTING_NUMBER, NULL, 400, 0, 36500,
     "days a case's earlier rankings that were mailed are kept; 0: for ever, as in those below"},
    {"keep/mail_days", SETTING_NUMBER, NULL, 90, 0, 36500,
     "mail that has left; of mail about harm its text"},
    {"keep/replaced_days", SETTING_NUMBER, NULL, 400, 0, 36500,
     "what rows of records were before a later load changed them"},
    {"keep/loads_days", SETTING_NUMBER, NULL, 400, 0, 36500, "which files were loaded"},
    {"keep/photos_days", SETTING_NUMBER, NULL, 730, 0, 36500,
     "what was attached to complaints; it goes with the caller's contact data, if that goes first"},
    {"attach/file_mb", SETTING_NUMBER, NULL, 10, 1, 64,
     "megabytes (1048576 bytes) of one attached file"},
    {"attach/case_mb", SETTING_NUMBER, NULL, 100, 1, 100000,
     "of what is attached to one case, its complaints included"},
    {"attach/user_mb", SETTING_NUMBER, NULL, 500, 1, 100000,
     "of what one user attaches within a day"},
    {"disk_low_mb", SETTING_NUMBER, NULL, 500, 0, 1000000,
     "status asks for a hand when less than that, and room for one backup, is free"},
    {"limits/connections", SETTING_NUMBER, NULL, 256, 4, 60000,
     "open connections at the Unix socket, fewer if the process may not open as many files; a "
     "newcomer takes the place of the one idle longest"},
    {"limits/tcp_connections", SETTING_NUMBER, NULL, 256, 4, 60000, "the same at tcp/listen"},
    {"limits/peer_connections", SETTING_NUMBER, NULL, 64, 1, 60000,
     "of either, those of one local user or one address"},
    {"limits/peer_long", SETTING_NUMBER, NULL, 32, 1, 1000,
     "files, batches and other long work of one peer that may wait or be done at once"},
    {"limits/uploads", SETTING_NUMBER, NULL, 16, 1, 64, "files one user may be sending at once"},
    {"limits/upload_mb", SETTING_NUMBER, NULL, 4096, 1, 1048576,
     "megabytes (1048576 bytes) of such files, of one user together"},
    {"limits/hello_s", SETTING_NUMBER, NULL, 5, 1, 3600,
     "seconds a TCP client has from its connection to its first request's head, TLS included"},
    {"limits/header_bytes", SETTING_NUMBER, NULL, 16384, 1024, 1048576,
     "request line and headers together"},
    {"limits/body_bytes", SETTING_NUMBER, NULL, 1048576, 4096, 67108864, "one request's body"},
    {"limits/request_s", SETTING_NUMBER, NULL, 20, 1, 3600,
     "seconds a client has to send one request whole"},
    {"limits/idle_s", SETTING_NUMBER, NULL, 60, 1, 3600, "seconds an idle connection stays open"},
    {"limits/stop_s", SETTING_NUMBER, NULL, 20, 1, 600,
     "seconds a graceful stop waits for requests under way"},
    {"inbox/folder", SETTING_TEXT, "", 0, 0, 0,
     "folder whose files of records are taken once they are whole; empty: none"},
    {"inbox/maps", SETTING_TEXT, "", 0, 0, 0,
     "folder of maps NAME.json for files whose names begin with NAME"},
    {"inbox/steady_s", SETTING_NUMBER, NULL, 10, 0, 3600,
     "seconds a file's size and time stay as they are before it is taken"},
    {"inbox/keep_good", SETTING_NUMBER, NULL, 0, 0, 1,
     "1: the good rows of a file with refused ones are applied; 0: none of it is"},
    {"roles/desk", SETTING_LIST, "oddloaf-desk", 0, 0, 0, "Unix groups whose members are desk"},
    {"roles/qa", SETTING_LIST, "oddloaf-qa", 0, 0, 0, "Unix groups whose members are QA"},
    {"roles/manager", SETTING_LIST, "oddloaf-manager", 0, 0, 0,
     "Unix groups whose members are managers"},
    {"roles/admin", SETTING_LIST, "oddloaf-admin", 0, 0, 0,
     "Unix groups whose members may back up, restore and erase"},
    {"roles/metrics", SETTING_LIST, "oddloaf-metrics", 0, 0, 0,
     "Unix groups whose members may read /v1/metrics and nothing else"},
    {"tcp/listen", SETTING_TEXT, "", 0, 0, 0, "address:port for TLS clients; empty: none"},
    {"tcp/certificate", SETTING_TEXT, "", 0, 0, 0, "PEM file with the server's certificate chain"},
    {"tcp/key", SETTING_TEXT, "", 0, 0, 0, "PEM file with its key; refused if anybody may read it"},
    {"tcp/client_ca", SETTING_TEXT, "", 0, 0, 0,
     "PEM file: client certificates of this authority are accepted, their OU is the role"},
    {"tcp/tokens", SETTING_TEXT, "", 0, 0, 0,
     "JSON file {\"<sha256 of a bearer token, hex>\": \"role\"}, or {\"role\": \"desk\", \"name\": "
     "\"front "
     "desk\"} in place of the role; refused if anybody may read it"},
    {"mail/program", SETTING_TEXT, "/usr/sbin/sendmail", 0, 0, 0,
     "sendmail-compatible program, run without a shell; empty: no mail is sent, all of it waits"},
    {"mail/from", SETTING_TEXT, "oddloaf@localhost", 0, 0, 0, "sender, also of bounces"},
    {"mail/to", SETTING_LIST, NULL, 0, 0, 0, "QA: who gets a case's mail"},
    {"mail/urgent_to", SETTING_LIST, NULL, 0, 0, 0,
     "food-safety lead: who gets reports of harm at once; empty: as mail/to"},
    {"mail/digest_to", SETTING_LIST, NULL, 0, 0, 0, "who gets Monday's week; empty: as mail/to"},
    {"mail/records_to", SETTING_LIST, NULL, 0, 0, 0,
     "who keeps the records: gets what became of each file of the inbox; empty: nobody"},
    {"mail/cases_apart", SETTING_NUMBER, NULL, 10, 0, 1000,
     "cases of one file of complaints that are mailed one by one; more are told in one mail, the "
     "most urgent first, but for harm, which is always mailed at once"},
    {"mail/digest_hour", SETTING_NUMBER, NULL, 6, 0, 23, "local hour of Monday's digest"},
    {"mail/sheet_kb", SETTING_NUMBER, NULL, 300, 0, 10000,
     "largest case sheet that a case's mail carries; 0: none is attached"},
    {"mail/due_to", SETTING_LIST, NULL, 0, 0, 0,
     "who gets the day's list of overdue cases and due call-backs; empty: as mail/to"},
    {"mail/due_hour", SETTING_NUMBER, NULL, 7, 0, 23, "local hour of that list"},
    {"mail/timeout_s", SETTING_NUMBER, NULL, 60, 1, 3600,
     "seconds the program, or the hook's, may run"},
    {"mail/retry_s", SETTING_NUMBER, NULL, 60, 1, 86400,
     "seconds to the first retry; doubles, at most an hour (urgent mail: 5 minutes)"},
    {"mail/park_h", SETTING_NUMBER, NULL, 24, 1, 720,
     "hours of trying after which a mail is parked; urgent mail never is"},
    {"hook/program", SETTING_TEXT, "", 0, 0, 0,
     "a program of the plant's own: gets each event's JSON on standard input"},
};
enum { SETTING_COUNT = sizeof SETTINGS / sizeof SETTINGS[0] };

/* What a plant does not set is the company's. */
static const char OUTER[] = "the outer one";

/* Of a plant, members of "plants/NAME". */
static const struct setting PLANT_SETTINGS[] = {
    {"title", SETTING_TEXT, "", 0, 0, 0, "name of that plant for people; \"\": NAME"},
    {"time_zone", SETTING_TEXT, OUTER, 0, 0, 0,
     "IANA zone of that plant: decides its days, hours and weeks"},
    {"settle_lot_at", SETTING_NUMBER, OUTER, 80, 50, 100,
     "percent at which a lot of that plant is taken as the lot"},
    {"mail/to", SETTING_LIST, OUTER, 0, 0, 0, "QA of that plant: who gets mail of its cases"},
    {"mail/urgent_to", SETTING_LIST, OUTER, 0, 0, 0,
     "who gets reports of harm of that plant at once; empty: as its mail/to"},
    {"roles/desk", SETTING_LIST, NULL, 0, 0, 0,
     "Unix groups whose members are desk of that plant alone"},
    {"roles/qa", SETTING_LIST, NULL, 0, 0, 0,
     "Unix groups whose members are QA of that plant alone"},
    {"roles/manager", SETTING_LIST, NULL, 0, 0, 0,
     "Unix groups whose members are managers of that plant alone"},
};
enum { PLANT_SETTING_COUNT = sizeof PLANT_SETTINGS / sizeof PLANT_SETTINGS[0] };

struct table {
    const struct setting *rows;
    size_t count;
};
static const struct table COMPANY = {SETTINGS, SETTING_COUNT};
static const struct table PLANT = {PLANT_SETTINGS, PLANT_SETTING_COUNT};

/* A running daemon keeps these as it started with them; all others take effect at a reload. */
static const char *const NEEDS_RESTART[] = {"tcp/listen", "store"};
enum { NEEDS_RESTART_COUNT = sizeof NEEDS_RESTART / sizeof NEEDS_RESTART[0] };

struct config {
    json_t *values; /* key → value, every key of the table present */
    json_t *plants; /* name → the same of that plant, in the order of the file */
    struct doc doc; /* the file, for the places of faults found later */
    doc_report report;
    void *arg;
    struct error first; /* fault; code 0: none */
};

static const struct setting *find(const struct table *table, const char *key)
{
    for (size_t i = 0; i < table->count; i++) {
        if (strcmp(table->rows[i].key, key) == 0)
            return &table->rows[i];
    }
    return NULL;
}

static json_t *default_of(const struct setting *s)
{
    switch (s->type) {
    case SETTING_TEXT:
        return json_string(s->text);
    case SETTING_NUMBER:
        return json_integer(s->number);
    case SETTING_LIST:
        break;
    }
    return s->text ? json_pack("[s]", s->text) : json_array();
}

/* ---- reading ---- */

/* Faults name a setting as the manual does: without the first slash. */
static void on_fault(void *arg, const struct error *fault)
{
    struct config *config = arg;
    struct error named = *fault;
    if (fault->field[0] == '/')
        error_field(&named, fault->field + 1, NULL);
    if (!config->first.code)
        config->first = named;
    if (config->report)
        config->report(config->arg, &named);
}

/* The company's settings or one plant's. */
struct taking {
    struct config *config;
    const struct table *table;
    json_t *values;
};

static bool has_control(const char *text)
{
    char *tamed = text_tame(text, "");
    free(tamed);
    return tamed != NULL;
}

/* It stands in heads of mails, on pages and in logs. */
static bool is_tame(const struct doc_place *place)
{
    size_t i;
    const json_t *item;
    const char *text = json_string_value(place->value);
    bool tame = !text || !has_control(text);
    json_array_foreach(place->value, i, item) tame = tame && !has_control(json_string_value(item));
    if (!tame)
        doc_fault(place, "holds a control character, an end of line or a mark that turns the "
                         "reading direction");
    return tame;
}

static void take(const struct taking *taking, const struct doc_place *place, const char *key)
{
    const struct setting *s = find(taking->table, key);
    union {
        const char *text;
        const json_t *list;
        int number;
    } unused;
    if (!s) {
        struct error why = {0};
        error_set(&why, ERROR_INVALID, "is not a setting%s",
                  taking->table == &PLANT ? " of a plant" : "");
        error_hint(&why, "oddloafd --help-config lists the settings");
        doc_fault_as(place, &why);
        return;
    }
    const struct doc_row rows[] = {
        [SETTING_TEXT] = {.kind = DOC_TEXT, .size = sizeof(char *), .empty = true},
        [SETTING_NUMBER] = {.kind = DOC_WHOLE,
                            .size = sizeof(int),
                            .low = (double)s->low,
                            .high = (double)s->high},
        [SETTING_LIST] = {.kind = DOC_TEXTS},
    };
    if (doc_value(place, &rows[s->type], &unused) && is_tame(place))
        json_object_set(taking->values, key, (json_t *)(uintptr_t)place->value);
}

static void take_member(const struct doc_place *place, void *arg)
{
    const struct taking *taking = arg;
    const char *name;
    json_t *value;
    if (!json_is_object(place->value)) {
        take(taking, place, place->name);
        return;
    }
    json_object_foreach((json_t *)(uintptr_t)place->value, name, value)
    {
        struct doc_place member = doc_member(place, name);
        char key[128];
        snprintf(key, sizeof key, "%.60s/%.60s", place->name, name);
        take(taking, &member, key);
    }
}

/* Blanks around it, of any kind, fold to blanks between it and what stands there. */
static bool has_blank_around(const char *name)
{
    char between[LENGTH_CODE + 3], folded[2 * LENGTH_CODE];
    snprintf(between, sizeof between, "|%s|", name);
    text_fold(between, folded, sizeof folded);
    size_t length = strlen(folded);
    return length < 3 || folded[1] == ' ' || folded[length - 2] == ' ';
}

/* It stands in paths of settings, behind an '@' in roles, and in a lot's column. */
static bool is_plant_name(const char *name)
{
    return strlen(name) <= LENGTH_CODE && !strpbrk(name, "/~@,") && !has_control(name) &&
           !has_blank_around(name);
}

/* One that people, and complaints that name it, cannot tell apart from this one. */
static const char *same_plant(const struct config *config, const char *name)
{
    char own[2 * LENGTH_CODE], folded[2 * LENGTH_CODE];
    const char *other;
    json_t *values;
    text_fold(name, own, sizeof own);
    json_object_foreach(config->plants, other,
                        values) if (strcmp(text_fold(other, folded, sizeof folded), own) ==
                                    0) return other;
    return NULL;
}

static void take_plant(const struct doc_place *place, void *arg)
{
    static const struct doc_row MEMBERS = {.kind = DOC_MAP, .each = take_member};
    struct config *config = arg;
    struct taking taking = {config, &PLANT, json_object()};
    if (!is_plant_name(place->name))
        doc_fault(place,
                  "a plant is named as its lots name it, in at most %d bytes, without '/', "
                  "'~', '@', ',' and control characters, and with no blank around it",
                  LENGTH_CODE);
    else if (same_plant(config, place->name))
        doc_fault(place, "reads like the plant %s: case, accents and blanks tell no two apart",
                  same_plant(config, place->name));
    else
        doc_value(place, &MEMBERS, &taking);
    json_object_set_new(config->plants, place->name, taking.values);
}

static void take_top(const struct doc_place *place, void *arg)
{
    static const struct doc_row PLANTS = {
        .kind = DOC_MAP, .each = take_plant, .low = 1, .high = CONFIG_PLANTS};
    struct config *config = arg;
    struct taking taking = {config, &COMPANY, config->values};
    if (strcmp(place->name, "plants") == 0)
        doc_value(place, &PLANTS, config);
    else
        take_member(place, &taking);
}

/* What a plant does not set: the company's, nobody, its own name. */
static void fill_plants(struct config *config)
{
    const char *name;
    json_t *values;
    json_object_foreach(config->plants, name, values)
    {
        for (size_t i = 0; i < PLANT_SETTING_COUNT; i++) {
            const struct setting *s = &PLANT_SETTINGS[i];
            if (json_object_get(values, s->key))
                continue;
            if (s->text == OUTER)
                json_object_set(values, s->key, json_object_get(config->values, s->key));
            else
                json_object_set_new(values, s->key, default_of(s));
        }
        if (!*json_string_value(json_object_get(values, "title")))
            json_object_set_new(values, "title", json_string(name));
    }
}

static int read_file(struct config *config, const char *path)
{
    static const struct doc_row SETTINGS_OF_FILE = {.kind = DOC_MAP, .each = take_top};
    if (doc_open(&config->doc, path, false) == 0) {
        struct doc_place top = doc_top(&config->doc);
        doc_value(&top, &SETTINGS_OF_FILE, config);
    }
    fill_plants(config);
    return config->first.code;
}

int config_load(const char *path, doc_report report, void *arg, struct config **ret,
                struct error *err)
{
    struct config *config = xcalloc(1, sizeof *config);
    *config = (struct config){
        .values = json_object(), .plants = json_object(), .report = report, .arg = arg};
    config->doc.report = on_fault;
    config->doc.arg = config;
    for (size_t i = 0; i < SETTING_COUNT; i++)
        json_object_set_new(config->values, SETTINGS[i].key, default_of(&SETTINGS[i]));
    if (path && read_file(config, path)) {
        struct error first = config->first;
        config_free(config);
        if (err && !err->code)
            *err = first;
        return first.code;
    }
    *ret = config;
    return 0;
}

void config_keep(struct config *fresh, const struct config *in_force, json_t **ret_keys)
{
    *ret_keys = json_array();
    for (size_t i = 0; i < NEEDS_RESTART_COUNT; i++) {
        json_t *value = json_object_get(in_force->values, NEEDS_RESTART[i]);
        if (json_equal(value, json_object_get(fresh->values, NEEDS_RESTART[i])))
            continue;
        json_object_set(fresh->values, NEEDS_RESTART[i], value);
        json_array_append_new(*ret_keys, json_string(NEEDS_RESTART[i]));
    }
}

/* Whether the file itself says something of the setting: no member's name has a slash in it. */
static bool is_written(const struct config *config, const char *key)
{
    char name[128];
    const json_t *at = config->doc.root;
    for (const char *rest = key; at && *rest;) {
        size_t length = strcspn(rest, "/");
        snprintf(name, sizeof name, "%.*s", (int)length, rest);
        at = json_object_get(at, name);
        rest += length + (rest[length] == '/');
    }
    return at != NULL;
}

void config_locate(const struct config *config, struct error *fault)
{
    char pointer[128];
    long line = 0, column = 0;
    if (!config->doc.source || fault->source[0])
        return;
    snprintf(pointer, sizeof pointer, "/%s", fault->field);
    if (is_written(config, fault->field))
        jsonx_locate(config->doc.text.data, config->doc.text.length, pointer, &line, &column);
    error_at(fault, config->doc.source, line, column);
}

void config_free(struct config *config)
{
    if (!config)
        return;
    json_decref(config->values);
    json_decref(config->plants);
    doc_close(&config->doc);
    free(config);
}

const char *config_text(const struct config *config, const char *key)
{
    return json_string_value(json_object_get(config->values, key));
}

int64_t config_number(const struct config *config, const char *key)
{
    return json_integer_value(json_object_get(config->values, key));
}

const json_t *config_list(const struct config *config, const char *key)
{
    return json_object_get(config->values, key);
}

/* ---- plants ---- */

const json_t *config_plants(const struct config *config)
{
    return config->plants;
}

int config_plant_count(const struct config *config)
{
    return (int)json_object_size(config->plants);
}

const char *config_plant_name(const struct config *config, int plant)
{
    void *at = json_object_iter(config->plants);
    for (int i = 0; i < plant && at; i++)
        at = json_object_iter_next(config->plants, at);
    return at ? json_object_iter_key(at) : NULL;
}

int config_plant_named(const struct config *config, const char *name)
{
    int at = 0;
    const char *other;
    json_t *values;
    json_object_foreach(config->plants, other, values)
    {
        if (strcmp(other, name) == 0)
            return at;
        at++;
    }
    return CONFIG_COMPANY;
}

static const json_t *value_of(const struct config *config, int plant, const char *key)
{
    const char *name = plant < 0 ? NULL : config_plant_name(config, plant);
    return json_object_get(name ? json_object_get(config->plants, name) : config->values, key);
}

const char *config_text_of(const struct config *config, int plant, const char *key)
{
    return json_string_value(value_of(config, plant, key));
}

int64_t config_number_of(const struct config *config, int plant, const char *key)
{
    return json_integer_value(value_of(config, plant, key));
}

const json_t *config_list_of(const struct config *config, int plant, const char *key)
{
    return value_of(config, plant, key);
}

static bool needs_restart(const char *key)
{
    size_t i = 0;
    while (i < NEEDS_RESTART_COUNT && strcmp(NEEDS_RESTART[i], key) != 0)
        i++;
    return i < NEEDS_RESTART_COUNT;
}

static void describe(const struct table *table, const char *before, FILE *out)
{
    for (size_t i = 0; i < table->count; i++) {
        const struct setting *s = &table->rows[i];
        json_t *value = s->text == OUTER ? json_string(OUTER) : default_of(s);
        char *shown = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT), key[64];
        snprintf(key, sizeof key, "%s%s", before, s->key);
        fprintf(out, "%-22s %-22s %s", key, shown, s->help);
        if (s->type == SETTING_NUMBER)
            fprintf(out, " (%lld to %lld)", (long long)s->low, (long long)s->high);
        fputs(needs_restart(key) ? " (a change needs a restart)\n" : "\n", out);
        free(shown);
        json_decref(value);
    }
}

void config_describe(FILE *out)
{
    describe(&COMPANY, "", out);
    describe(&PLANT, "plants/NAME/", out);
}
