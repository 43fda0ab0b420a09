/* Which product and which store are meant by what people type. */
#include "check.h"
#include "state.h"

#include "lots/named_in_text.h"
#include "lots/outlet_named.h"
#include "lots/product_named.h"
#include "lots/said_words.h"
#include "store/db.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char folder[64];
static struct store *store;

static int set_up(void **state)
{
    (void)state;
    struct error err = {0};
    strcpy(folder, "/tmp/oddloaf-named-XXXXXX");
    if (!state_folder(folder) || store_open(folder, STORE_WRITE, &store, &err) < 0)
        return -1;
    int rc = db_exec(
        store,
        "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin, also) VALUES"
        "(1,'W24','Harrow White Pan 24 oz','pan-bread',10,680,'09520000000011',NULL),"
        "(2,'W20','Harrow White Pan 20 oz','pan-bread',10,567,NULL,'WHT20; Old Mill White'),"
        "(3,'H24','Honey Oat','pan-bread',10,680,NULL,NULL),"
        "(4,'B08','Burger Buns 8 ct','bun',9,480,NULL,NULL),"
        "(5,'T12','Sesame Baguette Tradici\303\263n','pan-bread',3,400,NULL,NULL),"
        "(6,'H25','Honey Oat Crusty','pan-bread',10,680,NULL,'H24'),"
        "(7,'RY68','Prairie Rye Tin','pan-bread',9,680,NULL,NULL),"
        "(8,'TW12','Wheat Tortilla 12','flatbread',30,480,NULL,NULL);"
        "INSERT INTO lot(id, lot, fold, product_id, line, made_from_ms, made_to_ms, packed_from_ms,"
        " packed_to_ms, units, code_day) VALUES(1,'L1','L1',1,'1',0,1,2,3,10,20);"
        "INSERT INTO dispatch(lot_id, route, store, at_ms, units) VALUES(1,'R1','0417',1,2),"
        "(1,'R1','Harrow Elm Street',1,2),(1,'R2','Harrow Oak Street',1,2),(1,'R2','Quayside "
        "Grocers 214',1,2),"
        "(1,'R2','Store 512',1,2),(1,'R2','Calle Ocho',1,2),(1,'R2','Home Market',1,2),(1,'R "
        "12','S-9',1,2);",
        &err);
    if (rc)
        print_message("%s\n", err.text);
    return rc;
}

static int tear_down(void **state)
{
    (void)state;
    char command[96];
    store_close(store);
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command); /* NOLINT: a test's own folder */
}

/* "W24", "W20|W24" where several fit, "H24+H25" where the first is meant, "" where none fits. */
static void assert_product(const char *said, const char *expected)
{
    struct product_named named;
    struct text_buffer got = {0};
    assert_int_equal(product_named_find(store, said, &named, NULL), 0);
    text_append(&got, "");
    for (size_t i = 0; i < named.count; i++)
        text_appendf(&got, "%s%s", i ? named.several ? "|" : "+" : "", named.row[i].product);
    if (strcmp(got.data, expected) != 0)
        fail_msg("\"%s\" gives \"%s\", not \"%s\"", said, got.data, expected);
    assert_true((product_named_one(&named) != 0) == (named.count && !named.several));
    text_buffer_free(&got);
}

