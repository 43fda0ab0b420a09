/* A company of invented plants and callers who misread its codes, to try the matcher on. What goes
 * wrong, and how often, is this file's own: it shares no number with the matcher's rules. */
#ifndef ODDLOAF_TESTS_LOTS_SIM_H
#define ODDLOAF_TESTS_LOTS_SIM_H

#include "lots/match.h"
#include <stdint.h>

struct sim_company {
    int plants, lines, lots_a_day; /* lines a plant, lots a line and day */
    int products, days;
    int stores_a_lot, stores; /* 0: no dispatch is recorded */
    uint64_t seed;
};
/* One bakery of three lines for half a year; a company of 40 such plants for `lots` lots. */
struct sim_company sim_bakery(uint64_t seed);
struct sim_company sim_large(long lots, uint64_t seed);

struct sim_lot {
    int64_t id; /* 0: nobody recorded it */
    int64_t packed_ms;
    int32_t day, code_day;
    int units, product;
    int plant, line, minute;
};
struct sim {
    struct sim_company company;
    struct sim_lot *lot; /* in order of packing */
    size_t count;
    uint64_t random;
};

/* Makes the lots and writes them, with products and dispatch, into `store`. */
void sim_make(struct sim *sim, const struct sim_company *company, struct store *store);
void sim_free(struct sim *sim);
void sim_code(const struct sim *sim, const struct sim_lot *lot, char out[static 40]);
/* Writes a lot rule file with this company's pattern to `path`. */
void sim_rules(const struct sim *sim, const char *path);

/* What one caller says. */
struct sim_call {
    struct lot_query query;
    const struct sim_lot *lot; /* the true one */
    bool misread;
    char text[80], product[16], store[16];
};
enum sim_callers {
    SIM_MISREAD, /* every code is misread */
    SIM_STREAM   /* as a desk gets them: most are read right, some off another pack */
};
void sim_next(struct sim *sim, enum sim_callers callers, struct sim_call *ret);

double sim_uniform(struct sim *sim); /* [0, 1) */
int sim_below(struct sim *sim, int n);

/* ---- scores ---- */
enum { SIM_BANDS = 10 };
struct sim_score {
    long calls, first, five;             /* all */
    long known, known_first, known_five; /* product or code date given */
    double said[SIM_BANDS];              /* sum of the weights of first candidates, by weight */
    long right[SIM_BANDS], in_band[SIM_BANDS];
    double none_said;
    long none;        /* the true lot was not among the candidates told */
    double log_score; /* sum of log2 of the weight given to the truth */
};
void sim_count(struct sim_score *score, const struct sim_call *call,
               const struct lot_match_result *result);
/* Mean gap between said and right, weighted by how many: expected calibration error. */
double sim_calibration_gap(const struct sim_score *score);
void sim_print(const char *title, const struct sim_score *score);

#endif
