/* What the parts of the reader of harm share: patterns as loaded, a text as tagged. Not for others.
 */
#ifndef ODDLOAF_INTAKE_HARM_WORDS_INSIDE_H
#define ODDLOAF_INTAKE_HARM_WORDS_INSIDE_H

#include "intake/harm_words.h"
#include "intake/lexicon_inside.h"

#define HARM_SETS 128         /* of one language, contexts and kinds counted */
#define HARM_KINDS 6          /* as the field "harm" orders them */
#define HARM_KIND_AFFIRMED 0  /* "anyone hurt? yes": of what may be harm, said to be some */
#define HARM_KIND_MATTER 3    /* foreign matter */
#define HARM_KIND_LABEL 5     /* a wrong label */
#define HARM_KIND_OF_A_BODY 2 /* kinds up to this befall somebody, who may have been ill before */
#define HARM_ITEMS 10         /* of one pattern */
#define HARM_OWN 5            /* different words of the files that one word of a text can be */

/* What surrounds harm and changes what it means, in the order they are found. */
enum harm_context {
    CONTEXT_STOP,     /* a denial or guess ends here: "but" */
    CONTEXT_JOIN,     /* carries a denial on: "or" */
    CONTEXT_SUBJECT,  /* somebody spoken of, so that a denial ends: "no mold *my* son vomited" */
    CONTEXT_CARRIER,  /* carries a denial on to the subject behind it: "nobody *in* my family" */
    CONTEXT_DONE_TO,  /* of those what is done to somebody: "cut *my son*", who ends it all the same
                       */
    CONTEXT_TELLS,    /* where this follows, a clause of its own: "not cut *my wife was* sick" */
    CONTEXT_THING,    /* what a denial can be spent on, besides harm: "mold" */
    CONTEXT_FACTIVE,  /* what is denied is the knowing: "didn't notice the glass" */
    CONTEXT_ANY,      /* and it is not: "didn't notice any glass" */
    CONTEXT_IDLE,     /* stands for nothing: its words say no harm and deny nothing */
    CONTEXT_WAKE,     /* idle words within it say what they say: "swallowed *plastic wrap*" */
    CONTEXT_DENY,     /* harm in its reach did not happen: "no", "didn't" */
    CONTEXT_SUPPOSE,  /* harm in its reach may not have happened: "could", "if" */
    CONTEXT_CERTAIN,  /* is there whatever is supposed: "*that* nail" */
    CONTEXT_IDIOM,    /* harm within it is possible, no more: "makes me sick" */
    CONTEXT_ELSEWISE, /* illness in its sentence has another cause: "the flu" */
    CONTEXT_NO_AFTER, /* right behind harm: it did not happen ("illness: none") */
    CONTEXT_YES_AFTER, /* right behind harm: it did ("anyone ill? yes") */
    CONTEXT_YET,       /* soon behind denied harm: it did happen ("but my husband did") */
    CONTEXT_NAMED,     /* what is bare within it names something else: "sesame bun", "nut brown" */
    CONTEXT_COUNT
};
extern const char *const HARM_CONTEXTS[CONTEXT_COUNT + 1]; /* as in the files */

/* How a word of the files is compared with one of a text. */
enum harm_form {
    HARM_FORM_WHOLE,
    HARM_FORM_BEGINS, /* "word*" */
    HARM_FORM_ENDS    /* "*word" */
};
/* One word of the files. */
struct harm_word {
    char text[LEXICON_WORD];
    size_t length;
    uint32_t hash;    /* as harm_words_language_find() asks for it */
    uint64_t letters; /* bit a letter or digit: words that share few are no misspellings */
    enum harm_form form;
    bool slips;
    bool marked; /* where it stands first its letters have marks that its text has not: "übel" */
    bool mark;   /* shows its language */
};
/* One place of a pattern: any of `options`, each a word (>= 0) or a set (~set). */
struct harm_item {
    int first, count;  /* into options */
    int between;       /* words of any kind before it; 0: fillers only */
    bool begins, ends; /* a pause before it, behind it */
    bool another;      /* than what an item of the same options before it is */
};
struct harm_pattern {
    int first, count; /* into items */
    int kept;         /* so many of them are what is found, the others only follow it */
};
struct harm_set {
    char *name;
    int first, count; /* into patterns */
};
struct harm_language {
    char *name; /* NULL: the file says none */
    struct harm_word *words;
    struct harm_item *items;
    int *options;
    struct harm_pattern *patterns;
    struct harm_set sets[HARM_SETS]; /* in the order they are found */
    bool has_ends;                   /* some word is of HARM_FORM_ENDS */
    int word_count, item_count, option_count, pattern_count, set_count;
    int marks, filler; /* sets */
    int context[CONTEXT_COUNT], said[HARM_KINDS], possible, bare;
    int *table; /* open hash of words by text, the forms apart; -1 empty */
    size_t table_size;
    int *patterns_of;   /* those whose key, an item of words alone, a word is an option of, */
    int *patterns_from; /* from here on, by word; up to the next word's */
    uint64_t *keyless;  /* bit a pattern that has none */
    int *by_letter[LEXICON_NUMBERS]; /* words understood misspelled, by first letter; -1 ends */
};
struct harm_words {
    struct harm_language *languages;
    int count;
    const struct common_words *common;
};

/* What could be read of the document: all of it if no fault was reported. */
void harm_words_language_read(struct doc *doc, struct harm_language *ret);
void harm_words_language_free(struct harm_language *language);
/* The word of the table with this text; -1 none. `hash`: that of the text, by
 * harm_words_hash_next() from HARM_HASH on; of HARM_FORM_ENDS from the last letter to the first. */
int harm_words_language_find(const struct harm_language *language, const char *text, size_t length,
                             uint32_t hash, enum harm_form form);
uint32_t harm_words_hash_next(uint32_t hash, char c);
#define HARM_HASH 2166136261u /* of the empty text */
uint64_t harm_words_letters(const char *text, size_t length);

/* The language's word that this one, none of its own, misspells; -1 none. */
int harm_words_misspelled(const struct harm_words *words, const struct harm_language *language,
                          const struct note_word *word);

/* ---- a text as one language reads it ---- */

struct harm_span {
    int from, to; /* words, `to` past the last */
};
struct harm_spans {
    struct harm_span *items;
    int count, capacity;
};
struct harm_token {
    int own[HARM_OWN];             /* words of the language it is; -1: no more */
    uint64_t sets[HARM_SETS / 64]; /* that begin here */
    bool idle, denied, supposed, elsewise;
    int idiom_to; /* past the end of the idiom around it; 0: none */
};
struct harm_text {
    const struct harm_language *language;
    const struct note_word *words;
    struct harm_token *tokens;
    int count;
    struct harm_spans *spans; /* by set */
    uint64_t *may;            /* bit a pattern that may stand: its key does, or it has none */
    int *heads;               /* by word: the first of `places` where it stands, -1 none */
    struct harm_span *places; /* from: the token, to: the next place, -1 none */
};

bool harm_words_text_has(const struct harm_text *text, int at, int set);
/* Past the end of the set's span that begins at `at`; -1 if none does. */
int harm_words_text_end(const struct harm_text *text, int at, int set);
/* Finds the spans of a set; `awake`: idle words are none of its. */
void harm_words_text_find(struct harm_text *text, int set, bool awake);
/* Marks what is denied, what is supposed and what has another cause; after all sets are found.
 * `harm`: words that are part of harm. */
void harm_words_scope(struct harm_text *text, const bool *harm);

#endif
