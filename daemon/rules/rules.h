/* The rule set: causes with their evidence, questions, and the few numbers of the ranking.
 *
 * Loaded whole, checked whole, then immutable: any number of threads may read one handle. Facts
 * that the rules mention are numbered (`facts`); everything else refers to them by index. A model
 * fact is numbered by name and change, since each change predicts its own value. Texts that answers
 * repeat are JSON strings already (`told`): an answer has a reference to them, which any thread may
 * take and drop, and nobody writes to them. */
#ifndef ODDLOAF_RULES_RULES_H
#define ODDLOAF_RULES_RULES_H

#include "base/error.h"
#include "rules/change.h"
#include "rules/vocabulary.h"
#include <jansson.h>
#include <stddef.h>

struct rule_fact {
    struct fact_name name;
    struct change *change;    /* of a model fact; owned, NULL otherwise */
    unsigned symptoms;        /* bit 1 << symptom: whose causes or questions look at it */
    int first_use, use_count; /* of rules->uses */
    int slot; /* index among the facts of its kind of keeping: a lot's or a complaint's */
    json_t *text, *title, *unit; /* as they are told: name.text, fact_title(), or null */
};

struct rule_point {
    double x, bits;
};
struct rule_word {
    const char *word;
    double bits;
};

struct rule_guard {
    int fact; /* -1: no guard */
    const char **words;
    int word_count;
    double from, to; /* numbers; +-INFINITY if open */
};

enum evidence_how {
    EVIDENCE_TABLE, /* words */
    EVIDENCE_VALUE, /* the curves: over the value, */
    EVIDENCE_Z,     /* its robust z among the recent, */
    EVIDENCE_RATIO, /* its ratio to target */
    EVIDENCE_BITS,  /* the fact is a log likelihood ratio already: company */
    EVIDENCE_MODEL  /* likewise: log2 of a ratio of densities */
};

struct rule_evidence {
    int fact;
    enum evidence_how how;
    struct rule_point *curve;
    int point_count;
    struct rule_word *words;
    int word_count;
    double other;            /* bits of a word that is not in the table */
    double scale, low, high; /* of ready bits */
    int group;               /* index within the cause; -1 on its own */
    unsigned symptoms;       /* bit 1 << symptom */
    struct rule_guard when, unless;
    const char *because, *source, *group_name;
    json_t *because_told;
};

#define RULE_GROUPS 64 /* of one cause */

struct rule_cause {
    const char *id, *title;
    json_t *id_told, *title_told;
    char *file;
    double prior[SYMPTOMS]; /* 0: not a cause of this symptom */
    bool background, after_dispatch;
    const char *needs_dose; /* a quantity; not of a lot that is to have none, and has; NULL: none */
    struct rule_evidence *evidence;
    int evidence_count, group_count;
    const char **reach;
    int reach_count;
    struct rule_evidence reach_fact; /* curve of probabilities; fact -1 if none */
    const json_t *checks, *actions;  /* arrays or NULL; their "mind" are ids of cautions */
    const json_t *cautions;          /* ids, or texts of the plant's own */
    const json_t *caller_cautions;   /* texts of the plant's own for the desk */
    const json_t *sources;           /* array or NULL */
    json_t *document;                /* owns every borrowed text above */
};

/* Who reads a caution. */
enum rule_reader { READER_DESK, READER_LAB, READER_QA, READER_PLANT };

/* rules/cautions.json */
struct rule_caution {
    const char *id, *text;
    unsigned readers;  /* bit 1 << reader */
    unsigned symptoms; /* bit 1 << symptom: every case of it brings the caution */
    unsigned
        bags; /* bit 1 << place of a word of the field bag: every case with a pack that is so */
};

struct rule_answer {
    const char *word, *label; /* word NULL: a number */
    double value, ratio, z;   /* NAN if not given */
    double share;             /* normalised over the answers */
};
struct rule_ask {
    int fact;
    const char *ask, *of, *effort;
    unsigned symptoms;
    struct rule_guard when;
    struct rule_answer *answers;
    int answer_count;
};

/* What lots can share (reach), beside the lot itself. */
enum rule_reach {
    REACH_MIX,
    REACH_LINE_HOURS,
    REACH_INHIBITOR,
    REACH_SOFTENER,
    REACH_FILM,
    REACH_FAT,
    REACH_ACID,
    REACH_YEAST,
    REACH_FLOUR,
    REACH_CLOSURE,
    REACH_SHIFT,
    REACH_LINE_DAY,
    REACH_ROUTE,
    REACH_STORE,
    REACH_PRODUCT,
    REACH_WINDOW, /* of a place */
    REACHES
};
/* As in the rule files: "mix", "line-hours", …, "place-window". */
const char *rules_reach_name(enum rule_reach reach);
/* Of the lots that share it, those that share the fault too, until ranking.json says otherwise. */
double rules_reach_share(enum rule_reach reach);

