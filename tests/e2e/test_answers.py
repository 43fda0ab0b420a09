"""The real daemon's answers against the schemas that say what they are, every route of its table: a plant
with all kinds of records, complaints that were joined, refused, came back as returns and tell of harm.

    test_answers.py BUILD_FOLDER
"""
import csv
import io
import json
import pathlib
import re
import subprocess
import sys
import urllib.parse
import uuid

try:
    import answers
except ImportError:
    print("python3-jsonschema is not installed")
    sys.exit(77)
from oddloaf import ROOT, Plant, UnixConnection, complaint, until
from routes import routes

BINARIES = pathlib.Path(sys.argv[1])
HOT = "L1 6318 A0400"
LATER = "2026-11-20T11:00:00-05:00"
NO_DOCUMENT = {"GET /v1/metrics", "GET /v1/cases/*.html", "GET /v1/weeks/*.html"}
RECORDS = {
    "mixes": "mix,lot,at,flour_kg\nM1,{lot},2026-11-14T01:00:00-05:00,500\n",
    "uses": "lot,material,material_lot,amount,unit,mix,supplier\n{lot},film,F-0911,12,kg,,Tern Film\n"
            "{lot},inhibitor,P-2,1.5,kg,M1,\n",
    "plantlog": "at,place,quantity,value,line\n2026-11-14T02:00:00-05:00,slicer,swab_cfu,80,1\n",
    "dispatch": "lot,route,at,units,store,transit_c\n{lot},R4,2026-11-14T09:00:00-05:00,600,0417,21.5\n",
    "readings": "lot,quantity,value,at\n{lot},core_at_pack_c,47,2026-11-14T04:10:00-05:00\n",
}
BAD = b"lot,quantity,value\n" + b"NOPE,crumb_ph,5\n" * 2500


class Asked:
    """Asks, checks each answer, and remembers which routes have answered well."""

    def __init__(self, plant, table):
        self.plant, self.answered, self.faults = plant, set(), []
        self.table = {f"{route['method']} {route['path']}" for route in table}

    def raw(self, status, method, path, body=None, content_type="application/json"):
        """A document; of NDJSON a list of them."""
        connection = UnixConnection(self.plant.socket)
        body = json.dumps(body).encode() if isinstance(body, dict) else body
        connection.request(method, path, body=body, headers={"Content-Type": content_type} if body else {})
        answer = connection.getresponse()
        text, kind = answer.read().decode(), answer.getheader("Content-Type")
        connection.close()
        assert answer.status == status, (method, path, answer.status, text[:500])
        self.faults += answers.faults(method, path, status, kind, text)
        if status < 400:
            name = answers.schema_of(method, path)
            self.answered |= {r for r in answers.AS_TOLD.get(name, {}).get("routes", [])
                              if answers.PATTERNS[r].match(f"{method} {path.split('?')[0]}")}
        told = answers.documents(kind, text)
        return told if "ndjson" in kind else told[0] if told else text

    def get(self, path, status=200):
        return self.raw(status, "GET", "/v1/" + path)

    def post(self, path, body, status=200):
        return self.raw(status, "POST", "/v1/" + path, body)


def load_records(ask):
    ask.plant.load_small()
    for kind, text in RECORDS.items():
        ask.raw(200, "POST", f"/v1/records/{kind}?source=x.csv", text.format(lot=HOT).encode(), "text/csv")
    upload = f"/v1/records/readings?source=bad.csv&load={uuid.uuid4()}"
    ask.raw(200, "POST", upload + "&part=0&last=0", BAD[:19 + 16 * 5], "text/csv")
    told = ask.raw(200, "POST", upload + "&part=1&last=1", BAD[19:], "text/csv")
    assert told["refused_more"] and not told["applied"], told
    rest = ask.raw(200, "GET", told["rest"])
    assert rest and rest[0]["value"] == "NOPE", rest[:1]
    ask.raw(200, "POST", "/v1/records/readings?source=x.csv&dry_run=1", b"lot,quantity,value\n", "text/csv")
    ask.raw(404, "POST", "/v1/records/nonsense?source=x.csv", b"a\n", "text/csv")


