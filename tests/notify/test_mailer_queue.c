/* The mailer and its queue: who gets what, what becomes of what does not leave, and how much is
 * under way at once. */
#include "base/text.h"
#include "check.h"
#include "notify/mailer.h"
#include "state.h"
#include "store/db.h"
#include "store/outbox.h"
#include <fcntl.h>
#include <poll.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

enum { PATIENCE_MS = 60000, SLICE_MS = 5 };
#define NOW_MS INT64_C(1795600000000)
#define HOUR_MS INT64_C(3600000)

struct fixture {
    char dir[64], program[96], hook[96], said[96], gate[96], log[96];
    struct writer *writer;
    struct mailer *mailer;
    struct store *store;
    int closed_fd; /* of the gate that no program gets through; -1: open */
    size_t sheet_bytes;
    int spoken_fd; /* what the standard error was */
};

static _Atomic int64_t clock_at_ms;

static int64_t told_time(void *self)
{
    (void)self;
    return atomic_load(&clock_at_ms);
}

/* Monotonic: where the mailer's stands, 0: it runs. */
static _Atomic int64_t stands_at_ms;

int clock_gettime(clockid_t clock, struct timespec *ret)
{
    int64_t at_ms = atomic_load(&stands_at_ms);
    if (clock != CLOCK_MONOTONIC || !at_ms)
        return (int)syscall(SYS_clock_gettime, clock, ret);
    *ret = (struct timespec){at_ms / 1000, at_ms % 1000 * 1000000};
    return 0;
}

static int64_t runs_at_ms(void)
{
    struct timespec now;
    syscall(SYS_clock_gettime, CLOCK_MONOTONIC, &now);
    return now.tv_sec * INT64_C(1000) + now.tv_nsec / 1000000;
}

static void write_text(const char *path, const char *text, mode_t mode)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
    assert_int_equal(chmod(path, mode), 0);
}

/* Says to whom it goes and what it carries, waits at the gate, ends as its recipient is named. */
static void write_program(const struct fixture *f)
{
    char script[1024];
    snprintf(script, sizeof script,
             "#!/bin/sh\nsheet=; grep -q filename= && sheet=' sheet'\n"
             "echo \"$5$sheet\" >>%s\nflock -s %s true\n"
             "case $5 in later*) echo busy >&2; exit 75;; never*) echo no such user >&2; exit 67;; "
             "esac\n",
             f->said, f->gate);
    write_text(f->program, script, 0700);
    snprintf(script, sizeof script, "#!/bin/sh\necho \"hook $1\" >>%s\n", f->said);
    write_text(f->hook, script, 0700);
    write_text(f->gate, "", 0600);
}

static char *make_sheet(void *arg, struct store *store, int64_t case_id)
{
    const struct fixture *f = arg;
    (void)store, (void)case_id;
    char *sheet = xmalloc(f->sheet_bytes + 1);
    memset(sheet, 'x', f->sheet_bytes);
    sheet[f->sheet_bytes] = '\0';
    return sheet;
}

