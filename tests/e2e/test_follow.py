"""QA's and the desk's day with cases that are followed up, from the client alone: severity and its working, owner
and day, notes and answers, who is to be called back, what is due by mail, and what becomes of all that when cases
are settled, join, move and empty.                                        usage: test_follow.py BINARIES [CHECK]"""
import datetime
import email
import email.policy
import json
import sqlite3
import sys

from oddloaf import complaint, plant_day, tells_phone, until
from remote import Remote

LOT, OTHER = "L1 6318 A0400", "L1 6316 A0400"
LATER = "L1 6399 A0400"  # on no record until it is loaded
LATER_ROW = ("lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift\n" + LATER +
             ",W24,1,2026-11-15T01:00:00-05:00,2026-11-15T01:00:00-05:00,2026-11-15T04:00:00-05:00,"
             "2026-11-15T05:00:00-05:00,9000,2026-11-25,A\n")
ANN = {"name": "Ann Beaumont", "phone": "607-555-0101"}
MAILER = """#!/bin/sh
cat >"{box}/.$$" && mv "{box}/.$$" "{box}/$$.eml"
"""


def words(text):
    return " ".join(text.split())


def day(days):
    return plant_day(days).isoformat()


def log(plant, lot=LOT, symptom="mold", wait=True, **more):
    one = complaint(lot, symptom, **more)
    status, answer = plant.post("/v1/complaints", one)
    assert status in (200, 201), answer
    if wait:
        plant.wait_idle()
    return one["id"], answer["case"]


def follow(plant, case, *words, by="mira"):
    return plant.client_json("follow", case, *words, *(("--by", by) if words else ()))


def refused(done, code, *said):
    assert done.returncode == code, done
    for word in said:
        assert word in words(done.stderr), (word, done.stderr)


def listed(plant, *how):
    return [c["case"] for c in plant.client_json("cases", *how)["cases"]]


def calls(plant):
    return {c["complaint"]: c for c in plant.client_json("follow", "--call-backs")["call_backs"]}


def check_severity(plant):
    """Weighed as it is ranked, its working adds up, and it rises with what is known; the day comes nearer, never later."""
    first, case = log(plant, observed={"where": "top-crust"})
    told = follow(plant, case)
    points = {row["fact"]: row["points"] for row in told["working"]["working"]}
    assert told["severity"] == told["working"]["by_rule"] == "usual" and told["due"] == day(14), told
    assert points["units_in_code"] == 2 and sum(points.values()) == told["working"]["points"], told
    assert told["owner"] is None and told["entries"] == [] and told["call_backs"] == [], told
    for n in range(4):
        log(plant, wait=n == 3, observed={"where": "top-crust"})
    rose = follow(plant, case)
    assert (rose["severity"], rose["due"]) == ("high", day(3)), rose
    assert [(e["what"], e["was"], e["is"], e["by"]) for e in rose["entries"]] == [
        ("severity", "usual", "high", "oddloaf"), ("due", day(14), day(3), "oddloaf")], rose["entries"]
    plant.client("withdraw", first, "--reason", "another bakery's", check=0)
    for one in plant.client_json("history", case)["events"]:
        if one["what"] == "logged" and one["complaint"] != first:
            plant.client("withdraw", one["complaint"], "--reason", "another's", check=0)
    plant.wait_idle()
    assert case not in listed(plant), "it is empty"
    assert follow(plant, case)["state"] == "empty"
    refused(plant.client("follow", case, "--owner", "jo"), 1, "without complaints")
    plant.client("withdraw", first, "--undo", "--reason", "ours after all", check=0)
    plant.wait_idle()
    fell = follow(plant, case)
    assert (fell["severity"], fell["due"], fell["state"]) == ("usual", day(3), "open"), fell
    return case


