#include "notify/message.h"
#include "notify/mime.h"
#include "show/view.h"
#include "store/outbox.h"
#include <stdlib.h>
#include <string.h>

static const char *text_of(const json_t *object, const char *name)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : "";
}

/* "Week 2026-W47: 29 complaints, 2 rises" */
static void digest_subject(const json_t *event, char *out, size_t size)
{
    const json_t *week = json_object_get(event, "week");
    json_int_t all = json_integer_value(json_object_get(week, "other"));
    const char *symptom;
    json_t *count;
    size_t rises = json_array_size(json_object_get(week, "stories"));
    json_object_foreach(json_object_get(week, "complaints"), symptom, count) all +=
        json_integer_value(count);
    snprintf(out, size, "Week %s: %" JSON_INTEGER_FORMAT " complaint%s, ", text_of(week, "week"),
             all, all == 1 ? "" : "s");
    size_t used = strlen(out);
    if (rises)
        snprintf(out + used, size - used, "%zu rise%s", rises, rises == 1 ? "" : "s");
    else
        snprintf(out + used, size - used, "nothing rose");
}

/* "2 cases overdue, 3 call-backs due" */
static void due_subject(const json_t *event, char *out, size_t size)
{
    static const struct {
        const char *member, *one, *many;
    } PARTS[] = {{"overdue_count", "case overdue", "cases overdue"},
                 {"call_back_count", "call-back due", "call-backs due"},
                 {"unreachable_count", "caller of harm without a number",
                  "callers of harm without a number"}};
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < sizeof PARTS / sizeof PARTS[0] && used < size; i++) {
        json_int_t n = json_integer_value(json_object_get(event, PARTS[i].member));
        if (n)
            used += (size_t)snprintf(out + used, size - used, "%s%" JSON_INTEGER_FORMAT " %s",
                                     used ? ", " : "", n, n == 1 ? PARTS[i].one : PARTS[i].many);
    }
}

/* Harm before all else, whatever the case is ranked as. */
static const char *harm_before(const json_t *ranking)
{
    if (json_is_true(json_object_get(ranking, "harm")))
        return "HARM REPORTED: ";
    return json_is_true(json_object_get(ranking, "harm_possible")) ? "MAY BE HARM: " : "";
}

/* The ranking is about the bread: beside harm it would be read as its cause. */
static void case_subject(const json_t *ranking, char *out, size_t size)
{
    char percent[8];
    const json_t *top = json_array_get(json_object_get(ranking, "ranked"), 0);
    const char *harm = harm_before(ranking);
    int used = snprintf(out, size, "%s%s %s, %s", harm, text_of(ranking, "case"),
                        text_of(ranking, "symptom"), text_of(ranking, "lot_named"));
    if (*harm || used <= 0 || (size_t)used >= size)
        return;
    if (!top) /* of no kind that is ranked */
        snprintf(out + used, size - (size_t)used, ": to be read");
    else
        snprintf(out + used, size - (size_t)used, ": %s, %s %%", text_of(top, "title"),
                 text_chance(json_number_value(json_object_get(top, "probability")), percent));
}

static void urgent_subject(const json_t *event, char *out, size_t size)
{
    bool possible = json_is_true(json_object_get(event, "possible"));
    const char *case_name = text_of(event, "case"), *lot = text_of(event, "lot_named");
    const char *between = *case_name ? " " : ""; /* of what no case here tells */
    if (json_is_true(json_object_get(event, "taken_back")))
        snprintf(out, size, "%s: a report of harm was taken back, %s", case_name, lot);
    else if (json_object_get(event, "refused"))
        snprintf(out, size, "%s",
                 possible ? "To read: a refused complaint may speak of harm"
                          : "URGENT: harm reported in a refused complaint");
    else if (json_is_true(json_object_get(event, "alone")))
        snprintf(out, size, "%s%s%s: harm %s, %s", possible ? "To read" : "URGENT", between,
                 case_name, possible ? "may be meant" : "is spoken of", lot);
    else if (json_object_get(event, "heard_in")) /* no complaint of it says so */
        snprintf(out, size, "%s %s: harm %s in what was written of it, %s",
                 possible ? "To read" : "URGENT", case_name,
                 possible ? "may be meant" : "is spoken of", lot);
    else if (possible)
        snprintf(out, size, "To read%s%s: a complaint may speak of harm, %s", between, case_name,
                 lot);
    else
        snprintf(out, size, "URGENT%s%s: harm reported, %s", between, case_name, lot);
}

