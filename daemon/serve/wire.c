#include "serve/wire.h"
#include "base/text.h"
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { HEADERS_MOST = 100, SIZE_LINE = 256, SIZE_DIGITS = 16, LENGTH_DIGITS = 18 };

enum stage {
    STAGE_HEAD,
    STAGE_LENGTH,  /* a body of a length that was said before */
    STAGE_SIZE,    /* the line before a chunk */
    STAGE_CHUNK,   /* and its bytes */
    STAGE_END,     /* and the end of line behind them */
    STAGE_TRAILER, /* what may follow the last one */
    STAGE_WHOLE
};

struct header {
    char *name, *value; /* point into the head */
};

struct wire {
    struct wire_limits limits;
    enum stage stage;
    bool head_told;
    struct text_buffer head, body, line;
    char last;            /* byte of the line under way */
    size_t left, framing; /* bytes: to come of the body or chunk; taken of what is around chunks */
    struct wire_fault fault;
    char *method, *path, *query, *host;
    bool old, keeps, has_length, chunked, awaits;
    struct header header[HEADERS_MOST];
    size_t headers;
};

struct wire *wire_new(const struct wire_limits *limits)
{
    struct wire *w = xcalloc(1, sizeof *w);
    w->limits = *limits;
    return w;
}

static void release(struct wire *w)
{
    text_buffer_free(&w->head);
    text_buffer_free(&w->body);
    text_buffer_free(&w->line);
}

void wire_free(struct wire *w)
{
    if (w)
        release(w);
    free(w);
}

void wire_next(struct wire *w, const struct wire_limits *limits)
{
    release(w);
    *w = (struct wire){.limits = *limits};
}

static void refuse(struct wire *w, int status, const char *detail)
{
    if (!w->fault.status)
        w->fault = (struct wire_fault){status, detail};
}

/* ---- words ---- */

static bool is_token(const char *s)
{
    static const char OTHERS[] = "!#$%&'*+-.^_`|~0123456789"
                                 "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    return *s && s[strspn(s, OTHERS)] == '\0';
}

/* OR-ing 32 makes an ASCII capital small, and makes no letter of what is none. */
static int hex_of(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    char low = (char)(c | 32);
    return low >= 'a' && low <= 'f' ? low - 'a' + 10 : -1;
}

/* Visible ASCII with whole escapes, none of them of NUL; no fragment and no backslash, which some
 * take for a slash. */
static bool is_target(const char *s)
{
    for (; *s; s++) {
        unsigned char c = (unsigned char)*s;
        if (c <= ' ' || c > '~' || c == '#' || c == '\\')
            return false;
        if (c != '%')
            continue;
        int high = hex_of(s[1]), low = high < 0 ? -1 : hex_of(s[2]);
        if (low < 0 || high + low == 0)
            return false;
    }
    return true;
}

static bool is_host(const char *s)
{
    static const char BYTES[] = "0123456789.-_~[]:"
                                "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    return *s && s[strspn(s, BYTES)] == '\0';
}

/* One of the words of a list with commas. */
static bool lists(const char *list, const char *word)
{
    size_t length = strlen(word);
    for (const char *at = list; *at; at += strcspn(at, ",")) {
        at += strspn(at, ", \t");
        size_t found = strcspn(at, ", \t");
        char one[16];
        if (found == length && found < sizeof one) {
            memcpy(one, at, found);
            one[found] = '\0';
            if (text_equal_fold(one, word))
                return true;
        }
    }
    return false;
}

/* ---- the head ---- */

/* "http://host:port/path": the form for proxies, which a server takes too. The host must be the one
 * that the header names. */
static char *read_absolute(struct wire *w, char *target)
{
    static const char *const SCHEMES[] = {"http://", "https://"};
    for (size_t i = 0; i < sizeof SCHEMES / sizeof SCHEMES[0]; i++) {
        size_t length = strlen(SCHEMES[i]);
        if (strncmp(target, SCHEMES[i], length) != 0)
            continue;
        char *authority = target + length;
        size_t end = strcspn(authority, "/?");
        char *host = xstrndup(authority, end);
        bool same = w->host && text_equal_fold(host, w->host);
        free(host);
        if (!same)
            refuse(w, 400, "the request line names another host than the header Host");
        return authority + end;
    }
    return target;
}

