"""Stopped in the middle of work, the daemon refuses, finishes what it took, and ends with 0; every
complaint that was answered is there afterwards.                          usage: test_stop.py BINARIES"""
import json
import pathlib
import sys
import threading

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402

ROUNDS, CLIENTS, LINES = 2, 24, 250


class Load:
    """Clients that log batches until they are cut off."""

    def __init__(self, plant):
        self.plant, self.acknowledged, self.wrong = plant, set(), []
        self.lock, self.busy = threading.Lock(), threading.Event()
        self.threads = [threading.Thread(target=self.run) for _ in range(CLIENTS)]
        for thread in self.threads:
            thread.start()

    def run(self):
        while True:
            lines = "\n".join(json.dumps(complaint(found_on="2026-11-18")) for _ in range(LINES))
            try:
                status, answer = self.plant.request("POST", "/v1/complaints?rank=0", lines.encode(), "application/x-ndjson")
            except (OSError, ValueError):
                return  # cut off: it was not answered
            except Exception as broken:  # http.client's own
                if "RemoteDisconnected" in repr(broken) or "IncompleteRead" in repr(broken):
                    return
                raise
            with self.lock:
                if status != 200:
                    self.wrong.append((status, answer))
                    return
                self.acknowledged |= {json.loads(line)["complaint"] for line in answer.splitlines()}
                self.busy.set()

    def join(self):
        for thread in self.threads:
            thread.join(60)
            assert not thread.is_alive(), "a client hangs"


def main():
    config = {"limits": {"stop_s": 1}, "readers": 1}
    with Plant(sys.argv[1], config=config) as plant:
        plant.load_small()
        acknowledged = set()
        for _ in range(ROUNDS):
            load = Load(plant)
            assert load.busy.wait(60), plant.log_text()
            code = plant.stop()
            load.join()
            assert code == 0, (code, plant.log_text())
            assert all(status == 503 for status, _ in load.wrong), load.wrong
            acknowledged |= load.acknowledged
            plant.start()
        for one in acknowledged:
            assert plant.get(f"/v1/complaints/{one}")[0] == 200, one
        print(len(acknowledged), "acknowledged, all there")


main()
