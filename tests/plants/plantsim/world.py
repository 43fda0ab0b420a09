"""The invented plant of one seed: lines, products, places, materials, routes, habits.

Every number here is the simulator's own choice (common practice and the literature named in
spoilage.py), drawn anew for each seed so that no two plants are alike.
"""
import datetime
from dataclasses import dataclass, field

import numpy as np

PLACES_BY_LINE = ("cooler-air", "cooler-belt", "slicer", "bagger", "hands")
PLACES_SHARED = ("film-store", "returns-dock", "ingredient-store", "waste-area")
PLACES = PLACES_BY_LINE + PLACES_SHARED
MATERIALS = ("flour", "inhibitor", "softener", "acid", "yeast", "fat", "film", "closure")

FIRST = ("Brook", "Orchard", "Stone", "Valley", "Amber", "Copper", "Meadow", "Tall", "Old", "River")
SECOND = ("Field", "Hearth", "Lane", "Gate", "Grain", "Oven", "Bridge", "Barn")
KINDS = {
    "pan-bread": ("White Loaf", "Wheat Loaf", "Oat Loaf", "Seeded Loaf", "Rye Loaf"),
    "bun": ("Burger Bun 8", "Hot Dog Bun 8", "Dinner Roll 12"),
    "flatbread": ("Soft Flatbread 6", "Wrap 8"),
    "sweet-good": ("Raisin Bun 6", "Milk Brioche"),
}


@dataclass
class Product:
    code: str
    name: str
    family: str
    shelf: int          # days from packing to the code date
    unit_g: int
    dose: float         # inhibitor, % of flour
    sorbate: bool       # inhibitor is potassium sorbate rather than calcium propionate
    ph: float
    softener: float     # % of flour
    acid: float         # vinegar, kg per 100 kg of flour
    fat: float
    water: float
    ferment: float      # min
    proof: float
    bake: float
    core_end: float     # °C
    cool: float         # min
    tau: float          # cooling time constant, min
    cooler_c: float
    core_pack: float
    moisture: float     # %
    gtin: str = ""


@dataclass
class MaterialLot:
    name: str
    material: str
    supplier: str
    active_pct: float
    from_min: float     # minutes since the start
    product: str = ""   # film only
    # what is wrong with it, if anything
    fault: dict = field(default_factory=dict)


def draw_product(rng, n, family):
    big = family == "pan-bread"
    shelf = {"pan-bread": rng.integers(7, 14), "bun": rng.integers(7, 13),
             "flatbread": rng.integers(9, 20), "sweet-good": rng.integers(7, 15)}[family]
    cool = rng.uniform(70, 115) if big else rng.uniform(25, 50)
    cooler_c = rng.uniform(20, 25)
    core_pack = rng.uniform(31, 37) if big else rng.uniform(27, 33)
    tau = cool / np.log((96 - cooler_c) / (core_pack - cooler_c))
    word = f"{rng.choice(FIRST)} {rng.choice(SECOND)}"
    return Product(
        code=f"{rng.choice(list('BKPRTW'))}{n + 1}{rng.integers(0, 10)}",
        name=f"{word} {rng.choice(KINDS[family])}", family=family, shelf=int(shelf),
        unit_g=int(rng.choice([500, 570, 680, 750, 800]) if big else rng.choice([300, 400, 480])),
        dose=round(rng.uniform(0.22, 0.40), 2), sorbate=False,
        ph=round(rng.uniform(5.05, 5.5), 2), softener=round(rng.uniform(0.25, 0.8), 2),
        acid=round(rng.uniform(0.5, 1.8), 2), fat=round(rng.uniform(1.5, 6), 1),
        water=round(rng.uniform(56, 66), 1), ferment=float(rng.integers(40, 240)),
        proof=float(rng.integers(45, 75)),
        bake=float(rng.integers(20, 34)) if big else float(rng.integers(8, 15)),
        core_end=round(rng.uniform(95, 98.5), 1), cool=round(cool), tau=tau,
        cooler_c=round(cooler_c, 1), core_pack=round(core_pack, 1),
        moisture=round(rng.uniform(35.5, 39.5), 1), gtin="")


