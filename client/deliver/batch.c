#include "deliver/batch.h"
#include "base/jsonx.h"
#include "base/uuid.h"
#include "base/when.h"
#include "deliver/deliver.h"
#include "intake/complaint_form.h"
#include "intake/fields.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct batch {
    struct client *c;
    const struct batch_options *options;
    const char *source;
    struct text_buffer lines; /* to be sent */
    size_t count;
    size_t answered; /* of those sent */
    struct waiting {
        long line;
        bool harm;
    } * rows; /* the rows of `lines` */
    size_t row_capacity;
    json_t *seen; /* digest → count, for rows without an id */
    long read, logged, again, refused, kept, joined, alike;
    struct harm_tally harm; /* by case; by line, where only kept */
    bool away;              /* it would not take the rest either: keep it without asking */
    int exit_code;
};

/* ---- ids ---- */

static void digest(const json_t *complaint, long before, unsigned char out[static EVP_MAX_MD_SIZE])
{
    json_t *read = json_copy((json_t *)(uintptr_t)complaint);
    json_object_del(read, "unread"); /* what nobody keeps makes no other complaint of it */
    char *text = json_dumps(read, JSON_COMPACT | JSON_SORT_KEYS);
    struct text_buffer bytes = {0};
    unsigned length = 0;
    text_append(&bytes, text ? text : "");
    text_appendf(&bytes, "\n%ld", before);
    EVP_Digest(bytes.data, bytes.length, out, &length, EVP_sha256(), NULL);
    text_buffer_free(&bytes);
    free(text);
    json_decref(read);
}

void batch_id(const json_t *complaint, long before, char out[static UUID_TEXT])
{
    unsigned char hash[EVP_MAX_MD_SIZE];
    int64_t ms = 0;
    digest(complaint, before, hash);
    when_parse(pick_text(complaint, "received_at", ""), &ms, NULL);
    for (int i = 0; i < 6; i++)
        hash[i] = (unsigned char)((uint64_t)ms >> (40 - 8 * i));
    hash[6] = (unsigned char)((hash[6] & 0x0F) | 0x80); /* version 8 */
    hash[8] = (unsigned char)((hash[8] & 0x3F) | 0x80); /* variant */
    char *p = out;
    for (int i = 0; i < 16; i++) {
        if (i == 4 || i == 6 || i == 8 || i == 10)
            *p++ = '-';
        snprintf(p, 3, "%02x", hash[i]);
        p += 2;
    }
}

static void give_id(struct batch *b, json_t *complaint)
{
    char id[UUID_TEXT];
    if (pick_has(complaint, "id"))
        return;
    batch_id(complaint, 0, id);
    json_int_t before = json_integer_value(json_object_get(b->seen, id));
    json_object_set_new(b->seen, id, json_integer(before + 1));
    if (before > 0)
        batch_id(complaint, (long)before, id);
    json_object_set_new(complaint, "id", json_string(id));
}

/* ---- one line of the answer ---- */

static const char *hint_for(const struct error *err)
{
    static const char *const needed[] = {"received_at", "channel", "symptom"};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; i++)
        if (strcmp(err->field, needed[i]) == 0 && strcmp(err->text, "is missing") == 0)
            return "name its column with --map COLUMN=FIELD, or give the option for all rows";
    return err->hint;
}

static void say_refused(const struct batch *b, long line, const struct error *why)
{
    struct error err = *why;
    char text[1024];
    error_at(&err, b->source, line, 0);
    error_hint(&err, "%s", hint_for(why));
    client_say(b->c, "refused: %s", client_fault(&err, text, sizeof text));
}

/* {"field","value","reason"} as an error. */
static struct error fault_of(const json_t *fault)
{
    struct error err = {.code = ERROR_INVALID};
    char *value = pick_shown(fault, "value");
    error_field(&err, pick_text(fault, "field", ""), value);
    error_hint(&err, "%s", pick_text(fault, "hint", ""));
    text_clip(pick_text(fault, "reason", "refused by the daemon"), err.text, sizeof err.text);
    free(value);
    return err;
}

static void add_harm_line(struct batch *b, long line, const char *alarm)
{
    char name[32];
    snprintf(name, sizeof name, "line %ld", line);
    harm_tally_add(&b->harm, name, alarm);
}

/* `faults` are all faults of the row, `err` among them; with none of them there is `err` alone.
 * `answer`: the daemon's, or NULL; harm in it is told though the row be refused. */
