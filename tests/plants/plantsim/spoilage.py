"""From the state of a lot to spoiled packs in homes, and to how many are reported.

The sums are this simulator's own. Where figures come from print: undissociated acid by pKa (aqion acid
constants; Belitz, Grosch, Schieberle 2009); 3-4 days unpreserved (Gutierrez 2009, quoted second-hand) and
roughly doubling with 0.3 % propionate (from memory); acids delay the start of growth (Dagnas et al. 2015);
staling faster near 4 °C, slower warm (Cornford, Axford, Elton 1964; Aguirre et al. 2011). The rest:
common practice, no source.
"""
from dataclasses import dataclass, field

import numpy as np

PACKS = 12000
SPREAD = 0.27                      # of the time a spore needs, log scale
COLOURS = ("blue-green", "black", "white-chalky", "white-fluffy", "pink-orange", "yellow")
SPEED = np.array([1.0, 1.12, 0.95, 0.80, 0.72, 1.25])      # time to visible, beside penicillia
FEELS = np.array([1.0, 1.05, 0.55, 0.9, 0.85, 0.9])        # how much acid delays them
FLORA = {                                                  # which molds live where
    "cooler-air": (.62, .14, .05, .08, .06, .05), "cooler-belt": (.52, .18, .10, .10, .06, .04),
    "slicer": (.66, .06, .18, .04, .03, .03), "bagger": (.52, .18, .12, .08, .04, .06),
    "hands": (.44, .26, .12, .08, .04, .06), "film-store": (.40, .28, .04, .12, .02, .14),
    "returns-dock": (.48, .10, .06, .12, .20, .04), "ingredient-store": (.30, .32, .04, .14, .02, .18),
    "waste-area": (.40, .12, .10, .16, .20, .02),
}
WHERE = ("cut-face", "top-crust", "base", "side", "heel", "near-closure", "all-over")
SPOT = {                                                   # where on the loaf it shows
    "cooler-air": (.06, .62, .03, .14, .05, .02, .08), "cooler-belt": (.05, .05, .66, .12, .06, .01, .05),
    "slicer": (.76, .04, .02, .04, .08, .01, .05), "bagger": (.05, .09, .04, .10, .38, .28, .06),
    "hands": (.08, .12, .06, .18, .36, .14, .06), "film-store": (.03, .18, .10, .40, .08, .06, .15),
    "returns-dock": (.16, .34, .06, .12, .08, .05, .19), "ingredient-store": (.06, .36, .16, .12, .06, .02, .22),
    "waste-area": (.16, .30, .12, .12, .08, .05, .17),
}
PLACE_CAUSE = {"cooler-air": "contamination-cooler-air", "cooler-belt": "contamination-cooler-belt",
               "slicer": "contamination-slicer", "bagger": "contamination-bagger", "hands": "contamination-hands",
               "film-store": "contamination-film", "returns-dock": "contamination-returns",
               "ingredient-store": "contamination-ingredient-store", "waste-area": "contamination-waste"}


@dataclass
class Source:
    """Packs of one lot that will be complained about for one reason."""
    symptom: str
    cause: str                 # the truth, "not-known" for background
    expected: float            # complaints to expect
    trouble: int = -1
    how: str = "plain"         # key into callers' word lists
    place: str = ""
    flora: tuple = ()
    ages: object = None        # function(rng, n) -> (found, opened, home) ages in days
    routes: list = field(default_factory=list)      # dispatch rows it is limited to


def undissociated(ph, pka):
    return 1 / (1 + 10 ** (ph - pka))


def acid_strength(p, s):
    """Inhibitor at work in the crumb's water, as a multiple of 10 mmol/L propionic."""
    name, pka, mass, potency = ("sorbate", 4.76, 112.13, 4.5) if p.sorbate else ("propionate", 4.87, 74.08, 1.0)
    acid = s["dose"] * s["active"] * (0.7464 if name == "sorbate" else 0.7956)      # g on 100 g of flour
    mmol = acid / 150 * 1e6 / mass / (s["moisture"] / 100)
    return potency * mmol * undissociated(s["ph"], pka) / 10


