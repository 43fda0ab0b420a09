/* Whole pages: an answer of the daemon in pages/<view>-<what>.json, and all that the terminal shows
 * of it in pages/<view>-<what>.txt. After a change that was meant, `client_show_test_pages write`
 * writes the texts anew: read the difference. */
#include "check.h"

#include "base/jsonx.h"
#include "base/text.h"
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
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PAGES ODDLOAF_SOURCE_DIR "/tests/client/show/pages/"

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

static const struct kind {
    const char *name;
    void (*show)(const struct view *v, const json_t *answer);
} KINDS[] = {
    {"calibration", calibrate_show},
    {"change", change_show},
    {"complaint", complaint_show},
    {"deliver", deliver},
    {"hold", holds},
    {"lot", lot_show},
    {"own", own_rules},
    {"pieces", pieces},
    {"returns", returns_show},
    {"span", week_show_span},
    {"tally", tally},
    {"week", week_show},
};

static char *read_whole(const char *path)
{
    struct text_buffer text = {0};
    char chunk[4096];
    FILE *file = fopen(path, "r");
    if (!file)
        fail_msg("cannot read %s", path);
    for (size_t got; (got = fread(chunk, 1, sizeof chunk, file)) > 0;)
        text_append_bytes(&text, chunk, got);
    fclose(file);
    return text_take(&text);
}

static char *shown(const char *name)
{
    char path[512], *text = NULL;
    size_t length = 0;
    json_t *answer = NULL;
    snprintf(path, sizeof path, PAGES "%s.json", name);
    char *document = read_whole(path);
    if (jsonx_parse(document, strlen(document), &answer, NULL))
        fail_msg("%s is no JSON", path);
    struct view v = {.out = open_memstream(&text, &length), .width = 80, .utf8 = true};
    size_t k = 0;
    while (k < COUNT_OF(KINDS) && strncmp(name, KINDS[k].name, strlen(KINDS[k].name)) != 0)
        k++;
    assert_true(k < COUNT_OF(KINDS));
    KINDS[k].show(&v, answer);
    fclose(v.out);
    json_decref(answer);
    free(document);
    return text;
}

static int is_answer(const struct dirent *entry)
{
    const char *end = strrchr(entry->d_name, '.');
    return end && strcmp(end, ".json") == 0;
}

/* Calls `each` with every page's name and what is shown of it. */
static int for_all(void (*each)(const char *name, const char *path, const char *text))
{
    struct dirent **list;
    int count = scandir(PAGES, &list, is_answer, alphasort);
    for (int i = 0; i < count; i++) {
        char name[64], path[512];
        snprintf(name, sizeof name, "%.*s", (int)strcspn(list[i]->d_name, "."), list[i]->d_name);
        snprintf(path, sizeof path, PAGES "%s.txt", name);
        char *text = shown(name);
        each(name, path, text);
        free(text);
        free(list[i]);
    }
    free(list);
    return count;
}

static void compare(const char *name, const char *path, const char *text)
{
    char *expected = read_whole(path);
    if (strcmp(text, expected) != 0)
        fail_msg("%s is\n%s", name, text);
    free(expected);
}

static void write_anew(const char *name, const char *path, const char *text)
{
    FILE *file = fopen(path, "w");
    (void)name;
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static void pages_are_shown_whole(void **state)
{
    (void)state;
    assert_true(for_all(compare) >= (int)COUNT_OF(KINDS));
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(pages_are_shown_whole)};
    if (argc == 2 && strcmp(argv[1], "write") == 0)
        return for_all(write_anew) < 0;
    return cmocka_run_group_tests(tests, NULL, NULL);
}
