/* A case's page and its pictures, drawn of what the daemon may have of a case: nothing, one
 * reading, ten thousand complaints, the longest names. */
#include "base/jsonx.h"
#include "drawn.h"
#include "show/sheet.h"
#include "show/sheet_html.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { LARGEST = 200000 };

/* ---- well-formed XML: tags that close in turn, attributes in quotes, references we know ---- */

static const char *after_reference(const char *at)
{
    static const char *const KNOWN[] = {"&amp;", "&lt;", "&gt;", "&quot;", "&#39;"};
    for (size_t i = 0; i < sizeof KNOWN / sizeof KNOWN[0]; i++)
        if (strncmp(at, KNOWN[i], strlen(KNOWN[i])) == 0)
            return at + strlen(KNOWN[i]);
    fail_msg("an unknown reference: %.40s", at);
    return at;
}

/* Behind the attributes of a tag. */
static const char *after_attributes(const char *at)
{
    while (isspace((unsigned char)*at)) {
        at += strspn(at, " \n");
        size_t name = strcspn(at, "= />");
        assert_true(name > 0);
        at += name;
        assert_int_equal(strncmp(at, "=\"", 2), 0);
        size_t value = strcspn(at + 2, "\"<");
        assert_int_equal(at[2 + value], '"');
        at += value + 3;
    }
    return at;
}

static const char *after_tag(const char *at, char open[][16], size_t *depth)
{
    bool ends = at[1] == '/';
    const char *name = at + 1 + ends;
    size_t length = strspn(name, "abcdefghijklmnopqrstuvwxyz123");
    assert_true(length > 0 && length < 16);
    if (ends) {
        assert_true(*depth > 0);
        --*depth;
        if (strncmp(open[*depth], name, length) != 0 || open[*depth][length])
            fail_msg("<%s> is closed by %.20s", open[*depth], at);
        assert_int_equal(name[length], '>');
        return name + length + 1;
    }
    at = after_attributes(name + length);
    if (strncmp(at, "/>", 2) == 0)
        return at + 2;
    assert_int_equal(*at, '>');
    assert_true(*depth < 64);
    text_clip(name, open[(*depth)++], length + 1);
    return at + 1;
}

static void assert_well_formed(const char *text)
{
    char open[64][16];
    size_t depth = 0;
    if (strncmp(text, "<!DOCTYPE html>", 15) == 0)
        text += 15;
    while (*text) {
        assert_true((unsigned char)*text >= ' ' || *text == '\n');
        if (*text == '<')
            text = after_tag(text, open, &depth);
        else
            text = *text == '&' ? after_reference(text) : text + 1;
    }
    assert_int_equal(depth, 0);
}

static void assert_says(const char *text, const char *what)
{
    if (!strstr(text, what))
        fail_msg("\"%s\" is not in: %s", what, text);
}

static void assert_lacks(const char *text, const char *what)
{
    if (strstr(text, what))
        fail_msg("\"%s\" is in: %s", what, text);
}

static size_t times_of(const char *text, const char *what)
{
    size_t times = 0;
    for (; (text = strstr(text, what)); text++)
        times++;
    return times;
}

/* ---- pictures ---- */

static char *finished(struct text_buffer *b)
{
    char *text = text_take(b);
    assert_well_formed(text);
    assert_lacks(text, "nan");
    assert_lacks(text, "inf");
    drawn_keep(text);
    return text;
}

static char *course_of(const char *json)
{
    struct text_buffer b = {0};
    json_t *course = json_loads(json, 0, NULL);
    sheet_course(&b, course);
    json_decref(course);
    return finished(&b);
}

