#include "commands/command.h"
#include "show/complaint_show.h"

static void show(const struct client *c, const json_t *document)
{
    complaint_show(&c->view, document);
}

static int complaint(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    text_append(&path, "/v1/complaints/");
    client_path_word(&path, a->words[0]);
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_complaint = {
    .name = "complaint",
    .args = "COMPLAINT",
    .help = "one complaint whole: as sent, as understood, its lot, changes",
    .more = "COMPLAINT is its id, the first letters of it, or its number in another system (log "
            "--reference). Where several bear that number they are listed: name one by its id. "
            "Contact data, and what the caller said word for word of them, are shown to the desk "
            "only.",
    .options = NULL,
    .least = 1,
    .most = 1,
    .exec = complaint,
};
