"""The lots of the period and the truth about each: what went in, how it was baked, cooled, packed."""
import datetime
from dataclasses import dataclass, field

import numpy as np

from .world import MATERIALS


@dataclass
class Mix:
    name: str
    minute: float
    flour_kg: float
    dose_factor: float = 1.0


@dataclass
class Lot:
    code: str
    product: object
    line: str
    shift: str
    made: float           # minutes since the start
    packed: float
    packed_to: float
    units: int
    code_date: datetime.date
    mixes: list
    materials: dict       # material -> MaterialLot
    inputs: dict          # the true settings before any fault
    changes: list = field(default_factory=list)    # (trouble number, {key: (how, value)})
    extra: list = field(default_factory=list)      # further sources of complaints, spoilage.Source
    dispatch: list = field(default_factory=list)   # dicts: route store at units transit_c
    lost: bool = False    # never written down

    def state(self, without=None, only=None):
        """True values after the faults (all, all but one, or only one)."""
        values = dict(self.inputs)
        for number, change in self.changes:
            if number == without or (only is not None and number != only):
                continue
            for key, (how, value) in change.items():
                if how == "x":
                    values[key] *= value
                elif how == "+":
                    values[key] += value
                else:
                    values[key] = value
        return derive(self.product, values)


def derive(p, v):
    """What follows from the settings: end of bake, cooling, moisture, pH."""
    s = dict(v)
    s["bake_min"] = p.bake * v["bake_ratio"]
    s["core_end"] = min(100.3, p.core_end + 16 * (v["bake_ratio"] - 1) + v["oven_c"])
    s["cool_min"] = p.cool * v["cool_ratio"]
    s["core_pack"] = v["cooler_c"] + (96 - v["cooler_c"]) * np.exp(-s["cool_min"] / p.tau)
    s["core_slice"] = s["core_pack"] + 0.8
    s["dose"] = p.dose * v["dose_ratio"]
    s["softener"] = p.softener * v["softener_ratio"]
    s["ph"] = (p.ph + v["ph_shift"] - 0.45 * (v["acid_ratio"] - 1)
               - 0.30 * np.log2(max(v["ferment_ratio"], .2)))
    dry_air = max(0.0, 60 - v["cooler_rh"]) / 20
    s["moisture"] = (p.moisture + 0.25 * (v["water"] - p.water) - 9 * (v["bake_ratio"] - 1) - 0.12 * v["oven_c"]
                     - (0.9 + 1.1 * dry_air) * max(0.0, v["cool_ratio"] - 1.15) * 2.0 - 0.5 * dry_air)
    s["aw"] = float(np.clip(0.952 + 0.0035 * (s["moisture"] - 37.5), 0.85, 0.985))
    # how wet film and crust get inside the bag: starts a few degrees above the usual
    s["wet"] = float(np.clip((s["core_pack"] - max(p.core_pack, 33) - 3.5) / 7, 0, 1.3))
    return s


def stamp_shift(minute):
    hour = (minute / 60) % 24
    return "A" if 6 <= hour < 14 else "B" if 14 <= hour < 22 else "C"


