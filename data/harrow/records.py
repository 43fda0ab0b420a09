"""Records of production: what the plant wrote down, with instrument noise and gaps."""
import math
import random
from datetime import timedelta

from .lots import USUAL_SPORES, code_date
from .physics import days_to_mold
from .plant import (LAST, NO_LOGGER, PRODUCTS, RECORDS_END, RETAILERS, ROUTES, SHELF_C, STORES, SUPPLIERS,
                    gtin, home_c, local, minutes, stamp, write_csv)
from .troubles import route_excess_c


def dispatch_lots(lots, seed):
    """Next morning's trucks: five routes a lot, every store of a route."""
    rng = random.Random(f"{seed}/dispatch")
    for lot in lots:
        leave_day = lot.day + timedelta(days=1)
        if leave_day > LAST:
            continue  # still in the building when the story ends
        routes = sorted(rng.sample(ROUTES, 5))
        weights = [rng.uniform(.8, 1.2) for _ in routes]
        for route, w in zip(routes, weights):
            at = local(leave_day, 185 + 11 * int(route[1:]))
            units, stores = int(lot.units * w / sum(weights)), STORES[route]
            each = [rng.uniform(.6, 1.4) for _ in stores]
            drop = {s: int(units * e / sum(each)) for s, e in zip(stores, each)}
            warm = home_c(lot.day) - 2.5 + rng.gauss(0, 1) + route_excess_c(route, lot)
            seen = "" if route in NO_LOGGER or rng.random() < .06 else f"{warm:.1f}"
            lot.sent.append((route, at, drop, seen))


def write_targets(folder):
    rows = []
    for p in PRODUCTS.values():
        ppm = p.inhibitor_pct * .985 * .7956 / 150 * 1e6
        for quantity, target, low, high in (
                ("inhibitor_pct_flour", p.inhibitor_pct, p.inhibitor_pct * .93,
                 p.inhibitor_pct * 1.07),
                ("softener_pct_flour", p.softener_pct, p.softener_pct * .9, p.softener_pct * 1.1),
                ("water_pct_flour", water_pct(p), water_pct(p) - 2, water_pct(p) + 2),
                ("dough_temp_c", 26.5, 25.5, 28), ("dough_ph", p.ph - .1, p.ph - .3, p.ph + .1),
                ("ferment_min", 25, 18, 35), ("proof_min", 62, 55, 70),
                ("bake_min", p.bake_min, p.bake_min - 1, p.bake_min + 1),
                ("core_end_bake_c", p.core_end_c, p.core_end_c - 2, p.core_end_c + 1.5),
                ("cool_min", p.cool_min, p.cool_min - 8, p.cool_min + 10),
                ("cooler_air_c", 22.5, 19, 25), ("cooler_rh_pct", 80, 70, 88),
                ("core_at_slicing_c", p.core_pack_c + .6, p.core_pack_c - 6, p.core_pack_c + 4),
                ("core_at_pack_c", p.core_pack_c, p.core_pack_c - 6, p.core_pack_c + 3),
                ("crumb_ph", p.ph, p.ph - .2, p.ph + .2), ("crumb_aw", p.aw, p.aw - .015,
                                                           p.aw + .01),
                ("crumb_moisture_pct", p.moisture_pct, p.moisture_pct - 1.2, p.moisture_pct + 1),
                ("propionate_ppm", ppm, ppm * .88, ppm * 1.12),
                ("aerobic_spores_cfu_g", 25, "", 1000), ("seal_fail_pct", .4, "", 1.5),
                ("line_stop_min", 6, "", 30), ("pack_room_c", 21, 17, 24),
                ("pack_room_rh_pct", 50, 35, 62),
                ("mold_free_days", p.shelf_days + 1, p.shelf_days - 1, "")):
            rows.append((p.code, quantity, *(round(x, 4) if x != "" else "" for x in
                                             (target, low, high))))
        if p.vinegar:
            rows.append((p.code, "acid_grain", 200, 190, 210))
    write_csv(folder, "targets.csv", "product quantity target low high".split(), rows)


def water_pct(p):
    return round(p.moisture_pct * 1.63, 1)


