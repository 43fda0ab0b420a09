"""What would hurt somebody if it were told wrongly: harm on a settled case, holds on codes no record
bears, lots that are not settled told as if they were, mail that does not leave told as if it did.
                                                                      usage: test_hurt.py BINARIES"""
import email
import email.policy
import json
import sys

from oddloaf import Plant, complaint, plant_day, until

LOT, NEXT = "L1 6314 A0400", "L1 6324 A0400"  # the second lies after the last lots loaded
MAILER = """#!/bin/sh
cat >"{box}/.$$" && mv "{box}/.$$" "{box}/$(date +%s%N).eml"
"""


def log(plant, **more):
    status, answer = plant.post("/v1/complaints", complaint(**more))
    assert status in (200, 201), answer
    return answer


def refused(plant, path, *words):
    status, problem = plant.get(path)
    assert status == 400, (path, status, problem)
    for word in words:
        assert word in str(problem), problem


def check_settled(plant):
    """Harm of a settled case is no settled matter: listed as open, flagged, until settled anew."""
    case = log(plant, lot=LOT)["case"]
    settle = {"cause": "packed-hot", "confirmed_by": "assay", "by": "mira"}
    assert plant.post(f"/v1/cases/{case}/verdict", settle)[0] == 200
    open_ = lambda: {c["case"]: c for c in plant.get("/v1/cases")[1]["cases"]}
    assert case not in open_()
    log(plant, lot=LOT, note="my son vomited after eating it")
    flagged = open_()[case]
    assert flagged["state"] == "settled" and flagged["harm_since_settled"] is True, flagged
    assert "HARM since it was settled" in " ".join(plant.client("cases").stdout.split())
    shown = plant.client("rank", case).stdout
    assert shown.index("HARM IS REPORTED") < shown.index(case), shown
    assert "after the case was settled" in " ".join(shown.split()), shown
    for command in ("why", "ask", "reach"):
        assert plant.client(command, case).stdout.startswith("HARM IS REPORTED"), command
    assert plant.get(f"/v1/cases/{case}/why")[1]["harm"] is True
    assert plant.post(f"/v1/cases/{case}/verdict", {"reopen": True, "by": "mira"})[0] == 200
    status, problem = plant.post(f"/v1/cases/{case}/verdict", settle)
    assert status == 409 and problem["open_harm"][0]["harm"] == ["illness"], problem
    assert "vomited" in problem["open_harm"][0]["note"] and case in problem["detail"], problem
    assert plant.post(f"/v1/cases/{case}/verdict", {**settle, "anyway": "the doctor found a virus"})[0] == 200
    assert case not in open_()


def check_despite(plant):
    """Nothing closes while harm is open, but by a person who says why: kept, and mailed as urgently."""
    lot, case = "L1 6315 A0800", log(plant, lot="L1 6315 A0800", harm=["injury"], note="a tooth broke on a stone")["case"]
    free = ("release", lot, "--reason", "dry", "--by", "mira", "--disposition")
    plant.client("hold", lot, "--reason", "wet", "--by", "mira", check=0)
    for disposition in ("release", "divert", "rework"):
        kept = plant.client(*free, disposition)
        assert kept.returncode == 1 and f"harm is open of {case} (injury" in kept.stderr, kept.stderr
        assert "a tooth broke on a stone" in kept.stderr and "--anyway" in kept.stderr, kept.stderr
    assert plant.client_json("holds")["holds"][-1]["lot"] == lot
    done = plant.client_json(*free, "release", "--anyway", "the stone was of a cherry")
    assert done["open_harm"][0]["case"] == case and done["alarm"], done
    noted = [e for e in plant.get(f"/v1/cases/{case}/follow")[1]["entries"] if e["what"] == "noted"]
    assert "the stone was of a cherry" in noted[-1]["text"] and noted[-1]["by"] == "mira", noted
    plant.client("hold", lot, "--reason", "wet", "--by", "mira", check=0)
    gone = plant.client(*free, "destroy", check=0)
    assert "HARM IS OPEN" in gone.stdout and "Keep packs" in gone.stdout, gone.stdout
    code = "L1 6397 A0400"  # on no record: complaints name it
    log(plant, lot=code, harm=["illness"])
    plant.client("hold", code, "--reason", "wet", "--by", "mira", check=0)
    kept = plant.client("release", code, *free[2:], "release")
    assert kept.returncode == 1 and "harm is open of" in kept.stderr, kept


