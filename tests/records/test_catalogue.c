/* The catalogue of quantities and places: the shipped files, look-ups, units, faults with places.
 */
#include "base/jsonx.h"
#include "base/text.h"
#include "rules/catalogue.h"
#include "rules/load_catalogue.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define RULES ODDLOAF_SOURCE_DIR "/rules"

static struct catalogue *shipped(void)
{
    struct catalogue *c = NULL;
    struct error err = {0};
    char text[1024];
    if (load_catalogue(RULES, NULL, NULL, &c, &err))
        fail_msg("%s", error_format(&err, text, sizeof text));
    return c;
}

static void test_every_quantity_and_place_of_the_record_formats_is_there(void **state)
{
    static const char *const of_lot[] = {"inhibitor_kg",
                                         "inhibitor_pct_flour",
                                         "acid_kg",
                                         "acid_grain",
                                         "softener_pct_flour",
                                         "water_pct_flour",
                                         "dough_temp_c",
                                         "dough_ph",
                                         "ferment_min",
                                         "proof_min",
                                         "bake_min",
                                         "core_end_bake_c",
                                         "core_temp_c",
                                         "cool_min",
                                         "cooler_air_c",
                                         "cooler_rh_pct",
                                         "core_at_slicing_c",
                                         "core_at_pack_c",
                                         "crumb_ph",
                                         "crumb_aw",
                                         "crumb_moisture_pct",
                                         "propionate_ppm",
                                         "aerobic_spores_cfu_g",
                                         "seal_fail_pct",
                                         "line_stop_min",
                                         "pack_room_c",
                                         "pack_room_rh_pct",
                                         "mold_free_days"};
    static const char *const of_plant[] = {
        "settle_plate_cfu",  "swab_cfu",       "air_cfu_m3",   "atp_rlu",
        "cleaned",           "filter_changed", "pressure_pa",  "returns_staged",
        "condensation_seen", "door_open_min",  "waste_emptied"};
    static const char *const places[] = {"cooler-air",   "cooler-belt",      "slicer",
                                         "bagger",       "film-store",       "hands",
                                         "returns-dock", "ingredient-store", "waste-area",
                                         "dead-spot",    "compressed-air",   "dispatch-dock"};
    (void)state;
    struct catalogue *c = shipped();
    for (size_t i = 0; i < sizeof of_lot / sizeof *of_lot; i++) {
        assert_non_null(catalogue_quantity(c, of_lot[i]));
        assert_int_equal(catalogue_quantity(c, of_lot[i])->of, QUANTITY_OF_LOT);
    }
    for (size_t i = 0; i < sizeof of_plant / sizeof *of_plant; i++) {
        assert_non_null(catalogue_quantity(c, of_plant[i]));
        assert_int_equal(catalogue_quantity(c, of_plant[i])->of, QUANTITY_OF_PLANT);
    }
    for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
        assert_non_null(catalogue_place(c, places[i]));
        assert_in_range(catalogue_place(c, places[i])->zone, 1, 4);
    }
    assert_null(catalogue_quantity(c, "core_at_pack"));
    assert_null(catalogue_place(c, "attic"));
    struct catalogue *again = catalogue_ref(c);
    catalogue_free(c);
    assert_non_null(catalogue_quantity(again, "crumb_ph"));
    catalogue_free(again);
    catalogue_free(NULL);
}

