/* What others than the desk read of a caller's words. */
#include "check.h"
#include "intake/mask.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void assert_masked(const char *text, const char *expected)
{
    json_t *contact = json_pack("{s:s, s:s, s:s}", "name", "Dana O'Neill de la Peña", "phone",
                                "+1 (607) 555-0142", "email", "dana@example.invalid");
    char *masked = mask_contact(text, contact);
    assert_string_equal(masked, expected);
    free(masked);
    json_decref(contact);
}

static void names_in_any_case(void **state)
{
    (void)state;
    assert_masked("call Dana, DANA or dana's son", "call [name], [name] or [name]'s son");
    assert_masked("Mrs. Neill or pena, de la casa", "Mrs. [name] or [name], de la casa");
    assert_masked("Danae is another", "Danae is another");
}

static void names_in_any_alphabet(void **state)
{
    static const struct {
        const char *name, *text, *masked;
    } ROWS[] = {
        {"Мария Ёлкина", "звонила МАРИЯ, елкина", "звонила [name], [name]"},
        {"Γιώργος Παπάς", "ο ΓΙΩΡΓΟΣ Παπας", "ο [name] [name]"},
        {"李小雷", "我是李小雷打电话", "我是[name]打电话"},
        {"Li Wei", "Li said a little, WEI too", "[name] said a little, [name] too"},
        {"Jürgen Straße", "JURGEN STRASSE", "[name] [name]"},
        {"Nguyễn Hạnh", "NGUYỄN HẠNH called, Ms Nguyen again, hanh",
         "[name] [name] called, Ms [name] again, [name]"},
        {"Trần Đức", "TRẦN, tran, DUC, đức", "[name], [name], [name], [name]"},
        {"Linh Nguyen", "Nguyễn, nguyễn's", "[name], [name]'s"},
        {"Đỗ Vũ", "Do and Vu, do it; ĐỖ VŨ", "[name] and [name], do it; [name] [name]"},
        {"Ștefan Țurcanu", "Stefan TURCANU; Ştefan Ţurcanu", "[name] [name]; [name] [name]"},
        {"Ḥasan Ṣāliḥ", "hasan, Salih, ḤASAN", "[name], [name], [name]"},
        {"Jürgen Groß", "GROẞ, gross", "[name], [name]"},
        {"\u00C5sa Holm", "\u212Bsa, Aasa, A\u030Asa", "[name], [name], [name]"},
        {"Андрей Нойман", "АНДРЕИ\u0306", "[name]"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        json_t *contact = json_pack("{s:s}", "name", ROWS[i].name);
        char *masked = mask_contact(ROWS[i].text, contact);
        assert_string_equal(masked, ROWS[i].masked);
        free(masked);
        json_decref(contact);
    }
}

/* As long as nobody is called, and still a name. */
static void long_names(void **state)
{
    (void)state;
    for (int length = 20; length <= 60; length += 10) {
        char name[64] = "Q", text[96];
        for (int i = 1; i < length; i++)
            name[i] = "zenobiaquarrel"[i % 14];
        name[length] = '\0';
        snprintf(text, sizeof text, "call %s back", name);
        json_t *contact = json_pack("{s:s}", "name", name);
        char *masked = mask_contact(text, contact);
        assert_string_equal(masked, "call [name] back");
        free(masked);
        json_decref(contact);
    }
}

struct row {
    const char *name, *text, *masked;
};

static void assert_rows(const struct row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        json_t *contact = json_pack("{s:s}", "name", rows[i].name);
        char *masked = mask_contact(rows[i].text, contact);
        assert_string_equal(masked, rows[i].masked);
        free(masked);
        json_decref(contact);
    }
}