static void test_course(void **state)
{
    (void)state;
    char *none = course_of("{}");
    assert_string_equal(none, "");
    free(none);
    char *one =
        course_of("{\"series\":true,\"own\":[[0,38]],\"recent\":[],\"target_packed_c\":null}");
    assert_says(one, "from 38.0 °C to 38.0 °C in 0 minutes; 0 recent lots");
    assert_lacks(one, "target at packing");
    free(one);
    char *all =
        course_of("{\"series\":true,\"own\":[[0,28],[25,97],[100,47.5]],\"recent\":[[[0,27],"
                  "[100,36]]],\"target_packed_c\":38}");
    assert_says(all,
                "from 28.0 °C to 47.5 °C in 100 minutes; target at packing 38 °C; 1 recent lot ");
    assert_int_equal(times_of(all, "class=\"recent\""), 1);
    assert_says(all, "<title id=\"course-t\">");
    free(all);
    char *packed =
        course_of("{\"series\":false,\"own\":[[76,47.5]],\"recent\":[[[75,37]],[[77,38]]],"
                  "\"target_packed_c\":38}");
    assert_says(packed, "at packing 47.5 °C, after 76 minutes of cooling");
    assert_int_equal(times_of(packed, "class=\"few\""), 2);
    assert_lacks(packed, "class=\"line\""); /* nobody measured what lies between */
    free(packed);
}

static char *mold_of(const char *days, const char *found)
{
    struct text_buffer b = {0}, json = {0};
    text_appendf(
        &json,
        "{\"lot\":{\"packed_from\":\"2026-11-17T05:30:00-05:00\",\"code_date\":\"2026-11-27\","
        "\"prediction\":{\"mold_free_days\":%s}},\"found\":%s}",
        days, found);
    json_t *drawn = json_loads(json.data, 0, NULL);
    assert_non_null(drawn);
    sheet_mold(&b, drawn);
    json_decref(drawn);
    text_buffer_free(&json);
    return finished(&b);
}

static void test_mold(void **state)
{
    (void)state;
    char *drawn = mold_of(
        "{\"as_made\":{\"typical\":4.2,\"valid\":true},\"as_specified\":{\"typical\":21,\"valid\":"
        "true,\"beyond\":true},\"curve\":[{\"day\":1,\"as_made\":0,\"as_specified\":0},{\"day\":10,"
        "\"as_made\":0.61,\"as_specified\":null},{\"day\":21,\"as_made\":0.9,\"as_specified\":0.3}]"
        "}",
        "[{\"day\":4,\"complaints\":1},{\"day\":9,\"complaints\":2,\"reported\":2},"
        "{\"day\":60,\"complaints\":10003,\"reported\":3}]");
    assert_says(drawn, "show mold by day 4.2; as specified");
    assert_says(drawn, "later than day 21");
    assert_says(drawn,
                "Found on day 4, 60 (10000 complaints). Reported, found by then, on day 9 (2 "
                "complaints), 60 (3 complaints).");
    assert_int_equal(times_of(drawn, "class=\"told\""), 1);
    assert_says(drawn, "% of those that carry a spore");
    assert_says(drawn, "not of all packs");
    assert_says(drawn, "not calibrated to this plant");
    assert_lacks(drawn, "% of all");
    assert_says(drawn, ">best by</text>");
    assert_says(drawn, ">packed</text>"); /* the days below */
    assert_int_equal(times_of(drawn, "class=\"out\""), 2);
    free(drawn);
    char *not =
        mold_of("{\"as_made\":{\"typical\":null,\"valid\":false,\"reason\":\"crumb outside <the> "
                "range\"},\"curve\":[{\"day\":1,\"as_made\":null,\"as_specified\":null}]}",
                "[]");
    assert_says(not, "No share can be told: crumb outside &lt;the&gt; range.");
    assert_lacks(not, "<svg");
    free(not );
}

/* A laboratory's value that is not allowed is marked as the plant's own would be, in words. */
static void test_measured(void **state)
{
    static const char LOT[] = "{\"readings\":[{\"quantity\":\"crumb_aw\",\"high\":0.96}]}";
    static const char FOUND[] = "[{\"quantity\":\"crumb_aw\",\"title\":\"Crumb water "
                                "activity\",\"value\":0.97,\"unit\":\"1\"},"
                                "{\"quantity\":\"crumb_aw\",\"title\":\"Crumb water "
                                "activity\",\"value\":0.955,\"unit\":\"1\"}]";
    struct text_buffer b = {0};
    json_t *lot = json_loads(LOT, 0, NULL), *found = json_loads(FOUND, 0, NULL);
    (void)state;
    sheet_measured(&b, found, lot);
    char *drawn = finished(&b);
    assert_int_equal(times_of(drawn, "class=\"n up\""), 1);
    assert_int_equal(times_of(drawn, " too high</td>"), 1);
    free(drawn);
    json_decref(lot);
    json_decref(found);
}

