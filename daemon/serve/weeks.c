/* What managers ask: weeks, common factors, scores. */
#include "base/cuts.h"
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "patterns/returns.h"
#include "patterns/span_rows.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "serve/app.h"
#include "serve/route.h"
#include "show/week_csv.h"
#include "show/week_html.h"
#include "tell/tell.h"
#include <stdlib.h>
#include <string.h>

static void reply_text(struct request *rq, const char *type, char *text)
{
    request_reply(rq, 200, type, text, strlen(text));
}

/* Of days to come nothing is known: "nothing rose" would be taken for an answer. */
static int check_begun(const char *field, const char *text, int32_t first_day, int32_t today,
                       struct error *err)
{
    if (first_day <= today)
        return 0;
    error_field(err, field, text);
    return error_set(err, ERROR_INVALID, "has not begun");
}

static int read_week(const struct request *rq, const struct setup *setup, struct iso_week *ret,
                     struct error *err)
{
    int32_t today = tz_day(setup->tz, app_now_ms(rq->app));
    struct iso_week now = iso_week_of(today);
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
    return rc ? rc : check_begun("week", rq->part[0], iso_week_monday(*ret), today, err);
}

/* What came back in those days, under "returns"; without "stand", which is of now. */
static int add_returns(struct store *store, const struct setup *setup, const struct span *days,
                       json_t *report, struct error *err)
{
    json_t *returns = NULL;
    const struct returns_query query = {days->from_day, days->to_day - 1,
                                        triage_catalogue(setup->triage)};
    int rc = returns_report(store, setup->tz, &query, &returns, err);
    if (rc)
        return rc;
    json_object_del(returns, "stand");
    json_object_set_new(report, "returns", returns);
    return 0;
}

static const char *const FORMATS[] = {"json", "html", "csv", NULL};
enum { FORMAT_JSON, FORMAT_HTML, FORMAT_CSV };

/* What a week and any other span are asked with alike. */
struct asked {
    struct span against;
    unsigned by;
    int format, table;
    const struct tz *tz;
};

static int read_span(const char *field, const char *text, struct span *ret, struct error *err)
{
    int rc = span_parse(text, ret, err);
    if (rc)
        error_field(err, field, text);
    return rc;
}

/* A page is not asked which form it has. */
static int read_asked(const struct request *rq, bool page, struct asked *ret, struct error *err)
{
    const char *against = request_query(rq, "against");
    int rc = 0;
    if (page)
        ret->format = FORMAT_HTML;
    else
        rc = request_query_word(rq, "format", FORMATS, &ret->format, err);
    if (!rc && !page)
        rc = request_query_word(rq, "table", WEEK_CSV_TABLES, &ret->table, err);
    if (!rc && against)
        rc = read_span("against", against, &ret->against, err);
    return rc ? rc : cuts_parse(request_query(rq, "by"), &ret->by, err);
}

static int add_harm(struct store *store, const struct span *days, const struct asked *asked,
                    int64_t now_ms, json_t *report, struct error *err)
{
    json_t *harm = NULL, *possible = NULL;
    const struct when_span span = {tz_day_start_ms(asked->tz, days->from_day),
                                   tz_day_start_ms(asked->tz, days->to_day)};
    const struct when_span until = when_span_until(span, now_ms);
    int rc = span_rows_harm(store, asked->tz, until, false, &harm, err);
    if (!rc)
        rc = span_rows_harm(store, asked->tz, until, true, &possible, err);
    if (!rc) {
        json_array_extend(harm, possible);
        json_object_set(report, "harm", harm);
    }
    json_decref(harm);
    json_decref(possible);
    return rc;
}

/* Lists that only a CSV file wants. */
static int add_rows(struct store *store, const struct request *rq, const struct span *days,
                    const struct asked *asked, json_t *report, struct error *err)
{
    json_t *rows = NULL;
    int64_t now_ms = app_now_ms(rq->app);
    bool complaints = asked->table == WEEK_CSV_COMPLAINTS;
    if (asked->format == FORMAT_CSV && asked->table == WEEK_CSV_HARM)
        return add_harm(store, days, asked, now_ms, report, err);
    if (asked->format != FORMAT_CSV || (!complaints && asked->table != WEEK_CSV_CASES))
        return 0;
    int rc = complaints ? span_rows_complaints(store, asked->tz, days, now_ms, &rows, err)
                        : span_rows_cases(store, asked->tz, days, now_ms, &rows, err);
    if (!rc)
        json_object_set_new(report, complaints ? "complaint_rows" : "case_rows", rows);
    return rc;
}

static void reply_report(struct request *rq, const struct setup *setup, const struct asked *asked,
                         json_t *report)
{
    if (asked->format == FORMAT_HTML)
        reply_text(rq, "text/html; charset=utf-8",
                   week_html(report, config_text(setup->config, "plant")));
    else if (asked->format == FORMAT_CSV)
        reply_text(rq, "text/csv; charset=utf-8", week_csv(report, asked->table));
    else
        request_reply_json(rq, 200, json_incref(report));
    json_decref(report);
}

