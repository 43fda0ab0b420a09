#!/usr/bin/python3
"""How right the ranking is on invented plants.

    run.py --binaries DIR --seeds 1..20 [--work DIR] [--out FILE] [--verdicts] [--ask] [--ablate NAME]

Each seed is simulated, loaded into a daemon of its own and ranked; the ranking is compared with what was planted.

Which cases count: a case counts when most of its complaints told a lot code that was exact or misread by a
character or two (whatever the daemon made of it: a code taken for a wrong lot is the daemon's mistake).
Cases whose callers gave no code, only a part of one, or read it off another pack, are shown apart ("lot open").
The truth of a case is the commonest true cause of its complaints; on a tie every tied cause is right, and a
planted one makes the case a planted one. A background case is right when not-known or a cause after dispatch
is on top.

Seeds 1-20 are for tuning, 100-139 train the ceiling (ceiling.py), 200-219 are reported and nobody tunes on them.
"""
import argparse
import collections
import json
import pathlib
import subprocess
import sys
import time
import uuid

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
sys.path.insert(0, str(HERE.parent / "e2e"))
import oddloaf                                                          # noqa: E402
import facts                                                            # noqa: E402
import scoring                                                          # noqa: E402

PART = 400_000
KINDS = ("products", "targets", "lots", "mixes", "uses", "readings", "plantlog", "dispatch")


def simulated(seed, work):
    folder = work / f"seed-{seed}"
    if not (folder / "truth.json").exists():
        subprocess.run([sys.executable, HERE / "simulate.py", str(seed), folder], check=True, stdout=subprocess.DEVNULL)
    return folder


def send(plant, kind, data):
    """One file in parts; returns the answer to the last and the rows refused."""
    parts = [data[k:k + PART] for k in range(0, len(data), PART)]
    upload, refused = uuid.uuid4(), []
    for n, part in enumerate(parts):
        last = int(n == len(parts) - 1)
        status, answer = plant.request(
            "POST", f"/v1/records/{kind}?source={kind}.csv&load={upload}&part={n}&last={last}&keep_good=1", part, "text/csv",
            timeout=300)
        if status != 200:
            raise RuntimeError(f"{kind}: {status} {answer}")
        refused += answer["refused"]
    return refused


def load(plant, folder):
    for kind in KINDS:
        refused = send(plant, kind, (folder / f"{kind}.csv").read_bytes())
        if refused:
            print(f"  {folder.name} {kind}: {len(refused)} refused, first {refused[0]}", file=sys.stderr)


def log_complaints(plant, folder):
    """Returns complaint id -> case id."""
    lines = (folder / "complaints.ndjson").read_bytes().splitlines(keepends=True)
    case_of = {}
    for first in range(0, len(lines), 300):
        status, text = plant.request("POST", f"/v1/complaints?rank=0&source=complaints.ndjson&first_line={first + 1}",
                                     b"".join(lines[first:first + 300]), "application/x-ndjson", timeout=300)
        if status != 200:
            raise RuntimeError(f"complaints: {status} {text}")
        for line in text.splitlines():
            answer = json.loads(line)
            if "error" in answer:
                print(f"  {folder.name}: refused {answer['error']}", file=sys.stderr)
            else:
                case_of[answer["complaint"]] = answer["case"]
    return case_of


def ranks(plant):
    """Every case's ranking, paged."""
    found, after = {}, "C0"
    while True:
        status, text = plant.request("GET", f"/v1/ranks?after={after}&limit=100", timeout=300)
        if status != 200:
            raise RuntimeError(f"ranks: {status} {text}")
        lines = text.splitlines()
        if not lines:
            return found
        for line in lines:
            ranking = json.loads(line)
            found[ranking["case"]] = ranking
        after = json.loads(lines[-1])["case"]


def cases_of(seed, folder, found):
    """Truth and ranking side by side, one dict a case."""
    truth = {c["id"]: c for c in json.loads((folder / "truth.json").read_text())["complaints"]}
    rows = []
    for case, ranking in found.items():
        told = [truth[c] for c in ranking["complaints"] if c in truth]
        if not told:
            continue
        votes = collections.Counter(c["cause"] for c in told)
        most = max(votes.values())
        causes = sorted(c for c, n in votes.items() if n == most)
        lots = collections.Counter(c["lot"] for c in told)
        rows.append({
            "seed": seed, "case": case, "symptom": ranking["symptom"], "truth": causes,
            "planted": any(c != "not-known" for c in causes), "complaints": len(told),
            "readable": sum(c["reading"] in ("exact", "misread") for c in told) * 2 > len(told),
            "lot": ranking["lot"], "true_lot": lots.most_common(1)[0][0],
            "ranked": [(r["cause"], r["probability"]) for r in ranking["ranked"]],
            "trouble": collections.Counter(c["trouble"] for c in told).most_common(1)[0][0]})
    return rows


def run_seed(seed, args, rules=None):
    folder = simulated(seed, args.work)
    begin = time.time()
    with oddloaf.Plant(args.binaries, rules=rules or args.rules) as plant:
        load(plant, folder)
        loaded = time.time()
        log_complaints(plant, folder)
        logged = time.time()
        rows = cases_of(seed, folder, ranks(plant))
        if args.facts:
            for row in rows:
                row["facts"] = facts.flatten(plant.get(f"/v1/cases/{row['case']}/facts")[1])
        ranked = time.time()
    print(f"  seed {seed}: {len(rows)} cases; load {loaded - begin:.1f} s, log {logged - loaded:.1f} s, "
          f"rank {ranked - logged:.1f} s", file=sys.stderr)
    return rows


def seeds_of(text):
    out = []
    for part in text.split(","):
        low, _, high = part.partition("..")
        out += range(int(low), int(high or low) + 1)
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--binaries", required=True)
    parser.add_argument("--seeds", required=True, type=seeds_of)
    parser.add_argument("--rules", type=pathlib.Path, help="rules other than the shipped ones")
    parser.add_argument("--work", type=pathlib.Path, default=pathlib.Path("/tmp/oddloaf-plants"))
    parser.add_argument("--out", type=pathlib.Path, help="cases as JSON lines, for scoring again")
    parser.add_argument("--facts", action="store_true", help="keep each case's facts in --out, for the ceiling")
    args = parser.parse_args()
    rows = []
    for seed in args.seeds:
        rows += run_seed(seed, args)
    if args.out:
        with open(args.out, "w", encoding="utf-8") as f:
            for row in rows:
                f.write(json.dumps(row) + "\n")
    scoring.report(rows)


if __name__ == "__main__":
    main()