/* What goes to the standard error is the log; afterwards it goes on to where it would have. */
static void log_begin(struct fixture *f)
{
    int fd = open(f->log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    f->spoken_fd = dup(STDERR_FILENO);
    assert_true(fd >= 0 && f->spoken_fd >= 0 && dup2(fd, STDERR_FILENO) >= 0);
    close(fd);
}

static void log_end(struct fixture *f)
{
    char line[1024];
    FILE *file = fopen(f->log, "r");
    dup2(f->spoken_fd, STDERR_FILENO);
    close(f->spoken_fd);
    while (file && fgets(line, sizeof line, file))
        fputs(line, stderr);
    if (file)
        fclose(file);
}

static int setup(void **state)
{
    static const struct log LOG = {.level = LOG_LEVEL_ERROR};
    struct fixture *f = xcalloc(1, sizeof *f);
    const struct clock clock = {told_time, NULL};
    struct error err = {0};
    atomic_store(&clock_at_ms, NOW_MS);
    f->closed_fd = -1;
    f->sheet_bytes = 1000;
    strcpy(f->dir, "/tmp/oddloaf-queue-XXXXXX");
    assert_non_null(state_folder(f->dir));
    snprintf(f->program, sizeof f->program, "%s/program", f->dir);
    snprintf(f->hook, sizeof f->hook, "%s/hook", f->dir);
    snprintf(f->said, sizeof f->said, "%s/said", f->dir);
    snprintf(f->gate, sizeof f->gate, "%s/gate", f->dir);
    snprintf(f->log, sizeof f->log, "%s/log", f->dir);
    write_program(f);
    log_begin(f);
    assert_int_equal(writer_start(f->dir, 100, &f->writer, &err), 0);
    assert_int_equal(store_open(f->dir, STORE_READ, &f->store, &err), 0);
    assert_int_equal(mailer_start(f->dir, f->writer, &LOG, &clock, &f->mailer, &err), 0);
    assert_int_equal(mailer_attach(f->mailer, f->dir, make_sheet, f, &err), 0);
    *state = f;
    return 0;
}

static void open_gate(struct fixture *f)
{
    if (f->closed_fd >= 0)
        close(f->closed_fd);
    f->closed_fd = -1;
}

static void close_gate(struct fixture *f)
{
    f->closed_fd = open(f->gate, O_RDWR | O_CLOEXEC);
    assert_true(f->closed_fd >= 0);
    assert_int_equal(flock(f->closed_fd, LOCK_EX), 0);
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    struct text_buffer command = {0};
    open_gate(f);
    atomic_store(&stands_at_ms, 0);
    mailer_stop(f->mailer);
    store_close(f->store);
    writer_free(f->writer);
    log_end(f);
    text_appendf(&command, "rm -rf %s", f->dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    free(f);
    return rc;
}

/* ---- asking and waiting ---- */

static int run_sql(struct store *store, void *arg, struct error *err)
{
    return db_exec(store, arg, err);
}

static void sql(struct fixture *f, const char *text)
{
    struct error err = {0};
    if (writer_run(f->writer, run_sql, (void *)(uintptr_t)text, &err))
        fail_msg("%s: %s", text, err.text);
}

/* `text` is of static storage (store/db.h); ?1 is the mail, 0: it asks of none. */
static int64_t number_of(struct fixture *f, int64_t mail, const char *text)
{
    int64_t count = -1;
    const struct db_value *with = mail ? DB(DB_INT(mail)) : NULL;
    assert_int_equal(db_number(f->store, text, with, &count, NULL), 0);
    return count;
}

static int64_t number(struct fixture *f, const char *text)
{
    return number_of(f, 0, text);
}

static void go_round(struct fixture *f)
{
    mailer_wake(f->mailer);
    poll(NULL, 0, SLICE_MS);
}

static void until_of(struct fixture *f, int64_t mail, const char *text, int64_t wanted)
{
    int64_t until_ms = runs_at_ms() + PATIENCE_MS, is;
    while ((is = number_of(f, mail, text)) != wanted) {
        if (runs_at_ms() > until_ms)
            fail_msg("%s: %lld, not %lld", text, (long long)is, (long long)wanted);
        go_round(f);
    }
}

static void until(struct fixture *f, const char *text, int64_t wanted)
{
    until_of(f, 0, text, wanted);
}

static int lines_of(const char *path, const char *begin)
{
    char line[256];
    int count = 0;
    FILE *file = fopen(path, "r");
    while (file && fgets(line, sizeof line, file))
        count += strncmp(line, begin, strlen(begin)) == 0;
    if (file)
        fclose(file);
    return count;
}

/* How often a program was begun for this recipient. */
static int begun(const struct fixture *f, const char *recipient)
{
    return lines_of(f->said, recipient);
}

static void until_begun(struct fixture *f, const char *recipient, int wanted)
{
    int64_t until_ms = runs_at_ms() + PATIENCE_MS;
    while (begun(f, recipient) < wanted) {
        if (runs_at_ms() > until_ms)
            fail_msg("%s: begun %d times, not %d", recipient, begun(f, recipient), wanted);
        go_round(f);
    }
}

/* How many lines of the log begin so. */
static int logged(const struct fixture *f, const char *line)
{
    return lines_of(f->log, line);
}

static void until_logged(struct fixture *f, const char *line)
{
    int64_t until_ms = runs_at_ms() + PATIENCE_MS;
    while (!logged(f, line)) {
        if (runs_at_ms() > until_ms)
            fail_msg("not logged: %s", line);
        go_round(f);
    }
}

/* So long after the first, for the mailer. */
static void stand_still(int64_t after_ms)
{
    static int64_t first_ms;
    first_ms = after_ms ? first_ms : runs_at_ms();
    atomic_store(&stands_at_ms, first_ms + after_ms);
}

struct queued {
    const char *event;
    int64_t case_id, count;
};

static int queue(struct store *store, void *arg, struct error *err)
{
    const struct queued *q = arg;
    int rc = 0;
    for (int64_t i = 0; i < q->count && !rc; i++) {
        char id[96], payload[256];
        int64_t now_ms = atomic_load(&clock_at_ms), case_id = q->case_id ? q->case_id + i : 0;
        snprintf(id, sizeof id, "<%s-%lld-%lld@p>", q->event, (long long)q->case_id, (long long)i);
        snprintf(payload, sizeof payload,
                 "{\"event\":\"%s\",\"case\":\"C%lld\",\"lot_named\":\"L1\",\"ranking\":{\"case\":"
                 "\"C%lld\",\"symptom\":\"mold\",\"lot_named\":\"L1\",\"ranked\":[]}}",
                 q->event, (long long)case_id, (long long)case_id);
        const struct outbox_new mail = {q->event, case_id, 0, id, payload, now_ms, 0};
        rc = outbox_add(store, &mail, err);
    }
    return rc;
}

static void queue_all(struct fixture *f, const char *event, int64_t case_id, int64_t count)
{
    struct queued q = {event, case_id, count};
    assert_int_equal(writer_run(f->writer, queue, &q, NULL), 0);
}

static void add_cases(struct fixture *f, int count)
{
    for (int i = 1; i <= count; i++) {
        char text[256];
        snprintf(text, sizeof text,
                 "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs, "
                 "plant) VALUES(%d, 'mold', 0, 0, 1, 1, '%s')",
                 i,
                 i == 2   ? "Larkfen"
                 : i == 3 ? "Quarrhill"
                          : "");
        sql(f, text);
    }
}

static json_t *list(const char *addresses)
{
    json_t *to = json_array();
    char text[128], *rest = text;
    snprintf(text, sizeof text, "%s", addresses);
    for (const char *one; (one = strsep(&rest, " ")) && *one;)
        json_array_append_new(to, json_string(one));
    return to;
}

struct lists {
    const char *to, *urgent_to, *records_to;
    bool plants, hook;
};

static void configure(struct fixture *f, struct lists lists)
{
    json_t *to = list(lists.to), *urgent_to = list(lists.urgent_to ? lists.urgent_to : "");
    json_t *records_to = list(lists.records_to ? lists.records_to : "");
    json_t *plants = json_pack("{s:{s:[s], s:s}, s:{s:[s]}}", "Larkfen", "mail/to", "lark@p",
                               "title", "Lark Fen", "Quarrhill", "mail/urgent_to", "quarry@p");
    const struct mail_settings settings = {.program = f->program,
                                           .hook_program = lists.hook ? f->hook : "",
                                           .from = "oddloaf@mill.example",
                                           .plant = "Harrow Mill",
                                           .to = to,
                                           .urgent_to = urgent_to,
                                           .records_to = records_to,
                                           .plants = lists.plants ? plants : NULL,
                                           .tz_name = "UTC",
                                           .sheet_kb = 2,
                                           .timeout_s = 60,
                                           .retry_s = 60,
                                           .park_h = 24};
    mailer_configure(f->mailer, &settings);
    json_decref(to);
    json_decref(urgent_to);
    json_decref(records_to);
    json_decref(plants);
}

#define OPEN "SELECT count(*) FROM outbox_delivery WHERE state = 'waiting'"
#define NEW                                                                                        \
    "SELECT count(*) FROM outbox WHERE state = 'new' AND id NOT IN (SELECT mail_id FROM "          \
    "outbox_delivery)"

/* The settings decide who gets what waits, and nothing is under way. */
static void until_adopted(struct fixture *f)
{
    queue_all(f, "due", 0, 1);
    until(f, NEW, 0);
    until(f, OPEN " AND attempts = 0", 0);
    sql(f, "DELETE FROM outbox_delivery; DELETE FROM outbox");
}

/* ---- who gets what ---- */

static void assert_delivered(struct fixture *f, const char *wanted)
{
    struct text_buffer rows = {0};
    struct db_query q =
        db_query(f->store,
                 "SELECT o.event, coalesce(o.case_id, 0), d.recipient, d.state FROM "
                 "outbox_delivery d JOIN outbox o ON o.id = d.mail_id ORDER BY "
                 "o.event, o.case_id, d.recipient",
                 NULL, NULL);
    while (db_next(&q))
        text_appendf(&rows, "%s%s %d %s %s", rows.length ? "; " : "", db_text(&q, 0), db_int(&q, 1),
                     db_text(&q, 2), db_text(&q, 3));
    assert_int_equal(db_end(&q, 0), 0);
    if (strcmp(rows.data ? rows.data : "", wanted) != 0)
        fail_msg("%s\nis not %s", rows.data, wanted);
    text_buffer_free(&rows);
}

static void each_event_goes_to_its_people(void **state)
{
    static const char *const EVENTS[] = {OUTBOX_URGENT, "case",    "emptied", "summary",
                                         "digest",      "records", "due"};
    struct fixture *f = *state;
    add_cases(f, 3);
    for (int64_t id = 1; id <= 3; id++)
        for (int i = 0; i < 2; i++)
            queue_all(f, EVENTS[i], id, 1);
    for (size_t i = 2; i < COUNT_OF(EVENTS); i++)
        queue_all(f, EVENTS[i], 0, 1);
    assert_int_equal(number(f, NEW), 11);
    configure(f,
              (struct lists){
                  .to = "qa@p not-one", .urgent_to = "boss@p qa@p", .plants = true, .hook = true});
    until(f, NEW, 0);
    until(f, OPEN, 0);
    assert_delivered(
        f, "case 1 hook program sent; case 1 qa@p sent; case 2 hook program sent; case 2 lark@p "
           "sent; case 3 hook program sent; case 3 qa@p sent; digest 0 hook program sent; digest 0 "
           "qa@p sent; due 0 hook program sent; due 0 qa@p sent; emptied 0 hook program sent; "
           "emptied 0 qa@p sent; records 0 hook program sent; summary 0 hook program sent; summary "
           "0 qa@p sent; urgent 1 boss@p sent; urgent 1 hook program sent; urgent 1 qa@p sent; "
           "urgent 2 hook program sent; urgent 2 lark@p sent; urgent 3 hook program sent; urgent 3 "
           "quarry@p sent");
    assert_int_equal(begun(f, "qa@p sheet"), 2); /* a case's alone */
    assert_int_equal(begun(f, "lark@p sheet"), 1);
    assert_int_equal(begun(f, "hook case"), 3);
    assert_int_equal(begun(f, "hook urgent"), 3);
}

/* Nobody gets what a file brought until somebody is set up to; then what waits leaves, too. */
static void what_nobody_gets_waits(void **state)
{
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "qa@p"});
    queue_all(f, "records", 0, 1);
    queue_all(f, "digest", 0, 1);
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 1);
    assert_int_equal(number(f, NEW), 1);
    configure(f, (struct lists){.to = "qa@p", .records_to = "files@p"});
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 2);
    assert_delivered(f, "digest 0 qa@p sent; records 0 files@p sent");
}

