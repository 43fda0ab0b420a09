"""Contact data stands in its own table, for the desk alone, and nowhere else: every byte the daemon
wrote or sent is searched; erased data leaves the disk.             usage: test_privacy.py BINARIES"""
import json
import os
import pathlib
import pwd
import shutil
import sqlite3
import sys
import tempfile
import time

from oddloaf import Plant, UnixConnection, complaint, until

NAME, PHONE, MAIL = "Ottoline Fenwick-Marsh", "555-0177", "ottoline@example.invalid"
# what the caller's texts repeat of it, in other writings
NOTE = ("Ottoline FENWICK here, mold all over; ring (607) 555–0177 or five five five oh one seven seven\n"
        "or write to ottoline@example.invalid")
REPEATS = {"note": NOTE, "store": "Fenwick's corner shop", "reference": "T-9 tel 555 0177",
           "lot_text": "L1 6318 A0400 ottoline@example.invalid"}
MASKED = {"note": "[name] [name] here, mold all over; ring [phone] or [phone]\nor write to [mail address]",
          "store": "[name]'s corner shop", "reference": "T-9 tel [phone]",
          "lot_text": "L1 6318 A0400 [mail address]"}
TRACES = [b"Ottoline", b"ottoline", b"Fenwick", b"fenwick", b"555-0177", b"5550177", b"FENWICK", b"555 0177",
          b"555.0177", "555–0177".encode(), b"#7710555", b"seven seven"]


def everything(folder):
    for path in folder.rglob("*"):
        if path.is_file():
            yield path, path.read_bytes()


def check_nowhere(plant, mails):
    """Every file the daemon keeps, with the free pages of the database and its log of changes, what
    it said and what it mailed."""
    def left():
        return [(trace, path.name) for folder in (plant.state, mails) for path, data in everything(folder)
                for trace in TRACES if trace in data]

    def gone():  # a commit, after which the log of changes is cut once nobody reads from it
        plant.post("/v1/complaints?rank=0", complaint())
        plant.wait_idle()  # the mails have left
        return not left()

    until(gone, left)
    for trace in TRACES:
        assert trace not in plant.log_text().encode(), trace


def check_joined(plant, mails):
    """A report joined to a complaint has contact data of its own: as well kept, as well erased;
    it goes along when the two are taken apart."""
    first = complaint("L1 6317 A0400", contact={"phone": PHONE}, note="Ottoline's bread")
    again = complaint("L1 6317 A0400", contact={"name": NAME, "email": MAIL}, harm=["illness"],
                      same_as=first["id"])
    later = complaint("L1 6317 A0400", contact={"name": NAME})
    for one in (first, again, later):
        answer = plant.post("/v1/complaints", one)[1]
    plant.client("join", later["id"], first["id"], check=0)
    plant.wait_idle()
    check_answers(plant, answer["case"], first["id"], {"phone": PHONE})
    check_tables(plant)
    assert plant.get("/v1/complaints/" + first["id"])[1]["note"] == "Ottoline's bread", "shown to the desk"
    stands = plant.get("/v1/complaints/" + first["id"])[1]
    assert [j["contact"]["name"] for j in stands["joined"]] == [NAME, NAME], stands["joined"]
    urgent = [data for _, data in everything(mails) if again["id"].encode() in data]
    assert urgent, "harm of a joined report is mailed at once"
    for _, data in everything(mails):
        assert not any(t in data for t in TRACES)
    plant.client("join", "--undo", later["id"], check=0)
    assert plant.get("/v1/complaints/" + later["id"])[1]["contact"]["name"] == NAME
    assert plant.client_json("erase", MAIL)["erased"] == 1
    assert "contact" not in plant.get("/v1/complaints/" + first["id"])[1]["joined"][0]
    assert plant.client_json("erase", NAME)["erased"] == 1
    assert plant.client_json("erase", PHONE)["erased"] == 1
    check_nowhere(plant, mails)


