/* Photos and reports: sent in parts, attached to a complaint or a case, listed, given back,
 * detached. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/uuid.h"
#include "desk/apart.h"
#include "desk/attached_json.h"
#include "desk/named.h"
#include "desk/overheard.h"
#include "desk/overheard_file.h"
#include "desk/unkept.h"
#include "serve/app.h"
#include "serve/despite_told.h"
#include "serve/file_kind.h"
#include "serve/health.h"
#include "serve/route.h"
#include "serve/uploads.h"
#include "store/attached.h"
#include "store/case.h"
#include "store/complaint.h"
#include "store/file_hash.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_BYTES = 120 };

/* ---- whose ---- */

struct subject {
    int64_t case_id, complaint_id; /* one of them */
    int64_t about_case;            /* for the masks */
    char uuid[UUID_TEXT];          /* of the complaint */
};

static int take_complaint(void *arg, const struct complaint_row *row)
{
    struct subject *s = arg;
    s->complaint_id = row->id;
    s->about_case = row->case_id;
    return 0;
}

static int find_subject(struct store *store, const char *word, struct subject *ret,
                        struct error *err)
{
    struct case_row row;
    *ret = (struct subject){0};
    if (short_id_parse(SHORT_ID_CASE, word, &ret->case_id)) {
        int rc = case_get(store, ret->case_id, &row, err);
        if (!rc)
            ret->case_id = ret->about_case = row.id;
        return rc;
    }
    int rc = named_complaint(store, word, ret->uuid, err);
    return rc ? rc : complaint_by_uuid(store, ret->uuid, take_complaint, ret, err);
}

/* The case that a complaint is in: what comes back from an export, where cases have other numbers.
 */
static void take_its_case(struct subject *s)
{
    if (s->complaint_id)
        *s = (struct subject){.case_id = s->about_case, .about_case = s->about_case};
}

/* ---- parts ---- */

static int read_upload(const char *said, char ret[static UUID_TEXT], struct error *err)
{
    if (said && uuid_normalize(said, ret))
        return 0;
    error_field(err, "upload", said ? said : "");
    return error_set(err, ERROR_INVALID, "must be a UUID");
}

/* Refused: what the request, and the bytes that came, say of harm is told to who sent them. */
static void reply_refused(struct request *rq, const struct setup *setup,
                          const struct unkept_file *file, int rc, const struct error *err)
{
    json_t *more = request_unkept(rq);
    if (rq->roles)
        unkept_file(&setup->desk, file, more);
    request_reply_faults(rq, rc, err, NULL, more);
    json_decref(more);
}

void attachments_part(struct request *rq, struct store *store)
{
    struct error err = {0};
    char id[UUID_TEXT];
    struct setup *setup = app_setup(rq->app);
    struct uploads_part part = {.id = id,
                                .user = rq->user,
                                .bytes = rq->body,
                                .length = rq->body_length,
                                .most = (size_t)config_number(setup->config, "attach/file_mb")
                                        << 20,
                                .steady_ms = clock_monotonic_ms()};
    size_t length = 0;
    int rc = request_query_within(rq, "part", 0, INT64_MAX, &part.number, &err);
    if (!rc)
        rc = health_room(rq->app, setup, store, &err);
    if (!rc)
        rc = read_upload(request_query(rq, "upload"), id, &err);
    if (!rc)
        rc = uploads_add(rq->app->uploads, &part, &length, &err);
    if (rc)
        reply_refused(rq, setup, &(struct unkept_file){NULL, rq->body, rq->body_length}, rc, &err);
    else
        request_reply_json(rq, 200,
                           json_pack("{s:s, s:I}", "upload", id, "bytes", (json_int_t)length));
    setup_unref(setup);
}

/* ---- attaching ---- */

struct attaching {
    struct subject subject;
    struct text_buffer bytes;
    char type[FILE_KIND], sha256[FILE_HASH];
    char *name;
    const char *by, *user;
    size_t removed;
    int64_t at_ms, id;
    struct attached_limits limits;
    bool again;
    struct overheard_file text; /* what a text says of harm */
    char *quoted;               /* of it, and its name, without contact data */
    json_t *named;              /* what its name says, and who attaches it; NULL: nothing */
    struct overheard heard;
};

