#!/usr/bin/python3
"""vignettes.py --binaries DIR [--least-top1 N] [--least-top3 N] [--show]: short cases from print, through the daemon.

Each vignette (vignettes/*.json) tells one case as a published description or a textbook would: what was seen, which
records were out of line, and the causes an expert would accept. The rest of the plant is plain: a month of lots of
one product on two lines with ordinary records, plates and cleanings. Keys of a vignette:
  title, source   what it is and where it comes from
  symptom, accept the causes that count, within: 1 or 3 (places from the top)
  observed, told  what the caller saw; age (days after packing it was found), months, channel …
  lot             quantities of the case's lot other than the usual ones; mixes: of single mixes
  uses            material -> columns of the lot's use of it;  old: materials from a lot first used long ago
  log             entries of the plant log: [hours before packing, place, quantity, value]
  transit_c       on the way;  complaints: how many alike;  product: columns other than the usual
  others          complaints on other lots: [how they are related: film flour line inhibitor fat route none, how many]
"""
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
import oddloaf                                                          # noqa: E402

USUAL = {"inhibitor_pct_flour": (0.30, .004), "softener_pct_flour": (0.50, .008), "water_pct_flour": (61, .4), "dough_temp_c": (26, .4),
         "dough_ph": (5.45, .05), "ferment_min": (120, 4), "proof_min": (60, 2), "bake_min": (26, .3), "core_end_bake_c": (97, .5),
         "cool_min": (95, 4), "cooler_air_c": (22, .8), "cooler_rh_pct": (75, 3), "core_at_slicing_c": (35.8, .8),
         "core_at_pack_c": (35, .8), "crumb_ph": (5.30, .05), "crumb_aw": (.953, .002), "crumb_moisture_pct": (37.5, .3),
         "propionate_ppm": (1590, 60), "aerobic_spores_cfu_g": (15, 5), "seal_fail_pct": (.4, .2), "pack_room_c": (20, .8),
         "pack_room_rh_pct": (55, 3), "acid_grain": (100, 1)}
TARGETS = ("inhibitor_pct_flour", "softener_pct_flour", "ferment_min", "bake_min", "core_end_bake_c", "cool_min", "core_at_pack_c", "crumb_ph",
           "crumb_moisture_pct", "crumb_aw", "proof_min", "cooler_rh_pct", "water_pct_flour", "dough_temp_c")
AIRY = ("cooler-air", "returns-dock", "ingredient-store", "waste-area", "film-store")
TOUCHED = ("cooler-belt", "slicer", "bagger", "hands")
DAYS = 32
ZONE = datetime.timezone(datetime.timedelta(hours=-5))


def text_of(header, rows):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def code_of(line, packed):
    shift = "A" if 6 <= packed.hour < 14 else "B" if packed.hour >= 14 else "C"
    return f"L{line} {packed.year % 10}{packed.timetuple().tm_yday:03d} {shift}{packed:%H%M}"


