/* The table of what the daemon answers: method, path, who may, which handler, which parameters. */
#ifndef ODDLOAF_SERVE_ROUTE_H
#define ODDLOAF_SERVE_ROUTE_H

#include "serve/request.h"

/* Who takes a request. Work that a file or a whole plant's cases make long has threads of its own,
 * and so have long questions: however many files are loaded and factors looked for, the desk's
 * questions find a reader. */
enum route_pace { ROUTE_QUICK, ROUTE_LONG };

struct route {
    const char *method;
    const char *path; /* segments after the version; '*' takes one segment, '*.html' one that
                         ends so, without the end */
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

/* One row a route, as of struct route; who may and how fast are words of route.c. */
// clang-format off
#define ROUTE_TABLE(X) \
    X("POST", "complaints", INTAKE, QUICK, complaints_post, "rank source first_line") \
    X("POST", "complaints/preview", INTAKE, QUICK, complaints_preview, "") \
    X("GET", "complaints", SHOP, QUICK, find_get, \
      "word phone name ticket store lot product since after limit") \
    X("GET", "found", SHOP, LONG, found_get, "word product since limit") \
    X("GET", "complaints/*", SHOP, QUICK, joins_get, "") \
    X("POST", "complaints/*/join", INTAKE, QUICK, joins_join, "") \
    X("POST", "complaints/*/separate", INTAKE, QUICK, joins_separate, "") \
    X("POST", "complaints/*/correct", INTAKE, QUICK, corrections_correct, "") \
    X("POST", "complaints/*/withdraw", INTAKE, QUICK, corrections_withdraw, "") \
    X("GET", "history/*", SHOP, QUICK, corrections_history, "") \
    X("GET", "cases", SHOP, QUICK, cases_list, \
      "state symptom line product cause since order owner overdue after limit") \
    X("GET", "ranks", SHOP, LONG, ranks_get, "after limit all") \
    X("GET", "cases/*.html", STUDY, QUICK, cases_sheet, "") \
    X("GET", "cases/*", SHOP, QUICK, cases_rank, "revision") \
    X("GET", "cases/*/why", SHOP, QUICK, cases_why, "cause") \
    X("GET", "cases/*/facts", SHOP, QUICK, cases_facts, "") \
    X("GET", "cases/*/ask", SHOP, QUICK, cases_ask, "") \
    X("GET", "cases/*/reach", STUDY, QUICK, cases_reach, "cause") \
    X("POST", "cases/*/verdict", QUALITY, QUICK, cases_verdict, "") \
    X("GET", "cases/*/follow", SHOP, QUICK, follow_get_case, "") \
    X("POST", "cases/*/follow", INTAKE, QUICK, follow_change, "") \
    X("GET", "call-backs", SHOP, QUICK, follow_call_backs, "limit") \
    X("POST", "records/*", QUALITY, LONG, records_post, \
      "source load part last keep_good dry_run trial take") \
    X("GET", "loads/*/refused", QUALITY, QUICK, records_refused, "from") \
    X("POST", "lots/hold", QUALITY, QUICK, holds_hold, "") \
    X("POST", "lots/release", QUALITY, QUICK, holds_release, "") \
    X("POST", "lots/measure", QUALITY, QUICK, measures_post, "") \
    X("GET", "holds", SHOP, QUICK, holds_list, "") \
    X("GET", "lots/*", SHOP, QUICK, lots_get, "product code_date store route") \
    X("POST", "attachments/parts", INTAKE, LONG, attachments_part, "upload part") \
    X("POST", "attachments", INTAKE, LONG, attachments_post, "") \
    X("GET", "attachments", INTAKE, QUICK, attachments_list, "of") \
    X("GET", "attachments/*", INTAKE, LONG, attachments_get, "") \
    X("POST", "attachments/*/detach", INTAKE, QUICK, attachments_detach, "") \
    X("POST", "actions", QUALITY, QUICK, actions_post, "") \
    X("GET", "actions", STUDY, QUICK, actions_list, "") \
    X("GET", "actions/*/effect", STUDY, QUICK, actions_effect, "days") \
    X("GET", "weeks/*.html", STUDY, LONG, weeks_page, "by against") \
    X("GET", "weeks/*", STUDY, LONG, weeks_get, "by against format table") \
    X("GET", "spans/*", STUDY, LONG, weeks_span, "by against format table") \
    X("GET", "trace", STUDY, LONG, weeks_trace, "cases symptom from to") \
    X("GET", "scores", STUDY, QUICK, weeks_scores, "from to") \
    X("POST", "scores", QUALITY, LONG, learning_post, "") \
    X("GET", "returns", STUDY, QUICK, returns_get, "from to") \
    X("GET", "gaps", STUDY, LONG, gaps_get, "weeks within record") \
    X("GET", "whatif", STUDY, QUICK, whatif_get, "of set hold share") \
    X("GET", "calibration", STUDY, LONG, calibration_get, "") \
    X("POST", "calibration", QUALITY, LONG, calibration_post, "") \
    X("GET", "rules", SHOP, QUICK, admin_rules, "") \
    X("GET", "status", SHOP, QUICK, status_get, "") \
    X("GET", "status/recount", STUDY | ROLE_ADMIN, LONG, status_recount, "") \
    X("GET", "outbox", SHOP, QUICK, outbox_get, "") \
    X("POST", "outbox/*/send", ROLE_QA | ROLE_ADMIN, QUICK, outbox_send, "") \
    X("GET", "metrics", SHOP | ROLE_METRICS, QUICK, metrics_get, "") \
    X("POST", "backup", ROLE_ADMIN, LONG, care_backup, "") \
    X("POST", "restore", ROLE_ADMIN, LONG, care_restore, "") \
    X("POST", "restore/look", ROLE_ADMIN, LONG, care_restore_look, "") \
    X("GET", "export", SHOP, QUICK, export_list, "") \
    X("GET", "export/*", SHOP, LONG, export_get, "after contacts") \
    X("POST", "erase", ROLE_ADMIN | ROLE_DESK, QUICK, admin_erase, "")
// clang-format on

/* The handlers, each in the file its name begins with. */
#define ROUTE_DECLARE(method, path, roles, pace, handler, query)                                   \
    void handler(struct request *rq, struct store *store);
ROUTE_TABLE(ROUTE_DECLARE)

#endif
