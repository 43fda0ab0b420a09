#!/usr/bin/python3
"""Makes the demo company: ten weeks of three invented plants that share a film supplier.

    python3 data/make_company.py [--seed N] FOLDER

writes into FOLDER
    products.csv lots.csv uses.csv readings.csv plantlog.csv dispatch.csv    of all three, by plant
    complaints.ndjson                                            what came in, with the lots' codes
    rules/lots.json                                              how each plant writes its codes
    truth.csv                                                    what each complaint came from

Two troubles are planted. One lot of film came dirty: it was used for a week on one line at Alder and
on one at Quay, and Mill never had it. And the cooler of Mill's line 1 was slow for four days, so that
packs were closed hot; line 1 of the two others is another line. truth.csv is never loaded.

The same seed gives the same bytes. Everything is invented, as in make_plant.py, and so are the rates:
they give plausible counts and were taken from nowhere.
"""
import argparse
import csv
import datetime as dt
import json
import math
import os
import random

PLANTS = {"alder": "A", "quay": "Q", "mill": "M"}  # and the letter its codes begin with
PRODUCTS = {"W20": ("White sandwich", "pan-bread", 8, 680), "G20": ("Five grain", "pan-bread", 8, 720),
            "B06": ("Supper buns", "bun", 7, 420)}
FIRST, LAST = dt.date(2026, 9, 14), dt.date(2026, 11, 22)
ZONE = dt.timezone(dt.timedelta(hours=-5))
SHIFTS = {"A": 5, "B": 14}  # and the hour in which its packing begins
DIRTY = "PF-4519"
DIRTY_DAYS = (dt.date(2026, 11, 4), dt.date(2026, 11, 10))
DIRTY_ON = {("alder", "2"), ("quay", "1")}
HOT_DAYS = (dt.date(2026, 11, 9), dt.date(2026, 11, 12))
HOT_ON = ("mill", "1")
USUAL, DIRTY_TIMES, HOT_TIMES = 9e-6, 10, 14  # mold complaints a pack, and how many times more
STORES = {p: [f"{p[0].upper()}{n:02}" for n in range(1, 13)] for p in PLANTS}
DAYS_TO_MOLD = {"usual": 6.5, "dirty": 5.0, "hot": 4.6}


class Lot:
    """A line's shift of one day."""

    def __init__(self, plant, line, shift, day, rng):
        self.plant, self.line, self.shift, self.day = plant, line, shift, day
        self.product = "B06" if line == "2" and shift == "B" else rng.choice(("W20", "W20", "G20"))
        self.packed = at(day, SHIFTS[shift], rng.randrange(60))
        self.code = f"{PLANTS[plant]}{line} {day.year % 10}{day:%j} {shift}{self.packed:%H%M}"
        self.units = rng.randrange(7600, 10400)
        self.stores = sorted(rng.sample(STORES[plant], 6))
        self.sell_by = day + dt.timedelta(days=PRODUCTS[self.product][2])
        self.dirty = (plant, line) in DIRTY_ON and DIRTY_DAYS[0] <= day <= DIRTY_DAYS[1]
        self.hot = (plant, line) == HOT_ON and HOT_DAYS[0] <= day <= HOT_DAYS[1]

    def film(self):
        if self.dirty:
            return DIRTY
        return f"PF-{4400 + 7 * list(PLANTS).index(self.plant) + (self.day - FIRST).days // 9 + 30 * int(self.line)}"

    def flour(self):
        return f"FL-{PLANTS[self.plant]}{(self.day - FIRST).days // 4:02}"


def at(day, hour, minute=0):
    return dt.datetime.combine(day, dt.time(hour, minute), ZONE)


def days(first, last):
    return [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]


def make_lots(rng):
    return [Lot(plant, line, shift, day, rng) for day in days(FIRST, LAST) for plant in PLANTS
            for line in ("1", "2") for shift in SHIFTS]


def uses(lot):
    yield lot.code, "flour", lot.flour(), round(lot.units * .42), "kg", "Ostler Flour"
    yield lot.code, "film", lot.film(), round(lot.units * .46), "m", "Pellmoor Film"
    yield lot.code, "inhibitor", f"IN-{(lot.day - FIRST).days // 21}", round(lot.units * .0017, 1), "kg", "Gantry Foods"


def readings(lot, rng):
    core = 33.5 + rng.gauss(0, .7) + (6.5 if lot.hot else 0)
    for n in range(3):
        yield "core_at_pack_c", round(core + rng.gauss(0, .5), 1), lot.packed + dt.timedelta(minutes=70 * n)
    yield "inhibitor_pct_flour", round(.4 + rng.gauss(0, .008), 3), lot.packed
    if rng.random() < .6:
        yield "crumb_ph", round(5.45 + rng.gauss(0, .04), 2), lot.packed + dt.timedelta(hours=3)


def plant_log(rng):
    for day in days(FIRST, LAST):
        for plant in PLANTS:
            for line in ("1", "2"):
                for place, usual in (("slicer", 6), ("bagger", 5), ("cooler-air", 9)):
                    if day.weekday() in (0, 3):
                        yield plant, at(day, 4, 30), place, "settle_plate_cfu", max(0, round(rng.gauss(usual, 2))), line
                yield plant, at(day, 3), "slicer", "cleaned", 1, line


def sends(lot):
    """Next morning, to half of the plant's stores by two trucks."""
    for n, store in enumerate(lot.stores):
        route = f"R{1 + n // 3}"
        yield lot.code, route, store, at(lot.day + dt.timedelta(days=1), 4, 10 * n), lot.units // 6


def poisson(rate, rng):
    limit, count, product = math.exp(-rate), 0, rng.random()
    while product > limit:
        product *= rng.random()
        count += 1
    return count


