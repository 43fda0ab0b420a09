#include "base/jsonx.h"
#include "base/uuid.h"
#include "base/when.h"
#include "commands/command.h"
#include "commands/guess.h"
#include "deliver/source.h"
#include "show/pick.h"
#include "tables/table_rows.h"
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
    {"map", "FILE", "which of the file's columns are ours, and how it writes things (JSON)"},
    {"guess", "FILE", "proposes a map of this file and shows rows by it; loads nothing"},
    {"out", "FILE", "with --guess: writes the map there, a new file"},
    {"sheet", "NAME", "which sheet of an .xlsx file; the first if not given"},
    {"take", "last", "of rows with one key and different values the last stands"},
    {"keep-good", NULL, "apply the good rows of a file that has refused ones"},
    {"refused", "FILE", "write refused rows there, one JSON object a line"},
    {"dry-run", NULL, "check every row, change nothing"},
    {0}};

struct load {
    struct client *c;
    const char *kind;
    const char *sheet;            /* of .xlsx files; NULL the first */
    const struct column_map *map; /* NULL: the file has our columns */
    int part;                     /* of the map */
    bool keep_good, dry_run, take_last;
    char trial[UUID_TEXT]; /* dry runs of several kinds know of each other by it; "" none */
    FILE *refused_file;
    /* sums over the files whose last part was answered */
    int64_t read, new, changed, same, refused, passed_over;
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

/* The daemon names our columns; whoever wrote the file knows its own. */
static void in_words_of_file(const struct load *l, json_t *row)
{
    const char *ours = pick_text(row, "column", "");
    const char *theirs = l->map ? column_map_column(l->map, l->part, ours) : NULL;
    if (!theirs || strcmp(theirs, ours) == 0)
        return;
    json_object_set_new(row, "field", json_string(ours));
    json_object_set_new(row, "column", json_string(theirs));
}

static void take_refused(struct load *l, const struct source *s, json_t *row)
{
    in_words_of_file(l, row);
    if (l->refused_file) {
        char *text = jsonx_dump(row);
        fprintf(l->refused_file, "%s\n", text);
        free(text);
    }
    if (json_array_size(l->refused_list) < REFUSED_JSON)
        json_array_append(l->refused_list, row);
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
    struct table_rows *rows;   /* by the map, or NULL */
    struct text_buffer mapped; /* made by it, and not sent yet */
    bool read;                 /* the source is at its end */
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
    client_path_query(path, "trial", l->dry_run && *l->trial ? l->trial : NULL);
    client_path_query(path, "take", l->take_last ? "last" : NULL);
}

static void take_sums(struct load *l, const json_t *answer)
{
    l->read += pick_int(answer, "read", 0);
    l->new += pick_int(answer, "new", 0);
    l->changed += pick_int(answer, "changed", 0);
    l->same += pick_int(answer, "same", 0);
    l->refused += pick_int(answer, "refused_total", 0);
    l->passed_over += pick_int(answer, "passed_over", 0);
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
    } else if (!transport_is_good(&reply)) {
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

/* The next part as it is sent: of the file, or what the map makes of it. */
static int read_part(struct upload *u, char *part, size_t *ret_length, struct error *err)
{
    size_t length = 0;
    if (!u->rows)
        return source_read(u->source, part, PART_BYTES, ret_length, err);
    while (u->mapped.length < PART_BYTES && !u->read) {
        if (source_read(u->source, part, PART_BYTES, &length, err))
            return (int)err->code;
        u->read = length == 0;
        if (u->read)
            table_rows_finish(u->rows, &u->mapped);
        else
            table_rows_feed(u->rows, part, length, &u->mapped);
    }
    *ret_length = u->mapped.length < PART_BYTES ? u->mapped.length : PART_BYTES;
    if (*ret_length == 0)
        return 0;
    memcpy(part, u->mapped.data, *ret_length);
    u->mapped.length -= *ret_length;
    memmove(u->mapped.data, u->mapped.data + *ret_length, u->mapped.length);
    return 0;
}

/* Reads one part ahead, so that the last one can say that it is. */
static int send_file(struct load *l, struct upload *u, char *part, char *next)
{
    struct error err = {0};
    size_t length = 0;
    size_t next_length = 0;
    if (read_part(u, part, &length, &err))
        return client_fail(l->c, &err);
    for (;;) {
        next_length = 0;
        if (length == PART_BYTES && read_part(u, next, &next_length, &err))
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
    const char *named = !l->sheet && l->map ? column_map_sheet(l->map) : l->sheet;
    const struct sheet_options sheet = {.name = named,
                                        .decimal = l->map ? column_map_decimal(l->map) : '.'};
    if (source_open_sheet(path, &sheet, &u.source, &err) != 0) {
        client_fail(l->c, &err);
        return err.code == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
    }
    if (l->sheet && !source_is_sheet(u.source)) {
        source_close(u.source);
        return client_usage(l->c, "%s: is no .xlsx file: it has no sheets", path);
    }
    uuid_v7(clock_now_ms(&clock), u.id);
    u.ndjson = source_is_ndjson(u.source);
    if (l->map && u.ndjson) {
        source_close(u.source);
        return client_usage(l->c, "%s: a map is for CSV and sheets, not for JSON lines", path);
    }
    if (l->map)
        u.rows = table_rows_new(l->map, l->part, zone_day(l->c->zone).tz);
    u.ndjson |= l->map != NULL;
    char *part = xmalloc(PART_BYTES);
    char *next = xmalloc(PART_BYTES);
    int answered = l->answered;
    int rc = send_file(l, &u, part, next);
    l->unknown |= l->answered == answered;
    clear_progress(l);
    free(part);
    free(next);
    if (u.rows && *table_rows_unused(u.rows))
        client_say(l->c, "%s: columns not used: %s", source_name(u.source),
                   table_rows_unused(u.rows));
    table_rows_free(u.rows);
    text_buffer_free(&u.mapped);
    source_close(u.source);
    return rc;
}

/* ---- the command ---- */

static void print_sums(const struct load *l)
{
    char n[6][VIEW_NUMBER];
    if (l->c->json) {
        json_t *document = json_pack("{ss sI sI sI sI sO sI sb sb}", "kind", l->kind, "read",
                                     (json_int_t)l->read, "new", (json_int_t)l->new, "changed",
                                     (json_int_t)l->changed, "same", (json_int_t)l->same, "refused",
                                     l->refused_list, "refused_total", (json_int_t)l->refused,
                                     "applied", l->applied && !l->dry_run, "dry_run", l->dry_run);
        if (l->unknown)
            json_object_set_new(document, "applied", json_null());
        if (l->take_last)
            json_object_set_new(document, "passed_over", json_integer(l->passed_over));
        client_print(document);
        json_decref(document);
        return;
    }
    char rows[VIEW_COUNT];
    if (l->answered == 0)
        return;
    char passed[48] = "";
    if (l->take_last)
        snprintf(passed, sizeof passed, ", %s passed over",
                 view_number((double)l->passed_over, n[5]));
    view_textf(&l->c->view, VIEW_PLAIN, 0, 2,
               "%s: %s read: %s new, %s changed, %s the same, %s refused%s%s", l->kind,
               view_count((double)l->read, "row", rows), view_number((double)l->new, n[1]),
               view_number((double)l->changed, n[2]), view_number((double)l->same, n[3]),
               view_number((double)l->refused, n[4]), passed, l->dry_run ? " (dry run)" : "");
    if (l->read == 0 && l->refused == 0)
        view_text(&l->c->view, VIEW_PLAIN, 0, 2,
                  "There is no row under its header: nothing was there to load.");
    if (!l->applied && !l->dry_run)
        view_text(&l->c->view, VIEW_PLAIN, 0, 2,
                  "Nothing of a file with refused rows was applied: correct them, or load the good "
                  "rows with --keep-good.");
}

/* The files of one kind. */
static int load_kind(struct load *l, const struct args *a, int first)
{
    int rc = EXIT_DONE;
    l->read = l->new = l->changed = l->same = l->refused = l->passed_over = 0;
    l->answered = l->shown = 0;
    l->unknown = false;
    l->applied = true;
    l->shown_ms = clock_monotonic_ms();
    l->refused_list = json_array();
    for (int i = first; i < a->count; i++) {
        int one = load_file(l, a->words[i]);
        if (one > rc)
            rc = one;
        if (one == EXIT_UNREACHABLE || one == EXIT_DENIED)
            break;
    }
    if (rc != EXIT_UNREACHABLE && rc != EXIT_DENIED)
        print_sums(l);
    json_decref(l->refused_list);
    return rc ? rc : l->refused ? EXIT_REFUSED : EXIT_DONE;
}

/* Each kind of the map, in its order; `kind` NULL: all. */
static int load_mapped(struct load *l, const struct args *a, const char *kind)
{
    int rc = EXIT_DONE;
    bool found = false;
    struct clock clock = clock_system();
    uuid_v7(clock_now_ms(&clock), l->trial);
    for (l->part = 0; l->part < column_map_parts(l->map); l->part++) {
        l->kind = record_kind_table(column_map_kind(l->map, l->part))->kind;
        if (kind && strcmp(kind, l->kind) != 0)
            continue;
        found = true;
        int one = load_kind(l, a, kind != NULL);
        if (one > rc)
            rc = one;
        if (one == EXIT_UNREACHABLE || one == EXIT_DENIED)
            break;
    }
    return found ? rc : client_usage(l->c, "the map has no columns of %s", kind);
}

static void say_fault(void *arg, const struct error *fault)
{
    client_fail(arg, fault);
}

static int by_map(struct load *l, const struct args *a)
{
    enum record_kind of;
    if (a->count == 0)
        return client_usage(l->c, "name a file, or -");
    const char *kind = record_kind_parse(a->words[0], &of) ? a->words[0] : NULL;
    struct column_map *map = NULL;
    const struct column_map_source source = {
        .path = args_value(a, "map"), .kind = kind ? &of : NULL, .report = say_fault, .arg = l->c};
    if (kind && a->count < 2)
        return client_usage(l->c, "name a file, or -");
    int rc = column_map_load(&source, &map, NULL);
    if (rc)
        return rc == ERROR_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
    l->map = map;
    if (column_map_parts(map) > 1)
        for (int i = kind != NULL; i < a->count; i++)
            if (a->words[i] && strcmp(a->words[i], "-") == 0)
                rc = client_usage(l->c, "the map is of several kinds: standard input can be read "
                                        "only once, name a file");
    if (!rc)
        rc = load_mapped(l, a, kind);
    column_map_free(map);
    return rc;
}

static int load(struct client *c, const struct args *a)
{
    if (args_has(a, "guess"))
        return guess_run(c, a);
    struct load l = {.c = c,
                     .keep_good = args_has(a, "keep-good"),
                     .dry_run = args_has(a, "dry-run"),
                     .take_last = args_has(a, "take"),
                     .sheet = args_value(a, "sheet")};
    const char *refused = args_value(a, "refused");
    if (refused && !(l.refused_file = fopen(refused, "we")))
        return client_usage(c, "cannot write %s: %s", refused, strerror(errno));
    int rc;
    if (args_has(a, "map")) {
        rc = by_map(&l, a);
    } else {
        l.kind = a->words[0];
        rc = load_kind(&l, a, 1);
    }
    if (l.refused_file && fclose(l.refused_file) != 0) {
        client_say(c, "cannot write %s: %s", refused, strerror(errno));
        rc = rc ? rc : EXIT_REFUSED;
    }
    return rc;
}

static const struct option_words option_words[] = {{"take", "last"}, {0}};

const struct command cmd_load = {
    .name = "load",
    .args = "KIND FILE…",
    .words = KINDS,
    .words_unless = "map guess",
    .help = "imports records of production",
    .more =
        "KIND is one of " KINDS ". A FILE is CSV (header row, UTF-8, a unit may stand in "
        "brackets: core_at_pack [degF]) or JSON "
        "lines; - is standard input. A file is taken whole or not at all unless --keep-good. "
        "Rows that are there already change nothing. With --map, KIND may be left out where the "
        "map names it. A product's family is pan-bread, bun, flatbread or sweet-good.",
    .options = options,
    .option_words = option_words,
    .least = 2,
    .most = -1,
    .exec = load,
};
