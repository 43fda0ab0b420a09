#include "serve/request.h"
#include "base/jsonx.h"
#include "base/near.h"
#include "base/text.h"
#include "base/when.h"
#include "base/words.h"
#include "desk/unkept.h"
#include "intake/fields.h"
#include "serve/app.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void request_sender(const struct request *rq, const char *given, char *out, size_t size)
{
    if (given && *given && strcmp(given, rq->user) != 0)
        snprintf(out, size, "%.80s (%s)", given, rq->user);
    else
        snprintf(out, size, "%s", rq->user);
}

const char *request_query(const struct request *rq, const char *name)
{
    return query_get(&rq->query, name);
}

int request_query_int(const struct request *rq, const char *name, int64_t missing, int64_t *ret,
                      struct error *err)
{
    const char *text = request_query(rq, name);
    if (!text) {
        *ret = missing;
        return 0;
    }
    if (text_to_int64(text, ret) == 0)
        return 0;
    error_set(err, ERROR_INVALID, "must be a whole number");
    error_field(err, name, text);
    return ERROR_INVALID;
}

int request_query_within(const struct request *rq, const char *name, int64_t least, int64_t most,
                         int64_t *ret, struct error *err)
{
    int64_t number = 0;
    if (!request_query(rq, name))
        return 0;
    int rc = request_query_int(rq, name, 0, &number, err);
    if (!rc && (number < least || number > most)) {
        rc = error_set(err, ERROR_INVALID, "must be a whole number from %lld to %lld",
                       (long long)least, (long long)most);
        error_field(err, name, request_query(rq, name));
    }
    if (!rc)
        *ret = number;
    return rc;
}

int request_query_flag(const struct request *rq, const char *name, bool missing, bool *ret,
                       struct error *err)
{
    const char *text = request_query(rq, name);
    *ret = text ? strcmp(text, "1") == 0 : missing;
    if (!text || *ret || strcmp(text, "0") == 0)
        return 0;
    error_set(err, ERROR_INVALID, "must be 1 or 0");
    error_field(err, name, text);
    return ERROR_INVALID;
}

static int refuse_word(const char *name, const char *text, const char *known, struct error *err)
{
    char best[NEAR_BYTES];
    struct near near = near_to(text);
    near_try_each(&near, known, best);
    near_hint(&near, "", err);
    error_set(err, ERROR_INVALID, "not one of %s", known);
    error_field(err, name, text);
    return ERROR_INVALID;
}

int request_query_word(const struct request *rq, const char *name, const char *const *words,
                       int *ret, struct error *err)
{
    const char *text = request_query(rq, name);
    *ret = 0;
    while (text && words[*ret] && strcmp(words[*ret], text) != 0)
        ++*ret;
    if (words[*ret])
        return 0;
    struct text_buffer known = {0};
    for (int i = 0; words[i]; i++)
        text_appendf(&known, "%s%s", i ? " " : "", words[i]);
    refuse_word(name, text, known.data, err);
    text_buffer_free(&known);
    return ERROR_INVALID;
}

int request_query_among(const struct request *rq, const char *name, const char *words,
                        const char **ret, struct error *err)
{
    *ret = request_query(rq, name);
    return !*ret || words_has(words, *ret) ? 0 : refuse_word(name, *ret, words, err);
}

int request_query_symptom(const struct request *rq, const char **ret, struct error *err)
{
    struct text_buffer words = {0};
    fields_list(fields_find("symptom")->words, &words);
    int rc = request_query_among(rq, "symptom", words.data, ret, err);
    text_buffer_free(&words);
    return rc;
}

static int query_day(const struct request *rq, const char *name, int32_t *day, struct error *err)
{
    const char *text = request_query(rq, name);
    int rc = text ? day_parse(text, day, err) : 0;
    if (rc)
        error_field(err, name, text);
    return rc;
}

