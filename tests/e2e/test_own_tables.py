"""A plant's own sheet, loaded as it is: by a map, with its words, dates, numbers and units.

usage: test_own_tables.py BINARIES
"""
import contextlib
import json
import sqlite3
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import PRODUCTS, ROOT, Plant  # noqa: E402
from sheet import write_sheet  # noqa: E402

SHEET = ROOT / "data" / "plant-sheet"


def by_map(plant):
    """Three kinds of one sheet, by the words of the README; again changes nothing."""
    page = " ".join((ROOT / "README.md").read_text().split())
    words = page.split("several kinds at once: `oddloaf ", 1)[1].split("`")[0].split()
    words = [str(ROOT / w) if w.startswith("data/") else w for w in words]
    tried = plant.client_json(*words, "--dry-run")  # what a kind refers to is loaded by none yet
    assert [(d["kind"], d["new"], d["refused_total"]) for d in tried] == [
        ("lots", 3, 0), ("uses", 2, 0), ("readings", 3, 0)], tried
    plant.client("lot", "N1121-2", check=5)
    done = plant.client_json(*words)
    assert [(d["kind"], d["read"], d["new"]) for d in done] == [
        ("lots", 3, 3), ("uses", 2, 2), ("readings", 3, 3)], done
    lot = plant.client_json("lot", "N1121-2")
    at = {r["quantity"]: (r["value"], r["at"]) for r in lot["readings"]}
    assert at["core_at_pack_c"] == (36.5, "2026-11-21T14:40:00-05:00"), at
    assert (lot["line"], lot["units"], lot["code_date"]) == ("1", 8512, "2026-12-01"), lot
    again = plant.client_json("load", "--map", str(SHEET / "map.json"), str(SHEET / "batches.csv"))
    assert [(d["new"], d["changed"]) for d in again] == [(0, 0)] * 3, again


def refused_in_words_of_the_file(plant):
    """The map's fault by its place; the file's by its line and its own column, whoever finds it."""
    path, map_path = plant.dir / "bad.csv", plant.dir / "bad.json"
    text = (SHEET / "batches.csv").read_text()
    path.write_text(text.replace("N1121-1,", "N1122-1,").replace("11/21/2026,4:10", "21/11/2026,4:10")
                    .replace("N1121-2,W24", "N1122-2,Q99"))
    done = plant.client("load", "lots", "--map", str(SHEET / "map.json"), str(path), check=1)
    assert "bad.csv:2: Day '21/11/2026 4:10': is no date written MM/DD/YYYY hh:mm" in done.stderr, done
    assert "bad.csv:3: Item 'Q99': there is no such product" in done.stderr, done.stderr
    assert "columns not used: Film roll, Core, pH, Signed" in done.stderr, done.stderr
    assert "Nothing of a file with refused rows was applied" in done.stdout, done.stdout
    map_path.write_text((SHEET / "map.json").read_text().replace('"units"', '"loaves"'))
    done = plant.client("load", "lots", "--map", str(map_path), str(path), check=1)
    assert f"{map_path}:10:19: /kinds/0/columns/Loaves 'loaves': no such column of lots" in done.stderr, \
        done.stderr
    done = plant.client("load", "mixes", "--map", str(SHEET / "map.json"), str(path), check=2)
    assert "the map has no columns of mixes" in done.stderr, done.stderr


def contradictions(plant):
    """Two values of one key: both are refused, or the last is taken."""
    path = plant.dir / "twice.csv"
    path.write_text("lot,crumb_ph\nN1121-1,5.4\nN1121-2,5.4\nN1121-1,5.5\n")
    done = plant.client_json("load", "readings", "--keep-good", str(path), check=1)
    assert (done["changed"], [r["line"] for r in done["refused"]]) == (1, [2, 4]), done
    done = plant.client_json("load", "readings", "--take", "last", str(path))
    assert (done["changed"], done["passed_over"], done["refused"]) == (1, 1, []), done
    values = [r["value"] for r in plant.client_json("lot", "N1121-1")["readings"]
              if r["quantity"] == "crumb_ph"]
    assert values == [5.5], values


