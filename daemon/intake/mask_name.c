#include "intake/mask_name.h"
#include "base/text.h"
#include "intake/look_alike.h"
#include "intake/title.h"
#include <assert.h>
#include <ctype.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LEAST = 3, WORD_MOST = 64, IDEOGRAM_FIRST = 0x3040, IDEOGRAM_LAST = 0xD7FF };
enum { GLUED_MOST = 4, APART_MOST = 3 };
enum { BYTES_MOST = 400 }; /* of a word: it may begin behind each apostrophe of a text of them */

/* Parts of names that are words of their own: to mask them would spoil the note. */
static const char *const PARTICLES[] = {
    "del", "las", "los", "van", "von", "der", "den", "dos", "das", "the", "and", "de",
    "da",  "di",  "du",  "la",  "le",  "el",  "of",  "no",  "an",  "so",  "my",  "it",
    "is",  "in",  "on",  "we",  "he",  "mr",  "ms",  "dr",  "to",  "at",  "if",  NULL};

/* What stands before a name, where what follows has a capital: "this is Rose", "ask for Brown". */
static const char *const BEFORE[] = {"is",  "am",  "m",    "for",   "ask", "soy",
                                     "bin", "ist", "aqui", "llamo", NULL};

static bool is_one_of(const char *word, const char *const *words)
{
    while (*words && strcmp(word, *words) != 0)
        words++;
    return *words != NULL;
}

/* ---- characters ---- */

enum kind { KIND_OTHER, KIND_LETTER, KIND_DIGIT, KIND_APOSTROPHE, KIND_UNSEEN };

/* After the Unicode Character Database: of what is beyond ASCII, all that is not here is taken for
 * a letter. In order. */
static const struct {
    uint32_t first, last;
    enum kind kind;
} KINDS[] = {{0x80, 0xA9, KIND_OTHER},          {0xAB, 0xAC, KIND_OTHER},
             {0xAD, 0xAD, KIND_UNSEEN},         {0xAE, 0xB3, KIND_OTHER},
             {0xB4, 0xB4, KIND_APOSTROPHE},     {0xB6, 0xB9, KIND_OTHER},
             {0xBB, 0xBF, KIND_OTHER},          {0xD7, 0xD7, KIND_OTHER},
             {0xF7, 0xF7, KIND_OTHER},          {0x2B9, 0x2BF, KIND_APOSTROPHE},
             {0x34F, 0x34F, KIND_UNSEEN},       {0x55A, 0x55A, KIND_APOSTROPHE},
             {0x61C, 0x61C, KIND_UNSEEN},       {0x180B, 0x180F, KIND_UNSEEN},
             {0x2000, 0x200A, KIND_OTHER},      {0x200B, 0x200F, KIND_UNSEEN},
             {0x2010, 0x2017, KIND_OTHER},      {0x2018, 0x201B, KIND_APOSTROPHE},
             {0x201C, 0x2029, KIND_OTHER},      {0x202A, 0x202E, KIND_UNSEEN},
             {0x202F, 0x2031, KIND_OTHER},      {0x2032, 0x2032, KIND_APOSTROPHE},
             {0x2033, 0x205F, KIND_OTHER},      {0x2060, 0x206F, KIND_UNSEEN},
             {0x2070, 0x20CF, KIND_OTHER},      {0x2190, 0x249B, KIND_OTHER},
             {0x249C, 0x24E9, KIND_LETTER},     {0x24EA, 0x2BFF, KIND_OTHER},
             {0x3000, 0x3004, KIND_OTHER},      {0x3008, 0x303F, KIND_OTHER},
             {0xFE00, 0xFE0F, KIND_UNSEEN},     {0xFE10, 0xFE1F, KIND_OTHER},
             {0xFE30, 0xFE6F, KIND_OTHER},      {0xFEFF, 0xFEFF, KIND_UNSEEN},
             {0xFF01, 0xFF06, KIND_OTHER},      {0xFF07, 0xFF07, KIND_APOSTROPHE},
             {0xFF08, 0xFF0F, KIND_OTHER},      {0xFF10, 0xFF19, KIND_DIGIT},
             {0xFF1A, 0xFF20, KIND_OTHER},      {0xFF3B, 0xFF3F, KIND_OTHER},
             {0xFF40, 0xFF40, KIND_APOSTROPHE}, {0xFF5B, 0xFF65, KIND_OTHER},
             {0x1F000, 0x1F10F, KIND_OTHER},    {0x1F110, 0x1F189, KIND_LETTER},
             {0x1F18A, 0x1F1E5, KIND_OTHER},    {0x1F1E6, 0x1F1FF, KIND_LETTER},
             {0x1F200, 0x1FAFF, KIND_OTHER},    {0xE0000, 0xE01FF, KIND_UNSEEN}};

