/* Settings: where a fault that is found later is written, and what a reload leaves as it is. What
 * is read and refused: e2e/config. */
#include "check.h"

#include "serve/config.h"
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct file {
    char path[64];
    struct config *config;
};

static void open_file(struct file *f, const char *text)
{
    struct error err = {0};
    snprintf(f->path, sizeof f->path, "/tmp/oddloaf-config-XXXXXX");
    int fd = mkstemp(f->path);
    assert_true(fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text));
    close(fd);
    if (config_load(f->path, NULL, NULL, &f->config, &err))
        fail_msg("%s", err.text);
}

static void close_file(struct file *f)
{
    unlink(f->path);
    config_free(f->config);
}

static struct error fault_in(const struct config *config, const char *key)
{
    struct error fault = {0};
    error_set(&fault, ERROR_INVALID, "is not right");
    error_field(&fault, key, NULL);
    config_locate(config, &fault);
    return fault;
}

static void a_later_fault_has_its_place(void **state)
{
    struct file f;
    (void)state;
    open_file(&f, "{\n \"plant\": \"Harrow\",\n \"mail\": {\n  \"to\": [\"a@b.example\"]}}");
    struct error fault = fault_in(f.config, "plant");
    assert_string_equal(fault.source, f.path);
    assert_int_equal(fault.line, 2);
    assert_int_equal(fault.column, 11);
    fault = fault_in(f.config, "mail/to");
    assert_int_equal(fault.line, 4);
    /* a default: the file, and no place in it, not even that of a namesake or of its group */
    const char *const defaults[] = {"mail/from", "time_zone", "tcp/listen", "to"};
    for (size_t i = 0; i < COUNT_OF(defaults); i++) {
        fault = fault_in(f.config, defaults[i]);
        assert_string_equal(fault.source, f.path);
        assert_int_equal(fault.line, 0);
        assert_int_equal(fault.column, 0);
    }
    /* one that has a place keeps it */
    error_at(&fault, "tokens.json", 7, 3);
    config_locate(f.config, &fault);
    assert_string_equal(fault.source, "tokens.json");
    assert_int_equal(fault.line, 7);
    close_file(&f);
}

static void without_a_file_there_is_no_place(void **state)
{
    struct config *config = NULL;
    (void)state;
    assert_int_equal(config_load(NULL, NULL, NULL, &config, NULL), 0);
    assert_string_equal(fault_in(config, "plant").source, "");
    assert_int_equal(config_number(config, "readers"), 3);
    config_free(config);
    config_free(NULL);
}

static void a_reload_keeps_what_needs_a_restart(void **state)
{
    struct file was, is;
    json_t *keys = NULL;
    (void)state;
    open_file(&was, "{\"tcp\": {\"listen\": \"127.0.0.1:1\"}, \"readers\": 2}");
    open_file(&is, "{\"tcp\": {\"listen\": \"127.0.0.1:2\"}, \"readers\": 5}");
    config_keep(is.config, was.config, &keys);
    assert_int_equal(json_array_size(keys), 1);
    assert_string_equal(json_string_value(json_array_get(keys, 0)), "tcp/listen");
    assert_string_equal(config_text(is.config, "tcp/listen"), "127.0.0.1:1");
    assert_int_equal(config_number(is.config, "readers"), 5);
    json_decref(keys);
    config_keep(is.config, was.config, &keys); /* the same now */
    assert_int_equal(json_array_size(keys), 0);
    json_decref(keys);
    close_file(&was);
    close_file(&is);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_later_fault_has_its_place),
        cmocka_unit_test(without_a_file_there_is_no_place),
        cmocka_unit_test(a_reload_keeps_what_needs_a_restart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
