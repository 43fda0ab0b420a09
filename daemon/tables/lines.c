#include "tables/lines.h"
#include <string.h>

/* A whole line, or its last piece. */
static void end_line(struct lines *l, const char *piece, size_t length, lines_each each, void *arg)
{
    if (l->skipping) {
        l->skipping = false;
        return;
    }
    l->number++;
    if (l->carry.length + length > l->limit) {
        each(arg, NULL, 0, l->number);
    } else if (l->carry.length == 0) {
        each(arg, piece, length, l->number);
    } else {
        text_append_bytes(&l->carry, piece, length);
        each(arg, l->carry.data, l->carry.length, l->number);
    }
    text_reset(&l->carry);
}

void lines_feed(struct lines *l, const char *bytes, size_t length, lines_each each, void *arg)
{
    while (length > 0) {
        const char *end = memchr(bytes, '\n', length);
        if (!end)
            break;
        size_t whole = (size_t)(end - bytes);
        end_line(l, bytes, whole, each, arg);
        bytes += whole + 1;
        length -= whole + 1;
    }
    if (length == 0 || l->skipping)
        return;
    if (l->carry.length + length > l->limit) {
        end_line(l, bytes, length, each, arg);
        l->skipping = true;
    } else {
        text_append_bytes(&l->carry, bytes, length);
    }
}

void lines_finish(struct lines *l, lines_each each, void *arg)
{
    if (l->carry.length > 0)
        end_line(l, "", 0, each, arg);
    l->skipping = false;
}

void lines_free(struct lines *l)
{
    text_buffer_free(&l->carry);
}
