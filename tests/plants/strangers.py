"""What the simulators tropics and northern stand on: how mold grows and crumb firms, how a code is misread, what the
desk hears, and the files. Written from the outside contract and the trade alone, without sight of rules, ranker or
other simulators. Constants are from memory unless a source is named."""
import csv
import dataclasses
import datetime
import json
import math
import pathlib
import random
import uuid

ZONE = datetime.timezone(datetime.timedelta(hours=-5))
QUIET = -1                              # the trouble of complaints that no trouble brought
HORIZON_DAYS = 60
QUIET_WEEKS = .24
SCALED_BY = 40                          # lots of a product whose mean is its background
EXPECTED_MOST = 18, .7                  # a plant stops what has brought so many complaints: median, spread of the logarithm

COLUMNS = {
    "products": "product name family shelf_life_days unit_g", "targets": "product quantity target low high",
    "lots": "lot product line made_from made_to packed_from packed_to units code_date shift",
    "mixes": "mix lot at flour_kg", "uses": "lot material material_lot amount unit mix active_pct supplier kind applied",
    "readings": "lot quantity value at mix point note", "plantlog": "at place quantity value line note",
    "dispatch": "lot route at units store transit_c"}


# ---- chance ----

def poisson(rng, mean):
    if mean > 50:
        return max(0, round(rng.gauss(mean, math.sqrt(mean))))
    n, left = 0, math.exp(-mean)
    p = rng.random()
    while p > left:
        n += 1
        p *= rng.random()
    return n


def pick(rng, weights):
    """A key of a table of weights."""
    return rng.choices(list(weights), list(weights.values()))[0]


# ---- acids ----

PKA = {"propionic": 4.87, "sorbic": 4.76, "acetic": 4.756}              # IUPAC tables, 25 degC
GRAMS_PER_MOL = {"propionic": 74.08, "sorbic": 112.13, "acetic": 60.05}
BREAD_PER_FLOUR = 1.5


def free_mmol(acid, acid_pct_flour, ph, moisture_pct):
    """Undissociated acid in the crumb's water, mmol/L."""
    per_kg_bread = acid_pct_flour * 1e4 / BREAD_PER_FLOUR / GRAMS_PER_MOL[acid]
    return per_kg_bread / (moisture_pct / 100) / (1 + 10 ** (ph - PKA[acid]))


# ---- mold ----

@dataclasses.dataclass(frozen=True)
class Flora:
    colour: str
    low_c: float
    best_c: float
    high_c: float
    aw_least: float
    days: float                         # from spore to a colony that is seen, at its best and without acid
    stops: dict                         # acid -> mmol/L undissociated that stops it


FLORA = {
    "blue": Flora("blue-green", -2, 24, 36, .81, 2.4, {"propionic": 22, "sorbic": 6.0, "acetic": 45}),
    "black": Flora("black", 9, 32, 44, .78, 2.1, {"propionic": 16, "sorbic": 4.5, "acetic": 33}),
    "chalk": Flora("white-chalky", 3, 28, 38, .85, 3.2, {"propionic": 45, "sorbic": 7.0, "acetic": 65}),
    "fluffy": Flora("white-fluffy", 5, 27, 35, .91, 1.4, {"propionic": 14, "sorbic": 4.0, "acetic": 28}),
    "pink": Flora("pink-orange", 6, 31, 43, .90, 1.3, {"propionic": 18, "sorbic": 4.5, "acetic": 32}),
    "yellow": Flora("yellow", 6, 30, 41, .71, 4.5, {"propionic": 20, "sorbic": 6.0, "acetic": 45})}
SPREAD = .42                            # of the logarithm of the time to a colony, spore by spore


def slowed(share_of_stop):
    """What acids leave of the speed: they delay rather than stop (after Dagnas et al. 2015), the curve is ours."""
    return 1 / (1 + (share_of_stop / .6) ** 2.5)


def thermal(low, best, high, temp_c):
    """Cardinal temperature model (Rosso et al. 1993): 1 at the best."""
    if not low < temp_c < high:
        return 0.0
    top = (temp_c - high) * (temp_c - low) ** 2
    return top / ((best - low) * ((best - low) * (temp_c - best) - (best - high) * (best + low - 2 * temp_c)))


def mold_per_day(flora, temp_c, aw, acids, wetness=1.0):
    """Share of the way to a visible colony gone in a day."""
    room = max(0.0, (aw - flora.aw_least) / (1 - flora.aw_least))
    room *= slowed(sum(mmol / flora.stops[acid] for acid, mmol in acids.items()))
    return thermal(flora.low_c, flora.best_c, flora.high_c, temp_c) * room * wetness / flora.days