static json_t *near_of(size_t lots, int lines, int complaints)
{
    json_t *list = json_array();
    for (size_t i = 0; i < lots; i++) {
        double from = i ? -36 + 72.0 * (double)i / (double)lots : 0;
        json_array_append_new(list, json_pack("{s:s, s:o, s:f, s:f, s:i, s:b}", "lot", "L<1>",
                                              "line", json_sprintf("line %d", (int)i % lines),
                                              "from_h", from, "to_h", from + 0.2, "complaints",
                                              i ? (int)i % 3 : complaints, "own", i == 0));
    }
    return json_pack("{s:i, s:o}", "hours", 36, "lots", list);
}

static char *drawn_near(json_t *near)
{
    struct text_buffer b = {0};
    sheet_near(&b, near, "2026-11-17T05:30:00-05:00");
    json_decref(near);
    return finished(&b);
}

static void test_near(void **state)
{
    (void)state;
    char *alone = drawn_near(near_of(1, 1, 1));
    assert_says(alone, "This lot has 1 of these complaints. Of 0 other lots");
    assert_int_equal(times_of(alone, "class=\"ownlot\""), 1);
    free(alone);
    char *none = drawn_near(near_of(0, 1, 0));
    assert_string_equal(none, "");
    free(none);
    char *many = drawn_near(near_of(300, 12, 10000));
    assert_says(many, "This lot has 10000 of these complaints.");
    assert_says(many, ">10000</text>");
    assert_says(many, "Not all lines are drawn");
    assert_true(strlen(many) < 60000);
    free(many);
}

static char *strip_of(const char *json)
{
    struct text_buffer b = {0};
    json_t *reading = json_loads(json, 0, NULL);
    sheet_strip(&b, reading);
    json_decref(reading);
    return finished(&b);
}

static void test_strip(void **state)
{
    (void)state;
    char *none = strip_of("{\"value\":null,\"target\":38}");
    assert_string_equal(none, "");
    free(none);
    char *one = strip_of("{\"value\":47.5,\"min\":47.5,\"max\":47.5,\"target\":null}");
    assert_int_equal(times_of(one, "<path"), 0);
    assert_int_equal(times_of(one, "<circle"), 1);
    free(one);
    char *all =
        strip_of("{\"value\":47.5,\"min\":46,\"max\":49,\"target\":38,\"low\":36,\"high\":40,"
                 "\"usual\":38.1,\"spread\":0.8}");
    assert_int_equal(times_of(all, "class=\"limit\""), 2);
    assert_int_equal(times_of(all, "class=\"band\""), 1);
    assert_int_equal(times_of(all, "class=\"center\""), 1);
    assert_int_equal(times_of(all, "class=\"whisker\""), 1);
    free(all);
}

static void test_bits(void **state)
{
    (void)state;
    static const double BITS[] = {3.5, -3.5, 70, 0};
    static const char *const DRAWN[] = {
        "class=\"fill\" d=\"M70.0 6H104.0\"", "class=\"contra\" d=\"M70.0 6H36.0\"",
        "class=\"fill\" d=\"M70.0 6H138.0\"", "class=\"fill\" d=\"M70.0 6H70.0\""};
    for (size_t i = 0; i < sizeof BITS / sizeof BITS[0]; i++) {
        struct text_buffer b = {0};
        sheet_bits(&b, BITS[i]);
        char *text = finished(&b);
        assert_says(text, DRAWN[i]);
        free(text);
    }
}

/* ---- the page ---- */

static size_t cells_of(const char *row)
{
    size_t cells = 0;
    for (const char *end = strstr(row, "</tr>"); row < end; row++)
        cells += strncmp(row, "<td", 3) == 0 || (strncmp(row, "<th", 3) == 0 && row[3] != 'e');
    return cells;
}

/* Each row of a table has the cells of its first one. */
static void assert_cells(const char *html)
{
    while ((html = strstr(html, "<table"))) {
        const char *end = strstr(html, "</table>"), *row = strstr(html, "<tr");
        for (size_t columns = cells_of(row); row && row < end; row = strstr(row + 1, "<tr"))
            if (cells_of(row) != columns)
                fail_msg("%zu cells of %zu: %.300s", cells_of(row), columns, row);
        html = end;
    }
}

