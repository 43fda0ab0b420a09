"""From the conditions of a lot to the complaints it brings: expected complaints a pack for each
day after packing. The constants are chosen to give plausible counts, not taken from anywhere."""
import math
import random
from dataclasses import replace

from .plant import SHELF_C, home_c, poisson
from .troubles import BY_NAME, LATE_STORE, conditions, route_excess_c


def undissociated_mmol(c, p):
    mg_kg = c.inhibitor_pct * c.active * .7956 / 150 * 1e6  # calcium salt to propionic acid
    return mg_kg / 74.08 / (c.moisture_pct / 100) / (1 + 10 ** (c.ph - 4.87))


def days_to_mold(c, p, kept_c):
    """Median days from packing to a visible colony, for a spore that grows."""
    spec = replace(c, inhibitor_pct=p.inhibitor_pct, active=.985, ph=p.ph,
                   moisture_pct=p.moisture_pct)
    acid = (1 + (undissociated_mmol(c, p) / 7.5) ** 1.5) / \
           (1 + (undissociated_mmol(spec, p) / 7.5) ** 1.5)
    wet = math.exp(-.105 * max(0, c.core_pack_c - p.core_pack_c - 3))  # sweating in the bag
    return 1.06 * p.shelf_days * acid * wet * math.exp(-.085 * (kept_c - SHELF_C))


def kept_share(p, day):
    return math.exp(-(day / (.65 * p.shelf_days)) ** 2)


def readiness(p, day):
    """How ready people are to complain: late mold is taken for granted."""
    return 1 / (1 + math.exp((day - .62 * p.shelf_days) / (.08 * p.shelf_days)))


def mold_by_day(c, p, kept_c):
    median = days_to_mold(c, p, kept_c)
    leaky = c.seal_fail_pct / 100

    def visible(day):
        grown = .5 + .5 * math.erf(math.log(day / median) / .30 / math.sqrt(2)) if day else 0
        sound = 1 - math.exp(-c.spores * grown)
        return (1 - leaky) * sound + leaky * (1 - math.exp(-150 * c.spores * grown))
    return [.018 * (visible(n) - visible(n - 1)) * kept_share(p, n) * readiness(p, n)
            for n in range(1, p.shelf_days + 4)]


def spread(total, p, peak):
    """`total` over the days after packing, around `peak` (a share of shelf life)."""
    weights = [math.exp(-((n / p.shelf_days - peak) / .17) ** 2 / 2)
               for n in range(1, p.shelf_days + 3)]
    return [total * w / sum(weights) for w in weights]


def staling_by_day(c, p, kept_c):
    firm = 5.0 * max(0, .93 - c.softener_pct / p.softener_pct)
    dry = 1.25 * max(0, p.moisture_pct - .7 - c.moisture_pct)
    leak = math.log(1 + 1.2 * max(0, c.seal_fail_pct - 1))
    rope = max(0, rope_index(c, p, kept_c) - 1.2)
    return spread(2.8e-6 * math.exp(firm + dry + leak + rope), p, .40)


def rope_index(c, p, kept_c):
    return 1.6 * (c.rope_log10 - 2) + 3 * (c.ph - p.ph) + .3 * (kept_c - 23)


def odor_by_day(c, p, kept_c):
    acid = 5.2 * max(0, c.inhibitor_pct / p.inhibitor_pct - 1.2)
    rope = 1.25 * max(0, rope_index(c, p, kept_c))
    return spread(1.1e-6 * math.exp(acid + rope + c.rancid), p, .30)


BY_DAY = {"mold": mold_by_day, "staling": staling_by_day, "off-odor": odor_by_day}


def happenings(lots, seed):
    """Yields (lot, symptom, trouble or None, days after packing, route, store)."""
    rng = random.Random(f"{seed}/complaints")
    for lot in lots:
        base_c = home_c(lot.day)
        for symptom, by_day in BY_DAY.items():
            normal = sum(by_day(lot.usual, lot.product, base_c))
            blame = {t: sum(by_day(conditions(lot, [t]), lot.product, base_c)) - normal
                     for t in lot.troubles if symptom in t.causes}
            plain = by_day(lot.made, lot.product, base_c)
            for route, _, stores, _ in lot.sent:
                hot = route_excess_c(route, lot)
                rates = by_day(lot.made, lot.product, base_c + hot) if hot else plain
                mean = sum(stores.values()) * sum(rates)
                for _ in range(poisson(mean, rng)):
                    day = rng.choices(range(1, len(rates) + 1), rates)[0]
                    store = rng.choices(list(stores), list(stores.values()))[0]
                    shares = {None: normal, **blame}
                    if hot and symptom == "mold":
                        shares[BY_NAME["hot-depot"]] = max(0, sum(rates) - sum(plain))
                    trouble = rng.choices(list(shares), list(shares.values()))[0]
                    yield lot, symptom, trouble, day, route, store
        yield from late_shelf(lot, rng)


def late_shelf(lot, rng):
    t = BY_NAME["late-shelf"]
    for route, _, stores, _ in lot.sent:
        if LATE_STORE in stores and t.first <= lot.day <= t.last:
            for symptom, chance in (("mold", .07), ("staling", .05)):
                if rng.random() < chance:
                    day = lot.product.shelf_days + rng.randint(0, 3)
                    yield lot, symptom, t, day, route, LATE_STORE