class Scene:
    """The records of one vignette."""

    def __init__(self, v):
        self.v, self.rng = v, random.Random(v["title"])
        month = v.get("month", 10)
        self.first = datetime.datetime(2025, month, 1, 7, 0, tzinfo=ZONE) - datetime.timedelta(days=DAYS - 12)
        self.rows = {k: [] for k in ("lots", "readings", "mixes", "uses", "plantlog", "dispatch")}
        self.codes, self.shares = [], {}
        for day in range(DAYS):
            for line in ("1", "2"):
                for hour in (0, 6):
                    self.lot(line, self.first + datetime.timedelta(days=day, hours=hour), day)
        self.log()

    def is_case(self, line, packed):
        return line == "1" and packed == self.first + datetime.timedelta(days=DAYS - 6)

    def lot(self, line, packed, day):
        v, rng = self.v, self.rng
        code, case = code_of(line, packed), self.is_case(line, packed)
        shelf = v.get("product", {}).get("shelf_life_days", 10)
        until = packed + datetime.timedelta(hours=4)
        made = packed - datetime.timedelta(hours=5)
        self.codes.append((code, line, packed))
        self.rows["lots"].append([code, "P1", line, made.isoformat(), (made + datetime.timedelta(hours=4)).isoformat(), packed.isoformat(),
                                  until.isoformat(), 9000, (packed.date() + datetime.timedelta(days=shelf)).isoformat()])
        for quantity, (mean, spread) in USUAL.items():
            value = rng.gauss(mean, spread)
            if case and quantity in v.get("lot", {}):
                value = v["lot"][quantity]
                if value is None:
                    continue
            elif quantity in ("propionate_ppm", "aerobic_spores_cfu_g") and (case or day % 4):
                continue
            self.rows["readings"].append([code, quantity, round(max(0, value), 3), packed.isoformat(), ""])
        if case:
            for quantity, value in v.get("lot", {}).items():
                if quantity not in USUAL:
                    self.rows["readings"].append([code, quantity, value, packed.isoformat(), ""])
        self.mixes(code, made, case)
        self.uses(code, line, day, case)
        for route, share in (("R1", .4), ("R2", .35), ("R3", .25)):
            c = v.get("transit_c") if case and route == "R2" and "transit_c" in v else round(rng.gauss(15, 1), 1)
            self.rows["dispatch"].append([code, route, (until + datetime.timedelta(hours=3)).isoformat(), int(9000 * share),
                                          {"R1": "0101", "R2": "0201", "R3": "0301"}[route], c])

    def mixes(self, code, made, case):
        for k in range(4):
            name = f"M{code[1]}{code[3:7]}{code[-4:]}-{k}"
            self.rows["mixes"].append([name, code, (made + datetime.timedelta(hours=k)).isoformat(), 1500])
            dose = self.v.get("lot", {}).get("inhibitor_pct_flour", .30) if case else .30
            kg = 1500 * (dose if dose is not None else .30) / 100
            if case and "mixes" in self.v:
                kg = self.v["mixes"][k]
            self.rows["readings"].append([code, "inhibitor_kg", round(kg * self.rng.gauss(1, .008), 3), made.isoformat(), name])

    def uses(self, code, line, day, case):
        v = self.v
        plain = {"flour": f"FL-{day // 3}", "inhibitor": f"IN-{day // 18}", "softener": f"SO-{day // 20}", "acid": f"AC-{day // 15}",
                 "yeast": f"YE-{day // 4}", "fat": f"FA-{day // 10}", "film": f"FI{line}-{day // 6}", "closure": f"CL{line}-{day // 16}"}
        for material, name in plain.items():
            extra = v.get("uses", {}).get(material, {}) if case else {}
            if case and material in v.get("old", []):
                name = f"{material[:2].upper()}{line if material in ('film', 'closure') else ''}-0"
            name = extra.get("material_lot", name)
            active = extra.get("active_pct", 98 if material == "inhibitor" else "")
            if case:
                self.shares[material] = name
            self.rows["uses"].append([code, material, name, active, extra.get("supplier", "S1")])

    def log(self):
        rows, rng, v = self.rows["plantlog"], self.rng, self.v
        packed = self.first + datetime.timedelta(days=DAYS - 6)
        told = [(packed - datetime.timedelta(hours=h), place, quantity, value) for h, place, quantity, value in v.get("log", [])]
        named = {(place, quantity) for _, place, quantity, _ in told}
        for day in range(DAYS):
            at = self.first + datetime.timedelta(days=day, hours=-2)
            for place in AIRY + TOUCHED:
                line = "1" if place in TOUCHED + ("cooler-air",) else ""
                quantity = "settle_plate_cfu" if place in AIRY else "swab_cfu"
                near = abs((at - packed).total_seconds()) < 5 * 86400
                if day % 3 == 0 and not (near and (place, quantity) in named):
                    rows.append([at.isoformat(), place, quantity, max(0, round(rng.gauss(4, 2))), line])
                if not (near and (place, "cleaned") in named):
                    rows.append([at.isoformat(), place, "cleaned", 1, line])
            for place, quantity, usual in (("returns-dock", "returns_staged", 0), ("waste-area", "waste_emptied", 1), ("cooler-air", "pressure_pa", 15),
                                           ("cooler-air", "condensation_seen", 0)):
                if not (abs((at - packed).total_seconds()) < 5 * 86400 and (place, quantity) in named):
                    rows.append([at.isoformat(), place, quantity, usual if quantity != "pressure_pa" else round(rng.gauss(usual, 1.5), 1),
                                 "1" if place == "cooler-air" else ""])
        for when, place, quantity, value in told:
            rows.append([when.isoformat(), place, quantity, value, "1" if place in TOUCHED + ("cooler-air",) else ""])

    # ---- complaints ----
    def complaint(self, code, packed, age, observed, extra=None):
        found = packed + datetime.timedelta(days=age)
        received = found.replace(hour=15) + datetime.timedelta(days=1)
        shelf = self.v.get("product", {}).get("shelf_life_days", 10)
        return {"id": str(uuid.UUID(int=self.rng.getrandbits(128), version=4)), "received_at": received.isoformat(), "channel": "phone",
                "symptom": self.v["symptom"], "lot_text": code, "product": "P1",
                "code_date": (packed.date() + datetime.timedelta(days=shelf)).isoformat(), "found_on": found.date().isoformat(),
                "observed": observed, **(extra or {})}

    def complaints(self):
        v, out = self.v, []
        packed = self.first + datetime.timedelta(days=DAYS - 6)
        code = code_of("1", packed)
        for how, count in v.get("others", []):
            lots = self.related(how, code)
            for k in range(count):
                other, when = lots[k % len(lots)]
                extra = {"store": "0201"} if how == "route" else {}
                out.append(self.complaint(other, when, v.get("age", 5), v.get("observed", {}), extra))
        for k in range(v.get("complaints", 1)):
            out.append(self.complaint(code, packed, v.get("age", 5), v.get("observed", {}), v.get("told")))
        return out, out[-1]["id"]

    def related(self, how, code):
        """Lots near in time that share that factor with the case's lot (none: that share nothing)."""
        line_of = {c: (line, packed) for c, line, packed in self.codes}
        me = line_of[code][1]
        near = [c for c, _, p in self.codes if c != code and p <= me + datetime.timedelta(days=1)]
        if how in self.shares:
            found = [r[0] for r in self.rows["uses"] if r[1] == how and r[2] == self.shares[how] and r[0] in near]
        elif how == "line":
            found = [c for c in near if line_of[c][0] == "1" and abs((line_of[c][1] - me).total_seconds()) < 2.2 * 86400]
        elif how == "route":
            found = [c for c in near if abs((line_of[c][1] - me).total_seconds()) < 3 * 86400]
        elif how == "both-lines":
            found = [c for c in near if abs((line_of[c][1] - me).total_seconds()) < 2.2 * 86400]
        else:
            found = near[::7]
        found = found[-8:] or near[-4:]
        return [(c, line_of[c][1]) for c in found]

    def load(self, plant):
        v = self.v
        p = {"product": "P1", "name": "Harrow Wheat Loaf", "family": "pan-bread", "shelf_life_days": 10, "unit_g": 680, **v.get("product", {})}
        plant.load_text("products", text_of(list(p), [list(p.values())]))
        plant.load_text("targets", text_of(["product", "quantity", "target"], [["P1", q, v.get("targets", {}).get(q, USUAL[q][0])] for q in TARGETS]))
        heads = {"lots": ["lot", "product", "line", "made_from", "made_to", "packed_from", "packed_to", "units", "code_date"],
                 "mixes": ["mix", "lot", "at", "flour_kg"], "uses": ["lot", "material", "material_lot", "active_pct", "supplier"],
                 "readings": ["lot", "quantity", "value", "at", "mix"], "plantlog": ["at", "place", "quantity", "value", "line"],
                 "dispatch": ["lot", "route", "at", "units", "store", "transit_c"]}
        for kind, head in heads.items():
            plant.load_text(kind, text_of(head, self.rows[kind]))


