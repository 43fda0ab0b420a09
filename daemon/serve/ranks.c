/* All cases ranked, one a line: a page of them, or all in order of packing, made piece by piece as
 * the client takes them. */
#include "base/jsonx.h"
#include "base/short_id.h"
#include "base/text.h"
#include "serve/app.h"
#include "serve/case_told.h"
#include "serve/route.h"
#include "store/case.h"
#include <stdlib.h>

enum { PAGE_MOST = 200, PIECE_BYTES = 1 << 17, PIECE_MS = 200 };

static const char NDJSON[] = "application/x-ndjson";

static int add_line(struct setup *setup, struct store *store, int64_t id, struct text_buffer *out,
                    struct error *err)
{
    json_t *ranking = NULL;
    int rc = case_told_json(setup, store, id, &ranking, err);
    if (rc)
        return rc;
    char *line = jsonx_dump(ranking);
    text_append(out, line);
    text_append(out, "\n");
    free(line);
    json_decref(ranking);
    return 0;
}

/* ---- a page ---- */

static int read_after(const struct request *rq, int64_t *ret, struct error *err)
{
    const char *text = request_query(rq, "after");
    *ret = 0;
    if (!text || short_id_parse(SHORT_ID_CASE, text, ret))
        return 0;
    error_set(err, ERROR_INVALID, "must be a case");
    error_field(err, "after", text);
    return ERROR_INVALID;
}

static void answer_page(struct request *rq, struct store *store)
{
    struct error err = {0};
    int64_t id[PAGE_MOST], after = 0, limit = 100;
    struct text_buffer out = {0};
    struct setup *setup = app_setup(rq->app);
    int rc = request_query_within(rq, "limit", 1, PAGE_MOST, &limit, &err);
    struct store_ids ids = {id, 0, (int)limit};
    if (!rc)
        rc = read_after(rq, &after, &err);
    if (!rc)
        rc = case_ids_after(store, after, &ids, &err);
    for (int i = 0; i < ids.count && !rc; i++)
        rc = add_line(setup, store, id[i], &out, &err);
    setup_unref(setup);
    if (rc) {
        text_buffer_free(&out);
        request_reply_error(rq, rc, &err);
        return;
    }
    size_t length = out.length;
    request_reply(rq, 200, NDJSON, text_take(&out), length);
}

/* ---- all ---- */

/* As many as one piece holds, and at least one. *ret_end: there were no more. */
static int fill(struct request *rq, struct store *store, struct text_buffer *out, bool *ret_end,
                struct error *err)
{
    struct case_walk *walk = rq->stream;
    const int64_t until_ms = clock_monotonic_ms() + PIECE_MS;
    struct setup *setup = app_setup(rq->app);
    int rc = 0;
    *ret_end = false;
    while (!rc && !*ret_end && out->length < PIECE_BYTES &&
           (!out->length || clock_monotonic_ms() < until_ms)) {
        rc = case_walk_next(store, walk, ret_end, err);
        if (!rc && !*ret_end && seen_case(store, walk->case_id))
            rc = add_line(setup, store, walk->case_id, out, err);
    }
    setup_unref(setup);
    return rc;
}

static void answer_all(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct text_buffer out = {0};
    bool at_end;
    if (!rq->stream) {
        rq->stream = xcalloc(1, sizeof(struct case_walk));
        rq->stream_free = free;
    }
    int rc = fill(rq, store, &out, &at_end, &err);
    if (rc) {
        text_buffer_free(&out);
        request_reply_error(rq, rc, &err);
        return;
    }
    size_t length = out.length;
    char *lines = text_take(&out);
    if (at_end)
        request_reply(rq, 200, NDJSON, lines, length);
    else
        request_reply_piece(rq, NDJSON, lines, length);
}

void ranks_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    bool all;
    int rc = request_query_flag(rq, "all", false, &all, &err);
    if (!rc && all && (request_query(rq, "after") || request_query(rq, "limit"))) {
        rc = error_set(&err, ERROR_INVALID, "all is every case: it goes without after and limit");
        error_field(&err, "all", "1");
    }
    if (rc)
        request_reply_error(rq, rc, &err);
    else if (all)
        answer_all(rq, store);
    else
        answer_page(rq, store);
}