def log_complaints(ask):
    said = {"product": "W24", "observed": {"where": "side", "wet_inside_bag": True, "colour": "blue-green"}}
    first = complaint(HOT, note="smells sour", contact={"name": "Ann Bee", "phone": "555-0101"}, **said)
    ask.post("complaints/preview", first)
    told = ask.post("complaints", first, 201)
    assert ask.post("complaints", first)["again"] is True
    ask.post("complaints", complaint("", harm=["illness"], colour="blue"), 201)
    ask.post("complaints", complaint(HOT, channel="return", units=12, inspected_at=LATER, put_at="slicer",
                                     measured={"crumb_ph": 5.2}, received=LATER), 201)
    ask.post("complaints", complaint(HOT, channel="return", units=1, measured={"nonsense [degC]": 3}), 400)
    ask.post("complaints", complaint("L1 63?8 A0400", "staling", bought_on="2026-11-22"), 201)
    ask.post("complaints", complaint(HOT, same_as=first["id"], store="0417", received=LATER), 201)
    lines = [json.dumps(x) for x in (complaint("L1 6318 A0800"), {"symptom": "wet"},
                                     {"symptom": "wet", "harm": ["illness"]})] + ["{bad"]
    batch = ask.raw(200, "POST", "/v1/complaints?source=x.ndjson", "\n".join(lines).encode(),
                    "application/x-ndjson")
    assert [("error" in line, "script" in line) for line in batch] == [
        (False, False), (True, False), (True, True), (True, False)], batch
    refused = ask.post("complaints", {"symptom": "wet", "harm": ["illness"]}, 400)
    assert refused["script"] and len(refused["errors"]) > 2, refused
    return first["id"], told["case"]


def join_reports(ask, first):
    second = complaint(HOT, received=LATER)
    ask.post("complaints", second, 201)
    ask.post(f"complaints/{second['id']}/join", {"same_as": first})
    assert ask.get(f"complaints/{first}")["joined"]
    ask.get(f"complaints/{second['id']}")
    ask.post(f"complaints/{second['id']}/separate", {})
    ask.post("complaints/C7/join", {"same_as": first}, 404)


def change_complaints(ask, first, case):
    path = f"complaints/{first}"
    ask.post(path + "/correct", {"fields": {"note": "black mold on the heel", "packs": 2}, "reason": "misheard"})
    ask.post(path + "/correct", {"fields": {"packs": 0}, "reason": "x"}, 400)
    ask.post(path + "/withdraw", {"reason": "x", "by": "Mira"})
    ask.post(path + "/correct", {"fields": {"packs": 1}, "reason": "x"}, 409)
    ask.post(path + "/withdraw", {"reason": "x", "undo": True})
    for what in (first, case, HOT):
        ask.get("history/" + urllib.parse.quote(what))


def follow_up(ask, case):
    """Before anything else of a case, and all that can be said of it."""
    path = f"cases/{case}/follow"
    until(lambda: ask.get(path)["working"].get("working"))  # it is weighed with its ranking, behind the answer
    told = ask.post(path, {"by": "mira", "owner": "jo", "due": "2099-01-01", "severity": "high", "reason": "a brand",
                           "note": "rang the store"})
    assert (told["owner"], told["severity"], told["working"]["set"]) == ("jo", "high", True), told
    assert ask.get("cases?owner=JO")["cases"][0]["owner"] == "jo" and not ask.get("cases?overdue=1")["cases"]
    ask.post(path, {"by": "mira", "note": ""}, 400)
    ask.post(path, {"by": "mira", "colour": "blue"}, 400)
    one = next(c["complaint"] for c in ask.get("complaints?phone=555-0101")["complaints"] if "same_as" not in c)
    asked = ask.post(path, {"by": "mira", "call_back": "2099-01-01", "complaint": one})
    assert asked["call_backs"][0]["contact"]["phone"], asked
    assert ask.get("found?word=c1*")["found"]
    ask.get("found", 400)
    listed = ask.get("call-backs")
    assert listed["waiting"] == len(listed["call_backs"]) > 0, listed
    ask.post(path, {"by": "mira", "answered": "we look into it", "complaint": one})
    ask.get("history/" + case)
    ask.get("history/" + one)


