#include "serve/inbox_outcome.h"
#include <stdlib.h>
#include <string.h>

enum { SHOWN = 20 }; /* refused rows in a mail */

static void load_says(const json_t *load, struct text_buffer *out)
{
    const bool applied = json_is_true(json_object_get(load, "applied"));
    static const char *const COUNTS[][2] = {{"read", "rows read"},
                                            {"new", "new"},
                                            {"changed", "changed"},
                                            {"same", "the same"},
                                            {"refused_total", "refused"}};
    for (size_t i = 0; i < sizeof COUNTS / sizeof *COUNTS; i++)
        text_appendf(out, "%s%lld %s", i ? ", " : "",
                     (long long)json_integer_value(json_object_get(load, COUNTS[i][0])),
                     COUNTS[i][1]);
    if (applied && json_integer_value(json_object_get(load, "read")) == 0)
        text_append(out, "; there is no row under its header");
    if (!applied)
        text_append(out, "; nothing of it was applied");
}

static void row_says(const char *source, const json_t *row, struct text_buffer *out)
{
    struct error err = {.code = ERROR_INVALID};
    char text[1024];
    error_at(&err, source, (long)json_integer_value(json_object_get(row, "line")), 0);
    error_field(&err, json_string_value(json_object_get(row, "column")),
                json_string_value(json_object_get(row, "value")));
    const char *reason = json_string_value(json_object_get(row, "reason"));
    text_clip(reason ? reason : "", err.text, sizeof err.text);
    text_append(out, error_format(&err, text, sizeof text));
}

void inbox_outcome_report(const struct inbox_outcome *o, const char *name, const char *at,
                          struct text_buffer *out)
{
    char why[1024];
    size_t i, k;
    const json_t *load, *row;
    text_appendf(out, "%s, %s: %s\n", name, at, o->refused ? "refused" : "done");
    if (!o->loads)
        text_appendf(out, "%s\n", error_format(&o->why, why, sizeof why));
    json_array_foreach(o->loads, i, load)
    {
        text_appendf(out, "%s: ", json_string_value(json_object_get(load, "kind")));
        load_says(load, out);
        text_append(out, "\n");
    }
    json_array_foreach(o->loads, i, load)
    {
        json_array_foreach(json_object_get(load, "refused"), k, row)
        {
            row_says(name, row, out);
            text_append(out, "\n");
        }
    }
}

json_t *inbox_outcome_event(const struct inbox_outcome *o, const struct inbox_outcome_place *place)
{
    json_t *loads = json_array(), *rows = json_array();
    size_t i, k;
    const json_t *load, *row;
    char why[1024];
    json_array_foreach(o->loads, i, load)
    {
        struct text_buffer text = {0};
        load_says(load, &text);
        json_array_append_new(
            loads, json_pack("{sO ss}", "kind", json_object_get(load, "kind"), "says", text.data));
        text_buffer_free(&text);
        json_array_foreach(json_object_get(load, "refused"), k, row)
        {
            struct text_buffer one = {0};
            if (json_array_size(rows) == SHOWN)
                break;
            row_says(place->file, row, &one);
            json_array_append_new(rows, json_string(one.data));
            text_buffer_free(&one);
        }
    }
    return json_pack("{ss ss ss ss ss so so ss*}", "event", "records", "plant", place->plant,
                     "file", place->file, "outcome", o->refused ? "refused" : "done", "report",
                     place->report, "loads", loads, "refused", rows, "why",
                     o->loads ? NULL : error_format(&o->why, why, sizeof why));
}
