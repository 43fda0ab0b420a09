/* The lot on a case's page: how sure it is, what is on record of it, where it went. */
#include "base/plant_level.h"
#include "intake/fields.h"
#include "show/sheet.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { CANDIDATES = 8, QUANTITIES = 14, ROUTES = 12, RESULTS = 30, SAID = 40 };

/* ---- how sure ---- */

static void add_row(struct text_buffer *b, const char *label, const char *text)
{
    if (!*text)
        return;
    text_appendf(b, "<dt>%s</dt><dd>", label);
    text_append_html(b, text);
    text_append(b, "</dd>");
}

static void add_packed(struct text_buffer *b, const json_t *lot)
{
    const char *from = page_text(lot, "packed_from"), *to = page_text(lot, "packed_to");
    if (!*from)
        return;
    text_append(b, "<dt>Packed</dt><dd>");
    sheet_add_when(b, from);
    text_append(b, " to ");
    if (strncmp(from, to, 10) == 0)
        sheet_add_time(b, to);
    else
        sheet_add_when(b, to);
    if (*page_text(lot, "zone")) {
        text_append(b, " by the clock of ");
        text_append_html(b, page_text(lot, "zone"));
    }
    text_append(b, "</dd>");
}

static void add_record(struct text_buffer *b, const json_t *lot)
{
    struct text_buffer product = {0};
    char line[PLANT_LEVEL];
    text_append(&product, page_text(lot, "product"));
    if (*page_text(lot, "name"))
        text_appendf(&product, ", %s", page_text(lot, "name"));
    add_row(b, "Product", product.data);
    text_buffer_free(&product);
    add_row(b, "Line", plant_level_of(lot, "line", line));
    add_row(b, "Shift", page_text(lot, "shift"));
    add_packed(b, lot);
    add_row(b, "Best by", page_text(lot, "code_date"));
    text_append(b, "<dt>Units</dt><dd>");
    page_add_number(b, page_number(lot, "units"));
    text_append(b, "</dd>");
}

static void add_holds(struct text_buffer *b, const json_t *holds)
{
    size_t i;
    const json_t *hold;
    json_array_foreach(holds, i, hold)
    {
        text_append(b, "<dt>On hold</dt><dd>");
        page_add_text(b, hold, "reason");
        text_append(b, *page_text(hold, "reason") ? " (" : "(");
        page_add_text(b, hold, "by");
        text_append(b, ", ");
        sheet_add_when(b, page_text(hold, "at"));
        text_append(b, ")</dd>");
    }
}

static void add_doubts(struct text_buffer *b, const json_t *doubts)
{
    size_t i;
    const json_t *doubt;
    json_array_foreach(doubts, i, doubt)
    {
        text_append(b, "<dt>Doubtful</dt><dd>");
        text_append_html(b, fields_title(page_text(doubt, "field")));
        text_append(b, " ");
        page_add_text(b, doubt, "value");
        text_append(b, ": ");
        page_add_text(b, doubt, "says");
        text_append(b, "</dd>");
    }
}

static void add_candidate(struct text_buffer *b, double share, const char *name)
{
    text_append(b, "<tr><td class=\"n\">");
    sheet_add_chance(b, share);
    text_append(b, "</td><td>");
    page_bar(b, share);
    text_append(b, "</td>");
    page_cell_text(b, "", name);
    text_append(b, "</tr>");
}

static void add_candidates(struct text_buffer *b, const json_t *lots)
{
    static const struct page_column COLUMNS[] = {
        {"How likely", "n"}, {"<span class=\"hidden\">Bar</span>", ""}, {"Lot", ""}, {NULL, NULL}};
    double told = 0;
    size_t i;
    const json_t *lot;
    page_open_table(b, COLUMNS);
    json_array_foreach(lots, i, lot)
    {
        if (i == CANDIDATES)
            break;
        add_candidate(b, page_number(lot, "weight"), page_text(lot, "lot"));
        told += page_number(lot, "weight");
    }
    if (told < 0.99)
        add_candidate(b, 1 - told, "another, or none on record");
    page_close_table(b);
}

static void add_decides(struct text_buffer *b, const json_t *decides)
{
    size_t i;
    const json_t *one;
    if (!json_array_size(decides))
        return;
    text_append(b, "<p>Would decide: ");
    json_array_foreach(decides, i, one)
    {
        text_append(b, i ? "; " : "");
        text_append_html(b, json_string_value(one));
    }
    text_append(b, ".</p>");
}

void sheet_lot(struct text_buffer *b, const json_t *rank, const json_t *lot)
{
    const json_t *lots = json_object_get(rank, "lots");
    bool exact = strcmp(page_text(rank, "lot_state"), "exact") == 0;
    text_append(b, "<p class=\"says\">");
    page_add_name(b, page_text(rank, "lot_says"));
    text_append(b, "</p><dl>");
    if (lot)
        add_record(b, lot);
    add_holds(b, json_object_get(rank, "holds"));
    add_doubts(b, json_object_get(rank, "doubts"));
    text_append(b, "</dl>\n");
    if (!exact && json_array_size(lots))
        add_candidates(b, lots);
    add_decides(b, json_object_get(rank, "lot_decides"));
    if (!lot && json_array_size(json_object_get(rank, "ranked")))
        text_append(b, "<p>The lot is not settled: no picture is drawn of any one lot.</p>");
}

