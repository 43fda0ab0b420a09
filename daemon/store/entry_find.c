#include "store/entry_find.h"
#include "base/phone_key.h"
#include "base/text.h"
#include "store/db.h"
#include "store/entry_words.h"
#include "store/lot_find.h"
#include "store/seen_inside.h"
#include "store/store_inside.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_SIZE = 160, BEGINNING_LEAST = 4, BEGINNING_SHOWN = 13, NAME_WORDS = 3 };

/* ---- by name ---- */

struct ids {
    char (*uuids)[UUID_TEXT];
    int most, count;
};

/* Who sees one plant is told of its own, wherever among all they stand. */
static int ids_of(struct store *store, const char *sql, const char *word, struct ids *ids,
                  struct error *err)
{
    enum { LOOKED_AT = 1000 };
    int most = seen_all(store) ? ids->most : LOOKED_AT;
    struct db_query q = db_query(store, sql, DB(DB_TEXT(word), DB_INT(most)), err);
    if (!seen_all(store))
        db_keep(&q);
    while (db_next(&q) && ids->count < ids->most)
        if (seen_report(store, db_text(&q, 0)))
            db_copy(&q, 0, ids->uuids[ids->count++], UUID_TEXT);
    return db_end(&q, 0);
}

/* How an id may begin, in lower case. */
static bool is_beginning(const char *word, char out[static UUID_TEXT])
{
    size_t length = strlen(word);
    if (length < BEGINNING_LEAST || length >= UUID_TEXT)
        return false;
    for (size_t i = 0; i <= length; i++) {
        bool dash = i == 8 || i == 13 || i == 18 || i == 23;
        if (word[i] && (dash ? word[i] != '-' : !isxdigit((unsigned char)word[i])))
            return false;
        out[i] = (char)tolower((unsigned char)word[i]);
    }
    return true;
}

int entry_find_named(struct store *store, const char *word, char (*uuids)[UUID_TEXT], int most,
                     int *ret_count, struct error *err)
{
    static const char SQL_TICKET[] =
        "SELECT report FROM entry WHERE ticket = ?1 ORDER BY id DESC LIMIT ?2";
    /* a range: LIKE, which ignores case, would go by no index. No id has anything beyond '~' */
    static const char SQL_BEGINNING[] =
        "SELECT report FROM entry WHERE report >= ?1 AND report < ?1 || '~'"
        " ORDER BY id DESC LIMIT ?2";
    char ticket[TEXT_SIZE], id[UUID_TEXT];
    struct ids ids = {uuids, most, 0};
    bool whole = uuid_normalize(word, id);
    text_fold(word, ticket, sizeof ticket);
    int rc = whole ? 0 : ids_of(store, SQL_TICKET, ticket, &ids, err);
    if (!rc && (whole || (ids.count == 0 && is_beginning(word, id))))
        rc = ids_of(store, SQL_BEGINNING, id, &ids, err);
    *ret_count = ids.count;
    return rc;
}

static size_t common_length(const char *a, const char *b)
{
    size_t length = 0;
    while (a[length] && a[length] == b[length])
        length++;
    return length;
}

int entry_find_beginning(struct store *store, const char *report, char ret[static UUID_TEXT],
                         struct error *err)
{
    static const char SQL[] = "SELECT max(report) FROM entry WHERE report < ?1 UNION ALL"
                              " SELECT min(report) FROM entry WHERE report > ?1";
    struct db_query q = db_query(store, SQL, DB(DB_TEXT(report)), err);
    size_t most = BEGINNING_SHOWN;
    char beside[UUID_TEXT];
    while (db_next(&q)) {
        db_copy(&q, 0, beside, sizeof beside);
        size_t needed = common_length(report, beside) + 1;
        most = needed > most ? needed : most;
    }
    snprintf(ret, UUID_TEXT, "%.*s", (int)most, report);
    return db_end(&q, 0);
}

/* ---- by what it says ---- */

/* What is bound, in the order of the parameters. */
struct wanted {
    struct text_buffer match, lot_match; /* of the table of words; empty: none */
    char ticket[TEXT_SIZE], lot[TEXT_SIZE], phone[TEXT_SIZE];
    char name[NAME_WORDS][TEXT_SIZE];
    struct text_buffer rest; /* of the match: words that are kept with no contact */
    char held[NAME_WORDS][TEXT_SIZE];
    int held_count;
};

static bool is_word_byte(char c)
{
    return isalnum((unsigned char)c) || (unsigned char)c >= 0x80;
}

