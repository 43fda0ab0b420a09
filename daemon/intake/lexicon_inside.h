/* What the lexicon's parts share: phrases as loaded, words as read. Not for other layers. */
#ifndef ODDLOAF_INTAKE_LEXICON_INSIDE_H
#define ODDLOAF_INTAKE_LEXICON_INSIDE_H

#include "intake/common_words.h"
#include "intake/fields.h"
#include "intake/harm_weights.h"
#include "intake/harm_words.h"
#include "intake/lexicon.h"
#include "intake/word_set.h"
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define LEXICON_WORD 32   /* bytes of a folded word, NUL counted */
#define LEXICON_SETS 48   /* sets of one language */
#define LEXICON_FIELDS 60 /* fields of one language */
/* Phrases are kept by what they begin with: a letter or digit, a number, one of the sets. */
#define LEXICON_NUMBERS 27
#define LEXICON_STARTS (LEXICON_NUMBERS + 1 + LEXICON_SETS)

/* One word of a phrase: a word, the beginning of one ("smell*"), a number ("#"), any word of a
 * named set ("@smell"), a few words of any kind ("_"), or a comma that may stand there (","). */
struct lexeme {
    char text[LEXICON_WORD];
    size_t length;
    bool prefix, number, gap, comma;
    bool exact; /* no other word is a misspelling of it */
    int set;    /* index into sets; -1: none */
};
struct lexeme_list {
    struct lexeme *items;
    int count;
    int whole; /* of a list that is searched: so many whole words in front, by the alphabet */
};
struct lexicon_set {
    const char *name;
    struct lexeme_list words;
};
/* Words that mean something wherever they stand. */
enum lexicon_list {
    LEXICON_NEGATION,   /* "not", "sin" */
    LEXICON_NEGATED_BY, /* right after: "free" */
    LEXICON_STOPS,      /* a negation does not reach over these: "but" */
    LEXICON_JOINS,      /* carry a negation over commas: "or", "ni" */
    LEXICON_SUBJECTS,   /* who somebody speaks of: "my", "she" */
    LEXICON_CARRIERS,   /* between a denial and its subject: "nobody *in* my family" */
    LEXICON_FILLER,     /* may stand between the words of a phrase */
    LEXICON_PLAIN,      /* real words, never a misspelling of another */
    LEXICON_SUPPOSED,   /* what is behind was thought first: "thought", "al principio" */
    LEXICON_CORRECTS,   /* what is behind holds: "actually", "mejor dicho" */
    LEXICON_CONTESTS,   /* who says what: "says", "dice" */
    LEXICON_ASKS,       /* begin what is asked, not told: "is", "do" */
    LEXICON_WONDERS,    /* in a question that tells nevertheless: "normal", "supposed" */
    LEXICON_AGREES,     /* tell what was asked: "yes" */
    LEXICON_PRODUCT,    /* what the bakery makes: "loaf" */
    LEXICON_WHICH,      /* a "one" behind them counts nothing: "this one" */
    LEXICON_LISTS
};
/* What finding a phrase says of its field. */
enum lexicon_says {
    LEXICON_ANSWER,
    LEXICON_DAY,   /* a day told near it is the field's, or that from which days are counted */
    LEXICON_CODE,  /* a code told behind it is the field's */
    LEXICON_OTHER, /* a day or a code near it is something else's */
    LEXICON_OPEN,  /* one of several answers: "white" */
    LEXICON_HEDGE, /* what its clause says may be so: "maybe" */
    LEXICON_ASIDE, /* what its clause says from there on is of something else, asked or advised */
    LEXICON_APART, /* all that its clause says is of another time or other bread: "in June" */
    LEXICON_IDLE   /* all that the note says is of no trouble: "no complaint" */
};
struct lexicon_phrase {
    enum lexicon_says says;
    struct lexeme_list words;
    int field;        /* index into fields; -1: a phrase that stands for nothing ("sour cream") */
    const char *word; /* NULL for numbers and yes/no */
    long plus, times; /* FIELD_WHOLE: plus, or number × times */
    bool yes;         /* FIELD_BOOL */
    bool again;       /* FIELD_WHOLE: of what was counted last, if it is this */
    int alike;        /* phrases of its start, from this on, that begin with the same word */
    int second;       /* the same, whose word has the same second letter */
};
struct lexicon_field {
    const struct field *field;
    const struct field *instead_of; /* its words say nothing of that one; or NULL */
    unsigned symptoms;              /* bit 1 << index into the words of symptom */
    uint64_t beside; /* sets one of whose words must stand in a long clause with it; 0: none */
};
/* A whole word of the lists and sets, and which have it. */
struct lexicon_entry {
    const char *text; /* of its lexeme */
    unsigned lists;   /* bit an enum lexicon_list */
    uint64_t sets;    /* bit a set */
};
struct lexicon_language {
    json_t *document; /* owns the texts above */
    struct lexicon_set *sets;
    struct lexicon_field *fields;
    struct lexicon_phrase *phrases;
    int set_count, field_count, phrase_count;
    int *starts[LEXICON_STARTS]; /* phrases by what their first word begins with, those of one
                                  * word together; -1 ends */
    struct lexeme_list lists[LEXICON_LISTS];
    struct lexicon_entry *entries; /* by the alphabet */
    int entry_count;
    json_t *numbers; /* borrowed: word → number */
    json_t *days;    /* borrowed: word → as said_date() knows it, or NULL */
};
struct lexicon {
    int64_t number;
    struct lexicon_language *languages;
    int count;
    struct word_set known; /* every whole word of every language */
    struct common_words *common;
    struct harm_words *harm;
    struct harm_weights *weights;
};