static void read_target(struct wire *w, char *target)
{
    static char root[] = "/"; /* of "http://host" */
    if (!is_target(target)) {
        refuse(w, 400, "the path has a byte that must be escaped, or a malformed escape");
        return;
    }
    w->path = read_absolute(w, target);
    w->query = w->path + strcspn(w->path, "?");
    if (*w->query == '?')
        *w->query++ = '\0';
    if (!*w->path)
        w->path = root;
    if (*w->path != '/' && strcmp(w->path, "*") != 0)
        refuse(w, 400, "the path does not begin with a slash");
}

static void read_version(struct wire *w, const char *version)
{
    w->old = strcmp(version, "HTTP/1.0") == 0;
    if (w->old || strcmp(version, "HTTP/1.1") == 0)
        return;
    if (strlen(version) == 8 && strncmp(version, "HTTP/", 5) == 0 && version[5] > '0' &&
        version[5] <= '9' && version[6] == '.')
        refuse(w, 505, "this daemon speaks HTTP/1.1");
    else
        refuse(w, 400, "the request line does not end with a version of HTTP");
}

/* *ret_target is read when the host is known. */
static void read_request_line(struct wire *w, char *line, char **ret_target)
{
    char *target = strchr(line, ' ');
    char *version = target ? strchr(target + 1, ' ') : NULL;
    if (!version) {
        refuse(w, 400, "the first line is no request: METHOD /PATH HTTP/1.1");
        return;
    }
    *target++ = *version++ = '\0';
    if (!is_token(line))
        refuse(w, 400, "the method is malformed");
    w->method = line;
    *ret_target = target;
    read_version(w, version);
}

static void read_header(struct wire *w, char *line)
{
    char *colon = strchr(line, ':');
    if (*line == ' ' || *line == '\t') {
        refuse(w, 400, "a header goes on in another line, which is no longer allowed");
        return;
    }
    if (colon)
        *colon = '\0';
    if (!colon || !is_token(line)) {
        refuse(w, 400, "a header's name is malformed");
        return;
    }
    if (w->headers == HEADERS_MOST) {
        refuse(w, 431, "there are more than 100 headers");
        return;
    }
    char *value = colon + 1 + strspn(colon + 1, " \t");
    size_t length = strlen(value);
    while (length && (value[length - 1] == ' ' || value[length - 1] == '\t'))
        value[--length] = '\0';
    w->header[w->headers++] = (struct header){line, value};
}

/* Fields that are gone by: two of one would be read differently by different programs. */
static void check_single(struct wire *w)
{
    static const struct {
        const char *name, *detail;
    } SINGLE[] = {{"Host", "the header Host is given twice"},
                  {"Content-Length", "the body's length is given twice"},
                  {"Transfer-Encoding", "the header Transfer-Encoding is given twice"},
                  {"Authorization", "the header Authorization is given twice"},
                  {"Content-Type", "the header Content-Type is given twice"},
                  {"Content-Encoding", "the header Content-Encoding is given twice"},
                  {"Expect", "the header Expect is given twice"},
                  {"Origin", "the header Origin is given twice"}};
    for (size_t i = 0; i < sizeof SINGLE / sizeof SINGLE[0]; i++) {
        int count = 0;
        for (size_t h = 0; h < w->headers; h++)
            count += text_equal_fold(w->header[h].name, SINGLE[i].name);
        if (count > 1)
            refuse(w, 400, SINGLE[i].detail);
    }
}

static void read_length(struct wire *w, const char *text)
{
    size_t digits = strspn(text, "0123456789");
    if (!*text || text[digits]) {
        refuse(w, 400, "Content-Length is not a number");
        return;
    }
    w->has_length = true;
    w->left = digits <= LENGTH_DIGITS ? (size_t)strtoull(text, NULL, 10) : SIZE_MAX;
    if (w->left > w->limits.body_bytes)
        refuse(w, 413, "the body is larger than limits/body_bytes; send it in parts");
}

static void read_framing(struct wire *w)
{
    const char *length = wire_header(w, "Content-Length");
    const char *coding = wire_header(w, "Transfer-Encoding");
    if (coding && (length || w->old))
        refuse(w, 400, "the body's length is given twice");
    else if (coding && !text_equal_fold(coding, "chunked"))
        refuse(w, 501, "of transfer encodings only chunked is known");
    else if (length)
        read_length(w, length);
    w->chunked = coding != NULL;
}

/* A list that may come in several fields (RFC 9110, 5.3), unlike those of check_single(). */
static bool connection_says(const struct wire *w, const char *word)
{
    for (size_t i = 0; i < w->headers; i++)
        if (text_equal_fold(w->header[i].name, "Connection") && lists(w->header[i].value, word))
            return true;
    return false;
}

