#!/usr/bin/python3
"""Sets rankings beside what was planted: how often the true cause came first or among three.

    oddloaf --json rank --all | python3 data/compare.py TRUTH.csv

Every complaint counts once, with the ranking of the case it is in. Complaints from no trouble of
the plant ("background") are right when not-known or a cause after dispatch comes first.
"""
import csv
import json
import sys
from collections import defaultdict

AFTER_DISPATCH = {"not-known", "warm-storage", "old-stock", "cold-storage", "old-stock-stale"}


def main():
    with open(sys.argv[1], newline="", encoding="utf-8") as f:
        truth = {row["complaint"]: row for row in csv.DictReader(f)}
    table = defaultdict(lambda: [0, 0, 0, 0.0])
    for line in sys.stdin:
        case = json.loads(line)
        causes = [r["cause"] for r in case["ranked"]]
        chance = {r["cause"]: r["probability"] for r in case["ranked"]}
        for complaint in case["complaints"]:
            row = truth.get(complaint)
            if not row:
                continue
            fits = AFTER_DISPATCH if row["trouble"] == "background" else {row["cause"]}
            for name in (row["trouble"], "all planted" if row["trouble"] != "background" else ""):
                t = table[name]
                t[0] += 1
                t[1] += causes[0] in fits
                t[2] += bool(fits & set(causes[:3]))
                t[3] += sum(chance.get(c, 0) for c in fits)
    table.pop("", None)
    print(f"  {'planted trouble':18} {'complaints':>10} {'first':>6} {'in three':>9} {'mean p':>7}")
    for name in sorted(table, key=lambda n: (n in ("all planted", "background"), n)):
        n, first, three, p = table[name]
        print(f"  {name:18} {n:10} {first / n:6.0%} {three / n:9.0%} {p / n:7.2f}")


if __name__ == "__main__":
    main()
