/* Causes on a case's page: ranked, and what speaks for and against the likely ones. */
#include "show/fact_told.h"
#include "show/sheet.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RANKED = 8, EXPLAINED = 3, REASONS = 8 };
static const double NAMED = 0.01, LIKELY = 0.1, SAYS_BITS = 0.05;

/* ---- ranked ---- */

static void add_ranked(struct text_buffer *b, const json_t *cause)
{
    double p = page_number(cause, "probability");
    text_append(b, "<tr><td class=\"n\">");
    sheet_add_chance(b, p);
    text_append(b, "</td><td>");
    page_bar(b, p);
    text_append(b, "</td>");
    page_cell_what(b, page_text(cause, "title"), page_text(cause, "cause"));
    text_append(b, "</tr>");
}

void sheet_causes(struct text_buffer *b, const json_t *rank)
{
    static const struct page_column COLUMNS[] = {{"How likely", "n"},
                                                 {"<span class=\"hidden\">Bar</span>", ""},
                                                 {"Cause", ""},
                                                 {NULL, NULL}};
    const json_t *ranked = json_object_get(rank, "ranked"), *cause;
    size_t i, left = 0;
    double left_share = 0;
    text_append(b, "<h2>What most likely went wrong</h2>");
    page_open_table(b, COLUMNS);
    json_array_foreach(ranked, i, cause)
    {
        double p = page_number(cause, "probability");
        bool told = i < EXPLAINED || (i < RANKED && p >= NAMED);
        if (told)
            add_ranked(b, cause);
        left += !told;
        left_share += told ? 0 : p;
    }
    page_close_table(b);
    if (left) {
        text_appendf(b, "<p class=\"soft small\">%zu others, together ", left);
        sheet_add_chance(b, left_share);
        text_append(b, ".</p>");
    }
    text_append(b, "\n");
}

/* ---- for and against ---- */

static int by_strength(const void *a, const void *b)
{
    const json_t *x = *(const json_t *const *)a, *y = *(const json_t *const *)b;
    double p = page_number(x, "bits"), q = page_number(y, "bits");
    if (p != q)
        return p > q ? -1 : 1;
    return strcmp(page_text(x, "fact"), page_text(y, "fact"));
}

static void add_words(struct text_buffer *b, const json_t *fact)
{
    struct text_buffer value = {0};
    bool is_for = page_number(fact, "bits") > 0;
    fact_told_value(&value, fact);
    text_append_html(b,
                     *page_text(fact, "name") ? page_text(fact, "name") : page_text(fact, "fact"));
    if (value.length) {
        text_append(b, ": <b>");
        text_append_html(b, value.data);
        text_append(b, "</b>");
    }
    text_buffer_free(&value);
    if (isfinite(page_number(fact, "usual")) && !isfinite(page_number(fact, "observed"))) {
        text_append(b, ", usual ");
        sheet_add_reading(b, page_number(fact, "usual"), "");
    }
    text_append(b, is_for ? ". " : "; one would rather see: ");
    page_add_text(b, fact, "because");
    text_append(b, *page_text(fact, "although") ? "; it is " : "");
    page_add_text(b, fact, "although");
    text_append(b, " <span class=\"source\">");
    page_add_text(b, fact, "source");
    text_append(b, "</span>");
}

static void add_reason(struct text_buffer *b, const json_t *fact)
{
    double bits = page_number(fact, "bits");
    text_appendf(b, "<tr><td class=\"n\">%s%.1f</td><td>", bits < 0 ? "\u2212" : "+", fabs(bits));
    sheet_bits(b, bits);
    text_append(b, "</td><td>");
    add_words(b, fact);
    text_append(b, "</td></tr>");
}

/* What counts, strongest for first and strongest against last. */
static size_t take_reasons(const json_t *facts, const json_t ***ret)
{
    size_t i, count = 0;
    const json_t *fact, **list = xcalloc(json_array_size(facts) + 1, sizeof(const json_t *));
    json_array_foreach(facts, i, fact)
    {
        if (page_true(fact, "counted") && fabs(page_number(fact, "bits")) >= SAYS_BITS)
            list[count++] = fact;
    }
    qsort(list, count, sizeof(const json_t *), by_strength);
    *ret = list;
    return count;
}

/* Of both ends the strongest. */
static bool is_shown(const json_t *const *list, size_t count, size_t i)
{
    bool is_for = page_number(list[i], "bits") > 0;
    return is_for ? i < REASONS : count - i <= REASONS;
}

static void add_missing(struct text_buffer *b, size_t left)
{
    if (left)
        text_appendf(b, "<p class=\"soft small\">%zu weaker reasons are left out.</p>", left);
}

static void add_cause(struct text_buffer *b, const json_t *cause)
{
    static const struct page_column COLUMNS[] = {
        {"Bits", "n"}, {"Weighs", ""}, {"What it is, and why it speaks", ""}, {NULL, NULL}};
    const json_t **list;
    size_t left = 0, count = take_reasons(json_object_get(cause, "facts"), &list);
    text_append(b, "<h3>");
    page_add_text(b, cause, "title");
    text_append(b, ", ");
    sheet_add_chance(b, page_number(cause, "probability"));
    text_append(b, " <span class=\"soft small\">(before any fact ");
    sheet_add_chance(b, page_number(cause, "prior"));
    text_append(b, ")</span></h3>");
    if (count) {
        page_open_table(b, COLUMNS);
        for (size_t i = 0; i < count; i++) {
            if (is_shown(list, count, i))
                add_reason(b, list[i]);
            else
                left++;
        }
        page_close_table(b);
        add_missing(b, left);
    } else {
        text_append(b, "<p>Nothing known speaks for or against it.</p>");
    }
    free(list);
}

static void add_flips(struct text_buffer *b, const json_t *flips)
{
    size_t i;
    const json_t *flip;
    if (!json_array_size(flips))
        return;
    text_append(b, "<h3>What would change the order</h3><ul>");
    json_array_foreach(flips, i, flip)
    {
        text_append(b, "<li>");
        page_add_text(b, flip, "text");
        text_append(b, "</li>");
    }
    text_append(b, "</ul>");
}

void sheet_reasons(struct text_buffer *b, const json_t *why)
{
    size_t i;
    const json_t *cause;
    if (!json_array_size(json_object_get(why, "causes")))
        return;
    text_append(b, "<h2>What speaks for and against</h2>"
                   "<p class=\"soft small\">A bit doubles the odds: +1 makes a cause twice as "
                   "likely beside its rivals, \u22121 half as likely. Bars to the right speak "
                   "for it, to the left against.</p>");
    json_array_foreach(json_object_get(why, "causes"), i, cause)
    {
        if (i < EXPLAINED && (i == 0 || page_number(cause, "probability") >= LIKELY))
            add_cause(b, cause);
    }
    add_flips(b, json_object_get(why, "flips"));
    text_append(b, "\n");
}
