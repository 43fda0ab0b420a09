#include "show/sheet_html.h"
#include "show/sheet.h"
#include <string.h>

/* ---- head ---- */

static void add_title(struct text_buffer *b, const json_t *rank)
{
    text_append(b, "Case ");
    page_add_text(b, rank, "case");
    text_append(b, ": ");
    page_add_text(b, rank, "symptom");
}

static void add_head(struct text_buffer *b, const json_t *sheet, const json_t *rank)
{
    text_append(b, "<!DOCTYPE html>\n<html lang=\"en\" xmlns=\"http://www.w3.org/1999/xhtml\">\n"
                   "<head><meta charset=\"utf-8\"/><meta name=\"viewport\" "
                   "content=\"width=device-width, initial-scale=1\"/>"
                   "<meta name=\"color-scheme\" content=\"light dark\"/><title>");
    add_title(b, rank);
    text_appendf(b, "</title><style>%s%s</style></head>\n<body><main>\n<p class=\"soft\">",
                 PAGE_STYLE, SHEET_STYLE);
    page_add_text(b, sheet, "plant");
    text_append(b, "</p><h1>");
    add_title(b, rank);
    text_append(b, "</h1>");
}

static void add_instants(struct text_buffer *b, const json_t *sheet, const json_t *rank)
{
    size_t complaints = json_array_size(json_object_get(rank, "complaints"));
    text_appendf(b, "<p class=\"soft\">%s, %zu complaint%s, the newest of ",
                 strcmp(page_text(rank, "state"), "settled") == 0 ? "Settled" : "Open", complaints,
                 complaints == 1 ? "" : "s");
    sheet_add_when(b, page_text(rank, "as_of"));
    text_append(b, ". Sheet made ");
    sheet_add_when(b, page_text(sheet, "made_at"));
    text_append(b, ".</p>\n");
}

static void add_verdict(struct text_buffer *b, const json_t *rank)
{
    const json_t *verdict = json_object_get(rank, "verdict"), *cause;
    const char *id = page_text(verdict, "cause"), *title = id;
    size_t i;
    if (!*id)
        return;
    json_array_foreach(json_object_get(rank, "ranked"), i, cause)
    {
        if (strcmp(page_text(cause, "cause"), id) == 0)
            title = page_text(cause, "title");
    }
    text_append(b, "<p class=\"found\"><b>Confirmed: ");
    text_append_html(b, title);
    text_append(b, "</b>, by ");
    page_add_text(b, verdict, "confirmed_by");
    text_append(b, " (");
    page_add_text(b, verdict, "by");
    text_append(b, ", ");
    sheet_add_when(b, page_text(verdict, "at"));
    text_append(b, ")");
    if (*page_text(verdict, "note"))
        text_append(b, ". ");
    page_add_text(b, verdict, "note");
    text_append(b, "</p>\n");
}

/* ---- harm ---- */

static bool has_harm(const json_t *rank)
{
    return page_true(rank, "harm") || page_true(rank, "harm_possible");
}

/* What is reported, by which complaints: as told. */
static void add_harms(struct text_buffer *b, const json_t *harms)
{
    size_t i, k;
    const json_t *item, *kind;
    json_array_foreach(harms, i, item)
    {
        text_append(b, i ? "<br>" : "<p>");
        json_array_foreach(json_object_get(item, "harm"), k, kind)
        {
            text_append(b, k ? ", " : "<strong>");
            text_append_html(b, json_string_value(kind));
        }
        text_append(b, k ? "</strong> (complaint " : "(complaint ");
        page_add_text(b, item, "complaint");
        text_append(b, ", as told)");
    }
    text_append(b, i ? "</p>" : "");
}

/* The first caution of a ranking is about it. */
static void add_harm(struct text_buffer *b, const json_t *rank)
{
    text_appendf(b, "<div class=\"harm\"><h2>%s</h2><p>",
                 page_true(rank, "harm") ? "Harm is reported in this case"
                                         : "A complaint here may speak of harm");
    text_append_html(b, json_string_value(json_array_get(json_object_get(rank, "cautions"), 0)));
    text_append(b, "</p>");
    add_harms(b, json_object_get(rank, "harms"));
    text_append(b, "<p>This sheet offers no cause.</p>");
    if (page_true(rank, "harm_since_settled"))
        text_append(b, "<p>It was reported after the case was settled: read it, and reopen the "
                       "case.</p>");
    text_append(b, "</div>\n");
}

