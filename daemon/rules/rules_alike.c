#include "rules/rules_alike.h"
#include <string.h>

/* ---- causes ---- */

static unsigned symptoms_of(const struct rule_cause *cause)
{
    unsigned symptoms = 0;
    for (int s = 0; s < SYMPTOMS; s++)
        symptoms |= cause->prior[s] > 0 ? 1u << s : 0;
    return symptoms;
}

/* What a cause is to all plants. */
static void check_what_it_is(const struct doc_place *top, const struct rule_cause *company,
                             const struct rule_cause *own)
{
    const struct {
        const char *member;
        bool same;
    } ROWS[] = {
        {"title", own->title && strcmp(own->title, company->title) == 0},
        {"symptoms", symptoms_of(own) == symptoms_of(company)},
        {"background", own->background == company->background},
        {"after_dispatch", own->after_dispatch == company->after_dispatch},
    };
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        struct doc_place place = doc_member(top, ROWS[i].member);
        if (!ROWS[i].same)
            doc_fault(&place, "'%s' must be the company's: all plants' cases are counted by it",
                      ROWS[i].member);
    }
}

static bool has_text(const json_t *list, const char *text)
{
    size_t i;
    const json_t *one;
    json_array_foreach(list, i, one) if (strcmp(json_string_value(one), text) == 0) return true;
    return false;
}

/* Texts of the company's list that the one at the place lacks. */
static void check_has_all(const struct doc_place *place, const json_t *company)
{
    size_t i;
    const json_t *one;
    json_array_foreach(company, i, one)
    {
        if (json_is_string(one) && !has_text(place->value, json_string_value(one)))
            doc_fault(place,
                      "leaves out '%s' of the company's: a plant adds cautions and takes none",
                      json_string_value(one));
    }
}

static const char *to_do(const json_t *work)
{
    const char *text = json_string_value(json_is_object(work) ? json_object_get(work, "do") : work);
    return text ? text : "";
}

/* Work of the same words touches the same hazards. */
static void check_minds(const struct doc_place *list, const json_t *company)
{
    size_t i, k;
    const json_t *own, *other;
    json_array_foreach(list->value, i, own)
    {
        struct doc_place work = doc_element(list, i);
        struct doc_place mind = doc_member(&work, "mind");
        json_array_foreach(company, k, other)
        {
            if (*to_do(own) && strcmp(to_do(own), to_do(other)) == 0)
                check_has_all(&mind, json_object_get(other, "mind"));
        }
    }
}

void rules_alike_cause(struct doc *doc, const struct rule_cause *company,
                       const struct rule_cause *own)
{
    struct doc_place top = doc_top(doc);
    struct doc_place cautions = doc_member(&top, "cautions");
    struct doc_place callers = doc_member(&top, "caller_cautions");
    struct doc_place checks = doc_member(&top, "checks"), actions = doc_member(&top, "actions");
    if (doc->fault_count)
        return; /* it may be of any shape */
    check_what_it_is(&top, company, own);
    check_has_all(&cautions, company->cautions);
    check_has_all(&callers, company->caller_cautions);
    check_minds(&checks, company->checks);
    check_minds(&actions, company->actions);
}

/* ---- preserving ingredients ---- */

static void check_kinds(struct doc *doc, const char *path, const struct catalogue *of,
                        const struct catalogue *in, const char *does)
{
    const struct catalogue_quantity *one;
    for (int i = 0; (one = catalogue_quantity_at(of, i)); i++) {
        if (!one->preserver || one->measure != PRESERVER_DOSE ||
            catalogue_preserver(in, one->preserver->kind))
            continue;
        struct error fault = {0};
        error_set(&fault, ERROR_INVALID, "%s the preserving ingredient %s", does,
                  one->preserver->kind);
        error_hint(&fault, "records are loaded by the company's list");
        error_at(&fault, path, 0, 0);
        doc_pass_on(doc, &fault);
    }
}

void rules_alike_catalogue(struct doc *doc, const char *path, const struct catalogue *company,
                           const struct catalogue *own)
{
    check_kinds(doc, path, company, own, "leaves out");
    check_kinds(doc, path, own, company, "adds");
}
