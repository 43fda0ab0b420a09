/* Who called, by the story alone. */
#include "check.h"
#include "intake/caller.h"
#include "intake/lexicon.h"
#include <string.h>

static struct lexicon *lexicon;

struct row {
    const char *story, *name, *phone, *email; /* NULL: not told */
};

static void assert_told(const struct row *row)
{
    static const char *const MEMBERS[] = {"name", "phone", "email"};
    const char *const expected[] = {row->name, row->phone, row->email};
    json_t *complaint = json_pack("{s:s}", "note", row->story);
    caller_fill(lexicon, complaint, row->story);
    for (size_t i = 0; i < 3; i++) {
        const char *said =
            json_string_value(json_object_get(json_object_get(complaint, "contact"), MEMBERS[i]));
        if (!said != !expected[i] || (said && strcmp(said, expected[i]) != 0))
            fail_msg("'%s': %s is %s, not %s", row->story, MEMBERS[i], said ? said : "none",
                     expected[i] ? expected[i] : "none");
    }
    json_decref(complaint);
}

static void told_by_a_plain_phrase(void **state)
{
    static const struct row ROWS[] = {
        {"She came out in hives and her lips swelled. Call me, Verena Koskie 555-0142",
         "Verena Koskie", "555-0142", NULL},
        {"call me back: Verena Koskie at (607) 555-0142", "Verena Koskie", "(607) 555-0142", NULL},
        {"this is Verena Koskie, the loaf was green", "Verena Koskie", NULL, NULL},
        {"This is Verena Koskie from Ithaca calling", "Verena Koskie", NULL, NULL},
        {"Hi, I'm Verena Brown 607-555-0142", "Verena Brown", "607-555-0142", NULL},
        {"my name is Verena and the bread is moldy", "Verena", NULL, NULL},
        {"My name's Mrs. Koskie", "Koskie", NULL, NULL},
        {"Hola, soy Carmen Ruiz de la Peña, el pan tenía moho", "Carmen Ruiz de la Peña", NULL,
         NULL},
        {"soy la señora Koskie, moho", "Koskie", NULL, NULL},
        {"ich heiße Verena Koskie, Schimmel am Brot", "Verena Koskie", NULL, NULL},
        {"mein Name ist Verena Koskie und das Brot schimmelt", "Verena Koskie", NULL, NULL},
        {"Schimmel. Mit freundlichen Grüßen Verena Koskie", "Verena Koskie", NULL, NULL},
        {"hier spricht Frau Koskie, Schimmel", "Koskie", NULL, NULL},
        {"moldy loaf - Verena Koskie here", "Verena Koskie", NULL, NULL},
        {"you can reach Verena Koskie at work", "Verena Koskie", NULL, NULL},
        {"null vier null acht acht drei zwei eins", NULL, "04088321", NULL},
        {"me llamo Íñigo, 607 555 0142", "Íñigo", "607 555 0142", NULL},
        {"Mold on the heel.\n— Verena Koskie", "Verena Koskie", NULL, NULL},
        {"Mold on the heel. Regards, Verena v.koskie@mail.example", "Verena", NULL,
         "v.koskie@mail.example"},
        {"Moldy again. Thanks, Verena Smith-Koskie", "Verena Smith-Koskie", NULL, NULL},
        {"call S\xC3\xA1"
         "bado 607 555 0142",
         NULL, "607 555 0142", NULL},
        {"ring Freitag 607 555 0142", NULL, "607 555 0142", NULL},
        {"gracias, Ana Domingo 607 555 0142", "Ana Domingo", "607 555 0142", NULL},
        {"call six zero seven five five five zero one four two", NULL, "6075550142", NULL},
        {"call Verena Koskie 555-0142", "Verena Koskie", "555-0142", NULL},
        {"order 6075550142 was moldy, ring 607 555 0199", NULL, "607 555 0199", NULL},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++)
        assert_told(&ROWS[i]);
}

