/* Loads a rules folder as the daemon does and prints every error: rules_check DIR */
#include "base/units.h"
#include "intake/lexicon.h"
#include "rules/catalogue_inside.h"
#include "rules/rules.h"
#include <stdio.h>
#include <string.h>

static void print_fault(void *arg, const struct error *fault)
{
    char text[1024];
    (void)arg;
    fprintf(stderr, "%s\n", error_format(fault, text, sizeof text));
}

/* A new unit's suffix is easily forgotten: then a name is read as of any unit. */
static int names_say_their_units(const struct catalogue *catalogue)
{
    int faults = 0;
    for (int i = 0; i < catalogue->quantity_count; i++) {
        const struct catalogue_quantity *q = &catalogue->quantities[i];
        const char *suffix;
        if (q->words || strcmp(q->unit, "1") == 0 || units_promised(q->name, &suffix))
            continue;
        fprintf(stderr, "%s: its name does not end in %s: base/units.c has the suffixes\n", q->name,
                q->unit);
        faults++;
    }
    return faults;
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
    rc = rc ? rc : names_say_their_units(rules->catalogue);
    if (!rc)
        printf("%d causes, %d facts, %d questions, %s\n", rules->cause_count, rules->fact_count,
               rules->ask_count, rules->hash);
    lexicon_free(lexicon);
    rules_free(rules);
    return rc ? 1 : 0;
}
