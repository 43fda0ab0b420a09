/* Several daemons on one server, each with a mailer: what one is at no other sends, and what one
 * lost with its connection waits until it may be another's no more. */
#include "base/text.h"
#include "check.h"
#include "notify/mailer.h"
#include "state.h"
#include "store/claim.h"
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

enum { PATIENCE_MS = 60000, SLICE_MS = 5, ROUNDS = 20 };
enum { FOREIGN_MS = 20000, SKEW_MS = 5000 };
#define NOW_MS INT64_C(1795600000000)

struct fixture {
    char dir[64], program[96], said[96], gate[96];
    struct writer *writer;
    struct mailer *mailer;
    struct store *other; /* another daemon's */
    int closed_fd;       /* of the gate that no program gets through; -1: open */
};

/* Monotonic: where it stands; 0: it runs. */
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

static int64_t told_time(void *self)
{
    (void)self;
    return NOW_MS;
}

static int setup(void **state)
{
    static const struct log QUIET = {.level = LOG_LEVEL_ERROR - 1};
    struct fixture *f = xcalloc(1, sizeof *f);
    const struct clock clock = {told_time, NULL};
    struct error err = {0};
    f->closed_fd = -1;
    strcpy(f->dir, "/tmp/oddloaf-mailers-XXXXXX");
    assert_non_null(state_folder(f->dir));
    snprintf(f->program, sizeof f->program, "%s/program", f->dir);
    snprintf(f->said, sizeof f->said, "%s/said", f->dir);
    snprintf(f->gate, sizeof f->gate, "%s/gate", f->dir);
    FILE *gate = fopen(f->gate, "w"), *program = fopen(f->program, "w");
    assert_true(gate && program);
    fprintf(program, "#!/bin/sh\ngrep ^Subject >>%s\nflock -s %s true\n", f->said, f->gate);
    assert_true(fclose(gate) == 0 && fclose(program) == 0 && chmod(f->program, 0700) == 0);
    if (writer_start(f->dir, 100, &f->writer, &err) ||
        store_open(f->dir, STORE_READ, &f->other, &err) ||
        mailer_start(f->dir, f->writer, &QUIET, &clock, &f->mailer, &err))
        fail_msg("%s", err.text);
    json_t *to = json_pack("[s]", "qa@p");
    const struct mail_settings settings = {.program = f->program,
                                           .hook_program = "",
                                           .from = "oddloaf@mill.example",
                                           .plant = "Harrow Mill",
                                           .to = to,
                                           .tz_name = "UTC",
                                           .timeout_s = 600,
                                           .retry_s = 60,
                                           .park_h = 24};
    mailer_configure(f->mailer, &settings);
    json_decref(to);
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
    char command[128];
    open_gate(f);
    atomic_store(&stands_at_ms, 0);
    mailer_stop(f->mailer);
    store_close(f->other);
    writer_free(f->writer);
    snprintf(command, sizeof command, "rm -rf %s", f->dir);
    free(f);
    return system(command);
}

/* ---- asking and waiting ---- */

struct queued {
    const char *lot; /* by which its program knows it */
    int64_t created_ms;
};

static int queue_one(struct store *store, void *arg, struct error *err)
{
    const struct queued *q = arg;
    char id[64], payload[128];
    snprintf(id, sizeof id, "<%s@p>", q->lot);
    snprintf(payload, sizeof payload, "{\"event\":\"urgent\",\"case\":\"C1\",\"lot_named\":\"%s\"}",
             q->lot);
    const struct outbox_new mail = {OUTBOX_URGENT, 0, 0, id, payload, q->created_ms, 0};
    return outbox_add(store, &mail, err);
}

static void queue(struct fixture *f, const char *lot, int64_t created_ms)
{
    struct error err = {0};
    if (writer_run(f->writer, queue_one, &(struct queued){lot, created_ms}, &err))
        fail_msg("%s", err.text);
}

static void go_round(struct fixture *f)
{
    mailer_wake(f->mailer);
    poll(NULL, 0, SLICE_MS);
}

static bool begun(const struct fixture *f, const char *lot)
{
    char line[256];
    bool found = false;
    FILE *file = fopen(f->said, "r");
    while (!found && file && fgets(line, sizeof line, file))
        found = strstr(line, lot) != NULL;
    if (file)
        fclose(file);
    return found;
}

