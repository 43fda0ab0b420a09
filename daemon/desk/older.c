#include "desk/older.h"
#include "base/text.h"
#include "desk/apart_again.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>

enum { SLICE = 500 };

struct taking_in {
    const struct desk *desk;
    struct store *store;
    struct error *err;
    int count;
    int64_t last; /* entry */
};

static int take_in(void *arg, const struct entry_report *row)
{
    struct taking_in *t = arg;
    t->count++;
    return apart_again_report(t->desk, t->store, row, "", t->err);
}

/* ---- what this version finds and an older one did not ---- */

static const char AFTER[] = "apart/after"; /* the entry up to which was looked; none: all */

static int read_after(struct store *store, bool *ret_any, int64_t *ret, struct error *err)
{
    char *text = NULL;
    int rc = store_setting_get(store, AFTER, &text, err);
    *ret_any = text && text_to_int64(text, ret) == 0;
    free(text);
    return rc;
}

static int write_after(struct store *store, const struct taking_in *t, struct error *err)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", (long long)t->last);
    return store_setting_set(store, AFTER, t->count ? text : NULL, err);
}

/* An entry whose report is gone has nothing to look through. */
static int look_again(void *arg, const struct entry_report *row)
{
    struct taking_in *t = arg;
    t->last = row->entry;
    if (row->complaint_id)
        return take_in(arg, row);
    t->count++;
    return 0;
}

static int look_further(struct taking_in *t)
{
    bool any = false;
    int rc = read_after(t->store, &any, &t->last, t->err);
    if (rc || !any)
        return rc;
    rc = entry_each_after(t->store, t->last, SLICE, look_again, t, t->err);
    return rc ? rc : write_after(t->store, t, t->err);
}

int older_take_in(const struct desk *desk, struct store *store, int *ret_count, struct error *err)
{
    assert(store_writing(store));
    struct taking_in t = {desk, store, err, 0, 0};
    int rc = entry_each_without(store, SLICE, take_in, &t, err);
    if (!rc && t.count == 0)
        rc = look_further(&t);
    *ret_count = t.count;
    return rc;
}
