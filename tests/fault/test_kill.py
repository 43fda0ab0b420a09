"""kill -9 at random under load: every acknowledged complaint, correction and row of a file is there once, every
mail left, and every count is right.

usage: test_kill.py BINARIES [kills]        16 clients that retry, two that correct, one that loads files;
                                            1,000 kills by hand, fewer in CI
"""
import http.client
import json
import os
import pathlib
import random
import shutil
import sqlite3
import stat
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402

CLIENTS, CORRECTORS, ROWS = 16, 2, 400
LOTS = [f"L1 6{day} A0400" for day in range(300, 320)]


class Load:
    """What clients do until they are told to stop, and what they were told was done."""

    def __init__(self, plant):
        self.plant, self.stopping = plant, threading.Event()
        self.logged, self.corrected, self.files, self.refused = [], {}, [], []
        work = [(self.log, n) for n in range(CLIENTS)] + [(self.correct, n) for n in range(CORRECTORS)]
        self.threads = [threading.Thread(target=do, args=(random.Random(n), n)) for do, n in [*work, (self.load, 0)]]
        for thread in self.threads:
            thread.start()

    def stop(self):
        self.stopping.set()
        for thread in self.threads:
            thread.join()

    def insist(self, path, body, type_="application/json"):
        """The same until somebody acknowledges it; false: stopped before."""
        while not self.stopping.is_set():
            try:
                status, answer = self.plant.request("POST", path, body, type_, timeout=20)
                if status not in (200, 201, 503):
                    self.refused.append((status, answer))
                if status < 300:
                    return True
            except (OSError, ValueError, http.client.HTTPException):
                pass
            time.sleep(0.01)
        return False

    def log(self, rng, _):
        while not self.stopping.is_set():
            one = complaint(lot=rng.choice(LOTS), packs=1)
            if self.insist("/v1/complaints?rank=0", json.dumps(one).encode()):
                self.logged.append(one["id"])
            time.sleep(0.01)

    def correct(self, rng, number):
        while not self.stopping.is_set():
            time.sleep(0.01)
            mine = self.logged[number::CORRECTORS]
            if not mine:
                continue
            one, packs = rng.choice(mine), rng.randrange(2, 9)
            if one not in self.corrected:  # once each, so that it is known what must stand there
                body = {"fields": {"packs": packs}, "reason": "misheard"}
                done = self.insist(f"/v1/complaints/{one}/correct", json.dumps(body).encode())
                self.corrected.setdefault(one, packs if done else None)

    def load(self, rng, _):
        """Rows of their own, so that each is known by its time."""
        while not self.stopping.is_set():
            number = len(self.files)
            rows = "".join(f"{rng.choice(LOTS)},core_at_pack_c,{36 + rng.random():.3f},2026-11-{1 + number % 18:02}"
                           f"T{row // 60 + number // 1080 * 7:02}:{row % 60:02}:{number // 18 % 60:02}-05:00\n" for row in range(ROWS))
            if self.insist(f"/v1/records/readings?source=r{number}.csv", ("lot,quantity,value,at\n" + rows).encode(),
                           "text/csv"):
                self.files.append(number)
            time.sleep(0.1)


def post(plant):
    mailbox = plant.dir / "mail"
    mailbox.mkdir()
    program = plant.dir / "mail.sh"
    program.write_text(f"#!/bin/sh\nexec cat > {mailbox}/$(date +%s%N).$$.eml\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example",
                            "to": ["qa@harrowmill.example"], "retry_s": 1}
    return mailbox


def check_complaints(plant, load, status):
    assert not load.refused, load.refused[:3]
    assert load.logged and load.corrected and load.files, "nothing was acknowledged: the test shows nothing"
    told = {i: plant.get(f"/v1/complaints/{i}") for i in load.logged}
    missing = [i for i, (code, _) in told.items() if code != 200]
    assert not missing, f"{len(missing)} acknowledged complaints are gone"
    wrong = [i for i, packs in load.corrected.items() if packs and told[i][1]["packs"] != packs]
    assert not wrong, f"acknowledged corrections that are not there: {wrong}"
    cases = plant.get("/v1/cases?state=all&limit=500")[1]["cases"]
    counted = sum(case["complaints"] for case in cases)
    assert counted == status["counts"]["complaints"], (counted, status["counts"])
    assert counted >= len(set(load.logged))
    return cases, counted


def check_counts(plant, load, readings_before):
    differences = plant.get("/v1/status/recount")[1]["differences"]
    assert not any(differences.values()), differences
    readings = plant.get("/v1/status")[1]["counts"]["readings"] - readings_before
    assert len(load.files) * ROWS <= readings <= (len(load.files) + 1) * ROWS, (readings, len(load.files))


def check_kept(plant, load, readings_before):
    check_counts(plant, load, readings_before)
    database = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    database.close()


def main():
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 25
    rng = random.Random(7)
    plant = Plant(sys.argv[1])
    mailbox = post(plant)
    plant.start()
    plant.load_small()
    readings = plant.get("/v1/status")[1]["counts"]["readings"]
    load = Load(plant)
    try:
        for _ in range(kills):
            time.sleep(rng.uniform(0.02, 0.4))
            plant.kill()
            plant.start()
        time.sleep(1)
    finally:
        load.stop()
    status = plant.wait_idle(1200)
    cases, counted = check_complaints(plant, load, status)
    subjects = "\n".join(p.read_text(errors="replace") for p in mailbox.iterdir())
    unmailed = [c["case"] for c in cases if f" {c['case']} " not in subjects]
    assert not unmailed, f"cases without a mail: {unmailed}"
    check_kept(plant, load, readings)
    assert plant.stop() == 0
    print(f"{kills} kills; acknowledged: {len(load.logged)} complaints, {len(load.corrected)} corrections, "
          f"{len(load.files)} files of {ROWS} rows; {counted} on record, {len(cases)} cases, "
          f"{len(os.listdir(mailbox))} mails")
    shutil.rmtree(plant.dir)


if __name__ == "__main__":
    main()
