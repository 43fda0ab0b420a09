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
        cmocka_unit_test(one_line_always),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
