#include "intake/receipt.h"
#include <assert.h>

#define GRACE_MS INT64_C(600000)          /* between two machines' clocks */
#define EARLIEST_MS INT64_C(946684800000) /* 2000-01-01T00:00:00Z */

int receipt_check(const struct tz *tz, int64_t received_ms, int64_t now_ms, struct error *err)
{
    char now[40];
    if (received_ms < EARLIEST_MS)
        return error_set(err, ERROR_INVALID, "lies before the year 2000");
    if (now_ms && received_ms > now_ms + GRACE_MS)
        return error_set(err, ERROR_INVALID, "lies in the future: it is %s now",
                         when_format(tz, now_ms, now));
    return 0;
}

json_t *receipt_mend(const json_t *complaint, const struct tz *tz, int64_t now_ms)
{
    assert(now_ms > 0);
    char now[40];
    int64_t ms;
    json_t *said = json_object_get(complaint, "received_at");
    const char *text = json_string_value(said);
    if (!text || when_parse(text, &ms, NULL) || receipt_check(tz, ms, now_ms, NULL) == 0)
        return json_incref((json_t *)(uintptr_t)complaint);
    json_t *mended = json_copy((json_t *)(uintptr_t)complaint);
    json_object_set(mended, RECEIPT_SAID, said);
    json_object_set_new(mended, "received_at", json_string(when_format(tz, now_ms, now)));
    return mended;
}
