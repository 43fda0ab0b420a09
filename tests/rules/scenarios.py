"""Plain situations: a lot whose records are all as usual, and what is changed in each."""


def num(ratio=1.0, z=0.0, value=None):
    fact = {"ratio": ratio, "z": z}
    if value is not None:
        fact["value"] = value
    return fact


def word(w):
    return {"word": w}


def bits(b, value=1.0):
    return {"bits": b, "value": value}


PLACES = ("cooler-air", "cooler-belt", "slicer", "bagger", "hands", "film-store", "returns-dock",
          "ingredient-store", "waste-area", "dead-spot", "compressed-air")
COUNTS = {"cooler-air": ("settle_plate_cfu", "air_cfu_m3"), "compressed-air": ("air_cfu_m3",),
          "film-store": ("settle_plate_cfu",), "returns-dock": ("settle_plate_cfu",),
          "ingredient-store": ("settle_plate_cfu",), "waste-area": ("settle_plate_cfu",)}

NORMAL = {
    "inhibitor_pct_flour": num(value=.30), "inhibitor_pct_flour.min": num(.98),
    "inhibitor_pct_flour.max": num(1.02), "inhibitor_weighed_pct_flour.min": num(.98),
    "inhibitor_active_pct": num(value=98),
    "crumb_ph": num(value=5.35), "dough_ph": num(value=5.25), "acid_pct_flour": num(value=.6),
    "acid_grain": num(value=200), "core_at_pack_c": num(value=38),
    "core_at_pack_c.max": num(1.03), "core_at_slicing_c": num(value=38.5),
    "cooler_air_c": num(), "cool_min": num(value=75), "cooler_rh_pct": num(value=80),
    "core_end_bake_c": num(value=96.5), "water_pct_flour": num(value=61),
    "water_pct_flour.min": num(.995), "falling_number_s": num(value=310), "bake_min": num(value=22), "crumb_moisture_pct": num(),
    "seal_fail_pct": num(value=.4), "seal_fail_pct.max": num(1.2), "line_stop_min": num(value=5),
    "emulsifier_pct_flour": num(value=.4), "emulsifier_pct_flour.min": num(.98),
    "closure_fail_pct": num(value=.3), "film_gauge_um": num(value=30), "film_holes": num(value=40),
    "pack_o2_pct": num(value=.3), "pack_co2_pct": num(value=60),
    "kept_o2_pct": num(value=.3), "kept_co2_pct": num(value=55),
    "core_in_stack_c": num(value=26), "store_c.max": num(value=22), "store_c.min": num(value=17),
    "store_rh_pct": num(value=60), "freezer_c": num(value=-20), "freezer_c.max": num(value=-18),
    "frozen_days": num(value=7), "thaw_h": num(value=4), "filling_aw": num(value=.8),
    "filling_heat_c": num(value=95), "heat_mold_cfu_g": num(value=0),
    "recipe_age_days": num(value=300), "supplier_age_days": num(value=300),
    "softener_pct_flour": num(value=.5), "softener_pct_flour.min": num(.98),
    "softener_pct_flour.max": num(1.02), "ferment_min": num(), "proof_min": num(),
    "dough_temp_c": num(), "aerobic_spores_cfu_g": num(value=25), "yeast_pct_flour": num(),
    "transit_c": num(value=20), "transit_c.max": num(value=22), "dispatch_delay_h": num(value=15),
    "sorbate_used": num(value=0), "days_past_code": num(value=-3), "age_days": num(value=6), "days_in_trade": num(value=5),
    "season": word("autumn"), "family": word("pan-bread"), "channel": word("phone"),
    "company.line": bits(-.4, .8), "company.line_hour": bits(-.2), "company.shift": bits(-.3),
    "company.plant": bits(-.6, .9), "company.film": bits(-1, .9), "company.inhibitor": bits(-1, .9),
    "company.flour": bits(-.4), "company.fat": bits(-.6), "company.any": bits(.2, 1.1),
    "company.lot": bits(-.2, 1), "company.route": bits(-.5), "company.store": bits(-.1),
    "cooler-air.pressure_pa": num(value=9), "cooler-air.days_since_filter": num(value=15),
    "waste-area.waste_emptied": num(value=1), "returns-dock.returns_staged": num(value=0),
    "cooler-air.condensation_seen": num(value=0), "slicer.oil_seen": num(value=0),
    "ingredient-store.pests_found": num(value=0),
}
for place in PLACES:
    for quantity in COUNTS.get(place, ("swab_cfu",)):
        NORMAL[f"{place}.{quantity}"] = num(z=.2, value=6 if quantity != "air_cfu_m3" else 60)
