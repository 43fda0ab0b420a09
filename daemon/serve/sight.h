/* Who somebody is: what they may do in the whole company, and what in each of its plants alone. */
#ifndef ODDLOAF_SERVE_SIGHT_H
#define ODDLOAF_SERVE_SIGHT_H

#include "serve/config.h"
#include <stdbool.h>

/* Roles as of enum role (request.h). Whoever has one in the company is of the company, and sees all
 * plants; who has none there sees those where they have one. */
struct sight {
    unsigned company;
    unsigned char plant[CONFIG_PLANTS]; /* by its place in the settings they were found by */
};

/* In the company, or anywhere. */
unsigned sight_anywhere(const struct sight *sight);
/* In that plant: those of the company as well. */
unsigned sight_at(const struct sight *sight, int plant);
/* Adds what a role's word gives: "qa" in the company, "qa@Mill" in that plant, where a person has
 * nothing but what people of a plant have: desk, qa, manager. False, and nothing is added, if it is
 * no role, or of no plant of the settings. */
bool sight_add(struct sight *sight, const struct config *config, const char *word);
void sight_join(struct sight *sight, const struct sight *other);

#endif
