"""A second simulator, plain and small, that shares nothing with the first: other codes, other habits of
record-keeping, one trouble a plant whose trace in the records is written down in tables here. It asks less
(a trouble that is on record must be found) but of every cause, with whole records and with torn ones.

    plain.py BINARIES [--gaps 0.5] [--seed 1] [--causes a,b] [--least-top1 X] [--least-background Y]

--gaps 0.5 loses half of the readings and log entries and a quarter of the materials and dispatches, and
leaves the targets out. All numbers are invented for the test. """
import argparse
import csv
import datetime
import io
import json
import pathlib
import random
import sys
import uuid

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "e2e"))
from oddloaf import Plant                                               # noqa: E402
from plantrun import KINDS, log_complaints, send                        # noqa: E402

START = datetime.datetime(2026, 7, 6, 5, tzinfo=datetime.timezone.utc)
DAYS, FIRST_BAD, LAST_BAD = 56, 30, 35
LINES = {"L1": [("WT", "pan-bread", 12), ("MG", "pan-bread", 11)], "L2": [("BN", "bun", 10), ("HD", "bun", 10)]}
TARGETS = {"inhibitor_pct_flour": .3, "core_at_pack_c": 37, "crumb_ph": 5.35, "softener_pct_flour": .5, "cool_min": 75,
           "crumb_moisture_pct": 38.5, "core_end_bake_c": 96.5, "ferment_min": 120}

# quantity: usual value, spread, what each trouble adds
READINGS = {
    "core_at_pack_c": (36.5, 1, {"packed-hot": 13}),
    "cool_min": (75, 4, {"packed-hot": -18, "overcooled-dry": 45}),
    "cooler_air_c": (22, .7, {"packed-hot": 6}),
    "cooler_rh_pct": (78, 2, {"overcooled-dry": -28}),
    "crumb_ph": (5.35, .05, {"inhibitor-ineffective-ph": .7, "acid-overdosed": -.45, "over-fermented": -.35}),
    "crumb_moisture_pct": (38.5, .4, {"underbaked": 1.8, "underbaked-gummy": 1.8, "overbaked": -3, "overcooled-dry": -3}),
    "crumb_aw": (.948, .003, {"underbaked": .012}),
    "bake_min": (None, .4, {"underbaked": -4, "underbaked-gummy": -4, "enzyme-window-missed": -4, "overbaked": 5}),
    "core_end_bake_c": (96.5, .5, {"underbaked": -6, "underbaked-gummy": -6, "overbaked": 2.2}),
    "ferment_min": (120, 5, {"over-fermented": 90}),
    "dough_temp_c": (26.5, .4, {"over-fermented": 3}),
    "seal_fail_pct": (.5, .1, {"pack-leak": 5, "pack-leak-dry": 5}),
}
BAKE_MIN = {"pan-bread": 24, "bun": 12}
# material: percent of flour, days a lot lasts, what each trouble makes of the percentage
MATERIALS = {
    "flour": (100, 3, {}), "inhibitor": (.3, 12, {"inhibitor-underdosed": .13, "inhibitor-overdosed": .62}),
    "acid": (.6, 9, {"acid-overdosed": 1.3}), "softener": (.5, 10, {"softener-underdosed": .15, "softener-overdosed": 1.2}),
    "yeast": (2.6, 4, {}), "fat": (2.4, 8, {})}
# a lot of its own for the bad days
BAD_LOT = {"inhibitor-spent": "inhibitor", "rope": "flour", "fat-rancid": "fat", "contamination-film": "film"}
# counts by place: quantity, ln of the usual, its spread, every how many days, times in trouble; "" is no line's own
COUNTS = [
    ("slicer", "swab_cfu", 2.3, .5, 2, {"contamination-slicer": 12}, True),
    ("bagger", "swab_cfu", 2.3, .5, 2, {"contamination-bagger": 12}, True),
    ("cooler-belt", "swab_cfu", 2.3, .5, 2, {"contamination-cooler-belt": 12}, True),
    ("cooler-air", "air_cfu_m3", 4, .3, 2, {"contamination-cooler-air": 7}, True),
    ("hands", "swab_cfu", 2, .5, 3, {"contamination-hands": 12}, True),
    ("returns-dock", "settle_plate_cfu", 2.5, .4, 2, {"contamination-returns": 8}, True),
    ("waste-area", "settle_plate_cfu", 2.5, .4, 2, {"contamination-waste": 8}, False),
    ("ingredient-store", "settle_plate_cfu", 2.5, .4, 2, {"contamination-ingredient-store": 9}, False)]
