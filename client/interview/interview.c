#include "interview/interview.h"
#include "base/jsonx.h"
#include "deliver/deliver.h"
#include "interview/interview_inside.h"
#include "show/deliver_show.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/show.h"
#include <signal.h>
#include <stdlib.h>
#include <string.h>

enum outcome { OUTCOME_SEND, OUTCOME_THROW, OUTCOME_LATER };

/* ---- drafts ---- */

static void show_draft(const struct interview *iv, const json_t *complaint)
{
    char when[VIEW_NUMBER];
    bool harm = pick_has(complaint, SPOOL_DRAFT_HARM);
    if (harm)
        view_text(&iv->view, VIEW_BOLD, 0, 2, HARM_UNSENT ".");
    view_textf(&iv->view, VIEW_PLAIN, 0, 2,
               "A complaint begun %s was not finished (%s%s%s%s). Go on with it? %syes, no (a new "
               "one; it stays), throw (away)",
               view_when(pick_text(complaint, "received_at", "earlier"), when),
               harm ? "HARM, " : "", pick_text(complaint, "symptom", "no symptom yet"),
               pick_text(complaint, "lot_text", NULL) ? ", lot " : "",
               pick_text(complaint, "lot_text", ""), harm ? "log (what there is, at once), " : "");
}

/* Offers an interview that was cut off. True: it is to be logged as it is. */
static bool resume(struct interview *iv)
{
    json_t *complaint = NULL;
    struct draft *draft = NULL;
    if (!iv->spool || spool_draft_resume(iv->spool, &draft, &complaint, NULL) != 0)
        return false;
    show_draft(iv, complaint);
    char *line = interview_line(iv, "> ");
    char folded[16] = "no";
    if (line)
        text_fold(line, folded, sizeof folded);
    free(line);
    bool log = strcmp(folded, "log") == 0;
    bool go_on = folded[0] == 'y' || !folded[0] || log;
    iv->harmed = strcmp(pick_text(complaint, SPOOL_DRAFT_HARM, ""), "which") == 0;
    json_object_del(complaint, SPOOL_DRAFT_HARM);
    if (go_on) {
        json_object_update_missing(complaint, iv->complaint);
        json_decref(iv->complaint);
        iv->complaint = complaint;
        iv->draft = draft;
        return log;
    }
    iv->harmed = false;
    spool_draft_end(draft, folded[0] == 't');
    json_decref(complaint);
    return false;
}

/* ---- the loop ---- */

static void remember(struct interview *iv, const struct field *f)
{
    json_object_set_new(iv->passed, f->name, json_true());
    for (int i = 0; i < iv->history_count; i++)
        if (iv->history[i] == f)
            return;
    if (iv->history_count < INTERVIEW_HISTORY)
        iv->history[iv->history_count++] = f;
}

/* The question before `f`, or NULL at the first. */
static const struct field *before(const struct interview *iv, const struct field *f)
{
    int at = iv->history_count;
    for (int i = 0; i < iv->history_count; i++)
        if (iv->history[i] == f)
            at = i;
    return at > 0 ? iv->history[at - 1] : NULL;
}

/* Words are read for harm by the daemon only. */
static void mind_unread(const struct interview *iv, const struct field *f)
{
    if (iv->offline && strcmp(f->name, "note") == 0 && fields_get(iv->complaint, f))
        view_text(&iv->view, VIEW_BOLD, 2, 2,
                  "Nobody has read this for harm while the daemon is away. If it tells of somebody "
                  "ill or hurt, of anything in the bread or of a pack opened by somebody: correct "
                  "harm, and phone the food-safety lead.");
}

/* A product or store that fits several, answered now or named in the story. */
static void pick_named(struct interview *iv, const struct field *answered)
{
    static const char *const NAMED[] = {"product", "store"};
    for (size_t i = 0; i < sizeof NAMED / sizeof *NAMED; i++) {
        const struct field *f = fields_named(NAMED[i]);
        if ((f != answered && !interview_taken(iv, f)) || !interview_pick(iv, f))
            continue;
        interview_save(iv);
        interview_preview(iv);
    }
}

static void after_answer(struct interview *iv, const struct field *f)
{
    if (strcmp(f->name, "note") == 0)
        interview_story(iv);
    interview_save(iv);
    if (strcmp(f->name, "note") == 0) {
        interview_story_harm(iv);
        interview_harm(iv);
    }
    if (strncmp(f->name, "contact/", 8) != 0 || strcmp(f->name, "contact/phone") == 0)
        interview_preview(iv);
    pick_named(iv, f);
    interview_harm(iv);
    interview_save(iv); /* with the harm that the daemon heard */
    mind_unread(iv, f);
}

