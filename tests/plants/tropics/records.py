"""What this plant writes down: weights on paper, few temperatures, swabs once a fortnight, the laboratory rarely."""
import datetime

from plant import PRODUCTS, SUPPLIERS
from strangers import ZONE, stamp

WRITTEN = {"core_at_pack_c": .5, "cool_min": .45, "dough_temp_c": .6, "ferment_min": .3, "proof_min": .5, "bake_min": .4,
           "core_end_bake_c": .3, "seal_fail_pct": .25, "crumb_ph": .12, "crumb_moisture_pct": .10, "crumb_aw": .03}
DIGITS = {"crumb_ph": 2, "crumb_aw": 3, "seal_fail_pct": 1}
OF_DOUGH = {"dough_temp_c", "ferment_min", "proof_min", "bake_min", "core_end_bake_c"}
# colonies in a fortnight with nothing wrong: (place, per line, quantity, count)
PLATES = (("cooler-air", True, "settle_plate_cfu", 6), ("slicer", True, "swab_cfu", 8), ("bagger", True, "swab_cfu", 6),
          ("hands", True, "swab_cfu", 7), ("cooler-belt", True, "swab_cfu", 9), ("ingredient-store", False, "settle_plate_cfu", 14),
          ("returns-dock", False, "settle_plate_cfu", 18))


def write(rng, files, climate, lots, troubles, start, days):
    for p in PRODUCTS:
        files.add("products", product=p.code, name=p.name, family=p.family, shelf_life_days=p.shelf_days, unit_g=p.unit_g)
        files.add("targets", product=p.code, quantity="core_at_pack_c", target=36, high=40)
        files.add("targets", product=p.code, quantity="crumb_ph", target=p.ph, low=p.ph - .2, high=p.ph + .2)
        files.add("targets", product=p.code, quantity="inhibitor_pct_flour", target=p.propionate_pct)
        files.add("targets", product=p.code, quantity="potassium_sorbate_pct_flour", target=p.sorbate_pct)
    for lot in lots:
        of_lot(rng, files, climate, lot)
    for day in range(days):
        hygiene(rng, files, climate, troubles, start + datetime.timedelta(days=day), day)


def of_lot(rng, files, climate, lot):
    p = lot.product
    files.add("lots", lot=lot.code, product=p.code, line=lot.line, made_from=stamp(lot.made),
              made_to=stamp(lot.made + datetime.timedelta(hours=3)), packed_from=stamp(lot.packed), packed_to=stamp(lot.packed_to),
              units=lot.units, code_date=lot.code_date.isoformat(), shift=lot.shift)
    flour_kg = round(lot.units * p.unit_g / 1000 / 1.5 / 3)
    for k, mix in enumerate(lot.mixes):
        files.add("mixes", mix=mix, lot=lot.code, at=stamp(lot.made + datetime.timedelta(minutes=55 * k)), flour_kg=flour_kg)
    materials(rng, files, lot, flour_kg)
    for name, share in WRITTEN.items():
        if rng.random() < share:
            value = lot.written.get(name, lot.values[name])
            at = lot.made + datetime.timedelta(hours=2) if name in OF_DOUGH else lot.packed
            files.add("readings", lot=lot.code, quantity=name, value=round(value, DIGITS.get(name, 0)), at=stamp(at))
    if lot.values["line_stop_min"] > 0 and rng.random() < .8:
        files.add("readings", lot=lot.code, quantity="line_stop_min", value=round(lot.values["line_stop_min"]),
            at=stamp(lot.packed))
    for quantity, value in (("pack_room_c", climate.hall_c(lot.day)), ("pack_room_rh_pct", climate.rh_pct(lot.day))):
        if lot.shift == "A" and rng.random() < .7:
            files.add("readings", lot=lot.code, quantity=quantity, value=round(value + rng.gauss(0, 1)), at=stamp(lot.packed))
    laboratory(rng, files, lot)
    for s in lot.sent:
        files.add("dispatch", lot=lot.code, route=s.route, store=s.store, at=stamp(s.at), units=s.units,
                  transit_c=round(s.transit_c) if rng.random() < .1 else "")


def materials(rng, files, lot, flour_kg):
    p = lot.product
    for name, kind in (("propionate_pct", "calcium-propionate"), ("sorbate_pct", "potassium-sorbate")):
        if getattr(p, name):
            paper = lot.written.get(name, lot.values[name])
            for mix in lot.mixes:
                kg = round(flour_kg * paper / 100 * rng.gauss(1, .01), 2) if rng.random() < .75 else ""
                files.add("uses", lot=lot.code, material="inhibitor", mix=mix, amount=kg, unit="kg" if kg else "", kind=kind,
                          material_lot=lot.material["inhibitor"] + kind[0].upper(), applied="dough",
                          active_pct=round(100 * lot.values["active"]) if rng.random() < .04 else "")
    for material in ("flour", "softener", "yeast", "fat", "film", "closure"):
        if rng.random() < .9:
            amount = round(3 * flour_kg * .004 * lot.values["softener"], 2) if material == "softener" else ""
            of = SUPPLIERS.get(material, ("",))
            code = lot.material[material]
            files.add("uses", lot=lot.code, material=material, material_lot=code, amount=amount, unit="kg" if amount else "",
                      supplier=of[int(code[2:]) % len(of)])


def laboratory(rng, files, lot):
    """One shelf sample in eight; an assay of propionate is a rare thing."""
    if rng.random() < .02:
        ppm = lot.values["propionate_pct"] * lot.values["active"] * .7956 / 1.5 * 1e4 * rng.gauss(1, .06)
        files.add("readings", lot=lot.code, quantity="propionate_ppm", value=round(ppm), at=stamp(lot.packed_to))
    if rng.random() < .02:
        spores = rng.lognormvariate(2.5, .8) * (60 if lot.values["rope_spores"] > 1 else 1)
        files.add("readings", lot=lot.code, quantity="aerobic_spores_cfu_g", value=round(spores), at=stamp(lot.packed_to))


def level(troubles, place, line, day):
    return max([t.spores for t in troubles if t.place == place and t.on(day) and (not line or line in t.lines)], default=1.0)


def hygiene(rng, files, climate, troubles, day, n):
    at = datetime.datetime.combine(day, datetime.time(11, 30), ZONE)
    if day.weekday() == 6:
        return
    if n % 14 == 3:
        for place, by_line, quantity, usual in PLATES:
            for line in "123" if by_line else ("",):
                found = usual * (1 + climate.wet(day)) / 1.5 * rng.lognormvariate(0, .7) * level(troubles, place, line, day) ** .6
                files.add("plantlog", at=stamp(at), place=place, quantity=quantity, value=min(300, round(found)), line=line)
    stacked = any(t.kind == "returns_near" and t.on(day) for t in troubles) or rng.random() < .12
    if stacked and rng.random() < .6:
        files.add("plantlog", at=stamp(at), place="returns-dock", quantity="returns_staged", value=1)
    for line in "123":
        drips = level(troubles, "cooler-air", line, day) > 1
        if rng.random() < (.5 if drips else .03 + .10 * climate.wet(day)):
            files.add("plantlog", at=stamp(at), place="cooler-air", quantity="condensation_seen", value=1, line=line)
        for place in ("slicer", "bagger", "cooler-belt"):
            missed = rng.random() < (.45 if level(troubles, place, line, day) > 1 else .05)
            if day.weekday() in (1, 4) and rng.random() < .7:
                files.add("plantlog", at=stamp(at), place=place, quantity="cleaned", value=0 if missed else 1, line=line)
