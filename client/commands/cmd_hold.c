#include "commands/asked.h"
#include "commands/case_path.h"
#include "show/harm.h"
#include "show/hold.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"reason", "TEXT", "why (needed)"},
    {"by", "NAME", "who decides (the login name)"},
    {"at", "TIME", "when it was decided (now)"},
    {"case", "CASE", "that it is for"},
    {"reach", "CASE", "the case's own lot and all that reach names, for that case"},
    {"at-least", "PCT", "of the others, the ones at that risk or above (all of them)"},
    {"yes", NULL, "do not ask"},
    {"plant", "NAME", "of a code on no record of a company: whose it is"},
    {"still-about", NULL, "packs are about, although it was destroyed or reworked"},
    {0}};

/* ---- what reach names ---- */

/* A lot that reach names, with its risk: shown before it is held. */
static void show_lot(const struct client *c, const json_t *lot, const char *note)
{
    char percent[VIEW_NUMBER], number[VIEW_COUNT];
    char *routes = pick_shown(lot, "routes");
    bool risk = pick_has(lot, "probability");
    view_textf(
        &c->view, VIEW_PLAIN, 2, 2, "%s  %s%s%s, best by %s%s%s%s%s%s", pick_text(lot, "lot", "?"),
        risk ? view_chance(pick_number(lot, "probability", 0), percent) : "", risk ? ", " : "",
        view_count(pick_number(lot, "units", 0), "unit", number), pick_text(lot, "code_date", "?"),
        pick_bool(lot, "in_code", true) ? "" : " (past)", *routes ? ", sent by " : "", routes,
        pick_has(lot, "came_of_it") ? ", nothing is left of it"
        : pick_has(lot, "holds")    ? ", on hold already"
                                    : "",
        note);
    free(routes);
}

/* Those at that risk or above, as codes. */
static json_t *at_risk(const json_t *reach, double least)
{
    json_t *lots = json_array();
    size_t i;
    json_t *lot;
    json_array_foreach(json_object_get(reach, "lots"), i, lot)
    {
        if (pick_number(lot, "probability", 0) >= least)
            json_array_append(lots, lot);
    }
    return lots;
}

static int confirm(struct client *c, const struct args *a, const json_t *reach, const json_t *named)
{
    size_t i;
    const json_t *lot, *own = json_object_get(reach, "own");
    if (c->json || args_has(a, "yes"))
        return EXIT_DONE;
    view_title(&c->view,
               pick_has(reach, "by") ? "%s  lots that share %s" : "%s  lots that may share %s",
               pick_text(reach, "case", "case"), pick_text(reach, "title", "its cause"));
    if (own)
        show_lot(c, own, ", the case's own lot");
    json_array_foreach(named, i, lot)
    {
        show_lot(c, lot, "");
    }
    if (!asked_can(c))
        return client_usage(c, "nobody can be asked here: --yes holds these lots");
    if (asked_yes(c, "Hold them all?"))
        return EXIT_DONE;
    view_text(&c->view, VIEW_PLAIN, 0, 0, "Nothing was recorded.");
    return EXIT_REFUSED;
}

static int say_none(const struct client *c, const json_t *reach)
{
    client_say(c,
               "reach names no lot%s%s; the case's own lot is open and is not held; nothing "
               "was recorded",
               pick_has(reach, "none_because") ? ": " : " at that risk",
               pick_text(reach, "none_because", ""));
    return EXIT_NOT_FOUND;
}

/* What most lots had is no reason to hold them all: whoever holds has to know. */
static void say_common(const struct client *c, const json_t *reach)
{
    size_t i;
    const json_t *one;
    char number[VIEW_COUNT], why[HOLD_WHY];
    json_array_foreach(json_object_get(reach, "common"), i, one)
    {
        client_say(c, "also %s in %s, %s: not held for that", pick_text(one, "shares", "?"),
                   view_count(pick_number(one, "lots", 0), "lot", number),
                   hold_why_common(one, why));
    }
}

