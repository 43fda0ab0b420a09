"""Faults to plant: each changes the truth of some lots, places or routes, and leaves what traces it leaves.

A builder returns a Trouble or None when this plant cannot have it. Sizes are drawn so that affected lots
have several to some dozens of times the usual complaints (common practice, no source).
"""
from dataclasses import dataclass, field

import numpy as np

from planting import dealt, in_stores

from .spoilage import FLORA, PLACE_CAUSE, Source
from .world import PLACES_BY_LINE


@dataclass
class Trouble:
    number: int
    cause: str
    lots: list = field(default_factory=list)
    places: list = field(default_factory=list)
    note: str = ""
    causes: dict = field(default_factory=dict)      # symptom -> cause id
    sold: tuple = ()                                # a route and some stores of it, none for all


class Planner:
    def __init__(self, world, lots, hygiene, spoilage):
        self.w, self.lots, self.hygiene, self.spoilage = world, lots, hygiene, spoilage
        self.rng = world.rng
        self.troubles = []

    # ---- choosing ----
    def plan(self):
        rng = self.rng
        names = list(BUILDERS)
        weights = np.array([1.3 if n.startswith("contamination") else 1.0 for n in names])
        wanted = int(rng.integers(9, 15) * self.w.days / 112)
        order = list(rng.choice(names, size=len(names), replace=False, p=weights / weights.sum()))
        if self.w.days > 150:
            order += list(rng.choice(names, size=len(names), replace=False, p=weights / weights.sum()))
        if rng.random() < .4:                         # a fault that comes back
            order.insert(int(rng.integers(1, 6)), order[0])
        for name in dealt(order, self.w.seed):
            if len(self.troubles) >= wanted:
                break
            trouble = Trouble(len(self.troubles), name)
            for _ in range(4):
                if BUILDERS[name](self, trouble):
                    self.troubles.append(trouble)
                    break
                for lot in self.lots:                 # nothing may stay of a failed attempt
                    lot.changes = [c for c in lot.changes if c[0] != trouble.number]
                    lot.extra = [s for s in lot.extra if s.trouble != trouble.number]
                trouble.lots.clear()
        return self.troubles

    def run(self, length, line=None, product=None, want=None):
        """Consecutive lots of one line from a random hour on."""
        rng = self.rng
        mine = [x for x in self.lots if (line is None or x.line == line) and (product is None or x.product is product)
                and (want is None or want(x)) and 12 * 1440 < x.packed < (self.w.days - 9) * 1440]
        if len(mine) < 2:
            return []
        first = int(rng.integers(0, max(1, len(mine) - 3)))
        stop = mine[first].packed + 12 * 1440
        return [x for x in mine[first:first + length] if x.packed < stop]

    def any_line(self):
        return str(self.rng.choice(self.w.lines))

    def goal(self):
        return float(np.exp(self.rng.uniform(np.log(3), np.log(50))))

    def factor(self, low=8, high=50):
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    # ---- faults of the recipe and the oven, for mold ----
    def change_lots(self, trouble, lots, change, symptom="mold", keep_going=True):
        """Applies changes lot by lot until enough complaints are to be expected."""
        goal, total = self.goal(), 0.0
        ratios = []
        for lot in lots:
            made = change(lot) if callable(change) else change
            before = lot.state()
            lot.changes.append((trouble.number, made))
            after = lot.state()
            flora = FLORA["cooler-air"]
            m0 = self.spoilage.spores[lot.product.code]
            if symptom == "mold":
                was = self.spoilage.mold_rate(lot, before, flora, m0)
                now = self.spoilage.mold_rate(lot, after, flora, m0)
            else:
                was = self.spoilage.stale_rate(lot, before)
                now = self.spoilage.stale_rate(lot, after)
            ratios.append((now + 1e-9) / (was + 1e-9))
            total += (now - was) * lot.units
            trouble.lots.append(lot)
            if keep_going and total > goal and len(trouble.lots) >= 2:
                break
        return float(np.median(ratios)) if ratios else 0, total

    def physical(self, trouble, lots, change, symptom="mold"):
        ratio, total = self.change_lots(trouble, lots, change, symptom)
        return 3.0 < ratio < 90 and 0.7 < total < 80

    # ---- faults that add complaints of their own ----
    def add(self, trouble, lots, symptom, cause, how, ages, low=8, high=60, rows=None, change=None):
        goal, total = self.goal(), 0.0
        k = self.factor(low, high)
        for lot in lots:
            if change:
                lot.changes.append((trouble.number, change(lot) if callable(change) else change))
            part = rows(lot) if rows else lot.dispatch
            units = sum(r["units"] for r in part)
            expected = units * self.w.rate[symptom] * k * self.rng.lognormal(0, .25)
            lot.extra.append(Source(symptom, cause, expected, trouble.number, how, ages=ages(lot),
                                    routes=part if rows else []))
            total += expected
            trouble.lots.append(lot)
            if total > goal and len(trouble.lots) >= 2:
                break
        return total > 0.7


