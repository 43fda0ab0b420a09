#include "models/parameters.h"

#include "base/error.h"

#include <math.h>
#include <string.h>

#define VALUE(member) offsetof(struct models_values, member)

/* Same rows and order as rules/models.json, where unit, mark and source stand. */
static const struct parameter table[] = {
    {"acid.pka_shift", VALUE(acid.pka_shift), -0.2, 0, 0},
    {"acid.bake_loss_share", VALUE(acid.bake_loss_share), 0, 0.03, 0.08},
    {"acid.strength_place", VALUE(acid.strength_place), -1, 0, 1},
    {"acid.layer_share", VALUE(acid.layer_share), 0.1, 0.3, 1},
    {"acid.propionic.pka", VALUE(acid.pka[ACID_PROPIONIC]), 4.87, 4.87, 4.87},
    {"acid.acetic.pka", VALUE(acid.pka[ACID_ACETIC]), 4.756, 4.756, 4.756},
    {"acid.sorbic.pka", VALUE(acid.pka[ACID_SORBIC]), 4.76, 4.76, 4.76},
    {"acid.benzoic.pka", VALUE(acid.pka[ACID_BENZOIC]), 4.204, 4.204, 4.204},
    {"acid.lactic.pka", VALUE(acid.pka[ACID_LACTIC]), 3.86, 3.86, 3.86},
    {"acid.tartaric.pka", VALUE(acid.pka[ACID_TARTARIC]), 2.98, 2.98, 2.98},
    {"mold.penicillium.t_min_c", VALUE(mold.group[MOLD_PENICILLIUM].t_min_c), -5.7, 3, 5},
    {"mold.penicillium.t_opt_c", VALUE(mold.group[MOLD_PENICILLIUM].t_opt_c), 22, 27.5, 29},
    {"mold.penicillium.t_max_c", VALUE(mold.group[MOLD_PENICILLIUM].t_max_c), 31, 38, 39},
    {"mold.penicillium.aw_min", VALUE(mold.group[MOLD_PENICILLIUM].aw_min), 0.78, 0.8, 0.83},
    {"mold.penicillium.aw_line", VALUE(mold.group[MOLD_PENICILLIUM].aw_line), 0.89, 0.9, 0.91},
    {"mold.penicillium.aw_opt", VALUE(mold.group[MOLD_PENICILLIUM].aw_opt), 0.97, 0.98, 0.99},
    {"mold.penicillium.lag_opt_h", VALUE(mold.group[MOLD_PENICILLIUM].lag_opt_h), 36, 59, 82},
    {"mold.penicillium.radial_opt_mm_d", VALUE(mold.group[MOLD_PENICILLIUM].radial_opt_mm_d), 2, 3,
     4},
    {"mold.penicillium.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_PROPIONIC]), 14, 20, 26},
    {"mold.penicillium.mic_acetic_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_ACETIC]), 23, 45, 72},
    {"mold.penicillium.mic_sorbic_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_SORBIC]), 2.2, 3.5, 5},
    {"mold.penicillium.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_BENZOIC]), 1, 3, 8},
    {"mold.penicillium.mic_lactic_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_LACTIC]), 60, 150, 400},
    {"mold.penicillium.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_PENICILLIUM].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.penicillium.weight", VALUE(mold.group[MOLD_PENICILLIUM].weight), 0.3, 0.6, 1},
    {"mold.aspergillus.t_min_c", VALUE(mold.group[MOLD_ASPERGILLUS].t_min_c), 6, 10.1, 11},
    {"mold.aspergillus.t_opt_c", VALUE(mold.group[MOLD_ASPERGILLUS].t_opt_c), 31, 31.4, 37},
    {"mold.aspergillus.t_max_c", VALUE(mold.group[MOLD_ASPERGILLUS].t_max_c), 41, 43.1, 47},
    {"mold.aspergillus.aw_min", VALUE(mold.group[MOLD_ASPERGILLUS].aw_min), 0.76, 0.77, 0.8},
    {"mold.aspergillus.aw_line", VALUE(mold.group[MOLD_ASPERGILLUS].aw_line), 0.89, 0.9, 0.91},
    {"mold.aspergillus.aw_opt", VALUE(mold.group[MOLD_ASPERGILLUS].aw_opt), 0.96, 0.97, 0.98},
    {"mold.aspergillus.lag_opt_h", VALUE(mold.group[MOLD_ASPERGILLUS].lag_opt_h), 32, 52, 76},
    {"mold.aspergillus.radial_opt_mm_d", VALUE(mold.group[MOLD_ASPERGILLUS].radial_opt_mm_d), 5,
     6.5, 8},
    {"mold.aspergillus.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_PROPIONIC]), 8, 18, 20},
    {"mold.aspergillus.mic_acetic_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_ACETIC]), 23, 40, 72},
    {"mold.aspergillus.mic_sorbic_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_SORBIC]), 1, 2.2, 4},
    {"mold.aspergillus.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_BENZOIC]), 1, 3, 8},
    {"mold.aspergillus.mic_lactic_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_LACTIC]), 60, 150, 400},
    {"mold.aspergillus.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_ASPERGILLUS].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.aspergillus.weight", VALUE(mold.group[MOLD_ASPERGILLUS].weight), 0.115, 0.23, 0.46},
    {"mold.xerophile.t_min_c", VALUE(mold.group[MOLD_XEROPHILE].t_min_c), 3, 5, 10},
    {"mold.xerophile.t_opt_c", VALUE(mold.group[MOLD_XEROPHILE].t_opt_c), 28, 30, 33},
    {"mold.xerophile.t_max_c", VALUE(mold.group[MOLD_XEROPHILE].t_max_c), 38, 40, 43},
    {"mold.xerophile.aw_min", VALUE(mold.group[MOLD_XEROPHILE].aw_min), 0.69, 0.71, 0.74},
    {"mold.xerophile.aw_line", VALUE(mold.group[MOLD_XEROPHILE].aw_line), 0.87, 0.885, 0.9},
    {"mold.xerophile.aw_opt", VALUE(mold.group[MOLD_XEROPHILE].aw_opt), 0.9, 0.93, 0.95},
    {"mold.xerophile.lag_opt_h", VALUE(mold.group[MOLD_XEROPHILE].lag_opt_h), 36, 60, 90},
    {"mold.xerophile.radial_opt_mm_d", VALUE(mold.group[MOLD_XEROPHILE].radial_opt_mm_d), 2, 3, 4},
    {"mold.xerophile.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_PROPIONIC]), 8, 14, 20},
    {"mold.xerophile.mic_acetic_mmol_l", VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_ACETIC]),
     23, 45, 72},
    {"mold.xerophile.mic_sorbic_mmol_l", VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_SORBIC]),
     2, 5, 10},
    {"mold.xerophile.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_BENZOIC]), 1, 3, 8},
    {"mold.xerophile.mic_lactic_mmol_l", VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_LACTIC]),
     10000, 10000, 10000},
    {"mold.xerophile.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_XEROPHILE].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.xerophile.weight", VALUE(mold.group[MOLD_XEROPHILE].weight), 0.04, 0.08, 0.16},
    {"mold.roqueforti.t_min_c", VALUE(mold.group[MOLD_ROQUEFORTI].t_min_c), -2, 2, 5},
    {"mold.roqueforti.t_opt_c", VALUE(mold.group[MOLD_ROQUEFORTI].t_opt_c), 24, 25, 26},
    {"mold.roqueforti.t_max_c", VALUE(mold.group[MOLD_ROQUEFORTI].t_max_c), 33, 35.5, 37},
    {"mold.roqueforti.aw_min", VALUE(mold.group[MOLD_ROQUEFORTI].aw_min), 0.82, 0.82, 0.86},
    {"mold.roqueforti.aw_line", VALUE(mold.group[MOLD_ROQUEFORTI].aw_line), 0.89, 0.9, 0.91},
    {"mold.roqueforti.aw_opt", VALUE(mold.group[MOLD_ROQUEFORTI].aw_opt), 0.98, 0.985, 0.99},
    {"mold.roqueforti.lag_opt_h", VALUE(mold.group[MOLD_ROQUEFORTI].lag_opt_h), 38, 60, 86},
    {"mold.roqueforti.radial_opt_mm_d", VALUE(mold.group[MOLD_ROQUEFORTI].radial_opt_mm_d), 2, 3.5,
     5},
    {"mold.roqueforti.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_PROPIONIC]), 12, 20, 120},
    {"mold.roqueforti.mic_acetic_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_ACETIC]), 150, 300, 500},
    {"mold.roqueforti.mic_sorbic_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_SORBIC]), 6.5, 9, 15},
    {"mold.roqueforti.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_BENZOIC]), 1, 3, 8},
    {"mold.roqueforti.mic_lactic_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_LACTIC]), 200, 1000, 3000},
    {"mold.roqueforti.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_ROQUEFORTI].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.roqueforti.weight", VALUE(mold.group[MOLD_ROQUEFORTI].weight), 0.025, 0.05, 0.1},
    {"mold.chalk-yeast.t_min_c", VALUE(mold.group[MOLD_CHALK_YEAST].t_min_c), 3, 5, 8},
    {"mold.chalk-yeast.t_opt_c", VALUE(mold.group[MOLD_CHALK_YEAST].t_opt_c), 26, 28, 30},
    {"mold.chalk-yeast.t_max_c", VALUE(mold.group[MOLD_CHALK_YEAST].t_max_c), 35, 37, 39},
    {"mold.chalk-yeast.aw_min", VALUE(mold.group[MOLD_CHALK_YEAST].aw_min), 0.8, 0.85, 0.88},
    {"mold.chalk-yeast.aw_line", VALUE(mold.group[MOLD_CHALK_YEAST].aw_line), 0.89, 0.9, 0.91},
    {"mold.chalk-yeast.aw_opt", VALUE(mold.group[MOLD_CHALK_YEAST].aw_opt), 0.97, 0.98, 0.99},
    {"mold.chalk-yeast.lag_opt_h", VALUE(mold.group[MOLD_CHALK_YEAST].lag_opt_h), 32, 56, 86},
    {"mold.chalk-yeast.radial_opt_mm_d", VALUE(mold.group[MOLD_CHALK_YEAST].radial_opt_mm_d), 0.5,
     1, 1.5},
    {"mold.chalk-yeast.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_PROPIONIC]), 60, 120, 250},
    {"mold.chalk-yeast.mic_acetic_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_ACETIC]), 40, 80, 160},
    {"mold.chalk-yeast.mic_sorbic_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_SORBIC]), 2, 5, 10},
    {"mold.chalk-yeast.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_BENZOIC]), 1, 3, 8},
    {"mold.chalk-yeast.mic_lactic_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_LACTIC]), 200, 1000, 3000},
    {"mold.chalk-yeast.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_CHALK_YEAST].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.chalk-yeast.weight", VALUE(mold.group[MOLD_CHALK_YEAST].weight), 0.02, 0.04, 0.08},
    {"mold.paecilomyces.t_min_c", VALUE(mold.group[MOLD_PAECILOMYCES].t_min_c), 4, 5, 10},
    {"mold.paecilomyces.t_opt_c", VALUE(mold.group[MOLD_PAECILOMYCES].t_opt_c), 30, 33, 37},
    {"mold.paecilomyces.t_max_c", VALUE(mold.group[MOLD_PAECILOMYCES].t_max_c), 45, 47, 50},
    {"mold.paecilomyces.aw_min", VALUE(mold.group[MOLD_PAECILOMYCES].aw_min), 0.79, 0.82, 0.85},
    {"mold.paecilomyces.aw_line", VALUE(mold.group[MOLD_PAECILOMYCES].aw_line), 0.89, 0.9, 0.91},
    {"mold.paecilomyces.aw_opt", VALUE(mold.group[MOLD_PAECILOMYCES].aw_opt), 0.96, 0.97, 0.99},
    {"mold.paecilomyces.lag_opt_h", VALUE(mold.group[MOLD_PAECILOMYCES].lag_opt_h), 38, 60, 86},
    {"mold.paecilomyces.radial_opt_mm_d", VALUE(mold.group[MOLD_PAECILOMYCES].radial_opt_mm_d), 3,
     5, 8},
    {"mold.paecilomyces.mic_propionic_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_PROPIONIC]), 60, 150, 300},
    {"mold.paecilomyces.mic_acetic_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_ACETIC]), 40, 80, 300},
    {"mold.paecilomyces.mic_sorbic_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_SORBIC]), 5, 12, 20},
    {"mold.paecilomyces.mic_benzoic_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_BENZOIC]), 1, 5, 15},
    {"mold.paecilomyces.mic_lactic_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_LACTIC]), 200, 1000, 3000},
    {"mold.paecilomyces.mic_tartaric_mmol_l",
     VALUE(mold.group[MOLD_PAECILOMYCES].mic_mmol_l[ACID_TARTARIC]), 100, 300, 1000},
    {"mold.paecilomyces.weight", VALUE(mold.group[MOLD_PAECILOMYCES].weight), 0.01, 0.02, 0.04},
    {"mold.aw_line_slope", VALUE(mold.aw_line_slope), 0.0647, 0.081, 0.09},
    {"mold.aw_wet_slope", VALUE(mold.aw_wet_slope), 0, 0.012, 0.02},
    {"mold.aw_ramp", VALUE(mold.aw_ramp), 0.02, 0.03, 0.05},
    {"mold.mic_lag_factor", VALUE(mold.mic_lag_factor), 4, 6, 12},
    {"mold.mic_order", VALUE(mold.mic_order), 1.5, 2, 2.5},
    {"mold.mic_spread_cv", VALUE(mold.mic_spread_cv), 0.2, 0.3, 0.4},
    {"mold.spore_spread_cv", VALUE(mold.spore_spread_cv), 0.15, 0.25, 0.4},
    {"mold.growth_share", VALUE(mold.growth_share), 0, 0.2, 0.4},
    {"mold.visible_diameter_mm", VALUE(mold.visible_diameter_mm), 2, 2.5, 3},
    {"mold.spores_per_pack", VALUE(mold.spores_per_pack), 0.2, 1, 5},
    {"mold.time_scale", VALUE(mold.time_scale), 0.65, 1, 1.5},
    {"mold.spores_scale", VALUE(mold.spores_scale), 0.1, 1, 10},
    {"mold.horizon_days", VALUE(mold.horizon_days), 45, 60, 90},
    {"mold.valid_ph_min", VALUE(mold.valid_ph_min), 4, 4, 4},
    {"mold.valid_ph_max", VALUE(mold.valid_ph_max), 7, 7, 7},
    {"mold.valid_aw_min", VALUE(mold.valid_aw_min), 0.74, 0.74, 0.74},
    {"mold.valid_aw_max", VALUE(mold.valid_aw_max), 0.995, 0.995, 0.995},
    {"mold.valid_temp_c_min", VALUE(mold.valid_temp_c_min), -20, -20, -20},
    {"mold.valid_temp_c_max", VALUE(mold.valid_temp_c_max), 45, 45, 45},
    {"heat.loaf_radius_mm", VALUE(heat.loaf_radius_mm), 45, 55, 65},
    {"heat.cool_diffusivity_m2_s", VALUE(heat.cool_diffusivity_m2_s), 2e-07, 3.5e-07, 5e-07},
    {"heat.cool_biot", VALUE(heat.cool_biot), 1, 2, 4},
    {"heat.bake_diffusivity_m2_s", VALUE(heat.bake_diffusivity_m2_s), 4.8e-07, 1.2e-06, 2e-06},
    {"heat.bake_end_c", VALUE(heat.bake_end_c), 93, 98, 101},
    {"heat.dough_c", VALUE(heat.dough_c), 26, 32, 38},
    {"heat.crust_boil_c", VALUE(heat.crust_boil_c), 99, 100.5, 102},
    {"heat.enzyme_from_c", VALUE(heat.enzyme_from_c), 58, 60, 65},
    {"heat.enzyme_to_c", VALUE(heat.enzyme_to_c), 80, 85, 90},
    {"heat.cooler_air_c", VALUE(heat.cooler_air_c), 20, 24, 28},
    {"heat.cool_min", VALUE(heat.cool_min), 60, 110, 120},
    {"heat.bake_min", VALUE(heat.bake_min), 18, 25, 35},
    {"wet.core_at_pack_c", VALUE(wet.core_at_pack_c), 30, 38, 43},
    {"wet.surface_share", VALUE(wet.surface_share), 0.3, 0.45, 0.6},
    {"wet.headspace_l", VALUE(wet.headspace_l), 0.5, 1, 2},
    {"wet.cp_kj_kg_k", VALUE(wet.cp_kj_kg_k), 2.2, 2.6, 2.9},
    {"wet.evaporation_share", VALUE(wet.evaporation_share), 0.08, 0.15, 0.25},
    {"wet.crust_uptake_g_kg", VALUE(wet.crust_uptake_g_kg), 1, 2, 4},
    {"wet.full_effect_g", VALUE(wet.full_effect_g), 0.5, 1.2, 3},
    {"wet.spot_aw", VALUE(wet.spot_aw), 0.975, 0.985, 0.99},
    {"wet.spot_dilution_share", VALUE(wet.spot_dilution_share), 0.2, 0.45, 0.7},
    {"wet.spot_spread", VALUE(wet.spot_spread), 1, 2, 4},
    {"wet.loaf_g", VALUE(wet.loaf_g), 400, 800, 900},
    {"wet.pack_room_c", VALUE(wet.pack_room_c), 18, 22, 28},
    {"staling.avrami_n", VALUE(staling.avrami_n), 0.9, 1, 1.1},
    {"staling.tau_d_at_minus_18_c", VALUE(staling.tau_d[0]), 30, 60, 200},
    {"staling.tau_d_at_minus_1_c", VALUE(staling.tau_d[1]), 1.4, 1.45, 1.5},
    {"staling.tau_d_at_10_c", VALUE(staling.tau_d[2]), 2, 2.25, 2.5},
    {"staling.tau_d_at_21_c", VALUE(staling.tau_d[3]), 3.4, 3.7, 4},
    {"staling.tau_d_at_32_c", VALUE(staling.tau_d[4]), 5, 5.5, 6},
    {"staling.limit_ratio", VALUE(staling.limit_ratio), 3, 3.5, 5},
    {"staling.no_softener_factor", VALUE(staling.no_softener_factor), 1.2, 1.5, 2},
    {"staling.moisture_per_pct", VALUE(staling.moisture_per_pct), 0.05, 0.09, 0.15},
    {"staling.leak_loss_pct_d", VALUE(staling.leak_loss_pct_d), 0.5, 1.2, 2.5},
    {"staling.sealed_loss_pct_d", VALUE(staling.sealed_loss_pct_d), 0.02, 0.06, 0.15},
    {"staling.bake_out_pct_min", VALUE(staling.bake_out_pct_min), 0.03, 0.1, 0.2},
    {"staling.cool_out_pct_min", VALUE(staling.cool_out_pct_min), 0.01, 0.02, 0.04},
    {"staling.stale_ratio", VALUE(staling.stale_ratio), 2, 2.8, 3.5},
    {"staling.stale_cv", VALUE(staling.stale_cv), 0.2, 0.3, 0.5},
    {"staling.gummy_ratio", VALUE(staling.gummy_ratio), 1.5, 2, 3},
    {"staling.gummy_cv", VALUE(staling.gummy_cv), 0.15, 0.25, 0.4},
    {"staling.gummy_core_c", VALUE(staling.gummy_core_c), 88, 91, 94},
    {"staling.gummy_core_sd_c", VALUE(staling.gummy_core_sd_c), 1, 2, 3},
    {"staling.time_scale", VALUE(staling.time_scale), 0.75, 1, 1.35},
    {"staling.valid_temp_c_min", VALUE(staling.valid_temp_c_min), -20, -20, -20},
    {"staling.valid_temp_c_max", VALUE(staling.valid_temp_c_max), 40, 40, 40},
    {"odor.propionic_mg_kg", VALUE(odor.propionic_mg_kg), 300, 570, 900},
    {"odor.acetic_mg_kg", VALUE(odor.acetic_mg_kg), 300, 600, 1200},
    {"odor.vapour_kj_mol", VALUE(odor.vapour_kj_mol), 45, 52, 60},
    {"odor.cold_c", VALUE(odor.cold_c), 18, 20, 22},
    {"odor.warm_c", VALUE(odor.warm_c), 35, 40, 60},
    {"odor.notice_sd_log10", VALUE(odor.notice_sd_log10), 0.2, 0.3, 0.5},
    {"rope.t_min_c", VALUE(rope.t_min_c), 8, 12, 15},
    {"rope.t_opt_c", VALUE(rope.t_opt_c), 37, 40, 43},
    {"rope.t_max_c", VALUE(rope.t_max_c), 50, 53, 55},
    {"rope.ph_min", VALUE(rope.ph_min), 4.5, 4.8, 5},
    {"rope.ph_opt", VALUE(rope.ph_opt), 6.8, 7, 7.4},
    {"rope.ph_max", VALUE(rope.ph_max), 8.8, 9.3, 9.8},
    {"rope.aw_min", VALUE(rope.aw_min), 0.89, 0.9, 0.93},
    {"rope.rate_opt_log10_h", VALUE(rope.rate_opt_log10_h), 0.26, 0.42, 0.7},
    {"rope.lag_opt_h", VALUE(rope.lag_opt_h), 2, 4, 6},
    {"rope.notice_log10_cfu_g", VALUE(rope.notice_log10_cfu_g), 6.11, 6.78, 6.89},
    {"rope.mic_propionic_mmol_l", VALUE(rope.mic_propionic_mmol_l), 8, 12, 18},
    {"rope.mic_acetic_mmol_l", VALUE(rope.mic_acetic_mmol_l), 6, 10, 16},
    {"rope.spore_survival_share", VALUE(rope.spore_survival_share), 0.3, 0.5, 0.8},
    {"rope.spores_cfu_g", VALUE(rope.spores_cfu_g), 1, 30, 100},
    {"rope.limit_cfu_g", VALUE(rope.limit_cfu_g), 1000, 1000, 1000},
    {"rope.time_cv", VALUE(rope.time_cv), 0.25, 0.4, 0.6},
    {"usual.bread_per_flour", VALUE(usual.bread_per_flour), 1.4, 1.5, 1.6},
    {"usual.crumb_ph", VALUE(usual.crumb_ph), 5, 5.45, 5.8},
    {"usual.crumb_aw", VALUE(usual.crumb_aw), 0.93, 0.955, 0.96},
    {"usual.crumb_moisture_pct", VALUE(usual.crumb_moisture_pct), 35, 38, 40},
    {"usual.store_c", VALUE(usual.store_c), 18, 22, 28},
};

#undef VALUE

enum { TABLE_ROWS = sizeof(table) / sizeof(table[0]) };

static double *value_at(struct models_values *values, size_t offset)
{
    return (double *)(void *)((char *)values + offset);
}

static double value_of(const struct models_values *values, size_t offset)
{
    return *(const double *)(const void *)((const char *)values + offset);
}

void parameters_default(struct models_parameters *parameters)
{
    memset(parameters, 0, sizeof(*parameters));
    for (size_t i = 0; i < TABLE_ROWS; i++) {
        *value_at(&parameters->low, table[i].offset) = table[i].low;
        *value_at(&parameters->typical, table[i].offset) = table[i].typical;
        *value_at(&parameters->high, table[i].offset) = table[i].high;
    }
}

const struct parameter *parameters_find(const char *name)
{
    for (size_t i = 0; i < TABLE_ROWS; i++) {
        if (strcmp(table[i].name, name) == 0) {
            return &table[i];
        }
    }
    return NULL;
}

int parameters_set(struct models_parameters *parameters, const char *name, double low,
                   double typical, double high)
{
    const struct parameter *row = parameters_find(name);
    if (!row) {
        return ERROR_NOT_FOUND;
    }
    if (!isfinite(low) || !isfinite(typical) || !isfinite(high) || low > typical ||
        typical > high) {
        return ERROR_INVALID;
    }
    *value_at(&parameters->low, row->offset) = low;
    *value_at(&parameters->typical, row->offset) = typical;
    *value_at(&parameters->high, row->offset) = high;
    return 0;
}

int parameters_get(const struct models_parameters *parameters, const char *name, double *ret_low,
                   double *ret_typical, double *ret_high)
{
    const struct parameter *row = parameters_find(name);
    if (!row) {
        return ERROR_NOT_FOUND;
    }
    *ret_low = value_of(&parameters->low, row->offset);
    *ret_typical = value_of(&parameters->typical, row->offset);
    *ret_high = value_of(&parameters->high, row->offset);
    return 0;
}

static bool group_ordered(const struct mold_group_values *g)
{
    return g->t_min_c < g->t_opt_c && g->t_opt_c < g->t_max_c && g->aw_min < g->aw_line &&
           g->aw_line < g->aw_opt && g->lag_opt_h > 0 && g->radial_opt_mm_d > 0 && g->weight >= 0;
}

bool parameters_consistent(const struct models_parameters *parameters, const char **ret_name)
{
    const struct models_values *corners[] = {&parameters->low, &parameters->typical,
                                             &parameters->high};
    for (size_t c = 0; c < sizeof(corners) / sizeof(corners[0]); c++) {
        for (int g = 0; g < MOLD_GROUPS; g++) {
            if (!group_ordered(&corners[c]->mold.group[g])) {
                if (ret_name) {
                    *ret_name = mold_group_name((enum mold_group)g);
                }
                return false;
            }
        }
        const struct rope_values *r = &corners[c]->rope;
        if (!(r->t_min_c < r->t_opt_c && r->t_opt_c < r->t_max_c && r->ph_min < r->ph_opt &&
              r->ph_opt < r->ph_max)) {
            if (ret_name) {
                *ret_name = "rope";
            }
            return false;
        }
    }
    return true;
}