static void test_products(void **state)
{
    (void)state;
    static const struct {
        const char *said, *product;
    } rows[] = {
        {"W24", "W24"},
        {"w24", "W24"},
        {"W 24", "W24"},
        {"w-24", "W24"},
        {"Harrow White Pan 24 oz", "W24"},
        {"harrow white pan 24oz", "W24"},
        {"white pan 24", "W24"},
        {"the white 20 oz", "W20"},
        {"old mill white", "W20"},
        {"wht20", "W20"},
        {"9520000000011", "W24"},
        {"09520000000011", "W24"},
        {"a loaf of burger buns", "B08"},
        {"burger bun", "B08"},
        {"buns", "B08"},
        {"tradicion", "T12"},
        {"sesame", "T12"},
        {"whit", "W20|W24"},
        {"white pan", "W20|W24"},
        {"white bread", "W20|W24"},
        {"harrow", "W20|W24"},
        {"H24", "H24+H25"},
        {"H25", "H25+H24"},
        {"h24", "H24|H25"},
        {"honey oat", "H24+H25"},
        {"oat crusty", "H25+H24"},
        {"rye", "RY68"},
        {"tortillas", "TW12"},
        {"24", ""},
        {"oz", ""},
        {"white barley", ""},
        {"", ""},
        {"  ", ""},
        {"?!", ""},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_product(rows[i].said, rows[i].product);
}

static void test_several_are_told(void **state)
{
    (void)state;
    struct product_named named;
    struct text_buffer list = {0};
    assert_int_equal(product_named_find(store, "white pan", &named, NULL), 0);
    product_named_list(&named, &list);
    assert_string_equal(list.data, "W20 (Harrow White Pan 20 oz), W24 (Harrow White Pan 24 oz)");
    assert_true(product_named_fits(&named, 1));
    assert_true(product_named_fits(&named, 2));
    assert_false(product_named_fits(&named, 3));
    text_buffer_free(&list);
    assert_int_equal(product_named_find(store, NULL, &named, NULL), 0);
    assert_int_equal(named.count, 0);
}

static void assert_outlet(enum lot_find_place kind, const char *said, const char *expected)
{
    struct outlet_named named;
    struct text_buffer got = {0};
    assert_int_equal(outlet_named_find(store, kind, said, &named, NULL), 0);
    text_append(&got, "");
    for (size_t i = 0; i < named.count; i++)
        text_appendf(&got, "%s%s", i ? "|" : "", named.name[i]);
    if (strcmp(got.data, expected) != 0)
        fail_msg("\"%s\" gives \"%s\", not \"%s\"", said, got.data, expected);
    assert_string_equal(outlet_named_one(&named), named.count == 1 ? expected : "");
    assert_false(named.unrecorded);
    text_buffer_free(&got);
}

static void test_stores_and_routes(void **state)
{
    (void)state;
    static const struct {
        enum lot_find_place kind;
        const char *said, *name;
    } rows[] = {
        {LOT_FIND_STORE, "0417", "0417"},
        {LOT_FIND_STORE, "417", "0417"},
        {LOT_FIND_STORE, "store 417", "0417"},
        {LOT_FIND_STORE, "Store #0417", "0417"},
        {LOT_FIND_STORE, "tienda no. 417", "0417"},
        {LOT_FIND_STORE, "s9", "S-9"},
        {LOT_FIND_STORE, "elm street", "Harrow Elm Street"},
        {LOT_FIND_STORE, "the Harrow at Elm Street", "Harrow Elm Street"},
        {LOT_FIND_STORE, "harrow", "Harrow Elm Street|Harrow Oak Street"},
        {LOT_FIND_STORE, "512", "Store 512"},
        {LOT_FIND_STORE, "4170", ""},
        {LOT_FIND_STORE, "41", ""},
        {LOT_FIND_STORE, "Corner", ""},
        {LOT_FIND_STORE, "", ""},
        {LOT_FIND_ROUTE, "r1", "R1"},
        {LOT_FIND_ROUTE, "route R12", "R 12"},
        {LOT_FIND_ROUTE, "R3", ""},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_outlet(rows[i].kind, rows[i].said, rows[i].name);
}

static void test_words_that_do_not_fit_are_left_out(void **state)
{
    (void)state;
    char text[2000] = "";
    struct said_words words;
    for (int i = 0; i < 400; i++)
        strcat(text, "a b ");
    said_words_take(text, NULL, &words);
    assert_int_equal(words.count, SAID_WORDS_MOST);
    said_words_take("0", NULL, &words);
    assert_string_equal(words.word[0], "0");
    said_words_take("000", NULL, &words);
    assert_string_equal(words.word[0], "0");
    said_words_take("baker's", NULL, &words);
    assert_string_equal(words.word[0], "bakers");
    assert_int_equal(words.count, 1);
}

static void assert_in_text(enum named_in_text_kind kind, const char *text, const char *expected)
{
    struct named_in_text named;
    char got[128];
    assert_int_equal(named_in_text_find(store, kind, text, &named, NULL), 0);
    snprintf(got, sizeof got, "%.*s", (int)(named.to - named.from), text + named.from);
    if (strcmp(got, expected) != 0)
        fail_msg("\"%s\" names \"%s\", not \"%s\"", text, got, expected);
}

/* What a caller's story names; of what may be something else nothing is taken. */
static void test_in_a_story(void **state)
{
    (void)state;
    static const struct {
        const char *text, *product, *place;
    } rows[] = {
        {"a loaf of Harrow White from the Elm Street store", "Harrow White", "Elm Street"},
        {"the harrow white pan, 24 oz, bought at Harrow Oak Street", "harrow white pan, 24 oz",
         "Harrow Oak Street"},
        {"your burger buns were moldy", "burger buns", ""},
        {"a loaf of Honey Oats that she got in store #417", "Honey Oats", "417"},
        {"Two W24, store number 0417. The Harrow White was green", "", "0417"},
        {"the W24 was blue", "W24", ""},
        {"sesame baguette tradicion de la tienda 417", "sesame baguette tradicion", "417"},
        {"una Sesame Baguette Tradici\303\263n con moho", "Sesame Baguette Tradici\303\263n", ""},
        {"Harrow White Pan was green", "Harrow White Pan", ""},
        {"the loaf I got at quayside on friday smells", "", "quayside"},
        {"bought a honey at the Elm Street store, best by dec 4", "honey", "Elm Street"},
        {"a loaf of sesame, all dry", "sesame", ""},
        {"bought a prairie rye at Calle Ocho", "prairie rye", "Calle Ocho"},
        {"compr\303\251 un prairie rye en la tienda 512", "prairie rye", "512"},
        {"Store 512 sold me a stale prairie rye", "", "Store 512"},
        {"las tortillas salieron tiesas", "tortillas", ""},
        {"six buns in it, all dry", "buns", ""},
        {"the bun was fine, the tortillas were not", "", ""},
        {"some rolls, green", "", ""},
        /* no names */
        {"it was at home, spots of white, full of honey", "", ""},
        {"in quayside weather, on quayside", "", ""},
        {"white mold on the pan side, old white spots", "", ""},
        {"an old mill near our house, white with snow", "", ""},
        {"I live on Elm Street, 417 yards up", "", ""},
        {"it was 24 oz, with honey on top", "", ""},
        {"I do not mean Harrow White but your Burger Buns", "Burger Buns", ""},
        {"the Harrow White and the Burger Buns, both moldy", "", ""},
        {"from Elm Street or from Oak Street", "", ""},
        {"Honey Oat, the honey oat crusty", "honey oat crusty", ""},
        {"", "", ""},
        {"?!", "", ""},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_in_text(NAMED_PRODUCT, rows[i].text, rows[i].product);
        assert_in_text(NAMED_STORE, rows[i].text, rows[i].place);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_products),
        cmocka_unit_test(test_several_are_told),
        cmocka_unit_test(test_stores_and_routes),
        cmocka_unit_test(test_words_that_do_not_fit_are_left_out),
        cmocka_unit_test(test_in_a_story),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
