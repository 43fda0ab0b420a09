"""However many files are being applied, questions are answered meanwhile.     usage: test_loads.py BINARIES

Another program holds the database's write lock, as a slow disk would: whatever waits for the writer waits,
what only reads must not."""
import contextlib
import json
import pathlib
import sqlite3
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, lot_rows  # noqa: E402

READERS, LOADS, PATIENCE_S = 3, 4, 10


def in_threads(count, send):
    answers = []
    threads = [threading.Thread(target=lambda n=n: answers.append(send(n))) for n in range(count)]
    for thread in threads:
        thread.start()
    return threads, answers


def staged(plant):
    return len(list((plant.state / "loads").glob("*.rows")))


def load(plant, n):
    _, readings = lot_rows(days=2)
    rows = readings.replace(",5.3,", f",5.{3 + n % 2},")
    return plant.request("POST", f"/v1/records/readings?source={n}.csv", rows.encode(), "text/csv")


def ask(plant, case):
    for path in ("/v1/status", f"/v1/cases/{case}", f"/v1/cases/{case}/why", "/v1/cases") * 3:
        status, answer = plant.request("GET", path, timeout=PATIENCE_S)
        assert status == 200, (path, status, answer)
    preview = {key: value for key, value in complaint().items() if key != "id"}
    status, answer = plant.request("POST", "/v1/complaints/preview", json.dumps(preview).encode(), timeout=PATIENCE_S)
    assert status == 200 and answer["ranked"], (status, answer)


def main():
    with Plant(sys.argv[1], config={"readers": READERS}) as plant:
        plant.load_small()
        first = plant.post("/v1/complaints", complaint())[1]
        plant.wait_idle()
        with contextlib.closing(sqlite3.connect(plant.state / "oddloaf.db", isolation_level=None)) as lock:
            lock.execute("BEGIN IMMEDIATE")
            loads, loaded = in_threads(LOADS, lambda n: load(plant, n))
            end = time.monotonic() + PATIENCE_S
            while staged(plant) < READERS:
                assert time.monotonic() < end, "the loads do not begin"
                time.sleep(0.01)
            ask(plant, first["case"])
            assert not loaded, "a load was through while the writer was held"
        for thread in loads:
            thread.join(60)
        assert [status for status, _ in loaded] == [200] * LOADS, loaded
        assert plant.stop() == 0, plant.log_text()
        print("questions answered beside", LOADS, "loads")


main()
