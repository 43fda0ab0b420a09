#include "desk/older.h"
#include "desk/apart_again.h"

enum { SLICE = 500 };

struct taking_in {
    const struct desk *desk;
    struct store *store;
    struct error *err;
    int count;
};

static int take_in(void *arg, const struct entry_report *row)
{
    struct taking_in *t = arg;
    t->count++;
    return apart_again_report(t->desk, t->store, row, "", t->err);
}

int older_take_in(const struct desk *desk, struct store *store, int *ret_count, struct error *err)
{
    struct taking_in t = {desk, store, err, 0};
    int rc = entry_each_without(store, SLICE, take_in, &t, err);
    *ret_count = t.count;
    return rc;
}