def rope_per_day(temp_c, ph, aw, acids):
    room = max(0.0, min(1.0, (ph - 4.7) / 1.1)) * max(0.0, (aw - .90) / .08)
    room *= slowed(acids.get("propionic", 0) / 40 + acids.get("acetic", 0) / 60)
    return thermal(14, 38, 52, temp_c) * room / .8


def share_seen(way):
    return .5 * math.erfc(-math.log(way) / SPREAD / math.sqrt(2)) if way > 0 else 0.0


# ---- what happens to a pack after packing ----

@dataclasses.dataclass(frozen=True)
class Chain:
    """Temperatures in degC; days from packing, or from thawing."""
    store_c: float
    home_c: float
    cold_c: float = 0.0
    cold_days: int = 0                  # chilled in a depot or a store's back room
    late_days: int = 0                  # lies longer in the store than it should
    sweat: float = 0.0                  # water that condenses in the pack, as share of the speed of growth

    def temp(self, day, sold_day):
        if day < self.cold_days:
            return self.cold_c
        return self.store_c if day < sold_day + self.late_days else self.home_c


def uneaten(day, shelf_days, late_days=0):
    """Share of packs that is not eaten or thrown away yet."""
    return 1 / (1 + math.exp((day - late_days - .62 * shelf_days) / (.13 * shelf_days)))


def noticed(seen, shelf_days, chain):
    """Share of packs whose fault is first seen on each day, of those that are still there."""
    return [max(0.0, seen[d] - seen[d - 1]) * uneaten(d, shelf_days, chain.late_days) for d in range(1, len(seen))]


def grown(per_day, shelf_days, chain):
    """per_day(temperature) -> share of the way; returns first sightings by day, for one spore a pack."""
    way, seen, sold = 0.0, [0.0], .3 * shelf_days
    speeds = {}
    for day in range(min(HORIZON_DAYS, 2 * shelf_days + chain.late_days)):
        temp_c = chain.temp(day, sold)
        if temp_c not in speeds:
            speeds[temp_c] = per_day(temp_c)
        way += speeds[temp_c]
        seen.append(share_seen(way))
    return noticed(seen, shelf_days, chain)


def firming_per_day(temp_c):
    """Faster in the cold (Cornford, Axford, Elton 1964), next to nothing below freezing."""
    return 1 / (1.5 * math.exp(.043 * (temp_c + 1))) if temp_c > -5 else .01


def firmed(fresh, final, shelf_days, chain, limit=9.5, spread=.2):
    """First sightings by day of packs too firm for whoever eats them."""
    firm, seen, sold = fresh, [0.0], .3 * shelf_days
    for day in range(min(HORIZON_DAYS, 2 * shelf_days + chain.late_days)):
        firm = final - (final - firm) * math.exp(-firming_per_day(chain.temp(day, sold)))
        seen.append(.5 * math.erfc(-math.log(firm / limit) / spread / math.sqrt(2)))
    return noticed(seen, shelf_days, chain)


def opened(share, shelf_days, chain):
    """First sightings by day of what is there from the start and met when the pack is opened."""
    mean = .38 * shelf_days + chain.late_days
    days = range(1, min(HORIZON_DAYS, 2 * shelf_days + chain.late_days))
    weights = [math.exp(-.5 * ((d - mean) / (.16 * shelf_days)) ** 2) for d in days]
    return [share * w / sum(weights) for w in weights]


# ---- lots, troubles, sources of complaints ----

@dataclasses.dataclass
class Lot:
    code: str
    product: object
    line: str
    shift: str
    made: datetime.datetime
    packed: datetime.datetime
    packed_to: datetime.datetime
    units: int
    code_date: datetime.date
    plain: dict                         # true values with no trouble
    values: dict                        # true values
    written: dict                       # what the paper says where it is not the truth
    material: dict                      # material -> its lot
    mixes: list
    sent: list = dataclasses.field(default_factory=list)
    frozen_days: int = 0                # before it starts to age

    @property
    def day(self):
        return self.packed.date()


@dataclasses.dataclass(frozen=True)
class Sent:
    route: str
    store: str
    at: datetime.datetime
    units: int
    transit_c: float


