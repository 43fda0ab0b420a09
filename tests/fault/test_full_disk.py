"""A full disk: a clear refusal, nothing corrupt, works again when there is room. Killed there the daemon starts
there: what it has is answered, mail about harm leaves, once, and nothing needs a hand when there is room.

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
from oddloaf import Plant, complaint, until  # noqa: E402


def fill(path):
    with open(path, "wb", buffering=0) as f:  # closing writes nothing more
        try:
            while True:
                f.write(b"x" * 65536)
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


MAIL = """#!/bin/sh
[ -e {box}/works ] || exit 75
cat >{box}/$$.$(date +%s%N).eml
"""


def fill_up(plant, good):
    """What the log still has room for is taken; returns what was refused, and the answer."""
    for _ in range(3000):
        one = complaint(note="n" * 3000)
        status, answer = plant.post("/v1/complaints?rank=0", one)
        if status != 201:
            return one, status, answer
        good.append(one)
    raise AssertionError("the disk never filled")


def check_unkept_harm(plant, first):
    """Nobody hears of harm that could not be kept but whoever sent it: so the answer says it."""
    said = complaint(note="My son was taken to hospital by ambulance after one slice. " + "n" * 3000)
    possible = complaint(note="It may make somebody sick, I fear. " + "n" * 3000)
    lines = json.dumps(complaint(note="n" * 3000)) + "\n" + json.dumps(said) + "\n"
    for answer in (plant.post("/v1/complaints?rank=0", said),
                   plant.request("POST", "/v1/complaints", lines.encode(), "application/x-ndjson")):
        assert answer[0] == 507 and answer[1].get("harm") == ["illness"], answer
        assert "phone the food-safety lead now" in answer[1]["alarm"] and answer[1]["script"], answer
    status, answer = plant.post("/v1/complaints?rank=0", possible)
    assert status == 507 and answer["harm_possible"] and "harm" not in answer and answer["script"], answer
    words = "The caller says her son was taken to hospital after one slice. " + "n" * 400
    for path, body in ((f"complaints/{first}/correct", {"fields": {"packs": 2}, "reason": words}),
                       (f"complaints/{first}/withdraw", {"reason": words}),
                       ("cases/C1/follow", {"note": words}),
                       ("lots/hold", {"lots": ["L1 6318 A0400"], "reason": words}),
                       ("lots/measure", {"lot": "L1 6318 A0400", "results": [{"quantity": "crumb_ph", "value": "6 pH"}],
                                         "lab": "Northgate", "sample": "26-114", "at": "2026-11-24", "note": words})):
        status, answer = plant.post("/v1/" + path, {"by": "mira", **body})
        assert status == 507 and answer.get("harm") == ["illness"], (path, answer)
        assert ("script" in answer) == (not path.startswith("lots/")), "QA has no caller to read it to: " + path
        assert "phone the food-safety lead now" in answer["alarm"], (path, answer)


def check_killed(plant, mount, box, good):
    """Mail about harm that could not leave before is there, and one that nobody was ever asked to send."""
    harm = complaint(lot="L1 6319 A0400", harm=["injury"])
    (box / "works").unlink()
    assert plant.post("/v1/complaints?rank=0", harm)[0] == 201
    until(lambda: "mail not sent" in plant.log_text(), plant.log_text)
    fill(mount + "/filler")
    fill_up(plant, good)
    plant.kill()
    os.unlink(mount + "/state/oddloaf.db-shm")  # what is made anew at a start anyhow: others took its room
    fill(mount + "/filler2")
    (box / "works").touch()
    before = set(box.glob("*.eml"))
    plant.start()
    assert "the disk is full" in plant.log_text()
    for kept in (good[0], good[-1], harm):
        assert plant.get("/v1/complaints/" + kept["id"])[0] == 200
    assert plant.get("/v1/cases")[0] == 200
    until(lambda: len(set(box.glob("*.eml")) - before) >= 1, lambda: (plant.get("/v1/outbox"), plant.log_text()[-2000:]))
    one, status, answer = fill_up(plant, good)
    assert status == 507 and "free space" in answer["hint"] and "alarm" not in answer, answer
    check_unkept_harm(plant, good[0]["id"])
    status = plant.get("/v1/status")[1]
    assert "disk-low" in [need["what"] for need in status["needs"]], status
    plant.kill()  # and once more
    plant.start()
    assert plant.get("/v1/complaints/" + good[-1]["id"])[0] == 200
    os.unlink(mount + "/filler")
    os.unlink(mount + "/filler2")
    until(lambda: plant.post("/v1/complaints?rank=0", one)[0] in (200, 201), plant.log_text)
    plant.wait_idle()
    assert plant.get("/v1/status")[1]["outbox"]["waiting"] == 0
    mails = [m.read_text() for m in set(box.glob("*.eml")) - before]
    harms = [m for m in mails if "URGENT" in m.split("\n\n")[0]]
    assert 1 <= len(harms) <= 2, mails  # once a start: that it had left could not be put on record
    assert len({line for m in harms for line in m.splitlines() if line.startswith("Message-ID")}) == 1, harms


def main():
    mount = tempfile.mkdtemp(prefix="oddloaf-small-")
    if os.geteuid() != 0 or subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", mount]).returncode:
        print("cannot mount a small disk here; skipped")
        sys.exit(77)
    plant = None
    try:
        plant = Plant(sys.argv[1], state=mount + "/state", config={"disk_low_mb": 8})
        box = plant.dir / "box"
        box.mkdir()
        (box / "works").touch()
        program = plant.dir / "mail.sh"
        program.write_text(MAIL.format(box=box))
        program.chmod(0o755)
        plant.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example", "to": ["qa@mill.example"],
                                "retry_s": 1}
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
        one, status, answer = fill_up(plant, good)
        assert status == 507, (status, answer)
        assert answer["type"] == "urn:oddloaf:problem:no-space", answer
        assert "space" in answer["hint"], answer
        for kept in good:  # reading still works
            assert plant.get("/v1/complaints/" + kept["id"])[0] == 200
        assert plant.get("/v1/complaints/" + one["id"])[0] == 404
        os.unlink(filler)
        assert plant.post("/v1/complaints?rank=0", one)[0] == 201
        plant.wait_idle()
        check_killed(plant, mount, box, good)
        assert plant.stop() == 0
        check = subprocess.run(["sqlite3", mount + "/state/oddloaf.db", "PRAGMA integrity_check"],
                               capture_output=True, text=True)
        assert check.stdout.strip() == "ok", check.stdout
        print(f"{len(good)} kept, refused with: {json.dumps(answer)}")
    finally:
        if plant and plant.daemon.poll() is None:
            plant.kill()
        subprocess.run(["umount", "-l", mount])


main()