def delay(p, s):
    """Days to a visible colony at 22 °C, a vector over COLOURS, before the product's own factor."""
    hold = 1 + 1.25 * FEELS * acid_strength(p, s)
    water = (0.952 - 0.86) / max(s["aw"] - 0.86, 0.02)
    sour = 1 + 0.03 * max(0.0, 5.2 - s["ph"])
    return 3.2 * SPEED * hold * water * sour * (1 - 0.42 * min(1.0, s["wet"]))


class Homes:
    """What becomes of packs of one product: when eaten, how kept."""

    def __init__(self, rng, shelf):
        n = PACKS
        self.end = np.minimum(rng.gamma(5.0, 0.56 * shelf / 5.0, n), shelf * 1.05)
        late = rng.random(n) < 0.025
        self.end[late] = shelf + rng.exponential(4.5, late.sum())
        self.bought = self.end * rng.uniform(0.15, 0.6, n)
        self.opened = self.bought + (self.end - self.bought) * rng.beta(1, 2.2, n)
        self.kept = rng.choice(["counter", "warm", "fridge", "freezer"], n, p=[.82, .07, .09, .02])
        degrees = {"counter": 21.5, "warm": 28.5, "fridge": 5.5, "freezer": -16.0}
        self.c = np.array([degrees[k] for k in self.kept]) + rng.normal(0, 1.3, n)
        rate = np.where(self.c > 0, np.exp(0.085 * (np.minimum(self.c, 31) - 22)), 0.02)
        at_home = np.maximum(self.end - self.bought, 0.1)
        self.mold_days = self.bought * 0.95 + at_home * rate
        self.rate = rate
        self.luck = np.exp(SPREAD * rng.normal(size=n))
        # an opened pack catches further spores of the home
        self.reach = self.mold_days / self.luck
        self.order = np.argsort(self.reach)
        self.sorted = self.reach[self.order]
        stale = np.where(self.c < -5, 0.25, np.where(self.c < 10, 2.1, np.exp(-0.028 * (self.c - 21.5))))
        self.stale_days = self.bought + at_home * stale

    def share_moldy(self, need):
        """Share of packs with one spore that show before eaten; need in days, scalar or vector."""
        return 1 - np.searchsorted(self.sorted, need) / PACKS

    def moldy(self, rng, need, n):
        low = int(np.searchsorted(self.sorted, need))
        if low >= PACKS - 3:
            low = PACKS - 20
        picks = self.order[rng.integers(low, PACKS, n)]
        visible = need * self.luck[picks]
        before = self.bought[picks] * 0.95
        age = np.where(visible < before, self.bought[picks] + rng.uniform(0, .6, n),
                       self.bought[picks] + (visible - before) / self.rate[picks])
        age = age + rng.uniform(0, 1, n) * np.maximum(0.3, self.end[picks] - age)
        return age, self.opened[picks], self.kept[picks]

    def any_time(self, rng, n, weights=None):
        if weights is None:
            picks = rng.integers(0, PACKS, n)
        else:
            picks = rng.choice(PACKS, n, p=weights / weights.sum())
        return self.end[picks] * rng.uniform(.9, 1, n), self.opened[picks], self.kept[picks]


def firmness(p, s, homes, extra_days=0.0, stale_boost=1.0):
    """Firmness of each pack when eaten, beside fresh."""
    soft = s["softener_ratio"] * s["soft_work"]
    k = (1 / 3.7) * (1 + 0.45 * (1 - min(soft, 1.6)))
    end = 5.0 * (1 + 0.5 * (1 - min(soft, 1.6))) * (1 + 0.085 * (p.moisture - s["moisture"]))
    return 1 + (end - 1) * (1 - np.exp(-k * (homes.stale_days * stale_boost + extra_days)))