typedef void (*each_term)(void *arg, const char *at, size_t length);

/* False if there is none. */
static bool terms_of(const char *text, each_term each, void *arg)
{
    bool any = false;
    for (const char *at = text; *at;) {
        size_t length = strcspn(at, " \t\n");
        bool says = false;
        for (size_t i = 0; i < length; i++)
            says = says || is_word_byte(at[i]);
        if (says)
            each(arg, at, length);
        any = any || says;
        at += length + (at[length] != '\0');
    }
    return any;
}

struct match {
    const struct store *store;
    struct text_buffer *text;
    enum entry_column column;
};

static void add_to_match(void *arg, const char *at, size_t length)
{
    const struct match *m = arg;
    entry_words_term(m->store, m->text, m->column, at, length);
}

static int add_terms(const struct match *match, const char *text, const char *field,
                     struct error *err)
{
    if (terms_of(text, add_to_match, (void *)(uintptr_t)match))
        return 0;
    error_field(err, field, text);
    return error_set(err, ERROR_INVALID, "has no letter and no digit to look for");
}

/* ---- words held back ---- */

struct holding {
    struct store *store;
    struct wanted *w;
    int rc; /* what a word was not looked up for: the others need not be */
    struct error *err;
};

static bool is_kept(struct holding *h, const char *key)
{
    static const char SQL[] = "SELECT EXISTS(SELECT 1 FROM contact_key WHERE key = ?1)";
    int64_t found = 0;
    if (!h->rc)
        h->rc = db_number(h->store, SQL, DB(DB_TEXT(key)), &found, h->err);
    return found != 0;
}

/* A word that some contact has is one that its texts do not show: of a name, a mail address, or a
 * number. */
static void add_held(void *arg, const char *at, size_t length)
{
    /* as contact_key has them: a word of a name, a mail address, a number */
    struct holding *h = arg;
    char word[TEXT_SIZE], key[3][TEXT_SIZE];
    char *text = xstrndup(at, length);
    text_fold(text, word, sizeof word);
    free(text);
    snprintf(key[0], TEXT_SIZE, " %.150s", word);
    text_clip(word, key[1], TEXT_SIZE);
    bool number = phone_key(word, key[2], TEXT_SIZE);
    for (int i = 0; i < (number ? 3 : 2) && h->w->held_count < NAME_WORDS; i++) {
        if (is_kept(h, key[i])) {
            text_clip(key[i], h->w->held[h->w->held_count++], TEXT_SIZE);
            return;
        }
    }
    entry_words_term(h->store, &h->w->rest, ENTRY_COLUMNS, at, length);
}

/* A word of a name as contact_key has it. */
static void split_name(const char *name, struct wanted *w)
{
    char folded[TEXT_SIZE];
    text_fold(name, folded, sizeof folded);
    char *at = folded;
    for (int i = 0; i < NAME_WORDS && *at; i++) {
        size_t length = strcspn(at, " ");
        snprintf(w->name[i], TEXT_SIZE, " %.*s", (int)length, at);
        at += length + (at[length] == ' ');
    }
}

static int want(struct store *store, const struct entry_filter *f, struct wanted *w,
                struct error *err)
{
    int rc = 0;
    struct holding holding = {.store = store, .w = w, .err = err};
    text_append(&w->rest, "");
    text_append(&w->match, "");
    text_append(&w->lot_match, "");
    if (f->words)
        rc = add_terms(&(struct match){store, &w->match, ENTRY_COLUMNS}, f->words, "word", err);
    if (!rc && f->words && f->held) {
        terms_of(f->words, add_held, &holding);
        rc = holding.rc;
    }
    if (!rc && f->store)
        rc = add_terms(&(struct match){store, &w->match, ENTRY_STORE}, f->store, "store", err);
    if (!rc && f->lot)
        rc = add_terms(&(struct match){store, &w->lot_match, ENTRY_LOT_TEXT}, f->lot, "lot", err);
    if (f->lot)
        lot_find_fold(f->lot, w->lot, sizeof w->lot);
    if (f->ticket)
        text_fold(f->ticket, w->ticket, sizeof w->ticket);
    if (f->phone)
        text_clip(f->phone, w->phone, sizeof w->phone);
    if (f->name)
        split_name(f->name, w);
    return rc;
}

