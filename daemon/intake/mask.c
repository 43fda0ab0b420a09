#include "intake/mask.h"
#include "base/text.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { PHONE_LEAST = 7, PHONE_MOST = 15, OWN_LEAST = 5, NAME_LEAST = 3, WORD_MOST = 64 };

/* Parts of names that are words of their own: to mask them would spoil the note. */
static const char *const PARTICLES[] = {"del", "las", "los", "van", "von", "der",
                                        "den", "dos", "das", "the", "and"};

static const char *contact_text(const json_t *contact, const char *name)
{
    const char *text = json_string_value(json_object_get(contact, name));
    return text ? text : "";
}

/* ---- mail addresses ---- */

static bool is_address_part(char c)
{
    return (unsigned char)c > ' ' && c != '@' && !strchr("<>()[]{},;:\"'", c);
}

/* Bytes of the address at `at`, 0 if there is none. */
static size_t address_at(const char *at)
{
    size_t local = 0, length;
    while (is_address_part(at[local]))
        local++;
    if (local == 0 || at[local] != '@' || !isalnum((unsigned char)at[local + 1]))
        return 0;
    for (length = local + 1; is_address_part(at[length]);)
        length++;
    while (strchr(".!?", at[length - 1]))
        length--;
    return length;
}

/* ---- phone numbers ---- */

/* 2026-11-27, 27.11.2026, 11/27/26 */
static bool is_date(const char *at, size_t length)
{
    char shape[16];
    static const char *const DATES[] = {"9999-99-99", "99.99.9999", "99/99/9999",
                                        "9.9.9999",   "9/9/9999",   "99/9/9999",
                                        "9/99/9999",  "9.99.9999",  "99.9.9999"};
    if (length >= sizeof shape)
        return false;
    for (size_t i = 0; i < length; i++)
        shape[i] = isdigit((unsigned char)at[i]) ? '9' : at[i];
    shape[length] = '\0';
    for (size_t i = 0; i < sizeof DATES / sizeof DATES[0]; i++) {
        if (strcmp(shape, DATES[i]) == 0)
            return true;
    }
    return false;
}

static size_t digits_of(const char *text, size_t length, char *out, size_t size)
{
    size_t count = 0;
    for (size_t i = 0; i < length && count + 1 < size; i++) {
        if (isdigit((unsigned char)text[i]))
            out[count++] = text[i];
    }
    out[count] = '\0';
    return count;
}

/* The caller's own number may be said without its area. */
static bool is_own(const char *digits, size_t count, const char *phone)
{
    char own[64];
    size_t length = digits_of(phone, strlen(phone), own, sizeof own);
    return count >= OWN_LEAST && count <= length && strcmp(own + length - count, digits) == 0;
}

/* Bytes of the number at `at`: digits with at most two of " -./()" between them. */
static size_t number_at(const char *at)
{
    size_t end = 0, length = *at == '+' || *at == '(';
    if (!isdigit((unsigned char)at[length]))
        return 0;
    while (at[length] && length - end <= 2) {
        if (isdigit((unsigned char)at[length]))
            end = length + 1;
        else if (!strchr(" -./()", at[length]))
            break;
        length++;
    }
    return end;
}

static size_t phone_at(const char *at, const json_t *contact)
{
    char digits[64];
    size_t length = number_at(at);
    size_t count = digits_of(at, length, digits, sizeof digits);
    if (count == 0 || isalpha((unsigned char)at[length]))
        return 0;
    if (is_own(digits, count, contact_text(contact, "phone")))
        return length;
    bool is_phone = count >= PHONE_LEAST && count <= PHONE_MOST && !is_date(at, length);
    return is_phone ? length : 0;
}

/* ---- names ---- */

/* Letters of other alphabets are bytes from 0x80 on. */
static size_t word_at(const char *at)
{
    size_t length = 0;
    while (isalpha((unsigned char)at[length]) || (unsigned char)at[length] >= 0x80)
        length++;
    return length;
}

static void fold_word(const char *at, size_t length, char out[WORD_MOST])
{
    char *word = xstrndup(at, length);
    text_fold(word, out, WORD_MOST);
    free(word);
}

static bool is_particle(const char *word)
{
    for (size_t i = 0; i < sizeof PARTICLES / sizeof PARTICLES[0]; i++) {
        if (strcmp(word, PARTICLES[i]) == 0)
            return true;
    }
    return false;
}

static bool is_of_name(const char *at, size_t length, const char *name)
{
    char word[WORD_MOST], part[WORD_MOST];
    fold_word(at, length, word);
    if (strlen(word) < NAME_LEAST || is_particle(word))
        return false;
    while (*name) {
        size_t size = word_at(name);
        fold_word(name, size, part);
        if (size && strcmp(word, part) == 0)
            return true;
        name += size ? size : 1;
    }
    return false;
}

/* ---- all of it ---- */

static size_t mask_at(const char *at, const json_t *contact, const char **ret_instead)
{
    size_t length = address_at(at);
    *ret_instead = "[mail address]";
    if (length)
        return length;
    length = phone_at(at, contact);
    *ret_instead = "[phone]";
    if (length)
        return length;
    length = word_at(at);
    *ret_instead = "[name]";
    return length && is_of_name(at, length, contact_text(contact, "name")) ? length : 0;
}

/* Where a word or a number begins: within one nothing is looked for. */
static bool begins(const char *text, const char *at)
{
    if (at == text)
        return true;
    unsigned char before = (unsigned char)at[-1], now = (unsigned char)*at;
    bool word_before = isalnum(before) || before >= 0x80;
    bool word_now = isalnum(now) || now >= 0x80;
    return !word_before || !word_now;
}

char *mask_contact(const char *text, const json_t *contact)
{
    struct text_buffer out = {0};
    text_append(&out, "");
    for (const char *at = text; *at;) {
        const char *instead;
        size_t length = begins(text, at) ? mask_at(at, contact, &instead) : 0;
        if (length) {
            text_append(&out, instead);
            at += length;
        } else {
            bool control = (unsigned char)*at < ' ' || *at == 0x7f;
            if (!control || (out.length && out.data[out.length - 1] != ' '))
                text_append_bytes(&out, control ? " " : at, 1);
            at++;
        }
    }
    return text_take(&out);
}
