"""The inbox: files are taken once they are whole, moved with a report, mailed of, never twice and never
lost.

usage: test_inbox.py BINARIES
"""
import fcntl
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import PRODUCTS, ROOT, Plant, lot_rows, until  # noqa: E402
from sheet import write_sheet  # noqa: E402

SHEET = ROOT / "data" / "plant-sheet"
KEEPER = "records@mill.example"
place = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-inbox-"))
inbox, maps, mailbox = place / "inbox", place / "maps", place / "mailbox"
for folder in (inbox, maps, mailbox):
    folder.mkdir()
program = place / "mail.sh"
program.write_text(f'#!/bin/sh\ncat >"{mailbox}/.$$" && mv "{mailbox}/.$$" "{mailbox}/$(date +%s%N).eml"\n')
program.chmod(0o755)
CONFIG = {"inbox": {"folder": str(inbox), "maps": str(maps), "steady_s": 0},
          "mail": {"program": str(program), "records_to": [KEEPER]}}


def drop(name, text):
    """Written beside it and moved in, as the manual says."""
    beside = place / "beside"
    beside.write_text(text)
    beside.rename(inbox / name)


def there(folder):
    return sorted(f.name for f in (inbox / folder).iterdir()) if (inbox / folder).is_dir() else []


def left():
    return sorted(f.name for f in inbox.iterdir() if f.name not in ("done", "refused"))


def wait(what):
    until(what, lambda: (left(), there("done"), there("refused")))


def report(folder, name):
    found = [f for f in there(folder) if f.endswith(name + ".report.txt")]
    assert len(found) == 1, (name, there(folder))
    assert found[0][:-len(".report.txt")] in there(folder), there(folder)
    return (inbox / folder / found[0]).read_text()


def mails():
    return [f.read_text() for f in sorted(mailbox.glob("[!.]*"))]


def taken_in_order(plant):
    """What came together is taken in the order in which it needs each other; a map by its name."""
    lots, readings = lot_rows(days=3)
    shutil.copy(SHEET / "map.json", maps / "batches.json")
    drop("readings.csv", readings)
    drop("batches 21-11.csv", (SHEET / "batches.csv").read_text())
    drop("lots-2026-10.csv", lots)
    drop("products.csv", PRODUCTS)
    write_sheet(inbox / ".products.xlsx", [(1, ["product", "name", "family", "shelf_life_days", "unit_g"]),
                                           (2, ["R10", "Mill Rye", "pan-bread", 12, 500])])
    (inbox / ".products.xlsx").rename(inbox / "products new.xlsx")
    wait(lambda: not left())
    assert "products: 2 rows read, 2 new" in report("done", "products.csv")
    assert "1 rows read, 1 new" in report("done", "products new.xlsx")
    text = report("done", "batches 21-11.csv")
    assert "lots: 3 rows read, 3 new" in text and "uses: 2 rows read" in text, text
    assert "36 rows read, 36 new" in report("done", "readings.csv")
    wait(lambda: (plant.get("/v1/status")[1]["inbox"] or {}).get("done") == 5)  # null before its first round
    status = plant.get("/v1/status")[1]["inbox"]
    assert (status["waiting"], status["done"], status["refused"], status["fault"]) == (0, 5, 0, None), status
    wait(lambda: len(mails()) == 5)
    assert all(f"To: {KEEPER}" in m and "was taken" in m for m in mails()), mails()[0]


def refused(plant):
    """Refused rows are in the report in the file's words; what no map and no kind names is refused."""
    text = (SHEET / "batches.csv").read_text()
    drop("batches bad.csv", text.replace("11/21/2026,4:10", "21/11/2026,4:10"))
    drop("whatever.csv", "a,b\n1,2\n")
    drop("lots broken.xlsx", "PK\x03\x04 and nothing")
    wait(lambda: not left())
    said = report("refused", "batches bad.csv")
    assert "batches bad.csv:2: Day '21/11/2026 4:10': is no date written MM/DD/YYYY hh:mm" in said, said
    assert "1 refused; nothing of it was applied" in said, said
    assert "no kind of record and no map is named so" in report("refused", "whatever.csv")
    assert "is no .xlsx file" in report("refused", "lots broken.xlsx")
    wait(lambda: plant.get("/v1/status")[1]["inbox"]["refused_there"] == 3)
    needs = {n["what"]: n["says"] for n in plant.get("/v1/status")[1]["needs"]}
    assert needs["inbox-refused"] == "files of records in the inbox's folder refused: 3", needs
    wait(lambda: len(mails()) == 8)
    bad = next(m for m in mails() if "batches bad.csv was refused" in m)
    assert "no date written" in bad.replace("=\n", ""), bad
    shown = " ".join(plant.client("status").stdout.split())
    assert "0 waiting, 5 loaded and 3 refused since the start" in shown, shown
    metrics = plant.get("/v1/metrics")[1].decode()
    assert "\noddloaf_inbox_refused_there 3\n" in metrics and "\noddloaf_inbox_done_total 5\n" in metrics, metrics


