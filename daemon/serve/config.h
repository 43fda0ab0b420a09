/* The daemon's configuration: one JSON file, every key with a default, described by one table of
 * rows (name, type, range, default, help) from which the file is checked and `--help-config` and
 * the manual page oddloafd.json(5) are printed. */
#ifndef ODDLOAF_SERVE_CONFIG_H
#define ODDLOAF_SERVE_CONFIG_H

#include "base/doc.h"
#include <stdint.h>
#include <stdio.h>

struct config;

/* `path` NULL: all defaults; else borrowed for as long as the config. Every fault is reported
 * (`report` may be NULL) with line and column, its field the key; then the first is also in `err`
 * and its code returned. */
int config_load(const char *path, doc_report report, void *arg, struct config **ret,
                struct error *err);
/* For those settings that a running daemon cannot change: `fresh` keeps the value of `in_force`,
 * which stays so until a restart. *ret_keys is a new array of the names of those that differed. */
void config_keep(struct config *fresh, const struct config *in_force, json_t **ret_keys);
void config_free(struct config *config); /* NULL is fine */

/* `key` is a JSON pointer without the first slash ("mail/from") and must be in the table. Strings
 * live as long as the config. */
const char *config_text(const struct config *config, const char *key);
int64_t config_number(const struct config *config, const char *key);
/* A list of strings (borrowed). */
const json_t *config_list(const struct config *config, const char *key);

/* A company's plants, by their place in the file, from 0. A key is one of those of "plants/NAME"
 * ("mail/to"); what a plant does not set is the company's, and CONFIG_COMPANY stands for that. */
enum { CONFIG_PLANTS = 64, CONFIG_COMPANY = -1, CONFIG_KEY = 96 };
/* Name → key → value, as it is told to parts that know no settings. Borrowed. */
const json_t *config_plants(const struct config *config);
int config_plant_count(const struct config *config); /* 0: nothing is said of plants */
/* As lots name it; NULL: there are not so many. Lives as long as the config. */
const char *config_plant_name(const struct config *config, int plant);
/* CONFIG_COMPANY if none is called so. */
int config_plant_named(const struct config *config, const char *name);
const char *config_text_of(const struct config *config, int plant, const char *key);
int64_t config_number_of(const struct config *config, int plant, const char *key);
const json_t *config_list_of(const struct config *config, int plant, const char *key);

/* Gives a fault found in a setting later (its field the key, no source yet) the file it is written
 * in, and line and column if it is. */
void config_locate(const struct config *config, struct error *fault);
/* The table, for people. */
void config_describe(FILE *out);

#endif
