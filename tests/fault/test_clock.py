"""The wall clock jumps a year ahead and back under the daemon: it answers, nothing is deleted by a date that was
none, and what was put off until then is done now.                     usage: test_clock.py BINARIES SHIM"""
import os
import pathlib
import struct
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, until  # noqa: E402
from test_background import execute  # noqa: E402

BINARIES, SHIM = sys.argv[1:3]
TALLY_BYTES, YEAR_S = 512, 366 * 86400
MAIL = """#!/bin/sh
[ -e {box}/works ] || exit 75
cat >{box}/$$.$(date +%s%N).eml
"""


class Adrift(Plant):
    def __init__(self):
        super().__init__(BINARIES, before_exec=self.put_under, config={"contact_days": 30})
        self.tally, self.box = self.dir / "tally", self.dir / "box"
        self.tally.write_bytes(b"\0" * TALLY_BYTES)
        self.box.mkdir()
        program = self.dir / "mail.sh"
        program.write_text(MAIL.format(box=self.box))
        program.chmod(0o755)
        self.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example", "to": ["qa@mill.example"],
                               "retry_s": 1}

    def put_under(self):
        os.environ.update(LD_PRELOAD=SHIM, SHIM_UNDER=str(self.state), SHIM_TALLY=str(self.tally), SHIM_FAIL="EIO:0:0",
                          ASAN_OPTIONS="verify_asan_link_order=0")

    def set_off(self, seconds):
        with open(self.tally, "r+b") as file:
            file.seek(8)
            file.write(struct.pack("q", seconds))

    def contacts(self):
        return execute(self, "SELECT count(*) FROM contact")[0][0]


def log(plant, **more):
    now = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
    status, answer = plant.post("/v1/complaints?rank=0", complaint(received=now, **more))
    assert status == 201, answer
    return answer


def check_ahead(plant):
    log(plant, contact={"name": "Ada Marsh", "phone": "555-0101"})
    until(lambda: execute(plant, "SELECT 1 FROM setting WHERE key = 'clock/seen_ms'"), "no time is on record")
    plant.set_off(YEAR_S)
    assert plant.get("/v1/status")[0] == 200
    log(plant, symptom="staling")  # a year old, as far as this clock knows
    plant.stop()
    plant.start()  # contact data are purged, if at all, at the start
    until(lambda: "the clock was stepped" in plant.log_text(), plant.log_text)
    assert plant.contacts() == 1, "purged by a clock that jumped"


def check_back(plant):
    """Put off while the clock was a year ahead: a ranking that could not be saved, a mail that was not taken."""
    execute(plant, "CREATE TRIGGER refuse BEFORE INSERT ON ranking BEGIN SELECT RAISE(ABORT, 'on purpose'); END")
    log(plant, lot="L1 6319 A0400", symptom="off-odor")
    until(lambda: "on purpose" in plant.log_text(), plant.log_text)
    execute(plant, "DROP TRIGGER refuse")
    until(lambda: plant.get("/v1/status")[1]["outbox"]["waiting"] > 0, plant.log_text)
    plant.set_off(0)
    (plant.box / "works").touch()
    log(plant, lot="L1 6310 A0400")  # wakes who ranks
    plant.wait_idle()
    assert 0 <= plant.get("/v1/status")[1]["uptime_s"] < YEAR_S // 2
    assert len(list(plant.box.glob("*.eml"))) >= 3
    assert plant.contacts() == 1


def main():
    with Adrift() as plant:
        plant.load_small()
        check_ahead(plant)
        check_back(plant)
        assert "Sanitizer" not in plant.log_text()


main()