def look_at_cases(ask, case):
    for query in ("", "?state=all&order=urgent&limit=2"):
        assert ask.get("cases" + query)["cases"]
    assert len(ask.get("ranks?limit=200")) > 2
    for part in ("", "/why", "/facts", "/ask", "/reach", "/why?cause=packed-hot"):
        ask.get(f"cases/{case}{part}")
    for case_of_any in ask.get("cases?state=all")["cases"]:
        for part in ("", "/why", "/facts", "/ask"):
            ask.get(f"cases/{case_of_any['case']}{part}")
    follow_up(ask, case)
    settled = {"cause": "packed-hot", "confirmed_by": "assay", "by": "mira", "note": "fan"}
    ask.post(f"cases/{case}/verdict", settled)
    assert ask.get(f"cases/{case}")["verdict"]["cause"] == "packed-hot"
    ask.post(f"cases/{case}/verdict", settled, 409)
    ask.get("scores")
    ask.post("scores", {"learn": None, "by": "mira"}, 400)
    assert ask.post("scores", {"learn": True, "by": "mira"})["on"]
    ask.post("scores", {"learn": True, "by": "mira"}, 409)
    known = [s["by"] for s in ask.get("scores")["learning"]["switches"]]
    assert len(known) == 1 and known[0].startswith("mira ("), f"beside the name, whom the daemon knows: {known}"
    assert not ask.post("scores", {"learn": False, "by": "ines"})["on"]
    ask.post(f"cases/{case}/verdict", {"reopen": True, "by": "mira"})
    ask.get("cases/C999", 404)
    ask.get("cases?colour=blue", 400)


def look_at_lots(ask):
    hold = {"lots": [HOT], "reason": "wet bags", "by": "mira"}
    ask.post("lots/hold", hold)
    ask.post("lots/hold", {**hold, "reason": "glass"})
    assert len(ask.get("holds")["holds"]) == 2
    ask.post("lots/release", {**hold, "disposition": "destroy"}, 409)
    ask.post("lots/release", {**hold, "disposition": "destroy", "all": True})
    ask.post("lots/release", {**hold, "disposition": "destroy"}, 409)
    ask.post("lots/hold", hold, 409)
    for code in (HOT, "L1 6318 A04O0", "L1 6310 A0400", "L1 6330 A0400"):  # the last on no record
        ask.get("lots/" + urllib.parse.quote(code))
    ask.post("lots/release", {**hold, "disposition": "rework", "lots": ["NOPE"]}, 404)
    ask.post("lots/hold", {**hold, "lots": ["NOPE"]})
    look_at_results(ask)
    assert not ask.get("holds")["holds"][0]["on_record"]
    ask.get("lots/" + urllib.parse.quote("L1 6330 A0400"))


def look_at_results(ask):
    def send(*results, status=200, **more):
        return ask.post("lots/measure", {"lot": HOT, "results": [dict(zip(("quantity", "value"), r)) for r in results],
                                         "lab": "Northgate", "sample": "26-114", "by": "mira", **more}, status)

    told = send(("crumb_ph", "6.4 pH"), ("yeasts", "<10"), ("mold_genus", "Penicillium"), at="2026-11-24", method="probe")
    assert [r["evidence"] for r in told["results"]] == [True, False, True] and told["cases"], told
    assert send(("crumb_ph", 6.4))["results"][0]["outcome"] == "same"
    assert send(("crumb_ph", 6.3), ("yeasts", None), reason="typed wrong")["results"][1]["outcome"] == "taken back"
    send(("crumb_ph", 52), ("settle_plate_cfu", 3), status=400)
    send(("crumb_ph", 5), lot="NOPE", status=404)


def look_at_files(ask, case):
    upload = str(uuid.uuid4())
    ask.raw(200, "POST", f"/v1/attachments/parts?upload={upload}&part=0", b"crumb pH 5.9\n", "application/octet-stream")
    one = ask.post("attachments", {"to": case, "upload": upload.upper(), "name": "report.txt", "by": "mira"})
    assert (one["type"], one["bytes"], one["case"]) == ("text/plain", 13, case), one
    ask.post("attachments", {"to": case, "upload": upload, "name": "report.txt", "by": "mira"}, 404)
    assert [a["attachment"] for a in ask.get(f"attachments?of={case}")["attachments"]] == [one["attachment"]]
    ask.raw(200, "GET", f"/v1/attachments/{one['attachment']}")
    ask.post(f"attachments/{one['attachment']}/detach", {"reason": "wrong case", "by": "mira"})
    ask.get(f"attachments/{one['attachment']}", 404)


