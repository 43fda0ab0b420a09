/* A small store for tests of records: a folder in memory, the catalogue of rules/, two products
 * and three lots. */
#ifndef ODDLOAF_TESTS_RECORDS_FIXTURE_H
#define ODDLOAF_TESTS_RECORDS_FIXTURE_H

#include "base/text.h"
#include "records/load.h"
#include "rules/load_catalogue.h"
#include "state.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define BASE_FOLDER ODDLOAF_SOURCE_DIR "/tests/records/base"

struct fixture {
    char dir[64];
    struct writer *writer;
    struct store *store; /* reading */
    struct catalogue *catalogue;
};

static inline char *fixture_file(const char *path, size_t *ret_length)
{
    struct text_buffer text = {0};
    char chunk[4096];
    size_t n;
    FILE *file = fopen(path, "rb");
    if (!file)
        return NULL;
    while ((n = fread(chunk, 1, sizeof chunk, file)) > 0)
        text_append_bytes(&text, chunk, n);
    fclose(file);
    *ret_length = text.length;
    return text_take(&text);
}

static inline struct load_options fixture_options(const struct fixture *f, enum record_kind kind)
{
    return (struct load_options){.kind = kind,
                                 .format = IMPORT_CSV,
                                 .source = "input",
                                 .catalogue = f->catalogue,
                                 .state_dir = f->dir};
}

static inline void fixture_fail(const char *doing, const struct error *err)
{
    char text[1024];
    fail_msg("%s: %s", doing, error_format(err, text, sizeof text));
}

/* Loads `bytes` in parts of at most `part`; all that was refused is in the answer. */
static inline json_t *fixture_load(struct fixture *f, const struct load_options *options,
                                   const char *bytes, size_t length, size_t part)
{
    struct error err = {0};
    struct load *load;
    json_t *answer = NULL, *all = json_array();
    if (load_open(options, &load, &err))
        fixture_fail("open", &err);
    for (size_t at = 0; at < length; at += part) {
        json_t *told = NULL;
        size_t n = length - at < part ? length - at : part;
        if (load_feed(load, f->store, bytes + at, n, &err) || load_told(load, &told, &err))
            fixture_fail("feed", &err);
        json_array_extend(all, json_object_get(told, "refused"));
        json_decref(told);
    }
    if (load_finish(load, f->store, f->writer, &answer, &err))
        fixture_fail("finish", &err);
    json_array_extend(all, json_object_get(answer, "refused"));
    json_object_set_new(answer, "refused", all);
    return answer;
}

static inline json_t *fixture_load_text(struct fixture *f, enum record_kind kind, const char *text)
{
    struct load_options options = fixture_options(f, kind);
    return fixture_load(f, &options, text, strlen(text), 1 << 16);
}

static inline int64_t fixture_number(const json_t *answer, const char *name)
{
    return json_integer_value(json_object_get(answer, name));
}

/* Loads and checks the counts. */
static inline void fixture_expect(struct fixture *f, enum record_kind kind, const char *text,
                                  int new_rows, int changed, int same)
{
    json_t *answer = fixture_load_text(f, kind, text);
    assert_int_equal(fixture_number(answer, "new"), new_rows);
    assert_int_equal(fixture_number(answer, "changed"), changed);
    assert_int_equal(fixture_number(answer, "same"), same);
    json_decref(answer);
}

static inline void fixture_base(struct fixture *f, enum record_kind kind, const char *path)
{
    size_t length;
    char *text = fixture_file(path, &length);
    assert_non_null(text);
    json_t *answer = fixture_load_text(f, kind, text);
    assert_true(json_is_true(json_object_get(answer, "applied")));
    json_decref(answer);
    free(text);
}

static inline void fixture_start(struct fixture *f)
{
    struct error err = {0};
    if (writer_start(f->dir, 64, &f->writer, &err) ||
        store_open(f->dir, STORE_READ, &f->store, &err))
        fixture_fail("start", &err);
}

static inline void fixture_stop(struct fixture *f)
{
    store_close(f->store);
    writer_free(f->writer);
}

static inline int fixture_setup(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    struct error err = {0};
    const char *where = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
    snprintf(f->dir, sizeof f->dir, "%s/oddloaf-records-XXXXXX", where);
    if (!state_folder(f->dir) ||
        load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &f->catalogue, &err))
        return -1;
    fixture_start(f);
    fixture_base(f, RECORD_PRODUCTS, BASE_FOLDER "/products.csv");
    fixture_base(f, RECORD_LOTS, BASE_FOLDER "/lots.csv");
    *state = f;
    return 0;
}

static inline int fixture_teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    fixture_stop(f);
    catalogue_free(f->catalogue);
    snprintf(command, sizeof command, "rm -rf -- '%s'", f->dir);
    int failed = system(command);
    free(f);
    return failed;
}

#endif
