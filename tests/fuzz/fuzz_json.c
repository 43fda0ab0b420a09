/* Input: a JSON pointer, a newline, the JSON text. */
#include "base/jsonx.h"
#include "base/text.h"
#include "fuzz.h"
#include <string.h>

/* What was taken once is taken again after printing, and prints the same. */
static void check_round_trip(const json_t *value)
{
    char *first = jsonx_dump(value);
    json_t *again = NULL;
    PROMISE(first);
    PROMISE(jsonx_parse(first, strlen(first), &again, NULL) == 0 || strlen(first) > JSONX_BYTES);
    if (again) {
        char *second = jsonx_dump(again);
        PROMISE(second && strcmp(first, second) == 0);
        free(second);
    }
    json_decref(again);
    free(first);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *end = size ? memchr(data, '\n', size) : NULL;
    size_t pointer_size = end ? (size_t)(end - data) : 0;
    char *pointer = xstrndup((const char *)data, pointer_size);
    const char *text = (const char *)(end ? end + 1 : data);
    size_t length = end ? size - pointer_size - 1 : size;

    long line = 0;
    long column = 0;
    json_t *root = NULL;
    struct error err = {0};
    bool located = jsonx_locate(text, length, pointer, &line, &column);
    if (located)
        PROMISE(line >= 1 && column >= 1);
    if (jsonx_parse(text, length, &root, &err) == 0) {
        PROMISE(located);
        check_round_trip(root);
        json_decref(root);
    } else {
        PROMISE(!root && err.code != ERROR_NONE && err.text[0]);
    }
    free(pointer);
    return 0;
}
