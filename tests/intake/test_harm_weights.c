/* What words weigh: sums, passages of long notes, kinds, both readers together, files that are
 * wrong. */
#include "base/text.h"
#include "check.h"
#include "harm_list.h"
#include "intake/common_words.h"
#include "intake/fields.h"
#include "intake/harm_note.h"
#include "one_file.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define LEXICON ODDLOAF_SOURCE_DIR "/rules/lexicon"

static struct harm_weights *load_text(const char *text)
{
    struct one_file folder;
    struct harm_weights *weights = NULL;
    struct error err = {0};
    one_file_make(&folder, "harm.json", text);
    if (harm_weights_load(folder.dir, NULL, NULL, &weights, &err))
        fail_msg("%ld:%ld %s", err.line, err.column, err.text);
    one_file_end(&folder);
    return weights;
}

/* harm.json and de.json */
static struct harm_weights *load_two(const char *all, const char *german)
{
    struct one_file folder;
    struct harm_weights *loaded = NULL;
    struct error err = {0};
    char path[128];
    one_file_make(&folder, "harm.json", all);
    snprintf(path, sizeof path, "%s/de.json", folder.dir);
    FILE *file = fopen(path, "we");
    assert_non_null(file);
    fputs(german, file);
    assert_int_equal(fclose(file), 0);
    if (harm_weights_load(folder.dir, NULL, NULL, &loaded, &err))
        fail_msg("%ld:%ld %s", err.line, err.column, err.text);
    unlink(path);
    one_file_end(&folder);
    return loaded;
}

/* "said illness <the words>", "possible <the words>" or "low". */
static char *weighed(const struct harm_weights *weights, const char *note)
{
    static const char *const LEVELS[] = {"low", "possible", "said"};
    struct harm_weighed w = harm_weights_read(weights, note);
    struct text_buffer out = {0};
    assert_true(w.from <= w.to && w.to <= strlen(note));
    text_append(&out, LEVELS[w.weight]);
    if (w.weight == HARM_WEIGHT_SAID)
        text_appendf(&out, " %s", fields_find("harm")->words[w.kind].word);
    if (w.weight >= HARM_WEIGHT_POSSIBLE)
        text_appendf(&out, " <%.*s>", (int)(w.to - w.from), note + w.from);
    return text_take(&out);
}

static void check_weighed(const struct harm_weights *weights, const char *const (*cases)[2],
                          size_t count)
{
    int wrong = 0;
    for (size_t i = 0; i < count; i++) {
        char *got = weighed(weights, cases[i][0]);
        if (strcmp(got, cases[i][1]) != 0) {
            print_error("%s\n   want '%s' got '%s'\n", cases[i][0], cases[i][1], got);
            wrong++;
        }
        free(got);
    }
    assert_int_equal(wrong, 0);
}

static const char SMALL[] =
    "{\"said\": 2, \"possible\": 1, \"doubt\": -2, \"sure\": 1.5, \"weights\": {"
    "\"illness\": {\"quea*\": 1, \"queasy*\": 0.5, \"1.2\": [\"all night\"], \"2.5\": [\"# $\"]},"
    "\"injury\": {\"gash\": 2, \"0.7\": [\"hurt, ^ gash\"]},"
    "\"harmless\": {\"stale\": -1.2, \"-2\": [\"no gash, no cut\", \"no harm\"], \"stale $\": "
    "-1}}}";

static void what_stands_in_it_is_summed(void **state)
{
    static const char *const cases[][2] = {
        {"nothing of it", "low"},
        {"", "low"},
        {"quea", "low"},                         /* is no longer than the beginning */
        {"queas", "possible <queas>"},           /* four letters of it */
        {"Queasyness", "possible <Queasyness>"}, /* and six */
        {"we were QUEASY all night", "said illness <QUEASY all night>"},
        {"it was all, night", "possible <night>"}, /* a comma parts no pair */
        {"it was all. night", "low"},              /* a sentence does */
        {"there he counted 12", "said illness <12>"},
        {"12 of them all", "low"},
        {"a gash", "said injury <gash>"},
        {"there was no gash", "low"},
        {"all night", "low"}, /* so few words begin, end and pair with nothing */
        {"counted 12", "low"},
        {"gash and queasy, stale bread", "said injury <gash and queasy>"},
        {"gash... stale", "low"},
        {"stale, stale and stale", "low"},
    };
    struct harm_weights *weights = load_text(SMALL);
    (void)state;
    check_weighed(weights, cases, sizeof cases / sizeof cases[0]);
    harm_weights_free(weights);
}

