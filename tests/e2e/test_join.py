"""The same person tells us twice: offered, joined, counted once, shown, taken apart again; and every
count is what it would be had the second report never come. Lists of a retailer go the same way.
                                                                     usage: test_join.py BINARIES"""
import contextlib
import json
import os
import sqlite3
import sys
import tempfile
import uuid

from oddloaf import ROOT, Plant, complaint

CALLER = {"name": "Ottoline Fenwick-Marsh", "phone": "555-0177"}
LOT = "L1 6318 A0400"


def counts(plant):
    """Whatever counts complaints, as the daemon answers and as its tables hold."""
    plant.wait_idle()
    week = plant.get("/v1/weeks/2026-W47")[1]
    seen = {"complaints": week["complaints"],
            "by": {k: [(r["level"], r["symptom"], r["complaints"], r["units"]) for r in rows]
                   for k, rows in week["by"].items() if k not in ("cause", "place")}}  # shares of causes
    seen["status"] = plant.get("/v1/status")[1]["counts"]["complaints"]
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    for name, sql in {
            "company": "SELECT symptom, packed_day, lot_id, received_ms, n FROM company_count"
                       " ORDER BY 1, 2, 3, 4",
            "received": "SELECT week, factor, level, symptom, n FROM pattern_received JOIN"
                        " pattern_series ON id = series_id WHERE n <> 0 AND factor NOT IN ('cause', 'place')"
                        " ORDER BY 1, 2, 3, 4",
            "made": "SELECT week, received_week, factor, level, symptom, n FROM pattern_made JOIN"
                    " pattern_series ON id = series_id WHERE n <> 0 AND factor NOT IN ('cause', 'place')"
                    " ORDER BY 1, 2, 3, 4, 5",
            "cases": "SELECT symptom, complaints, packs FROM complaint_case WHERE complaints > 0"
                     " ORDER BY 1, 2, 3"}.items():
        seen[name] = db.execute(sql).fetchall()
    # what the triggers kept is what the views count afresh
    fresh = db.execute("SELECT sum(n) FROM pattern_part WHERE factor = ''").fetchone()[0]
    kept = db.execute("SELECT sum(n) FROM pattern_received JOIN pattern_series ON id = series_id"
                      " WHERE factor = '' AND symptom <> ''").fetchone()[0]
    assert fresh == kept, (fresh, kept)
    db.close()
    return seen


def same(a, b):
    for name in a:
        assert a[name] == b[name], (name, a[name], b[name])


def check_log_with_same_as(plant, first):
    before = counts(plant)
    second = complaint(LOT, received="2026-11-20T15:00:00-05:00", contact=CALLER,
                       same_as=first["id"], note="called again, very upset", packs=3,
                       observed={"where": "heel", "colour": "black", "kept": "counter"})
    status, answer = plant.post("/v1/complaints", second)
    assert status == 201 and answer["same_as"] == first["id"], answer
    assert answer["case"] == plant.get("/v1/complaints/" + first["id"])[1]["case"]
    assert sorted(answer["brought"]) == ["observed/kept", "observed/where", "packs"], answer
    assert answer["differs"] == [{"field": "observed/colour", "complaint": "blue-green",
                                  "report": "black"}], answer
    status, again = plant.post("/v1/complaints", second)
    assert status == 200 and again["again"] and again["same_as"] == first["id"], again
    after = counts(plant)
    assert [c[:2] for c in after["cases"]] == [c[:2] for c in before["cases"]]
    before.pop("cases"), after.pop("cases")  # packs were not known before
    same(after, before)
    stands = plant.get("/v1/complaints/" + first["id"])[1]
    assert stands["observed"]["where"] == "heel" and stands["observed"]["colour"] == "blue-green"
    assert stands["first_said"]["observed"] == {"colour": "blue-green"}, stands
    report = stands["joined"][0]
    assert report["complaint"] == second["id"] and report["said"]["note"] == second["note"]
    assert report["contact"]["name"] == CALLER["name"], "root is the desk, too"
    own = plant.get("/v1/complaints/" + second["id"])[1]
    assert own["same_as"] == first["id"] and own["note"] == second["note"]
    case = plant.client_json("rank", second["id"])
    assert first["id"] in case["complaints"] and second["id"] not in case["complaints"]
    assert [j["complaint"] for j in case["joined"]] == [second["id"]], case["joined"]
    assert second["id"] in plant.client("rank", first["id"], check=0).stdout
    return second