def look_at_weeks(ask):
    for week in ("2026-W47", "2026-W46?by=line,route", "2025-W01", "current"):
        ask.get("weeks/" + week)
    assert "per_million" in ask.get("weeks/2026-W47?format=csv")
    ask.get("weeks/2027-W53", 400)
    ask.get("weeks/2026-W47?against=2026-W46&by=store,plant,channel")
    ask.get("weeks/2026-W47?against=2026-13", 400)
    for span in ("2026-11", "2026-Q4?against=2025-Q4", "2026?by=channel", "2026-W47"):
        ask.get("spans/" + span)
    assert "per_million" in ask.get("spans/2026-11?format=csv")
    for table in ("signals", "stories", "causes", "to-come", "weeks", "actions", "holds", "overdue", "stages", "harm",
                  "returns"):
        head = ask.get(f"weeks/2026-W47?format=csv&table={table}").split("\r\n")
        assert "," in head[0], head
    rows = list(csv.DictReader(io.StringIO(ask.get("spans/2026-11?format=csv&table=complaints"))))
    assert len(rows) == sum(ask.get("spans/2026-11")["complaints"].values()) and rows[0]["received_at"], rows
    assert not {"note", "name", "phone", "email", "contact"} & set(rows[0]), rows[0]
    cases = list(csv.DictReader(io.StringIO(ask.get("spans/2026-11?format=csv&table=cases"))))
    assert {row["case"] for row in rows} == {row["case"] for row in cases}, (rows, cases)
    ask.get("spans/2026-11?format=csv&table=contacts", 400)
    ask.get("spans/2026-13", 400)
    for later in ("weeks/2099-W10", "spans/2099-W10", "spans/2099-03", "spans/2099-Q1", "spans/2099"):
        assert "has not begun" in str(ask.get(later, 400)), later
    assert "of a week" in str(ask.get("spans/2026-11?format=html", 400))
    harmed = list(csv.DictReader(io.StringIO(ask.get("spans/2026-11?format=csv&table=harm"))))
    assert {row["complaint"] for row in harmed} == {row["complaint"] for row in rows if row["harm"] == "yes"} != set(), harmed
    for row in harmed:
        assert row["harm"].split("; ") == ask.get("complaints/" + row["complaint"])["harm"], row
    for table in ("signals", "stories", "to-come", "weeks", "actions", "holds", "overdue", "stages"):
        assert "--table " + table in str(ask.get(f"spans/2026-11?format=csv&table={table}", 400)), table
    page = ask.get("weeks/2026-W47?format=html&against=2026-W46")
    assert "<h2>Against 2026-W46</h2>" in page and "<h2>Against" not in ask.get("weeks/2026-W47?format=html")
    assert ask.get("trace?symptom=mold&from=2026-10-20&to=2026-11-18")["factors"]
    ask.get("trace?symptom=mold", 400)
    assert ask.get("returns?from=2026-11-01&to=2026-11-30")["stand"]
    assert ask.get("gaps?weeks=4")["records"]
    what_if(ask)
    number = ask.post("actions", {"line": "1", "cause": "packed-hot", "symptom": "mold", "at": "2026-11-10",
                                  "note": "fan replaced", "by": "mira"}, 201)["action"]
    ask.get("actions")
    ask.get(f"actions/{number}/effect")
    ask.get(f"actions/{number}/effect?days=400", 400)


def what_if(ask):
    lot = ask.get("cases?limit=1")["cases"][0]["lot"]
    told = ask.get(f"whatif?of={urllib.parse.quote(lot)}&set=core_at_pack_c=30,crumb_ph=5.1&hold=9&share=90")
    assert [way["way"] for way in told["ways"]] == ["as made", "as specified", "as changed"], told
    assert [row["is"] for row in told["changed"]] == [30, 5.1] and told["lot"] == lot, told
    product = ask.get(f"whatif?of={told['product']}")
    assert product["lot"] is None and product["hold"] is None and product["ways"][0] == dict(told["ways"][1], without_mold=None)
    for wrong in ("set=nonsense=1", "set=crumb_ph=", "set=crumb_ph=40", "set=crumb_ph=0x5", "set=crumb_ph=5,crumb_ph=5.2", "hold=0", "share=100"):
        ask.get(f"whatif?of={told['product']}&{wrong}", 400)
    ask.get("whatif?of=C999999", 404)
    ask.get("whatif?of=nothing+so+called", 404)
    ask.get("whatif", 400)