def ranked(v, binaries, rules):
    scene = Scene(v)
    with oddloaf.Plant(binaries, rules=rules) as plant:
        scene.load(plant)
        complaints, last = scene.complaints()
        body = "".join(json.dumps(c) + "\n" for c in complaints).encode()
        status, text = plant.request("POST", "/v1/complaints?rank=0", body, "application/x-ndjson")
        assert status == 200, text
        answers = [json.loads(line) for line in text.splitlines()]
        assert not any("error" in a for a in answers), answers
        case = next(a["case"] for a in answers if a["complaint"] == last)
        ranking = plant.get(f"/v1/cases/{case}")[1]
    return [(r["cause"], r["probability"]) for r in ranking["ranked"]]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--binaries", required=True)
    parser.add_argument("--rules")
    parser.add_argument("--only", help="part of a title")
    parser.add_argument("--least", type=float, default=0, help="share that must be right, else exit 1")
    args = parser.parse_args()
    vignettes = [dict(v, file=path.name) for path in sorted((HERE / "vignettes").glob("*.json"))
                 for v in json.loads(path.read_text(encoding="utf-8"))]
    right = total = 0
    for v in vignettes:
        if args.only and args.only not in v["title"]:
            continue
        order = ranked(v, args.binaries, args.rules)
        good = any(c in v["accept"] for c, _ in order[:v["within"]])
        right, total = right + good, total + 1
        print(f"{'ok  ' if good else 'MISS'} {v['file']}: {v['title']} (accepted in top {v['within']}: {', '.join(v['accept'])}): " +
              ", ".join(f"{c} {p:.2f}" for c, p in order[:4]), flush=True)
    print(f"{right} of {total} right")
    return 0 if total and right / total >= args.least else 1


if __name__ == "__main__":
    sys.exit(main())