/* Of reports that tell no new kind of harm. One that is told again alone is no further report. */
static void gathered_subject(const json_t *event, char *out, size_t size)
{
    const json_t *reports = json_object_get(event, "reports"), *one;
    const json_t *first = json_array_get(reports, 0);
    size_t i, count = json_array_size(reports), possible = 0;
    const char *case_name = text_of(event, "case"), *lot = text_of(event, "lot_named");
    json_array_foreach(reports, i, one)
    {
        possible += json_is_true(json_object_get(one, "possible"));
    }
    if (json_is_true(json_object_get(event, "alone")) && count > 1)
        snprintf(out, size, "%s: %zu more that speak of harm, of no case",
                 possible == count ? "To read" : "URGENT", count);
    else if (count == 1 && json_object_get(first, "why"))
        urgent_subject(first, out, size);
    else if (possible == count)
        snprintf(out, size, "To read %s: %zu more complaint%s may speak of harm, %s", case_name,
                 count, count == 1 ? "" : "s", lot);
    else
        snprintf(out, size, "URGENT %s: %zu more report%s of harm, %s", case_name, count,
                 count == 1 ? "" : "s", lot);
}

static void despite_subject(const json_t *event, char *out, size_t size)
{
    bool harm = json_is_true(json_object_get(event, "possible")) ||
                json_array_size(json_object_get(event, "harm")) || !*text_of(event, "unfit");
    const char *of =
        text_of(event, "case"); /* none: a laboratory's, of a lot nobody complained of */
    snprintf(out, size, "URGENT%s%s: %s is open, and yet: %.120s", *of ? " " : "", of,
             harm ? "harm" : "moldy or ropy bread", text_of(event, "did"));
}

static void emptied_subject(const json_t *event, char *out, size_t size)
{
    bool back = json_is_true(json_object_get(event, "back"));
    snprintf(out, size, "%s %s: %s, %s", text_of(event, "case"), text_of(event, "symptom"),
             back ? "it has a complaint again" : "its last complaint was withdrawn",
             text_of(event, "lot_named"));
}

static void summary_subject(const json_t *event, char *out, size_t size)
{
    json_int_t count = json_integer_value(json_object_get(event, "count"));
    if (strcmp(text_of(event, "of"), "file") == 0)
        snprintf(out, size, "%" JSON_INTEGER_FORMAT " case%s of a file of complaints", count,
                 count == 1 ? "" : "s");
    else
        snprintf(out, size, "%" JSON_INTEGER_FORMAT " case%s otherwise than mailed", count,
                 count == 1 ? " ranks" : "s rank");
}

static void records_subject(const json_t *event, char *out, size_t size)
{
    bool refused = strcmp(text_of(event, "outcome"), "refused") == 0;
    snprintf(out, size, "Records: %.120s %s", text_of(event, "file"),
             refused ? "was refused" : "was taken");
}

void message_subject(const json_t *event, char *out, size_t size)
{
    static const struct {
        const char *event;
        void (*tell)(const json_t *event, char *out, size_t size);
    } SUBJECTS[] = {
        {OUTBOX_URGENT, urgent_subject}, {"gathered", gathered_subject},
        {"despite", despite_subject},    {"emptied", emptied_subject},
        {"summary", summary_subject},    {"records", records_subject},
        {"digest", digest_subject},      {"due", due_subject},
    };
    const char *name = text_of(event, "event");
    for (size_t i = 0; i < sizeof SUBJECTS / sizeof SUBJECTS[0]; i++) {
        if (strcmp(name, SUBJECTS[i].event) == 0) {
            SUBJECTS[i].tell(event, out, size);
            return;
        }
    }
    case_subject(json_object_get(event, "ranking"), out, size);
}

static int add_recipients(struct text_buffer *out, const json_t *to, struct error *err)
{
    size_t i;
    const json_t *item;
    json_array_foreach(to, i, item)
    {
        const char *address = json_string_value(item);
        if (!address || !mime_is_address(address)) {
            error_set(err, ERROR_INVALID, "is not a mail address");
            error_field(err, "mail/to", address);
            return ERROR_INVALID;
        }
        text_appendf(out, "%s%s", i ? ",\n " : "To: ", address);
    }
    text_append(out, "\n");
    return 0;
}

