#include "store/clock_mark.h"
#include "base/text.h"
#include "base/when.h"
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>

#define STEP_MS INT64_C(3600000)
#define KEEP_MS INT64_C(600000) /* how often the time is written down */

/* 0 if there is none yet. */
static int read_time(struct store *store, const char *key, int64_t *ret, struct error *err)
{
    char *text = NULL;
    *ret = 0;
    int rc = store_setting_get(store, key, &text, err);
    if (!rc && text && text_to_int64(text, ret))
        *ret = 0;
    free(text);
    return rc;
}

static int write_time(struct store *store, const char *key, int64_t ms, struct error *err)
{
    char text[24];
    snprintf(text, sizeof text, "%lld", (long long)ms);
    return store_setting_set(store, key, text, err);
}

int clock_mark_look(struct store *store, int64_t now_ms, enum clock_mark *ret, struct error *err)
{
    assert(store_writing(store));
    int64_t seen = 0, since = 0;
    int rc = read_time(store, CLOCK_MARK_SEEN, &seen, err);
    if (!rc)
        rc = read_time(store, CLOCK_MARK_STEADY, &since, err);
    if (rc)
        return rc;
    bool stepped = now_ms > seen + STEP_MS || now_ms < seen - STEP_MS;
    bool keeps = stepped || now_ms > seen + KEEP_MS;
    if (stepped)
        since = now_ms;
    *ret = CLOCK_WAITING;
    if (stepped && seen)
        *ret = CLOCK_STEPPED;
    else if (!stepped && now_ms - since >= WHEN_DAY_MS)
        *ret = CLOCK_STEADY;
    if (keeps)
        rc = write_time(store, CLOCK_MARK_SEEN, now_ms, err);
    return rc || !stepped ? rc : write_time(store, CLOCK_MARK_STEADY, since, err);
}