def check_undo(plant, first, second):
    """It stands alone again as it was logged: then, and by whom."""
    with contextlib.closing(sqlite3.connect(f"{plant.state}/oddloaf.db")) as db, db:
        db.execute("UPDATE joined SET logged_ms = logged_ms - 3600000, joined_ms = joined_ms - 3600000"
                   " WHERE uuid = ?", (second["id"],))
    was = plant.get("/v1/complaints/" + second["id"])[1]
    alone = plant.client_json("join", "--undo", second["id"])
    assert alone["same_as"] is None and alone["case"], alone
    stands = plant.get("/v1/complaints/" + first["id"])[1]
    assert "joined" not in stands and stands["observed"] == {"colour": "blue-green"}, stands
    own = plant.get("/v1/complaints/" + second["id"])[1]
    assert own["note"] == second["note"] and own["contact"]["phone"] == CALLER["phone"], own
    assert "same_as" not in own
    assert (own["logged_at"], own["logged_by"]) == (was["logged_at"], was["logged_by"]), (own, was)
    told = plant.client_json("history", second["id"])["events"]
    assert told[0]["what"] == "logged" and told[0]["at"] == was["logged_at"], told
    assert [e["what"] for e in told][-1] == "separated", told
    plant.client("join", "--undo", second["id"], check=5)


def check_join_of_logged(plant, first, second):
    """Back and forth: the counts come back to what they were each time."""
    apart = counts(plant)
    joined = plant.client_json("join", second["id"], first["id"])
    assert joined["same_as"] == first["id"] and not joined["again"]
    together = counts(plant)
    assert together["status"] == apart["status"] - 1
    assert plant.client_json("join", second["id"], first["id"])["again"]
    same(counts(plant), together)
    plant.client_json("join", "--undo", second["id"])
    same(counts(plant), apart)
    plant.client_json("join", second["id"], first["id"])
    same(counts(plant), together)


def check_lot_comes_later(plant):
    """The first call had no code; the second brings it and the case moves to the lot."""
    first = complaint(None, symptom="staling", contact=CALLER, code_date=None)
    del first["lot_text"], first["code_date"]
    opened = plant.post("/v1/complaints", first)[1]
    second = complaint("L1 6317 A0800", symptom="staling", contact=CALLER)
    preview = plant.post("/v1/complaints/preview", second)[1]
    assert [s["complaint"] for s in preview["similar"]] == [first["id"]], preview["similar"]
    answer = plant.post("/v1/complaints", {**second, "same_as": first["id"]})[1]
    assert answer["lot"] == "L1 6317 A0800" and "lot_text" in answer["brought"], answer
    moved = plant.client_json("rank", opened["case"])
    assert moved["complaints"] == [first["id"]] and moved["lot"] == "L1 6317 A0800", moved
    plant.client_json("join", "--undo", second["id"])
    back = plant.get("/v1/complaints/" + first["id"])[1]
    assert back["lot"] != "L1 6317 A0800" or "lot_text" not in back, back


def check_harm_is_urgent(plant, first):
    second = complaint(LOT, contact=CALLER, same_as=first["id"], harm=["illness"])
    answer = plant.post("/v1/complaints", second)[1]
    assert answer["script"] and answer["harm"], answer
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    urgent = db.execute("SELECT count(*) FROM outbox WHERE event = 'urgent'").fetchone()[0]
    harm = db.execute("SELECT harm FROM complaint WHERE uuid = ?", (first["id"],)).fetchone()[0]
    db.close()
    assert urgent == 1 and harm == 1, (urgent, harm)
    plant.client_json("join", "--undo", second["id"])


def check_refusals(plant, first):
    for more, reason in ((dict(same_as=str(uuid.uuid4())), "no such complaint"),
                         (dict(same_as=first["id"], symptom="staling"), "another symptom"),
                         (dict(same_as=first["id"], channel="return", units=4), "return"),
                         (dict(same_as="yesterday"), "UUID")):
        status, answer = plant.post("/v1/complaints", {**complaint(LOT), **more})
        assert status in (400, 422) and reason in answer["detail"], (status, answer)
        assert answer["errors"][0]["field"] == "same_as", answer
    status, answer = plant.post(f"/v1/complaints/{first['id']}/join", {"same_as": first["id"]})
    assert status in (400, 422) and "itself" in answer["detail"], answer
    plant.client("join", str(uuid.uuid4()), first["id"], check=5)


