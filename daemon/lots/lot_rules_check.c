/* Members of rules/lots.json, one by one. */
#include "base/jsonx.h"
#include "lots/lot_rules.h"
#include <stdio.h>
#include <string.h>

void lot_rules_fault(struct lot_rules *r, const char *pointer, const char *value,
                     const struct error *why)
{
    struct error fault = *why;
    long line = 0, column = 0;
    if (jsonx_locate(r->text.data ? r->text.data : "", r->text.length, pointer, &line, &column))
        error_at(&fault, NULL, line, column);
    error_at(&fault, r->path, 0, 0);
    error_field(&fault, pointer, value);
    if (r->report)
        r->report(r->arg, &fault);
    if (!r->code && r->err)
        *r->err = fault;
    if (!r->code)
        r->code = fault.code;
}

void lot_rules_say(struct lot_rules *r, const char *pointer, const char *value, const char *text)
{
    struct error why = {0};
    error_set(&why, ERROR_INVALID, "%s", text);
    lot_rules_fault(r, pointer, value, &why);
}

static size_t put(char *out, size_t length, const char *text)
{
    while (*text && length + 1 < LOT_RULES_POINTER)
        out[length++] = *text++;
    return length;
}

const char *lot_rules_at(const char *pointer, const char *name, char out[static LOT_RULES_POINTER])
{
    size_t length = put(out, 0, pointer);
    length = put(out, length, "/");
    out[put(out, length, name)] = '\0';
    return out;
}

const char *lot_rules_at_index(const char *pointer, size_t index,
                               char out[static LOT_RULES_POINTER])
{
    char digits[24];
    snprintf(digits, sizeof digits, "%zu", index);
    return lot_rules_at(pointer, digits, out);
}

/* ---- members ---- */

void lot_rules_only(struct lot_rules *r, const json_t *object, const char *pointer,
                    const char *const *known)
{
    char place[LOT_RULES_POINTER];
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)object, name, value)
    {
        size_t i = 0;
        while (known[i] && strcmp(known[i], name) != 0)
            i++;
        if (!known[i])
            lot_rules_say(r, lot_rules_at(pointer, name, place), name, "is no member known here");
    }
}

const json_t *lot_rules_object(struct lot_rules *r, const json_t *object, const char *pointer,
                               const char *name)
{
    char place[LOT_RULES_POINTER];
    const json_t *value = json_object_get(object, name);
    if (value && !json_is_object(value)) {
        lot_rules_say(r, lot_rules_at(pointer, name, place), NULL, "must be an object");
        return NULL;
    }
    return value;
}

const json_t *lot_rules_array(struct lot_rules *r, const json_t *object, const char *pointer,
                              const char *name, size_t most)
{
    char place[LOT_RULES_POINTER];
    const json_t *value = json_object_get(object, name);
    if (value && (!json_is_array(value) || json_array_size(value) > most)) {
        lot_rules_say(r, lot_rules_at(pointer, name, place), NULL,
                      "must be a list, and not a longer one than this");
        return NULL;
    }
    return value;
}

const char *lot_rules_text(struct lot_rules *r, const json_t *object, const char *pointer,
                           const char *name, bool required)
{
    char place[LOT_RULES_POINTER];
    const json_t *value = json_object_get(object, name);
    const char *text = json_string_value(value);
    if (value ? !text : required)
        lot_rules_say(r, lot_rules_at(pointer, name, place), NULL,
                      value ? "must be a text" : "is missing: a text is wanted");
    return text;
}

void lot_rules_number(struct lot_rules *r, const json_t *object, const char *pointer,
                      const char *name, double low, double high, double *ret)
{
    char place[LOT_RULES_POINTER], shown[32], why[96];
    const json_t *value = json_object_get(object, name);
    if (!value)
        return;
    double number = json_number_value(value);
    if (json_is_number(value) && number >= low && number <= high) {
        *ret = number;
        return;
    }
    snprintf(shown, sizeof shown, "%g", number);
    snprintf(why, sizeof why, "must be a number from %g to %g", low, high);
    lot_rules_say(r, lot_rules_at(pointer, name, place), json_is_number(value) ? shown : NULL, why);
}