/* Whichever key the desk hits, whatever a phone's keyboard makes of it. */
static void names_in_any_writing(void **state)
{
    static const struct row ROWS[] = {
        {"Grace O'Hara", "this is Grace O\u2019Hara; Mrs O\u2019Hara\u2019s bread, O'Hara's",
         "this is [name] [name]; Mrs [name]\u2019s bread, [name]'s"},
        {"Grace O\u2019Hara", "o`hara, O\u02BCHARA, ohara, Hara", "[name], [name], [name], [name]"},
        {"Zenobia Quarrel", "the Quarrels, ZenobiaQuarrel's, quarrel\u2019s",
         "the [name]s, [name]'s, [name]\u2019s"},
        {"Zenobia Quarrel",
         "Quar\u200Brel, Quar\u00ADrel's \u200BQuarrel\uFEFF, \u201CQuarrel\u201D",
         "[name], [name]'s \u200B[name]\uFEFF, \u201C[name]\u201D"},
        {"Zenobia Quarrel", "\uFF31\uFF55\uFF41\uFF52\uFF52\uFF45\uFF4C, quarrelsome, squarrel",
         "[name], quarrelsome, squarrel"},
        {"Zo\u00EB Jones", "Zo\u00EB\u2019s, zoe\u2014Joneses",
         "[name]\u2019s, [name]\u2014[name]es"},
        {"J\u00F6rg M\u00FCller", "Mueller, MULLER, Joerg; Mu\u0308ller",
         "[name], [name], [name]; [name]"},
        {"Anke Mueller", "M\u00FCller", "[name]"},
        {"Anne-Marie Vogt", "Annemarie, annevogt", "[name], [name]"},
        {"Tim Vogt", "three times, tims", "three times, [name]s"},
        /* letters of other alphabets that look the same: Cyrillic, Greek, all of it */
        {"Zenobia Jones", "J\u043Enes, J\u03BFne\u0455; ZEN\u041EBIA's, p\u043Ends",
         "[name], [name]; [name]'s, p\u043Ends"},
        {"Ann Cope", "\u0421\u043E\u0440\u0435 called", "[name] called"},
        {"\u0412\u0435\u0440\u0430 Kern", "\u0432\u0435\u0440\u0430, \u0412\u0415\u0420\u0410",
         "[name], [name]"},
        /* letter by letter */
        {"Zenobia Jones", "J o n e s, J-O-N-E-S; j. o. n. e. s. and Z e n o b i a J o n e s",
         "[name], [name]; [name]. and [name] [name]"},
        {"Zenobia Jones",
         "J*o*n*e*s, J_o_n_e_s; j\u2665o\u2665n\u2665e\u2665s and J + o + n + e + s",
         "[name], [name]; [name] and [name]"},
        {"Zenobia Jones",
         "\u24BF\u24DE\u24DD\u24D4\u24E2, \U0001F179\U0001F17E\U0001F17D\U0001F174\U0001F182 "
         "and \U0001F1EF\U0001F1F4\U0001F1F3\U0001F1EA\U0001F1F8; \u24BF \u24DE \u24DD "
         "\u24D4 \u24E2",
         "[name], [name] and [name]; [name]"},
        {"Zenobia Jones", "\u2460 bag, \U0001F35E bread, a * b",
         "\u2460 bag, \U0001F35E bread, a * b"},
        {"Zenobia Jones", "J o n, plan B or C, j o i n e s", "J o n, plan B or C, j o i n e s"},
        {"\u738B\u5C0F\u660E", "\u6211\u662F\u5C0F\u660E\u3002\u738B\u5C0F\u660E",
         "\u6211\u662F[name]\u3002[name]"},
    };
    (void)state;
    assert_rows(ROWS, sizeof ROWS / sizeof ROWS[0]);
}

/* What was seen on the loaf stays; who called goes. */
static void names_that_are_words(void **state)
{
    static const struct row ROWS[] = {
        {"May Brown", "May Brown called: brown mold, it may be green",
         "[name] [name] called: brown mold, it may be green"},
        {"May Brown", "Brown, May; Mr. Brown; mrs brown; Brown\u2019s loaf",
         "[name], [name]; Mr. [name]; mrs [name]; [name]\u2019s loaf"},
        {"Zenobia White", "white spots, Zenobia White, White Zenobia",
         "white spots, [name] [name], [name] [name]"},
        {"Rose Baker", "this is Rose, I'm Rose, it is rose; Rose spots",
         "this is [name], I'm [name], it is rose; Rose spots"},
        {"rose", "my name is rose, rose spots", "my name is [name], rose spots"},
        {"Will", "My name is Will. I will call", "My name is [name]. I will call"},
        {"Rosa", "me llamo rosa, pan rosa", "me llamo [name], pan rosa"},
        {"Rose Baker", "rose spots on the baker's loaf", "rose spots on the baker's loaf"},
        {"Anna Smith", "Smith called, SMITH, call Smith back; Smith, A., Smith\u2011bread, smith",
         "[name] called, [name], call [name] back; [name], A., [name]\u2011bread, [name]"},
        {"Anna Smith-Jones", "Smith\u2011Jones, Smith/Jones", "[name]\u2011[name], [name]/[name]"},
        {"Ann White-Vogt", "white\u2011vogt, white/vogt, vogt \u2013 white",
         "[name]\u2011[name], [name]/[name], [name] \u2013 [name]"},
        {"May Brown", "call Brown back, it was Brown. Brown spots; BROWN MOLD, Brown 680 g",
         "call [name] back, it was [name]. Brown spots; BROWN MOLD, Brown 680 g"},
        {"May Brown", "bought in May: brown mold", "bought in May: brown mold"},
        {"Will Green", "call me if you will, green spots; it will, green as it is; will green",
         "call me if you will, green spots; it will, green as it is; [name] [name]"},
    };
    (void)state;
    assert_rows(ROWS, sizeof ROWS / sizeof ROWS[0]);
}

