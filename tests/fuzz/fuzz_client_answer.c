/* Input: a byte that says of what, a byte for the width of the terminal, then the daemon's answer.
 * Whatever it holds is shown as text: lines no wider than the terminal, no control characters. */
#include "base/jsonx.h"
#include "fuzz.h"
#include "show/calibrate_show.h"
#include "show/change_show.h"
#include "show/complaint_show.h"
#include "show/deliver_show.h"
#include "show/difference.h"
#include "show/hold.h"
#include "show/lot_show.h"
#include "show/own_rules_show.h"
#include "show/pick.h"
#include "show/returns_show.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/week_show.h"
#include <stdio.h>
#include <string.h>

static void logged(const struct view *v, const json_t *answer)
{
    deliver_show(v, json_object_get(answer, "sent"), answer);
}

static void pieces(const struct view *v, const json_t *answer)
{
    show_ranked(v, json_object_get(answer, "ranked"), 3);
    show_ask(v, json_object_get(answer, "ask"), "Ask", NULL);
    show_list(v, "Checks", json_object_get(answer, "checks"));
    standing_show(v, answer, answer);
    hold_show_lot(v, answer);
    hold_show_unrecorded(v, answer);
}

static void differences(const struct view *v, const json_t *answer)
{
    json_t *found = difference_of(json_object_get(answer, "was"), json_object_get(answer, "is"));
    difference_show(v, 2, found);
    json_decref(found);
}

static void own_rules(const struct view *v, const json_t *answer)
{
    own_rules_show(v, json_object_get(answer, "own"));
}

static void (*const SHOW[])(const struct view *v, const json_t *answer) = {
    logged,       complaint_show, lot_show,    week_show, week_show_rates, week_show_span,
    returns_show, calibrate_show, change_show, pieces,    differences,     own_rules,
};
enum { SHOW_COUNT = sizeof SHOW / sizeof SHOW[0], WIDEST = 200 };

static void check_shown(const char *shown, const struct view *v)
{
    for (const char *line = shown; *line;) {
        size_t length = strcspn(line, "\n");
        char *text = xstrndup(line, length);
        PROMISE(text_is_utf8(text, length));
        PROMISE(text_columns(text) <= v->width);
        for (size_t i = 0; i < length; i++)
            PROMISE((unsigned char)text[i] >= ' ' && text[i] != 127);
        free(text);
        line += length + (line[length] == '\n');
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    json_t *answer = NULL;
    if (size < 3 || jsonx_parse((const char *)data + 2, size - 2, &answer, NULL))
        return 0;
    char *shown = NULL;
    size_t length = 0;
    FILE *out = open_memstream(&shown, &length);
    PROMISE(out);
    struct view v = {.out = out, .width = 40 + data[1] % WIDEST, .utf8 = true};
    SHOW[(uint8_t)(data[0] - '0') % SHOW_COUNT](&v, answer);
    fclose(out);
    check_shown(shown, &v);
    free(shown);
    json_decref(answer);
    return 0;
}
