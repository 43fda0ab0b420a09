#!/usr/bin/python3
"""Does tracing name what did it? Invented plants; one question a planted trouble.

    traces.py --replay build/plain/tests/plants/trace_replay --seeds 100..103 [--simulator NAME|all]
              [--days-before 55] [-v]

A trouble counts when three complaints of it told a code that could be read and it was somewhere (planted.py). The question is the one that the week's page proposes:
its symptom, lots packed in the eight weeks up to the end of that in which the trouble's last lot was packed. The
true factor is first, or among the first three, of `factors`; "plain" is the order of the exact test alone.
A trouble stands alone where no other of its symptom brought three complaints on lots packed in that time.
"""
import argparse
import collections
import datetime
import json
import pathlib
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import plantrun                                                         # noqa: E402
from planted import DAY_MS, Plant, true_factors                          # noqa: E402
from run import seeds_of                                                # noqa: E402

COMPLAINTS_LEAST = 3


def questions(plant, days_before):
    """One a trouble that is somewhere."""
    by_trouble = collections.defaultdict(list)
    for c in plant.complaints:
        if c["trouble"] != -1:
            by_trouble[c["trouble"], c["symptom"]].append(c)
    for (number, symptom), mine in sorted(by_trouble.items()):
        truth = true_factors(plant, plant.troubles[number], mine) if len(mine) >= COMPLAINTS_LEAST else None
        if not truth:
            continue
        last = max(plant.lots[c["lot"]]["at"] for c in mine) // DAY_MS
        to_day = last + 6 - (last + 3) % 7                    # that week's Sunday
        from_day = to_day - days_before
        others = collections.Counter(c["trouble"] for c in plant.complaints if c["symptom"] == symptom and
                                     c["trouble"] not in (-1, number) and from_day <= plant.lots[c["lot"]]["at"] // DAY_MS <= to_day)
        yield {"trouble": number, "cause": plant.troubles[number]["cause"], "symptom": symptom, "complaints": len(mine),
               "kind": truth[0], "truth": truth[1], "alone": not any(n >= COMPLAINTS_LEAST for n in others.values()),
               "ask": f"{symptom}:{date_of(from_day)}:{date_of(to_day)}"}


def date_of(day):
    return (datetime.date(1970, 1, 1) + datetime.timedelta(days=day)).isoformat()


def answers(replay, plant, asked):
    with tempfile.TemporaryDirectory(prefix="oddloaf-traces-") as folder:
        done = subprocess.run([replay, folder, "UTC", *[q["ask"] for q in asked]], input=plant.sql(), capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(done.stderr)
    return [json.loads(line) for line in done.stdout.splitlines()]


def place(levels, truth):
    return next((n for n, x in enumerate(levels) if any(t in x for t in truth)), 999)


def levels_of(factor):
    return [(f["factor"], f["level"]) for f in [factor, *factor.get("same_lots", [])]]


def judged(q, answer):
    factors = answer["factors"]
    plain = sorted(factors, key=lambda f: (f["p"], -f["case_lots_exposed"]))
    told = [[(f["factor"], f["level"]) for f in s["factors"]] for s in answer.get("stories", [])]
    return {**q, "at": place([[levels_of(f)[0]] for f in factors], q["truth"]), "same_at": place(list(map(levels_of, factors)), q["truth"]),
            "plain_at": place(list(map(levels_of, plain)), q["truth"]), "told_at": place(told, q["truth"]), "stories": told,
            "seconds": answer["seconds"]}


def print_rows(rows):
    def row(name, part):
        if part:
            share = lambda key, most: sum(r[key] < most for r in part) / len(part)          # noqa: E731
            print(f"{name:24} {len(part):4} | first {share('at', 1):.2f}  in three {share('at', 3):.2f} | or on the same lots "
                  f"{share('same_at', 1):.2f} {share('same_at', 3):.2f} | plain {share('plain_at', 1):.2f} {share('plain_at', 3):.2f} | "
                  f"in the first story {share('told_at', 1):.2f}, in any {share('told_at', 99):.2f}")
    row("all", rows)
    row("alone", [r for r in rows if r["alone"]])
    row("5 complaints or more", [r for r in rows if r["complaints"] >= 5])
    row("10 or more", [r for r in rows if r["complaints"] >= 10])
    for kind in ("line", "material", "route", "store", "shift", "product"):
        row(kind, [r for r in rows if r["kind"] == kind])
    print(f"processor time a question: {sum(r['seconds'] for r in rows) / len(rows):.3f} s, at most {max(r['seconds'] for r in rows):.2f}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replay", required=True)
    parser.add_argument("--seeds", required=True, type=seeds_of)
    parser.add_argument("--simulator", choices=[*plantrun.SIMULATORS, "all"], default="all")
    parser.add_argument("--days-before", type=int, default=55)
    parser.add_argument("--planted", choices=["", *plantrun.planting.KINDS], default="", help="every other trouble of that kind")
    parser.add_argument("--work", type=pathlib.Path, default=pathlib.Path("/tmp/oddloaf-plants"))
    parser.add_argument("--least-first", type=float, default=0)
    parser.add_argument("-v", action="store_true", help="every trouble")
    args = parser.parse_args()
    rows = []
    for simulator in plantrun.SIMULATORS if args.simulator == "all" else [args.simulator]:
        for seed in args.seeds:
            plant = Plant(plantrun.simulated(seed, args.work, by=simulator, planted=args.planted))
            asked = list(questions(plant, args.days_before))
            rows += [{**judged(q, a), "plant": f"{simulator} {seed}"} for q, a in zip(asked, answers(args.replay, plant, asked))]
    for r in rows if args.v else []:
        print(f"{r['plant']:14} {r['cause']:26} {r['complaints']:3} {'alone' if r['alone'] else '':5} {r['kind']:8} {str(r['truth'])[:60]:60} "
              f"at {r['at']} plain {r['plain_at']} told {r['told_at']} {r['stories'][:2]}"[:420])
    print_rows(rows)
    return int(sum(r["at"] < 1 for r in rows) < args.least_first * len(rows))


if __name__ == "__main__":
    sys.exit(main())
