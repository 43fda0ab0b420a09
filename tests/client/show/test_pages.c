/* What the terminal shows of whole answers (pages.h). */
#include "pages.h"

#include "show/calibrate_show.h"
#include "show/change_show.h"
#include "show/complaint_show.h"
#include "show/deliver_show.h"
#include "show/follow_show.h"
#include "show/gaps_show.h"
#include "show/harm.h"
#include "show/hold.h"
#include "show/lot_show.h"
#include "show/measured_show.h"
#include "show/own_rules_show.h"
#include "show/pick.h"
#include "show/returns_show.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/week_show.h"
#include "show/whatif_show.h"

static void deliver(const struct view *v, const json_t *answer)
{
    deliver_show(v, json_object_get(answer, "sent"), answer);
}

static void holds(const struct view *v, const json_t *answer)
{
    hold_show_unrecorded(v, answer);
    hold_show_list(v, "On hold", json_object_get(answer, "holds"));
    hold_show_lot(v, answer);
}

static void own_rules(const struct view *v, const json_t *answer)
{
    own_rules_show(v, json_object_get(answer, "own"));
}

static void pieces(const struct view *v, const json_t *answer)
{
    show_ranked(v, json_object_get(answer, "ranked"), (size_t)pick_int(answer, "most", 3));
    show_candidates(v, json_object_get(answer, "lots"));
    show_ask(v, json_object_get(answer, "ask"), "Would tell most", NULL);
    show_ask(v, json_object_get(answer, "ask"), "Of the plant", "plant");
    show_list(v, "Checks", json_object_get(answer, "checks"));
    const json_t *fact;
    size_t i;
    json_array_foreach(json_object_get(answer, "facts"), i, fact)
    {
        char *text = show_fact(fact);
        view_text(v, VIEW_PLAIN, 2, 2, text);
        free(text);
    }
}

/* Harm heard in a file of complaints: "heard" are names, with "alarm" or without. */
static void tally(const struct view *v, const json_t *answer)
{
    struct harm_tally heard = {.possible = (long)pick_int(answer, "possible", 0)};
    const json_t *one;
    size_t i;
    json_array_foreach(json_object_get(answer, "heard"), i, one)
        harm_tally_add(&heard, pick_text(one, "name", "?"), pick_text(one, "alarm", NULL));
    harm_tally_show(v, &heard);
    harm_tally_clear(&heard);
}

static void follow(const struct view *v, const json_t *answer)
{
    enum { TODAY = 20787 }; /* 2026-11-30 */
    follow_show(v, answer, TODAY);
}

static void passed(const struct view *v, const json_t *answer)
{
    const json_t *why;
    size_t i;
    hold_show_passed_on(v, answer);
    json_array_foreach(json_object_get(answer, "why"), i, why)
    {
        char out[HOLD_WHY];
        view_text(v, VIEW_PLAIN, 2, 2, hold_why_common(why, out));
    }
}

static void back(const struct view *v, const json_t *answer)
{
    harm_show_call_back(v, pick_bool(answer, "possible", false), pick_text(answer, "script", NULL));
    harm_show_unread(v);
}

/* Which words of a command say harm. */
static void words(const struct view *v, const json_t *answer)
{
    const json_t *line, *word;
    size_t i, k;
    json_array_foreach(json_object_get(answer, "lines"), i, line)
    {
        char *said[4] = {NULL};
        json_array_foreach(line, k, word) said[k] = (char *)(uintptr_t)json_string_value(word);
        view_textf(v, VIEW_PLAIN, 0, 0, "%s%s: %d", said[0], k > 1 ? " …" : "",
                   harm_in_words((int)k, said));
    }
}

/* On a terminal of 80 columns. */
#define KIND(name, shows)                                                                          \
    static void page_##name(const json_t *answer, FILE *out)                                       \
    {                                                                                              \
        shows(&(struct view){.out = out, .width = 80, .utf8 = true}, answer);                      \
    }
KIND(back, back)
KIND(calibration, calibrate_show)
KIND(calls, follow_show_call_backs)
KIND(change, change_show)
KIND(complaint, complaint_show)
KIND(deliver, deliver)
KIND(follow, follow)
KIND(gaps, gaps_show)
KIND(hold, holds)
KIND(lot, lot_show)
KIND(measured, measured_show_answer)
KIND(open, harm_show_open)
KIND(own, own_rules)
KIND(passed, passed)
KIND(pieces, pieces)
KIND(returns, returns_show)
KIND(span, week_show_span)
KIND(tally, tally)
KIND(week, week_show)
KIND(whatif, whatif_show)
KIND(words, words)

int main(int argc, char **argv)
{
    static const struct pages_kind KINDS[] = {
        {"back", page_back},         {"calls", page_calls},
        {"follow", page_follow},     {"gaps", page_gaps},
        {"measured", page_measured}, {"open", page_open},
        {"passed", page_passed},     {"whatif", page_whatif},
        {"words", page_words},       {"calibration", page_calibration},
        {"change", page_change},     {"complaint", page_complaint},
        {"deliver", page_deliver},   {"hold", page_hold},
        {"lot", page_lot},           {"own", page_own},
        {"pieces", page_pieces},     {"returns", page_returns},
        {"span", page_span},         {"tally", page_tally},
        {"week", page_week},
    };
    static const struct pages PAGES = {ODDLOAF_SOURCE_DIR "/tests/client/show/pages", KINDS,
                                       COUNT_OF(KINDS)};
    return pages_main(&PAGES, argc, argv);
}
