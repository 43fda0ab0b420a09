/* Loads a rules folder as the daemon does and prints every error: rules_check DIR */
#include "intake/lexicon.h"
#include "rules/rules.h"
#include <stdio.h>

int main(int argc, char **argv)
{
    static struct error errors[200];
    struct error lexicon_error = {0};
    struct lexicon *lexicon = NULL;
    struct rules *rules = NULL;
    char path[1024], text[1024];
    size_t count = 0;
    if (argc != 2) {
        fprintf(stderr, "usage: rules_check DIR\n");
        return 2;
    }
    int rc = rules_load(argv[1], &rules, errors, sizeof errors / sizeof errors[0], &count);
    for (size_t i = 0; i < count && i < sizeof errors / sizeof errors[0]; i++)
        fprintf(stderr, "%s\n", error_format(&errors[i], text, sizeof text));
    snprintf(path, sizeof path, "%s/lexicon", argv[1]);
    if (lexicon_load(path, &lexicon, &lexicon_error)) {
        fprintf(stderr, "%s\n", error_format(&lexicon_error, text, sizeof text));
        rc = ERROR_INVALID;
    }
    if (!rc)
        printf("%d causes, %d facts, %d questions, %s\n", rules->cause_count, rules->fact_count,
               rules->ask_count, rules->hash);
    lexicon_free(lexicon);
    rules_free(rules);
    return rc ? 1 : 0;
}