/* Whose address is taken out of the settings gets nothing more; who is new gets what waits. */
static void what_waits_goes_to_whom_the_settings_name(void **state)
{
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "later@p"});
    queue_all(f, "digest", 0, 1);
    until(f, "SELECT coalesce(max(attempts), 0) FROM outbox_delivery", 1);
    configure(f, (struct lists){.to = "qa@p"});
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 1);
    assert_delivered(f, "digest 0 qa@p sent");
}

/* Who gets what is decided whole or not at all: what could not be written is tried again. */
static void what_could_not_be_written_is_tried_again(void **state)
{
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "later@p"});
    queue_all(f, "digest", 0, 1);
    queue_all(f, "due", 0, 1);
    until(f, "SELECT count(*) FROM outbox_delivery WHERE attempts > 0", 2);
    sql(f, "CREATE TRIGGER full BEFORE INSERT ON outbox_delivery WHEN new.recipient = 'qa@p' BEGIN "
           "SELECT RAISE(ABORT, 'no'); END");
    configure(f, (struct lists){.to = "qa@p", .plants = true}); /* theirs could be */
    for (int i = 0; i < 40; i++) {                              /* meanwhile it is tried */
        go_round(f);
        assert_int_equal(number(f, "SELECT count(*) FROM outbox_delivery WHERE recipient = "
                                   "'later@p'"),
                         2);
    }
    sql(f, "DROP TRIGGER full");
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 2);
    assert_delivered(f, "digest 0 qa@p sent; due 0 qa@p sent");
}

