#include "base/jsonx.h"
#include "base/uuid.h"
#include "base/when.h"
#include "commands/command.h"
#include "deliver/source.h"
#include "show/pick.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PART_BYTES (512u << 10)
#define PART_S 900L       /* the last part answers when all rows are on disk */
#define REFUSED_SHOWN 20  /* on a terminal; --refused FILE takes all */
#define REFUSED_JSON 1000 /* in the JSON document */
#define PROGRESS_MS 500

#define KINDS "products targets lots mixes uses readings plantlog dispatch"

static const struct option_row options[] = {
    {"keep-good", NULL, "apply the good rows of a file that has refused ones"},
    {"refused", "FILE", "write refused rows there, one JSON object a line"},
    {"dry-run", NULL, "check every row, change nothing"},
    {0}};

struct load {
    struct client *c;
    const char *kind;
    bool keep_good, dry_run;
    FILE *refused_file;
    /* sums over the files whose last part was answered */
    int64_t read, new, changed, same, refused;
    int answered;
    bool applied;
    bool unknown;         /* what became of some file: its last part was not answered */
    int shown;            /* refusals on the terminal */
    json_t *refused_list; /* the first REFUSED_JSON */
    int64_t shown_ms;     /* when the progress was last written */
    bool progress;        /* a progress line stands on the terminal */
};

/* ---- progress ---- */

static void clear_progress(struct load *l)
{
    if (l->progress)
        fputs("\r\033[K", stderr);
    l->progress = false;
}

static void show_progress(struct load *l, const struct source *s, int64_t bytes, int64_t rows)
{
    char mib[VIEW_NUMBER];
    char count[VIEW_NUMBER];
    const char *term = getenv("TERM");
    int64_t now = clock_monotonic_ms();
    if (!isatty(STDERR_FILENO) || !term || strcmp(term, "dumb") == 0 ||
        now - l->shown_ms < PROGRESS_MS)
        return;
    clear_progress(l);
    l->shown_ms = now;
    l->progress = true;
    int64_t size = source_size(s);
    struct view v;
    view_init(&v, stderr);
    struct text_buffer line = {0};
    text_appendf(&line, "%.40s: %s MiB", source_name(s), view_number((double)(bytes >> 20), mib));
    if (size > 0)
        text_appendf(&line, " (%d %%)", (int)(bytes * 100 / size));
    text_appendf(&line, ", %s rows", view_number((double)rows, count));
    view_put(&v, line.data, line.length);
    fflush(stderr);
    text_buffer_free(&line);
}

/* ---- refused rows ---- */

static void say_refused(struct load *l, const struct source *s, const json_t *row)
{
    struct error err = {.code = ERROR_INVALID};
    char text[1024];
    const json_t *column = json_object_get(row, "column");
    char *value = pick_shown(row, "value");
    error_at(&err, pick_text(row, "source", source_name(s)), (long)pick_int(row, "line", 0), 0);
    error_field(&err,
                json_is_string(column) ? json_string_value(column) : pick_text(row, "field", ""),
                value);
    text_clip(pick_text(row, "reason", "refused"), err.text, sizeof err.text);
    clear_progress(l);
    client_say(l->c, "refused: %s", error_format(&err, text, sizeof text));
    free(value);
}

static void take_refused(struct load *l, const struct source *s, const json_t *row)
{
    if (l->refused_file) {
        char *text = jsonx_dump(row);
        fprintf(l->refused_file, "%s\n", text);
        free(text);
    }
    if (json_array_size(l->refused_list) < REFUSED_JSON)
        json_array_append(l->refused_list, (json_t *)row);
    if (l->shown < REFUSED_SHOWN)
        say_refused(l, s, row);
    else if (l->shown == REFUSED_SHOWN)
        client_say(l->c, "further refused rows are %s",
                   l->refused_file ? "in the --refused file"
                                   : "not shown; --refused FILE takes them all");
    l->shown += l->shown <= REFUSED_SHOWN;
}

