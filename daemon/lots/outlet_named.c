#include "lots/outlet_named.h"
#include "base/text.h"
#include "lots/said_words.h"
#include <string.h>

/* Said of every store or route. */
static const char *const PASSED[] = {"store", "shop",   "no",   "nr",     "number", "the",    "at",
                                     "route", "tienda", "ruta", "outlet", "branch", "numero", NULL};

enum fit { FIT_NONE, FIT_PART, FIT_WHOLE };

struct naming {
    struct said_words words;
    enum fit best;
    struct outlet_named *found;
};

static int take_best(void *arg, const char *name)
{
    struct naming *n = arg;
    struct said_words words;
    n->found->unrecorded = false;
    said_words_take(name, PASSED, &words);
    enum fit fit = said_words_same(&n->words, &words)   ? FIT_WHOLE
                   : said_words_part(&n->words, &words) ? FIT_PART
                                                        : FIT_NONE;
    if (fit == FIT_NONE || fit < n->best)
        return 0;
    if (fit > n->best)
        n->found->count = n->found->more = 0;
    n->best = fit;
    if (n->found->count == OUTLET_NAMED_MOST)
        n->found->more = true;
    else
        text_clip(name, n->found->name[n->found->count++], LENGTH_TRADE + 1);
    return 0;
}

int outlet_named_find(struct store *store, enum lot_find_place kind, const char *said,
                      struct outlet_named *ret, struct error *err)
{
    struct naming n = {.found = ret};
    bool known = false;
    *ret = (struct outlet_named){.count = 0};
    if (!said || !*said)
        return 0;
    int rc = lot_find_place_known(store, kind, said, &known, err);
    if (known) {
        ret->count = 1;
        text_clip(said, ret->name[0], sizeof ret->name[0]);
    }
    if (rc || known)
        return rc;
    ret->unrecorded = true;
    said_words_take(said, PASSED, &n.words);
    rc = lot_find_places(store, kind, take_best, &n, err);
    ret->part = n.best == FIT_PART;
    return rc;
}

const char *outlet_named_one(const struct outlet_named *named)
{
    return named->count == 1 ? named->name[0] : "";
}