def check_person(plant, case):
    """Who may, what is kept of it, and what is refused with what is so."""
    told = follow(plant, case, "--owner", "Mira", "--due", "in 9 days", "--severity", "low", "--reason", "one store's fridge",
                  "--note", "rang the store")
    assert (told["owner"], told["due"], told["severity"], told["working"]["set"]) == ("Mira", day(9), "low", True), told
    assert [e["what"] for e in told["entries"]][-4:] == ["owner", "severity", "due", "noted"], told["entries"]
    assert all(e["by"] == "mira" and e["user"] for e in told["entries"][-4:]), told["entries"]
    assert case in listed(plant, "--owner", "mira") and case not in listed(plant, "--mine")
    log(plant)
    kept = follow(plant, case)
    assert (kept["owner"], kept["due"], kept["severity"]) == ("Mira", day(9), "low"), "a complaint that joins moves nothing"
    for n in range(3):
        log(plant, wait=n == 2)
    rose = follow(plant, case)
    assert (rose["owner"], rose["due"], rose["severity"]) == ("Mira", day(3), "high"), "the rules came to more"
    refused(plant.client("follow", case, "--due", day(-1)), 1, "over in the plant")
    refused(plant.client("follow", case, "--severity", "low"), 2, "--reason")
    refused(plant.client("follow", case, "--answered", "x"), 1, "several people", "--complaint")
    refused(plant.client("follow", "C999", "--note", "x"), 5, "C999")
    shown = plant.client("follow", case, check=0).stdout
    assert all(len(line) <= 80 for line in shown.splitlines()), shown
    for text in ("owner Mira", f"due {day(3)}, in 3 days", "2 for complaints: 5", "note: rang the store"):
        assert text in words(shown), (text, shown)
    listing = plant.client("cases", "--order", "urgent", check=0).stdout
    assert f"{case} high" in words(listing) and "Mira" in listing, listing


def check_settled(plant, case):
    """Settled cases leave the lists; reopened they come back, with a day of their own."""
    late(plant, case)
    assert case in listed(plant, "--overdue") and case in listed(plant, "--overdue", "--owner", "Mira")
    assert "OVERDUE" in plant.client("cases", check=0).stdout
    assert f"OVERDUE since {day(-2)}, 2 days" in words(plant.client("follow", case, check=0).stdout)
    week = plant.get("/v1/weeks/current")[1]
    assert [(o["case"], o["days"], o["owner"]) for o in week["overdue"]] == [(case, 2, "Mira")], week["overdue"]
    assert week["overdue_count"] == 1 and any("1 case past its day" in words(h) for h in week["headline"]), week["headline"]
    plant.client("settle", case, "warm-storage", "--confirmed-by", "judgement", check=0)
    assert listed(plant, "--overdue") == [] and case not in listed(plant, "--owner", "Mira")
    refused(plant.client("follow", case, "--owner", "jo"), 1, "is settled")
    follow(plant, case, "--note", "seen in the store's log")
    plant.client("settle", case, "--reopen", check=0)
    back = follow(plant, case)
    assert (back["owner"], back["due"]) == ("Mira", day(3)), back
    assert case in listed(plant, "--owner", "Mira") and case not in listed(plant, "--overdue")
    stages = {s["stage"]: s for s in plant.client_json("scores")["stages"]}
    assert stages["owned"]["n"] == 3 and stages["found"]["n"] == 0 and stages["taken-in"]["n"] > 1, stages
    assert week["stages"][0]["stage"] == "taken-in"


def unweighed(plant, cases):
    """As an older version, which weighed only what has causes, left them: weighed by the first start after it."""
    plant.stop()
    db = sqlite3.connect(plant.state / "oddloaf.db")
    for case in cases:
        assert db.execute("DELETE FROM case_follow WHERE case_id = ?", (int(case[1:]),)).rowcount == 1
    assert db.execute("UPDATE setting SET value = '0.12' WHERE key = 'ranked/by'").rowcount == 1
    db.commit()
    db.close()
    plant.start()
    plant.wait_idle()


def late(plant, case, days=-2, anew=False):
    """As if it had been due some days ago."""
    plant.stop()
    db = sqlite3.connect(plant.state / "oddloaf.db")
    epoch = (plant_day() - datetime.date(1970, 1, 1)).days
    db.execute("UPDATE case_follow SET due_day = ? WHERE case_id = ?", (epoch + days, int(case[1:])))
    db.execute("UPDATE call_back SET due_day = ?", (epoch,))
    if anew:
        db.execute("DELETE FROM setting WHERE key = 'due/last'")
    db.commit()
    db.close()
    plant.start()