for place in ("slicer", "cooler-belt", "bagger"):
    NORMAL[f"{place}.hours_since_cleaned"] = num(.6, value=10)
    NORMAL[f"{place}.cleaning_missed"] = num(value=0)

EXCESS = {"company.line": bits(3.5, 4), "company.line_hour": bits(2, 4),
          "company.any": bits(3.5, 4)}


def high(fact, z=3.0, **more):
    return {fact: {**num(z=z), **more}}


# symptom, the cause that should come first, what is out of line (None: not measured)
SITUATIONS = (
    ("mold", "inhibitor-underdosed", {"inhibitor_pct_flour": num(.6, -8)}),
    ("mold", "inhibitor-underdosed", {"inhibitor_pct_flour": num(.9, -3.3),
                                      "inhibitor_pct_flour.min": num(.88),
                                      "model.mold_age": bits(1), **EXCESS}),
    ("mold", "inhibitor-ineffective-ph", {"crumb_ph": num(1.09, 5, 5.85), "dough_ph": num(1.07, 4)}),
    ("mold", "inhibitor-ineffective-ph", {"crumb_ph": num(1.08, 4, 5.8), "acid_grain": num(.3)}),
    ("mold", "inhibitor-spent", {"inhibitor_active_pct": num(.3, -20)}),
    ("mold", "inhibitor-spent", {"propionate_ppm": num(.4), "company.inhibitor": bits(3, 4)}),
    ("mold", "packed-hot", {"core_at_pack_c": num(1.21, 8, 46), "core_at_slicing_c": num(1.2, 8),
                            "core_at_pack_c.max": num(1.25)}),
    ("mold", "packed-hot", {"core_at_pack_c": num(1.09, 3, 41.5), "core_at_slicing_c": num(1.08, 3),
                            "wet_inside_bag": word("yes"), "where": word("side")}),
    ("off-odor", "gas-in-pack", {"bag": word("blown")}),
    ("off-odor", "transport-taint", {"odor": word("hydrocarbon"), "company.route": bits(3, 4)}),
    ("off-odor", "taint-haloanisole", {"odor": word("musty"), "age_days": num(value=0),
                                       "company.film": bits(3, 4)}),
    ("mold", "red-growth", {"colour": word("pink-orange"), "mold_genus": word("neurospora")}),
    ("mold", "wild-yeast", {"colour": word("white-chalky"), "odor": word("solvent"),
                            "mold_genus": word("hyphopichia")}),
    ("off-odor", "gas-in-pack", {"bag": word("blown"), "odor": word("alcohol"),
                                 "kept_co2_pct": num(1.4, 5, 80)}),
    ("mold", "underbaked", {"core_end_bake_c": num(.93, -5, 90), "bake_min": num(.84, -5),
                            "crumb_moisture_pct": num(1.06, 4)}),
    ("mold", "contamination-cooler-air", {**high("cooler-air.settle_plate_cfu", 6),
                                          "where": word("top-crust")}),
    ("mold", "contamination-cooler-air", {**high("cooler-air.air_cfu_m3", 3.5, value=600),
                                          "cooler-air.pressure_pa": num(z=-5, value=1),
                                          "where": word("top-crust")}),
    ("mold", "contamination-cooler-belt", {**high("cooler-belt.swab_cfu", 6),
                                           "where": word("base")}),
    ("mold", "contamination-slicer", {**high("slicer.swab_cfu", 6), "where": word("cut-face")}),
    ("mold", "contamination-slicer", {"slicer.hours_since_cleaned": num(5, value=120),
                                      "slicer.cleaning_missed": num(value=4),
                                      "where": word("cut-face")}),
    ("mold", "contamination-bagger", {**high("bagger.swab_cfu", 6), "where": word("near-closure")}),
    ("mold", "contamination-compressed-air", {**high("compressed-air.air_cfu_m3", 7),
                                              "where": word("near-closure"), **EXCESS}),
    ("mold", "contamination-film", {**high("film-store.settle_plate_cfu", 6),
                                    "company.film": bits(4, 4), "where": word("side")}),
    ("mold", "contamination-hands", {**high("hands.swab_cfu", 6), "where": word("heel"),
                                     "company.shift": bits(2.5, 3)}),
    ("mold", "contamination-returns", {"returns-dock.returns_staged": num(z=6, value=3),
                                       **high("returns-dock.settle_plate_cfu", 4),
                                       **high("cooler-air.settle_plate_cfu", 4)}),
    ("mold", "contamination-ingredient-store", {**high("ingredient-store.settle_plate_cfu", 6),
                                                "colour": word("yellow")}),
    ("mold", "contamination-waste", {"waste-area.waste_emptied": num(value=0),
                                     **high("waste-area.settle_plate_cfu", 5),
                                     "colour": word("pink-orange")}),
    ("mold", "contamination-dead-spot", {**high("dead-spot.swab_cfu", 7), **EXCESS}),
    ("mold", "pack-leak", {"bag": word("seal-open"), "seal_fail_pct": num(8, 10, 4)}),
    ("mold", "pack-leak", {"seal_fail_pct": num(5, 4, 2), "company.film": bits(3, 4),
                           "where": word("near-closure")}),
    ("mold", "warm-storage", {"kept": word("warm"), "season": word("summer"), "wet_inside_bag": word("yes")}),
    ("mold", "warm-storage", {"transit_c": num(value=32), "company.route": bits(3, 4)}),
    ("mold", "old-stock", {"days_past_code": num(value=3), "age_days": num(value=13), "bought_life_share": num(value=1.1)}),
    ("off-odor", "inhibitor-overdosed", {"inhibitor_pct_flour": num(1.5, 10),
                                         "odor": word("cheesy")}),
    ("off-odor", "inhibitor-overdosed", {"inhibitor_pct_flour": num(1.15, 3.3),
                                         "odor": word("sour"), "company.shift": bits(2, 3)}),
    ("off-odor", "acid-overdosed", {"odor": word("vinegar"), "acid_pct_flour": num(1.5, 6),
                                    "crumb_ph": num(.95, -4, 5.1)}),
    ("off-odor", "over-fermented", {"odor": word("alcohol"), "ferment_min": num(1.8, 5)}),
    ("off-odor", "rope", {"odor": word("fruity"), "crumb": word("sticky"),
                          "aerobic_spores_cfu_g": num(60, 6, 1500), "season": word("summer")}),
    ("off-odor", "wild-yeast", {"odor": word("solvent"), "colour": word("white-chalky")}),
    ("off-odor", "fat-rancid", {"odor": word("rancid"), "company.fat": bits(3, 4)}),
    ("off-odor", "pack-taint", {"odor": word("plastic"), "company.film": bits(3, 4)}),
    ("off-odor", "taint-haloanisole", {"odor": word("musty"), "company.film": bits(3.5, 4),
                                       "age_days": num(value=1), "days_past_code": num(value=-8)}),
    ("off-odor", "cleaning-residue", {"odor": word("chemical"), "company.line_hour": bits(3, 5),
                                      "slicer.hours_since_cleaned": num(.05, value=1)}),
    ("off-odor", "inhibitor-broken-down", {"odor": word("hydrocarbon"), "family": word("flatbread"),
                                           "colour": word("blue-green"), "sorbate_used": num(value=1)}),
    ("off-odor", "mold-hidden", {"odor": word("musty"), "days_past_code": num(value=1),
                                 "colour": word("blue-green")}),
    ("staling", "softener-underdosed", {"softener_pct_flour": num(.4, -15), "crumb": word("firm")}),
    ("staling", "softener-underdosed", {"softener_pct_flour": num(.9, -3.3),
                                        "softener_pct_flour.min": num(.88),
                                        "crumb": word("firm"), **EXCESS}),
    ("staling", "softener-overdosed", {"softener_pct_flour": num(1.7, 12), "crumb": word("gummy")}),
    ("staling", "enzyme-window-missed", {"model.enzyme_min_ratio": num(value=.4),
                                         "bake_min": num(.85, -4), "crumb": word("firm"),
                                         "core_end_bake_c": num(1.01, 2, 97.5)}),
    ("staling", "overbaked", {"bake_min": num(1.12, 5), "core_end_bake_c": num(1.02, 4, 99),
                              "crumb_moisture_pct": num(.92, -5), "crumb": word("dry")}),
    ("staling", "underbaked-gummy", {"core_end_bake_c": num(.95, -4, 91.5),
                                     "crumb": word("gummy")}),
    ("staling", "overcooled-dry", {"cool_min": num(1.5, 6), "core_at_pack_c": num(.8, -5, 30),
                                   "crumb": word("dry")}),
    ("staling", "pack-leak-dry", {"bag": word("seal-open"), "crumb": word("dry"),
                                  "seal_fail_pct": None, "seal_fail_pct.max": None}),
    ("staling", "pack-leak-dry", {"seal_fail_pct": num(8, 10, 4), "crumb": word("dry")}),
    ("staling", "cold-storage", {"kept": word("fridge"), "crumb": word("crumbly"), "season": word("winter")}),
    ("staling", "old-stock-stale", {"days_past_code": num(value=3), "age_days": num(value=13), "bought_life_share": num(value=1.1)}),
    ("staling", "dough-water-off", {"water_pct_flour": num(.93, -6, 57), "water_pct_flour.min": num(.92),
                                    "crumb_moisture_pct": num(.95, -4), "crumb": word("dry")}),
    ("staling", "dough-water-off", {"water_pct_flour": num(.93, -6, 57), "crumb": word("firm"),
                                    "crumb_moisture_pct": None,
                                    "core_end_bake_c": num(1.02, 1.5, 98.5)}),
    # gummy in all lots of one flour lot, nobody measured the flour
    ("staling", "flour-sprouted", {"crumb": word("gummy"), "company.flour": bits(4, 4),
                                   "falling_number_s": None, "age_days": num(value=1),
                                   "aerobic_spores_cfu_g": None}),
    ("staling", "flour-sprouted", {"crumb": word("sticky"), "falling_number_s": num(.5, -8, 150)}),
    ("staling", "rope-crumb", {"crumb": word("stringy"), "season": word("summer"),
                               "aerobic_spores_cfu_g": None}),
    ("mold", "gas-wrong", {"pack_o2_pct": num(20, 12, 6), "pack_co2_pct": num(.6, -6, 36)}),
    ("mold", "gas-leak", {"kept_o2_pct": num(20, 9, 6), "kept_co2_pct": num(.5, -7, 28),
                          "where": word("near-closure")}),
    ("mold", "gas-leak", {"kept_o2_pct": num(20, 9, 6), "kept_co2_pct": num(.5, -7, 28),
                          "seal_fail_pct": num(4, 4, 2)}),
    ("mold", "scavenger-spent", {"kept_o2_pct": num(12, 8, 2), "bag": word("sound"),
                                 "company.line_hour": bits(1.5, 3)}),
    ("staling", "frozen-chain", {"freezer_c": num(.4, 6, -8), "freezer_c.max": num(.3, 7, -5),
                                 "thaw_h": num(4, 5, 20), "crumb": word("crumbly"),
                                 "company.any": bits(2, 3)}),
    ("staling", "frozen-chain", {"frozen_days": num(10, 9, 240), "thaw_h": num(4, 5, 20),
                                 "crumb": word("dry"), "company.any": bits(2, 3)}),
    ("off-odor", "pest-taint", {"odor": word("chemical"), "company.flour": bits(3, 4),
                                "ingredient-store.pests_found": num(z=5, value=12),
                                "age_days": num(value=1), "days_past_code": num(value=-8)}),
    ("off-odor", "pest-taint", {"odor": word("musty"), "company.flour": bits(3, 4),
                                "ingredient-store.pests_found": num(z=5, value=12),
                                "age_days": num(value=1), "days_past_code": num(value=-8)}),
    ("off-odor", "oil-taint", {"odor": word("hydrocarbon"), "slicer.oil_seen": num(value=1),
                               "age_days": num(value=1), "company.line_hour": bits(2, 4)}),
    ("staling", "emulsifier-underdosed", {"emulsifier_pct_flour": num(.4, -12, .16),
                                          "emulsifier_pct_flour.min": num(.35),
                                          "crumb": word("crumbly"), "age_days": num(value=2)}),
    ("mold", "stacked-warm", {"core_in_stack_c": num(1.4, 8, 36), "wet_inside_bag": word("yes"),
                              "company.line_hour": bits(1.5, 3)}),
    ("mold", "store-swings", {"store_rh_pct": num(1.5, 5, 92), "store_c.min": num(value=5),
                              "store_c.max": num(value=31), "wet_inside_bag": word("yes")}),
    ("mold", "filling-moist", {"family": word("sweet-good"), "filling_aw": num(1.08, 8, .86),
                               "where": word("cut-face")}),
    ("mold", "filling-heat-resistant", {"family": word("sweet-good"),
                                        "mold_genus": word("byssochlamys"),
                                        "heat_mold_cfu_g": num(z=5, value=5)}),
    ("mold", "recipe-changed", {"recipe_age_days": num(.02, -4, 4), "company.product": bits(3, 4),
                                "company.any": bits(3, 4)}),
    ("staling", "recipe-changed", {"supplier_age_days": num(.02, -4, 4),
                                   "company.product": bits(3, 4),
                                   "company.any": bits(3, 4)}),
    ("staling", "film-off-spec", {"film_gauge_um": num(.7, -8, 21), "crumb": word("dry"),
                                  "bag": word("sound"), "company.film": bits(3, 4),
                                  "company.any": bits(2, 3)}),
    ("mold", "pack-leak", {"closure_fail_pct": num(10, 8, 3), "bag": word("closure-missing")}),
)