static void refuse(struct batch *b, long line, const struct error *err, const json_t *faults,
                   const json_t *answer)
{
    size_t i;
    const json_t *harm = json_object_get(answer, "harm");
    bool possible = !harm && harm_possible(answer);
    const json_t *fault;
    b->refused++;
    if (b->c->json) {
        json_t *document = json_pack("{s{so sI ss ss ss}}", "error", "source",
                                     jsonx_outside(b->source), "line", (json_int_t)line, "field",
                                     err->field, "value", err->value, "reason", err->text);
        if (json_array_size(faults) > 1)
            json_object_set(json_object_get(document, "error"), "faults", (json_t *)faults);
        if (harm)
            json_object_set(document, "harm", (json_t *)harm);
        if (possible)
            json_object_set_new(document, "harm_possible", json_true());
        client_print(document);
        json_decref(document);
    }
    if (json_array_size(faults) == 0)
        say_refused(b, line, err);
    json_array_foreach((json_t *)faults, i, fault)
    {
        const struct error one = fault_of(fault);
        say_refused(b, line, &one);
    }
    if (possible)
        b->harm.possible++;
    if (possible)
        client_say(b->c, "  this row may speak of harm: a person must read it");
    if (harm) {
        client_say(b->c, "  HARM is reported in this row");
        add_harm_line(b, line, pick_text(answer, "alarm", NULL));
    }
}

static void show_logged(struct batch *b, const struct waiting *row, const json_t *answer)
{
    const struct view *v = &b->c->view;
    const json_t *first = json_array_get(json_object_get(answer, "ranked"), 0);
    char percent[VIEW_NUMBER];
    bool harm = (row->harm && !pick_has(answer, "harm_taken_back")) || harm_reported(NULL, answer);
    size_t i;
    const json_t *doubt;
    bool possible = !harm && harm_possible(answer);
    const char *like =
        pick_text(json_array_get(json_object_get(answer, "similar"), 0), "complaint", NULL);
    b->joined += pick_has(answer, "same_as");
    b->alike += like != NULL;
    b->harm.possible += possible;
    if (harm)
        harm_tally_add(&b->harm, pick_text(answer, "case", "?"), pick_text(answer, "alarm", NULL));
    if (b->c->json) {
        client_print(answer);
        return;
    }
    struct text_buffer cause = {0};
    bool earlier = !harm && !possible && pick_has(answer, "earlier_harm");
    if (first && !harm && !possible && !earlier)
        text_appendf(&cause, "  %s %s", view_chance(pick_number(first, "probability", 0), percent),
                     pick_text(first, "cause", "?"));
    view_textf(v, VIEW_PLAIN, 0, 4, "%5ld  %-8s %-18s%s%s%s", row->line,
               pick_text(answer, "case", "-"), standing_named(answer),
               cause.length ? cause.data : "",
               harm       ? "  HARM"
               : possible ? "  TO READ"
               : earlier  ? "  (harm told before)"
                          : "",
               pick_bool(answer, "again", false) ? "  (logged before)"
               : pick_has(answer, "same_as")     ? "  (joined)"
                                                 : "");
    json_array_foreach(json_object_get(answer, "doubts"), i, doubt)
    {
        view_textf(v, VIEW_PLAIN, 7, 9, "in doubt: %s %s: %s",
                   fields_title(pick_text(doubt, "field", "?")), pick_text(doubt, "value", ""),
                   pick_text(doubt, "says", ""));
    }
    char back[400];
    if (harm_taken_back(answer, back, sizeof back))
        view_textf(v, VIEW_PLAIN, 7, 9, "%s", back);
    if (like)
        view_textf(v, VIEW_PLAIN, 7, 9, "same person, symptom and lot? oddloaf join %s %s",
                   pick_text(answer, "complaint", "?"), like);
    text_buffer_free(&cause);
}

static void on_answer(void *arg, size_t index, json_t *answer)
{
    struct batch *b = arg;
    const struct waiting *row = &b->rows[index];
    const json_t *error = json_object_get(answer, "error");
    b->answered = index + 1;
    if (error) {
        const struct error first = fault_of(error);
        refuse(b, row->line, &first, json_object_get(error, "faults"), answer);
        return;
    }
    if (pick_bool(answer, "again", false))
        b->again++;
    else
        b->logged++;
    show_logged(b, row, answer);
}

/* ---- sending ---- */