/* Asks until nothing is left to ask. `first` is asked before anything else if given. */
static enum outcome ask_all(struct interview *iv, const struct field *first)
{
    const struct field *forced = first, *harm = fields_named("harm");
    for (;;) {
        const char *ask = NULL;
        const struct field *f = forced ? forced : interview_next(iv, &ask);
        const struct field *other = NULL;
        if (!f && iv->harmed)
            f = harm;
        if (!f)
            return OUTCOME_SEND;
        bool keep = false;
        enum said said = interview_ask(iv, f, ask, &other);
        forced = NULL;
        switch (said) {
        case SAID_ANSWER:
            remember(iv, f);
            after_answer(iv, f);
            break;
        case SAID_SKIP:
            if (strcmp(f->name, "symptom") == 0 && !fields_get(iv->complaint, f))
                view_text(&iv->view, VIEW_PLAIN, 2, 2, "This one is needed.");
            else
                remember(iv, f);
            break;
        case SAID_BACK:
            forced = before(iv, f);
            if (!forced)
                view_text(&iv->view, VIEW_PLAIN, 2, 2, "This is the first question.");
            forced = forced ? forced : f;
            break;
        case SAID_AGAIN:
            forced = other;
            break;
        case SAID_DONE:
            forced = iv->harmed ? harm : NULL; /* a yes is not left without which */
            if (*pick_text(iv->complaint, "symptom", "") && !forced)
                return OUTCOME_SEND;
            view_text(&iv->view, VIEW_PLAIN, 2, 2, "One thing is needed first:");
            break;
        case SAID_QUIT:
            if (interview_quits(iv, &keep))
                return keep ? OUTCOME_LATER : OUTCOME_THROW;
            forced = f;
            break;
        }
    }
}

/* ---- somebody may have told us already ---- */

static void list_similar(const struct interview *iv, const json_t *similar)
{
    size_t i;
    const json_t *item;
    view_blank(&iv->view);
    view_text(&iv->view, VIEW_BOLD, 0, 2, "Perhaps it was logged already:");
    json_array_foreach(similar, i, item)
    {
        char when[VIEW_NUMBER];
        view_textf(&iv->view, VIEW_PLAIN, 2, 5, "%zu  received %s: %s", i + 1,
                   view_when(pick_text(item, "received_at", "?"), when),
                   pick_text(item, "why", "much alike"));
    }
    view_text(&iv->view, VIEW_PLAIN, 0, 2,
              "Is this that report again, by the same person? same (or its number): it is joined "
              "to it; nothing you typed is lost, and it counts once. Enter: it is another one.");
}

/* Which of them was named: "same", "yes", "2", "same 2"; NULL none. */
static const char *similar_named(const json_t *similar, const char *folded)
{
    int64_t number = 1;
    const char *rest = folded;
    if (strncmp(rest, "same", 4) == 0)
        rest += 4;
    else if (folded[0] == 'y')
        rest = "";
    else if (!*rest)
        return NULL;
    rest += strspn(rest, " ");
    if (*rest && text_to_int64(rest, &number) != 0)
        return NULL;
    if (number < 1 || number > (int64_t)json_array_size(similar))
        return NULL;
    return pick_text(json_array_get(similar, (size_t)number - 1), "complaint", NULL);
}

/* Offers to join it to what the same person told us before; never done unasked. */
static void offer_join(struct interview *iv)
{
    const json_t *similar = json_object_get(iv->preview, "similar");
    if (json_array_size(similar) == 0 || iv->similar_asked || pick_has(iv->complaint, "same_as"))
        return;
    iv->similar_asked = true;
    list_similar(iv, similar);
    for (;;) {
        char folded[32] = "";
        char *line = interview_line(iv, "> ");
        if (line)
            text_fold(line, folded, sizeof folded);
        bool ended = !line;
        free(line);
        const char *first = similar_named(similar, folded);
        if (first) {
            json_object_set_new(iv->complaint, "same_as", json_string(first));
            interview_save(iv);
            return;
        }
        if (ended || !*folded || folded[0] == 'n')
            return;
        view_text(&iv->view, VIEW_PLAIN, 2, 2, "same, a number of the list, or Enter.");
    }
}

static void say_confirm(const struct interview *iv)
{
    const char *first = pick_text(iv->complaint, "same_as", NULL);
    if (first)
        view_textf(&iv->view, VIEW_PLAIN, 0, 2,
                   "Enter joins it to %s. apart: log it as another complaint. correct 3: ask for "
                   "answer 3 again. quit: stop.",
                   first);
    else
        view_text(
            &iv->view, VIEW_PLAIN, 0, 2,
            "Enter logs it. more: further questions. correct 3: ask for answer 3 again. quit: "
            "stop.");
}

/* Shows everything once more. True: send it; else *ret_field is what to correct, or NULL to stop
 * (*ret_outcome). */
static bool confirm(struct interview *iv, const struct field **ret_field, enum outcome *ret_outcome)
{
    for (;;) {
        bool keep = false;
        interview_list(iv);
        say_confirm(iv);
        char *line = interview_line(iv, "> ");
        char folded[64] = "quit";
        if (line)
            text_fold(line, folded, sizeof folded);
        bool ended = !line;
        free(line);
        if (!*folded || strcmp(folded, "yes") == 0 || strcmp(folded, "log") == 0)
            return true;
        if (strcmp(folded, "apart") == 0) {
            json_object_del(iv->complaint, "same_as");
            interview_save(iv);
            continue;
        }
        if (strcmp(folded, "more") == 0) {
            iv->more = true;
            return false;
        }
        const char *which = strncmp(folded, "correct ", 8) == 0 ? folded + 8 : folded;
        *ret_field = interview_listed(iv, which);
        if (*ret_field)
            return false;
        bool stop = strcmp(folded, "quit") == 0 || strcmp(folded, "exit") == 0;
        if (ended || (stop && interview_quits(iv, &keep))) {
            *ret_outcome = ended || keep ? OUTCOME_LATER : OUTCOME_THROW;
            return false;
        }
    }
}