static void read_meaning(struct wire *w)
{
    const char *expect = wire_header(w, "Expect");
    const char *coding = wire_header(w, "Content-Encoding");
    w->host = (char *)(uintptr_t)wire_header(w, "Host");
    if (!w->host || !is_host(w->host))
        refuse(w, 400, "one header Host, with a host's name, is required");
    if (coding && !text_equal_fold(coding, "identity"))
        refuse(w, 415, "the body is compressed; send it as it is");
    if (expect && !text_equal_fold(expect, "100-continue"))
        refuse(w, 417, "of expectations only 100-continue is known");
    w->awaits = expect && !w->old;
    w->keeps = !connection_says(w, "close") && (!w->old || connection_says(w, "keep-alive"));
}

static void read_head(struct wire *w)
{
    char *target = NULL, *at = w->head.data;
    bool first = true;
    /* every line ends with CR LF, the last one is empty */
    while (*at != '\r' && !w->fault.status) {
        char *end = strchr(at, '\r');
        *end = '\0';
        if (first)
            read_request_line(w, at, &target);
        else
            read_header(w, at);
        first = false;
        at = end + 2;
    }
    if (!target)
        refuse(w, 400, "the request begins with an empty line");
    check_single(w);
    read_meaning(w);
    read_framing(w);
    if (target)
        read_target(w, target);
    w->stage = w->chunked ? STAGE_SIZE : w->left ? STAGE_LENGTH : STAGE_WHOLE;
}

/* Whether a byte may follow the one before it in a line; lines end with CR LF and nothing else. */
static bool is_in_line(char last, char c)
{
    unsigned char u = (unsigned char)c;
    if (last == '\r')
        return c == '\n';
    return c == '\r' || c == '\t' || (u >= ' ' && u != 127);
}

static size_t take_head(struct wire *w, const char *bytes, size_t length)
{
    size_t at = 0;
    bool ended = false;
    while (at < length && !ended && !w->fault.status) {
        char c = bytes[at++];
        size_t before = w->head.length + at; /* of all calls, this byte included */
        if (!is_in_line(w->last, c))
            refuse(w, 400,
                   "the head has a control character, or a line that does not end with CR LF");
        else if (before > w->limits.head_bytes)
            refuse(w, 431, "request line and headers are larger than limits/header_bytes");
        /* the end of the head is an empty line: CR LF where a line begins */
        ended = c == '\n' && w->line.length == 0;
        if (c == '\n')
            text_reset(&w->line);
        else if (c != '\r' && w->line.length == 0)
            text_append_bytes(&w->line, &c, 1); /* the line is not empty; no more of it is needed */
        w->last = c;
    }
    text_append_bytes(&w->head, bytes, at);
    if (ended && !w->fault.status)
        read_head(w);
    w->last = '\0';
    if (!ended)
        w->last = bytes[at - 1];
    return at;
}

/* ---- the body ---- */

static size_t take_bytes(struct wire *w, const char *bytes, size_t length, enum stage then)
{
    size_t n = length < w->left ? length : w->left;
    text_append_bytes(&w->body, bytes, n);
    w->left -= n;
    if (w->left == 0)
        w->stage = then;
    return n;
}

/* What is around chunks has an end, too. */
static void count_framing(struct wire *w)
{
    w->framing++;
    if (w->stage == STAGE_TRAILER && w->framing > w->limits.head_bytes)
        refuse(w, 431, "what follows the body is larger than limits/header_bytes");
    if (w->framing > w->limits.head_bytes + w->limits.body_bytes)
        refuse(w, 400, "the chunks are so small that they are mostly their sizes");
    if (w->stage == STAGE_END && w->line.length)
        refuse(w, 400, "a chunk is longer than its size says");
    if (w->line.length > SIZE_LINE)
        refuse(w, 400, "a chunk's line is too long");
}

/* A line of the body's framing, without its end, in w->line when *ret_ended. */
static size_t take_line(struct wire *w, const char *bytes, size_t length, bool *ret_ended)
{
    size_t at = 0;
    *ret_ended = false;
    while (at < length && !*ret_ended && !w->fault.status) {
        char c = bytes[at++];
        if (!is_in_line(w->last, c))
            refuse(w, 400, "a chunk's line has a control character, or does not end with CR LF");
        else if (c == '\n')
            *ret_ended = true;
        else if (c != '\r')
            text_append_bytes(&w->line, &c, 1);
        w->last = *ret_ended ? '\0' : c;
        count_framing(w);
    }
    return at;
}

