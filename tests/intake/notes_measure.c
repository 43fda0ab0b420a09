/* How well notes are read: what a careful clerk would tick on the form beside what the lexicon
 * takes. Reads lines "note<TAB>language<TAB>field=value;field=value": fields by the last part of
 * their name ("colour" of observed/colour), lists with commas; besides, for the note and not
 * judged, at=2026-11-25 the day it was received (if missing, that one) and for=mold the symptom, if
 * it was chosen before. Lines that begin with # are skipped. Says for each field precision (of what
 * was taken, how much is right), recall (of what is told, how much was taken), and notes wholly
 * right. usage: notes_measure [-v] [-r PRECISION RECALL] [LEXICON] <LIST -v names each that was
 * taken wrongly or missed; -r fails below these */
#include "base/text.h"
#include "base/when.h"
#include "intake/fields.h"
#include "intake/lexicon.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE = 1 << 16, FIELDS = 64, PAIRS = 40 };

struct tally {
    int right, wrong, missed;
};
struct sums {
    struct tally all, of[FIELDS];
    int notes, whole;
    bool verbose;
};
/* What one note is told to say. */
struct label {
    char *note, *pairs[PAIRS];
    int count;
    const char *symptom;
    int32_t today;
};

static bool read_label(char *line, struct label *ret)
{
    char *language = strchr(line, '\t'), *told = language ? strchr(language + 1, '\t') : NULL;
    if (!told || *line == '#')
        return false;
    *language = *told++ = '\0';
    told[strcspn(told, "\r\n")] = '\0';
    *ret = (struct label){.note = line, .today = day_from_civil(2026, 11, 25)};
    char *save = NULL;
    for (char *pair = strtok_r(told, ";", &save); pair; pair = strtok_r(NULL, ";", &save)) {
        pair += strspn(pair, " ");
        if (strncmp(pair, "at=", 3) == 0)
            day_parse(pair + 3, &ret->today, NULL);
        else if (strncmp(pair, "for=", 4) == 0)
            ret->symptom = pair + 4;
        else if (ret->count < PAIRS)
            ret->pairs[ret->count++] = pair;
    }
    return true;
}

static int index_of(const char *pair)
{
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(pair, "="), pair);
    const struct field *field = fields_named(name);
    return field && field - fields_all() < FIELDS ? (int)(field - fields_all()) : FIELDS - 1;
}

/* "sour,cheesy" however it was ordered */
static bool same_list(const char *told, const json_t *list)
{
    size_t words = 1;
    for (const char *p = told; *p; p++)
        words += *p == ',';
    for (size_t i = 0; i < json_array_size(list); i++) {
        const char *word = json_string_value(json_array_get(list, i));
        const char *at = word ? strstr(told, word) : NULL;
        if (!at)
            return false;
    }
    return words == json_array_size(list);
}

static bool same(const char *told, const json_t *value)
{
    if (json_is_array(value))
        return same_list(told, value);
    if (json_is_string(value))
        return strcmp(told, json_string_value(value)) == 0;
    char *text = json_dumps(value, JSON_ENCODE_ANY);
    bool equal = strcmp(told, text) == 0;
    free(text);
    return equal;
}

static const char *told_for(const struct label *label, int field)
{
    for (int i = 0; i < label->count; i++)
        if (index_of(label->pairs[i]) == field)
            return label->pairs[i] + strcspn(label->pairs[i], "=") + 1;
    return NULL;
}

static bool is_judged(const struct field *field, const struct label *label)
{
    return strcmp(field->name, "harm") != 0 && strcmp(field->name, "note") != 0 &&
           !(label->symptom && strcmp(field->name, "symptom") == 0);
}

static void judge(struct sums *sums, const struct label *label, const json_t *filled)
{
    bool whole = true;
    for (const struct field *f = fields_all(); f->name; f++) {
        int index = (int)(f - fields_all());
        const json_t *value = fields_get(filled, f);
        const char *told = told_for(label, index);
        if (!is_judged(f, label) || (!value && !told))
            continue;
        bool right = value && told && same(told, value);
        struct tally *tallies[] = {&sums->all, &sums->of[index]};
        for (int i = 0; i < 2; i++) {
            tallies[i]->right += right;
            tallies[i]->wrong += value && !right;
            tallies[i]->missed += told && !right;
        }
        whole = whole && right;
        if (sums->verbose && !right) {
            char *text = value ? json_dumps(value, JSON_ENCODE_ANY) : NULL;
            printf("%s: %s instead of %s: %s\n", fields_leaf(f), text ? text : "nothing",
                   told ? told : "nothing", label->note);
            free(text);
        }
    }
    sums->notes++;
    sums->whole += whole;
}

static double share(int part, int rest)
{
    return part + rest ? (double)part / (part + rest) : 1;
}

static void print(const char *name, const struct tally *t)
{
    if (t->right + t->wrong + t->missed)
        printf("%-16s %4d told  precision %.3f  recall %.3f\n", name, t->right + t->missed,
               share(t->right, t->wrong), share(t->right, t->missed));
}

static void measure(const struct lexicon *lexicon, struct sums *sums)
{
    static char line[LINE];
    struct label label;
    while (fgets(line, sizeof line, stdin)) {
        if (!read_label(line, &label))
            continue;
        json_t *taken, *complaint = json_pack("{s:s}", "note", label.note);
        if (label.symptom)
            json_object_set_new(complaint, "symptom", json_string(label.symptom));
        json_t *filled = lexicon_fill(lexicon, complaint, label.today, &taken);
        judge(sums, &label, filled);
        json_decref(filled);
        json_decref(taken);
        json_decref(complaint);
    }
}

int main(int argc, char **argv)
{
    static struct sums sums;
    const char *folder = ODDLOAF_SOURCE_DIR "/rules/lexicon";
    double precision = 0, recall = 0;
    struct lexicon *lexicon = NULL;
    struct error err = {0};
    char text[1024];
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "-v") == 0)
            sums.verbose = true;
        else if (strcmp(argv[i], "-r") == 0 && i + 2 < argc) {
            precision = strtod(argv[++i], NULL);
            recall = strtod(argv[++i], NULL);
        } else
            folder = argv[i];
    }
    if (lexicon_load(folder, NULL, NULL, &lexicon, &err)) {
        fprintf(stderr, "%s\n", error_format(&err, text, sizeof text));
        return 1;
    }
    measure(lexicon, &sums);
    for (const struct field *f = fields_all(); f->name; f++)
        print(fields_leaf(f), &sums.of[f - fields_all()]);
    print("all", &sums.all);
    printf("%d of %d notes wholly right\n", sums.whole, sums.notes);
    lexicon_free(lexicon);
    bool good = share(sums.all.right, sums.all.wrong) >= precision &&
                share(sums.all.right, sums.all.missed) >= recall;
    return sums.notes && good ? 0 : 1;
}
