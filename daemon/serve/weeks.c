/* What managers ask: weeks, common factors, scores. */
#include "base/cuts.h"
#include "base/jsonx.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "patterns/returns.h"
#include "patterns/span_rows.h"
#include "patterns/trace.h"
#include "patterns/week.h"
#include "serve/app.h"
#include "serve/kept.h"
#include "serve/plant_asked.h"
#include "serve/route.h"
#include "show/week_csv.h"
#include "show/week_html.h"
#include "store/stage.h"
#include "tell/tell.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Of days to come nothing is known: "nothing rose" would be taken for an answer. */
static int check_begun(const char *field, const char *text, int32_t first_day, int32_t today,
                       struct error *err)
{
    if (first_day <= today)
        return 0;
    error_field(err, field, text);
    return error_set(err, ERROR_INVALID, "has not begun");
}

/* What a week and any other span are asked with alike. */
struct asked {
    const struct setup *setup;
    int64_t now_ms;
    struct span days, against; /* against.name "": nothing */
    struct iso_week week;      /* of a week; year 0 of any other span */
    unsigned by;
    const char *plant; /* NULL: all */
    int format, table;
};

static const char *const FORMATS[] = {"json", "html", "csv", NULL};
enum { FORMAT_JSON, FORMAT_HTML, FORMAT_CSV };

static int32_t today(const struct asked *asked)
{
    return tz_day(tz_of(asked->setup->tz, asked->plant), asked->now_ms);
}

static int parse_week(const char *text, struct asked *ret, struct error *err)
{
    struct iso_week now = iso_week_of(today(ret));
    int rc = 0;
    if (strcmp(text, "current") == 0)
        ret->week = now;
    else if (strcmp(text, "latest") == 0)
        ret->week = iso_week_add(now, -1);
    else
        rc = iso_week_parse(text, &ret->week, err);
    if (rc)
        error_field(err, "week", text);
    return rc;
}

static int read_week(const char *text, struct asked *ret, struct error *err)
{
    int rc = parse_week(text, ret, err);
    if (rc)
        return rc;
    int32_t monday = iso_week_monday(ret->week);
    ret->days = (struct span){.from_day = monday, .to_day = monday + 7, .is_week = true};
    iso_week_format(ret->week, ret->days.name);
    return check_begun("week", text, monday, today(ret), err);
}

static int parse_span(const char *field, const char *text, struct span *ret, struct error *err)
{
    int rc = span_parse(text, ret, err);
    if (rc)
        error_field(err, field, text);
    return rc;
}

static int read_span(const char *text, struct asked *ret, struct error *err)
{
    int rc = parse_span("span", text, &ret->days, err);
    return rc ? rc : check_begun("span", text, ret->days.from_day, today(ret), err);
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
        rc = parse_span("against", against, &ret->against, err);
    return rc ? rc : cuts_parse(request_query(rq, "by"), &ret->by, err);
}

/* ---- what is answered ---- */

/* What came back in those days, under "returns"; without "stand", which is of now. */
static int add_returns(struct store *store, const struct asked *asked, json_t *report,
                       struct error *err)
{
    json_t *returns = NULL;
    const struct returns_query query = {asked->days.from_day, asked->days.to_day - 1,
                                        triage_catalogue(asked->setup->triage), asked->plant};
    int rc = returns_report(store, asked->setup->tz, &query, &returns, err);
    if (rc)
        return rc;
    json_object_del(returns, "stand");
    json_object_set_new(report, "returns", returns);
    return 0;
}

static int add_harm(struct store *store, const struct asked *asked, json_t *report,
                    struct error *err)
{
    json_t *harm = NULL, *possible = NULL;
    const struct tz *tz = asked->setup->tz;
    const struct when_span span = {tz_day_start_ms(tz, asked->days.from_day),
                                   tz_day_start_ms(tz, asked->days.to_day)};
    const struct when_span until = when_span_until(span, asked->now_ms);
    struct span_harm of = {tz, until, asked->plant, false, asked->setup->desk.harm};
    int rc = span_rows_harm(store, &of, &harm, err);
    of.possible = true;
    if (!rc)
        rc = span_rows_harm(store, &of, &possible, err);
    if (!rc) {
        json_array_extend(harm, possible);
        json_object_set(report, "harm", harm);
    }
    json_decref(harm);
    json_decref(possible);
    return rc;
}

/* Lists that only a CSV file wants. */
static int add_rows(struct store *store, const struct asked *asked, json_t *report,
                    struct error *err)
{
    json_t *rows = NULL;
    const struct span_rows of = {asked->setup->tz, &asked->days, asked->now_ms, asked->plant};
    bool complaints = asked->table == WEEK_CSV_COMPLAINTS;
    if (asked->format == FORMAT_CSV && asked->table == WEEK_CSV_HARM)
        return add_harm(store, asked, report, err);
    if (asked->format != FORMAT_CSV || (!complaints && asked->table != WEEK_CSV_CASES))
        return 0;
    int rc = complaints ? span_rows_complaints(store, &of, &rows, err)
                        : span_rows_cases(store, &of, &rows, err);
    if (!rc)
        json_object_set_new(report, complaints ? "complaint_rows" : "case_rows", rows);
    return rc;
}