static void say_kept(struct batch *b, const struct waiting *row, const json_t *complaint)
{
    const json_t *faults = json_object_get(json_object_get(complaint, "refused"), "faults");
    if (row->harm)
        add_harm_line(b, row->line, HARM_KEPT);
    if (faults) {
        const struct error first = fault_of(json_array_get(faults, 0));
        refuse(b, row->line, &first, faults, NULL);
        return;
    }
    b->kept++;
    if (!b->c->json)
        return;
    json_t *document = json_pack("{ss sb}", "complaint", pick_text(complaint, "id", ""), "kept", 1);
    client_print(document);
    json_decref(document);
}

/* What has an answer was told, whatever cut off the others'. Refused rows are kept too: the daemon
 * has yet to hear what they say of harm. */
static void keep(struct batch *b, const struct error *why, bool away)
{
    char path[SPOOL_PATH];
    const char *at = b->lines.data;
    for (size_t i = 0; i < b->answered; i++)
        at += strcspn(at, "\n") + 1;
    const char *unanswered = at;
    for (size_t i = b->answered; i < b->count; i++, at += strcspn(at, "\n") + 1) {
        json_t *complaint = NULL;
        jsonx_parse(at, strcspn(at, "\n"), &complaint, NULL);
        say_kept(b, &b->rows[i], complaint);
        json_decref(complaint);
    }
    b->away = away;
    b->exit_code = deliver_keep(b->c, why, unanswered, (size_t)(at - unanswered), path);
}

static void refuse_all(struct batch *b, const struct error *err)
{
    for (size_t i = 0; i < b->count; i++)
        refuse(b, b->rows[i].line, err, NULL, NULL);
}

static void flush(struct batch *b)
{
    struct error err = {0};
    if (b->count == 0)
        return;
    const struct deliver_batch batch = {b->lines.data, b->lines.length, b->count, b->source};
    int rc = b->away ? error_set(&err, ERROR_UNREACHABLE, "the daemon is away")
                     : deliver_lines(b->c, &batch, on_answer, b, &err);
    if (rc && deliver_keeps(rc))
        keep(b, &err, spool_is_of_all(rc));
    else if (rc)
        refuse_all(b, &err);
    text_reset(&b->lines);
    b->count = b->answered = 0;
    if (isatty(STDERR_FILENO) && !isatty(STDOUT_FILENO))
        client_say(b->c, "%s: %ld rows so far", b->source, b->read);
}

static void add_line(struct batch *b, long line, const json_t *complaint)
{
    char *text = jsonx_dump(complaint);
    size_t length = strlen(text) + 1;
    if (b->count == DELIVER_LINES || (b->count > 0 && b->lines.length + length > DELIVER_BYTES))
        flush(b);
    text_appendf(&b->lines, "%s\n", text);
    free(text);
    if (b->count == b->row_capacity) {
        b->row_capacity = b->row_capacity ? b->row_capacity * 2 : 64;
        b->rows = xrealloc(b->rows, b->row_capacity * sizeof *b->rows);
    }
    b->rows[b->count++] = (struct waiting){line, harm_reported(complaint, NULL)};
}

/* What the daemon checks first, checked here: a dry run says the same as a real one but for what
 * only the plant's own tables know. */
static int check(const struct batch *b, const json_t *complaint, json_t *faults, struct error *err)
{
    struct complaint_form *form = NULL;
    struct clock clock = clock_system();
    /* whether a receipt lies in the future the daemon's clock decides; ours only where it isn't
     * asked */
    const struct form_options options = {.faults = faults,
                                         .now_ms = b->options->dry_run ? clock_now_ms(&clock) : 0};
    int rc = complaint_form_read(complaint, &options, &form, err);
    complaint_form_free(form);
    return rc;
}

static bool has_field(const json_t *faults, const char *field)
{
    size_t i;
    const json_t *fault;
    json_array_foreach((json_t *)faults, i,
                       fault) if (strcmp(pick_text(fault, "field", ""), field) == 0) return true;
    return false;
}

/* All that is wrong with a row: the values that could not be read, and then the rest of it. */
static bool find_faults(const struct batch *b, const struct row *row, json_t *faults,
                        struct error *first)
{
    size_t i;
    json_t *fault, *checked = json_array();
    if (row->refused)
        *first = *row->refused;
    json_array_extend(faults, row->faults);
    bool bad = check(b, row->complaint, checked, first) != 0 || row->refused;
    json_array_foreach(checked, i,
                       fault) if (!has_field(row->faults, pick_text(fault, "field", "")))
        json_array_append(faults, fault);
    json_decref(checked);
    return bad;
}

