"""Stopped in the middle of work, the daemon finishes what it has begun, refuses the rest, answers both,
and ends with 0 in little more than limits/stop_s. A request that had not arrived whole is not
answered: nothing of it is on record, and the client keeps it.            usage: test_stop.py BINARIES"""
import http.client
import json
import pathlib
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, UnixConnection, complaint, lot_rows, until  # noqa: E402

CLIENTS, STOP_S = 24, 1
PATIENCE_S = 60  # of sanitizers on a busy machine; far below what the queue would take


class Batches:
    """Clients that log one batch each, all at once, to a daemon with one reader."""

    def __init__(self, plant, lines):
        self.lines = lines
        self.plant, self.lock = plant, threading.Lock()
        self.answers, self.cut_off = [], []
        self.bodies = ["\n".join(json.dumps(complaint(found_on="2026-11-18")) for _ in range(lines))
                       for _ in range(CLIENTS)]
        self.threads = [threading.Thread(target=self.send, args=(body,)) for body in self.bodies]
        for thread in self.threads:
            thread.start()

    def send(self, body):
        try:
            answer = self.plant.request("POST", "/v1/complaints?rank=0", body.encode(), "application/x-ndjson")
            with self.lock:
                self.answers.append(answer)
        except (OSError, http.client.HTTPException) as broken:
            with self.lock:
                self.cut_off.append(repr(broken))

    def join(self):
        for thread in self.threads:
            thread.join(300)
            assert not thread.is_alive(), "a client hangs"

    def acknowledged(self):
        return [json.loads(line)["complaint"] for status, answer in self.answers if status == 200
                for line in answer.splitlines()]


def open_files(plant):
    return sum(1 for _ in pathlib.Path(f"/proc/{plant.daemon.pid}/fd").iterdir())


def wait_for_connections(plant, count):
    """Until the daemon has so many files open: connections it has taken are among them. Those that
    were answered already are closed, so a few less will do."""
    until(lambda: open_files(plant) >= count - CLIENTS // 4, "the clients are not taken")


def stop(plant):
    start = time.monotonic()
    code = plant.stop()
    took = time.monotonic() - start
    assert code == 0, (code, plant.log_text())
    assert took < STOP_S + PATIENCE_S, f"it took {took:.0f} s to stop"
    return took


def stop_with_a_queue(binaries, lines):
    """How many batches were refused. What was committed is answered so, the rest refused."""
    with Plant(binaries, config={"limits": {"stop_s": STOP_S}, "readers": 1}) as plant:
        plant.load_small()
        before = open_files(plant)
        batches = Batches(plant, lines)
        wait_for_connections(plant, before + CLIENTS)
        took = stop(plant)
        batches.join()
        refused = [answer for status, answer in batches.answers if status == 503]
        logged = batches.acknowledged()
        assert len(refused) + len(logged) // lines + len(batches.cut_off) == CLIENTS, batches.answers
        assert all("stopping" in answer["title"] + answer.get("detail", "") for answer in refused), refused
        plant.start()
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == len(logged)
        print(f"{len(logged)} logged, {len(refused)} batches refused, {len(batches.cut_off)} not "
              f"read, {took:.1f} s")
        return len(refused)


def check_queue(binaries):
    """More waits than can be done in time: on a fast machine only with longer batches."""
    for lines in (200, 400, 800, 1600, 3200):
        if stop_with_a_queue(binaries, lines):
            return
    raise AssertionError("nothing had to be refused: the test shows nothing")


def check_kept_connection(binaries):
    """A client that keeps its connection and asks on is no reason to stay."""
    with Plant(binaries, config={"limits": {"stop_s": 600}}) as plant:
        kept = UnixConnection(plant.socket)
        kept.request("GET", "/v1/status")
        kept.getresponse().read()
        plant.daemon.terminate()
        statuses = []
        told = json.dumps({"channel": "phone", "symptom": "mold", "note": "her child vomited"})
        try:
            for n in range(100000):
                kept.request(*(("POST", "/v1/complaints/preview", told) if n % 2 == 0 else ("GET", "/v1/status")))
                answer = kept.getresponse()
                said = json.loads(answer.read())
                statuses.append(answer.status)
                # what was read of it is heard, of what was not whoever sent it is told
                assert answer.status == 200 or n % 2 or "phone the food-safety lead" in str(said), said
        except (OSError, http.client.HTTPException):
            pass  # closed: the daemon is gone
        assert plant.daemon.wait(PATIENCE_S) == 0, plant.log_text()
        assert set(statuses) <= {200, 503}, set(statuses)


def check_load(binaries):
    """A file being applied is left off between two slices and gone on with at the next start."""
    lots, _ = lot_rows()
    codes = [line.split(",")[0] for line in lots.splitlines()[1:]]
    rows = "lot,quantity,value,at\n" + "".join(
        f"{codes[n % len(codes)]},core_at_pack_c,{36 + n % 40 / 10},2026-11-01T{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}-05:00\n"
        for n in range(60000))
    with Plant(binaries, config={"limits": {"stop_s": STOP_S, "body_bytes": 64 << 20}}) as plant:
        plant.load_small()
        before = plant.get("/v1/status")[1]["counts"]["readings"]
        answer = []
        load = threading.Thread(target=lambda: answer.append(
            plant.request("POST", "/v1/records/readings?source=r.csv", rows.encode(), "text/csv")))
        load.start()
        until(lambda: plant.get("/v1/status")[1]["counts"]["readings"] > before, "nothing is applied")
        stop(plant)
        load.join()
        if answer[0][0] == 503:  # else it was through before
            assert "stopping" in answer[0][1]["detail"] and "next start" in answer[0][1]["hint"], answer
        plant.start()
        assert plant.get("/v1/status")[1]["counts"]["readings"] == before + len(rows.splitlines()) - 1
        print("load:", answer[0][0])


def main():
    for check in (check_queue, check_kept_connection, check_load):
        check(sys.argv[1])
        print(check.__name__, "ok")


main()