/* Much that speaks against harm dilutes nothing that speaks for it far away. */
static void passages_of_long_notes_are_weighed_alone(void **state)
{
    static const char *const ends[] = {". Queasy all night. ", " and queasy all night "};
    struct harm_weights *weights = load_text(SMALL);
    (void)state;
    for (size_t e = 0; e < 2; e++)
        for (int before = 0; before < 400; before += 37) {
            struct text_buffer note = {0};
            for (int i = 0; i < before; i++)
                text_append(&note, i % 9 ? "it was " : "stale. ");
            text_append(&note, ends[e]);
            for (int i = 0; i < 400 - before; i++)
                text_append(&note, "it was ");
            struct harm_weighed w = harm_weights_read(weights, note.data);
            assert_int_equal(w.weight, HARM_WEIGHT_SAID);
            assert_memory_equal(note.data + w.to - 9, "all night", 9);
            text_buffer_free(&note);
        }
    harm_weights_free(weights);
}

static struct common_words *common;
static struct harm_words *words;
static struct harm_weights *weights;

static int load_shipped(void **state)
{
    struct error err = {0};
    (void)state;
    if (common_words_load(LEXICON "/common", NULL, NULL, &common, &err) ||
        harm_words_load(LEXICON "/harm", common, NULL, NULL, &words, &err) ||
        harm_weights_load(LEXICON "/weights", NULL, NULL, &weights, &err)) {
        print_error("%s:%ld:%ld %s\n", err.source, err.line, err.column, err.text);
        return -1;
    }
    assert_non_null(weights);
    return 0;
}

static int free_shipped(void **state)
{
    (void)state;
    harm_weights_free(weights);
    harm_words_free(words);
    common_words_free(common);
    return 0;
}

static char *heard(const struct harm_weights *by, const char *note)
{
    struct harm_heard *found = NULL;
    struct text_buffer out = {0};
    int count = harm_note_read(words, by, note, &found);
    for (int i = 0; i < count; i++) {
        assert_true(found[i].from < found[i].to && found[i].to <= strlen(note));
        text_appendf(&out, "%s%s", i ? " " : "",
                     found[i].kind == HARM_WORDS_POSSIBLE ? "possible"
                     : found[i].kind == HARM_NOTE_UNREAD
                         ? "unread"
                         : fields_find("harm")->words[found[i].kind].word);
    }
    free(found);
    return text_take(&out);
}

/* Words that stand in no pattern are heard by weight; what phrases say stays, or is possible. */
static void both_readers(void **state)
{
    static const struct {
        const char *note, *alone, *together;
    } cases[] = {
        {"my son vomited", "illness", "illness"},
        {"quea queb", "", "unread"},
        {"quea", "", ""},
        {"we were queasy all night", "illness", "illness"},
        {"a gash", "", "injury"},
        {"queasyness", "", "possible"},
        {"nobody vomited a gash", "", "possible"}, /* some harm is denied: it takes more */
        {"nobody vomited, queasyness", "", ""},
        {"my son vomited, stale stale", "illness", "possible"},
        /* in no language of the files; too short to tell; of scripts that part no words */
        {"oglum ekmegi yedikten sonra hastanede", "", "unread"},
        {"oglum ekmegi yedikten", "", "unread"},
        {"\xC3\x87ocuk kustu", "", "unread"},
        {"cocuk", "", ""},
        {"Larkfen Quarrhill", "", ""}, /* names */
        {"twyl pb3 vm lft", "", ""},
        {"mold on 2 loaves", "", ""},
        {"nobody vomited, oglum ekmegi yedikten sonra hastanede", "", "unread"},
        {"\xE6\x88\x91\xE7\x9A\x84\xE5\xAD\xA9\xE5\xAD\x90\xE5\x90\x83\xE4\xBA\x86\xE4\xBD\xA0\xE4"
         "\xBB"
         "\xAC\xE7\x9A\x84\xE9\x9D\xA2\xE5\x8C\x85",
         "", "unread"},
        {"my bread oglum ekmegi", "", ""},
        {"the bread was moldy. Oglum ekmegi yedikten sonra hastanede", "", "unread"},
        {"the bread \xD0\xB1\xD0\xBE\xD0\xBB\xD1\x8C\xD0\xBD\xD0\xB8\xD1\x86\xD0\xB0", "",
         "unread"},
        {"the bread was moldy \xE2\x98\x85\xE2\x98\x85\xE2\x98\x85 \xE2\x86\x92 "
         "\xF0\x9F\x91\x8D\xF0\x9F\x91\x8D",
         "", ""},
        {"A0400 L2 6318-7 26-114 x y", "", ""},
    };
    struct harm_weights *small = load_text(SMALL);
    int wrong = 0;
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *alone = heard(NULL, cases[i].note), *together = heard(small, cases[i].note);
        if (strcmp(alone, cases[i].alone) != 0 || strcmp(together, cases[i].together) != 0) {
            print_error("%s: '%s', '%s'\n", cases[i].note, alone, together);
            wrong++;
        }
        free(alone);
        free(together);
    }
    harm_weights_free(small);
    assert_int_equal(wrong, 0);
}

