"""The planted troubles, and how each changes the conditions of the lots it touches."""
import random
from dataclasses import dataclass, replace
from datetime import date


@dataclass(frozen=True, eq=False)
class Trouble:
    name: str
    causes: dict  # symptom: cause id
    first: date
    last: date
    what: str
    change: object = None  # (Conditions, share of the trouble's span passed) -> Conditions
    lines: str = "123"
    products: str = ""  # all
    shift: str = ""
    material: tuple = ()  # (material, lot number): only lots made with it, whatever else
    route: str = ""  # only what this route carried
    where: dict = None  # where the mold is seen
    odor: tuple = ()
    crumb: tuple = ()

    def touches(self, lot):
        return (self.change is not None and self.first <= lot.day <= self.last
                and lot.line in self.lines and (not self.products or lot.product.code in
                                                self.products.split())
                and (not self.shift or lot.shift == self.shift)
                and (not self.material or lot.materials[self.material[0]] == self.material[1]))


def d(month, day):
    return date(2026, month, day)


EVEN = {"cut-face": 22, "top-crust": 22, "side": 16, "base": 12, "heel": 12, "near-closure": 10,
        "all-over": 6}
BAD_FILM, OLD_INHIBITOR, OLD_FAT = "PF2610-R7", "CP2409-011", "SH2512-044"
ROPE_FLOUR = "FL2607-G3"
LATE_STORE = "0624"  # keeps packs beyond their turn

