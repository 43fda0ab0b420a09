#include "store/entry_words.h"
#include "store/db.h"
#include "store/store_inside.h"
#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* ---- SQLite ---- */

static const char *const COLUMNS[ENTRY_COLUMNS] = {
    [ENTRY_REFERENCE] = "reference",
    [ENTRY_STORE] = "store",
    [ENTRY_LOT_TEXT] = "lot_text",
    [ENTRY_NOTE] = "note",
};

/* `"sour" AND "moldy" *`: each quoted. */
static void add_quoted(struct text_buffer *match, enum entry_column column, const char *at,
                       size_t length)
{
    bool begins = length > 1 && at[length - 1] == '*';
    text_append(match, match->length ? " AND " : "");
    if (column != ENTRY_COLUMNS)
        text_appendf(match, "%s : ", COLUMNS[column]);
    text_append(match, "\"");
    for (size_t i = 0; i < length; i++)
        text_append_bytes(match, at[i] == '"' ? " " : at + i, 1);
    text_append(match, begins ? "\" *" : "\"");
}

#define LISTED "report IN (SELECT value FROM json_each(?1)) AND worded = 0"

/* `list`: as store_owe() makes it of reports in quotes. What a savepoint undid has no entry, or its
 * words are in as they were. In the order of rowids FTS5 writes them at once. */
static int put_all(struct store *store, const char *list, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO entry_words(rowid, " ENTRY_WORDS_COLUMNS ") SELECT e.id, " ENTRY_WORDS_TEXTS
        " FROM " ENTRY_WORDS_REPORTS " WHERE e." LISTED " AND coalesce(j.uuid, c.uuid) IS NOT NULL"
        " ORDER BY e.id";
    static const char SQL_IN[] = "UPDATE entry SET worded = 1 WHERE " LISTED
                                 " AND (EXISTS (SELECT 1 FROM complaint WHERE uuid = report) OR"
                                 " EXISTS (SELECT 1 FROM joined WHERE uuid = report))";
    struct text_buffer json = {0};
    text_appendf(&json, "[%.*s]", (int)strlen(list) - 1, list);
    int rc = db_run(store, SQL, DB(DB_TEXT(json.data)), err);
    if (!rc)
        rc = db_run(store, SQL_IN, DB(DB_TEXT(json.data)), err);
    text_buffer_free(&json);
    return rc;
}

/* FTS5 writes what it was told with each statement of the transaction that could be undone by
 * itself: told of one report after the other it wrote a piece of its own of each, to be merged
 * again. So they are told together, at the end. */
static int read_in(struct store *store, const char *report)
{
    struct text_buffer quoted = {0};
    text_appendf(&quoted, "\"%s\"", report);
    store_owe(store, put_all, quoted.data);
    text_buffer_free(&quoted);
    return 0;
}

int entry_words_out(struct store *store, const char *report, struct error *err)
{
    static const char SQL_OUT[] =
        "INSERT INTO entry_words(entry_words, rowid, " ENTRY_WORDS_COLUMNS
        ") SELECT 'delete', e.id,"
        " " ENTRY_WORDS_TEXTS " FROM " ENTRY_WORDS_REPORTS " WHERE e.report = ?1 AND e.worded = 1";
    static const char SQL[] = "UPDATE entry SET worded = 0 WHERE report = ?1 AND worded = 1";
    if (store->engine->is_server)
        return 0;
    int rc = db_run(store, SQL_OUT, DB(DB_TEXT(report)), err);
    return rc ? rc : db_run(store, SQL, DB(DB_TEXT(report)), err);
}

/* ---- PostgreSQL: words in quotes, with their places, and of each column a letter ---- */

static const char LETTERS[ENTRY_COLUMNS] = {'A', 'B', 'C', 'D'};
enum { MOST_PLACES = 16383 }; /* PostgreSQL, "Limitations" of text search */

/* Signs beyond ASCII that are no letters: punctuation, currencies, arrows, boxes, pictures. */
static bool is_sign(const unsigned char *at)
{
    static const struct {
        const char *from, *to; /* UTF-8, whose order is that of its characters */
    } SIGNS[] = {{"\u00a0", "\u00a9"}, {"\u00ab", "\u00b1"}, {"\u00b4", "\u00b4"},
                 {"\u00b6", "\u00b8"}, {"\u00bb", "\u00bb"}, {"\u00bf", "\u00bf"},
                 {"\u00d7", "\u00d7"}, {"\u00f7", "\u00f7"}, {"\u2000", "\u206f"},
                 {"\u20a0", "\u20cf"}, {"\u2190", "\u245f"}, {"\u2500", "\u2bff"},
                 {"\u3000", "\u3004"}, {"\u3008", "\u3020"}, {"\U0001f000", "\U0001faff"}};
    for (size_t i = 0; i < sizeof SIGNS / sizeof SIGNS[0]; i++) {
        size_t length = strlen(SIGNS[i].from);
        if (memcmp(SIGNS[i].from, at, length) <= 0 && memcmp(at, SIGNS[i].to, length) <= 0)
            return true;
    }
    return false;
}