def check_group_mails(plant, mails):
    """What is mailed of a report is without the names of all who reported the same, whatever raised
    it: the report itself, a correction, one that was refused, the case; so is what waits in the outbox
    when a name becomes known."""
    first = complaint("L1 6315 A0400", contact={"name": NAME})
    again = complaint("L1 6315 A0400", note="Ottoline again: my son vomited", same_as=first["id"])
    mild = complaint("L1 6315 A0400", note="Fenwick again: sour", same_as=first["id"])
    for one in (first, again, mild):
        assert plant.post("/v1/complaints", one)[0] == 201
    refused = complaint(note="Ottoline's son vomited", symptom="none such", same_as=first["id"])
    assert plant.post("/v1/complaints", refused)[0] == 400
    plant.client("correct", mild["id"], "harm=illness", "--reason", "Ottoline rang", check=0)
    nameless = complaint("L1 6315 A0400", note="Ottoline here: my son vomited")
    early = complaint(id=nameless["id"], note="Ottoline here: my son vomited", symptom="none such")
    assert plant.post("/v1/complaints", early)[0] == 400
    assert plant.post("/v1/complaints", nameless)[0] == 201
    plant.client("correct", nameless["id"], f"name={NAME}", "--reason", "she rang again", check=0)
    plant.wait_idle()
    check_tables(plant)
    for one in (again, mild, refused):
        data = [data for _, data in everything(mails) if one["id"].encode() in data]
        assert data and not any(t in d for d in data for t in TRACES), (one, data)
    for path, _ in list(everything(mails)):
        path.unlink()  # some left the house before the name was known
    plant.client_json("erase", NAME)


def check_repeats(plant, mails):
    """Contact data that the texts repeat: found at entry, shown to the desk as they were said, nowhere
    else; found again by the number alone; gone with the contact."""
    given = {"name": NAME, "phone": "555-0119", "email": "desk@example.invalid"}
    one = complaint(**{**REPEATS, "note": NOTE + ", my son was sick"}, contact=given)
    answer = plant.client_json("log", "--from", "-", stdin=json.dumps(one) + "\n")
    found = {(a["field"], a["kind"]) for a in answer["apart"]}
    assert found >= {("note", "name"), ("note", "phone"), ("note", "mail address"), ("store", "name"),
                     ("reference", "phone"), ("lot_text", "mail address")}, answer["apart"]
    assert any("holds a phone number: kept for the desk only" in a["says"] for a in answer["apart"])
    assert answer["harm"] == ["illness"], "what is masked was read first"
    text = plant.client("log", "--symptom", "mold", "--note", "call 607 555 0100").stdout
    assert "kept for the desk only" in text.replace("\n", " "), text
    plant.wait_idle()
    check_tables(plant)
    check_answers(plant, answer["case"], one["id"], given)
    shown = plant.get("/v1/complaints/" + one["id"])[1]
    assert shown["note"] == one["note"] and shown["sent"]["store"] == REPEATS["store"], shown
    assert any(b"my son was sick" in data for _, data in everything(mails)), "harm is mailed"
    for path, data in everything(mails):
        assert not any(t in data for t in TRACES), (path, data)
    assert plant.client_json("erase", "+1 607 555 0177")["erased"] == 1, "in any writing"
    shown = plant.get("/v1/complaints/" + one["id"])[1]
    assert shown["contact"] == given, "whose number it was is not who called"
    assert shown["note"] == MASKED["note"] + ", my son was sick", shown["note"]
    assert {k: shown["sent"][k] for k in ("store", "reference")} == {
        k: MASKED[k] for k in ("store", "reference")}, shown["sent"]
    assert plant.client_json("erase", NAME)["erased"] == 1
    alone = complaint(note="no name given, ring 555.0177")
    plant.post("/v1/complaints", alone)
    assert plant.client_json("erase", "5550177")["erased"] == 1, "found though no contact was given"
    assert plant.get("/v1/complaints/" + alone["id"])[1]["note"] == "no name given, ring [phone]"
    check_nowhere(plant, mails)


def check_writings(plant):
    """ü or ue, é or e: found and erased however it is written, in the contact as in a note."""
    for said, asked in (("Jutta Kübler", "Jutta Kuebler"), ("Jutta Kuebler", "Jutta Kübler"), ("Rémy Duval", "Remy Duval")):
        one = complaint(note=f"{said.split()[1]}: mold", contact={"name": said})
        assert plant.post("/v1/complaints?rank=0", one)[0] == 201
        for words in (["--name", asked], [asked.split()[1]]):
            found = [c["complaint"] for c in plant.client_json("find", *words)["complaints"]]
            assert found == [one["id"]], (said, words, found)
        assert plant.client_json("erase", asked)["erased"] == 1, (said, asked)
        assert "contact" not in plant.get("/v1/complaints/" + one["id"])[1]