/* Of the same lot, whatever this case is about: before the causes of it. */
static void add_harm_elsewhere(struct text_buffer *b, const json_t *rank)
{
    const json_t *elsewhere = json_object_get(rank, "harm_elsewhere");
    if (!elsewhere)
        return;
    text_append(b, "<div class=\"harm\"><h2>Mind ");
    page_add_text(b, elsewhere, json_object_get(elsewhere, "case") ? "case" : "lot");
    text_append(b, ": ");
    page_add_text(b, elsewhere, "says");
    text_append(b, "</h2></div>\n");
}

/* ---- all ---- */

/* A value of a lot in doubt is nobody's fact. */
static void add_whose(struct text_buffer *b, const json_t *rank, const json_t *drawn)
{
    const json_t *likeliest = json_array_get(json_object_get(rank, "lots"), 0);
    if (json_object_get(drawn, "lot") || !likeliest)
        return;
    text_append(b,
                "<p>The ranking counts all lots it may be. Where a value below is of a lot, it is "
                "that of ");
    page_add_text(b, likeliest, "lot");
    text_append(b, ", which it is with a probability of ");
    sheet_add_chance(b, page_number(likeliest, "weight"));
    text_append(b, ".</p>");
}

static void add_pictures(struct text_buffer *b, const json_t *drawn, const json_t *why)
{
    const json_t *lot = json_object_get(drawn, "lot");
    if (!lot)
        return;
    text_append(b, "<h2>The lot in pictures</h2><div class=\"charts\">");
    if (why) {
        sheet_course(b, json_object_get(drawn, "course"));
        if (strcmp(page_text(why, "symptom"), "mold") == 0)
            sheet_mold(b, drawn);
    }
    sheet_near(b, json_object_get(drawn, "near"), page_text(lot, "packed_from"));
    sheet_routes(b, json_object_get(drawn, "routes"));
    text_append(b, "</div>\n");
    if (why)
        sheet_quantities(b, lot, why);
}

static void add_foot(struct text_buffer *b, const char *rules)
{
    char hash[20];
    text_append(b, "<p class=\"soft small\">");
    if (rules) {
        text_append(b, "Ranked causes are hypotheses, not findings. Rules ");
        text_append_html(b, text_clip(rules, hash, sizeof hash));
        text_append(b, ". ");
    }
    text_append(b,
                "Phone numbers, addresses and the names of callers as far as they are known are "
                "not on this sheet; a name that stands only in a story, without \"my name is\" or "
                "the like, is not known as one.</p>");
}

static void add_known(struct text_buffer *b, const json_t *sheet, const json_t *rank)
{
    sheet_follow(b, json_object_get(sheet, "follow"));
    sheet_lot(b, rank, json_object_get(json_object_get(sheet, "drawn"), "lot"));
    sheet_said(b, json_object_get(sheet, "said"));
}

char *sheet_html(const json_t *sheet)
{
    struct text_buffer b = {0};
    const json_t *rank = json_object_get(sheet, "rank"), *drawn = json_object_get(sheet, "drawn");
    bool harm = has_harm(rank), ranked = json_array_size(json_object_get(rank, "ranked")) > 0;
    const json_t *why = harm ? NULL : json_object_get(sheet, "why");
    add_head(&b, sheet, rank);
    add_instants(&b, sheet, rank);
    add_harm_elsewhere(&b, rank);
    if (harm)
        add_harm(&b, rank);
    else
        add_verdict(&b, rank);
    add_known(&b, sheet, rank);
    if (!harm && ranked) {
        sheet_causes(&b, rank);
        add_whose(&b, rank, drawn);
        sheet_reasons(&b, why);
    }
    add_pictures(&b, drawn, why);
    sheet_measured(&b, json_object_get(rank, "measured"), json_object_get(drawn, "lot"));
    sheet_cautions(&b, rank, harm ? 1 : 0);
    if (harm) {
        sheet_harm_asks(&b, json_object_get(sheet, "asks"));
        sheet_beside(&b, json_object_get(sheet, "reach"));
    } else {
        sheet_asks(&b, rank);
        sheet_reach(&b, json_object_get(sheet, "reach"));
    }
    sheet_attached(&b, json_object_get(sheet, "attachments"));
    sheet_history(&b, json_object_get(sheet, "history"));
    add_foot(&b, harm || !ranked ? NULL : page_text(rank, "rules"));
    text_append(&b, "\n</main></body></html>\n");
    return text_take(&b);
}