static size_t letter_length(const char *at)
{
    const unsigned char *c = (const unsigned char *)at;
    if (*c < 0x80)
        return isalnum(*c) ? 1 : 0;
    char six[8] = "";
    strncpy(six, at, 6);
    size_t length = *c >= 0xf0 ? 4 : *c >= 0xe0 ? 3 : 2;
    return strnlen(at, length) < length || is_sign((const unsigned char *)six) ? 0 : length;
}

/* The next word from *at on; its length, 0: there is none. */
static size_t next_word(const char **at)
{
    size_t length = 0, letter;
    while (**at && !letter_length(*at)) {
        do
            ++*at;
        while ((**at & 0xc0) == 0x80);
    }
    while ((letter = letter_length(*at + length)))
        length += letter;
    return length;
}

static char *fold(const char *text, size_t length)
{
    char *whole = xstrndup(text, length);
    size_t size = 2 * length + 1; /* ß is ss */
    char *folded = text_fold(whole, xmalloc(size), size);
    free(whole);
    return folded;
}

/* `'sour':1D 'bread':2D` */
static void add_words(struct text_buffer *out, int column, const char *text, int *place)
{
    char *folded = fold(text, strlen(text));
    const char *at = folded;
    for (size_t length; (length = next_word(&at)); at += length)
        text_appendf(out, "'%.*s':%d%c ", (int)length, at,
                     *place < MOST_PLACES ? ++*place : MOST_PLACES, LETTERS[column]);
    free(folded);
    *place += *place < MOST_PLACES; /* no phrase goes on in another column */
}

static int put_words(struct store *store, const char *report, const char *const text[ENTRY_COLUMNS],
                     struct error *err)
{
    static const char SQL[] =
        "INSERT INTO entry_words(rowid, words) SELECT id, ?2::tsvector FROM entry WHERE report = ?1"
        " ON CONFLICT(rowid) DO UPDATE SET words = excluded.words";
    struct text_buffer words = {0};
    int place = 0;
    text_append(&words, "");
    for (int i = 0; i < ENTRY_COLUMNS; i++)
        if (text[i])
            add_words(&words, i, text[i], &place);
    int rc = db_run(store, SQL, DB(DB_TEXT(report), DB_TEXT(words.data)), err);
    text_buffer_free(&words);
    return rc;
}

/* `('sour':D <1> 'bread':*D) & …` */
static void add_phrase(struct text_buffer *match, enum entry_column column, const char *text,
                       size_t length)
{
    bool begins = length > 1 && text[length - 1] == '*';
    char *folded = fold(text, length);
    const char *at = folded, *next = at;
    struct text_buffer phrase = {0};
    for (size_t word = next_word(&at), after; word; at = next, word = after) {
        next = at + word;
        after = next_word(&next);
        text_appendf(&phrase, "%s'%.*s':%s%.*s", phrase.length ? " <1> " : "", (int)word, at,
                     begins && !after ? "*" : "", column != ENTRY_COLUMNS,
                     column != ENTRY_COLUMNS ? &LETTERS[column] : "");
        if (phrase.data[phrase.length - 1] == ':')
            phrase.data[--phrase.length] = '\0';
    }
    if (phrase.length)
        text_appendf(match, "%s(%s)", match->length ? " & " : "", phrase.data);
    text_buffer_free(&phrase);
    free(folded);
}

/* ---- whichever ---- */

int entry_words_in(struct store *store, const char *report, const char *const text[ENTRY_COLUMNS],
                   struct error *err)
{
    return store->engine->is_server ? put_words(store, report, text, err) : read_in(store, report);
}

int entry_words_forget(struct store *store, struct error *err)
{
    assert(store_writing(store));
    static const char SQL[] = "INSERT INTO entry_words(entry_words) VALUES('optimize')";
    return store->engine->is_server ? 0 : db_run(store, SQL, NULL, err);
}

void entry_words_term(const struct store *store, struct text_buffer *match,
                      enum entry_column column, const char *at, size_t length)
{
    if (store->engine->is_server)
        add_phrase(match, column, at, length);
    else
        add_quoted(match, column, at, length);
}