# entries of every day: usual value, value in trouble
DAILY = [
    ("slicer", "cleaned", 1, {"contamination-slicer": 0}, True), ("bagger", "cleaned", 1, {"contamination-bagger": 0}, True),
    ("cooler-belt", "cleaned", 1, {"contamination-cooler-belt": 0}, True),
    ("cooler-air", "pressure_pa", 9, {"contamination-cooler-air": 0}, True),
    ("returns-dock", "returns_staged", 0, {"contamination-returns": 1}, True),
    ("waste-area", "waste_emptied", 1, {"contamination-waste": 0}, False)]
# what callers see, and how often they are asked
SEEN = {
    "contamination-slicer": ("where", "cut-face", .6), "contamination-cooler-air": ("where", "top-crust", .6),
    "contamination-cooler-belt": ("where", "base", .6), "contamination-bagger": ("where", "near-closure", .6),
    "contamination-film": ("where", "side", .6), "contamination-hands": ("where", "side", .6),
    "packed-hot": ("wet_inside_bag", True, .7), "underbaked": ("wet_inside_bag", True, .6),
    "pack-leak": ("bag", "seal-open", .6), "pack-leak-dry": ("bag", "seal-open", .6), "cold-storage": ("kept", "fridge", 1),
    "inhibitor-overdosed": ("odor", ["cheesy", "sour"], 1), "acid-overdosed": ("odor", ["vinegar"], 1),
    "over-fermented": ("odor", ["sour", "alcohol"], 1), "rope": ("odor", ["fruity"], 1), "fat-rancid": ("odor", ["rancid"], 1),
    "softener-underdosed": ("crumb", "firm", 1), "softener-overdosed": ("crumb", "gummy", 1),
    "enzyme-window-missed": ("crumb", "firm", 1), "overbaked": ("crumb", "dry", 1), "underbaked-gummy": ("crumb", "gummy", 1),
    "overcooled-dry": ("crumb", "dry", 1), "old-stock-stale": ("crumb", "firm", 1)}
MOLD = ("inhibitor-underdosed inhibitor-ineffective-ph inhibitor-spent packed-hot underbaked contamination-cooler-air "
        "contamination-cooler-belt contamination-slicer contamination-bagger contamination-film contamination-hands "
        "contamination-returns contamination-ingredient-store contamination-waste pack-leak warm-storage old-stock").split()
ODOR = "inhibitor-overdosed acid-overdosed over-fermented rope fat-rancid".split()
STALE = ("softener-underdosed softener-overdosed enzyme-window-missed overbaked underbaked-gummy overcooled-dry "
         "pack-leak-dry cold-storage old-stock-stale").split()
AFTER_DISPATCH = {"not-known", "warm-storage", "old-stock", "cold-storage", "old-stock-stale"}
EVERY_LINE = {"contamination-ingredient-store", "contamination-waste", "contamination-film"}
ANY_DAY = {"old-stock", "old-stock-stale", "cold-storage"}


def symptom_of(cause):
    return "mold" if cause in MOLD else "off-odor" if cause in ODOR else "staling"


class Lot:
    def __init__(self, line, day, n):
        self.product, self.family, self.shelf_days = LINES[line][n % 2]
        self.line, self.day, self.n = line, day, n
        self.made = START + datetime.timedelta(days=day, hours=6 * n + 1)
        self.packed = self.made + datetime.timedelta(hours=3)
        self.code = f"{self.product}-{day + 187:03d}-{n}{line[1]}"


