#include "rules/models_file.h"
#include "base/jsonx.h"
#include "base/text.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct loading {
    const char *path;
    char *bytes;
    size_t length;
    void (*report)(void *arg, const struct error *fault);
    void *arg;
    struct error first;
};

static void fault(struct loading *loading, size_t at, const char *member, const char *value,
                  const char *text)
{
    struct error error = {0};
    char pointer[96];
    long line = 0, column = 0;
    snprintf(pointer, sizeof pointer, "/parameters/%zu%s%s", at, *member ? "/" : "", member);
    error_set(&error, ERROR_INVALID, "%s", text);
    if (loading->bytes)
        jsonx_locate(loading->bytes, loading->length, pointer, &line, &column);
    error_at(&error, loading->path, line, column);
    error_field(&error, pointer, value);
    if (!loading->first.code)
        loading->first = error;
    if (loading->report)
        loading->report(loading->arg, &error);
}

static void take(struct loading *loading, size_t at, const json_t *row,
                 struct models_parameters *ret)
{
    const char *name = json_string_value(json_object_get(row, "name"));
    double value[3] = {NAN, NAN, NAN};
    static const char *const ENDS[] = {"low", "typical", "high"};
    if (!name || !parameters_find(name)) {
        fault(loading, at, "name", name, "no such parameter");
        return;
    }
    for (int i = 0; i < 3; i++) {
        const json_t *number = json_object_get(row, ENDS[i]);
        if (!json_is_number(number))
            fault(loading, at, ENDS[i], name, "must be a number");
        else
            value[i] = json_number_value(number);
    }
    if (!isnan(value[0] + value[1] + value[2]) &&
        parameters_set(ret, name, value[0], value[1], value[2]))
        fault(loading, at, "typical", name, "must have low <= typical <= high");
    if (!json_string_value(json_object_get(row, "source")))
        fault(loading, at, "source", name, "'source' is missing");
}

static int read_text(struct loading *loading)
{
    FILE *file = fopen(loading->path, "re");
    if (!file)
        return ERROR_NOT_FOUND;
    struct text_buffer bytes = {0};
    char chunk[8192];
    size_t got;
    while ((got = fread(chunk, 1, sizeof chunk, file)) > 0)
        text_append_bytes(&bytes, chunk, got);
    fclose(file);
    loading->length = bytes.length;
    loading->bytes = text_take(&bytes);
    return 0;
}

int models_file_load(const char *dir, void (*report)(void *arg, const struct error *fault),
                     void *arg, struct models_parameters *ret, struct error *err)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    parameters_default(ret);
    text_appendf(&path, "%s/models.json", dir);
    struct loading loading = {.path = path.data, .report = report, .arg = arg};
    int rc = jsonx_load(path.data, &document, &loading.first);
    if (rc == ERROR_NOT_FOUND) {
        text_buffer_free(&path);
        return 0;
    }
    if (rc && report)
        report(arg, &loading.first);
    const json_t *rows = json_object_get(document, "parameters");
    if (!rc && read_text(&loading) == 0)
        for (size_t i = 0; i < json_array_size(rows); i++)
            take(&loading, i, json_array_get(rows, i), ret);
    const char *offender = NULL;
    if (!rc && !loading.first.code && !parameters_consistent(ret, &offender))
        fault(&loading, 0, "", offender, "minimum, optimum and maximum are not in order");
    if (err && !err->code && loading.first.code)
        *err = loading.first;
    rc = loading.first.code;
    json_decref(document);
    free(loading.bytes);
    text_buffer_free(&path);
    return rc;
}