struct asked {
    int ordinary, of_ordinary, foreign, of_foreign;
};

static void ask(struct asked *a, bool foreign, const char *text, bool is)
{
    *(foreign ? &a->of_foreign : &a->of_ordinary) += 1;
    *(foreign ? &a->foreign : &a->ordinary) += is;
    if (is && !foreign)
        print_message("asked about: %s\n", text);
}

/* Next to no ordinary note is asked about, most in other languages are. */
static void what_is_ordinary_is_not_asked_about(void **state)
{
    struct asked notes = {0}, written = {0};
    char line[512];
    FILE *file = fopen(ODDLOAF_SOURCE_DIR "/tests/intake/ordinary.tsv", "r");
    (void)state;
    assert_non_null(file);
    while (fgets(line, sizeof line, file)) {
        struct harm_heard part;
        char *language = strchr(line, '\t'), *text = language ? strchr(language + 1, '\t') : NULL;
        if (*line == '#' || !text)
            continue;
        *text++ = '\0';
        text[strcspn(text, "\n")] = '\0';
        bool foreign = strcmp(language + 1, "xx") == 0;
        if (line[0] == 'n') {
            char *is = heard(weights, text);
            ask(&notes, foreign, text, foreign ? *is : strcmp(is, "unread") == 0);
            free(is);
        } else {
            ask(&written, foreign, text, harm_note_is_strange(words, text, &part));
        }
    }
    fclose(file);
    print_message("short notes: %d of %d ordinary, %d of %d in other languages\n", notes.ordinary,
                  notes.of_ordinary, notes.foreign, notes.of_foreign);
    print_message("written by plants: %d of %d ordinary, %d of %d\n", written.ordinary,
                  written.of_ordinary, written.foreign, written.of_foreign);
    assert_true(notes.of_ordinary > 190 && notes.ordinary <= 4);
    assert_true(written.of_ordinary > 140 && written.ordinary <= 1);
    assert_true(2 * notes.foreign >= notes.of_foreign);
    assert_true(3 * written.foreign >= 2 * written.of_foreign);
}

/* What weighs in one language weighs nothing in sentences of another, and mixed notes are weighed
 * by each that they may be meant in. */
static void each_language_has_its_own(void **state)
{
    static const struct {
        const char *note, *want;
    } cases[] = {
        {"wir wurden alle ganz klaterig von dem Brot", "illness"},
        {"you will all die of boredom with the queue at the store", "injury"},
        {"die Kunden und die Fahrer haben gewartet, die Filiale war zu", ""},
        {"die Filiale war zu. You will all die of boredom with the queue at the store", "injury"},
        {"the store was closed. wir wurden alle ganz klaterig von dem Brot", "illness"},
        {"the klaterig bread was not good and the store was closed", ""},
        {"klaterig", "illness"}, /* may be any language's: no sentence says otherwise */
    };
    struct harm_weights *both =
        load_two("{\"said\":1,\"possible\":0.5,\"doubt\":-2,\"sure\":1,\"weights\":{\"injury\":{"
                 "\"die\":2}}}",
                 "{\"language\":\"de\",\"said\":1,\"possible\":0.5,\"doubt\":-2,\"sure\":1,"
                 "\"weights\":{\"illness\":{\"klaterig\":2}}}");
    int wrong = 0;
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *got = heard(both, cases[i].note);
        if (strcmp(got, cases[i].want) != 0) {
            print_error("%s: '%s'\n", cases[i].note, got);
            wrong++;
        }
        free(got);
    }
    harm_weights_free(both);
    assert_int_equal(wrong, 0);
}

