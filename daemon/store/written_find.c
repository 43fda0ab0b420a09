#include "store/written_find.h"
#include "base/text.h"
#include "store/db.h"
#include "store/hold_inside.h"
#include "store/lot_find.h"
#include "store/seen_inside.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_TEXT = 512, LEAST_CODE = 3 };

/* ---- words ---- */

static bool is_word_byte(char c)
{
    return isalnum((unsigned char)c) || (unsigned char)c >= 0x80;
}

/* `word` stands in `text`, both folded: whole, or as how one begins. */
static bool has_word(const char *text, const char *word, size_t length, bool begins)
{
    for (const char *at = strstr(text, word); at; at = strstr(at + 1, word))
        if ((at == text || !is_word_byte(at[-1])) && (begins || !is_word_byte(at[length])))
            return true;
    return false;
}

static bool has_words(const char *text, const char *words)
{
    size_t size = strlen(text) * 2 + 1; /* ß is ss */
    char *folded = text_fold(text, xmalloc(size), size), wanted[WORDS_TEXT], *rest = NULL;
    bool all = true;
    text_fold(words, wanted, sizeof wanted);
    for (char *word = strtok_r(wanted, " ", &rest); word && all;
         word = strtok_r(NULL, " ", &rest)) {
        size_t length = strlen(word);
        bool begins = length > 1 && word[length - 1] == '*';
        word[length - begins] = '\0';
        all = has_word(folded, word, length - begins, begins);
    }
    free(folded);
    return all;
}

/* ---- what is looked through ---- */

/* ?1 how a folded code begins, ?2 since, ?3 products, ?4 family, ?5 plants that are seen. Of each:
 * id, when, case, lot, complaint, by, what it says; what is looked for stands in the last two. */
#define OF_PRODUCT                                                                                 \
    " AND (?3 IS NULL AND ?4 IS NULL OR l.product_id IN (SELECT id FROM product WHERE family = ?4" \
    " OR instr(?3, ',' || id || ',') > 0)) "
#define SINCE(column, plant)                                                                       \
    "(?2 IS NULL OR " column " >= ?2)" OF_PRODUCT "AND " SEEN_IN("?5", plant) " "
#define OF_LOT "coalesce(l.plant, '')"

static const char SQL_LOT[] =
    "SELECT l.id, l.packed_from_ms, 0, l.lot, '', '', p.product || coalesce(', ' || p.name, '') ||"
    " ', line ' || l.line FROM lot l JOIN product p ON p.id = l.product_id WHERE l.fold >= ?1"
    " AND l.fold < ?1 || " DB_LAST_LETTER
    " AND " SINCE("l.packed_from_ms", OF_LOT) "ORDER BY l.fold LIMIT 1000";
static const char SQL_CASE[] =
    "SELECT k.id, k.as_of_ms, k.id, coalesce(l.lot, ''), '', coalesce(f.owner, ''), k.symptom"
    " FROM complaint_case k LEFT JOIN case_follow f ON f.case_id = k.id LEFT JOIN lot l ON l.id ="
    " k.lot_id WHERE k.complaints > 0 AND " SINCE("k.as_of_ms", "k.plant") "ORDER BY k.id DESC";
static const char SQL_NOTE[] = "SELECT e.id, e.at_ms, e.case_id, coalesce(l.lot, ''), '', "
                               "e.by_name, e.text FROM follow_entry e"
                               " JOIN complaint_case k ON k.id = e.case_id LEFT JOIN lot l ON l.id "
                               "= k.lot_id WHERE e.text <> ''"
                               " AND " SINCE("e.at_ms", "k.plant") "ORDER BY e.id DESC";