class World:
    """Everything about the plant that holds for the whole period."""

    def __init__(self, seed, days=None, start=None):
        self.seed = seed
        self.rng = rng = np.random.default_rng([20261, seed])
        self.days = 7 * int(rng.integers(15, 18))
        self.start = datetime.date(int(rng.choice([2024, 2025, 2026])), 1, 1) + \
            datetime.timedelta(days=int(rng.integers(0, 230)))
        self.days, self.start = days or self.days, start or self.start
        self.signs = []            # what housekeeping will note of a fault
        self.lines = [str(n + 1) for n in range(int(rng.choice([1, 2, 2, 3])))]
        self._products()
        self.lots_a_day = {line: int(rng.integers(3, 6 if len(self.lines) == 3 else 7))
                           for line in self.lines}
        self.units = {line: float(rng.lognormal(np.log(13000), .45)) for line in self.lines}
        self.rest_day = int(rng.choice([-1, 5, 6]))
        self.first_hour = {line: float(rng.uniform(0, 6)) for line in self.lines}
        self._climate()
        self._trade()
        self._hygiene()
        self._habits()
        self.materials = {m: [] for m in MATERIALS}
        self._materials()

    def _products(self):
        rng = self.rng
        families = list(KINDS)
        self.products, self.line_products = [], {}
        n = 0
        for line in self.lines:
            main = families[rng.choice(4, p=[0.55, 0.2, 0.12, 0.13])]
            mine = []
            for _ in range(int(rng.integers(2, 4))):
                family = main if rng.random() < 0.7 else families[rng.integers(0, 4)]
                product = draw_product(rng, n, family)
                product.sorbate = family in ("flatbread", "sweet-good") and rng.random() < 0.6
                mine.append(product)
                n += 1
            self.products += mine
            self.line_products[line] = mine
        # somebody in the trade uses sorbate: makes the faults of sorbate possible in most plants
        if not any(p.sorbate for p in self.products) and rng.random() < 0.6:
            self.products[-1].sorbate = True
        for p in self.products:
            if p.sorbate:
                p.dose = round(rng.uniform(0.12, 0.25), 2)

    def _climate(self):
        rng = self.rng
        self.mean_out = rng.uniform(9, 17)
        self.swing_out = rng.uniform(8, 13)
        self.cooled_hall = rng.random() < 0.4

    def outside_c(self, day):
        doy = (self.start + datetime.timedelta(days=float(day))).timetuple().tm_yday
        return self.mean_out - self.swing_out * np.cos(2 * np.pi * (doy - 20) / 365.25)

    def _trade(self):
        rng = self.rng
        self.routes = {}
        store = 100
        for r in range(int(rng.integers(4, 9))):
            name = f"R{r + 1:02d}"
            self.routes[name] = [f"{store + k:04d}" for k in range(int(rng.integers(3, 9)))]
            store += 20
        self.route_weight = dict(zip(self.routes, rng.dirichlet(np.full(len(self.routes), 4.0))))
        self.store_level = rng.random() < 0.5

    def _hygiene(self):
        rng = self.rng
        self.shared_cooler = len(self.lines) > 1 and rng.random() < 0.3
        self.clean_days = {p: float(rng.choice([1, 1, 2, 3, 7])) for p in PLACES}
        for p in ("cooler-air", "film-store", "ingredient-store"):
            self.clean_days[p] = float(rng.choice([7, 7, 14]))
        self.place_share = dict(zip(PLACES, rng.dirichlet(
            np.array([3, 2, 3, 2, 1.5, 0.8, 0.8, 1, 0.8]))))
        self.plate_scale = {p: float(rng.lognormal(np.log(6), 0.5)) for p in PLACES}
        self.swab_scale = {p: float(rng.lognormal(np.log(8), 0.6)) for p in PLACES}

    def _habits(self):
        """What this plant writes down, how often and how well."""
        rng = self.rng
        care = rng.uniform(0.55, 1.0)

        def share(low, high):
            return float(np.clip(rng.uniform(low, high) * care, 0, 0.98))

        self.recorded = {
            "inhibitor_kg": share(.7, 1.1), "inhibitor_pct_flour": share(.4, 1), "acid_kg": share(.4, 1),
            "acid_grain": share(.1, .5), "softener_pct_flour": share(.6, 1.1), "water_pct_flour": share(.6, 1),
            "dough_temp_c": share(.6, 1), "dough_ph": share(.1, .6), "ferment_min": share(.5, 1.1),
            "proof_min": share(.5, 1.1), "bake_min": share(.6, 1.1), "core_end_bake_c": share(.6, 1.1),
            "core_temp_c": share(0, .25), "cool_min": share(.4, 1), "cooler_air_c": share(.4, 1),
            "cooler_rh_pct": share(.3, .9), "core_at_slicing_c": share(.3, .8), "core_at_pack_c": share(.7, 1.1),
            "crumb_ph": share(.5, 1.1), "crumb_aw": share(.1, .6), "crumb_moisture_pct": share(.4, 1),
            "propionate_ppm": share(.02, .2), "aerobic_spores_cfu_g": share(.02, .25), "seal_fail_pct": share(.4, 1),
            "line_stop_min": share(.5, 1), "pack_room_c": share(.4, 1), "pack_room_rh_pct": share(.4, 1),
            "mold_free_days": share(.05, .4), "uses": share(.85, 1.2), "active_pct": share(0, .9),
            "transit_c": share(.1, .9), "cleaned": share(.8, 1.1), "missed": share(.4, .9), "store": share(.6, 1),
            "targets": share(.8, 1.2),
        }
        self.sample_days = {p: float(rng.choice([2, 4, 7, 7, 14])) / max(care, .5) for p in PLACES}
        self.no_plates = {p for p in PLACES if rng.random() < 0.18}
        self.noise = float(rng.uniform(0.6, 1.6))
        self.typo = float(rng.uniform(0.001, 0.006))
        self.drift = {q: float(rng.normal(0, s)) for q, s in
                      (("core_at_pack_c", 1.0), ("crumb_ph", 0.07), ("core_end_bake_c", 0.6),
                       ("crumb_aw", 0.003), ("cooler_air_c", 0.6))}
        self.lots_lost = float(rng.uniform(0.0, 0.025))
        self.lot_text_good = float(rng.uniform(0.68, 0.85))
        self.wrong_words = float(rng.uniform(0.05, 0.15))
        self.vague = float(rng.uniform(0.2, 0.5))      # share of what could be told that is not
        self.tell = float(rng.uniform(0.01, 0.05))     # share of spoiled packs somebody reports
        self.rate = {"mold": float(rng.lognormal(np.log(4e-6), .4)),
                     "off-odor": float(rng.lognormal(np.log(1.4e-6), .35)),
                     "staling": float(rng.lognormal(np.log(1.7e-6), .35))}

    def _materials(self):
        rng = self.rng
        gap = {"flour": (2, 5), "inhibitor": (12, 35), "softener": (15, 40), "acid": (12, 30), "yeast": (3, 7),
               "fat": (8, 25), "film": (5, 16), "closure": (12, 30)}
        for material in MATERIALS:
            groups = [p.code for p in self.products] if material == "film" else [""]
            suppliers = [f"{rng.choice(list('ABCDEFGH'))}{rng.integers(10, 99)}" for _ in range(int(rng.integers(1, 4)))]
            active = {"inhibitor": 98.0, "acid": 10.0}.get(material, 100.0)
            for group in groups:
                t, k = -4.0 - float(rng.uniform(0, gap[material][1])), int(rng.integers(100, 900))
                while t < self.days:
                    name = f"{material[:2].upper()}{group}-{k}"
                    self.materials[material].append(MaterialLot(
                        name, material, str(rng.choice(suppliers)), active + float(rng.normal(0, .3)),
                        t * 1440, group))
                    t += float(rng.uniform(*gap[material]))
                    k += int(rng.integers(1, 7))

    def material_at(self, material, minute, product=""):
        best = None
        for lot in self.materials[material]:
            if lot.from_min <= minute and (material != "film" or lot.product == product):
                if best is None or lot.from_min > best.from_min:
                    best = lot
        return best
