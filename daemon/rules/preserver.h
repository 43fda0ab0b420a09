/* Preserving ingredients (rules/preservers.json): which acids each brings, how strong it is as
 * bought, where it acts; and the names of the quantities that tell of its use. Where there is no
 * such file they are the models' own list of products. */
#ifndef ODDLOAF_RULES_PRESERVER_H
#define ODDLOAF_RULES_PRESERVER_H

#include "base/doc.h"
#include "base/length.h"
#include "models/acid.h"

enum { PRESERVER_ACIDS = 3, PRESERVER_KIND = 28, PRESERVER_TITLE = 60, PRESERVERS_MOST = 40 };

/* Whose targets and evidence it has. */
enum preserver_role { PRESERVER_INHIBITOR, PRESERVER_SOUR, PRESERVER_ROLES };
/* What is measured of it: percent of flour in the dough, percent of flour on the surface, percent
 * of active substance. */
enum preserver_measure {
    PRESERVER_DOSE,
    PRESERVER_SURFACE_DOSE,
    PRESERVER_STRENGTH,
    PRESERVER_MEASURES
};

struct preserver {
    char kind[PRESERVER_KIND + 1]; /* "calcium-propionate" */
    char title[PRESERVER_TITLE + 1];
    enum preserver_role role;
    bool on_surface;                             /* where it acts if a use does not say */
    struct acid_product brings[PRESERVER_ACIDS]; /* their names are the kind */
    int acid_count;
    double most_pct_flour; /* the largest dose that is looked at */
    bool from_memory;      /* its strengths have no published source */
};

struct preservers {
    struct preserver row[PRESERVERS_MOST];
    int count;
};

/* Those of `dir`/preservers.json; what is wrong in it are faults of `doc`. Names point into `ret`,
 * which stays where it is. */
void preserver_read_all(struct doc *doc, const char *dir, struct preservers *ret);
/* NULL if unknown. */
const struct preserver *preserver_find(const struct preservers *preservers, const char *kind);
/* The quantity that tells `measure` of a kind: "calcium_propionate_pct_flour". */
const char *preserver_quantity(const char *kind, enum preserver_measure measure,
                               char out[LENGTH_WORD + 1]);
/* Its title: "Calcium propionate dose". */
void preserver_quantity_title(const struct preserver *preserver, enum preserver_measure measure,
                              char *out, size_t size);

#endif
