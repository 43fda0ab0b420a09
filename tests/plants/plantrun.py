"""One invented plant through a daemon of its own: load, log, rank, and set truth beside the ranking."""
import collections
import datetime
import json
import os
import pathlib
import subprocess
import sys
import time
import uuid

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "e2e"))
import oddloaf                                                          # noqa: E402
import facts                                                            # noqa: E402
import planting                                                         # noqa: E402

PART = 400_000
KINDS = ("products", "targets", "lots", "mixes", "uses", "readings", "plantlog", "dispatch")


# Writers of one did not see the others, nor the rules; tropics and northern are of one hand and share strangers.py.
SIMULATORS = {"plants": "simulate.py", "physical": "physical/sim.py", "paperwork": "paperwork/sim.py",
              "tropics": "tropics/sim.py", "northern": "northern/sim.py"}


TAKES_DAYS = {"plants": 112, "tropics": 182, "northern": 182}   # the others are told how many times as long by the environment


def simulated(seed, work, *more, by="plants", planted="", times=1):
    if times > 1 and by in TAKES_DAYS:
        days = TAKES_DAYS[by] * times
        more = (str(days), (planting.BEFORE - datetime.timedelta(days=days)).isoformat())
    name = ["seed", str(seed), *more, planted, f"x{times}" if times > 1 else ""]
    folder = (work if by == "plants" else work / by) / "-".join(filter(None, name))
    if not (folder / "answers.json").exists():
        subprocess.run([sys.executable, HERE / SIMULATORS[by], str(seed), folder, *more], check=True, stdout=subprocess.DEVNULL,
                       env={**os.environ, planting.VARIABLE: planted, planting.TIMES: str(times)})
    return folder


def send(plant, kind, data):
    """One file in parts; returns the rows refused."""
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


def log_complaints(plant, lines):
    """Complaints as lines of JSON (bytes); returns complaint id -> case id."""
    case_of = {}
    for first in range(0, len(lines), 300):
        status, text = plant.request("POST", f"/v1/complaints?rank=0&source=complaints.ndjson&first_line={first + 1}",
                                     b"".join(lines[first:first + 300]), "application/x-ndjson", timeout=300)
        if status != 200:
            raise RuntimeError(f"complaints: {status} {text}")
        for line in text.splitlines():
            answer = json.loads(line)
            if "error" in answer:
                print(f"  refused {answer['error']}", file=sys.stderr)
            else:
                case_of[answer["complaint"]] = answer["case"]
    return case_of


def complaints_of(folder):
    return (folder / "complaints.ndjson").read_bytes().splitlines(keepends=True)


def ranks(plant):
    """Every case's ranking, paged."""
    found, after = {}, ""
    while True:
        status, text = plant.request("GET", f"/v1/ranks?limit=100{after}", timeout=300)
        if status != 200:
            raise RuntimeError(f"ranks: {status} {text}")
        lines = text.splitlines()
        if not lines:
            return found
        for line in lines:
            ranking = json.loads(line)
            found[ranking["case"]] = ranking
        after = f"&after={json.loads(lines[-1])['case']}"


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
            "seed": seed, "case": case, "symptom": ranking["symptom"], "truth": causes, "as_of": ranking["as_of"],
            "planted": any(c != "not-known" for c in causes), "complaints": len(told), "ids": ranking["complaints"],
            "readable": sum(c["reading"] in ("exact", "misread") for c in told) * 2 > len(told),
            "lot": (ranking["lots"] or [{"lot": None}])[0]["lot"], "true_lot": lots.most_common(1)[0][0],
            "ranked": [(r["cause"], r["probability"]) for r in ranking["ranked"]],
            "trouble": collections.Counter(c["trouble"] for c in told).most_common(1)[0][0]})
    return rows


def run_seed(seed, args, rules=None):
    folder = simulated(seed, args.work, by=args.simulator, times=args.times)
    begin = time.time()
    with oddloaf.Plant(args.binaries, rules=rules or args.rules) as plant:
        load(plant, folder)
        loaded = time.time()
        log_complaints(plant, complaints_of(folder))
        logged = time.time()
        rows = cases_of(seed, folder, ranks(plant))
        ranked = time.time()
        if args.facts:
            for row in rows:
                row["facts"] = facts.flatten(plant.get(f"/v1/cases/{row['case']}/facts")[1])
    print(f"  seed {seed}: {len(rows)} cases; load {loaded - begin:.1f} s, log {logged - loaded:.1f} s, "
          f"rank {ranked - logged:.1f} s", file=sys.stderr)
    return rows
