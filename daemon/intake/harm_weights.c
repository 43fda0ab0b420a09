/* A text's words, what each adds, and the passage where the sum is highest. */
#include "intake/harm_weights.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/harm_weights_inside.h"
#include "intake/harm_words_inside.h"
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FEATURE = 2 * LEXICON_WORD, SHORT_STEM = 4, LONG_STEM = 6, HARMLESS = HARM_WEIGHTS_KINDS };
enum { MOST = 100 }; /* of a weight or threshold */
/* Words; in fewer it says nothing how the text begins and ends, or what stands beside what: of
 * short notes most that are kept tell of harm, and so "the bread" alone weighed as illness. */
enum { PAIRS_LEAST = 4 };

struct weight {
    const char *feature; /* NULL: a free place of the table */
    double value;
    int kind; /* or HARMLESS */
    bool of_fault;
};
struct harm_weights {
    struct harm_weights *next;
    char *language; /* NULL: of all that have no file of their own */
    char *text;     /* the features, a NUL after each */
    double said, possible, doubt, sure;
    struct weight *table; /* open hash */
    size_t size, count;   /* a power of two; below half of it */
};

/* ---- the table ---- */

static size_t place_of(const struct weight *table, size_t size, const char *feature)
{
    uint32_t hash = HARM_HASH;
    for (const char *c = feature; *c; c++)
        hash = harm_words_hash_next(hash, *c);
    size_t at = hash & (size - 1);
    while (table[at].feature && strcmp(table[at].feature, feature) != 0)
        at = (at + 1) & (size - 1);
    return at;
}

static void grow(struct harm_weights *weights)
{
    size_t size = weights->size ? 2 * weights->size : 1024;
    struct weight *table = xcalloc(size, sizeof *table);
    for (size_t i = 0; i < weights->size; i++)
        if (weights->table[i].feature)
            table[place_of(table, size, weights->table[i].feature)] = weights->table[i];
    free(weights->table);
    weights->table = table;
    weights->size = size;
}

static const struct weight *find(const struct harm_weights *weights, const char *feature)
{
    if (!weights->count)
        return NULL;
    const struct weight *weight = &weights->table[place_of(weights->table, weights->size, feature)];
    return weight->feature ? weight : NULL;
}

/* ---- what may weigh ---- */

/* "#" for "4", "15mm", "2x"; "##" for years and telephone numbers. */
static const char *text_of(const struct note_word *word)
{
    size_t digits = strspn(word->text, "0123456789");
    return digits >= 3 ? "##" : digits ? "#" : word->text;
}

static void visit_stem(const char *text, size_t length, int at, harm_weights_visit visit, void *arg)
{
    char feature[FEATURE];
    if (strlen(text) <= length)
        return;
    snprintf(feature, sizeof feature, "%.*s*", (int)length, text);
    visit(arg, at, feature);
}

static void visit_pair(const char *first, const char *second, int at, harm_weights_visit visit,
                       void *arg)
{
    char feature[FEATURE];
    snprintf(feature, sizeof feature, "%s %s", first, second);
    visit(arg, at, feature);
}

void harm_weights_word(const struct note_word *words, int count, int at, harm_weights_visit visit,
                       void *arg)
{
    const char *text = text_of(&words[at]);
    bool begins = at == 0 || words[at].before == PAUSE_SENTENCE;
    if (text[1] || text[0] == '#') /* a letter by itself is a mark, an initial or a slip */
        visit(arg, at, text);
    visit_stem(text, SHORT_STEM, at, visit, arg);
    visit_stem(text, LONG_STEM, at, visit, arg);
    if (count < PAIRS_LEAST)
        return;
    visit_pair(begins ? "^" : text_of(&words[at - 1]), text, at, visit, arg);
    if (at + 1 == count || words[at + 1].before == PAUSE_SENTENCE)
        visit_pair(text, "$", at, visit, arg);
}

/* ---- a text weighed ---- */

struct weighing {
    const struct harm_weights *weights;
    struct note_word *words;
    int count;
    double *sums;  /* of the words before each */
    double *kinds; /* what speaks of each kind, of the passage */
};

static void add_value(void *arg, int at, const char *feature)
{
    struct weighing *weighing = arg;
    const struct weight *weight = find(weighing->weights, feature);
    if (weight)
        weighing->sums[at + 1] += weight->value;
}

