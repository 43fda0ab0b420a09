"""Is what `oddloaf gaps` foretells of a record what comes of it? Rows of one kind are kept back for part of
the lots of a simulated plant, gaps is asked of that record, they are given back, and all cases are ranked again:
the bits by which rankings move and cases settled, foretold beside what came, and whether the records that tell
more are named before those that tell less. Each row is one of the table in DEVELOPERS.md.

    given_back.py BINARIES [--seeds 500..503] [--record uses:film,readings:crumb_ph] [--share 0.4] [--work FOLDER]
                  [--simulator plants] [--least-inside N]

--record is uses:MATERIAL, readings:QUANTITY or dispatch:, several with commas between. (Cases are those that were there
before the rows came back: without dispatch a complaint may find another lot. Without mixes the uses that name them are
refused.)
--least-inside fails if fewer seeds and records came within the range of bits that was foretold.
"""
import argparse
import csv
import io
import itertools
import math
import pathlib
import random
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "e2e"))
import oddloaf                                                          # noqa: E402
from plantrun import KINDS, SIMULATORS, complaints_of, log_complaints, ranks, send, simulated  # noqa: E402

SETTLED, ROUNDED = .8, 1e-4


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


def told_by(after, before):
    """Relative entropy, in bits."""
    was = {r["cause"]: r["probability"] for r in before["ranked"]}
    return sum(r["probability"] * math.log2(r["probability"] / max(was.get(r["cause"], 0), 1e-9))
               for r in after["ranked"] if r["probability"] > 0)


def settled(ranking):
    return ranking["ranked"][0]["probability"] >= SETTLED


def given_part(row, cases, back, kind):
    """Of what is foretold if all lots had it, what the cases whose lots got it stand for."""
    lot = lambda ranking: ranking["lots"][0]["lot"] if ranking["lots"] else None  # noqa: E731
    share = row["with"] / (row["with"] + row["without"])
    got = share + sum(lot(case) in back for case in cases) / max(len(cases), 1)
    power = 2 if kind == "uses" else 1
    return ((min(got, 1) / share) ** power - 1) / ((1 / share) ** power - 1)


def study(seed, options, kind, what=""):
    folder = simulated(seed, options.work, by=options.simulator)
    with oddloaf.Plant(options.binaries) as plant:
        for one in KINDS:
            text = (folder / f"{one}.csv").read_text()
            if one == kind:
                first, back = split(text, kind, what, options.share, random.Random(seed))
            send(plant, one, first if one == kind else text.encode())
        log_complaints(plant, complaints_of(folder))
        before = ranks(plant)
        told = plant.request("GET", f"/v1/gaps?weeks=8&within=30&record={kind}:{what}", timeout=300)[1]
        row, = told["tells"]
        send(plant, kind, back)
        after = ranks(plant)
    if not row["gain"]:
        print(f"seed {seed}, {kind}:{what}: {row['says']}", flush=True)
        return None
    both = [case for case in before.keys() & after.keys() if before[case]["ranked"]]
    lots = {line.split(",")[0] for line in back.decode().splitlines()[1:]}
    part = given_part(row, [before[case] for case in both], lots, kind)
    came = sum(told_by(after[case], before[case]) for case in both) / len(both)
    more = sum(settled(after[case]) - settled(before[case]) for case in both) / len(both)
    bits = {name: row["gain"][name] * part for name in row["gain"]}
    month = {name: row["more_a_month"][name] * part for name in row["more_a_month"]}
    came_month = more * told["cases"] / max(told["months"], .1)
    print(f"{options.simulator} {seed} | {kind} {what} | {row['with']} of {told['cases']} | "
          f"{bits['bits']:.4f} ({bits['low']:.4f} to {bits['high']:.4f}) | {came:.4f} | "
          f"{month['cases']:.1f} ({month['low']:.1f} to {month['high']:.1f}) | "
          f"{came_month:.1f}", flush=True)
    return seed, bits, came, month["low"] - ROUNDED <= came_month <= month["high"] + ROUNDED


def in_order(rows):
    """Of the pairs of records of one plant, one of which told twice the other: those named in their order, and all."""
    pairs = [(a, b) for a, b in itertools.combinations(rows, 2)
             if a[0] == b[0] and max(a[2], b[2]) > 2 * min(a[2], b[2])]
    return sum((a[1]["bits"] > b[1]["bits"]) == (a[2] > b[2]) for a, b in pairs), len(pairs)


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
    asked = [(record, seed) for seed in range(first, last + 1) for record in options.record.split(",")]
    told = [row for row in (study(seed, options, *record.split(":")) for record, seed in asked) if row]
    inside = sum(bits["low"] <= came <= bits["high"] for _, bits, came, _ in told)
    near = sum(bits["bits"] / 2 <= came <= bits["bits"] * 2 for _, bits, came, _ in told)
    right, pairs = in_order(told)
    print(f"{options.simulator}: {len(told)} of {len(asked)} told; {inside} came within the range, {near} within a factor "
          f"of two; cases a month of {sum(r[3] for r in told)} within theirs; {right} of {pairs} pairs in order; "
          f"mean foretold {sum(r[1]['bits'] for r in told) / max(len(told), 1):.4f}, "
          f"came {sum(r[2] for r in told) / max(len(told), 1):.4f} bits a case")
    if inside < options.least_inside:
        sys.exit("fewer came within their range than is asked")


main()
