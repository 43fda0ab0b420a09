/* What the terminal shows of whole answers (pages.h). */
#include "pages.h"

#include "show/calibrate_show.h"
#include "show/change_show.h"
#include "show/complaint_show.h"
#include "show/deliver_show.h"
#include "show/harm.h"
#include "show/hold.h"
#include "show/lot_show.h"
#include "show/own_rules_show.h"
#include "show/pick.h"
#include "show/returns_show.h"
#include "show/show.h"
#include "show/standing.h"
#include "show/week_show.h"

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

/* On a terminal of 80 columns. */
#define KIND(name, shows)                                                                          \
    static void page_##name(const json_t *answer, FILE *out)                                       \
    {                                                                                              \
        shows(&(struct view){.out = out, .width = 80, .utf8 = true}, answer);                      \
    }
KIND(calibration, calibrate_show)
KIND(change, change_show)
KIND(complaint, complaint_show)
KIND(deliver, deliver)
KIND(hold, holds)
KIND(lot, lot_show)
KIND(own, own_rules)
KIND(pieces, pieces)
KIND(returns, returns_show)
KIND(span, week_show_span)
KIND(tally, tally)
KIND(week, week_show)

int main(int argc, char **argv)
{
    static const struct pages_kind KINDS[] = {
        {"calibration", page_calibration},
        {"change", page_change},
        {"complaint", page_complaint},
        {"deliver", page_deliver},
        {"hold", page_hold},
        {"lot", page_lot},
        {"own", page_own},
        {"pieces", page_pieces},
        {"returns", page_returns},
        {"span", page_span},
        {"tally", page_tally},
        {"week", page_week},
    };
    static const struct pages PAGES = {ODDLOAF_SOURCE_DIR "/tests/client/show/pages", KINDS,
                                       COUNT_OF(KINDS)};
    return pages_main(&PAGES, argc, argv);
}
