/* Weak acids: dissociation, salts, vinegar, the chain from flour dose to crumb water. */
#include "check.h"

static double undissociated(enum acid_kind kind, double ph)
{
    return acid_undissociated_fraction(ph, acid_constants(kind)->pka1);
}

/* pKa 25 °C: propionic, lactic, tartaric: acid constant tables, aqion; acetic, benzoic: Principles
 * of General Chemistry, appendix C; sorbic: Belitz, Grosch, Schieberle 2009 Food Chemistry p. 451.
 * Expected values computed from them by hand. */
static void shares_follow_the_published_constants(void **state)
{
    (void)state;
    check_near("propionic 5.0", undissociated(ACID_PROPIONIC, 5.0), 0.4257, 1e-3);
    check_near("propionic 5.5", undissociated(ACID_PROPIONIC, 5.5), 0.1899, 1e-3);
    check_near("propionic at its pKa", undissociated(ACID_PROPIONIC, 4.87), 0.5, 1e-6);
    check_near("acetic 5.0", undissociated(ACID_ACETIC, 5.0), 0.3631, 1e-3);
    check_near("sorbic 5.5", undissociated(ACID_SORBIC, 5.5), 0.1540, 1e-3);
    check_near("benzoic 4.5", undissociated(ACID_BENZOIC, 4.5), 0.3359, 1e-3);
    check_near("lactic 5.0", undissociated(ACID_LACTIC, 5.0), 0.0676, 1e-3);
}

/* The whole table of undissociated shares, pH down, acids across (computed from the same
 * constants, three digits). */
static void the_table_of_shares_holds(void **state)
{
    static const struct {
        double ph, share[5];
    } rows[] = {
        {4.5, {0.701, 0.643, 0.645, 0.336, 0.186}}, {4.8, {0.540, 0.475, 0.477, 0.202, 0.103}},
        {5.0, {0.426, 0.363, 0.365, 0.138, 0.068}}, {5.2, {0.319, 0.265, 0.266, 0.092, 0.044}},
        {5.5, {0.190, 0.153, 0.154, 0.048, 0.022}}, {5.8, {0.105, 0.083, 0.084, 0.025, 0.011}},
        {6.0, {0.069, 0.054, 0.054, 0.016, 0.007}},
    };
    (void)state;
    for (size_t r = 0; r < COUNT_OF(rows); r++) {
        for (int k = ACID_PROPIONIC; k <= ACID_LACTIC; k++) {
            check_near(acid_constants((enum acid_kind)k)->name,
                       undissociated((enum acid_kind)k, rows[r].ph), rows[r].share[k], 6e-4);
        }
    }
}

/* L-tartaric pK1 2.98, pK2 4.34: acid constant tables, aqion. */
static void tartaric_acid_gives_two_protons(void **state)
{
    double share[3];
    (void)state;
    acid_diprotic_fractions(5.0, 2.98, 4.34, share);
    check_near("H2A", share[0], 0.0017, 5e-4);
    check_near("HA", share[1], 0.1792, 5e-4);
    check_near("A", share[2], 0.8191, 5e-4);
    acid_diprotic_fractions(4.5, 2.98, 4.34, share);
    check_near("H2A at 4.5", share[0], 0.0122, 5e-4);
    check_near("HA at 4.5", share[1], 0.4039, 5e-4);
    check_near("A at 4.5", share[2], 0.5839, 5e-4);
    for (int n_ph = 0; 2 + 0.37 * n_ph < 9; n_ph++) {
        double ph = 2 + 0.37 * n_ph;
        acid_diprotic_fractions(ph, 2.98, 4.34, share);
        check_near("shares sum to one", share[0] + share[1] + share[2], 1, 1e-12);
    }
    check_near("kind", acid_kind_undissociated(ACID_TARTARIC, 5.0, 0), 0.0017, 5e-4);
}

/* Molar masses computed from the IUPAC atomic weights. */
static void salts_carry_their_acid(void **state)
{
    (void)state;
    check_near("Ca propionate", acid_product_find("calcium-propionate")->acid_g_per_g, 0.7956,
               5e-4);
    check_near("Na propionate", acid_product_find("sodium-propionate")->acid_g_per_g, 0.7712, 5e-4);
    check_near("K sorbate", acid_product_find("potassium-sorbate")->acid_g_per_g, 0.7464, 5e-4);
    assert_null(acid_product_find("table-salt"));
}

/* Grain strength as on trade pages for vinegar. */
static void vinegar_goes_by_grain(void **state)
{
    (void)state;
    check_near("120 grain", acid_vinegar_g_100ml(120), 12, 1e-12);
    /* common practice, no source: industrial vinegar is 200 grain at 0.5-1 % where household
     * vinegar is about 45 grain, so a fifth to a quarter of the volume does */
    struct acid_dose industrial = {acid_product_find("vinegar"), 0.75, acid_vinegar_g_100ml(200),
                                   1};
    struct acid_dose household = {acid_product_find("vinegar"), 0.75 * 200 / 45,
                                  acid_vinegar_g_100ml(45), 1};
    check_near("same acid", acid_g_per_100g_flour(&industrial), acid_g_per_100g_flour(&household),
               1e-12);
    check_near("0.15 g acid", acid_g_per_100g_flour(&industrial), 0.15, 1e-12);
}

/* Worked dose chain, computed by hand: 0.30 % calcium propionate, 150 g bread a 100 g flour, 38 %.
 */
