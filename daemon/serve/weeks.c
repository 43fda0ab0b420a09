/* What managers ask: weeks, common factors, scores, corrective actions and their effect. */
#include "base/jsonx.h"
#include "base/text.h"
#include "patterns/effect.h"
#include "patterns/returns.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "serve/app.h"
#include "serve/route.h"
#include "show/week_csv.h"
#include "show/week_html.h"
#include "store/action.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

static void reply_text(struct request *rq, const char *type, char *text)
{
    request_reply(rq, 200, type, text, strlen(text));
}

static int read_week(const struct request *rq, const struct setup *setup, struct iso_week *ret,
                     struct error *err)
{
    struct iso_week now = iso_week_of(tz_day(setup->tz, app_now_ms(rq->app)));
    if (strcmp(rq->part[0], "current") == 0) {
        *ret = now;
        return 0;
    }
    if (strcmp(rq->part[0], "latest") == 0) {
        *ret = iso_week_add(now, -1);
        return 0;
    }
    int rc = iso_week_parse(rq->part[0], ret, err);
    if (rc)
        error_field(err, "week", rq->part[0]);
    return rc;
}

/* What came back in those seven days, under "returns"; without "stand", which is of now. */
static int add_returns(struct store *store, const struct setup *setup, struct iso_week week,
                       json_t *report, struct error *err)
{
    json_t *returns = NULL;
    int32_t monday = iso_week_monday(week);
    int rc = returns_report(store, setup->tz, triage_catalogue(setup->triage), monday, monday + 6,
                            &returns, err);
    if (rc)
        return rc;
    json_object_del(returns, "stand");
    json_object_set_new(report, "returns", returns);
    return 0;
}

static const char *const FORMATS[] = {"json", "html", "csv", NULL};
enum { FORMAT_JSON, FORMAT_HTML, FORMAT_CSV };

void weeks_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct week_query query = {.now_ms = app_now_ms(rq->app)};
    json_t *report = NULL;
    struct setup *setup = app_setup(rq->app);
    int format = FORMAT_JSON;
    int rc = read_week(rq, setup, &query.week, &err);
    if (!rc)
        rc = request_query_word(rq, "format", FORMATS, &format, &err);
    if (!rc)
        rc = week_by_parse(request_query(rq, "by"), &query.by, &err);
    if (!rc)
        rc = week_report(store, setup->tz, setup->triage, &query, &report, &err);
    if (!rc)
        rc = add_returns(store, setup, query.week, report, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else if (format == FORMAT_HTML) {
        reply_text(rq, "text/html; charset=utf-8",
                   week_html(report, config_text(setup->config, "plant")));
    } else if (format == FORMAT_CSV) {
        reply_text(rq, "text/csv; charset=utf-8", week_csv(report));
    } else {
        request_reply_json(rq, 200, json_incref(report));
    }
    json_decref(report);
    setup_unref(setup);
}

/* ---- trace ---- */

enum { TRACE_CASES = 1000 };

static int read_cases(const char *text, int64_t *cases, size_t *ret_count, struct error *err)
{
    size_t count = 0;
    char *copy = xstrdup(text), *rest = copy, *item;
    int rc = 0;
    while (!rc && (item = strsep(&rest, ",")) && count < TRACE_CASES) {
        const char *digits = *item == 'C' || *item == 'c' ? item + 1 : item;
        if (text_to_int64(digits, &cases[count++])) {
            error_set(err, ERROR_INVALID, "must be cases, C12,C13");
            error_field(err, "cases", item);
            rc = ERROR_INVALID;
        }
    }
    free(copy);
    *ret_count = count;
    return rc;
}

static int read_day(const struct request *rq, const char *name, int32_t *ret, struct error *err)
{
    const char *text = request_query(rq, name);
    int rc = text ? day_parse(text, ret, err)
                  : error_set(err, ERROR_INVALID, "is missing: give a period or cases");
    if (rc)
        error_field(err, name, text ? text : "");
    return rc;
}

static int read_trace(const struct request *rq, int64_t *cases, struct trace_query *query,
                      struct error *err)
{
    const char *list = request_query(rq, "cases"), *symptom;
    int rc = request_query_symptom(rq, &symptom, err);
    if (rc)
        return rc;
    *query = (struct trace_query){.symptom = symptom,
                                  .from_day = WHEN_UNKNOWN_DAY,
                                  .to_day = WHEN_UNKNOWN_DAY,
                                  .cases = cases};
    if (list)
        return read_cases(list, cases, &query->case_count, err);
    rc = read_day(rq, "from", &query->from_day, err);
    if (!rc)
        rc = read_day(rq, "to", &query->to_day, err);
    if (!rc && !query->symptom) {
        rc = error_set(err, ERROR_INVALID, "is missing");
        error_field(err, "symptom", "");
    }
    return rc;
}

