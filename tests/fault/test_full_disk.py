"""A full disk: a clear refusal, nothing corrupt, works again when there is room.

Needs root to mount a small tmpfs; says so and skips (77) otherwise.   usage: test_full_disk.py BINARIES
"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402


def fill(path):
    with open(path, "wb") as f:
        try:
            while True:
                f.write(b"x" * 65536)
                f.flush()
        except OSError:
            pass


def main():
    mount = tempfile.mkdtemp(prefix="oddloaf-small-")
    if os.geteuid() != 0 or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", mount]).returncode:
        print("cannot mount a small disk here; skipped")
        sys.exit(77)
    try:
        plant = Plant(sys.argv[1], state=mount + "/state")
        plant.start()
        plant.load_small()
        good = [complaint() for _ in range(20)]
        for one in good:
            assert plant.post("/v1/complaints?rank=0", one)[0] == 201
        plant.wait_idle()
        filler = mount + "/filler"
        fill(filler)
        refused = None
        for _ in range(3000):  # what the WAL has room for is still taken
            one = complaint(note="n" * 3000)
            status, answer = plant.post("/v1/complaints?rank=0", one)
            if status != 201:
                refused = (status, answer, one)
                break
            good.append(one)
        assert refused, "the disk never filled"
        status, answer, one = refused
        assert status == 507, (status, answer)
        assert answer["type"] == "urn:oddloaf:problem:no-space", answer
        assert "space" in answer["hint"], answer
        for kept in good:  # reading still works
            assert plant.get("/v1/complaints/" + kept["id"])[0] == 200
        assert plant.get("/v1/complaints/" + one["id"])[0] == 404
        os.unlink(filler)
        assert plant.post("/v1/complaints?rank=0", one)[0] == 201
        plant.wait_idle()
        assert plant.stop() == 0
        check = subprocess.run(["sqlite3", mount + "/state/oddloaf.db", "PRAGMA integrity_check"],
                               capture_output=True, text=True)
        assert check.stdout.strip() == "ok", check.stdout
        print(f"{len(good)} kept, refused with: {json.dumps(answer)}")
    finally:
        subprocess.run(["umount", "-l", mount])


main()
