#include "store/dialect.h"
#include "base/text.h"
#include <ctype.h>
#include <string.h>

const char DIALECT_FUNCTIONS[] =
    "CREATE FUNCTION instr(text, text) RETURNS integer LANGUAGE sql IMMUTABLE PARALLEL SAFE"
    " AS $$SELECT strpos($1, $2)$$;"
    /* as SQLite reads a number: what has none is 0 */
    "CREATE FUNCTION integer_of(text) RETURNS bigint LANGUAGE sql IMMUTABLE PARALLEL SAFE"
    " AS $$SELECT coalesce(substring($1 from '^\\s*(-?[0-9]{1,18})'), '0')::bigint$$;"
    "CREATE FUNCTION integer_of(double precision) RETURNS bigint LANGUAGE sql IMMUTABLE"
    " PARALLEL SAFE AS $$SELECT trunc($1)::bigint$$;"
    "CREATE FUNCTION words_of(text) RETURNS tsquery LANGUAGE sql IMMUTABLE PARALLEL SAFE"
    " AS $$SELECT nullif($1, '\"\"')::tsquery$$;"
    /* of an object of whole numbers */
    "CREATE FUNCTION json_each(text) RETURNS TABLE(key text, value bigint) LANGUAGE sql IMMUTABLE"
    " PARALLEL SAFE AS $$SELECT e.key, e.value::bigint FROM pg_catalog.json_each_text($1::json) "
    "e$$;"
    /* of a table by its oid, whatever it is called by then */
    "CREATE FUNCTION next_number(regclass, text) RETURNS bigint LANGUAGE plpgsql AS"
    " $$DECLARE n bigint; BEGIN EXECUTE format('SELECT coalesce(max(%I), 0) + 1 FROM %s', $2, $1)"
    " INTO n; RETURN n; END$$;";

const char DIALECT_WORDS[] =
    "CREATE TABLE entry_words(rowid bigint PRIMARY KEY, words tsvector NOT NULL);"
    "CREATE INDEX entry_words_in ON entry_words USING gin(words);";

/* Files of records are applied in the order in which they were accepted. */
const char DIALECT_ADDED[] =
    "ALTER TABLE load_file ADD COLUMN rowid bigint UNIQUE;"
    "UPDATE load_file f SET rowid = n FROM (SELECT id, row_number() OVER (ORDER BY accepted_ms, "
    "ctid)"
    " AS n FROM load_file) o WHERE o.id = f.id;"
    "ALTER TABLE load_file ALTER COLUMN rowid SET NOT NULL;"
    "ALTER TABLE load_file ALTER COLUMN rowid SET DEFAULT next_number('load_file', 'rowid');";

/* Two daemons may start at once. */
const char DIALECT_SHARED[] =
    "BEGIN; SELECT pg_advisory_xact_lock(hashtext('" DIALECT_SHARED_TABLE "'));"
    "CREATE TABLE IF NOT EXISTS " DIALECT_SHARED_TABLE "(load_id text COLLATE \"C\" NOT NULL,"
    " part bigint NOT NULL, data bytea NOT NULL, PRIMARY KEY(load_id, part));"
    "COMMIT";

enum { MOST_DEEP = 32 };

struct reading {
    const char *at;
    int deep;                /* in brackets */
    bool derives[MOST_DEEP]; /* those of a derived table */
    struct text_buffer out;
    bool of_table, references;
    bool drops_view;
    const char *table, *numbered; /* numbered: by this column; NULL: it is not */
    size_t table_length;
};

/* Columns that number the rows of their table, where they are its first. */
static const char *const NUMBERED[] = {"id", "seq"};

static bool is_letter(char c)
{
    return isalnum((unsigned char)c) || c == '_';
}

static size_t word_length(const char *at)
{
    size_t length = 0;
    while (is_letter(at[length]))
        length++;
    return length;
}

/* Behind `words`, if they stand at `at`, with any blanks between; else NULL. */
static const char *behind(const char *at, const char *words)
{
    while (*words) {
        if (*words == ' ') {
            if (*at != ' ')
                return NULL;
            at += strspn(at, " ");
            words++;
        } else if (*at++ != *words++) {
            return NULL;
        }
    }
    return is_letter(words[-1]) && is_letter(*at) ? NULL : at;
}

/* A name, with or without quotes; NULL: none is there. */
static const char *behind_name(const char *at)
{
    if (*at == '"') {
        const char *end = strchr(at + 1, '"');
        return end ? end + 1 : NULL;
    }
    size_t length = word_length(at);
    return length ? at + length : NULL;
}

/* Text in quotes is copied as it is. */
static void copy_quoted(struct reading *r)
{
    const char *end = strchr(r->at + 1, *r->at);
    size_t length = end ? (size_t)(end + 1 - r->at) : strlen(r->at);
    text_append_bytes(&r->out, r->at, length);
    r->at += length;
}

/* `CROSS JOIN name [name] ON`: the first word goes. */
static bool is_join_on(const char *at)
{
    const char *next = behind(at, "CROSS JOIN ");
    next = next ? behind_name(next) : NULL;
    if (!next || *next != ' ')
        return false;
    if (behind(next, " ON "))
        return true;
    next = behind_name(next + strspn(next, " "));
    return next && behind(next, " ON ");
}

