#include "deliver/transport.h"
#include <curl/curl.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>
#include <unistd.h>

#define CONNECT_MS 4000L
#define USUAL_S 60L
#define BUSY_TRIES 5
#define BUSY_WAIT_MAX_S 5

struct transport {
    CURL *curl;
    char *name;
    char *base; /* URL without the path */
    char *socket;
    char *address;
    struct curl_slist *auth;
    char reason[CURL_ERROR_SIZE];
};

static char *from_root(const char *path)
{
    struct text_buffer whole = {0};
    char *folder = path[0] == '/' ? NULL : getcwd(NULL, 0);
    text_appendf(&whole, "%s%s%s", folder ? folder : "", folder ? "/" : "", path);
    free(folder);
    return text_take(&whole);
}

int transport_open(const struct endpoint *endpoint, struct transport **ret, struct error *err)
{
    if (endpoint->server && strncasecmp(endpoint->server, "https://", 8) != 0) {
        error_field(err, "--server", endpoint->server);
        error_hint(err, "complaints carry names and numbers of callers: use https://HOST:PORT");
        return error_set(err, ERROR_INVALID, "the address must begin with https://");
    }
    CURL *curl = curl_easy_init();
    if (!curl)
        return error_set(err, ERROR_INTERNAL, "cannot set up the connection");
    struct transport *t = xcalloc(1, sizeof *t);
    t->curl = curl;
    const char *name = endpoint->server ? endpoint->server : endpoint->socket;
    t->name = xstrdup(name);
    t->base = xstrdup(endpoint->server ? endpoint->server : "http://oddloaf");
    size_t length = strlen(t->base);
    while (length > 8 && t->base[length - 1] == '/')
        t->base[--length] = '\0';
    if (!endpoint->server)
        t->socket = xstrdup(endpoint->socket);
    t->address = endpoint->server ? xstrdup(t->base) : from_root(endpoint->socket);
    if (endpoint->server && endpoint->token) {
        struct text_buffer line = {0};
        text_appendf(&line, "Authorization: Bearer %s", endpoint->token);
        t->auth = curl_slist_append(NULL, line.data);
        text_buffer_free(&line);
    }
    if (endpoint->server && endpoint->ca)
        curl_easy_setopt(curl, CURLOPT_CAINFO, endpoint->ca);
    if (endpoint->server && endpoint->cert)
        curl_easy_setopt(curl, CURLOPT_SSLCERT, endpoint->cert);
    if (endpoint->server && endpoint->key)
        curl_easy_setopt(curl, CURLOPT_SSLKEY, endpoint->key);
    *ret = t;
    return 0;
}

void transport_close(struct transport *t)
{
    if (!t)
        return;
    curl_easy_cleanup(t->curl);
    curl_slist_free_all(t->auth);
    free(t->name);
    free(t->base);
    free(t->socket);
    free(t->address);
    free(t);
}

const char *transport_address(const struct transport *t)
{
    return t->address;
}

const char *transport_name(const struct transport *t)
{
    return t->name;
}

bool transport_is_good(const struct reply *reply)
{
    return reply->status / 100 == 2;
}

void transport_reply_free(struct reply *reply)
{
    text_buffer_free(&reply->body);
    memset(reply, 0, sizeof *reply);
}

static size_t on_body(char *bytes, size_t size, size_t count, void *arg)
{
    struct text_buffer *body = arg;
    size_t length = size * count;
    if (body->length + length > TRANSPORT_REPLY_BYTES)
        return 0; /* makes curl stop with a write error */
    text_append_bytes(body, bytes, length);
    return length;
}

static struct curl_slist *set_headers(struct transport *t, const struct request *request)
{
    struct curl_slist *headers = NULL;
    if (request->type) {
        struct text_buffer line = {0};
        text_appendf(&line, "Content-Type: %s", request->type);
        headers = curl_slist_append(headers, line.data);
        text_buffer_free(&line);
    }
    headers = curl_slist_append(headers, "Expect:"); /* no round trip before a body */
    if (t->auth)
        headers = curl_slist_append(headers, t->auth->data);
    curl_easy_setopt(t->curl, CURLOPT_HTTPHEADER, headers);
    return headers;
}

