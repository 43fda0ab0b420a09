/* How long each stage took. */
#include "base/jsonx.h"
#include "base/text.h"
#include "stats/robust.h"
#include "store/stage.h"
#include "tell/tell.h"
#include <stdlib.h>

static const struct {
    const char *name, *what;
} NAMES[STAGES] = {[STAGE_TAKEN_IN] = {"taken-in", "received to logged"},
                   [STAGE_OWNED] = {"owned", "logged to its first owner"},
                   [STAGE_FOUND] = {"found", "first owner to verdict"},
                   [STAGE_ANSWERED] = {"answered", "logged to the caller's answer"},
                   [STAGE_SETTLED] = {"settled", "first complaint to verdict"}};

struct tally {
    double *days;
    size_t count, capacity;
};

static int add_days(void *arg, int64_t took_ms)
{
    struct tally *t = arg;
    if (t->count == t->capacity) {
        t->capacity = t->capacity ? 2 * t->capacity : 64;
        t->days = xrealloc(t->days, t->capacity * sizeof *t->days);
    }
    t->days[t->count++] = (double)took_ms / (double)WHEN_DAY_MS;
    return 0;
}

static int add_stage(struct store *store, enum stage stage, const struct stage_of *of, json_t *list,
                     struct error *err)
{
    static const double MOST = 0.9;
    struct tally t = {0};
    int64_t waiting = 0;
    int rc = stage_took(store, stage, of, add_days, &t, err);
    if (!rc)
        rc = stage_waiting(store, stage, of->plant, &waiting, err);
    if (!rc)
        json_array_append_new(
            list, json_pack("{s:s, s:s, s:I, s:o, s:o, s:o}", "stage", NAMES[stage].name, "what",
                            NAMES[stage].what, "n", (json_int_t)t.count, "median_days",
                            jsonx_rounded(robust_median(t.days, t.count), 4), "most_days",
                            jsonx_rounded(robust_quantile(t.days, t.count, MOST), 4), "waiting",
                            waiting < 0 ? json_null() : json_integer(waiting)));
    free(t.days);
    return rc;
}

int tell_stages(struct store *store, const struct stage_of *of, json_t **ret, struct error *err)
{
    json_t *list = json_array();
    int rc = 0;
    for (int i = 0; i < STAGES && !rc; i++)
        rc = add_stage(store, (enum stage)i, of, list, err);
    if (rc)
        json_decref(list);
    else
        *ret = list;
    return rc;
}
