"""A day is the plant's, whatever the machine at hand thinks: "today", "yesterday", and when a date starts.

usage: test_zone.py BINARIES
"""
import datetime
import json
import pathlib
import re
import sqlite3
import sys
import uuid
import zoneinfo

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import ROOT, Plant, until  # noqa: E402

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

# A plant ahead of the company's clock: its today is a day that has come, to who is asked of it; the days of others have not.
AHEAD = {"time_zone": PLANT, "plants": {"ahead": {"time_zone": "Pacific/Kiritimati", "mail": {"to": ["qa@ahead.example"]}}}}
with Plant(sys.argv[1], config=AHEAD) as plant:
    plant.load_small()
    (plant.dir / "spool").mkdir()
    assert plant.get("/v1/status")[1]["time_zones"] == ["Pacific/Kiritimati"]
    there, after = plant_day("Pacific/Kiritimati"), plant_day("Pacific/Kiritimati", -1)
    told = sent(plant, "--plant", "ahead", "--found", there, "--received-at", there)
    assert told["found_on"] == there and told["received_at"] <= there + "T00:00", told
    for day in (after, plant_day("Pacific/Kiritimati", -2)):
        refused = plant.client("log", "--symptom", "mold", "--found", day, check=1, env=AWAY)
        assert "in the future" in refused.stderr, refused
    plant.stop()  # and by what it last said
    plant.client("log", "--symptom", "mold", "--found", there, check=3, env=AWAY)
    assert kept(plant)[-1]["found_on"] == there, kept(plant)
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

# A company of two plants 25 hours apart: what is told of either goes by its days.
HOME, FAR = "Pacific/Kiritimati", "Pacific/Pago_Pago"
LOT = "F1 6318 2230"  # in the night there, which is late on the next day at home
CODES = {"plants": [{"plant": "far", "patterns": [{
    "name": "far", "pattern": "F ?(?<line>[1-3]) ?(?<y>[0-9])(?<doy>[0-9]{3}) ?(?<hhmm>[0-9]{4})", "code": "F{line} {y}{doy} {hhmm}",
    "max_age_days": 400, "because": "as its coder prints them", "source": "plant experience",
    "examples": [{"text": "F1 6318 0400", "received": "2026-11-20", "line": "1", "day": "2026-11-14", "time": "04:00"}]}]}]}


def far_plants(binaries):
    plant = Plant(binaries, config={"time_zone": HOME, "plants": {"far": {"time_zone": FAR, "mail": {"to": ["qa@far.example"]}}}})
    program, mails = plant.dir / "sendmail", plant.dir / "mails"
    mails.mkdir()
    program.write_text(f"""#!/bin/sh
for to; do :; done
file=$(mktemp {mails}/XXXXXX)
{{ echo "$to"; cat; }} >"$file" """)
    program.chmod(0o755)
    plant.config["mail"] = {"program": str(program), "to": ["qa@home.example"], "due_hour": 0, "digest_hour": 0}
    own = plant.dir / "rules"
    own.mkdir()
    (own / "lots.json").write_text(json.dumps({**json.loads((ROOT / "rules/lots.json").read_text()), **CODES}))
    plant.rules = f"{own}:{ROOT / 'rules'}"
    return plant


def log(daemon, lot, **more):
    status, answer = daemon.post("/v1/complaints", {"id": str(uuid.uuid4()), "received_at": "2026-11-20T12:00:00Z", "channel": "phone",
                                                   "symptom": "mold", "lot_text": lot, "found_on": "2026-11-20", **more})
    assert status == 201, answer
    return answer["case"]


def same_day(zone, ask, back=0):
    """What is asked for, as of one day there."""
    while True:
        day = plant_day(zone, back)
        told = ask()
        if day == plant_day(zone, back):
            return day, told


