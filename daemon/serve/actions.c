/* Corrective actions and their effect. What an action is against must be known here: one against a
 * line that was mistyped would never have had an effect. */
#include "base/jsonx.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "desk/apart.h"
#include "desk/overheard.h"
#include "patterns/effect.h"
#include "rules/vocabulary.h"
#include "serve/app.h"
#include "serve/despite_told.h"
#include "serve/plant_asked.h"
#include "serve/route.h"
#include "store/action.h"
#include "store/lot_find.h"
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* ---- what is said ---- */

/* The members of an action and where they go; `at` is a day and goes on its own. */
static const struct member {
    const char *name;
    size_t offset, size;
    bool needed;
} MEMBERS[] = {
#define MEMBER(name, field, needed)                                                                \
    {                                                                                              \
        name, offsetof(struct action_row, field), sizeof(((struct action_row *)0)->field), needed  \
    }
    MEMBER("cause", cause, false), MEMBER("plant", plant, false),     MEMBER("line", line, false),
    MEMBER("place", place, false), MEMBER("symptom", symptom, false), MEMBER("note", note, true),
    MEMBER("by", by_name, true),
#undef MEMBER
};
enum { MEMBER_COUNT = sizeof MEMBERS / sizeof MEMBERS[0] };

static int refuse(struct error *err, const char *field, const char *value, const char *reason)
{
    error_set(err, ERROR_INVALID, "%s", reason);
    error_field(err, field, value);
    return ERROR_INVALID;
}

static int check_names(const json_t *body, struct error *err)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)body, name, value)
    {
        bool known = strcmp(name, "at") == 0;
        for (int i = 0; i < MEMBER_COUNT; i++)
            known |= strcmp(name, MEMBERS[i].name) == 0;
        if (!known)
            return refuse(err, name, NULL,
                          "an action has cause, line, place, symptom, plant, at, note and by");
    }
    return 0;
}

static int take_text(const json_t *body, const struct member *m, struct action_row *row,
                     struct error *err)
{
    const char *text = NULL;
    int rc = m->needed ? jsonx_needed(body, m->name, m->size - 1, &text, err)
                       : jsonx_text(body, m->name, m->size - 1, &text, err);
    text_clip(text ? text : "", (char *)row + m->offset, m->size);
    return rc;
}

/* The day it was done, of the clock of its plant, which is to be known; without one, today. */
static int take_day(const json_t *body, const struct tz *tz, struct action_row *row,
                    struct error *err)
{
    const char *at = NULL;
    char latest[16];
    int32_t today = tz_day(tz, row->logged_ms), day = today;
    int rc = jsonx_string(body, "at", &at, err);
    if (!rc && at)
        rc = day_parse(at, &day, err);
    if (!rc && day > today)
        rc = error_set(err, ERROR_INVALID, "lies ahead: today is %s", day_format(today, latest));
    if (rc)
        error_field(err, "at", at ? at : "");
    row->at_ms = tz_day_start_ms(tz, day);
    return rc;
}

/* ---- what is known ---- */

/* "is not a line: those on record are 1 2 3", as many as fit an error. */
struct known {
    const char *word;
    bool found;
    struct text_buffer others;
};

static int look(void *arg, const char *name)
{
    struct known *known = arg;
    known->found |= strcmp(name, known->word) == 0;
    if (known->others.length + strlen(name) < 240)
        text_appendf(&known->others, " %s", name);
    else if (known->others.data && !strstr(known->others.data, "…"))
        text_append(&known->others, " …");
    return 0;
}

static void look_causes(const struct setup *setup, const char *symptom, struct known *known)
{
    json_t *rules = triage_rules_json(setup->triage), *cause;
    size_t i;
    json_array_foreach(json_object_get(rules, "causes"), i, cause)
    {
        const char *id = json_string_value(json_object_get(cause, "cause"));
        if (!symptom[0] || triage_cause_of(setup->triage, id, symptom))
            look(known, id);
    }
    json_decref(rules);
}

static int settle_known(struct known *known, const char *field, const char *what, struct error *err)
{
    int rc = 0;
    if (known->word[0] && !known->found) {
        rc = known->others.length
                 ? error_set(err, ERROR_INVALID, "is not %s; known are%s", what, known->others.data)
                 : error_set(err, ERROR_INVALID, "is not %s: none is on record yet", what);
        error_field(err, field, known->word);
    }
    text_buffer_free(&known->others);
    return rc;
}

static int check_symptom(const struct action_row *row, struct error *err)
{
    struct known known = {.word = row->symptom};
    for (int i = 0; i < SYMPTOMS; i++)
        look(&known, symptom_name(i));
    return settle_known(&known, "symptom", "a symptom", err);
}