static char *page_of(json_t *sheet)
{
    char *html = sheet_html(sheet);
    json_decref(sheet);
    assert_well_formed(html);
    assert_cells(html);
    assert_true(strlen(html) < LARGEST);
    drawn_keep(html);
    return html;
}

static json_t *rank_of(const char *members)
{
    struct text_buffer json = {0};
    text_appendf(
        &json,
        "{\"case\":\"C12\",\"symptom\":\"mold\",\"as_of\":\"2026-11-20T09:14:00-05:00\","
        "\"state\":\"open\",\"complaints\":[\"a\"],\"lot_state\":\"exact\",\"lot_says\":\"L1 is "
        "on record\",\"rules\":\"sha256:0123456789abcdef\",\"ranked\":[{\"cause\":\"packed-hot\","
        "\"title\":\"Packed too hot\",\"probability\":0.81}],\"cautions\":[\"first of all\",\"keep "
        "the bag\"],\"checks\":[{\"do\":\"Probe it\",\"who\":\"qa\",\"effort\":\"minutes\"}],"
        "\"actions\":[\"Slow the line\"]%s}",
        members);
    json_t *rank = json_loads(json.data, 0, NULL);
    assert_non_null(rank);
    text_buffer_free(&json);
    return rank;
}

static json_t *reach_of(const char *lots)
{
    json_t *list = json_loads(lots, 0, NULL);
    assert_non_null(list);
    return json_pack("{s:s, s:s, s:s, s:o}", "case", "C12", "title", "Packed too hot", "in_code_on",
                     "2026-11-20", "lots", list);
}

static void test_nothing_known(void **state)
{
    (void)state;
    free(page_of(json_object()));
    char *html = page_of(json_pack("{s:o, s:{}}", "rank", rank_of(""), "drawn"));
    assert_says(html, "<title>Case C12: mold</title>");
    assert_says(html, "no picture is drawn of any one lot");
    assert_says(html, "What most likely went wrong");
    assert_lacks(html, "The lot in pictures");
    free(html);
}

/* What hurt somebody who told of it in another case stands before the causes of this one. */
static void test_harm_of_the_lot_elsewhere_is_first(void **state)
{
    (void)state;
    char *html = page_of(json_pack(
        "{s:o, s:{}}", "rank",
        rank_of(",\"harm_elsewhere\":{\"case\":\"C7\",\"possible\":false,\"says\":\"harm is "
                "reported on the same lot in another case\"}"),
        "drawn"));
    const char *mind = strstr(html, "<div class=\"harm\"><h2>Mind C7: harm is reported on the");
    assert_non_null(mind);
    assert_true(mind < strstr(html, "What most likely went wrong"));
    free(html);
}

/* What to ask, the lots with what came of them, and what was done in the words of who did it. */
static void test_beside_harm(void **state)
{
    (void)state;
    json_t *sheet = json_loads(
        "{\"drawn\":{},\"asks\":{\"ask\":[{\"ask\":\"What was found?\",\"of\":\"caller\"},{\"ask\":"
        "\"Fan?\",\"of\":\"plant\",\"gain_bits\":0.5}]},\"reach\":{\"case\":\"C12\",\"by\":"
        "\"harm\","
        "\"title\":\"what could have carried the "
        "harm\",\"in_code_on\":\"2026-11-20\",\"own\":{\"lot\":"
        "\"L1\",\"units\":5,\"code_date\":\"2026-11-27\",\"in_code\":true,\"because\":\"the case's "
        "own lot\","
        "\"came_of_it\":\"destroyed (by mira: "
        "wet)\"},\"lots\":[{\"lot\":\"L2\",\"units\":5,\"code_date\":"
        "\"2026-11-27\",\"in_code\":true,\"because\":\"same mix "
        "M1\",\"holds\":[{}]}],\"common\":[{\"shares\":"
        "\"same flour lot "
        "F\",\"lots\":88},"
        "{\"shares\":\"same film lot "
        "P\",\"lots\":9,\"products\":3}]},\"history\":{\"events\":[{\"what\":\"noted\",\"by\":"
        "\"mira\","
        "\"at\":\"2026-11-20T09:14:00-05:00\",\"why\":\"rang the "
        "mother\"},{\"what\":\"mailed\",\"by\":\"oddloaf\","
        "\"at\":\"2026-11-20T09:15:00-05:00\",\"why\":\"packed-hot "
        "rose\"},{\"what\":\"released\",\"by\":\"jo\","
        "\"at\":\"2026-11-20T09:16:00-05:00\",\"lot\":\"L3\",\"is\":\"divert\",\"why\":\"feed\"}]}"
        "}",
        0, NULL);
    assert_non_null(sheet);
    json_object_set_new(sheet, "rank", rank_of(",\"harm\":true"));
    char *html = page_of(sheet);
    static const char *const SAID[] = {"What was found?",
                                       "destroyed (by mira: wet)",
                                       "same mix M1",
                                       ">held<",
                                       "rang the mother",
                                       "L3: divert: feed",
                                       "same flour lot F in 88 lots, most of the plant",
                                       "same film lot P in 9 lots, of 3 products, and so not the "
                                       "printed label"};
    for (size_t i = 0; i < sizeof SAID / sizeof SAID[0]; i++)
        assert_says(html, SAID[i]);
    assert_lacks(html, "Fan?");
    assert_lacks(html, "packed-hot");
    assert_lacks(html, "Has it");
    free(html);
}

