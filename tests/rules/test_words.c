/* What a complaint can say is heard: every word of every observation is weighed by some cause,
 * among the answers of a question and read from notes in some language, and the schemas name the
 * words of the table. test_words [FOLDER]: another one than the source, with rules/ and daemon/ in
 * it. */
#include "../check.h"
#include "base/jsonx.h"
#include "rules/rules.h"
#include <string.h>

static struct rules *rules;
static const char *source = ODDLOAF_SOURCE_DIR;

static int load(void **state)
{
    (void)state;
    char path[512];
    snprintf(path, sizeof path, "%s/rules", source);
    return rules_load(path, NULL, NULL, &rules, NULL);
}

static int unload(void **state)
{
    (void)state;
    rules_free(rules);
    return 0;
}

static bool is_weighed(int fact, const char *word)
{
    for (int c = 0; c < rules->cause_count; c++)
        for (int e = 0; e < rules->causes[c].evidence_count; e++) {
            const struct rule_evidence *item = &rules->causes[c].evidence[e];
            for (int w = 0; item->fact == fact && w < item->word_count; w++)
                if (strcmp(item->words[w].word, word) == 0)
                    return true;
        }
    return false;
}

static const struct rule_ask *ask_of(int fact)
{
    for (int i = 0; i < rules->ask_count; i++)
        if (rules->asks[i].fact == fact)
            return &rules->asks[i];
    return NULL;
}

static bool is_answer(const struct rule_ask *ask, const char *word)
{
    for (int i = 0; i < ask->answer_count; i++)
        if (strcmp(ask->answers[i].word, word) == 0)
            return true;
    return false;
}

static void every_observation_is_asked_and_weighed(void **state)
{
    (void)state;
    for (const struct field *f = fields_all(); f->name; f++) {
        const char *name = fields_leaf(f);
        bool asked = strncmp(f->name, "observed/", 9) == 0; /* the channel nobody needs to ask */
        struct fact_name known;
        if (fields_fact(name) != f)
            continue;
        assert_int_equal(vocabulary_fact(rules->vocabulary, name, &known, NULL), 0);
        int fact = rules_fact(rules, name);
        if (fact < 0 || (asked && !ask_of(fact)))
            fail_msg("%s: no question asks for it, or no cause speaks of it", name);
        for (const struct field_word *w = known.allowed; w && w->word; w++) {
            if (strcmp(w->word, "unknown") == 0)
                continue;
            if (!is_weighed(fact, w->word))
                fail_msg("%s %s: no cause weighs it", name, w->word);
            if (asked && !is_answer(ask_of(fact), w->word))
                fail_msg("%s %s: no answer of its question", name, w->word);
        }
    }
}

/* A list that has two words of a field has all of them, and no others. */
static void compare_list(const char *file, const json_t *list)
{
    for (const struct field *f = fields_all(); f->name; f++) {
        size_t count = 0, found = 0;
        for (const struct field_word *w = f->words; w && w->word; w++, count++)
            for (size_t i = 0; i < json_array_size(list); i++)
                found += strcmp(json_string_value(json_array_get(list, i)), w->word) == 0;
        bool ranked = strcmp(f->name, "symptom") == 0 && strncmp(file, "rules/", 6) == 0;
        if (ranked) /* no rule speaks of other things */
            count = SYMPTOMS;
        if (found > 1 && (found != count || json_array_size(list) != count))
            fail_msg("%s: an enum has other words than %s", file, f->name);
    }
}

static int compare_enums(const char *file, const json_t *value)
{
    int symptoms = 0;
    const char *name;
    json_t *member;
    size_t i;
    json_object_foreach((json_t *)value, name, member)
    {
        if (strcmp(name, "enum") == 0 && json_is_string(json_array_get(member, 0))) {
            compare_list(file, member);
            symptoms += strcmp(json_string_value(json_array_get(member, 0)), "mold") == 0;
        }
        symptoms += compare_enums(file, member);
    }
    json_array_foreach(value, i, member) symptoms += compare_enums(file, member);
    return symptoms;
}

static void schemas_name_the_same_words(void **state)
{
    static const char *const FILES[] = {
        "rules/schema/asks",           "rules/schema/cause",
        "rules/schema/lexicon",        "rules/schema/cautions",
        "daemon/serve/answers/find",   "daemon/serve/answers/complaint",
        "daemon/serve/answers/common", "daemon/serve/answers/holds",
        "daemon/serve/answers/rank"};
    int found = 0;
    (void)state;
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++) {
        char path[512];
        json_t *schema = NULL;
        snprintf(path, sizeof path, "%s/%s.schema.json", source, FILES[i]);
        assert_int_equal(jsonx_load(path, &schema, NULL), 0);
        found += compare_enums(FILES[i], schema);
        json_decref(schema);
    }
    assert_true(found >= 5);
}

/* The words of a field that some lexicon reads. */
static void note_words(const char *field, const char *language, json_t *found)
{
    char path[512];
    json_t *lexicon = NULL, *one;
    size_t i;
    snprintf(path, sizeof path, "%s/rules/lexicon/%s.json", source, language);
    assert_int_equal(jsonx_load(path, &lexicon, NULL), 0);
    json_array_foreach(json_object_get(lexicon, "fields"), i, one)
    {
        if (strcmp(json_string_value(json_object_get(one, "field")), field) == 0)
            json_object_update(found, json_object_get(one, "words"));
    }
    json_decref(lexicon);
}

/* Of a field that notes are read for, every word is: one that is not would never be heard there. */
static void notes_are_read_for_every_word(void **state)
{
    int read = 0;
    (void)state;
    for (const struct field *f = fields_all(); f->name; f++) {
        json_t *found = json_object();
        note_words(f->name, "en", found);
        note_words(f->name, "es", found);
        for (const struct field_word *w = f->words; w && w->word && json_object_size(found); w++) {
            /* files of their own read harm: intake/harm_words.h */
            bool says = strcmp(w->word, "unknown") != 0 && strcmp(f->name, "harm") != 0;
            if (says && !json_object_get(found, w->word))
                fail_msg("%s %s: no lexicon reads it from a note", f->name, w->word);
            read++;
        }
        json_decref(found);
    }
    assert_true(read > 30);
}

int main(int argc, char **argv)
{
    if (argc > 1)
        source = argv[1];
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_observation_is_asked_and_weighed),
        cmocka_unit_test(notes_are_read_for_every_word),
        cmocka_unit_test(schemas_name_the_same_words),
    };
    return cmocka_run_group_tests(tests, load, unload);
}
