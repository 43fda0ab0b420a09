"""However many files are being applied, questions are answered meanwhile.     usage: test_loads.py BINARIES

Another program holds the database's write lock, as a slow disk would: whatever waits for the writer waits,
what only reads must not."""
import contextlib
import http.client
import json
import pathlib
import sqlite3
import sys
import threading

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, lot_rows, until  # noqa: E402

READERS, LOADS, PATIENCE_S = 3, 4, 60


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


def check_torn(binaries):
    """Rows that were accepted and whose staging file is torn when the daemon comes back: said in the log
    and in status until they are loaded again, and kept."""
    lots, _ = lot_rows()
    codes = [line.split(",")[0] for line in lots.splitlines()[1:]]
    rows = "lot,quantity,value,at\n" + "".join(
        f"{codes[n % len(codes)]},core_at_pack_c,{36 + n % 40 / 10},"
        f"2026-11-01T{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}-05:00\n" for n in range(60000))

    def send():
        with contextlib.suppress(OSError, http.client.HTTPException):
            plant.request("POST", "/v1/records/readings?source=r.csv", rows.encode(), "text/csv")

    def failed():
        return [need for need in plant.get("/v1/status")[1]["needs"] if need["what"] == "load-failed"]

    with Plant(binaries, config={"limits": {"body_bytes": 64 << 20}}) as plant:
        plant.load_small()
        before = plant.get("/v1/status")[1]["counts"]["readings"]
        sender = threading.Thread(target=send)
        sender.start()
        until(lambda: plant.get("/v1/status")[1]["counts"]["readings"] > before, "nothing is applied")
        plant.kill()
        sender.join()
        [file] = (plant.state / "loads").glob("*.rows")
        whole = file.read_bytes()
        file.write_bytes(whole[:-100])
        plant.start()
        [need] = failed()
        kept = plant.state / need["says"].split(": ")[1]
        assert "r.csv" in need["says"] and "again" in need["do"] and kept.read_bytes() == whole[:-100], need
        until(lambda: "could not be applied" in plant.log_text(), plant.log_text)
        assert plant.stop() == 0
        plant.start()
        assert failed() and kept.exists()
        send()
        assert not failed() and kept.exists(), failed()
        assert plant.get("/v1/status")[1]["counts"]["readings"] == before + 60000


def main():
    check_torn(sys.argv[1])
    with Plant(sys.argv[1], config={"readers": READERS}) as plant:
        plant.load_small()
        first = plant.post("/v1/complaints", complaint())[1]
        plant.wait_idle()
        with contextlib.closing(sqlite3.connect(plant.state / "oddloaf.db", isolation_level=None)) as lock:
            lock.execute("BEGIN IMMEDIATE")
            loads, loaded = in_threads(LOADS, lambda n: load(plant, n))
            until(lambda: staged(plant) >= READERS, "the loads do not begin")
            ask(plant, first["case"])
            assert not loaded, "a load was through while the writer was held"
        for thread in loads:
            thread.join(300)
        assert [status for status, _ in loaded] == [200] * LOADS, loaded
        assert plant.stop() == 0, plant.log_text()
        print("questions answered beside", LOADS, "loads")


main()