def check_reach(plant):
    """Beside harm no bread cause tells how far it reaches, nor what to ask: what could have carried it does."""
    plant.load_text("uses", "lot,material,material_lot\nL1 6312 A0400,flour,F-9\nL1 6316 A1600,flour,F-9\nL1 6316 A1600,film,B-1\n"
                            "L1 6312 A1600,film,B-1\n")
    lot, far = "L1 6316 A1600", "L1 6312 A0400"
    case = log(plant, lot=lot, harm=["foreign-matter"])["case"]
    reach = plant.get(f"/v1/cases/{case}/reach")[1]
    assert reach["by"] == "harm" and "cause" not in reach and reach["own"]["lot"] == lot, reach
    because = {l["lot"]: l["because"] for l in reach["lots"]}
    assert because[far] == "same flour lot F-9" and because["L1 6312 A1600"] == "same film lot B-1", because
    assert because["L1 6316 A1200"] == "same line within six hours" and "L1 6314 A1600" not in because, because
    assert not any("probability" in l for l in (reach["own"], *reach["lots"])), reach
    shown = " ".join(plant.client("reach", case).stdout.split())
    assert "what could have carried the harm" in shown and "%" not in shown, shown
    assert plant.get(f"/v1/cases/{case}/reach?cause=packed-hot")[1]["cause"] == "packed-hot"
    asked = plant.get(f"/v1/cases/{case}/ask")[1]["ask"]
    assert any("where: in the crumb" in a["ask"] for a in asked) and not any("fact" in a for a in asked), asked
    held = plant.client("hold", "--reach", case, "--at-least", "5", "--reason", "glass", "--by", "mira", "--yes")
    assert held.returncode == 2 and "no risk in percent" in held.stderr, held
    for code in (lot, far):
        plant.client("hold", code, "--reason", "wet", "--by", "mira", check=0)
        plant.client("release", code, "--disposition", "destroy", "--reason", "wet", "--by", "mira", check=0)
    shown = " ".join(plant.client("reach", case).stdout.split())
    assert shown.count("NOTHING LEFT, destroyed (by mira: wet)") == 2, shown
    both = plant.post("/v1/lots/hold", {"lots": [lot, far], "reason": "glass", "by": "mira", "skip_gone": True})
    assert both[0] == 409 and "nothing is left of the others" in str(both), both
    assert plant.client("hold", lot, "--reason", "glass", "--by", "mira").returncode == 1
    held = plant.client_json("hold", "--reach", case, "--reason", "glass", "--by", "mira", "--yes")
    assert set(held["held"]) == {*because} - {far} and {g["lot"] for g in held["gone"]} == {lot, far}, held
    again = plant.client("hold", "--reach", case, "--reason", "glass", "--by", "mira", "--yes", check=0)
    assert f"Not held: {far} was destroyed (by mira: wet)" in " ".join(again.stdout.split()), again.stdout
    told = plant.get(f"/v1/history/{case}")[1]["events"]
    assert {e["lot"] for e in told if e["what"] == "held" and e["why"] == "glass"} == set(held["held"]), told
    assert all(code in plant.client("history", case).stdout for code in held["held"])
    for one in held["held"]:
        plant.client("release", one, "--case", case, "--disposition", "release", "--reason", "x", "--by", "mira",
                     "--anyway", "a stone of a cherry", check=0)
    plant.client("settle", case, "not-known", "--confirmed-by", "inspection", "--anyway", "a stone of a cherry", check=0)
    label = log(plant, lot="L1 6317 A0800", symptom="other", harm=["wrong-label"])
    assert not any("fact" in a for a in label["ask"]), label["ask"]
    shown = " ".join(plant.client("rank", label["case"], check=0).stdout.split())
    assert "reported wrong-label (complaint" in shown and "oddloaf hold 'L1 6317 A0800'" in shown, shown
    assert "oddloaf why" not in shown, shown  # which names causes, and there are none
    assert "<strong>wrong-label</strong>" in plant.client("rank", label["case"], "--html", "-", check=0).stdout
    assert "no changeover between" in str(plant.get(f"/v1/cases/{label['case']}/reach")[1]["lots"])
    other = log(plant, lot="L1 6317 A1200", symptom="other", note="feels underweight")["case"]
    assert plant.client("reach", log(plant, lot="L1 631", symptom="other")["case"]).returncode == 0
    if other != label["case"]:
        reach = plant.get(f"/v1/cases/{other}/reach")[1]
        assert reach["by"] == "line" and {l["because"] for l in reach["lots"]} == {"same line within a day"}, reach
        assert plant.client("ask", other, check=0).stdout.count("keep the pack") == 1
    seen = log(plant, lot="L1 63", harm=["illness"])["case"]
    reach = plant.get(f"/v1/cases/{seen}/reach")[1]
    assert reach["lots"] and all("may be the lot" in l["because"] for l in reach["lots"]) and reach["none_because"], reach


