"""A state written by an older version opens: every count is right, what was ranked then is told as it
was, and what is open is ranked again by the rules of today, once.      usage: test_older.py BINARIES

tests/store/schema<n>.sql are what the versions of that schema wrote, as SQL; of schema 1, which no
program ever wrote, what that of schema 3 wrote without the tables that came later."""
import json
import pathlib
import shutil
import sqlite3
import sys

from oddloaf import ROOT, Plant, tells_phone

def unpack(schema, state):
    state.mkdir(parents=True)
    db = sqlite3.connect(state / "oddloaf.db")
    db.executescript((ROOT / f"tests/store/schema{schema}.sql").read_text())
    db.close()


def read(plant, sql):
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    rows = db.execute(sql).fetchall()
    db.close()
    return rows


def repeat(plant):
    """Contact data in the note of a complaint, from before they were kept apart."""
    db = sqlite3.connect(plant.state / "oddloaf.db")
    db.execute("UPDATE complaint SET body = json_set(body, '$.note', 'ring 607 555 0177, Zoë')"
               " WHERE id = 1")
    letter = json.dumps({"event": "case", "said": [{"complaint": db.execute(
        "SELECT uuid FROM complaint WHERE id = 1").fetchone()[0], "note": "ring 607 555 0177, Zoë"}]})
    late = "due_ms, " if "due_ms" in {c[1] for c in db.execute("PRAGMA table_info(outbox)")} else ""
    for state in ("waiting" if late else "new", "sent"):
        db.execute(f"INSERT INTO outbox(event, case_id, message_id, payload, created_ms, {late}state)"
                   f" SELECT 'urgent', case_id, ?, ?, 0, {'0, ' if late else ''}? FROM complaint WHERE id = 1",
                   (f"<{state}@mill.example>", letter, state))
    db.commit()
    db.close()


def check_erased(plant):
    """The first thing asked: what an older version left in a note is found and goes, though it kept no key of it."""
    assert plant.client_json("erase", "607 555 0177")["erased"] == 1
    left = read(plant, "SELECT count(*) FROM contact WHERE body LIKE '%0177%'")
    assert left == [(0,)], left


def check_repeated(plant):
    uuid, body = read(plant, "SELECT uuid, body FROM complaint WHERE id = 1")[0]
    assert json.loads(body)["note"] == "ring [phone], Zoë", body
    letters = [text for text, in read(plant, "SELECT payload FROM outbox_text x JOIN outbox o ON o.id = x.mail_id"
                                              " WHERE message_id LIKE '%@mill.example>'")]
    assert len(letters) == 2 and not [text for text in letters if tells_phone(text, "555-0177")], letters
    assert plant.client_json("complaint", uuid)["sent"]["note"].startswith("ring ")


def check_counts(plant, schema):
    status = plant.wait_idle()
    joined = schema >= 5
    assert status["counts"] == {"products": 2, "lots": 6, "readings": 18,
                                "complaints": 6 if joined else 5, "cases_open": 3,
                                "cases_settled": 1}, (schema, status["counts"])
    cases = plant.client_json("cases")["cases"]
    assert sorted((c["symptom"], c["complaints"]) for c in cases) == [
        ("mold", 1), ("off-odor", 2 if joined else 1), ("staling", 1)], (schema, cases)
    assert all(c["severity"] and c["due"] and not c["overdue"] and c["owner"] is None for c in cases), (
        "what is old is weighed, and its days begin now", cases)
    recount = plant.client_json("status", "--recount")
    assert recount["differences"] == {"weeks": 0, "cases": 0, "company": 0, "materials": 0}, (schema, recount)
    week = plant.get("/v1/weeks/2026-W47")[1]
    assert week["complaints"] == {"mold": 3, "off-odor": 0, "staling": 1}, (schema, week)
    assert read(plant, "PRAGMA foreign_key_check") == [], schema


