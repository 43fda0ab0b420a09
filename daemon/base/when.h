/* Time: instants are milliseconds since 1970-01-01T00:00:00Z (`_ms`, int64), civil dates are
 * days since 1970-01-01 (`_day`, int32, proleptic Gregorian), weeks are ISO 8601 (`iso_week`).
 * Time zones are read from the system's TZif files (RFC 8536) into handles, so that several
 * plants can live in one process and no call depends on the TZ variable or on a previous call. */
#ifndef ODDLOAF_BASE_WHEN_H
#define ODDLOAF_BASE_WHEN_H

#include "base/error.h"
#include <stdbool.h>
#include <stdint.h>

#define WHEN_DAY_MS INT64_C(86400000)
#define WHEN_HOUR_MS INT64_C(3600000)
#define WHEN_UNKNOWN_MS INT64_MIN
#define WHEN_UNKNOWN_DAY INT32_MIN

struct iso_week {
    int year; /* week-year, may differ from the calendar year */
    int week; /* 1..53 */
};
struct when_span {
    int64_t from_ms, to_ms; /* [from, to) */
};
/* What of it lies before `now_ms`. */
struct when_span when_span_until(struct when_span span, int64_t now_ms);
struct civil {
    int year, month, day, hour, minute, second, millisecond;
    int offset_min; /* minutes east of UTC */
};

/* A clock as a value, so that tests and replays can bring their own. */
struct clock {
    int64_t (*now_ms)(void *self);
    void *self;
};
struct clock clock_system(void);
int64_t clock_now_ms(const struct clock *clock);
int64_t clock_monotonic_ms(void);

/* ---- dates ---- */
int32_t day_from_civil(int year, int month, int day); /* must be a real date */
void day_to_civil(int32_t day, int *year, int *month, int *day_of_month);
bool day_is_valid(int year, int month, int day);
bool day_leap_year(int year);
int day_of_year(int32_t day); /* 1..366 */
int day_of_week(int32_t day); /* 1 Monday .. 7 Sunday */
struct iso_week iso_week_of(int32_t day);
int iso_week_count(int year); /* 52 or 53 */
bool iso_week_is_valid(struct iso_week w);
int32_t iso_week_monday(struct iso_week w); /* day of that week's Monday */
struct iso_week iso_week_add(struct iso_week w, int weeks);
/* "2026-W47"; refuses W00, W54, W53 of a 52-week year. */
int iso_week_parse(const char *s, struct iso_week *ret, struct error *err);
char *iso_week_format(struct iso_week w, char buffer[static 16]);
/* "2026-11-25" only. */
int day_parse(const char *s, int32_t *ret, struct error *err);
char *day_format(int32_t day, char buffer[static 16]);

/* ---- instants ---- */
/* RFC 3339 with an offset or Z; lower case and a blank for T tolerated, as its section 5.6 allows.
 * Digits beyond milliseconds are dropped; a leap second (23:59:60 UTC) folds to :59. */
int when_parse(const char *s, int64_t *ret_ms, struct error *err);
/* 2026-11-20T14:14:00.000Z. Of an unknown instant or day every format writes ""; an instant outside
 * the years 0..9999 is moved to their edge. */
char *when_format_utc(int64_t ms, char buffer[static 32]);

struct tz;
/* `name` an IANA name ("America/New_York", "UTC"); refuses absolute paths and "..".
 * Directory from $TZDIR, else /usr/share/zoneinfo. */
int tz_open(const char *name, struct tz **ret, struct error *err);
void tz_close(struct tz *tz);
const char *tz_name(const struct tz *tz);
/* Thread-safe, pure. tz may be NULL: UTC. Offsets with seconds (local mean time, at the latest in
 * 1972) are rounded to whole minutes. */
int tz_offset_min(const struct tz *tz, int64_t ms);
struct civil tz_civil(const struct tz *tz, int64_t ms);
int32_t tz_day(const struct tz *tz, int64_t ms); /* local date of an instant */
/* First instant of the local day: not always midnight, nor is the next one always 24 h later. A day
 * the zone skipped starts, and ends, where the next one starts. */
int64_t tz_day_start_ms(const struct tz *tz, int32_t day);
/* Local wall time to instant: of two readings the first, of none the instant after the gap. */
int64_t tz_instant_ms(const struct tz *tz, int32_t day, int minute_of_day);
/* RFC 3339 to the second, offset of tz: "2026-11-20T09:14:00-05:00" */
char *when_format(const struct tz *tz, int64_t ms, char buffer[static 40]);
/* The same to the millisecond: "2026-11-20T09:14:00.000-05:00" */
char *when_format_exact(const struct tz *tz, int64_t ms, char buffer[static 40]);
/* RFC 5322 date: "Fri, 20 Nov 2026 09:14:00 -0500" */
char *when_format_mail(const struct tz *tz, int64_t ms, char buffer[static 40]);

#endif