/* What is wrong with the bread makes nobody's illness doubtful. */
static void faults_of_the_bread_doubt_nothing(void **state)
{
#define HEAVY                                                                                      \
    "\"said\":2,\"possible\":1,\"doubt\":-2,\"sure\":1.5,\"weights\":{\"harmless\":{\"moldy\":-3}" \
    "}}"
    struct harm_weights *doubting = load_text("{" HEAVY),
                        *believing = load_text("{\"faults\":[\"mold\"]," HEAVY);
#undef HEAVY
    char *doubted = heard(doubting, "buns moldy, my daughter threw up");
    char *believed = heard(believing, "buns moldy, my daughter threw up");
    (void)state;
    assert_string_equal(doubted, "possible");
    assert_string_equal(believed, "illness");
    free(doubted);
    free(believed);
    harm_weights_free(doubting);
    harm_weights_free(believing);
}

/* Mold and a sound bag are told of in most notes, and soften none that says more. */
static void faults_as_shipped(void **state)
{
    static const char *const notes[] = {
        "buns mouldy, my daughter threw up",
        "buns moldy, my daughter threw up",
        "the bread was mouldy and my husband got sick",
        "bag no cut and my daughter threw up",
        "bag had no cut, my daughter threw up",
        "no cut in the bag, bread green, my son vomited",
        "sealed, no cut. my boy bit on glass",
        "no cut in the bag, my wife was sick",
        "no cut in the bag, my wife felt sick",
        "no mold on it but the kids felt ill",
        "my husband feels ill",
        "label does not mention the sesame, my son is allergic",
        "pan con moho, mi hija vomit\xC3\xB3",
        "Brot schimmlig, meine Tochter hat gekotzt",
        "T\xC3\xBCte ohne Schnitt, Brot schimmlig, mein Sohn hat sich \xC3\xBC"
        "bergeben",
    };
    (void)state;
    for (size_t i = 0; i < sizeof notes / sizeof notes[0]; i++) {
        char *got = heard(weights, notes[i]);
        if (!*got || strcmp(got, "possible") == 0)
            fail_msg("%s: '%s'", notes[i], got);
        free(got);
    }
}

/* As shipped: what was complained of before is possible at most, what says nothing is nothing. */
static void as_shipped(void **state)
{
    static const char *const never_said[] = {
        "Got a coupon after my last complaint about the plastic in the bun, thanks. Now just mold.",
        "my last complaint about the plastic was never answered",
        "I wrote last month about a bug in the bread, now it is stale",
        "ya me quej\xC3\xA9 del vidrio en el pan el mes pasado, ahora es moho",
        "nobody got sick",
        "white bread",
        "",
        "xqzzv",
        "\xF0\x9F\x98\xA1\xF0\x9F\x98\xA1",
    };
    (void)state;
    for (size_t i = 0; i < sizeof never_said / sizeof never_said[0]; i++) {
        char *got = heard(weights, never_said[i]);
        if (*got && (i > 3 || strcmp(got, "possible") != 0))
            fail_msg("%s: %s", never_said[i], got);
        free(got);
    }
}

