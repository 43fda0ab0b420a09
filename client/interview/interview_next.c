#include "base/jsonx.h"
#include "intake/caller.h"
#include "intake/fields.h"
#include "interview/interview_inside.h"
#include "rules/vocabulary.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/standing.h"
#include <stdlib.h>
#include <string.h>

#define PREVIEW_S 4L
#define TELLING_MOST 6  /* questions of the daemon's: the caller's patience */
#define LOT_OPEN_MORE 2 /* further ones narrow it down */
#define ASKED_MOST 6    /* of a plain complaint; more only if the desk wants to */
#define GAIN_LEAST 0.02 /* bits below which a question is not worth asking */

/* ---- the usual order ---- */

static const char *const opening[] = {"note", "symptom", "harm", "lot_text", NULL};
static const char *const lot_open[] = {"product", "code_date", "store", NULL};
static const char *const dates[] = {"found_on", NULL};
static const char *const on_mold[] = {
    "observed/where", "observed/colour",      "observed/kept",  "observed/wet_inside_bag",
    "observed/bag",   "observed/opened_days", "observed/spots", NULL};
static const char *const on_odor[] = {"observed/odor",        "observed/crumb", "observed/kept",
                                      "observed/opened_days", "observed/bag",   NULL};
static const char *const on_staling[] = {"observed/crumb", "observed/kept", "observed/opened_days",
                                         "observed/bag", NULL};
static const char *const on_return[] = {"units",  "reason",      "measured", "inspected_at",
                                        "put_at", "disposition", NULL};
static const char *const closing[] = {"bought_on",     "store",         "contact/name",
                                      "contact/phone", "contact/email", NULL};
static const char *const call_back[] = {"contact/phone", NULL};

const json_t *interview_taken(const struct interview *iv, const struct field *f)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(iv->preview, "taken"), i, item)
    {
        if (fields_named(pick_text(item, "field", "")) == f)
            return item;
    }
    return NULL;
}

static bool is_open(const struct interview *iv, const struct field *f)
{
    return f && f->ask && !fields_get(iv->complaint, f) && !json_object_get(iv->passed, f->name) &&
           !interview_taken(iv, f);
}

static const struct field *first_open(const struct interview *iv, const char *const *names)
{
    for (; *names; names++) {
        const struct field *f = fields_named(*names);
        if (is_open(iv, f))
            return f;
    }
    return NULL;
}

static const char *answer_of(const struct interview *iv, const char *name)
{
    return pick_text(iv->complaint, name, "");
}

static bool lot_is_sure(const struct interview *iv)
{
    return standing_names_one(iv->preview);
}

static const char *const *usual(const struct interview *iv)
{
    static const char *const *const OF[SYMPTOMS] = {
        [SYMPTOM_MOLD] = on_mold, [SYMPTOM_OFF_ODOR] = on_odor, [SYMPTOM_STALING] = on_staling};
    static const char *const none[] = {NULL};
    int symptom = symptom_of(answer_of(iv, "symptom"));
    return symptom < 0 ? none : OF[symptom];
}

/* The daemon's questions come by gain; those we cannot put down an answer for are passed over. */
static const struct field *most_telling(struct interview *iv, const char **ret_ask)
{
    size_t i;
    const json_t *item;
    if (iv->telling >= TELLING_MOST)
        return NULL;
    json_array_foreach(json_object_get(iv->preview, "ask"), i, item)
    {
        const struct field *f = fields_named(pick_text(item, "fact", ""));
        if (strcmp(pick_text(item, "of", "caller"), "caller") != 0 || !is_open(iv, f) ||
            pick_number(item, "gain_bits", 1) < GAIN_LEAST)
            continue;
        *ret_ask = pick_text(item, "ask", NULL);
        iv->telling++;
        return f;
    }
    return NULL;
}

/* A plain complaint is soon told: the call-back number is the last question, whatever else could be
 * asked, unless the desk goes on. Goods that came back are examined, not told. */