def check_harm(plant):
    """Harm is urgent at once and whatever is set; who reported it is called back by the rules."""
    one, case = log(plant, OTHER, "off-odor", harm=["illness"], contact=ANN)
    told = follow(plant, case)
    assert (told["severity"], told["due"]) == ("urgent", day(1)) and listed(plant, "--order", "urgent")[0] == case, told
    refused(plant.client("follow", case, "--severity", "low", "--reason", "x"), 1, "stays urgent", "oddloaf correct")
    refused(plant.client("follow", case, "--due", "none"), 1, "has a day")
    assert (calls(plant)[one]["due"], calls(plant)[one]["contact"]) == (day(1), ANN), calls(plant)
    return one, case


def check_other(plant):
    """What has no causes is weighed as the rest, harm of it first of all, and QA gets its mail."""
    plain, quiet = log(plant, OTHER, "other", note="the bag's print came off")
    assert (follow(plant, quiet)["severity"], follow(plant, quiet)["due"]) == ("usual", day(14)), follow(plant, quiet)
    one, case = log(plant, LOT, "other", harm=["illness"], contact=ANN)
    told = follow(plant, case)
    assert (told["severity"], told["due"]) == ("urgent", day(1)), told
    assert (calls(plant)[one]["due"], calls(plant)[one]["why"]) == (day(1), "illness reported"), calls(plant)
    unweighed(plant, (quiet, case))
    assert (follow(plant, quiet)["severity"], follow(plant, case)["severity"]) == ("usual", "urgent"), follow(plant, quiet)
    assert (follow(plant, quiet)["due"], follow(plant, case)["due"]) == (day(14), day(1)), follow(plant, quiet)
    row, = [c for c in plant.client_json("cases", "--order", "urgent")["cases"] if c["case"] == case]
    assert (row["severity"], row["due"]) == ("urgent", day(1)), row
    shown = words(plant.client("cases", check=0).stdout)
    assert "not ranked" not in shown and "to be read: no causes to rank" in shown, shown
    mailed = {m["case"]: m for m in plant.client_json("outbox")["mails"] if m["event"] == "case"}
    assert {quiet, case} <= set(mailed), mailed
    assert any(e["what"] == "call-back" for e in plant.client_json("history", one)["events"])
    lost, nobody = log(plant, "", "other", harm=["injury"], contact={"name": "Bo"})
    answer = plant.client_json("follow", "--call-backs")
    assert lost not in calls(plant) and [(u["complaint"], u["case"], u["why"]) for u in answer["unreachable"]] == [
        (lost, nobody, "injury reported")], answer
    assert f"No number left {nobody}, complaint {lost[:13]}: injury reported" in words(
        plant.client("follow", "--call-backs", check=0).stdout)
    assert "under which number" in plant.post("/v1/complaints", complaint("", "other", harm=["injury"], id=lost))[1]["script"]
    refused(plant.client("follow", nobody, "--call-back", "tomorrow"), 1, "no contact data")
    told, _ = log(plant, "", "other", note="she came out in hives and her lips swelled. Call me, Verena Koskie 555-0142")
    assert calls(plant)[told]["contact"] == {"name": "Verena Koskie", "phone": "555-0142"}, calls(plant)
    again = plant.post("/v1/complaints", complaint("", "other", note="her lips swelled, call 555-0142"))[1]
    assert again["harm"] and "under which number" not in again["script"], again
    assert b"Koskie" not in json.dumps([m for m in plant.client_json("outbox")["mails"]]).encode()
    assert plant.client_json("erase", "Verena Koskie")["erased"] == 1
    for gone in (plain, one, lost, told, again["complaint"]):
        plant.client("withdraw", gone, "--reason", "as a test", check=0)
    plant.wait_idle()


