#include "desk/event.h"
#include "base/hash.h"
#include "base/uuid.h"
#include "intake/fields.h"
#include "intake/harm.h"
#include "rank/rank.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

json_t *event_urgent(const char *plant, const json_t *needs, const json_t *body, const json_t *lot)
{
    json_t *event =
        json_pack("{s:s, s:s, s:O}", "event", "urgent", "plant", plant, "needs", (json_t *)needs);
    for (const struct field *f = fields_all(); f->name; f++) {
        json_t *value = f->flags & FIELD_ALARM ? fields_get(body, f) : NULL;
        if (value)
            json_object_set(event, f->name, value);
    }
    json_t *id = json_object_get(body, "id");
    if (id)
        json_object_set(event, "complaint", id);
    if (lot)
        json_object_update(event, (json_t *)lot);
    return event;
}

static bool is_short(const json_t *value)
{
    enum { MOST = 200 };
    return json_is_integer(value) || (json_is_string(value) && json_string_length(value) <= MOST);
}

json_t *event_urgent_refused(const char *plant, const json_t *needs, const json_t *complaint,
                             const json_t *harm, const struct error *why)
{
    json_t *taken = json_object(), *id = json_object_get(complaint, "id");
    for (const struct field *f = fields_all(); f->name; f++) {
        json_t *value = f->flags & FIELD_ALARM ? fields_get(complaint, f) : NULL;
        if (is_short(value))
            fields_set_new(taken, f, json_incref(value));
    }
    if (is_short(id))
        json_object_set(taken, "id", id);
    json_object_del(taken, "harm");
    if (harm)
        json_object_set(taken, "harm", (json_t *)harm);
    json_t *event = event_urgent(plant, needs, taken, NULL);
    json_object_set_new(event, "lot", json_null());
    json_object_set_new(event, "refused",
                        json_sprintf("%s%s%s", why->field, why->field[0] ? ": " : "", why->text));
    if (why->source[0])
        json_object_set_new(event, "source", json_string(why->source));
    if (why->line)
        json_object_set_new(event, "line", json_integer(why->line));
    json_decref(taken);
    return event;
}

void event_urgent_possible(json_t *event)
{
    json_object_set_new(event, "harm", json_array());
    json_object_set_new(event, "possible", json_true());
}

void event_urgent_grave(json_t *event, const json_t *harm, const char *text)
{
    json_t *grave = harm_grave_of(harm, text);
    if (grave)
        json_object_set_new(event, "grave", grave);
}

json_t *event_case(const char *plant, int revision, const char *why, const json_t *ranking)
{
    assert(revision > 0);
    return json_pack("{s:s, s:s, s:i, s:s, s:O}", "event", "case", "plant", plant, "revision",
                     revision, "why", why, "ranking", (json_t *)ranking);
}

json_t *event_summary(const char *plant, int count, const char *rules, json_t *cases)
{
    return json_pack("{s:s, s:s, s:i, s:s, s:o}", "event", "summary", "plant", plant, "count",
                     count, "rules", rules, "cases", cases);
}

json_t *event_digest(const char *plant, const json_t *week)
{
    return json_pack("{s:s, s:s, s:O}", "event", "digest", "plant", plant, "week", (json_t *)week);
}

json_t *event_due(const char *plant, const char *day, const struct event_due_lists *lists)
{
    return json_pack("{s:s, s:s, s:s, s:o, s:I, s:o, s:I, s:o, s:I}", "event", "due", "plant",
                     plant, "day", day, "overdue", lists->overdue, "overdue_count",
                     (json_int_t)lists->overdue_count, "call_backs", lists->call_backs,
                     "call_back_count", (json_int_t)lists->call_back_count, "unreachable",
                     lists->unreachable, "unreachable_count", (json_int_t)lists->unreachable_count);
}

void event_message_id(const char *domain, int64_t now_ms, char *out, size_t size)
{
    assert(domain && *domain && size > 0);
    char uuid[UUID_TEXT];
    uuid_v7(now_ms, uuid);
    snprintf(out, size, "<%s@%s>", uuid, domain);
}

void event_again_id(const char *domain, const char *complaint, const char *marks, char *out,
                    size_t size)
{
    int length = snprintf(out, size, "<again-%s-%s%s%s%s", complaint, marks, domain ? "@" : "",
                          domain ? domain : "", domain ? ">" : "");
    if (domain && length >= (int)size)
        out[size - 2] = '>'; /* of a long domain the end is left out */
}

/* What mail addresses may not hold stands in no id: the name's hash does. */
static void id_of(const char *what, const char *domain, const char *plant, char *out, size_t size)
{
    if (plant)
        snprintf(out, size, "<%s-%016llx@%s>", what, (unsigned long long)hash_text(plant), domain);
    else
        snprintf(out, size, "<%s@%s>", what, domain);
}

void event_digest_id(const char *domain, const char *week, const char *plant, char *out,
                     size_t size)
{
    char what[48];
    snprintf(what, sizeof what, "digest-%.32s", week);
    id_of(what, domain, plant, out, size);
}

void event_due_id(const char *domain, const char *day, const char *plant, char *out, size_t size)
{
    char what[48];
    snprintf(what, sizeof what, "due-%.32s", day);
    id_of(what, domain, plant, out, size);
}

/* ---- is it worth a mail? ---- */

static const char *lot_reason(const struct ranking *was, const struct ranking *now)
{
    if (!was->lot_told || !now->lot_told)
        return NULL; /* of a time when a guess was told as the lot: then all would be news */
    if (strcmp(was->lot, now->lot) == 0)
        return NULL;
    if (!*now->lot)
        return "the lot told before is in doubt";
    return *was->lot ? "it is about another lot than told before" : "its lot is known now";
}

const char *event_case_reason(const struct ranking *was, const struct ranking *now)
{
    assert(now->cause_count >= 0);
    if (!was)
        return "a new case";
    if (now->harm && !was->harm)
        return "harm was reported";
    const char *lot = lot_reason(was, now);
    if (lot)
        return lot;
    if (now->moved_here > was->moved_here)
        return "another case was found to be about this lot";
    bool ranked = was->cause_count > 0 && now->cause_count > 0;
    if (ranked ? strcmp(was->causes[0].cause, now->causes[0].cause) != 0
               : was->cause_count != now->cause_count)
        return "the likeliest cause changed";
    if (now->complaints >= 2 * was->complaints && now->complaints > was->complaints)
        return "complaints doubled";
    if (2 * now->complaints <= was->complaints)
        return "half of its complaints or more were withdrawn or are about something else";
    if (!ranked) /* of a kind that has no causes */
        return NULL;
    if (rank_surer(was->causes[0].probability, now->causes[0].probability))
        return "the likeliest cause became more or less sure";
    return NULL;
}
