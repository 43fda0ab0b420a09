#!/usr/bin/python3
"""Every kind of writer's job runs twice, the first time undone, as after a group whose commit failed: the state is
the same as where each ran once (twice.c).                                     usage: test_twice.py BINARIES"""
import contextlib
import json
import pathlib
import re
import sqlite3
import sys
import tempfile
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "e2e"))
from oddloaf import Plant, complaint, lot_rows  # noqa: E402

BINARIES = pathlib.Path(sys.argv[1]).resolve()
LOTS = [row.split(",")[0] for row in lot_rows()[0].splitlines()[-12:-4]]
SIGN = ("--by", "mira")
CHANGING = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|[0-9a-f]{64}|\d{4}-\d\d-\d\dT[0-9:.]+(Z|[-+]\d\d:?\d\d)?|/tmp/\S+|\b1[5-9]\d{11}\b")
# how often a case was ranked meanwhile, and what its mail told then, is of the moment
MOMENT = {"outbox", "outbox_text", "outbox_delivery", "ranking", "ranking_item", "work", "pattern_verdict",
          "pattern_series", "pattern_received", "pattern_made"}  # what these hold is counted again in story(): status --recount
# and so is which ranking was the first to be kept, by which causes are numbered
OF_MOMENT = {"complaint_case": {"revision", "top_cause", "top_probability"}, "verdict": {"revision"}, "cause": {"id"}}


def told(number, lot=None, **more):
    return complaint(lot, id=str(uuid.UUID(int=(7 << 76) + (2 << 62) + number)), **more)


def story(plant):
    """Each job that a request, an upload or the background hands to the writer, but those that end the daemon."""
    plant.load_small()
    plant.load_text("readings", f"lot,quantity,value\n{LOTS[0]},crumb_ph,5.9\n")
    caller = {"name": "Rosa Quint", "phone": "+1 207 555 0101"}
    bodies = [told(n, lot, contact=caller if n == 1 else None) for n, lot in enumerate(LOTS, 1)]
    bodies = [{k: v for k, v in body.items() if v is not None} for body in bodies]
    cases = [plant.post("/v1/complaints", body)[1]["case"] for body in bodies[:4]]
    plant.request("POST", "/v1/complaints", "".join(json.dumps(b) + "\n" for b in bodies[4:]).encode(), "application/x-ndjson")
    plant.post("/v1/complaints", told(90, LOTS[5], harm=["illness"]))
    plant.post("/v1/complaints", told(91, LOTS[0], same_as=bodies[0]["id"]))
    run = lambda *words, check=0: plant.client(*words, check=check)
    first, second = bodies[0]["id"], bodies[1]["id"]
    run("correct", first, "packs=3", "--reason", "misheard", *SIGN)
    run("withdraw", second, "--reason", "another bakery's", *SIGN)
    run("withdraw", second, "--undo", "--reason", "ours", *SIGN)
    run("hold", LOTS[0], "--reason", "mold", *SIGN)
    run("hold", LOTS[1], "--reason", "mold", *SIGN)
    run("release", LOTS[0], "--reason", "sound", "--disposition", "divert", *SIGN)
    run("settle", cases[0], "packed-hot", "--confirmed-by", "judgement", *SIGN)
    run("settle", cases[0], "--reopen", *SIGN)
    run("settle", cases[1], "packed-hot", "--confirmed-by", "assay", *SIGN)
    run("follow", cases[2], "--owner", "mira", "--note", "rang the store", *SIGN)
    run("action", "--line", "1", "--note", "cooler cleaned", *SIGN)
    run("measure", LOTS[2], "crumb_ph=6.1", "--lab", "Northgate", "--sample", "1", *SIGN)
    run("measure", LOTS[2], "crumb_ph=6.2", "--lab", "Northgate", "--sample", "1", "--reason", "typed", *SIGN)
    note = plant.dir / "report.txt"
    note.write_text("spore count: 12\n")
    run("attach", cases[2], str(note), *SIGN)
    run("erase", caller["phone"], "--yes")
    plant.wait_idle()
    assert plant.client_json("status", "--recount")["differences"] == {k: 0 for k in (
        "weeks", "cases", "company", "materials")}
    run("backup", "b.db")


def state(plant):
    rows = {}
    # its mark is written outside the database, so it stands there twice, and is applied twice at the next start
    where = {"setting": "WHERE key <> 'erasures/applied'"}
    with contextlib.closing(sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)) as db:
        tables = [t for t, in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
                  if not t.startswith(("sqlite_", "entry_word")) and t not in MOMENT]
        for table in tables:
            names = [c[1] for c in db.execute(f"PRAGMA table_info({table})")]
            kept = [n for n in names if not n.endswith("_ms") and n not in OF_MOMENT.get(table, ())]
            rows[table] = sorted(CHANGING.sub("*", repr(row)) for row in db.execute(
                f"SELECT {', '.join(kept) or '1'} FROM {table} {where.get(table, '')}"))
    return rows


def main():
    states = []
    with tempfile.TemporaryDirectory(prefix="oddloaf-twice-") as folder:
        twice = pathlib.Path(folder)
        (twice / "oddloafd").symlink_to(BINARIES / "tests" / "oddloafd_twice")
        (twice / "oddloaf").symlink_to(BINARIES / "oddloaf")
        for binaries in (BINARIES, twice):
            with Plant(binaries) as plant:
                story(plant)
                states.append(state(plant))
    once, again = states
    assert once.keys() == again.keys() and len(once) > 30, once.keys()
    differ = {table: ([r for r in again[table] if r not in rows][:3], [r for r in rows if r not in again[table]][:3])
              for table, rows in once.items() if rows != again[table]}
    assert not differ, differ
    print(f"ok: {len(once)} tables are the same")


main()