static bool is_sent(const struct fixture *f, const char *lot)
{
    static const char SQL[] =
        "SELECT count(*) FROM outbox WHERE message_id = ?1 AND state = 'sent'";
    char id[64];
    int64_t count = 0;
    snprintf(id, sizeof id, "<%s@p>", lot);
    return db_number(f->other, SQL, DB(DB_TEXT(id)), &count, NULL) == 0 && count == 1;
}

static void until(struct fixture *f, bool (*is)(const struct fixture *f, const char *lot),
                  const char *lot)
{
    int64_t until_ms = runs_at_ms() + PATIENCE_MS;
    while (!is(f, lot)) {
        if (runs_at_ms() > until_ms)
            fail_msg("%s: not %s", lot, is == begun ? "begun" : "sent");
        go_round(f);
    }
}

static void assert_waits(struct fixture *f, const char *lot)
{
    for (int i = 0; i < ROUNDS; i++)
        go_round(f);
    assert_false(begun(f, lot));
}

/* The id of the delivery, to the only recipient. */
static int64_t claim_of_mail(int64_t mail_id)
{
    char text[64];
    snprintf(text, sizeof text, "%lld qa@p", (long long)mail_id);
    return claim_of_text(text);
}

static bool other_takes(struct fixture *f, int64_t mail_id)
{
    return claim_take(f->other, CLAIM_DELIVERY, claim_of_mail(mail_id));
}

static void other_drops(struct fixture *f, int64_t mail_id)
{
    claim_drop(f->other, CLAIM_DELIVERY, claim_of_mail(mail_id));
}

/* ---- */

/* Whoever let go of it may have sent it: for so long, its outcome may still come. */
static void what_another_is_at_is_left_to_it(void **state)
{
    struct fixture *f = *state;
    int64_t at_ms = runs_at_ms();
    atomic_store(&stands_at_ms, at_ms);
    assert_true(other_takes(f, 1));
    queue(f, "L1", NOW_MS);
    queue(f, "L2", NOW_MS);
    until(f, is_sent, "L2"); /* looked at behind it */
    assert_waits(f, "L1");
    other_drops(f, 1);
    atomic_store(&stands_at_ms, at_ms + FOREIGN_MS - 1);
    assert_waits(f, "L1");
    atomic_store(&stands_at_ms, at_ms + FOREIGN_MS);
    until(f, is_sent, "L1");
}

static void what_is_under_way_is_claimed(void **state)
{
    struct fixture *f = *state;
    close_gate(f);
    queue(f, "L1", NOW_MS);
    until(f, begun, "L1");
    assert_false(other_takes(f, 1));
    open_gate(f);
    until(f, is_sent, "L1");
    int64_t until_ms = runs_at_ms() + PATIENCE_MS; /* recorded, then let go of */
    while (!other_takes(f, 1) && runs_at_ms() < until_ms)
        go_round(f);
    other_drops(f, 1);
    assert_true(runs_at_ms() < until_ms);
}

/* As when the server is stopped and started again. */
static void cut_off(struct fixture *f)
{
    static const char SQL[] = "SELECT count(pg_terminate_backend(pid, 5000)) FROM pg_stat_activity"
                              " WHERE datname = current_database() AND pid <> pg_backend_pid()";
    int64_t count = 0;
    assert_int_equal(db_number(f->other, SQL, NULL, &count, NULL), 0);
    assert_true(count > 0);
}

static void what_was_lost_is_claimed_again(void **state)
{
    struct fixture *f = *state;
    int64_t until_ms = runs_at_ms() + PATIENCE_MS;
    close_gate(f);
    queue(f, "L1", NOW_MS);
    until(f, begun, "L1");
    cut_off(f);
    while (other_takes(f, 1)) {
        other_drops(f, 1);
        assert_true(runs_at_ms() < until_ms);
        go_round(f);
    }
    atomic_store(&stands_at_ms, runs_at_ms());
    int64_t at_ms = atomic_load(&stands_at_ms);
    queue(f, "L2", NOW_MS + SKEW_MS - 1); /* may be what others were at */
    queue(f, "L3", NOW_MS + SKEW_MS);     /* cannot have been */
    until(f, begun, "L3");
    assert_waits(f, "L2");
    atomic_store(&stands_at_ms, at_ms + FOREIGN_MS);
    open_gate(f);
    until(f, is_sent, "L2");
    until(f, is_sent, "L1");
    until(f, is_sent, "L3");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_another_is_at_is_left_to_it, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_under_way_is_claimed, setup, teardown),
        cmocka_unit_test_setup_teardown(what_was_lost_is_claimed_again, setup, teardown),
    };
    return state_on_server() ? cmocka_run_group_tests(tests, NULL, NULL) : 77;
}