static int check_cause(const struct setup *setup, const struct action_row *row, struct error *err)
{
    char what[48] = "a cause";
    struct known known = {.word = row->cause};
    if (row->symptom[0])
        snprintf(what, sizeof what, "a cause of %s", row->symptom);
    look_causes(setup, row->symptom, &known);
    triage_cause_hint(setup->triage, row->cause, "`oddloaf rules list` names them all", err);
    int rc = settle_known(&known, "cause", what, err);
    if (!rc && err)
        err->hint[0] = '\0';
    return rc;
}

static int check_place(const struct setup *setup, const struct action_row *row, struct error *err)
{
    const struct catalogue_place *places;
    int count = catalogue_places(triage_catalogue(setup->triage), &places);
    struct known known = {.word = row->place};
    for (int i = 0; i < count; i++)
        look(&known, places[i].place);
    return settle_known(&known, "place", "a place", err);
}

static int check_plant(struct store *store, const struct action_row *row, struct error *err)
{
    struct known known = {.word = row->plant};
    int rc = row->plant[0] ? lot_find_plants(store, look, &known, err) : 0;
    int unknown = settle_known(&known, "plant", "a plant", rc ? NULL : err);
    return rc ? rc : unknown;
}

struct at_plants {
    struct known lines, plants; /* plants: that have the line */
    const char *plant;          /* the one said; "" none */
    char last[LENGTH_CODE + 1];
    int count;
    bool nobody_s; /* lots that name no plant have it, too */
};

static int look_line(void *arg, const struct lot_find_line *line)
{
    struct at_plants *at = arg;
    if (*at->plant && strcmp(at->plant, line->plant) != 0)
        return 0;
    look(&at->lines, line->line);
    if (strcmp(line->line, at->lines.word) != 0)
        return 0;
    at->nobody_s |= !*line->plant;
    if (!*line->plant)
        return 0;
    at->count++;
    look(&at->plants, line->plant);
    text_clip(line->plant, at->last, sizeof at->last);
    return 0;
}

/* Who does not see all acts in a plant that they see: in the one, or in that which they name. */
static int check_whose(const struct request *rq, const struct setup *setup, struct store *store,
                       struct action_row *row, struct error *err)
{
    if (rq->sees_all)
        return check_plant(store, row, err);
    if (!row->plant[0] && rq->seen.count == 1)
        text_clip(rq->seen.plant[0], row->plant, sizeof row->plant);
    return plant_asked_check(rq, setup, store, row->plant, err);
}

/* Whose the line is, where that is not said: the one plant's that has it. */
static int check_line(struct store *store, struct action_row *row, struct error *err)
{
    struct at_plants at = {
        .lines = {.word = row->line}, .plants = {.word = ""}, .plant = row->plant};
    int rc = row->line[0] ? lot_find_lines(store, look_line, &at, err) : 0;
    int unknown = settle_known(&at.lines, "line", "a line", rc ? NULL : err);
    if (!rc && !unknown && at.count > 1) {
        unknown = error_set(err, ERROR_INVALID, "says which plant's line %s is meant: those of%s",
                            row->line, at.plants.others.data);
        error_field(err, "plant", "");
    } else if (at.count == 1 && !at.nobody_s) {
        text_clip(at.last, row->plant, sizeof row->plant);
    }
    text_buffer_free(&at.plants.others);
    return rc ? rc : unknown;
}

/* Nothing could be compared with what was before the first record. */
static int check_day(struct store *store, const struct tz *tz, const struct action_row *row,
                     struct error *err)
{
    int64_t first_ms = WHEN_UNKNOWN_MS;
    char at[16], first[16];
    int rc = lot_find_first(store, row->plant, &first_ms, err);
    if (rc || first_ms == WHEN_UNKNOWN_MS || tz_day(tz, row->at_ms) >= tz_day(tz, first_ms))
        return rc;
    rc = error_set(err, ERROR_INVALID, "lies before the first lot on record%s%s, of %s",
                   *row->plant ? " of " : "", row->plant, day_format(tz_day(tz, first_ms), first));
    error_field(err, "at", day_format(tz_day(tz, row->at_ms), at));
    return rc;
}

static int check_against(const struct request *rq, const struct setup *setup, struct store *store,
                         const json_t *body, struct action_row *row, struct error *err)
{
    if (!row->cause[0] && !row->line[0] && !row->place[0]) {
        error_hint(err, "give at least one of them");
        return error_set(err, ERROR_INVALID, "an action is against a cause, a line or a place");
    }
    int rc = check_symptom(row, err);
    if (!rc)
        rc = check_cause(setup, row, err);
    if (!rc)
        rc = check_place(setup, row, err);
    if (!rc)
        rc = check_whose(rq, setup, store, row, err);
    if (!rc)
        rc = check_line(store, row, err);
    if (!rc)
        rc = take_day(body, tz_of(setup->tz, row->plant), row, err);
    return rc ? rc : check_day(store, tz_of(setup->tz, row->plant), row, err);
}

