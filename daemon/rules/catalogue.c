#include "rules/catalogue.h"
#include "base/hash.h"
#include "base/units.h"
#include "rules/catalogue_inside.h"
#include <stdlib.h>
#include <string.h>

struct catalogue *catalogue_ref(const struct catalogue *catalogue)
{
    struct catalogue *same = (struct catalogue *)(uintptr_t)catalogue; /* only the count changes */
    atomic_fetch_add(&same->references, 1);
    return same;
}

void catalogue_free(struct catalogue *catalogue)
{
    if (!catalogue || atomic_fetch_sub(&catalogue->references, 1) != 1)
        return;
    for (int i = 0; i < catalogue->quantity_count; i++) {
        for (struct field_word *w = catalogue->quantities[i].words; w && w->word; w++)
            free((char *)(uintptr_t)w->word);
        free(catalogue->quantities[i].words);
    }
    free(catalogue);
}

bool catalogue_is_whole(const struct catalogue *c)
{
    return c->quantity_count > 0 && c->place_count > 0;
}

/* ---- look-up ---- */

static const int16_t *slot_of(const struct catalogue *c, const char *name)
{
    size_t at = hash_text(name) % CATALOGUE_SLOTS;
    while (c->slots[at] && strcmp(c->quantities[c->slots[at] - 1].name, name) != 0)
        at = (at + 1) % CATALOGUE_SLOTS;
    return &c->slots[at];
}

bool catalogue_index_last(struct catalogue *c)
{
    const int16_t *slot = slot_of(c, c->quantities[c->quantity_count - 1].name);
    if (*slot)
        return false;
    c->slots[slot - c->slots] = (int16_t)c->quantity_count;
    return true;
}

/* -1 if unknown. */
static int quantity_index(const struct catalogue *c, const char *name)
{
    return *slot_of(c, name) - 1;
}

static int column_index(const struct catalogue *c, const char *column)
{
    for (int i = 0; i < c->column_count; i++)
        if (strcmp(c->columns[i].column, column) == 0)
            return i;
    return -1;
}

const struct catalogue_quantity *catalogue_quantity(const struct catalogue *c, const char *name)
{
    int index = quantity_index(c, name);
    return index >= 0 ? &c->quantities[index] : NULL;
}

const struct preserver *catalogue_preserver(const struct catalogue *c, const char *kind)
{
    return preserver_find(&c->preservers, kind);
}

const struct catalogue_quantity *catalogue_quantity_at(const struct catalogue *c, int index)
{
    return index >= 0 && index < c->quantity_count ? &c->quantities[index] : NULL;
}

const struct catalogue_place *catalogue_place(const struct catalogue *c, const char *place)
{
    for (int i = 0; i < c->place_count; i++)
        if (strcmp(c->places[i].place, place) == 0)
            return &c->places[i];
    return NULL;
}

const struct catalogue_column *catalogue_column(const struct catalogue *c, const char *column)
{
    int index = column_index(c, column);
    return index >= 0 ? &c->columns[index] : NULL;
}

int catalogue_places(const struct catalogue *c, const struct catalogue_place **ret)
{
    *ret = c->places;
    return c->place_count;
}

void catalogue_times(const struct catalogue *c, int64_t *ret_from_ms, int64_t *ret_to_ms)
{
    *ret_from_ms = c->from_ms;
    *ret_to_ms = c->to_ms;
}

/* ---- units ---- */

int catalogue_convert(double value, const char *unit, const char *own, double *ret,
                      struct error *err)
{
    if (!unit || strcmp(unit, own) == 0) {
        *ret = value;
        return 0;
    }
    return units_convert(value, unit, own, ret, err);
}

/* Whether `full` is the name with a unit's suffix. */
static bool is_without_suffix(const char *name, const char *full)
{
    const char *suffix;
    size_t length = strlen(name);
    return units_promised(full, &suffix) && (size_t)(suffix - full) == length &&
           strncmp(full, name, length) == 0;
}

/* Among the names that could be meant, the one whose unit converts. */
struct candidate {
    int index, meant, convert;
    struct error why; /* why the first does not, if none does */
};

static void consider(struct candidate *best, int index, const char *own, const char *unit)
{
    double ignored;
    struct error why = {0};
    best->meant++;
    if (catalogue_convert(1, unit, own, &ignored, &why)) {
        if (!best->why.code)
            best->why = why;
        return;
    }
    best->convert++;
    best->index = index;
}

static int decide(const struct candidate *best, const char *name, const char *unit,
                  struct error *err)
{
    if (best->convert == 1)
        return 0;
    if (best->convert > 1)
        return error_set(err, ERROR_INVALID, "'%s [%s]' could mean more than one quantity", name,
                         unit);
    return error_set(err, ERROR_INVALID, "%s", best->why.text);
}

int catalogue_match(const struct catalogue *c, const char *name, const char *unit,
                    const struct catalogue_quantity **ret_quantity, struct error *err)
{
    struct candidate best = {.index = -1};
    int exact = quantity_index(c, name);
    if (exact >= 0)
        consider(&best, exact, c->quantities[exact].unit, unit);
    for (int i = 0; unit && exact < 0 && i < c->quantity_count; i++)
        if (is_without_suffix(name, c->quantities[i].name))
            consider(&best, i, c->quantities[i].unit, unit);
    *ret_quantity = NULL;
    if (!best.meant)
        return 0;
    int rc = decide(&best, name, unit, err);
    if (!rc)
        *ret_quantity = &c->quantities[best.index];
    return rc;
}

int catalogue_match_column(const struct catalogue *c, const char *name, const char *unit,
                           const struct catalogue_column **ret_column, struct error *err)
{
    struct candidate best = {.index = -1};
    int exact = column_index(c, name);
    if (exact >= 0)
        consider(&best, exact, c->columns[exact].unit, unit);
    for (int i = 0; unit && exact < 0 && i < c->column_count; i++)
        if (is_without_suffix(name, c->columns[i].column))
            consider(&best, i, c->columns[i].unit, unit);
    *ret_column = NULL;
    if (!best.meant)
        return 0;
    int rc = decide(&best, name, unit, err);
    if (!rc)
        *ret_column = &c->columns[best.index];
    return rc;
}