class AsUser(UnixConnection):
    """What the daemon sees of a peer are the effective ids at connect(2)."""

    def connect(self):
        os.seteuid(pwd.getpwnam("games").pw_uid)
        try:
            super().connect()
        finally:
            os.seteuid(0)


def as_qa(plant, path):
    """What QA is answered, who is not the desk; None where one cannot be another user."""
    if os.geteuid() != 0:
        print("what QA is told takes root: left out")
        return None
    connection = AsUser(plant.socket)
    connection.request("GET", path)
    answer = connection.getresponse()
    text = answer.read()
    connection.close()
    assert answer.status == 200, (path, answer.status, text)
    return json.loads(text)


def check_words_of_then(plant, one, events):
    """What a corrected note said before is seen by the desk as it was said, by others without."""
    notes = [(e["was"], e["is"]) for e in events if e.get("field") == "note"]
    assert notes == [("Ottoline's son was sick", "Ottoline called: mold"),
                     ("Ottoline called: mold", "mold on top, says Ottoline"),
                     ("mold on top, says Ottoline", "mold on top, ring 555-0177")], notes
    whole = plant.get("/v1/complaints/" + one["id"])[1]
    assert [(c["was"], c["is"]) for c in whole["changes"] if c["field"] == "note"] == notes, whole["changes"]
    assert whole["sent"]["note"] == "Ottoline's son was sick", whole["sent"]
    for path in ("/v1/history/", "/v1/complaints/"):
        told = as_qa(plant, path + one["id"])
        text = json.dumps(told, ensure_ascii=False).encode()
        assert told is None or (b"[name]'s son was sick" in text and b"ring [phone]" in text), text
        assert not any(trace in text for trace in TRACES), text


def check_held_words(plant, one, joined):
    """Words held back from the texts are found by the desk alone."""
    ids = {one["id"], joined["id"]}
    for words in (["ottoline"], ["FENWICK"], ["fenwick", "sour"]):
        found = {c["complaint"] for c in plant.client_json("find", *words)["complaints"]}
        assert found & ids and (len(words) < 2 or found == {joined["id"]}), (words, found, ids)
    assert {c["complaint"] for c in plant.client_json("find", "555-0177")["complaints"]} >= {one["id"]}
    told = as_qa(plant, "/v1/complaints?word=ottoline")
    assert told is None or told["complaints"] == [], told
    spelled = complaint(note="sour; write to tova dot x at y dot com")
    assert plant.post("/v1/complaints?rank=0", spelled)[0] == 201
    found = plant.client_json("find", "tova")["complaints"]
    assert [c["complaint"] for c in found] == [spelled["id"]], found
    short = complaint(note="ring 030-55501")  # the zero before an area is no part of what it is kept by
    assert plant.post("/v1/complaints?rank=0", short)[0] == 201
    for word in ("030-55501", "03055501"):
        found = plant.client_json("find", word)["complaints"]
        assert [c["complaint"] for c in found] == [short["id"]], (word, found)
    assert plant.client_json("find", "top")["complaints"][0]["complaint"] == one["id"]


