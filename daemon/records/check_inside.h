/* Inside records/check*.c only: the row at hand and the checks of single values. */
#ifndef ODDLOAF_RECORDS_CHECK_INSIDE_H
#define ODDLOAF_RECORDS_CHECK_INSIDE_H

#include "records/check.h"

enum { CHECK_SCRATCH = 2048, CHECK_MEMO = 40 };

/* The time a column had in the row before: many rows share it. */
struct check_memo {
    char text[CHECK_MEMO];
    int64_t ms;
};

struct check {
    enum record_kind kind;
    const struct record_table *table;
    const struct catalogue *catalogue;
    check_refused refused;
    void *arg;
    struct refs *refs;
    int64_t from_ms, to_ms;
    struct check_memo memos[RECORD_COLUMNS];
    /* of the row at hand */
    const struct refs_source *source;
    const struct header *header;
    struct error *err;
    int code; /* of a system error */
    int faults;
    int64_t lot_packed_ms;
    const struct catalogue_quantity *quantity;
    struct check_row row;
    char scratch[CHECK_SCRATCH];
    size_t scratch_used;
};

/* One value on its way. */
struct check_input {
    int column; /* of the kind's table, -1 a quantity as a column */
    const struct header_column *header;
    struct check_value *value;
};

/* Tells of a fault. Always false, so that checks end with it. */
bool check_refuse(struct check *check, const struct check_input *in, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* ---- one value (not absent) to a cell; false: refused ---- */

typedef bool (*check_taker)(struct check *check, const struct check_input *in,
                            struct record_cell *out);
bool check_take_code(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_name(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_note(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_word(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_family(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_gtin(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_preserver(struct check *check, const struct check_input *in,
                          struct record_cell *out);
bool check_take_applied(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_unit(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_quantity(struct check *check, const struct check_input *in,
                         struct record_cell *out);
bool check_take_place(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_lot(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_product(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_when(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_day(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_real(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_whole(struct check *check, const struct check_input *in, struct record_cell *out);
bool check_take_value(struct check *check, const struct check_input *in, struct record_cell *out);
/* A value of a quantity, in the quantity's unit. */
bool check_take_measured(struct check *check, const struct check_input *in,
                         const struct catalogue_quantity *quantity, double *ret);

/* ---- for each other ---- */

/* A number in a text column (a lot called 4711) becomes its digits. */
bool check_as_text(struct check *check, const struct check_input *in);
bool check_has_nul(const struct check_value *value);
/* The one unit the dimension of `unit` is kept in, NULL if none. */
const char *check_base_unit(const char *unit);

#endif
