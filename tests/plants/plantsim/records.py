"""What the plant wrote down about the truth: gaps, noise, drift, slips, in the files the daemon reads."""
import csv
import datetime
import zoneinfo

import numpy as np

from .world import MATERIALS

ZONE = zoneinfo.ZoneInfo("America/New_York")


def stamp_local(when):
    return when.replace(tzinfo=ZONE).isoformat(timespec="seconds")


# quantity -> (value of the true state, noise)
READINGS = {
    "softener_pct_flour": None, "inhibitor_pct_flour": None,
    "water_pct_flour": ("water", .3), "dough_temp_c": ("dough_c", .4), "bake_min": ("bake_min", .1),
    "core_end_bake_c": ("core_end", .5), "cool_min": ("cool_min", 1.5), "cooler_air_c": ("cooler_c", .5),
    "cooler_rh_pct": ("cooler_rh", 2.5), "core_at_slicing_c": ("core_slice", .8), "core_at_pack_c": ("core_pack", .8),
    "crumb_ph": ("ph", .05), "crumb_aw": ("aw", .003), "crumb_moisture_pct": ("moisture", .35),
    "line_stop_min": ("stop_min", .5), "pack_room_c": ("room_c", .6), "pack_room_rh_pct": ("room_rh", 2.5),
    "seal_fail_pct": None, "ferment_min": None, "proof_min": None, "dough_ph": None, "propionate_ppm": None,
    "aerobic_spores_cfu_g": None, "mold_free_days": None, "acid_kg": None, "acid_grain": None,
    "inhibitor_kg": None, "core_temp_c": None,
}
DIGITS = {"crumb_ph": 2, "crumb_aw": 3, "inhibitor_pct_flour": 3, "softener_pct_flour": 3, "dough_ph": 2,
          "inhibitor_kg": 3, "acid_kg": 2, "propionate_ppm": 0, "aerobic_spores_cfu_g": 0, "acid_grain": 0}
PLAUSIBLE = {"crumb_ph": (3, 9), "crumb_aw": (.4, 1), "core_at_pack_c": (-20, 70), "core_end_bake_c": (55, 109),
             "inhibitor_pct_flour": (0, 4.9), "core_at_slicing_c": (-20, 70), "cooler_rh_pct": (1, 99), "pack_room_rh_pct": (1, 99),
             "crumb_moisture_pct": (2, 69), "seal_fail_pct": (0, 99), "dough_ph": (3, 9), "water_pct_flour": (12, 140),
             "dough_temp_c": (-4, 49), "cooler_air_c": (-25, 58), "pack_room_c": (-25, 49), "bake_min": (1, 350),
             "softener_pct_flour": (0, 4.9), "core_temp_c": (-25, 114), "acid_grain": (1, 390)}


