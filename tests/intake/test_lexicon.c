/* What notes say, in the shipped lexicons and in small ones written here. The sentences are
 * invented; what they mean is plain. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "base/jsonx.h"
#include "base/text.h"
#include "base/when.h"
#include "intake/lexicon.h"
#include "one_file.h"
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define SHIPPED ODDLOAF_SOURCE_DIR "/rules/lexicon"

static struct lexicon *lexicon;

/* a Wednesday */
static int32_t today(void)
{
    return day_from_civil(2026, 11, 25);
}

static int load_shipped(void **state)
{
    struct error err = {0};
    char text[1024];
    (void)state;
    if (!lexicon_load(SHIPPED, NULL, NULL, &lexicon, &err))
        return 0;
    print_error("%s\n", error_format(&err, text, sizeof text));
    return -1;
}

static int free_shipped(void **state)
{
    (void)state;
    lexicon_free(lexicon);
    return 0;
}

/* The note's answers as "field=value from" pieces, in the order of the fields. */
static char *read_note(const char *symptom, const char *note)
{
    json_t *complaint = json_pack("{s:s*, s:s}", "symptom", symptom, "note", note);
    json_t *taken, *item;
    json_t *filled = lexicon_fill(lexicon, complaint, today(), &taken);
    struct text_buffer out = {0};
    size_t at;
    json_array_foreach(taken, at, item)
    {
        char *value = json_dumps(json_object_get(item, "value"), JSON_ENCODE_ANY);
        const char *from = json_string_value(json_object_get(item, "from"));
        text_appendf(&out, "%s%s=%s", at ? " " : "",
                     json_string_value(json_object_get(item, "field")), value);
        assert_non_null(strstr(note, from));
        free(value);
    }
    json_decref(filled);
    json_decref(taken);
    json_decref(complaint);
    return text_take(&out);
}

static void check_notes(const char *const (*notes)[3], size_t count)
{
    int wrong = 0;
    for (size_t i = 0; i < count; i++) {
        char *got = read_note(notes[i][0], notes[i][1]);
        if (strcmp(got, notes[i][2]) != 0) {
            print_error("%s\n   want %s\n   got  %s\n", notes[i][1], notes[i][2], got);
            wrong++;
        }
        free(got);
    }
    assert_int_equal(wrong, 0);
}
#define CHECK_NOTES(notes) check_notes(notes, sizeof(notes) / sizeof((notes)[0]))

static void english_notes(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"off-odor", "Smelled a bit tangy when I opened it",
         "observed.opened_days=0 "
         "observed.odor=\"sour\""},
        {"mold", "green mold on the cut faces of the slices",
         "observed.colour=\"blue-green\" observed.where=\"cut-face\""},
        {"mold", "Blue-green spots on the bottom crust, kept in the pantry",
         "observed.colour=\"blue-green\" observed.where=\"base\" observed.kept=\"counter\""},
        {"mold", "three black spots near the twist tie; the bag was wet inside.",
         "observed.colour=\"black\" observed.where=\"near-closure\" observed.spots=3 "
         "observed.wet_inside_bag=true"},
        {"mold", "white fluffy stuff everywhere, hole in the bag",
         "observed.colour=\"white-fluffy\" observed.where=\"all-over\" observed.bag=\"torn\""},
        {"staling", "Rock hard and we kept it in the fridge",
         "observed.kept=\"fridge\" observed.crumb=\"firm\""},
        {"staling", "it's crumbly - opened 2 days ago",
         "observed.opened_days=2 observed.crumb=\"crumbly\""},
        {"off-odor", "smells like pineapple and the inside is sticky",
         "observed.odor=\"fruity\" observed.crumb=\"sticky\""},
        {"off-odor", "Bread smells like nail polish, bag intact",
         "observed.bag=\"sound\" observed.odor=\"solvent\""},
        {"off-odor", "smelled of kerosene", "observed.odor=\"hydrocarbon\""},
        {"off-odor", "buns smell like fresh paint", "observed.odor=\"hydrocarbon\""},
        {"off-odor", "smelled like wet paint, threw it away", "observed.odor=\"hydrocarbon\""},
        {"off-odor", "smells of gloss paint and white spirit", "observed.odor=\"hydrocarbon\""},
        {"off-odor", "huele a pintura fresca", "observed.odor=\"hydrocarbon\""},
        {"off-odor", "like nail varnish remover", "observed.odor=\"solvent\""},
        {"off-odor", "it smells like plastic", "observed.odor=\"plastic\""},
        {"mold", "open for two weeks", "observed.opened_days=14"},
        {"mold", "the closure was missing", "observed.bag=\"closure-missing\""},
        {"mold", "fuzzy green on the end pieces, kept on top of the fridge",
         "observed.colour=\"blue-green\" observed.where=\"heel\" observed.kept=\"warm\""},
        {"off-odor", "smells funny, kind of like beer", "observed.odor=\"alcohol\""},
        {"other", "the wrong label is on it", "harm=\"wrong-label\""},
        {"other", "sesame isn't on the label", "harm=\"wrong-label\""},
        {"other", "la etiqueta equivocada, dice centeno", "harm=\"wrong-label\""},
        {"other", "the label is crooked and it is underweight", ""},
        {"mold", "nothing to say", ""},
        {"mold", "", ""},
    };
    CHECK_NOTES(notes);
}