static void answer_week(struct request *rq, struct store *store, bool page)
{
    struct error err = {0};
    struct week_query query = {.now_ms = app_now_ms(rq->app)};
    json_t *report = NULL;
    struct setup *setup = app_setup(rq->app);
    struct asked asked = {.tz = setup->tz};
    int rc = read_week(rq, setup, &query.week, &err);
    if (!rc)
        rc = read_asked(rq, page, &asked, &err);
    query.by = asked.by;
    query.against = asked.against;
    query.targets = setup->targets;
    int32_t monday = rc ? 0 : iso_week_monday(query.week);
    const struct span days = {.from_day = monday, .to_day = monday + 7};
    if (!rc)
        rc = week_report(store, setup->tz, setup->triage, &query, &report, &err);
    if (!rc)
        rc = add_returns(store, setup, &days, report, &err);
    if (!rc)
        rc = add_rows(store, rq, &days, &asked, report, &err);
    if (rc) {
        json_decref(report);
        request_reply_error(rq, rc, &err);
    } else {
        reply_report(rq, setup, &asked, report);
    }
    setup_unref(setup);
}

void weeks_get(struct request *rq, struct store *store)
{
    answer_week(rq, store, false);
}

void weeks_page(struct request *rq, struct store *store)
{
    answer_week(rq, store, true);
}

/* The page, and the tables of what is judged and of what is now, are a week's. */
static int check_span(const struct asked *asked, struct error *err)
{
    bool page = asked->format == FORMAT_HTML;
    if (!page && (asked->format != FORMAT_CSV || week_csv_of_span(asked->table)))
        return 0;
    error_set(err, ERROR_INVALID, "is of a week, not of a month, a quarter or a year");
    error_field(err, page ? "format" : "table", page ? "html" : WEEK_CSV_TABLES[asked->table]);
    error_hint(err,
               page ? "oddloaf week 2026-W47 --html FILE; of other spans there is --csv"
                    : "oddloaf week 2026-W47 --csv FILE --table %s; of other spans there are "
                      "rates, causes, harm, returns, complaints, cases",
               WEEK_CSV_TABLES[asked->table]);
    return ERROR_INVALID;
}

void weeks_span(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct span_query query = {.now_ms = app_now_ms(rq->app)};
    json_t *report = NULL;
    struct setup *setup = app_setup(rq->app);
    struct asked asked = {.tz = setup->tz};
    int rc = read_span("span", rq->part[0], &query.span, &err);
    if (!rc)
        rc = check_begun("span", rq->part[0], query.span.from_day, tz_day(setup->tz, query.now_ms),
                         &err);
    if (!rc)
        rc = read_asked(rq, false, &asked, &err);
    if (!rc)
        rc = check_span(&asked, &err);
    query.by = asked.by;
    query.against = asked.against;
    query.targets = setup->targets;
    if (!rc)
        rc = span_report(store, setup->tz, setup->triage, &query, &report, &err);
    if (!rc)
        rc = add_returns(store, setup, &query.span, report, &err);
    if (!rc)
        rc = add_rows(store, rq, &query.span, &asked, report, &err);
    if (rc) {
        json_decref(report);
        request_reply_error(rq, rc, &err);
    } else {
        reply_report(rq, setup, &asked, report);
    }
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
        if (!short_id_parse(SHORT_ID_CASE, item, &cases[count++])) {
            error_set(err, ERROR_INVALID, "must be cases, C12,C13");
            error_field(err, "cases", item);
            rc = ERROR_INVALID;
        }
    }
    free(copy);
    *ret_count = count;
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
    rc = request_query_days(rq, &query->from_day, &query->to_day, err);
    if (!rc && (query->from_day == WHEN_UNKNOWN_DAY || query->to_day == WHEN_UNKNOWN_DAY)) {
        rc = error_set(err, ERROR_INVALID, "is missing: give a period or cases");
        error_field(err, query->from_day == WHEN_UNKNOWN_DAY ? "from" : "to", "");
    }
    if (!rc && !query->symptom) {
        rc = error_set(err, ERROR_INVALID, "is missing");
        error_field(err, "symptom", "");
    }
    return rc;
}

void weeks_trace(struct request *rq, struct store *store)
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
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}

/* ---- scores ---- */

/* Days, both in it; either may be left out. */
static int read_given_days(const struct request *rq, const struct tz *tz, struct when_span *ret,
                           struct error *err)
{
    int32_t from_day = WHEN_UNKNOWN_DAY, to_day = WHEN_UNKNOWN_DAY;
    int rc = request_query_days(rq, &from_day, &to_day, err);
    ret->from_ms = from_day == WHEN_UNKNOWN_DAY ? 0 : tz_day_start_ms(tz, from_day);
    ret->to_ms = to_day == WHEN_UNKNOWN_DAY ? INT64_MAX : tz_day_start_ms(tz, to_day + 1);
    return rc;
}

/* What was counted, as it was asked for: null where it was left open. */
static void add_days(const struct request *rq, json_t *into)
{
    static const char *const DAYS[] = {"from", "to"};
    for (size_t i = 0; i < sizeof DAYS / sizeof DAYS[0]; i++) {
        const char *day = request_query(rq, DAYS[i]);
        json_object_set_new(into, DAYS[i], day ? json_string(day) : json_null());
    }
}

void weeks_scores(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct when_span span;
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = read_given_days(rq, setup->tz, &span, &err);
    if (!rc)
        rc = tell_scores(setup->triage, store, span, &answer, &err);
    if (!rc)
        add_days(rq, answer);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}
