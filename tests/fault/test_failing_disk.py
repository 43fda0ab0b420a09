"""One call after another that writes, syncs, opens or renames fails: what was acknowledged is there, nothing is
half of anything, what failed is told, the daemon answers on or ends with a reason, and starts clean.

usage: test_failing_disk.py BINARIES SHIM [KIND:FIRST:STEP[:COUNT] …]        COUNT of them in a row, 1
The long form, every call:  test_failing_disk.py build/plain build/plain/tests/shim.so ENOSPC:1:1 EIO:1:1 EINTR:1:1 SHORT:1:1
"""
import http.client
import json
import os
import pathlib
import shutil
import sqlite3
import struct
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import PRODUCTS, TARGETS, Plant, complaint, lot_rows  # noqa: E402

BINARIES, SHIM = sys.argv[1:3]
SAMPLE = ["ENOSPC:40:0", "EIO:90:0", "EIO:1:0:30", "EINTR:1:0", "SHORT:1:0"]
BROKEN = (OSError, ValueError, http.client.HTTPException)
TALLY_BYTES = 512
MAIL = """#!/bin/sh
exec cat >{box}/$$.$(date +%s%N).eml
"""


class Failing(Plant):
    """A plant whose disk fails at the `first` of all calls, `count` times."""

    def __init__(self, kind, first, count):
        super().__init__(BINARIES, before_exec=self.put_under, config={"backup": {"every_h": 0}})
        self.kind, self.first, self.count, self.said = kind, first, count, []
        self.tally = self.dir / "tally"
        self.tally.write_bytes(b"\0" * TALLY_BYTES)
        box = self.dir / "box"
        box.mkdir()
        program = self.dir / "mail.sh"
        program.write_text(MAIL.format(box=box))
        program.chmod(0o755)
        self.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example", "to": ["qa@mill.example"],
                               "retry_s": 1}

    def put_under(self):
        if self.kind:
            os.environ.update(LD_PRELOAD=SHIM, SHIM_UNDER=str(self.state), SHIM_TALLY=str(self.tally),
                              SHIM_FAIL=f"{self.kind}:{self.first}:{self.count}",
                              ASAN_OPTIONS="verify_asan_link_order=0")

    def calls(self):
        return struct.unpack("Q", self.tally.read_bytes()[:8])[0]

    def failed(self):
        return self.tally.read_bytes()[16:].split(b"\0")[0].decode()

    def start_somehow(self):
        """A start that the failing disk ends says why; the next is a good one."""
        for _ in range(self.count + 2):
            try:
                self.start()
                return
            except RuntimeError:
                code = self.daemon.poll()
                assert code == 1, (code, self.log_text())
                assert "cannot start: " in self.log_text(), self.log_text()
                self.log.close()
        raise AssertionError("it does not start: " + self.log_text())

    def ask(self, method, path, body=None, type_="application/json"):
        """The answer, or None where it was refused with a reason or the daemon ended with one."""
        try:
            status, answer = self.request(method, path, body, type_)
        except BROKEN as broken:
            self.ended(broken)
            return None
        if status < 300:
            return answer
        self.said.append(answer)
        assert status >= 500 and answer["title"] and answer.get("detail"), (path, status, answer)
        return None

    def ended(self, broken):
        code = self.daemon.wait(60)
        assert code == 1 and "error" in self.log_text().lower(), (broken, code, self.log_text())
        self.log.close()
        self.start_somehow()