enum pause { PAUSE_NONE, PAUSE_COMMA, PAUSE_SENTENCE };
/* One word of a note, and where in the note it stands. */
struct note_word {
    char text[LEXICON_WORD];
    size_t length, from, to;
    enum pause before;
    bool known; /* a word of a lexicon, so no misspelling of another */
    /* of the language that reads it: */
    long number;                    /* it stands for, -1 none */
    unsigned lists;                 /* bit an enum lexicon_list that has it */
    signed char sets[LEXICON_SETS]; /* distance to each set */
};

struct lexicon_match {
    const struct lexicon_phrase *phrase;
    int from, to;    /* words of the note, `to` past the last */
    int said, slips; /* words of the phrase found, letters wrong in them */
    long number;     /* what "#" stood for */
    bool negated, supposed, hedged, aside;
    bool denied; /* within: "the bag was not torn" */
    bool has_day;
    int32_t day; /* told near it */
};
/* A note as one language reads it, whatever the symptom: found once, asked for several times. */
struct language_reading {
    struct note_word *words;
    struct lexicon_match *found;
    int found_count, capacity;
};
struct reading {
    const struct lexicon_language *language;
    const struct language_reading *as; /* of that language */
    const char *note;
    const struct note_word *words; /* that language's */
    int count;
    bool *no_code;      /* by word: announced as another number by some language */
    unsigned char *day; /* by word: what it is to a day; lexicon_date() fills it */
    unsigned symptom;   /* its bit; 0: not known */
    int32_t today;      /* on which it was received, or WHEN_UNKNOWN_DAY: no day is read */
    int32_t found;      /* on which it was found, or WHEN_UNKNOWN_DAY */
    int32_t loose; /* the last one before today that is of nothing known, or WHEN_UNKNOWN_DAY */
    struct lexicon_match *matches; /* of `as`, those that stand */
    int match_count;
    uint64_t open; /* fields, by their place among all, that one language answers in two ways: no
                    * other does */
};

/* {"field","value","from"} of what was taken; takes the references of value and from. */
void lexicon_tell(json_t *taken, const char *field, json_t *value, json_t *from);
/* A person has read what was said, and what of it is harm. */
bool lexicon_is_read(const json_t *complaint);
/* Words of UTF-8 text in *ret (malloc'd): folded, apostrophes dropped, hyphens part words. Returns
 * their number. */
int lexicon_split(const char *note, struct note_word **ret);
/* "soooo siiick" as "so sick": three of a letter and more are one; "999" is a number. */
void lexicon_squeeze(struct note_word *words, int count);
/* Copies the text with what folding would lose of an ñ, ä, ö or ü ("uña" is no "una", "hätte" no
 * "hatte") marked behind the letter. */
void lexicon_keep_marks(const char *s, size_t length, char *out, size_t size);
#define LEXICON_MARK '+'
/* Small letters and digits, and `also` unless it is NUL. */
bool lexicon_is_plain(const char *text, size_t length, char also);
/* Optimal string alignment distance: insert, drop, change, swap two neighbours; at most 3. Both at
 * most LEXICON_WORD bytes. */
int lexicon_edit_distance(const char *a, size_t la, const char *b, size_t lb);
/* How far `word` is from what `lexeme` asks for: 0 the same, 1 or 2 a misspelling, -1 another. */
int lexicon_distance(const struct lexeme *lexeme,
                     const struct note_word *word); /* after lexicon_measure() */
/* Fills what the words are to the language. */
void lexicon_measure(const struct lexicon_language *language, struct note_word *words, int count);
static inline bool lexicon_is(const struct note_word *word, enum lexicon_list list)
{
    return word->lists >> list & 1;
}
/* "And": it ends what a denial reaches, and it carries one on. */
static inline bool lexicon_is_and(const struct note_word *word)
{
    return lexicon_is(word, LEXICON_STOPS) && lexicon_is(word, LEXICON_CARRIERS);
}
/* Bit of a symptom's name; 0 for NULL and other names. */
unsigned lexicon_symptom(const char *name);
/* Which of language->starts a phrase is kept under that begins with this word. */
int lexicon_start(const char *word);
/* Collects `known`; after the last language is loaded. */
void lexicon_know(struct lexicon *lexicon);
bool lexicon_knows(const struct lexicon *lexicon, const char *word);

/* "Where: side", "the day she bought it (11/14)": what stands before the word goes on with it. */
bool lexicon_goes_on(const struct reading *reading, int at);
/* A note's words as the language reads them, and every phrase of it. lexicon_unread() frees. */
void lexicon_read_as(const struct reading *note, const struct note_word *words,
                     struct language_reading *ret);
void lexicon_unread(struct language_reading *as);
/* Fills `matches` from `as` and `symptom`: those that stand, heaviest first. */
void lexicon_match(struct reading *reading);

/* Gives the matches that say when something happened the day told nearest to them. */
void lexicon_date(struct reading *reading);
/* The one code that the note tells for this field (index into the language's fields): new
 * reference, NULL if there is none or several. */
json_t *lexicon_code(const struct reading *reading, int field);
/* Marks what this language announces as another number ("order 4711"), for every language. */
void lexicon_code_others(struct reading *reading);

/* Faults go to the document's report; what there is of the language is for lexicon_language_free().
 */
void lexicon_language_read(struct doc *doc, struct lexicon_language *ret);
void lexicon_language_free(struct lexicon_language *language);

#endif
