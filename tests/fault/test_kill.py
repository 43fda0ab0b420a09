"""kill -9 at random under load: every acknowledged complaint is there once, every mail left.

usage: test_kill.py BINARIES [kills]        16 clients that retry; 200 kills by hand, fewer in CI
"""
import json
import os
import pathlib
import random
import stat
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402

CLIENTS = 16


def client(plant, number, acknowledged, stopping):
    rng = random.Random(number)
    while not stopping.is_set():
        one = complaint(lot=f"L1 6{rng.randrange(300, 320)} A0400")
        body = json.dumps(one).encode()
        while not stopping.is_set():  # the same id until somebody acknowledges it
            try:
                status, answer = plant.request("POST", "/v1/complaints?rank=0", body, timeout=10)
                if status in (200, 201):
                    acknowledged.append(one["id"])
                    break
            except (OSError, ValueError, __import__("http.client").client.HTTPException):
                pass
            time.sleep(0.01)
        time.sleep(0.01)


def main():
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 25
    rng = random.Random(7)
    plant = Plant(sys.argv[1])
    mailbox = plant.dir / "mail"
    mailbox.mkdir()
    program = plant.dir / "mail.sh"
    program.write_text(f"#!/bin/sh\nexec cat > {mailbox}/$(date +%s%N).$$.eml\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example",
                            "to": ["qa@harrowmill.example"], "retry_s": 1}
    plant.start()
    plant.load_small()
    acknowledged, stopping = [], threading.Event()
    threads = [threading.Thread(target=client, args=(plant, n, acknowledged, stopping))
               for n in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for n in range(kills):
        time.sleep(rng.uniform(0.02, 0.4))
        plant.kill()
        plant.start()
    time.sleep(1)
    stopping.set()
    for thread in threads:
        thread.join()
    status = plant.wait_idle(120)
    assert acknowledged, "nothing was acknowledged: the test shows nothing"
    missing = [i for i in acknowledged if plant.get(f"/v1/complaints/{i}")[0] != 200]
    assert not missing, f"{len(missing)} acknowledged complaints are gone"
    cases = plant.get("/v1/cases?state=all&limit=500")[1]["cases"]
    counted = sum(case["complaints"] for case in cases)
    assert counted == status["counts"]["complaints"], (counted, status["counts"])
    assert counted >= len(set(acknowledged))
    subjects = "\n".join(p.read_text(errors="replace") for p in mailbox.iterdir())
    unmailed = [c["case"] for c in cases if f" {c['case']} " not in subjects]
    assert not unmailed, f"cases without a mail: {unmailed}"
    assert plant.stop() == 0
    print(f"{kills} kills, {len(acknowledged)} acknowledged, {counted} on record, "
          f"{len(cases)} cases, {len(os.listdir(mailbox))} mails")
    __import__("shutil").rmtree(plant.dir)


main()
