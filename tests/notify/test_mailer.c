/* The mailer: an urgent mail waits for no page that another mail carries. */
#include "base/text.h"
#include "check.h"
#include "notify/delivery.h"
#include "notify/mailer.h"
#include "state.h"
#include "store/db.h"
#include "store/outbox.h"
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PATIENCE_MS = 60000, URGENT_MS = 20000, SLICE_MS = 20 };

struct fixture {
    char dir[64], program[96], sent[96]; /* sent: the urgent mail, then the case's */
    struct writer *writer;
    struct mailer *mailer;
    bool urgent_left;  /* while the page was made */
    char no_zone[128]; /* of the last delivery */
};

static void write_text(const char *path, const char *text, mode_t mode)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
    assert_int_equal(chmod(path, mode), 0);
}

/* Until this text is in what was sent. */
static bool was_sent(const struct fixture *f, const char *text, int within_ms)
{
    int64_t until_ms = clock_monotonic_ms() + within_ms;
    bool found = false;
    while (!found && clock_monotonic_ms() < until_ms) {
        char line[1024];
        FILE *file = fopen(f->sent, "r");
        while (!found && file && fgets(line, sizeof line, file))
            found = strstr(line, text) != NULL;
        if (file)
            fclose(file);
        if (!found)
            poll(NULL, 0, SLICE_MS);
    }
    return found;
}

static int queue_one(struct store *store, const char *event, const char *payload, struct error *err)
{
    char id[64];
    snprintf(id, sizeof id, "<%s@p>", event);
    const struct outbox_new mail = {event, 1, 0, id, payload, 1, 0};
    return outbox_add(store, &mail, err);
}

static int queue_case(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    int rc = db_exec(store,
                     "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints,"
                     " packs) VALUES (1, 'mold', 0, 0, 1, 1)",
                     err);
    return rc ? rc
              : queue_one(store, "case",
                          "{\"event\":\"case\",\"ranking\":{\"case\":\"C1\",\"symptom\":\"mold\","
                          "\"lot_named\":\"L1\",\"ranked\":[]}}",
                          err);
}

static int queue_urgent(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return queue_one(store, OUTBOX_URGENT,
                     "{\"event\":\"urgent\",\"case\":\"C1\",\"lot_named\":\"L1\"}", err);
}

/* A page that takes until the urgent mail has left. */
static char *slow_sheet(void *arg, struct store *store, int64_t case_id)
{
    struct fixture *f = arg;
    (void)store;
    int rc = writer_run(f->writer, queue_urgent, NULL, NULL);
    mailer_wake(f->mailer);
    f->urgent_left = rc == 0 && case_id == 1 && was_sent(f, "URGENT C1", URGENT_MS);
    return xstrdup("<html>page of C1</html>\n");
}

static void configure(struct fixture *f)
{
    json_t *to = json_pack("[s]", "qa@mill.example");
    const struct mail_settings settings = {.program = f->program,
                                           .hook_program = "",
                                           .from = "oddloaf@mill.example",
                                           .plant = "Harrow Mill",
                                           .to = to,
                                           .tz_name = "UTC",
                                           .sheet_kb = 500,
                                           .timeout_s = 60,
                                           .retry_s = 60,
                                           .park_h = 24};
    mailer_configure(f->mailer, &settings);
    json_decref(to);
}