/* The members of the shipped rows are those of the schemas beside them. */
static void test_schemas_name_the_members_in_use(void **state)
{
    static const struct {
        const char *file, *schema, *rows;
    } pairs[] = {
        {"quantities.json", "schema/quantities.schema.json", "quantities"},
        {"quantities.json", "schema/quantities.schema.json", "columns"},
        {"places.json", "schema/places.schema.json", "places"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        char path[512];
        struct error err = {0};
        json_t *file, *schema, *row, *value;
        const char *name;
        size_t at;
        snprintf(path, sizeof path, "%s/%s", RULES, pairs[i].file);
        assert_int_equal(jsonx_load(path, &file, &err), 0);
        snprintf(path, sizeof path, "%s/%s", RULES, pairs[i].schema);
        assert_int_equal(jsonx_load(path, &schema, &err), 0);
        const json_t *rows = json_object_get(json_object_get(schema, "properties"), pairs[i].rows);
        const json_t *known = json_object_get(json_object_get(rows, "items"), "properties");
        assert_true(json_object_size(known) >= 4);
        json_array_foreach(json_object_get(file, pairs[i].rows), at, row)
        {
            json_object_foreach(row, name, value)
            {
                assert_non_null(json_object_get(known, name));
            }
        }
        json_decref(file);
        json_decref(schema);
    }
}

static const char *match(const struct catalogue *c, const char *name, const char *unit)
{
    const struct catalogue_quantity *quantity = NULL;
    struct error err = {0};
    if (catalogue_match(c, name, unit, &quantity, &err))
        return "refused";
    return quantity ? quantity->name : "none";
}

static void test_header_names_find_their_quantity(void **state)
{
    static const struct {
        const char *name, *unit, *want;
    } rows[] = {
        {"core_at_pack_c", NULL, "core_at_pack_c"},
        {"core_at_pack_c", "degC", "core_at_pack_c"},
        {"core_at_pack_c", "degF", "core_at_pack_c"},
        {"core_at_pack", "degF", "core_at_pack_c"},
        {"core_at_pack", NULL, "none"},
        {"core_at_pack", "kg", "refused"},
        {"core_at_pack", "furlong", "refused"},
        /* two quantities begin so: the unit tells them apart */
        {"inhibitor", "lb", "inhibitor_kg"},
        {"inhibitor", "%", "inhibitor_pct_flour"},
        {"acid", "grain", "acid_grain"},
        {"acid", "lb", "acid_kg"},
        {"crumb", "pH", "crumb_ph"},
        {"dough", "pH", "dough_ph"},
        {"crumb_ph", "pH", "crumb_ph"},
        {"crumb_ph", "degF", "refused"},
        {"propionate", "mg/kg", "propionate_ppm"},
        {"cool", "h", "cool_min"},
        {"mold_free", "h", "mold_free_days"},
        {"core", "degF", "none"}, /* core_temp_c is core_temp, not core */
    };
    (void)state;
    struct catalogue *c = shipped();
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_string_equal(match(c, rows[i].name, rows[i].unit), rows[i].want);
    catalogue_free(c);
}

static void test_values_convert_to_the_quantitys_unit(void **state)
{
    double value;
    (void)state;
    assert_int_equal(catalogue_convert(100.4, "degF", "degC", &value, NULL), 0);
    assert_float_equal(value, 38, 1e-12);
    assert_int_equal(catalogue_convert(5.4, "pH", "pH", &value, NULL), 0);
    assert_float_equal(value, 5.4, 0);
    assert_int_not_equal(catalogue_convert(5.4, "degC", "pH", &value, NULL), 0);
}

/* ---- faults ---- */

struct faults {
    int count;
    struct text_buffer all;
};

static void on_fault(void *arg, const struct error *fault)
{
    struct faults *f = arg;
    const char *name = strrchr(fault->source, '/');
    f->count++;
    text_appendf(&f->all, "%s:%ld:%ld: %s: %s\n", name ? name + 1 : "", fault->line, fault->column,
                 fault->field, fault->text);
}

static void write_file(const char *folder, const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static struct faults load_text(const char *quantities, const char *places)
{
    char folder[] = "/tmp/oddloaf-catalogue-XXXXXX", path[256];
    struct faults f = {0};
    struct error err = {0};
    struct catalogue *c = NULL;
    assert_non_null(mkdtemp(folder));
    if (quantities)
        write_file(folder, "quantities.json", quantities);
    write_file(folder, "places.json", places);
    assert_int_not_equal(load_catalogue(folder, on_fault, &f, &c, &err), 0);
    assert_null(c);
    assert_int_not_equal(err.code, 0);
    assert_true(err.text[0] != '\0');
    snprintf(path, sizeof path, "%s/quantities.json", folder);
    unlink(path);
    snprintf(path, sizeof path, "%s/places.json", folder);
    unlink(path);
    rmdir(folder);
    return f;
}

static void test_all_faults_come_at_once_with_line_and_column(void **state)
{
    static const char quantities[] =
        "{\"times\": {\"from\": \"2000-01-01\", \"to\": \"2100-02-30\"},\n"
        " \"columns\": [{\"column\": \"unit_g\", \"unit\": \"stone\", \"low\": 1, \"high\": 1}],\n"
        " \"quantities\": [\n"
        "  {\"quantity\": \"a_c\", \"title\": \"A\", \"unit\": \"degC\", \"low\": 0, \"high\": 9,\n"
        "   \"of\": \"loaf\", \"colour\": 1},\n"
        "  {\"quantity\": \"A c\", \"title\": \"\", \"unit\": \"degC\", \"high\": 9, \"of\": "
        "\"lot\"},\n"
        "  {\"quantity\": \"a_c\", \"title\": \"A\", \"unit\": \"degC\", \"low\": 0, \"high\": 9,"
        " \"of\": \"lot\"}, 7]}\n";
    static const char places[] = "{\"places\": [{\"place\": \"slicer\", \"name\": \"S\", \"zone\": "
                                 "5}, {\"place\": \"slicer\", \"name\": \"S\", \"zone\": 1}]}";
    static const char *const expected[] = {
        "quantities.json:1:40: /times/to: there is no such day\n",
        "quantities.json:2:43: /columns/0/unit: unit is not known\n",
        "quantities.json:2:70: /columns/0/high: must be more than low\n",
        "quantities.json:5:10: /quantities/0/of: must be one of lot, plant\n",
        "quantities.json:5:28: /quantities/0/colour: no such member\n",
        ("quantities.json:6:16: /quantities/1/quantity: must be lower-case letters, digits and "
         "'_', a letter first\n"),
        "quantities.json:6:32: /quantities/1/title: must be a text that says something\n",
        "quantities.json:6:3: /quantities/1/low: 'low' is missing\n",
        "quantities.json:7:16: /quantities/2/quantity: is there twice\n",
        "quantities.json:7:88: /quantities/3: must be an object\n",
        "/columns: the column 'flour_kg' is missing\n",
        "places.json:1:54: /places/0/zone: must be a whole number from 1 to 4\n",
        "places.json:1:68: /places/1/place: is there twice\n",
    };
    (void)state;
    struct faults f = load_text(quantities, places);
    for (size_t i = 0; i < sizeof expected / sizeof *expected; i++)
        if (!strstr(f.all.data, expected[i]))
            fail_msg("no \"%s\" in\n%s", expected[i], f.all.data);
    text_buffer_free(&f.all);
}

static void test_a_missing_file_and_broken_json_are_named(void **state)
{
    (void)state;
    struct faults f = load_text(NULL, "{\"places\": [}");
    assert_int_equal(f.count, 2);
    assert_non_null(strstr(f.all.data, "quantities.json:0:0: : cannot open"));
    assert_non_null(strstr(f.all.data, "places.json:1:13: : not JSON"));
    text_buffer_free(&f.all);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_quantity_and_place_of_the_record_formats_is_there),
        cmocka_unit_test(test_schemas_name_the_members_in_use),
        cmocka_unit_test(test_header_names_find_their_quantity),
        cmocka_unit_test(test_values_convert_to_the_quantitys_unit),
        cmocka_unit_test(test_all_faults_come_at_once_with_line_and_column),
        cmocka_unit_test(test_a_missing_file_and_broken_json_are_named),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
