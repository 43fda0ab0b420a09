/* Settings: where a fault that is found later is written, what a reload leaves as it is, what
 * is refused, and what is a plant's own. Of the whole daemon: e2e/config. */
#include "base/text.h"
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
    open_file(&is, "{\"tcp\": {\"listen\": \"127.0.0.1:2\"}, \"readers\": 5, "
                   "\"store\": \"postgresql:///state\"}");
    config_keep(is.config, was.config, &keys);
    assert_int_equal(json_array_size(keys), 2);
    assert_string_equal(json_string_value(json_array_get(keys, 0)), "tcp/listen");
    assert_string_equal(json_string_value(json_array_get(keys, 1)), "store");
    assert_string_equal(config_text(is.config, "store"), "");
    assert_string_equal(config_text(is.config, "tcp/listen"), "127.0.0.1:1");
    assert_int_equal(config_number(is.config, "readers"), 5);
    json_decref(keys);
    config_keep(is.config, was.config, &keys); /* the same now */
    assert_int_equal(json_array_size(keys), 0);
    json_decref(keys);
    close_file(&was);
    close_file(&is);
}

/* ---- what is refused ---- */

static void tell_fault(void *arg, const struct error *fault)
{
    struct text_buffer *told = arg;
    text_appendf(told, "%s%ld:%ld %s: %s", told->length ? "; " : "", fault->line, fault->column,
                 fault->field, fault->text);
}

static void assert_refused(const char *text, const char *wanted)
{
    struct file f = {.path = "/tmp/oddloaf-config-XXXXXX"};
    struct text_buffer told = {0};
    struct error err = {0};
    int fd = mkstemp(f.path);
    assert_true(fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text));
    close(fd);
    int rc = config_load(f.path, tell_fault, &told, &f.config, &err);
    if (strcmp(told.data ? told.data : "", wanted) != 0)
        fail_msg("%s\nof %s is not\n%s", told.data, text, wanted);
    assert_int_equal(rc, *wanted ? ERROR_INVALID : 0);
    if (rc) {
        assert_int_equal(err.code, rc); /* the first of them */
        assert_non_null(strstr(wanted, err.text));
        assert_true(strncmp(strstr(wanted, ": ") + 2, err.text, strlen(err.text)) == 0);
        unlink(f.path);
    } else {
        close_file(&f);
    }
    text_buffer_free(&told);
}

#define NAMED                                                                                      \
    "a plant is named as its lots name it, in at most 60 bytes, without '/', '~', '@', ',' and "   \
    "control characters, and with no blank around it"
#define LIKE(other) "reads like the plant " other ": case, accents and blanks tell no two apart"
#define A_60 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"

