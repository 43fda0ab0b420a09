#include "check.h"

#include "base/log.h"
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Sends stderr into a pipe while one line is written. */
static void capture(const struct log *log, enum log_level level, const char *text, char *out,
                    size_t size)
{
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    int saved = dup(STDERR_FILENO);
    assert_true(saved >= 0);
    assert_true(dup2(ends[1], STDERR_FILENO) >= 0);
    log_write(log, level, "%s lot=%s", text, "L26329A");
    assert_true(dup2(saved, STDERR_FILENO) >= 0);
    close(saved);
    close(ends[1]);
    size_t length = 0;
    ssize_t n;
    while (length < size - 1 && (n = read(ends[0], out + length, size - 1 - length)) > 0)
        length += (size_t)n;
    out[length] = '\0';
    close(ends[0]);
}

static void levels_and_prefixes(void **state)
{
    (void)state;
    char out[4096];
    struct log log = {.level = LOG_LEVEL_INFO, .journal = true};
    capture(&log, LOG_LEVEL_WARNING, "late", out, sizeof out);
    assert_string_equal(out, "<4>late lot=L26329A\n");
    capture(&log, LOG_LEVEL_DEBUG, "late", out, sizeof out);
    assert_string_equal(out, "");
    log.journal = false;
    capture(&log, LOG_LEVEL_INFO, "joined", out, sizeof out);
    assert_string_equal(out, "joined lot=L26329A\n");
    capture(&log, LOG_LEVEL_ERROR, "late", out, sizeof out);
    assert_string_equal(out, "error: late lot=L26329A\n");
    capture(NULL, LOG_LEVEL_ERROR, "late", out, sizeof out);
    assert_string_equal(out, "");
}

/* What is tried again each second, at these milliseconds, is said once a minute. */
static void again_within_a_minute_is_not_said(void **state)
{
    (void)state;
    static const struct {
        int64_t at_ms;
        const char *text;
        bool said;
    } ROWS[] = {{1000, "full", true},   {1500, "full", false},  {1600, "gone", true},
                {2000, "gone", false},  {60999, "full", false}, {61000, "full", true},
                {61500, "gone", false}, {61600, "gone", true}};
    struct log log = {.level = LOG_LEVEL_INFO};
    struct log_seldom seldom = {0};
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char out[64];
        int ends[2], saved = dup(STDERR_FILENO);
        assert_int_equal(pipe(ends), 0);
        assert_true(dup2(ends[1], STDERR_FILENO) >= 0);
        log_seldom(&log, &seldom, ROWS[i].at_ms, "cannot save why=\"%s\"", ROWS[i].text);
        assert_true(dup2(saved, STDERR_FILENO) >= 0);
        close(saved);
        close(ends[1]);
        assert_true((read(ends[0], out, sizeof out) > 0) == ROWS[i].said);
        close(ends[0]);
    }
}

/* Input must not be able to forge a second line. */
static void one_line_always(void **state)
{
    (void)state;
    char out[4096];
    char text[3000];
    struct log log = {.level = LOG_LEVEL_DEBUG, .journal = true};
    capture(&log, LOG_LEVEL_INFO, "a\r\n<3>forged\x1b[0m", out, sizeof out);
    assert_string_equal(out, "<6>a?"
                             "?<3>forged?[0m lot=L26329A\n");
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    capture(&log, LOG_LEVEL_INFO, text, out, sizeof out);
    assert_int_equal(strlen(out), 3 + 2047 + 1);
    assert_ptr_equal(strchr(out, '\n'), out + strlen(out) - 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(levels_and_prefixes),
        cmocka_unit_test(again_within_a_minute_is_not_said),
        cmocka_unit_test(one_line_always),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
