#include "deliver/zone.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/when.h"
#include "deliver/spool.h"
#include "show/pick.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ASK_S = 10 };

struct zone {
    struct transport *transport;
    struct tz *tz; /* NULL: UTC */
    bool day_first;
    bool known;
};

struct zone *zone_new(struct transport *transport)
{
    struct zone *z = xcalloc(1, sizeof *z);
    z->transport = transport;
    return z;
}

void zone_free(struct zone *z)
{
    if (z)
        tz_close(z->tz);
    free(z);
}

static const char DAY_FIRST[] = " day-first";

/* "Europe/Berlin day-first +Asia/Tokyo", as it is kept: plants' other zones last. One that this
 * machine does not know is left out. */
static bool take(struct zone *z, const char *kept)
{
    char name[64];
    text_clip(kept, name, sizeof name);
    name[strcspn(name, " ")] = '\0';
    z->day_first = strstr(kept, DAY_FIRST) != NULL;
    if (tz_open(name, &z->tz, NULL) != 0)
        return false;
    for (const char *at = strstr(kept, " +"); at; at = strstr(at, " +")) {
        at += 2;
        text_clip(at, name, sizeof name);
        name[strcspn(name, " ")] = '\0';
        tz_of_add(z->tz, name, name, NULL);
    }
    return true;
}

static void write_kept(const json_t *status, const char *name, struct text_buffer *out)
{
    size_t i;
    const json_t *other;
    text_append(out, name);
    if (!pick_bool(status, "month_first", true))
        text_append(out, DAY_FIRST);
    json_array_foreach(json_object_get(status, "time_zones"), i, other)
    {
        if (json_string_length(other))
            text_appendf(out, " +%s", json_string_value(other));
    }
}

static bool ask(struct zone *z)
{
    const struct request request = {.method = "GET", .path = "/v1/status", .timeout_s = ASK_S};
    struct error err = {0};
    struct reply reply = {0};
    bool told = transport_call(z->transport, &request, &reply, &err) == 0 && reply.status == 200 &&
                reply.body.data;
    json_t *status = told ? json_loads(reply.body.data, 0, NULL) : NULL;
    const char *name = pick_text(status, "time_zone", NULL);
    struct text_buffer kept = {0};
    if (name)
        write_kept(status, name, &kept);
    told = name && take(z, kept.data);
    if (told)
        spool_keep_zone(kept.data);
    text_buffer_free(&kept);
    json_decref(status);
    transport_reply_free(&reply);
    return told;
}

static void find(struct zone *z)
{
    struct text_buffer kept = {0};
    const char *own = getenv("TZ");
    z->known = true;
    bool found = ask(z) || (spool_kept_zone(&kept) && take(z, kept.data));
    text_buffer_free(&kept);
    if (found)
        return;
    if (!own || !*own || tz_open(own, &z->tz, NULL) != 0)
        tz_open("localtime", &z->tz, NULL);
}

struct form_day zone_day(struct zone *z)
{
    struct clock clock = clock_system();
    if (!z->known)
        find(z);
    int64_t now_ms = clock_now_ms(&clock);
    return (struct form_day){.today = tz_day(z->tz, now_ms),
                             .latest = tz_of_day(z->tz, "", now_ms),
                             .day_first = z->day_first,
                             .tz = z->tz};
}
