#!/usr/bin/python3
"""What verdicts confirmed nearby are worth (rank/nearby.h, in Python again), from rankings kept by run.py --out.

    nearby.py --rows FILE --folder WORK/seed-N [--delay 3]     cases of one plant, of one seed

Each case is settled to the truth so many days after its newest complaint; then the next one is ranked without and
with what stood confirmed by its own newest complaint. Learned shares of causes are left out of both.
"""
import argparse
import csv
import datetime
import json
import pathlib

from scoring import counted

ROOT = pathlib.Path(__file__).resolve().parents[2]


def days(text):
    return datetime.datetime.fromisoformat(text).timestamp() / 86400


def shares():
    """symptom -> cause -> shipped share; and the causes that are faults of the plant."""
    causes = [json.loads(p.read_text(encoding="utf-8")) for p in (ROOT / "rules" / "causes").glob("*.json")]
    out = {}
    for cause in causes:
        for symptom, share in cause["symptoms"].items():
            out.setdefault(symptom, {})[cause["id"]] = share
    return out, {c["id"] for c in causes if not c.get("background") and not c.get("after_dispatch")}


def first_with(row, known, prior, settings):
    """The first cause with what `known` cases of its line confirmed."""
    said, near = dict(row["ranked"]), {}
    for other in known:
        if other["line"] == row["line"] and other["symptom"] == row["symptom"] and \
                abs(other["packed"] - row["packed"]) <= settings["near_days"] and other["truth"][0] in said:
            near[other["truth"][0]] = near.get(other["truth"][0], 0) + 1
    total, all_, m = sum(near.values()), sum(prior.values()), settings["near_share"]
    if total:
        said = {c: p * (1 - m + m * near.get(c, 0) / total / (prior[c] / all_)) for c, p in said.items()}
    return max(said, key=said.get)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", required=True, type=pathlib.Path)
    parser.add_argument("--folder", required=True, type=pathlib.Path)
    parser.add_argument("--delay", type=float, default=3)
    args = parser.parse_args()
    settings, (prior, faults) = json.loads((ROOT / "rules" / "ranking.json").read_text(encoding="utf-8")), shares()
    lots = {r["lot"]: r for r in csv.DictReader((args.folder / "lots.csv").open(encoding="utf-8"))}
    rows = sorted(map(json.loads, args.rows.open(encoding="utf-8")), key=lambda r: days(r["as_of"]))
    for row in rows:
        lot = lots.get(row["lot"])
        row.update(line=lot and lot["line"], packed=lot and days(lot["packed_from"]))
    for name, planted in (("planted", (True,)), ("background", (False,)), ("all", (True, False))):
        some = [r for r in counted(rows) if r["planted"] in planted]
        with_ = 0
        for row in some:
            known = [o for o in rows if days(o["as_of"]) + args.delay <= days(row["as_of"]) and o["line"] and o["truth"][0] in faults]
            with_ += (first_with(row, known, prior[row["symptom"]], settings) if row["line"] else row["ranked"][0][0]) in row["truth"]
        without = sum(r["ranked"][0][0] in r["truth"] for r in some)
        print(f"{name:10} n {len(some):4}  right first {without / max(1, len(some)):.3f} -> {with_ / max(1, len(some)):.3f}")


if __name__ == "__main__":
    main()
