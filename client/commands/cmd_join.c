#include "commands/command.h"
#include "show/pick.h"

static const struct option_row options[] = {
    {"undo", NULL, "separate it again: it becomes a complaint of its own"},
    {"anyway", NULL, "though two codes were read whole, of two lots"},
    {0}};

static int join(struct client *c, const struct args *a)
{
    bool undo = args_has(a, "undo");
    if (a->count != (undo ? 1 : 2))
        return client_usage(c, undo ? "--undo takes the joined complaint alone"
                                    : "name the complaint and the one it repeats");
    struct text_buffer path = {0};
    text_append(&path, "/v1/complaints/");
    client_path_word(&path, a->words[0]);
    text_append(&path, undo ? "/separate" : "/join");
    json_t *answer = NULL;
    json_t *body =
        undo ? json_object()
             : json_pack("{ss sb}", "same_as", a->words[1], "anyway", args_has(a, "anyway"));
    int rc = body ? client_post(c, path.data, body, &answer)
                  : client_usage(c, "a complaint's id is a UUID");
    text_buffer_free(&path);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json)
        client_print(answer);
    else if (undo)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Complaint %s stands by itself again, in case %s.",
                   pick_text(answer, "complaint", "?"),
                   pick_text(answer, "case", "another plant's"));
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 2,
                   "Complaint %s is joined to %s (case %s)%s: kept with it, counted once. "
                   "`oddloaf join --undo %s` separates it again.",
                   pick_text(answer, "complaint", "?"), pick_text(answer, "same_as", "?"),
                   pick_text(answer, "case", "?"),
                   pick_bool(answer, "again", false) ? ", as before" : "",
                   pick_text(answer, "complaint", "?"));
    json_decref(answer);
    return EXIT_DONE;
}

const struct command cmd_join = {
    .name = "join",
    .args = "COMPLAINT FIRST",
    .help = "joins a report to the complaint it repeats",
    .more = "The same person told us twice. What the later report says is kept and fills in what "
            "was unknown, where the two differ the first stands; together they count as one "
            "complaint. Only of one symptom and lot; a return joins only a return.",
    .options = options,
    .least = 1,
    .most = 2,
    .exec = join,
};
