/* Rule files of one plant of a company: plants/PLANT below any of the folders of the company's.
 *
 * A file there stands, at that plant, for the company's of the same name: causes/NAME.json of a
 * cause that the company has, asks.json, models.json, preservers.json, ranking.json and
 * severity.json. What is heard and loaded before a plant is known, and what must be minded, is the
 * company's alone. A plant whose name begins with a dot or has a colon in it can have no folder. */
#ifndef ODDLOAF_RULES_RULE_FILES_PLANT_H
#define ODDLOAF_RULES_RULE_FILES_PLANT_H

#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>

/* The folders of that plant that are there, as `dirs` again, replace what `out` holds; false: there
 * are none. */
bool rule_files_plant_dirs(const char *dirs, const char *plant, struct text_buffer *out);
/* Whether the plant has that file; `out` becomes its path if so. */
bool rule_files_plant_has(const char *dirs, const char *plant, const char *name,
                          struct text_buffer *out);
/* The plants that have a folder, in the order of their names' bytes. New reference. */
json_t *rule_files_plant_names(const char *dirs);
/* Of "plants/PLANT/causes/rope.json" what stands behind the plant, a part of `name`; NULL: it is no
 * plant's. *ret_plant (may be NULL): its name, the caller's. */
const char *rule_files_plant_rest(const char *name, char **ret_plant);
/* Whether a plant may have a file of that name: "causes/rope.json". */
bool rule_files_plant_may(const char *name);

#endif