static void set_request(struct transport *t, const struct request *request, const char *url,
                        struct reply *reply)
{
    CURL *curl = t->curl;
    curl_easy_setopt(curl, CURLOPT_URL, url);
    curl_easy_setopt(curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(curl, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(curl, CURLOPT_PROTOCOLS_STR, t->socket ? "http" : "https");
    curl_easy_setopt(curl, CURLOPT_CONNECTTIMEOUT_MS, CONNECT_MS);
    curl_easy_setopt(curl, CURLOPT_TIMEOUT, request->timeout_s ? request->timeout_s : USUAL_S);
    curl_easy_setopt(curl, CURLOPT_ERRORBUFFER, t->reason);
    curl_easy_setopt(curl, CURLOPT_USERAGENT, "oddloaf/" ODDLOAF_VERSION);
    curl_easy_setopt(curl, CURLOPT_WRITEFUNCTION, on_body);
    curl_easy_setopt(curl, CURLOPT_WRITEDATA, &reply->body);
    if (t->socket) {
        curl_easy_setopt(curl, CURLOPT_UNIX_SOCKET_PATH, t->socket);
        curl_easy_setopt(curl, CURLOPT_PROXY, "");
    }
    if (strcmp(request->method, "POST") == 0) {
        curl_easy_setopt(curl, CURLOPT_POST, 1L);
        curl_easy_setopt(curl, CURLOPT_POSTFIELDS, request->length ? request->body : "");
        curl_easy_setopt(curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)request->length);
    } else {
        curl_easy_setopt(curl, CURLOPT_HTTPGET, 1L);
    }
}

static int explain(const struct transport *t, CURLcode code, struct error *err)
{
    long why = 0;
    curl_easy_getinfo(t->curl, CURLINFO_OS_ERRNO, &why);
    bool local = t->socket && code == CURLE_COULDNT_CONNECT;
    if (local && why == 0)
        why = errno;
    if (local && (why == EACCES || why == EPERM)) {
        error_hint(err, "anybody may as a rule: look at its mode (SocketMode=) and its folder's");
        return error_set(err, ERROR_DENIED, "may not open the daemon's socket %s", t->name);
    }
    if (code == CURLE_WRITE_ERROR)
        return error_set(err, ERROR_INTERNAL, "the daemon's answer is over %u MiB",
                         TRANSPORT_REPLY_BYTES >> 20);
    if (t->socket)
        error_hint(err, "is oddloafd running? name another socket with --socket or "
                        "ODDLOAF_SOCKET");
    else
        error_hint(err, "check the address, the network and ODDLOAF_TOKEN");
    const char *reason = t->reason[0] ? t->reason : curl_easy_strerror(code);
    if (local && why != 0)
        reason = strerror((int)why);
    return error_set(err, ERROR_UNREACHABLE, "cannot reach the daemon at %s: %s", t->name, reason);
}

static void read_type(CURL *curl, struct reply *reply)
{
    const char *type = NULL;
    curl_easy_getinfo(curl, CURLINFO_RESPONSE_CODE, &reply->status);
    curl_easy_getinfo(curl, CURLINFO_CONTENT_TYPE, &type);
    reply->json = type && (strncasecmp(type, "application/json", 16) == 0 ||
                           strncasecmp(type, "application/problem+json", 24) == 0);
}

static int call_once(struct transport *t, const struct request *request, struct reply *reply,
                     struct error *err)
{
    struct text_buffer url = {0};
    text_append(&url, t->base);
    text_append(&url, request->path);
    text_reset(&reply->body);
    t->reason[0] = '\0';
    errno = 0;
    struct curl_slist *headers = set_headers(t, request);
    set_request(t, request, url.data, reply);
    CURLcode code = curl_easy_perform(t->curl);
    int rc = 0;
    if (code == CURLE_OK)
        read_type(t->curl, reply);
    else
        rc = explain(t, code, err);
    curl_easy_setopt(t->curl, CURLOPT_HTTPHEADER, NULL);
    curl_slist_free_all(headers);
    text_buffer_free(&url);
    return rc;
}

static void wait_as_told(CURL *curl)
{
    curl_off_t wait_s = 0;
    curl_easy_getinfo(curl, CURLINFO_RETRY_AFTER, &wait_s);
    if (wait_s > BUSY_WAIT_MAX_S)
        wait_s = BUSY_WAIT_MAX_S;
    struct timespec pause = {(time_t)wait_s, wait_s ? 0 : 300000000};
    nanosleep(&pause, NULL);
}

int transport_call(struct transport *t, const struct request *request, struct reply *reply,
                   struct error *err)
{
    int rc = 0;
    for (int attempt = 1; attempt <= BUSY_TRIES; attempt++) {
        rc = call_once(t, request, reply, err);
        if (rc || reply->status != 503 || request->once || attempt == BUSY_TRIES)
            break;
        wait_as_told(t->curl);
    }
    return rc;
}