def sheets(plant):
    """The same rows as a sheet and as CSV are the same records; a sheet's faults have its rows."""
    path, map_path = plant.dir / "cores.xlsx", plant.dir / "cores.json"
    map_path.write_text(json.dumps({"kind": "readings", "decimal": ",", "header": 2, "columns": {
        "Charge": "lot", "Kern": "core_at_pack [degC]", "Zeit": "at"}}))
    at = (46347 + 13.5 / 24,)  # 2026-11-21 13:30
    write_sheet(path, [(1, ["Cores of the day"]), (2, ["Charge", "Kern", "Zeit"]),
                       (4, ["N1121-1", 36.25, at]), (7, ["N1121-2", 636, at])])
    done = plant.client("load", "--map", str(map_path), "--sheet", "batches", "--keep-good", str(path),
                        check=1)
    assert "2 rows read: 1 new" in done.stdout, done
    assert "cores.xlsx:7: Kern '636': is outside the plausible range" in done.stderr, done.stderr
    csv = plant.dir / "cores.csv"
    csv.write_text("lot,core_at_pack_c,at\nN1121-1,36.25,2026-11-21T13:30:00-05:00\n")
    assert plant.client_json("load", "readings", str(csv))["same"] == 1
    done = plant.client("load", "--map", str(map_path), "--sheet", "Cores", str(path), check=5)
    assert "cores.xlsx: has no sheet 'Cores' (it has Batches)" in done.stderr, done.stderr
    path.write_bytes(path.read_bytes()[:-40])
    done = plant.client("load", "readings", str(path), check=1)
    assert "cores.xlsx: is no .xlsx file" in done.stderr, done.stderr
    ours = plant.dir / "ours.xlsx"
    write_sheet(ours, [(1, ["lot", "crumb_ph"]), (2, ["N1121-3", 5.375])])
    assert plant.client_json("load", "readings", str(ours))["new"] == 1


def guesses(plant):
    """A map proposed, looked at, and loaded by: nothing is loaded before."""
    map_path, sheet = plant.dir / "guessed.json", plant.dir / "guess.xlsx"
    done = plant.client("load", "--guess", str(SHEET / "batches.csv"))
    assert json.loads(done.stdout)["columns"]["Best by"] == "code_date", done.stdout
    said = " ".join(done.stderr.split())
    assert "not used: Film roll, Signed" in said and "another kind, and not used: Core" in said and "pH: is a unit" in said and "2: lot N1121-1" in done.stderr, done.stderr
    write_sheet(sheet, [(2, ["Batch", "Sampled", "pH"]), (3, ["N1121-3", (46347.75,), 5.25])])
    said = plant.client_json("load", "readings", "--guess", str(sheet), "--out", str(map_path))
    assert said["map"]["columns"] == {"Batch": "lot", "Sampled": "at", "pH": "crumb_ph"}, said
    assert said["rows"] == [{"line": 3, "row": {"lot": "N1121-3", "at": "2026-11-21T18:00:00-05:00",
                                                "crumb_ph": "5.25"}}], said
    assert said["checked"] and said["refused_total"] == 0, said
    # shown as it is kept, whatever the file's unit; loaded by that map it is the same
    pounds, by = plant.dir / "pounds.csv", plant.dir / "pounds.json"
    pounds.write_text("Batch,Mix no,Sampled,Flour lbs\nN1121-3,7,2026-11-21T08:00:00-05:00,1100\n")
    said = plant.client_json("load", "--guess", str(pounds), "--out", str(by))
    assert said["map"]["columns"]["Flour lbs"] == "flour [lbs]" and said["refused_total"] == 0, said
    assert said["rows"][0]["row"]["flour_kg"] == "498.952", said
    assert plant.client_json("load", "--map", str(by), str(pounds))["new"] == 1
    with contextlib.closing(sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)) as db:
        assert abs(db.execute("SELECT flour_kg FROM mix WHERE mix = '7'").fetchone()[0] - 498.952) < .001
    # what a load would refuse is shown so, though the map reads it
    log = plant.dir / "log.csv"
    log.write_text("at,place,quantity,value\n2026-11-20T06:00:00-05:00,cooler,cooler_air_c,17.9\n"
                   "2026-11-20T07:00:00-05:00,cooler-air,air_cfu_m3,20\n")
    done = plant.client("load", "--guess", str(log))
    assert "place 'cooler' there is no such place; nearest: cooler-air, cooler-belt, " in " ".join(
        done.stderr.split()), done.stderr
    assert "all: oddloaf rules places; quantity 'cooler_air_c' is measured on lots" in " ".join(
        done.stderr.replace("refused: ", "").split()), done.stderr
    assert "2 rows from its beginning: 1 refused" in " ".join(done.stderr.split()), done.stderr
    assert "no date that is known" not in done.stderr, done.stderr
    assert plant.client_json("load", "--map", str(map_path), str(sheet), "--dry-run")["new"] == 1
    plant.client("load", "--guess", str(sheet), "--out", str(map_path), check=2)  # never over a file


with Plant(sys.argv[1]) as plant:
    plant.load_text("products", PRODUCTS)
    by_map(plant)
    refused_in_words_of_the_file(plant)
    contradictions(plant)
    sheets(plant)
    guesses(plant)
