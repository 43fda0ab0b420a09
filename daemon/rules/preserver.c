#include "rules/preserver.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct {
    const char *suffix, *title; /* %s: of the ingredient */
} MEASURES[PRESERVER_MEASURES] = {
    [PRESERVER_DOSE] = {"_pct_flour", "%s dose"},
    [PRESERVER_SURFACE_DOSE] = {"_surface_pct_flour", "%s dose, on the surface"},
    [PRESERVER_STRENGTH] = {"_active_pct", "%s: active share"},
};

const char *preserver_quantity(const char *kind, enum preserver_measure measure,
                               char out[LENGTH_WORD + 1])
{
    snprintf(out, LENGTH_WORD + 1, "%.*s%s", PRESERVER_KIND, kind, MEASURES[measure].suffix);
    for (char *p = out; *p; p++)
        *p = *p == '-' ? '_' : *p;
    return out;
}

void preserver_quantity_title(const struct preserver *preserver, enum preserver_measure measure,
                              char *out, size_t size)
{
    const char *format = MEASURES[measure].title;
    snprintf(out, size, "%s%s", preserver->title, format + strlen("%s"));
}

const struct preserver *preserver_find(const struct preservers *preservers, const char *kind)
{
    for (int i = 0; i < preservers->count; i++)
        if (strcmp(preservers->row[i].kind, kind) == 0)
            return &preservers->row[i];
    return NULL;
}

/* ---- reading ---- */

struct bringing {
    int acid;
    double g_per_g, moles, salt_g_mol; /* NAN: not given */
};

static void read_acid(const struct doc_place *place, void *part)
{
    static const char *const ACIDS[] = {[ACID_PROPIONIC] = "propionic",
                                        [ACID_ACETIC] = "acetic",
                                        [ACID_SORBIC] = "sorbic",
                                        [ACID_BENZOIC] = "benzoic",
                                        [ACID_LACTIC] = "lactic",
                                        [ACID_TARTARIC] = "tartaric",
                                        [ACID_KINDS] = NULL};
    static const struct doc_row ROWS[] = {
        {"acid", DOC_WORD, DOC_AT(struct bringing, acid), .words = ACIDS, .required = true},
        {"g_per_g", DOC_NUMBER, DOC_AT(struct bringing, g_per_g), .low = 1e-6, .high = 2},
        {"moles", DOC_NUMBER, DOC_AT(struct bringing, moles), .low = 1e-6, .high = 4},
        {"salt_g_mol", DOC_NUMBER, DOC_AT(struct bringing, salt_g_mol), .low = 1, .high = 1000},
        {0}};
    struct preserver *preserver = part;
    struct bringing brings = {.g_per_g = NAN, .moles = NAN, .salt_g_mol = NAN};
    if (!doc_read(place, ROWS, &brings) || preserver->acid_count == PRESERVER_ACIDS)
        return;
    double of_salt =
        brings.moles * acid_constants((enum acid_kind)brings.acid)->molar_g_mol / brings.salt_g_mol;
    if (isnan(of_salt) == isnan(brings.g_per_g))
        doc_fault(place, "must have g_per_g, or moles and salt_g_mol");
    preserver->brings[preserver->acid_count++] =
        (struct acid_product){.kind = (enum acid_kind)brings.acid,
                              .acid_g_per_g = isnan(of_salt) ? brings.g_per_g : of_salt};
}

struct strengths {
    double pct[3];
    size_t count;
};

static void read_strength(const struct doc_place *place, void *part)
{
    static const struct doc_row PCT = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = 1e-3, .high = 100};
    struct strengths *strengths = part;
    double ignored = 0;
    doc_value(place, &PCT, strengths->count < 3 ? &strengths->pct[strengths->count++] : &ignored);
}

/* One row of the file. */
struct reading {
    struct preserver preserver;
    struct strengths strengths;
    int acts, mark;
};

/* How sure its figures are: read in the source, computed, inferred, from memory. */
enum mark { MARK_READ, MARK_COMPUTED, MARK_INFERRED, MARK_MEMORY, MARKS };

static void read_strengths(const struct doc_place *place, void *part)
{
    static const struct doc_row LIST = {
        .kind = DOC_LIST, .low = 3, .high = 3, .each = read_strength};
    doc_value(place, &LIST, part);
}

static void read_acids(const struct doc_place *place, void *part)
{
    static const struct doc_row LIST = {
        .kind = DOC_LIST, .low = 1, .high = PRESERVER_ACIDS, .each = read_acid};
    doc_value(place, &LIST, part);
}