static void add_kind(void *arg, int at, const char *feature)
{
    struct weighing *weighing = arg;
    const struct weight *weight = find(weighing->weights, feature);
    (void)at;
    if (weight && weight->kind != HARMLESS && weight->value > 0)
        weighing->kinds[weight->kind] += weight->value;
}

/* What is wrong with the bread speaks against harm, but against none that somebody tells besides:
 * of mold one may well be ill. */
static void add_doubt(void *arg, int at, const char *feature)
{
    struct weighing *weighing = arg;
    const struct weight *weight = find(weighing->weights, feature);
    if (weight && !weight->of_fault)
        weighing->sums[at + 1] += weight->value;
}

static void weighing_begin(const struct harm_weights *weights, const char *text,
                           harm_weights_visit add, struct weighing *ret)
{
    *ret = (struct weighing){.weights = weights};
    ret->count = lexicon_split(text, &ret->words);
    lexicon_squeeze(ret->words, ret->count);
    ret->sums = xcalloc((size_t)ret->count + 1, sizeof *ret->sums);
    for (int at = 0; at < ret->count; at++) {
        ret->sums[at + 1] = ret->sums[at];
        harm_weights_word(ret->words, ret->count, at, add, ret);
    }
}

static void weighing_end(struct weighing *weighing)
{
    free(weighing->sums);
    free(weighing->words);
}

static double sum_of(const struct weighing *weighing, struct harm_span span)
{
    return weighing->sums[span.to] - weighing->sums[span.from];
}

static bool begins_sentence(const struct note_word *words, int count, int at)
{
    return at == 0 || at == count || words[at].before == PAUSE_SENTENCE;
}

/* Past the last sentence that ends within a passage from `from` on; within a sentence that is
 * longer, past half a passage. */
static int passage_end(const struct note_word *words, int count, int from)
{
    int end = -1, half = from + HARM_WEIGHTS_PASSAGE / 2;
    for (int at = from + 1; at <= count && at - from <= HARM_WEIGHTS_PASSAGE; at++)
        if (begins_sentence(words, count, at))
            end = at;
    if (end >= 0 && begins_sentence(words, count, from))
        return end;
    return half < count ? half : count;
}

/* Where the next passage begins: at the next sentence, or soon, so that the halves overlap. */
static int next_begin(const struct note_word *words, int count, int from)
{
    int at = from + 1;
    while (at - from < HARM_WEIGHTS_PASSAGE / 4 && !begins_sentence(words, count, at))
        at++;
    return at;
}

static struct harm_span heaviest(const struct weighing *weighing)
{
    struct harm_span best = {0, 0};
    double most = -INFINITY;
    for (int from = 0; from < weighing->count;
         from = next_begin(weighing->words, weighing->count, from)) {
        struct harm_span passage = {from, passage_end(weighing->words, weighing->count, from)};
        double sum = sum_of(weighing, passage);
        if (sum > most) {
            most = sum;
            best = passage;
        }
        if (passage.to == weighing->count)
            break;
    }
    return best;
}

/* The words in a row that weigh most, within the passage; none if none speaks of harm. */
static struct harm_span core_of(const struct weighing *weighing, struct harm_span passage)
{
    struct harm_span core = {passage.from, passage.from}, run = core;
    double most = 0;
    while (run.to < passage.to) {
        run.to++;
        double sum = sum_of(weighing, run);
        if (sum > most) {
            most = sum;
            core = run;
        }
        if (sum <= 0)
            run.from = run.to;
    }
    return core;
}

static int kind_of(struct weighing *weighing, struct harm_span passage)
{
    double kinds[HARM_WEIGHTS_KINDS] = {0};
    int best = 0;
    weighing->kinds = kinds;
    for (int at = passage.from; at < passage.to; at++)
        harm_weights_word(weighing->words, weighing->count, at, add_kind, weighing);
    for (int kind = 1; kind < HARM_WEIGHTS_KINDS; kind++)
        if (kinds[kind] > kinds[best])
            best = kind;
    return best;
}

struct harm_weighed harm_weights_read(const struct harm_weights *weights, const char *text)
{
    struct harm_weighed ret = {.weight = HARM_WEIGHT_LOW};
    struct weighing weighing;
    if (!weights)
        return ret;
    weighing_begin(weights, text, add_value, &weighing);
    if (weighing.count) {
        struct harm_span passage = heaviest(&weighing), core = core_of(&weighing, passage);
        double sum = sum_of(&weighing, passage);
        if (core.from == core.to)
            core = passage;
        ret.weight = sum >= weights->said       ? HARM_WEIGHT_SAID
                     : sum >= weights->possible ? HARM_WEIGHT_POSSIBLE
                                                : HARM_WEIGHT_LOW;
        ret.kind = kind_of(&weighing, passage);
        ret.from = weighing.words[core.from].from;
        ret.to = weighing.words[core.to - 1].to;
    }
    weighing_end(&weighing);
    return ret;
}