static void denied_words_are_not_taken(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"off-odor", "no sour smell", ""},
        {"off-odor", "It didn't smell sour", ""},
        {"off-odor", "It didn\xE2\x80\x99t smell sour", ""},
        {"off-odor", "not sour, smells musty", "observed.odor=\"musty\""},
        {"off-odor", "not only sour but cheesy", "observed.odor=\"sour\" observed.odor=\"cheesy\""},
        {"off-odor", "no vinegar, cheese or plastic smell", ""},
        {"mold", "bag not wet inside", "observed.wet_inside_bag=false"},
        {"mold", "no condensation", "observed.wet_inside_bag=false"},
        {"mold", "nobody got sick", ""},
        {"mold", "no illness, injury or allergic reaction", ""},
        {"mold", "did not keep it in the fridge", ""},
        {"mold", "she did not keep it in the fridge, it was on the counter",
         "observed.kept=\"counter\""},
        {"mold", "could not finish it my son got sick", "harm=\"illness\""},
        {"mold", "it was never left out in the sun", ""},
        {"mold", "it did not taste right, there is a green spot on the heel",
         "observed.colour=\"blue-green\" observed.where=\"heel\" observed.spots=1"},
        {"mold", "never opened", "observed.opened_days=0"},
        {"mold", "no holes in the bag", "observed.bag=\"sound\""},
    };
    CHECK_NOTES(notes);
}

static void other_meanings_are_left_alone(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "the loaf with the blue label", ""},
        {"mold", "white bread", ""},
        {"off-odor", "sour cream bagels", ""},
        {"mold", "I am sick of this", ""},
        {"mold", "while it was there", ""},
        {"mold", "came in a plastic bag", ""},
        /* colours and places of mold say nothing of a stale loaf */
        {"staling", "green on top", ""},
    };
    CHECK_NOTES(notes);
}

static void two_answers_leave_the_field_open(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "black on one end and pink on the other", "observed.where=\"heel\""},
        {"off-odor", "sour and musty", "observed.odor=\"sour\" observed.odor=\"musty\""},
        {"mold", "blue green and greenish", "observed.colour=\"blue-green\""},
    };
    CHECK_NOTES(notes);
}

static void small_misspellings(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"off-odor", "smells like vineger", "observed.odor=\"vinegar\""},
        {"off-odor", "smels like keroseen", "observed.odor=\"hydrocarbon\""},
        {"mold", "kept in the refridgerater", "observed.kept=\"fridge\""},
        {"staling", "very crumbley", "observed.crumb=\"crumbly\""},
        {"mold", "condensaton in bag", "observed.wet_inside_bag=true"},
        /* one letter off, but short, or another first letter, or a word of its own */
        {"off-odor", "sofr", ""},
        {"off-odor", "gusty", ""},
        {"mold", "while", ""},
    };
    CHECK_NOTES(notes);
}

static void spanish_notes(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"off-odor", "huele a vinagre", "observed.odor=\"vinegar\""},
        {"off-odor", "sin olor a vinagre", ""},
        {"off-odor", "No huele agrio", ""},
        {"off-odor", "olía agrio", "observed.odor=\"sour\""},
        {"mold", "Manchas verdes en la corteza superior",
         "observed.colour=\"blue-green\" observed.where=\"top-crust\""},
        {"mold", "2 manchas negras por debajo, la bolsa estaba mojada",
         "observed.colour=\"black\" observed.where=\"base\" observed.spots=2 "
         "observed.wet_inside_bag=true"},
        {"staling", "El pan está duro, lo abrí hace 3 días",
         "observed.opened_days=3 observed.crumb=\"firm\""},
        {"mold", "La bolsa venía rota y mi hijo se enfermó",
         "harm=\"illness\" observed.bag=\"torn\""},
        {"staling", "se desmorona; estaba en la nevera",
         "observed.kept=\"fridge\" observed.crumb=\"crumbly\""},
    };
    CHECK_NOTES(notes);
}

static void harm_in_the_note_is_heard(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "My son got sick", "harm=\"illness\""},
        {"off-odor", "I found a piece of metal in the slice", "harm=\"foreign-matter\""},
        {"staling", "chipped my tooth", "harm=\"injury\""},
        {"mold", "broke out in hives and threw up", "harm=\"allergic-reaction\" harm=\"illness\""},
    };
    CHECK_NOTES(notes);
}

