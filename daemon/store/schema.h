/* Inside store/ only: the schema as numbered migrations. */
#ifndef ODDLOAF_STORE_SCHEMA_H
#define ODDLOAF_STORE_SCHEMA_H

#include "store/store.h"
#include <stddef.h>

struct migration {
    int number;      /* 1, 2, 3 …: PRAGMA user_version after it ran */
    const char *sql; /* NULL: `move` does it */
    int (*move)(struct store *store, struct error *err);
};
/* All migrations in order; *ret_count is their number. */
const struct migration *schema_migrations(size_t *ret_count);

int schema_version(void); /* of the last of them */

/* Parts of the list that have files of their own. */
extern const char SCHEMA_PATTERN_TABLES[], SCHEMA_PATTERN_VIEWS[], SCHEMA_PATTERN_SUMS[],
    SCHEMA_PATTERN_COMPLAINTS[], SCHEMA_PATTERN_LOTS[], SCHEMA_RANKING_TABLES[],
    SCHEMA_RANKING_WITHOUT_BODY[], SCHEMA_CHECKS_CASES[], SCHEMA_CHECKS_REST[],
    SCHEMA_CHECKS_COMPANY[], SCHEMA_CHECKS_CONTACT[], SCHEMA_MOVE[], SCHEMA_HARM_CASES[],
    SCHEMA_HOLD[], SCHEMA_ENTRY[], SCHEMA_ENTRY_ERASED[];
extern const char SCHEMA_CARE[], SCHEMA_RULE_SET[], SCHEMA_MATERIAL_FIRST[], SCHEMA_AGAIN[],
    SCHEMA_LIFE[], SCHEMA_COMPANY_LOTS[], SCHEMA_SIZE_RANKING[], SCHEMA_SIZE_VIEWS[],
    SCHEMA_SIZE_ENTRY[], SCHEMA_MEASURED[], SCHEMA_SINCE[], SCHEMA_NAME[], SCHEMA_ATTACHED[],
    SCHEMA_FOLLOW[], SCHEMA_MASKS[], SCHEMA_HARM_TOLD[], SCHEMA_GATHER[], SCHEMA_CAME[],
    SCHEMA_COVER[], SCHEMA_BULK[], SCHEMA_PRESERVER[], SCHEMA_NOTED[], SCHEMA_TARGET[],
    SCHEMA_SHARE[], SCHEMA_RETAILER[], SCHEMA_WORDS_ENTRY[], SCHEMA_MAIL_ONCE[], SCHEMA_FLAT[],
    SCHEMA_PLANT_TABLES[], SCHEMA_PLANT_COUNTS[], SCHEMA_PLANT_VIEWS[], SCHEMA_HOLD_PLANT[],
    SCHEMA_CLOCK[];
int schema_ranking_move(struct store *store, struct error *err);
int schema_words_move(struct store *store, struct error *err);
int schema_mail_move(struct store *store, struct error *err);
/* ERROR_INTERNAL if a row of the tables made anew names one that is not there. */
int schema_checks_rows(struct store *store, struct error *err);

/* Number of the week a time lies in (store/pattern.h) by the company's clock; `ms` is SQL. */
#define SCHEMA_WEEK_OF(ms)                                                                         \
    "(SELECT week FROM pattern_week WHERE from_ms <= " ms " ORDER BY from_ms DESC LIMIT 1)"

#define SCHEMA_APPLICATION_ID 0x6f64646c /* "oddl" */

#endif
