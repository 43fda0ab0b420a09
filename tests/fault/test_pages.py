"""Bytes of the database change under the daemon's feet: it never ends by a signal, and what SQLite's check finds it
finds and says, before anybody believes it.                      usage: test_pages.py BINARIES [ROUNDS [SEED]]
The long form:                                                          test_pages.py build/dev 500 7"""
import contextlib
import json
import pathlib
import random
import shutil
import sqlite3
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, until  # noqa: E402

BINARIES = sys.argv[1]
PAGE = 4096
ASKED = ["/v1/status", "/v1/cases?state=all", "/v1/lots/L1%206318%20A0400", "/v1/weeks/2026-W47", "/v1/cases/C1",
         "/v1/cases/C1/why", "/v1/complaints?word=sour", "/v1/status/recount", "/v1/outbox", "/v1/holds", "/v1/metrics"]


def make_good():
    """The folder of a plant that has a bit of everything, stopped."""
    plant = Plant(BINARIES, keep=True)
    plant.start()
    plant.load_small()
    for n in range(12):
        sent = complaint(lot=f"L1 63{10 + n % 5} A0400", note="it smelled sour", contact={"phone": f"555-01{n:02}"})
        assert plant.post("/v1/complaints?rank=0", sent)[0] == 201
    plant.wait_idle()
    assert plant.stop() == 0
    return plant


def harm(path, rng):
    """Some bytes in a few pages, the first page's and the free ones' too. Returns which."""
    pages = path.stat().st_size // PAGE
    chosen = sorted(rng.sample(range(pages), rng.randrange(1, 5)))
    with open(path, "r+b") as file:
        for page in chosen:
            at = page * PAGE + rng.randrange(PAGE)
            file.seek(at)
            length = min(rng.choice((1, 2, 16, 300)), (page + 1) * PAGE - at)
            file.write(bytes(rng.randrange(256) for _ in range(length)))
    return chosen


def check_finds(path):
    """Whether SQLite's own check, beside the daemon, finds something."""
    try:
        with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as db:
            db.text_factory = bytes
            return [row[0] for row in db.execute("PRAGMA integrity_check")] != [b"ok"]
    except (sqlite3.DatabaseError, UnicodeDecodeError):  # what it found, it quotes
        return True


def ask_all(plant):
    for path in ASKED:
        status, answer = plant.get(path)
        assert status < 500 or answer["title"], (path, status, answer)
    status, answer = plant.post("/v1/complaints", complaint())
    assert status == 201 or answer["title"], (status, answer)
    status, answer = plant.request("POST", "/v1/complaints?rank=0", json.dumps(complaint(lot="L1 6311 A0400")).encode())
    assert status == 201 or answer["title"], (status, answer)


def is_told(plant):
    store = plant.get("/v1/status")[1]["store"]
    return store["integrity"]["state"] == "damaged" or store["unread"] or store["lost"]


def run(good, rng):
    """What became of it."""
    plant = Plant(BINARIES)
    shutil.copytree(good.state, plant.state)
    database = plant.state / "oddloaf.db"
    chosen = harm(database, rng)
    found = check_finds(database)
    try:
        try:
            plant.start()
        except RuntimeError:
            assert plant.daemon.poll() == 1 and "error: cannot start" in plant.log_text(), plant.log_text()
            return "not started"
        ask_all(plant)
        until(lambda: not found or is_told(plant), "the check finds it, and the daemon says nothing")
        assert plant.stop() in (0, 1), plant.log_text()
        return "told" if found else "not to be seen"
    except BaseException:
        print(f"pages {chosen}: exit {plant.daemon.poll()}\n{plant.log_text()}", flush=True)
        raise
    finally:
        assert "Sanitizer" not in plant.log_text()
        if plant.daemon.poll() is None:
            plant.kill()
        shutil.rmtree(plant.dir)


def main():
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 8
    rng = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    good = make_good()
    became = {}
    for _ in range(rounds):
        one = run(good, rng)
        became[one] = became.get(one, 0) + 1
    shutil.rmtree(good.dir)
    print(f"{rounds} rounds: {became}")


main()
