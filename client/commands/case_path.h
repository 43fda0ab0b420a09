/* Commands about one case share their path and heading. */
#ifndef ODDLOAF_CLIENT_COMMANDS_CASE_PATH_H
#define ODDLOAF_CLIENT_COMMANDS_CASE_PATH_H

#include "deliver/client.h"

/* GET /v1/cases/<word><part>[?cause=…]; `cause` may be NULL. Returns an exit code. */
int case_path_get_part(const struct client *c, const char *word, const char *part,
                       const char *cause, json_t **ret);
/* "C12  mold, as of 2026-11-20 09:14", and beneath it how sure the lot is. */
/* Nothing, or that harm is reported, or may be: stands before all else that is told of a case. */
void case_path_harm(const struct client *c, const json_t *document);
void case_path_title(const struct client *c, const json_t *document);

/* Posts to one of a complaint's paths ("correct"). */
int case_path_post_complaint(const struct client *c, const char *complaint, const char *part,
                             const json_t *body, json_t **ret);

#endif
