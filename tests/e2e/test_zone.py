"""A day is the plant's, whatever the machine at hand thinks: "today", "yesterday", and when a date starts.

usage: test_zone.py BINARIES
"""
import datetime
import json
import pathlib
import sqlite3
import sys
import zoneinfo

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import Plant  # noqa: E402

# 25 hours apart: whenever this runs, it is another day there
PLANT, AWAY = "Pacific/Pago_Pago", {"TZ": "Pacific/Kiritimati"}


def plant_day(zone, back=0):
    now = datetime.datetime.now(zoneinfo.ZoneInfo(zone))
    return (now - datetime.timedelta(days=back)).date().isoformat()


def kept(plant):
    return [json.loads(line) for path in sorted((plant.dir / "spool").glob("*.ndjson"))
            for line in path.read_text().splitlines()]


def sent(plant, *words):
    logged = json.loads(plant.client("--json", "log", "--symptom", "mold", *words, check=0,
                                     env=AWAY).stdout)
    with sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True) as db:
        return json.loads(db.execute("SELECT body FROM complaint WHERE uuid = ?",
                                     [logged["complaint"]]).fetchone()[0])


with Plant(sys.argv[1], config={"time_zone": PLANT}) as plant:
    plant.load_small()
    (plant.dir / "spool").mkdir()
    day = plant_day(PLANT)
    done = plant.client("action", "--line", "1", "--note", "fan", "--by", "m", check=0, env=AWAY)
    at = plant.get("/v1/actions")[1]["actions"][0]["at"]
    assert day <= at <= plant_day(PLANT) and at in done.stdout, (day, at, done)
    plant.client("action", "--line", "1", "--date", "yesterday", "--note", "fan", "--by", "m",
                 check=0, env=AWAY)
    assert plant_day(PLANT, 1) in [a["at"] for a in plant.get("/v1/actions")[1]["actions"]]
    day = plant_day(PLANT)
    back = json.loads(plant.client("--json", "returns", "--to", "today", check=0, env=AWAY).stdout)
    assert day <= back["to"] <= plant_day(PLANT), back
    # of a date the day, of now the time of the plant
    day = plant_day(PLANT, 1)
    told = sent(plant, "--found", "yesterday", "--received-at", "2026-11-20")
    assert told["received_at"] == "2026-11-20T00:00:00-11:00", told
    told = sent(plant, "--found", "yesterday")
    assert told["found_on"] in (day, plant_day(PLANT, 1)), told
    assert told["received_at"].endswith("-11:00"), told
    # and while the daemon is away, by what it last said
    plant.stop()
    day = plant_day(PLANT, 1)
    plant.client("log", "--symptom", "mold", "--found", "yesterday", check=3, env=AWAY)
    assert kept(plant)[-1]["found_on"] in (day, plant_day(PLANT, 1)), kept(plant)
    assert kept(plant)[-1]["received_at"].endswith("-11:00"), kept(plant)
    plant.start()

# a plant in New York, its manager in Auckland: the week starts on the plant's Monday
with Plant(sys.argv[1]) as plant:
    plant.load_small()
    away = {"TZ": "Pacific/Auckland"}
    for received in ("2026-11-16T04:59:00Z", "2026-11-16T05:01:00Z"):
        plant.client("log", "--symptom", "mold", "--received-at", received, check=0, env=away)
    plant.client("log", "--symptom", "mold", "--received-at", "2026-11-15", check=0, env=away)
    count = {week: json.loads(plant.client("--json", "week", week, check=0, env=away).stdout)
             ["complaints"]["mold"] for week in ("2026-W46", "2026-W47")}
    assert count == {"2026-W46": 2, "2026-W47": 1}, count