class Story:
    """What is done, and what was said to be done."""

    def __init__(self, plant):
        self.plant, self.logged, self.corrected, self.loaded = plant, [], {}, []
        self.at_backup, self.exported = None, None

    def log(self, count):
        for n in range(count):
            one = complaint(lot=f"L1 6{310 + n} A0400", packs=1)
            if self.plant.ask("POST", "/v1/complaints?rank=0", json.dumps(one).encode()):
                self.logged.append(one["id"])

    def correct(self):
        for one in self.logged[:2]:
            body = json.dumps({"fields": {"packs": 7}, "reason": "misheard"}).encode()
            if self.plant.ask("POST", f"/v1/complaints/{one}/correct", body):
                self.corrected[one] = 7

    def load(self):
        lots, readings = lot_rows(days=14, start=(2026, 11, 5))
        for kind, text in (("products", PRODUCTS), ("targets", TARGETS), ("lots", lots), ("readings", readings)):
            done = self.plant.ask("POST", f"/v1/records/{kind}?source={kind}.csv", text.encode(), "text/csv")
            if done and not done["refused"]:  # else of lots that wait to be applied
                self.loaded.append(kind)

    def client(self, *words):
        done = self.plant.client(*words)
        if done.returncode:
            self.plant.said.append(done.stderr)
            assert len(done.stderr) > 20, (words, done)
            if self.plant.daemon.poll() is not None:
                self.plant.ended(words)
        return done.returncode == 0

    def backup(self):
        if self.client("backup", "b.db"):
            self.at_backup = list(self.logged)
            with sqlite3.connect(f"file:{self.plant.state}/backups/b.db?mode=ro", uri=True) as db:
                assert db.execute("SELECT count(*) FROM complaint").fetchone()[0] >= len(self.logged)
                assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            db.close()
        else:
            assert not (self.plant.state / "backups" / "b.db").exists(), "half a backup"

    def export(self):
        if self.client("export", str(self.plant.dir / "out")):
            self.exported = True

    def restore(self):
        if self.at_backup is not None and self.client("restore", "b.db", "--yes"):
            self.logged = [one for one in self.logged if one in self.at_backup]

    def tell(self):
        self.load()
        self.log(3)
        self.correct()
        self.backup()
        self.log(1)
        self.export()
        self.restore()
        self.log(1)
        self.plant.wait_idle()


def check_all(plant, story):
    for one in story.logged:
        status, told = plant.get(f"/v1/complaints/{one}")
        assert status == 200, (one, told)
        assert told["packs"] == story.corrected.get(one, told["packs"]), told
    status = plant.get("/v1/status")[1]
    counts = status["counts"]
    for kind, rows in (("lots", 56), ("readings", 168)):
        assert counts[kind] == rows if kind in story.loaded else counts[kind] in (0, rows), (kind, counts)
    differences = plant.get("/v1/status/recount")[1]["differences"]
    assert not any(differences.values()), differences
    cases = plant.get("/v1/cases?state=all&limit=500")[1]["cases"]
    texts = "".join(p.read_text(errors="replace") for p in (plant.dir / "box").iterdir())
    assert all(f" {case['case']} " in texts for case in cases), "a case without a mail"
    left = [p.name for p in plant.state.rglob("*") if p.suffix in (".partial", ".new", ".rows")]
    assert not left, left


def run(kind, first, count):
    """How many calls there were, and what failed."""
    plant = Failing(kind, first, count)
    try:
        plant.start_somehow()
        story = Story(plant)
        story.tell()
        assert plant.stop() in (0, 1), plant.log_text()
        calls, failed = plant.calls(), plant.failed()
        if kind in ("EINTR", "SHORT"):
            assert not plant.said, ("what may be interrupted goes on", plant.said)
        plant.kind = None
        plant.start()
        plant.wait_idle()
        check_all(plant, story)
        assert plant.stop() == 0, plant.log_text()
    except BaseException:
        print(f"{kind}:{first}:{count} failed at: {plant.failed()}\n{plant.said}\n{plant.log_text()}", flush=True)
        raise
    shutil.rmtree(plant.dir)
    return calls, failed


def main():
    calls, _ = run("EIO", 0, 0)
    print(f"{calls} calls", flush=True)
    for row in sys.argv[3:] or SAMPLE:
        kind, first, step, *count = row.split(":")
        for at in range(int(first), calls + 1, int(step) or calls):
            print(kind, at, run(kind, at, int(*count or "1"))[1], flush=True)


main()
