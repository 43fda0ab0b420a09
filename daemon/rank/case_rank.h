/* One case ranked, with everything that the views of it need: for rank/ and tell/. */
#ifndef ODDLOAF_RANK_CASE_RANK_H
#define ODDLOAF_RANK_CASE_RANK_H

#include "facts/facts.h"
#include "rank/priors.h"
#include "rank/rank.h"
#include "rank/triage.h"
#include <pthread.h>

struct triage_plant {
    char *plant;
    struct triage *triage;
};

struct triage {
    struct rules *rules;
    struct triage *company;      /* of a plant's: whose it is */
    struct triage_plant *plants; /* of a company's */
    int plant_count;
    struct models_parameters models;       /* in force: with the plant's calibration */
    struct models_parameters uncalibrated; /* as the rule files have them */
    json_t *calibration;                   /* what was adopted; NULL: nothing */
    json_t *learning;                      /* learning.h; NULL: never switched */
    const struct tz *tz;
    bool borrows; /* the rules are another's */
    struct facts_source source;
    pthread_mutex_t lock;    /* of the pointer that follows, never held for more than that */
    struct learned *learned; /* from the newest verdicts that anybody has seen; NULL: none yet */
};

/* Candidate lots below this weight change nothing that is shown. */
#define CASE_LOT_LEAST 0.01
#define CASE_LOTS 8

/* One candidate lot (or none) with its share of the mixture. */
struct case_lot {
    int64_t lot_id; /* 0: none of the candidates */
    double weight;
    bool hidden; /* of a plant that is not seen (store/seen.h): it counts, and is not told */
    struct fact_set facts;
    struct rank rank;
    double *priors; /* by cause */
};

struct case_rank {
    struct triage *triage; /* by which it is ranked: of its plant. Borrowed */
    struct case_input input;
    struct case_lot lots[CASE_LOTS + 1];
    int lot_count;
    struct rank *rank; /* of lots[0], mixed over all */
};

/* Ranks it by the rules of the input's plant. Takes the input over, also on failure. What it reads
 * is one state of the store; a caller who goes on reading brackets the whole with store_look(). */
int case_rank_make(struct triage *triage, struct store *store, struct case_input *input,
                   struct case_rank *ret, struct error *err);
int case_rank_read(struct triage *triage, struct store *store, int64_t case_id,
                   struct case_rank *ret, struct error *err);
void case_rank_clear(struct case_rank *ranked);
/* The facts shown: of the likeliest lot that is seen; of none if no candidate is. */
const struct fact_set *case_rank_facts(const struct case_rank *ranked);

/* Prior probabilities as of the case's newest complaint, by cause (verdicts given before it count,
 * where the plant learns from those nearby also the lot's). `lot` NULL: not known. Caller frees. */
int case_rank_priors(struct triage *triage, struct store *store, const struct case_input *input,
                     const struct lot_record *lot, double **ret, struct error *err);

/* Of the verdicts given in a span, of that plant's cases (NULL or "": of all), whose cases have a
 * lot and had a ranking: how many rankings were right first, made without and with what earlier
 * verdicts had confirmed nearby. */
struct case_rank_learned {
    int cases, right_without, right_with;
};
int case_rank_learned(struct triage *triage, struct store *store, struct when_span span,
                      const char *plant, struct case_rank_learned *ret, struct error *err);

/* The hash of the rules becomes another, so that all is ranked again: of the files and of what the
 * plant decided beside them. */
void triage_mark(struct triage *triage, const json_t *decided);

#endif