def check_batch(plant, first):
    """Rows name the complaint they repeat; one that cannot be is refused, the others stand."""
    before = plant.get("/v1/status")[1]["counts"]["complaints"]
    lot_row = complaint("L1 6318 A0800", received="2026-11-20T10:00:00-05:00")
    rows = ["id,received_at,channel,symptom,lot,same_as,note",
            f"{lot_row['id']},{lot_row['received_at']},web,mold,L1 6318 A0800,,first",
            f"{uuid.uuid4()},2026-11-21T10:00:00-05:00,web,mold,,{lot_row['id']},once more",
            f"{uuid.uuid4()},2026-11-21T11:00:00-05:00,web,mold,,{uuid.uuid4()},lost"]
    with tempfile.NamedTemporaryFile("w", suffix=".csv", delete=False) as f:
        f.write("\n".join(rows) + "\n")
    for turn in range(2):  # the same file twice changes nothing
        done = plant.client("log", "--from", f.name, check=1)
        assert "line 4" in done.stderr or ":4:" in done.stderr, done.stderr
        assert "no such complaint" in done.stderr, done.stderr
        assert "joined" in done.stdout, done.stdout
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == before + 1
    os.unlink(f.name)
    joined = plant.get("/v1/complaints/" + lot_row["id"])[1]["joined"]
    assert [j["said"]["note"] for j in joined] == ["once more"], joined


def check_sample(plant):
    """The retailer's list shipped as an example: tried, taken, taken again; a unit converted."""
    folder = ROOT / "data" / "retailer"
    words = ("log", "--from", str(folder / "complaints.csv"), "--map", str(folder / "map.json"),
             "--channel", "web")
    before = plant.get("/v1/status")[1]["counts"]["complaints"]
    page = (ROOT / "client" / "oddloaf.1").read_text()  # its example is this list
    example = page.split("(data/retailer has both", 1)[1].split(".Dl oddloaf ", 1)[1].split("\n")[0].split()
    done = plant.client(*[str(folder / w) if (folder / w).exists() else w for w in example], check=1)
    assert "4 rows, 3 would be sent, 1 refused" in done.stdout, (example, done.stdout, done.stderr)
    done = plant.client(*words, "--dry-run", check=1)
    assert "4 rows, 3 would be sent, 1 refused" in done.stdout, done.stdout
    assert "complaints.csv:5: code_date (Date on bag) '27 Nov'" in done.stderr, done.stderr
    assert plant.get("/v1/status")[1]["counts"]["complaints"] == before
    done = plant.client(*words, check=1)
    assert "3 new, 0 logged before, 1 refused" in done.stdout, done.stdout
    assert "0 new, 3 logged before, 1 refused" in plant.client(*words, check=1).stdout
    assert plant.get("/v1/status")[1]["counts"]["complaints"] == before + 2
    first = plant.get("/v1/complaints/0199a1f9-4e98-7000-8000-0000000000a1")[1]
    assert first["observed"]["where"] == "heel" and first["observed"]["colour"] == "blue-green"
    stale = plant.get("/v1/complaints/0199a1f9-4e98-7000-8000-0000000000a3")[1]
    assert stale["measured"] == {"crumb_moisture_pct": 38.2}, stale


def check_units(plant):
    """As for `load`: a header's unit is converted; what does not convert is refused and named."""
    def log(header, value):
        with tempfile.NamedTemporaryFile("w", suffix=".csv") as f:
            f.write(f"id,received_at,channel,symptom,units,{header}\n{uuid.uuid4()},"
                    f"2026-11-20T10:00:00-05:00,return,staling,4,{value}\n")
            f.flush()
            done = plant.client("--json", "log", "--from", f.name)
        return done, json.loads(done.stdout.splitlines()[0]) if done.stdout.strip() else None
    done, answer = log("measured.core_at_pack [degF]", 117.5)
    assert done.returncode == 0, done
    kept = plant.get("/v1/complaints/" + answer["complaint"])[1]["measured"]
    assert abs(kept["core_at_pack_c"] - 47.5) < 1e-9, kept
    done, answer = log("measured.crumb_ph [degF]", 5.9)
    assert done.returncode == 1 and answer["error"]["line"] == 2, answer
    assert answer["error"]["value"] == "5.9" and "crumb_ph" in answer["error"]["field"], answer
    done, _ = log("measured.core_at_pack [furlong]", 9)
    assert done.returncode == 1, done
    assert ":1: measured.core_at_pack [furlong] 'furlong': the unit" in done.stderr, done.stderr
    done, answer = log("measured.core_at_pack [degF]", 9999)
    assert done.returncode == 1 and "core_at_pack" in answer["error"]["field"], answer
    done = plant.client("--json", "log", "--symptom", "staling", "--channel", "return", "--units",
                        "4", "--measured", "core_at_pack[degF]=117.5", check=0)
    kept = plant.get("/v1/complaints/" + json.loads(done.stdout)["complaint"])[1]["measured"]
    assert abs(kept["core_at_pack_c"] - 47.5) < 1e-9, kept