static bool skip_references(struct reading *r)
{
    const char *next = behind(r->at, "REFERENCES ");
    next = next ? behind_name(next) : NULL;
    if (!next || r->references)
        return false;
    const char *cascade = behind(next, " ON DELETE CASCADE");
    r->at = cascade ? cascade : next;
    return true;
}

static const struct {
    const char *was, *is;
    bool of_table; /* there only */
} WORDS[] = {{"CAST(", "integer_of(", false},
             {" AS INTEGER)", ")", false},
             {"entry_words MATCH (", "entry_words.words @@ words_of(", false},
             {"DROP VIEW ", "DROP VIEW IF EXISTS ", false},
             {"INTEGER", "bigint", true},
             {"REAL", "double precision", true},
             {"TEXT", "text COLLATE \"C\"", true},
             {"BLOB", "bytea", true},
             {" STRICT, WITHOUT ROWID", "", true},
             {" STRICT", "", true}};

static bool take_word(struct reading *r)
{
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        const char *next = WORDS[i].of_table && !r->of_table ? NULL : behind(r->at, WORDS[i].was);
        if (!next)
            continue;
        text_append(&r->out, WORDS[i].is);
        if (next[-1] == '(' && r->deep < MOST_DEEP)
            r->derives[r->deep] = false;
        r->deep += (next[-1] == '(') - (next[-1] == ')' && r->deep > 0);
        r->at = next;
        return true;
    }
    return false;
}

/* Of the statement that begins: is it a table's, whose, and what are its rows numbered by? */
static void begin_statement(struct reading *r)
{
    const char *at = r->at + strspn(r->at, " \n");
    const char *name = behind(at, "CREATE TABLE "), *key = NULL;
    r->of_table = name || behind(at, "ALTER TABLE ");
    r->drops_view = behind(at, "DROP VIEW ") != NULL;
    r->numbered = NULL;
    if (!name)
        return;
    const char *end = behind_name(name);
    r->table = name;
    r->table_length = end ? (size_t)(end - name) : 0;
    key = end && *end == '(' ? end + 1 : "";
    for (size_t i = 0; i < sizeof NUMBERED / sizeof NUMBERED[0]; i++) {
        const char *next = behind(key, NUMBERED[i]);
        if (next && behind(next, " INTEGER PRIMARY KEY"))
            r->numbered = NUMBERED[i];
    }
}

static void end_statement(struct reading *r)
{
    text_append(&r->out, r->drops_view ? " CASCADE" : "");
    r->drops_view = false;
    if (!r->numbered)
        return;
    size_t quotes = *r->table == '"';
    text_appendf(&r->out, ";ALTER TABLE %.*s ALTER COLUMN %s SET DEFAULT next_number('%.*s', '%s')",
                 (int)r->table_length, r->table, r->numbered, (int)(r->table_length - 2 * quotes),
                 r->table + quotes, r->numbered);
}

/* A derived table has a name here. */
static void enter(struct reading *r)
{
    const char *from = " FROM ", *join = " JOIN ";
    size_t length = r->out.length, least = strlen(from);
    const char *before = length >= least ? r->out.data + length - least : "";
    if (r->deep < MOST_DEEP)
        r->derives[r->deep] = (strcmp(before, from) == 0 || strcmp(before, join) == 0) &&
                              (behind(r->at, "(SELECT ") != NULL);
    r->deep++;
}

static void leave(struct reading *r)
{
    static const char *const NEXT[] = {"WHERE", "GROUP",     "ORDER",      "LIMIT",  "UNION",
                                       "JOIN",  "LEFT JOIN", "CROSS JOIN", "HAVING", "ON"};
    const char *at = r->at + 1 + strspn(r->at + 1, " ");
    bool named = is_letter(*at);
    for (size_t i = 0; i < sizeof NEXT / sizeof NEXT[0]; i++)
        named = named && !behind(at, NEXT[i]);
    r->deep -= r->deep > 0;
    text_append(&r->out, r->deep < MOST_DEEP && r->derives[r->deep] && !named ? ") derived" : ")");
    r->at++;
}

static void take(struct reading *r)
{
    if (*r->at == '(')
        enter(r);
    if (*r->at == ')') {
        leave(r);
        return;
    }
    if (*r->at == '\'' || *r->at == '"') {
        copy_quoted(r);
        return;
    }
    if (*r->at == ';')
        end_statement(r);
    if (*r->at == '?' && isdigit((unsigned char)r->at[1])) {
        text_append(&r->out, "$");
        r->at++;
    }
    if (is_join_on(r->at))
        r->at = behind(r->at, "CROSS ");
    else if ((r->of_table && skip_references(r)) || take_word(r))
        return;
    size_t length = word_length(r->at);
    bool ends = *r->at == ';';
    length = length ? length : 1;
    text_append_bytes(&r->out, r->at, length);
    r->at += length;
    if (ends)
        begin_statement(r);
}

char *dialect_text(const char *sql, bool references)
{
    struct reading r = {.at = sql, .references = references};
    text_append(&r.out, "");
    begin_statement(&r);
    while (*r.at)
        take(&r);
    end_statement(&r);
    return text_take(&r.out);
}