/* ---- telling quantities ---- */

/* The most that any cause's evidence says by it; "core_at_pack_c.max" speaks of core_at_pack_c. */
static double bits_of(const json_t *why, const char *quantity)
{
    size_t i, k, length = strlen(quantity);
    double most = 0;
    const json_t *cause, *fact;
    json_array_foreach(json_object_get(why, "causes"), i, cause)
    {
        json_array_foreach(json_object_get(cause, "facts"), k, fact)
        {
            const char *name = page_text(fact, "fact");
            if (strncmp(name, quantity, length) == 0 && (!name[length] || name[length] == '.'))
                most = fmax(most, fabs(page_number(fact, "bits"))); /* of NAN the other */
        }
    }
    return most;
}

/* The middle of a series through oven and cooler tells nothing of either; it has a picture. */
static bool is_series(const json_t *reading)
{
    return strcmp(page_text(reading, "quantity"), "core_temp_c") == 0;
}

static bool is_out(const json_t *reading)
{
    double value = page_number(reading, "value");
    return value < page_number(reading, "low") || value > page_number(reading, "high") ||
           fabs(page_number(reading, "z")) >= 3;
}

struct telling {
    const json_t *reading;
    double bits;
};

static int by_bits(const void *a, const void *b)
{
    const struct telling *x = a, *y = b;
    if (x->bits != y->bits)
        return x->bits > y->bits ? -1 : 1;
    return strcmp(page_text(x->reading, "quantity"), page_text(y->reading, "quantity"));
}

static void add_quantity(struct text_buffer *b, const json_t *reading)
{
    const char *unit = page_text(reading, "unit");
    text_append(b, "<tr>");
    page_cell_text(b, "name", page_text(reading, "title"));
    text_append(b, is_out(reading) ? "<td class=\"n up\">" : "<td class=\"n\">");
    sheet_add_reading(b, page_number(reading, "value"), unit);
    text_append(b, "</td><td>");
    sheet_strip(b, reading);
    text_append(b, "</td><td class=\"n\">");
    sheet_add_reading(b, page_number(reading, "target"), "");
    text_append(b, "</td><td class=\"n\">");
    sheet_add_reading(b, page_number(reading, "usual"), "");
    text_append(b, "</td></tr>");
}

void sheet_quantities(struct text_buffer *b, const json_t *lot, const json_t *why)
{
    static const struct page_column COLUMNS[] = {
        {"Quantity", ""}, {"This lot", "n"}, {"Beside target and recent lots", ""},
        {"Target", "n"},  {"Usual", "n"},    {NULL, NULL}};
    const json_t *readings = json_object_get(lot, "readings"), *reading;
    struct telling *list = xcalloc(json_array_size(readings) + 1, sizeof *list);
    size_t i, count = 0;
    json_array_foreach(readings, i, reading)
    {
        double bits = bits_of(why, page_text(reading, "quantity"));
        if (isfinite(page_number(reading, "value")) && !is_series(reading) &&
            (bits >= 0.05 || is_out(reading)))
            list[count++] = (struct telling){reading, bits};
    }
    qsort(list, count, sizeof *list, by_bits);
    if (count) {
        text_append(b, "<h2>What was measured</h2>");
        page_open_table(b, COLUMNS);
        for (i = 0; i < count && i < QUANTITIES; i++)
            add_quantity(b, list[i].reading);
        page_close_table(b);
        text_append(b, "<p class=\"soft small\">The most telling first. Dot: this lot, with a line "
                       "from its least to its largest reading. Shaded: where 19 of 20 recent lots "
                       "of the product lie. Dashed: target; dotted: limits.</p>\n");
    }
    free(list);
}

/* ---- what laboratories found ---- */

/* " too high" of a value that the lot's limits of that quantity do not allow. */
static const char *result_out(const json_t *result, const json_t *lot)
{
    size_t i;
    const json_t *reading;
    double value = page_number(result, "value");
    json_array_foreach(json_object_get(lot, "readings"), i, reading)
    {
        if (strcmp(page_text(reading, "quantity"), page_text(result, "quantity")) != 0)
            continue;
        return value < page_number(reading, "low")    ? " too low"
               : value > page_number(reading, "high") ? " too high"
                                                      : "";
    }
    return "";
}

