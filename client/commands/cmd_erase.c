#include "base/text.h"
#include "commands/asked.h"
#include "show/pick.h"

static const struct option_row options[] = {{"yes", NULL, "do not ask"}, {0}};

static bool is_meant(const struct client *c, const char *contact)
{
    struct text_buffer question = {0};
    text_appendf(&question,
                 "Erase the contact data of everyone whose phone, mail or name is '%s'? It cannot "
                 "be undone; the complaints stay.",
                 contact);
    bool yes = asked_yes(c, question.data);
    text_buffer_free(&question);
    return yes;
}

static void tell_copies(const struct view *v, const json_t *copies)
{
    size_t i;
    const json_t *one;
    char when[VIEW_NUMBER];
    if (!json_array_size(copies))
        return;
    view_text(v, VIEW_PLAIN, 0, 0, "Copies from before have it still, on the daemon's machine:");
    json_array_foreach(copies, i, one) view_textf(
        v, VIEW_PLAIN, 2, 4, "%lld: %s, the oldest of %s", (long long)pick_int(one, "count", 0),
        pick_text(one, "where", "?"), view_when(pick_text(one, "oldest", ""), when));
    view_text(v, VIEW_PLAIN, 0, 0,
              "If one is restored, it is erased there again. To have it gone before that, make a "
              "backup now (oddloaf backup NAME), then remove these, and what was copied elsewhere; "
              "those made by the clock go by themselves as newer come (backup/keep).");
}

static int erase(struct client *c, const struct args *a)
{
    if (asked_can(c) && !args_has(a, "yes") && !is_meant(c, a->words[0])) {
        view_text(&c->view, VIEW_PLAIN, 0, 0, "Nothing was erased.");
        return EXIT_REFUSED;
    }
    json_t *answer = NULL;
    json_t *body = json_pack("{ss}", "contact", a->words[0]);
    if (!body)
        return client_usage(c, "the contact is not UTF-8 text");
    int rc = client_post(c, "/v1/erase", body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    int64_t erased = pick_int(answer, "erased", 0);
    if (c->json)
        client_print(answer);
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 0, "Erased the contact data of %lld %s.",
                   (long long)erased, erased == 1 ? "complaint" : "complaints");
    if (!c->json && erased)
        tell_copies(&c->view, json_object_get(answer, "copies"));
    json_decref(answer);
    return erased > 0 ? EXIT_DONE : EXIT_NOT_FOUND;
}

const struct command cmd_erase = {
    .name = "erase",
    .args = "CONTACT",
    .help = "erases a person's contact data",
    .more = "CONTACT is a phone number, a mail address or a name, as it was given.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = erase,
};