/* One page of those that did not fit the answer. *at moves on by what was read, not at the end. */
static int take_page(struct load *l, const struct source *s, const char *rest, int64_t *at)
{
    struct error err = {0};
    struct reply reply = {0};
    struct text_buffer path = {0};
    char from[24];
    snprintf(from, sizeof from, "%lld", (long long)*at);
    text_append(&path, rest);
    client_path_query(&path, "from", from);
    struct request request = {.method = "GET", .path = path.data};
    int rc = transport_call(l->c->transport, &request, &reply, &err);
    if (rc)
        rc = client_fail(l->c, &err);
    else if (reply.status != 200)
        rc = client_problem(l->c, &reply);
    for (size_t i = 0; !rc && i < reply.body.length;) {
        json_t *row = NULL;
        const char *line = reply.body.data + i;
        size_t length = strcspn(line, "\n");
        if (jsonx_parse(line, length, &row, &err))
            rc = client_fail(l->c, &err);
        else
            take_refused(l, s, row);
        json_decref(row);
        i += length + 1;
    }
    *at += (int64_t)reply.body.length;
    transport_reply_free(&reply);
    text_buffer_free(&path);
    return rc;
}

/* Of one answer: the first refusals are in it; the others are fetched where somebody wants them. */
static int take_all_refused(struct load *l, const struct source *s, const json_t *answer)
{
    size_t i;
    json_t *row;
    const char *rest = pick_text(answer, "rest", NULL);
    int64_t at = 0, before;
    int rc = 0;
    json_array_foreach(json_object_get(answer, "refused"), i, row) take_refused(l, s, row);
    if (!rest || !l->refused_file)
        return 0;
    do {
        before = at;
        rc = take_page(l, s, rest, &at);
    } while (!rc && at > before);
    return rc;
}

/* ---- one file ---- */

struct upload {
    char id[UUID_TEXT];
    struct source *source;
    bool ndjson;
    long part;
    int64_t bytes;
};

static void part_path(const struct load *l, const struct upload *u, bool last,
                      struct text_buffer *path)
{
    char part[24];
    snprintf(part, sizeof part, "%ld", u->part);
    text_append(path, "/v1/records/");
    client_path_word(path, l->kind);
    client_path_query(path, "source", source_name(u->source));
    client_path_query(path, "load", u->id);
    client_path_query(path, "part", part);
    client_path_query(path, "last", last ? "1" : "0");
    client_path_query(path, "keep_good", l->keep_good ? "1" : "0");
    client_path_query(path, "dry_run", l->dry_run ? "1" : "0");
}

static void take_sums(struct load *l, const json_t *answer)
{
    l->read += pick_int(answer, "read", 0);
    l->new += pick_int(answer, "new", 0);
    l->changed += pick_int(answer, "changed", 0);
    l->same += pick_int(answer, "same", 0);
    l->refused += pick_int(answer, "refused_total", 0);
    l->answered++;
    l->applied = l->applied && pick_bool(answer, "applied", true);
}

static int send_part(struct load *l, struct upload *u, const char *bytes, size_t length, bool last)
{
    struct error err = {0};
    struct reply reply = {0};
    struct text_buffer path = {0};
    part_path(l, u, last, &path);
    struct request request = {.method = "POST",
                              .path = path.data,
                              .type = u->ndjson ? "application/x-ndjson" : "text/csv",
                              .body = bytes,
                              .length = length,
                              .timeout_s = PART_S};
    json_t *answer = NULL;
    int rc = transport_call(l->c->transport, &request, &reply, &err);
    if (rc) {
        clear_progress(l);
        error_hint(&err,
                   "nothing of %s counts unless its last part was taken; load it again, the "
                   "same rows change nothing",
                   source_name(u->source));
        rc = client_fail(l->c, &err);
    } else if (reply.status < 200 || reply.status > 299) {
        clear_progress(l);
        rc = client_problem(l->c, &reply);
    } else if (jsonx_parse(reply.body.data ? reply.body.data : "", reply.body.length, &answer,
                           &err)) {
        rc = client_fail(l->c, &err);
    } else {
        if (last)
            take_sums(l, answer);
        rc = take_all_refused(l, u->source, answer);
        u->bytes += (int64_t)length;
        show_progress(l, u->source, u->bytes, pick_int(answer, "read", 0));
    }
    json_decref(answer);
    transport_reply_free(&reply);
    text_buffer_free(&path);
    return rc;
}

