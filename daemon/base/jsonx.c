#include "base/jsonx.h"
#include "base/length.h"
#include "base/letter.h"
#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define FILE_BYTES (16u << 20)

void jsonx_start(void)
{
    json_set_alloc_funcs(xmalloc, free);
}

/* ---- places in the text ---- */

void jsonx_place(const char *bytes, size_t at, long *ret_line, long *ret_column)
{
    assert(bytes && ret_line && ret_column);
    long line = 1;
    long column = 1;
    for (size_t i = 0; i < at; i++) {
        if (bytes[i] == '\n') {
            line++;
            column = 1;
        } else if (((unsigned char)bytes[i] & 0xC0) != 0x80) {
            column++;
        }
    }
    *ret_line = line;
    *ret_column = column;
}

static int refuse(struct error *err, const char *bytes, size_t at, const char *text)
{
    long line = 0;
    long column = 0;
    jsonx_place(bytes, at, &line, &column);
    error_at(err, NULL, line, column);
    return error_set(err, ERROR_INVALID, "%s", text);
}

/* ---- before the parser sees the text ---- */

static bool is_word_byte(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
}

static size_t word_end(const char *bytes, size_t length, size_t at)
{
    assert(at <= length);
    while (at < length && is_word_byte(bytes[at]))
        at++;
    return at;
}

static bool is_literal(const char *word, size_t length)
{
    static const char *const literals[] = {"true", "false", "null"};
    for (size_t i = 0; i < sizeof literals / sizeof *literals; i++)
        if (strlen(literals[i]) == length && memcmp(word, literals[i], length) == 0)
            return true;
    return false;
}

static size_t skip_string(const char *bytes, size_t length, size_t at)
{
    assert(at < length && bytes[at] == '"');
    size_t until = at; /* the next quote: looked for once, however many escapes stand before it */
    for (at++; at < length;) {
        if (until < at) {
            const char *quote = memchr(bytes + at, '"', length - at);
            until = quote ? (size_t)(quote - bytes) : length;
        }
        const char *escape = memchr(bytes + at, '\\', until - at);
        if (!escape)
            return until < length ? until + 1 : length;
        at = (size_t)(escape - bytes) + 2;
    }
    return length;
}

/* Bounds the nesting, since the parser recurses, and names the words that are not JSON: NaN and
 * Infinity come from programs that print numbers without looking at them. */
static int scan(const char *bytes, size_t length, struct error *err)
{
    int depth = 0;
    for (size_t at = 0; at < length;) {
        char c = bytes[at];
        if (c == '"') {
            at = skip_string(bytes, length, at);
            continue;
        }
        if (is_word_byte(c)) {
            size_t end = word_end(bytes, length, at);
            bool number = c >= '0' && c <= '9';
            if (!number && !is_literal(bytes + at, end - at)) {
                char word[32];
                char text[96];
                snprintf(word, sizeof word, "%.*s", (int)(end - at < 24 ? end - at : 24),
                         bytes + at);
                snprintf(text, sizeof text, "'%s' is not a JSON value", word);
                error_hint(err, "leave the member out, or write null, where a number is missing");
                return refuse(err, bytes, at, text);
            }
            at = end;
            continue;
        }
        if ((c == '[' || c == '{') && ++depth > JSONX_DEPTH)
            return refuse(err, bytes, at, "nested more than 16 levels deep");
        if ((c == ']' || c == '}') && depth > 0)
            depth--;
        at++;
    }
    return 0;
}

static int check_bytes(const char *bytes, size_t length, struct error *err)
{
    if (length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0) {
        error_hint(err, "save as UTF-8 without it");
        return refuse(err, bytes, 0, "starts with a byte order mark");
    }
    size_t good = text_utf8_prefix(bytes, length);
    if (good < length)
        return refuse(err, bytes, good,
                      bytes[good] == '\0' ? "holds a NUL byte" : "is not UTF-8 from here on");
    return scan(bytes, length, err);
}

