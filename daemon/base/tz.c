/* The zones of when.h: TZif files (RFC 8536) read into handles that never change afterwards. */
#include "base/text.h"
#include "base/tz_of.h"
#include "base/tz_rule.h"
#include "base/when.h"
#include <assert.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_BYTES (256u << 10)
#define HEADER_BYTES 44
#define OFFSET_MIN_S (-25 * 3600)
#define OFFSET_MAX_S (26 * 3600)
/* Further from its instant than this no wall clock can be. */
#define WINDOW_S (INT64_C(27) * 3600)
/* 0000-01-01 and the last millisecond of 9999: what RFC 3339 can write. */
#define FIRST_MS INT64_C(-62167219200000)
#define LAST_MS INT64_C(253402300799999)

struct tz {
    char *name;
    struct tz *next; /* owned: of the plants that have another; each names its own */
    char *plant;
    const struct tz *company; /* whose plant it is; NULL of the company's itself */
    size_t count;             /* of transitions */
    int64_t *at_s;            /* ascending instants */
    int32_t *offset_s;        /* in force from at_s on; whole minutes */
    int32_t before_s;         /* in force before the first transition */
    struct tz_rule rule;
};

/* ---- reading ---- */

struct block {
    size_t isut, isstd, leap, time, type, chars; /* counts, in the header's order */
    size_t time_size;
};

static uint64_t big_endian(const unsigned char *b, size_t size)
{
    uint64_t value = 0;
    for (size_t i = 0; i < size; i++)
        value = value << 8 | b[i];
    return value;
}

static bool read_header(const unsigned char *b, size_t length, size_t time_size, struct block *ret)
{
    assert(time_size == 4 || time_size == 8);
    if (length < HEADER_BYTES || memcmp(b, "TZif", 4) != 0)
        return false;
    size_t counts[6];
    for (size_t i = 0; i < 6; i++)
        counts[i] = (size_t)big_endian(b + 20 + 4 * i, 4);
    for (size_t i = 0; i < 6; i++)
        if (counts[i] > FILE_BYTES)
            return false;
    *ret =
        (struct block){counts[0], counts[1], counts[2], counts[3], counts[4], counts[5], time_size};
    return true;
}

static size_t block_bytes(const struct block *k)
{
    return k->time * (k->time_size + 1) + k->type * 6 + k->chars + k->leap * (k->time_size + 4) +
           k->isstd + k->isut;
}

static int64_t read_instant(const unsigned char *b, size_t size)
{
    uint64_t raw = big_endian(b, size);
    return size == 8 ? (int64_t)raw : (int64_t)(int32_t)(uint32_t)raw;
}

/* Zones of the "right" kind count leap seconds, which Unix time does not have: refused. */
static bool read_block(const unsigned char *b, const struct block *k, struct tz *tz)
{
    assert(k->time_size == 4 || k->time_size == 8);
    if (k->type < 1 || k->type > 256 || k->leap != 0)
        return false;
    const unsigned char *index = b + k->time * k->time_size;
    const unsigned char *types = index + k->time;
    int32_t offsets[256];
    for (size_t i = 0; i < k->type; i++) {
        int32_t raw = (int32_t)(uint32_t)big_endian(types + 6 * i, 4);
        if (raw < OFFSET_MIN_S || raw > OFFSET_MAX_S)
            return false;
        offsets[i] = tz_rule_whole_minutes(raw);
    }
    tz->before_s = offsets[0];
    tz->count = k->time;
    tz->at_s = xcalloc(k->time, sizeof *tz->at_s);
    tz->offset_s = xcalloc(k->time, sizeof *tz->offset_s);
    for (size_t i = 0; i < k->time; i++) {
        tz->at_s[i] = read_instant(b + i * k->time_size, k->time_size);
        if (index[i] >= k->type || (i > 0 && tz->at_s[i] <= tz->at_s[i - 1]))
            return false;
        tz->offset_s[i] = offsets[index[i]];
    }
    return true;
}

/* "\n<TZ string>\n" after the 64-bit block. */
static bool read_footer(const unsigned char *b, size_t length, struct tz *tz)
{
    char text[128];
    if (length < 2 || b[0] != '\n')
        return false;
    const unsigned char *end = memchr(b + 1, '\n', length - 1);
    if (!end || (size_t)(end - b) > sizeof text)
        return false;
    size_t n = (size_t)(end - b) - 1;
    memcpy(text, b + 1, n);
    text[n] = '\0';
    return tz_rule_parse(text, &tz->rule);
}

/* Version 1 files have one block of 32-bit instants; later ones repeat it in 64 bits. */
static bool read_tzif(const unsigned char *b, size_t length, struct tz *tz)
{
    struct block k;
    if (!read_header(b, length, 4, &k) || block_bytes(&k) > length - HEADER_BYTES)
        return false;
    if (b[4] == '\0')
        return read_block(b + HEADER_BYTES, &k, tz);
    size_t skip = HEADER_BYTES + block_bytes(&k);
    b += skip;
    length -= skip;
    if (!read_header(b, length, 8, &k) || block_bytes(&k) > length - HEADER_BYTES ||
        !read_block(b + HEADER_BYTES, &k, tz))
        return false;
    skip = HEADER_BYTES + block_bytes(&k);
    return read_footer(b + skip, length - skip, tz);
}