def check_holds(plant):
    """A hold waits for no records: kept by the code, shown as such, the lot's once it is loaded."""
    held = plant.client("hold", NEXT.lower(), "--reason", "glass", "--by", "mira")
    assert held.returncode == 0 and "Not on record: " + NEXT in " ".join(held.stdout.split()), held
    lot = plant.get("/v1/lots/" + NEXT.replace(" ", "%20"))[1]
    assert lot["lot_state"] == "not-on-record" and lot["hold"]["reason"] == "glass", lot
    assert "glass" in plant.client("lot", NEXT).stdout
    as_read = plant.client_json("hold", "l1 6314 a0400", "--reason", "as read", "--by", "mira")
    assert as_read["held"] == [LOT] and as_read["not_on_record"] == [], as_read
    nobody = plant.client("release", "L1 6399 A9999", "--disposition", "release", "--reason", "x",
                          "--by", "mira")
    assert nobody.returncode == 5 and "no hold" in nobody.stderr, nobody
    stamp = "2026-11-20T0{}:00:00-05:00"
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,"
                            f"shift\n{NEXT},W24,1,{stamp.format(1)},{stamp.format(1)},{stamp.format(4)},"
                            f"{stamp.format(5)},5000,2026-11-30,A\n")
    lot = plant.get("/v1/lots/" + NEXT.replace(" ", "%20"))[1]
    assert lot["lot_state"] == "exact" and lot["hold"]["reason"] == "glass", lot
    gone = plant.client_json("release", NEXT, "--disposition", "destroy", "--reason", "x", "--by", "m")
    assert gone["not_on_record"] == [], gone


def check_open_lot(plant):
    """No lot to start from: why, what it may be, and what would decide, instead of "None"."""
    case = log(plant, lot="L1 6317 A")["case"]
    reach = plant.get(f"/v1/cases/{case}/reach")[1]
    assert reach["lot"] is None and reach["lots"] == [] and reach["candidates"], reach
    shown = " ".join(plant.client("reach", case).stdout.split())
    assert "None." not in shown and "not settled" in shown and "would decide" in shown, shown
    assert reach["candidates"][0]["lot"] in shown, shown


def check_asked_wrongly(plant):
    refused(plant, "/v1/cases?limit=-1", "limit", "from 1 to")
    refused(plant, "/v1/ranks?limit=0", "limit", "from 1 to")
    refused(plant, "/v1/ranks?after=x", "after", "case")
    refused(plant, "/v1/cases?cause=bogus", "is not a cause")
    shown = plant.client("cases", "--cause", "bogus")
    assert shown.returncode == 1 and "No such case" not in shown.stdout, shown
    assert "bogus" in shown.stderr and "packed-hot" in shown.stderr, shown.stderr
    for words in (("settle", "C1", "packed-hot", "--confirmed-by", "guess"),
                  ("release", LOT, "--disposition", "guess", "--reason", "x")):
        wrong = plant.client(*words)
        assert wrong.returncode == 2 and "guess: must be " in wrong.stderr, wrong.stderr


