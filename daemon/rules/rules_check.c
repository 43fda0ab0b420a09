#include "rules/rules_check.h"
#include "base/jsonx.h"
#include "base/text.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void check_fail(struct rules_check *check, const char *pointer, const char *value,
                const char *format, ...)
{
    struct error error = {0};
    struct text_buffer text = {0};
    va_list args;
    va_start(args, format);
    text_vappendf(&text, format, args);
    va_end(args);
    long line = 0, column = 0;
    error_set(&error, ERROR_INVALID, "%s", text.data);
    text_buffer_free(&text);
    jsonx_locate(check->bytes, check->length, pointer, &line, &column);
    error_at(&error, check->source, line, column);
    error_field(&error, pointer, value);
    if (check->count < check->max)
        check->errors[check->count] = error;
    check->count++;
}

const char *check_at(char *buffer, size_t size, const char *pointer, const char *name)
{
    /* member names of rule files that reach here have no '/' or '~' but in words, escaped below */
    size_t used = (size_t)snprintf(buffer, size, "%s/", pointer);
    for (const char *p = name; *p && used + 3 < size; p++) {
        if (*p == '~' || *p == '/')
            used += (size_t)snprintf(buffer + used, size - used, "~%c", *p == '~' ? '0' : '1');
        else
            buffer[used++] = *p;
    }
    buffer[used < size ? used : size - 1] = '\0';
    return buffer;
}

const char *check_at_index(char *buffer, size_t size, const char *pointer, size_t index)
{
    char name[24];
    snprintf(name, sizeof name, "%zu", index);
    return check_at(buffer, size, pointer, name);
}

static bool in_list(const char *const *words, const char *word)
{
    for (; *words; words++)
        if (strcmp(*words, word) == 0)
            return true;
    return false;
}

void check_members(struct rules_check *check, const json_t *object, const char *pointer,
                   const char *const *known)
{
    const char *name;
    json_t *value;
    char where[256];
    json_object_foreach((json_t *)object, name, value) if (!in_list(known, name))
        check_fail(check, check_at(where, sizeof where, pointer, name), name, "no such member");
}

const char *check_text(struct rules_check *check, const json_t *object, const char *pointer,
                       const char *name)
{
    const json_t *value = json_object_get(object, name);
    const char *text = json_string_value(value);
    char where[256];
    if (text && *text)
        return text;
    check_fail(check, check_at(where, sizeof where, pointer, name), text,
               value ? "must be text that is not empty" : "'%s' is missing", name);
    return NULL;
}

bool check_number(struct rules_check *check, const json_t *object, const char *pointer,
                  const char *name, bool required, double low, double high, double *ret)
{
    const json_t *value = json_object_get(object, name);
    char where[256];
    check_at(where, sizeof where, pointer, name);
    if (!value) {
        if (required)
            check_fail(check, where, NULL, "'%s' is missing", name);
        return !required;
    }
    double number = json_number_value(value);
    if (!json_is_number(value) || !(number >= low && number <= high)) {
        check_fail(check, where, NULL, "must be a number from %g to %g", low, high);
        return false;
    }
    *ret = number;
    return true;
}

const char *check_word(struct rules_check *check, const json_t *object, const char *pointer,
                       const char *name, const char *const *words, bool required)
{
    const json_t *value = json_object_get(object, name);
    char where[256];
    if (!value && !required)
        return NULL;
    const char *text = json_string_value(value);
    if (text && in_list(words, text))
        return text;
    struct text_buffer list = {0};
    for (int i = 0; words[i]; i++)
        text_appendf(&list, "%s%s", i ? ", " : "", words[i]);
    check_fail(check, check_at(where, sizeof where, pointer, name), text, "'%s' must be one of %s",
               name, list.data);
    text_buffer_free(&list);
    return NULL;
}

static int add_fact(struct rules *rules, const struct fact_name *name, const struct change *change)
{
    for (int i = 0; i < rules->fact_count; i++) {
        const struct rule_fact *fact = &rules->facts[i];
        if (strcmp(fact->name.text, name->text) == 0 &&
            (fact->change && change ? change_equal(fact->change, change)
                                    : !fact->change && !change))
            return i;
    }
    rules->facts = xrealloc(rules->facts, (size_t)(rules->fact_count + 1) * sizeof *rules->facts);
    rules->facts[rules->fact_count] = (struct rule_fact){
        .name = *name,
        .change = change ? memcpy(xcalloc(1, sizeof *change), change, sizeof *change) : NULL,
        .slot = name->per_complaint ? rules->complaint_slots++ : rules->lot_slots++};
    return rules->fact_count++;
}

