"""One complaint whole, found again by its id, how that begins, or its number in another system; who logged
it.                                                                    usage: test_find.py BINARIES"""
import getpass
import json
import sys

from oddloaf import Plant, complaint

NOTE = "blue fuzz on the heel, smells sour"


def check_whole(plant):
    one = complaint(note=NOTE, reference="CS-20017", store="0417", contact={"name": "Ann Bell"})
    answer = plant.client_json("log", "--from", "-", stdin=json.dumps(one) + "\n")
    whole = plant.client_json("complaint", one["id"])
    sent = {**one}
    del sent["contact"]
    assert {k: whole["sent"].get(k) for k in sent} == sent, whole["sent"]
    assert "observed" not in whole["sent"], "what the note gave was not sent"
    assert {t["field"] for t in whole["taken"]} >= {"observed.where"}, whole["taken"]
    assert whole["complaint"] == one["id"] and whole["case"] == answer["case"]
    assert whole["reference"] == "CS-20017" and whole["logged_by"] == getpass.getuser()
    assert whole["logged_at"][:4] >= "2026" and whole["withdrawn"] is False and whole["changes"] == []
    assert whole["lot"] == "L1 6318 A0400" and whole["lot_text"] == one["lot_text"]
    assert whole["lot_state"] == "exact" and whole["lots"] and whole["contact"]["name"] == "Ann Bell"
    assert [d["field"] for d in whole["doubts"]] == ["store"], whole["doubts"]
    text = plant.client("complaint", one["id"], check=0).stdout
    for word in ("CS-20017", "As sent", NOTE, "Understood from the note", "Ann Bell", getpass.getuser(),
                 "in doubt"):
        assert word in text, (word, text)
    assert max(map(len, text.splitlines())) <= 80, text
    return one


def check_one_doubt(plant, one):
    """What two callers' reports share of doubt stands once beside their case."""
    again = complaint(store="0417")
    case = plant.post("/v1/complaints", again)[1]["case"]
    assert plant.client_json("complaint", one["id"])["case"] == case
    text = plant.client("rank", case, check=0).stdout
    assert text.count("Store 0417") == 1, text
    plant.client("withdraw", again["id"], "--reason", "a test", check=0)


def check_names(plant, one):
    for name in ("CS-20017", "cs-20017", one["id"].upper(), one["id"][:13]):
        assert plant.client_json("complaint", name)["complaint"] == one["id"], name
    assert plant.client_json("rank", "CS-20017")["complaints"] == [one["id"]]
    two = complaint("L1 6319 A0400", reference="CS-20017")
    plant.post("/v1/complaints", two)
    several = plant.client("complaint", "CS-20017")
    assert several.returncode not in (0, 5), several
    for word in (one["id"], two["id"], "by the first letters that tell it"):
        assert word in several.stderr.replace("\n", " "), several.stderr
    twin = complaint(id=one["id"][:15] + "{:03x}".format(int(one["id"][15:18], 16) ^ 1) + one["id"][18:])
    plant.post("/v1/complaints", twin)
    short = {c["complaint"]: c["short"] for c in plant.client_json("find")["complaints"]}
    for row in (one, twin):
        assert plant.client_json("complaint", short[row["id"]])["complaint"] == row["id"], short
    assert short[twin["id"]] in plant.client("find", check=0).stdout.replace("\n", ""), "what is shown names it"
    assert plant.client_json("history", twin["id"])["events"][0]["short"] == short[twin["id"]]
    plant.client("complaint", "CS-1", check=5)
    plant.client("complaint", one["id"][:3], check=5)
    plant.client("complaint", "ffffffff-ffff-4fff-8fff-ffffffffffff", check=5)


def check_joined(plant):
    """The ticket of a joined report finds that report; what both say is the complaint's."""
    first = complaint("L1 6317 A0400", reference="A-1")
    again = complaint("L1 6317 A0400", reference="A-2", same_as=first["id"], store="0400")
    for each in (first, again):
        plant.post("/v1/complaints", each)
    whole = plant.client_json("complaint", "A-2")
    assert whole["complaint"] == again["id"] and whole["same_as"] == first["id"], whole
    assert whole["sent"]["store"] == "0400" and whole["logged_by"]
    whole = plant.client_json("complaint", "A-1")
    assert whole["store"] == "0400" and "store" not in whole["sent"] and len(whole["joined"]) == 1
    assert "As it stands" in plant.client("complaint", "A-1", check=0).stdout
    plant.client("join", "--undo", "A-2", check=0)
    whole = plant.client_json("complaint", "A-2")
    assert "same_as" not in whole and whole["logged_by"] == getpass.getuser(), whole