@dataclasses.dataclass
class Trouble:
    number: int
    kind: str
    causes: dict                        # symptom -> cause id
    first: datetime.date
    last: datetime.date
    lines: tuple = ()
    shift: str = ""
    product: str = ""
    material: tuple = ()                # (material, its lot): lots that used it, until it was set aside
    change: dict = dataclasses.field(default_factory=dict)      # value -> (times, plus)
    hidden: tuple = ()                  # values whose change the paper does not show
    place: str = ""
    spores: float = 1.0
    stores: tuple = ()
    chain: dict = dataclasses.field(default_factory=dict)       # what becomes of the packs there
    odors: dict = dataclasses.field(default_factory=dict)
    strength: float = 0.0               # of what is met at opening, in complaints a million packs
    note: str = ""
    lots: list = dataclasses.field(default_factory=list)

    def on(self, day):
        return self.first <= day <= self.last

    def hits(self, lot):
        if self.stores:
            return self.on(lot.day) and any(s.store in self.stores for s in lot.sent)
        if self.material:
            return lot.material.get(self.material[0]) == self.material[1] and self.on(lot.day)
        return (self.on(lot.day) and lot.line in self.lines and (not self.shift or lot.shift == self.shift)
                and (not self.product or lot.product.code == self.product))

    def changed(self, values):
        new = dict(values)
        for name, (times, plus) in self.change.items():
            new[name] = new[name] * times + plus
        return new


@dataclasses.dataclass
class Source:
    """Complaints to come of one lot for one reason."""
    lot: Lot
    symptom: str
    cause: str
    trouble: object                     # None: background
    by_day: list                        # expected complaints by day after packing, frozen days left out
    flora: str = ""
    place: str = ""
    stores: tuple = ()
    signs: dict = dataclasses.field(default_factory=dict)

    @property
    def expected(self):
        return sum(self.by_day)


def tempered(rng, sources):
    """No trouble brings more than its plant lets it."""
    total, most = {}, {}
    for s in sources:
        if s.trouble:
            total[s.trouble.number] = total.get(s.trouble.number, 0) + s.expected
    for number in total:
        most[number] = EXPECTED_MOST[0] * rng.lognormvariate(0, EXPECTED_MOST[1])
    for s in sources:
        if s.trouble and total[s.trouble.number] > most[s.trouble.number]:
            s.by_day = times(s.by_day, most[s.trouble.number] / total[s.trouble.number])
    return sources


def apply(troubles, lots):
    """Sets the true values of the lots that troubles touch."""
    for t in troubles:
        for lot in lots:
            if t.hits(lot):
                t.lots.append(lot.code)
                for name in t.hidden:
                    lot.written.setdefault(name, lot.values[name])
                lot.values = t.changed(lot.values)


# ---- what a lot brings ----

@dataclasses.dataclass(frozen=True)
class Plant:
    """What differs from plant to plant. A place is its share of the spores, and which kinds they are of."""
    places: dict                        # place -> (share, {flora: weight})
    acids_of: object                    # values -> {acid: % of flour as acid}
    chain_of: object                    # lot -> Chain
    background: dict                    # symptom -> complaints a million packs
    rope_share: float                   # complaints a ropy pack, and a unit of spores