static void harm_is_heard_within_other_words(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"staling", "there was a bit of blue plastic baked in", "harm=\"foreign-matter\""},
        {"staling", "I chipped my front tooth", "harm=\"injury\""},
        {"mold", "no mold my son vomited", "harm=\"illness\""},
        {"mold", "no mold, my son vomited", "harm=\"illness\""},
        {"mold", "not moldy she threw up after two slices", "harm=\"illness\""},
        {"mold", "sin moho mi hijo vomitó", "harm=\"illness\""},
        {"mold", "didn't make my son sick", ""},
        {"mold", "nobody in my family got sick", ""},
        {"mold", "no one was sick", ""},
    };
    CHECK_NOTES(notes);
}

static void common_words_are_no_slips(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "the manager inspected it", ""},    {"mold", "we were visiting my sister", ""},
        {"mold", "fewer slices than usual", ""},     {"mold", "could not reach anybody", ""},
        {"mold", "la devuelvo con razón", ""},       {"mold", "brought it back", ""},
        {"off-odor", "threw it in the garbage", ""}, {"off-odor", "the store sold it", ""},
    };
    CHECK_NOTES(notes);
}

/* 2026-11-25 is a Wednesday */
static void days_are_read(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "bought it Saturday, found it this morning",
         "bought_on=\"2026-11-21\" found_on=\"2026-11-25\""},
        {"mold", "Saturday bought it, Monday found it",
         "bought_on=\"2026-11-21\" found_on=\"2026-11-23\""},
        {"mold", "purchased 11/19 at store 12", "bought_on=\"2026-11-19\""},
        {"mold", "Hallo, the sandwich white bought Saturday", "bought_on=\"2026-11-21\""},
        {"mold", "bought on Nov 19, 2026", "bought_on=\"2026-11-19\""},
        {"mold", "bought on Sunday the 22nd", "bought_on=\"2026-11-22\""},
        {"mold", "the loaf I got on Friday is moldy", "bought_on=\"2026-11-20\""},
        {"mold", "bought a week ago", "bought_on=\"2026-11-18\""},
        {"mold", "bought at the Black Friday sale", ""},
        {"mold", "he buys on Mondays, this he found on Tuesday", "found_on=\"2026-11-24\""},
        {"mold", "found the Tuesday bread moldy", ""},
        {"mold", "bought it Friday, no wait, it was Saturday", "bought_on=\"2026-11-21\""},
        {"mold",
         "lo compre el s\xC3\xA1"
         "bado y hoy lo encontre mohoso",
         "bought_on=\"2026-11-21\" found_on=\"2026-11-25\""},
        {"mold", "comprado el 18 de noviembre", "bought_on=\"2026-11-18\""},
        {"mold", "lo compre hace dos dias por la manana", "bought_on=\"2026-11-23\""},
        {"mold", "opened it Monday", "observed.opened_days=2"},
        {"mold", "opened it Monday, found the mold yesterday",
         "found_on=\"2026-11-24\" observed.opened_days=1"},
        {"mold", "opened it two days ago", "observed.opened_days=2"},
        /* no days of what happened to the bread */
        {"mold", "it sat in the sun", "observed.kept=\"warm\""},
        {"mold", "we buy it every Saturday", ""},
        {"mold", "bought 1/2 dozen", ""},
        {"mold", "bought it 2 or 3 days ago", ""},
        {"mold", "bought it a few days ago", ""},
        {"mold", "best by Nov 20", ""},
        {"mold", "the store called us Monday about it", ""},
    };
    CHECK_NOTES(notes);
    json_t *taken, *complaint = json_pack("{s:s}", "note", "bought it Saturday");
    json_t *filled = lexicon_fill(lexicon, complaint, WHEN_UNKNOWN_DAY, &taken);
    assert_int_equal(json_array_size(taken), 0);
    json_decref(filled);
    json_decref(taken);
    json_decref(complaint);
}

static void a_few_words_may_stand_between(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "the wrapper has two small holes", "observed.bag=\"torn\""},
        {"mold", "the bag was not torn", "observed.bag=\"sound\""},
        {"mold", "the bag did not have any holes", "observed.bag=\"sound\""},
        {"mold", "the bag was really not very wet inside", "observed.wet_inside_bag=false"},
        {"mold",
         "la bolsa no ten\xC3\xAD"
         "a hoyos",
         "observed.bag=\"sound\""},
        {"mold", "wet, and the bag of chips is fine", ""},
        {"mold", "purchased: 11/20", "bought_on=\"2026-11-20\""},
        {"mold", "bought on Nov. 20", "bought_on=\"2026-11-20\""},
    };
    CHECK_NOTES(notes);
}

