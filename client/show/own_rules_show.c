#include "show/own_rules_show.h"
#include "base/text.h"
#include "rules/rule_files_plant.h"
#include "show/difference.h"
#include "show/pick.h"
#include <string.h>

/* What to say of a file besides its name. */
static const struct {
    const char *is, *say;
} SAY[] = {{"changed", "changed"},
           {"same", "as it is shipped"},
           {"added", "added"},
           {"removed", "takes the shipped one away"},
           {"not read", "is not read: no rule file has that name"},
           {"the company's", "is not read: no plant has one of its own"}};

/* Is it one plant's of a company: then it stands for the company's, shipped or not. */
static bool is_plants(const json_t *file)
{
    return rule_files_plant_rest(pick_text(file, "file", ""), NULL) != NULL;
}

static const char *say(const char *is)
{
    for (size_t i = 0; i < sizeof SAY / sizeof SAY[0]; i++)
        if (strcmp(SAY[i].is, is) == 0)
            return SAY[i].say;
    return is;
}

static void show_file(const struct view *v, const json_t *file)
{
    const char *is = pick_text(file, "is", ""), *release = pick_text(file, "release", "");
    view_textf(v, VIEW_PLAIN, 2, 2, "%s/%s: %s", pick_text(file, "folder", ""),
               pick_text(file, "file", "?"), say(is));
    difference_show(v, 4, json_object_get(file, "differs"));
    if (strcmp(is, "changed") == 0 && strcmp(release, "unknown") == 0)
        view_text(v, VIEW_PLAIN, 4, 2,
                  "It is not known what it was copied from, so neither is what a release changed.");
    if (strcmp(release, "changed") != 0 || strcmp(is, "same") == 0)
        return;
    view_text(v, VIEW_PLAIN, 4, 2,
              is_plants(file) ? "The company's file, which it was copied from, has changed since:"
                              : "A release changed what it was copied from:");
    difference_show(v, 6, json_object_get(file, "released"));
}

void own_rules_show(const struct view *v, const json_t *own)
{
    size_t i;
    const json_t *file;
    int same = 0, plants = 0;
    if (!json_array_size(own))
        return;
    view_section(v, "The plant's own files");
    json_array_foreach(own, i, file)
    {
        if (strcmp(pick_text(file, "is", ""), "same") == 0 && is_plants(file))
            plants++;
        else if (strcmp(pick_text(file, "is", ""), "same") == 0)
            same++;
        else
            show_file(v, file);
    }
    if (same)
        view_textf(v, VIEW_PLAIN, 2, 2,
                   "%d %s as shipped: remove them, and what a release changes comes through.", same,
                   same == 1 ? "copy is" : "copies are");
    if (plants)
        view_textf(v, VIEW_PLAIN, 2, 2,
                   "%d single plants' %s as the company's: remove them, and what the company "
                   "changes comes through.",
                   plants, plants == 1 ? "copy is" : "copies are");
}