/* Bytes of the character; a malformed byte is one by itself. */
static size_t char_at(const char *at, uint32_t *ret)
{
    const unsigned char *s = (const unsigned char *)at;
    size_t size = s[0] < 0xC0 ? 1 : s[0] < 0xE0 ? 2 : s[0] < 0xF0 ? 3 : 4;
    *ret = size == 1 ? s[0] : s[0] & (0xFFu >> (size + 1));
    for (size_t i = 1; i < size; i++) {
        if ((s[i] & 0xC0) != 0x80)
            return 1;
        *ret = *ret << 6 | (s[i] & 0x3Fu);
    }
    return size;
}

static enum kind kind_of(uint32_t c)
{
    if (c < 0x80)
        return isalpha((int)c)         ? KIND_LETTER
               : isdigit((int)c)       ? KIND_DIGIT
               : c == '\'' || c == '`' ? KIND_APOSTROPHE
                                       : KIND_OTHER;
    for (size_t i = 0; i < sizeof KINDS / sizeof KINDS[0] && c >= KINDS[i].first; i++)
        if (c <= KINDS[i].last)
            return KINDS[i].kind;
    return KIND_LETTER;
}

static enum kind kind_at(const char *at)
{
    uint32_t c;
    char_at(at, &c);
    return kind_of(c);
}

static const char *before(const char *text, const char *at)
{
    assert(at > text);
    for (at--; at > text && ((unsigned char)*at & 0xC0) == 0x80;)
        at--;
    return at;
}

static bool is_of_word(enum kind kind)
{
    return kind == KIND_LETTER || kind == KIND_DIGIT;
}

bool mask_name_begins(const char *text, const char *at)
{
    assert(at >= text);
    if (at == text)
        return true;
    return !is_of_word(kind_at(before(text, at))) || !is_of_word(kind_at(at));
}

size_t mask_name_word_at(const char *at)
{
    size_t length = 0, end = 0;
    for (uint32_t c; at[length] && length < BYTES_MOST;) {
        size_t size = char_at(at + length, &c);
        enum kind kind = kind_of(c);
        if (kind == KIND_OTHER || kind == KIND_DIGIT)
            break;
        length += size;
        if (kind == KIND_LETTER)
            end = length;
    }
    return end;
}

char *mask_name_plain(const char *text)
{
    struct text_buffer out = {0};
    text_append(&out, "");
    for (uint32_t c; *text;) {
        size_t size = char_at(text, &c);
        enum kind kind = kind_of(c);
        if (kind == KIND_APOSTROPHE)
            text_append(&out, "'");
        else if (kind != KIND_UNSEEN)
            text_append_bytes(&out, text, size);
        text += size;
    }
    return text_take(&out);
}

static bool is_ideogram(uint32_t c)
{
    return c >= IDEOGRAM_FIRST && c <= IDEOGRAM_LAST;
}

/* ---- folding ---- */

/* ü is written "u" by some and "ue" by others; a Cyrillic "о" reads as a Latin one. */
struct folded {
    char plain[WORD_MOST], spelled[WORD_MOST], alike[WORD_MOST];
};

static void add(char to[WORD_MOST], const char *letters)
{
    size_t length = strlen(to), more = strlen(letters);
    if (length + more < WORD_MOST)
        memcpy(to + length, letters, more + 1);
}

static const char *spelled(uint32_t c, const char *plain)
{
    switch (c) {
    case 0xC4:
    case 0xE4:
        return "ae";
    case 0xC5:
    case 0xE5:
    case 0x212B:
        return "aa";
    case 0xD6:
    case 0xF6:
    case 0xD8:
    case 0xF8:
        return "oe";
    case 0xDC:
    case 0xFC:
        return "ue";
    case 0x308: /* the two points by themselves */
        return "e";
    default:
        return plain;
    }
}