/* As desks type. */
static void told_in_small_letters(void **state)
{
    static const struct row ROWS[] = {
        {"my name is verena koskie", "verena koskie", NULL, NULL},
        {"my name is verena koskie and the bread was moldy", "verena koskie", NULL, NULL},
        {"MY NAME IS VERENA KOSKIE", "VERENA KOSKIE", NULL, NULL},
        {"my name is Verena koskie, moldy loaf", "Verena koskie", NULL, NULL},
        {"my name is verena moldy bread", "verena", NULL, NULL},
        {"my name is Will", "Will", NULL, NULL},
        {"my name is rose and it is moldy", "rose", NULL, NULL},
        {"My name is Baker, moldy", "Baker", NULL, NULL},
        {"moldy. regards, verena koskie", "verena koskie", NULL, NULL},
        {"moldy bread thx verena", "verena", NULL, NULL},
        {"Verena Koskie speaking, moldy loaf", "Verena Koskie", NULL, NULL},
        {"Verena Koskie calling about mold", "Verena Koskie", NULL, NULL},
        {"Name: Koskie, Verena", "Koskie, Verena", NULL, NULL},
        {"moldy. the name's Koskie", "Koskie", NULL, NULL},
        {"Moldy. Signed, V. Koskie", "V. Koskie", NULL, NULL},
        {"Moldy loaf. Best, Verena", "Verena", NULL, NULL},
        {"Moldy -- Verena Koskie", "Verena Koskie", NULL, NULL},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++)
        assert_told(&ROWS[i]);
}

static void other_words_are_no_caller(void **state)
{
    static const char *const STORIES[] = {
        "This is Sandwich White, bought at Harbor Market",
        "This is Country Oat bread and it is moldy",
        "this is Terrible. I am Allergic to it",
        "Contains Soy Protein, best by 11/24",
        "I am White Bread's biggest fan",
        "you can reach Customer Service at noon",
        "bought Country Oat here",
        "hier ist Schimmel am Brot",
        "the crust is mold here and there",
        "MY NAME ON THE CARD, THIS IS AWFUL BREAD",
        "Thanks, The bag was torn",
        "call Poison Control they said",
        "call Verena Koskie 555-014", /* six digits are no number to call */
        "mold - Green and Black spots",
        "this is Rye Bread",
        "order 6075550142",
        "anna at mill dot example",
        "Verena Koskie wrote this without any such phrase",
        "thank you for Nothing at all",
        "llame S\xC3\xA1"
        "bado",
        "Moldy. Gracias, S\xC3\xA1"
        "bado",
        "Moldy. Thanks, Samstag",
        "Moldy. Gracias, Jueves",
        "soy al\xC3\xA9rgico",
        "this is moldy",
        "bread here",
        "calling about mold",
        "Product name: Country Oat",
        "my name is on the card",
        "moldy. regards, bread",
        "Best by 11/24",
    };
    (void)state;
    for (size_t i = 0; i < sizeof STORIES / sizeof *STORIES; i++)
        assert_told(&(struct row){.story = STORIES[i]});
}

static void what_was_given_stays(void **state)
{
    (void)state;
    json_t *complaint =
        json_pack("{s:{s:s}, s:s}", "contact", "phone", "555-0101", "lot_text", "60755501429");
    caller_fill(lexicon, complaint, "call me, Verena Koskie 555-0142");
    const json_t *contact = json_object_get(complaint, "contact");
    assert_string_equal(json_string_value(json_object_get(contact, "phone")), "555-0101");
    assert_string_equal(json_string_value(json_object_get(contact, "name")), "Verena Koskie");
    json_decref(complaint);

    complaint = json_pack("{s:s, s:n}", "lot_text", "60755501429", "contact");
    caller_fill(lexicon, complaint, "the bag says 60755501429");
    assert_null(json_object_get(complaint, "contact"));
    json_decref(complaint);
}

/* It will be refused. */
static void a_story_too_long_says_nothing(void **state)
{
    enum { NOTE_MOST = 4000 };
    char story[NOTE_MOST + 2];
    (void)state;
    for (size_t length = NOTE_MOST; length <= NOTE_MOST + 1; length++) {
        memset(story, ' ', sizeof story);
        memcpy(story, "call 607-555-0142", strlen("call 607-555-0142"));
        story[length] = '\0';
        json_t *complaint = json_object();
        caller_fill(lexicon, complaint, story);
        assert_int_equal(json_object_get(complaint, "contact") != NULL, length == NOTE_MOST);
        json_decref(complaint);
    }
}

static int load(void **state)
{
    (void)state;
    return lexicon_load(ODDLOAF_SOURCE_DIR "/rules/lexicon", NULL, NULL, &lexicon, NULL);
}

static int unload(void **state)
{
    (void)state;
    lexicon_free(lexicon);
    return 0;
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(told_by_a_plain_phrase),        cmocka_unit_test(told_in_small_letters),
        cmocka_unit_test(other_words_are_no_caller),     cmocka_unit_test(what_was_given_stays),
        cmocka_unit_test(a_story_too_long_says_nothing),
    };
    return cmocka_run_group_tests(tests, load, unload);
}