int request_query_days(const struct request *rq, int32_t *from, int32_t *to, struct error *err)
{
    int rc = query_day(rq, "from", from, err);
    if (!rc)
        rc = query_day(rq, "to", to, err);
    if (rc || *from == WHEN_UNKNOWN_DAY || *to == WHEN_UNKNOWN_DAY || *from <= *to)
        return rc;
    error_field(err, "from", request_query(rq, "from"));
    return error_set(err, ERROR_INVALID, "must not lie after 'to'");
}

bool request_is_lines(const struct request *rq)
{
    static const char TYPE[] = "application/x-ndjson";
    return strncmp(rq->content_type, TYPE, sizeof TYPE - 1) == 0;
}

int request_json(const struct request *rq, json_t **ret, struct error *err)
{
    json_t *body = NULL;
    int rc = jsonx_parse(rq->body, rq->body_length, &body, err);
    if (!rc && !json_is_object(body)) {
        json_decref(body);
        return error_set(err, ERROR_INVALID, "the body must be one JSON object");
    }
    if (!rc)
        *ret = body;
    return rc;
}

int request_decided(const json_t *body, int64_t *ret, struct error *err)
{
    const char *at = NULL;
    int64_t ms = *ret;
    int rc = jsonx_text(body, "at", LENGTH_WORD, &at, err);
    if (rc || !at)
        return rc;
    rc = when_parse(at, &ms, err);
    if (!rc && ms > *ret)
        rc = error_set(err, ERROR_INVALID, "lies ahead");
    if (rc)
        error_field(err, "at", at);
    else
        *ret = ms;
    return rc;
}

void request_reply(struct request *rq, int status, const char *content_type, char *body,
                   size_t length)
{
    rq->reply(rq, &(struct request_answer){status, content_type, body, length, false});
}

void request_reply_piece(struct request *rq, const char *content_type, char *body, size_t length)
{
    rq->reply(rq, &(struct request_answer){200, content_type, body, length, true});
}

void request_reply_json(struct request *rq, int status, json_t *body)
{
    struct error err = {0};
    if (!body) { /* a text in it is no UTF-8: jsonx_outside() */
        error_set(&err, ERROR_INTERNAL, "the answer could not be put together");
        request_reply_error(rq, ERROR_INTERNAL, &err);
        return;
    }
    char *text = jsonx_dump(body);
    json_decref(body);
    request_reply(rq, status, "application/json", text, strlen(text));
}

static int status_of(int code)
{
    static const struct {
        int code, status;
    } STATUS[] = {{ERROR_INVALID, 400},  {ERROR_NOT_FOUND, 404}, {ERROR_DENIED, 403},
                  {ERROR_CONFLICT, 409}, {ERROR_TOO_LARGE, 413}, {ERROR_BUSY, 503},
                  {ERROR_NO_SPACE, 507}, {ERROR_LOST, 507}};
    for (size_t i = 0; i < sizeof STATUS / sizeof STATUS[0]; i++) {
        if (STATUS[i].code == code)
            return STATUS[i].status;
    }
    return 500;
}

static const char *title_of(int code)
{
    static const struct {
        int code;
        const char *title;
    } TITLE[] = {{ERROR_INVALID, "Something in the request cannot be right"},
                 {ERROR_NOT_FOUND, "Not found"},
                 {ERROR_DENIED, "Not allowed for this role"},
                 {ERROR_CONFLICT, "It contradicts what is recorded"},
                 {ERROR_TOO_LARGE, "Too large"},
                 {ERROR_BUSY, "Busy, try again"},
                 {ERROR_NO_SPACE, "No space left"},
                 {ERROR_LOST, "The database was taken away"}};
    for (size_t i = 0; i < sizeof TITLE / sizeof TITLE[0]; i++) {
        if (TITLE[i].code == code)
            return TITLE[i].title;
    }
    return "The daemon could not do it";
}

/* An input/output error of a database that was taken away has that as its reason. */
static int find_reason(const struct request *rq, int code, const struct error **err,
                       struct error *lost)
{
    if (code != ERROR_IO || !rq->app->writer)
        return code;
    *lost = writer_counts(rq->app->writer).lost;
    if (!lost->code)
        return code;
    *err = lost;
    return (int)lost->code;
}