/* What became of a mail is written two seconds later where it could not be, and the mail is not
 * sent anew meanwhile. */
static void an_outcome_is_written_later(void **state)
{
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "qa@p"});
    until_adopted(f);
    sql(f, "CREATE TRIGGER full BEFORE UPDATE ON outbox_delivery BEGIN SELECT RAISE(ABORT, 'no'); "
           "END");
    stand_still(0);
    queue_all(f, "digest", 0, 1);
    until_logged(f, "error: cannot record what became of mails why=\"");
    sql(f, "DROP TRIGGER full");
    stand_still(1999);
    for (int i = 0; i < 20; i++)
        go_round(f);
    assert_int_equal(number(f, OPEN), 1);
    stand_still(2000);
    until(f, OPEN, 0);
    assert_delivered(f, "digest 0 qa@p sent");
    assert_int_equal(begun(f, "qa@p"), 2); /* with the one before */
    assert_int_equal(logged(f, ""), 1);
}

/* What cannot be read is said each time it is looked for, and leaves once it can be. */
static void what_cannot_be_read_is_said(void **state)
{
    static const char SAID[] = "error: cannot read the outbox why=\"";
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "qa@p"});
    until_adopted(f);
    sql(f, "ALTER TABLE outbox_text RENAME TO elsewhere");
    until_logged(f, SAID);
    sql(f, "ALTER TABLE elsewhere RENAME TO outbox_text");
    queue_all(f, "digest", 0, 1);
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 1);
}