static int read_action(const json_t *body, int64_t now_ms, struct action_row *row,
                       struct error *err)
{
    int rc = check_names(body, err);
    for (int i = 0; i < MEMBER_COUNT && !rc; i++)
        rc = take_text(body, &MEMBERS[i], row, err);
    row->logged_ms = now_ms;
    return rc;
}

/* ---- requests ---- */

/* It is about no case: who called is known by the line, of whatever plant, and the cause. */
static void mask_note(const struct apart_from *from, struct action_row *row)
{
    char *masked = apart_written_of(from, row->note, row->line, row->cause);
    text_clip(masked, row->note, sizeof row->note);
    free(masked);
}

struct action_job {
    struct action_row row;
    int64_t id;
    struct text_buffer words; /* all texts of it */
    struct overheard heard;   /* of no case */
};

static int add_action(struct store *store, void *arg, struct error *err)
{
    struct action_job *job = arg;
    job->heard.where = "the note of an action says so";
    job->heard.plant = job->row.plant;
    text_reset(&job->words);
    text_append(&job->words, job->row.note);
    overheard_add_name(job->heard.desk, job->row.by_name, &job->words);
    job->heard.why = (struct complaint_why){job->row.by_name, job->words.data, job->row.logged_ms};
    int rc = action_add(store, &job->row, &job->id, err);
    return rc ? rc : overheard_hear(store, &job->heard, err);
}

static json_t *added_json(const struct request *rq, const struct setup *setup, struct store *store,
                          const struct action_job *job)
{
    char date[16];
    day_format(tz_day(tz_of(setup->tz, job->row.plant), job->row.at_ms), date);
    json_t *answer = json_pack("{s:I, s:s}", "action", (json_int_t)job->id, "at", date);
    despite_told_heard(rq, store, &job->heard, answer);
    return answer;
}

void actions_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct action_job job = {0};
    json_t *body = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_action(body, app_now_ms(rq->app), &job.row, &err);
    if (!rc)
        rc = check_against(rq, setup, store, body, &job.row, &err);
    mask_note(&(struct apart_from){&setup->desk, store}, &job.row);
    job.heard.desk = &setup->desk;
    if (!rc)
        rc = writer_run(rq->app->writer, add_action, &job, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 201, added_json(rq, setup, store, &job));
    json_decref(job.heard.harm);
    text_buffer_free(&job.words);
    json_decref(body);
    setup_unref(setup);
}

struct action_listing {
    const struct tz *tz;
    json_t *list;
};

static int list_action(void *arg, const struct action_row *row)
{
    struct action_listing *l = arg;
    char date[16];
    json_t *item = json_pack("{s:I, s:s, s:s, s:s}", "action", (json_int_t)row->id, "at",
                             day_format(tz_day(tz_of(l->tz, row->plant), row->at_ms), date), "note",
                             row->note, "by", row->by_name);
    const struct {
        const char *name, *value;
    } optional[] = {{"cause", row->cause},
                    {"plant", row->plant},
                    {"line", row->line},
                    {"place", row->place},
                    {"symptom", row->symptom}};
    for (size_t i = 0; i < sizeof optional / sizeof optional[0]; i++) {
        if (optional[i].value[0])
            json_object_set_new(item, optional[i].name, json_string(optional[i].value));
    }
    json_array_append_new(l->list, item);
    return 0;
}

void actions_list(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct action_listing l = {setup->tz, json_array()};
    int rc = action_list(store, list_action, &l, &err);
    request_reply_result(rq, rc, json_pack("{s:o}", "actions", l.list), &err);
    setup_unref(setup);
}

void actions_effect(struct request *rq, struct store *store)
{
    enum { DAYS_MOST = 365 };
    struct error err = {0};
    int64_t id, days = 28;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = 0;
    if (text_to_int64(rq->part[0], &id))
        rc = error_set(&err, ERROR_NOT_FOUND, "there is no action %.40s", rq->part[0]);
    if (!rc)
        rc = request_query_within(rq, "days", 1, DAYS_MOST, &days, &err);
    if (!rc) {
        const struct effect_query query = {id, (int)days, app_now_ms(rq->app)};
        rc = effect_report(store, setup->tz, &query, &answer, &err);
    }
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}
