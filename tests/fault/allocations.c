/* No memory, at each allocation of what reads untrusted input: the program then says so and ends
 * (xmalloc()), or refuses with a reason; it never answers otherwise than with enough of it, and
 * leaks nothing.
 *
 * usage: allocations [STRIDE]      every STRIDEth allocation of each reader; 1 all, as by hand
 *
 * The allocator is ours, so that what the libraries ask for fails, too. Each failure in a process
 * of its own. */
#include "../no_plant.h"
#include "../rules/load_catalogue.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "deliver/complaint_rows.h"
#include "form/form.h"
#include "intake/complaint_form.h"
#include "intake/harm_words.h"
#include "intake/lexicon.h"
#include "lots/gs1.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "records/import.h"
#include "rules/catalogue.h"
#include "rules/rules.h"
#include "serve/config.h"
#include "serve/query.h"
#include "tables/column_map.h"
#include <dlfcn.h>
#include <errno.h>
#include <event2/event.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define RULES ODDLOAF_SOURCE_DIR "/rules"
#define SAID_ENOUGH "out of memory"
enum { OTHERWISE = 3, SAYS_NOTHING = 4, LEAKS = 5, PIPE_BYTES = 4096 };

/* ---- the allocator ---- */

static long allocations, failing; /* 0: none fails */

#ifdef __SANITIZE_ADDRESS__
#define BELOW(name) __interceptor_##name
int __lsan_do_recoverable_leak_check(void);
#else
#define BELOW(name) __libc_##name
static int __lsan_do_recoverable_leak_check(void)
{
    return 0;
}
#endif
void *BELOW(malloc)(size_t size);
void *BELOW(calloc)(size_t count, size_t size);
void *BELOW(realloc)(void *p, size_t size);

static bool fails(void)
{
    if (++allocations != failing)
        return false;
    errno = ENOMEM;
    return true;
}

void *malloc(size_t size)
{
    return fails() ? NULL : BELOW(malloc)(size);
}

void *calloc(size_t count, size_t size)
{
    return fails() ? NULL : BELOW(calloc)(count, size);
}

void *realloc(void *p, size_t size)
{
    return fails() ? NULL : BELOW(realloc)(p, size);
}

char *strndup(const char *s, size_t length)
{
    length = strnlen(s, length);
    char *copy = malloc(length + 1);
    if (copy) {
        memcpy(copy, s, length);
        copy[length] = '\0';
    }
    return copy;
}

char *strdup(const char *s)
{
    return strndup(s, strlen(s));
}

/* ---- what reads ---- */

static struct lot_matcher *matcher;
static struct lexicon *lexicon;
static struct harm_words *harm;
static struct catalogue *catalogue;

static void add_refused(void *arg, const struct error *why)
{
    text_appendf(arg, "%ld %s %s\n", why->line, why->field, why->text);
}

static void add_fault(void *arg, const struct error *fault)
{
    add_refused(arg, fault);
}

static int any_lot(void *arg, const char *lot, struct refs_lot *ret, struct error *err)
{
    (void)arg;
    (void)err;
    *ret = (struct refs_lot){lot[0] == 'L', INT64_C(1795000000000)};
    return 0;
}

static int any_product(void *arg, const char *product, int64_t *ret_id, struct error *err)
{
    (void)arg;
    (void)err;
    *ret_id = product[0] == 'W';
    return 0;
}

static int import(enum import_format format, const char *bytes, struct text_buffer *told,
                  struct error *err)
{
    const struct refs_source refs = {any_lot, any_product, NULL, no_plant};
    char path[64];
    struct import *import = NULL;
    snprintf(path, sizeof path, "/dev/shm/allocations-%d.rows", getpid());
    struct import_options options = {RECORD_READINGS, format,      "in", path,
                                     catalogue,       add_refused, told, false};
    int rc = import_new(&options, &import, err);
    if (!rc)
        rc = import_feed(import, &refs, bytes, strlen(bytes), err);
    if (!rc)
        rc = import_finish(import, &refs, err);
    if (!rc)
        text_appendf(told, "%lld %lld", (long long)import_counts(import).accepted,
                     (long long)import_counts(import).refused);
    import_free(import);
    unlink(path);
    return rc;
}

