"""The disk can no longer be read: what a question is answered then is what it was answered before, or says so; it
is never less than there is.                                           usage: test_read.py BINARIES SHIM"""
import contextlib
import http.client
import os
import pathlib
import sqlite3
import struct
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402
from routes import routes  # noqa: E402

BINARIES, SHIM = sys.argv[1:3]
TALLY_BYTES, STANDS_AT, READS_AT = 512, 496, 504
GOOD_READS = [1, 2, 3, 4, 6, 8, 12, 16, 24, 40, 80, 160, 400]
TOLD_OTHERWISE = {"status", "metrics"}
PARTS = {"cases/*": "C1", "lots/*": "L1%206318%20A0400", "weeks/*": "2026-W47", "spans/*": "2026-11", "history/*": "C1",
         "export/*": "complaints"}
QUERIES = {"complaints": "word=sour", "trace": "cases=C1,C2", "ranks": "all=1"}


class Failing(Plant):
    def __init__(self):
        super().__init__(BINARIES, before_exec=self.put_under)
        self.tally = self.dir / "tally"
        self.tally.write_bytes(b"\0" * TALLY_BYTES)

    def put_under(self):
        os.environ.update(LD_PRELOAD=SHIM, SHIM_UNDER=str(self.state), SHIM_TALLY=str(self.tally), SHIM_FAIL="EIO:0:0",
                          ASAN_OPTIONS="verify_asan_link_order=0")

    def let_fail(self, good_reads):
        with open(self.tally, "r+b") as file:
            file.seek(READS_AT)
            was = struct.unpack("q", file.read(8))[0]
            file.seek(READS_AT)
            file.write(struct.pack("q", good_reads))
        return was

    def stop_the_clock(self):
        """What an answer says moves with the second, and with nothing else."""
        with open(self.tally, "r+b") as file:
            file.seek(STANDS_AT)
            file.write(struct.pack("q", int(time.time())))

    def forget_pages(self):
        """Another's commit: readers take nothing from their memory."""
        with contextlib.closing(sqlite3.connect(self.state / "oddloaf.db", timeout=10)) as db, db:
            db.execute("UPDATE lot SET units = units")


def fill(plant):
    plant.load_small()
    sent = [complaint(lot=f"L1 63{10 + n % 5} A0400", note="it smelled sour", contact={"phone": f"555-01{n:02}"})
            for n in range(6)]
    for one in sent:
        assert plant.post("/v1/complaints?rank=0", one)[0] == 201
    held = {"lots": ["L1 6318 A0400"], "reason": "packed hot", "by": "Ivo"}
    action = {"cause": "packed-hot", "line": "1", "at": "2026-11-10", "note": "the fan was mended", "by": "Ivo"}
    for path, value in (("lots/hold", held), ("actions", action)):
        status, answer = plant.post("/v1/" + path, value)
        assert status in (200, 201), answer
    plant.wait_idle()
    return sent[0]["id"]


def paths(complaint_id):
    """One of every question, but those who say in their answer what cannot be read."""
    for row in routes(BINARIES):
        word = row["path"].removeprefix("/v1/")
        if row["method"] != "GET" or word in TOLD_OTHERWISE:
            continue
        part = next((to for start, to in PARTS.items() if word.startswith(start)), "1")
        part = complaint_id if word.startswith("complaints/") else part
        yield "/v1/" + word.replace("*", part) + (f"?{QUERIES[word]}" if word in QUERIES else "")


def differences(was, now):
    if isinstance(was, dict) and isinstance(now, dict):
        return {name: str(now.get(name))[:200] for name in {**was, **now} if was.get(name) != now.get(name)}
    at = len(os.path.commonprefix((str(was), str(now))))
    return str(was)[at - 40:at + 100], str(now)[at - 40:at + 100]


def ask(plant, path):
    """Status and answer; (500, …) too if it was broken off."""
    try:
        status, answer = plant.get(path)
    except (http.client.IncompleteRead, ConnectionError) as broken:
        return 500, {"title": str(broken)}
    return status, answer


def check(plant, path, before):
    failed = 0
    for good in GOOD_READS:
        plant.forget_pages()
        plant.let_fail(good)
        status, answer = ask(plant, path)
        was = plant.let_fail(0)
        assert status >= 500 or before == (status, answer), \
            f"after {good} reads {path} answers {status} {differences(before[1], answer)}"
        assert status < 500 or answer["title"], answer
        failed += status >= 500
        if was > 0:  # it needed fewer
            break
    return failed


def check_status(plant):
    """It is asked when all else fails, and says why that is."""
    said = set()
    for good in GOOD_READS[:4]:
        plant.forget_pages()
        plant.let_fail(good)
        status, told = plant.get("/v1/status")
        plant.let_fail(0)
        assert status == 200, told
        said.add(told["store"]["unread"])
    assert any(one and "could not do it" in one for one in said), said


def main():
    with Failing() as plant:
        complaint_id = fill(plant)
        plant.stop_the_clock()
        before = {path: ask(plant, path) for path in paths(complaint_id)}
        failed = [check(plant, path, answer) for path, answer in before.items()]
        assert sum(map(bool, failed)) * 2 > len(before), failed
        for path, answer in before.items():  # nothing is remembered of a read that failed
            assert answer == ask(plant, path), path
        check_status(plant)
        assert plant.daemon.poll() is None, plant.log_text()
        print(f"{len(before)} questions, {sum(failed)} times told that the disk failed")


main()