char *mask_name_spelled(const char *text)
{
    struct text_buffer out = {0};
    bool any = false;
    for (uint32_t c; *text;) {
        size_t size = char_at(text, &c);
        const char *letters = spelled(c, NULL);
        text_append_bytes(&out, letters ? letters : text, letters ? strlen(letters) : size);
        any = any || letters;
        text += size;
    }
    char *whole = text_take(&out);
    if (any)
        return whole;
    free(whole);
    return NULL;
}

static void fold_char(const char *at, size_t size, uint32_t c, struct folded *to)
{
    char one[8] = {0}, plain[16], latin[2] = {look_alike_of(c), '\0'};
    memcpy(one, at, size);
    text_fold(one, plain, sizeof plain);
    add(to->plain, plain);
    add(to->spelled, spelled(c, plain));
    add(to->alike, *latin ? latin : plain);
}

static bool is_same(const struct folded *a, const struct folded *b)
{
    return strcmp(a->plain, b->plain) == 0 || strcmp(a->spelled, b->plain) == 0 ||
           strcmp(a->plain, b->spelled) == 0 || strcmp(a->alike, b->alike) == 0;
}

/* ---- the name ---- */

struct part {
    struct folded word;
    const char *raw; /* in mask_names.name */
    size_t length;
    int place; /* in the name */
    bool common, ideograms;
};
struct mask_names {
    char *name;
    struct part *part;
    size_t count, capacity;
    bool prose;
};

static void add_part(struct mask_names *n, const char *raw, size_t length, int place)
{
    struct part part = {.raw = raw, .length = length, .place = place};
    for (size_t i = 0; i < length;) {
        uint32_t c;
        size_t size = char_at(raw + i, &c);
        enum kind kind = kind_of(c);
        if (kind == KIND_LETTER) {
            fold_char(raw + i, size, c, &part.word);
            part.ideograms = part.ideograms || is_ideogram(c);
        }
        i += size;
    }
    if (strlen(part.word.plain) < 2 || is_one_of(part.word.plain, PARTICLES))
        return;
    part.common = mask_words_common(part.word.plain);
    if (n->count == n->capacity) {
        n->capacity = n->capacity ? 2 * n->capacity : 8;
        n->part = xrealloc(n->part, n->capacity * sizeof *n->part);
    }
    n->part[n->count++] = part;
}

/* "O'Hara": the whole word, and what stands between its apostrophes. */
static void add_word(struct mask_names *n, const char *at, size_t length, int place)
{
    size_t from = 0;
    bool parted = false;
    for (size_t i = 0; i < length;) {
        uint32_t c;
        size_t size = char_at(at + i, &c);
        if (kind_of(c) == KIND_APOSTROPHE) {
            add_part(n, at + from, i - from, place);
            from = i + size;
            parted = true;
        }
        i += size;
    }
    if (parted)
        add_part(n, at + from, length - from, place);
    add_part(n, at, length, place);
}

struct mask_names *mask_name_new(const char *name, bool prose)
{
    if (!name || !*name)
        return NULL;
    struct mask_names *n = xcalloc(1, sizeof *n);
    n->name = xstrdup(name);
    n->prose = prose;
    int place = 0;
    for (const char *at = n->name; *at;) {
        uint32_t c;
        size_t length = mask_name_word_at(at);
        if (length)
            add_word(n, at, length, place++);
        at += length ? length : char_at(at, &c);
    }
    return n;
}

void mask_name_free(struct mask_names *names)
{
    if (!names)
        return;
    free(names->part);
    free(names->name);
    free(names);
}

/* ---- in a text ---- */

/* `capital`: two letters are a name where they are written as one: "Li", not "li". */
static const struct part *find(const struct mask_names *n, const struct folded *word, bool capital)
{
    size_t length = strlen(word->plain);
    if (length < 2 || (length < NAME_LEAST && !capital))
        return NULL;
    for (size_t i = 0; i < n->count; i++)
        if (is_same(&n->part[i].word, word))
            return &n->part[i];
    return NULL;
}

/* Where a word ends, or with the "s" of a plural or a possessor. */
static bool is_end(const char *at, const char *word)
{
    size_t length = strlen(word);
    if (kind_at(at) != KIND_LETTER)
        return true;
    if (length < NAME_LEAST)
        return false;
    if (*at == 's' || *at == 'S')
        return kind_at(at + 1) != KIND_LETTER;
    bool hisses = strchr("sxzh", word[length - 1]) != NULL;
    return hisses && strncasecmp(at, "es", 2) == 0 && kind_at(at + 2) != KIND_LETTER;
}