static int read_csv(struct text_buffer *told, struct error *err)
{
    static const char FILE_[] =
        "lot,quantity,value [degF],at,note\r\n"
        "L1,core_at_pack_c,97.2,2026-11-14T05:00:00-05:00,\"said \"\"warm\"\"\"\r\n"
        "L1,core_at_pack_c,9x,2026-11-14T05:00:00-05:00,\"two\nlines\"\r\n"
        "none,core_at_pack_c,97,2026-11-14T06:00:00-05:00,\r\n";
    return import(IMPORT_CSV, FILE_, told, err);
}

static int read_ndjson(struct text_buffer *told, struct error *err)
{
    static const char FILE_[] = "{\"lot\":\"L1\",\"quantity\":\"crumb_ph\",\"value\":5.3,\"at\":"
                                "\"2026-11-14T05:00:00-05:00\"}\n"
                                "{\"lot\":\"L1\",\"quantity\":\"crumb_ph\",\"value\":\"x\"}\n";
    return import(IMPORT_NDJSON, FILE_, told, err);
}

static int read_json(struct text_buffer *told, struct error *err)
{
    static const char TEXT[] =
        "{\"a\":[1,2.5,{\"b\":\"\\u00e4\\n\"},null,true],\"c\":{\"d\":{\"e\":[[]]}}}";
    json_t *value = NULL;
    int rc = jsonx_parse(TEXT, sizeof TEXT - 1, &value, err);
    char *dumped = rc ? NULL : jsonx_dump(value);
    text_append(told, dumped ? dumped : "");
    free(dumped);
    json_decref(value);
    return rc;
}

static int read_lot(struct text_buffer *told, struct error *err)
{
    static const char *const CODES[] = {"L2 6321 B0412", "lot 2 6321 b 04l2 best by 11/27",
                                        "(01)00012345600012(10)A1"};
    (void)err;
    for (size_t i = 0; i < sizeof CODES / sizeof CODES[0]; i++) {
        struct lot_parsed parsed;
        match_understand(matcher, CODES[i], NULL, INT64_C(1795190400000), NULL, &parsed);
        text_appendf(told, "%s|%s|%d\n", parsed.text, parsed.code, parsed.minute);
    }
    return 0;
}

static json_t *complaint(void)
{
    json_error_t why;
    return json_loads(
        "{\"id\":\"0199a1b2-0000-7000-8000-000000000001\",\"channel\":\"phone\",\"symptom\":"
        "\"mold\","
        "\"received_at\":\"2026-11-20T09:14:00-05:00\",\"lot_text\":\"L2 6321 B0412\",\"packs\":2,"
        "\"found_on\":\"2026-11-19\",\"observed\":{\"colour\":\"blue-green\",\"kept\":\"counter\"},"
        "\"contact\":{\"name\":\"Ada Marsh\",\"phone\":\"555-0101\"},\"shelf\":\"unknown\","
        "\"note\":\"it smelled sour and my son was sick from it\"}",
        0, &why);
}

static int read_note(struct text_buffer *told, struct error *err)
{
    json_t *given = complaint(), *taken = NULL;
    json_t *filled = lexicon_fill(lexicon, given, 20782, &taken);
    char *texts[] = {jsonx_dump(filled), jsonx_dump(taken)};
    struct harm_hearing hearing;
    harm_words_hear(harm, json_string_value(json_object_get(given, "note")), &hearing);
    (void)err;
    text_appendf(told, "%s\n%s\n%d", texts[0], texts[1], hearing.count);
    free(texts[0]);
    free(texts[1]);
    harm_words_hearing_done(&hearing);
    json_decref(given);
    json_decref(filled);
    json_decref(taken);
    return 0;
}

static int read_complaint(struct text_buffer *told, struct error *err)
{
    json_t *given = complaint();
    struct complaint_form *form = NULL;
    const struct form_options options = {.now_ms = INT64_C(1795300000000)};
    int rc = complaint_form_read(given, &options, &form, err);
    if (!rc) {
        char *texts[] = {jsonx_dump(form->body), jsonx_dump(form->contact),
                         jsonx_dump(form->ignored)};
        for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
            text_append(told, texts[i]);
            free(texts[i]);
        }
        text_append(told, form->contact_fold);
    }
    complaint_form_free(form);
    json_decref(given);
    return rc;
}