/* Exactly those that were shown are held; the case's own lot, where it is settled, at any risk. */
static int take_reach(struct client *c, const struct args *a, double least, json_t *codes)
{
    json_t *reach = NULL;
    char number[VIEW_COUNT];
    size_t i;
    const json_t *lot;
    int rc = case_path_get_part(c, args_value(a, "reach"), "/reach", NULL, &reach);
    if (rc)
        return rc;
    if (pick_has(reach, "left_out"))
        client_say(c, "not all are held: it may be %.0f more lots, which are not named",
                   pick_number(reach, "left_out", 0));
    else if (pick_bool(reach, "more", false))
        client_say(c,
                   "not all lots that share it are named, and so not all are held: those farthest "
                   "off are more than can be looked at here");
    if (pick_has(reach, "elsewhere"))
        client_say(c,
                   "of other plants, and not held by this: %s; tell their people, or the company's",
                   view_count(pick_number(reach, "elsewhere", 0), "lot", number));
    say_common(c, reach);
    if (pick_has(reach, "by") && args_has(a, "at-least")) {
        json_decref(reach);
        return client_usage(c, "--at-least: these lots have no risk in percent, they shared what "
                               "could have carried it: leave it out");
    }
    json_t *named = at_risk(reach, least);
    bool own = pick_has(reach, "own"), others = json_array_size(named) > 0;
    rc = own || others ? confirm(c, a, reach, named) : say_none(c, reach);
    if (!rc && !others)
        client_say(c, "reach names no other lot%s%s; only the case's own is held",
                   pick_has(reach, "none_because") ? ": " : " at that risk",
                   pick_text(reach, "none_because", ""));
    if (own)
        json_array_append(codes, json_object_get(json_object_get(reach, "own"), "lot"));
    json_array_foreach(named, i, lot)
    {
        json_array_append(codes, json_object_get(lot, "lot"));
    }
    json_decref(named);
    json_decref(reach);
    return rc;
}

static int take_lots(struct client *c, const struct args *a, json_t *codes)
{
    int64_t least = 0;
    const char *said = args_value(a, "at-least");
    bool reach = args_has(a, "reach");
    if (reach ? a->count > 0 : a->count == 0)
        return client_usage(c, "name lots, or --reach and a case");
    if (said && (!reach || text_to_int64(said, &least) != 0 || least < 0 || least > 100))
        return client_usage(c, "--at-least takes a number from 0 to 100, with --reach");
    for (int i = 0; i < a->count; i++)
        json_array_append_new(codes, json_string(a->words[i]));
    return reach ? take_reach(c, a, (double)least / 100, codes) : EXIT_DONE;
}

/* ---- the hold ---- */

static void show_gone(const struct client *c, const json_t *answer)
{
    size_t i;
    const json_t *lot;
    json_array_foreach(json_object_get(answer, "gone"), i, lot)
    {
        view_textf(&c->view, VIEW_BOLD, 0, 2,
                   "Not held: %s was %s. If packs of it are still about, hold it with "
                   "--still-about.",
                   pick_text(lot, "lot", "?"), pick_text(lot, "came_of_it", "?"));
    }
}

static void show_held(const struct client *c, const json_t *answer)
{
    char *held = pick_shown(answer, "held"), *already = pick_shown(answer, "already");
    view_textf(&c->view, VIEW_PLAIN, 0, 2, "On hold: %s", held);
    if (*already)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "That hold stood already on: %s", already);
    show_gone(c, answer);
    harm_show_heard(&c->view, answer);
    hold_show_passed_on(&c->view, answer);
    hold_show_unrecorded(&c->view, answer);
    hold_show_list(&c->view, "Held for other reasons, too:", json_object_get(answer, "others"));
    view_text(&c->view, VIEW_PLAIN, 0, 0,
              "This is a record. Stop the goods themselves where they are: warehouse, trucks, "
              "stores. Whether a recall is due is for the food-safety lead and the law.");
    free(held);
    free(already);
}

static const char *case_of(const struct args *a)
{
    return args_value(a, "reach") ? args_value(a, "reach") : args_value(a, "case");
}

