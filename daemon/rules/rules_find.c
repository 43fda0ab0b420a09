/* Looking things up in a rule set. */
#include "base/near.h"
#include "base/text.h"
#include "rules/catalogue.h"
#include "rules/rules.h"
#include <math.h>
#include <string.h>

double rules_curve(const struct rule_point *points, int count, double x)
{
    if (isnan(x) || count == 0)
        return NAN;
    if (x <= points[0].x)
        return points[0].bits;
    for (int i = 1; i < count; i++)
        if (x <= points[i].x) {
            double t = (x - points[i - 1].x) / (points[i].x - points[i - 1].x);
            return points[i - 1].bits + t * (points[i].bits - points[i - 1].bits);
        }
    return points[count - 1].bits;
}

const char *rules_quantity(const struct rules *rules, const char *quantity)
{
    const struct catalogue_quantity *known = catalogue_quantity(rules->catalogue, quantity);
    const char *kind = known && known->preserver ? known->preserver->kind : "";
    if (*kind && strcmp(kind, rules->ranking.inhibitor) == 0 &&
        known->measure != PRESERVER_SURFACE_DOSE)
        return known->measure == PRESERVER_DOSE ? "inhibitor_pct_flour" : "inhibitor_active_pct";
    if (*kind && strcmp(kind, rules->ranking.acid) == 0 && known->measure == PRESERVER_DOSE)
        return "acid_pct_flour";
    return quantity;
}

int rules_cause(const struct rules *rules, const char *id)
{
    for (int i = 0; i < rules->cause_count; i++)
        if (rules->causes[i].id && strcmp(rules->causes[i].id, id) == 0)
            return i;
    return -1;
}

const char *rules_cause_near(const struct rules *rules, const char *id)
{
    char said[NEAR_BYTES];
    text_fold(id, said, sizeof said);
    for (char *p = said; *p; p++)
        *p = *p == '_' || *p == ' ' ? '-' : *p;
    struct near near = near_to(said);
    for (int i = 0; i < rules->cause_count; i++)
        if (rules->causes[i].id)
            near_try(&near, rules->causes[i].id);
    return near.word;
}

const struct rule_caution *rules_caution(const struct rules *rules, const char *id)
{
    for (int i = 0; i < rules->caution_count; i++)
        if (rules->cautions[i].id && strcmp(rules->cautions[i].id, id) == 0)
            return &rules->cautions[i];
    return NULL;
}

int rules_fact(const struct rules *rules, const char *name)
{
    for (int i = 0; i < rules->fact_count; i++)
        if (strcmp(rules->facts[i].name.text, name) == 0)
            return i;
    return -1;
}

/* Shares from memory, until a rule file says otherwise. */
static const struct {
    const char *name;
    double share;
} REACH[REACHES] = {
    [REACH_MIX] = {"mix", 0.9},
    [REACH_LINE_HOURS] = {"line-hours", 0.6},
    [REACH_INHIBITOR] = {"inhibitor-lot", 0.5},
    [REACH_SOFTENER] = {"softener-lot", 0.5},
    [REACH_FILM] = {"film-lot", 0.5},
    [REACH_FAT] = {"fat-lot", 0.5},
    [REACH_ACID] = {"acid-lot", 0.5},
    [REACH_YEAST] = {"yeast-lot", 0.4},
    [REACH_FLOUR] = {"flour-lot", 0.4},
    [REACH_CLOSURE] = {"closure-lot", 0.4},
    [REACH_SHIFT] = {"shift", 0.3},
    [REACH_LINE_DAY] = {"line-day", 0.25},
    [REACH_ROUTE] = {"route", 0.4},
    [REACH_STORE] = {"store", 0.5},
    [REACH_PRODUCT] = {"product", 0.1},
    [REACH_WINDOW] = {"place-window", 0.7},
};

const char *rules_reach_name(enum rule_reach reach)
{
    return REACH[reach].name;
}

double rules_reach_share(enum rule_reach reach)
{
    return REACH[reach].share;
}