#define RULE_DELAY_POINTS 12

/* rules/ranking.json */
struct rule_ranking {
    double reach_share[REACHES];   /* of the lots that share it, those that share the fault too */
    double pool_exponent;          /* n complaints speak n^this times as loud as their mean */
    double temper;                 /* multiplies summed bits */
    double prior_weight;           /* troubles that the shipped priors count for */
    double background_weight;      /* verdicts that the background's shipped share counts for */
    double near_share, near_days;  /* rank/nearby.h */
    double reach_days, reach_bits; /* how far from a lot at fault the records of others are asked,
                                    * and from how many bits on they tell of it */
    double cleaned_share;  /* of what a sample says, left by each cleaning between it and the lot */
    double sample_usual_z; /* robust z up to which a sample is as usual */
    double soon_share;     /* of cases of mold sooner than any grows, those of none of their lots */
    double company_most, company_rival; /* bits of an excess, see company_beside() */
    double base_per_million[SYMPTOMS];  /* usual complaints per million units */
    /* x days after packing, bits: share reported by then */
    struct rule_point delay[SYMPTOMS][RULE_DELAY_POINTS];
    int delay_count[SYMPTOMS];
    char inhibitor[32], acid[32]; /* what the plant buys under these names, for the models */
};

/* Where a fact is evidence. */
struct rule_use {
    int cause, item;
};

struct rules {
    struct rule_cause *causes; /* by id */
    int cause_count;
    struct rule_fact *facts;
    int fact_count, lot_slots, complaint_slots;
    int *kept;             /* by fact: its slot, or of one kept by complaint -1 - its slot */
    struct rule_use *uses; /* by fact, cause, item */
    struct rule_ask *asks;
    int ask_count;
    struct rule_ranking ranking;
    struct catalogue *catalogue; /* of quantities and places */
    struct vocabulary *vocabulary;
    char hash[80]; /* "sha256:…" over names and bytes of all rule files */
    json_t *asks_document;
    struct rule_caution *cautions;
    int caution_count;
    json_t *cautions_document;
};

/* Reads DIR/quantities.json and places.json (the catalogue), cautions.json, causes/NAME.json (all),
 * asks.json, ranking.json. Every fault is reported (`report` may be NULL) with file, line and
 * column; then the first is also in `err` and its code returned, and there are no rules. */
int rules_load(const char *dir, doc_report report, void *arg, struct rules **ret,
               struct error *err);
/* Where the rules of one plant of a company are read. */
struct rules_plant {
    const struct rules *company;
    const char *plant; /* as lots name it */
    const char *dirs;  /* of the company's rules: the plant's lie below them (rule_files_plant()) */
};
/* The rules of that plant: its files stand for the company's of the same names, one by one; what it
 * has none of is shared with `company`, whose JSON is not parsed again, and which need not outlive
 * them. It has the company's causes, in their order (rules_alike.h), and a hash of its own. */
int rules_load_plant(const struct rules_plant *of, doc_report report, void *arg, struct rules **ret,
                     struct error *err);
void rules_free(struct rules *rules); /* NULL is fine */
/* The quantity under which a lot has what `quantity` tells of: the plant's own inhibitor and acid
 * (ranking.json) are inhibitor_pct_flour, inhibitor_active_pct and acid_pct_flour, by whatever name
 * they come; of all others it is that name. Static, or `quantity` itself. */
const char *rules_quantity(const struct rules *rules, const char *quantity);
/* Index of a cause, -1 if unknown. */
int rules_cause(const struct rules *rules, const char *id);
/* The id of the cause that may be meant by one that is unknown; NULL: none is near. */
const char *rules_cause_near(const struct rules *rules, const char *id);
/* Index of a fact by its name as written (a model fact: the first with that name), -1. */
int rules_fact(const struct rules *rules, const char *name);
/* NULL if there is none. */
const struct rule_caution *rules_caution(const struct rules *rules, const char *id);
/* {"rules":"sha256:…","causes":[{"cause","title","symptoms":{…},"file"}]}: new reference. */
json_t *rules_list(const struct rules *rules);

/* Linear between the points, flat outside. NAN in, NAN out. */
double rules_curve(const struct rule_point *points, int count, double x);

#endif