def lerp(rng, low, high):
    return float(rng.uniform(low, high))


# ---------------------------------------------------------------- mold

def inhibitor_underdosed(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "inhibitor-underdosed"}
    ratio = lerp(rng, 0.0, 0.62)
    written = rng.random() < .75           # the scale's record shows it
    line = t.any_line() if rng.random() < .7 else None
    trouble.note = f"dose x {ratio:.2f}, {'weighed and recorded' if written else 'feeder blocked, recorded as set'}"

    def change(lot):
        for mix in lot.mixes:
            mix.dose_factor = 1.0 if written else 1 / max(ratio, .02)
        return {"dose_ratio": ("x", max(.02, ratio * rng.lognormal(0, .05))),
                "written_dose": ("=", 0.0 if written else 1.0)}
    return t.physical(trouble, t.run(24, line), change)


def inhibitor_ineffective_ph(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "inhibitor-ineffective-ph"}
    line = t.any_line()
    shift = lerp(rng, .3, .85)
    if rng.random() < .5:
        trouble.note = "acid left out"
        acid = lerp(rng, 0, .4)
        change = {"acid_ratio": ("x", acid), "ph_shift": ("+", max(0, shift - .45 * (1 - acid)))}
    else:
        trouble.note = "flour or water buffers"
        change = {"ph_shift": ("+", shift)}
    return t.physical(trouble, t.run(24, line), change)


def inhibitor_spent(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "inhibitor-spent"}
    active = lerp(rng, .1, .6)
    start = lerp(rng, 40, t.w.days - 15) * 1440
    old = [m for m in t.w.materials["inhibitor"] if m.from_min < start - 30 * 1440]
    if not old:
        return False
    stock = old[int(rng.integers(0, len(old)))]
    assayed = rng.random() < .5
    lots = [x for x in t.lots if start <= x.packed < start + 10 * 1440]
    if rng.random() < .6:
        line = t.any_line()
        lots = [x for x in lots if x.line == line]

    def change(lot):
        lot.materials = dict(lot.materials, inhibitor=stock)
        return {"active": ("x", active), "assayed": ("=", 1.0 if assayed else 0.0)}
    before = {id(x): x.materials for x in lots}
    good = t.physical(trouble, lots, change)
    if not good:
        for x in lots:
            x.materials = before[id(x)]
    trouble.note = f"active x {active:.2f}, old stock {stock.name}"
    return good


def packed_hot(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "packed-hot"}
    line = t.any_line()
    if rng.random() < .5:
        cool = lerp(rng, .42, .72)
        change = {"cool_ratio": ("x", cool)}
    else:
        change = {"cooler_c": ("+", lerp(rng, 6, 13)), "cool_ratio": ("x", lerp(rng, .8, 1.0))}
    return t.physical(trouble, t.run(20, line), change)