/* A name for people: no path, nothing that hides. */
static int check_name(const char *name, struct error *err)
{
    if (*name != '.' && !strpbrk(name, "/\\"))
        return 0;
    error_set(err, ERROR_INVALID, "must be a file's name without a path or a dot before it");
    error_field(err, "name", name);
    return ERROR_INVALID;
}

/* What its name says, or who attaches it in the place of theirs, stands before what it says itself.
 */
static void read_names(const struct setup *setup, struct attaching *a, struct overheard_file *text)
{
    struct text_buffer said = {0};
    text_append(&said, a->name);
    overheard_add_name(&setup->desk, a->by, &said);
    json_t *harm = overheard_in_file_name(&setup->desk, said.data);
    a->named = json_copy(harm);
    if (!harm) {
        text_buffer_free(&said);
        return;
    }
    if (text->harm)
        text_appendf(&said, "\n\n%s", text->quotes.data);
    jsonx_add_missing(harm, text->harm);
    overheard_file_clear(text);
    *text = (struct overheard_file){harm, said};
}

/* Of a photo or a PDF nothing but its name is read. */
static void read_text(struct store *store, const struct setup *setup, struct attaching *a)
{
    const struct apart_about about = {.case_id = a->subject.about_case};
    if (strncmp(a->type, "text/", 5) == 0 && a->bytes.data)
        overheard_file_read(&setup->desk, a->bytes.data, &a->text);
    read_names(setup, a, &a->text);
    if (!a->text.harm)
        return;
    a->quoted =
        apart_written(&(struct apart_from){&setup->desk, store}, a->text.quotes.data, &about);
    a->heard = (struct overheard){.desk = &setup->desk,
                                  .case_id = a->subject.about_case,
                                  .report = *a->subject.uuid ? a->subject.uuid : NULL,
                                  .where = "what is attached says so",
                                  .why = {a->by, a->quoted, a->at_ms},
                                  .read = a->text.harm};
}

static int read_attaching(struct request *rq, const struct apart_from *from, const json_t *body,
                          struct attaching *a, struct error *err)
{
    const char *to = NULL, *said = NULL, *name = NULL;
    char upload[UUID_TEXT] = "";
    bool of_case = false;
    struct store *store = from->store;
    int rc = jsonx_needed(body, "upload", UUID_TEXT, &said, err);
    if (!rc)
        rc = read_upload(said, upload, err);
    if (!rc)
        rc = jsonx_needed(body, "to", LENGTH_NAME, &to, err);
    if (!rc)
        rc = jsonx_needed(body, "name", NAME_BYTES, &name, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &a->by, err);
    if (!rc)
        rc = jsonx_bool(body, "of_case", &of_case, err);
    if (!rc)
        rc = check_name(name, err);
    if (!rc)
        rc = find_subject(store, to, &a->subject, err);
    if (!rc && of_case)
        take_its_case(&a->subject);
    if (!rc)
        rc = uploads_take(rq->app->uploads, upload, rq->user, &a->bytes, err);
    else if (*upload) /* it is done with, and heard */
        uploads_take(rq->app->uploads, upload, rq->user, &a->bytes, NULL);
    if (!rc && (rc = file_kind_take(&a->bytes, name, a->type, &a->removed, err)))
        error_field(err, "file", name);
    if (rc)
        return rc;
    const struct apart_about about = {.case_id = a->subject.about_case};
    a->name = apart_written(from, name, &about);
    file_hash(a->bytes.data, a->bytes.length, a->sha256);
    return 0;
}

static int is_named_so(void *arg, const struct attached_row *row)
{
    const char **name = arg;
    if (strcmp(row->name, *name) == 0)
        *name = NULL;
    return 0;
}

/* What was read of it is on record since it came first; under another name that name is news. */
static int hear_again(struct store *store, struct attaching *a, struct error *err)
{
    const char *name = a->name;
    int rc = a->named ? attached_get(store, a->id, is_named_so, &name, NULL, err) : 0;
    if (rc || !a->named || !name)
        return rc;
    a->heard.read = a->named;
    a->heard.why.reason = a->name;
    return overheard_hear(store, &a->heard, err);
}

