"""A full disk: a clear refusal, nothing corrupt, works again when there is room.

Needs root to mount a small tmpfs; says so and skips (77) otherwise.   usage: test_full_disk.py BINARIES
"""
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import uuid

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


def attach(plant, to, text, refused=None):
    """What came of it: that of the part, where it is refused; else of the whole."""
    upload = str(uuid.uuid4())
    status, answer = plant.request("POST", f"/v1/attachments/parts?upload={upload}&part=0", text, "application/octet-stream")
    assert status == (refused or 200), (status, answer)
    if not refused:
        body = {"to": to["id"], "upload": upload, "name": "a.txt", "by": "Ada"}
        status, answer = plant.post("/v1/attachments", body)
        assert status == 200, (status, answer)
    return json.dumps(answer)


def main():
    mount = tempfile.mkdtemp(prefix="oddloaf-small-")
    if os.geteuid() != 0 or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", mount]).returncode:
        print("cannot mount a small disk here; skipped")
        sys.exit(77)
    try:
        plant = Plant(sys.argv[1], state=mount + "/state", config={"disk_low_mb": 8})
        plant.start()
        plant.load_small()
        good = [complaint() for _ in range(20)]
        for one in good:
            assert plant.post("/v1/complaints?rank=0", one)[0] == 201
        plant.wait_idle()
        attach(plant, good[0], b"there is room")
        with open(mount + "/half", "wb") as f:
            f.write(bytes(16 << 20))
        told = attach(plant, good[0], b"there is not", refused=507)
        assert "no file is attached while less than" in told and "complaints and records are taken" in told, told
        os.unlink(mount + "/half")
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