/* The lots that codes on no record may be are handed on: a new reference, NULL on failure. */
static int send_hold(struct client *c, const struct args *a, json_t *codes, json_t **ret_likely)
{
    char login[64];
    const char *of_case = case_of(a);
    json_t *answer = NULL;
    json_t *body = json_pack("{sO ss ss}", "lots", codes, "reason", args_value(a, "reason"), "by",
                             args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "a lot, the reason or the name is not UTF-8 text");
    if (of_case)
        json_object_set_new(body, "case", json_string(of_case));
    if (args_has(a, "at"))
        json_object_set_new(body, "at", json_string(args_value(a, "at")));
    if (args_has(a, "plant"))
        json_object_set_new(body, "plant", json_string(args_value(a, "plant")));
    if (args_has(a, "still-about"))
        json_object_set_new(body, "still_about", json_true());
    else if (args_has(a, "reach")) /* nobody named them one by one */
        json_object_set_new(body, "skip_gone", json_true());
    int rc = client_post(c, "/v1/lots/hold", body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    *ret_likely = json_incref(json_object_get(answer, "likely"));
    return client_answer(c, answer, show_held);
}

/* ---- what a code on no record may be ---- */

static void show_command(const struct client *c, const struct args *a, const char *lot)
{
    struct text_buffer line = {0};
    text_append(&line, "To hold it: oddloaf hold ");
    text_append_word(&line, lot);
    text_append(&line, " --reason ");
    text_append_word(&line, args_value(a, "reason"));
    if (case_of(a))
        text_appendf(&line, " --case %s", case_of(a));
    view_text(&c->view, VIEW_PLAIN, 2, 2, line.data);
    text_buffer_free(&line);
}

/* Each of them with whether it is held; returns those that are not, as codes. */
static json_t *show_likely(const struct client *c, const json_t *likely)
{
    char percent[VIEW_NUMBER];
    json_t *loose = json_array();
    size_t i;
    const json_t *item;
    json_array_foreach(likely, i, item)
    {
        bool held = pick_has(item, "holds");
        view_textf(&c->view, VIEW_BOLD, 0, 2, "%s may be %s, misread (%s): %s",
                   pick_text(item, "text", "?"), pick_text(item, "lot", "?"),
                   view_chance(pick_number(item, "weight", 0), percent),
                   held ? "that lot is on hold, too." : "THAT LOT IS NOT HELD.");
        if (!held)
            json_array_append(loose, json_object_get(item, "lot"));
    }
    return loose;
}

/* Nobody's goods are stopped by a guess: it is asked, or said how. */
static int offer_likely(struct client *c, const struct args *a, const json_t *likely)
{
    json_t *loose = show_likely(c, likely), *more = NULL;
    size_t i;
    const json_t *lot;
    int rc = EXIT_DONE;
    bool ask = json_array_size(loose) > 0 && asked_can(c) && !args_has(a, "yes");
    if (ask && asked_yes(c, "Hold what it may be, too?")) {
        rc = send_hold(c, a, loose, &more);
    } else {
        json_array_foreach(loose, i, lot)
        {
            show_command(c, a, json_string_value(lot));
        }
    }
    json_decref(more);
    json_decref(loose);
    return rc;
}

static int hold(struct client *c, const struct args *a)
{
    const char *reason = args_value(a, "reason");
    if (!reason || !*reason)
        return client_usage(c, "--reason is needed: a hold is kept with its reason");
    json_t *codes = json_array(), *likely = NULL;
    int rc = take_lots(c, a, codes);
    if (!rc)
        rc = send_hold(c, a, codes, &likely);
    if (!rc && !c->json)
        rc = offer_likely(c, a, likely);
    json_decref(likely);
    json_decref(codes);
    return rc;
}

const struct command cmd_hold = {
    .name = "hold",
    .args = "LOT… | --reach CASE",
    .help = "records a hold on lots, with reason and name",
    .more = "Several holds may stand on one lot, each with its reason, person and case: it is held "
            "as long as one stands. The same hold given twice is one.",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = hold,
};