def check_dates(plant):
    ahead = plant_day(1)
    future = plant.client("lot", f"L1 {ahead.year % 10}{ahead.timetuple().tm_yday:03d} A0400")
    assert "has not come yet" in " ".join(future.stdout.split()), future
    other = plant.client("lot", LOT, "--code-date", "2027-11-06")
    assert "in doubt Date on bag 2027-11-06: lot" in " ".join(other.stdout.split()), other
    early = log(plant, lot="L1 6316 A0400", received="2026-10-30T09:00:00-04:00")
    said = [d for d in early["doubts"] if d["field"] == "received_at"]
    assert said and "was packed" in said[0]["says"], early["doubts"]


def check_reasons(plant):
    """What speaks for a cause does not deny the number beside it, nor the channel."""
    case = log(plant, lot="L1 6313 A0800")["case"]
    for cause in plant.get(f"/v1/cases/{case}/why")[1]["causes"]:
        for fact in cause["facts"]:
            if fact["fact"] == "channel" and fact["for"]:
                assert not fact["because"].startswith("Found before"), fact
            if fact["for"] and (fact.get("observed") or 0) > (fact.get("expected") or 0):
                assert "no more" not in fact["because"], fact


def mails(plant):
    return [email.message_from_bytes(f.read_bytes(), policy=email.policy.default)
            for f in sorted((plant.dir / "box").glob("*.eml"))]


def check_mail(binaries):
    """A case's mail says harm before all else and times with their zone; what cannot leave is not
    said to leave."""
    plant = Plant(binaries)
    (plant.dir / "box").mkdir()
    program = plant.dir / "mail-program"
    program.write_text(MAILER.format(box=plant.dir / "box"))
    program.chmod(0o755)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example",
                            "to": ["qa@mill.example"]}
    with plant:
        plant.load_small()
        assert log(plant, lot=LOT, harm=["illness"])["alarm"] == "an urgent mail goes out at once"
        plant.wait_idle()
        case = [m for m in mails(plant) if "URGENT" not in m["Subject"]]
        assert case[0]["Subject"].endswith(f"HARM REPORTED: C1 mold, {LOT}"), case[0]["Subject"]
        text = case[0].get_body(("plain",)).get_content()
        assert text.lstrip().startswith("HARM REPORTED"), text
        assert "2026-11-20 09:14 -05:00" in text and "04:00 to 05:00 -05:00" in text, text
        status, answer = plant.request("POST", "/v1/complaints", body='{"channel":"phone","symptom":'
                                       '"mold","lot_text":"L1","received_at":"yesterday",'
                                       '"note":"my son vomited"}')
        assert status == 400, answer
        plant.wait_idle()
        row = [m for m in mails(plant) if "refused" in m["Subject"]][0].get_body(("plain",)).get_content()
        assert "none of these" not in row, row
        for harm in ([], [], ["illness"]):  # of a case that QA was mailed as mold
            log(plant, lot="L1 6313 A0400", harm=harm)
            plant.wait_idle()
        told = [m for m in mails(plant) if "C2 mold" in m["Subject"] and "URGENT" not in m["Subject"]]
        assert "HARM" not in told[0]["Subject"] and "HARM REPORTED: C2" in told[-1]["Subject"], told
        assert "harm was reported" in told[-1].get_body(("plain",)).get_content(), told[-1]
        check_gathered(plant)
        check_moved(plant)
        settle = {"cause": "packed-hot", "confirmed_by": "assay", "by": "mira", "anyway": "no bread at all"}
        status, answer = plant.post("/v1/cases/C2/verdict", settle)
        assert status == 200 and answer["alarm"] == "an urgent mail goes out at once", answer
        plant.wait_idle()
        despite = [m for m in mails(plant) if "and yet" in m["Subject"]]
        assert despite and "C2: harm is open" in despite[0]["Subject"], [m["Subject"] for m in mails(plant)]
        assert "mira: no bread at all" in despite[0].get_body(("plain",)).get_content(), despite[0]
        program.unlink()
        alarm = log(plant, lot="L1 6315 A0400", harm=["illness"])["alarm"]
        assert "cannot be run" in alarm and "phone" in alarm, alarm
    malformed = dict(plant.config["mail"], program="/bin/true", urgent_to=["lead at mill", "x@y.example"])
    with Plant(binaries, config={"mail": malformed}) as plant:
        plant.load_small()
        alarm = log(plant, lot=LOT, harm=["illness"])["alarm"]
        assert "malformed" in alarm and "phone" in alarm, alarm
    with Plant(binaries, config={"mail": dict(malformed, program="/bin/false", retry_s=60,
                                              urgent_to=["x@y.example"])}) as plant:
        plant.load_small()
        log(plant, lot=LOT, harm=["illness"])
        for _ in range(200):
            alarm = log(plant, lot="L1 6316 A0400", harm=["illness"])["alarm"]
            if "phone" in alarm:
                break
        assert "could not be sent" in alarm and "phone" in alarm, alarm
        check_stuck_everywhere(plant)


