/* How well harm is heard: reads lines "label<TAB>language<TAB>text" (label: harm, harmless,
 * possible) and says how many of each were taken as said, as possible and as nothing. usage:
 * harm_measure [-v|-k] [RULES] <LIST
 *   -v names each line that was taken wrongly, -k the kinds that each line was taken for, and why
 */
#include "intake/common_words.h"
#include "intake/fields.h"
#include "intake/harm_note.h"
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LABELS = 3, LANGUAGES = 20, LINE = 1 << 17 };
static const char *const LABEL[LABELS] = {"harm", "harmless", "possible"};
static const char *const LEVEL[3] = {"nothing", "possible", "said"};

struct readers {
    struct common_words *common;
    struct harm_words *words;
    struct harm_weights *weights;
};

struct tally {
    char language[12];
    int counts[LABELS][3];
};

static struct tally *tally_of(struct tally *tallies, int *count, const char *language)
{
    for (int i = 0; i < *count; i++)
        if (strcmp(tallies[i].language, language) == 0)
            return &tallies[i];
    if (*count == LANGUAGES)
        return &tallies[0];
    snprintf(tallies[*count].language, sizeof tallies[0].language, "%s", language);
    return &tallies[(*count)++];
}

static int label_of(const char *text)
{
    for (int i = 0; i < LABELS; i++)
        if (strcmp(LABEL[i], text) == 0)
            return i;
    return -1;
}

static void print_kinds(const struct readers *by, const char *text)
{
    const struct field_word *kinds = fields_find("harm")->words;
    struct harm_heard *heard = NULL;
    int count = harm_note_read(by->words, by->weights, text, &heard);
    for (int i = 0; i < count; i++)
        printf("%s%s (%.*s)", i ? ", " : "",
               heard[i].kind < 0 ? "possible" : kinds[heard[i].kind].word,
               (int)(heard[i].to - heard[i].from), text + heard[i].from);
    printf("%s: %s\n", count ? "" : "nothing", text);
    free(heard);
}

/* 0 nothing, 1 possible, 2 said; *ret_why: the first words that say so. */
static int level_of(const struct readers *by, const char *text, char *ret_why, size_t size)
{
    struct harm_heard *heard = NULL;
    int count = harm_note_read(by->words, by->weights, text, &heard);
    int level = !count ? 0 : heard[0].kind < 0 ? 1 : 2;
    snprintf(ret_why, size, "%.*s", count ? (int)(heard[0].to - heard[0].from) : 0,
             count ? text + heard[0].from : "");
    free(heard);
    return level;
}

static bool is_wrong(int label, int level)
{
    return label == 0 ? level != 2 : label == 1 ? level == 2 : level == 0;
}

static void print(const struct tally *t)
{
    for (int label = 0; label < LABELS; label++) {
        const int *n = t->counts[label];
        int all = n[0] + n[1] + n[2];
        if (all)
            printf("%-8s %-9s %5d  said %.3f  possible %.3f  nothing %.3f\n", t->language,
                   LABEL[label], all, (double)n[2] / all, (double)n[1] / all, (double)n[0] / all);
    }
}

static int load(const char *rules, struct readers *ret, struct error *err)
{
    char path[1024];
    snprintf(path, sizeof path, "%s/lexicon/common", rules);
    int rc = common_words_load(path, NULL, NULL, &ret->common, err);
    snprintf(path, sizeof path, "%s/lexicon/harm", rules);
    if (!rc)
        rc = harm_words_load(path, ret->common, NULL, NULL, &ret->words, err);
    snprintf(path, sizeof path, "%s/lexicon/weights", rules);
    return rc ? rc : harm_weights_load(path, NULL, NULL, &ret->weights, err);
}

static void unload(struct readers *by)
{
    harm_weights_free(by->weights);
    harm_words_free(by->words);
    common_words_free(by->common);
}

int main(int argc, char **argv)
{
    static struct tally tallies[LANGUAGES] = {{.language = "all"}};
    static char line[LINE];
    bool kinds = argc > 1 && strcmp(argv[1], "-k") == 0;
    bool verbose = argc > 1 && strcmp(argv[1], "-v") == 0;
    int option = verbose || kinds;
    const char *rules = argc > 1 + option ? argv[1 + option] : ODDLOAF_SOURCE_DIR "/rules";
    char text[1024];
    struct error err = {0};
    struct readers by = {0};
    int count = 1;
    if (load(rules, &by, &err)) {
        fprintf(stderr, "%s\n", error_format(&err, text, sizeof text));
        return 1;
    }
    while (fgets(line, sizeof line, stdin)) {
        char *language = strchr(line, '\t'), *said = language ? strchr(language + 1, '\t') : NULL;
        if (!said)
            continue;
        *language++ = *said++ = '\0';
        said[strcspn(said, "\r\n")] = '\0';
        int label = label_of(line);
        if (label < 0)
            continue;
        int level = level_of(&by, said, text, sizeof text);
        if (kinds)
            print_kinds(&by, said);
        tallies[0].counts[label][level]++;
        tally_of(tallies, &count, language)->counts[label][level]++;
        if (verbose && is_wrong(label, level))
            printf("%s taken as %s (%s): %s\n", LABEL[label], LEVEL[level], text, said);
    }
    for (int i = 0; i < count; i++)
        print(&tallies[i]);
    unload(&by);
    return 0;
}