/* Whatever else is handed over, beside harm no cause is named. */
static void test_harm(void **state)
{
    (void)state;
    static const char *const HARM[] = {",\"harm\":true", ",\"harm_possible\":true",
                                       (",\"harm\":true,\"harm_since_settled\":true,\"verdict\":{"
                                        "\"cause\":\"packed-hot\",\"by\":\"QA\"}")};
    for (size_t i = 0; i < sizeof HARM / sizeof HARM[0]; i++) {
        json_t *why = json_pack("{s:s, s:[{s:s, s:f, s:[]}]}", "symptom", "mold", "causes", "title",
                                "Packed too hot", "probability", 0.8, "facts");
        char *html = page_of(json_pack("{s:o, s:{}, s:o, s:o}", "rank", rank_of(HARM[i]), "drawn",
                                       "why", why, "reach", reach_of("[]")));
        assert_says(html, "first of all");
        assert_int_equal(times_of(html, "first of all"), 1);
        assert_says(html, "keep the bag");
        assert_lacks(html, "Lots it may lie in"); /* what is handed over goes by a cause */
        assert_lacks(html, "acked too hot");
        assert_lacks(html, "packed-hot");
        assert_lacks(html, "Probe it");
        assert_lacks(html, "Slow the line");
        free(html);
    }
}

static void test_doubt(void **state)
{
    (void)state;
    json_t *rank =
        rank_of(",\"lots\":[{\"lot\":\"L<1>\",\"weight\":0.6},{\"lot\":\"L2\",\"weight\":0.3}],"
                "\"lot_decides\":[\"the bag\"]");
    json_object_set_new(rank, "lot_state", json_string("several"));
    char *html = page_of(json_pack("{s:o, s:{}}", "rank", rank, "drawn"));
    assert_says(html, "<td>L&lt;1&gt;</td>");
    assert_says(html, "another, or none on record");
    assert_says(html, "it is that of L&lt;1&gt;, which it is with a probability of 60");
    assert_says(html, "Would decide: the bag.");
    free(html);
}

/* Of a lot that is drawn nothing is said of others; when it was packed is told as shortly as the
 * days allow. */
static void test_lot_on_record(void **state)
{
    static const struct {
        const char *to, *says;
    } ROWS[] = {{"2026-11-17T08:05:00-05:00", " to 08:05"},
                {"2026-11-18T00:30:00-05:00", " to 2026-11-18 00:30"}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        json_t *lot = json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:i}", "product", "W24", "name",
                                "Wheat", "line", "2", "packed_from", "2026-11-17T04:12:00-05:00",
                                "packed_to", ROWS[i].to, "code_date", "2026-11-27", "units", 12400);
        json_t *rank = rank_of(",\"lots\":[{\"lot\":\"L1\",\"weight\":0.97}]");
        char *html = page_of(json_pack("{s:o, s:{s:o}}", "rank", rank, "drawn", "lot", lot));
        assert_says(html, "<dt>Product</dt><dd>W24, Wheat</dd>");
        assert_says(html, "<dt>Line</dt><dd>2</dd>");
        assert_says(html, "<dt>Packed</dt><dd>");
        assert_says(html, ROWS[i].says);
        assert_says(html, "<dt>Best by</dt><dd>2026-11-27</dd>");
        assert_says(html, "<dt>Units</dt><dd>12");
        assert_lacks(html, "<dt>Shift</dt>");
        assert_lacks(html, "The ranking counts all lots");
        free(html);
    }
}