def make_lots(world):
    lots, seen = [], set()
    rng = world.rng
    mix_no = 1000
    stop_habit = rng.uniform(3, 15)
    for day in range(world.days):
        date = world.start + datetime.timedelta(days=day)
        if date.weekday() == world.rest_day:
            continue
        for line in world.lines:
            hours = rng.uniform(15, 21)
            t = day * 1440 + world.first_hour[line] * 60 + rng.uniform(0, 40)
            n = world.lots_a_day[line]
            order = rng.permutation(len(world.line_products[line]))
            for k in range(n):
                product = world.line_products[line][order[k * len(order) // n]]
                length = hours * 60 / n * rng.uniform(0.75, 1.1)
                lot = one_lot(world, product, line, t, length, mix_no, stop_habit)
                mix_no += len(lot.mixes)
                if lot.code not in seen:
                    seen.add(lot.code)
                    lots.append(lot)
                t += length + rng.uniform(5, 25)
    lots.sort(key=lambda lot: lot.packed)
    return lots


def one_lot(world, p, line, packed, length, mix_no, stop_habit):
    rng = world.rng
    packed = float(round(packed))
    when = datetime.datetime.combine(world.start, datetime.time()) + datetime.timedelta(minutes=packed)
    shift = stamp_shift(packed)
    code = f"L{line} {when.year % 10}{when.timetuple().tm_yday:03d} {shift}{when:%H%M}"
    units = int(world.units[line] * length / 240 * rng.uniform(0.85, 1.1))
    made = packed - (p.ferment + p.proof + p.bake + p.cool + 20)
    n_mix = int(np.clip(round(length / 45), 2, 5))
    flour = units * p.unit_g / 1000 / 1.55 / n_mix
    mixes = [Mix(f"M{mix_no + k}", made + k * length / n_mix, round(flour * rng.uniform(.97, 1.03), 1))
             for k in range(n_mix)]
    materials = {m: world.material_at(m, made, p.code) for m in MATERIALS}
    out = world.outside_c(packed / 1440) + 4 * np.sin(2 * np.pi * (packed / 1440 - 0.4))
    hall = 0.1 if world.cooled_hall else 0.3
    stop = float(rng.exponential(stop_habit))
    flour_lot = materials["flour"]
    flour_lot.fault.setdefault("_ph", float(rng.normal(0, .04)))
    flour_lot.fault.setdefault("_spores", float(rng.lognormal(np.log(20), .9)))
    inputs = {
        "dose_ratio": 1 + rng.normal(0, .025), "active": 1.0 + rng.normal(0, .01),
        "ph_shift": rng.normal(0, .05) + flour_lot.fault["_ph"], "acid_ratio": 1 + rng.normal(0, .04),
        "softener_ratio": 1 + rng.normal(0, .03), "soft_work": 1.0,
        "water": p.water + rng.normal(0, .5), "ferment_ratio": rng.lognormal(0, .06) + stop / 400,
        "proof_ratio": rng.lognormal(0, .05), "bake_ratio": 1 + rng.normal(0, .018), "oven_c": rng.normal(0, .35),
        "cool_ratio": 1 + rng.normal(0, .05) + stop / 500,
        "cooler_c": p.cooler_c + hall * (out - 16) * 0.6 + rng.normal(0, .7),
        "cooler_rh": float(np.clip(72 + 0.4 * (out - 12) + rng.normal(0, 5), 35, 97)),
        "dough_c": 26 + rng.normal(0, .7) + 0.05 * (out - 15),
        "room_c": 19 + 0.35 * (out - 12) * (0.4 if world.cooled_hall else 1) + rng.normal(0, 1),
        "room_rh": float(np.clip(58 + rng.normal(0, 7), 25, 95)), "stop_min": stop,
        "seal_fail": float(rng.gamma(2.0, .2)), "spores": flour_lot.fault["_spores"] * rng.lognormal(0, .3),
        "heat_rate": 1.0 + rng.normal(0, .03), "out_c": out,
    }
    lot = Lot(code, p, line, shift, made, packed, packed + length, units,
              when.date() + datetime.timedelta(days=p.shelf), mixes, materials, inputs)
    lot.lost = rng.random() < world.lots_lost
    lot.dispatch = send_out(world, lot, out)
    return lot


def send_out(world, lot, out):
    rng = world.rng
    names = list(world.routes)
    weights = np.array([world.route_weight[r] for r in names])
    count = int(min(len(names), rng.integers(2, 6)))
    chosen = rng.choice(names, size=count, replace=False, p=weights / weights.sum())
    share = rng.dirichlet(np.full(count, 3.0))
    rows = []
    for route, part in zip(chosen, share):
        leave = lot.packed_to + rng.uniform(120, 900)
        stores = world.routes[route]
        if not world.store_level:
            rows.append({"route": route, "store": None, "stores": stores, "at": leave,
                         "units": int(lot.units * part), "transit_c": 14 + 0.5 * (out - 10) + rng.normal(0, 1.5)})
            continue
        some = rng.choice(stores, size=min(len(stores), int(rng.integers(1, 4))), replace=False)
        for store, piece in zip(some, rng.dirichlet(np.full(len(some), 4.0))):
            rows.append({"route": route, "store": store, "stores": [store], "at": leave + rng.uniform(0, 90),
                         "units": max(1, int(lot.units * part * piece)),
                         "transit_c": 14 + 0.5 * (out - 10) + rng.normal(0, 1.5)})
    return rows
