#include "commands/case_path.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include <string.h>

int case_path_get_part(const struct client *c, const char *word, const char *part,
                       const char *cause, json_t **ret)
{
    struct text_buffer path = {0};
    text_append(&path, "/v1/cases/");
    client_path_word(&path, word);
    text_append(&path, part);
    client_path_query(&path, "cause", cause);
    int rc = client_get(c, path.data, ret);
    text_buffer_free(&path);
    return rc;
}

void case_path_harm(const struct client *c, const json_t *document)
{
    bool harm = harm_reported(NULL, document);
    if (harm || harm_possible(document))
        view_text(&c->view, VIEW_HARM, 0, 0,
                  harm ? "HARM IS REPORTED in this case." : "A complaint here MAY SPEAK OF HARM.");
    const json_t *elsewhere = json_object_get(document, "harm_elsewhere");
    if (elsewhere)
        view_textf(&c->view, VIEW_HARM, 0, 0, "Mind %s: %s.",
                   pick_text(elsewhere, "case", pick_text(elsewhere, "lot", "?")),
                   pick_text(elsewhere, "says", "harm is reported on the same lot"));
    if (pick_bool(document, "harm_since_settled", false))
        view_text(
            &c->view, VIEW_HARM, 0, 0,
            "It was reported after the case was settled: read it, reopen (oddloaf settle CASE "
            "--reopen) and settle again.");
}

void case_path_title(const struct client *c, const json_t *document)
{
    char when[VIEW_NUMBER];
    struct text_buffer line = {0};
    const char *as_of = pick_text(document, "as_of", NULL);
    text_append(&line, pick_text(document, "case", "case"));
    if (pick_has(document, "symptom"))
        text_appendf(&line, "  %s", pick_text(document, "symptom", ""));
    if (as_of)
        text_appendf(&line, ", as of %s", view_when(as_of, when));
    case_path_harm(c, document);
    view_title(&c->view, "%s", line.data);
    text_buffer_free(&line);
    standing_show(&c->view, document, NULL);
}

int case_path_post_complaint(const struct client *c, const char *complaint, const char *part,
                             const json_t *body, json_t **ret)
{
    struct text_buffer path = {0};
    text_append(&path, "/v1/complaints/");
    client_path_word(&path, complaint);
    text_appendf(&path, "/%s", part);
    int rc = client_post(c, path.data, body, ret);
    text_buffer_free(&path);
    return rc;
}
