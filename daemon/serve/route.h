/* The table of what the daemon answers: method, path, who may, which handler, which parameters. */
#ifndef ODDLOAF_SERVE_ROUTE_H
#define ODDLOAF_SERVE_ROUTE_H

#include "serve/request.h"

/* Who takes a request. Work that a file or a whole plant's cases make long has threads of its own,
 * and so have long questions: however many files are loaded and factors looked for, the desk's
 * questions find a reader. */
enum route_pace { ROUTE_QUICK, ROUTE_LONG };

/* What an answer is about, by which people of one plant are kept to it (serve/plants.h). They ask
 * of a store that shows them their own plants alone (store/seen.h), so that what is another plant's
 * is not found by whatever its name is; and what cannot be told of one plant is not told to them.
 */
enum route_about {
    ROUTE_CASE,      /* the case or complaint that the path names */
    ROUTE_COMPLAINT, /* the complaint that it names */
    ROUTE_NAMED,     /* what the handler finds by a name in path, query or body */
    ROUTE_INTAKE,    /* a complaint comes in: of whichever plant */
    ROUTE_LIST,      /* of many: the store lists those of the plants that are seen, of which the
                        parameter "plant" names one */
    ROUTE_PLANT,     /* of all plants, or of the one that the parameter "plant" names: who sees
                        one alone is answered of that, who sees several of one at a time */
    ROUTE_OPEN,      /* of no plant's records */
    ROUTE_COMPANY    /* of the company as a whole: not for people of one plant */
};

struct route {
    const char *method;
    const char *path; /* segments after the version; '*' takes one segment, '*.html' one that
                         ends so, without the end */
    unsigned roles;   /* any of these */
    enum route_pace pace;
    enum route_about about;
    request_handler handler;
    const char
        *query; /* names of the parameters it takes, blanks between; all others are refused */
};

/* Finds the route of `rq` and splits its path into rq->part. NULL: none; then *ret_methods lists
 * the methods the path would take ("" for an unknown path). */
const struct route *route_find(const char *method, struct request *rq, char *ret_methods,
                               size_t size);