static void packs_are_counted(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "a dozen loaves", "packs=12"},
        {"mold", "two dozen bags", "packs=24"},
        {"mold", "half a dozen loaves", "packs=6"},
        {"mold", "dos bolsas", "packs=2"},
        {"mold", "3 packs", "packs=3"},
        {"mold", "mold in 2 of the 5 bags", "packs=2"},
        {"mold", "bought 3 loaves, 2 loaves are bad", "packs=2"},
        {"mold", "a loaf of rye", ""},
        {"mold", "media docena de bolsas", "packs=6"},
        {"mold", "bought 20 packs, eight came with mold", "packs=8"},
        {"off-odor", "three packs, two of the three smelled", "packs=2"},
        {"mold", "two boxes", "packs=2"},
        {"off-odor", "two packs, one smelled", "packs=1"},
        {"mold", "eleven loaves; two more loaves look clean", "packs=11"},
        {"mold", "bought 2 packs, one was fine, the other had mold", "packs=1"},
        {"off-odor", "compramos cuatro bolsas y solo una huele", "packs=1"},
    };
    CHECK_NOTES(notes);
}

static void days_are_counted_from_the_one_told_before(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "bought Friday, opened it the next day, noticed it 3 days later",
         "bought_on=\"2026-11-20\" found_on=\"2026-11-24\" observed.opened_days=3"},
        {"staling", "brought it in yesterday, bought the day before", "bought_on=\"2026-11-23\""},
        {"mold", "opened the same day", ""}, /* as which? */
        {"mold", "bought it either Friday or Saturday", ""},
        {"mold", "got it Friday I think, or maybe Saturday", ""},
        {"mold", "bght sat at the corner shop", "bought_on=\"2026-11-21\""},
        {"mold", "bought it satuday", "bought_on=\"2026-11-21\""},
        {"mold", "bought it a fortnight ago", "bought_on=\"2026-11-11\""},
        {"mold", "comprado el 19, visto el 23", "bought_on=\"2026-11-19\" found_on=\"2026-11-23\""},
        {"mold", "opened it this morning and saw green",
         "found_on=\"2026-11-25\" observed.colour=\"blue-green\" observed.opened_days=0"},
    };
    CHECK_NOTES(notes);
}

/* What was found has the day of what was done, unless it is told of another. */
static void days_are_shared(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "found this a.m. at the store", "found_on=\"2026-11-25\""},
        {"mold", "took it out last night and noticed it", "found_on=\"2026-11-24\""},
        {"mold", "when I visited on Sunday I noticed it", "found_on=\"2026-11-22\""},
        {"mold", "opened it Sunday and discovered it",
         "found_on=\"2026-11-22\" observed.opened_days=0"},
        {"staling", "opened it Monday, it was like this right then",
         "found_on=\"2026-11-23\" observed.opened_days=0"},
        {"mold", "unwrapped it Tuesday", "found_on=\"2026-11-24\" observed.opened_days=0"},
        {"mold", "bought and opened it yesterday",
         "bought_on=\"2026-11-24\" observed.opened_days=1"},
        {"mold", "El 20 de noviembre lo adquir\xC3\xAD y el 24 observ\xC3\xA9 moho",
         "bought_on=\"2026-11-20\" found_on=\"2026-11-24\""},
        {"mold", "detectadas hoy al acomodar", "found_on=\"2026-11-25\""},
        {"mold", "bought it Sunday and noticed it", "bought_on=\"2026-11-22\""},
        {"mold", "opened it Sunday and did not notice it", "observed.opened_days=3"},
        {"mold", "called Monday to say she noticed it", ""},
    };
    CHECK_NOTES(notes);
}

static void what_is_asked_or_taken_back_is_not_told(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {NULL, "Orange mold? No, only a label.", ""},
        {NULL, "thought it was mold, it was flour", ""},
        {NULL, "scorched and black as coal, not mold", ""},
        {"mold", "I told them pink. It's not pink, it's black.", "observed.colour=\"black\""},
        {"off-odor", "I say it smells fruity, she says of vinegar", ""},
        {"mold", "half went into the freezer, half stayed on the counter", ""},
        {NULL, "the code is L6321-C, not L6312-C", "lot_text=\"L6321-C\""},
        {NULL, "a loaf in a green wrapper with a yellow sticker", ""},
        {NULL, "pan de molde, blue ink on the label", ""},
        {"mold", "my fridge is fine", ""},
        {"mold", "kept on top of a warm radiator", "observed.kept=\"warm\""},
    };
    CHECK_NOTES(notes);
}