class Bakery:
    """Six lots a day on two lines; `cause` is at work on one of them, or in the whole house, for six days."""

    def __init__(self, cause, seed):
        self.cause, self.rng = cause, random.Random(f"{cause} {seed}")
        self.rows = {kind: [] for kind in KINDS}
        self.lots = [Lot(line, day, n) for day in range(DAYS) for line in LINES for n in range(3)]
        for products in LINES.values():
            for product, family, shelf in products:
                self.rows["products"].append([product, f"{product} bread", family, shelf, 600])
                targets = {**TARGETS, "bake_min": BAKE_MIN[family]}
                self.rows["targets"] += [[product, quantity, value] for quantity, value in targets.items()]
        for lot in self.lots:
            self.record(lot)
        for day in range(DAYS):
            self.log(day)

    def at_work(self, line, day):
        return FIRST_BAD <= day <= LAST_BAD and self.cause not in ANY_DAY and (line in ("L1", "") or self.cause in EVERY_LINE)

    def record(self, lot):
        rng, bad = self.rng, self.at_work(lot.line, lot.day)
        units, end = rng.choice([4000, 5000, 6000]), lot.packed + datetime.timedelta(hours=2)
        best = lot.packed.date() + datetime.timedelta(days=lot.shelf_days)
        self.rows["lots"].append([lot.code, lot.product, lot.line, lot.made, lot.made + datetime.timedelta(hours=2), lot.packed,
                                  end, units, best, "ABC"[lot.n]])
        active = 52 if bad and self.cause == "inhibitor-spent" else 98
        for m in range(2):
            mix, flour = f"{lot.code}m{m}", round(rng.gauss(420, 4), 1)
            self.rows["mixes"].append([mix, lot.code, lot.made - datetime.timedelta(minutes=60 - 20 * m), flour])
            for material, (percent, lasts, changed) in MATERIALS.items():
                share = changed.get(self.cause, percent) if bad else percent
                self.rows["uses"].append([lot.code, material, self.material_lot(material, lasts, lot), round(
                    flour * share * rng.gauss(1, .01) / 100, 3), "kg", mix, active if material == "inhibitor" else ""])
        self.rows["uses"].append([lot.code, "film", self.material_lot("film", 5, lot), "", "", "", ""])
        for quantity, (usual, spread, added) in READINGS.items():
            value = rng.gauss(BAKE_MIN[lot.family] if usual is None else usual, spread)
            self.read(lot, quantity, value + (added.get(self.cause, 0) if bad else 0))
        if lot.n == 0:
            dose = MATERIALS["inhibitor"][2].get(self.cause, .3) if bad else .3
            self.read(lot, "propionate_ppm", rng.gauss(1500, 60) * dose / .3 * active / 98)
        if lot.n == 1:
            self.read(lot, "aerobic_spores_cfu_g", rng.lognormvariate(3, .5) * (90 if bad and self.cause == "rope" else 1))
        for route in self.routes(lot.line):
            warm = 33 if bad and route == "R2" else 19
            self.rows["dispatch"].append([lot.code, route, lot.packed + datetime.timedelta(hours=10), units // 4,
                                          warm if self.cause == "warm-storage" else ""])

    def read(self, lot, quantity, value):
        self.rows["readings"].append([lot.code, quantity, round(value, 3), lot.packed])

    @staticmethod
    def routes(line):
        return [f"R{(0 if line == 'L1' else 4) + n}" for n in (1, 2, 3, 4)]

    def material_lot(self, material, lasts, lot):
        if BAD_LOT.get(self.cause) == material and self.at_work(lot.line, lot.day):
            return f"{material[:2].upper()}-ODD"
        return f"{material[:2].upper()}{lot.day // lasts}" + (lot.line if material == "film" else "")

    def log(self, day):
        for place, quantity, mean, spread, every, times, by_line in COUNTS:
            for line in LINES if by_line else ("",):
                factor = times.get(self.cause, 1) if self.at_work(line, day) else 1
                value = int(self.rng.lognormvariate(mean, spread) * factor)
                if day % every == 0:
                    self.rows["plantlog"].append([START + datetime.timedelta(days=day, hours=3), place, quantity, value, line])
        for place, quantity, usual, changed, by_line in DAILY:
            for line in LINES if by_line else ("",):
                value = changed.get(self.cause, usual) if self.at_work(line, day) else usual
                self.rows["plantlog"].append([START + datetime.timedelta(days=day, minutes=30), place, quantity, value, line])

    # ---- complaints ----
    def complaints(self):
        """Complaint documents in order of receipt, and the ids of those the trouble made."""
        rng = self.rng
        if self.cause in ANY_DAY:
            struck = rng.sample(self.lots[:300], 10)
        elif self.cause == "contamination-hands":  # one shift's
            struck = [lot for lot in self.lots if self.at_work(lot.line, lot.day) and lot.n == 1]
        else:
            struck = [lot for lot in self.lots if self.at_work(lot.line, lot.day)]
        told = []
        for lot in struck:
            often = (1,) if self.cause in ANY_DAY else (0, 1, 1, 2) if len(struck) < 25 else (0, 0, 1)
            told += [self.complaint(lot, symptom_of(self.cause), True) for _ in range(rng.choice(often))]
        theirs = {document["id"] for document in told}
        for _ in range(18):
            told.append(self.complaint(rng.choice(self.lots), rng.choice(["mold", "mold", "off-odor", "staling"]), False))
        return sorted(told, key=lambda document: document["received_at"]), theirs

    def complaint(self, lot, symptom, struck):
        rng = self.rng
        if not struck:
            age = rng.randrange(7, 15)
        elif self.cause in ("old-stock", "old-stock-stale"):
            age = lot.shelf_days + rng.choice([2, 4, 6])
        else:
            age = rng.randrange(4, 8) if symptom == "mold" else rng.randrange(2, 6)
        found = lot.packed + datetime.timedelta(days=age)
        document = {"id": str(uuid.UUID(int=rng.getrandbits(128), version=4)), "channel": "phone", "symptom": symptom,
                    "received_at": (found + datetime.timedelta(hours=rng.choice([3, 20, 30]))).isoformat(),
                    "lot_text": lot.code, "product": lot.product, "found_on": found.date().isoformat(),
                    "observed": self.seen(symptom, struck)}
        if struck and self.cause == "warm-storage":
            document["route"] = "R2"
        elif rng.random() < .5:
            document["route"] = rng.choice(self.routes(lot.line))
        return document

    def seen(self, symptom, struck):
        rng, seen = self.rng, {}
        if symptom == "mold" and rng.random() < .5:
            seen["where"] = rng.choice(["top-crust", "side", "base", "cut-face", "heel"])
        if symptom == "mold" and rng.random() < .6:
            seen["colour"] = rng.choice(["blue-green", "blue-green", "black", "white-fluffy"])
        if not struck and rng.random() < .4:
            seen["kept"] = rng.choice(["counter", "warm", "fridge"])
        if not struck and symptom == "off-odor":
            seen["odor"] = [rng.choice(["sour", "musty", "chemical"])]
        if not struck and symptom == "staling":
            seen["crumb"] = rng.choice(["firm", "dry"])
        name, value, often = SEEN.get(self.cause, ("", "", 0))
        if struck and rng.random() < often:
            seen[name] = value
        return seen