void trace_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct trace_query query;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int64_t *cases = xcalloc(TRACE_CASES, sizeof *cases);
    int rc = read_trace(rq, cases, &query, &err);
    if (!rc)
        rc = trace_run(store, setup->tz, &query, &answer, &err);
    free(cases);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
    setup_unref(setup);
}

/* ---- scores ---- */

static int read_moment(const struct request *rq, const struct setup *setup, const char *name,
                       int64_t missing, int day_offset, int64_t *ret, struct error *err)
{
    int32_t day = 0;
    *ret = missing;
    if (!request_query(rq, name))
        return 0;
    int rc = read_day(rq, name, &day, err);
    if (!rc)
        *ret = tz_day_start_ms(setup->tz, day + day_offset);
    return rc;
}

void scores_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    int64_t from_ms, to_ms;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = read_moment(rq, setup, "from", 0, 0, &from_ms, &err);
    if (!rc)
        rc = read_moment(rq, setup, "to", INT64_MAX, 1, &to_ms, &err);
    if (!rc)
        rc = tell_scores(setup->triage, store, from_ms, to_ms, &answer, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
    setup_unref(setup);
}

/* ---- corrective actions ---- */

struct action_job {
    struct action_row row;
    int64_t id;
};

static int add_action(struct store *store, void *arg, struct error *err)
{
    struct action_job *job = arg;
    return action_add(store, &job->row, &job->id, err);
}

static int take_text(const json_t *body, const char *name, char *out, size_t size, bool needed,
                     struct error *err)
{
    const char *text = NULL;
    int rc = jsonx_string(body, name, &text, err);
    if (!rc && needed && (!text || !*text)) {
        rc = error_set(err, ERROR_INVALID, "is missing");
        error_field(err, name, "");
    }
    text_clip(text ? text : "", out, size);
    return rc;
}

static int read_action(const json_t *body, const struct setup *setup, int64_t now_ms,
                       struct action_row *row, struct error *err)
{
    char at[16];
    int32_t day;
    int rc = take_text(body, "cause", row->cause, sizeof row->cause, false, err);
    if (!rc)
        rc = take_text(body, "line", row->line, sizeof row->line, false, err);
    if (!rc)
        rc = take_text(body, "place", row->place, sizeof row->place, false, err);
    if (!rc)
        rc = take_text(body, "symptom", row->symptom, sizeof row->symptom, false, err);
    if (!rc)
        rc = take_text(body, "note", row->note, sizeof row->note, true, err);
    if (!rc)
        rc = take_text(body, "by", row->by_name, sizeof row->by_name, true, err);
    if (!rc)
        rc = take_text(body, "at", at, sizeof at, true, err);
    if (!rc && day_parse(at, &day, err)) {
        error_field(err, "at", at);
        rc = ERROR_INVALID;
    }
    if (!rc && !row->cause[0] && !row->line[0] && !row->place[0]) {
        rc = error_set(err, ERROR_INVALID, "an action is against a cause, a line or a place");
        error_hint(err, "give at least one of them");
    }
    if (!rc && row->cause[0] && !triage_cause_title(setup->triage, row->cause)) {
        rc = error_set(err, ERROR_INVALID, "is not a cause");
        error_field(err, "cause", row->cause);
        error_hint(err, "`oddloaf rules list` names them");
    }
    if (!rc) {
        row->at_ms = tz_day_start_ms(setup->tz, day);
        row->logged_ms = now_ms;
    }
    return rc;
}

void actions_post(struct request *rq, struct store *store)
{
    (void)store;
    struct error err = {0};
    struct action_job job = {0};
    json_t *body = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_action(body, setup, app_now_ms(rq->app), &job.row, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, add_action, &job, &err);
    json_decref(body);
    setup_unref(setup);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 201, json_pack("{s:I}", "action", (json_int_t)job.id));
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
                             day_format(tz_day(l->tz, row->at_ms), date), "note", row->note, "by",
                             row->by_name);
    const struct {
        const char *name, *value;
    } optional[] = {{"cause", row->cause},
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
    if (rc) {
        json_decref(l.list);
        request_reply_error(rq, rc, &err);
    } else {
        request_reply_json(rq, 200, json_pack("{s:o}", "actions", l.list));
    }
    setup_unref(setup);
}

void actions_effect(struct request *rq, struct store *store)
{
    enum { DAYS_MOST = 365 };
    struct error err = {0};
    int64_t id, days = 28;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = text_to_int64(rq->part[0], &id);
    if (rc)
        error_set(&err, ERROR_NOT_FOUND, "there is no action %.40s", rq->part[0]);
    if (!rc)
        rc = request_query_int(rq, "days", 28, &days, &err);
    if (!rc && (days < 1 || days > DAYS_MOST)) {
        rc = error_set(&err, ERROR_INVALID, "must lie between 1 and %d", DAYS_MOST);
        error_field(&err, "days", request_query(rq, "days"));
    }
    if (!rc)
        rc = effect_report(store, setup->tz, id, (int)days, app_now_ms(rq->app), &answer, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200, answer);
    setup_unref(setup);
}
