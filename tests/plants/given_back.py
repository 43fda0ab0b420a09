"""Is what `oddloaf gaps` foretells of a record what comes of it? Rows of one kind are kept back for part of
the lots of a simulated plant, gaps is asked, they are given back, and all cases are ranked again: bits of
doubt and cases settled, foretold beside what came.

    given_back.py BINARIES [--seeds 500..503] [--record uses:film] [--share 0.4] [--work FOLDER]
                  [--most-off BITS]

--record is uses:MATERIAL, readings:QUANTITY, mixes: or dispatch:. --most-off fails if foretold and come
are further apart than that, in bits a case.
"""
import argparse
import csv
import io
import math
import pathlib
import random
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "e2e"))
import oddloaf                                                          # noqa: E402
from plantrun import KINDS, complaints_of, log_complaints, ranks, send, simulated  # noqa: E402

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
    folder = simulated(seed, options.work)
    with oddloaf.Plant(options.binaries) as plant:
        for one in KINDS:
            text = (folder / f"{one}.csv").read_text()
            if one == kind:
                first, back = split(text, kind, what, options.share, random.Random(seed))
            send(plant, one, first if one == kind else text.encode())
        log_complaints(plant, complaints_of(folder))
        before = ranks(plant)
        told = plant.get("/v1/gaps?weeks=8")[1]
        row = next(t for t in told["tells"] if (t["kind"], t["what"]) == (kind, what))
        send(plant, kind, back)
        after = ranks(plant)
    both = before.keys() & after.keys()
    bits = sum(doubt(before[c]) - doubt(after[c]) for c in both)
    more = sum(settled(after[c]) - settled(before[c]) for c in both)
    known = row["with"] + row["without"]
    foretold = (row["bits"] or 0) * row["without"] / max(known, 1)
    print(f"seed {seed}: {len(both)} cases, {known} looked at, {row['without']} without; foretold {foretold:.3f} bits a case, "
          f"came {bits / max(len(both), 1):.3f}; settled more: foretold {(row['settles'] or 0) * row['without'] / max(known, 1):.3f} "
          f"of the cases, came {more / max(len(both), 1):.3f}", flush=True)
    return foretold, bits / max(len(both), 1)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--seeds", default="500..503")
    parser.add_argument("--record", default="uses:film")
    parser.add_argument("--share", type=float, default=.4)
    parser.add_argument("--work", type=pathlib.Path, default=pathlib.Path("/tmp/oddloaf-given-back"))
    parser.add_argument("--most-off", type=float, default=math.inf)
    options = parser.parse_args()
    first, last = (int(n) for n in options.seeds.split(".."))
    kind, what = options.record.split(":")
    rows = [study(seed, options, kind, what) for seed in range(first, last + 1)]
    foretold, came = (sum(column) / len(rows) for column in zip(*rows))
    print(f"{options.record}: foretold {foretold:.3f} bits a case, came {came:.3f}")
    if abs(foretold - came) > options.most_off:
        sys.exit("further off than is asked")


main()
