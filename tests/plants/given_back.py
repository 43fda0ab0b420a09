"""Is what `oddloaf gaps` foretells of a record what comes of it? Rows of one kind are kept back for part of
the lots of a simulated plant, gaps is asked, they are given back, and all cases are ranked again: bits of
doubt and cases settled, foretold beside what came.

    given_back.py BINARIES [--seeds 500..503] [--record uses:film] [--share 0.4] [--work FOLDER]
                  [--simulator plants] [--least-inside N]

--record is uses:MATERIAL, readings:QUANTITY, mixes: or dispatch:, or several with commas between.
--least-inside fails if fewer seeds and records came within the range that was foretold.
"""
import argparse
import csv
import io
import math
import pathlib
import random
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "e2e"))
import oddloaf                                                          # noqa: E402
from plantrun import KINDS, SIMULATORS, complaints_of, log_complaints, ranks, send, simulated  # noqa: E402

SETTLED = .8


def split(text, kind, what, share, rng):
    """The rows that are loaded first, and those that are given back."""
    rows = list(csv.reader(io.StringIO(text)))
    head, column = rows[0], {"uses": "material", "readings": "quantity"}.get(kind)
    lot = head.index("lot")
    hidden = {row[lot] for row in rows[1:]}
    hidden = {name for name in sorted(hidden) if rng.random() < share}

    def kept_back(row):
        return row[lot] in hidden and (not column or row[head.index(column)] == what)

    def text_of(some):
        out = io.StringIO()
        csv.writer(out).writerows([head, *some])
        return out.getvalue().encode()
    return (text_of([row for row in rows[1:] if not kept_back(row)]),
            text_of([row for row in rows[1:] if kept_back(row)]))


def doubt(ranking):
    return -sum(r["probability"] * math.log2(r["probability"]) for r in ranking["ranked"] if r["probability"] > 0)


def settled(ranking):
    return ranking["ranked"][0]["probability"] >= SETTLED


def study(seed, options, kind, what):
    folder = simulated(seed, options.work, by=options.simulator)
    with oddloaf.Plant(options.binaries) as plant:
        for one in KINDS:
            text = (folder / f"{one}.csv").read_text()
            if one == kind:
                first, back = split(text, kind, what, options.share, random.Random(seed))
            send(plant, one, first if one == kind else text.encode())
        log_complaints(plant, complaints_of(folder))
        before = ranks(plant)
        began = time.monotonic()
        told = plant.request("GET", "/v1/gaps?weeks=8&within=30", timeout=300)[1]
        took = time.monotonic() - began
        measured = sum(t["gain"] is not None for t in told["tells"])
        row = next(t for t in told["tells"] if (t["kind"], t["what"]) == (kind, what))
        send(plant, kind, back)
        after = ranks(plant)
    both = before.keys() & after.keys()
    bits = sum(doubt(before[c]) - doubt(after[c]) for c in both)
    more = sum(settled(after[c]) - settled(before[c]) for c in both)
    gain, month = row["gain"] or {}, row["more_a_month"] or {}
    print(f"seed {seed}: {len(both)} cases, {told['cases']} looked at, {row['without']} without; foretold "
          f"{gain.get('bits')} ({gain.get('low')} to {gain.get('high')}) bits a case, came {bits / max(len(both), 1):.4f}; "
          f"more a month: foretold {month.get('cases')} ({month.get('low')} to {month.get('high')}), "
          f"came {more / max(len(both), 1) * told['cases'] / max(told['months'], .1):.2f}; {measured} records measured in {took:.1f} s", flush=True)
    return gain, bits / max(len(both), 1)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--seeds", default="500..503")
    parser.add_argument("--record", default="uses:film")
    parser.add_argument("--share", type=float, default=.4)
    parser.add_argument("--work", type=pathlib.Path, default=pathlib.Path("/tmp/oddloaf-given-back"))
    parser.add_argument("--simulator", choices=SIMULATORS, default="plants")
    parser.add_argument("--least-inside", type=int, default=0)
    options = parser.parse_args()
    first, last = (int(n) for n in options.seeds.split(".."))
    rows = [study(seed, options, *record.split(":")) for record in options.record.split(",") for seed in range(first, last + 1)]
    told = [(gain, came) for gain, came in rows if gain]
    inside = sum(gain["low"] <= came <= gain["high"] for gain, came in told)
    print(f"{options.simulator}: {len(told)} of {len(rows)} told; {inside} came within the range; mean foretold "
          f"{sum(gain['bits'] for gain, _ in told) / max(len(told), 1):.4f}, came "
          f"{sum(came for _, came in told) / max(len(told), 1):.4f} bits a case")
    if inside < options.least_inside:
        sys.exit("fewer came within their range than is asked")


main()
