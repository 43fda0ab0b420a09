/* The list of labelled notes (tests/intake/harm.tsv), read by whichever reader of harm is tested.
 */
#ifndef ODDLOAF_TESTS_INTAKE_HARM_LIST_H
#define ODDLOAF_TESTS_INTAKE_HARM_LIST_H

#include "check.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum harm_list_label { LABEL_HARM, LABEL_HARMLESS, LABEL_POSSIBLE, LABELS };
enum harm_list_heard { HEARD_NOTHING, HEARD_POSSIBLE, HEARD_SAID, HEARD };

struct harm_list {
    int heard[LABELS][HEARD];
    int of[LABELS]; /* all of that label */
};

/* "" nothing, "possible", or kinds. The caller frees. */
typedef char *(*harm_list_reader)(const char *note);

static inline struct harm_list harm_list_count(harm_list_reader reader)
{
    static const char *const labels[LABELS] = {"harm", "harmless", "possible"};
    static char line[4096];
    struct harm_list list = {{{0}}, {0}};
    FILE *file = fopen(ODDLOAF_SOURCE_DIR "/tests/intake/harm.tsv", "re");
    assert_non_null(file);
    while (fgets(line, sizeof line, file)) {
        size_t length = strcspn(line, "\t");
        char *text = strchr(line + length + 1, '\t') + 1;
        text[strcspn(text, "\n")] = '\0';
        char *got = reader(text);
        int heard = !*got                          ? HEARD_NOTHING
                    : strcmp(got, "possible") == 0 ? HEARD_POSSIBLE
                                                   : HEARD_SAID;
        for (int i = 0; i < LABELS; i++) {
            if (length != strlen(labels[i]) || strncmp(line, labels[i], length) != 0)
                continue;
            list.heard[i][heard]++;
            list.of[i]++;
        }
        free(got);
    }
    fclose(file);
    assert_true(list.of[LABEL_HARM] > 250 && list.of[LABEL_HARMLESS] > 250);
    return list;
}

#endif
