/* Pieces of answers that several commands show alike. */
#ifndef ODDLOAF_CLIENT_SHOW_SHOW_H
#define ODDLOAF_CLIENT_SHOW_SHOW_H

#include "show/view.h"
#include <jansson.h>

/* Causes with probability, bar and words, the likeliest first; those beyond `most` or below one
 * percent are summed in a last line. */
void show_ranked(const struct view *v, const json_t *ranked, size_t most);
/* The same without the names that commands take: the desk settles nothing. */
void show_ranked_desk(const struct view *v, const json_t *ranked, size_t most);
/* "Harvest White, line 2, packed 2026-11-16 14:05, best by 2026-11-27"; empty if nothing known.
 * Caller frees. */
char *show_lot_line(const json_t *lot);
/* Candidates with their weights, and what is left for none of them; nothing if there are none. */
void show_candidates(const struct view *v, const json_t *lots);
/* What a fact is, in words, and its value: "Core temperature at packing: 51.94 degC, target 38"; of
 * complaints that share something, how many and how many by chance. Caller frees. */
char *show_fact(const json_t *fact);
/* QA's list of questions: those `of` whom is given ("caller", "plant", "lab"; NULL: all), each with
 * its fact, what its answer is worth in bits, and the effort. */
void show_ask(const struct view *v, const json_t *ask, const char *title, const char *of);
/* The desk's: what is still to be asked of the caller, the most telling first, without figures. */
enum { SHOW_TITLE = 48 };
/* "Ask the caller", or whoever has the bread. */
const char *show_ask_title(const json_t *answer, char title[static SHOW_TITLE]);
void show_ask_caller(const struct view *v, const json_t *answer);
/* A list of sentences (text, or objects with "text"), each with a dash. Nothing if empty. */
void show_list(const struct view *v, const char *title, const json_t *list);

#endif
