/* The rule at the end of a TZif file: a POSIX TZ string ("EST5EDT,M3.2.0,M11.1.0"), with the hours
 * -167..167 that RFC 8536 section 3.3.1 adds. It holds for all instants after the last transition
 * listed. Internal to when.h's zones. */
#ifndef ODDLOAF_BASE_TZ_RULE_H
#define ODDLOAF_BASE_TZ_RULE_H

#include <stdbool.h>
#include <stdint.h>

/* One yearly change: day by month, week and weekday (M), by 1..365 without leap days (J), or by
 * 0..365 with them (N); then seconds of that day's wall clock. */
struct tz_change {
    char kind; /* 'M', 'J' or 'N' */
    int month, week, weekday, day;
    int32_t time_s;
};

struct tz_rule {
    bool known; /* false: there was no rule */
    bool has_dst;
    int32_t std_s, dst_s; /* seconds east of UTC, whole minutes */
    struct tz_change start, end;
};

/* An empty string gives a rule that is not known. False if the text is no TZ string. */
bool tz_rule_parse(const char *text, struct tz_rule *ret);
/* Seconds east of UTC at an instant. */
int32_t tz_rule_offset(const struct tz_rule *rule, int64_t instant_s);
/* The first change after an instant, INT64_MAX if there is none. */
int64_t tz_rule_next(const struct tz_rule *rule, int64_t instant_s);
/* Nearest whole minute: local mean times of old have seconds, which RFC 3339 cannot write. */
int32_t tz_rule_whole_minutes(int32_t offset_s);

#endif
