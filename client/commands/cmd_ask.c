#include "commands/case_path.h"
#include "commands/command.h"
#include "show/pick.h"
#include "show/show.h"

static const struct {
    const char *of, *title;
} groups[] = {{"caller", NULL}, {"plant", "Look up in the plant"}, {"lab", "Test"}};

static void show(const struct client *c, const json_t *document)
{
    const json_t *list = json_object_get(document, "ask");
    char title[SHOW_TITLE];
    case_path_title(c, document);
    if (json_array_size(list) == 0)
        view_text(&c->view, VIEW_PLAIN, 2, 2,
                  pick_text(document, "says", "Nothing that is still open would tell more."));
    for (size_t i = 0; i < sizeof groups / sizeof *groups; i++)
        show_ask(&c->view, list,
                 groups[i].title ? groups[i].title : show_ask_title(document, title), groups[i].of);
}

static int ask(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    int rc = case_path_get_part(c, a->words[0], "/ask", NULL, &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_ask = {
    .name = "ask",
    .args = "CASE",
    .help = "what to ask and test next, by what it would tell",
    .least = 1,
    .most = 1,
    .exec = ask,
};
