/* Who may do what where: in the company, or in one of its plants. */
#include "check.h"
#include "serve/request.h"
#include "serve/sight.h"
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static struct config *settings(void)
{
    char path[] = "/tmp/oddloaf-sight-XXXXXX";
    struct config *config = NULL;
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    FILE *file = fdopen(fd, "w");
    fputs("{\"mail\": {\"to\": [\"qa@mills.example\"]}, \"settle_lot_at\": 70, \"plants\": "
          "{\"Larkfen\": {},"
          " \"Quarrhill\": {\"mail\": {\"to\": [\"qa@quarrhill.example\"]}}}}",
          file);
    fclose(file);
    assert_int_equal(config_load(path, NULL, NULL, &config, NULL), 0);
    unlink(path);
    return config;
}

static void a_role_is_had_where_its_word_says(void **state)
{
    (void)state;
    struct config *config = settings();
    struct sight sight = {0};
    static const char *const WRONG[] = {"baker",        "qa@",    "qa@Nowhere", "admin@Larkfen",
                                        "@Larkfen",     "qa ",    "qa@larkfen", "metrics@Larkfen",
                                        "qa@Larkfen@x", "QA@Mill"};
    for (size_t i = 0; i < sizeof WRONG / sizeof WRONG[0]; i++)
        assert_false(sight_add(&sight, config, WRONG[i]));
    assert_int_equal((int)sight_anywhere(&sight), 0);
    assert_true(sight_add(&sight, config, "qa@Quarrhill"));
    assert_true(sight_add(&sight, config, "desk@Larkfen"));
    assert_int_equal((int)sight.company, 0);
    assert_int_equal((int)sight_at(&sight, config_plant_named(config, "Quarrhill")), ROLE_QA);
    assert_int_equal((int)sight_at(&sight, config_plant_named(config, "Larkfen")), ROLE_DESK);
    assert_int_equal((int)sight_at(&sight, CONFIG_COMPANY), 0);
    assert_true(sight_add(&sight, config, "manager"));
    assert_int_equal((int)sight_at(&sight, 1), ROLE_QA | ROLE_MANAGER);
    assert_int_equal((int)sight_at(&sight, CONFIG_PLANTS), ROLE_MANAGER);
    config_free(config);
}

static void what_a_plant_does_not_set_is_the_companys(void **state)
{
    (void)state;
    struct config *config = settings();
    int quiet = config_plant_named(config, "Larkfen"),
        own = config_plant_named(config, "Quarrhill");
    assert_int_equal(config_plant_count(config), 2);
    assert_null(config_plant_name(config, 2));
    assert_int_equal(config_plant_named(config, "Nowhere"), CONFIG_COMPANY);
    assert_string_equal(config_text_of(config, quiet, "title"), "Larkfen");
    assert_int_equal(config_number_of(config, own, "settle_lot_at"), 70);
    assert_string_equal(
        json_string_value(json_array_get(config_list_of(config, quiet, "mail/to"), 0)),
        "qa@mills.example");
    assert_string_equal(
        json_string_value(json_array_get(config_list_of(config, own, "mail/to"), 0)),
        "qa@quarrhill.example");
    assert_int_equal(json_array_size(config_list_of(config, own, "roles/desk")), 0);
    assert_int_equal(json_array_size(config_list_of(config, CONFIG_COMPANY, "roles/desk")), 1);
    config_free(config);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_role_is_had_where_its_word_says),
        cmocka_unit_test(what_a_plant_does_not_set_is_the_companys),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
