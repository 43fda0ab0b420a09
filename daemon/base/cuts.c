#include "base/cuts.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

/* Places are causes under another name: judged, they would be counted twice. */
static const struct cut CUTS[] = {
    {"line", CUT_LOT, CUT_JUDGED | CUT_USUAL | CUT_OWN, "line", "on line"},
    {"product", CUT_PRODUCT, CUT_JUDGED | CUT_USUAL, "product", "of product"},
    {"cause", CUT_CAUSE, CUT_JUDGED | CUT_USUAL, NULL, ""},
    {"place", CUT_PLACE, CUT_USUAL | CUT_OWN, NULL, "at the"},
    {"route", CUT_COMPLAINT, CUT_SENT | CUT_JUDGED | CUT_USUAL | CUT_OWN | CUT_BY_STORE, "route",
     "on route"},
    {"shift", CUT_LOT, CUT_JUDGED | CUT_USUAL | CUT_OWN, "shift", "of shift"},
    {"plant", CUT_PLANT, 0, "plant", "from plant"},
    {"store", CUT_COMPLAINT, CUT_SENT | CUT_JUDGED | CUT_MANY, "store", "at store"},
    {"channel", CUT_COMPLAINT, 0, "channel", "by"},
    {"retailer", CUT_COMPLAINT, CUT_SENT | CUT_BY_STORE, NULL, "at retailer"},
    {0}};

const struct cut *cuts_all(void)
{
    return CUTS;
}

static const struct cut *find(const char *name, size_t length)
{
    for (const struct cut *c = CUTS; c->name; c++) {
        if (strlen(c->name) == length && memcmp(c->name, name, length) == 0)
            return c;
    }
    return NULL;
}

const struct cut *cuts_find(const char *name)
{
    assert(name);
    return find(name, strlen(name));
}

bool cuts_fractional(const struct cut *cut)
{
    return cut->source == CUT_CAUSE || cut->source == CUT_PLACE;
}

bool cuts_lent_units(const struct cut *cut)
{
    return cuts_fractional(cut) || (cut->source == CUT_COMPLAINT && !(cut->flags & CUT_SENT));
}

unsigned cuts_set(unsigned flag)
{
    unsigned set = 0;
    for (const struct cut *c = CUTS; c->name; c++)
        set |= c->flags & flag ? 1u << (c - CUTS) : 0;
    return set;
}

bool cuts_in(unsigned set, const struct cut *cut)
{
    assert(cut >= CUTS && cut->name);
    return set & 1u << (cut - CUTS);
}

void cuts_list(struct text_buffer *out)
{
    for (const struct cut *c = CUTS; c->name; c++)
        text_appendf(out, "%s%s", c == CUTS ? "" : ", ", c->name);
}

static int refuse(const char *word, size_t length, struct error *err)
{
    char shown[32];
    struct text_buffer known = {0};
    cuts_list(&known);
    error_set(err, ERROR_INVALID, "must be among %s", known.data);
    text_buffer_free(&known);
    snprintf(shown, sizeof shown, "%.*s", (int)(length < 31 ? length : 31), word);
    error_field(err, "by", shown);
    return ERROR_INVALID;
}

int cuts_parse(const char *text, unsigned *ret, struct error *err)
{
    static const char BETWEEN[] = ", ";
    unsigned set = 0;
    size_t length;
    for (const char *at = text ? text : ""; *(at += strspn(at, BETWEEN)); at += length) {
        length = strcspn(at, BETWEEN);
        const struct cut *cut = find(at, length);
        if (!cut)
            return refuse(at, length, err);
        set |= 1u << (cut - CUTS);
    }
    *ret = set;
    return 0;
}