# one sign alone, which many homes show without any fault: in the first three, not more
HINTS = (
    ("mold", "warm-storage", {"kept": word("warm")}),
    ("mold", "old-stock", {"days_past_code": num(value=3), "age_days": num(value=13)}),
    ("staling", "cold-storage", {"kept": word("fridge"), "crumb": word("firm")}),
    ("staling", "old-stock-stale", {"days_past_code": num(value=2), "age_days": num(value=12)}),
    # bought in good time: kept too long, not sold too late
    ("mold", "old-stock", {"days_past_code": num(value=9), "age_days": num(value=19),
                           "bought_life_share": num(value=.4)}),
)

# symptom, what is known: nothing that a plant could be blamed for
UNCLEAR = (
    ("mold", {"where": word("top-crust"), "colour": word("blue-green"), "kept": word("counter")}),
    ("mold", {"where": word("cut-face")}),
    ("mold", {"kept": word("warm"), "opened_days": num(value=6), "where": word("heel")}),
    ("mold", {"where": word("near-closure"), "bag": word("sound")}),
    ("mold", {"inhibitor_pct_flour": num(.97, -1.5), "core_at_pack_c": num(1.02, 1, 38.8)}),
    ("mold", {**high("slicer.swab_cfu", 1.5), **high("cooler-air.settle_plate_cfu", 1.2)}),
    ("off-odor", {"odor": word("sour")}),
    ("off-odor", {"odor": word("smoky")}),
    ("staling", {"crumb": word("firm"), "kept": word("counter")}),
    # the core of a normal loaf: 100 to 101 °C was measured
    ("staling", {"core_end_bake_c": num(1.0, .5, 100.8), "crumb": word("dry")}),
    ("staling", {"crumb": word("dry"), "opened_days": num(value=5)}),
)