def underbaked(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "underbaked", "staling": "underbaked-gummy"}
    short, oven = lerp(rng, .72, .9), lerp(rng, -6, -1)
    change = {"bake_ratio": ("x", short), "oven_c": ("+", oven), "water": ("+", lerp(rng, 0, 2.5))}
    return t.physical(trouble, t.run(24, t.any_line()), change)


def contamination(place):
    def build(t, trouble):
        rng = t.rng
        trouble.causes = {"mold": PLACE_CAUSE[place], "off-odor": "mold-hidden"}
        line = t.any_line() if place in PLACES_BY_LINE else None
        if line and place == "cooler-air" and t.w.shared_cooler:
            line = None
        lots = t.run(40, line)
        if not lots:
            return False
        film = None
        if place == "film-store":
            product = lots[0].product
            film = lots[0].materials["film"]
            lots = [x for x in t.lots if x.materials["film"] is film and x.product is product][:40]
        if place == "hands":
            shift = str(rng.choice(["A", "B", "C"]))
            lots = [x for x in t.lots if x.line == line and x.shift == shift
                    and lots[0].packed <= x.packed < lots[0].packed + 9 * 1440]
        if len(lots) < 2:
            return False
        k, goal, total = t.factor(8, 50), t.goal(), 0.0
        strain = rng.dirichlet(np.array(FLORA[place]) * 2.5)
        flora = tuple(.8 * strain + .2 * np.array(FLORA[place]))
        for lot in lots:
            m0 = t.spoilage.spores[lot.product.code]
            spores = m0 * (k - 1) * rng.lognormal(0, .35)
            expected = lot.units * t.spoilage.mold_rate(lot, lot.state(), flora, spores)
            lot.extra.append(Source("mold", trouble.causes["mold"], expected, trouble.number,
                                    "plain", place, flora, t.spoilage.mold_ages(lot, lot.state(), flora)))
            if rng.random() < .5:
                lot.extra.append(Source("off-odor", "mold-hidden", expected * .06, trouble.number, "mold-hidden",
                                        ages=t.spoilage.odor_ages(lot, lot.product.shelf * .6)))
            total += expected
            trouble.lots.append(lot)
            if total > goal and len(trouble.lots) >= 3:
                break
        if total < .7:
            return False
        trace_place(t, trouble, place, line, film)
        return True
    return build


def trace_place(t, trouble, place, line, film):
    """What the place itself shows."""
    rng, h = t.rng, t.hygiene
    start, end = trouble.lots[0].packed - rng.uniform(60, 2000), trouble.lots[-1].packed_to + 60
    trouble.places = [place if not line else f"{place}/{line}"]
    line = line or ""
    fault = {"place": place, "line": line, "from": start, "to": end + rng.uniform(0, 1440),
             "factor": float(np.exp(rng.uniform(np.log(4), np.log(30))))}
    if rng.random() < .85:
        h.faults.append(fault)
    if place in ("cooler-belt", "slicer", "bagger") and rng.random() < .6:
        h.miss(place, line, start - 1440, end)
        trouble.note = "cleaning missed"
    if place in ("ingredient-store", "film-store", "waste-area", "cooler-air") and rng.random() < .45:
        h.miss(place, line, start - 5 * 1440, end)
    w = t.w
    for key, chance in (("filter", .5 * (place == "cooler-air")), ("pressure", .45 * (place == "cooler-air")),
                        ("condensation", .35 * (place in ("cooler-air", "film-store", "cooler-belt"))),
                        ("staged", .8 * (place == "returns-dock")), ("door", .5 * (place in ("returns-dock", "waste-area", "ingredient-store"))),
                        ("waste", .7 * (place == "waste-area"))):
        if rng.random() < chance:
            w.signs.append({"sign": key, "place": place, "line": line, "from": start, "to": end})
    if film is not None:
        film.fault["dirty"] = True


