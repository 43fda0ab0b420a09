/* What is left of an interview that is broken off: its draft, and what is said then. */
#include "interview/interview_inside.h"
#include "show/harm.h"
#include <signal.h>
#include <unistd.h>

/* A broken connection or Ctrl-C: the draft is on disk already. */
static void on_signal(int number)
{
    static const char words[] = "\nStopped. The answers so far are kept; `oddloaf log` offers "
                                "them again.\n";
    ssize_t n = write(STDERR_FILENO, words, sizeof words - 1);
    _exit(n < 0 ? 1 : 128 + number);
}

static void on_signal_harm(int number)
{
    static const char words[] = "\nStopped. " HARM_UNSENT ".\nThe answers so far are kept; "
                                "`oddloaf log`, then log, logs what there is.\n";
    ssize_t n = write(STDERR_FILENO, words, sizeof words - 1);
    _exit(n < 0 ? 1 : 128 + number);
}

void interview_save(struct interview *iv)
{
    struct error err = {0};
    char text[640];
    bool harm = interview_harm_told(iv);
    signal(SIGINT, harm ? on_signal_harm : on_signal);
    signal(SIGTERM, harm ? on_signal_harm : on_signal);
    if (!iv->draft)
        return;
    json_t *draft = json_copy(iv->complaint);
    if (harm)
        json_object_set_new(draft, SPOOL_DRAFT_HARM,
                            iv->harmed ? json_string("which") : json_true());
    int rc = spool_draft_save(iv->draft, draft, &err);
    json_decref(draft);
    if (rc == 0 || iv->draft_warned)
        return;
    iv->draft_warned = true;
    view_textf(&iv->view, VIEW_PLAIN, 2, 2, "(answers are not saved on the way: %s)",
               error_format(&err, text, sizeof text));
}