struct hit {
    size_t length;
    const struct part *part;
    bool whole; /* one part and no more */
};

/* The longest part of the name here, or parts in one: "ZenobiaQuarrel". */
static struct hit hit_at(const struct mask_names *n, const char *at, int depth)
{
    struct hit best = {0};
    struct folded word = {0};
    for (size_t length = 0; at[length];) {
        uint32_t c;
        size_t size = char_at(at + length, &c);
        enum kind kind = kind_of(c);
        if (kind == KIND_OTHER || kind == KIND_DIGIT || strlen(word.plain) + 3 >= WORD_MOST)
            break;
        length += size;
        if (kind != KIND_LETTER)
            continue;
        fold_char(at + length - size, size, c, &word);
        const struct part *part = find(n, &word, text_is_capital(at));
        if (!part)
            continue;
        if (is_end(at + length, part->word.plain)) {
            best = (struct hit){length, part, true};
        } else if (depth < GLUED_MOST && strlen(word.plain) >= NAME_LEAST) {
            struct hit rest = hit_at(n, at + length, depth + 1);
            if (rest.part)
                best = (struct hit){length + rest.length, part, false};
        }
    }
    return best;
}

/* Scripts that set no blanks between words: two characters or more of a part of the name. */
static size_t ideograms_at(const struct mask_names *n, const char *at)
{
    size_t best = 0;
    for (size_t i = 0; i < n->count; i++) {
        const struct part *part = &n->part[i];
        for (size_t from = 0; part->ideograms && from < part->length;) {
            uint32_t c, said;
            size_t same = 0, size, count = 0;
            while (from + same < part->length) {
                size = char_at(part->raw + from + same, &c);
                if (!is_ideogram(c) || char_at(at + same, &said) != size || said != c)
                    break;
                same += size;
                count++;
            }
            if (count >= 2 && same > best)
                best = same;
            from += char_at(part->raw + from, &c);
        }
    }
    return best;
}

/* ---- a name that is a word as well ---- */

/* Between the words of one name: a blank, a stop, a slash, a hyphen of any kind. */
static bool is_apart(uint32_t c)
{
    return (c && c < 0x80 && strchr(" ,.-_/", (int)c)) || c == 0xA0 || c == 0xAD || c == 0x2212 ||
           (c >= 0x2010 && c <= 0x2015);
}

static const char *skip_apart(const char *at)
{
    uint32_t c;
    size_t size;
    for (int i = 0; i < APART_MOST && *at; i++, at += size) {
        size = char_at(at, &c);
        if (!is_apart(c))
            break;
    }
    return at;
}

static const char *back_apart(const char *text, const char *at)
{
    uint32_t c;
    for (int i = 0; i < APART_MOST && at > text; i++) {
        char_at(before(text, at), &c);
        if (!is_apart(c))
            break;
        at = before(text, at);
    }
    return at;
}

/* `first` and `then` stand side by side in the text, with what is `between`, and both make one
 * name. "I will, green spots": a comma parts two words, unless capitals tell that they are names.
 */
static bool go_together(const struct part *first, const struct part *then, const char *between,
                        bool capitals)
{
    if (first->place == then->place)
        return false;
    bool row = then->place == first->place + 1 && *between != ',' && *between != '.';
    return !first->common || !then->common || capitals || row;
}

/* The word before, if it is one. Returns where it begins, NULL if there is none. */
static const char *word_before(const char *text, const char *at)
{
    at = back_apart(text, at);
    const char *from = at;
    while (from > text && kind_at(before(text, from)) == KIND_LETTER)
        from = before(text, from);
    return from < at ? from : NULL;
}

/* "my name is rose", "me llamo rosa", at its last word before the name: the word is one. */
static bool is_told(const char *text, const char *from, const char *word)
{
    static const char *const SAY[] = {"llamo", "heisse", "heise", NULL}, *const IS[] = {"is", "es",
                                                                                        "ist",
                                                                                        NULL};
    static const char *const NAMES[] = {"name", "nombre", NULL};
    if (is_one_of(word, SAY))
        return true;
    const char *name = is_one_of(word, IS) ? word_before(text, from) : NULL;
    for (size_t i = 0; name && NAMES[i]; i++)
        if (strncasecmp(name, NAMES[i], strlen(NAMES[i])) == 0 &&
            mask_name_word_at(name) == strlen(NAMES[i]))
            return true;
    return false;
}

