/* What the tests of rule files and of whatever reads them share: rule files from text in a folder
 * of their own. */
#ifndef ODDLOAF_TESTS_RULES_FIXTURE_H
#define ODDLOAF_TESTS_RULES_FIXTURE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/error.h"
#include "base/text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* cmocka's own compares floats */
#define assert_near(a, b, tolerance)                                                               \
    do {                                                                                           \
        double near_a = (a), near_b = (b);                                                         \
        if (!(fabs(near_a - near_b) <= (tolerance)))                                               \
            fail_msg("%s:%d: %.12g is not %.12g", __FILE__, __LINE__, near_a, near_b);             \
    } while (0)

struct fixture {
    char dir[64], rules[80];
    struct store *store; /* of facts/fixture.h */
};

static inline void fixture_file(const struct fixture *f, const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", f->rules, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    assert_int_equal(fclose(file), 0);
}

/* From the tests' own rule files, or the shipped ones. */
static inline void fixture_copy(const struct fixture *f, const char *folder, const char *name)
{
    char path[512];
    struct text_buffer text = {0};
    snprintf(path, sizeof path, "%s/%s/%s", ODDLOAF_SOURCE_DIR, folder, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    char chunk[4096];
    size_t got;
    while ((got = fread(chunk, 1, sizeof chunk, file)) > 0)
        text_append_bytes(&text, chunk, got);
    fclose(file);
    fixture_file(f, name, text.data);
    text_buffer_free(&text);
}

static inline void fixture_folder(struct fixture *f)
{
    char path[128];
    snprintf(f->dir, sizeof f->dir, "/tmp/oddloaf-triage-XXXXXX");
    assert_non_null(mkdtemp(f->dir));
    snprintf(f->rules, sizeof f->rules, "%s/rules", f->dir);
    snprintf(path, sizeof path, "%s/causes", f->rules);
    assert_int_equal(mkdir(f->rules, 0755), 0);
    assert_int_equal(mkdir(path, 0755), 0);
    fixture_copy(f, "rules", "quantities.json");
    fixture_copy(f, "rules", "places.json");
}

static inline void fixture_remove(struct fixture *f)
{
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", f->dir);
    assert_int_equal(system(command), 0);
}

static inline void fixture_print_fault(void *arg, const struct error *fault)
{
    char text[1024];
    (void)arg;
    print_message("%s\n", error_format(fault, text, sizeof text));
}

#endif