static void the_dose_chain_reaches_crumb_water(void **state)
{
    (void)state;
    struct acid_dose dose = {acid_product_find("calcium-propionate"), 0.30, NAN, NAN};
    double mg_kg = acid_mg_per_kg_bread(acid_g_per_100g_flour(&dose), 1.5);
    check_near("mg/kg", mg_kg, 1591, 1);
    double mmol_l = acid_mmol_per_l_water(mg_kg, 38, 74.079);
    check_near("mmol/L", mmol_l, 56.5, 0.1);
    check_near("pH 5.5", mmol_l * undissociated(ACID_PROPIONIC, 5.5), 10.7, 0.1);
    check_near("pH 5.0", mmol_l * undissociated(ACID_PROPIONIC, 5.0), 24.1, 0.1);
    check_near("pH 5.2", mmol_l * undissociated(ACID_PROPIONIC, 5.2), 18.0, 0.1);
    check_near("pH 5.8", mmol_l * undissociated(ACID_PROPIONIC, 5.8), 5.9, 0.1);
    check_near("and back", acid_mg_per_kg_from_mmol_l(mmol_l, 38, 74.079), mg_kg, 1e-9);
    /* Regulation (EC) 1333/2008, annex II, 07.1, E 280-283: 3000 mg/kg in prepacked sliced bread */
    assert_true(mg_kg < 3000);
    /* 3000 mg/kg is 0.57 % calcium propionate on flour (computed) */
    check_near("limit on flour", 3000 / mg_kg * 0.30, 0.57, 0.005);
    struct acid_dose vinegar = {acid_product_find("vinegar"), 2, acid_vinegar_g_100ml(100), NAN};
    check_near("2 % of 100 grain", acid_g_per_100g_flour(&vinegar), 0.20, 0.004);
}

static void doses_add_up_and_age(void **state)
{
    const struct acid_values none_lost = {.strength_place = 0};
    struct acid_dose doses[] = {
        {acid_product_find("calcium-propionate"), 0.2, NAN, NAN},
        {acid_product_find("sodium-propionate"), 0.1, 100, 1},
        {acid_product_find("potassium-sorbate"), 0.1, NAN, 0.5},
    };
    (void)state;
    struct acid_mix mix = acid_mix_of_doses(doses, COUNT_OF(doses), 1.5, 38, &none_lost);
    double one = acid_mix_of_doses(doses, 1, 1.5, 38, &none_lost).mmol_l[ACID_PROPIONIC];
    double two = acid_mix_of_doses(doses + 1, 1, 1.5, 38, &none_lost).mmol_l[ACID_PROPIONIC];
    check_near("propionates add", mix.mmol_l[ACID_PROPIONIC], one + two, 1e-12);
    doses[2].activity = 1;
    struct acid_mix fresh = acid_mix_of_doses(doses, COUNT_OF(doses), 1.5, 38, &none_lost);
    check_near("half active", 2 * mix.mmol_l[ACID_SORBIC], fresh.mmol_l[ACID_SORBIC], 1e-12);
    struct models_parameters parameters;
    parameters_default(&parameters);
    struct acid_values shifted = parameters.typical.acid;
    shifted.pka_shift = -0.1;
    shifted.bake_loss_share = 0.05;
    struct acid_mix lost = acid_mix_of_doses(doses, COUNT_OF(doses), 1.5, 38, &shifted);
    check_near("bake loss", lost.mmol_l[ACID_SORBIC], 0.95 * fresh.mmol_l[ACID_SORBIC], 1e-12);
    struct acid_mix free_acid = acid_mix_undissociated(&fresh, 5.5, &shifted);
    check_near("shifted pKa", free_acid.mmol_l[ACID_PROPIONIC],
               fresh.mmol_l[ACID_PROPIONIC] * acid_undissociated_fraction(5.5, 4.77), 1e-12);
    assert_true(acid_crumb_valid(5.5, 38));
    assert_false(acid_crumb_valid(9, 38));
    assert_false(acid_crumb_valid(5.5, 60));
}

/* Common practice, no source: propionates work below about pH 5.5, sorbates to about 6.5,
 * benzoates at 2.5-4.0. Read as: at the upper pH enough undissociated acid is left at a usual
 * dose to slow the mold it is meant for, half a unit above it is a third of that. */
static void acids_have_their_ph_of_use(void **state)
{
    (void)state;
    assert_true(undissociated(ACID_PROPIONIC, 5.5) > 0.15);
    assert_true(undissociated(ACID_PROPIONIC, 6.5) < 0.03);
    assert_true(undissociated(ACID_BENZOIC, 4.0) > 0.5);
    assert_true(undissociated(ACID_BENZOIC, 5.0) < 0.15);
    /* sorbic acid acts at a few mmol/L, propionic at tens: 0.2 % potassium sorbate at pH 6.5 leaves
     * as large a part of the MIC of molds as 0.2 % calcium propionate at pH 5.8 */
    struct lot_conditions sorbate = lot_with_dose("potassium-sorbate", 0.2);
    struct lot_conditions propionate = lot_with_dose("calcium-propionate", 0.2);
    sorbate.crumb_ph = 6.0;
    propionate.crumb_ph = 6.0;
    assert_true(days_of_lot(&sorbate) > days_of_lot(&propionate));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shares_follow_the_published_constants),
        cmocka_unit_test(the_table_of_shares_holds),
        cmocka_unit_test(tartaric_acid_gives_two_protons),
        cmocka_unit_test(salts_carry_their_acid),
        cmocka_unit_test(vinegar_goes_by_grain),
        cmocka_unit_test(the_dose_chain_reaches_crumb_water),
        cmocka_unit_test(doses_add_up_and_age),
        cmocka_unit_test(acids_have_their_ph_of_use),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