static bool is_word(const char *kind)
{
    return islower((unsigned char)*kind) &&
           strspn(kind, "abcdefghijklmnopqrstuvwxyz0123456789-") == strlen(kind);
}

static void put(struct preservers *all, const struct preserver *read, const double strength_pct[3])
{
    struct preserver *kept = &all->row[all->count++];
    *kept = *read;
    for (int i = 0; i < kept->acid_count; i++) {
        kept->brings[i].name = kept->kind;
        kept->brings[i].low_active_pct = strength_pct[0];
        kept->brings[i].usual_active_pct = strength_pct[1];
        kept->brings[i].high_active_pct = strength_pct[2];
    }
}

static void read_preserver(const struct doc_place *place, void *part)
{
    static const char *const ROLES[] = {
        [PRESERVER_INHIBITOR] = "inhibitor", [PRESERVER_SOUR] = "acid", [PRESERVER_ROLES] = NULL};
    static const char *const ACTS[] = {"dough", "surface", NULL};
    static const char *const MARK_WORDS[] = {[MARK_READ] = "R",
                                             [MARK_COMPUTED] = "C",
                                             [MARK_INFERRED] = "I",
                                             [MARK_MEMORY] = "M",
                                             [MARKS] = NULL};
    static const struct doc_row ROWS[] = {
        {"kind", DOC_CHARS, DOC_AT(struct reading, preserver.kind), .required = true},
        {"title", DOC_CHARS, DOC_AT(struct reading, preserver.title), .required = true},
        {"role", DOC_WORD, DOC_AT(struct reading, preserver.role), .words = ROLES,
         .required = true},
        {"acts", DOC_WORD, DOC_AT(struct reading, acts), .words = ACTS, .required = true},
        {"acids", DOC_OTHER, DOC_AT(struct reading, preserver), .each = read_acids,
         .required = true},
        {"strength_pct", DOC_OTHER, DOC_AT(struct reading, strengths), .each = read_strengths,
         .required = true},
        {"most_pct_flour", DOC_NUMBER, DOC_AT(struct reading, preserver.most_pct_flour),
         .low = 1e-3, .high = 30, .required = true},
        {"mark", DOC_WORD, DOC_AT(struct reading, mark), .words = MARK_WORDS, .required = true},
        {.name = "source", .required = true},
        {0}};
    struct preservers *all = part;
    struct reading read = {0};
    const double *pct = read.strengths.pct;
    struct doc_place kind = doc_member(place, "kind"), range = doc_member(place, "strength_pct");
    if (!doc_read(place, ROWS, &read) || all->count == PRESERVERS_MOST)
        return;
    read.preserver.on_surface = read.acts == 1;
    read.preserver.from_memory = read.mark == MARK_MEMORY;
    if (!is_word(read.preserver.kind))
        doc_fault(&kind, "must be lower-case letters, digits and '-', a letter first");
    else if (preserver_find(all, read.preserver.kind))
        doc_fault(&kind, "is there twice");
    else if (!(pct[0] <= pct[1] && pct[1] <= pct[2]))
        doc_fault(&range, "must be low, usual and high, none below the one before");
    else
        put(all, &read.preserver, pct);
}

/* The models' own products, none of them said to be sprayed. */
static void take_built_in(struct preservers *ret)
{
    const struct acid_product *product;
    for (size_t i = 0; (product = acid_product_at(i)) && ret->count < PRESERVERS_MOST; i++) {
        struct preserver one = {.brings = {*product}, .acid_count = 1, .most_pct_flour = 1};
        snprintf(one.kind, sizeof one.kind, "%s", product->name);
        snprintf(one.title, sizeof one.title, "%s", product->name);
        one.title[0] = (char)toupper((unsigned char)one.title[0]);
        bool sour = product->kind == ACID_ACETIC || product->kind == ACID_LACTIC;
        one.role = sour ? PRESERVER_SOUR : PRESERVER_INHIBITOR;
        put(ret, &one,
            (const double[]){product->low_active_pct, product->usual_active_pct,
                             product->high_active_pct});
    }
}

void preserver_read_all(struct doc *doc, const char *dir, struct preservers *ret)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "note"},
                                          {"preservers", DOC_LIST, .low = 1,
                                           .high = PRESERVERS_MOST, .each = read_preserver,
                                           .required = true},
                                          {0}};
    struct text_buffer path = {0};
    doc_path(dir, "preservers.json", &path);
    int rc = doc_open(doc, path.data, true);
    if (rc == 0) {
        struct doc_place top = doc_top(doc);
        doc_read(&top, ROWS, ret);
    } else if (rc == ERROR_NOT_FOUND) {
        take_built_in(ret);
    }
    doc_close(doc);
    text_buffer_free(&path);
}
