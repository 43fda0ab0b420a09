/* Harm in free text: a labelled list of invented notes, what each mechanism is for, how long a long
 * note takes, and files that are wrong. */
#include "base/text.h"
#include "check.h"
#include "harm_list.h"
#include "intake/common_words.h"
#include "intake/fields.h"
#include "intake/harm_words.h"
#include "one_file.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define LEXICON ODDLOAF_SOURCE_DIR "/rules/lexicon"

static struct common_words *common;
static struct harm_words *words;

static int load_shipped(void **state)
{
    struct error err = {0};
    (void)state;
    if (common_words_load(LEXICON "/common", NULL, NULL, &common, &err) ||
        harm_words_load(LEXICON "/harm", common, NULL, NULL, &words, &err)) {
        print_error("%s:%ld:%ld %s\n", err.source, err.line, err.column, err.text);
        return -1;
    }
    return 0;
}

static int free_shipped(void **state)
{
    (void)state;
    harm_words_free(words);
    common_words_free(common);
    return 0;
}

/* "illness injury", "possible" or "". */
static char *heard(const struct harm_words *by, const char *note)
{
    struct harm_hearing hearing;
    struct text_buffer out = {0};
    const struct field_word *kinds = fields_find("harm")->words;
    harm_words_hear(by, note, &hearing);
    const struct harm_heard *found = hearing.heard;
    for (int i = 0; i < hearing.count; i++) {
        assert_true(found[i].from < found[i].to && found[i].to <= strlen(note));
        text_appendf(&out, "%s%s", i ? " " : "",
                     found[i].kind == HARM_WORDS_POSSIBLE ? "possible" : kinds[found[i].kind].word);
    }
    harm_words_hearing_done(&hearing);
    return text_take(&out);
}

struct heard_case {
    const char *note, *want;
};

static void check_cases(const struct heard_case *cases, size_t count)
{
    int wrong = 0;
    for (size_t i = 0; i < count; i++) {
        char *got = heard(words, cases[i].note);
        if (strcmp(got, cases[i].want) != 0) {
            print_error("%s\n   want '%s' got '%s'\n", cases[i].note, cases[i].want, got);
            wrong++;
        }
        free(got);
    }
    assert_int_equal(wrong, 0);
}
#define CHECK_CASES(cases) check_cases(cases, sizeof(cases) / sizeof((cases)[0]))