with far_plants(sys.argv[1]) as plant:
    plant.load_small()
    head = "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,plant\n"
    times = "2026-11-14T20:00:00-11:00,2026-11-14T21:00:00-11:00,2026-11-14T22:30:00-11:00,2026-11-14T23:00:00-11:00"
    plant.load_text("lots", head + f"{LOT},W24,1,{times},900,{plant_day(FAR)},far\nX9 6318,W24,9,{times},900,{plant_day(FAR)},far\n")
    cases = {"far": log(plant, LOT), "": log(plant, "L1 6318 A0400")}
    plant.wait_idle()

    # days of the lot: packed on the 14th there
    facts = plant.get(f"/v1/cases/{cases['far']}/facts")[1]
    ages = {age for fact in facts["facts"] if fact["fact"] == "model.mold_age" for age in fact["values"]}
    assert ages == {6}, facts
    said = {code: plant.get("/v1/lots/" + code.replace(" ", "%20"))[1]["lot_says"] for code in ("F1 6318 0100", "F1 6319 0100")}
    assert "2026-11-14, lies within the records" in said["F1 6318 0100"] and "after the last lots" in said["F1 6319 0100"], said

    # times of the lot and its case, and their zone where people read no offset
    lot = plant.client_json("lot", LOT)
    assert lot["packed_from"] == "2026-11-14T22:30:00-11:00" and lot["zone"] == FAR, lot
    assert [case["as_of"] for case in lot["cases"]] == ["2026-11-20T01:00:00-11:00"], lot["cases"]
    said = plant.client("lot", LOT, check=0).stdout
    assert "2026-11-14 22:30" in said.replace("\u00a0", " ") and f"by the clock of {FAR}" in " ".join(said.split()), said
    assert plant.get(f"/v1/cases/{cases['far']}")[1]["as_of"] == "2026-11-20T01:00:00-11:00"
    for word in (cases["far"], LOT):
        story = plant.client_json("history", word)
        assert story["zone"] == FAR and {event["at"][-6:] for event in story["events"]} <= {"-11:00"}, story
        said = " ".join(plant.client("history", word, check=0).stdout.split())
        assert f"History of {word}, by the clock of {FAR}" in said, said
    assert "zone" not in plant.client_json("history", cases[""])
    assert "zone" not in plant.client_json("lot", "L1 6318 A0400") and plant.get(f"/v1/cases/{cases['']}")[1]["as_of"].endswith("+14:00")
    assert f"by the clock of {FAR}" in plant.get(f"/v1/cases/{cases['far']}.html")[1].decode()

    # what callers say of days: received on the 20th there, on the 21st at home
    for said, found in (({"plant": "far"}, "2026-11-19"), ({}, "2026-11-20")):
        one = {"id": str(uuid.uuid4()), "received_at": "2026-11-20T12:00:00Z", "channel": "phone", "symptom": "mold",
               "note": "green spots, saw them yesterday", **said}
        status, told = plant.post("/v1/complaints", one)
        assert status == 201 and {"field": "found_on", "value": found} in [
            {name: item[name] for name in ("field", "value")} for item in told["taken"]], (said, told)

    # weeks of one plant are its own: a Sunday there, Monday at home
    week = lambda name: plant.get(f"/v1/weeks/{name}?plant=far")[1]["complaints"]["mold"]
    before = {name: week(name) for name in ("2026-W46", "2026-W47")}
    log(plant, LOT, received_at="2026-11-15T12:00:00Z", found_on="2026-11-15")
    plant.wait_idle()
    assert {name: week(name) - was for name, was in before.items()} == {"2026-W46": 1, "2026-W47": 0}

    # and so are months: in October there, on the 1st of November at home
    month = lambda name: plant.get(f"/v1/spans/{name}?plant=far")[1]["complaints"]["mold"]
    before = {name: month(name) for name in ("2026-10", "2026-11")}
    log(plant, "?", plant="far", received_at="2026-10-31T10:30:00Z", found_on="2026-10-30")
    plant.wait_idle()
    assert {name: month(name) - was for name, was in before.items()} == {"2026-10": 1, "2026-11": 0}

    # of other questions some are the company's, of one plant too, and what is in code of the lots of a case
    for zone, path, name in ((FAR, "returns?plant=far", "to"), (HOME, "returns", "to"), (HOME, f"cases/{cases['far']}/reach", "in_code_on")):
        day, told = same_day(zone, lambda path=path: plant.get("/v1/" + path)[1])
        assert told[name] == day, (path, day, told)
    packed = plant.get("/v1/gaps?plant=far")[1]["to"]  # the 14th there, the 15th at home
    assert packed == "2026-11-15", packed

    # what is due, by the days of each
    levels = json.loads((ROOT / "rules/severity.json").read_text())["levels"]
    for lot, zone in ((LOT, FAR), ("L1 6318 A0800", HOME)):
        day, follow = same_day(zone, lambda: until(lambda case=log(plant, lot, symptom="staling", harm=["illness"]): (
            lambda told: told if told.get("due") else None)(plant.get(f"/v1/cases/{case}/follow")[1])))
        days = datetime.timedelta(days=levels[follow["severity"]]["due_days"])
        due = (datetime.date.fromisoformat(day) + days).isoformat()
        last = plant.client_json("lot", lot)["code_date"]  # nothing is due later than its bread is sold
        assert follow["due"] == (min(due, last) if last >= day else due), (lot, day, last, follow)

    # an action of today, there; today at home has not come there
    day, told = same_day(FAR, lambda: plant.post("/v1/actions", {"plant": "far", "line": "1", "at": plant_day(HOME), "note": "fan", "by": "m"}))
    assert told[0] == 400 and f"today is {day}" in told[1]["errors"][0]["reason"], told
    day, told = same_day(FAR, lambda: plant.post("/v1/actions", {"plant": "far", "line": "1", "note": "fan", "by": "m"}))
    assert told[0] == 201 and told[1]["at"] == day, told
    assert plant.get("/v1/actions")[1]["actions"][0]["at"] == day
    # and of a plant that is not named but meant: only that one has the line
    day, told = same_day(FAR, lambda: plant.post("/v1/actions", {"line": "9", "at": plant_day(FAR), "note": "fan", "by": "m"}))
    assert told[0] == 201 and told[1]["at"] == day, (day, told)

    # a hold: in code there on the last day, which is over at home
    plant.client("hold", LOT, "--reason", "wet", check=0)
    held = plant.get("/v1/holds")[1]["holds"]
    if plant_day(FAR) == plant.client_json("lot", LOT)["code_date"]:
        assert [hold["in_code"] for hold in held] == [True], held

    plant.client("hold", LOT, "--reason", "cold", "--at", "2026-11-15T10:30:00Z", check=0)  # the 14th there
    day, held = same_day(FAR, lambda: [hold for hold in plant.get("/v1/holds")[1]["holds"] if hold["reason"] == "cold"])
    assert held[0]["at"] == "2026-11-14T23:30:00-11:00" == [hold["at"] for hold in plant.client_json("lot", LOT)["holds"] if hold["reason"] == "cold"][0]
    assert held[0]["age_days"] == (datetime.date.fromisoformat(day) - datetime.date(2026, 11, 14)).days, (day, held)

    # a result of before the lot was made
    refused = plant.client("measure", LOT, "crumb_ph=6.1", "--lab", "n", "--sample", "1", "--at", "2026-11-14T20:00:00Z", check=1).stderr
    assert "was made from 2026-11-14T20:00:00-11:00 on" in " ".join(refused.split()), refused

    # what is over: listed of that plant by its day, mailed there by its day
    yesterday = plant_day(FAR, 1)
    plant.client("follow", cases["far"], "--due", yesterday, "--reason", "asked", check=0)
    listed = plant.client_json("cases", "--plant", "far", "--overdue")["cases"]
    assert [case["case"] for case in listed] == [cases["far"]], listed
    plant.client("follow", cases["far"], "--due", plant_day(FAR), "--reason", "asked", check=0)
    day, listed = same_day(FAR, lambda: plant.client_json("cases", "--plant", "far", "--overdue")["cases"])
    if day == plant_day(FAR):
        assert listed == [], listed
    listed = plant.client_json("cases", "--overdue")["cases"]  # of several plants, by the company's day
    assert cases["far"] in [case["case"] for case in listed], listed
    plant.client("follow", cases["far"], "--due", yesterday, "--reason", "asked", check=0)
    plant.stop()
    with sqlite3.connect(plant.state / "oddloaf.db") as db:
        db.execute("DELETE FROM setting WHERE key LIKE 'due/last%'")
    db.close()
    plant.start()
    mails = lambda: [file.read_text() for file in (plant.dir / "mails").iterdir()]
    due = lambda: [text for text in mails() if text.startswith("qa@far.example\n") and re.search(r"^Subject: .*due", text, re.M | re.I)]
    day, _ = same_day(FAR, lambda: until(due, lambda: re.findall(r'^Subject: .*', '\n'.join(mails()), re.M)))
    with sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True) as db:
        last = dict(db.execute("SELECT key, value FROM setting WHERE key LIKE 'due/last%'"))
        weeks = dict(db.execute("SELECT key, value FROM setting WHERE key LIKE 'digest/last%'"))
    there = datetime.date.fromisoformat(day) - datetime.timedelta(days=7)
    assert set(weeks) == {"digest/last", "digest/last/far"} and weeks["digest/last/far"] == there.strftime("%G-W%V"), (weeks, day)
    assert set(last) == {"due/last", "due/last/far"} and last["due/last"] > last["due/last/far"] == day, (last, day)
