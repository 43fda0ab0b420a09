#include "patterns/trace_named.h"
#include "base/text.h"
#include "patterns/trace_leans.h"
#include "rules/vocabulary.h"
#include "store/evidence.h"
#include <stdlib.h>
#include <string.h>

/* One that is named once tells nothing; more than so many are not looked at. */
enum { NAMED_LEAST = 2, STORES_MOST = 64 };

struct naming {
    struct trace_lots *t;
    struct trace_leans *leans;
    bool *blind; /* by lot: to which stores it went is not known */
    int64_t until_ms;
    bool own; /* of the symptom asked of */
    size_t at;
    double all, stores; /* complaints of other symptoms that name one; stores that are named */
};

static bool find_blind(struct naming *n)
{
    const struct trace_trips *sent = &n->t->sent;
    size_t blind = n->t->count;
    memset(n->blind, true, n->t->count * sizeof *n->blind);
    for (size_t i = 0; i < sent->count; i++) {
        if (sent->rows[i].store && n->blind[sent->rows[i].lot]) {
            n->blind[sent->rows[i].lot] = false;
            blind--;
        }
    }
    return blind > 0;
}

static int add_name(void *arg, const struct evidence_report *row)
{
    struct naming *n = arg;
    if (!*row->store || row->received_ms >= n->until_ms ||
        !trace_lots_seek(n->t, &n->at, row->lot_id) || !n->blind[n->at])
        return 0;
    struct trace_level *level = trace_lots_level(n->t, "store", row->store, "");
    if (level->count && !level->only_named)
        return 0;
    n->stores += !level->named && !level->named_own;
    level->only_named = true;
    level->named += !n->own;
    level->named_own += n->own;
    n->all += !n->own;
    trace_leans_name(n->leans, (size_t)(level - n->t->levels) + 1, n->at);
    return 0;
}

static int read_names(struct naming *n, struct store *store, const struct trace_asked *asked,
                      struct error *err)
{
    int rc = 0;
    for (int s = 0; s < SYMPTOMS && !rc; s++) {
        n->own = strcmp(symptom_name(s), asked->symptom) == 0;
        n->at = 0;
        rc = evidence_reports(store, symptom_name(s), asked->packed, add_name, n, err);
    }
    return rc;
}

/* How often one is named that is among those looked at. */
static int least_of(const struct trace_lots *t)
{
    int least = NAMED_LEAST, count;
    do {
        count = 0;
        for (size_t i = 0; i < t->level_count; i++)
            count += t->levels[i].only_named && t->levels[i].named_own >= least;
        least += count > STORES_MOST;
    } while (count > STORES_MOST);
    return least;
}

static void set_level(const struct naming *n, struct trace_level *level, bool looked_at)
{
    level->told = (1 + level->named) / (n->stores + n->all);
    level->count = 0;
    for (size_t lot = 0; lot < n->t->count && looked_at; lot++) {
        if (n->blind[lot])
            trace_lots_add_to(level, lot);
    }
}

int trace_named_read(struct trace_lots *t, struct store *store, const struct trace_asked *asked,
                     struct error *err)
{
    struct naming n = {.t = t,
                       .leans = trace_leans_new(t),
                       .blind = xcalloc(t->count + 1, sizeof *n.blind),
                       .until_ms = asked->until_ms};
    for (size_t i = 0; i < t->level_count; i++)
        t->levels[i].named = t->levels[i].named_own = 0;
    int rc = find_blind(&n) ? read_names(&n, store, asked, err) : 0;
    int least = least_of(t);
    for (size_t i = 0; i < t->level_count && !rc; i++) {
        if (t->levels[i].only_named)
            set_level(&n, &t->levels[i], t->levels[i].named_own >= least);
    }
    trace_leans_set(n.leans);
    trace_leans_free(n.leans);
    free(n.blind);
    return rc;
}
