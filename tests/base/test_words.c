/* Lists of words in one text, and levels with the plant they are of. */
#include "base/plant_level.h"
#include "base/words.h"
#include "check.h"
#include <stdlib.h>
#include <string.h>

static void places_of_words(void **state)
{
    static const struct {
        const char *words, *word;
        int place;
    } CASES[] = {{"a bc d", "a", 0},    {"a bc d", "bc", 1}, {"a bc d", "d", 2},
                 {"a bc d", "b", -1},   {"a bc d", "c", -1}, {"a  bc", "bc", 1},
                 {"a bc d", "bcd", -1}, {"", "a", -1},       {"abc", "ab", -1},
                 {"ab", "abc", -1},     {"a bc d", "", -1}};
    char buffer[8];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        assert_int_equal(words_place(CASES[i].words, CASES[i].word), CASES[i].place);
        assert_int_equal(words_has(CASES[i].words, CASES[i].word), CASES[i].place >= 0);
        if (CASES[i].place >= 0)
            assert_string_equal(words_at(CASES[i].words, CASES[i].place, buffer, sizeof buffer),
                                CASES[i].word);
    }
    assert_string_equal(words_at("a bc d", 3, buffer, sizeof buffer), "");
    assert_string_equal(words_at("", 0, buffer, sizeof buffer), "");
    assert_string_equal(words_at("abcdefghij", 0, buffer, sizeof buffer), "abcdefg");
}

static void words_in_a_sentence(void **state)
{
    static const struct {
        const char *words, *said;
    } CASES[] = {
        {"", ""}, {"rye", "rye"}, {"rye bun", "rye or bun"}, {"rye bun rusk", "rye, bun or rusk"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct text_buffer out = {0};
        words_or(CASES[i].words, &out);
        assert_string_equal(out.data ? out.data : "", CASES[i].said);
        text_buffer_free(&out);
    }
}

static void levels_of_a_plant(void **state)
{
    static const struct {
        const char *level, *plant, *said;
    } CASES[] = {{"2", "north", "2 (north)"},
                 {"", "north", "(north)"},
                 {"2", "", "2"},
                 {"2", NULL, "2"},
                 {"", "", ""}};
    char buffer[PLANT_LEVEL], longest[LENGTH_NAME + 2], plant[LENGTH_CODE + 2];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *row = json_object();
        json_object_set_new(row, "line", json_string(CASES[i].level));
        plant_level_set(row, CASES[i].plant);
        assert_int_equal(json_object_get(row, "plant") != NULL, CASES[i].plant && *CASES[i].plant);
        assert_string_equal(plant_level(CASES[i].level, CASES[i].plant, buffer), CASES[i].said);
        assert_string_equal(plant_level_of(row, "line", buffer), CASES[i].said);
        json_object_del(row, "plant");
        assert_string_equal(plant_level_of(row, "line", buffer), CASES[i].level);
        assert_string_equal(plant_level_of(row, "shift", buffer), "");
        json_decref(row);
    }
    memset(longest, 'l', sizeof longest);
    memset(plant, 'p', sizeof plant);
    longest[LENGTH_NAME + 1] = plant[LENGTH_CODE + 1] = '\0';
    plant_level(longest, plant, buffer); /* each cut to what it may have */
    assert_int_equal(strlen(buffer), LENGTH_NAME + LENGTH_CODE + 3);
    assert_string_equal(strchr(buffer, ' ') + LENGTH_CODE, "pp)");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(places_of_words),
        cmocka_unit_test(words_in_a_sentence),
        cmocka_unit_test(levels_of_a_plant),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