/* Hexadecimal digits, and an extension perhaps, which means nothing to us. */
static void read_size(struct wire *w)
{
    const char *at = w->line.length ? w->line.data : "";
    unsigned long long size = 0;
    int digits = 0;
    for (; hex_of(*at) >= 0 && digits <= SIZE_DIGITS; at++, digits++)
        size = size << 4 | (unsigned)hex_of(*at);
    if (digits == 0 || digits > SIZE_DIGITS || (*at && *at != ';')) {
        refuse(w, 400, "a chunk's size is not a hexadecimal number");
    } else if (size > w->limits.body_bytes - w->body.length) {
        refuse(w, 413, "the body is larger than limits/body_bytes; send it in parts");
    } else {
        w->left = (size_t)size;
        w->stage = size ? STAGE_CHUNK : STAGE_TRAILER;
        w->framing = size ? w->framing : 0; /* trailers are counted by themselves */
    }
}

static size_t take_framing(struct wire *w, const char *bytes, size_t length)
{
    bool ended;
    size_t n = take_line(w, bytes, length, &ended);
    if (!ended || w->fault.status)
        return n;
    if (w->stage == STAGE_SIZE)
        read_size(w);
    else if (w->stage == STAGE_END)
        w->stage = STAGE_SIZE;
    else if (w->line.length == 0)
        w->stage = STAGE_WHOLE;
    text_reset(&w->line);
    return n;
}

static size_t take(struct wire *w, const char *bytes, size_t length)
{
    switch (w->stage) {
    case STAGE_HEAD:
        return take_head(w, bytes, length);
    case STAGE_LENGTH:
        return take_bytes(w, bytes, length, STAGE_WHOLE);
    case STAGE_CHUNK:
        return take_bytes(w, bytes, length, STAGE_END);
    default:
        return take_framing(w, bytes, length);
    }
}

enum wire_state wire_feed(struct wire *w, const char *bytes, size_t length, size_t *ret_taken)
{
    size_t at = 0;
    while (at < length && w->stage != STAGE_WHOLE && !w->fault.status) {
        bool was_head = w->stage == STAGE_HEAD;
        at += take(w, bytes + at, length - at);
        if (was_head && w->stage != STAGE_HEAD)
            break;
    }
    *ret_taken = at;
    if (w->fault.status)
        return WIRE_FAULT;
    if (w->stage != STAGE_HEAD && !w->head_told) {
        w->head_told = true;
        return WIRE_HEAD;
    }
    return w->stage == STAGE_WHOLE ? WIRE_WHOLE : WIRE_MORE;
}

struct wire_fault wire_fault(const struct wire *w)
{
    return w->fault;
}

/* ---- what it says ---- */

const char *wire_method(const struct wire *w)
{
    return w->method;
}

const char *wire_path(const struct wire *w)
{
    return w->path;
}

const char *wire_query(const struct wire *w)
{
    return w->query;
}

const char *wire_host(const struct wire *w)
{
    return w->host;
}

const char *wire_header(const struct wire *w, const char *name)
{
    for (size_t i = 0; i < w->headers; i++) {
        if (text_equal_fold(w->header[i].name, name))
            return w->header[i].value;
    }
    return NULL;
}

bool wire_has_body(const struct wire *w)
{
    return w->chunked || w->left > 0 || w->body.length > 0;
}

bool wire_awaits_continue(const struct wire *w)
{
    return w->awaits && wire_has_body(w) && w->body.length == 0;
}

bool wire_keeps(const struct wire *w)
{
    return w->keeps;
}

bool wire_is_old(const struct wire *w)
{
    return w->old;
}

char *wire_take_body(struct wire *w, size_t *ret_length)
{
    *ret_length = w->body.length;
    return text_take(&w->body);
}

size_t wire_unescape(char *text, bool plus)
{
    char *out = text;
    for (const char *at = text; *at; at++) {
        int high = *at == '%' ? hex_of(at[1]) : -1;
        int low = high >= 0 ? hex_of(at[2]) : -1;
        if (low >= 0) {
            *out++ = (char)(high * 16 + low);
            at += 2;
        } else {
            *out++ = plus && *at == '+' ? ' ' : *at;
        }
    }
    *out = '\0';
    return (size_t)(out - text);
}