/* ---- a full disk ---- */

/* The database takes no page more, and a delivery wants some; the mailer's clock stands. */
static void fill_disk(struct fixture *f)
{
    until_adopted(f);
    stand_still(0);
    sql(f, "CREATE TABLE ballast(x); CREATE TRIGGER full BEFORE INSERT ON outbox_delivery BEGIN "
           "INSERT INTO ballast VALUES(zeroblob(10000000)); END; PRAGMA max_page_count = 1");
}

/* Harm leaves without a delivery, each once and to its plant's people; the rest waits for room. */
static void on_a_full_disk_harm_leaves(void **state)
{
    static const struct {
        const char *recipient;
        int times; /* with what went before */
    } ROWS[] = {{"boss@p", 1},      {"lark@p", 1}, {"quarry@p", 1},
                {"hook urgent", 3}, {"qa@p", 1},   {"hook digest", 0}};
    struct fixture *f = *state;
    add_cases(f, 3);
    configure(f, (struct lists){.to = "qa@p", .urgent_to = "boss@p", .plants = true, .hook = true});
    fill_disk(f);
    queue_all(f, OUTBOX_URGENT, 1, 3);
    queue_all(f, "digest", 0, 1);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        until_begun(f, ROWS[i].recipient, ROWS[i].times);
    for (int i = 0; i < 20; i++)
        go_round(f);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        if (begun(f, ROWS[i].recipient) != ROWS[i].times)
            fail_msg("%s: %d times", ROWS[i].recipient, begun(f, ROWS[i].recipient));
    assert_int_equal(number(f, "SELECT count(*) FROM outbox_delivery"), 0);
    sql(f, "DROP TRIGGER full");
    stand_still(2000);
    until(f, NEW, 0);
    until(f, OPEN, 0);
    assert_delivered(f, "digest 0 hook program sent; digest 0 qa@p sent; urgent 1 boss@p sent; "
                        "urgent 1 hook program sent; urgent 2 hook program sent; urgent 2 lark@p "
                        "sent; urgent 3 hook program sent; urgent 3 quarry@p sent");
    assert_int_equal(begun(f, "boss@p"), 1);
    assert_int_equal(begun(f, "hook urgent"), 3);
}

/* What did not leave is tried again by the clock though nothing can be written about it. */
static void on_a_full_disk_harm_is_tried_again(void **state)
{
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "qa@p", .urgent_to = "later@p"});
    fill_disk(f);
    queue_all(f, OUTBOX_URGENT, 0, 1);
    until_begun(f, "later@p", 1);
    until_logged(f, "error: mail not sent event=urgent");
    stand_still(59999);
    for (int i = 0; i < 20; i++)
        go_round(f);
    assert_int_equal(begun(f, "later@p"), 1);
    stand_still(2 * 60000); /* it may have been past that when the mailer looked at the clock */
    until_begun(f, "later@p", 2);
}

/* ---- what does not leave ---- */

