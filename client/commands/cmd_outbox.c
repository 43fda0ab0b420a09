#include "commands/command.h"
#include "show/harm.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"send", "N|all", "try a mail again now, or all that have not left"}, {0}};

static void show_recipient(const struct view *v, const json_t *r)
{
    char when[VIEW_NUMBER];
    const char *why = pick_text(r, "last_error", "");
    const char *next = pick_text(r, "next_at", NULL), *at = pick_text(r, "sent_at", next);
    long long tries = (long long)pick_int(r, "attempts", 0);
    view_textf(v, VIEW_PLAIN, 4, 4, "%s: %s%s%s, tried %lld %s%s%s", pick_text(r, "to", "?"),
               pick_text(r, "state", "?"),
               next ? ", next try "
               : at ? " "
                    : "",
               at ? view_when(at, when) : "", tries, tries == 1 ? "time" : "times",
               *why ? ": " : "", why);
}

/* Each recipient is tried by itself, and has a line of its own. */
static void show_mail(const struct view *v, const json_t *mail)
{
    char when[VIEW_NUMBER];
    const char *name = pick_text(mail, "case", NULL);
    const json_t *recipients = json_object_get(mail, "recipients"), *r;
    size_t i;
    view_textf(v, VIEW_PLAIN, 2, 2, "%lld  %s%s%s: %s, queued %s",
               (long long)pick_int(mail, "id", 0), pick_text(mail, "event", "?"), name ? " " : "",
               name ? name : "", pick_text(mail, "state", "?"),
               view_when(pick_text(mail, "queued_at", "?"), when));
    if (json_array_size(json_object_get(mail, "to")) == 0 && pick_text(mail, "last_error", NULL))
        view_textf(v, VIEW_PLAIN, 4, 4, "%s", pick_text(mail, "last_error", ""));
    json_array_foreach(recipients, i, r) show_recipient(v, r);
}

static void show_mails(const struct view *v, const json_t *mails, bool sent)
{
    size_t i, shown = 0;
    const json_t *mail;
    json_array_foreach(mails, i, mail)
    {
        if ((strcmp(pick_text(mail, "state", ""), "sent") == 0) != sent)
            continue;
        if (shown++ == 0)
            view_section(v, sent ? "Sent last" : "Not sent yet");
        show_mail(v, mail);
    }
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    const json_t *mails = json_object_get(document, "mails");
    char n[3][VIEW_NUMBER];
    char sentence[160];
    view_title(v, "Mail: %s waiting, %s parked, %s sent",
               view_number(pick_number(document, "waiting", 0), n[0]),
               view_number(pick_number(document, "parked", 0), n[1]),
               view_number(pick_number(document, "sent", 0), n[2]));
    if (pick_text(document, "gap", NULL))
        view_textf(v, VIEW_BOLD, 0, 2, "%s.",
                   harm_sentence(pick_text(document, "gap", ""), sentence, sizeof sentence));
    show_mails(v, mails, false);
    show_mails(v, mails, true);
}

static int send_again(struct client *c, const char *which)
{
    struct text_buffer path = {0};
    json_t *answer = NULL;
    char n[VIEW_NUMBER];
    bool all = strcmp(which, "all") == 0;
    if (!all && (!*which || which[strspn(which, "0123456789")]))
        return client_usage(c, "--send takes a mail's number, or all");
    text_appendf(&path, "/v1/outbox/%s/send", which);
    json_t *body = json_object();
    int rc = client_post(c, path.data, body, &answer);
    json_decref(body);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json)
        client_print(answer);
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 2,
                   "%s due now; oddloaf outbox shows "
                   "what becomes of them.",
                   view_number(pick_number(answer, "due", 0), n));
    json_decref(answer);
    return EXIT_DONE;
}

static int outbox(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    if (args_has(a, "send"))
        return send_again(c, args_value(a, "send"));
    int rc = client_get(c, "/v1/outbox", &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_outbox = {
    .name = "outbox",
    .args = "",
    .help = "mails that wait or are parked, and why; sends them again",
    .more = "Each recipient is tried by itself. Mail that reports harm is never parked. QA and "
            "admins may send.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = outbox,
};