def check_told(plant):
    """What was settled, held and mailed is told as it was."""
    settled = plant.client_json("rank", "C1")
    assert settled["verdict"]["cause"] == "packed-hot" and settled["ranked"], settled
    assert "ON HOLD" in plant.client("lot", "L1 6319 A0400", check=0).stdout
    assert plant.get("/v1/status")[1]["outbox"]["sent"] >= 4
    for uuid, in read(plant, "SELECT uuid FROM complaint UNION ALL SELECT uuid FROM joined"):
        whole = plant.client_json("complaint", uuid)
        assert whole["complaint"] == uuid and whole["sent"]["symptom"], whole
        assert whole["logged_by"] is None, "that was not kept then"


def read_lots(state):
    db = sqlite3.connect(state / "oddloaf.db")
    lots = [row for row in db.execute("SELECT id, lot FROM lot WHERE id NOT IN (SELECT lot_id FROM hold)"
                                      " ORDER BY id LIMIT 3")]
    db.close()
    return lots


def hold_more(state):
    """One list of holds and ends a lot: two holds that one release ended; a disposition without a hold; held
    anew after a release."""
    (one, _), (two, _), (three, _) = read_lots(state)
    rows = [(one, "hold", None, "glass"), (one, "hold", None, "wet"), (one, "release", "rework", "dry"),
            (two, "release", "destroy", "old"), (three, "hold", None, "glass"),
            (three, "release", "release", "none found"), (three, "hold", None, "glass again")]
    lots = [lot for _, lot in read_lots(state)]
    db = sqlite3.connect(state / "oddloaf.db")
    db.executemany("INSERT INTO hold(lot_id, what, disposition, reason, by_name, at_ms)"
                   " VALUES(?, ?, ?, ?, 'mira', ?)", [(*row, 1795000000000 + n) for n, row in enumerate(rows)])
    db.commit()
    db.close()
    return lots


def check_holds(plant, lots):
    """Nothing of it is lost, and what is on hold is what was."""
    one, two, three = lots
    held = {h["lot"]: h["reason"] for h in plant.client_json("holds")["holds"]}
    assert held == {"L1 6319 A0400": "staling", three: "glass again"}, held
    said = lambda lot: plant.client_json("lot", lot)["hold"]
    assert (said(one)["disposition"], said(two)["disposition"]) == ("rework", "destroy")
    rows = read(plant, "SELECT l.lot, h.reason, h.disposition, h.end_reason FROM hold h JOIN lot l ON l.id ="
                       " h.lot_id WHERE h.by_name = 'mira' ORDER BY h.at_ms")
    assert rows == [(one, "glass", "rework", "dry"), (one, "wet", "rework", "dry"), (two, "", "destroy", "old"),
                    (three, "glass", "release", "none found"), (three, "glass again", None, None)], rows


def check_ranked_again(plant):
    rules = plant.get("/v1/status")[1]["rules"]["hash"]
    ranked = read(plant, "SELECT c.id, s.hash, c.revision FROM complaint_case c JOIN ranking r ON"
                         " r.case_id = c.id AND r.revision = c.revision JOIN rule_set s ON s.id = r.rule_set_id"
                         " WHERE c.state = 'open'")
    assert len(ranked) == 3 and all(r[1] == rules for r in ranked), (rules, ranked)
    return ranked


def other_rules(plant):
    """Today's rules with one note more: another hash."""
    rules = plant.dir / "rules"
    shutil.copytree(ROOT / "rules", rules)
    ranking = json.loads((rules / "ranking.json").read_text())
    ranking["note"] = "changed while the daemon was away"
    (rules / "ranking.json").write_text(json.dumps(ranking))
    return rules


def check(binaries, schema):
    plant = Plant(binaries, config={"time_zone": "UTC"})
    unpack(schema, plant.state)
    repeat(plant)
    lots = hold_more(plant.state)
    with plant:
        check_counts(plant, schema)
        check_told(plant)
        check_repeated(plant)
        check_holds(plant, lots)
        once = check_ranked_again(plant)
        plant.stop()
        plant.start()
        plant.wait_idle()
        assert check_ranked_again(plant) == once, "the same version and rules rank nothing anew"
        plant.stop()
        plant.rules = other_rules(plant)
        plant.start()
        plant.wait_idle()
        assert check_ranked_again(plant) != once, "other rules at start rank what is open anew"
        check_counts(plant, schema)
    plant = Plant(binaries)
    unpack(schema, plant.state)
    repeat(plant)
    with plant:
        check_erased(plant)