class Outcome:
    """What lots bring, in complaints by day."""

    def __init__(self, plant, lots):
        self.plant = plant
        self.scale = {}
        for code in sorted({x.product.code for x in lots}):
            of_it = [x for x in lots if x.product.code == code]
            some = of_it[::max(1, len(of_it) // SCALED_BY)]
            mold = sum(share * sum(days) for x in some for share, days, _, _ in self.spores(x, x.plain, plant.chain_of(x)))
            stale = sum(sum(self.firm(x, x.plain, plant.chain_of(x))) for x in some)
            self.scale[code] = {"mold": plant.background["mold"] * 1e-6 * len(some) / mold,
                                "staling": plant.background["staling"] * 1e-6 * len(some) / stale}

    def acids(self, values):
        return {a: free_mmol(a, pct, values["crumb_ph"], values["crumb_moisture_pct"])
                for a, pct in self.plant.acids_of(values).items()}

    def spores(self, lot, values, chain):
        """(share of the spores, first sightings by day, place, flora)"""
        acids = self.acids(values)
        wet = max(.04, 1 + .07 * max(0.0, values["core_at_pack_c"] - 39) + chain.sweat + values["air_in"])
        days = {}
        for place, (share, floras) in self.plant.places.items():
            for name, weight in floras.items():
                if name not in days:
                    days[name] = grown(lambda c, f=FLORA[name]: mold_per_day(f, c, values["crumb_aw"], acids, wet),
                                       lot.product.shelf_days, chain)
                yield share * weight / sum(floras.values()), days[name], place, name

    def firm(self, lot, values, chain):
        soft = values["softener"] * values["window"]
        final = 10.4 * (1 - .33 * min(1.15, soft)) * math.exp(.09 * (lot.product.moisture_pct - values["crumb_moisture_pct"]))
        return firmed(2.2, final, lot.product.shelf_days, chain)

    def rope(self, lot, values, chain):
        acids = self.acids(values)
        days = grown(lambda c: rope_per_day(c, values["crumb_ph"], values["crumb_aw"], acids), lot.product.shelf_days, chain)
        return [self.plant.rope_share * values["rope_spores"] * d for d in days]

    def background(self, lot):
        chain, scale = self.plant.chain_of(lot), self.scale[lot.product.code]
        load = lot.plain["load"]
        for share, days, place, flora in self.spores(lot, lot.plain, chain):
            yield Source(lot, "mold", "not-known", None, times(days, lot.units * scale["mold"] * share * load), flora, place)
        yield Source(lot, "staling", "not-known", None, times(self.firm(lot, lot.plain, chain), lot.units * scale["staling"]))
        yield Source(lot, "off-odor", "not-known", None,
                     opened(lot.units * self.plant.background["off-odor"] * 1e-6, lot.product.shelf_days, chain))

    def of(self, lot, t):
        """What trouble t adds on this lot."""
        chain = self.plant.chain_of(lot)
        other = dataclasses.replace(chain, **t.chain)
        units = sum(s.units for s in lot.sent if s.store in t.stores) if t.stores else lot.units
        values = t.changed(lot.plain)
        for symptom, cause in t.causes.items():
            for by_day, flora, place in self.added(symptom, lot, t, units, values, chain, other):
                yield Source(lot, symptom, cause, t, by_day, flora, place, t.stores, t.odors)

    def added(self, symptom, lot, t, units, values, chain, other):
        scale = self.scale[lot.product.code]
        if t.strength:
            yield opened(units * t.strength * 1e-6, lot.product.shelf_days, other), "", t.place
        elif symptom == "mold":
            plain = self.spores(lot, lot.plain, chain)
            for (share, now, place, flora), (_, was, _, _) in zip(self.spores(lot, values, other), plain):
                k = units * scale["mold"] * share * lot.plain["load"]
                times_spores = t.spores if place == t.place else 1.0
                yield beyond(times(now, k * times_spores), times(was, k)), flora, place
        elif symptom == "staling" and t.causes[symptom] != "rope-crumb":
            now, was = self.firm(lot, values, other), self.firm(lot, lot.plain, chain)
            yield times(beyond(now, was), units * scale["staling"]), "", ""
        else:
            yield times(self.rope(lot, values, other), units), "", ""


def times(days, k):
    return [d * k for d in days]


def beyond(now, was):
    """What is more than it was, day by day."""
    return [max(0.0, n - (was[d] if d < len(was) else 0.0)) for d, n in enumerate(now)]


def all_sources(rng, plant, lots, troubles):
    outcome = Outcome(plant, lots)
    hit = {t.number: set(t.lots) for t in troubles}
    out = []
    for lot in lots:
        out += outcome.background(lot)
        for t in troubles:
            if lot.code in hit[t.number]:
                out += outcome.of(lot, t)
    return tempered(rng, out)


# ---- the course of 26 weeks ----

def last_day(first, days, start, quiet):
    """Whatever went wrong ends before the next quiet week."""
    for k in range(1, days):
        if ((first - start).days + k) // 7 in quiet:
            return first + datetime.timedelta(days=k - 1)
    return first + datetime.timedelta(days=days - 1)


def planned(rng, lots, start, days, kinds, lines):
    """Three troubles in four weeks, none in the quiet ones. A kind is a function of a lot of its first day that gives
    what the trouble does, and days=(least, most); kinds has its weight."""
    weeks = days // 7
    quiet = set(rng.sample(range(weeks), round(QUIET_WEEKS * weeks)))
    begin = sorted(rng.choices([w for w in range(weeks) if w not in quiet], k=round(.75 * weeks)))
    out = []
    for number, (week, kind) in enumerate(zip(begin, rng.choices(list(kinds), list(kinds.values()), k=len(begin)))):
        first = start + datetime.timedelta(days=7 * week + rng.randrange(4))
        line = rng.choice(lines)
        given = kind(rng, next(x for x in lots if x.day >= first and x.line == line))
        last = last_day(first, rng.randint(*given.pop("days")), start, quiet)
        out.append(Trouble(number, kind.__name__, first=first, last=last, **given))
    return out


# ---- codes ----

ALIKE = {"0": "O", "O": "0", "1": "I", "5": "S", "8": "B", "B": "8", "2": "Z", "6": "G", "3": "8", "7": "1"}


def misread(rng, code):
    at = [k for k, c in enumerate(code) if c in ALIKE]
    k = rng.choice(at)
    how = rng.random()
    if how < .65:
        return code[:k] + ALIKE[code[k]] + code[k + 1:]
    if how < .85:
        return code[:k] + code[k + 1:]
    k = min(k, len(code) - 2)
    return code[:k] + code[k + 1] + code[k] + code[k + 2:]


def told_code(rng, code, readings, others):
    """(how it was read, text or None)"""
    how = pick(rng, readings)
    if how == "misread":
        return how, misread(rng, code)
    if how == "part":
        return how, code[:max(3, len(code) // 2)]
    if how == "other":
        return how, rng.choice(others)
    return how, code if how == "exact" else None


# ---- files ----

def stamp(at):
    return at.replace(microsecond=0).isoformat()


class Files:
    def __init__(self):
        self.rows = {kind: [] for kind in COLUMNS}

    def add(self, kind, /, **cells):
        self.rows[kind].append([cells.pop(name, "") for name in COLUMNS[kind].split()])
        assert not cells, f"{kind} has no column {sorted(cells)}"

    def write(self, folder):
        for kind, rows in self.rows.items():
            with open(folder / f"{kind}.csv", "w", newline="", encoding="utf-8") as f:
                out = csv.writer(f, lineterminator="\n")
                out.writerow(COLUMNS[kind].split())
                out.writerows(rows)


def complaint_id(rng, at):
    """UUIDv7 of the moment, its rest by the seed."""
    n = int(at.timestamp() * 1000) << 80 | 7 << 76 | rng.getrandbits(12) << 64 | 2 << 62 | rng.getrandbits(62)
    return str(uuid.UUID(int=n))


class Desk:
    """Complaints as received, the truth about each, and what each caller could say if asked."""

    def __init__(self):
        self.taken = []

    def take(self, complaint, truth, could_say):
        self.taken.append((complaint, {"id": complaint["id"], **truth}, could_say))

    def write(self, folder, seed, troubles, lots, start):
        self.taken.sort(key=lambda c: (c[0]["received_at"], c[0]["id"]))
        with open(folder / "complaints.ndjson", "w", encoding="utf-8") as f:
            f.writelines(json.dumps(c) + "\n" for c, _, _ in self.taken)
        told = [{"number": t.number, "cause": next(iter(t.causes.values())), "causes": t.causes, "lots": t.lots,
                 "places": [t.place] if t.place else [], "note": t.note} for t in troubles]
        truth = {"seed": seed, "start": start.isoformat(), "lots": len(lots), "complaints": [t for _, t, _ in self.taken],
                 "troubles": told}
        (folder / "truth.json").write_text(json.dumps(truth, indent=1))
        answers = {"lots": {x.code: answers_of(x) for x in lots}, "complaints": {c["id"]: s for c, _, s in self.taken}}
        (folder / "answers.json").write_text(json.dumps(answers))


def answers_of(lot):
    """What the plant could still find out about a lot."""
    return {"packed": stamp(lot.packed), "packed_to": stamp(lot.packed_to), "places": {}, "mixes": [],
            "readings": {q: round(v, 3) for q, v in lot.values.items() if q in MEASURABLE},
            "active_pct": round(100 * lot.values.get("active", 1.0), 1)}


MEASURABLE = {"crumb_ph", "crumb_aw", "crumb_moisture_pct", "core_at_pack_c", "core_end_bake_c", "seal_fail_pct", "cool_min",
              "bake_min", "proof_min", "dough_temp_c"}


def arguments(args, name, days=182):
    """SEED FOLDER [DAYS [START]] -> seed, rng, folder, days, start"""
    if not 3 <= len(args) <= 5:
        raise SystemExit(f"{name}/sim.py SEED FOLDER [DAYS [START]]")
    folder = pathlib.Path(args[2])
    folder.mkdir(parents=True, exist_ok=True)
    rng = random.Random(f"{name} {args[1]}")
    start = datetime.date(2025, 1, 6) + datetime.timedelta(weeks=rng.randrange(26))
    return (int(args[1]), rng, folder, int(args[3]) if len(args) > 3 else days,
            datetime.date.fromisoformat(args[4]) if len(args) > 4 else start)
