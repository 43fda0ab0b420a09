#include "show/epcis.h"
#include "base/text.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LOT_MOST = 20 /* GS1 General Specifications, AI 10 */ };

/* AI 10 takes these and nothing else, a blank least of all (GS1 General Specifications, character
 * set 82). */
static bool is_gs1_lot(const char *lot)
{
    size_t length = strlen(lot);
    if (length == 0 || length > LOT_MOST)
        return false;
    for (; *lot; lot++) {
        if (!isalnum((unsigned char)*lot) && !strchr("!\"%&'()*+,-./:;<=>?_", *lot))
            return false;
    }
    return true;
}

static void add_encoded(struct text_buffer *b, const char *text)
{
    for (; *text; text++) {
        if (isalnum((unsigned char)*text) || strchr("-._~", *text))
            text_append_bytes(b, text, 1);
        else
            text_appendf(b, "%%%02X", (unsigned char)*text);
    }
}

static char *class_of(const struct epcis_lot_event *event)
{
    struct text_buffer uri = {0};
    bool gs1 = *event->gtin && is_gs1_lot(event->lot);
    text_append(&uri, gs1 ? "https://id.gs1.org/01/" : "https://oddloaf.invalid/lot/");
    add_encoded(&uri, gs1 ? event->gtin : event->product);
    text_append(&uri, gs1 ? "/10/" : "/");
    add_encoded(&uri, event->lot);
    return text_take(&uri);
}

static void add_made(json_t *out, const struct epcis_lot_event *event)
{
    char day[16];
    json_object_set_new(out, "action", json_string("ADD"));
    json_object_set_new(out, "bizStep", json_string("commissioning"));
    json_object_set_new(out, "ilmd",
                        json_pack("{s:s, s:s}", "cbvmda:lotNumber", event->lot,
                                  "cbvmda:bestBeforeDate", day_format(event->code_day, day)));
}

static void add_shipped(json_t *out, const struct epcis_lot_event *event)
{
    json_object_set_new(out, "action", json_string("OBSERVE"));
    json_object_set_new(out, "bizStep", json_string("shipping"));
    json_object_set_new(out, "oddloaf:route", json_string(event->route));
    if (*event->store)
        json_object_set_new(out, "oddloaf:store", json_string(event->store));
}

json_t *epcis_event(const struct tz *tz, const struct epcis_lot_event *event)
{
    char at[40], offset[16];
    int east_min = tz_offset_min(tz, event->at_ms), ahead = east_min < 0 ? -east_min : east_min;
    char *lots = class_of(event);
    snprintf(offset, sizeof offset, "%c%02d:%02d", east_min < 0 ? '-' : '+', ahead / 60 % 24,
             ahead % 60);
    json_t *out = json_pack("{s:s, s:s, s:s, s:[{s:s, s:I}]}", "type", "ObjectEvent", "eventTime",
                            when_format(tz, event->at_ms, at), "eventTimeZoneOffset", offset,
                            "quantityList", "epcClass", lots, "quantity", (json_int_t)event->units);
    if (event->shipped)
        add_shipped(out, event);
    else
        add_made(out, event);
    free(lots);
    return out;
}

char *epcis_head(int64_t now_ms)
{
    char now[32];
    struct text_buffer b = {0};
    text_appendf(
        &b,
        "{\"@context\": [\"https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld\", "
        "{\"oddloaf\": \"https://oddloaf.invalid/ns#\"}],\n"
        " \"type\": \"EPCISDocument\", \"schemaVersion\": \"2.0\", \"creationDate\": \"%s\",\n"
        " \"epcisBody\": {\"eventList\": [\n",
        when_format_utc(now_ms, now));
    return text_take(&b);
}

char *epcis_tail(void)
{
    return xstrdup("\n]}}\n");
}
