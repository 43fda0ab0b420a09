#include "rank/learning.h"
#include "rank/case_rank.h"

static const json_t *switches_of(const json_t *kept)
{
    return json_object_get(kept, "switches");
}

static void take(struct triage *triage, const json_t *kept)
{
    triage->learning = json_deep_copy(kept);
    if (learning_is_on(triage))
        triage_mark(triage, switches_of(kept));
}

int learning_apply(struct triage *triage, const json_t *kept, struct error *err)
{
    size_t i;
    const json_t *one;
    bool sound = json_array_size(switches_of(kept)) > 0;
    json_array_foreach(switches_of(kept), i, one)
    {
        sound = sound && json_is_boolean(json_object_get(one, "on")) &&
                json_is_string(json_object_get(one, "by")) &&
                json_is_string(json_object_get(one, "at")) &&
                json_is_integer(json_object_get(one, "at_ms"));
    }
    if (!sound)
        return error_set(err, ERROR_INVALID,
                         "whether rankings learn, as kept by the plant, cannot be read");
    take(triage, kept);
    for (int plant = 0; plant < triage->plant_count; plant++)
        take(triage->plants[plant].triage, kept);
    return 0;
}

bool learning_was_on(const struct triage *triage, int64_t at_ms)
{
    bool on = false;
    size_t i;
    const json_t *one;
    json_array_foreach(switches_of(triage->learning), i, one)
    {
        if (json_integer_value(json_object_get(one, "at_ms")) <= at_ms)
            on = json_is_true(json_object_get(one, "on"));
    }
    return on;
}

bool learning_is_on(const struct triage *triage)
{
    return learning_was_on(triage, INT64_MAX);
}

const json_t *learning_kept(const struct triage *triage)
{
    return triage->learning;
}

json_t *learning_switched(const struct triage *triage, const struct learning_switch *one)
{
    json_t *kept =
        triage->learning ? json_deep_copy(triage->learning) : json_pack("{s:[]}", "switches");
    json_array_append_new(json_object_get(kept, "switches"),
                          json_pack("{s:b, s:s, s:s, s:I}", "on", one->on, "by", one->by, "at",
                                    one->at, "at_ms", (json_int_t)one->at_ms));
    return kept;
}
