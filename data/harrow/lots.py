"""Lots: when they were made, of which deliveries, and under which conditions."""
import math
import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from .plant import (FIRST, LAST, LOT_EVERY_MIN, MATERIALS, PACK_START_MIN, PLAN, PRODUCTS,
                    SHOWN_LOT, Product, local, minutes)

USUAL_SPORES = .0065  # mold spores a pack that find a place to grow


@dataclass(frozen=True)
class Conditions:
    inhibitor_pct: float
    active: float  # active share of the inhibitor, against a fresh one
    ph: float
    acid_grain: float
    moisture_pct: float
    bake_min: float
    core_end_c: float
    cool_min: float
    cooler_air_c: float
    core_pack_c: float
    softener_pct: float
    spores: float  # mold spores a pack that reach the bread
    rope_log10: float  # rope-forming spores, log10 CFU/g of crumb
    rancid: float  # 0 fresh fat .. 5 plainly rancid
    seal_fail_pct: float


@dataclass
class Lot:
    code: str
    product: Product
    line: str
    shift: str
    day: date
    slot: int
    packed_from: datetime
    packed_to: datetime
    units: int
    made_from: datetime
    made_to: datetime
    materials: dict
    usual: Conditions
    mixes: list = field(default_factory=list)  # (id, at, flour_kg)
    sent: list = field(default_factory=list)  # (route, at, {store: units}, transit_c)
    troubles: list = field(default_factory=list)
    made: Conditions = None  # usual, changed by the troubles


def material_lots(day, rng):
    """The delivery of each material that a lot draws from; of two silos or rolls, either."""
    n = (day - FIRST).days
    drawn = {}
    for material, (prefix, lasts, beside) in MATERIALS.items():
        pick = rng.randrange(beside)
        serial = (n + pick * lasts // beside) // lasts * beside + pick
        came = FIRST + timedelta(days=serial // beside * lasts - 12)
        drawn[material] = f"{prefix}{came:%y%m}-{100 + serial}"
    return drawn


def usual_conditions(p, inhibitor_lot, rng):
    g = rng.gauss
    active = min(.996, random.Random(inhibitor_lot).gauss(.985, .005))  # as its certificate says
    return Conditions(
        inhibitor_pct=p.inhibitor_pct * g(1, .015), active=active, ph=p.ph + g(0, .05),
        acid_grain=200, moisture_pct=p.moisture_pct + g(0, .35), bake_min=p.bake_min + g(0, .25),
        core_end_c=p.core_end_c + g(0, .5), cool_min=p.cool_min + g(0, 2.5),
        cooler_air_c=22.5 + g(0, .8), core_pack_c=p.core_pack_c + g(0, 1.0),
        softener_pct=p.softener_pct * g(1, .02), spores=USUAL_SPORES * math.exp(g(0, .35)),
        rope_log10=g(1.4, .25), rancid=0.0, seal_fail_pct=max(.05, g(.4, .12)))


def lot_times(line, slot, product, day, rng):
    jitter = -4 if (day, line, slot) == SHOWN_LOT else rng.randint(-5, 12)
    start = PACK_START_MIN[line] + slot * LOT_EVERY_MIN + jitter
    packed_from = local(day, start)
    packed_to = packed_from + minutes(rng.randint(140, 158))
    before_pack = product.cool_min + product.bake_min + 62 + 25 + 14  # proof, floor time, mixing
    return start, packed_from, packed_to, packed_from - minutes(round(before_pack))


def make_lots(seed):
    lots, rng = [], random.Random(f"{seed}/lots")
    day = FIRST
    while day <= LAST:
        for line in "123":
            slots = 4 if day.weekday() == 5 else 7  # Saturday is for maintenance
            for slot in range(slots):
                product = PRODUCTS[PLAN[line][slot]]
                start, p0, p1, m0 = lot_times(line, slot, product, day, rng)
                shift = "A" if start < 240 or start >= 1200 else "B" if start < 720 else "C"
                code = f"L{line} {day.year % 10}{day:%j} {shift}{start // 60:02d}{start % 60:02d}"
                hours = (p1 - p0).total_seconds() / 3600
                materials = material_lots(day, rng)
                lots.append(Lot(
                    code, product, line, shift, day, slot, p0, p1,
                    int(hours * product.per_hour * rng.uniform(.93, 1.0)), m0,
                    p1 - minutes(product.cool_min), materials,
                    usual_conditions(product, materials["inhibitor"], rng)))
        day += timedelta(days=1)
    for lot in lots:
        flour = lot.units * lot.product.unit_g / 1000 / 1.50  # 150 g of bread from 100 g of flour
        count = max(4, round(flour / 560))
        for k in range(count):
            at = lot.made_from + (lot.packed_to - lot.packed_from) * k / count
            kg = round(flour / count * rng.gauss(1, .004), 1)
            lot.mixes.append((f"{lot.code.replace(' ', '-')}-M{k + 1}", at, kg))
    return lots


def code_date(lot):
    return lot.day + timedelta(days=lot.product.shelf_days)
