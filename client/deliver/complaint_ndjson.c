#include "base/jsonx.h"
#include "base/text.h"
#include "deliver/complaint_rows.h"
#include <stdlib.h>
#include <string.h>

#define CHUNK 65536

static json_t *as_note(const struct text_buffer *text)
{
    json_t *complaint = json_object();
    if (text->length) {
        char *words = text_as_utf8(text->data, text->length); /* a NUL byte is a blank there */
        json_object_set_new(complaint, "note", json_string(words));
        free(words);
    }
    return complaint;
}

static int take_line(long line, const struct text_buffer *text, bool too_long, row_each each,
                     void *arg)
{
    struct error err = {0};
    json_t *complaint = NULL;
    int rc = 0;
    if (too_long)
        rc = error_set(&err, ERROR_TOO_LARGE, "the line is over 1 MiB");
    else
        rc = jsonx_parse(text->data, text->length, &complaint, &err);
    if (!rc && !json_is_object(complaint))
        rc = error_set(&err, ERROR_INVALID, "must be a JSON object");
    if (rc) {
        json_decref(complaint);
        complaint = as_note(text);
    }
    rc = each(arg, &(struct row){line, complaint, !rc, rc ? &err : NULL, NULL});
    json_decref(complaint);
    return rc;
}

static bool is_blank(const struct text_buffer *text)
{
    return !text->length || strspn(text->data, " \t\r") == text->length;
}

int complaint_rows_ndjson(struct source *s, row_each each, void *arg, struct error *err)
{
    char *chunk = xmalloc(CHUNK);
    struct text_buffer text = {0};
    size_t length = 0;
    long line = 1;
    bool too_long = false;
    int rc;
    while ((rc = source_read(s, chunk, CHUNK, &length, err)) == 0 && length > 0) {
        for (size_t at = 0; at < length && !rc;) {
            const char *end = memchr(chunk + at, '\n', length - at);
            size_t n = end ? (size_t)(end - chunk) - at : length - at;
            too_long = too_long || text.length + n > JSONX_BYTES;
            if (!too_long)
                text_append_bytes(&text, chunk + at, n);
            at += n + (end != NULL);
            if (!end)
                continue;
            if (!is_blank(&text) || too_long)
                rc = take_line(line, &text, too_long, each, arg);
            text_reset(&text);
            too_long = false;
            line++;
        }
        if (rc)
            break;
    }
    if (!rc && (!is_blank(&text) || too_long))
        rc = take_line(line, &text, too_long, each, arg);
    text_buffer_free(&text);
    free(chunk);
    return rc;
}