static void test_lots_at_risk(void **state)
{
    (void)state;
    char *html = page_of(json_pack(
        "{s:o, s:{}, s:o}", "rank", rank_of(""), "drawn", "reach",
        reach_of("[{\"lot\":\"L2\",\"probability\":0.9,\"units\":100,\"code_date\":\"2026-11-27\","
                 "\"in_code\":true,\"because\":\"same mix\",\"holds\":[{\"reason\":\"x\"}]},"
                 "{\"lot\":\"L3\",\"probability\":0.8,\"units\":100,\"code_date\":\"2026-11-27\","
                 "\"in_code\":"
                 "true,\"because\":\"same mix\"},{\"lot\":\"L4\",\"in_code\":false}]")));
    assert_says(html, "L2 <span class=\"kind\">same mix</span></td><td class=\"n\">100</td><td "
                      "class=\"w\">2026-11-27</td><td>held</td>");
    assert_says(html, "L3 <span class=\"kind\">same mix</span></td><td class=\"n\">100</td><td "
                      "class=\"w\">2026-11-27</td><td>no</td>");
    assert_says(html, "1 more are past their code date");
    assert_lacks(html, "L4");
    free(html);
}

/* ---- the largest there can be ---- */

static json_t *repeated(const char *text, size_t length)
{
    struct text_buffer b = {0};
    while (b.length + strlen(text) <= length)
        text_append(&b, text);
    char *whole = text_take(&b);
    json_t *json = json_string(whole);
    free(whole);
    return json;
}

static json_t *copies(json_t *one, size_t count)
{
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        json_array_append_new(list, json_deep_copy(one));
    json_decref(one);
    return list;
}

static json_t *large_why(void)
{
    json_t *fact =
        json_pack("{s:o, s:o, s:f, s:b, s:o, s:o, s:o, s:f, s:f}", "fact", repeated("abcdef", 47),
                  "name", repeated("abc def ", 120), "bits", 1.5, "counted", 1, "value",
                  repeated("<&>", 60), "because", repeated("said & \"done\" ", 300), "source",
                  repeated("A. Uthor 1999 ", 250), "usual", 38.123, "target", 37.5);
    json_t *cause = json_pack("{s:o, s:f, s:f, s:o}", "title", repeated("Cause ", 80),
                              "probability", 0.3, "prior", 0.1, "facts", copies(fact, 60));
    json_t *flip = json_pack("{s:o}", "text", repeated("if it were so ", 250));
    return json_pack("{s:s, s:o, s:o}", "symptom", "mold", "causes", copies(cause, 20), "flips",
                     copies(flip, 5));
}

static json_t *large_lot(void)
{
    json_t *reading =
        json_pack("{s:o, s:o, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f}", "quantity",
                  repeated("abcdef", 47), "title", repeated("Quantity ", 80), "unit", "degC",
                  "value", 47.512345, "min", 46.1, "max", 49.9, "target", 38.0, "low", 36.0, "high",
                  40.0, "usual", 38.1, "spread", 0.7, "z", 9.0);
    return json_pack(
        "{s:o, s:o, s:o, s:s, s:s, s:s, s:i, s:o, s:{s:{s:o}}}", "product", repeated("<", 60),
        "name", repeated("\"&", 200), "line", repeated("L", 60), "packed_from",
        "2026-11-17T05:30:00-05:00", "packed_to", "2026-11-17T06:30:00-05:00", "code_date",
        "2026-11-27", "units", 999999999, "readings", copies(reading, 60), "prediction",
        "mold_free_days", "curve",
        copies(json_pack("{s:i, s:f, s:f}", "day", 3, "as_made", 0.51234, "as_specified", 0.1),
               21));
}

