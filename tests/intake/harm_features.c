/* What of each note may weigh, for harm_weights.py: reads lines "label<TAB>language<TAB>text" and
 * writes "label<TAB>language<TAB>kinds of harm that phrases say<TAB>feature<TAB>feature...".
 * usage: harm_features [RULES] <LIST */
#include "intake/common_words.h"
#include "intake/fields.h"
#include "intake/harm_weights_inside.h"
#include "intake/harm_words.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE = 1 << 17 };

static void print_feature(void *arg, int word, const char *feature)
{
    (void)arg;
    (void)word;
    printf("\t%s", feature);
}

static void print_note(const struct harm_words *words, const char *label, const char *language,
                       const char *text)
{
    struct harm_hearing hearing;
    struct note_word *note;
    harm_words_hear(words, text, &hearing);
    printf("%s\t%s\t", label, language);
    for (int i = 0; i < hearing.count; i++)
        if (hearing.heard[i].kind != HARM_WORDS_POSSIBLE)
            printf("%s ", fields_find("harm")->words[hearing.heard[i].kind].word);
    int length = lexicon_split(text, &note);
    lexicon_squeeze(note, length);
    for (int at = 0; at < length; at++)
        harm_weights_word(note, length, at, print_feature, NULL);
    putchar('\n');
    free(note);
    harm_words_hearing_done(&hearing);
}

int main(int argc, char **argv)
{
    static char line[LINE];
    const char *rules = argc > 1 ? argv[1] : ODDLOAF_SOURCE_DIR "/rules";
    char path[1024], text[1024];
    struct error err = {0};
    struct common_words *common = NULL;
    struct harm_words *words = NULL;
    snprintf(path, sizeof path, "%s/lexicon/common", rules);
    int rc = common_words_load(path, NULL, NULL, &common, &err);
    snprintf(path, sizeof path, "%s/lexicon/harm", rules);
    if (!rc)
        rc = harm_words_load(path, common, NULL, NULL, &words, &err);
    if (rc) {
        fprintf(stderr, "%s\n", error_format(&err, text, sizeof text));
        return 1;
    }
    while (fgets(line, sizeof line, stdin)) {
        char *language = strchr(line, '\t'), *said = language ? strchr(language + 1, '\t') : NULL;
        if (!said)
            continue;
        *language++ = *said++ = '\0';
        said[strcspn(said, "\r\n")] = '\0';
        print_note(words, line, language, said);
    }
    harm_words_free(words);
    common_words_free(common);
    return 0;
}