def write_products_and_lots(folder, lots):
    write_csv(folder, "products.csv",
              "product name family shelf_life_days unit_g gtin".split(),
              [(p.code, p.name, p.family, p.shelf_days, p.unit_g, gtin(101 + n))
               for n, p in enumerate(PRODUCTS.values())])
    write_csv(folder, "lots.csv",
              "lot product line shift made_from made_to packed_from packed_to units code_date"
              .split(),
              [(x.code, x.product.code, x.line, x.shift, stamp(x.made_from), stamp(x.made_to),
                stamp(x.packed_from), stamp(x.packed_to), x.units, code_date(x)) for x in lots])
    write_csv(folder, "mixes.csv", "mix lot at flour_kg".split(),
              [(m, x.code, stamp(at), kg) for x in lots for m, at, kg in x.mixes])


def write_uses(folder, lots, seed):
    rng, rows = random.Random(f"{seed}/uses"), []
    for lot in lots:
        p, c = lot.product, lot.made
        flour = sum(kg for _, _, kg in lot.mixes)
        amounts = {"flour": flour, "inhibitor": flour * c.inhibitor_pct / 100,
                   "softener": flour * c.softener_pct / 100, "yeast": flour * .028,
                   "fat": flour * p.fat_pct / 100, "film": lot.units * .46,
                   "acid": flour * .006 if p.vinegar else None, "closure": ""}
        for material, amount in amounts.items():
            if amount is None or rng.random() < .015:
                continue  # not used, or nobody wrote it down
            active = ""
            if material == "inhibitor" and rng.random() < .7:
                active = f"{100 * c.active:.1f}"
            if amount != "":
                amount = round(amount, 2)
            unit = "" if amount == "" else "m" if material == "film" else "kg"
            supplier = SUPPLIERS[material] if rng.random() < .9 else ""
            rows.append((lot.code, material, lot.materials[material], amount, unit, active,
                         supplier))
    write_csv(folder, "uses.csv",
              "lot material material_lot amount unit active_pct supplier".split(), rows)


def mix_readings(lot, rng):
    p, c, g = lot.product, lot.made, rng.gauss
    for n, (mix, at, flour) in enumerate(lot.mixes):
        weighed = at + minutes(4)
        if rng.random() > .03:
            kg = flour * c.inhibitor_pct / 100 * g(1, .012)
            yield "inhibitor_kg", round(kg, 3), weighed, mix, "scale", ""
        if p.vinegar:
            yield "acid_kg", round(flour * .006 * g(1, .01), 3), weighed, mix, "scale", ""
        if rng.random() > .08:
            yield "dough_temp_c", round(26.5 + g(0, .5), 1), at + minutes(14), mix, "mixer", ""
        if n % 3 == 0 and rng.random() > .2:
            yield "dough_ph", round(c.ph - .1 + g(0, .05), 2), at + minutes(16), mix, "mixer", ""


def lab_readings(lot, rng):
    """What the laboratory finds on a pack of the lot: only some lots are sampled."""
    p, c, g = lot.product, lot.made, rng.gauss
    at = lot.packed_to + minutes(rng.randint(120, 420))
    ppm = c.inhibitor_pct * c.active * .7956 / 150 * 1e6
    if p.vinegar:
        yield "acid_grain", round(c.acid_grain * g(1, .01)), lot.made_from, "", "drum", ""
    for quantity, chance, value, digits in (
            ("crumb_ph", .45, c.ph + g(0, .03), 2), ("crumb_aw", .3, p.aw + .004 *
             (c.moisture_pct - p.moisture_pct) + g(0, .003), 3),
            ("crumb_moisture_pct", .4, c.moisture_pct + g(0, .2), 1),
            ("propionate_ppm", .12, ppm * g(1, .03), 0),
            ("aerobic_spores_cfu_g", .12, 10 ** (c.rope_log10 + g(0, .15)), 0)):
        if rng.random() < chance:
            yield quantity, round(value, digits), at, "", "lab", ""
    if rng.random() < .17 and lot.day < LAST:
        yield retained_sample(lot, rng)


def retained_sample(lot, rng):
    p, c = lot.product, lot.made
    sooner = (USUAL_SPORES / c.spores) ** .06  # the first of many spores
    days = days_to_mold(c, p, SHELF_C) * math.exp(rng.gauss(0, .1)) * sooner
    so_far = (local(LAST, 960) - lot.packed_to) / timedelta(days=1)
    watched = min(p.shelf_days + 4, so_far)
    note = "" if days <= watched else "none yet"
    days = max(1, int(min(days, watched)))
    return "mold_free_days", days, min(lot.packed_to + timedelta(days=days),
                                       local(LAST, 960)), "", "retained", note