static const char SQL_RESULT[] =
    "SELECT m.id, m.at_ms, coalesce(m.case_id, 0), l.lot, '', m.by_name, m.quantity || ' ' || "
    "m.said"
    " || ': ' || m.lab || ', sample ' || m.sample || CASE WHEN m.method <> '' THEN ', ' || m.method"
    " ELSE '' END || CASE WHEN m.note <> '' THEN '; ' || m.note ELSE '' END FROM measured m JOIN "
    "lot"
    " l ON l.id = m.lot_id WHERE m.ended_ms IS NULL AND " SINCE("m.at_ms",
                                                                OF_LOT) "ORDER BY m.id DESC";
static const char SQL_FILE[] =
    "SELECT t.id, t.at_ms, coalesce(t.case_id, c.case_id), coalesce(l.lot, ''), coalesce(c.uuid, "
    "''),"
    " t.by_name, t.name FROM attached t LEFT JOIN complaint c ON c.id = t.complaint_id JOIN"
    " complaint_case k ON k.id = coalesce(t.case_id, c.case_id) LEFT JOIN lot l ON l.id = k.lot_id"
    " WHERE t.ended_ms IS NULL AND " SINCE("t.at_ms", "k.plant") "ORDER BY t.id DESC";
static const char SQL_HOLD[] =
    "SELECT h.id, h.at_ms, coalesce(h.case_id, 0), h.code, '', h.by_name, h.reason ||"
    " coalesce('; ' || h.end_reason, '') FROM hold h" HOLD_OWNERS("h") " WHERE " SINCE(
        "h.at_ms", HOLD_PLANT("h")) "ORDER BY h.id DESC";
static const char SQL_ACTION[] =
    "SELECT a.id, a.at_ms, 0, '', '', a.by_name, coalesce(a.cause || "
    "' ', '') || coalesce('line ' ||"
    " a.line || ' ', '') || coalesce(a.place || ' ', '') || a.note "
    "FROM corrective_action a LEFT JOIN"
    " lot l ON false WHERE " SINCE("a.at_ms", "a.plant") "ORDER BY a.id DESC";

static const char *const SQL[WRITTEN_KINDS] = {
    [WRITTEN_LOT] = SQL_LOT,       [WRITTEN_CASE] = SQL_CASE, [WRITTEN_NOTE] = SQL_NOTE,
    [WRITTEN_RESULT] = SQL_RESULT, [WRITTEN_FILE] = SQL_FILE, [WRITTEN_HOLD] = SQL_HOLD,
    [WRITTEN_ACTION] = SQL_ACTION};

/* A lot was found by its code already; a case goes by its number and owner, not by its kind. */
static bool fits(const struct written_row *row, const char *words)
{
    struct text_buffer text = {0};
    if (row->kind == WRITTEN_LOT)
        return true;
    if (row->kind == WRITTEN_CASE)
        text_appendf(&text, "c%lld %s", (long long)row->id, row->by);
    else
        text_appendf(&text, "%s", row->says);
    bool all = has_words(text.data, words);
    text_buffer_free(&text);
    return all;
}

int written_find(struct store *store, enum written_kind kind, const struct written_filter *f,
                 written_each each, void *arg, struct error *err)
{
    char fold[LOT_FIND_CODE];
    int rc = 0, told = 0;
    lot_find_fold(f->words, fold, sizeof fold);
    if (kind == WRITTEN_LOT && strlen(fold) < LEAST_CODE)
        return 0;
    struct db_query q = db_query(store, SQL[kind],
                                 DB(DB_TEXT(fold), DB_MS(f->since_ms), DB_SAID(f->products),
                                    DB_SAID(f->family), DB_TEXT(seen_list(store))),
                                 err);
    while (!rc && told < f->limit && db_next(&q)) {
        const struct written_row row = {.kind = kind,
                                        .id = db_int64(&q, 0),
                                        .at_ms = db_ms(&q, 1),
                                        .case_id = db_int64(&q, 2),
                                        .lot = db_text(&q, 3),
                                        .complaint = db_text(&q, 4),
                                        .by = db_text(&q, 5),
                                        .says = db_text(&q, 6)};
        bool found = fits(&row, f->words);
        told += found;
        rc = found ? each(arg, &row) : 0;
    }
    return db_end(&q, rc);
}