/* The words of the bytes and as many before and behind as say what they are about. */
static struct harm_span words_around(const struct weighing *weighing, size_t from, size_t to)
{
    enum { AROUND = HARM_WEIGHTS_PASSAGE / 4 };
    struct harm_span span = {0, weighing->count};
    while (span.from < span.to && weighing->words[span.from].to <= from)
        span.from++;
    while (span.to > span.from && weighing->words[span.to - 1].from >= to)
        span.to--;
    span.from = span.from > AROUND ? span.from - AROUND : 0;
    span.to = weighing->count - span.to > AROUND ? span.to + AROUND : weighing->count;
    return span;
}

bool harm_weights_doubt(const struct harm_weights *weights, const char *text, size_t from,
                        size_t to)
{
    struct weighing weighing;
    if (!weights)
        return false;
    weighing_begin(weights, text, add_doubt, &weighing);
    struct harm_span around = words_around(&weighing, from, to);
    bool doubt = sum_of(&weighing, around) < weights->doubt &&
                 sum_of(&weighing, core_of(&weighing, around)) < weights->sure;
    weighing_end(&weighing);
    return doubt;
}

/* ---- loading ---- */

struct loading {
    struct harm_weights *weights;
    char *end; /* of what stands in the weights' text */
    int kind;
    double value; /* of the features of a list */
};

static void add_feature(const struct doc_place *place, const char *text, size_t length,
                        double value)
{
    struct loading *loading = place->doc->context;
    struct harm_weights *weights = loading->weights;
    char *feature = loading->end;
    memcpy(feature, text, length);
    feature[length] = '\0';
    if (!length || find(weights, feature)) {
        doc_fault(place, length ? "'%s' has a weight already" : "no word: '%s'", feature);
        return;
    }
    loading->end += length + 1;
    if (2 * (weights->count + 1) > weights->size)
        grow(weights);
    weights->table[place_of(weights->table, weights->size, feature)] =
        (struct weight){feature, value, loading->kind, false};
    weights->count++;
}

static void add_line(const struct doc_place *place, void *part)
{
    const struct loading *loading = place->doc->context;
    const char *at = json_string_value(place->value);
    (void)part;
    if (!at)
        doc_fault(place, "must be a text: words, or two in a row, with ', ' between");
    while (at && *at) {
        size_t length = strcspn(at, ",");
        add_feature(place, at, length, loading->value);
        at += length;
        at += strspn(at, ", ");
    }
}

/* "0.4": ["all night, vomi*"] */
static void add_alike(const struct doc_place *place)
{
    static const struct doc_row LINES = {.kind = DOC_LIST, .each = add_line};
    struct loading *loading = place->doc->context;
    if (text_to_double(place->name, &loading->value) || fabs(loading->value) > MOST)
        doc_fault(place, "a list stands under its words' weight, from -%d to %d", MOST, MOST);
    else
        doc_value(place, &LINES, loading);
}

static void add_weight(const struct doc_place *place, void *part)
{
    static const struct doc_row VALUE = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = -MOST, .high = MOST};
    double value = 0;
    (void)part;
    if (json_is_array(place->value))
        add_alike(place);
    else if (doc_value(place, &VALUE, &value))
        add_feature(place, place->name, strlen(place->name), value);
}

static void read_kind(const struct doc_place *place, void *part)
{
    static const struct doc_row WEIGHTS = {.kind = DOC_MAP, .each = add_weight};
    struct loading *loading = place->doc->context;
    (void)part;
    loading->kind = 0;
    while (loading->kind < HARM_WEIGHTS_KINDS &&
           strcmp(fields_find("harm")->words[loading->kind].word, place->name) != 0)
        loading->kind++;
    if (loading->kind == HARM_WEIGHTS_KINDS && strcmp(place->name, "harmless") != 0)
        doc_fault(place, "no such kind of harm");
    else
        doc_value(place, &WEIGHTS, loading);
}