static int attach_job(struct store *store, void *arg, struct error *err)
{
    struct attaching *a = arg;
    const struct attached_row row = {.case_id = a->subject.case_id,
                                     .complaint_id = a->subject.complaint_id,
                                     .name = a->name,
                                     .type = a->type,
                                     .sha256 = a->sha256,
                                     .data = a->bytes.data,
                                     .bytes = (int64_t)a->bytes.length,
                                     .removed = (int64_t)a->removed,
                                     .by_name = a->by,
                                     .user = a->user,
                                     .at_ms = a->at_ms};
    int rc = attached_put(store, &row, &a->limits, &a->id, &a->again, err);
    if (!rc && a->again)
        return hear_again(store, a, err);
    return rc || !a->quoted ? rc : overheard_hear(store, &a->heard, err);
}

struct showing {
    const struct tz *tz;
    json_t *one;
};

static int show_row(void *arg, const struct attached_row *row)
{
    struct showing *s = arg;
    s->one = attached_json(s->tz, row);
    return 0;
}

static json_t *one_json(struct store *store, const struct tz *tz, int64_t id)
{
    struct showing s = {tz, NULL};
    attached_get(store, id, show_row, &s, NULL, NULL);
    return s.one ? s.one : json_object();
}

static void attaching_clear(struct attaching *a)
{
    text_buffer_free(&a->bytes);
    free(a->name);
    overheard_file_clear(&a->text);
    free(a->quoted);
    json_decref(a->named);
    json_decref(a->heard.harm);
}

void attachments_post(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct attaching a = {
        .user = rq->user,
        .at_ms = app_now_ms(rq->app),
        .limits = {.case_bytes = config_number(setup->config, "attach/case_mb") << 20,
                   .user_bytes = config_number(setup->config, "attach/user_mb") << 20}};
    json_t *body = NULL, *answer = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_attaching(rq, &(struct apart_from){&setup->desk, store}, body, &a, &err);
    if (!rc)
        rc = health_room(rq->app, setup, store, &err);
    if (!rc) {
        read_text(store, setup, &a);
        rc = writer_run(rq->app->writer, attach_job, &a, &err);
    }
    if (!rc) {
        answer = one_json(store, setup->tz, a.id);
        json_object_set_new(answer, "again", json_boolean(a.again));
        despite_told_heard(rq, store, &a.heard, answer);
    }
    const char *name = json_string_value(json_object_get(body, "name"));
    if (rc)
        reply_refused(rq, setup, &(struct unkept_file){name, a.bytes.data, a.bytes.length}, rc,
                      &err);
    else
        request_reply_json(rq, 200, answer);
    attaching_clear(&a);
    json_decref(body);
    setup_unref(setup);
}

/* ---- what is attached ---- */

void attachments_list(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct subject subject;
    struct setup *setup = app_setup(rq->app);
    const char *of = request_query(rq, "of");
    json_t *list = json_object();
    int rc = find_subject(store, of ? of : "", &subject, &err);
    if (!rc)
        rc = attached_json_add(store, setup->tz, subject.case_id, subject.complaint_id, list, &err);
    setup_unref(setup);
    request_reply_result(rq, rc, list, &err);
}

struct giving {
    char name[NAME_BYTES + 1], type[FILE_KIND];
    int64_t bytes;
};

static int take_given(void *arg, const struct attached_row *row)
{
    struct giving *g = arg;
    text_clip(row->name, g->name, sizeof g->name);
    text_clip(row->type, g->type, sizeof g->type);
    g->bytes = row->bytes;
    return 0;
}

/* For whoever opens it in a browser: a file to keep, never a page of ours (RFC 6266, RFC 8187). */
static void set_headers(struct request *rq, const struct giving *g)
{
    struct text_buffer more = {0};
    text_append(&more, "Content-Security-Policy: sandbox; default-src 'none'\r\n"
                       "Content-Disposition: attachment; filename*=UTF-8''");
    for (const char *c = g->name; *c; c++)
        text_appendf(&more, isalnum((unsigned char)*c) || strchr("._-", *c) ? "%c" : "%%%02X",
                     (unsigned char)*c);
    text_append(&more, "\r\n");
    text_clip("", rq->more, sizeof rq->more);
    if (more.length < sizeof rq->more)
        memcpy(rq->more, more.data, more.length + 1);
    text_buffer_free(&more);
}