/* ?1 match, ?2 ticket, ?3 phone, ?4 ?5 ?6 words of the name, ?7 lot's match, ?8 lot, ?9 since,
 * ?10 after, ?11 limit; ?12 ?13 ?14 words held back, ?15 match of the others; ?18 plants seen.
 *
 * Sets of entries, each by itself, so that the smallest can lead; `caller`s and `held` are found by
 * contacts. Of what is not asked for a set is empty, and never made unless it is spoken of. Who
 * reported is looked up anew for each contact: made whole, it would be all who ever called. */
#define SETS                                                                                       \
    "WITH ticket(entry) AS"                                                                        \
    " (SELECT id FROM entry WHERE ticket >= ?2 AND ticket < ?2 || " DB_LAST_LETTER "),"            \
    " reported(contact, entry) AS NOT MATERIALIZED"                                                \
    " (SELECT k.id, e.id FROM contact k JOIN complaint c ON c.id = k.complaint_id"                 \
    " JOIN entry e ON e.report = CASE WHEN k.report <> '' THEN k.report ELSE c.uuid END),"         \
    " phone(contact) AS"                                                                           \
    " (SELECT contact_id FROM contact_key WHERE key >= ?3 AND key < ?3 || ':' UNION"               \
    " SELECT contact_id FROM contact_key WHERE key IN"                                             \
    " (substr(?3, 1, 6), substr(?3, 1, 7), substr(?3, 1, 8), substr(?3, 1, 9))),"                  \
    " name_1(contact) AS"                                                                          \
    " (SELECT contact_id FROM contact_key WHERE key >= ?4 AND key < ?4 || " DB_LAST_LETTER "),"    \
    " name_2(contact) AS"                                                                          \
    " (SELECT contact_id FROM contact_key WHERE key >= ?5 AND key < ?5 || " DB_LAST_LETTER "),"    \
    " name_3(contact) AS"                                                                          \
    " (SELECT contact_id FROM contact_key WHERE key >= ?6 AND key < ?6 || " DB_LAST_LETTER "),"    \
    " caller(entry) AS"                                                                            \
    " (SELECT entry FROM reported WHERE"                                                           \
    " contact IN (SELECT contact FROM phone UNION SELECT contact FROM name_1)"                     \
    " AND (?3 IS NULL OR contact IN (SELECT contact FROM phone))"                                  \
    " AND (?4 IS NULL OR contact IN (SELECT contact FROM name_1))"                                 \
    " AND (?5 IS NULL OR contact IN (SELECT contact FROM name_2))"                                 \
    " AND (?6 IS NULL OR contact IN (SELECT contact FROM name_3))),"                               \
    " in_lot(entry) AS"                                                                            \
    " (SELECT rowid FROM entry_words WHERE entry_words MATCH (coalesce(?7, '\"\"')) UNION"         \
    " SELECT e.id FROM lot l JOIN complaint c ON c.lot_id = l.id"                                  \
    " JOIN entry e ON e.report = c.uuid WHERE l.fold = ?8),"                                       \
    " said(entry) AS"                                                                              \
    " (SELECT rowid FROM entry_words WHERE entry_words MATCH (coalesce(?1, '\"\"'))),"             \
    " said_beside(entry) AS"                                                                       \
    " (SELECT rowid FROM entry_words WHERE entry_words MATCH (coalesce(?15, '\"\"'))),"            \
    " held_2(contact) AS (SELECT contact_id FROM contact_key WHERE key = ?13),"                    \
    " held_3(contact) AS (SELECT contact_id FROM contact_key WHERE key = ?14),"                    \
    " held(entry) AS"                                                                              \
    " (SELECT entry FROM reported WHERE"                                                           \
    " contact IN (SELECT contact_id FROM contact_key WHERE key = ?12)"                             \
    " AND (?13 IS NULL OR contact IN (SELECT contact FROM held_2))"                                \
    " AND (?14 IS NULL OR contact IN (SELECT contact FROM held_3))"                                \
    " AND (?15 IS NULL OR entry IN (SELECT entry FROM said_beside))),"                             \
    " led(entry) AS"                                                                               \
    " (SELECT entry FROM ticket UNION SELECT entry FROM caller UNION SELECT entry FROM in_lot),"   \
    " worded(entry) AS (SELECT entry FROM said UNION SELECT entry FROM held)"                      \
    " SELECT e.id, c.id, c.case_id, coalesce(j.received_ms, c.received_ms), e.report, c.uuid,"     \
    " coalesce(j.body, c.body), c.withdrawn_ms IS NOT NULL FROM "
