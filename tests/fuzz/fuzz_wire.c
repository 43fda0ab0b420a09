/* Input: what comes on a connection. However it is cut into pieces, it is read the same. */
#include "base/text.h"
#include "fuzz.h"
#include "serve/wire.h"
#include <string.h>

static const struct wire_limits LIMITS = {1024, 4096};

/* Every request that was taken, its body, and the fault at the end, in words. */
static char *read_in_pieces(const char *bytes, size_t size, size_t piece)
{
    struct wire *wire = wire_new(&LIMITS);
    struct text_buffer out = {0};
    enum wire_state state = WIRE_MORE;
    size_t at = 0, taken = 0;
    while (state != WIRE_FAULT && (at < size || state == WIRE_HEAD)) {
        size_t n = size - at < piece ? size - at : piece;
        state = wire_feed(wire, bytes + at, n, &taken);
        PROMISE(taken <= n);
        PROMISE(taken == n || state != WIRE_MORE);
        at += taken;
        if (state == WIRE_HEAD) {
            PROMISE(wire_method(wire)[0] && wire_host(wire)[0]);
            PROMISE(*wire_path(wire) == '/' || strcmp(wire_path(wire), "*") == 0);
            text_appendf(&out, "%s %s?%s ", wire_method(wire), wire_path(wire), wire_query(wire));
        } else if (state == WIRE_WHOLE) {
            size_t length;
            char *body = wire_take_body(wire, &length);
            PROMISE(length <= LIMITS.body_bytes && body[length] == '\0');
            text_appendf(&out, "%zu:", length);
            text_append_bytes(&out, body, length);
            free(body);
            wire_next(wire, &LIMITS);
        }
    }
    if (state == WIRE_FAULT) {
        struct wire_fault fault = wire_fault(wire);
        PROMISE(fault.status >= 400 && fault.status < 600 && fault.detail[0]);
        text_appendf(&out, "%d %s", fault.status, fault.detail);
    }
    wire_free(wire);
    return text_take(&out);
}

static void check_unescape(const char *bytes, size_t size)
{
    char *text = xstrndup(bytes, size);
    size_t length = strlen(text);
    PROMISE(wire_unescape(text, true) <= length);
    free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *bytes = (const char *)data;
    char *whole = read_in_pieces(bytes, size, size ? size : 1);
    for (size_t piece = 1; piece <= 7; piece += 2) {
        char *cut = read_in_pieces(bytes, size, piece);
        PROMISE(strcmp(whole, cut) == 0);
        free(cut);
    }
    free(whole);
    check_unescape(bytes, size);
    return 0;
}