static int read_typed(struct text_buffer *told, struct error *err)
{
    static const char *const TYPED[][2] = {{"lot_text", "L2 6321 B0412"},
                                           {"found_on", "2 days ago"},
                                           {"observed/odor", "sour, musty"},
                                           {"packs", "2"}};
    const struct form_day day = {.today = 20777};
    json_t *made = json_object();
    int rc = 0;
    for (size_t i = 0; i < sizeof TYPED / sizeof TYPED[0] && !rc; i++)
        rc = form_set(made, fields_named(TYPED[i][0]), TYPED[i][1], &day, err);
    char *text = jsonx_dump(made);
    text_append(told, text ? text : "");
    free(text);
    json_decref(made);
    return rc;
}

static int add_row(void *arg, const struct row *row)
{
    char *text = jsonx_dump(row->complaint);
    text_appendf(arg, "%ld %s %s\n", row->line, text, row->refused ? row->refused->text : "");
    free(text);
    return 0;
}

static int read_list(struct text_buffer *told, struct error *err)
{
    struct source *source = NULL;
    struct column_map *map = column_map_new();
    const struct form_day day = {.today = 20777, .full = true};
    struct complaint_rows_seen seen = {0};
    int rc = column_map_add(map, ODDLOAF_SOURCE_DIR "/data/retailer/map.json", err);
    if (!rc)
        rc = source_open(ODDLOAF_SOURCE_DIR "/data/retailer/complaints.csv", &source, err);
    if (!rc)
        rc = complaint_rows_csv(source, &(struct complaint_rows_meaning){map, &day}, add_row, told,
                                &seen, err);
    text_append(told, seen.unused ? seen.unused : "");
    free(seen.unused);
    source_close(source);
    column_map_free(map);
    return rc;
}

static int read_query(struct text_buffer *told, struct error *err)
{
    struct query query;
    query_read("since=2026%2D11%2D01&line=L+1&after=", &query);
    int rc = query_check(&query, "since line after", told ? NULL : err);
    for (size_t i = 0; i < query.count; i++)
        text_appendf(told, "%s=%s;", query.pairs[i].name, query.pairs[i].value);
    text_appendf(told, "%d", rc);
    query_clear(&query);
    return 0;
}

static int read_zone(struct text_buffer *told, struct error *err)
{
    struct tz *tz = NULL;
    char text[40];
    int rc = tz_open("America/New_York", &tz, err);
    text_append(told, rc ? "" : when_format(tz, INT64_C(1795190400000), text));
    tz_close(tz);
    return rc;
}

static int read_lot_rules(struct text_buffer *told, struct error *err)
{
    struct lot_matcher *read = NULL;
    int rc = lot_rules_load(RULES "/lots.json", NULL, NULL, &read, err);
    text_append(told, rc ? "" : "read");
    lot_rules_free(read);
    return rc;
}

static int read_config(struct text_buffer *told, struct error *err)
{
    struct config *config = NULL;
    int rc =
        config_load(ODDLOAF_SOURCE_DIR "/tests/fault/settings.json", add_fault, told, &config, err);
    text_append(told, rc ? "" : config_text(config, "plant"));
    config_free(config);
    return rc;
}

static int read_lexicon(struct text_buffer *told, struct error *err)
{
    struct lexicon *read = NULL;
    int rc = lexicon_load(RULES "/lexicon", NULL, NULL, &read, err);
    text_append(told, rc ? "" : "read");
    lexicon_free(read);
    return rc;
}

static int read_rules(struct text_buffer *told, struct error *err)
{
    struct rules *rules = NULL;
    int rc = rules_load(RULES, NULL, NULL, &rules, err);
    text_append(told, rc ? "" : rules->hash);
    rules_free(rules);
    return rc;
}

