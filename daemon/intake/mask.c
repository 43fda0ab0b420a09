#include "intake/mask.h"
#include "base/text.h"
#include "intake/mask_name.h"
#include "intake/mask_others.h"
#include "intake/mask_phone.h"
#include <assert.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

static const char *contact_text(const json_t *contact, const char *name)
{
    const char *text = json_string_value(json_object_get(contact, name));
    return text ? text : "";
}

/* ---- mail addresses ---- */

/* The sign in full width, and a small one, are typed by other keyboards. 0 if it is not here. */
static size_t at_mark(const char *at)
{
    static const char *const MARKS[] = {"@", "\xEF\xBC\xA0", "\xEF\xB9\xAB"};
    if (*at != '@' && (unsigned char)*at != 0xEF)
        return 0;
    for (size_t i = 0; i < sizeof MARKS / sizeof MARKS[0]; i++)
        if (strncmp(at, MARKS[i], strlen(MARKS[i])) == 0)
            return strlen(MARKS[i]);
    return 0;
}

/* A point, of full width too. */
static size_t point_mark(const char *at)
{
    return *at == '.' ? 1 : strncmp(at, "\xEF\xBC\x8E", 3) == 0 ? 3 : 0;
}

static bool is_address_part(const char *at)
{
    return (unsigned char)*at > ' ' && !at_mark(at) && !strchr("<>()[]{},;:\"'", *at);
}

/* " . ": a point set apart, as in "bob . stone @ mill . example". */
static size_t lone_point_at(const char *at)
{
    size_t blanks = strspn(at, " "), point = point_mark(at + blanks);
    return blanks && point ? blanks + point + strspn(at + blanks + point, " ") : 0;
}

/* Bytes of what stands before the sign, and behind it, at most: 64 and 255 by RFC 5321 4.5.3.1, and
 * more of them read out. Every word of a text may begin one, so none reads on to the text's end. */
enum { SIDE_MOST = 400 };

static size_t part_at(const char *at)
{
    size_t length = 0;
    while (length < SIDE_MOST && is_address_part(at + length) && !point_mark(at + length))
        length++;
    return length;
}

static const char BLANKS[] = " \t\r\n", OPEN[] = "([{<", CLOSED[] = ")]}>";

/* A sign of an address as it is read out, with what stands around it: " at ", "(at)", " [dot] ". 0
 * if it is not here. `signs`: what is one in brackets only: "(a)", "[.]". */
static size_t sign_at(const char *at, const char *const *words, const char *const *signs)
{
    size_t before = strspn(at, BLANKS), open = at[before] && strchr(OPEN, at[before]);
    const char *word = at + before + open + (open ? strspn(at + before + 1, BLANKS) : 0);
    const char *const *lists[] = {words, open ? signs : NULL};
    for (size_t i = 0; i < 2; i++)
        for (const char *const *one = lists[i]; one && *one; one++) {
            const char *end = word + strlen(*one);
            if (strncasecmp(word, *one, strlen(*one)) != 0)
                continue;
            const char *closed = end + strspn(end, BLANKS);
            if (open && *closed && strchr(CLOSED, *closed))
                return (size_t)(closed + 1 - at) + strspn(closed + 1, BLANKS);
            if (!open && before && closed > end)
                return (size_t)(closed - at);
        }
    return 0;
}

static const char *const AT[] = {"at", "arroba", NULL};
static const char *const AT_SIGNS[] = {"a", "@", "\xEF\xBC\xA0", "\xC3\xA4t", NULL};
static const char *const DOT[] = {"dot", "punto", "point", "punkt", NULL};
static const char *const DOT_SIGNS[] = {".", "d", NULL};
static const char *const JOINT[] = {"dot",    "punto", "point", "underscore", "dash",
                                    "hyphen", "minus", "guion", "guión",      NULL};

/* "anna dot fenwick", "anna seven": what stands before the sign, as far as it is read out. */
static size_t local_at(const char *at)
{
    size_t length = 0;
    while (length < SIDE_MOST && is_address_part(at + length))
        length++;
    for (size_t more = length; more && length < SIDE_MOST;) {
        size_t joint = sign_at(at + length, JOINT, DOT_SIGNS);
        joint = joint ? joint : lone_point_at(at + length);
        char digits[MASK_PHONE_SPOKEN];
        size_t spoken =
            at[length] == ' ' ? mask_phone_spoken_at(at + length + 1, false, digits) : 0;
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
    for (bool more = length > 0; more && length < SIDE_MOST;) {
        size_t point = point_mark(at + length);
        point = point ? point : lone_point_at(at + length);
        point = point ? point : sign_at(at + length, DOT, DOT_SIGNS);
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
    size_t mark = at_mark(at + before);
    return mark ? before + mark + strspn(at + before + mark, " ") : sign_at(at, AT, AT_SIGNS);
}

/* Bytes of the address at `at`, 0 if there is none: anna@mill.example, "anna dot fenwick at mill
 * dot example", "anna (at) mill (dot) example". */
static size_t address_at(const char *at)
{
    size_t local = local_at(at);
    if (!local)
        return 0;
    size_t mark = at_mark(at + local);
    bool plain = mark && at[local + mark] != ' ';
    size_t sign = plain ? mark : at_sign_at(at + local);
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

struct masked {
    const char *text;
    const struct mask_options *options;
    struct mask_names *names; /* the caller's */
};

/* Bytes of what is contact data here, 0 if nothing is. */
static size_t contact_at(const struct masked *m, const char *at, enum mask_kind *ret)
{
    size_t length = 0;
    *ret = MASK_NAME;
    if (!mask_name_begins(m->text, at))
        return mask_name_at(m->names, m->text, at);
    *ret = MASK_MAIL;
    length = address_at(at);
    if (length)
        return length;
    *ret = MASK_PHONE;
    length = mask_phone_at(m->text, at, m->options);
    if (length)
        return length;
    *ret = MASK_NAME;
    return mask_name_at(m->names, m->text, at);
}

size_t mask_word_at(const char *at)
{
    return mask_name_word_at(at);
}

char *mask_spelled(const char *text)
{
    return mask_name_spelled(text);
}

char *mask_plain(const char *text)
{
    return mask_name_plain(text);
}

/* Bytes of what looks like a number to dial and is none. */
static size_t harmless_at(const char *text, const char *at, const struct mask_options *o)
{
    assert(at >= text);
    size_t length = mask_name_begins(text, at) ? mask_phone_not_at(at) : 0;
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

/* The caller's, and of sentences those of others that they tell. malloc'd. */
static char *all_names(const char *text, const struct mask_options *options)
{
    struct text_buffer names = {0};
    text_append(&names, contact_text(options->contact, "name"));
    if (options->prose)
        mask_others_find(text, &names);
    return text_take(&names);
}

char *mask_text(const char *text, const struct mask_options *options, mask_found found, void *arg)
{
    struct text_buffer out = {0};
    char *names = all_names(text, options);
    const struct masked m = {text, options, mask_name_new(names, options->prose)};
    text_append(&out, "");
    free(names);
    for (const char *at = text; *at;) {
        enum mask_kind kind;
        size_t harmless = harmless_at(text, at, options);
        size_t length = harmless ? 0 : contact_at(&m, at, &kind);
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
    mask_name_free(m.names);
    return text_take(&out);
}

char *mask_contact(const char *text, const json_t *contact)
{
    return mask_text(text,
                     &(struct mask_options){.contact = contact, .prose = true, .one_line = true},
                     NULL, NULL);
}