static json_t *large_drawn(void)
{
    json_t *points = copies(json_loads("[123.4, 56.7]", 0, NULL), 60);
    json_t *routes = copies(json_pack("{s:o, s:i, s:i, s:i}", "route", repeated("&", 60), "units",
                                      123456, "stores", 400, "complaints", 10000),
                            400);
    json_t *found = copies(json_pack("{s:i, s:i}", "day", 7, "complaints", 10000), 60);
    return json_pack("{s:o, s:{s:b, s:O, s:o, s:f}, s:o, s:o, s:o}", "lot", large_lot(), "course",
                     "series", 1, "own", points, "recent", copies(points, 12), "target_packed_c",
                     38.0, "found", found, "near", near_of(301, 12, 10000), "routes", routes);
}

static void test_largest(void **state)
{
    (void)state;
    json_t *hold = json_pack("{s:o, s:o, s:s}", "reason", repeated("\"why\" ", 255), "by",
                             repeated("B", 63), "at", "2026-11-20T09:14:00-05:00");
    json_t *rank = rank_of(",\"verdict\":null");
    json_object_set_new(rank, "holds", copies(hold, 8));
    json_object_set_new(rank, "complaints", copies(json_string("u"), 10000));
    json_object_set_new(rank, "ask",
                        copies(json_pack("{s:o, s:s, s:f}", "ask", repeated("What ", 200), "of",
                                         "caller", "gain_bits", 0.4),
                               5));
    json_object_set_new(rank, "cautions", copies(repeated("Mind this & that. ", 300), 15));
    json_t *reach = reach_of("[]");
    json_object_set_new(
        reach, "lots",
        copies(json_pack("{s:o, s:f, s:i, s:s, s:b, s:o}", "lot", repeated("<", 60), "probability",
                         0.5, "units", 999999, "code_date", "2026-11-27", "in_code", 1, "because",
                         repeated("same line & hour; ", 250)),
               1000));
    json_t *event =
        json_pack("{s:s, s:o, s:s, s:o}", "at", "2026-11-20T09:14:00-05:00", "by",
                  repeated("\"", 150), "what", "record changed", "field", repeated("f", 60));
    char *html =
        page_of(json_pack("{s:o, s:o, s:o, s:o, s:o, s:{s:o}}", "plant", repeated("&", 200), "rank",
                          rank, "drawn", large_drawn(), "why", large_why(), "reach", reach,
                          "history", "events", copies(event, 10000)));
    print_message("the largest page: %zu bytes\n", strlen(html));
    assert_says(html, "960 more: <code>oddloaf reach C12</code>");
    assert_says(html, "9960 earlier entries are left out");
    free(html);
}

/* Complaints and mails that follow each other are one row; what a person did stands for itself. */
static void test_history_is_folded(void **state)
{
    static const char *const WHAT[] = {"logged", "mailed", "logged", "call-back",
                                       "logged", "mailed", "noted",  "logged"};
    json_t *events = json_array();
    (void)state;
    for (size_t i = 0; i < COUNT_OF(WHAT); i++) {
        char at[40];
        snprintf(at, sizeof at, "2026-11-20T09:%zu0:00-05:00", i % 6);
        json_array_append_new(events, json_pack("{s:s, s:s, s:s}", "at", at, "by",
                                                i == 6 ? "dana" : "oddloaf", "what", WHAT[i]));
    }
    char *html =
        page_of(json_pack("{s:o, s:{s:o}}", "rank", rank_of(""), "history", "events", events));
    assert_says(html, "logged 3 complaints, mailed 2 times, due by the rules: 1 call-back");
    assert_says(html, "2026-11-20 09:00 to 2026-11-20 09:50");
    assert_says(html, "noted");
    assert_null(strstr(strstr(html, "mailed 2 times") + 1, "mailed"));
    free(html);
}