HEADERS = {"products": "product name family shelf_life_days unit_g", "targets": "product quantity target",
           "lots": "lot product line made_from made_to packed_from packed_to units code_date shift",
           "mixes": "mix lot at flour_kg", "uses": "lot material material_lot amount unit mix active_pct",
           "readings": "lot quantity value at", "plantlog": "at place quantity value line",
           "dispatch": "lot route at units transit_c"}
LOST = {"readings": 1, "plantlog": 1, "uses": .5, "dispatch": .5}  # of the share that gaps take


def as_csv(bakery, kind, gaps):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADERS[kind].split())
    for row in bakery.rows[kind]:
        if bakery.rng.random() >= gaps * LOST.get(kind, 0) and not (gaps and kind == "targets"):
            writer.writerow([value.isoformat() if hasattr(value, "isoformat") else value for value in row])
    return out.getvalue().encode()


def study(binaries, cause, seed, gaps):
    bakery = Bakery(cause, seed)
    told, theirs = bakery.complaints()
    with Plant(binaries, config={"time_zone": "UTC"}) as plant:
        for kind in KINDS:
            refused = send(plant, kind, as_csv(bakery, kind, gaps))
            assert not refused, refused[0]
        log_complaints(plant, [json.dumps(document).encode() + b"\n" for document in told])
        ranks = [json.loads(line) for line in plant.client("rank", "--all", "--json").stdout.splitlines()]
    score = {"cases": 0, "first": 0, "three": 0, "p": 0, "background": 0, "right": 0}
    for rank in ranks:
        causes = [row["cause"] for row in rank["ranked"]]
        if theirs & set(rank["complaints"]):
            score["cases"] += 1
            score["first"] += causes[0] == cause
            score["three"] += cause in causes[:3]
            score["p"] += next(row["probability"] for row in rank["ranked"] if row["cause"] == cause)
        else:
            score["background"] += 1
            score["right"] += causes[0] in AFTER_DISPATCH
    n = max(score["cases"], 1)
    print(f"{cause:32} cases {score['cases']:3}  first {score['first'] / n:.2f}  in three {score['three'] / n:.2f}  "
          f"p {score['p'] / n:.2f}  background right {score['right']}/{score['background']}", flush=True)
    return score


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--gaps", type=float, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--causes", default=",".join(MOLD + ODOR + STALE))
    parser.add_argument("--least-top1", type=float, default=0)
    parser.add_argument("--least-background", type=float, default=0)
    options = parser.parse_args()
    scores = [study(options.binaries, cause, options.seed, options.gaps) for cause in options.causes.split(",")]
    total = {key: sum(score[key] for score in scores) for key in scores[0]}
    first, right = total["first"] / total["cases"], total["right"] / total["background"]
    print(f"all: {total['cases']} cases, first {first:.3f}, in three {total['three'] / total['cases']:.3f}; background right "
          f"{right:.3f} of {total['background']}")
    if first < options.least_top1 or right < options.least_background:
        sys.exit("below what is asked")


main()