/* Who called is on record; of whom the story tells is not. */
static void names_of_others(void **state)
{
    static const struct {
        const char *text, *masked;
    } ROWS[] = {
        {"my neighbour Petra Lindqvist bought one too, Petra's was green",
         "my neighbour [name] [name] bought one too, [name]'s was green"},
        {"gave it to my sister, Jo Marsh, and she was sick",
         "gave it to my sister, [name] [name], and she was sick"},
        {"my boss is called Petra and her kids Ole and Jana ate it",
         "my boss is called [name] and her kids [name] and [name] ate it"},
        {"Petra Lindqvist, my neighbour, had it too", "[name] [name], my neighbour, had it too"},
        {"then Mrs Lindqvist next door and Dr. Ellis saw it",
         "then Mrs [name] next door and Dr. [name] saw it"},
        {"then Srta. Lindqvist next door and Prof. Ellis saw it",
         "then Srta. [name] next door and Prof. [name] saw it"},
        {"mi vecina se llama Íñiga Ruiz y también le salió",
         "mi vecina se llama [name] [name] y también le salió"},
        {"my son was sick, my daughter Allergic to nuts",
         "my son was sick, my daughter Allergic to nuts"},
        {"My Son Ate The Bread And Was Sick", "My Son Ate The Bread And Was Sick"},
        {"my friend bought Country Oat. Mold on the heel",
         "my friend bought Country Oat. Mold on the heel"},
        {"my wife Bread and all, the bread was green",
         "my wife Bread and all, the bread was green"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        assert_masked(ROWS[i].text, ROWS[i].masked);
}

/* As they are read out on the phone and typed by the desk: wholly, or not at all. */
static void mail_addresses_spelled_out(void **state)
{
    static const struct {
        const char *text, *masked;
    } ROWS[] = {
        {"write quill dot m at post dot example please", "write [mail address] please"},
        {"QUILL DOT M AT POST DOT EXAMPLE", "[mail address]"},
        {"quill (at) post (dot) example", "[mail address]"},
        {"quill[at]post[dot]example.", "[mail address]."},
        {"quill @ post.example", "[mail address]"},
        {"quill@ post.example, or me", "[mail address], or me"},
        {"quill@post dot co dot example", "[mail address]"},
        {"quill dot m@post.example", "[mail address]"},
        {"quill underscore seven three at post dot example", "[mail address]"},
        {"quill guion m arroba correo punto example", "[mail address]"},
        {"my mail is quill at post.example", "my mail is [mail address]"},
        {"I saw it at mill dot example", "I saw it at mill dot example"},
        {"mold at the top. dot on it", "mold at the top. dot on it"},
        {"bought at store 12. Moldy", "bought at store 12. Moldy"},
        {"black dot at the heel", "black dot at the heel"},
        {"two buns @ 3.99", "two buns @ 3.99"},
        {"bob . stone @ gmail . com, moldy", "[mail address], moldy"},
        {"quill(a)post.example", "[mail address]"},
        {"quill [a] post [.] example, moldy", "[mail address], moldy"},
        {"quill(@)post.example", "[mail address]"},
        {"quill{at}post{dot}example", "[mail address]"},
        {"quill at post dot example", "[mail address]"},
        {"quill  at\tpost  dot\nexample", "[mail address]"},
        {"quill at post (dot) example", "[mail address]"},
        {"slice (a) and slice (b). Both green", "slice (a) and slice (b). Both green"},
        {"bob\uFF20post.example", "[mail address]"},
        {"bob \uFF20 post\uFF0Eexample", "[mail address]"},
        {"bought @ store. Moldy", "bought @ store. Moldy"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        assert_masked(ROWS[i].text, ROWS[i].masked);
}

/* A ticket or a code: only what is surely a number to ring. */
static void codes_keep_their_digits(void **state)
{
    static const struct {
        const char *text, *masked;
    } ROWS[] = {{"20-117-4433", "20-117-4433"},
                {"6321 0412 33", "6321 0412 33"},
                {"call 607 555 0199", "call [phone]"},
                {"+1 607 5550199", "[phone]"},
                {"607-555-0199", "[phone]"},
                {"L2 5550142", "L2 [phone]"},
                {"Dana", "[name]"}};
    json_t *contact = json_pack("{s:s, s:s}", "name", "Dana", "phone", "607 555 0142");
    const struct mask_options sure = {.contact = contact, .sure = true};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        char *masked = mask_text(ROWS[i].text, &sure, NULL, NULL);
        assert_string_equal(masked, ROWS[i].masked);
        free(masked);
    }
    const struct mask_options code = {.codes = "6321 0412 33"};
    char *masked = mask_text("it says 6321 0412 33\ntwice", &code, NULL, NULL);
    assert_string_equal(masked, "it says 6321 0412 33\ntwice");
    free(masked);
    json_decref(contact);
}

static void phone_numbers_in_any_writing(void **state)
{
    (void)state;
    assert_masked("ring 555-0142", "ring [phone]");
    assert_masked("ring 50142!", "ring [phone]!");
    assert_masked("+1 (607) 555-0142 or 607.555.0199.", "[phone] or [phone].");
    assert_masked("(607) 555 0142 after six", "[phone] after six");
    assert_masked("555\xE2\x80\x93"
                  "0199, 607\xC2\xA0"
                  "555\xC2\xB7"
                  "0199",
                  "[phone], [phone]");
    assert_masked("6 0 7 5 5 5 0 1 9 9", "[phone]");
    assert_masked("607_555_0199", "[phone]");
    assert_masked("585 555 O19O or 585 555 oo9O, 6321 BO412", "[phone] or [phone], 6321 BO412");
    assert_masked("607 - 555 - 0199", "[phone]");
    assert_masked("five five five, oh one nine nine please", "[phone] please");
    assert_masked("seis cero siete 5 5 5 0199", "[phone]");
    assert_masked("five fifty-five oh one ninety nine", "[phone]");
    assert_masked("ring six o seven, triple five, zero one double nine", "ring [phone]");
    assert_masked("one eight hundred five five five dash oh one nine nine", "[phone]");
    assert_masked("seis cero siete cincuenta y cinco cincuenta y uno diecinueve", "[phone]");
    assert_masked("null vier null, acht acht drei zwei eins", "[phone]");
    assert_masked("el veintidós treinta y tres cuarenta y cuatro doble cinco", "el [phone]");
    assert_masked("twenty two loaves, ten bad; six or seven hundred",
                  "twenty two loaves, ten bad; six or seven hundred");
    assert_masked("two dozen, once in two thousand twenty six",
                  "two dozen, once in two thousand twenty six");
    assert_masked("\xEF\xBC\x95\xEF\xBC\x95\xEF\xBC\x95-\xEF\xBC\x90\xEF\xBC\x91"
                  "\xEF\xBC\x99\xEF\xBC\x99",
                  "[phone]");
    assert_masked("\xD9\xA5\xD9\xA5\xD9\xA5 \xD9\xA0\xD9\xA1\xD9\xA9\xD9\xA9", "[phone]");
    assert_masked("607-555-0199 ext. 12, or 555-0199x7", "[phone], or [phone]");
    assert_masked("2026-11-27 555-0199", "2026-11-27 [phone]");
}

static void mail_addresses(void **state)
{
    (void)state;
    assert_masked("write to dana@example.invalid.", "write to [mail address].");
    assert_masked("<d.o+x@a.example>", "<[mail address]>");
    assert_masked("2 loaves @ 3 each", "2 loaves @ 3 each");
}

static void each_word_of_a_digit_is_read(void **state)
{
    static const char *const WORDS[] = {
        "zero",  "oh",    "nought", "one",   "two",    "three",  "four", "five",   "six",
        "seven", "eight", "nine",   "cero",  "uno",    "dos",    "tres", "cuatro", "cinco",
        "seis",  "siete", "ocho",   "nueve", "null",   "eins",   "ein",  "zwei",   "zwo",
        "drei",  "vier",  "fünf",   "fuenf", "sechs",  "sieben", "acht", "neun",   "Acht",
        "ten",   "zehn",  "once",   "elf",   "zwoelf", "zwölf",  "cien", "fifty",  "noventa"};
    (void)state;
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++) {
        char text[128];
        snprintf(text, sizeof text, "%s %s %s %s %s %s %s!", WORDS[i], WORDS[i], WORDS[i], WORDS[i],
                 WORDS[i], WORDS[i], WORDS[i]);
        char *masked = mask_text(text, &(struct mask_options){.prose = true}, NULL, NULL);
        assert_true(strstr(masked, "[phone]"));
        free(masked);
    }
}

static void what_is_no_contact_data_stays(void **state)
{
    (void)state;
    assert_masked("best by 2026-11-27, bought 11/16/2026", "best by 2026-11-27, bought 11/16/2026");
    assert_masked("L2 6321 B0412, 4 spots, 680 g", "L2 6321 B0412, 4 spots, 680 g");
    assert_masked("mold\r\nBcc: on it\t", "mold Bcc: on it ");
    assert_masked("schimmel auf dem Brötchen", "schimmel auf dem Brötchen");
    assert_masked("4006381333931 on the pack", "4006381333931 on the pack");
    assert_masked("packed 20261127, two or three loaves", "packed 20261127, two or three loaves");
    assert_masked("4 spots, 680 g, 2 - 3 mm each, 1.5 cm", "4 spots, 680 g, 2 - 3 mm each, 1.5 cm");
    assert_masked("", "");
    char *masked = mask_contact("ask Dana at 555-0142", NULL);
    assert_string_equal(masked, "ask Dana at [phone]");
    free(masked);
}

/* ---- long texts ---- */

static double seconds_of(const char *text, size_t bytes)
{
    json_t *contact = json_pack("{s:s, s:s}", "name", "Dana O'Neill", "phone", "607 555 0142");
    const struct mask_options options = {.contact = contact, .codes = "L2 6320", .prose = true};
    char *part = strndup(text, bytes);
    clock_t from = clock();
    free(mask_text(part, &options, NULL, NULL));
    double seconds = (double)(clock() - from) / CLOCKS_PER_SEC;
    free(part);
    json_decref(contact);
    return seconds;
}

/* Processor time is noisy: one of three. */
static bool takes_its_length(const char *text, size_t bytes)
{
    static const double TWICE = 2.6, LITTLE_S = 0.01;
    for (int k = 0; k < 3; k++)
        if (seconds_of(text, 2 * bytes) <= TWICE * seconds_of(text, bytes) + LITTLE_S)
            return true;
    return false;
}

/* Twice the text takes twice the time: none of it is read to its end from every word. */
static void a_long_text_takes_its_length(void **state)
{
    static const char *const PIECES[] = {
        "double five ", "1",      "5 ",      "o ",   "a b c d ", "D a n a ",      "@",
        "a@",           ".",      "a.",      "a . ", "a dot ",   "a at b dot ",   "O'",
        "my wife Xa, ", "Mr Q. ", "\u200ba", "0O",   "(a) ",     "my name is A ", "a minus "};
    enum { BYTES = 48000 };
    (void)state;
    for (size_t i = 0; i < sizeof PIECES / sizeof PIECES[0]; i++) {
        size_t length = strlen(PIECES[i]);
        char *text = malloc(BYTES + length + 1);
        for (size_t to = 0; to < BYTES; to += length)
            memcpy(text + to, PIECES[i], length + 1);
        if (!takes_its_length(text, BYTES / 4) || !takes_its_length(text, BYTES / 2))
            fail_msg("a long text of \"%s\" takes more than its length", PIECES[i]);
        free(text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_in_any_case),
        cmocka_unit_test(long_names),
        cmocka_unit_test(names_in_any_alphabet),
        cmocka_unit_test(names_in_any_writing),
        cmocka_unit_test(names_that_are_words),
        cmocka_unit_test(names_of_others),
        cmocka_unit_test(mail_addresses_spelled_out),
        cmocka_unit_test(codes_keep_their_digits),
        cmocka_unit_test(phone_numbers_in_any_writing),
        cmocka_unit_test(mail_addresses),
        cmocka_unit_test(what_is_no_contact_data_stays),
        cmocka_unit_test(each_word_of_a_digit_is_read),
        cmocka_unit_test(a_long_text_takes_its_length),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