static bool is_safe_name(const char *name)
{
    size_t length = strlen(name);
    if (length == 0 || length > 64 || name[0] == '/' || strstr(name, ".."))
        return false;
    return strspn(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_+-/") ==
           length;
}

static int load(const char *name, struct tz *tz, struct error *err)
{
    const char *folder = getenv("TZDIR");
    struct text_buffer path = {0};
    text_appendf(&path, "%s/%s", folder && *folder ? folder : "/usr/share/zoneinfo", name);
    FILE *file = fopen(path.data, "rbe");
    int why = errno;
    text_buffer_free(&path);
    if (!file && why != ENOENT && why != ENOTDIR)
        return error_set(err, ERROR_IO, "cannot read the time zone: %s", strerror(why));
    if (!file)
        return error_set(err, ERROR_NOT_FOUND, "there is no such time zone on this machine");

    unsigned char *bytes = xmalloc(FILE_BYTES);
    size_t length = fread(bytes, 1, FILE_BYTES, file);
    fclose(file);
    bool good = read_tzif(bytes, length, tz);
    free(bytes);
    return good ? 0 : error_set(err, ERROR_INVALID, "is not a readable TZif time zone");
}

int tz_open(const char *name, struct tz **ret, struct error *err)
{
    int rc = 0;
    struct tz *tz = xcalloc(1, sizeof *tz);
    if (!is_safe_name(name)) {
        rc = error_set(err, ERROR_INVALID, "is not a time zone name");
    } else if (strcmp(name, "UTC") == 0) {
        tz->rule.known = true; /* at hand even where no zone files are installed */
    } else {
        rc = load(name, tz, err);
    }
    if (rc) {
        error_field(err, "time zone", name);
        error_hint(err, "use a name of the IANA time zone database, like America/New_York");
        tz_close(tz);
        return rc;
    }
    tz->name = xstrdup(name);
    *ret = tz;
    return 0;
}

void tz_close(struct tz *tz)
{
    while (tz) {
        struct tz *next = tz->next;
        free(tz->name);
        free(tz->plant);
        free(tz->at_s);
        free(tz->offset_s);
        free(tz);
        tz = next;
    }
}

const struct tz *tz_of(const struct tz *tz, const char *plant)
{
    if (!plant || !*plant)
        return tz;
    const struct tz *company = tz_of_company(tz), *of = company ? company->next : NULL;
    while (of && strcmp(of->plant, plant) != 0)
        of = of->next;
    return of ? of : company;
}

const struct tz *tz_of_company(const struct tz *tz)
{
    return tz && tz->company ? tz->company : tz;
}

const char *tz_of_apart(const struct tz *tz, const char *plant)
{
    const struct tz *of = tz_of(tz, plant);
    return of == tz_of_company(tz) ? NULL : tz_name(of);
}

int32_t tz_of_day(const struct tz *tz, const char *plant, int64_t ms)
{
    if (plant && *plant)
        return tz_day(tz_of(tz, plant), ms);
    const struct tz *company = tz_of_company(tz);
    int32_t latest = tz_day(company, ms);
    for (const struct tz *of = company ? company->next : NULL; of; of = of->next) {
        int32_t day = tz_day(of, ms);
        latest = day > latest ? day : latest;
    }
    return latest;
}

int tz_of_add(struct tz *tz, const char *plant, const char *zone, struct error *err)
{
    struct tz *of;
    if (strcmp(zone, tz->name) == 0)
        return 0;
    int rc = tz_open(zone, &of, err);
    if (rc)
        return rc;
    of->plant = xstrdup(plant);
    of->company = tz;
    of->next = tz->next;
    tz->next = of;
    return 0;
}

int tz_of_each(const struct tz *tz, tz_of_one each, void *arg)
{
    int rc = 0;
    const struct tz *company = tz_of_company(tz);
    for (const struct tz *of = company ? company->next : NULL; of && !rc; of = of->next)
        rc = each(arg, of->plant, of);
    return rc;
}

const char *tz_name(const struct tz *tz)
{
    return tz ? tz->name : "UTC";
}

/* ---- instants and wall clocks ---- */

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b < 0);
}