def check_settled(plant):
    """A verdict is not left on a case without complaints."""
    alone = complaint("L1 6316 A0400", contact=CALLER)
    other = complaint("L1 6316 A0800", contact=CALLER)
    case = plant.post("/v1/complaints", alone)[1]["case"]
    plant.post("/v1/complaints", other)
    plant.wait_idle()
    plant.client("settle", case, "packed-hot", "--confirmed-by", "judgement", check=0)
    done = plant.client("join", alone["id"], other["id"], "--anyway")
    assert done.returncode != 0 and "settled" in done.stderr, done
    plant.client("settle", case, "--reopen", check=0)
    plant.client("join", alone["id"], other["id"], "--anyway", check=0)
    assert plant.client_json("rank", case)["complaints"] == [other["id"]]


def check_two_lots(plant):
    """Codes read whole that differ are two lots, on record or not: nothing is offered, and joining is
    refused unless it is asked for; a report keeps the code its caller read."""
    caller = {"name": "Perpetua Oakes", "phone": "555-0161"}
    one, two, none = "L1 6315 A0400", "L1 6315 A0800", "L2 6321 B0412"  # no record bears the last
    first = complaint(one, contact=caller)
    plant.post("/v1/complaints", first)
    lost = complaint(none, contact=caller)
    answer = plant.post("/v1/complaints", lost)[1]
    assert answer["lot_state"] == "not-on-record" and answer["similar"] == [], answer
    for lot, offered in ((two, []), (one, [first["id"]]), (none, [lost["id"]]),
                         (none.replace(" ", "").lower(), [lost["id"]])):
        similar = plant.post("/v1/complaints/preview", complaint(lot, contact=caller))[1]["similar"]
        assert [s["complaint"] for s in similar] == offered, (lot, similar)
    for report in (complaint(two, contact=caller), complaint(none, contact=caller)):
        status, answer = plant.post("/v1/complaints", {**report, "same_as": first["id"]})
        assert status in (400, 422) and f"of another lot: {one}" in answer["detail"], answer
        assert answer["errors"][0]["field"] == "same_as", answer
    done = plant.client("join", lost["id"], first["id"], check=1)
    assert f"is of another lot: {one}, this one of {none}" in done.stderr, done.stderr
    assert "--anyway" in done.stderr, done.stderr
    plant.client("join", lost["id"], first["id"], "--anyway", check=0)
    assert plant.get("/v1/complaints/" + lost["id"])[1]["lot_text"] == none
    stands = plant.get("/v1/complaints/" + first["id"])[1]
    assert stands["lot"] == one and stands["joined"][0]["said"]["lot_text"] == none, stands
    plant.client("join", "--undo", lost["id"], check=0)
    assert plant.get("/v1/complaints/" + lost["id"])[1]["lot_state"] == "not-on-record"


def check_recount(plant):
    """After all of the above the kept counts are those of the complaints; a wrong one is found."""
    done = plant.client("status", "--recount", check=0)
    assert done.stdout.count("as on record") == 4, done.stdout
    with contextlib.closing(sqlite3.connect(f"{plant.state}/oddloaf.db")) as db, db:
        db.execute("UPDATE complaint_case SET packs = packs + 1 WHERE complaints > 0")
    done = plant.client("status", "--recount", check=1)
    assert "differ from what is on record" in done.stdout, done.stdout


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        first = complaint(LOT, contact=CALLER, observed={"colour": "blue-green"})
        plant.post("/v1/complaints", first)
        plant.post("/v1/complaints", complaint(LOT))  # somebody else's
        answer = plant.post("/v1/complaints/preview",
                            complaint(LOT, contact={"phone": "(555) 0177"}))[1]
        assert [s["complaint"] for s in answer["similar"]] == [first["id"]], json.dumps(answer)
        second = check_log_with_same_as(plant, first)
        check_undo(plant, first, second)
        check_join_of_logged(plant, first, second)
        check_lot_comes_later(plant)
        check_refusals(plant, first)
        check_batch(plant, first)
        check_sample(plant)
        check_units(plant)
        check_settled(plant)
        check_harm_is_urgent(plant, first)
        check_two_lots(plant)
        check_recount(plant)
        print("joined reports are kept, counted once, and can be taken apart again")


main()