def check_map(plant, folder):
    """The reference is mapped from a column of a list."""
    (folder / "list.csv").write_text("Ticket,Defect,Batch\nT-77,Mould,L1 6316 A0400\n")
    (folder / "map.json").write_text(json.dumps({
        "columns": {"Ticket": "reference", "Defect": "symptom", "Batch": "lot"},
        "values": {"symptom": {"Mould": "mold"}}}))
    plant.client("log", "--from", str(folder / "list.csv"), "--map", str(folder / "map.json"),
                 "--received-at", "2026-11-20", "--channel", "store", check=0)
    assert plant.client_json("complaint", "T-77")["lot"] == "L1 6316 A0400"


def check_dates(plant, folder):
    """A map says how the file writes its dates; what is not written so is refused, all of a row at
    once."""
    rows = ["Ticket;Seen;Logged;Best before", "D-1;05/11/26;20.11.26 9:14;24.11.2026",
            "D-2;11/25/26;20.11.2026;soon", "D-3;5/11/26;01.02.1999 09:00;24.11.2026"]
    (folder / "dates.csv").write_text("\n".join(rows) + "\n")
    columns = {"Ticket": "reference", "Seen": "found_on", "Logged": "received_at", "Best before": "code_date"}
    dates = {"found": "DD/MM/YY", "received_at": "DD.MM.YY hh:mm", "code_date": "DD.MM.YYYY"}
    (folder / "map.json").write_text(json.dumps({"columns": columns, "dates": dates}))
    words = ["log", "--from", str(folder / "dates.csv"), "--map", str(folder / "map.json"),
             "--symptom", "mold", "--channel", "store"]
    done = plant.client(*words, check=1, env={"TZ": "America/New_York"})
    assert "3 rows: 1 new, 0 logged before, 2 refused" in done.stdout, done.stdout
    for word in ("found_on (Found) '11/25/26': is no date written DD/MM/YY", "code_date (Date on bag) 'soon'", "received_at (Received) '20.11.2026'",
                 "received_at (Received) '01.02.1999 09:00'"):
        assert word in done.stderr, (word, done.stderr)
    sent = plant.client_json("complaint", "D-1")["sent"]
    assert (sent["found_on"], sent["received_at"], sent["code_date"]) == (
        "2026-11-05", "2026-11-20T09:14:00-05:00", "2026-11-24"), sent
    for wrong in ({"note": "DD.MM.YYYY"}, {"found": "DD.MM"}, {"found": 5}, {"found": "DD.MM.YYYY hh"}):
        (folder / "map.json").write_text(json.dumps({"columns": columns, "dates": wrong}))
        done = plant.client(*words, check=None)
        assert done.returncode in (1, 2) and "map.json" in done.stderr, (wrong, done)


def found(plant, *words, check=0):
    return [c["complaint"] for c in plant.client_json("find", *words, check=check)["complaints"]]