def never_taken(plant):
    """Links, pipes, folders and what is locked or not whole yet stay, and are named."""
    secret = place / "secret.csv"
    secret.write_text("lot,crumb_ph\nN1121-1,5.1\n")
    (inbox / "readings link.csv").symlink_to(secret)
    os.mkfifo(inbox / "readings pipe.csv")
    (inbox / "readings.csv.part").write_text("lot,crumb_ph\n")
    os.link(secret, inbox / "readings twice.csv")
    locked = open(place / "locked", "w+")
    locked.write("lot,crumb_ph\nN1121-1,5.2\n")
    locked.flush()
    fcntl.flock(locked, fcntl.LOCK_EX)
    (place / "locked").rename(inbox / "readings locked.csv")
    wait(lambda: "is not taken: it is" in str(plant.get("/v1/status")[1]["inbox"]["fault"]))
    drop("readings good.csv", "lot,crumb_ph\nN1121-3,5.1\n")
    wait(lambda: "readings good.csv" not in left())  # all of them were looked at
    assert len(left()) == 5, left()
    fcntl.flock(locked, fcntl.LOCK_UN)
    wait(lambda: "readings locked.csv" not in left())
    report("done", "readings locked.csv")
    wait(lambda: plant.get("/v1/status")[1]["inbox"]["waiting"] == 3)
    for name in left():
        (inbox / name).unlink()


def fault(plant):
    return str(plant.get("/v1/status")[1]["inbox"]["fault"])


def badly_named(plant):
    """A name that no report can hold is told, and its file is taken as soon as it has another."""
    bad = os.fsencode(inbox) + b"/products caf\xe9.csv"
    (place / "beside").write_text(PRODUCTS)
    os.rename(place / "beside", bad)
    wait(lambda: "is not taken: its name is not UTF-8" in fault(plant))
    os.rename(bad, inbox / "products café.csv")
    wait(lambda: not left())
    report("done", "products café.csv")
    drop("products\ttwo.csv", PRODUCTS)
    wait(lambda: "is not taken: its name holds a control character" in fault(plant))
    (inbox / "products\ttwo.csv").unlink()


def stays(plant):
    """What is loaded and cannot be moved away says so, and goes once it can."""
    (inbox / "done" / ".report.tmp").mkdir()
    drop("readings stuck.csv", "lot,crumb_ph\nN1121-3,5.1\n")
    wait(lambda: "readings stuck.csv: is loaded, and cannot be moved away: File exists" in fault(plant))
    (inbox / "done" / ".report.tmp").rmdir()
    wait(lambda: not left())
    told = report("done", "readings stuck.csv")
    assert "1 rows read" in told, told
    name = next(f for f in there("done") if f.endswith("readings stuck.csv.report.txt"))
    stuck = [m for m in (m.replace("=\n", "") for m in mails()) if "readings stuck.csv was taken" in m]
    assert len(stuck) == 1 and f"/done/{name}" in stuck[0], (name, stuck)
    wait(lambda: fault(plant) == "None")


def killed(plant):
    """Killed at any moment: each file is taken in the end, its rows are there once, its mail is one."""
    rows = lot_rows(days=3)[0].splitlines()[1:]
    for n in range(3):
        lot = rows[n].split(",")[0]
        drop(f"readings k{n}.csv", "lot,quantity,value,at\n" + "".join(
            f"{lot},core_temp_c,{30 + i % 40},2026-10-2{n}T{i // 60 % 24:02d}:{i % 60:02d}:00-05:00\n"
            for i in range(1400)))
        wait(lambda n=n: f"readings k{n}.csv" not in left() or n % 2 == 0 and time.sleep(0.02 * n) is None)
        plant.kill()
        plant.start()
    wait(lambda: not left())
    for n in range(3):
        assert re.search(r"1400 rows read, (1400 new, 0 changed, 0 the same|\d+ new, 0 changed, \d+ the same)",
                         report("done", f"readings k{n}.csv")), n
    wait(lambda: len({m for m in mails() if "readings k" in m and "was taken" in m}) >= 3)
    ids = [re.search("Message-ID: (.*)", m)[1] for m in mails()]
    assert len(set(ids)) == len(set(re.search(r"Subject: .*", m)[0] for m in mails())), ids


def checked(binaries):
    """`oddloafd --check` names a folder that is not there and a map's fault."""
    config = place / "config.json"
    (maps / "bad.json").write_text('{"kind": "lots",\n "columns": {"A": "loot"}}')
    config.write_text(json.dumps({**CONFIG, "inbox": {"folder": str(place / "none"), "maps": str(maps)}}))
    done = subprocess.run([binaries + "/oddloafd", "--config", config, "--rules", ROOT / "rules", "--check"],
                          capture_output=True, text=True, check=False)
    assert done.returncode == 78, done
    assert f"inbox/folder '{place}/none': No such file or directory" in done.stderr, done.stderr
    assert f"{maps}/bad.json:2:19: /columns/A 'loot': no such column of lots" in done.stderr, done.stderr
    (maps / "bad.json").unlink()


with Plant(sys.argv[1], config=CONFIG) as plant:
    taken_in_order(plant)
    refused(plant)
    never_taken(plant)
    badly_named(plant)
    stays(plant)
    killed(plant)
    checked(sys.argv[1])
shutil.rmtree(place)