/* How many transitions are at or before an instant. */
static size_t passed(const struct tz *tz, int64_t instant_s)
{
    size_t low = 0;
    size_t high = tz->count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (tz->at_s[middle] <= instant_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static int32_t offset_at(const struct tz *tz, int64_t instant_s)
{
    if (!tz)
        return 0;
    size_t n = passed(tz, instant_s);
    if (n == tz->count && tz->rule.known)
        return tz_rule_offset(&tz->rule, instant_s);
    return n == 0 ? tz->before_s : tz->offset_s[n - 1];
}

/* The first instant after `instant_s` from which another offset may be in force. */
static int64_t next_change(const struct tz *tz, int64_t instant_s)
{
    if (!tz)
        return INT64_MAX;
    size_t n = passed(tz, instant_s);
    if (n < tz->count)
        return tz->at_s[n];
    return tz->rule.known ? tz_rule_next(&tz->rule, instant_s) : INT64_MAX;
}

static int64_t clamp_ms(int64_t ms)
{
    if (ms < FIRST_MS)
        return FIRST_MS;
    return ms > LAST_MS ? LAST_MS : ms;
}

int tz_offset_min(const struct tz *tz, int64_t ms)
{
    return offset_at(tz, floor_div(clamp_ms(ms), 1000)) / 60;
}

static int64_t local_ms(const struct tz *tz, int64_t ms, int *ret_offset_min)
{
    ms = clamp_ms(ms);
    *ret_offset_min = tz_offset_min(tz, ms);
    return clamp_ms(ms + *ret_offset_min * INT64_C(60000));
}

struct civil tz_civil(const struct tz *tz, int64_t ms)
{
    struct civil c;
    int64_t local = local_ms(tz, ms, &c.offset_min);
    int32_t day = (int32_t)floor_div(local, WHEN_DAY_MS);
    int rest = (int)(local - (int64_t)day * WHEN_DAY_MS);
    day_to_civil(day, &c.year, &c.month, &c.day);
    c.hour = rest / 3600000;
    c.minute = rest / 60000 % 60;
    c.second = rest / 1000 % 60;
    c.millisecond = rest % 1000;
    return c;
}

int32_t tz_day(const struct tz *tz, int64_t ms)
{
    int offset_min;
    if (ms == WHEN_UNKNOWN_MS)
        return WHEN_UNKNOWN_DAY;
    return (int32_t)floor_div(local_ms(tz, ms, &offset_min), WHEN_DAY_MS);
}

/* Walks the stretches of one offset each around the wall time, in order: the first whose reading
 * falls inside it is the answer; a reading that falls before its stretch was skipped by the
 * change that opened it. */
int64_t tz_instant_ms(const struct tz *tz, int32_t day, int minute_of_day)
{
    int64_t wall_s = (int64_t)day * 86400 + (int64_t)minute_of_day * 60;
    int64_t from = wall_s - WINDOW_S;
    for (;;) {
        int64_t until = next_change(tz, from);
        int64_t instant = wall_s - offset_at(tz, from);
        if (instant < from)
            return from * 1000;
        if (instant < until)
            return instant * 1000;
        from = until;
    }
}

int64_t tz_day_start_ms(const struct tz *tz, int32_t day)
{
    return tz_instant_ms(tz, day, 0);
}

/* ---- writing ---- */

char *when_format_utc(int64_t ms, char buffer[static 32])
{
    buffer[0] = '\0';
    if (ms == WHEN_UNKNOWN_MS)
        return buffer;
    struct civil c = tz_civil(NULL, ms);
    snprintf(buffer, 32, "%04d-%02d-%02dT%02d:%02d:%02d.%03dZ", c.year, c.month, c.day, c.hour,
             c.minute, c.second, c.millisecond);
    return buffer;
}

static char *format_local(const struct tz *tz, int64_t ms, bool exact, char buffer[static 40])
{
    buffer[0] = '\0';
    if (ms == WHEN_UNKNOWN_MS)
        return buffer;
    char fraction[8] = "";
    struct civil c = tz_civil(tz, ms);
    int offset = abs(c.offset_min);
    if (exact)
        snprintf(fraction, sizeof fraction, ".%03d", c.millisecond);
    snprintf(buffer, 40, "%04d-%02d-%02dT%02d:%02d:%02d%s%c%02d:%02d", c.year, c.month, c.day,
             c.hour, c.minute, c.second, fraction, c.offset_min < 0 ? '-' : '+', offset / 60,
             offset % 60);
    return buffer;
}

char *when_format(const struct tz *tz, int64_t ms, char buffer[static 40])
{
    return format_local(tz, ms, false, buffer);
}

char *when_format_exact(const struct tz *tz, int64_t ms, char buffer[static 40])
{
    return format_local(tz, ms, true, buffer);
}

char *when_format_mail(const struct tz *tz, int64_t ms, char buffer[static 40])
{
    static const char *const weekdays[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    buffer[0] = '\0';
    if (ms == WHEN_UNKNOWN_MS)
        return buffer;
    struct civil c = tz_civil(tz, ms);
    int offset = abs(c.offset_min);
    snprintf(buffer, 40, "%s, %02d %s %04d %02d:%02d:%02d %c%02d%02d",
             weekdays[day_of_week(day_from_civil(c.year, c.month, c.day)) - 1], c.day,
             months[c.month - 1], c.year, c.hour, c.minute, c.second, c.offset_min < 0 ? '-' : '+',
             offset / 60, offset % 60);
    return buffer;
}
