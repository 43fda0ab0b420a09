/* Input: what a caller says the lot code is, or a scanner sends. Read as GS1 data, by a plant's
 * pattern, as a printed date, and compared with a code. */
#include "base/text.h"
#include "fuzz.h"
#include "lots/code_date.h"
#include "lots/gs1.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
#include "lots/reading.h"
#include <math.h>
#include <string.h>

static const struct lot_matcher *rules(void)
{
    static struct lot_matcher *matcher; /* one for the run */
    if (!matcher)
        PROMISE(lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", NULL, NULL, &matcher, NULL) ==
                0);
    return matcher;
}

static void check_gs1(const char *text, size_t length)
{
    struct gs1 gs1;
    struct error err = {0};
    if (gs1_parse(text, length, &gs1, &err) == 0) {
        PROMISE(gs1.count >= 1 && gs1.count <= GS1_ELEMENTS);
        for (size_t i = 0; i < gs1.count; i++)
            PROMISE(gs1_get(&gs1, gs1.element[i].ai) == gs1.element[i].data);
    } else {
        PROMISE(err.code < 0);
    }
    gs1_parse_bracketed(text, &gs1, NULL);
    gs1_parse_link(text, &gs1, NULL);
    gs1_parse_any(text, &gs1, NULL);
}

static void check_understanding(const char *text)
{
    struct lot_parsed parsed;
    const int64_t received_ms = INT64_C(1795190400000); /* 2026-11-20T16:00Z */
    match_understand(rules(), text, NULL, received_ms, NULL, &parsed);
    PROMISE(strlen(parsed.text) < sizeof parsed.text && strlen(parsed.code) < sizeof parsed.code);
    PROMISE(parsed.minute >= -1 && parsed.minute < 1440);
    struct code_date_printed date;
    if (code_date_find(text, true, 20777, &date))
        PROMISE(date.from < date.to && date.to <= strlen(text));
}

static void check_reading(const char *text)
{
    struct reading reading;
    struct reading_code code, read;
    reading_defaults(&reading);
    reading_prepare("L2 6321 B0412", &code);
    reading_prepare(text, &read);
    double likelihood = reading_log_likelihood(&reading, &code, &read, false);
    PROMISE(likelihood <= 1e-9 && !isnan(likelihood));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *text = xstrndup((const char *)data, size);
    check_gs1(text, strlen(text));
    check_understanding(text);
    check_reading(text);
    free(text);
    return 0;
}
