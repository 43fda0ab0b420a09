#include "commands/asked.h"
#include "base/text.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

bool asked_can(const struct client *c)
{
    return !c->json && isatty(STDIN_FILENO) && c->view.terminal;
}

bool asked_yes(const struct client *c, const char *question)
{
    char *line = NULL;
    size_t size = 0;
    char folded[16] = "";
    view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s Type yes:", question);
    fflush(c->view.out);
    if (getline(&line, &size, stdin) > 0)
        text_fold(line, folded, sizeof folded);
    free(line);
    return strcmp(folded, "yes") == 0;
}
