#include "show/fact_told.h"
#include <string.h>

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

void fact_told_unit(struct text_buffer *out, const char *unit)
{
    if (*unit && strcmp(unit, "1") != 0)
        text_appendf(out, " %s", strcmp(unit, "degC") == 0 ? "°C" : unit);
}

static void add_words(struct text_buffer *out, const json_t *words)
{
    size_t i;
    const json_t *word;
    json_array_foreach(words, i, word)
    {
        text_appendf(out, "%s%s", i ? " and " : "", json_string_value(word));
    }
}

void fact_told_value(struct text_buffer *out, const json_t *fact)
{
    const json_t *value = json_object_get(fact, "value"), *target = json_object_get(fact, "target");
    const json_t *observed = json_object_get(fact, "observed");
    if (json_is_number(observed)) {
        json_int_t lots = json_integer_value(json_object_get(fact, "lots"));
        text_appendf(out, "%.3g on %lld %s, %.2g by chance", json_number_value(observed),
                     (long long)lots, lots == 1 ? "lot" : "lots",
                     json_number_value(json_object_get(fact, "expected")));
        return;
    }
    if (json_is_string(value)) {
        text_append(out, json_string_value(value));
    } else if (json_is_number(value)) {
        text_appendf(out, "%.4g", json_number_value(value));
        fact_told_unit(out, text_of(fact, "unit"));
    }
    add_words(out, value);
    if (json_is_number(target))
        text_appendf(out, ", target %.4g", json_number_value(target));
}
