/* Loading a file of records, as the outside sees it: opened, fed part by part, finished. Parts may
 * come on different threads, one at a time; a load belongs to nobody while no call runs.
 *
 * All or nothing: if a row was refused, nothing is applied, unless `keep_good`. What is accepted is
 * applied completely, across crashes too (apply.h). */
#ifndef ODDLOAF_RECORDS_LOAD_H
#define ODDLOAF_RECORDS_LOAD_H

#include "base/jsonx.h"
#include "base/when.h"
#include "records/import.h"
#include "rules/catalogue.h"
#include "store/writer.h"

struct load_options {
    enum record_kind kind;
    enum import_format format;
    const char *source; /* file name as the sender calls it; NULL or "" for none */
    bool keep_good;     /* refused rows are left out, the others applied */
    bool take_last;     /* of rows with one key and different values the last stands */
    bool dry_run;       /* everything but applying: says what would be new, changed, the same */
    /* Of a dry run: the UUID that dry runs of several kinds have in common, which count the lots
     * and products of those before them as loaded. NULL: none. */
    const char *trial;
    const struct catalogue *catalogue; /* referenced */
    const char *state_dir;
    const struct clock *clock; /* NULL: the system's */
};

struct load;

int load_open(const struct load_options *options, struct load **ret, struct error *err);
/* `read_store` is any connection, for looking up lots and products. Errors are the system's: the
 * load is then of no use but to load_abort(). */
int load_feed(struct load *load, struct store *read_store, const char *bytes, size_t length,
              struct error *err);
/* *ret is {"read":rows so far,"refused":[the first of what was refused since this was last asked],
 * "refused_total":rows so far}. Are there more than fit, "refused_more" says how many and "rest"
 * the path where load_refused() answers with them until the next part is fed, or for an hour. */
int load_told(struct load *load, json_t **ret, struct error *err);
/* A page of them (refusals.h). `id` is that of a "rest". */
int load_refused(const char *state_dir, const char *id, int64_t from, char **ret_lines,
                 size_t *ret_length, struct error *err);
/* Removes kept refusals that nobody fetched, and trials that nobody went on with, for an hour. */
void load_forget(const char *state_dir, int64_t now_ms);
/* Ends and frees the load, whatever it returns. *ret_answer is that of load_told() with "kind",
 * "new","changed","same","applied":bool and, if so, "dry_run":true; with take_last "passed_over".
 * Not from the writer's thread.
 */
int load_finish(struct load *load, struct store *read_store, struct writer *writer,
                json_t **ret_answer, struct error *err);
void load_abort(struct load *load); /* frees it, nothing applied. NULL is fine */

/* Goes on with accepted files that an error (a full disk) left waiting. At any time; loads that
 * come later do the same by themselves. Not from the writer's thread. */
int load_continue(struct writer *writer, const char *state_dir, struct error *err);
/* At start-up, before anything is loaded: applies what was accepted and not yet applied, removes
 * what was never accepted. */
int load_resume(struct writer *writer, const char *state_dir, struct error *err);

#endif