def check_calls(plant, one, case):
    """Asked for, answered, asked for again; erased with the contact; nothing that is written holds contact data."""
    told = follow(plant, case, "--answered", "told Ann Beaumont on 607-555-0101 that the lot is held", "--at", "0:01", by="jo")
    said = told["entries"][-1]
    assert said["what"] == "answered" and said["complaint"] == one and said["is"][11:16] == "00:01", said
    assert said["text"] == "told [name] [name] on [phone] that the lot is held" and one not in calls(plant), said
    again = follow(plant, case, "--call-back", "in 2 days", "--why", "the lab's result", by="jo")
    assert again["call_backs"][0]["due"] == day(2) and again["call_backs"][0]["why"] == "the lab's result", again
    plant.client("settle", case, "rope", "--confirmed-by", "assay", "--anyway", "the doctor says no", check=0)
    assert calls(plant)[one]["state"] == "settled", "who was promised a call gets one"
    assert "settled" in plant.client("follow", "--call-backs", check=0).stdout
    events = [(e["what"], e["by"]) for e in plant.client_json("history", one)["events"]]
    assert [e for e in events if e[0] in ("answered", "call-back")] == [
        ("call-back", "oddloaf"), ("answered", "jo"), ("call-back", "jo")], events
    unknown, other = log(plant, "", "off-odor")
    refused(plant.client("follow", other, "--call-back", "tomorrow"), 1, "no contact data")
    plant.client("erase", ANN["phone"], check=0)
    assert calls(plant) == {} and "Beaumont" not in json.dumps(follow(plant, case))


def check_moved(plant):
    """A case whose lot gets known is followed up as it was; one that joins another gives it what that lacks."""
    one, case = log(plant, LATER, "staling")
    follow(plant, case, "--owner", "jo", "--due", "in 5 days")
    plant.load_text("lots", LATER_ROW)
    until(lambda: plant.wait_idle() and plant.client_json("complaint", one)["lot"], "its lot is not found")
    moved = follow(plant, case)
    assert (moved["owner"], moved["due"]) == ("jo", day(5)) and moved["lot"] == LATER, moved
    two, second = log(plant, "", "staling")
    follow(plant, second, "--owner", "mira", "--due", "in 2 days", "--note", "the same crate")
    plant.client("correct", two, f"lot={LATER}", "--reason", "found the bag", check=0)
    plant.wait_idle()
    both = follow(plant, second)
    assert (both["case"], both["owner"], both["due"]) == (moved["case"], "jo", day(2)), both
    assert "the same crate" in [e["text"] for e in both["entries"]], both["entries"]


def check_mail(plant):
    """Once a day, by the plant's clock, without who called; none on a day on which nothing is due."""
    box = plant.dir / "box"
    def mails():
        return [m for m in (email.message_from_bytes(f.read_bytes(), policy=email.policy.default)
                            for f in box.glob("*.eml")) if "due-" in m["Message-ID"]]
    assert mails() == [], "nothing was due"
    one, case = log(plant, OTHER, harm=["injury"], contact=ANN)
    lost, nobody = log(plant, "", "other", harm=["injury"])
    late(plant, case, anew=True)
    sent, = until(mails, plant.log_text)
    text = words(sent.get_body(("plain",)).get_content())
    assert sent["To"] == "qa-lead@mill.example" and "1 case overdue, 1 call-back due, 1 caller of harm without a number" in \
        " ".join(sent["Subject"].split()), sent.as_string()
    assert f"Harm whose callers left no number - {nobody}, complaint {lost}: injury reported" in text, text
    assert f"HARM REPORTED: {case} (urgent)" in text and one in text and "2 days ago; nobody owns it" in text, text
    assert not [word for word in ("Ann", "Beaumont") if word in text] and not tells_phone(text, ANN["phone"]), text
    plant.client("withdraw", lost, "--reason", "as a test", check=0)
    plant.wait_idle()
    return mails