int check_fact(struct rules_check *check, const json_t *object, const char *pointer,
               const struct change *change)
{
    const char *text = check_text(check, object, pointer, "fact");
    struct fact_name name;
    struct error error = {0};
    char where[256];
    if (!text)
        return -1;
    if (vocabulary_fact(check->rules->vocabulary, text, &name, &error)) {
        check_fail(check, check_at(where, sizeof where, pointer, "fact"), text, "no such fact");
        return -1;
    }
    return add_fact(check->rules, &name, name.kind == FACT_MODEL ? change : NULL);
}

static void check_guard_words(struct rules_check *check, const json_t *guard, const char *pointer,
                              struct rule_guard *ret)
{
    const json_t *words = json_object_get(guard, "in");
    const struct fact_name *name = ret->fact >= 0 ? &check->rules->facts[ret->fact].name : NULL;
    char where[256], each[256];
    check_at(where, sizeof where, pointer, "in");
    if (!words)
        return;
    if (!json_is_array(words) || !json_array_size(words)) {
        check_fail(check, where, NULL, "must be a list of words");
        return;
    }
    ret->words = xcalloc(json_array_size(words), sizeof *ret->words);
    for (size_t i = 0; i < json_array_size(words); i++) {
        const char *word = json_string_value(json_array_get(words, i));
        check_at_index(each, sizeof each, where, i);
        if (!word || (name && (!name->words || (name->allowed && !in_list(name->allowed, word)))))
            check_fail(check, each, word, "not a word of this fact");
        else
            ret->words[ret->word_count++] = word;
    }
}

void check_guard(struct rules_check *check, const json_t *object, const char *pointer,
                 const char *name, struct rule_guard *ret)
{
    static const char *const KNOWN[] = {"fact", "in", "from", "to", NULL};
    const json_t *guard = json_object_get(object, name);
    char where[256];
    *ret = (struct rule_guard){.fact = -1, .from = -INFINITY, .to = INFINITY};
    if (!guard)
        return;
    check_at(where, sizeof where, pointer, name);
    if (!json_is_object(guard)) {
        check_fail(check, where, NULL, "must be an object with 'fact'");
        return;
    }
    check_members(check, guard, where, KNOWN);
    ret->fact = check_fact(check, guard, where, NULL);
    check_guard_words(check, guard, where, ret);
    check_number(check, guard, where, "from", false, -1e12, 1e12, &ret->from);
    check_number(check, guard, where, "to", false, -1e12, 1e12, &ret->to);
    if (!json_object_get(guard, "in") && !json_object_get(guard, "from") &&
        !json_object_get(guard, "to"))
        check_fail(check, where, NULL, "needs 'in', 'from' or 'to'");
}

unsigned check_symptoms(struct rules_check *check, const json_t *object, const char *pointer)
{
    const json_t *list = json_object_get(object, "symptoms");
    char where[256], each[256];
    unsigned bits = 0;
    if (!list)
        return (1u << SYMPTOMS) - 1;
    check_at(where, sizeof where, pointer, "symptoms");
    if (!json_is_array(list) || !json_array_size(list))
        check_fail(check, where, NULL, "must be a list of symptoms");
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *name = json_string_value(json_array_get(list, i));
        int symptom = symptom_of(name);
        check_at_index(each, sizeof each, where, i);
        if (symptom < 0)
            check_fail(check, each, name, "no such symptom");
        else
            bits |= 1u << symptom;
    }
    return bits;
}

bool check_curve(struct rules_check *check, const json_t *curve, const char *pointer, double low,
                 double high, struct rule_point **ret, int *ret_count)
{
    size_t count = json_array_size(curve);
    size_t before = check->count;
    char where[256];
    if (!json_is_array(curve) || count < 2 || count > 64) {
        check_fail(check, pointer, NULL, "must be a list of 2 to 64 points [x, y]");
        return false;
    }
    struct rule_point *points = xcalloc(count, sizeof *points);
    for (size_t i = 0; i < count; i++) {
        const json_t *point = json_array_get(curve, i);
        const json_t *x = json_array_get(point, 0), *y = json_array_get(point, 1);
        check_at_index(where, sizeof where, pointer, i);
        if (json_array_size(point) != 2 || !json_is_number(x) || !json_is_number(y)) {
            check_fail(check, where, NULL, "must be a point: two numbers [x, y]");
            continue;
        }
        points[i] = (struct rule_point){json_number_value(x), json_number_value(y)};
        if (!isfinite(points[i].x) || !(points[i].bits >= low && points[i].bits <= high))
            check_fail(check, where, NULL, "y must lie from %g to %g", low, high);
        if (i && !(points[i].x > points[i - 1].x))
            check_fail(check, where, NULL, "x must be larger than in the point before");
    }
    if (check->count != before) {
        free(points);
        return false;
    }
    *ret = points;
    *ret_count = (int)count;
    return true;
}
