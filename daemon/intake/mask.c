#include "intake/mask.h"
#include "base/text.h"
#include "intake/mask_phone.h"
#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LEAST = 3, WORD_MOST = 64, IDEOGRAM_LEAD = 0xE3 };

/* Parts of names that are words of their own: to mask them would spoil the note. */
static const char *const PARTICLES[] = {
    "del", "las", "los", "van", "von", "der", "den", "dos", "das", "the", "and", "de",
    "da",  "di",  "du",  "la",  "le",  "el",  "of",  "no",  "an",  "so",  "my",  "it",
    "is",  "in",  "on",  "we",  "he",  "mr",  "ms",  "dr",  "to",  "at",  "if"};

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

static size_t part_at(const char *at)
{
    size_t length = 0;
    while (is_address_part(at[length]) && at[length] != '.')
        length++;
    return length;
}

/* A sign of an address as it is read out, with what stands around it: " at ", "(at)", " [dot] ". 0
 * if it is not here. */
static size_t sign_at(const char *at, const char *const *words)
{
    size_t before = strspn(at, " "), open = at[before] == '(' || at[before] == '[';
    const char *word = at + before + open + (open ? strspn(at + before + 1, " ") : 0);
    for (; *words; words++) {
        size_t length = strlen(*words);
        const char *end = word + length;
        if (strncasecmp(word, *words, length) != 0)
            continue;
        const char *closed = end + strspn(end, " ");
        if (open && (*closed == ')' || *closed == ']'))
            return (size_t)(closed + 1 - at) + strspn(closed + 1, " ");
        if (!open && before && *end == ' ')
            return (size_t)(closed - at);
    }
    return 0;
}

static const char *const AT[] = {"at", "arroba", NULL};
static const char *const DOT[] = {"dot", "punto", "point", NULL};
static const char *const JOINT[] = {"dot",    "punto", "point", "underscore", "dash",
                                    "hyphen", "minus", "guion", "guión",      NULL};

/* "anna dot fenwick", "anna seven": what stands before the sign, as far as it is read out. */
static size_t local_at(const char *at)
{
    size_t length = 0;
    while (is_address_part(at[length]))
        length++;
    for (size_t more = length; more;) {
        size_t joint = sign_at(at + length, JOINT);
        char digit;
        size_t spoken = at[length] == ' ' ? mask_phone_spoken_at(at + length + 1, &digit) : 0;
        more = joint ? part_at(at + length + joint) : 0;
        more = more ? joint + more : spoken ? 1 + spoken : 0;
        length += more;
    }
    return length;
}

/* With labels between points, said or written; *ret_points how many. */
static size_t domain_at(const char *at, int *ret_points)
{
    size_t length = part_at(at);
    *ret_points = 0;
    for (bool more = length > 0; more;) {
        size_t point = at[length] == '.' ? 1 : sign_at(at + length, DOT);
        size_t label = point ? part_at(at + length + point) : 0;
        /* the last names a country or a kind: "loaves @ 3.99" is a price */
        more = label > 0 && !isdigit((unsigned char)at[length + point]);
        length += more ? point + label : 0;
        *ret_points += more;
    }
    return length;
}

/* "saw it at mill dot com" names no mailbox. */
static bool is_common(const char *at, size_t length)
{
    static const char *const WORDS[] = {
        "it",  "look",  "looked",  "see",    "seen",  "us",   "me",   "you",     "them",  "bought",
        "buy", "order", "ordered", "online", "store", "shop", "site", "website", "page",  "is",
        "was", "bread", "loaf",    "mold",   "only",  "and",  "or",   "here",    "there", "one"};
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++)
        if (strlen(WORDS[i]) == length && strncasecmp(at, WORDS[i], length) == 0)
            return true;
    return false;
}

/* "@" with blanks beside it, or read out. */
static size_t at_sign_at(const char *at)
{
    size_t before = strspn(at, " ");
    return at[before] == '@' ? before + 1 + strspn(at + before + 1, " ") : sign_at(at, AT);
}

/* Bytes of the address at `at`, 0 if there is none: anna@mill.example, "anna dot fenwick at mill
 * dot example", "anna (at) mill (dot) example". */
