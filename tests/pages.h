/* Whole pages: an answer or an event in FOLDER/<kind>-<what>.json, and all that people see of it in
 * FOLDER/<kind>-<what>.txt. After a change that was meant, the test called with the word `write`
 * writes the texts anew: read the difference. */
#ifndef ODDLOAF_TESTS_PAGES_H
#define ODDLOAF_TESTS_PAGES_H

#include "check.h"

#include "base/jsonx.h"
#include "base/text.h"
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct pages_kind {
    const char *name;
    void (*show)(const json_t *document, FILE *out);
};

struct pages {
    const char *folder;
    const struct pages_kind *kinds;
    size_t kind_count;
};

static inline char *pages_read(const char *path)
{
    struct text_buffer text = {0};
    char chunk[4096];
    FILE *file = fopen(path, "r");
    if (!file)
        fail_msg("cannot read %s", path);
    for (size_t got; (got = fread(chunk, 1, sizeof chunk, file)) > 0;)
        text_append_bytes(&text, chunk, got);
    fclose(file);
    return text_take(&text);
}

static inline char *pages_shown(const struct pages *pages, const char *name)
{
    char path[512], *text = NULL;
    size_t length = 0, k = 0;
    json_t *document = NULL;
    snprintf(path, sizeof path, "%s/%s.json", pages->folder, name);
    char *written = pages_read(path);
    if (jsonx_parse(written, strlen(written), &document, NULL))
        fail_msg("%s is no JSON", path);
    FILE *out = open_memstream(&text, &length);
    while (k < pages->kind_count &&
           strncmp(name, pages->kinds[k].name, strlen(pages->kinds[k].name)) != 0)
        k++;
    assert_true(k < pages->kind_count);
    pages->kinds[k].show(document, out);
    fclose(out);
    json_decref(document);
    free(written);
    return text;
}

static inline int pages_is_document(const struct dirent *entry)
{
    const char *end = strrchr(entry->d_name, '.');
    return end && strcmp(end, ".json") == 0;
}

static inline void pages_compare(const char *path, const char *text)
{
    char *expected = pages_read(path);
    if (strcmp(text, expected) != 0)
        fail_msg("%s would be\n%s", path, text);
    free(expected);
}

static inline void pages_write(const char *path, const char *text)
{
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

/* Calls `each` with every page's file and what it is now; how many there are. */
static inline int pages_all(const struct pages *pages,
                            void (*each)(const char *path, const char *text))
{
    struct dirent **list;
    int count = scandir(pages->folder, &list, pages_is_document, alphasort);
    for (int i = 0; i < count; i++) {
        char name[64], path[512];
        snprintf(name, sizeof name, "%.*s", (int)strcspn(list[i]->d_name, "."), list[i]->d_name);
        snprintf(path, sizeof path, "%s/%s.txt", pages->folder, name);
        char *text = pages_shown(pages, name);
        each(path, text);
        free(text);
        free(list[i]);
    }
    free(list);
    return count;
}

static inline void pages_are_whole(void **state)
{
    const struct pages *pages = *state;
    assert_true(pages_all(pages, pages_compare) >= (int)pages->kind_count);
}

static inline int pages_main(const struct pages *pages, int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_prestate(pages_are_whole, (void *)(uintptr_t)pages)};
    if (argc == 2 && strcmp(argv[1], "write") == 0)
        return pages_all(pages, pages_write) < 0;
    return cmocka_run_group_tests(tests, NULL, NULL);
}

#endif
