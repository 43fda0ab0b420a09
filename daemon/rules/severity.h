/* rules/severity.json: how severe a case is held, by points for what is known of it, and by when
 * one of that severity is due. Immutable once loaded: any number of threads may read one handle.
 * This is the one place where severity is worked out. A company's has those of its plants with it,
 * so that whoever has it and knows a plant has the plant's. */
#ifndef ODDLOAF_RULES_SEVERITY_H
#define ODDLOAF_RULES_SEVERITY_H

#include "base/doc.h"

/* In the order of WORDS_SEVERITIES (base/words.h). */
enum severity { SEVERITY_LOW, SEVERITY_USUAL, SEVERITY_HIGH, SEVERITY_URGENT, SEVERITIES };

/* What points are given for. */
enum severity_fact {
    SEVERITY_HARM,       /* 1 reported */
    SEVERITY_MAY_HARM,   /* 1: words may mean it, and nobody has read them */
    SEVERITY_COMPLAINTS, /* of the case */
    SEVERITY_PACKS,      /* that those are about */
    SEVERITY_SURE,       /* probability of the likeliest cause, if that lies in the plant */
    SEVERITY_IN_CODE,    /* units of the lot, on the day of the newest complaint */
    SEVERITY_FACTS
};

struct severity_known {
    double value[SEVERITY_FACTS];
};
struct severity_rules;

/* Every fault is reported (`report` may be NULL); the first is in `err`, too. */
int severity_load(const char *path, doc_report report, void *arg, struct severity_rules **ret,
                  struct error *err);
/* That plant's file. Harm, reported or not read yet, is there as severe as in the company's at
 * least, and due and called back no later, or it is refused. Before the handle is shared. */
int severity_add_plant(struct severity_rules *company, const char *plant, const char *path,
                       doc_report report, void *arg, struct error *err);
/* The company's where none was added for that plant. Borrowed; NULL of NULL. */
const struct severity_rules *severity_of(const struct severity_rules *company, const char *plant);
void severity_free(struct severity_rules *rules); /* those of plants, too; NULL is fine */

/* Of the points a fact gives, 0 if the file does not name it. */
int severity_points(const struct severity_rules *rules, enum severity_fact fact, double value);
int severity_sum(const struct severity_rules *rules, const struct severity_known *known);
/* The level that so many points come to. */
enum severity severity_level(const struct severity_rules *rules, int points);

/* Days until a case of it is due, until its callers are to be called back; -1: never. */
int severity_due_days(const struct severity_rules *rules, enum severity severity);
int severity_call_back_days(const struct severity_rules *rules, enum severity severity);

/* {"points","levels":[{"severity","from","due_days","call_back_days","source"},…],
 * "working":[{"fact","title","value","points","because","source"},…]}: those that the file names.
 * New reference. */
json_t *severity_working(const struct severity_rules *rules, const struct severity_known *known);

#endif