static int read_id(const struct request *rq, int64_t *ret, struct error *err)
{
    if (text_to_int64(rq->part[0], ret) == 0 && *ret > 0)
        return 0;
    return error_set(err, ERROR_NOT_FOUND, "%.40s is not the number of an attachment", rq->part[0]);
}

void attachments_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct giving g = {0};
    int64_t id = 0;
    char *bytes = NULL;
    int rc = read_id(rq, &id, &err);
    if (!rc)
        rc = attached_get(store, id, take_given, &g, &bytes, &err);
    if (rc) {
        free(bytes);
        request_reply_error(rq, rc, &err);
        return;
    }
    static const struct {
        const char *type, *told;
    } TYPES[] = {{"image/jpeg", "image/jpeg"},
                 {"image/png", "image/png"},
                 {"application/pdf", "application/pdf"},
                 {"text/csv", "text/csv; charset=utf-8"},
                 {"text/plain", "text/plain; charset=utf-8"}};
    const char *type = "application/octet-stream";
    for (size_t i = 0; i < sizeof TYPES / sizeof *TYPES; i++)
        type = strcmp(TYPES[i].type, g.type) == 0 ? TYPES[i].told : type;
    set_headers(rq, &g);
    request_reply(rq, 200, type, bytes, (size_t)g.bytes);
}

/* ---- detaching ---- */

struct detaching {
    struct attached_end end;
    struct text_buffer words; /* all texts of it */
    struct overheard heard;
};

static int detach_job(struct store *store, void *arg, struct error *err)
{
    struct detaching *d = arg;
    d->heard.where = "the reason of a detached file says so";
    text_reset(&d->words);
    text_append(&d->words, d->end.reason);
    overheard_add_name(d->heard.desk, d->end.by_name, &d->words);
    d->heard.why = (struct complaint_why){d->end.by_name, d->words.data, d->end.at_ms};
    int rc = attached_detach(store, &d->end, err);
    return rc ? rc : overheard_hear(store, &d->heard, err);
}

static int take_about(void *arg, const struct attached_row *row)
{
    struct subject *s = arg;
    s->about_case = row->case_id;
    s->complaint_id = row->complaint_id;
    return 0;
}

/* Its reason, without contact data. */
static int read_detaching(struct request *rq, struct store *store, const json_t *body,
                          struct detaching *d, char **ret_reason, struct error *err)
{
    struct attached_end *end = &d->end;
    const char *reason = NULL;
    struct subject subject = {0};
    int rc = read_id(rq, &end->id, err);
    if (!rc)
        rc = jsonx_needed(body, "reason", LENGTH_REASON, &reason, err);
    if (!rc)
        rc = jsonx_needed(body, "by", LENGTH_PERSON, &end->by_name, err);
    if (!rc)
        rc = attached_get(store, end->id, take_about, &subject, NULL, err);
    if (rc)
        return rc;
    if (subject.complaint_id)
        complaint_by_id(store, subject.complaint_id, take_complaint, &subject, NULL);
    const struct apart_about about = {.case_id = subject.about_case};
    end->reason = *ret_reason =
        apart_written(&(struct apart_from){d->heard.desk, store}, reason, &about);
    d->heard.case_id = subject.about_case;
    return 0;
}

void attachments_detach(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct detaching d = {.end.at_ms = app_now_ms(rq->app), .heard.desk = &setup->desk};
    json_t *body = NULL;
    char *reason = NULL;
    int rc = request_json(rq, &body, &err);
    if (!rc)
        rc = read_detaching(rq, store, body, &d, &reason, &err);
    if (!rc)
        rc = writer_run(rq->app->writer, detach_job, &d, &err);
    if (rc) {
        request_reply_error(rq, rc, &err);
    } else {
        json_t *answer = json_pack("{s:I}", "detached", (json_int_t)d.end.id);
        despite_told_heard(rq, store, &d.heard, answer);
        request_reply_json(rq, 200, answer);
    }
    json_decref(d.heard.harm);
    text_buffer_free(&d.words);
    json_decref(body);
    free(reason);
    setup_unref(setup);
}
