/* Mails, the week's page and its tables, whole (pages.h). */
#include "pages.h"

#include "show/epcis.h"
#include "show/view.h"
#include "show/week_csv.h"
#include "show/week_html.h"

static void put(FILE *out, char *text)
{
    fputs(text ? text : "", out);
    free(text);
}

static void mail(const json_t *event, FILE *out)
{
    struct view view = {0};
    struct text_buffer plain = {0}, html = {0};
    view_of_event(event, &view);
    view_plain(&view, &plain);
    view_html(&view, &html);
    view_free(&view);
    put(out, text_take(&plain));
    fputs("\n---- HTML ----\n", out);
    put(out, text_take(&html));
}

static void week(const json_t *report, FILE *out)
{
    put(out, week_html(report, "Harrow Mill <Bakery>"));
    for (int table = 0; WEEK_CSV_TABLES[table]; table++) {
        fprintf(out, "\n---- %s.csv%s ----\n", WEEK_CSV_TABLES[table],
                week_csv_of_span(table) ? ", of any span" : "");
        put(out, week_csv(report, table));
    }
}

/* In zones west and east of Greenwich. */
static void chain_in(const char *zone, const json_t *document, FILE *out)
{
    struct tz *tz = NULL;
    assert_int_equal(tz_open(zone, &tz, NULL), 0);
    const json_t *one;
    size_t i;
    put(out, epcis_head(1764000000000));
    json_array_foreach(json_object_get(document, "events"), i, one)
    {
        struct epcis_lot_event event = {0};
        const char *store = "", *route = "";
        int shipped = 0;
        json_int_t at = 0, units = 0;
        int day = 0;
        assert_int_equal(json_unpack((json_t *)(uintptr_t)one,
                                     "{s:b, s:s, s:s, s:s, s:I, s:I, s?i, s?s, s?s}", "shipped",
                                     &shipped, "lot", &event.lot, "product", &event.product, "gtin",
                                     &event.gtin, "at_ms", &at, "units", &units, "code_day", &day,
                                     "route", &route, "store", &store),
                         0);
        event.shipped = shipped;
        event.at_ms = at;
        event.units = units;
        event.code_day = day;
        event.route = route;
        event.store = store;
        json_t *told = epcis_event(tz, &event);
        fputs(i ? ",\n" : "\n", out);
        put(out, json_dumps(told, JSON_INDENT(1)));
        json_decref(told);
    }
    put(out, epcis_tail());
    tz_close(tz);
}

static void chain(const json_t *document, FILE *out)
{
    chain_in("America/New_York", document, out);
    chain_in("Asia/Kolkata", document, out);
}

int main(int argc, char **argv)
{
    static const struct pages_kind KINDS[] = {
        {"case", mail},    {"chain", chain},  {"digest", mail},   {"due", mail},
        {"emptied", mail}, {"despite", mail}, {"gathered", mail}, {"other", mail},
        {"summary", mail}, {"urgent", mail},  {"week", week},
    };
    static const struct pages PAGES = {ODDLOAF_SOURCE_DIR "/tests/show/pages", KINDS,
                                       COUNT_OF(KINDS)};
    return pages_main(&PAGES, argc, argv);
}
