/* The table of what the daemon answers: method, path, who may, which handler, which parameters. */
#ifndef ODDLOAF_SERVE_ROUTE_H
#define ODDLOAF_SERVE_ROUTE_H

#include "serve/request.h"

/* Who takes a request. Work that a file or a whole plant's cases make long has threads of its own:
 * however many files are loaded, the desk's questions find a reader. */
enum route_pace { ROUTE_QUICK, ROUTE_LONG };

struct route {
    const char *method;
    const char *path; /* segments after the version; '*' takes one segment */
    unsigned roles;   /* any of these */
    enum route_pace pace;
    request_handler handler;
    const char
        *query; /* names of the parameters it takes, blanks between; all others are refused */
};

/* Finds the route of `rq` and splits its path into rq->part. NULL: none; then *ret_methods lists
 * the methods the path would take ("" for an unknown path). */
const struct route *route_find(const char *method, struct request *rq, char *ret_methods,
                               size_t size);

/* Handlers, by file. */
void complaints_post(struct request *rq, struct store *store);
void complaints_preview(struct request *rq, struct store *store);
void joins_get(struct request *rq, struct store *store);
void find_get(struct request *rq, struct store *store);
void joins_join(struct request *rq, struct store *store);
void joins_separate(struct request *rq, struct store *store);
void corrections_correct(struct request *rq, struct store *store);
void corrections_withdraw(struct request *rq, struct store *store);
void corrections_history(struct request *rq, struct store *store);
void cases_list(struct request *rq, struct store *store);
void cases_rank(struct request *rq, struct store *store);
void cases_ranks(struct request *rq, struct store *store);
void cases_why(struct request *rq, struct store *store);
void cases_facts(struct request *rq, struct store *store);
void cases_ask(struct request *rq, struct store *store);
void cases_reach(struct request *rq, struct store *store);
void cases_verdict(struct request *rq, struct store *store);
void records_post(struct request *rq, struct store *store);
void records_refused(struct request *rq, struct store *store);
void lots_get(struct request *rq, struct store *store);
void holds_hold(struct request *rq, struct store *store);
void holds_release(struct request *rq, struct store *store);
void holds_list(struct request *rq, struct store *store);
void actions_post(struct request *rq, struct store *store);
void actions_list(struct request *rq, struct store *store);
void actions_effect(struct request *rq, struct store *store);
void weeks_get(struct request *rq, struct store *store);
void weeks_span(struct request *rq, struct store *store);
void weeks_trace(struct request *rq, struct store *store);
void weeks_scores(struct request *rq, struct store *store);
void returns_get(struct request *rq, struct store *store);
void calibration_get(struct request *rq, struct store *store);
void calibration_post(struct request *rq, struct store *store);
void admin_rules(struct request *rq, struct store *store);
void status_get(struct request *rq, struct store *store);
void status_recount(struct request *rq, struct store *store);
void outbox_get(struct request *rq, struct store *store);
void outbox_send(struct request *rq, struct store *store);
void metrics_get(struct request *rq, struct store *store);
void care_backup(struct request *rq, struct store *store);
void care_restore(struct request *rq, struct store *store);
void export_list(struct request *rq, struct store *store);
void export_get(struct request *rq, struct store *store);
void admin_erase(struct request *rq, struct store *store);

#endif