static void what_is_of_others_or_may_be_is_not_told(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"staling", "a neighbor had a green one, mine is dry", "observed.crumb=\"dry\""},
        {"mold", "last month's was green, this one is orange", "observed.colour=\"pink-orange\""},
        {"mold", "maybe green, hard to say", ""},
        {"mold", "it is green perhaps", ""},
        {NULL, "it might be mold or it might be flour", ""},
        {"mold", "disregard my earlier mail about the green one", ""},
        {"mold", "told her to keep it in the fridge", ""},
        {NULL, "asked whether there is mold on it", ""},
        {"mold", "I asked whether the bag was torn, she said no", ""},
        {"mold", "I asked whether it was wet in the bag, she said no",
         "observed.wet_inside_bag=false"},
        {"mold", "You asked if it was wet in the bag: yes", "observed.wet_inside_bag=true"},
        {NULL, "is it mold if it's white?", ""},
        {"mold", "is it normal that it is yellow?", "observed.colour=\"yellow\""},
        {"mold", "was the bag torn? Yes, at the seam", "observed.bag=\"torn\""},
        {"mold", "Agent: was it wet in the bag? / Caller: no", "observed.wet_inside_bag=false"},
        {"mold", "el del mes pasado estaba verde, este negro", "observed.colour=\"black\""},
        {"mold", "quiz\xC3\xA1s verde", ""},
        {NULL,
         "\xC2\xBF"
         "es moho si es blanco?",
         ""},
    };
    CHECK_NOTES(notes);
}

static void a_number_put_right_is_the_later(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "4 loaves. Sorry, 3", "packs=3"},
        {"mold", "no eran 6 paquetes, eran 9", "packs=9"},
        {"mold", "4 loaves. Sorry, 3 days later", "packs=4"},
        {"mold", "sorry, 3", ""},
        {"mold", "two or three spots", ""},
        {"mold", "tres bolsas o cuatro", ""},
        {"mold", "no, 3 days ago", ""},
        {"mold", "son cuatro paquetes y no tres", "packs=4"},
        {"mold", "11 loaves of the 30 we got are moldy", "packs=11"},
    };
    CHECK_NOTES(notes);
}

/* What is told of a thing, a time or a count that is not the loaf's. */
static void what_is_not_the_loaf_s_is_not_told(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {NULL, "the driver had a sour attitude and threw the bags", ""},
        {NULL, "I ordered the blue crates, not the black ones", ""},
        {NULL, "Her parakeet pecked at a dry crust, no complaint", ""},
        {NULL, "el pan duro es para budin, no es queja", ""},
        {NULL, "my mouth was dry", ""},
        {"mold", "this one had specks", ""},
        {"mold", "compr\xC3\xA9 una bolsa de pan, con moho", ""},
        {NULL, "the ham smelled bad, the bread was fine", ""},
        {NULL, "the ham was sour", ""},
        {NULL, "my cabinets are clean and dry", ""},
        {NULL, "I had a moldy one in June and got a coupon", ""},
        {NULL, "hace un a\xC3\xB1o tuve uno con moho", ""},
        {NULL, "ordering 40 loaves for Friday", ""},
        {NULL, "I saw your driver in the store by the door on Saturday", ""},
        {NULL, "the green specks were parsley", ""},
        {NULL, "las manchas verdes eran perejil", ""},
        {"off-odor", "white dust on the top but that is flour", ""},
        {"staling", "compr\xC3\xA9 dos panes, uno sali\xC3\xB3 bueno", ""},
        {"mold",
         "dur\xC3\xB3 tres d\xC3\xAD"
         "as",
         ""},
        {"mold", "gracias por todo lo de ayer. Rosa Negrete", ""},
        {"mold", "opened it Saturday and by Monday he would not eat it", ""},
        {"mold", "opened it Saturday, found it Monday",
         "found_on=\"2026-11-23\" observed.opened_days=2"},
        {"staling", "bought it Sunday, it was Tuesday I called", "bought_on=\"2026-11-22\""},
    };
    CHECK_NOTES(notes);
}

static void names_and_places_of_others_are_none(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "Mrs. Green called", ""},
        {"mold", "a lady from Black Rock called", ""},
        {"mold", "on the side it is Green, says she",
         "observed.colour=\"blue-green\" observed.where=\"side\""},
        {"mold", "Colour: Green. Where: Heel",
         "observed.colour=\"blue-green\" observed.where=\"heel\""},
        {"mold", "my daughter does her nails at the kitchen table every day", ""},
        {"mold", "kitchen table", "observed.kept=\"counter\""},
        {"mold", "she keeps everything she buys at the kitchen table", "observed.kept=\"counter\""},
        {NULL, "no green on it, it is black", "symptom=\"mold\" observed.colour=\"black\""},
    };
    CHECK_NOTES(notes);
}

static void forms_in_a_note_are_read(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "Where: side. Spots: 4. Wet in bag: no. Opened: never.",
         "observed.where=\"side\" observed.spots=4 observed.wet_inside_bag=false "
         "observed.opened_days=0"},
        {"off-odor", "Kept: caller doesn't know. Texture: normal.",
         "observed.kept=\"unknown\" observed.crumb=\"normal\""},
        {"mold", "black spots on the heel, 6 in all",
         "observed.colour=\"black\" observed.where=\"heel\" observed.spots=6"},
        {"staling", "harrrrd as a rock", "observed.crumb=\"firm\""},
        {"staling", "duroooo", "observed.crumb=\"firm\""},
    };
    CHECK_NOTES(notes);
}