static size_t questions_left(const struct interview *iv)
{
    size_t asked = json_object_size(iv->passed), most = ASKED_MOST;
    if (json_object_get(iv->passed, "note") && !*answer_of(iv, "note"))
        most++; /* no story: each thing is asked */
    if (!lot_is_sure(iv))
        most += LOT_OPEN_MORE;
    if (iv->more || strcmp(answer_of(iv, "channel"), "return") == 0)
        return SIZE_MAX;
    return asked < most ? most - asked : 0;
}

const struct field *interview_next(struct interview *iv, const char **ret_ask)
{
    *ret_ask = NULL;
    const struct field *f = first_open(iv, opening);
    size_t left = questions_left(iv);
    if (!f && left == 0)
        return NULL;
    if (!f && left == 1 && (f = first_open(iv, call_back)))
        return f;
    if (!f && !lot_is_sure(iv))
        f = first_open(iv, lot_open);
    if (!f)
        f = first_open(iv, dates);
    if (!f && iv->preview)
        f = most_telling(iv, ret_ask);
    /* what the daemon ranks it asks of itself: what it leaves out could change nothing */
    bool asks = json_array_size(json_object_get(iv->preview, "ask")) > 0 ||
                json_array_size(json_object_get(iv->preview, "ranked")) > 0 || iv->telling > 0;
    if (!f && !asks)
        f = first_open(iv, usual(iv));
    if (!f && strcmp(answer_of(iv, "channel"), "return") == 0)
        f = first_open(iv, on_return);
    return f ? f : first_open(iv, closing);
}

/* ---- the daemon's view ---- */

/* True the first time this is said. */
static bool is_news(struct interview *iv, const char *text)
{
    if (!*text || json_object_get(iv->said, text))
        return false;
    json_object_set_new(iv->said, text, json_true());
    return true;
}

/* What is read back, or what could be meant and what would decide: each time it is another. */
static void show_lot(struct interview *iv)
{
    const json_t *lots = json_object_get(iv->preview, "lots");
    bool exact = standing_is_exact(iv->preview);
    if (!*answer_of(iv, "lot_text") && json_array_size(lots) == 0)
        return;
    char *says = standing_text(iv->preview, json_object_get(iv->preview, "understood"));
    char *key = json_dumps(lots, JSON_COMPACT | JSON_ENCODE_ANY);
    struct text_buffer news = {0};
    text_appendf(&news, "%s %s", says, key ? key : "");
    if (is_news(iv, news.data)) {
        view_textf(&iv->view, VIEW_PLAIN, 2, 2, "%s%s",
                   exact ? "Read back: lot " : "The lot: ", says);
        standing_show_rest(&iv->view, iv->preview);
    }
    text_buffer_free(&news);
    free(key);
    free(says);
}

static void show_taken(struct interview *iv)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(iv->preview, "taken"), i, item)
    {
        struct text_buffer text = {0};
        char *value = pick_shown(item, "value");
        const char *field = pick_text(item, "field", "?");
        const struct field *f = fields_named(field);
        text_appendf(&text, "%s: %s (\"%s\")", fields_title(field), value,
                     pick_text(item, "from", "words in the note"));
        if (strcmp(field, "harm_possible") != 0 && is_news(iv, text.data))
            view_textf(&iv->view, VIEW_PLAIN, 2, 4, "= from the story: %s; correct %s changes it",
                       text.data, f ? fields_leaf(f) : field);
        free(value);
        text_buffer_free(&text);
    }
}

static void go_offline(struct interview *iv, const struct error *err)
{
    char text[640];
    if (iv->offline)
        return;
    iv->offline = true;
    view_textf(&iv->view, VIEW_PLAIN, 2, 2, "Note: %s", error_format(err, text, sizeof text));
    view_text(&iv->view, VIEW_PLAIN, 2, 2,
              "Going on with the usual questions; the complaint will be kept here and sent "
              "later.");
}

