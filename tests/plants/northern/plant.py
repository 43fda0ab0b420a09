"""A bakery in a cold country: a fresh sourdough line, a large chain baked, frozen and thawed, rolls under gas."""
import dataclasses
import datetime
import math

from strangers import ZONE, Lot, Sent


@dataclasses.dataclass(frozen=True)
class Product:
    code: str
    name: str
    family: str
    line: str
    shelf_days: int                     # from packing, or from thawing
    unit_g: int
    vinegar_pct: float                  # acetic acid of vinegar, of flour
    cultured_pct: float                 # propionic acid of cultured wheat, of flour
    water_pct: float
    ph: float
    aw: float
    moisture_pct: float
    air_in: float = 0.0                 # below 0: under gas, what oxygen is left slows mold so much


PRODUCTS = (
    Product("N110", "Tindvik sourdough rye", "pan-bread", "1", 7, 750, .18, 0, 68, 4.60, .952, 41.0),
    Product("N120", "Tindvik wheat sourdough", "pan-bread", "1", 6, 650, .20, 0, 64, 4.90, .954, 40.0),
    Product("N210", "Haukli white, thawed", "pan-bread", "2", 8, 600, .08, .17, 61, 5.15, .950, 38.5),
    Product("N220", "Haukli oat, thawed", "pan-bread", "2", 8, 700, .08, .18, 63, 5.20, .952, 39.5),
    Product("N230", "Haukli burger buns 6", "bun", "2", 9, 360, .06, .17, 56, 5.20, .935, 34.0),
    Product("N310", "Stille rolls under gas", "bun", "3", 32, 480, .06, .08, 55, 5.30, .940, 35.0, -.90))
SHIFTS = {"A": 5, "B": 13, "C": 21}
ROUTES = tuple(f"D{k}" for k in range(1, 7))
STORES = {r: [f"{r[1]}{k:02d}" for k in range(1, 7)] for r in ROUTES}
LASTS = {"flour": (3, 5), "inhibitor": (12, 20), "acid": (14, 24), "softener": (12, 20), "yeast": (4, 7), "fat": (10, 16),
         "film": (4, 8), "closure": (12, 20)}
SUPPLIERS = {"flour": ("Granmark mill", "Sundelv mill"), "film": ("Fjordplast", "Nordfoil"), "fat": ("Raps & Co",)}


class Larder:
    """Which lot of a material is in use; film and closures line by line."""

    def __init__(self, rng):
        self.rng, self.until, self.lot, self.count = rng, {}, {}, 0

    def now(self, material, line, day):
        key = (material, line if material in ("film", "closure") else "")
        if key not in self.until or day > self.until[key]:
            self.count += 1
            self.until[key] = day + datetime.timedelta(days=self.rng.randint(*LASTS[material]) - 1)
            self.lot[key] = f"{material[:3].upper()}-{day.year % 10}{self.count:04d}"
        return self.lot[key]


def hall_c(day):
    return 21 + 2 * math.sin(2 * math.pi * (day.timetuple().tm_yday - 110) / 365)


def values_of(rng, p):
    g = rng.gauss
    return {"acetic_pct": p.vinegar_pct * g(1, .025), "propionic_pct": p.cultured_pct * g(1, .025),
            "water_pct_flour": p.water_pct + g(0, .5), "crumb_ph": p.ph + g(0, .05), "dough_ph": p.ph + .15 + g(0, .05),
            "crumb_aw": p.aw + g(0, .002), "crumb_moisture_pct": p.moisture_pct + g(0, .35),
            "core_at_pack_c": 31 + g(0, 1.2), "core_at_slicing_c": 32.5 + g(0, 1.2),
            "cool_min": 105 + g(0, 6), "cooler_air_c": 21 + g(0, .8), "cooler_rh_pct": 76 + g(0, 3), "dough_temp_c": 26 + g(0, .5),
            "ferment_min": (240 if p.line == "1" else 80) + g(0, 8), "proof_min": 62 + g(0, 3), "bake_min": 31 + g(0, .5),
            "core_end_bake_c": 97 + g(0, .5), "rise_min": 6.5 + g(0, .4), "seal_fail_pct": max(.05, g(.5, .2)),
            "softener": g(1, .03), "window": 1.0, "rope_spores": .002, "air_in": p.air_in + g(0, .01),
            "load": rng.gammavariate(4, .25)}


def send(rng, lot):
    """Three depots, and from each four stores; what is frozen leaves when it is thawed."""
    at = lot.packed_to + datetime.timedelta(days=lot.frozen_days, hours=rng.uniform(4, 10))
    for depot in rng.sample(ROUTES, 3):
        for store in rng.sample(STORES[depot], 4):
            lot.sent.append(Sent(depot, store, at, lot.units // 12, 18 + rng.gauss(0, 1)))


def make_lots(rng, start, days):
    larder, lots = Larder(rng), []
    for day in (start + datetime.timedelta(days=d) for d in range(days)):
        for line in "123":
            for shift, hour in SHIFTS.items():
                if shift == "C" and line != "2" or day.weekday() == 6 and line != "1":
                    continue
                lots.append(make_lot(rng, larder, day, line, shift, hour))
    return lots


def make_lot(rng, larder, day, line, shift, hour):
    product = rng.choice([p for p in PRODUCTS if p.line == line])
    made = datetime.datetime.combine(day, datetime.time(hour, rng.randrange(50)), ZONE)
    packed = made + datetime.timedelta(minutes=455 if line == "1" else 295)
    plain = values_of(rng, product)
    frozen = rng.randint(3, 11) if line == "2" else 0
    code = f"L{line} {packed.year % 10}{packed.timetuple().tm_yday:03d} {shift}{packed:%H%M}"
    mixes = [f"{line}{day:%y%m%d}{shift}{k}" for k in (1, 2, 3)]
    lot = Lot(code, product, line, shift, made, packed, packed + datetime.timedelta(hours=6), rng.randint(14, 24) * 1000,
              packed.date() + datetime.timedelta(days=frozen + product.shelf_days), plain, dict(plain), {},
              {m: larder.now(m, line, day) for m in LASTS}, mixes, frozen_days=frozen)
    send(rng, lot)
    return lot
