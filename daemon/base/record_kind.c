#include "base/record_kind.h"
#include <string.h>

#define COUNT(array) (int)(sizeof(array) / sizeof((array)[0]))
#define KEY (RECORD_REQUIRED | RECORD_KEY)
#define KEY_IF_GIVEN (RECORD_KEY | RECORD_BLANK)

static const struct record_column PRODUCTS[] = {
    {"product", RECORD_CODE, KEY},
    {"name", RECORD_NAME, RECORD_REQUIRED},
    {"family", RECORD_FAMILY, RECORD_REQUIRED},
    {"shelf_life_days", RECORD_WHOLE, RECORD_REQUIRED},
    {"unit_g", RECORD_REAL, RECORD_REQUIRED},
    {"gtin", RECORD_GTIN, 0},
    {"also", RECORD_NAME, 0},
};
static const struct record_column TARGETS[] = {
    {"product", RECORD_PRODUCT_REF, KEY},
    {"quantity", RECORD_QUANTITY, KEY},
    {"from", RECORD_DAY, RECORD_KEY | RECORD_FIRST},
    {"target", RECORD_VALUE, RECORD_REQUIRED},
    {"low", RECORD_VALUE, 0},
    {"high", RECORD_VALUE, 0},
};
static const struct record_column LOTS[] = {
    {"lot", RECORD_CODE, KEY},
    {"product", RECORD_PRODUCT_REF, RECORD_REQUIRED},
    {"line", RECORD_CODE, RECORD_REQUIRED},
    {"made_from", RECORD_WHEN, RECORD_REQUIRED},
    {"made_to", RECORD_WHEN, RECORD_REQUIRED},
    {"packed_from", RECORD_WHEN, RECORD_REQUIRED},
    {"packed_to", RECORD_WHEN, RECORD_REQUIRED},
    {"units", RECORD_WHOLE, RECORD_REQUIRED},
    {"code_date", RECORD_DAY, RECORD_REQUIRED},
    {"shift", RECORD_CODE, RECORD_BLANK},
    {"plant", RECORD_CODE, RECORD_BLANK},
    {"fold", RECORD_FOLD, 0},
};
static const struct record_column MIXES[] = {
    {"lot", RECORD_LOT_REF, KEY},
    {"mix", RECORD_CODE, KEY},
    {"at", RECORD_WHEN, RECORD_REQUIRED},
    {"flour_kg", RECORD_REAL, RECORD_REQUIRED},
};
static const struct record_column USES[] = {
    {"lot", RECORD_LOT_REF, KEY},       {"material", RECORD_WORD, KEY},
    {"material_lot", RECORD_CODE, KEY}, {"mix", RECORD_CODE, KEY_IF_GIVEN},
    {"amount", RECORD_REAL, 0},         {"unit", RECORD_UNIT, 0},
    {"active_pct", RECORD_REAL, 0},     {"supplier", RECORD_NAME, 0},
    {"kind", RECORD_PRESERVER, 0},      {"applied", RECORD_APPLIED, 0},
};
static const struct record_column READINGS[] = {
    {"lot", RECORD_LOT_REF, KEY},
    {"quantity", RECORD_QUANTITY, KEY},
    {"at", RECORD_WHEN, RECORD_KEY | RECORD_PACKED},
    {"mix", RECORD_CODE, KEY_IF_GIVEN},
    {"point", RECORD_CODE, KEY_IF_GIVEN},
    {"value", RECORD_VALUE, RECORD_REQUIRED},
    {"note", RECORD_NOTE, 0},
};
static const struct record_column PLANTLOG[] = {
    {"place", RECORD_PLACE, KEY},
    {"quantity", RECORD_QUANTITY, KEY},
    {"plant", RECORD_CODE, KEY_IF_GIVEN},
    {"line", RECORD_CODE, KEY_IF_GIVEN},
    {"at", RECORD_WHEN, KEY},
    {"value", RECORD_VALUE, RECORD_REQUIRED},
    {"note", RECORD_NOTE, 0},
};
static const struct record_column DISPATCH[] = {
    {"lot", RECORD_LOT_REF, KEY},
    {"route", RECORD_CODE, KEY},
    {"store", RECORD_CODE, KEY_IF_GIVEN},
    {"at", RECORD_WHEN, KEY},
    {"units", RECORD_WHOLE, RECORD_REQUIRED},
    {"transit_c", RECORD_REAL, 0},
    {"retailer", RECORD_NAME, 0},
};

static const struct record_table TABLES[RECORD_KINDS] = {
    [RECORD_PRODUCTS] = {"products", PRODUCTS, COUNT(PRODUCTS), 1},
    [RECORD_TARGETS] = {"targets", TARGETS, COUNT(TARGETS), 3},
    [RECORD_LOTS] = {"lots", LOTS, COUNT(LOTS), 1},
    [RECORD_MIXES] = {"mixes", MIXES, COUNT(MIXES), 2},
    [RECORD_USES] = {"uses", USES, COUNT(USES), 4},
    [RECORD_READINGS] = {"readings", READINGS, COUNT(READINGS), 5},
    [RECORD_PLANTLOG] = {"plantlog", PLANTLOG, COUNT(PLANTLOG), 5},
    [RECORD_DISPATCH] = {"dispatch", DISPATCH, COUNT(DISPATCH), 4},
};

const struct record_table *record_kind_table(enum record_kind kind)
{
    return &TABLES[kind];
}

bool record_kind_parse(const char *name, enum record_kind *ret)
{
    for (int kind = 0; kind < RECORD_KINDS; kind++) {
        if (strcmp(TABLES[kind].kind, name) == 0) {
            *ret = (enum record_kind)kind;
            return true;
        }
    }
    return false;
}

int record_kind_column(const struct record_table *table, const char *name)
{
    for (int i = 0; i < table->count; i++)
        if (strcmp(table->columns[i].name, name) == 0)
            return i;
    return -1;
}

bool record_kind_cell_equal(const struct record_cell *a, const struct record_cell *b)
{
    if (a->form != b->form)
        return false;
    switch (a->form) {
    case RECORD_TEXT:
        return a->length == b->length && memcmp(a->text, b->text, a->length) == 0;
    case RECORD_INTEGER:
        return a->integer == b->integer;
    case RECORD_NUMBER:
        return a->number == b->number;
    case RECORD_NOTHING:
        break;
    }
    return true;
}