class Records:
    def __init__(self, world, lots, hygiene, spoilage, folder):
        self.w, self.h, self.spoilage, self.folder = world, hygiene, spoilage, folder
        self.lots = [lot for lot in lots if not lot.lost]
        self.rng = np.random.default_rng([20263, world.seed])
        self.midnight = datetime.datetime.combine(world.start, datetime.time())

    def at(self, minute):
        return stamp_local(self.midnight + datetime.timedelta(seconds=round(float(minute) * 60)))

    def has(self, what):
        return self.rng.random() < self.w.recorded[what]

    def table(self, name, header, rows):
        with open(self.folder / f"{name}.csv", "w", newline="", encoding="utf-8") as f:
            writer = csv.writer(f)
            writer.writerow(header)
            writer.writerows(rows)

    def write(self):
        self.products()
        self.table("lots", ["lot", "product", "line", "made_from", "made_to", "packed_from", "packed_to", "units", "code_date",
                            "shift"],
                   [[x.code, x.product.code, x.line, self.at(x.made), self.at(x.made + x.packed_to - x.packed), self.at(x.packed),
                     self.at(x.packed_to), x.units, x.code_date.isoformat(), x.shift] for x in self.lots])
        self.table("mixes", ["mix", "lot", "at", "flour_kg"],
                   [[m.name, x.code, self.at(m.minute), m.flour_kg] for x in self.lots for m in x.mixes])
        self.uses()
        self.readings()
        self.plantlog()
        rows = []
        for x in self.lots:
            hot = self.has("transit_c")
            for r in x.dispatch:
                c = round(r["transit_c"] + self.rng.normal(0, .8), 1) if hot and self.rng.random() < .85 else ""
                rows.append([x.code, r["route"], self.at(r["at"]), r["units"], r["store"] or "", c])
        self.table("dispatch", ["lot", "route", "at", "units", "store", "transit_c"], rows)

    def products(self):
        self.table("products", ["product", "name", "family", "shelf_life_days", "unit_g"],
                   [[p.code, p.name, p.family, p.shelf, p.unit_g] for p in self.w.products])
        rows = []
        for p in self.w.products:
            for quantity, target, slack in (
                    ("inhibitor_pct_flour", p.dose, .1 * p.dose), ("crumb_ph", p.ph, .2), ("softener_pct_flour", p.softener, .1 * p.softener),
                    ("water_pct_flour", p.water, 1.5), ("ferment_min", p.ferment, .15 * p.ferment), ("proof_min", p.proof, 6),
                    ("bake_min", p.bake, .06 * p.bake), ("core_end_bake_c", p.core_end, 1.5), ("cool_min", p.cool, .15 * p.cool),
                    ("cooler_air_c", p.cooler_c, 3), ("core_at_pack_c", p.core_pack, 3), ("crumb_moisture_pct", p.moisture, 1),
                    ("dough_temp_c", 26.0, 1.5), ("crumb_aw", round(.952 + .0035 * (p.moisture - 37.5), 3), .01)):
                if self.has("targets"):
                    rows.append([p.code, quantity, round(target, 3), round(target - slack, 3), round(target + slack, 3)])
        self.table("targets", ["product", "quantity", "target", "low", "high"], rows)

    # ---- materials ----
    def uses(self):
        rows = []
        for x in self.lots:
            s, p = x.state(), x.product
            flour = sum(m.flour_kg for m in x.mixes)
            kg = {"flour": flour, "inhibitor": flour * self.written_dose(x, s) / 100, "softener": flour * self.written_soft(x, s) / 100,
                  "acid": flour * p.acid * s["acid_ratio"] / 100, "yeast": flour * .025, "fat": flour * p.fat / 100}
            for material in MATERIALS:
                lot = x.materials[material]
                if lot is None or not self.has("uses"):
                    continue
                amount = round(kg[material] * (1 + self.rng.normal(0, .004)), 2) if material in kg else ""
                active = ""
                if material == "inhibitor" and self.has("active_pct"):
                    weak = s["active"] if s.get("assayed", 0) else 1.0
                    active = round(lot.active_pct * weak + self.rng.normal(0, .2), 1)
                rows.append([x.code, material, lot.name, amount, "kg" if amount != "" else "", active, lot.supplier])
        self.table("uses", ["lot", "material", "material_lot", "amount", "unit", "active_pct", "supplier"], rows)

    @staticmethod
    def written_dose(x, s):
        return x.product.dose if s.get("written_dose") else s["dose"]

    @staticmethod
    def written_soft(x, s):
        return x.product.softener if s.get("written_soft") else s["softener"]

    # ---- readings ----
    def value(self, x, s, q):
        rng, p, n = self.rng, x.product, self.w.noise
        if READINGS[q]:
            key, noise = READINGS[q]
            drift = self.w.drift.get(q, 0) * ((x.packed / 1440) % 56) / 56
            return s[key] + rng.normal(0, noise * n) + drift
        if q == "inhibitor_pct_flour":
            return self.written_dose(x, s) * (1 + rng.normal(0, .01 * n))
        if q == "softener_pct_flour":
            return self.written_soft(x, s) * (1 + rng.normal(0, .015 * n))
        if q == "seal_fail_pct":
            return 100 * rng.binomial(200, min(.9, s["seal_fail"] / 100)) / 200
        if q == "ferment_min":
            return p.ferment * s["ferment_ratio"] + rng.normal(0, 2 * n)
        if q == "proof_min":
            return p.proof * s["proof_ratio"] + rng.normal(0, 1 * n)
        if q == "dough_ph":
            return s["ph"] + .12 + rng.normal(0, .06 * n)
        if q == "propionate_ppm":
            return 0 if p.sorbate else s["dose"] * s["active"] * .7956 / 150 * 1e6 * (1 + rng.normal(0, .07 * n))
        if q == "aerobic_spores_cfu_g":
            return rng.poisson(max(0, s["spores"] * rng.lognormal(0, .4)))
        if q == "acid_grain":
            return x.materials["acid"].active_pct * 10 + rng.normal(0, 1) if x.materials["acid"] else 100
        return None

    def readings(self):
        rows = []
        for x in self.lots:
            s = x.state()
            for q in READINGS:
                if q in ("acid_kg", "inhibitor_kg"):
                    self.by_mix(rows, x, s, q)
                elif q == "core_temp_c":
                    if self.has(q):
                        self.core_series(rows, x, s)
                elif q == "mold_free_days":
                    if self.has(q):
                        self.retained(rows, x, s)
                elif self.has(q) and not (q == "propionate_ppm" and x.product.sorbate):
                    late = self.rng.uniform(0, x.packed_to - x.packed) if q not in ("propionate_ppm",) else self.rng.uniform(1440, 7200)
                    self.put(rows, x, q, self.value(x, s, q), x.packed + late)
        self.table("readings", ["lot", "quantity", "value", "at", "mix", "note"], rows)

    def put(self, rows, x, q, value, minute, mix="", note=""):
        rng = self.rng
        if rng.random() < self.w.typo:
            value = self.slip(q, value)
        if q in PLAUSIBLE:
            value = float(np.clip(value, *PLAUSIBLE[q]))
        value = round(float(max(0, value)) if q not in ("cooler_air_c", "pack_room_c") else float(value), DIGITS.get(q, 1))
        rows.append([x.code, q, value, self.at(minute), mix, note])

    def slip(self, q, value):
        """A slip of the pen: swapped digits or another lot's figure."""
        text = f"{value:.{DIGITS.get(q, 1)}f}"
        spots = [i for i in range(len(text) - 1) if text[i].isdigit() and text[i + 1].isdigit()]
        if spots and self.rng.random() < .6:
            i = spots[self.rng.integers(0, len(spots))]
            text = text[:i] + text[i + 1] + text[i] + text[i + 2:]
            return float(text)
        return value * float(self.rng.uniform(.8, 1.25))

    def by_mix(self, rows, x, s, q):
        if not self.has(q):
            return
        p = x.product
        for m in x.mixes:
            if q == "inhibitor_kg":
                value = m.flour_kg * self.written_dose(x, s) / 100 * (1 + self.rng.normal(0, .01 * self.w.noise))
            else:
                value = m.flour_kg * p.acid * s["acid_ratio"] / 100 * (1 + self.rng.normal(0, .01 * self.w.noise))
            self.put(rows, x, q, value, m.minute, m.name)

    def core_series(self, rows, x, s):
        p = x.product
        start = x.packed - p.cool - s["bake_min"]
        end_c = s["core_end"]
        rate = 3.2 * s["heat_rate"]
        for k in range(13):
            f = k / 12
            core = 30 + (end_c - 30) / (1 + np.exp(-(f * 10 - 10 + 2.0 * rate))) * (1 + np.exp(-(2.0 * rate)))
            self.put(rows, x, "core_temp_c", min(core, end_c) + self.rng.normal(0, .4), start + f * s["bake_min"])
        for k in range(1, 5):
            t = k / 4 * s["cool_min"]
            core = s["cooler_c"] + (end_c - s["cooler_c"]) * np.exp(-t / p.tau)
            self.put(rows, x, "core_temp_c", core + self.rng.normal(0, .4), start + s["bake_min"] + t)

    def retained(self, rows, x, s):
        """Three packs kept: the day the first shows."""
        p, rng = x.product, self.rng
        needs = self.spoilage.needs(p, s)
        spores = self.spoilage.spores[p.code] * self.spoilage.sticking(s)
        first = 99.0
        for k in range(3):
            n = rng.poisson(spores + .3)      # kept packs are handled
            for _ in range(n):
                first = min(first, needs[0] * np.exp(.27 * rng.normal()))
            for source in x.extra:
                if source.symptom == "mold" and source.flora and source.expected > 0:
                    per = source.expected / x.units / max(1e-9, self.w.tell) * 3
                    for _ in range(rng.poisson(min(3, per))):
                        first = min(first, float(np.dot(source.flora, needs)) * np.exp(.27 * rng.normal()))
        limit = p.shelf + 5
        none = first > limit
        days = limit if none else max(1.0, first)
        self.put(rows, x, "mold_free_days", round(days), x.packed + days * 1440, note="none yet" if none else "")

    # ---- plant log ----
    def plantlog(self):
        rows = []
        for key in self.h.keys():
            place, line = key
            for t in self.h.cleanings[key]:
                if t >= 0 and self.has("cleaned"):
                    rows.append([self.at(t), place, "cleaned", 1, line])
            for t in self.h.missed[key]:
                if t >= 0 and self.has("missed"):
                    rows.append([self.at(t), place, "cleaned", 0, line])
            if place not in self.w.no_plates:
                self.samples(rows, place, line)
        self.housekeeping(rows)
        rows.sort(key=lambda r: r[0])
        self.table("plantlog", ["at", "place", "quantity", "value", "line"], rows)

    def samples(self, rows, place, line):
        w, rng = self.w, self.rng
        airy = place in ("cooler-air", "returns-dock", "ingredient-store", "waste-area", "film-store")
        t = rng.uniform(0, w.sample_days[place]) * 1440
        while t < w.days * 1440:
            level = self.h.level(place, line, t) * rng.lognormal(0, .35)
            if airy:
                rows.append([self.at(t), place, "settle_plate_cfu", int(rng.poisson(w.plate_scale[place] * level)), line])
                if rng.random() < .3:
                    rows.append([self.at(t), place, "air_cfu_m3", int(rng.poisson(w.plate_scale[place] * 12 * level)), line])
            else:
                rows.append([self.at(t), place, "swab_cfu", int(rng.poisson(w.swab_scale[place] * level)), line])
                if rng.random() < .35:
                    rows.append([self.at(t), place, "atp_rlu", int(60 * level ** .7 * rng.lognormal(0, .4)), line])
                if place in ("slicer", "bagger") and rng.random() < .3:
                    air = self.h.level("cooler-air", line, t)
                    rows.append([self.at(t), place, "settle_plate_cfu", int(rng.poisson(w.plate_scale[place] * (.5 * air + .3 * level))), line])
            t += w.sample_days[place] * 1440 * rng.uniform(.8, 1.25)

    def sign(self, name, place, line, t):
        return any(s["sign"] == name and s["place"] == place and s["line"] in ("", line) and s["from"] <= t < s["to"]
                   for s in self.w.signs)

    def housekeeping(self, rows):
        w, rng = self.w, self.rng
        for line in self.h.lines_of("cooler-air"):
            t = rng.uniform(0, 20) * 1440
            while t < w.days * 1440:
                late = self.sign("filter", "cooler-air", line, t) or self.sign("filter", "cooler-air", line, t + 5 * 1440)
                rows.append([self.at(t), "cooler-air", "filter_changed", 0 if late else 1, line])
                t += 28 * 1440 * rng.uniform(.9, 1.1)
            t = rng.uniform(0, 1440)
            usual = rng.uniform(10, 25)
            while t < w.days * 1440:
                low = self.sign("pressure", "cooler-air", line, t)
                rows.append([self.at(t), "cooler-air", "pressure_pa", round((rng.uniform(-3, 4) if low else usual) + rng.normal(0, 2), 1), line])
                t += rng.choice([1, 2]) * 1440
        for place in ("cooler-air", "film-store", "cooler-belt"):
            for line in self.h.lines_of(place):
                for day in range(w.days):
                    t = day * 1440 + rng.uniform(300, 1200)
                    if self.sign("condensation", place, line, t) or rng.random() < .01:
                        if rng.random() < .8:
                            rows.append([self.at(t), place, "condensation_seen", 1, line])
                    elif rng.random() < .12:
                        rows.append([self.at(t), place, "condensation_seen", 0, line])
        for day in range(w.days):
            t = day * 1440 + 700 + rng.uniform(-120, 120)
            if rng.random() < .6:
                staged = rng.poisson(4) + 2 if self.sign("staged", "returns-dock", "", t) else int(rng.random() < .06)
                rows.append([self.at(t), "returns-dock", "returns_staged", int(staged), ""])
            if rng.random() < .6:
                bad = self.sign("waste", "waste-area", "", t) or rng.random() < .02
                rows.append([self.at(t + 300), "waste-area", "waste_emptied", 0 if bad else 1, ""])
            for place in ("returns-dock", "waste-area", "ingredient-store"):
                if rng.random() < .25:
                    long = self.sign("door", place, "", t)
                    rows.append([self.at(t + 60), place, "door_open_min", int(rng.exponential(12) + (rng.uniform(60, 240) if long else 0)), ""])