TROUBLES = (
    Trouble("softener-feeder", {"staling": "softener-underdosed"}, d(6, 8), d(6, 17),
            "softener feeder on line 2 half blocked",
            lambda c, s: replace(c, softener_pct=c.softener_pct * .30), lines="2",
            products="W24 H24", crumb=("firm", "firm", "crumbly", "dry")),
    Trouble("scaler-drift", {"mold": "inhibitor-underdosed"}, d(6, 19), d(6, 27),
            "inhibitor scale on line 1 drifts down until it is recalibrated",
            lambda c, s: replace(c, inhibitor_pct=c.inhibitor_pct * (.55 - .45 * s)), lines="1",
            where=EVEN),
    Trouble("returns-by-cooler", {"mold": "contamination-returns"}, d(7, 6), d(7, 11),
            "returned goods staged beside the line 3 cooler",
            lambda c, s: replace(c, spores=c.spores * 40), lines="3",
            where={**EVEN, "top-crust": 60, "all-over": 12}),
    Trouble("hot-depot", {"mold": "warm-storage"}, d(7, 14), d(8, 23),
            "route R07 parks its loaded truck in the sun overnight", route="R07", where=EVEN),
    Trouble("rope-flour", {"off-odor": "rope", "staling": "rope-crumb"}, d(8, 3), d(8, 13),
            "a grain flour delivery full of spores, in a warm spell, with the pH high",
            lambda c, s: replace(c, rope_log10=c.rope_log10 + 1.9, ph=c.ph + .38), lines="1",
            products="M20", odor=("fruity", "fruity", "cheesy", "musty"),
            crumb=("sticky", "stringy", "discoloured", "sticky")),
    Trouble("old-inhibitor", {"mold": "inhibitor-spent"}, d(8, 15), d(8, 22),
            "an inhibitor lot found at the back of the store, two years old and damp",
            lambda c, s: replace(c, active=c.active * .30), lines="23",
            material=("inhibitor", OLD_INHIBITOR), where=EVEN),
    Trouble("double-scaling", {"off-odor": "inhibitor-overdosed"}, d(8, 31), d(9, 7),
            "inhibitor scaled twice on line 1's C shift by a new hand",
            lambda c, s: replace(c, inhibitor_pct=c.inhibitor_pct * 2.1), lines="1", shift="C",
            odor=("cheesy", "sour", "sour", "vinegar", "cheesy")),
    Trouble("cooler-filter", {"mold": "contamination-cooler-air"}, d(9, 2), d(9, 10),
            "line 3's cooler filter torn and its change overdue",
            lambda c, s: replace(c, spores=c.spores * 34), lines="3",
            where={**EVEN, "top-crust": 150, "side": 25, "cut-face": 8}),
    Trouble("weak-vinegar", {"mold": "inhibitor-ineffective-ph"}, d(9, 14), d(9, 23),
            "a 60 grain vinegar drum on line 2 in place of 200 grain: the pH rises",
            lambda c, s: replace(c, ph=c.ph + .75, acid_grain=60), lines="2",
            products="W24 H24", where=EVEN),
    Trouble("dirty-slicer", {"mold": "contamination-slicer"}, d(10, 3), d(10, 9),
            "line 2's slicer not cleaned for a week",
            lambda c, s: replace(c, spores=c.spores * (45 + 55 * s)), lines="2",
            products="W24 H24", where={**EVEN, "cut-face": 260, "top-crust": 8}),
    Trouble("rancid-fat", {"off-odor": "fat-rancid"}, d(10, 8), d(10, 20),
            "a shortening lot past its date in rolls, buns and swirls",
            lambda c, s: replace(c, rancid=4.6), products="C06 B08 D12",
            material=("fat", OLD_FAT), odor=("rancid", "rancid", "rancid", "musty")),
    Trouble("film-lot", {"mold": "pack-leak", "staling": "pack-leak-dry"}, d(10, 15), d(10, 26),
            "a film lot that does not seal, on all three lines",
            lambda c, s: replace(c, seal_fail_pct=c.seal_fail_pct + 7.5),
            material=("film", BAD_FILM), where={**EVEN, "near-closure": 60, "heel": 40},
            crumb=("dry", "dry", "firm")),
    Trouble("hot-oven", {"staling": "overbaked"}, d(11, 2), d(11, 7),
            "line 1's last oven zone runs away",
            lambda c, s: replace(c, bake_min=c.bake_min + 2.5, core_end_c=c.core_end_c + 2.4,
                                 moisture_pct=c.moisture_pct - 3.7), lines="1",
            crumb=("dry", "dry", "firm", "crumbly")),
    Trouble("cooler-fan", {"mold": "packed-hot"}, d(11, 9), d(11, 17),
            "a fan of line 2's cooler stands still",
            lambda c, s: replace(c, core_pack_c=c.core_pack_c + 13,
                                 cooler_air_c=c.cooler_air_c + 6.5), lines="2",
            where={**EVEN, "side": 60, "base": 30}),
    Trouble("late-shelf", {"mold": "old-stock", "staling": "old-stock-stale"}, d(9, 21), d(10, 25),
            f"store {LATE_STORE} sells packs it should have pulled", where=EVEN,
            crumb=("firm", "dry")),
)
BY_NAME = {t.name: t for t in TROUBLES}


def share_passed(trouble, day):
    return (day - trouble.first).days / max(1, (trouble.last - trouble.first).days)


def plant_troubles(lots, seed):
    """Gives lots their special deliveries, then lets every trouble change what it touches."""
    rng = random.Random(f"{seed}/deliveries")
    for lot in lots:
        for name in ("film-lot", "old-inhibitor", "rancid-fat", "rope-flour"):
            t = BY_NAME[name]
            material, number = t.material or ("flour", ROPE_FLOUR)
            usual_share = {"film-lot": .5, "old-inhibitor": .8, "rancid-fat": .6}.get(name, 1.0)
            if (t.first <= lot.day <= t.last and lot.line in t.lines
                    and (not t.products or lot.product.code in t.products.split())
                    and rng.random() < usual_share):
                lot.materials[material] = number
        lot.troubles = [t for t in TROUBLES if t.touches(lot)]
        lot.made = conditions(lot, lot.troubles)


def conditions(lot, troubles):
    c = lot.usual
    for t in troubles:
        c = t.change(c, share_passed(t, lot.day))
    return c


def route_excess_c(route, lot):
    t = BY_NAME["hot-depot"]
    return 10.0 if route == t.route and t.first <= lot.day <= t.last else 0.0