/* Reads one part ahead, so that the last one can say that it is. */
static int send_file(struct load *l, struct upload *u, char *part, char *next)
{
    struct error err = {0};
    size_t length = 0;
    size_t next_length = 0;
    if (source_read(u->source, part, PART_BYTES, &length, &err))
        return client_fail(l->c, &err);
    for (;;) {
        next_length = 0;
        if (length == PART_BYTES && source_read(u->source, next, PART_BYTES, &next_length, &err))
            return client_fail(l->c, &err);
        bool last = next_length == 0;
        int rc = send_part(l, u, part, length, last);
        if (rc || last)
            return rc;
        u->part++;
        char *swap = part;
        part = next;
        next = swap;
        length = next_length;
    }
}

static int load_file(struct load *l, const char *path)
{
    struct error err = {0};
    struct upload u = {0};
    struct clock clock = clock_system();
    if (source_open(path, &u.source, &err) != 0) {
        client_fail(l->c, &err);
        return err.code == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
    }
    uuid_v7(clock_now_ms(&clock), u.id);
    u.ndjson = source_is_ndjson(u.source);
    char *part = xmalloc(PART_BYTES);
    char *next = xmalloc(PART_BYTES);
    int answered = l->answered;
    int rc = send_file(l, &u, part, next);
    l->unknown |= l->answered == answered;
    clear_progress(l);
    free(part);
    free(next);
    source_close(u.source);
    return rc;
}

/* ---- the command ---- */

static void print_sums(const struct load *l)
{
    char n[5][VIEW_NUMBER];
    if (l->c->json) {
        json_t *document = json_pack("{ss sI sI sI sI sO sI sb sb}", "kind", l->kind, "read",
                                     (json_int_t)l->read, "new", (json_int_t)l->new, "changed",
                                     (json_int_t)l->changed, "same", (json_int_t)l->same, "refused",
                                     l->refused_list, "refused_total", (json_int_t)l->refused,
                                     "applied", l->applied && !l->dry_run, "dry_run", l->dry_run);
        if (l->unknown)
            json_object_set_new(document, "applied", json_null());
        client_print(document);
        json_decref(document);
        return;
    }
    if (l->answered == 0)
        return;
    view_textf(&l->c->view, VIEW_PLAIN, 0, 2,
               "%s: %s rows read: %s new, %s changed, %s the same, %s refused%s", l->kind,
               view_number((double)l->read, n[0]), view_number((double)l->new, n[1]),
               view_number((double)l->changed, n[2]), view_number((double)l->same, n[3]),
               view_number((double)l->refused, n[4]), l->dry_run ? " (dry run)" : "");
    if (!l->applied && !l->dry_run)
        view_text(&l->c->view, VIEW_PLAIN, 0, 2,
                  "Nothing of a file with refused rows was applied: correct them, or load the good "
                  "rows with --keep-good.");
}

static int load(struct client *c, const struct args *a)
{
    struct load l = {.c = c,
                     .kind = a->words[0],
                     .keep_good = args_has(a, "keep-good"),
                     .dry_run = args_has(a, "dry-run"),
                     .applied = true,
                     .shown_ms = clock_monotonic_ms()};
    const char *refused = args_value(a, "refused");
    if (refused && !(l.refused_file = fopen(refused, "we")))
        return client_usage(c, "cannot write %s: %s", refused, strerror(errno));
    l.refused_list = json_array();
    int rc = EXIT_DONE;
    for (int i = 1; i < a->count; i++) {
        int one = load_file(&l, a->words[i]);
        if (one > rc)
            rc = one;
        if (one == EXIT_UNREACHABLE || one == EXIT_DENIED)
            break;
    }
    if (rc != EXIT_UNREACHABLE && rc != EXIT_DENIED)
        print_sums(&l);
    if (l.refused_file && fclose(l.refused_file) != 0) {
        client_say(c, "cannot write %s: %s", refused, strerror(errno));
        rc = rc ? rc : EXIT_REFUSED;
    }
    json_decref(l.refused_list);
    return rc ? rc : l.refused ? EXIT_REFUSED : EXIT_DONE;
}

const struct command cmd_load = {
    .name = "load",
    .args = "KIND FILE…",
    .words = KINDS,
    .help = "imports records of production",
    .more = "KIND is one of " KINDS ". A FILE is CSV (header row, UTF-8, a unit may stand in "
            "brackets: core_at_pack [degF]) or JSON "
            "lines; - is standard input. A file is taken whole or not at all unless --keep-good. "
            "Rows that are there already change nothing.",
    .options = options,
    .least = 2,
    .most = -1,
    .exec = load,
};