static int add_headers(struct text_buffer *out, const json_t *event,
                       const struct message_envelope *e, struct error *err)
{
    char subject[256], tagged[320], clean[320], date[40];
    const char *plant = text_of(event, "plant");
    if (!mime_is_address(e->from)) {
        error_set(err, ERROR_INVALID, "is not a mail address");
        error_field(err, "mail/from", e->from);
        return ERROR_INVALID;
    }
    int rc = 0;
    mime_header(out, "From", e->from);
    rc = add_recipients(out, e->to, err);
    if (rc)
        return rc;
    message_subject(event, subject, sizeof subject);
    snprintf(tagged, sizeof tagged, "[%.48s] %s", *plant ? plant : "oddloaf", subject);
    text_clip(tagged, clean, sizeof clean); /* the names of files and lots are other people's */
    if (!mime_header(out, "Subject", clean) || !mime_is_one_line(e->message_id))
        return error_set(err, ERROR_INVALID, "a header would hold a control character");
    text_appendf(out, "Date: %s\n", when_format_mail(e->tz, e->queued_ms, date));
    text_appendf(out, "Message-ID: %s\n", e->message_id);
    text_append(out, "Auto-Submitted: auto-generated\nMIME-Version: 1.0\n");
    return 0;
}

/* Nothing that turns the reading direction or moves a cursor: what people wrote is in it. */
static char *clean_lines(const char *body)
{
    size_t length = strlen(body);
    struct text_buffer clean = {0};
    char *line = xcalloc(1, length + 1), *shown = xcalloc(1, length + 1);
    for (const char *end; *body; body = *end ? end + 1 : end) {
        end = body + strcspn(body, "\n");
        memcpy(line, body, (size_t)(end - body));
        line[end - body] = '\0';
        text_appendf(&clean, "%s%s", text_clip(line, shown, length + 1), *end ? "\n" : "");
    }
    free(line);
    free(shown);
    return text_take(&clean);
}

static void add_part(struct text_buffer *out, const char *boundary, const char *type,
                     const char *body)
{
    char *clean = clean_lines(body);
    text_appendf(out,
                 "--%s\nContent-Type: %s; charset=UTF-8\n"
                 "Content-Transfer-Encoding: quoted-printable\n\n",
                 boundary, type);
    mime_quoted_printable(out, clean ? clean : "");
    free(clean);
}

/* The boundary holds "=_", which quoted-printable text cannot. */
static void boundary_of(const char *message_id, char *out, size_t size)
{
    size_t length = (size_t)snprintf(out, size, "=_part_");
    for (const char *p = message_id; *p && *p != '@' && length + 1 < size; p++) {
        if (*p != '<')
            out[length++] = *p;
    }
    out[length] = '\0';
}

static void add_alternatives(struct text_buffer *out, const char *boundary, const json_t *event)
{
    struct text_buffer body = {0};
    struct view view = {0};
    text_appendf(out, "Content-Type: multipart/alternative;\n boundary=\"%s\"\n\n", boundary);
    view_of_event(event, &view);
    view_plain(&view, &body);
    add_part(out, boundary, "text/plain", body.data ? body.data : "");
    text_reset(&body);
    view_html(&view, &body);
    add_part(out, boundary, "text/html", body.data);
    text_appendf(out, "--%s--\n", boundary);
    text_buffer_free(&body);
    view_free(&view);
}

/* Named after its case, letters and digits alone. */
static void add_sheet(struct text_buffer *out, const char *boundary, const char *case_name,
                      const char *sheet)
{
    text_appendf(out,
                 "--%s\nContent-Type: text/html; charset=UTF-8\n"
                 "Content-Disposition: attachment; filename=\"%.*s.html\"\n"
                 "Content-Transfer-Encoding: quoted-printable\n\n",
                 boundary, (int)strspn(case_name, "C0123456789"), case_name);
    mime_quoted_printable(out, sheet);
    text_appendf(out, "--%s--\n", boundary);
}

int message_compose(const json_t *event, const struct message_envelope *e, char **ret,
                    struct error *err)
{
    struct text_buffer out = {0};
    char inner[64], outer[72];
    int rc = add_headers(&out, event, e, err);
    if (rc) {
        text_buffer_free(&out);
        return rc;
    }
    boundary_of(e->message_id, inner, sizeof inner);
    snprintf(outer, sizeof outer, "=_whole%s", inner + strlen("=_part"));
    if (e->sheet)
        text_appendf(&out, "Content-Type: multipart/mixed;\n boundary=\"%s\"\n\n--%s\n", outer,
                     outer);
    add_alternatives(&out, inner, event);
    if (e->sheet)
        add_sheet(&out, outer, text_of(json_object_get(event, "ranking"), "case"), e->sheet);
    *ret = text_take(&out);
    return 0;
}