/* A refused preview is no reason to stop: the question is what to ask next, no more. */
static void take_preview(struct interview *iv, const struct reply *reply)
{
    json_t *answer = NULL;
    if (reply->status == 200 && reply->body.length)
        jsonx_parse(reply->body.data, reply->body.length, &answer, NULL);
    json_decref(iv->preview);
    iv->preview = answer;
    if (!answer)
        return;
    show_lot(iv);
    show_taken(iv);
}

/* What the story says of who called is proposed, as an answer that can be corrected. */
static void take_caller(struct interview *iv, const char *story)
{
    json_t *before = json_deep_copy(iv->complaint);
    caller_fill(NULL, iv->complaint, story);
    for (const struct field *f = fields_all(); f->name; f++) {
        json_t *said = fields_get(iv->complaint, f);
        if (!(f->flags & FIELD_PERSON) || !said || fields_get(before, f))
            continue;
        view_textf(&iv->view, VIEW_PLAIN, 2, 4, "= from the story: %s: %s; correct %s changes it",
                   f->title, json_string_value(said), fields_leaf(f));
    }
    json_decref(before);
}

/* "blue mold on the heel": the words of the question itself, one of them and nothing denied. */
void interview_story(struct interview *iv)
{
    const struct field *symptom = fields_named("symptom");
    const char *story = answer_of(iv, "note");
    struct error err = {0};
    if (*story)
        take_caller(iv, story);
    if (!*story || fields_get(iv->complaint, symptom) ||
        form_set(iv->complaint, symptom, story, &iv->day, &err) != 0)
        return;
    json_object_del(iv->passed, "symptom");
    view_textf(&iv->view, VIEW_PLAIN, 2, 4, "= from the story: %s; correct symptom changes it",
               answer_of(iv, "symptom"));
}

/* Posts `complaint`; false if nobody answers. */
static bool ask_daemon(struct interview *iv, const json_t *complaint)
{
    struct error err = {0};
    struct reply reply = {0};
    char *body = jsonx_dump(complaint);
    struct request request = {.method = "POST",
                              .path = "/v1/complaints/preview",
                              .type = "application/json",
                              .body = body,
                              .length = strlen(body),
                              .timeout_s = PREVIEW_S,
                              .once = true};
    int rc = transport_call(iv->c->transport, &request, &reply, &err);
    if (rc)
        go_offline(iv, &err);
    else
        take_preview(iv, &reply);
    if (rc) {
        json_decref(iv->preview);
        iv->preview = NULL;
    }
    free(body);
    transport_reply_free(&reply);
    return rc == 0;
}

void interview_preview(struct interview *iv)
{
    if (!iv->offline && *answer_of(iv, "symptom"))
        ask_daemon(iv, iv->complaint);
}

/* A complaint needs a symptom to be read at all: one that nothing is ranked for stands in. */
void interview_story_harm(struct interview *iv)
{
    if (iv->offline || !*answer_of(iv, "note") || *answer_of(iv, "symptom"))
        return;
    json_t *complaint = json_copy(iv->complaint);
    json_object_set_new(complaint, "symptom", json_string("other"));
    ask_daemon(iv, complaint);
    json_decref(complaint);
}

/* ---- harm ---- */

bool interview_harm_told(const struct interview *iv)
{
    return iv->harmed || harm_reported(iv->complaint, iv->preview);
}

void interview_harm(struct interview *iv)
{
    bool reachable = fields_get(iv->complaint, fields_named("contact/phone")) ||
                     fields_get(iv->complaint, fields_named("contact/email"));
    const char *said = pick_text(iv->preview, "script", NULL);
    const char *script = harm_script(said, reachable);
    const char *alarm = pick_text(iv->preview, "alarm", NULL);
    if (harm_reported(iv->complaint, iv->preview) && is_news(iv, "what is read out of harm"))
        harm_show(&iv->view, script, alarm);
    else if (harm_possible(iv->preview) && is_news(iv, said ? said : ""))
        harm_show_possible(&iv->view, said, alarm);
}