def check_corrected(plant, mails):
    """Contact data that come with a correction, in a note, a reason or as who called, are kept as those
    that came at once; what was kept and mailed before the caller was known follows."""
    one = complaint(note="Ottoline's son was sick", store="Ottoline's corner")
    joined = complaint(note="Fenwick, again; sour", same_as=one["id"])
    for sent in (one, joined):
        assert plant.post("/v1/complaints", sent)[0] == 201
    for words in (["note=Ottoline called: mold", "harm=illness"], ["note=mold on top, says Ottoline"],
                  ["note=mold on top, ring 555-0177", "store=Fenwick's shop"]):
        plant.client("correct", one["id"], *words, "--reason", "Ottoline rang, 555-0177", check=0)
    whole = plant.get("/v1/complaints/" + one["id"])[1]
    assert whole["note"] == "mold on top, ring 555-0177", whole["note"]
    assert whole["sent"]["note"] == "Ottoline's son was sick", "as it was sent"
    plant.client("correct", one["id"], f"name={NAME}", f"phone={PHONE}", f"email={MAIL}", "--reason",
                 "Ottoline Fenwick rang", check=0)
    check_tables(plant)
    check_answers(plant, plant.client_json("rank", one["id"])["case"], one["id"])
    told = plant.client_json("history", one["id"])
    assert "[name] rang, [phone]" in {e.get("why") for e in told["events"]}, told
    check_words_of_then(plant, one, told["events"])
    answer = plant.client_json("correct", one["id"], "name=Bela Other", "--reason", "it was his wife")
    assert "Ottoline" not in json.dumps(answer)
    check_held_words(plant, one, joined)
    later = complaint(note="Ms Fenwick told me: sour", contact={"name": "Cy Third"}, same_as=one["id"])
    assert plant.post("/v1/complaints", later)[0] == 201, "who it was before is known still"
    check_tables(plant)
    told = as_qa(plant, "/v1/complaints/" + later["id"])
    assert told is None or told["note"] == "Ms [name] told me: sour", told
    assert plant.client_json("erase", PHONE)["erased"] == 1
    for path, _ in list(everything(mails)):
        path.unlink()  # left the house before the name was known
    check_nowhere(plant, mails)


def put_back(plant, backup):
    plant.stop()
    for name in ("oddloaf.db", "oddloaf.db-wal", "oddloaf.db-shm"):
        (plant.state / name).unlink(missing_ok=True)
    shutil.copy(backup, plant.state / "oddloaf.db")
    plant.start()


def check_backup(plant, mails):
    """An older backup in place of the database brings nothing back that was erased since."""
    kept = complaint(contact={"name": "Bela Other"})
    gone = complaint(note="this is Ottoline", contact={"name": NAME, "phone": PHONE})
    again = complaint(contact={"name": NAME}, same_as=kept["id"])
    for one in (kept, gone, again):
        plant.post("/v1/complaints", one)
    backup = plant.dir / "older.db"
    plant.client("backup", str(backup), check=0)
    assert plant.client_json("erase", NAME)["erased"] == 2
    lines = (plant.state / "erasures").read_text().splitlines()
    assert {gone["id"], again["id"]} <= {line.split()[0] for line in lines}, lines
    put_back(plant, backup)
    assert "contact data erased again count=2" in plant.log_text()
    backup.unlink()
    for one in (gone, again):
        whole = plant.get("/v1/complaints/" + one["id"])[1]
        assert "contact" not in whole and "Ottoline" not in json.dumps(whole), whole
    assert plant.get("/v1/complaints/" + kept["id"])[1]["contact"]["name"] == "Bela Other"
    check_nowhere(plant, mails)
    plant.client_json("erase", "Bela Other")


def check_purge(plant, mails):
    """What is older than its day goes by itself; a joined report's as well."""
    first = complaint("L1 6316 A0400", contact={"name": NAME})
    plant.post("/v1/complaints", first)
    plant.post("/v1/complaints", complaint("L1 6316 A0400", contact={"phone": PHONE},
                                           note=NOTE + "; my son vomited", same_as=first["id"]))
    plant.wait_idle()
    plant.stop()
    db = sqlite3.connect(plant.state / "oddloaf.db")
    db.execute("PRAGMA secure_delete = ON")
    due = db.execute("SELECT count(*) FROM contact").fetchone()[0]
    assert db.execute("UPDATE contact SET purge_after_ms = 1").rowcount == due >= 2
    db.commit()
    plant.start()
    plant.wait_idle()
    time.sleep(1)
    plant.stop()
    assert "contact data purged" not in plant.log_text(), "not before the clock was plausible for a day"
    day_ago = int(time.time() * 1000) - 86_500_000
    assert db.execute("UPDATE setting SET value = ? WHERE key = 'clock/steady_since_ms'",
                      (str(day_ago),)).rowcount == 1
    db.commit()
    db.close()
    plant.start()  # the first round of housekeeping comes at once
    plant.post("/v1/complaints?rank=0", complaint())
    until(lambda: f"contact data purged count={due}" in plant.log_text(), plant.log_text)
    check_nowhere(plant, mails)


