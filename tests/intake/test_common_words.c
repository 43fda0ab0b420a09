/* No word of Debian's lists is taken for a slip of one of the lexicon's. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/text.h"
#include "intake/harm_words_inside.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { SKIPPED = 77, LANGUAGES = 2 };

static struct lexicon *lexicon;

static bool is_own(const struct harm_language *language, const struct note_word *word)
{
    uint32_t begin = HARM_HASH, end = HARM_HASH;
    bool part = false;
    for (size_t length = 1; length <= word->length; length++) {
        const char *from = word->text + word->length - length;
        begin = harm_words_hash_next(begin, word->text[length - 1]);
        end = harm_words_hash_next(end, *from);
        part =
            part ||
            harm_words_language_find(language, word->text, length, begin, HARM_FORM_BEGINS) >= 0 ||
            harm_words_language_find(language, from, length, end, HARM_FORM_ENDS) >= 0;
    }
    return part || harm_words_language_find(language, word->text, word->length, begin,
                                            HARM_FORM_WHOLE) >= 0;
}

static const char *taken_for_harm(const struct note_word *word)
{
    for (int l = 0; l < lexicon->harm->count; l++) {
        const struct harm_language *language = &lexicon->harm->languages[l];
        int other =
            is_own(language, word) ? -1 : harm_words_misspelled(lexicon->harm, language, word);
        if (other >= 0)
            return language->words[other].text;
    }
    return NULL;
}

/* Each word of a language's phrases once: there are thousands of phrases of the same words. */
static struct {
    const struct lexeme **items;
    int count;
} own[LANGUAGES];

static int by_text(const void *left, const void *right)
{
    const struct lexeme *const *a = left, *const *b = right;
    return strcmp((*a)->text, (*b)->text);
}

static void collect_own(void)
{
    for (int l = 0; l < lexicon->count && l < LANGUAGES; l++) {
        const struct lexicon_language *language = &lexicon->languages[l];
        int all = 0, count = 0;
        for (int i = 0; i < language->phrase_count; i++)
            all += language->phrases[i].words.count;
        own[l].items = xcalloc((size_t)all + 1, sizeof(struct lexeme *));
        for (int i = 0; i < language->phrase_count; i++)
            for (int k = 0; k < language->phrases[i].words.count; k++)
                if (language->phrases[i].words.items[k].length)
                    own[l].items[count++] = &language->phrases[i].words.items[k];
        qsort(own[l].items, (size_t)count, sizeof(struct lexeme *), by_text);
        for (int i = 0; i < count; i++)
            if (!i || by_text(&own[l].items[i - 1], &own[l].items[i]) != 0 ||
                own[l].items[i - 1]->prefix != own[l].items[i]->prefix)
                own[l].items[own[l].count++] = own[l].items[i];
    }
}

/* The lexicon's word that `word` is read as, though it is another; NULL if none. */
static const char *taken_for(struct note_word *word)
{
    word->known = lexicon_knows(lexicon, word->text);
    for (int l = 0; l < lexicon->count; l++) {
        const struct lexicon_language *language = &lexicon->languages[l];
        lexicon_measure(language, word, 1);
        for (int k = 0; k < language->set_count; k++)
            if (word->sets[k] > 0)
                return language->sets[k].name;
        for (int i = 0; i < own[l].count; i++)
            if (lexicon_distance(own[l].items[i], word) > 0)
                return own[l].items[i]->text;
    }
    return taken_for_harm(word);
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
    collect_own();
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    for (int l = 0; l < LANGUAGES; l++)
        free(own[l].items);
    lexicon_free(lexicon);
    return failed;
}