def check_find(plant):
    """By each of what a complaint is remembered by."""
    ann = complaint("L1 6320 A0400", note="Año nuevo: MOLDY crust, my son's lunch", store="Harbor Market 12",
                    reference="ZX-500/7", contact={"name": "Ann-Marie O'Dowd", "phone": "(607) 555-0142"})
    bob = complaint("L1 6320 A0800", note="smells acrid; ring 607.555.0199", store="0400",
                    received="2026-11-25T09:00:00-05:00", contact={"name": "Боб Ёлкин"})
    again = complaint("L1 6320 A0800", note="told us twice", same_as=bob["id"], reference="QQ-1",
                      received="2026-11-25T19:00:00-05:00")
    for one in (ann, bob, again):
        assert plant.post("/v1/complaints", one)[0] == 201
    for words in (["moldy"], ["ANO", "crust"], ["lun*"], ["harbor", "son"], ["zx-500"],
                  ["--phone", "+1 607 555 0142"], ["--phone", "555 0142"], ["--phone", "00160-7555 0142"],
                  ["--name", "ANN-M"], ["--name", "ann-marie o'do"], ["--ticket", "zx-5"],
                  ["--store", "market harbor"], ["--lot", "6320 A0400"], ["--lot", "l16320a0400"],
                  ["crust", "--name", "ann", "--store", "12", "--since", "2026-11-20"]):
        assert found(plant, *words) == [ann["id"]], words
    for words in (["acrid"], ["--name", "боб"], ["--name", "ЕЛКИН"], ["--phone", "607 555 0199"],
                  ["--store", "0400", "acrid"]):
        assert found(plant, *words) == [bob["id"]], words
    assert found(plant, "--ticket", "QQ-1") == [again["id"]] == found(plant, "told", "twice")
    item = plant.client_json("find", "--ticket", "QQ-1")["complaints"][0]
    assert item["same_as"] == bob["id"] and item["lot"] == "L1 6320 A0800", item
    for words in (["moldy", "acrid"], ["--phone", "5550143"], ["--name", "nn"], ["--ticket", "zx-6"],
                  ["crust", "--since", "2026-11-21"], ['"OR" NEAR(']):
        assert found(plant, *words, check=5) == [], words
    assert plant.client("find", "...", check=1).returncode == 1, "nothing to look for"
    assert plant.client("find", "--phone", "12", check=1).returncode == 1
    assert found(plant, "--since", "2026-11-21") == [again["id"], bob["id"]]
    everybody = found(plant, "--limit", "500")
    assert everybody[:3] == [again["id"], bob["id"], ann["id"]] and len(everybody) > 5
    page = plant.get("/v1/complaints?limit=2")[1]
    second = plant.get(f"/v1/complaints?limit=2&after={page['next']}")[1]
    assert [c["complaint"] for c in page["complaints"] + second["complaints"]] == everybody[:4]
    text = plant.client("find", "crust", check=0).stdout
    assert max(map(len, text.splitlines())) <= 80 and ann["id"][:13] in text, text
    assert "Ann-Marie" in text and "ZX-500/7" in text.replace("\n", ""), text
    assert "There are more" in plant.client("find", "--limit", "1", check=0).stdout
    for words, path, member in ((["find", "--since", "2026-01-01"], "/v1/complaints?", "complaints"),
                                (["cases", "--state", "all"], "/v1/cases?state=all&", "cases")):
        all_rows = plant.client_json(*words, "--limit", "400")[member]
        for limit in (len(all_rows), len(all_rows) - 1):  # those there are, and one of them too few
            page = plant.get(f"{path}limit={limit}")[1]
            said = plant.client(*words, "--limit", str(limit), check=0).stdout
            more = limit < len(all_rows)
            assert len(page[member]) == limit and bool(page["next"]) == more, page
            assert ("There are more" in said) == more, (words, limit, said)
    return ann, bob


def check_found_anew(plant, ann, bob):
    """What is erased, joined and separated is found by what it says now."""
    assert plant.client_json("erase", "Ann-Marie O'Dowd")["erased"] == 1
    assert found(plant, "--name", "ann-m", "--limit", "9", check=5) == []
    assert found(plant, "--phone", "607 555 0142", check=5) == []
    assert found(plant, "crust") == [ann["id"]], "the complaint stays"
    assert plant.client_json("erase", "607 555 0199")["erased"] == 1, "it stood in his note"
    assert found(plant, "--phone", "607 555 0199", check=5) == [] and found(plant, "acrid") == [bob["id"]]
    assert found(plant, "--name", "боб", check=5) == [], "with the number that he told in it, who called is erased"
    plant.client("join", "--undo", "QQ-1", check=0)
    assert found(plant, "told", "twice") == [plant.client_json("complaint", "QQ-1")["complaint"]]


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        plant.load_text("dispatch", "lot,route,at,units,store\n"
                        "L1 6318 A0400,R1,2026-11-14T12:00:00-05:00,500,0400\n")
        one = check_whole(plant)
        check_one_doubt(plant, one)
        check_names(plant, one)
        check_joined(plant)
        check_map(plant, plant.dir)
        check_dates(plant, plant.dir)
        check_found_anew(plant, *check_find(plant))
    print("a complaint is found again and shown whole")


main()