def complain(lot, why, rng):
    seen = lot.day + dt.timedelta(days=max(2, round(rng.gauss(DAYS_TO_MOLD[why], 1.2))))
    came = at(seen + dt.timedelta(days=rng.choice((0, 0, 1, 1, 2))), rng.randrange(8, 18), rng.randrange(60))
    where = {"usual": ("top-crust", "cut-face", "heel", "side", "base"), "dirty": ("side", "side", "top-crust", "base"),
             "hot": ("side", "top-crust", "near-closure", "cut-face")}[why]
    told = {"colour": rng.choice(("blue-green", "blue-green", "black", "white-fluffy")), "where": rng.choice(where),
            "bag": "sound", "kept": "counter", "wet_inside_bag": rng.random() < (.7 if why == "hot" else .08)}
    c = {"id": "", "received_at": came.isoformat(), "channel": rng.choice(("phone", "phone", "web", "store")),
         "symptom": "mold", "lot_text": lot.code, "product": lot.product, "code_date": str(lot.sell_by),
         "store": rng.choice(lot.stores), "found_on": str(seen),
         "observed": {k: v for k, v in told.items() if rng.random() < .7}, "packs": 1}
    if c["channel"] != "store":
        c["contact"] = {"name": f"Caller {rng.randrange(1000)}", "phone": f"(585) 555-01{rng.randrange(100):02}"}
    return came, c, (lot.plant, lot.line, lot.code, why)


def complaints(lots, rng):
    came = []
    for lot in lots:
        why = "dirty" if lot.dirty else "hot" if lot.hot else "usual"
        for which, times in (("usual", 1), (why, {"usual": 0, "dirty": DIRTY_TIMES, "hot": HOT_TIMES}[why])):
            came += [complain(lot, which, rng) for _ in range(poisson(lot.units * USUAL * times, rng))]
    came = sorted((row for row in came if row[0] <= at(LAST, 18)), key=lambda row: row[0])
    for when, c, _ in came:
        c["id"] = uuid7(when, rng)
    return came


def uuid7(when, rng):
    ms, r = int(when.timestamp() * 1000), rng.getrandbits(74)
    text = f"{ms:012x}7{r >> 62:03x}{8 | (r >> 60 & 3):x}{r & (1 << 60) - 1:015x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def lot_rules(folder, day):
    """The shipped file with these plants in the place of its one."""
    with open(os.path.join(os.path.dirname(__file__), "../rules/lots.json"), encoding="utf-8") as f:
        rules = json.load(f)
    pattern = rules["plants"][0]["patterns"][0]
    rules["plants"] = [{"plant": plant, "title": f"Tarnbrook Bakeries, {plant.capitalize()}", "day_starts": "00:00",
                        "patterns": [pattern | {
                            "pattern": letter + r" ?(?<line>[12]) ?(?<y>[0-9])(?<doy>[0-9]{3}) ?(?<shift>[AB])(?<hhmm>[0-9]{4})",
                            "code": letter + "{line} {y}{doy} {shift}{hhmm}",
                            "examples": [{"text": f"{letter}1 {day.year % 10}{day:%j} A0512", "received": str(day),
                                          "line": "1", "day": str(day), "time": "05:12"}]}]}
                       for plant, letter in PLANTS.items()]
    os.makedirs(os.path.join(folder, "rules"), exist_ok=True)
    with open(os.path.join(folder, "rules/lots.json"), "w", encoding="utf-8") as f:
        json.dump(rules, f, indent=1)


def write(folder, name, columns, rows):
    with open(os.path.join(folder, name), "w", newline="", encoding="utf-8") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(columns.split())
        out.writerows([x.isoformat() if isinstance(x, (dt.date, dt.datetime)) else x for x in row] for row in rows)


def main():
    ap = argparse.ArgumentParser(description="Makes the records of the demo company.")
    ap.add_argument("folder")
    ap.add_argument("--seed", type=int, default=1)
    args = ap.parse_args()
    os.makedirs(args.folder, exist_ok=True)
    rng = random.Random(f"{args.seed}/company")
    lots = make_lots(rng)
    write(args.folder, "products.csv", "product name family shelf_life_days unit_g",
          [(code, *what) for code, what in PRODUCTS.items()])
    write(args.folder, "lots.csv",
          "lot plant product line shift made_from made_to packed_from packed_to units code_date",
          [(x.code, x.plant, x.product, x.line, x.shift, x.packed - dt.timedelta(hours=3), x.packed +
            dt.timedelta(hours=3), x.packed, x.packed + dt.timedelta(hours=6), x.units, x.sell_by) for x in lots])
    write(args.folder, "uses.csv", "lot material material_lot amount unit supplier", [u for x in lots for u in uses(x)])
    write(args.folder, "readings.csv", "lot quantity value at", [(x.code, *r) for x in lots for r in readings(x, rng)])
    write(args.folder, "plantlog.csv", "plant at place quantity value line", plant_log(rng))
    write(args.folder, "dispatch.csv", "lot route store at units",
          [s for x in lots if x.day < LAST for s in sends(x)])
    came = complaints(lots, rng)
    with open(os.path.join(args.folder, "complaints.ndjson"), "w", encoding="utf-8") as f:
        f.writelines(json.dumps(c) + "\n" for _, c, _ in came)
    write(args.folder, "truth.csv", "complaint plant line lot why", [(c["id"], *so) for _, c, so in came])
    lot_rules(args.folder, LAST)
    by = {}
    for _, _, (plant, _, _, why) in came:
        by[plant, why] = by.get((plant, why), 0) + 1
    print(f"{len(lots)} lots of {len(PLANTS)} plants, {len(came)} complaints: " +
          ", ".join(f"{p} {w} {n}" for (p, w), n in sorted(by.items())))


if __name__ == "__main__":
    main()
