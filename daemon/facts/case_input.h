/* What a ranking starts from: the complaints of one case, in order of receipt, and the lots it may
 * be about. Read from the store, or made from one complaint that is not logged yet. */
#ifndef ODDLOAF_FACTS_CASE_INPUT_H
#define ODDLOAF_FACTS_CASE_INPUT_H

#include "base/length.h"
#include "base/when.h"
#include "store/complaint.h"
#include <jansson.h>

struct case_complaint {
    char uuid[UUID_TEXT];
    int64_t received_ms;
    int32_t found_day, bought_day, code_day;               /* WHEN_UNKNOWN_DAY */
    char route[LENGTH_TRADE + 1], store[LENGTH_TRADE + 1]; /* "" not given */
    int packs;
    bool harm;
    json_t *body; /* the complaint as sent */
};

#define CASE_COMPLAINTS 400 /* the newest speak; older ones are counted by company evidence */

struct case_input {
    int64_t case_id; /* 0: not logged */
    int64_t last_id; /* of the newest complaint */
    int symptom;
    char plant[LENGTH_CODE + 1]; /* whose it is; "" of none, or of several */
    int64_t as_of_ms;            /* the newest complaint's receipt */
    bool harm, harm_possible;    /* of any complaint: said; may be meant */
    bool settled;
    int revision;
    struct case_complaint *complaints;
    int count, packs;
    struct complaint_lot lots[COMPLAINT_LOTS]; /* likeliest first */
    int lot_count;
    double none_weight; /* that it is none of these lots */
};

/* ERROR_NOT_FOUND: no such case. */
int case_input_read(struct store *store, int64_t case_id, struct case_input *ret,
                    struct error *err);
/* One complaint as in the files; only "symptom" must be there. `now_ms` stands for a received_at
 * that is missing. */
int case_input_of(const json_t *complaint, const struct complaint_lots *lots, int64_t now_ms,
                  struct case_input *ret, struct error *err);
void case_input_clear(struct case_input *input);

#endif