/* Beside one that was tried so often, due now: the next try's instant. */
static void what_fails_is_tried_less_and_less_often(void **state)
{
    static const struct {
        int urgent, attempts; /* before */
        int64_t due_ms;
    } ROWS[] = {{0, 0, 60000},   {0, 1, 120000},   {0, 3, 480000}, {0, 5, 1920000},
                {0, 6, HOUR_MS}, {0, 40, HOUR_MS}, {1, 0, 60000},  {1, 1, 120000},
                {1, 2, 240000},  {1, 3, 300000},   {1, 40, 300000}};
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "later@p"});
    until_adopted(f);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char text[512];
        snprintf(text, sizeof text,
                 "INSERT INTO outbox(id, event, message_id, created_ms, state) VALUES(%d, '%s', "
                 "'<%d@p>', "
                 "%lld, 'open'); INSERT INTO outbox_text(mail_id, payload) VALUES(%d, "
                 "'{\"event\":\"%s\"}');"
                 "INSERT INTO outbox_delivery(mail_id, recipient, urgent, since_ms, due_ms, "
                 "attempts) VALUES(%d, 'later@p', %d, %lld, %lld, %d)",
                 (int)i + 1, ROWS[i].urgent ? OUTBOX_URGENT : "digest", (int)i + 1,
                 (long long)NOW_MS, (int)i + 1, ROWS[i].urgent ? OUTBOX_URGENT : "digest",
                 (int)i + 1, ROWS[i].urgent, (long long)NOW_MS - 1000, (long long)NOW_MS,
                 ROWS[i].attempts);
        sql(f, text);
    }
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        until_of(f, (int64_t)i + 1, "SELECT attempts FROM outbox_delivery WHERE mail_id = ?1",
                 ROWS[i].attempts + 1);
        assert_int_equal(
            number_of(f, (int64_t)i + 1, "SELECT due_ms FROM outbox_delivery WHERE mail_id = ?1") -
                NOW_MS,
            ROWS[i].due_ms);
        assert_int_equal(number(f, "SELECT count(*) FROM outbox_delivery WHERE state <> 'waiting' "
                                   "OR last_error NOT LIKE '%exited 75: busy'"),
                         0);
    }
    atomic_store(&clock_at_ms, NOW_MS + 60000); /* the first of either kind are due again */
    until(f, "SELECT count(*) FROM outbox_delivery WHERE mail_id IN (1, 7) AND attempts = 2", 2);
    assert_int_equal(number(f, "SELECT max(attempts) FROM outbox_delivery WHERE mail_id = 2"), 2);
}

/* What cannot ever arrive is parked, and what did not for a day; never what tells of harm. */
static void what_is_parked(void **state)
{
    static const struct {
        const char *recipient;
        int urgent;
        int64_t tried_ms; /* for so long */
        enum { WAITS, PARKED, SENT } state;
    } ROWS[] = {{"never@p", 0, 0, PARKED},
                {"never@p", 1, 48 * HOUR_MS, WAITS},
                {"later@p", 0, 24 * HOUR_MS - 1, WAITS},
                {"later@p", 0, 24 * HOUR_MS, PARKED},
                {"later@p", 1, 24 * HOUR_MS, WAITS},
                {"qa@p", 0, 48 * HOUR_MS, SENT}};
    struct fixture *f = *state;
    configure(f, (struct lists){.to = "later@p never@p qa@p"});
    until_adopted(f);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char text[512];
        snprintf(text, sizeof text,
                 "INSERT INTO outbox(id, event, message_id, created_ms, state) VALUES(%d, '%s', "
                 "'<%d@p>', "
                 "1, 'open'); INSERT INTO outbox_text(mail_id, payload) VALUES(%d, "
                 "'{\"event\":\"digest\"}');"
                 "INSERT INTO outbox_delivery(mail_id, recipient, urgent, since_ms, due_ms) "
                 "VALUES(%d, '%s', %d, %lld, 1)",
                 (int)i + 1, ROWS[i].urgent ? OUTBOX_URGENT : "digest", (int)i + 1, (int)i + 1,
                 (int)i + 1, ROWS[i].recipient, ROWS[i].urgent,
                 (long long)(NOW_MS - ROWS[i].tried_ms));
        sql(f, text);
    }
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        until_of(f, (int64_t)i + 1,
                 "SELECT count(*) FROM outbox_delivery WHERE mail_id = ?1 AND (attempts = 1 OR "
                 "state = 'sent')",
                 1);
        if (number_of(f, (int64_t)i + 1,
                      "SELECT (state = 'parked') + 2 * (state = 'sent') FROM outbox_delivery WHERE "
                      "mail_id = ?1") != ROWS[i].state)
            fail_msg("%s of row %zu is not %d", ROWS[i].recipient, i, ROWS[i].state);
    }
}