def check_plants(binaries):
    """The release before plants were told apart (schema 16), with line 1 of two of them: what it wrote is each plant's."""
    plant = Plant(binaries, config={"time_zone": "UTC", "plants": {"north": {}, "south": {}}})
    unpack(16, plant.state)
    with plant:
        status = plant.wait_idle()
        assert not [need for need in status["needs"] if need["what"].startswith("plant-")], status["needs"]
        assert status["counts"] == {"products": 2, "lots": 6, "readings": 18, "complaints": 6, "cases_open": 4, "cases_settled": 1}
        assert plant.client_json("status", "--recount")["differences"] == {"weeks": 0, "cases": 0, "company": 0, "materials": 0}
        assert read(plant, "PRAGMA foreign_key_check") == []
        for name, cases, complaints, lot in (("north", ["C1"], 2, "L1 6293 A0400"), ("south", ["C2", "C3"], 2, "S1 6293 A0400")):
            listed = plant.client_json("cases", "--plant", name, "--state", "all")["cases"]
            assert sorted(case["case"] for case in listed) == cases and {case["plant"] for case in listed} == {name}, listed
            week = plant.get(f"/v1/weeks/2026-W47?plant={name}")[1]
            assert sum(week["complaints"].values()) == complaints, week["complaints"]
            assert plant.client_json("lot", lot)["plant"] == name
        whole = plant.get("/v1/weeks/2026-W47")[1]
        assert sum(whole["complaints"].values()) == 6, whole["complaints"]  # two are of no lot, and so of no plant
        lines = {(row["plant"], row["level"]): row["complaints"] for row in whole["by"]["line"] if row["symptom"] == "mold"}
        assert lines["north", "1"] == 2 and lines["south", "1"] == 1, lines
        assert plant.client_json("rank", "C3")["verdict"]["cause"] == "not-known"
        assert [(hold["lot"], hold["plant"]) for hold in plant.client_json("holds")["holds"]] == [("S1 6293 A0400", "south")]
        assert [action["note"] for action in plant.get("/v1/actions")[1]["actions"]] == ["fan"]
        found = plant.client_json("find", "green")["complaints"]
        assert [one["case"] for one in found] == ["C1"], found


def check_holds_of_plants(binaries):
    """Schema 17 kept whose a hold of a code that no lot bears is beside the numbers of holds; now it is its row's."""
    plant = Plant(binaries, config={"time_zone": "UTC", "plants": {"north": {}, "south": {}}})
    unpack(17, plant.state)
    assert read(plant, "SELECT count(*) FROM setting WHERE key LIKE 'hold/plant/%'") == [(3,)]
    with plant:
        plant.wait_idle()
        held = {name: sorted((hold["lot"], hold["reason"]) for hold in plant.client_json("holds", *of)["holds"])
                for name, of in (("", ()), ("north", ("--plant", "north")), ("south", ("--plant", "south")))}
        assert held["north"] == [("L1 6294 A0400", "before its lot"), ("Z9 1234", "glass seen")], held
        assert held["south"] == [("S1 6293 A0400", "glass"), ("Z9 1234", "wet bags"), ("Z9 5678", "of a case")], held
        assert held[""] == sorted([*held["north"], *held["south"], ("Z9 1234", "the company's")]), held
        assert read(plant, "SELECT id, plant FROM hold ORDER BY id") == [
            (1, "north"), (2, "south"), (3, ""), (4, ""), (5, "north"), (6, "")]
        assert read(plant, "SELECT key FROM setting WHERE key LIKE 'hold/plant/%'") == []
        plant.client("hold", "Z9 9012", "--reason", "glass", check=0)
        assert plant.client_json("holds")["holds"][-1]["hold"] == "H7"


check_plants(pathlib.Path(sys.argv[1]))
check_holds_of_plants(pathlib.Path(sys.argv[1]))
for number in (1, 3, 4, 5):
    check(pathlib.Path(sys.argv[1]), number)
