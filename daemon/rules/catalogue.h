/* The catalogue: which quantities a plant measures (rules/quantities.json: unit, plausible range),
 * which places its log knows (rules/places.json: hygiene zone) and what it preserves with
 * (rules/preservers.json), of each of which there are quantities, too. Never changed afterwards, so
 * any thread may look things up. Shared by counted references, so that a reload does not pull it
 * from under a load that is still running. */
#ifndef ODDLOAF_RULES_CATALOGUE_H
#define ODDLOAF_RULES_CATALOGUE_H

#include "base/error.h"
#include "base/length.h"
#include "intake/fields.h"
#include "rules/preserver.h"
#include <stdbool.h>
#include <stdint.h>

enum quantity_of { QUANTITY_OF_LOT, QUANTITY_OF_PLANT };

struct catalogue_quantity {
    char name[LENGTH_WORD + 1]; /* "core_at_pack_c" */
    char title[104];            /* for people: "Core temperature at packing" */
    char unit[17];              /* the one unit it is kept in; "" of words */
    char about[204];
    double low, high; /* plausible: outside, a value is refused */
    enum quantity_of of;
    bool yes_no;                       /* only 0 and 1 */
    struct field_word *words;          /* what it may be, ended by one without; NULL: a number */
    const struct preserver *preserver; /* it tells `measure` of; NULL: of none */
    enum preserver_measure measure;
};

struct catalogue_place {
    char place[LENGTH_WORD + 1]; /* "slicer" */
    char name[104];              /* for people */
    char about[204];
    int zone; /* 1 touches the product .. 4 outside the process area */
};

/* A number of a record that is no quantity: units, flour_kg, … */
struct catalogue_column {
    char column[LENGTH_WORD + 1];
    char unit[17];
    double low, high;
};

struct catalogue;
struct doc;

/* Reads quantities.json, places.json and preservers.json of `rules_dir`. What is wrong in them are
 * faults of `doc`; what can be had of them is there all the same, for whoever checks more by it.
 * Never NULL. */
struct catalogue *catalogue_read(struct doc *doc, const char *rules_dir);
/* Whether it has quantities and places: a file that cannot be read has none. */
bool catalogue_is_whole(const struct catalogue *catalogue);
/* Another reference to the same catalogue. */
struct catalogue *catalogue_ref(const struct catalogue *catalogue);
void catalogue_free(struct catalogue *catalogue); /* drops one reference; NULL is fine */

/* NULL if unknown. */
const struct catalogue_quantity *catalogue_quantity(const struct catalogue *catalogue,
                                                    const char *name);
const struct catalogue_place *catalogue_place(const struct catalogue *catalogue, const char *place);
const struct catalogue_column *catalogue_column(const struct catalogue *catalogue,
                                                const char *column);
/* By the kind that uses name; NULL if unknown. */
const struct preserver *catalogue_preserver(const struct catalogue *catalogue, const char *kind);
/* By its name as people write it ("Crumb pH", "crumb-ph"), or by all words of its title in whatever
 * order and case, a unit in brackets aside; NULL if unknown. */
const struct catalogue_quantity *catalogue_said(const struct catalogue *catalogue,
                                                const char *name);
/* The word that a laboratory's answer begins with ("penicillium" of "Penicillium roqueforti"), NULL
 * if it is none of the quantity's. */
const char *catalogue_word(const struct catalogue_quantity *quantity, const char *said);
/* The three names nearest to one that is unknown, the nearest first, whether they are like it or
 * not; fewer where the catalogue has fewer. Those a plant measures on its lots. Returns their
 * number. */
enum { CATALOGUE_NEAREST = 3 };
int catalogue_nearest(const struct catalogue *catalogue, const char *name,
                      const char *ret[CATALOGUE_NEAREST]);
/* The same of places of the plant log. */
int catalogue_nearest_place(const struct catalogue *catalogue, const char *name,
                            const char *ret[CATALOGUE_NEAREST]);
/* In the order of the file, those of preserving ingredients behind it; NULL past the last. */
const struct catalogue_quantity *catalogue_quantity_at(const struct catalogue *catalogue,
                                                       int index);
/* The name most like one that is unknown, written a little otherwise; NULL if none is like it. */
const char *catalogue_like(const struct catalogue *catalogue, const char *name);
/* In the order of the files. */
int catalogue_places(const struct catalogue *catalogue, const struct catalogue_place **ret);
/* Dates of records lie in [from, to). */
void catalogue_times(const struct catalogue *catalogue, int64_t *ret_from_ms, int64_t *ret_to_ms);

/* The quantity that a header or field `name [unit]` means: `name` is a quantity, or a quantity
 * without its unit's suffix ("core_at_pack" with degF is core_at_pack_c). `unit` may be NULL: the
 * quantity's own. *ret_quantity is NULL, with 0 returned, if the name means no quantity at all;
 * ERROR_INVALID if the unit does not convert or several quantities could be meant. */
int catalogue_match(const struct catalogue *catalogue, const char *name, const char *unit,
                    const struct catalogue_quantity **ret_quantity, struct error *err);
/* The same for the other numbers: "flour [lb]" is flour_kg. */
int catalogue_match_column(const struct catalogue *catalogue, const char *name, const char *unit,
                           const struct catalogue_column **ret_column, struct error *err);
/* `value` given in `unit` (NULL or the same: as it is) in the unit `own`. */
int catalogue_convert(double value, const char *unit, const char *own, double *ret,
                      struct error *err);

#endif