def check_gathered(plant):
    """The first word of a kind of harm leaves at once; what tells no new kind of it waits and leaves as one mail."""
    urgent = lambda case: [m["Subject"] for m in mails(plant) if "URGENT" in m["Subject"] and case in m["Subject"]]
    lot = "L1 6312 A0400"
    first = log(plant, lot=lot, harm=["illness"])
    for n in range(10):
        more = log(plant, lot=lot, harm=["illness"], note=f"report number {n}", contact={"name": "Ann Beaumont"})
        assert "a moment ago" in more["alarm"], more["alarm"]
    assert "a moment ago" in log(plant, lot=lot, note="could it be that somebody got sick from this")["alarm"]
    other = log(plant, lot=lot, harm=["illness", "injury"])
    assert other["alarm"] == "an urgent mail goes out at once", other["alarm"]
    waits = lambda: [m for m in plant.get("/v1/outbox")[1]["mails"] if (m["event"], m["state"]) == ("urgent", "waiting")]
    until(lambda: len(urgent(first["case"])) == 2 and len(waits()) == 1, lambda: (urgent(first["case"]), waits()))
    assert not [n for n in plant.get("/v1/status")[1].get("needs", []) if n["what"] == "urgent-mail"]
    plant.client("outbox", "--send", str(waits()[0]["id"]), check=0)
    until(lambda: len(urgent(first["case"])) == 3, lambda: urgent(first["case"]))
    late = [m for m in mails(plant) if "11 more reports of harm" in m["Subject"]][0]
    text = late.get_body(("plain",)).get_content()
    assert all(f"report number {n}" in text for n in range(10)) and "Beaumont" not in text, text


def check_moved(plant):
    """Harm that is corrected to another lot is told again at once; after it was taken back the next report is news, and
    what waited leaves before that it was taken back."""
    told = lambda said: [m for m in mails(plant) if said in m.get_body(("plain",)).get_content()]
    first = log(plant, lot="L1 6313 A0400", harm=["illness"])
    log(plant, lot="L1 6313 A0400", harm=["illness"], note="the second of that lot")
    assert not told("the second of that lot")
    plant.client("correct", first["complaint"], "lot=L1 6313 A1200", "--reason", "the code was misread", "--by", "mira")
    until(lambda: told("a correction says that it is about another lot, by mira"), lambda: [m["Subject"] for m in mails(plant)])
    other = log(plant, lot="L1 6313 A0800", harm=["illness"])
    assert "a moment ago" in log(plant, lot="L1 6313 A0800", harm=["illness"], note="another of this lot")["alarm"]
    plant.client("correct", other["complaint"], "harm=no", "--reason", "meant the neighbour's", "--by", "mira")
    until(lambda: told("another of this lot") and told("a correction took it back, by mira"), lambda: [m["Subject"] for m in mails(plant)])
    assert log(plant, lot="L1 6313 A0800", harm=["illness"])["alarm"] == "an urgent mail goes out at once"


