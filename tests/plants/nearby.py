#!/usr/bin/python3
"""What verdicts confirmed nearby are worth (rank/nearby.h, in Python again), case by case as they come.

    run.py --binaries DIR --seeds 9500..9502 --simulator S --times 2 --learn      plants made, ranked, and this
    nearby.py --rows FILE --folder WORK/seed-N [--after 150]                      of rows kept by run.py --out, one plant

Cases are settled so many days after their newest complaint; the next one is ranked without and with what stood
confirmed by its own newest complaint, and counts once --after verdicts are there. Three ways: every case settled to
the truth after three days; six in ten of them after three and after seven days, a verdict in twenty naming another of
the first eight causes. Learned shares of causes are left out of both.
"""
import argparse
import csv
import datetime
import json
import pathlib
import random

from scoring import counted

ROOT = pathlib.Path(__file__).resolve().parents[2]
AFTER = 150
WAYS = (("all, after 3 days", 3, 1, 0), (".6 of them, .05 wrong, 3 days", 3, .6, .05), (".6 of them, .05 wrong, 7 days", 7, .6, .05))


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


def placed(rows, folder):
    """The rows of one plant as their newest complaints came, with where and when their lots were packed."""
    lots = {r["lot"]: r for r in csv.DictReader((folder / "lots.csv").open(encoding="utf-8"))}
    for row in rows:
        lot = lots.get(row["lot"])
        row.update(line=lot and lot["line"], packed=lot and days(lot["packed_from"]))
    return sorted(rows, key=lambda r: days(r["as_of"]))


def verdicts(rows, delay, settled, wrong):
    """(when, row, cause), as they are given."""
    rng, out = random.Random(1), []
    for row in rows:
        if rng.random() >= settled:
            continue
        others = [c for c, _ in row["ranked"][:8] if c not in row["truth"]]
        out.append((days(row["as_of"]) + delay, row, rng.choice(others) if rng.random() < wrong else row["truth"][0]))
    return sorted(out, key=lambda v: v[0])


def first_with(row, known, prior, settings, faults):
    """The first cause with what `known` verdicts on its line confirmed."""
    said, near = dict(row["ranked"]), {}
    for _, other, cause in known:
        if other["line"] == row["line"] and other["symptom"] == row["symptom"] and cause in said and cause in faults and \
                abs(other["packed"] - row["packed"]) <= settings["near_days"]:
            near[cause] = near.get(cause, 0) + 1
    total, all_, m = sum(near.values()), sum(prior.values()), settings["near_share"]
    if total:
        said = {c: p * (1 - m + m * near.get(c, 0) / total / (prior[c] / all_)) for c, p in said.items()}
    return max(said, key=said.get)


def judged(rows, way, after):
    """(planted, right without, right with) of each case that counts, of one plant."""
    settings, (prior, faults) = json.loads((ROOT / "rules" / "ranking.json").read_text(encoding="utf-8")), shares()
    given, out = verdicts(rows, *way), []
    for row in rows:
        known = [v for v in given if v[0] <= days(row["as_of"])]
        if not row["readable"] or len(known) < after:
            continue
        without = row["ranked"][0][0]
        with_ = first_with(row, [v for v in known if v[1]["line"]], prior[row["symptom"]], settings, faults) if row["line"] else without
        out.append((row["planted"], without in row["truth"], with_ in row["truth"]))
    return out


def report(plants, after):
    """`plants`: the rows of each, placed()."""
    for name, *way in WAYS:
        cases = [c for rows in plants for c in judged(rows, way, after)]
        print(f"{name}; cases after {after} verdicts")
        for kind, planted in (("planted", (True,)), ("background", (False,)), ("all", (True, False))):
            some = [c for c in cases if c[0] in planted]
            n, without, with_ = max(1, len(some)), sum(c[1] for c in some), sum(c[2] for c in some)
            won, lost = sum(c[2] and not c[1] for c in some), sum(c[1] and not c[2] for c in some)
            print(f"  {kind:10} n {len(some):4}  right first {without / n:.3f} -> {with_ / n:.3f}  {(with_ - without) / n:+.3f}  "
                  f"({won} won, {lost} lost)", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", required=True, type=pathlib.Path)
    parser.add_argument("--folder", required=True, type=pathlib.Path)
    parser.add_argument("--after", type=int, default=AFTER)
    args = parser.parse_args()
    report([placed(list(map(json.loads, args.rows.open(encoding="utf-8"))), args.folder)], args.after)


if __name__ == "__main__":
    main()