def pack_leak(cause):
    dry = cause == "pack-leak-dry"

    def build(t, trouble):
        rng = t.rng
        trouble.causes = {"mold": "pack-leak", "staling": "pack-leak-dry"}
        line = t.any_line()
        lots = t.run(24, line)
        if len(lots) < 2:
            return False
        fails = lerp(rng, 3, 22)
        k, goal, total = t.factor(8, 50), t.goal(), 0.0
        for lot in lots:
            lot.changes.append((trouble.number, {"seal_fail": ("+", fails * rng.lognormal(0, .2))}))
            flora = FLORA["hands"]
            base = t.w.rate["mold"] * k * lot.units
            mold = base * (.25 if dry else .85) * rng.lognormal(0, .25)
            stale = base * (.8 if dry else .15) * rng.lognormal(0, .25)
            s = lot.state()
            lot.extra.append(Source("mold", "pack-leak", mold, trouble.number, "pack-leak", "bagger", flora,
                                    t.spoilage.mold_ages(lot, s, flora, 1.1)))
            lot.extra.append(Source("staling", "pack-leak-dry", stale, trouble.number, "pack-leak-dry",
                                    ages=t.spoilage.stale_ages(lot, s, drier=5)))
            total += stale if dry else mold
            trouble.lots.append(lot)
            if total > goal and len(trouble.lots) >= 2:
                break
        return total > .7
    return build