/* One row a route, as of struct route; who may, how fast and of what are words of route.c. */
// clang-format off
#define ROUTE_TABLE(X) \
    X("POST", "complaints", INTAKE, QUICK, INTAKE, complaints_post, "rank source first_line") \
    X("POST", "complaints/preview", INTAKE, QUICK, INTAKE, complaints_preview, "") \
    X("GET", "complaints", SHOP, QUICK, LIST, find_get, \
      "word phone name ticket store lot product since after limit plant") \
    X("GET", "found", SHOP, LONG, LIST, found_get, "word product since limit plant") \
    X("GET", "complaints/*", SHOP, QUICK, COMPLAINT, joins_get, "") \
    X("POST", "complaints/*/join", INTAKE, QUICK, COMPLAINT, joins_join, "") \
    X("POST", "complaints/*/separate", INTAKE, QUICK, COMPLAINT, joins_separate, "") \
    X("POST", "complaints/*/correct", INTAKE, QUICK, COMPLAINT, corrections_correct, "") \
    X("POST", "complaints/*/withdraw", INTAKE, QUICK, COMPLAINT, corrections_withdraw, "") \
    X("GET", "history/*", SHOP, QUICK, NAMED, corrections_history, "") \
    X("GET", "cases", SHOP, QUICK, LIST, cases_list, \
      "state symptom line product cause since order owner overdue after limit plant") \
    X("GET", "ranks", SHOP, LONG, LIST, ranks_get, "after limit all plant") \
    X("GET", "cases/*.html", STUDY, QUICK, CASE, cases_sheet, "") \
    X("GET", "cases/*", SHOP, QUICK, CASE, cases_rank, "revision") \
    X("GET", "cases/*/why", SHOP, QUICK, CASE, cases_why, "cause") \
    X("GET", "cases/*/facts", SHOP, QUICK, CASE, cases_facts, "") \
    X("GET", "cases/*/ask", SHOP, QUICK, CASE, cases_ask, "") \
    X("GET", "cases/*/reach", STUDY, QUICK, CASE, cases_reach, "cause") \
    X("POST", "cases/*/verdict", QUALITY, QUICK, CASE, cases_verdict, "") \
    X("GET", "cases/*/follow", SHOP, QUICK, CASE, follow_get_case, "") \
    X("POST", "cases/*/follow", INTAKE, QUICK, CASE, follow_change, "") \
    X("GET", "call-backs", SHOP, QUICK, LIST, follow_call_backs, "limit plant") \
    X("POST", "records/*", QUALITY, LONG, COMPANY, records_post, \
      "source load part last keep_good dry_run trial take") \
    X("GET", "loads/*/refused", QUALITY, QUICK, COMPANY, records_refused, "from") \
    X("POST", "lots/hold", QUALITY, QUICK, NAMED, holds_hold, "") \
    X("POST", "lots/release", QUALITY, QUICK, NAMED, holds_release, "") \
    X("POST", "lots/measure", QUALITY, QUICK, NAMED, measures_post, "") \
    X("GET", "holds", SHOP, QUICK, LIST, holds_list, "plant") \
    X("GET", "lots/*", SHOP, QUICK, NAMED, lots_get, "product code_date store route") \
    X("POST", "attachments/parts", INTAKE, LONG, OPEN, attachments_part, "upload part") \
    X("POST", "attachments", INTAKE, LONG, NAMED, attachments_post, "") \
    X("GET", "attachments", INTAKE, QUICK, NAMED, attachments_list, "of") \
    X("GET", "attachments/*", INTAKE, LONG, NAMED, attachments_get, "") \
    X("POST", "attachments/*/detach", INTAKE, QUICK, NAMED, attachments_detach, "") \
    X("POST", "actions", QUALITY, QUICK, NAMED, actions_post, "") \
    X("GET", "actions", STUDY, QUICK, LIST, actions_list, "plant") \
    X("GET", "actions/*/effect", STUDY, QUICK, NAMED, actions_effect, "days") \
    X("GET", "weeks/*.html", STUDY, LONG, PLANT, weeks_page, "by against plant") \
    X("GET", "weeks/*", STUDY, LONG, PLANT, weeks_get, "by against format table plant") \
    X("GET", "spans/*", STUDY, LONG, PLANT, weeks_span, "by against format table plant") \
    X("GET", "trace", STUDY, LONG, PLANT, weeks_trace, "cases symptom from to plant") \
    X("GET", "scores", STUDY, QUICK, PLANT, weeks_scores, "from to plant") \
    X("POST", "scores", QUALITY, LONG, COMPANY, learning_post, "") \
    X("GET", "returns", STUDY, QUICK, PLANT, returns_get, "from to plant") \
    X("GET", "gaps", STUDY, LONG, PLANT, gaps_get, "weeks within record plant") \
    X("GET", "whatif", STUDY, QUICK, NAMED, whatif_get, "of set hold share") \
    X("GET", "calibration", STUDY, LONG, COMPANY, calibration_get, "") \
    X("POST", "calibration", QUALITY, LONG, COMPANY, calibration_post, "") \
    X("GET", "rules", SHOP, QUICK, OPEN, admin_rules, "") \
    X("GET", "status", SHOP, QUICK, OPEN, status_get, "") \
    X("GET", "status/recount", STUDY | ROLE_ADMIN, LONG, COMPANY, status_recount, "") \
    X("GET", "outbox", SHOP, QUICK, COMPANY, outbox_get, "") \
    X("POST", "outbox/*/send", ROLE_QA | ROLE_ADMIN, QUICK, COMPANY, outbox_send, "") \
    X("GET", "metrics", SHOP | ROLE_METRICS, QUICK, COMPANY, metrics_get, "") \
    X("POST", "backup", ROLE_ADMIN, LONG, COMPANY, care_backup, "") \
    X("POST", "restore", ROLE_ADMIN, LONG, COMPANY, care_restore, "") \
    X("POST", "restore/look", ROLE_ADMIN, LONG, COMPANY, care_restore_look, "") \
    X("GET", "export", SHOP, QUICK, COMPANY, export_list, "") \
    X("GET", "export/*", SHOP, LONG, COMPANY, export_get, "after contacts") \
    X("POST", "erase", ROLE_ADMIN | ROLE_DESK, QUICK, COMPANY, admin_erase, "")
// clang-format on

/* The handlers, each in the file its name begins with. */
#define ROUTE_DECLARE(method, path, roles, pace, about, handler, query)                            \
    void handler(struct request *rq, struct store *store);
ROUTE_TABLE(ROUTE_DECLARE)

#endif
