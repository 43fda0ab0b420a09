/* A plant's own rule files before those that came with the program.
 *
 * A file of the plant's stands for the shipped one of the same name; a link to /dev/null takes one
 * of causes/ or lexicon/ away (base/doc.h). `oddloaf rules copy` keeps what the shipped file was
 * beside the copy, in OWN/.shipped/NAME: so a later release that changes the shipped file can be
 * told from a plant that changed its copy. Of a company, files of one plant are named
 * "plants/PLANT/causes/rope.json" (rules/rule_files_plant.h); to them, "shipped" is what the
 * company has under the name behind the plant's. */
#ifndef ODDLOAF_RULES_RULE_FILES_H
#define ODDLOAF_RULES_RULE_FILES_H

#include "base/error.h"
#include <jansson.h>

/* Where they are installed: fixed by the build. Both, as `dirs` of the loaders. */
#define RULE_FILES_OWN ODDLOAF_CONFIG_DIR "/rules"
#define RULE_FILES_SHIPPED ODDLOAF_RULES_DIR
#define RULE_FILES_INSTALLED RULE_FILES_OWN ":" RULE_FILES_SHIPPED

/* The files of all folders of `dirs` before the last, against the last:
 *     [{"file":"causes/rope.json","folder":"/etc/oddloaf/rules","is":"changed","release":"same"}]
 * by name, and those of single plants in the last: an empty list where there is one folder, and no
 * plant's. `is`: "changed", "same", "added" (nothing shipped has its name), "removed" (a link to
 * /dev/null), "not read" (no rule file has that name), "the company's" (no plant may have it).
 * `release`, of what was shipped when the copy was made: "same", "changed", or "unknown" if that
 * was not kept. New reference. */
json_t *rule_files_own(const char *dirs);

/* Copies the shipped file NAME, "causes/rope.json", to the first folder of `dirs`, and keeps what
 * it was; one of a plant is what the company has. ERROR_CONFLICT if there is a file already,
 * ERROR_NOT_FOUND if none is shipped. */
int rule_files_copy(const char *dirs, const char *name, struct error *err);
/* Keeps the shipped file as the one that the copy goes by from now on. */
int rule_files_seen(const char *dirs, const char *name, struct error *err);

enum rule_files_which { RULE_FILES_MINE, RULE_FILES_THEN, RULE_FILES_NOW };
/* The document of the own file, of the shipped one it was copied from, or of the shipped one as it
 * is. `own`: an element of rule_files_own(). NULL if there is none that can be read. New reference.
 */
json_t *rule_files_document(const char *dirs, const json_t *own, enum rule_files_which which);

#endif