static void a_code_in_a_sentence_is_read(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "on the bag L6324-A 05:12", "lot_text=\"L6324-A\""},
        {"mold", "the bag says L6323B on it", "lot_text=\"L6323B\""},
        {"mold", "lot number PF 2 3 L 6 N O1 and I saw it", "lot_text=\"PF 2 3 L 6 N O1\""},
        {"mold", "P F 2 3 L 6 N 0 1 is on the bag", "lot_text=\"P F 2 3 L 6 N 0 1\""},
        {"mold", "the lot is p f 2 3 l 6 n 0 1 I think", "lot_text=\"p f 2 3 l 6 n 0 1\""},
        {"mold", "call me at 5 5 5 0 1 3 2", ""},
        {"mold", "code L2 6321 B0412 on the clip", "lot_text=\"L2 6321 B0412\""},
        {"mold", "printed L2 6321 B0412", "lot_text=\"L2 6321 B0412\""},
        {"mold", "lot 26 323 2", "lot_text=\"26 323 2\""},
        {"mold", "lot 6323B, 2 loaves", "lot_text=\"6323B\" packs=2"},
        {"mold", "L6323B 2 loaves", "lot_text=\"L6323B\" packs=2"},
        {"mold", "lote L63?3B", "lot_text=\"L63?3B\""},
        {"mold", "it is L6321B? with the last one smudged", "lot_text=\"L6321B?\""},
        {"mold", "is it L6321B?", "lot_text=\"L6321B\""},
        {"mold", "L6321B, sorry, L6322B", "lot_text=\"L6322B\""},
        /* two codes, and what is none */
        {"mold", "mold on L6321B and on L6322B", ""},
        {"mold", "order number A123456", ""},
        {"mold", "the 24oz loaf, call 555-0142 after 10am", ""},
        {"mold", "green mold, there is a lot of 2026", "observed.colour=\"blue-green\""},
        {"mold", "zip 77301", ""},
    };
    CHECK_NOTES(notes);
}

static void the_later_holds_where_it_corrects(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "first I thought black, but in the light it's dark green",
         "observed.colour=\"blue-green\""},
        {"mold", "primero pens\xC3\xA9 que era negro pero en la luz es verde",
         "observed.colour=\"blue-green\""},
        {"mold", "black, no, actually green", "observed.colour=\"blue-green\""},
        {"mold", "I thought it was black", "observed.colour=\"black\""},
        {"mold", "black and later green", ""},
    };
    CHECK_NOTES(notes);
}

static void who_contest_give_no_answer(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "he says white, I say green", ""},
        {"mold", "he says it is green", "observed.colour=\"blue-green\""},
        {"staling", "she says dry, he says crumbly", ""},
    };
    CHECK_NOTES(notes);
}

static void words_that_agree_are_one_answer(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"staling", "dry and crumbly", "observed.crumb=\"crumbly\""},
        {"staling", "hard and dry", "observed.crumb=\"dry\""},
        {"staling", "gummy and sticky", "observed.crumb=\"sticky\""},
        {"staling", "dry and sticky", ""},
    };
    CHECK_NOTES(notes);
}

static void places_are_the_loaf_s(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {"mold", "mold along the bottom", "observed.where=\"base\""},
        {"mold", "moho por los lados", "observed.where=\"side\""},
        {"mold", "mold down the sides", "observed.where=\"side\""},
        {"mold", "it was on the bottom shelf", ""},
        {"mold", "lo guarda en la repisa de abajo", ""},
    };
    CHECK_NOTES(notes);
}

static void the_symptom_is_read(void **state)
{
    (void)state;
    static const char *const notes[][3] = {
        {NULL, "green fuzz on the heel",
         "symptom=\"mold\" observed.colour=\"blue-green\" observed.where=\"heel\""},
        {NULL, "no mold, it is hard as a brick", "symptom=\"staling\" observed.crumb=\"firm\""},
        {NULL, "slimy inside", "symptom=\"staling\" observed.crumb=\"sticky\""},
        {NULL, "the texture is fine", "observed.crumb=\"normal\""},
        {NULL, "smells sour", "symptom=\"off-odor\" observed.odor=\"sour\""},
        {NULL, "please call back", ""},
    };
    CHECK_NOTES(notes);
}

static void the_end_of_a_long_note_is_read(void **state)
{
    struct text_buffer note = {0};
    (void)state;
    for (int i = 0; i < 3000; i++)
        text_append(&note, i % 2 ? "a " : "green ");
    text_append(&note, "and my son vomited");
    char *got = read_note("mold", note.data);
    assert_non_null(strstr(got, "harm=\"illness\""));
    free(got);
    text_buffer_free(&note);
}