static int on_row(void *arg, const struct row *row)
{
    struct batch *b = arg;
    struct error first = {0};
    bool bad;
    b->read++;
    json_t *faults = json_array();
    if (row->readable) {
        json_object_update_missing(row->complaint, (json_t *)b->options->defaults);
        give_id(b, row->complaint);
        bad = find_faults(b, row, faults, &first);
    } else {
        first = *row->refused;
        json_array_append_new(faults, complaint_form_fault(&first));
        bad = true;
    }
    if (bad && b->options->dry_run) {
        refuse(b, row->line, &first, faults, NULL);
    } else if (bad) {
        /* refused by the daemon in its place among the others: it hears what it says of harm */
        json_object_set_new(row->complaint, "refused", json_pack("{sO}", "faults", faults));
        add_line(b, row->line, row->complaint);
    } else if (b->options->dry_run) {
        b->logged++;
        if (b->c->json)
            client_print(row->complaint);
    } else {
        add_line(b, row->line, row->complaint);
    }
    json_decref(faults);
    return 0;
}

/* ---- the whole file ---- */

static void say_end(const struct batch *b)
{
    const struct view *v = &b->c->view;
    char rows[VIEW_COUNT];
    if (b->c->json)
        return;
    if (b->options->dry_run) {
        view_textf(v, VIEW_PLAIN, 0, 2, "%s: %s, %ld would be sent, %ld refused", b->source,
                   view_count((double)b->read, "row", rows), b->logged, b->refused);
        return;
    }
    view_textf(v, VIEW_PLAIN, 0, 2, "%s: %s: %ld new, %ld logged before, %ld refused%s", b->source,
               view_count((double)b->read, "row", rows), b->logged, b->again, b->refused,
               b->kept ? ", the rest kept to be sent later" : "");
    if (b->joined)
        view_textf(v, VIEW_PLAIN, 0, 2, "%ld of them joined to the complaint they repeat",
                   b->joined);
    if (b->alike)
        view_textf(v, VIEW_PLAIN, 0, 2,
                   "%ld may repeat an earlier complaint of the same person: `oddloaf join` if so",
                   b->alike);
    harm_tally_show(v, &b->harm);
}

/* A file that is not there holds nothing. */
static int fail_whole(const struct client *c, const struct error *err)
{
    int exit_code = client_fail(c, err);
    if (err->code != ERROR_NOT_FOUND)
        client_say(c, HARM_FILE_UNREAD);
    return exit_code;
}

int batch_run(struct client *c, const char *path, const struct batch_options *options)
{
    struct error err = {0};
    struct source *source = NULL;
    struct complaint_rows_seen seen = {0};
    struct form_day day = zone_day(c->zone);
    const struct complaint_rows_meaning meaning = {options->map, &day};
    if (source_open(path, &source, &err) != 0)
        return fail_whole(c, &err) == EXIT_NOT_FOUND ? EXIT_NOT_FOUND : EXIT_REFUSED;
    struct batch b = {
        .c = c, .options = options, .source = source_name(source), .seen = json_object()};
    int rc = source_is_ndjson(source)
                 ? complaint_rows_ndjson(source, on_row, &b, &err)
                 : complaint_rows_csv(source, &meaning, on_row, &b, &seen, &err);
    flush(&b);
    if (seen.unused)
        client_say(c, "%s: columns not used: %s", b.source, seen.unused);
    if (seen.dates_by_plant)
        client_say(
            c,
            "%s: %ld date%s such as 03/04/2026 read with the %s first, as the plant writes "
            "them (month_first of lots.json): nothing in the file tells. If they are not so, "
            "withdraw the complaints and give a --map with \"dates\"",
            b.source, seen.dates_by_plant, seen.dates_by_plant == 1 ? " was" : "s were",
            day.day_first ? "day" : "month");
    if (rc) {
        fail_whole(c, &err);
        b.refused++;
    }
    say_end(&b);
    int exit_code = b.exit_code ? b.exit_code : b.refused ? EXIT_REFUSED : EXIT_DONE;
    free(seen.unused);
    free(b.rows);
    json_decref(b.seen);
    text_buffer_free(&b.lines);
    harm_tally_clear(&b.harm);
    source_close(source);
    return exit_code;
}
