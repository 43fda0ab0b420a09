/* Input: one text, tried as instant, date, ISO week and zone rule. */
#include "base/text.h"
#include "base/tz_rule.h"
#include "base/when.h"
#include "fuzz.h"
#include <string.h>

static void check_instant(const char *text)
{
    int64_t ms = 0;
    int64_t again = 0;
    char out[40];
    if (when_parse(text, &ms, NULL))
        return;
    /* an offset can move the edges of the years 0 and 9999 out of what can be written */
    if (ms < INT64_C(-62167219200000) || ms > INT64_C(253402300799999))
        return;
    PROMISE(when_parse(when_format_utc(ms, out), &again, NULL) == 0 && again == ms);
    PROMISE(when_parse(when_format(NULL, ms, out), &again, NULL) == 0);
    PROMISE(ms - again >= 0 && ms - again < 1000);
}

static void check_date(const char *text)
{
    int32_t day = 0;
    struct iso_week week = {0, 0};
    char out[16];
    if (day_parse(text, &day, NULL) == 0)
        PROMISE(strcmp(day_format(day, out), text) == 0);
    if (iso_week_parse(text, &week, NULL) == 0) {
        struct iso_week same = iso_week_of(iso_week_monday(week));
        PROMISE(strcmp(iso_week_format(same, out), text) == 0);
    }
}

static void check_rule(const char *text)
{
    struct tz_rule rule;
    if (!tz_rule_parse(text, &rule))
        return;
    int64_t at = 0;
    for (int i = 0; i < 40 && at != INT64_MAX; i++) {
        int32_t offset = tz_rule_offset(&rule, at);
        PROMISE(offset % 60 == 0 && offset >= -25 * 3600 && offset <= 25 * 3600);
        int64_t next = tz_rule_next(&rule, at);
        PROMISE(next > at);
        at = next;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = xstrndup((const char *)data, size);
    check_instant(text);
    check_date(text);
    check_rule(text);
    free(text);
    return 0;
}