static json_t *problem_of(int code, const struct error *err)
{
    char type[64];
    snprintf(type, sizeof type, "urn:oddloaf:problem:%s", error_word((enum error_code)code));
    json_t *problem =
        json_pack("{s:s, s:s, s:i, s:s}", "type", type, "title", title_of(code), "status",
                  status_of(code), "detail", err->text[0] ? err->text : title_of(code));
    if (err->field[0] || err->source[0] || err->line)
        json_object_set_new(problem, "errors",
                            json_pack("[{s:s, s:I, s:I, s:s, s:s, s:s}]", "source", err->source,
                                      "line", (json_int_t)err->line, "column",
                                      (json_int_t)err->column, "field", err->field, "value",
                                      err->value, "reason", err->text));
    if (err->hint[0])
        json_object_set_new(problem, "hint", json_string(err->hint));
    return problem;
}

/* Not all refusals have a code of ours. */
static const char *word_of(int status)
{
    static const enum error_code CODES[] = {ERROR_INVALID, ERROR_NOT_FOUND, ERROR_DENIED,
                                            ERROR_TOO_LARGE, ERROR_BUSY};
    for (size_t i = 0; i < sizeof CODES / sizeof CODES[0]; i++) {
        if (status_of(CODES[i]) == status)
            return error_word(CODES[i]);
    }
    return "refused";
}

char *request_problem(int status, const char *title, const char *detail, const char *hint)
{
    char type[64];
    snprintf(type, sizeof type, "urn:oddloaf:problem:%s", word_of(status));
    json_t *problem = json_pack("{s:s, s:s, s:i, s:s}", "type", type, "title", title, "status",
                                status, "detail", detail);
    if (hint)
        json_object_set_new(problem, "hint", json_string(hint));
    char *text = jsonx_dump(problem);
    json_decref(problem);
    return text;
}

/* Whatever was asked, who wrote of harm is told that nobody else hears of it. */
json_t *request_unkept(const struct request *rq)
{
    static const char JSON[] = "application/json";
    bool rows = request_is_lines(rq) && rq->company; /* of records: they speak of glass */
    bool words = !*rq->content_type || (request_is_lines(rq) && !rows) ||
                 strncmp(rq->content_type, JSON, sizeof JSON - 1) == 0;
    if (!rq->body_length || !words || !rq->roles)
        return json_object();
    struct setup *setup = app_setup(rq->app);
    json_t *harm = unkept_body(&setup->desk, rq->body, rq->body_length);
    setup_unref(setup);
    if (rq->no_caller)
        json_object_del(harm, "script");
    return harm;
}

void request_reply_faults(struct request *rq, int code, const struct error *err,
                          const json_t *faults, const json_t *more)
{
    struct error lost;
    code = find_reason(rq, code, &err, &lost);
    json_t *problem = problem_of(code, err);
    if (json_array_size(faults) > 1) {
        if (code != ERROR_CONFLICT)
            json_object_set_new(
                problem, "detail",
                json_sprintf("%zu values cannot be right", json_array_size(faults)));
        json_object_set(problem, "errors", (json_t *)faults);
    } else if (json_array_size(faults) == 1) {
        json_object_update(json_array_get(json_object_get(problem, "errors"), 0),
                           json_array_get(faults, 0));
    }
    json_t *harm = more ? NULL : request_unkept(rq);
    json_object_update_missing(problem, more ? (json_t *)(uintptr_t)more : harm);
    json_decref(harm);
    char *text = jsonx_dump(problem);
    json_decref(problem);
    request_reply(rq, status_of(code), "application/problem+json", text, strlen(text));
}

void request_reply_error(struct request *rq, int code, const struct error *err)
{
    request_reply_faults(rq, code, err, NULL, NULL);
}

void request_reply_result(struct request *rq, int code, json_t *answer, const struct error *err)
{
    if (code) {
        json_decref(answer);
        request_reply_error(rq, code, err);
    } else {
        request_reply_json(rq, 200, answer);
    }
}