static void add_result(struct text_buffer *b, const json_t *result, const json_t *lot)
{
    char day[11];
    struct text_buffer sample = {0};
    const char *note = page_text(result, "note");
    text_appendf(&sample, "%s, sample %s", page_text(result, "lab"), page_text(result, "sample"));
    if (*page_text(result, "method"))
        text_appendf(&sample, ", %s", page_text(result, "method"));
    text_append(b, "<tr>");
    page_cell_what(b, page_text(result, "title"), note);
    const char *out = result_out(result, lot);
    text_append(b, *out ? "<td class=\"n up\">" : "<td class=\"n\">");
    if (isfinite(page_number(result, "value")))
        sheet_add_reading(b, page_number(result, "value"), page_text(result, "unit"));
    else
        page_add_text(b, result, "said");
    text_append(b, out);
    text_append(b, "</td>");
    page_cell_text(b, "", sample.data);
    page_cell_text(b, "w", text_clip(page_text(result, "at"), day, sizeof day));
    page_cell_text(b, "", page_true(result, "evidence") ? "yes" : "kept, not ranked by");
    text_append(b, "</tr>");
    text_buffer_free(&sample);
}

void sheet_measured(struct text_buffer *b, const json_t *measured, const json_t *lot)
{
    static const struct page_column COLUMNS[] = {
        {"Test", ""}, {"Result", "n"},   {"Laboratory and sample", ""},
        {"Day", "w"}, {"Ranked by", ""}, {NULL, NULL}};
    size_t i, count = json_array_size(measured);
    if (!count)
        return;
    text_append(b, "<h2>What laboratories and retained samples showed</h2>");
    page_open_table(b, COLUMNS);
    for (i = 0; i < count && i < RESULTS; i++)
        add_result(b, json_array_get(measured, i), lot);
    page_close_table(b);
    if (count > RESULTS)
        text_appendf(b, "<p class=\"soft small\">And %zu more results.</p>", count - RESULTS);
    text_append(b, "\n");
}

/* ---- what was said, where nothing is ranked ---- */

void sheet_said(struct text_buffer *b, const json_t *said)
{
    static const struct page_column COLUMNS[] = {
        {"Received", "w"}, {"What was said", ""}, {"By", ""}, {"Store", ""}, {NULL, NULL}};
    char day[11];
    size_t i, count = json_array_size(said);
    if (!count)
        return;
    text_append(b, "<h2>What was said</h2><p class=\"soft small\">Complaints of this kind are kept "
                   "and counted; no causes are ranked for them.</p>");
    page_open_table(b, COLUMNS);
    for (i = 0; i < count && i < SAID; i++) {
        const json_t *one = json_array_get(said, i);
        text_append(b, "<tr>");
        page_cell_text(b, "w", text_clip(page_text(one, "received_at"), day, sizeof day));
        page_cell_text(b, "", page_text(one, "note"));
        page_cell_text(b, "name", page_text(one, "channel"));
        page_cell_text(b, "name", page_text(one, "store"));
        text_append(b, "</tr>");
    }
    page_close_table(b);
    text_append(b, "\n");
}

/* ---- where its packs went ---- */

/* Those with complaints before all others. */
static int by_interest(const void *a, const void *b)
{
    const json_t *x = *(const json_t *const *)a, *y = *(const json_t *const *)b;
    double p = page_number(x, "complaints"), q = page_number(y, "complaints");
    if (p == q) {
        p = page_number(x, "units");
        q = page_number(y, "units");
    }
    if (p != q)
        return p > q ? -1 : 1;
    return strcmp(page_text(x, "route"), page_text(y, "route"));
}

static void add_route(struct text_buffer *b, const json_t *route, double all)
{
    text_append(b, "<tr>");
    page_cell_text(b, "name", page_text(route, "route"));
    page_cell_number(b, "n", page_number(route, "units"));
    text_append(b, "<td>");
    page_bar(b, all > 0 ? page_number(route, "units") / all : 0);
    text_append(b, "</td>");
    page_cell_number(b, "n", page_number(route, "stores"));
    page_cell_number(b, "n", page_number(route, "complaints"));
    text_append(b, "</tr>");
}

static void add_routes(struct text_buffer *b, const json_t **list, size_t count)
{
    static const struct page_column COLUMNS[] = {
        {"Route", ""},   {"Units", "n"},      {"<span class=\"hidden\">Bar</span>", ""},
        {"Stores", "n"}, {"Complaints", "n"}, {NULL, NULL}};
    double all = 0, rest = 0;
    for (size_t i = 0; i < count; i++) {
        all += page_number(list[i], "units");
        rest += i < ROUTES ? 0 : page_number(list[i], "units");
    }
    page_open_table(b, COLUMNS);
    for (size_t i = 0; i < count && i < ROUTES; i++)
        add_route(b, list[i], all);
    page_close_table(b);
    if (count > ROUTES) {
        text_appendf(b, "<p class=\"soft small\">And %zu more routes, together ", count - ROUTES);
        page_add_number(b, rest);
        text_append(b, " units.</p>");
    }
}

void sheet_routes(struct text_buffer *b, const json_t *routes)
{
    size_t i, count = json_array_size(routes);
    const json_t *route, **list = xcalloc(count + 1, sizeof(const json_t *));
    text_append(b, "<div class=\"chart\"><h3>Where its packs went</h3>");
    json_array_foreach(routes, i, route) list[i] = route;
    qsort(list, count, sizeof(const json_t *), by_interest);
    if (count)
        add_routes(b, list, count);
    else
        text_append(b, "<p>No dispatch of this lot is on record.</p>");
    text_append(b, "</div>");
    free(list);
}
