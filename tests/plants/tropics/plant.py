"""A bakery in a hot and humid place: three small lines, cooling in the open hall, its own trucks."""
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
    shelf_days: int
    unit_g: int
    propionate_pct: float               # calcium propionate, of flour
    sorbate_pct: float                  # potassium sorbate, of flour
    ph: float
    aw: float
    moisture_pct: float


PRODUCTS = (
    Product("PB1", "Alba white pan", "pan-bread", "1", 8, 560, .36, 0, 5.25, .949, 38.0),
    Product("PB2", "Alba grain pan", "pan-bread", "1", 8, 600, .38, 0, 5.30, .951, 39.0),
    Product("TO1", "Nueve Soles tortillas 10", "flatbread", "2", 20, 400, .30, .22, 5.20, .920, 33.0),
    Product("TO2", "Nueve Soles tortillas 20", "flatbread", "2", 20, 800, .30, .22, 5.20, .920, 33.0),
    Product("SB1", "Canelita sweet buns", "bun", "3", 12, 330, .22, .15, 5.35, .905, 30.0),
    Product("SB2", "Rosca filled ring", "sweet-good", "3", 14, 420, .15, .20, 5.40, .880, 27.0))
SHIFTS = {"A": 5, "B": 15}
ROUTES = {"R1": "port", "R2": "hill", "R3": "market", "R4": "river", "R5": "coast"}
STORES = {r: [f"{r[1]}{k:02d}" for k in range(1, 5)] for r in ROUTES}
LASTS = {"flour": (4, 7), "inhibitor": (16, 30), "softener": (20, 30), "yeast": (4, 8), "fat": (9, 15), "film": (6, 11),
         "closure": (18, 30)}
SUPPLIERS = {"flour": ("Molino Azul", "Molino Tres Ceibas"), "film": ("Plastinova",), "fat": ("Oleos del Llano",)}


class Climate:
    """Wet from May to October; hot before it."""

    def __init__(self, rng):
        self.rng = rng
        self.noise = {}

    def wet(self, day):
        return .5 + .5 * math.sin(2 * math.pi * (day.timetuple().tm_yday - 120) / 365)

    def hall_c(self, day):
        if day not in self.noise:
            self.noise[day] = self.rng.gauss(0, 1.1)
        return 29 + 1.8 * math.sin(2 * math.pi * (day.timetuple().tm_yday - 30) / 365) + self.noise[day]

    def rh_pct(self, day):
        return 64 + 22 * self.wet(day)


class Larder:
    """Which lot of a material is in use, line by line for film, else for the plant."""

    def __init__(self, rng, start):
        self.rng, self.start, self.until, self.lot, self.count = rng, start, {}, {}, 0

    def now(self, material, line, day):
        key = (material, line if material == "film" else "")
        if key not in self.until or day > self.until[key]:
            low, high = LASTS[material]
            self.count += 1
            self.until[key] = day + datetime.timedelta(days=self.rng.randint(low, high) - 1)
            self.lot[key] = f"{material[:2].upper()}{self.count:04d}"
        return self.lot[key]


def values_of(rng, p, climate, day):
    hall = climate.hall_c(day)
    g = rng.gauss
    return {"propionate_pct": p.propionate_pct * g(1, .03), "sorbate_pct": p.sorbate_pct * g(1, .03), "active": g(.985, .006),
            "crumb_ph": p.ph + g(0, .06), "crumb_aw": p.aw + g(0, .003), "crumb_moisture_pct": p.moisture_pct + g(0, .5),
            "core_at_pack_c": min(43.0, 35.5 + .45 * (hall - 28) + g(0, 1.2)), "cool_min": 100 + g(0, 8),
            "dough_temp_c": 28 + .3 * (hall - 28) + g(0, .8), "ferment_min": 95 + g(0, 6), "proof_min": 58 + g(0, 4),
            "bake_min": 24 + g(0, .6), "core_end_bake_c": 96.5 + g(0, .7), "seal_fail_pct": max(.1, g(.9, .35)),
            "softener": g(1, .04), "window": 1.0, "rope_spores": .004, "line_stop_min": 0.0, "air_in": 0.0,
            "load": rng.gammavariate(4, .25)}


def send(rng, lot):
    """Two to four trucks; corner shops are not named."""
    routes = rng.sample(list(ROUTES), rng.randint(2, 4))
    at = lot.packed_to + datetime.timedelta(hours=rng.uniform(6, 14))
    for route in routes:
        stores = rng.sample(STORES[route], 3)
        units = lot.units // len(routes)
        for store in [*stores, ""]:
            lot.sent.append(Sent(route, store, at, units // 4, 31 + rng.gauss(0, 1.5)))


def make_lots(rng, climate, start, days):
    larder, lots = Larder(rng, start), []
    for day in (start + datetime.timedelta(days=d) for d in range(days)):
        if day.weekday() == 6:
            continue
        for line in "123":
            for shift, hour in SHIFTS.items():
                lots.append(make_lot(rng, climate, larder, day, line, shift, hour))
    return lots


def make_lot(rng, climate, larder, day, line, shift, hour):
    product = rng.choice([p for p in PRODUCTS if p.line == line])
    made = datetime.datetime.combine(day, datetime.time(hour, rng.randrange(40)), ZONE)
    packed = made + datetime.timedelta(hours=4.75)
    plain = values_of(rng, product, climate, day)
    if rng.random() < .03 + .06 * climate.wet(day):
        plain["line_stop_min"] = rng.uniform(10, 70)        # the mains fail, the generator starts
    code = f"M{line}{day.timetuple().tm_yday:03d}{day.year % 10}{shift}"
    lot = Lot(code, product, line, shift, made, packed, packed + datetime.timedelta(hours=4), rng.randint(11, 19) * 1000,
              day + datetime.timedelta(days=product.shelf_days), plain, dict(plain), {},
              {m: larder.now(m, line, day) for m in LASTS}, [f"{code}-{k}" for k in (1, 2, 3)])
    send(rng, lot)
    return lot