def along_route(t, trouble, days):
    """One route, or one store, for a stretch of days: the lots and which rows of theirs went that way."""
    rng = t.rng
    route = str(rng.choice(list(t.w.routes)))
    store = None
    if in_stores(rng.random() < .45):
        store = str(rng.choice(t.w.routes[route]))
    trouble.sold = (route, [store] if store else [])
    start = lerp(rng, 14, t.w.days - 12) * 1440
    end = start + days * 1440

    def rows(lot):
        found = []
        for r in lot.dispatch:
            if r["route"] != route or not start <= r["at"] < end:
                continue
            if store is None:
                found.append(r)
            elif store in r["stores"]:
                found.append(dict(r, stores=[store], units=max(1, r["units"] // len(r["stores"]))))
        return found
    lots = [x for x in t.lots if rows(x)]
    return route, store, lots, rows


def warm_storage(t, trouble):
    rng = t.rng
    trouble.causes = {"mold": "warm-storage"}
    route, store, lots, rows = along_route(t, trouble, rng.uniform(2, 9))
    if len(lots) < 2:
        return False
    speed = lerp(rng, 1.5, 2.3)

    def ages(lot):
        return t.spoilage.mold_ages(lot, lot.state(), FLORA["cooler-air"], speed)
    if store is None:
        for lot in lots:
            for r in lot.dispatch:
                if r["route"] == route and r in rows(lot):
                    r["transit_c"] += lerp(rng, 9, 16)
    trouble.note = f"warm {'store ' + store if store else 'truck ' + route}"
    scale = len(t.w.routes) ** .5
    return t.add(trouble, lots, "mold", "warm-storage", "warm-storage", ages, 8 * scale, 60 * scale, rows)


def late_ages(t, lot, moldy):
    shelf = lot.product.shelf

    def draw(rng, n):
        age = shelf + rng.uniform(0.3, 9, n)
        kept = rng.choice(["counter", "fridge", "warm"], n, p=[.85, .08, .07])
        opened = age - rng.gamma(1.5, .8, n)
        if moldy:
            return age, opened, kept, list(rng.choice(["blue-green", "black", "white-fluffy", "yellow"], n, p=[.6, .2, .1, .1]))
        return age, opened, kept
    return draw


def old_stock(symptom, cause):
    def build(t, trouble):
        rng = t.rng
        trouble.causes = {symptom: cause}
        route, store, lots, rows = along_route(t, trouble, rng.uniform(4, 16))
        if len(lots) < 2:
            return False
        trouble.note = f"not rotated at {store or route}"
        scale = len(t.w.routes) ** .5 * (2 if store else 1)
        return t.add(trouble, lots, symptom, cause, cause if symptom == "staling" else "plain",
                     lambda lot: late_ages(t, lot, symptom == "mold"), 8 * scale, 60 * scale, rows)
    return build


# ---------------------------------------------------------------- off-odor

def odor(cause, change, mean=3.0, length=16, low=8, high=60, material=None, note=""):
    def build(t, trouble):
        trouble.causes = {"off-odor": cause}
        lots = t.run(length, t.any_line())
        if len(lots) < 2:
            return False
        made = change(t, lots) if change else None
        if made is False:
            return False
        if material:
            lots = made.pop("_lots")
            if len(lots) < 2:
                return False
        trouble.note = note
        return t.add(trouble, lots, "off-odor", cause, cause, lambda lot: t.spoilage.odor_ages(lot, mean), low, high,
                     change=made)
    return build


def too_much_inhibitor(t, lots):
    return {"dose_ratio": ("x", lerp(t.rng, 1.5, 3.2))}


def too_much_acid(t, lots):
    return {"acid_ratio": ("x", lerp(t.rng, 1.7, 3.5)), "ph_shift": ("+", lerp(t.rng, 0, .35))}


def fermented_long(t, lots):
    return {"ferment_ratio": ("x", lerp(t.rng, 1.5, 3.0)), "dough_c": ("+", lerp(t.rng, .5, 4.5)),
            "proof_ratio": ("x", lerp(t.rng, 1.0, 1.5))}


def shared_material(material, key):
    def change(t, lots):
        stock = lots[0].materials[material]
        stock.fault[key] = True
        return {"_lots": [x for x in t.lots if x.materials[material] is stock and
                          (material != "film" or x.product is lots[0].product)][:24]}
    return change


def fat_old(t, lots):
    made = shared_material("fat", "rancid")(t, lots)
    if t.rng.random() < .5:        # stock that stood long: the delivery before was used first and this one returned to
        early = [m for m in t.w.materials["fat"] if m.from_min < lots[0].packed - 25 * 1440]
        if early:
            stock = early[int(t.rng.integers(0, len(early)))]
            some = made["_lots"]
            for lot in some:
                lot.materials = dict(lot.materials, fat=stock)
    return made


def rope_build(symptom, cause):
    def build(t, trouble):
        rng = t.rng
        trouble.causes = {"off-odor": "rope", "staling": "rope-crumb"}
        warm = [x for x in t.lots if x.inputs["out_c"] > 15]
        first = t.run(30, want=lambda x: x.inputs["out_c"] > 14) if len(warm) > 30 else t.run(30)
        if len(first) < 2:
            return False
        stock = first[0].materials["flour"]
        line = first[0].line if rng.random() < .5 else None
        lots = [x for x in t.lots if x.materials["flour"] is stock and (line is None or x.line == line)][:24]
        if len(lots) < 2:
            return False
        factor = lerp(rng, 15, 400)
        weak = {"ph_shift": ("+", lerp(rng, .1, .4))} if rng.random() < .35 else {}
        k, goal, total = t.factor(8, 60), t.goal(), 0.0
        for lot in lots:
            lot.changes.append((trouble.number, {"spores": ("x", factor), **weak}))
            base = lot.units * t.w.rate["off-odor"] * k * rng.lognormal(0, .3)
            parts = {"off-odor": base * (.8 if symptom == "off-odor" else .2),
                     "staling": base * (.8 if symptom == "staling" else .2)}
            for sym, cid, how in (("off-odor", "rope", "rope"), ("staling", "rope-crumb", "rope-crumb")):
                lot.extra.append(Source(sym, cid, parts[sym], trouble.number, how,
                                        ages=t.spoilage.odor_ages(lot, 3.0, 5.0)))
            total += parts[symptom]
            trouble.lots.append(lot)
            if total > goal and len(trouble.lots) >= 2:
                break
        return total > .7
    return build


def wild_yeast(t, trouble):
    rng = t.rng
    trouble.causes = {"off-odor": "wild-yeast"}
    line = t.any_line()
    lots = t.run(16, line)
    if len(lots) < 2:
        return False
    place = str(rng.choice(["slicer", "cooler-belt", "bagger"]))
    change = {"cool_ratio": ("x", lerp(rng, .65, .95))} if rng.random() < .5 else None
    good = t.add(trouble, lots, "off-odor", "wild-yeast", "wild-yeast", lambda lot: t.spoilage.odor_ages(lot, 4.5), change=change)
    if good and rng.random() < .7:
        trace_place(t, trouble, place, line, None)
    return good


def cleaning_residue(t, trouble):
    rng = t.rng
    trouble.causes = {"off-odor": "cleaning-residue"}
    line = t.any_line()
    place = str(rng.choice(["slicer", "cooler-belt", "bagger"]))
    days = t.run(30, line)
    if len(days) < 2:
        return False
    # the first lots after each of one to three cleanings
    starts = days[:: max(1, len(days) // int(rng.integers(1, 4)))][:3]
    lots = []
    for first in starts:
        t.hygiene.clean(place, line, first.packed - rng.uniform(20, 90))
        after = [x for x in t.lots if x.line == line and 0 <= x.packed - first.packed < 300]
        lots += after[:2]
    trouble.places = [f"{place}/{line}"]
    return t.add(trouble, lots, "off-odor", "cleaning-residue", "cleaning-residue",
                 lambda lot: t.spoilage.odor_ages(lot, 2.0), 12, 90)


def inhibitor_broken_down(t, trouble):
    trouble.causes = {"off-odor": "inhibitor-broken-down"}
    some = [p for p in t.w.products if p.sorbate]
    if not some:
        return False
    lots = t.run(20, product=some[int(t.rng.integers(0, len(some)))])
    if len(lots) < 2:
        return False
    good = t.add(trouble, lots, "off-odor", "inhibitor-broken-down", "inhibitor-broken-down",
                 lambda lot: t.spoilage.odor_ages(lot, .6 * lot.product.shelf))
    if good and t.rng.random() < .7:
        trace_place(t, trouble, str(t.rng.choice(["slicer", "cooler-air", "bagger"])), lots[0].line, None)
    return good


def mold_hidden(t, trouble):
    trouble.causes = {"off-odor": "mold-hidden", "mold": "contamination-cooler-belt"}
    line = t.any_line()
    lots = t.run(20, line)
    if len(lots) < 2:
        return False
    place = str(t.rng.choice(["cooler-belt", "slicer", "bagger", "cooler-air"]))
    trouble.causes["mold"] = PLACE_CAUSE[place]
    good = t.add(trouble, lots, "off-odor", "mold-hidden", "mold-hidden",
                 lambda lot: t.spoilage.odor_ages(lot, .65 * lot.product.shelf))
    if good:
        trace_place(t, trouble, place, line, None)
        for lot in trouble.lots:
            spores = t.spoilage.spores[lot.product.code] * 4
            rate = t.spoilage.mold_rate(lot, lot.state(), FLORA[place], spores)
            lot.extra.append(Source("mold", trouble.causes["mold"], rate * lot.units, trouble.number, "plain", place,
                                    FLORA[place], t.spoilage.mold_ages(lot, lot.state(), FLORA[place])))
    return good


# ---------------------------------------------------------------- staling

def stale(cause, change, how=None):
    def build(t, trouble):
        trouble.causes = {"staling": cause}
        lots = t.run(20, t.any_line())
        if len(lots) < 2:
            return False
        made = change(t.rng)
        return t.physical(trouble, lots, made, "staling")
    return build


def gummy(cause, change, mean=2.4, also=None):
    def build(t, trouble):
        trouble.causes = {"staling": cause, **(also or {})}
        lots = t.run(20, t.any_line())
        return len(lots) >= 2 and t.add(trouble, lots, "staling", cause, cause,
                                        lambda lot: t.spoilage.odor_ages(lot, mean), change=change(t.rng))
    return build


def softener_missing(rng):
    written = rng.random() < .7
    return {"softener_ratio": ("x", lerp(rng, 0, .6)), "written_soft": ("=", 0.0 if written else 1.0)}


def cold_storage(t, trouble):
    rng = t.rng
    trouble.causes = {"staling": "cold-storage"}
    route, store, lots, rows = along_route(t, trouble, rng.uniform(3, 12))
    if len(lots) < 2:
        return False
    if store is None:
        for lot in lots:
            for r in lot.dispatch:
                if r["route"] == route and r in rows(lot):
                    r["transit_c"] = lerp(rng, 1, 6)
    trouble.note = f"cold {'store ' + store if store else 'truck ' + route}"
    scale = len(t.w.routes) ** .5

    def ages(lot):
        return t.spoilage.stale_ages(lot, lot.state(), stale_boost=1.3, extra_days=1.5)
    return t.add(trouble, lots, "staling", "cold-storage", "cold-storage", ages, 8 * scale, 60 * scale, rows)


BUILDERS = {
    "inhibitor-underdosed": inhibitor_underdosed, "inhibitor-ineffective-ph": inhibitor_ineffective_ph,
    "inhibitor-spent": inhibitor_spent, "packed-hot": packed_hot, "underbaked": underbaked,
    **{PLACE_CAUSE[p]: contamination(p) for p in PLACE_CAUSE},
    "pack-leak": pack_leak("pack-leak"), "warm-storage": warm_storage, "old-stock": old_stock("mold", "old-stock"),
    "inhibitor-overdosed": odor("inhibitor-overdosed", too_much_inhibitor),
    "acid-overdosed": odor("acid-overdosed", too_much_acid),
    "over-fermented": odor("over-fermented", fermented_long),
    "rope": rope_build("off-odor", "rope"), "wild-yeast": wild_yeast,
    "fat-rancid": odor("fat-rancid", fat_old, 4.5, material="fat"),
    "pack-taint": odor("pack-taint", shared_material("film", "taint"), 2.5, material="film"),
    "cleaning-residue": cleaning_residue, "inhibitor-broken-down": inhibitor_broken_down, "mold-hidden": mold_hidden,
    "softener-underdosed": stale("softener-underdosed", softener_missing),
    "softener-overdosed": gummy("softener-overdosed", lambda rng: {"softener_ratio": ("x", lerp(rng, 1.6, 3.2))}),
    "enzyme-window-missed": stale("enzyme-window-missed", lambda rng: {
        "soft_work": ("x", lerp(rng, .15, .6)), "heat_rate": ("x", lerp(rng, 1.35, 1.9)), "bake_ratio": ("x", lerp(rng, .93, 1.0)),
        "oven_c": ("+", lerp(rng, 0, 1.5))}),
    "overbaked": stale("overbaked", lambda rng: {"bake_ratio": ("x", lerp(rng, 1.15, 1.45)), "oven_c": ("+", lerp(rng, .5, 3))}),
    "underbaked-gummy": gummy("underbaked-gummy", lambda rng: {
        "bake_ratio": ("x", lerp(rng, .72, .88)), "oven_c": ("+", lerp(rng, -6, -2))}, also={"mold": "underbaked"}),
    "overcooled-dry": stale("overcooled-dry", lambda rng: {
        "cool_ratio": ("x", lerp(rng, 1.7, 3.2)), "cooler_rh": ("+", lerp(rng, -35, -5))}),
    "pack-leak-dry": pack_leak("pack-leak-dry"), "cold-storage": cold_storage,
    "old-stock-stale": old_stock("staling", "old-stock-stale"), "rope-crumb": rope_build("staling", "rope-crumb"),
}
