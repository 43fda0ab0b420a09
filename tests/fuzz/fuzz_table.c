/* Input: a map of records, a line "--", a table of CSV. */
#include "base/jsonx.h"
#include "base/text.h"
#include "fuzz.h"
#include "tables/table_rows.h"
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

/* Each line is blank or an object whose values are texts, and none stands below its source. */
static void check_rows(const char *out, size_t most_lines)
{
    size_t lines = 0;
    for (const char *at = out; *at; lines++) {
        size_t length = strcspn(at, "\n");
        json_t *row = NULL;
        PROMISE(at[length] == '\n');
        PROMISE(length == 0 || (jsonx_parse(at, length, &row, NULL) == 0 && json_is_object(row)));
        json_decref(row);
        at += length + 1;
    }
    PROMISE(lines <= most_lines);
}

static void check_table(const struct column_map *map, const char *csv)
{
    size_t length = strlen(csv), lines = 1;
    for (const char *at = csv; *at; at++)
        lines += *at == '\n';
    for (int part = 0; part < column_map_parts(map); part++) {
        struct text_buffer whole = {0}, cut = {0};
        struct table_rows *a = table_rows_new(map, part, NULL),
                          *b = table_rows_new(map, part, NULL);
        table_rows_feed(a, csv, length, &whole);
        table_rows_finish(a, &whole);
        table_rows_feed(b, csv, length / 2, &cut);
        table_rows_feed(b, csv + length / 2, length - length / 2, &cut);
        table_rows_finish(b, &cut);
        PROMISE(strcmp(whole.data ? whole.data : "", cut.data ? cut.data : "") == 0);
        check_rows(whole.data ? whole.data : "", lines);
        PROMISE(table_rows_unused(a) != NULL);
        table_rows_free(a);
        table_rows_free(b);
        text_buffer_free(&whole);
        text_buffer_free(&cut);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = xstrndup((const char *)data, size), path[64];
    char *end = strstr(text, "\n--\n");
    struct column_map *map = NULL;
    int fd = memfd_create("map", MFD_CLOEXEC);
    size_t length = end ? (size_t)(end - text) : strlen(text);
    PROMISE(fd >= 0 && write(fd, text, length) == (ssize_t)length);
    snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    const struct column_map_source source = {.path = path};
    if (column_map_load(&source, &map, NULL) == 0)
        check_table(map, end ? end + 4 : "");
    column_map_free(map);
    close(fd);
    free(text);
    return 0;
}
