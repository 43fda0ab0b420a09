"""What plants cost, by slopes: the demo plant's records and complaints, and then as many copies of it as are asked for in
the same state, each on lines of its own; what each lot and each complaint adds on disk, what the daemon holds in memory,
and what takes how long.

    capacity.py BINARIES [--copies 6] [--lots-a-day 200] [--complaints-a-week 3000] [--years 5]

Prints each figure with one and with all of them, and what the slopes make of a plant of the size that is asked for. Disk
is bytes of the state's tables and indexes; memory is the daemon's own (what no file stands behind).
"""
import argparse
import json
import pathlib
import re
import sqlite3
import subprocess
import sys
import tempfile
import time
import uuid

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[0] / "e2e"))
from oddloaf import ROOT, Plant  # noqa: E402

RECORDS = ("lots", "readings", "readings_packing", "readings_core", "mixes", "uses", "dispatch_1", "dispatch_2", "dispatch_3",
           "dispatch_4")
LETTERS = "LABDEFGHJKMN"


def renamed(text, copy):
    """Its codes, and its mixes, of which they are a part, begin with a letter of its own."""
    return re.sub(r"\bL(?=[1-9][ -])", LETTERS[copy], text)


def load(plant, folder, copy):
    began, count = time.monotonic(), 0
    for name in RECORDS:
        text = renamed((folder / f"{name}.csv").read_text(), copy)
        if name == "lots":
            text = re.sub(r"^([^,]+,[^,]+,)(?=[1-9],)", rf"\g<1>{LETTERS[copy]}", text, flags=re.M)
        path = plant.dir / "part.csv"
        path.write_text(text)
        plant.client("load", re.sub(r"_.*", "", name), str(path), check=0)
        count += text.count("\n") - 1
    return count / (time.monotonic() - began)


def log(plant, folder, copy):
    said = [json.loads(line) for line in renamed((folder / "complaints.ndjson").read_text(), copy).splitlines()]
    body = "".join(json.dumps({**one, "id": str(uuid.uuid4())}) + "\n" for one in said)
    status, _ = plant.request("POST", "/v1/complaints", body.encode(), "application/x-ndjson")
    assert status == 200, status
    plant.wait_idle(600)
    return len(said)


def disk(plant):
    with sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True) as db:
        return db.execute("SELECT sum(pgsize - unused) FROM dbstat").fetchone()[0]


def memory(plant):
    rollup = pathlib.Path(f"/proc/{plant.daemon.pid}/smaps_rollup").read_text()
    return 1024 * int(re.search(r"^Anonymous:\s+(\d+)", rollup, re.M)[1])


def ms(ask, times=9):
    took = []
    for _ in range(times):
        began = time.monotonic()
        assert ask()[0] == 200
        took.append(1000 * (time.monotonic() - began))
    return sorted(took)[times // 2]


def asked(plant, loaded):
    """As they stand; the newest case is ranked with the evidence of its days."""
    case = plant.get("/v1/cases?limit=1")[1]["cases"][0]["case"]
    return {"records loaded, rows a second": loaded,
            "a case, ms": ms(lambda: plant.get(f"/v1/cases/{case}")),
            "a week, ms": ms(lambda: plant.get("/v1/weeks/2026-W46"), 3),
            "status, ms": ms(lambda: plant.get("/v1/status")),
            "memory, MB": memory(plant) / 1e6}


def grown(binaries, folder, copies):
    """With one and with all; bytes a lot and a complaint between them."""
    lots = (folder / "lots.csv").read_text().count("\n") - 1
    at, of_lots, of_complaints, logged = [], 0, 0, 0
    with Plant(binaries) as plant:
        for name in ("products", "targets"):
            plant.load_text(name, (folder / f"{name}.csv").read_text())
        for copy in range(copies):
            before = disk(plant)
            loaded = load(plant, folder, copy)
            between = disk(plant)
            logged += log(plant, folder, copy)
            of_lots += between - before
            of_complaints += disk(plant) - between
            if copy in (0, copies - 1):
                at.append({"lots": lots * (copy + 1), "complaints": logged, "bytes on disk a lot": of_lots / lots / (copy + 1),
                           "bytes on disk a complaint": of_complaints / logged, **asked(plant, loaded)})
    return at


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--copies", type=int, default=6, choices=range(2, len(LETTERS) + 1))
    parser.add_argument("--lots-a-day", type=float, default=200)
    parser.add_argument("--complaints-a-week", type=float, default=3000)
    parser.add_argument("--years", type=float, default=5)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="oddloaf-bench-") as place:
        folder = pathlib.Path(place) / "plant"
        subprocess.run([sys.executable, ROOT / "data" / "make_plant.py", "--quiet", folder], check=True)
        one, all_of_them = grown(args.binaries, folder, args.copies)
    print(f"{'':32}{'one':>10}{args.copies:>10}")
    for name, value in one.items():
        print(f"{name:32}{value:10.1f}{all_of_them[name]:10.1f}")
    lots, said = args.years * 365 * args.lots_a_day, args.years * 52 * args.complaints_a_week
    total = lots * all_of_them["bytes on disk a lot"] + said * all_of_them["bytes on disk a complaint"]
    print(f"{args.years:g} years of {args.lots_a_day:g} lots a day and {args.complaints_a_week:g} complaints a week: "
          f"{lots:.0f} lots, {said:.0f} complaints, {total / 1e9:.1f} GB")


main()