def check_restored(plant, mails):
    """A backup of before the day's list was made brings no second one."""
    plant.client("backup", "b.db", check=0)
    db = sqlite3.connect(plant.state / "backups" / "b.db")
    db.execute("PRAGMA foreign_keys = ON")
    assert db.execute("DELETE FROM setting WHERE key = 'due/last'").rowcount == 1
    for table, key in (("outbox_text", "mail_id"), ("outbox_delivery", "mail_id"), ("outbox", "id")):
        assert db.execute(f"DELETE FROM {table} WHERE {key} = (SELECT id FROM outbox WHERE event = 'due')").rowcount == 1
    db.commit()
    db.close()
    plant.client("restore", "--yes", "b.db", check=0)
    plant.wait_idle()
    plant.stop()
    db = sqlite3.connect(plant.state / "oddloaf.db")
    said = db.execute("SELECT value FROM setting WHERE key = 'due/last'").fetchall()
    made = db.execute("SELECT count(*) FROM outbox WHERE event = 'due'").fetchone()
    db.close()
    plant.start()
    assert len(said) == 1 and made == (0,) and len(mails()) == 1, (said, made, len(mails()))


def asked(plant, role, path, body=None):
    connection = plant.by_token(role)
    connection.request("POST" if body else "GET", path, json.dumps(body) if body else None,
                       {"Authorization": "Bearer " + connection.token, "Content-Type": "application/json"})
    answer = connection.getresponse()
    return answer.status, json.loads(answer.read())


def check_found(plant):
    """What is no complaint is found by its words and told by its kind, to each role what it may see."""
    one, case = log(plant, OTHER, "staling", contact={"name": "Rosalind Thorne", "phone": "555-013-8841"})
    follow(plant, case, "--owner", "Quimby", "--note", "zwieback for Rosalind Thorne, 555-013-8841", by="quimby")
    plant.client("measure", OTHER, "yeasts=<10", "--lab", "Zwieback Labs", "--sample", "7", "--by", "m", check=0)
    plant.client("action", "--line", "1", "--note", "zwieback moved", "--date", "2026-11-20", "--by", "m", check=0)
    plant.client("hold", OTHER, "--reason", "zwieback, dry", "--by", "m", check=0)
    paper = plant.dir / "zwieback-report.txt"
    paper.write_text("crumb 5.9\n")
    plant.client("attach", one, str(paper), "--by", "m", check=0)
    kinds = {"note", "result", "attachment", "hold", "action"}
    for role, sees in (("qa", kinds), ("manager", kinds - {"attachment"}), ("desk", kinds - {"action"}),
                       ("admin", kinds - {"action", "attachment"})):
        status, told = asked(plant, role, "/v1/found?word=zwieback")
        text = json.dumps(told)
        assert status == 200 and {f["kind"] for f in told["found"]} == sees, (role, told)
        assert "Thorne" not in text and not tells_phone(text, "013-8841") and "bits" not in text, (role, text)
        note = next(f for f in told["found"] if f["kind"] == "note")
        assert (note["case"], note["lot"], note["by"]) == (case, OTHER, "quimby"), note
    found = lambda *of: [(f["kind"], f["id"]) for f in plant.client_json("find", *of)["found"]]  # noqa: E731
    assert found("quimby") == [("case", case)] == found(case) and ("lot", OTHER) in found(OTHER[:7])
    assert len(found("zwieb*", "--product", "W24")) == 4, found("zwieb*", "--product", "W24")
    shown = words(plant.client("find", "zwieback", check=0).stdout)
    assert "Besides complaints" in shown and "zwieback-report.txt" in shown and f"hold H" in shown, shown
    assert plant.client("find", "quimby", "--lot", OTHER, check=5)
    assert "no product on record" in plant.client("find", "--product", "nosuch").stderr
    loose = log(plant, "", "off-odor", product="W24")[0]
    of_product = [c["complaint"] for c in plant.client_json("find", "--product", "W24")["complaints"]]
    assert one in of_product and loose in of_product, of_product
    for none in ("zwieb", "zzzz"):
        plant.client("find", none, check=5)