def core_series(lot, rng):
    """One probed loaf: up through the bake, down through the cooler, every few minutes."""
    c, start = lot.made, lot.packed_from - minutes(lot.made.cool_min + lot.made.bake_min)
    steps = max(4, round(c.bake_min / 2))
    for k in range(steps + 1):
        x = k / steps
        value = 34 + (c.core_end_c - 34) / (1 + math.exp(-9 * (x - .5))) / .989
        yield round(value + rng.gauss(0, .3), 1), start + minutes(c.bake_min * x), "oven"
    fall = math.log((c.core_end_c - c.cooler_air_c) / max(1, c.core_pack_c - c.cooler_air_c))
    for k in range(1, 11):
        value = c.cooler_air_c + (c.core_end_c - c.cooler_air_c) * math.exp(-fall * k / 10)
        at = start + minutes(c.bake_min + c.cool_min * k / 10)
        yield round(value + rng.gauss(0, .3), 1), at, "cooler"


def fahrenheit(c):
    return f"{c * 1.8 + 32:.1f}"


def packing_row(lot, rng):
    p, c, g = lot.product, lot.made, rng.gauss
    slow = home_c(lot.day) - SHELF_C
    values = (
        f"{c.inhibitor_pct * g(1, .008):.4f}", f"{c.softener_pct * g(1, .01):.3f}",
        f"{water_pct(p) + g(0, .4):.1f}", f"{25 + g(0, 1.5):.0f}", f"{62 + g(0, 1.5):.0f}",
        f"{c.bake_min + g(0, .1):.1f}", fahrenheit(c.core_end_c + g(0, .4)),
        f"{c.cool_min + g(0, 1):.0f}", fahrenheit(c.cooler_air_c + g(0, .4)),
        f"{80 + g(0, 2.5):.0f}", fahrenheit(c.core_pack_c + .6 + g(0, .4)),
        fahrenheit(c.core_pack_c + g(0, .4)), f"{max(0.05, c.seal_fail_pct + g(0, .1)):.2f}",
        f"{rng.expovariate(1 / 6):.0f}", f"{21 + .6 * slow + g(0, .5):.1f}",
        f"{50 + 3 * slow + g(0, 3):.0f}")
    return (lot.code, *("" if rng.random() < .07 else v for v in values))


PACKING_HEADER = ("lot", "inhibitor_pct_flour", "softener_pct_flour", "water_pct_flour",
                  "ferment_min", "proof_min", "bake_min", "core_end_bake [degF]", "cool_min",
                  "cooler_air [degF]", "cooler_rh_pct", "core_at_slicing [degF]",
                  "core_at_pack [degF]", "seal_fail_pct", "line_stop_min", "pack_room_c",
                  "pack_room_rh_pct")


def write_readings(folder, lots, seed):
    rng = random.Random(f"{seed}/readings")
    long_rows, core_rows, wide_rows = [], [], []
    for lot in lots:
        for kind in (mix_readings, lab_readings):
            for quantity, value, at, mix, point, note in kind(lot, rng):
                if at > RECORDS_END:
                    continue
                long_rows.append((lot.code, quantity, value, stamp(at), mix, point, note))
        wide_rows.append(packing_row(lot, rng))
        if rng.random() < .12:
            core_rows += [(lot.code, "core_temp_c", value, stamp(at), point)
                          for value, at, point in core_series(lot, rng)]
    write_csv(folder, "readings.csv", "lot quantity value at mix point note".split(), long_rows)
    write_csv(folder, "readings_packing.csv", PACKING_HEADER, wide_rows)
    write_csv(folder, "readings_core.csv", "lot quantity value at point".split(), core_rows)


def retailer_of(store):
    return RETAILERS[int(store) % len(RETAILERS)] if store else ""


def write_dispatch(folder, lots):
    header = "lot route at units store transit_c retailer".split()
    rows = [(x.code, route, stamp(at), units, store, transit_c, retailer_of(store)) for x in lots
            for route, at, stores, transit_c in x.sent for store, units in stores.items()]
    part = -(-len(rows) // 4)
    for k in range(4):
        write_csv(folder, f"dispatch_{k + 1}.csv", header, rows[k * part:(k + 1) * part])
