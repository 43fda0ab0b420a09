/* Loads a rules folder as the daemon does and prints every error: rules_check DIR */
#include "intake/lexicon.h"
#include "rules/rules.h"
#include <stdio.h>

static void print_fault(void *arg, const struct error *fault)
{
    char text[1024];
    (void)arg;
    fprintf(stderr, "%s\n", error_format(fault, text, sizeof text));
}

int main(int argc, char **argv)
{
    struct lexicon *lexicon = NULL;
    struct rules *rules = NULL;
    char path[1024];
    if (argc != 2) {
        fprintf(stderr, "usage: rules_check DIR\n");
        return 2;
    }
    int rc = rules_load(argv[1], print_fault, NULL, &rules, NULL);
    snprintf(path, sizeof path, "%s/lexicon", argv[1]);
    int words = lexicon_load(path, print_fault, NULL, &lexicon, NULL);
    rc = rc ? rc : words;
    if (!rc)
        printf("%d causes, %d facts, %d questions, %s\n", rules->cause_count, rules->fact_count,
               rules->ask_count, rules->hash);
    lexicon_free(lexicon);
    rules_free(rules);
    return rc ? 1 : 0;
}