def check_desk(plant):
    """The desk notes, asks and answers, and sees who called; owner, day and severity are QA's."""
    one, case = log(plant, OTHER, "staling", contact=ANN)
    path = f"/v1/cases/{case}/follow"
    def ask(role, body=None, path=path):
        return asked(plant, role, path, body)
    status, told = ask("desk", {"by": "jo", "call_back": day(1)})
    assert status == 200 and told["call_backs"][0]["contact"] == ANN and "working" not in told, told
    assert told["entries"][-1]["by"] == "jo" and told["entries"][-1]["user"] == "Front desk", told
    for member, value in (("owner", "jo"), ("due", day(1)), ("severity", "low")):
        status, problem = ask("desk", {"by": "jo", member: value, "reason": "x"})
        assert status == 403 and member in json.dumps(problem), problem
    assert ask("qa", {"by": "m", "owner": "m"})[1]["owner"] == "m"
    for role in ("qa", "manager"):
        for where in (path, "/v1/call-backs"):
            status, seen = ask(role, path=where)
            assert status == 200 and seen["call_backs"] and "contact" not in seen["call_backs"][0], (role, seen)
        assert ("working" in ask(role)[1]) is True
    assert ask("desk", path="/v1/call-backs")[1]["call_backs"][0]["contact"] == ANN


def check_heard(plant):
    """Harm that only a note, a call, a result or a reason speaks of: told to who wrote it and to the urgent address,
    and the case may be harm until somebody has read it."""
    one, case = log(plant, OTHER, "staling", contact=ANN)
    shown = plant.client("follow", case, "--note", "phoned back: her daughter is in hospital, vomiting blood since", check=0).stdout
    assert "HARM REPORTED. Read out" in words(shown) and "harm=illness --reason" in words(shown), shown
    said = follow(plant, case, "--complaint", one, "--call-back", "tomorrow", "--why", "her son was cut by glass in the loaf")["heard"]
    assert said["harm"] and said["complaint"] == one and said["script"] and said["alarm"], said
    plant.wait_idle()
    assert follow(plant, case)["severity"] != "low" and "heard" not in follow(plant, case, "--note", "the tray is back")
    lot = plant.client("measure", OTHER, "crumb_ph=5.5", "--lab", "N", "--sample", "1", "--note", "metal splinters found", check=0).stdout
    told = words(lot)  # before all else, and what to do of the lot
    assert told.startswith("HARM IS SPOKEN OF") and f"Consider a hold: oddloaf hold '{OTHER}' --reason TEXT" in told, lot
    gone = plant.client("withdraw", one, "--reason", "her doctor says it was salmonella", check=0).stdout
    assert "HARM REPORTED. Read out" in words(gone), gone
    plant.client("withdraw", one, "--undo", "--reason", "as a test", check=0)
    plant.client("correct", one, "harm=", "--reason", "as a test", check=0)
    plant.wait_idle()


def main():
    plant = Remote(sys.argv[1])
    (plant.dir / "box").mkdir()
    program = plant.dir / "mail-program"
    program.write_text(MAILER.format(box=plant.dir / "box"))
    program.chmod(0o755)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example", "due_to": ["qa-lead@mill.example"], "due_hour": 0, "digest_hour": 0}
    with plant:
        plant.load_small()
        case = check_severity(plant)
        check_person(plant, case)
        check_calls(plant, *check_harm(plant))
        check_other(plant)
        check_moved(plant)
        mails = check_mail(plant)
        check_settled_alone(plant)
        assert len(mails()) == 1, "the day's list was made; a restart makes no other"
        check_restored(plant, mails)
        check_desk(plant)
        check_found(plant)
        check_heard(plant)
        recount = plant.client_json("status", "--recount")
        assert not any(recount["differences"].values()), recount
        plant.client("export", str(plant.dir / "out"), check=0)
        head, *rows = (plant.dir / "out/follow.csv").read_text().splitlines()
        assert "severity,by_rule,owner,due" in head and len(rows) > 3, rows
        assert "seen in the store's log" in (plant.dir / "out/follow_notes.csv").read_text()
        assert one_open((plant.dir / "out/call_backs.csv").read_text())
    print("follow: ok")


def check_settled_alone(plant):
    """What else is overdue by now is out of the way."""
    for case in listed(plant, "--overdue"):
        plant.client("settle", case, "not-known", "--confirmed-by", "judgement", "--anyway", "seen to", check=0)
    case, = listed(plant, "--owner", "Mira")
    check_settled(plant, case)


def one_open(text):
    return [row for row in text.splitlines()[1:] if row.endswith(",")]


main()