static void words_may_stand_within(void **state)
{
    static const struct heard_case cases[] = {
        {"chipped my front tooth", "injury"},
        {"a bit of blue plastic", "foreign-matter"},
        {"it chipped, I think, a tooth", "injury"},
        {"se me rompió la muela de atrás", "injury"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* A name's letters are no shorthand of an illness; a word's say what the word says. */
static void letters_by_themselves(void **state)
{
    static const struct heard_case cases[] = {
        {"N D", ""},
        {"stale bread, Fargo N D", ""},
        {"J o h n D o e, moldy loaf", ""},
        {"this is A n d r e w V D a l e", ""},
        {"n v d since Monday", "illness"},
        {"N/V/D x2 days", "illness"},
        {"2 people with D&V", "illness"},
        {"had d i a r r h e a all night", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Bread is got at a shop, too, and loaves tear open as if cut. */
static void who_got_at_it(void **state)
{
    static const struct heard_case cases[] = {
        {"I got at the shop on Monday two rye loaves, both moldy", ""},
        {"the bread I had got at the store was moldy", ""},
        {"what we got at your counter is stale", ""},
        {"got at least two moldy slices", ""},
        {"a customer got at the shop two moldy loaves", ""},
        {"I got at the bread with a knife and saw mold", ""},
        {"someone got at the loaf", "tampering"},
        {"I think a customer got at it before me", "tampering"},
        {"Bag's been got at.", "tampering"},
        {"the loaf looks got at", "tampering"},
        {"la bolsa estaba abierta como si alguien la hubiera cortado", "tampering"},
        {"la bolsa venía abierta como si la hubieran cortado", "tampering"},
        {"la corteza venía abierta como si la hubieran cortado", ""},
        {"la bolsa estaba abierta", ""},
        {"the bag was open as if someone had cut it", "tampering"},
        {"the slices are ragged as if cut with a blunt blade", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* What was looked for and not found says nothing, what went wrong with looking is for a person. */
static void what_was_checked_and_clear_is_none(void **state)
{
    static const struct heard_case cases[] = {
        {"metal detector log fine", ""},
        {"the metal detector passed", ""},
        {"metal detector log missing", "possible"},
        {"metal detector was off", "possible"},
        {"metal detector log shows a reject", "possible"},
        {"metal detector log fine but the customer found metal", "foreign-matter"},
        {"metal detector ok, glass found", "foreign-matter"},
        {"glass register complete", ""},
        {"glass register: one lamp missing", "possible"},
        {"blade check: tip missing", "possible"},
        {"salmonella not detected in 25 g", ""},
        {"salmonella retest clear", ""},
        {"ausencia de salmonela", ""},
        {"retest clear but she is still in hospital", "illness"},
        {"foreign matter check passed", ""},
        {"allergen swab pass", ""},
        {"pest traps empty", ""},
        {"no twist tie", ""},
        {"no twist tie and a needle in it", "foreign-matter"},
        {"se me revolvió el estómago al verlo", ""},
        {"se me revolvió el estómago y vomité", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void what_a_laboratory_found_is_there(void **state)
{
    static const struct heard_case cases[] = {
        {"glass found", "foreign-matter"},   {"glass detected", "foreign-matter"},
        {"plastic found", "foreign-matter"}, {"E. coli detected", "possible"},
        {"peanut positive", "possible"},     {"sesame detected", "possible"},
        {"milk 20 ppm", "possible"},         {"gluten below 20 ppm", ""},
        {"salmonella detected", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Below a limit is a result; below the crust is where it was found. */
static void below_is_a_limit_only_with_a_figure(void **state)
{
    static const struct heard_case cases[] = {
        {"gluten less than 10 mg/kg", ""},
        {"milk below 2.5 ppm", ""},
        {"hazelnut under the glaze, not declared", "wrong-label"},
        {"egg below the price sticker, not declared", "wrong-label"},
        {"walnut under the icing", "possible"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* None in one sample, and some in another. */
static void not_detected_once_may_be_detected_again(void **state)
{
    static const struct heard_case cases[] = {
        {"listeria not detected in 25 g", ""},
        {"salmonella absent in 25 g", ""},
        {"listeria not detected in 25 g but detected in the second sample", "illness"},
        {"salmonella was not detected by us, but by the inspector", "illness"},
        {"salmonella not detected in 4 of 5", "illness"},
        {"listeria was not detected in 2 of 3", "illness"},
        {"no se cumple la ausencia de listeria", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* As a laboratory writes it: what was looked for, and what came of it. Coliforms and
 * Enterobacteriaceae tell of hygiene and hurt nobody by themselves: common practice, by memory. */
static void results_in_a_laboratorys_words(void **state)
{
    static const struct heard_case cases[] = {
        {"E. coli O157=detected", "illness"},
        {"E. coli O157:H7=positive in 25 g", "illness"},
        {"STEC=positive", "illness"},
        {"VTEC=presumptive", "illness"},
        {"STEC=negative", ""},
        {"walnut=detected", "possible"},
        {"gliadin=60 ppm", "possible"},
        {"sulphite=80 ppm", "possible"},
        {"cadmium=0.7 mg/kg", "possible"},
        {"ethylene oxide=0.3", "possible"},
        {"gluten 4 mg/kg", ""},
        {"allergen swab positive for egg", "possible"},
        {"metal detector reject x2", "possible"},
        {"coliforms=1800", ""},
        {"enterobacteriaceae=900", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* A mold's fur is no animal's, a dead insect no dead person, and glass that nobody ate hurt nobody.
 */
static void a_kind_is_not_mistaken(void **state)
{
    static const struct heard_case cases[] = {
        {"green fur inside the bag", ""},
        {"fur growing on the slices", ""},
        {"mouse fur baked in the loaf", "foreign-matter"},
        {"dead moth in the loaf", "foreign-matter"},
        {"dead fly between the slices", "foreign-matter"},
        {"my dog was dead after eating the loaf", "illness"},
        {"dead dog after eating the loaf", "illness"},
        {"found a piece of glass, nobody swallowed it", "foreign-matter"},
        {"no sesame on the ingredients list but it is full of seeds", "wrong-label"},
        {"my daughter is allergic to sesame and there was sesame in it",
         "allergic-reaction wrong-label"},
        {"sesame was not declared, nobody ate it yet", "wrong-label"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Whether that hurt is for a person to say. */
static void a_smell_may_irritate(void **state)
{
    static const struct heard_case cases[] = {
        {"smells like ammonia and burned my nose", "possible"},
        {"bleach smell, it irritated my nose", "possible"},
        {"the fumes made me cough", "possible"},
        {"huele a amoniaco y me quemó la nariz", "possible"},
        {"huele a cloro y me pica la nariz", "possible"},
        {"smells like ammonia", ""},
        {"smells like ammonia, no burning of the nose", ""},
        {"stinging smell of ammonia", ""},
        {"a burnt smell that hits your nose", ""},
        {"huele a amoniaco", ""},
        {"huele a quemado", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void a_denial_ends(void **state)
{
    static const struct heard_case cases[] = {
        {"bag not cut my wife was sick", "illness"},
        {"bag not cut wife sick", "illness"},
        {"did not cut it my son was ill after", "illness"},
        {"bag not cut we were ill", "illness"},
        {"not opened sick as a dog after", "illness"},
        {"loaf did not get cut my mother broke a tooth on it", "injury"},
        {"the clip did not cut my wife", ""},
        {"it did not hurt my wife", ""},
        {"it did not make my wife sick", ""},
        {"nobody in my family was sick", ""},
        {"nobody was cut or sick", ""},
        {"no mold my son vomited", "illness"},
        {"No mold. My wife got sick.", "illness"},
        {"no smell, no mold, hair baked in though", "foreign-matter"},
        {"sin moho mi hijo vomitó", "illness"},
        {"pan con moho, mi hija vomito", "illness"},
        {"no illness, injury or allergic reaction", ""},
        {"nobody in my family got sick", ""},
        {"didn't make my son sick", ""},
        {"nadie se enfermó", ""},
        {"any illness? no", ""},
        {"Anyone ill? Yes, my daughter", "illness"},
        {"we didn't notice the glass until we bit it", "foreign-matter"},
        {"we didn't see any glass", ""},
        {"couldn't breathe", "allergic-reaction"},
        {"no doubt it made us sick", "illness"},
        {"not only was it stale, it broke my denture", "injury"},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void others_may_be_hurt(void **state)
{
    static const struct heard_case cases[] = {
        {"Nobody else got sick but I did", "illness"},
        {"I didn't get sick but my husband did", "illness"},
        {"Everyone was ok except grandpa who ended up in the ER", "illness"},
        {"yo no me enfermé pero mi marido sí", "illness"},
        {"not sure if it was the bread but I've had diarrhea since Tuesday", "illness"},
        {"no sé si fue el pan pero tengo diarrea desde el lunes", "illness"},
        {"customer says her husband got sick", "illness"},
        {"the dog has been throwing up since he got into that loaf", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void guesses_and_idioms_are_possible_at_most(void **state)
{
    static const struct heard_case cases[] = {
        {"so hard you could break a tooth", "possible"},
        {"can you get sick from eating a little mold", "possible"},
        {"It makes me sick how much you charge for this", "possible"},
        {"every time I eat this bread it makes me sick", "illness"},
        {"I am sick of buying stale bread", ""},
        {"I nearly died laughing at your ad", ""},
        {"the batteries are dead in my scanner", ""},
        {"it broke my heart to throw it out", ""},
        {"I was home sick with the flu and opened a loaf that was moldy", "possible"},
        {"hospital cafeteria order came in stale", ""},
        {"hot dog buns were dry", ""},
        {"tastes like metal", ""},
        {"came in a plastic bag with a plastic clip", ""},
        {"the store inspected it", ""},
        {"la devuelvo con razón", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* What is in the bag is not what it says, or an allergen is not told of. */
static void labels_that_say_otherwise(void **state)
{
    static const struct heard_case cases[] = {
        {"The bag says Roggensaft but inside is the almond plait", "wrong-label"},
        {"the ingredients list does not mention almonds", "wrong-label"},
        {"there was almond in a bread that is said to be nut free", "wrong-label"},
        {"bread said vegan, contained milk", "wrong-label"},
        {"box was labelled spelt toast, in it was rye", "wrong-label"},
        {"undeclared milk in the brioche", "wrong-label"},
        {"and the gluten free label is on a rye", "wrong-label"},
        {"the wrong label is on it", "wrong-label"},
        {"it was mislabelled", "wrong-label"},
        {"hay pan de nueces en la bolsa de pan de centeno", "wrong-label"},
        {"la etiqueta est\xC3\xA1 equivocada", "wrong-label"},
        {"dice vegano pero tiene leche", "wrong-label"},
        {"I got a cinnamon ring but the bag says almond braid", "wrong-label"},
        {"bought cinnamon ring, got almond braid inside", "wrong-label"},
        {"the tag on the tortillas says Sourwheat Sandwich, not what is inside", "wrong-label"},
        {"it said no dairy on the front but ingredients list whey", "wrong-label"},
        {"wrong ingredients list on the bag", "wrong-label"},
        {"the ingredients sticker was for another product", "wrong-label"},
        {"the bag is for another bread", "wrong-label"},
        {"there are sesame seeds in these buns and the label does not say sesame", "wrong-label"},
        {"hives within minutes, the bag says nothing about nuts", "allergic-reaction wrong-label"},
        {"tiene cacahuate y no lo dice", "wrong-label"},
        {"the plain braid turned out to have almonds, is that on the label?", "possible"},
        {"there were almonds in my cinnamon ring", "possible"},
        {"got buns but the bag says use by 3 May", ""},
        {"bought almond braid, it was stale inside", ""},
        {"the almond braid had mold and the bag does not say a date", ""},
        {"the bag says fresh, not what I call fresh", ""},
        {"el pan de nuez no dice la fecha", ""},
        {"compr\xC3\xA9 trenza y la bolsa dice 12 de mayo", ""},
        {"almonds were in the loaf", "possible"},
        {"the bag says best before 12 May but the bread is stale", ""},
        {"label says 800 g but it weighs 600", ""},
        {"label on the white loaf is the one for the raisin loaf", "wrong-label"},
        {"label on the white loaf is the one for the white loaf", ""},
        {"picked up the cinnamon braid and inside the bag was the almond one", "wrong-label"},
        {"cheese bread in the onion bread's wrapper", "wrong-label"},
        {"there are no ingredients listed on this bag at all", "wrong-label"},
        {"where the allergens should be it is blank", "wrong-label"},
        {"the ingredient panel is smudged, I cannot read it", "wrong-label"},
        {"no ingredient jumps out at me, it just tastes stale", ""},
        {"el empaque no trae la lista de ingredientes", "wrong-label"},
        {"los ingredientes salieron en blanco", "wrong-label"},
        {"no dice nuez en los ingredientes y si trae", "wrong-label"},
        {"se le rompi\xC3\xB3 un diente con una piedra", "injury foreign-matter"},
        {"con una piedra se le parti\xC3\xB3 la muela", "foreign-matter injury"},
        {"she broke a tooth on a stone", "injury foreign-matter"},
        {"my molar cracked on a bit of metal", "injury foreign-matter"},
        {"broke a tooth on the crust", "injury"},
        {"a date like a needle in a haystack, and it is stale", ""},
        {"un tipo echandole un liquido al pan", "tampering"},
        {"estaba echandole aceite al pan y vi que era viejo", ""},
        {"cheese bread in the cheese bread's wrapper", ""},
        {"outside garlic bread, inside cinnamon", "wrong-label"},
        {"you wrapped garlic bread as pumpkin bread", "wrong-label"},
        {"it's not the bread on the label", "wrong-label"},
        {"the sticker on my wheat bread is for the potato bread", "wrong-label"},
        {"bag of the white loaf was torn, the rye one next to it was fine", ""},
        {"bag says whole wheat and it is whole wheat", ""},
        {"lleva leche y no lo indica", "wrong-label"},
        {"la etiqueta del pan blanco es la del pan de pasas", "wrong-label"},
        {"la etiqueta del pan de pasas es la del pan de pasas", ""},
        {"no avisan que tiene leche", "wrong-label"},
        {"la bolsa del pan blanco ven\xC3\xAD"
         "a rota y la del integral no",
         ""},
        {"the almond plait was dry", ""},
        {"the label is crooked and it is underweight", ""},
        {"el pan de nuez estaba duro", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Said roundabout: who died, was carried off or sent home, and bread sold as free of something. */
static void harm_said_roundabout(void **state)
{
    static const struct heard_case cases[] = {
        {"we buried grandpa on Friday, he ate from that loaf", "illness"},
        {"the coroner asked us where the bread came from", "illness"},
        {"it nearly killed me", "illness"},
        {"school nurse sent him home after the sandwich", "illness"},
        {"it put me on my back for three days", "illness"},
        {"had the worst stomach of my life", "illness"},
        {"the paramedics came", "illness"},
        {"carted off by ambulance", "illness"},
        {"he died two days later", "illness"},
        {"hospitalised", "illness"},
        {"his airways closed", "allergic-reaction"},
        {"the baby turned blue", "injury"},
        {"la ni\xC3\xB1"
         "a no paraba de devolver",
         "illness"},
        {"desde ayer que no sale del ba\xC3\xB1o mi marido, y fue el pan", "illness"},
        {"bought gluten-free, got the normal bread in the bag", "wrong-label"},
        {"bought vegan, got the normal loaf in the packet", "wrong-label"},
        {"compr\xC3\xA9 sin gluten y ven\xC3\xAD"
         "a pan normal en la bolsa",
         "wrong-label"},
        {"I nearly died laughing at the label", ""},
        {"the bread was buried in the freezer", ""},
        {"that killed the batch", "possible"},
        {"bought gluten free and got a stale loaf", ""},
        {"no paraba de llover y el pan lleg\xC3\xB3 mojado", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* What it is said of: "" nothing. */
static void assert_bare(const char *note, const char *want)
{
    struct harm_heard heard = {0};
    bool is = harm_words_bare(words, note, &heard);
    char got[64] = "";
    if (is)
        snprintf(got, sizeof got, "%.*s", (int)(heard.to - heard.from), note + heard.from);
    if (strcmp(got, want) != 0)
        fail_msg("%s: want '%s' got '%s'", note, want, got);
}

/* In a complaint that nothing else explains an allergen is news by itself, but as a part of names
 * and sayings. */
static void a_bare_allergen_is_heard(void **state)
{
    static const struct heard_case cases[] = {
        {"sesame", "sesame"},
        {"had nuts in it", "nuts"},
        {"soy", "soy"},
        {"Soy!!", "Soy"},
        {"there might be egg in this", "egg"},
        {"bought the white loaf, got walnuts", "walnuts"},
        {"ordered plain, sesame came", "sesame"},
        {"tenía nueces", "nueces"},
        {"ajonjolí", "ajonjolí"},
        {"soya", "soya"},
        {"leche", "leche"},
        {"nut brown", ""},
        {"the crust is nut brown and split", ""},
        {"coconut bread is what she bought", ""},
        {"the sesame bun was squashed", ""},
        {"her almond plait came torn", ""},
        {"this company drives me nuts", ""},
        {"no nuts in it", ""},
        {"not enough sesame on the bun", ""},
        {"a hole the size of an egg", ""},
        {"spilled a glass of milk on it", ""},
        {"el pan de nuez venía roto", ""},
        {"soy cliente de hace años", ""},
        {"soy dentista y el pan vino aplastado", ""},
        {"le falta ajonjolí", ""},
        {"the bag was torn", ""},
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        assert_bare(cases[i].note, cases[i].want);
}

/* "my throat" alone is no injury: what befell it says which kind. */
static void swelling_is_no_injury(void **state)
{
    static const struct heard_case cases[] = {
        {"her lips swelled", "allergic-reaction"},
        {"my throat went tight", "allergic-reaction"},
        {"my lip was cut by something", "injury"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Each is misspelled; the other language is not read with it. */
static void slips_and_languages(void **state)
{
    static const struct heard_case cases[] = {
        {"had an alergic reaction", "allergic-reaction"},
        {"vommited 3 times", "illness"},
        {"me dio diarea", "illness"},
        {"soooo siiiick after this bread", "illness"},
        {"My hijo vomit\xC3\xB3 after eating the bread", "illness"},
        {"he vomitted after the bread", "illness"},
        {"cust clmd hard obj, chipped tooth, no photo yet", "foreign-matter injury"},
        {"tenia una u\xC3\xB1"
         "a en el pan",
         "foreign-matter"},
        {"habia una u\xC3\xB1"
         "a larga",
         "foreign-matter"},
        {"tenia una mancha, una en el pan y otra en la bolsa", ""},
        {"the rata of returns was higher than the rest of the week", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void shorthand_is_read(void **state)
{
    static const struct heard_case cases[] = {
        {"pt presented w/ n/v/d x 12h post ingestion of bread, resolved", "illness"},
        {"c/o abd pain after consuming product", "illness"},
        {"he is throwin up evrything", "illness"},
        {"my tummy's been in knots", "illness"},
        {"my tummy\u2019s been in knots", "illness"},
        {"we called 999 for her", "illness"},
        {"no mold/my son was vomiting", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* What is said of people when they are ill and of any loaf when it is old. */
static void bread_is_not_ill(void **state)
{
    static const struct heard_case cases[] = {
        {"the bread was rotten and the crust went white", ""},
        {"the loaf was a mess", ""},
        {"I felt rotten all night", "illness"},
        {"my mum went white and clammy", "illness"},
        {"todas las piezas estaban malas", ""},
        {"el pan se puso verde", ""},
        {"estamos malos en casa", "illness"},
        {"mi hijo se puso verde", "illness"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Who fell ill says nothing of whether somebody meant it. */
static void poisoning_is_illness_until_somebody_does_it(void **state)
{
    static const struct heard_case cases[] = {
        {"food poisoning from this loaf", "illness"},
        {"got food poisoning off your bread", "illness"},
        {"I was poisoned by this bread", "illness"},
        {"there is rat poison in the loaf", "foreign-matter tampering"},
        {"they are poisoning the bread", "illness tampering"},
        {"somebody poisoned our bread", "illness tampering"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* A word that a file writes with its ñ hides the same word with an n (as "uña" must hide "una"). */
static void enye_hides_only_another_word(void **state)
{
    static const struct heard_case cases[] = {
        {"toda la familia en el baño", "illness"},
        {"toda la familia en el bano", "illness"},
        {"se dañó una muela", "injury"},
        {"se dano una muela", "injury"},
        {"le hizo daño a mi hijo", "illness"},
        {"le hizo dano a mi hijo", "illness"},
        {"doña Carmen se enfermó", "illness"},
        {"traía una uña", "foreign-matter"},
        {"había una sustancia extraña en la bolsa", "tampering"},
    };
    (void)state;
    CHECK_CASES(cases);
}

static char *heard_shipped(const char *note)
{
    return heard(words, note);
}

static void the_list(void **state)
{
    const struct harm_list list = harm_list_count(heard_shipped);
    const int *harm = list.heard[LABEL_HARM], *harmless = list.heard[LABEL_HARMLESS];
    (void)state;
    assert_true(harm[HEARD_SAID] * 100 >= list.of[LABEL_HARM] * 88);
    assert_true(harm[HEARD_NOTHING] * 100 <= list.of[LABEL_HARM] * 8); /* left to the weights */
    assert_true(harmless[HEARD_SAID] * 100 <= list.of[LABEL_HARMLESS] * 4);
    assert_true(harmless[HEARD_POSSIBLE] * 100 <= list.of[LABEL_HARMLESS] * 16);
}

/* ---- long notes ---- */

static double processor_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID,
                  &now); /* the process' counts in ticks where it is limited */
    return (double)now.tv_sec * 1e3 + (double)now.tv_nsec / 1e6;
}

static double read_ms(const char *piece, size_t length)
{
    struct text_buffer note = {0};
    while (note.length < length)
        text_append(&note, piece);
    text_append(&note, ". And my son vomited");
    double least = 1e9;
    for (int i = 0; i < 3; i++) {
        double before = processor_ms();
        char *got = heard(words, note.data);
        double took = processor_ms() - before;
        assert_non_null(strstr(got, "illness"));
        free(got);
        least = took < least ? took : least;
    }
    text_buffer_free(&note);
    return least;
}

/* Sixteen times the length takes about sixteen times as long, where looking again from every word
 * would take two hundred and fifty-six. The bound lies between, wide enough for a busy machine,
 * whose caches the longer note loses more often: no time is judged here but its growth. */
static void long_notes_are_read_whole_and_in_time(void **state)
{
    static const char *const pieces[] = {
        "the bread was green and we took it back to the store, ",
        "sick ",
        "vomited glass tooth ",
        "my son was sick after eating bread ",
        "not could my son bit of hair in the bread was found ",
        "no mold, no smell, or ",
        "xqzzv wqyyk ",
        "el pan estaba duro y mi hijo no lo quiso ",
    };
    (void)state;
    for (size_t i = 0; i < sizeof pieces / sizeof pieces[0]; i++) {
        double small_ms = read_ms(pieces[i], 4000), large_ms = read_ms(pieces[i], 64000);
        if (large_ms > 160 * small_ms)
            fail_msg("'%s': 4 KB in %.2f ms, 64 KB in %.2f ms", pieces[i], small_ms, large_ms);
    }
}

/* ---- files ---- */

static void errors_name_the_place(void **state)
{
    static const struct {
        const char *text, *field;
        long line, column;
    } bad[] = {
        {"{\"said\":{\"illness\":[\"sick\",\n \"so-sick\"]}}", "/said/illness/1", 2, 2},
        {"{\"said\":{\"illness\":[\"@none\"]}}", "/said/illness/0", 1, 21},
        {"{\"sets\":{\"a\":[\"@b\"],\"b\":[\"x\"]}}", "/sets/a/0", 1, 15},
        {"{\"sets\":{\"deny\":[\"x\"]}}", "/sets/deny", 1, 17},
        {"{\"said\":{\"boredom\":[]}}", "/said/boredom", 1, 20},
        {"{\"context\":{\"perhaps\":[]}}", "/context/perhaps", 1, 23},
        {"{\"said\":{\"illness\":[\"_3 sick\"]}}", "/said/illness/0", 1, 21},
        {"{\"said\":{\"illness\":[\"sick! ill\"]}}", "/said/illness/0", 1, 21},
        {"{\"sets\":{\"a\":[\"x\"],\"b\":[\"@a!\"]}}", "/sets/b/0", 1, 25},
        {"{\"sets\":{\"a\":[\"x\"],\"b\":[\"@a y!\"]}}", "/sets/b/0", 1, 25},
        {"{\"said\":{\"illness\":[\"sick _3\"]}}", "/said/illness/0", 1, 21},
        {"{\"said\":{\"illness\":[\"sick _99 of\"]}}", "/said/illness/0", 1, 21},
        {"{\"said\":{\"illness\":[\"a b c d e f g h i j k\"]}}", "/said/illness/0", 1, 21},
        {"{\"said\":{\"illness\":[\"abcdefghijklmnopqrstuvwxyzabcdef\"]}}", "/said/illness/0", 1,
         21},
        {"{\"said\":{\"illness\":\"sick\"}}", "/said/illness", 1, 20},
        {"{\"marks\":\"the\"}", "/marks", 1, 10},
        {"{\"colour\":1}", "/colour", 1, 11},
    };
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct one_file folder;
        struct harm_words *none = NULL;
        struct error err = {0};
        one_file_make(&folder, "xx.json", bad[i].text);
        assert_int_equal(harm_words_load(folder.dir, NULL, NULL, NULL, &none, &err), ERROR_INVALID);
        assert_null(none);
        assert_string_equal(err.source, folder.file);
        assert_string_equal(err.field, bad[i].field);
        assert_int_equal(err.line, bad[i].line);
        assert_int_equal(err.column, bad[i].column);
        one_file_end(&folder);
    }
}

/* Of German no more is read than harm. */
static void german_is_heard(void **state)
{
    static const struct heard_case cases[] = {
        {"mein Kind hat nach dem Brot erbrochen und ist im Krankenhaus", "illness"},
        {"musste sich \xC3\xBC"
         "bergeben, der Toast war schimmlig",
         "illness"},
        {"meine Tochter hat seit gestern Bauchschmerzen", "illness"},
        {"Oma ist gestorben", "illness"},
        {"Glasscherbe im Toast", "foreign-matter"},
        {"auf eine Schraube gebissen, Zahn abgebrochen", "foreign-matter injury"},
        {"Metallspan im Brot", "foreign-matter"},
        {"allergischer Schock nach dem Brot", "allergic-reaction"},
        {"Gift im Brot", "tampering"},
        {"die T\xC3\xBCte war aufgeschlitzt", "tampering"},
        {"das Brot ist schimmlig, niemand wurde krank", ""},
        {"das Brot war schon schlecht und riecht sauer", ""},
        {"gr\xC3\xBCner Schimmel auf der Scheibe, kein Glas, nichts verletzt", ""},
        {"die Scheiben sind nicht geschnitten, der Beutel war offen", ""},
        {"Glassplitter im K\xC3\xBCrbiskernbrot", "foreign-matter"},
        {"Knochenst\xC3\xBC"
         "ck im Zwiebelkuchen gefunden",
         "foreign-matter"},
        {"mir is seit gestern sau\xC3\xBC"
         "bel von der K\xC3\xA4sestange",
         "illness"},
        {"mir ist saeuuebel, speiuebel, von der Kaesestange", "illness"},
        {"Kd. tel.: Sohn 4 J. Quaddeln am ganzen Bauch, Notarzt", "allergic-reaction"},
        {"Meim Opa is die Krone rausgflogn wegen am Stoa im Brot", "injury foreign-matter"},
        {"mini Tochter het nach em Weggli en gschwullni Lippe", "allergic-reaction"},
        {"der Backenzahn ist durch", "injury"},
        {"N\xC3\xBCsse sind nicht deklariert", "wrong-label"},
        {"falsches Etikett auf dem Brot", "wrong-label"},
        {"ich kipp euch was in den Teig", "tampering"},
        {"mein Sohn hat sich nicht verletzt, das Brot war hart", ""},
        {"keiner ist krank geworden, der Kuchen war trocken", ""},
        /* "niemand" behind it denies nothing but at the end of what is said */
        {"mein Kind war krank, niemand half", "illness"},
        {"Bacillus cereus 120000 cfu/g", "illness"},
        {"ochratoxin A 11 ug/kg", "illness"},
        {"rope of Bacillus subtilis", ""},
        {"Kind wurde krank, hat keiner abgehoben", "illness"},
        {"wurde jemand krank? nein, niemand", ""},
        {"Niemand in der Familie war davon krank", ""},
        {"die neuen T\xC3\xBCten sind todschick", ""},
        {"bei dem Preis wird mir schlecht", ""},
        {"die Kekse kamen gebrochen an", ""},
        {"das Brot ist schlecht geworden, bevor das Datum um war", ""},
        {"the gift basket came with a stein and a moldy loaf", ""},
        {"an error in the art, die cut label", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* Seeds stuck to a crust are no "Stück", a kind of bread no "Kind". */
static void english_is_not_heard_as_german(void **state)
{
    static const struct heard_case cases[] = {
        {"bits of seed stuck in the crust", ""},
        {"slices stuck together, doughy in the middle", ""},
        {"bin bags outside your shop, what kind of bakery is that", ""},
        {"the label stuck on the bread, die cut", ""},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void check_own(const char *text, const struct heard_case *cases, size_t count)
{
    struct one_file folder;
    struct error err = {0};
    struct harm_words *own = NULL, *shipped = words;
    one_file_make(&folder, "xx.json", text);
    assert_int_equal(harm_words_load(folder.dir, NULL, NULL, NULL, &own, &err), 0);
    words = own;
    check_cases(cases, count);
    words = shipped;
    harm_words_free(own);
    one_file_end(&folder);
}

/* "Glassplitter" begins as glass and ends as splinters do. */
static void words_end_and_begin(void **state)
{
    static const char text[] =
        "{\"language\":\"de\",\"sets\":{\"matter\":[\"*splitter\",\"glas*\"]},"
        "\"context\":{},\"said\":{\"foreign-matter\":[\"@matter drin\"],"
        "\"injury\":[\"*zahn kaputt\"]},\"possible\":[\"splitter\"]}";
    static const struct heard_case cases[] = {
        {"Holzsplitter drin", "foreign-matter"},
        {"SPLITTER drin", "foreign-matter"},
        {"Splitterbr\xC3\xB6tchen drin", ""},
        {"glasig drin", "foreign-matter"},
        {"Fensterglas drin", ""},
        {"Backenzahn kaputt", "injury"},
        {"Zahn kaputt", "injury"},
        {"Zahnarzt kaputt", ""},
        {"ein Splitter", "possible"},
        {"zahn", ""},
    };
    (void)state;
    check_own(text, cases, sizeof cases / sizeof cases[0]);
}

/* An umlaut may be written with an e, or left out where that is no other word of the file. */
static void umlauts(void **state)
{
    static const char text[] =
        "{\"language\":\"de\",\"sets\":{\"past\":[\"hatte\"]},"
        "\"context\":{\"suppose\":[\"h\xC3\xA4tte\"]},\"said\":{\"illness\":[\"\xC3\xBC"
        "bel*\",\"\xC3\xBC"
        "bergeben\",\"sich \xC3\xBC"
        "bergeben\"]},\"possible\":[]}";
    static const struct heard_case cases[] = {
        {"mir ist \xC3\xBC"
         "bel",
         "illness"},
        {"mir ist uebel", "illness"},
        {"mir ist ubel", "illness"},
        {"mir ist \xC3\x9C"
         "BEL",
         "illness"},
        {"mir ist u\xCC\x88"
         "bel",
         "illness"},
        {"hat sich \xC3\xBC"
         "bergeben",
         "illness"},
        {"sich uebergeben", "illness"},
        {"ich hatte \xC3\xBC"
         "belkeit",
         "illness"},
        {"ich h\xC3\xA4tte \xC3\xBC"
         "belkeit",
         "possible"},
        {"ich haette uebelkeit", "possible"},
    };
    (void)state;
    check_own(text, cases, sizeof cases / sizeof cases[0]);
}

/* As keyboards for Chinese and Japanese write Latin letters, and what stands between them. */
static void full_width_is_read(void **state)
{
    static const struct heard_case cases[] = {
        {"\uFF34\uFF28\uFF25 bread made my son \uFF33\uFF29\uFF23\uFF2B\uFF01", "illness"},
        {"my son is \uFF53\uFF49\uFF43\uFF4B\uFF0Chome from school, after the bread", "illness"},
        {"nobody was \uFF33\uFF29\uFF23\uFF2B\uFF0Emoldy bread", ""},
        {"glass\u3000in\u3000the\u3000loaf", "foreign-matter"},
    };
    (void)state;
    CHECK_CASES(cases);
}

/* In the bread it lies by itself as a rule; that somebody put it there is said otherwise. */
static void glass_is_foreign_matter_until_somebody_put_it_there(void **state)
{
    static const struct heard_case cases[] = {
        {"I bit on a bit of glass in the bread", "foreign-matter"},
        {"broken glass inside the loaf", "foreign-matter"},
        {"glass was pushed into the loaf", "foreign-matter tampering"},
        {"a razor blade in the loaf", "foreign-matter tampering"},
    };
    (void)state;
    CHECK_CASES(cases);
}

static void a_plant_may_add_a_language(void **state)
{
    static const char text[] =
        "{\"language\":\"de\",\"filler\":[\"sehr\"],\"sets\":{\"zahn\":[\"zahn\",\"z\xC3\xA4hne\"]}"
        ","
        "\"context\":{\"deny\":[\"kein|keinen\"],\"idle\":[\"zahn der zeit\"],"
        "\"suppose\":[\"k\xC3\xB6nnte\"]},"
        "\"said\":{\"injury\":[\"abgebrochen _2 @zahn\",\"@zahn _3 abgebrochen\"],"
        "\"illness\":[\"erbrochen~\"]},\"possible\":[\"@zahn\"]}";
    static const struct heard_case cases[] = {
        {"Mir ist ein sehr gro\xC3\x9F"
         "er Zahn abgebrochen",
         "injury"},
        {"kein Zahn abgebrochen", ""},
        {"er hat sich erbrohen", "illness"},
        {"der Zahn der Zeit", ""},
        {"das k\xC3\xB6nnte einen Zahn kosten", ""},
        {"am Zahn", "possible"},
    };
    (void)state;
    check_own(text, cases, sizeof cases / sizeof cases[0]);
}

/* Whether a file loads of which the first list of what is harm has these patterns; the field it is
 * refused by. */
static void loads(const char *sets, const char *pattern, bool good, const char *field)
{
    struct one_file folder;
    struct harm_words *own = NULL;
    struct error err = {0};
    struct text_buffer text = {0};
    text_appendf(&text, "{\"sets\":{%s},\"said\":{\"illness\":[\"%s\"]}}", sets, pattern);
    one_file_make(&folder, "xx.json", text.data);
    int rc = harm_words_load(folder.dir, NULL, NULL, NULL, &own, &err);
    if (rc != (good ? 0 : ERROR_INVALID) || (own != NULL) != good)
        fail_msg("'%s': %d %s", pattern, rc, err.text);
    if (!good)
        assert_string_equal(err.field, field);
    harm_words_free(own);
    one_file_end(&folder);
    text_buffer_free(&text);
}

static void what_is_a_pattern(void **state)
{
    static const char *const GOOD[] = {"a",        "a b c d e f g h i j",
                                       "a|b",      "a|@s|b",
                                       "@s b",     "@s @s!",
                                       "a @s @s!", "@s b @s!",
                                       "a _1 b",   "a _12 b",
                                       "a / b",    "a b / c d",
                                       "^ a",      "a $",
                                       "^ a $ b",  "a $ / ^ b",
                                       "a*",       "*a",
                                       "a~",       "it's",
                                       "3|a4",     "abcdefghijklmnopqrstuvw"};
    static const char *const BAD[] = {"",          " ",        "a b c d e f g h i j k",
                                      "a|",        "|a",       "a||b",
                                      "@",         "@t",       "a|@t",
                                      "@s!",       "@s a!",    "@s @s!|a",
                                      "a @s!",     "a|b @s!",  "a _0 b",
                                      "a _13 b",   "a _123 b", "a _ b",
                                      "a _x b",    "a _1x b",  "_1 a",
                                      "a _1",      "/ a",      "a /",
                                      "a / b / c", "a / / b",  "$ a",
                                      "a ^",       "*",        "~",
                                      "**",        "a-b",      "a_b"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(GOOD); i++)
        loads("\"s\":[\"x\"]", GOOD[i], true, "");
    for (size_t i = 0; i < COUNT_OF(BAD); i++)
        loads("\"s\":[\"x\"]", BAD[i], false, "/said/illness/0");
}

/* As much as there is room for, and one more. */
static void a_file_has_its_limits(void **state)
{
    struct text_buffer sets = {0}, pattern = {0};
    (void)state;
    for (int i = 0; i < 99; i++) { /* with the 30 that each file has: 128 */
        text_appendf(&sets, "%s\"s%d\":[\"x\"]", i ? "," : "", i);
        if (i >= 97)
            loads(sets.data, "@s97", i == 97, "/bare");
    }
    while (pattern.length < 1998)
        text_append(&pattern, &"|a"[!pattern.length]);
    loads("", pattern.data, true, "");
    text_append(&pattern, " ");
    loads("", pattern.data, false, "/said/illness/0");
    text_buffer_free(&sets);
    text_buffer_free(&pattern);
}

/* What stands between, before and behind, at the last place where it may. */
static void what_a_pattern_finds(void **state)
{
    static const char text[] =
        "{\"filler\":[\"quite\"],\"sets\":{\"s\":[\"red\",\"blue\"]},\"said\":{"
        "\"illness\":[\"alpha _2 beta\"],\"injury\":[\"^ gamma\",\"delta $\"],"
        "\"foreign-matter\":[\"kappa / lambda\"],\"tampering\":[\"@s and @s!\"],"
        "\"allergic-reaction\":[\"omega*\",\"*sigma\",\"straight\",\"crooked~\"]}}";
    static const struct heard_case cases[] = {
        {"x alpha beta y", "illness"},
        {"x alpha one beta y", "illness"},
        {"x alpha one two beta y", "illness"},
        {"x alpha one two three beta y", ""},
        {"x alpha one quite two beta y", "illness"},
        {"x beta alpha y", ""},
        {"gamma x", "injury"},
        {"x. gamma x", "injury"},
        {"x gamma x", ""},
        {"x delta", "injury"},
        {"x delta. x", "injury"},
        {"x delta x", ""},
        {"x kappa lambda y", "foreign-matter"},
        {"x kappa y lambda", ""},
        {"x red and blue y", "tampering"},
        {"x blue and red y", "tampering"},
        {"x red and red y", ""},
        {"x omegas y", "allergic-reaction"},
        {"x omega y", "allergic-reaction"},
        {"x omeg y", ""},
        {"x mysigma y", "allergic-reaction"},
        {"x sigma y", "allergic-reaction"},
        {"x sigmas y", ""},
        {"x straight y", "allergic-reaction"},
        {"x straigt y", ""},
        {"x crookd y", "allergic-reaction"},
        {"x croked y", "allergic-reaction"},
        {"x wooked y", ""},
    };
    (void)state;
    check_own(text, cases, COUNT_OF(cases));
}

static void nothing_to_read_with(void **state)
{
    struct harm_words *none = NULL;
    (void)state;
    assert_int_equal(harm_words_load("/nonexistent", NULL, NULL, NULL, &none, NULL), 0);
    char *got = heard(none, "my son vomited");
    assert_string_equal(got, "");
    free(got);
    got = heard(NULL, "my son vomited");
    assert_string_equal(got, "");
    free(got);
    got = heard(words, "");
    assert_string_equal(got, "");
    free(got);
    harm_words_free(none);
    harm_words_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_may_stand_within),
        cmocka_unit_test(letters_by_themselves),
        cmocka_unit_test(who_got_at_it),
        cmocka_unit_test(what_was_checked_and_clear_is_none),
        cmocka_unit_test(what_a_laboratory_found_is_there),
        cmocka_unit_test(below_is_a_limit_only_with_a_figure),
        cmocka_unit_test(not_detected_once_may_be_detected_again),
        cmocka_unit_test(results_in_a_laboratorys_words),
        cmocka_unit_test(a_kind_is_not_mistaken),
        cmocka_unit_test(a_smell_may_irritate),
        cmocka_unit_test(a_denial_ends),
        cmocka_unit_test(others_may_be_hurt),
        cmocka_unit_test(guesses_and_idioms_are_possible_at_most),
        cmocka_unit_test(labels_that_say_otherwise),
        cmocka_unit_test(harm_said_roundabout),
        cmocka_unit_test(a_bare_allergen_is_heard),
        cmocka_unit_test(swelling_is_no_injury),
        cmocka_unit_test(slips_and_languages),
        cmocka_unit_test(shorthand_is_read),
        cmocka_unit_test(bread_is_not_ill),
        cmocka_unit_test(poisoning_is_illness_until_somebody_does_it),
        cmocka_unit_test(enye_hides_only_another_word),
        cmocka_unit_test(the_list),
        cmocka_unit_test(long_notes_are_read_whole_and_in_time),
        cmocka_unit_test(errors_name_the_place),
        cmocka_unit_test(german_is_heard),
        cmocka_unit_test(english_is_not_heard_as_german),
        cmocka_unit_test(words_end_and_begin),
        cmocka_unit_test(umlauts),
        cmocka_unit_test(full_width_is_read),
        cmocka_unit_test(glass_is_foreign_matter_until_somebody_put_it_there),
        cmocka_unit_test(a_plant_may_add_a_language),
        cmocka_unit_test(what_is_a_pattern),
        cmocka_unit_test(a_file_has_its_limits),
        cmocka_unit_test(what_a_pattern_finds),
        cmocka_unit_test(nothing_to_read_with),
    };
    return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
