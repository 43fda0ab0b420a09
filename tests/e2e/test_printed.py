"""Each command line that README and manuals print as an example is run as it stands, in the order of reading, but
for the number of the case; the curl lines of oddloafd(8) ask the socket of this daemon.   usage: test_printed.py BINARIES"""
import json
import os
import pathlib
import re
import shlex
import shutil
import subprocess
import sys

from oddloaf import ROOT, Plant, complaint, lot_rows
from photos import phone_photo

LOT = "L2 6321 B0412"
FIRST = "0199a1f9-4e98-7000-8000-000000000001"  # that the manual has a caller repeat
PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj 2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
ASKS = "hold --reach"  # on a terminal
# The retailer's list has a row that is refused; without a terminal nobody is asked.
MAY_END = {"--map data/retailer/map.json": 1, "--map map.json": 1, "oddloaf log": 2}
OF_THE_MACHINE = ("sudo ",)  # tests/system runs them


def of_readme():
    text = (ROOT / "README.md").read_text()
    for block in re.findall(r"```console\n(.*?)```", text, re.S):
        yield from (line[2:] for line in block.splitlines() if line.startswith("$ "))
    for words in re.findall(r"`(oddloaf [^`]+)`", text):
        words = " ".join(words.split())
        if "/" in words and not words.startswith("oddloaf rules check DIR"):
            yield words


def of_manual(path):
    for line in (ROOT / path).read_text().splitlines():
        if line.startswith(".Dl "):
            yield line[4:].replace("\\-", "-").replace("\\&", "")


def printed():
    lines = [*of_readme(), *of_manual("client/oddloaf.1"), *of_manual("daemon/oddloafd.8")]
    return [line for line in lines if re.match(r"(oddloaf|curl) ", line) and not line.startswith(OF_THE_MACHINE)]


def prepare(plant):
    plant.load_small()
    lots, readings = lot_rows(days=40, start=(2026, 10, 18))
    for kind, text in (("lots", lots), ("readings", readings)):
        text = text.replace("L1 ", "L2 ").replace(" A", " B").replace("W24,1,", "W24,2,").replace(",A\n", ",B\n")
        text = text.replace("L2 6321 B0400", LOT)
        plant.load_text(kind, text)
    plant.load_text("readings", f"lot,quantity,value,at\n{LOT},core_at_pack_c,47.5,2026-11-17T04:20:00-05:00\n")
    first = {**complaint(LOT), "id": FIRST}
    case = plant.client_json("log", "--from", "-", stdin=json.dumps(first) + "\n")["case"]
    desk = plant.dir / "desk"
    shutil.copytree(ROOT / "data", desk / "data")
    for name in ("complaints.csv", "map.json"):
        shutil.copy(ROOT / "data/retailer" / name, desk / name)
    (desk / "week.csv").write_text(f"received_at,Defect,Batch\n2026-11-20T09:14:00-05:00,mold,{LOT}\n")
    (desk / "loaf.jpg").write_bytes(phone_photo())
    (desk / "report.pdf").write_bytes(PDF)
    return case, desk


def run(plant, case, desk, line):
    words = re.sub(r"\bC(611|12)\b", case, line).replace("/run/oddloaf/oddloafd.sock", plant.socket)
    if ASKS in line:
        code, shown = plant.answer_on_a_terminal(shlex.split(words, comments=True)[1:], "yes")
        assert code == 0, (line, code, shown)
        return shown
    done = subprocess.run(["sh", "-c", words], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120, cwd=desk,
                          env={**os.environ, "PATH": f"{plant.binaries}:{os.environ['PATH']}", "ODDLOAF_SOCKET": plant.socket,
                               "ODDLOAF_SPOOL": str(plant.dir / "spool"), "LC_ALL": "C.UTF-8"})
    ends = next((code for key, code in MAY_END.items() if key in line and (key != "oddloaf log" or line == key)), 0)
    assert done.returncode == ends, (line, done.returncode, done.stdout[-1500:], done.stderr)
    return done.stdout


def main():
    lines = printed()
    of_commands = {shlex.split(line, comments=True)[1] for line in lines if line.startswith("oddloaf ")}
    assert len(lines) >= 22 and {"log", "rank", "why", "hold", "load", "week"} <= of_commands, lines
    with Plant(pathlib.Path(sys.argv[1]).resolve()) as plant:
        case, desk = prepare(plant)
        told = {line: run(plant, case, desk, line) for line in lines}
        holds = plant.client_json("holds")["holds"]
        assert any(lot["lot"] == LOT for lot in holds), holds
        assert "Packed too hot" in next(text for line, text in told.items() if line.startswith("oddloaf rank C611  "))
        assert all((desk / page).read_text().startswith("<!DOCTYPE html>") for page in ("c611.html", "week.html"))


main()
