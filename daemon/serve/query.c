#include "serve/query.h"
#include "base/text.h"
#include "base/words.h"
#include "serve/wire.h"
#include <assert.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static char *decoded(const char *start, size_t length, size_t *ret_length)
{
    char *plain = xstrndup(start, length);
    *ret_length = wire_unescape(plain, true);
    return plain;
}

void query_read(const char *text, struct query *ret)
{
    *ret = (struct query){.known = ""};
    if (!text || !*text)
        return;
    for (const char *at = text; at; at = strchr(at, '&') ? strchr(at, '&') + 1 : NULL) {
        size_t length = strcspn(at, "&"), name_length = strcspn(at, "=&"), unused;
        ret->pairs = xrealloc(ret->pairs, (ret->count + 1) * sizeof *ret->pairs);
        struct query_pair *pair = &ret->pairs[ret->count++];
        size_t value_at = name_length < length ? name_length + 1 : length;
        pair->name = decoded(at, name_length, &unused);
        pair->value = decoded(at + value_at, length - value_at, &pair->length);
    }
}

void query_clear(struct query *query)
{
    for (size_t i = 0; i < query->count; i++) {
        free(query->pairs[i].name);
        free(query->pairs[i].value);
    }
    free(query->pairs);
    *query = (struct query){0};
}

static bool stands_before(const struct query *query, size_t at)
{
    for (size_t i = 0; i < at; i++) {
        if (strcmp(query->pairs[i].name, query->pairs[at].name) == 0)
            return true;
    }
    return false;
}

/* NULL if the pair is sound. */
static const char *fault_of(const struct query *query, size_t at)
{
    const struct query_pair *pair = &query->pairs[at];
    if (!words_has(query->known, pair->name))
        return "is no parameter of this request";
    if (!pair->length)
        return "has no value";
    if (!text_is_utf8(pair->value, pair->length))
        return "is not UTF-8 text";
    return stands_before(query, at) ? "is given twice" : NULL;
}

int query_check(struct query *query, const char *known, struct error *err)
{
    query->known = known;
    for (size_t i = 0; i < query->count; i++) {
        const char *fault = fault_of(query, i);
        if (!fault)
            continue;
        char name[64], value[96];
        error_set(err, ERROR_INVALID, "%s", fault);
        error_field(err, text_clip(query->pairs[i].name, name, sizeof name),
                    text_clip(query->pairs[i].value, value, sizeof value));
        error_hint(err, *known ? "it takes: %s" : "it takes none%s", known);
        return ERROR_INVALID;
    }
    return 0;
}

const char *query_get(const struct query *query, const char *name)
{
    assert(words_has(query->known, name)); /* else the route's row would refuse what we ask for */
    for (size_t i = 0; i < query->count; i++) {
        if (strcmp(query->pairs[i].name, name) == 0)
            return query->pairs[i].value;
    }
    return NULL;
}
