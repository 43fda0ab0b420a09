"""Contact data stands in its own table, for the desk alone, and nowhere else: every byte the daemon
wrote or sent is searched; erased data leaves the disk.             usage: test_privacy.py BINARIES"""
import json
import sqlite3
import sys
import time

from oddloaf import Plant, complaint

NAME, PHONE, MAIL = "Ottoline Fenwick-Marsh", "555-0177", "ottoline@example.invalid"
TRACES = [b"Ottoline", b"ottoline", b"Fenwick", b"fenwick", b"555-0177", b"5550177"]


def everything(folder):
    for path in folder.rglob("*"):
        if path.is_file():
            yield path, path.read_bytes()


def check_answers(plant, case, uuid):
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
    contact = plant.get("/v1/complaints/" + uuid)[1]["contact"]
    assert contact["name"] == NAME, "root is the desk, too"


def check_tables(plant):
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    tables = [r[0] for r in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    assert "contact" in tables
    for table in tables:
        if table == "contact":
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


def check_erase(plant, uuid):
    answer = plant.client_json("erase", PHONE)
    assert answer["erased"] == 1, answer
    assert "contact" not in plant.get("/v1/complaints/" + uuid)[1]
    plant.post("/v1/complaints?rank=0", complaint())  # a commit, after which the WAL is cut
    time.sleep(0.5)
    for path, data in everything(plant.state):
        for trace in TRACES:
            assert trace not in data, f"{trace} is still in {path.name}"
    assert plant.client_json("rank", uuid)["complaints"], "the complaint itself stays"


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        one = complaint(contact={"name": NAME, "phone": PHONE, "email": MAIL})
        answer = plant.post("/v1/complaints", one)[1]
        again = plant.post("/v1/complaints", complaint(contact={"name": NAME, "phone": PHONE}))[1]
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
        check_erase(plant, one["id"])
        print("contact data is where it belongs, and gone when erased")


main()