static const struct reader {
    const char *name;
    int (*read)(struct text_buffer *told, struct error *err);
    long stride; /* at least: what has tens of thousands */
} READERS[] = {
    {"csv", read_csv, 1},
    {"ndjson", read_ndjson, 1},
    {"json", read_json, 1},
    {"lot code", read_lot, 1},
    {"note", read_note, 1},
    {"complaint", read_complaint, 1},
    {"typed", read_typed, 1},
    {"list", read_list, 1},
    {"query", read_query, 1},
    {"time zone", read_zone, 1},
    {"lot rules", read_lot_rules, 1},
    {"settings", read_config, 1},
    {"lexicon", read_lexicon, 2500},
    {"rules", read_rules, 3000},
};

/* ---- one after the other ---- */

static void read_failing(const struct reader *reader, long at, const char *usual)
{
    struct text_buffer told = {0};
    struct error err = {0};
    allocations = 0;
    failing = at;
    int rc = reader->read(&told, &err);
    failing = 0;
    int code = rc                              ? (err.code && err.text[0] ? 0 : SAYS_NOTHING)
               : strcmp(told.data, usual) == 0 ? 0
                                               : OTHERWISE;
    if (code == OTHERWISE)
        fprintf(stderr, "%s\n", told.data);
    text_buffer_free(&told);
    _exit(code ? code : __lsan_do_recoverable_leak_check() ? LEAKS : 0);
}

/* How the child ended; what it said. */
static int run(const struct reader *reader, long at, const char *usual, char said[PIPE_BYTES])
{
    int ends[2], status = 0;
    if (pipe(ends))
        abort();
    pid_t child = fork();
    if (child == 0) {
        dup2(ends[1], STDERR_FILENO);
        read_failing(reader, at, usual);
    }
    close(ends[1]);
    size_t length = 0;
    for (ssize_t n = 1; n > 0 && length<PIPE_BYTES - 1; length += n> 0 ? (size_t)n : 0)
        n = read(ends[0], said + length, PIPE_BYTES - 1 - length);
    said[length] = '\0';
    close(ends[0]);
    waitpid(child, &status, 0);
    return status;
}

static bool is_fine(int status, const char *said)
{
    if (WIFSIGNALED(status))
        return WTERMSIG(status) == SIGABRT && strcmp(said, SAID_ENOUGH "\n") == 0;
    return WEXITSTATUS(status) == 0;
}

static int try_reader(const struct reader *reader, long stride)
{
    struct text_buffer usual = {0};
    struct error err = {0};
    char said[PIPE_BYTES];
    int ended = 0, bad = 0;
    allocations = 0;
    if (reader->read(&usual, &err)) {
        fprintf(stderr, "%s: refused with enough memory: %s\n", reader->name, err.text);
        return 1;
    }
    long count = allocations, tried = 0;
    stride = stride > 1 && stride < reader->stride ? reader->stride : stride;
    for (long at = 1; at <= count; at += stride, tried++) {
        int status = run(reader, at, usual.data, said);
        ended += WIFSIGNALED(status);
        if (!is_fine(status, said) && bad++ < 5)
            fprintf(stderr, "%s: allocation %ld of %ld: %s %d: %s\n", reader->name, at, count,
                    WIFSIGNALED(status) ? "signal" : "exit",
                    WIFSIGNALED(status) ? WTERMSIG(status) : WEXITSTATUS(status), said);
    }
    printf("%-10s %ld of %ld tried, %d ended the program\n", reader->name, tried, count, ended);
    fflush(stdout);
    text_buffer_free(&usual);
    return bad;
}

int main(int argc, char **argv)
{
    const long stride = argc > 1 ? strtol(argv[1], NULL, 10) : 1;
    int bad = 0;
    jsonx_start();
    event_set_mem_functions(xmalloc, xrealloc, free);
    if (lot_rules_load(RULES "/lots.json", NULL, NULL, &matcher, NULL) ||
        lexicon_load(RULES "/lexicon", NULL, NULL, &lexicon, NULL) ||
        harm_words_load(RULES "/lexicon/harm", NULL, NULL, NULL, &harm, NULL) ||
        load_catalogue(RULES, NULL, NULL, &catalogue, NULL))
        abort();
    for (size_t i = 0; i < sizeof READERS / sizeof READERS[0]; i++)
        bad += try_reader(&READERS[i], stride);
    lot_rules_free(matcher);
    lexicon_free(lexicon);
    harm_words_free(harm);
    catalogue_free(catalogue);
    return bad ? 1 : 0;
}
