#include "serve/case_told.h"
#include "desk/joining.h"
#include "desk/logged.h"
#include "desk/lot_harm.h"
#include "desk/placing.h"
#include "store/case.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <stdlib.h>

struct verdict_to {
    const struct tz *tz;
    json_t *answer;
};

static int add_verdict(void *arg, const struct verdict_row *row)
{
    const struct verdict_to *to = arg;
    char when[40];
    json_object_set_new(to->answer, "verdict",
                        json_pack("{s:s, s:s, s:s, s:s, s:s}", "cause", row->cause, "confirmed_by",
                                  row->confirmed_by, "note", row->note, "by", row->by_name, "at",
                                  when_format(to->tz, row->at_ms, when)));
    return 0;
}

static int add_standing(struct setup *setup, struct store *store, int64_t id, json_t *told,
                        struct error *err)
{
    struct case_row row;
    int rc = case_get(store, id, &row, err);
    if (rc)
        return rc;
    json_object_set_new(told, "state", json_string(row.settled ? "settled" : "open"));
    if (row.harm_unseen)
        json_object_set_new(told, "harm_since_settled", json_true());
    json_object_set_new(told, "revision", json_integer(row.revision));
    json_object_set_new(told, "joined", joining_case_json(store, setup->tz, id));
    logged_case_json(&setup->desk, store, id, told, NULL);
    rc = lot_harm_json(&setup->desk, store, row.id, row.lot_id, told, err);
    if (rc)
        return rc;
    logged_case_doubts(&setup->desk, store, id, told);
    return verdict_of_case(store, id, add_verdict, &(struct verdict_to){setup->tz, told}, err);
}

int case_told_json(struct setup *setup, struct store *store, int64_t id, json_t **ret,
                   struct error *err)
{
    json_t *told = NULL;
    int rc = tell_case(setup->triage, store, id, &told, NULL, err);
    if (!rc)
        rc = add_standing(setup, store, id, told, err);
    if (rc)
        json_decref(told);
    else
        *ret = told;
    return rc;
}

/* With a complaint the likeliest lots are kept; of harm each that it may be counts. */
int case_told_reach(const struct desk *desk, struct store *store, const struct tell_asked *asked,
                    json_t **ret, struct error *err)
{
    struct tell_asked all = *asked;
    struct placing_all *may_be = xcalloc(1, sizeof *may_be);
    struct case_row row;
    int rc = case_get(store, asked->case_id, &row, err);
    if (!rc && row.lot_id <= 0)
        rc = placing_all(desk, store, row.id, may_be, err);
    all.may_be = may_be->lot;
    all.may_be_count = may_be->count;
    all.left_out = may_be->left_out;
    if (!rc)
        rc = tell_reach(desk->triage, store, &all, ret, err);
    free(may_be);
    return rc;
}