def check_stuck_everywhere(plant):
    """A refused report, one of a file, a correction and one that comes back say it as well."""
    refused = {"id": "x", "channel": "phone", "symptom": "mold", "note": "my son vomited"}
    status, answer = plant.post("/v1/complaints", refused)
    assert status == 400 and "could not be sent" in answer["alarm"], answer
    status, lines = plant.request("POST", "/v1/complaints", body=json.dumps(refused).encode() + b"\n",
                                  type_="application/x-ndjson")
    assert "could not be sent" in json.loads(lines)["alarm"], lines
    sent = complaint("L1 6317 A0400")
    assert plant.post("/v1/complaints", sent)[0] == 201
    told = plant.client_json("correct", sent["id"], "harm=illness", "--reason", "rang again")
    assert "could not be sent" in told["alarm"], told
    status, answer = plant.post("/v1/complaints", dict(sent, packs=3, harm=["illness"]))
    assert status == 409 and "could not be sent" in answer["alarm"], answer
    plant.client("withdraw", sent["id"], "--reason", "x", check=0)
    told = plant.client_json("withdraw", sent["id"], "--undo", "--reason", "y")
    assert "could not be sent" in told["alarm"], told


def check_measured(plant):
    """What a laboratory's remark says of harm is mailed though no case is about the lot, and said of a file's lines."""
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\nL9 6312 A0400,W24,9"
                    + ",2026-11-08T04:00:00-05:00" * 4 + ",5000,2026-11-18\n")
    line = {"lot": "L9 6312 A0400", "results": [{"quantity": "crumb_ph", "value": "5.4"}], "lab": "Tern", "sample": "1",
            "note": "metal splinters found in the sample", "by": "mira"}
    path = plant.dir / "measured.ndjson"
    path.write_text(json.dumps(line) + "\n")
    said = plant.client("measure", "--from", str(path), check=0).stdout
    assert "HARM" in said and "food-safety lead" in said, said
    again = plant.client_json("measure", "--from", str(path))
    assert again["heard"]["harm"] == ["foreign-matter"] and "alarm" not in again["heard"], again
    line["results"] = [{"quantity": "foreign_body", "value": "glass splinters found"}]
    heard = plant.post("/v1/lots/measure", {**line, "sample": "2", "note": "-"})[1]["heard"]
    assert heard["harm"] and heard["alarm"], heard
    rows = (("salmonella", "positive", "", True), ("Salmonella", "detected in 25 g", "", True), ("glass", "3 pieces", "", True),
            ("listeria_monocytogenes", "120 cfu/g", "", True), ("crumb_ph", "5.4", "Listeria monocytogenes positive", True),
            ("salmonella", "absent/25 g", "ISO 6579-1", False), ("listeria", "<10 cfu/g", "glass beads, metal sieve", False),
            ("glass", "0", "", False), ("metal", "none", "", False), ("yeasts", "<10", "", False))
    for n, (quantity, value, method, harm) in enumerate(rows):
        answer = plant.post("/v1/lots/measure", {"lot": line["lot"], "lab": "Tern", "sample": f"r{n}", "by": "mira", "method": method,
                                                 "results": [{"quantity": quantity, "value": value}]})[1]
        assert bool((answer.get("heard") or {}).get("alarm")) == harm, (quantity, value, method, answer)
    log(plant, lot="L9 6312 A0400", harm=["foreign-matter"])
    other = log(plant, lot="L9 6312 A0400", symptom="staling")  # news of this case, none of the one before
    heard = plant.post("/v1/lots/measure", {**line, "sample": "3", "note": "-"})[1]["heard"]
    assert heard["alarm"] and heard["complaint"] == other["complaint"], heard


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        for check in CHECKS:
            check(plant)
    check_mail(sys.argv[1])
    print("hurt: ok")


CHECKS = [check_settled, check_despite, check_reach, check_holds, check_open_lot, check_asked_wrongly, check_dates, check_reasons, check_measured]
if len(sys.argv) > 2:
    CHECKS = [check for check in CHECKS if check.__name__ == sys.argv[2]]
main()