#define REPORT                                                                                     \
    " LEFT JOIN joined j ON j.uuid = e.report JOIN complaint c ON c.id ="                          \
    " coalesce(j.complaint_id, (SELECT x.id FROM complaint x WHERE x.uuid = e.report)) WHERE "
#define FITS                                                                                       \
    " AND (?2 IS NULL OR e.id IN (SELECT entry FROM ticket))"                                      \
    " AND (coalesce(?3, ?4) IS NULL OR e.id IN (SELECT entry FROM caller))"                        \
    " AND (?8 IS NULL OR e.id IN (SELECT entry FROM in_lot))"                                      \
    " AND (?9 IS NULL OR coalesce(j.received_ms, c.received_ms) >= ?9)"                            \
    " AND (?10 IS NULL OR e.id < ?10)"                                                             \
    " AND (?16 IS NULL AND ?17 IS NULL OR EXISTS(SELECT 1 FROM product p WHERE (p.family = ?17"    \
    " OR instr(?16, ',' || p.id || ',') > 0) AND (p.id = (SELECT l.product_id FROM lot l WHERE"    \
    " l.id = c.lot_id) OR c.lot_id IS NULL AND coalesce(j.body, c.body) LIKE '%\"product\":\"' ||" \
    " p.product || '\"%'))) AND " SEEN_IN("?18", "c.plant") " "
#define LAST_FIRST(id) "ORDER BY " id " DESC LIMIT ?11"

/* A statement each, for no planner can know that a caller is one among a million while the words
 * are in every tenth note. What leads: the few that a caller, a ticket or a lot has; else the
 * words, which come by number; else all, from the last. */
static const char *sql_of(const struct wanted *w)
{
    static const char SQL_FEW[] =
        SETS "entry e" REPORT "e.id IN (SELECT entry FROM led)"
             " AND (?1 IS NULL OR e.id IN (SELECT entry FROM worded))" FITS LAST_FIRST("e.id");
    static const char SQL_WORDS[] =
        SETS "entry_words CROSS JOIN entry e ON e.id = entry_words.rowid" REPORT
             "entry_words MATCH (?1)" FITS LAST_FIRST("entry_words.rowid");
    static const char SQL_HELD[] =
        SETS "entry e" REPORT "e.id IN (SELECT entry FROM worded)" FITS LAST_FIRST("e.id");
    static const char SQL_ALL[] = SETS "entry e" REPORT "?1 IS NULL" FITS LAST_FIRST("e.id");
    if (w->ticket[0] || w->phone[0] || w->name[0][0] || w->lot[0])
        return SQL_FEW;
    if (w->held_count)
        return SQL_HELD;
    return w->match.length ? SQL_WORDS : SQL_ALL;
}

static int each_found(struct db_query *q, entry_each_found each, void *arg)
{
    int rc = 0;
    db_keep(q); /* callbacks ask for contacts and lots */
    while (!rc && db_next(q)) {
        const struct entry_found row = {.entry = db_int64(q, 0),
                                        .complaint_id = db_int64(q, 1),
                                        .case_id = db_int64(q, 2),
                                        .received_ms = db_ms(q, 3),
                                        .report = db_text(q, 4),
                                        .complaint = db_text(q, 5),
                                        .body = db_text(q, 6),
                                        .withdrawn = db_int(q, 7) != 0};
        rc = each(arg, &row);
    }
    return db_end(q, rc);
}

int entry_find(struct store *store, const struct entry_filter *f, entry_each_found each, void *arg,
               struct error *err)
{
    struct wanted w = {.ticket = ""};
    int rc = store_pay(store, err); /* words that are not in yet */
    if (!rc)
        rc = want(store, f, &w, err);
    if (!rc) {
        struct db_query q = db_query(
            store, sql_of(&w),
            DB(DB_SAID(w.match.data), DB_SAID(w.ticket), DB_SAID(w.phone), DB_SAID(w.name[0]),
               DB_SAID(w.name[1]), DB_SAID(w.name[2]), DB_SAID(w.lot_match.data), DB_SAID(w.lot),
               DB_MS(f->since_ms), DB_ID(f->after), DB_INT(f->limit), DB_SAID(w.held[0]),
               DB_SAID(w.held[1]), DB_SAID(w.held[2]), DB_SAID(w.rest.data), DB_SAID(f->products),
               DB_SAID(f->family), DB_TEXT(seen_list(store))),
            err);
        rc = each_found(&q, each, arg);
    }
    text_buffer_free(&w.match);
    text_buffer_free(&w.lot_match);
    text_buffer_free(&w.rest);
    return rc;
}