static void add_fault(const struct doc_place *place, void *part)
{
    const char *text = json_string_value(place->value);
    (void)part;
    if (!text || !*text)
        doc_fault(place, "must be a text: how words of a fault of the bread begin");
}

/* How words of faults begin; by their first letters, since there are a few hundred and the words
 * they are looked for in are thousands. */
struct begins {
    const json_t *texts;
    bool first[UCHAR_MAX + 1];
};

static bool word_begins(const struct begins *begins, const char *word)
{
    bool does = false;
    for (size_t i = 0;
         begins->first[(unsigned char)*word] && !does && i < json_array_size(begins->texts); i++) {
        const json_t *text = json_array_get(begins->texts, i);
        const size_t length = json_string_length(text);
        does = length && strncmp(word, json_string_value(text), length) == 0;
    }
    return does;
}

/* One word of a feature or the other. */
static bool has_begin(const struct begins *begins, const char *feature)
{
    const char *second = strchr(feature, ' ');
    return word_begins(begins, feature) || (second && word_begins(begins, second + 1));
}

static void mark_faults(struct harm_weights *weights, const json_t *faults)
{
    struct begins begins = {.texts = faults};
    for (size_t i = 0; i < json_array_size(faults); i++) {
        const char *text = json_string_value(json_array_get(faults, i));
        begins.first[text ? (unsigned char)*text : 0] = true;
    }
    for (size_t at = 0; at < weights->size; at++) {
        struct weight *weight = &weights->table[at];
        weight->of_fault =
            weight->feature && weight->value < 0 && has_begin(&begins, weight->feature);
    }
}

static void read_file(struct doc *doc, struct harm_weights *weights)
{
    static const struct doc_row ROWS[] = {{.name = "$schema"},
                                          {.name = "note"},
                                          {.name = "language"},
                                          {"faults", DOC_LIST, .each = add_fault},
                                          {"said", DOC_NUMBER, DOC_AT(struct harm_weights, said),
                                           .low = -MOST, .high = MOST, .required = true},
                                          {"possible", DOC_NUMBER,
                                           DOC_AT(struct harm_weights, possible), .low = -MOST,
                                           .high = MOST, .required = true},
                                          {"doubt", DOC_NUMBER, DOC_AT(struct harm_weights, doubt),
                                           .low = -MOST, .high = MOST, .required = true},
                                          {"sure", DOC_NUMBER, DOC_AT(struct harm_weights, sure),
                                           .low = -MOST, .high = MOST, .required = true},
                                          {"weights", DOC_MAP, .each = read_kind, .required = true},
                                          {0}};
    struct doc_place top = doc_top(doc);
    weights->text = xmalloc(doc->text.length + 1); /* a quote or comma of it is a feature's end */
    struct loading loading = {.weights = weights, .end = weights->text};
    doc->context = &loading;
    if (doc_read(&top, ROWS, weights) &&
        (weights->doubt > weights->possible || weights->possible > weights->said))
        doc_fault(&top, "\"doubt\", \"possible\" and \"said\" must rise in this order");
    mark_faults(weights, json_object_get(doc->root, "faults"));
    doc->context = NULL;
}

static void add_file(struct doc *doc, const char *stem, void *arg)
{
    struct harm_weights **first = arg, *weights = xcalloc(1, sizeof *weights);
    const char *language = json_string_value(json_object_get(doc->root, "language"));
    struct doc_place top = doc_top(doc);
    (void)stem;
    weights->language = language ? xstrdup(language) : NULL;
    for (const struct harm_weights *other = *first; other; other = other->next)
        if (strcmp(other->language ? other->language : "", language ? language : "") == 0)
            doc_fault(&top, "another file is of the same language");
    read_file(doc, weights);
    weights->next = *first;
    *first = weights;
}

int harm_weights_load(const char *dirs, doc_report report, void *arg, struct harm_weights **ret,
                      struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct harm_weights *weights = NULL;
    doc_each(&doc, dirs, add_file, &weights);
    if (doc.first.code) {
        harm_weights_free(weights);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    *ret = weights;
    return 0;
}

const struct harm_weights *harm_weights_next(const struct harm_weights *weights)
{
    return weights->next;
}

const char *harm_weights_language(const struct harm_weights *weights)
{
    return weights->language;
}

void harm_weights_free(struct harm_weights *weights)
{
    while (weights) {
        struct harm_weights *next = weights->next;
        free(weights->table);
        free(weights->text);
        free(weights->language);
        free(weights);
        weights = next;
    }
}