static bool follows_name(const struct mask_names *n, const char *text, const char *at,
                         const struct part *part)
{
    char word[WORD_MOST];
    const char *from = word_before(text, at);
    if (!from)
        return false;
    size_t length = mask_name_word_at(from);
    char *said = xstrndup(from, length < WORD_MOST ? length : WORD_MOST - 1);
    text_fold(said, word, sizeof word);
    free(said);
    if (title_is(word) || strcmp(word, "named") == 0 || is_told(text, from, word) ||
        (text_is_capital(at) && is_one_of(word, BEFORE)))
        return true;
    struct hit hit = hit_at(n, from, 0);
    return hit.part && go_together(hit.part, part, from + hit.length,
                                   text_is_capital(from) && text_is_capital(at));
}

/* "call Brown back": a word has no capital within a sentence, but in a text of capitals. */
static bool is_written_as_name(const char *text, const char *at, struct hit hit)
{
    uint32_t c;
    const char *second = at + char_at(at, &c), *end = at + hit.length;
    const char *last = at;
    while (last > text && last[-1] == ' ')
        last--;
    if (!text_is_capital(at) || text_is_capital(second) || last == text ||
        mask_words_dates(hit.part->word.plain))
        return false;
    bool within = last[-1] == ',' || kind_at(before(text, last)) == KIND_LETTER;
    return within && kind_at(skip_apart(end)) != KIND_DIGIT;
}

static bool is_named(const struct mask_names *n, const char *text, const char *at, struct hit hit)
{
    const char *end = at + hit.length;
    if (!hit.part->common || !hit.whole)
        return true;
    uint32_t c;
    size_t mark = char_at(end, &c);
    bool owns = kind_of(c) == KIND_APOSTROPHE && (end[mark] == 's' || end[mark] == 'S');
    if ((owns && text_is_capital(at)) || (n->prose && is_written_as_name(text, at, hit)))
        return true;
    const char *then = skip_apart(end);
    struct hit next = then > end ? hit_at(n, then, 0) : (struct hit){0};
    if (next.part &&
        go_together(hit.part, next.part, end, text_is_capital(at) && text_is_capital(then)))
        return true;
    return follows_name(n, text, at, hit.part);
}

/* ---- letter by letter ---- */

/* Of what stands between letters any sign will do: "J*o*n*e*s", "J ♥ o ♥ n". */
static const char *skip_signs(const char *at)
{
    uint32_t c;
    size_t size;
    for (int i = 0; i < APART_MOST && *at; i++, at += size) {
        size = char_at(at, &c);
        if (kind_of(c) != KIND_OTHER && kind_of(c) != KIND_UNSEEN)
            break;
    }
    return at;
}

/* "J o n e s", "J-O-N-E-S", "J. o. n. e. s.": bytes of the longest part of the name; 0 none. */
static size_t spelled_out_at(const struct mask_names *n, const char *at)
{
    struct folded word = {0};
    size_t best = 0;
    for (const char *letter = at; strlen(word.plain) + 3 < WORD_MOST;) {
        uint32_t c;
        size_t size = char_at(letter, &c);
        if (kind_of(c) != KIND_LETTER || kind_at(letter + size) != KIND_OTHER)
            break;
        fold_char(letter, size, c, &word);
        if (strlen(word.plain) >= NAME_LEAST && find(n, &word, true))
            best = (size_t)(letter + size - at);
        const char *next = skip_signs(letter + size);
        if (next == letter + size)
            break;
        letter = next;
    }
    return best;
}

size_t mask_name_at(const struct mask_names *names, const char *text, const char *at)
{
    if (!names)
        return 0;
    size_t length = ideograms_at(names, at);
    if (length || !mask_name_begins(text, at))
        return length;
    if (kind_at(at) != KIND_LETTER)
        return 0;
    struct hit hit = hit_at(names, at, 0);
    return hit.part && is_named(names, text, at, hit) ? hit.length : spelled_out_at(names, at);
}