/* ---- sending ---- */

/* A negative answer: refused, to be corrected. */
static int send_it(struct interview *iv)
{
    struct error err = {0};
    json_t *answer = NULL;
    char path[SPOOL_PATH];
    int rc = deliver_one(iv->c, iv->complaint, &answer, &err);
    if (rc == 0) {
        spool_draft_end(iv->draft, true);
        iv->draft = NULL;
        view_blank(&iv->view);
        if (iv->c->json)
            client_print(answer);
        json_object_del(answer, "ask"); /* asked already, or passed over */
        deliver_show(&iv->view, iv->complaint, answer);
        json_decref(answer);
        return EXIT_DONE;
    }
    if (!deliver_keeps(rc))
        return -1;
    char *text = jsonx_dump(iv->complaint);
    struct text_buffer line = {0};
    text_appendf(&line, "%s\n", text);
    free(text);
    int exit_code = deliver_keep(iv->c, &err, line.data, line.length, path);
    text_buffer_free(&line);
    spool_draft_end(iv->draft, path[0] != '\0');
    iv->draft = NULL;
    view_blank(&iv->view);
    view_text(&iv->view, VIEW_PLAIN, 0, 2,
              path[0] ? deliver_show_kept(iv->complaint)
                      : "Write the complaint down from above before this window closes.");
    return exit_code;
}

static int finish(struct interview *iv, bool at_once)
{
    const struct field *field = NULL;
    if (at_once && !*pick_text(iv->complaint, "symptom", ""))
        json_object_set_new(iv->complaint, "symptom", json_string("other"));
    if (at_once && iv->harmed &&
        interview_ask(iv, fields_named("harm"), NULL, &field) != SAID_ANSWER)
        at_once = false;
    int sent = at_once ? send_it(iv) : -1;
    if (sent >= 0)
        return sent;
    enum outcome outcome = ask_all(iv, NULL);
    while (outcome == OUTCOME_SEND) {
        offer_join(iv);
        field = NULL;
        if (confirm(iv, &field, &outcome)) {
            int rc = send_it(iv);
            if (rc >= 0)
                return rc;
            view_text(&iv->view, VIEW_PLAIN, 0, 2, "Please correct it.");
        } else if (field || outcome == OUTCOME_SEND) {
            outcome = ask_all(iv, field);
        }
    }
    spool_draft_end(iv->draft, outcome == OUTCOME_THROW);
    iv->draft = NULL;
    if (interview_harm_told(iv))
        view_text(&iv->view, VIEW_BOLD, 0, 2, HARM_UNSENT ".");
    view_text(&iv->view, VIEW_PLAIN, 0, 2,
              outcome == OUTCOME_THROW
                  ? "Thrown away; nothing was logged."
                  : "Kept unfinished; the next `oddloaf log` offers it again.");
    return EXIT_REFUSED;
}

int interview_run(struct client *c, json_t *complaint)
{
    struct interview iv = {.c = c, .day = zone_day(c->zone)};
    struct error err = {0};
    view_init(&iv.view, c->json ? stderr : stdout);
    iv.complaint = json_deep_copy(complaint);
    iv.passed = json_object();
    iv.said = json_object();
    iv.doubted = json_object();
    if (spool_open(transport_address(c->transport), &iv.spool, &err) != 0) {
        char text[640];
        view_textf(&iv.view, VIEW_PLAIN, 2, 2, "(answers are not saved on the way: %s)",
                   error_format(&err, text, sizeof text));
        iv.draft_warned = true;
    }
    view_title(&iv.view, "A new complaint");
    view_text(
        &iv.view, VIEW_PLAIN, 0, 0,
        "Enter skips a question, but for what is wrong and harm. back, list, correct 3, done, "
        "quit; ? explains.");
    bool at_once = resume(&iv);
    if (iv.spool && !iv.draft)
        spool_draft_begin(iv.spool, pick_text(iv.complaint, "id", "new"), &iv.draft, NULL);
    interview_story(&iv);
    interview_save(&iv);
    interview_story_harm(&iv);
    interview_preview(&iv);
    interview_harm(&iv);
    interview_save(&iv);
    int rc = finish(&iv, at_once);
    signal(SIGINT, SIG_DFL);
    signal(SIGTERM, SIG_DFL);
    spool_draft_end(iv.draft, false);
    spool_close(iv.spool);
    json_decref(iv.preview);
    json_decref(iv.passed);
    json_decref(iv.said);
    json_decref(iv.doubted);
    json_decref(iv.complaint);
    return rc;
}
