#include "lots/product_named.h"
#include "lots/said_words.h"
#include <stdio.h>
#include <string.h>

/* How well it fits; each is better than all before it. */
enum fit { FIT_NONE, FIT_BARE, FIT_PART, FIT_WHOLE, FIT_CODE };

/* Said of every product; alone they are of none. */
static const char *const PASSED[] = {
    "the", "a",   "an", "of", "our", "your", "loaf", "loaves", "bag",  "pack",  "el",     "la",
    "los", "las", "de", "un", "una", "pan",  "my",   "one",    "some", "bread", "breads", NULL};

struct naming {
    const char *said;
    struct said_words words, bare; /* bare: without those said of every product */
    enum fit best;
    char family[LENGTH_CODE + 1];
    struct product_named *found;
};

static bool is_gtin(const char *said, const char *gtin)
{
    size_t length = strspn(said, "0123456789"), of = strlen(gtin);
    return length >= 8 && !said[length] && length <= of && strcmp(gtin + of - length, said) == 0 &&
           strspn(gtin, "0") >= of - length;
}

/* Each of its other codes and names; true stops it. */
static bool each_also(const char *also, bool (*each)(void *arg, const char *name), void *arg)
{
    while (*also) {
        char name[LENGTH_NAME + 1];
        size_t length = strcspn(also, ";");
        snprintf(name, sizeof name, "%.*s", (int)length, also);
        if (each(arg, name))
            return true;
        also += length + (also[length] == ';');
    }
    return false;
}

static bool is_same(void *arg, const char *name)
{
    struct said_words words;
    said_words_take(name, NULL, &words);
    return said_words_same(arg, &words);
}

static enum fit fit_of(struct naming *n, const struct lot_find_called *row)
{
    struct said_words all;
    char text[SAID_WORDS_TEXT];
    if (strcmp(n->said, row->product) == 0)
        return FIT_CODE;
    if (is_same(&n->words, row->product) || is_same(&n->words, row->name) ||
        each_also(row->also, is_same, &n->words) || is_gtin(n->said, row->gtin))
        return FIT_WHOLE;
    snprintf(text, sizeof text, "%s %s %s %s", row->product, row->name, row->also, row->family);
    said_words_take(text, NULL, &all);
    if (!said_words_letters(&n->bare))
        return FIT_NONE;
    if (said_words_part(&n->words, &all))
        return FIT_PART;
    return said_words_part(&n->bare, &all) ? FIT_BARE : FIT_NONE;
}

static void add(struct product_named *found, const struct lot_find_called *row)
{
    for (size_t i = 0; i < found->count; i++)
        if (found->row[i].product_id == row->product_id)
            return;
    if (found->count == PRODUCT_NAMED_MOST) {
        found->more = true;
        return;
    }
    struct lot_find_product *product = &found->row[found->count++];
    *product = (struct lot_find_product){.product_id = row->product_id,
                                         .shelf_life_days = row->shelf_life_days};
    text_clip(row->product, product->product, sizeof product->product);
    text_clip(row->name, product->name, sizeof product->name);
}

static int take_best(void *arg, const struct lot_find_called *row)
{
    struct naming *n = arg;
    enum fit fit = fit_of(n, row);
    if (is_same(&n->words, row->family))
        text_clip(row->family, n->family, sizeof n->family);
    if (fit == FIT_NONE || fit < n->best)
        return 0;
    if (fit > n->best)
        *n->found = (struct product_named){.count = 0};
    n->best = fit;
    add(n->found, row);
    return 0;
}

/* ---- codes that changed ---- */

struct linking {
    struct product_named *found;
    char also[LENGTH_NAME + 1]; /* of the one that is meant */
};

static int take_also(void *arg, const struct lot_find_called *row)
{
    struct linking *l = arg;
    if (row->product_id == l->found->row[0].product_id)
        text_clip(row->also, l->also, sizeof l->also);
    return 0;
}

static int link_products(void *arg, const struct lot_find_called *row)
{
    struct linking *l = arg;
    struct said_words meant, own;
    said_words_take(l->found->row[0].product, NULL, &meant);
    said_words_take(row->product, NULL, &own);
    if (each_also(row->also, is_same, &meant) || each_also(l->also, is_same, &own))
        add(l->found, row);
    return 0;
}

/* Lots of the old code and of the new one are both of what the caller has in hand. */
static int add_linked(struct store *store, struct product_named *found, struct error *err)
{
    struct linking l = {.found = found};
    int rc = lot_find_called(store, true, take_also, &l, err);
    return rc ? rc : lot_find_called(store, !l.also[0], link_products, &l, err);
}

/* ---- the answer ---- */

static int find_any(struct store *store, const char *said, struct product_named *ret,
                    struct error *err)
{
    struct naming n = {.said = said, .found = ret};
    said_words_take(said, NULL, &n.words);
    said_words_take(said, PASSED, &n.bare);
    int rc = lot_find_called(store, false, take_best, &n, err);
    if (n.best != FIT_WHOLE)
        text_clip(n.family, ret->family, sizeof ret->family);
    return rc;
}

int product_named_find(struct store *store, const char *said, struct product_named *ret,
                       struct error *err)
{
    *ret = (struct product_named){.count = 0};
    if (!said || !*said)
        return 0;
    int rc = lot_find_product_by_code(store, said, &ret->row[0], NULL);
    ret->count = rc == 0;
    if (rc == ERROR_NOT_FOUND)
        rc = find_any(store, said, ret, err);
    else if (rc)
        return error_set(err, (enum error_code)rc, "the product could not be looked up");
    ret->several = ret->count > 1;
    if (!rc && ret->count == 1)
        rc = add_linked(store, ret, err);
    return rc;
}

int64_t product_named_one(const struct product_named *named)
{
    return named->count && !named->several ? named->row[0].product_id : 0;
}

bool product_named_fits(const struct product_named *named, int64_t product_id)
{
    for (size_t i = 0; i < named->count; i++)
        if (named->row[i].product_id == product_id)
            return true;
    return false;
}

void product_named_list(const struct product_named *named, struct text_buffer *out)
{
    for (size_t i = 0; i < named->count; i++)
        text_appendf(out, "%s%s (%s)", i ? ", " : "", named->row[i].product, named->row[i].name);
    if (named->more)
        text_append(out, " and more");
}