class Spoilage:
    """Per product: how the plant's specification fares, and what deviations do."""

    def __init__(self, world, lots):
        self.world = world
        self.rng = world.rng
        self.homes, self.scale, self.spores, self.limit, self.usual = {}, {}, {}, {}, {}
        for p in world.products:
            mine = [lot for lot in lots if lot.product is p]
            homes = self.homes[p.code] = Homes(self.rng, p.shelf)
            spec = self._middle(mine) if mine else None
            if spec is None:
                continue
            self.usual[p.code] = spec
            self.scale[p.code] = p.shelf * self.rng.uniform(1.1, 1.45) / delay(p, spec)[0]
            share = self.one_spore(p, spec, FLORA["cooler-air"])
            self.spores[p.code] = float(np.clip(world.rate["mold"] / (share * world.tell), 1e-4, 0.4))
            firm = firmness(p, spec, homes)
            self.limit[p.code] = self._limit(firm, world.rate["staling"] / 0.01)

    @staticmethod
    def _middle(lots):
        states = [lot.state() for lot in lots[:: max(1, len(lots) // 30)]]
        return {k: float(np.median([s[k] for s in states])) for k in states[0]}

    @staticmethod
    def _limit(firm, share):
        low, high = 0.0, 40.0
        for _ in range(50):
            mid = (low + high) / 2
            if np.mean(1 / (1 + np.exp(-(firm - mid) / 0.35))) > share:
                low = mid
            else:
                high = mid
        return (low + high) / 2

    def needs(self, p, s):
        return delay(p, s) * self.scale[p.code]

    def one_spore(self, p, s, flora, speed=1.0):
        return float(np.dot(flora, self.homes[p.code].share_moldy(self.needs(p, s) / speed)))

    def sticking(self, s):
        """A wet surface lets more of the spores that landed come up."""
        return 1 + 1.6 * min(1.0, s["wet"])

    def season(self, lot):
        return float(np.exp(0.022 * (lot.inputs["out_c"] - 13)))

    def mold_rate(self, lot, s, flora, spores, speed=1.0):
        """Complaints per pack."""
        p = lot.product
        return spores * self.sticking(s) * self.one_spore(p, s, flora, self.season(lot) * speed) * self.world.tell

    def mold_ages(self, lot, s, flora, speed=1.0):
        p = lot.product
        needs = self.needs(p, s) / (self.season(lot) * speed)
        homes = self.homes[p.code]
        weight = np.array(flora) * (homes.share_moldy(needs) + 1e-9)
        weight = weight / weight.sum()

        def draw(rng, n):
            kinds = rng.choice(len(COLOURS), n, p=weight)
            parts = [homes.moldy(rng, needs[k], 1) for k in kinds]
            return (np.array([x[0][0] for x in parts]), np.array([x[1][0] for x in parts]),
                    [x[2][0] for x in parts], [COLOURS[k] for k in kinds])
        return draw

    def stale_weights(self, lot, s, extra_days=0.0, stale_boost=1.0, drier=0.0):
        p = lot.product
        s = dict(s, moisture=s["moisture"] - drier)
        firm = firmness(p, s, self.homes[p.code], extra_days, stale_boost)
        return 1 / (1 + np.exp(-(firm - self.limit[p.code]) / 0.35))

    def stale_rate(self, lot, s, **more):
        return float(np.mean(self.stale_weights(lot, s, **more))) * 0.01

    def stale_ages(self, lot, s, **more):
        weights = self.stale_weights(lot, s, **more)
        homes = self.homes[lot.product.code]
        return lambda rng, n: homes.any_time(rng, n, weights)

    def odor_ages(self, lot, mean=3.2, shape=3.0):
        homes = self.homes[lot.product.code]

        def draw(rng, n):
            age = rng.gamma(shape, mean / shape, n) + 0.6
            _, _, kept = homes.any_time(rng, n)
            return age, np.maximum(0.3, age - rng.exponential(.7, n)), kept
        return draw