def keep_mails(folder):
    """A mail program that writes what it is given into `folder`."""
    program = folder.parent / "keep-mail"
    program.write_text(f"#!/bin/sh\ncat > '{folder}'/mail.$$\n")
    program.chmod(0o755)
    return {"program": str(program), "to": ["qa@harrowmill.example"],
            "urgent_to": ["qa@harrowmill.example"], "from": "oddloaf@harrowmill.example"}


def check_answers(plant, case, uuid, contact=None):
    paths = [f"/v1/cases/{case}", f"/v1/cases/{case}/why", f"/v1/cases/{case}/ask",
             f"/v1/cases/{case}/reach", "/v1/cases?state=all", "/v1/ranks", "/v1/status",
             "/v1/metrics", "/v1/weeks/2026-W47", "/v1/weeks/2026-W47?format=html",
             "/v1/weeks/2026-W47?format=csv", "/v1/scores", "/v1/lots/L1%206318%20A0400"]
    for path in paths:
        status, body = plant.get(path)
        text = body if isinstance(body, bytes) else json.dumps(body).encode()
        assert status == 200, (path, status, text[:200])
        for trace in TRACES:
            assert trace not in text, (path, trace)
    shown = plant.get("/v1/complaints/" + uuid)[1]["contact"]
    assert shown == (contact or {"name": NAME, "phone": PHONE, "email": MAIL}), "root is the desk"


def check_tables(plant):
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    tables = [r[0] for r in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    assert "contact" in tables
    db.execute("CREATE VIRTUAL TABLE temp.words USING fts5vocab('main', 'entry_words', 'row')")
    words = [word for word, in db.execute("SELECT term FROM temp.words")]
    assert words and not [w for w in words for trace in TRACES if trace.lower() in w.encode()], words
    for table in tables:
        if table in ("contact", "contact_key", "sqlite_sequence", "entry_words"):
            continue
        for row in db.execute(f"SELECT * FROM \"{table}\""):
            text = repr(row).encode()
            for trace in TRACES:
                assert trace not in text, (table, trace)
    db.close()


def check_errors(plant):
    bad = complaint(contact={"name": NAME, "phone": 5550177})
    status, answer = plant.post("/v1/complaints", bad)
    assert status == 400
    for trace in TRACES:
        assert trace not in json.dumps(answer).encode(), answer


def check_erase(plant, uuid, mails):
    answer = plant.client_json("erase", PHONE)
    assert answer["erased"] == 1, answer
    assert "contact" not in plant.get("/v1/complaints/" + uuid)[1]
    check_nowhere(plant, mails)
    assert plant.client_json("rank", uuid)["complaints"], "the complaint itself stays"


def main():
    with tempfile.TemporaryDirectory() as folder:
        mails = pathlib.Path(folder) / "mails"
        os.mkdir(mails)
        with Plant(sys.argv[1], config={"mail": keep_mails(mails), "roles": {"qa": ["games"]}}) as plant:
            plant.dir.chmod(0o711)
            plant.load_small()
            one = complaint(contact={"name": NAME, "phone": PHONE, "email": MAIL})
            answer = plant.post("/v1/complaints", one)[1]
            again = plant.post("/v1/complaints",
                               complaint(contact={"name": NAME, "phone": PHONE}))[1]
            assert [s["complaint"] for s in again["similar"]] == [one["id"]], again["similar"]
            plant.client_json("erase", "nobody@example.invalid", check=5)
            plant.wait_idle()
            check_answers(plant, answer["case"], one["id"])
            check_tables(plant)
            check_errors(plant)
            assert not any(t in plant.log_text().encode() for t in TRACES)
            plant.client_json("erase", NAME)  # takes both calls' data
            one = complaint(contact={"name": NAME, "phone": PHONE, "email": MAIL})
            plant.post("/v1/complaints", one)
            check_erase(plant, one["id"], mails)
            check_joined(plant, mails)
            check_group_mails(plant, mails)
            check_repeats(plant, mails)
            check_writings(plant)
            check_corrected(plant, mails)
            check_backup(plant, mails)
            check_purge(plant, mails)
        print("contact data is where it belongs, and gone when erased")


main()