def fit_the_model(ask):
    ask.get("calibration")
    ask.post("calibration", {"adopt": True, "by": "mira"}, 409)
    rows = ["lot,quantity,value,at,point,note"]
    for day in range(20, 31):  # of October, four lots a day: retained packs of all of them
        for n, hour in enumerate((4, 8, 12, 16)):
            age = 9 + (day * 3 + n * 5) % 6
            found = f"2026-11-{day + age - 31:02d}" if day + age > 31 else f"2026-10-{day + age}"
            rows.append(f"L1 6{day + 273} A{hour:02d}00,mold_free_days,{age},{found}T12:00:00-05:00,retained,")
    ask.raw(200, "POST", "/v1/records/readings?source=x.csv", "\n".join(rows).encode(), "text/csv")
    assert ask.get("calibration")["valid"], ask.get("calibration")
    assert ask.post("calibration", {"adopt": True, "by": "mira"})["adopted"]
    assert ask.get("calibration")["adopted"]


def see_to_the_house(ask, first):
    for path in ("rules", "status", "status/recount", "outbox", "metrics"):
        ask.get(path)
    assert ask.get("outbox")["mails"]
    ask.post("outbox/all/send", {})
    ask.post("outbox/x/send", {}, 400)
    ask.post("backup", {"path": str(ask.plant.dir / "backup.db")})
    ask.post("backup", {"path": "backup.db"})
    ask.post("backup", {"path": "folder/backup.db"}, 400)
    for name in ask.get("export")["files"]:
        ask.get("export/" + name)
    ask.get("export/nothing.csv", 404)
    ask.post("restore", {"file": "nothing.db"}, 400)
    ask.post("restore/look", {"file": "nothing.db"}, 400)
    ask.post("restore/look", {"file": "backup.db"})
    ask.post("restore", {"file": "backup.db"})
    ask.plant.wait_anew()
    assert ask.get("status")["restored"]
    assert ask.get(f"complaints/{first}")["contact"]
    assert ask.get("complaints?phone=555-0101")["complaints"][0]["contact"]
    assert ask.get("complaints?limit=1")["next"]
    ask.get("complaints?word=...", 400)
    ask.get("complaints?since=soon", 400)
    assert ask.post("erase", {"contact": "555-0101"})["erased"]
    ask.get("nothing", 404)
    ask.raw(405, "POST", "/v1/status")


def check_manual(plant):
    """The manual's way to ask from a shell."""
    page = (ROOT / "daemon/oddloafd.8").read_text()
    words = re.search(r"^\.Dl (curl .*)$", page, re.MULTILINE).group(1)
    said = subprocess.run(words.replace("/run/oddloaf/oddloafd.sock", plant.socket).split() + ["-sS"],
                          capture_output=True, text=True, check=True).stdout
    assert json.loads(said)["cases"], said


def check_checker():
    """A member that nobody described, one that is missing, one of another kind."""
    good = {"case": "C1", "state": "settled"}
    for change, word in (({}, None), ({"state": None}, "not one of"), ({"by": "mira"}, "by"), ({"case": "7"}, "C")):
        said = answers.faults("POST", "/v1/cases/C1/verdict", 200, "application/json", json.dumps({**good, **change}))
        assert word in said[0] if word else not said, (change, said)
    assert answers.faults("POST", "/v1/cases/C1/verdict", 200, "application/json", '{"case": "C1"}')
    assert answers.faults("GET", "/v1/nothing", 200, "application/json", "{}")


def main():
    check_checker()
    table = routes(BINARIES)
    config = {"mail": {"program": "/bin/false", "to": ["qa@mill.example"], "urgent_to": ["lead@mill.example"]}}
    with Plant(BINARIES, config=config) as plant:
        ask = Asked(plant, table)
        load_records(ask)
        first, case = log_complaints(ask)
        join_reports(ask, first)
        change_complaints(ask, first, case)
        look_at_cases(ask, case)
        look_at_lots(ask)
        look_at_files(ask, case)
        look_at_weeks(ask)
        fit_the_model(ask)
        see_to_the_house(ask, first)
        check_manual(plant)
    for fault in dict.fromkeys(ask.faults):
        print(fault)
    described = set(answers.ROUTES)
    assert described == ask.table - NO_DOCUMENT, ("no schema, or no such route", described ^ (ask.table - NO_DOCUMENT))
    assert ask.answered == described, ("not asked here", described - ask.answered)
    if ask.faults:
        sys.exit(f"{len(ask.faults)} faults")
    print(f"the answers of {len(described)} routes are as their schemas say")


main()