/* A sheet larger than is attached stays away, its mail does not. */
static void a_large_sheet_stays_away(void **state)
{
    struct fixture *f = *state;
    add_cases(f, 2);
    f->sheet_bytes = 2000; /* as large as may be */
    configure(f, (struct lists){.to = "qa@p"});
    queue_all(f, "case", 1, 1);
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 1);
    assert_int_equal(begun(f, "qa@p sheet"), 1);
    f->sheet_bytes = 2001;
    queue_all(f, "case", 2, 1);
    until(f, "SELECT count(*) FROM outbox_delivery WHERE state = 'sent'", 2);
    assert_int_equal(begun(f, "qa@p sheet"), 1);
    assert_int_equal(begun(f, "qa@p"), 2);
}

/* ---- at once ---- */

/* Ordinary mail has two places, urgent mail those of its own: of one recipient so many, of what was
 * tried before half, and others' leave all the same. */
static void only_so_much_is_under_way(void **state)
{
    enum { EACH = 24, ORDINARY = 2, MANY = 300 /* more than are looked at at once */ };
    struct fixture *f = *state;
    close_gate(f);
    configure(f, (struct lists){.to = "qa@p", .urgent_to = "boss@p"});
    queue_all(f, "digest", 0, 1);
    queue_all(f, "summary", 0, 1);
    queue_all(f, "due", 0, 1);
    queue_all(f, "emptied", 0, 1);
    until_begun(f, "qa@p", ORDINARY);
    queue_all(f, OUTBOX_URGENT, 0, MANY);
    until_begun(f, "boss@p", EACH);
    sql(f, "INSERT INTO outbox_delivery(mail_id, recipient, urgent, since_ms, due_ms) SELECT "
           "min(mail_id), 'other@p', 1, 1, 1 FROM outbox_delivery WHERE urgent = 1");
    until_begun(f, "other@p", 1);
    assert_int_equal(begun(f, "boss@p"), EACH);
    assert_int_equal(begun(f, "qa@p"), ORDINARY);
    sql(f, "DELETE FROM outbox_delivery WHERE mail_id > (SELECT min(mail_id) + 26 FROM "
           "outbox_delivery WHERE urgent = 1)");
    open_gate(f);
    until(f, OPEN, 0);
    assert_int_equal(begun(f, "boss@p"), EACH + 3); /* each once */
    assert_int_equal(begun(f, "qa@p"), 4);
}

/* Stopped while a program runs, it waits for its end and writes it down. */
static void what_runs_is_waited_for_at_the_end(void **state)
{
    struct fixture *f = *state;
    close_gate(f);
    configure(f, (struct lists){.to = "qa@p"});
    queue_all(f, "digest", 0, 1);
    until_begun(f, "qa@p", 1);
    open_gate(f);
    mailer_stop(f->mailer);
    f->mailer = NULL;
    assert_delivered(f, "digest 0 qa@p sent");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(each_event_goes_to_its_people, setup, teardown),
        cmocka_unit_test_setup_teardown(what_nobody_gets_waits, setup, teardown),
        cmocka_unit_test_setup_teardown(what_waits_goes_to_whom_the_settings_name, setup, teardown),
        cmocka_unit_test_setup_teardown(what_could_not_be_written_is_tried_again, setup, teardown),
        cmocka_unit_test_setup_teardown(an_outcome_is_written_later, setup, teardown),
        cmocka_unit_test_setup_teardown(what_cannot_be_read_is_said, setup, teardown),
        cmocka_unit_test_setup_teardown(on_a_full_disk_harm_leaves, setup, teardown),
        cmocka_unit_test_setup_teardown(on_a_full_disk_harm_is_tried_again, setup, teardown),
        cmocka_unit_test_setup_teardown(what_fails_is_tried_less_and_less_often, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_parked, setup, teardown),
        cmocka_unit_test_setup_teardown(a_large_sheet_stays_away, setup, teardown),
        cmocka_unit_test_setup_teardown(only_so_much_is_under_way, setup, teardown),
        cmocka_unit_test_setup_teardown(what_runs_is_waited_for_at_the_end, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