/* Results, files and who follows it up, each with what somebody else may have typed. */
static void test_belongs(void **state)
{
    (void)state;
    json_t *sheet = json_pack(
        "{s:o, s:{}, s:{s:s, s:s, s:s, s:b, s:s, s:[{}]}, s:[{s:i, s:s, s:s, s:i, s:s, s:s}]}",
        "rank",
        rank_of(",\"measured\":[{\"title\":\"Crumb pH\",\"said\":\"6.4\",\"value\":6.4,"
                "\"unit\":\"pH\",\"lab\":\"Northgate\",\"sample\":\"26-114\",\"method\":"
                "\"probe\",\"note\":\"<twice>\",\"at\":\"2026-11-24T12:00:00-05:00\","
                "\"evidence\":true},{\"title\":\"yeasts\",\"said\":\"<10\",\"value\":null,"
                "\"lab\":\"Northgate\",\"sample\":\"9\",\"at\":\"2026-11-25\"}]"),
        "drawn", "follow", "state", "open", "severity", "high", "due", "2026-11-23", "overdue", 1,
        "owner", "Mira", "call_backs", "attachments", "attachment", 3, "name", "<crumb>.jpg",
        "type", "image/jpeg", "bytes", 12000, "by", "Mira", "at", "2026-11-21T10:00:00-05:00");
    char *html = page_of(sheet);
    static const char *const SAID[] = {"6.4 pH",
                                       "Northgate, sample 26-114, probe",
                                       "&lt;10",
                                       "&lt;twice&gt;",
                                       "<dd>Mira</dd>",
                                       "2026-11-23, past it",
                                       "owned, not settled",
                                       "1 caller<",
                                       "&lt;crumb&gt;.jpg",
                                       "image/jpeg"};
    for (size_t i = 0; i < sizeof SAID / sizeof *SAID; i++)
        assert_says(html, SAID[i]);
    free(html);
}

/* Nothing is ranked of what callers say of other things: what was said is the page. */
static void test_other(void **state)
{
    (void)state;
    json_t *rank = rank_of("");
    json_object_set_new(rank, "symptom", json_string("other"));
    json_object_set_new(rank, "ranked", json_array());
    char *html =
        page_of(json_pack("{s:o, s:n, s:[{s:s, s:s}]}", "rank", rank, "drawn", "said",
                          "received_at", "2026-11-20T09:14:00-05:00", "note", "half <the> weight"));
    assert_says(html, "half &lt;the&gt; weight");
    assert_lacks(html, "no picture is drawn");
    assert_lacks(html, "What most likely went wrong");
    assert_lacks(html, "hypotheses");
    free(html);
}

static json_t *told_of(const char *layer, const char *name, int id)
{
    char path[256];
    json_t *told = NULL;
    snprintf(path, sizeof path, ODDLOAF_SOURCE_DIR "/tests/%s/told/%s-%d.json", layer, name, id);
    char *text = pages_read(path);
    assert_int_equal(jsonx_parse(text, strlen(text), &told, NULL), 0);
    free(text);
    return told;
}

/* What tell/ says of the cases of its own test, as one sheet each. */
static void test_cases_as_told(void **state)
{
    (void)state;
    for (int id = 1; id <= 3; id++) {
        json_t *rank = told_of("tell", "case", id), *why = told_of("tell", "why", id);
        json_t *drawn = told_of("tell", "sheet", id), *reach = told_of("tell", "reach", id);
        json_t *asks = json_incref(json_object_get(rank, "ask"));
        free(page_of(json_pack("{s:s, s:s, s:o, s:o, s:o, s:o, s:o*}", "plant", "Harrow Mill",
                               "made_at", "2026-11-30T09:00:00-05:00", "rank", rank, "why", why,
                               "drawn", drawn, "reach", reach, "asks", asks)));
    }
}

static void test_all_is_drawn_as_it_was(void **state)
{
    (void)state;
    drawn_check("sheet");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_course),
        cmocka_unit_test(test_mold),
        cmocka_unit_test(test_measured),
        cmocka_unit_test(test_near),
        cmocka_unit_test(test_strip),
        cmocka_unit_test(test_bits),
        cmocka_unit_test(test_nothing_known),
        cmocka_unit_test(test_harm),
        cmocka_unit_test(test_harm_of_the_lot_elsewhere_is_first),
        cmocka_unit_test(test_beside_harm),
        cmocka_unit_test(test_doubt),
        cmocka_unit_test(test_lots_at_risk),
        cmocka_unit_test(test_largest),
        cmocka_unit_test(test_belongs),
        cmocka_unit_test(test_history_is_folded),
        cmocka_unit_test(test_other),
        cmocka_unit_test(test_lot_on_record),
        cmocka_unit_test(test_cases_as_told),
        cmocka_unit_test(test_all_is_drawn_as_it_was),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