/* Words of time and place stand in notes of harm, too, and are none of it. */
static void everyday_words_are_no_harm(void **state)
{
    static const char *const notes[] = {
        "Ottoline's bread",
        "plain",
        "the bread",
        "noticed it after the weekend",
        "all over the loaf",
        "came after the holiday",
        "it was green the morning after the party",
        "mold appeared soon after the purchase",
        "I opened it after the trip",
        "it came after lunch",
        "right after the store opened",
        "looked fine after the first day",
        "day after the barbecue",
        "after the backup",
        "spots all over",
        "a pink stain",
        "got it the day after Easter",
        "had it before the kids got home",
        "it got worse after a night on the shelf",
        "came from the shop before noon",
        "bought it after work on Friday",
        "green stain near the tie",
        "a brown stain on the crust",
        "had a spot before the date",
        "hard all over",
        "after the freezer it was fine, then it spread",
        "we got back after the long weekend and there it was",
        "white fuzz all over after two days",
        "all over after about three days",
        "came out of the bag like that",
        "after the second slice it was dry",
        "got home and it was already like that",
        "the morning before the picnic",
        "had the bag open after breakfast",
        "got hard soon after",
        "noticed a stain before supper",
        "black dots all over the heel",
        "it had gone hard before the weekend",
        "seen before opening",
        "came in the afternoon delivery",
        "after the rain",
        "after school on Tuesday",
        "just after the new year",
        "my wife noticed it after church",
        "husband got it before closing",
        "kids saw it after practice",
        "had two of these, both the same",
        "all of them came stale",
        "it started after we opened the second bag",
        "everything looked ok before then",
        "got them after the sale ended",
        "he had it on the counter all week",
        "she came back after an hour with the bag",
        "stain on the bottom slice",
        "after the strike",
        "after he opened it",
        "about an hour after I got home",
        "we noticed it after the parade",
        "got these before the snow came",
        "came out after the cleaners left",
        "had it all over the corner by Sunday",
        "a purple stain along the edge",
        "after the concert the rolls were hard",
        "before the guests arrived I saw green",
        "my brother got it after the gym",
        "all over again",
        "had a stain when it came",
        "came after the truck broke down",
        "got it out after the ball game, white all over",
        "noticed it right after the trash pickup",
        "it was there before the sale",
        "day after the birthday",
        "got the stain before I paid",
        "all over the second bag too",
        "came back after vacation and all of it had fuzz",
        "before I had the chance to open it",
        "after I had the other bag",
        "lo notamos después del desfile",
        "llegó después de la lluvia",
        "tenía una mancha morada en la orilla",
        "antes de que llegaran las visitas estaba bien",
    };
    enum { NOTES = sizeof notes / sizeof notes[0] };
    int possible = 0, said = 0;
    (void)state;
    for (int i = 0; i < NOTES; i++) {
        char *got = heard(weights, notes[i]);
        possible += strcmp(got, "possible") == 0;
        if (*got && strcmp(got, "possible") != 0) {
            print_error("%s: %s\n", notes[i], got);
            said++;
        }
        free(got);
    }
    assert_int_equal(said, 0);
    assert_true(possible * 16 <= NOTES);
}

/* What is in no language is asked about: possible. */
static char *heard_shipped(const char *note)
{
    char *got = heard(weights, note);
    bool unread = strcmp(got, "unread") == 0;
    if (unread)
        free(got);
    return unread ? xstrdup("possible") : got;
}

/* The notes that were learned from. */
static void the_list(void **state)
{
    const struct harm_list list = harm_list_count(heard_shipped);
    const int *harm = list.heard[LABEL_HARM], *harmless = list.heard[LABEL_HARMLESS];
    (void)state;
    assert_true(harm[HEARD_SAID] * 100 >= list.of[LABEL_HARM] * 97);
    assert_true(harm[HEARD_NOTHING] * 100 <= list.of[LABEL_HARM]);
    assert_true(harmless[HEARD_SAID] * 100 <= list.of[LABEL_HARMLESS] * 2);
    assert_true(harmless[HEARD_POSSIBLE] * 100 <= list.of[LABEL_HARMLESS] * 18);
    assert_true(list.heard[LABEL_POSSIBLE][HEARD_NOTHING] * 100 <= 20 * list.of[LABEL_POSSIBLE]);
}

static double read_ms(const char *piece, size_t size)
{
    struct text_buffer note = {0};
    struct timespec begin, end;
    double best = 1e9;
    while (note.length < size)
        text_append(&note, piece);
    for (int i = 0; i < 5; i++) {
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &begin);
        harm_weights_read(weights, note.data);
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &end);
        double ms =
            (double)(end.tv_sec - begin.tv_sec) * 1e3 + (double)(end.tv_nsec - begin.tv_nsec) / 1e6;
        best = ms < best ? ms : best;
    }
    text_buffer_free(&note);
    return best;
}

static void long_notes_are_read_in_time(void **state)
{
    static const char *const pieces[] = {"the bread was green and we took it back to the store, ",
                                         "a ", "I. ", "vomited glass tooth ", "xqzzv-"};
    (void)state;
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        double small_ms = read_ms(pieces[i], 4000), large_ms = read_ms(pieces[i], 64000);
        if (large_ms > 96 * small_ms)
            fail_msg("'%s': 4 KB in %.2f ms, 64 KB in %.2f ms", pieces[i], small_ms, large_ms);
    }
}