static size_t address_at(const char *at)
{
    size_t local = local_at(at);
    if (!local)
        return 0;
    bool plain = at[local] == '@' && at[local + 1] != ' ';
    size_t sign = plain ? 1 : at_sign_at(at + local);
    int points = 0;
    size_t domain = sign ? domain_at(at + local + sign, &points) : 0;
    bool spelled_out = points > 0 && !is_common(at, local);
    if (!domain || !isalnum((unsigned char)at[local + sign]) || (!plain && !spelled_out))
        return 0;
    size_t length = local + sign + domain;
    while (strchr(".!?", at[length - 1]))
        length--;
    return length;
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

/* Two letters are a name where they are written as one: "Li", not "li". */
static bool may_be_name(const char *at, const char *word)
{
    size_t length = strlen(word);
    if (is_particle(word))
        return false;
    return length >= NAME_LEAST || (length == 2 && isupper((unsigned char)*at));
}

static bool is_of_name(const char *at, size_t length, const char *name)
{
    char word[WORD_MOST], part[WORD_MOST];
    fold_word(at, length, word);
    if (!may_be_name(at, word))
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

/* Scripts that set no blanks between words: a part of the name of two characters or more. */
static size_t ideograms_at(const char *at, const char *name)
{
    enum { LEAST = 6 }; /* two characters of three bytes */
    if ((unsigned char)*at < IDEOGRAM_LEAD)
        return 0;
    while (*name) {
        size_t size = word_at(name);
        if (size >= LEAST && (unsigned char)*name >= IDEOGRAM_LEAD && strncmp(at, name, size) == 0)
            return size;
        name += size ? size : 1;
    }
    return 0;
}

/* ---- all of it ---- */

static const struct {
    const char *instead, *says;
} KINDS[] = {[MASK_MAIL] = {"[mail address]", "a mail address"},
             [MASK_PHONE] = {"[phone]", "a phone number"},
             [MASK_NAME] = {"[name]", "the caller's name"}};

const char *mask_says(enum mask_kind kind)
{
    return KINDS[kind].says;
}

/* Where a word or a number begins: within one only scripts without blanks are looked into. */
static bool begins(const char *text, const char *at)
{
    if (at == text)
        return true;
    unsigned char before = (unsigned char)at[-1], now = (unsigned char)*at;
    bool word_before = isalnum(before) || before >= 0x80;
    bool word_now = isalnum(now) || now >= 0x80;
    return !word_before || !word_now;
}

/* Bytes of what is contact data here, 0 if nothing is. */
static size_t contact_at(const char *text, const char *at, const struct mask_options *o,
                         enum mask_kind *ret)
{
    const char *name = contact_text(o->contact, "name");
    size_t length = ideograms_at(at, name);
    *ret = MASK_NAME;
    if (length || !begins(text, at))
        return length;
    *ret = MASK_MAIL;
    length = address_at(at);
    if (length)
        return length;
    *ret = MASK_PHONE;
    length = mask_phone_at(text, at, o);
    if (length)
        return length;
    *ret = MASK_NAME;
    length = word_at(at);
    return length && is_of_name(at, length, name) ? length : 0;
}

/* Bytes of what looks like a number to dial and is none. */
static size_t harmless_at(const char *text, const char *at, const struct mask_options *o)
{
    assert(at >= text);
    size_t length = begins(text, at) ? mask_phone_not_at(at) : 0;
    struct mask_options own = *o;
    own.sure = true;
    return length && !mask_phone_at(text, at, &own) ? length : 0;
}

static void append_plain(struct text_buffer *out, const char *at, size_t length, bool one_line)
{
    assert(length > 0);
    bool control = (unsigned char)*at < ' ' || *at == 0x7f;
    if (!control || !one_line)
        text_append_bytes(out, at, length);
    else if (out->length && out->data[out->length - 1] != ' ')
        text_append(out, " ");
}

char *mask_text(const char *text, const struct mask_options *options, mask_found found, void *arg)
{
    struct text_buffer out = {0};
    text_append(&out, "");
    for (const char *at = text; *at;) {
        enum mask_kind kind;
        size_t harmless = harmless_at(text, at, options);
        size_t length = harmless ? 0 : contact_at(text, at, options, &kind);
        if (length) {
            if (found)
                found(arg, kind, at, length);
            text_append(&out, KINDS[kind].instead);
        } else {
            length = harmless ? harmless : 1;
            append_plain(&out, at, length, options->one_line);
        }
        at += length;
    }
    return text_take(&out);
}

char *mask_contact(const char *text, const json_t *contact)
{
    return mask_text(text, &(struct mask_options){.contact = contact, .one_line = true}, NULL,
                     NULL);
}