static void chosen_answers_stand(void **state)
{
    (void)state;
    json_t *complaint =
        json_pack("{s:s, s:{s:s, s:[s]}, s:s}", "symptom", "mold", "observed", "colour",
                  "pink-orange", "odor", "musty", "note", "green mold on top, smells sour");
    json_t *before = json_deep_copy(complaint), *taken;
    json_t *filled = lexicon_fill(lexicon, complaint, today(), &taken);
    json_t *observed = json_object_get(filled, "observed");
    assert_string_equal(json_string_value(json_object_get(observed, "colour")), "pink-orange");
    assert_string_equal(json_string_value(json_object_get(observed, "where")), "top-crust");
    assert_int_equal(json_array_size(json_object_get(observed, "odor")), 1);
    assert_int_equal(json_array_size(taken), 1);
    assert_true(json_equal(before, complaint)); /* the caller's is not touched */
    json_decref(filled);
    json_decref(taken);
    json_decref(before);
    json_decref(complaint);
}

static void what_cannot_be_read_is_left_alone(void **state)
{
    (void)state;
    static const char *const odd[] = {
        "{\"symptom\":\"mold\"}",
        "{\"note\":7,\"symptom\":\"mold\"}",
        "{\"note\":\"green\",\"symptom\":3}",
        "{\"note\":\"green\",\"symptom\":\"mold\",\"observed\":\"x\"}",
        "[]",
        "{\"note\":\"\\u00a1\\u00bf\\u2019\\u2014'''\",\"symptom\":\"mold\"}",
    };
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        json_t *complaint = NULL, *taken;
        assert_int_equal(jsonx_parse(odd[i], strlen(odd[i]), &complaint, NULL), 0);
        json_t *filled = lexicon_fill(lexicon, complaint, today(), &taken);
        assert_true(json_equal(filled, complaint));
        assert_int_equal(json_array_size(taken), 0);
        json_decref(filled);
        json_decref(taken);
        json_decref(complaint);
    }
    json_t *complaint = json_pack("{s:s}", "note", "green"), *taken;
    json_t *filled = lexicon_fill(NULL, complaint, today(), &taken);
    assert_true(json_equal(filled, complaint));
    json_decref(filled);
    json_decref(taken);
    json_decref(complaint);
}

/* The longest note the contract takes, made of words that match. */
static void a_long_note(void **state)
{
    char note[4001];
    (void)state;
    for (size_t i = 0; i + 1 < sizeof note; i++)
        note[i] = "sour green wet bag "[i % 19];
    note[sizeof note - 1] = '\0';
    char *got = read_note("off-odor", note);
    assert_non_null(strstr(got, "sour"));
    free(got);
}

static void *fill_often(void *arg)
{
    for (int i = 0; i < 200; i++) {
        char *got = read_note("mold", arg);
        assert_string_equal(got, "observed.colour=\"blue-green\"");
        free(got);
    }
    return NULL;
}

static void many_threads_read_one_lexicon(void **state)
{
    pthread_t threads[4];
    static char note[] = "green mold";
    (void)state;
    for (int i = 0; i < 4; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, fill_often, note), 0);
    for (int i = 0; i < 4; i++)
        pthread_join(threads[i], NULL);
}

/* ---- loading ---- */

static void errors_name_the_place(void **state)
{
    (void)state;
    static const struct {
        const char *text, *field;
        long line, column;
    } bad[] = {
        {"{\"language\":\"xx\",\n \"fields\":[{\"field\":\"observed/hue\",\"words\":{}}]}",
         "/fields/0/field", 2, 21},
        {"{\"fields\":[{\"field\":\"observed/odor\",\n\"words\":{\"minty\":[\"mint\"]}}]}",
         "/fields/0/words/minty", 2, 18},
        {"{\"fields\":[{\"field\":\"observed/odor\",\"words\":{\"sour\":[\"sour\",\n\"so-ur\"]}}]}",
         "/fields/0/words/sour/1", 2, 1},
        {"{\"fields\":[{\"field\":\"observed/odor\",\"words\":{\"sour\":[\"@none sour\"]}}]}",
         "/fields/0/words/sour/0", 1, 54},
        {"{\"fields\":[{\"field\":\"observed/spots\",\"words\":{\"many\":[\"many\"]}}]}",
         "/fields/0/words/many", 1, 54},
        {"{\"fields\":[{\"field\":\"observed/odor\",\"words\":{\"sour\":[\" ' \"]}}]}",
         "/fields/0/words/sour/0", 1, 54},
        {"{\"fields\":[{\"field\":\"note\",\"words\":{}}]}", "/fields/0/field", 1, 21},
        {"{\"fields\":[{\"field\":\"observed/kept\",\"beside\":[\"none\"],\"words\":{}}]}",
         "/fields/0/beside/0", 1, 47},
        {"{\"days\":{\"ma\u00f1ana\":\"morning\"},\"fields\":[]}", "/days/ma\u00f1ana", 1, 19},
        {"{\"negation\":\"no\",\"fields\":[]}", "/negation", 1, 13},
        {"{\"colour\":1,\"fields\":[]}", "/colour", 1, 11},
        {"{}", "/fields", 1, 1},
        {"[]", "", 1, 1},
        {"{\"fields\":[],}", "", 1, 14},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct one_file folder;
        struct lexicon *none = NULL;
        struct error err = {0};
        one_file_make(&folder, "xx.json", bad[i].text);
        assert_int_equal(lexicon_load(folder.dir, NULL, NULL, &none, &err), ERROR_INVALID);
        assert_null(none);
        assert_string_equal(err.source, folder.file);
        assert_string_equal(err.field, bad[i].field);
        assert_int_equal(err.line, bad[i].line);
        if (*bad[i].field)
            assert_int_equal(err.column, bad[i].column);
        one_file_end(&folder);
    }
}