static void errors_name_the_place(void **state)
{
#define LEVELS "{\"said\":1,\"possible\":0,\"doubt\":-1,\"sure\":1,"
    static const struct {
        const char *text, *field;
    } bad[] = {
        {"{\"said\":1,\"possible\":0,\"doubt\":-1,\"sure\":1}", "/weights"},
        {"{\"possible\":0,\"doubt\":-1,\"sure\":1,\"weights\":{}}", "/said"},
        {"{\"said\":1,\"possible\":2,\"doubt\":-1,\"sure\":1,\"weights\":{}}", ""},
        {LEVELS "\"weights\":[]}", "/weights"},
        {LEVELS "\"weights\":{\"boredom\":{}}}", "/weights/boredom"},
        {LEVELS "\"weights\":{\"illness\":[]}}", "/weights/illness"},
        {LEVELS "\"weights\":{\"illness\":{\"a\":\"b\"}}}", "/weights/illness/a"},
        {LEVELS "\"weights\":{\"illness\":{\"a\":101}}}", "/weights/illness/a"},
        {LEVELS "\"weights\":{\"illness\":{\"a\":1},\"injury\":{\"a\":1}}}", "/weights/injury/a"},
        {LEVELS "\"weights\":{\"illness\":{\"a\":[\"b\"]}}}", "/weights/illness/a"},
        {LEVELS "\"weights\":{\"illness\":{\"101\":[\"a\"]}}}", "/weights/illness/101"},
        {LEVELS "\"weights\":{\"illness\":{\"1\":[2]}}}", "/weights/illness/1/0"},
        {LEVELS "\"weights\":{\"illness\":{\"1\":[\"\", \", a\"]}}}", "/weights/illness/1/1"},
        {LEVELS "\"weights\":{\"illness\":{\"1\":[\"a, b\"],\"2\":[\"b\"]}}}",
         "/weights/illness/2/0"},
        {LEVELS "\"weights\":{},\"colour\":1}", "/colour"},
        {LEVELS "\"faults\":[\"mold\",2],\"weights\":{}}", "/faults/1"},
    };
#undef LEVELS
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct one_file folder;
        struct harm_weights *none = NULL;
        struct error err = {0};
        one_file_make(&folder, "harm.json", bad[i].text);
        assert_int_equal(harm_weights_load(folder.dir, NULL, NULL, &none, &err), ERROR_INVALID);
        assert_null(none);
        assert_string_equal(err.source, folder.file);
        assert_string_equal(err.field, bad[i].field);
        one_file_end(&folder);
    }
}

static void without_a_file_nothing_weighs(void **state)
{
    struct harm_weights *none = NULL;
    (void)state;
    assert_int_equal(harm_weights_load("/nonexistent", NULL, NULL, &none, NULL), 0);
    assert_null(none);
    assert_int_equal(harm_weights_read(NULL, "my son vomited").weight, HARM_WEIGHT_LOW);
    none = load_text("{\"said\":1,\"possible\":1,\"doubt\":1,\"sure\":1,\"weights\":{}}");
    assert_int_equal(harm_weights_read(none, "my son vomited").weight, HARM_WEIGHT_LOW);
    assert_true(harm_weights_doubt(none, "my son vomited", 0, 14));
    assert_false(harm_weights_doubt(NULL, "my son vomited", 0, 14));
    harm_weights_free(none);
    harm_weights_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_stands_in_it_is_summed),
        cmocka_unit_test(passages_of_long_notes_are_weighed_alone),
        cmocka_unit_test(both_readers),
        cmocka_unit_test(what_is_ordinary_is_not_asked_about),
        cmocka_unit_test(each_language_has_its_own),
        cmocka_unit_test(faults_of_the_bread_doubt_nothing),
        cmocka_unit_test(faults_as_shipped),
        cmocka_unit_test(as_shipped),
        cmocka_unit_test(everyday_words_are_no_harm),
        cmocka_unit_test(the_list),
        cmocka_unit_test(long_notes_are_read_in_time),
        cmocka_unit_test(errors_name_the_place),
        cmocka_unit_test(without_a_file_nothing_weighs),
    };
    return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
