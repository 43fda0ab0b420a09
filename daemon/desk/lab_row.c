#include "desk/lab_row.h"
#include "base/text.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* A list of the words for rows, NULL: the plant's file has none. */
static const json_t *list_of(const json_t *harm, const char *name)
{
    return json_object_get(json_object_get(harm, "laboratory"), name);
}

static bool is_one_of(const json_t *list, const char *word, size_t length)
{
    size_t i;
    const json_t *one;
    json_array_foreach(list, i, one)
    {
        if (json_string_length(one) == length &&
            strncasecmp(json_string_value(one), word, length) == 0)
            return true;
    }
    return false;
}

/* Numbers and units, up to the end. */
static bool is_measure(const json_t *harm, const char *at)
{
    static const char BETWEEN[] = " \t/.,;()";
    const json_t *units = list_of(harm, "units");
    for (at += strspn(at, BETWEEN); *at; at += strspn(at, BETWEEN)) {
        size_t length = strcspn(at, BETWEEN), digits = strspn(at, "0123456789");
        if (digits < length && !is_one_of(units, at + digits, length - digits))
            return false;
        at += length;
    }
    return true;
}

/* Of "none detected" all, not its "none". NULL: it begins with no denial. */
static const char *past_words(const json_t *denials, const char *said)
{
    size_t i, longest = 0;
    const json_t *denial;
    json_array_foreach(denials, i, denial)
    {
        size_t length = json_string_length(denial);
        const char *end = said + length;
        if (length <= longest || strncasecmp(said, json_string_value(denial), length) != 0 ||
            isalnum((unsigned char)*end))
            continue;
        bool decimal = strcmp(json_string_value(denial), "0") == 0 &&
                       (*end == '.' || *end == ',') && isdigit((unsigned char)end[1]);
        longest = decimal ? longest : length;
    }
    return longest ? said + longest : NULL;
}

/* Past the denial that it begins with; NULL if with none. */
static const char *past_denial(const json_t *harm, const char *said)
{
    const json_t *denials = list_of(harm, "denials");
    said += strspn(said, " \t");
    if (*said == '<' && denials) {
        const char *number = said + 1 + strspn(said + 1, " =");
        size_t digits = strspn(number, "0123456789.,");
        return digits ? number + digits : NULL;
    }
    return past_words(denials, said);
}

static const char BETWEEN_WORDS[] = " \t.,;:/()";

static bool has_result(const json_t *harm, const char *said)
{
    const json_t *results = list_of(harm, "results");
    for (const char *at = said; *at;) {
        size_t length = strcspn(at, BETWEEN_WORDS);
        const char *next = at + length + strspn(at + length, BETWEEN_WORDS);
        bool control = strncasecmp(next, "control", strlen("control")) == 0;
        if (is_one_of(results, at, length) && !control)
            return true;
        at = next;
    }
    return false;
}

static bool has_happened(const json_t *harm, const char *said)
{
    const json_t *happened = list_of(harm, "happened");
    for (const char *at = said; *at; at += strspn(at, BETWEEN_WORDS)) {
        size_t length = strcspn(at, BETWEEN_WORDS);
        if (is_one_of(happened, at, length))
            return true;
        at += length;
    }
    return false;
}

static void append_without_tools(const json_t *harm, const char *said, struct text_buffer *out)
{
    const json_t *tools = list_of(harm, "tools");
    while (*said) {
        size_t length = strcspn(said, BETWEEN_WORDS),
               next = length + strspn(said + length, BETWEEN_WORDS);
        if (is_one_of(tools, said, length))
            text_append_bytes(out, said + length, next - length);
        else
            text_append_bytes(out, said, next);
        said += next;
    }
}

static bool is_method(const json_t *harm, const char *name, size_t length)
{
    while (length && isspace((unsigned char)*name)) {
        name++;
        length--;
    }
    while (length && isspace((unsigned char)name[length - 1]))
        length--;
    return is_one_of(list_of(harm, "methods"), name, length);
}

bool lab_row_tells(const json_t *harm, const char *name, size_t name_length, const char *said,
                   size_t said_length, struct text_buffer *out)
{
    char *text = xstrndup(said, said_length);
    const char *rest = past_denial(harm, text);
    bool denies = rest && is_measure(harm, rest);
    if (denies)
        text_append(out, "");
    else if (is_method(harm, name, name_length) && !has_result(harm, text) &&
             !has_happened(harm, text))
        append_without_tools(harm, text, out);
    else
        text_append(out, text);
    free(text);
    return !denies;
}

bool lab_row_result(const json_t *harm, const char *name, const char *said, struct text_buffer *out)
{
    struct text_buffer tells = {0};
    bool told = lab_row_tells(harm, name, strlen(name), said, strlen(said), &tells);
    for (const char *at = told ? name : ""; *at; at++)
        text_appendf(out, "%c", *at == '_' ? ' ' : *at);
    if (told)
        text_appendf(out, "%s%s", *name ? " " : "", tells.data);
    text_buffer_free(&tells);
    return told;
}

/* A name of a few words; a sentence, or what tells of a result, is none. */
static bool is_short_name(const json_t *harm, const char *cell)
{
    enum { WORDS_MOST = 3 };
    const json_t *persons = list_of(harm, "persons");
    int words = 0;
    for (const char *at = cell + strspn(cell, " \""); *at; at += strspn(at, " \"")) {
        size_t length = strcspn(at, " \"");
        if (is_one_of(persons, at, length))
            return false;
        at += length;
        words++;
    }
    return words && words <= WORDS_MOST && !has_result(harm, cell);
}

bool lab_row_cells_deny(const json_t *harm, const char *line, size_t length, char separator)
{
    char *row = xstrndup(line, length), *next = strchr(row, separator);
    int denials = 0;
    bool all = next != NULL, number = false;
    if (next)
        *next++ = '\0';
    all = all && is_short_name(harm, row);
    for (char *cell = next; all && cell; cell = next) {
        if ((next = strchr(cell, separator)))
            *next++ = '\0';
        cell += strspn(cell, " \"");
        for (size_t end = strlen(cell); end && strchr(" \"", cell[end - 1]);)
            cell[--end] = '\0';
        const char *rest = past_denial(harm, cell);
        bool decimal = number && separator == ',' && isdigit((unsigned char)*cell); /* "0,5 mm" */
        all = !decimal && ((rest && is_measure(harm, rest)) || is_measure(harm, cell));
        denials += rest != NULL;
        number = *cell && cell[strspn(cell, "0123456789")] == '\0';
    }
    free(row);
    return all && denials;
}
