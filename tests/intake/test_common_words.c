/* No word of Debian's lists is taken for a slip of one of the lexicon's. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "intake/lexicon_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SKIPPED = 77 };

static struct lexicon *lexicon;

/* The lexicon's word that `word` is read as, though it is another; NULL if none. */
static const char *taken_for(struct note_word *word)
{
    word->known = lexicon_knows(lexicon, word->text);
    for (int l = 0; l < lexicon->count; l++) {
        const struct language *language = &lexicon->languages[l];
        lexicon_measure_sets(language, word, 1);
        for (int k = 0; k < language->set_count; k++)
            if (word->sets[k] > 0)
                return language->sets[k].name;
        for (int i = 0; i < language->phrase_count; i++)
            for (int k = 0; k < language->phrases[i].words.count; k++)
                if (lexicon_distance(language, &language->phrases[i].words.items[k], word) > 0)
                    return language->phrases[i].words.items[k].text;
    }
    return NULL;
}

static void check_list(const char *path)
{
    char line[256];
    int wrong = 0;
    long count = 0;
    FILE *file = fopen(path, "re");
    assert_non_null(file);
    for (; fgets(line, sizeof line, file); count++) {
        struct note_word *words;
        line[strcspn(line, "\n")] = '\0';
        int length = lexicon_split(line, &words);
        for (int i = 0; i < length; i++) {
            const char *other = taken_for(&words[i]);
            if (other && wrong++ < 20)
                print_error("%s is taken for %s\n", line, other);
        }
        free(words);
    }
    fclose(file);
    assert_true(count > 10000);
    assert_int_equal(wrong, 0);
}

static void english_words_are_no_slips(void **state)
{
    (void)state;
    check_list("/usr/share/dict/american-english-small");
}

static void spanish_words_are_no_slips(void **state)
{
    (void)state;
    check_list("/usr/share/dict/spanish");
}

static void a_slip_is_still_one(void **state)
{
    struct note_word *words;
    (void)state;
    assert_int_equal(lexicon_split("vineger", &words), 1);
    assert_non_null(taken_for(&words[0]));
    free(words);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(english_words_are_no_slips),
        cmocka_unit_test(spanish_words_are_no_slips),
        cmocka_unit_test(a_slip_is_still_one),
    };
    if (access("/usr/share/dict/american-english-small", R_OK) ||
        access("/usr/share/dict/spanish", R_OK)) {
        fprintf(stderr, "skipped: wamerican-small and wspanish are not installed\n");
        return SKIPPED;
    }
    if (lexicon_load(ODDLOAF_SOURCE_DIR "/rules/lexicon", NULL, NULL, &lexicon, NULL))
        return 1;
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    lexicon_free(lexicon);
    return failed;
}
