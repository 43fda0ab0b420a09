"""What this plant writes down: every lot measured, every place swabbed twice a week, every pallet's temperature."""
import datetime

from plant import PRODUCTS, STORES, SUPPLIERS, hall_c
from strangers import ZONE, stamp

DIGITS = {"water_pct_flour": 1, "crumb_ph": 2, "dough_ph": 2, "crumb_aw": 3, "crumb_moisture_pct": 1, "core_at_pack_c": 1,
          "core_at_slicing_c": 1, "cool_min": 0, "cooler_air_c": 1, "cooler_rh_pct": 0, "dough_temp_c": 1, "ferment_min": 0,
          "proof_min": 0, "bake_min": 1, "core_end_bake_c": 1, "seal_fail_pct": 2}
OF_DOUGH = {"water_pct_flour", "dough_temp_c", "dough_ph", "ferment_min", "proof_min"}
# (place, quantity, usual value with nothing wrong)
SWABS = (("slicer", "swab_cfu", 4), ("slicer", "atp_rlu", 60), ("cooler-belt", "swab_cfu", 5), ("cooler-belt", "atp_rlu", 80),
         ("cooler-air", "settle_plate_cfu", 3), ("cooler-air", "air_cfu_m3", 70), ("bagger", "swab_cfu", 3),
         ("hands", "swab_cfu", 4), ("film-store", "settle_plate_cfu", 3))
CULTURED_STRENGTH = .10                 # propionic acid in the powder
VINEGAR_STRENGTH = .12
CLEANED = ("slicer", "cooler-belt", "bagger")
# quantity -> (target, how far off is still in order)
TARGETS = {"core_at_pack_c": (31, 4), "bake_min": (31, 1.5), "cool_min": (105, 20), "core_end_bake_c": (97, 2),
           "softener_pct_flour": (.5, .05)}


def write(rng, files, lots, troubles, start, days):
    for p in PRODUCTS:
        files.add("products", product=p.code, name=p.name, family=p.family, shelf_life_days=p.shelf_days, unit_g=p.unit_g)
        targets = TARGETS | {"crumb_ph": (p.ph, .15), "crumb_moisture_pct": (p.moisture_pct, 1.5), "crumb_aw": (p.aw, .008),
                             "water_pct_flour": (p.water_pct, 2),
                             "vinegar_pct_flour": (round(p.vinegar_pct / VINEGAR_STRENGTH, 2), .1),
                             "cultured_wheat_pct_flour": (round(p.cultured_pct / CULTURED_STRENGTH, 2), .1 if p.cultured_pct else 0)}
        for quantity, (target, off) in targets.items():
            low, high = round(target - off, 3), round(target + off, 3)
            files.add("targets", product=p.code, quantity=quantity, target=target, low=low, high=high)
    elsewhere = [t for t in troubles if t.stores]
    for lot in lots:
        of_lot(rng, files, lot, elsewhere)
    for day in range(days):
        hygiene(rng, files, troubles, start + datetime.timedelta(days=day))


def of_lot(rng, files, lot, elsewhere):
    p = lot.product
    files.add("lots", lot=lot.code, product=p.code, line=lot.line, made_from=stamp(lot.made),
              made_to=stamp(lot.made + datetime.timedelta(hours=4)), packed_from=stamp(lot.packed), packed_to=stamp(lot.packed_to),
              units=lot.units, code_date=lot.code_date.isoformat(), shift=lot.shift)
    materials(rng, files, lot)
    for name, digits in DIGITS.items():
        if rng.random() < .96:
            at = lot.made + datetime.timedelta(minutes=20) if name in OF_DOUGH else lot.packed
            value = round(lot.written.get(name, lot.values[name]), digits)
            files.add("readings", lot=lot.code, quantity=name, value=value, at=stamp(at))
    files.add("readings", lot=lot.code, quantity="acid_grain", value=1000 * VINEGAR_STRENGTH, at=stamp(lot.made))
    softener = .5 * lot.written.get("softener", lot.values["softener"])
    files.add("readings", lot=lot.code, quantity="softener_pct_flour", value=round(softener, 3), at=stamp(lot.made))
    for quantity, value in (("pack_room_c", hall_c(lot.day)), ("pack_room_rh_pct", 55)):
        files.add("readings", lot=lot.code, quantity=quantity, value=round(value + rng.gauss(0, .7), 1), at=stamp(lot.packed))
    core_series(rng, files, lot)
    retained(rng, files, lot)
    for s in lot.sent:
        files.add("dispatch", lot=lot.code, route=s.route, store=s.store, at=stamp(s.at), units=s.units,
                  transit_c=round(transit(rng, lot, s, elsewhere), 1))