static int report_on(struct store *store, const struct asked *asked, json_t **ret,
                     struct error *err)
{
    const struct setup *s = asked->setup;
    const struct week_query week = {asked->week,  asked->now_ms, asked->against, s->targets,
                                    asked->plant, asked->by,     s->desk.harm,   &s->desk};
    const struct span_query span = {asked->days, asked->against, asked->now_ms, s->targets,
                                    asked->by,   asked->plant,   s->desk.harm,  &s->desk};
    return asked->week.year ? week_report(store, s->tz, s->triage, &week, ret, err)
                            : span_report(store, s->tz, s->triage, &span, ret, err);
}

static char *written(const struct asked *asked, const json_t *report)
{
    if (asked->format == FORMAT_HTML)
        return week_html(report, config_text(asked->setup->config, "plant"));
    return asked->format == FORMAT_CSV ? week_csv(report, asked->table) : jsonx_dump(report);
}

static int make(struct store *store, const struct asked *asked, char **ret, struct error *err)
{
    json_t *report = NULL;
    int rc = report_on(store, asked, &report, err);
    if (!rc)
        rc = add_returns(store, asked, report, err);
    if (!rc)
        rc = add_rows(store, asked, report, err);
    *ret = rc ? NULL : written(asked, report);
    json_decref(report);
    return rc;
}

/* A page that six people ask for on a Monday costs one. */
static void reply_kept(struct request *rq, struct store *store, const struct asked *asked)
{
    static const char *const TYPES[] = {
        [FORMAT_JSON] = "application/json",
        [FORMAT_HTML] = "text/html; charset=utf-8",
        [FORMAT_CSV] = "text/csv; charset=utf-8",
    };
    char key[400], mark[STORE_MARK];
    uint64_t turn;
    struct error err = {0};
    const struct kept_asked like = {key, writer_counts(rq->app->writer).groups, asked->now_ms};
    store_mark(store, mark); /* of a server others write to, too */
    /* of one plant its own people are told less than the company's: of whom else a lot went to */
    snprintf(key, sizeof key, "%s%s plant=%s %d against=%s by=%x %d.%d set=%lld %s",
             rq->sees_all ? "" : "own ", asked->days.name, asked->plant ? asked->plant : "",
             asked->week.year, asked->against.name, asked->by, asked->format, asked->table,
             (long long)asked->setup->loaded_ms, mark);
    char *text = kept_take(rq->app->kept, &like, store, &turn);
    int rc = text ? 0 : make(store, asked, &text, &err);
    kept_put(rq->app->kept, turn, text);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply(rq, 200, TYPES[asked->format], text, strlen(text));
}

static void answer_week(struct request *rq, struct store *store, bool page)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct asked asked = {.setup = setup, .now_ms = app_now_ms(rq->app)};
    int rc = plant_asked(rq, setup, store, &asked.plant, &err); /* whose today it is */
    if (!rc)
        rc = read_week(rq->part[0], &asked, &err);
    if (!rc)
        rc = read_asked(rq, page, &asked, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        reply_kept(rq, store, &asked);
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
    struct setup *setup = app_setup(rq->app);
    struct asked asked = {.setup = setup, .now_ms = app_now_ms(rq->app)};
    int rc = plant_asked(rq, setup, store, &asked.plant, &err);
    if (!rc)
        rc = read_span(rq->part[0], &asked, &err);
    if (!rc)
        rc = read_asked(rq, false, &asked, &err);
    if (!rc)
        rc = check_span(&asked, &err);
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        reply_kept(rq, store, &asked);
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
                                  .cases = cases,
                                  .now_ms = app_now_ms(rq->app)};
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
        rc = plant_asked(rq, setup, store, &query.plant, &err);
    if (!rc)
        rc = trace_run(store, setup->tz, &query, &answer, &err);
    if (!rc)
        plant_level_set(answer, query.plant);
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
    struct stage_of of = {.plant = NULL};
    json_t *answer = NULL;
    struct setup *setup = app_setup(rq->app);
    int rc = read_given_days(rq, setup->tz, &of.span, &err);
    if (!rc)
        rc = plant_asked(rq, setup, store, &of.plant, &err);
    if (!rc)
        rc = tell_scores(setup->triage, store, &of, &answer, &err);
    if (!rc)
        add_days(rq, answer);
    if (!rc)
        plant_level_set(answer, of.plant);
    request_reply_result(rq, rc, answer, &err);
    setup_unref(setup);
}
