#include "intake/rule_folder.h"
#include "base/jsonx.h"
#include "base/text.h"
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int is_rule_file(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return entry->d_name[0] != '.' && length > 5 &&
           strcmp(entry->d_name + length - 5, ".json") == 0;
}

int rule_folder_each(const char *dir, int (*each)(const char *path, void *arg, struct error *err),
                     void *arg, struct error *err)
{
    struct dirent **entries = NULL;
    int count = scandir(dir, &entries, is_rule_file, alphasort), rc = 0;
    if (count < 0 && errno != ENOENT) {
        error_at(err, dir, 0, 0);
        return error_set(err, ERROR_IO, "cannot read the folder: %s", strerror(errno));
    }
    for (int i = 0; i < count; i++) {
        struct text_buffer path = {0};
        text_appendf(&path, "%s/%s", dir, entries[i]->d_name);
        if (!rc)
            rc = each(path.data, arg, err);
        text_buffer_free(&path);
        free(entries[i]);
    }
    free(entries);
    return rc;
}

int rule_folder_fail(const char *path, const char *pointer, const char *value, const char *why,
                     struct error *err)
{
    long line = 0, column = 0;
    FILE *file = fopen(path, "rbe");
    if (file) {
        struct text_buffer text = {0};
        char block[4096];
        for (size_t n; (n = fread(block, 1, sizeof block, file)) > 0;)
            text_append_bytes(&text, block, n);
        fclose(file);
        jsonx_locate(text.data ? text.data : "", text.length, pointer, &line, &column);
        text_buffer_free(&text);
    }
    error_set(err, ERROR_INVALID, "%s", why);
    error_at(err, path, line, column);
    error_field(err, pointer, value);
    return ERROR_INVALID;
}