static int parse(const char *bytes, size_t length, size_t limit, json_t **ret, struct error *err)
{
    if (length > limit)
        return error_set(err, ERROR_TOO_LARGE, "%zu bytes of JSON, at most %zu are taken", length,
                         limit);
    int rc = check_bytes(bytes, length, err);
    if (rc)
        return rc;
    json_error_t why;
    json_t *root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &why);
    if (!root) {
        error_at(err, NULL, why.line, why.column);
        return error_set(err, ERROR_INVALID, "not JSON: %s", why.text);
    }
    *ret = root;
    return 0;
}

int jsonx_parse(const char *bytes, size_t length, json_t **ret, struct error *err)
{
    return parse(bytes, length, JSONX_BYTES, ret, err);
}

/* ---- files ---- */

static int read_all(FILE *file, size_t limit, struct text_buffer *ret, struct error *err)
{
    char chunk[16384];
    size_t n;
    while ((n = fread(chunk, 1, sizeof chunk, file)) > 0) {
        if (ret->length + n > limit)
            return error_set(err, ERROR_TOO_LARGE, "is larger than %zu bytes", limit);
        text_append_bytes(ret, chunk, n);
    }
    if (ferror(file))
        return error_set(err, ERROR_IO, "cannot read: %s", strerror(errno));
    return 0;
}

/* A pipe that nobody writes to would be waited for without end, by a reload as by a start: only
 * files are opened, and what masks one (/dev/null). errno EINVAL for the rest. */
static FILE *open_file(const char *path)
{
    struct stat st;
    int fd = open(path, O_RDONLY | O_NONBLOCK | O_CLOEXEC);
    if (fd < 0)
        return NULL;
    if (fstat(fd, &st) == 0 && (S_ISREG(st.st_mode) || S_ISCHR(st.st_mode)))
        return fdopen(fd, "rb");
    bool is_folder = S_ISDIR(st.st_mode);
    close(fd);
    errno = is_folder ? EISDIR : EINVAL;
    return NULL;
}

/* The letter of \uXXXX, 0 for what is none; halves of pairs are none. */
static uint32_t escaped_letter(const char *at)
{
    uint32_t letter = 0;
    bool whole = letter_hex(at, strnlen(at, 4), &letter);
    return !whole || (letter >= 0xD800 && letter < 0xE000) ? 0 : letter;
}

char *jsonx_words(const char *bytes, size_t length)
{
    char utf8[LETTER_BYTES];
    struct text_buffer out = {0};
    char *text = text_as_utf8(bytes, length);
    text_append(&out, "");
    for (const char *at = text; *at;) {
        size_t plain = strcspn(at, "\\");
        text_append_bytes(&out, at, plain);
        at += plain;
        if (!*at)
            break;
        uint32_t letter = at[1] == 'u' ? escaped_letter(at + 2) : 0;
        if (letter)
            text_append_bytes(&out, utf8, letter_utf8(letter, utf8));
        else
            text_append_bytes(&out, at[1] && strchr("\"\\/", at[1]) ? at + 1 : " ", 1);
        at += letter ? 6 : at[1] ? 2 : 1;
    }
    free(text);
    return text_take(&out);
}

int jsonx_read(const char *path, size_t limit, struct text_buffer *ret, struct error *err)
{
    FILE *file = open_file(path);
    if (!file && errno == EINVAL) {
        error_at(err, path, 0, 0);
        return error_set(err, ERROR_INVALID, "is no file");
    }
    if (!file) {
        int why = errno;
        error_at(err, path, 0, 0);
        return error_set(err, why == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "cannot open: %s",
                         strerror(why));
    }
    int rc = read_all(file, limit, ret, err);
    fclose(file);
    if (rc)
        error_at(err, path, 0, 0);
    return rc;
}

int jsonx_load(const char *path, json_t **ret, struct error *err)
{
    struct text_buffer text = {0};
    int rc = jsonx_read(path, FILE_BYTES, &text, err);
    if (!rc)
        rc = parse(text.data ? text.data : "", text.length, FILE_BYTES, ret, err);
    if (rc)
        error_at(err, path, 0, 0);
    text_buffer_free(&text);
    return rc;
}

/* ---- typed members ---- */