static void each_fault_has_its_setting_and_place(void **state)
{
    static const struct {
        const char *text, *wanted;
    } ROWS[] = {
        {"{}", ""},
        {"{\"plant\": 7}", "1:11 plant: must be a text"},
        {"{\"plant\": \"a\\nb\"}", "1:11 plant: holds a control character, an end of line or a "
                                   "mark that turns the reading direction"},
        {"{\"mail\": {\"to\": [\"a@b\", \"c\\u0001@d\", \"e@f\"]}}",
         "1:17 mail/to: holds a control character, an end of line or a mark that turns the reading "
         "direction"},
        {"{\"mail\": {\"to\": [\"a@b\", \"e@f\"]}}", ""},
        {"{\"readers\": 64}", ""},
        {"{\"readers\": 65, \"queue\": 15}",
         "1:13 readers: must be a whole number from 1 to "
         "64; 1:26 queue: must be a whole number from 16 to 1000000"},
        {"{\"reader\": 3,\n\"mail\": {\"too\": []}}", "1:12 reader: is not a setting; 2:17 "
                                                      "mail/too: is not a setting"},
        {"{\"plants\": {\"Mill\": {\"mail\": {\"from\": \"a\"}}}}",
         "1:39 plants/Mill/mail/from: is not a setting of a plant"},
        {"{\"plants\": {}}", "1:12 plants: must have 1 to 64 members"},
        {"{\"plants\": {\"a/b\": {}}}", "1:20 plants/a~1b: " NAMED},
        {"{\"plants\": {\" a\": {}}}", "1:19 plants/ a: " NAMED},
        {"{\"plants\": {\"a\\u2003\": {}}}", "1:24 plants/a\xe2\x80\x83: " NAMED},
        {"{\"plants\": {\"a@b\": {}, \"a,b\": {}, \"a~b\": {}}}",
         "1:20 plants/a@b: " NAMED "; 1:31 plants/a,b: " NAMED "; 1:42 plants/a~0b: " NAMED},
        {"{\"plants\": {\"" A_60 "\": {}, \"B\": {}}}", ""},
        {"{\"plants\": {\"" A_60 "b\": {}}}", "1:78 plants/" A_60 "b: " NAMED},
        {"{\"plants\": {\"Lark Fen\": {}, \"Other\": {}, \"lark  f\\u00e9n\": {}}}",
         "1:60 plants/lark  f\xc3\xa9n: " LIKE("Lark Fen")},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_refused(ROWS[i].text, ROWS[i].wanted);
}

/* ---- plants ---- */

static void what_a_plant_does_not_set_is_the_companys(void **state)
{
    struct file f;
    (void)state;
    open_file(&f, "{\"time_zone\": \"Europe/Riga\", \"settle_lot_at\": 70, \"mail\": {\"to\": "
                  "[\"q@c\"]}, \"roles\": {\"qa\": [\"all-qa\"]}, \"plants\": {\"N\": {}, \"S\": "
                  "{\"title\": \"South\", \"time_zone\": \"UTC\", \"settle_lot_at\": 90, \"mail\": "
                  "{\"to\": [\"s@c\"]}, \"roles\": {\"qa\": [\"s-qa\"]}}}}");
    static const struct {
        const char *title, *zone, *to, *qa;
        int settle;
    } ROWS[] = {{"N", "Europe/Riga", "q@c", NULL, 70}, {"South", "UTC", "s@c", "s-qa", 90}};
    assert_int_equal(config_plant_count(f.config), 2);
    for (int i = 0; i < 2; i++) {
        const json_t *qa = config_list_of(f.config, i, "roles/qa");
        assert_string_equal(config_text_of(f.config, i, "title"), ROWS[i].title);
        assert_string_equal(config_text_of(f.config, i, "time_zone"), ROWS[i].zone);
        assert_int_equal(config_number_of(f.config, i, "settle_lot_at"), ROWS[i].settle);
        assert_string_equal(
            json_string_value(json_array_get(config_list_of(f.config, i, "mail/to"), 0)),
            ROWS[i].to);
        assert_int_equal(json_array_size(qa), ROWS[i].qa ? 1 : 0); /* nobody of the company's */
    }
    assert_string_equal(config_text_of(f.config, CONFIG_COMPANY, "time_zone"), "Europe/Riga");
    assert_int_equal(config_plant_named(f.config, "N"), 0);
    assert_int_equal(config_plant_named(f.config, "S"), 1);
    assert_int_equal(config_plant_named(f.config, "s"), CONFIG_COMPANY);
    assert_string_equal(config_plant_name(f.config, 1), "S");
    assert_null(config_plant_name(f.config, 2));
    close_file(&f);
}

static void settings_are_described(void **state)
{
    static const char *const LINES[] = {
        "\nqueue                  4096                   requests that may wait; more get 503 (16 "
        "to "
        "1000000)\n",
        "\ntcp/listen             \"\"                     address:port for TLS clients; empty: "
        "none "
        "(a change needs a restart)\n",
        "\nroles/qa               [\"oddloaf-qa\"]         Unix groups whose members are QA\n",
        "\nmail/to                []                     QA: who gets a case's mail\n",
        "\nplants/NAME/settle_lot_at \"the outer one\"        percent at which a lot of that plant "
        "is "
        "taken as the lot (50 to 100)\n",
    };
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    (void)state;
    config_describe(out);
    fclose(out);
    for (size_t i = 0; i < COUNT_OF(LINES); i++)
        if (!strstr(text, LINES[i]))
            fail_msg("%s is not in %s", LINES[i], text);
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_later_fault_has_its_place),
        cmocka_unit_test(without_a_file_there_is_no_place),
        cmocka_unit_test(a_reload_keeps_what_needs_a_restart),
        cmocka_unit_test(each_fault_has_its_setting_and_place),
        cmocka_unit_test(what_a_plant_does_not_set_is_the_companys),
        cmocka_unit_test(settings_are_described),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