static void a_missing_folder_is_an_empty_lexicon(void **state)
{
    struct lexicon *none = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(lexicon_load("/nonexistent/lexicon", NULL, NULL, &none, &err), 0);
    json_t *complaint = json_pack("{s:s,s:s}", "note", "green", "symptom", "mold"), *taken;
    json_t *filled = lexicon_fill(none, complaint, today(), &taken);
    assert_true(json_equal(filled, complaint));
    json_decref(filled);
    json_decref(taken);
    json_decref(complaint);
    lexicon_free(none);
    lexicon_free(NULL);
}

static void a_plant_may_add_a_language(void **state)
{
    struct one_file folder;
    struct lexicon *own = NULL;
    struct error err = {0};
    (void)state;
    one_file_make(&folder, "xx.json",
                  "{\"language\":\"de\",\"negation\":[\"nicht\",\"kein\"],"
                  "\"sets\":{\"scharf\":[\"beissend\",\"stechend\"]},"
                  "\"fields\":[{\"field\":\"observed/odor\",\"words\":"
                  "{\"sour\":[\"säuerlich\",\"sauer*\",\"@scharf im geruch\"]}}]}");
    assert_int_equal(lexicon_load(folder.dir, NULL, NULL, &own, &err), 0);
    struct lexicon *shipped = lexicon;
    lexicon = own;
    static const char *const notes[][3] = {
        {"off-odor", "riecht S\xC3\x84UERLICH", "observed.odor=\"sour\""},
        {"off-odor", "riecht nicht sauer", ""},
        {"off-odor", "stechend im Geruch", "observed.odor=\"sour\""}, /* begins with a set */
    };
    CHECK_NOTES(notes);
    lexicon = shipped;
    lexicon_free(own);
    one_file_end(&folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(english_notes),
        cmocka_unit_test(denied_words_are_not_taken),
        cmocka_unit_test(other_meanings_are_left_alone),
        cmocka_unit_test(two_answers_leave_the_field_open),
        cmocka_unit_test(small_misspellings),
        cmocka_unit_test(spanish_notes),
        cmocka_unit_test(harm_in_the_note_is_heard),
        cmocka_unit_test(harm_is_heard_within_other_words),
        cmocka_unit_test(common_words_are_no_slips),
        cmocka_unit_test(days_are_read),
        cmocka_unit_test(a_few_words_may_stand_between),
        cmocka_unit_test(packs_are_counted),
        cmocka_unit_test(days_are_counted_from_the_one_told_before),
        cmocka_unit_test(days_are_shared),
        cmocka_unit_test(what_is_asked_or_taken_back_is_not_told),
        cmocka_unit_test(what_is_of_others_or_may_be_is_not_told),
        cmocka_unit_test(a_number_put_right_is_the_later),
        cmocka_unit_test(what_is_not_the_loaf_s_is_not_told),
        cmocka_unit_test(names_and_places_of_others_are_none),
        cmocka_unit_test(forms_in_a_note_are_read),
        cmocka_unit_test(a_code_in_a_sentence_is_read),
        cmocka_unit_test(the_later_holds_where_it_corrects),
        cmocka_unit_test(who_contest_give_no_answer),
        cmocka_unit_test(words_that_agree_are_one_answer),
        cmocka_unit_test(places_are_the_loaf_s),
        cmocka_unit_test(the_symptom_is_read),
        cmocka_unit_test(the_end_of_a_long_note_is_read),
        cmocka_unit_test(chosen_answers_stand),
        cmocka_unit_test(what_cannot_be_read_is_left_alone),
        cmocka_unit_test(a_long_note),
        cmocka_unit_test(many_threads_read_one_lexicon),
        cmocka_unit_test(errors_name_the_place),
        cmocka_unit_test(a_missing_folder_is_an_empty_lexicon),
        cmocka_unit_test(a_plant_may_add_a_language),
    };
    return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