static int setup(void **state)
{
    static const struct log QUIET = {.level = LOG_LEVEL_ERROR};
    struct fixture *f = xcalloc(1, sizeof *f);
    const struct clock clock = clock_system();
    struct error err = {0};
    char script[256];
    strcpy(f->dir, "/tmp/oddloaf-mailer-XXXXXX");
    assert_non_null(state_folder(f->dir));
    snprintf(f->program, sizeof f->program, "%s/program", f->dir);
    snprintf(f->sent, sizeof f->sent, "%s/sent", f->dir);
    snprintf(script, sizeof script, "#!/bin/sh\ncat >>%s\n", f->sent);
    write_text(f->program, script, 0700);
    assert_int_equal(writer_start(f->dir, 100, &f->writer, &err), 0);
    assert_int_equal(mailer_start(f->dir, f->writer, &QUIET, &clock, &f->mailer, &err), 0);
    assert_int_equal(mailer_attach(f->mailer, f->dir, slow_sheet, f, &err), 0);
    configure(f);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    struct text_buffer command = {0};
    mailer_stop(f->mailer);
    writer_free(f->writer);
    text_appendf(&command, "rm -rf %s", f->dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    free(f);
    return rc;
}

static void an_urgent_mail_leaves_while_a_page_is_made(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(writer_run(f->writer, queue_case, NULL, &err), 0);
    mailer_wake(f->mailer);
    assert_true(was_sent(f, "C1 mold, L1", PATIENCE_MS));
    assert_true(was_sent(f, "filename=", PATIENCE_MS));
    assert_true(f->urgent_left);
}

/* ---- one delivery ---- */

static struct mail_settings settings_of(struct fixture *f, const char *zone)
{
    return (struct mail_settings){.program = f->program,
                                  .hook_program = f->program,
                                  .from = "oddloaf@mill.example",
                                  .plant = "Harrow Mill",
                                  .tz_name = zone,
                                  .timeout_s = 60};
}

/* Its result, once it has ended; what the program was given is in `sent`. */
static struct program_result deliver(struct fixture *f, const char *recipient, const char *payload,
                                     const char *zone)
{
    const struct mail_settings settings = settings_of(f, zone);
    struct outbox_delivery row = {.mail_id = 7, .payload = xstrdup(payload)};
    strcpy(row.event, OUTBOX_URGENT);
    strcpy(row.message_id, "<7@mill.example>");
    text_clip(recipient, row.recipient, sizeof row.recipient);
    struct delivery *d = delivery_new(&row);
    assert_null(row.payload);
    assert_false(delivery_has_begun(d) || delivery_attend(d));
    delivery_begin(d, &settings, NULL);
    assert_true(delivery_has_begun(d));
    assert_int_equal(delivery_row(d)->mail_id, 7);
    while (!delivery_attend(d))
        poll(NULL, 0, SLICE_MS);
    struct program_result result = *delivery_result(d);
    text_clip(delivery_no_zone(d), f->no_zone, sizeof f->no_zone);
    delivery_free(d);
    return result;
}

static void what_cannot_be_written_as_mail_says_why(void **state)
{
    struct fixture *f = *state;
    static const char EVENT[] = "{\"event\":\"urgent\",\"case\":\"C9\",\"lot_named\":\"L9\"}";
    struct program_result result = deliver(f, "qa@mill.example", "{\"event\":", "UTC");
    assert_false(result.done);
    assert_string_not_equal(result.why, "");
    assert_false(was_sent(f, "", SLICE_MS)); /* no program was run */
    result = deliver(f, "qa@mill.example", EVENT, "UTC");
    assert_true(result.done);
    assert_string_equal(result.why, "");
    assert_true(was_sent(f, "URGENT C9", PATIENCE_MS));
    assert_false(was_sent(f, "\"event\"", SLICE_MS));
    result = deliver(f, OUTBOX_HOOK, EVENT, "No/Where"); /* gets it as it is */
    assert_true(result.done);
    assert_true(was_sent(f, EVENT, PATIENCE_MS));
}

/* Harm waits for no zone. */
static void without_a_zone_it_leaves_in_utc(void **state)
{
    struct fixture *f = *state;
    static const char EVENT[] = "{\"event\":\"urgent\",\"case\":\"C9\",\"lot_named\":\"L9\"}";
    struct program_result result = deliver(f, "qa@mill.example", EVENT, "No/Where");
    assert_true(result.done);
    assert_true(was_sent(f, "URGENT C9", PATIENCE_MS));
    assert_true(was_sent(f, "Date: Thu, 01 Jan 1970 00:00:00 +0000", SLICE_MS));
    assert_non_null(strstr(f->no_zone, "No/Where"));
    deliver(f, "qa@mill.example", EVENT, "UTC");
    assert_string_equal(f->no_zone, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_urgent_mail_leaves_while_a_page_is_made, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(without_a_zone_it_leaves_in_utc, setup, teardown),
        cmocka_unit_test_setup_teardown(what_cannot_be_written_as_mail_says_why, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