def transit(rng, lot, sent, troubles):
    """Loggers ride with the pallets to the depot's door: they show a depot's hall, not a store's back room."""
    for t in troubles:
        if sent.store in t.stores and t.on(lot.day) and set(t.stores) >= set(STORES[sent.route]):
            if t.chain.get("cold_days"):
                return t.chain["cold_c"] + rng.gauss(0, .5)
            return t.chain["store_c"] + rng.gauss(0, .8)
    return sent.transit_c


def materials(rng, files, lot):
    p = lot.product
    flour_kg = round(lot.units * p.unit_g / 1000 / 1.5 / 3)
    for k, mix in enumerate(lot.mixes):
        files.add("mixes", mix=mix, lot=lot.code, at=stamp(lot.made + datetime.timedelta(minutes=75 * k)), flour_kg=flour_kg)
        vinegar = round(flour_kg * lot.values["acetic_pct"] / 100 / VINEGAR_STRENGTH * rng.gauss(1, .005), 2)
        files.add("uses", lot=lot.code, material="acid", material_lot=lot.material["acid"], amount=vinegar,
                  unit="kg", mix=mix, kind="vinegar", applied="dough")
        if p.cultured_pct:
            cultured = flour_kg * lot.values["propionic_pct"] / 100 / CULTURED_STRENGTH
            files.add("uses", lot=lot.code, material="inhibitor", material_lot=lot.material["inhibitor"],
                      amount=round(cultured * rng.gauss(1, .005), 2), unit="kg", mix=mix, kind="cultured-wheat", applied="dough",
                      active_pct=100 * CULTURED_STRENGTH)
    for material in ("flour", "softener", "yeast", "fat", "film", "closure"):
        of = SUPPLIERS.get(material, ("",))
        code = lot.material[material]
        files.add("uses", lot=lot.code, material=material, material_lot=code, supplier=of[int(code[-1]) % len(of)])


def core_series(rng, files, lot):
    """A probe in one loaf a lot: minutes in the oven, degC."""
    rise = lot.values["rise_min"]
    end = lot.values["core_end_bake_c"]
    steps = ((2, 34), (12, 58), (14, 65), (14 + rise / 2, 75), (14 + rise, 85), (16 + rise, 92), (16 + rise + 5, end))
    for minute, temp_c in steps:
        at = lot.made + datetime.timedelta(minutes=lot.plain["ferment_min"] + 65 + minute)
        files.add("readings", lot=lot.code, quantity="core_temp_c", value=round(temp_c + rng.gauss(0, .3), 1), at=stamp(at))


def retained(rng, files, lot):
    """A sample of every fourth lot stands in the cupboard at 20 degC until it is moldy, or three weeks."""
    if rng.random() < .25 and lot.product.air_in == 0:
        days = lot.product.shelf_days * 1.6 * rng.lognormvariate(0, .2)
        for name in ("acetic_pct", "propionic_pct"):
            if lot.plain[name] > 0:
                days *= (.6 + .4 * min(1.2, lot.values[name] / lot.plain[name])) ** .6
        days *= 10 ** (-.25 * (lot.values["crumb_ph"] - lot.plain["crumb_ph"]))
        at = lot.packed_to + datetime.timedelta(days=days)
        files.add("readings", lot=lot.code, quantity="mold_free_days", value=round(days), at=stamp(at), note="first mold seen")


def level(troubles, place, line, day, lots_of):
    hit = [t.spores for t in troubles if t.place == place and t.on(day) and
           (line in t.lines if t.lines else lots_of(t) == line)]
    return max(hit, default=1.0)


def line_of(trouble):
    """The line of the film lot: its codes tell."""
    return trouble.lots[0][1] if trouble.lots else ""


def hygiene(rng, files, troubles, day):
    at = datetime.datetime.combine(day, datetime.time(12, 15), ZONE)
    for line in "123":
        for place, quantity, usual in SWABS:
            if day.weekday() in (1, 4):
                found = usual * rng.lognormvariate(0, .5) * level(troubles, place, line, day, line_of) ** .55
                files.add("plantlog", at=stamp(at), place=place, quantity=quantity, value=min(900, round(found)), line=line)
        for place in CLEANED:
            missed = rng.random() < (.35 if level(troubles, place, line, day, line_of) > 1 else .03)
            files.add("plantlog", at=stamp(at), place=place, quantity="cleaned", value=0 if missed else 1, line=line)
        if day.weekday() == 0:
            past = level(troubles, "cooler-air", line, day, line_of) > 1
            files.add("plantlog", at=stamp(at), place="cooler-air", quantity="pressure_pa", line=line,
                      value=round((7 if past else 16) + rng.gauss(0, 1.5), 1))
            if not past and rng.random() < .3:
                files.add("plantlog", at=stamp(at), place="cooler-air", quantity="filter_changed", value=1, line=line)
