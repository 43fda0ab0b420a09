/* Corrective actions, whose effect the weekly pattern looks for. */
#ifndef ODDLOAF_STORE_ACTION_H
#define ODDLOAF_STORE_ACTION_H

#include "base/length.h"
#include "store/store.h"

struct action_row {
    int64_t id, at_ms, logged_ms;
    /* plant "": the company's, of any that has the line, or of all */
    char cause[64], plant[LENGTH_CODE + 1], line[LENGTH_CODE + 1], place[LENGTH_WORD + 1],
        symptom[16], note[LENGTH_NOTE + 1], by_name[LENGTH_PERSON + 1];
};
typedef int (*action_each)(void *arg, const struct action_row *row);
int action_add(struct store *store, const struct action_row *action, int64_t *ret_id,
               struct error *err);
/* Those of plants that are not seen (store/seen.h) are not there. */
int action_get(struct store *store, int64_t id, struct action_row *ret, struct error *err);
int action_list(struct store *store, action_each each, void *arg, struct error *err);

#endif