/* The member, or NULL if absent or null. */
static const json_t *member(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    return json_is_null(value) ? NULL : value;
}

static int wrong_type(struct error *err, const char *name, const char *want, const json_t *got)
{
    static const char *const types[] = {
        [JSON_OBJECT] = "an object", [JSON_ARRAY] = "an array", [JSON_STRING] = "a string",
        [JSON_INTEGER] = "a number", [JSON_REAL] = "a number",  [JSON_TRUE] = "true",
        [JSON_FALSE] = "false",      [JSON_NULL] = "null",
    };
    error_field(err, name, json_string_value(got));
    return error_set(err, ERROR_INVALID, "must be %s, is %s", want, types[json_typeof(got)]);
}

int jsonx_string(const json_t *object, const char *name, const char **ret, struct error *err)
{
    const json_t *value = member(object, name);
    if (!value)
        return 0;
    if (!json_is_string(value))
        return wrong_type(err, name, "a string", value);
    *ret = json_string_value(value);
    return 0;
}

static int refuse_member(struct error *err, const char *name, const char *reason)
{
    error_set(err, ERROR_INVALID, "%s", reason);
    error_field(err, name, "");
    return ERROR_INVALID;
}

/* A line by itself, as who signs: a line feed would end it wherever it is shown. */
static int take_one_line(const json_t *object, const char *name, size_t most, const char **ret,
                         struct error *err)
{
    char *tamed = *ret ? text_tame(*ret, "") : NULL;
    if (tamed && most <= LENGTH_PERSON) {
        free(tamed);
        return refuse_member(err, name, "must be one line without control characters");
    }
    if (tamed) {
        json_t *text = json_object_get(object, name);
        json_string_set(text, tamed);
        *ret = json_string_value(text);
        free(tamed);
    }
    return 0;
}

int jsonx_text(const json_t *object, const char *name, size_t most, const char **ret,
               struct error *err)
{
    char reason[64];
    int rc = jsonx_string(object, name, ret, err);
    if (!rc)
        rc = take_one_line(object, name, most, ret, err);
    if (rc || !*ret || strlen(*ret) <= most)
        return rc;
    snprintf(reason, sizeof reason, "is longer than %zu bytes", most);
    return refuse_member(err, name, reason);
}

int jsonx_needed(const json_t *object, const char *name, size_t most, const char **ret,
                 struct error *err)
{
    *ret = NULL;
    int rc = jsonx_text(object, name, most, ret, err);
    return rc || (*ret && **ret) ? rc : refuse_member(err, name, "is missing");
}

int jsonx_bool(const json_t *object, const char *name, bool *ret, struct error *err)
{
    const json_t *value = member(object, name);
    if (!value)
        return 0;
    if (!json_is_boolean(value))
        return wrong_type(err, name, "true or false", value);
    *ret = json_is_true(value);
    return 0;
}

char *jsonx_dump(const json_t *value)
{
    return json_dumps(value, JSON_COMPACT | JSON_ENCODE_ANY | JSON_REAL_PRECISION(15));
}

json_t *jsonx_outside(const char *text)
{
    if (!text)
        return json_null();
    char *plain = xstrdup(text);
    const size_t length = strlen(plain);
    for (size_t at = 0; (at += text_utf8_prefix(plain + at, length - at)) < length;)
        plain[at] = '?';
    json_t *said = json_stringn(plain, length);
    free(plain);
    return said;
}

json_t *jsonx_rounded(double value, int decimals)
{
    if (!isfinite(value))
        return json_null();
    double scale = pow(10, decimals);
    double rounded = round(value * scale) / scale;
    return json_real(rounded == 0 ? 0 : rounded); /* no -0.0 */
}

bool jsonx_holds(const json_t *list, const json_t *value)
{
    size_t i;
    const json_t *one;
    json_array_foreach(list, i, one)
    {
        if (json_equal(one, value))
            return true;
    }
    return false;
}

void jsonx_add_missing(json_t *list, const json_t *more)
{
    size_t i;
    json_t *one;
    json_array_foreach(more, i, one)
    {
        if (!jsonx_holds(list, one))
            json_array_append(list, one);
    }
}
