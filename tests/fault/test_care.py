"""The state is kept, looked after and brought back: backups, restoring, integrity, conversion.

    test_care.py BUILD_FOLDER
"""
import concurrent.futures
import json
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import PRODUCTS, Plant, complaint, until  # noqa: E402

BINARIES = pathlib.Path(sys.argv[1])
CALLER = {"name": "Ada Marsh", "phone": "555-0101"}


def needs(plant):
    return {need["what"]: need for need in plant.get("/v1/status")[1]["needs"]}


def database(plant):
    return plant.state / "oddloaf.db"


def daemon_ends(plant):
    plant.start(expect_ready=False)
    code = plant.daemon.wait(60)
    plant.log.close()
    return code


def offline(plant, *words):
    return subprocess.run([BINARIES / "oddloafd", "--state", plant.state, *words], capture_output=True,
                          text=True, stdin=subprocess.DEVNULL, timeout=300)


# ---- what is no first start ----

def an_empty_database_beside_its_log_is_no_first_start():
    plant = Plant(BINARIES)
    plant.start()
    assert plant.post("/v1/complaints", complaint())[0] == 201
    plant.kill()
    log = database(plant).with_name("oddloaf.db-wal")
    kept = log.read_bytes()
    assert kept
    for hollow in (lambda: os.truncate(database(plant), 0), database(plant).unlink):
        hollow()
        assert daemon_ends(plant) == 1
        said = plant.log_text()
        assert str(database(plant)) in said and "no first start" in said, said
        assert "oddloafd --restore FILE" in said, said
        assert log.read_bytes() == kept, "the log was touched"
    shutil.rmtree(plant.dir)


def a_database_gone_where_backups_are_is_no_first_start():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "one.db", check=0)
        plant.stop()
        for path in plant.state.glob("oddloaf.db*"):
            path.unlink()
        assert daemon_ends(plant) == 1
        assert "there are backups of it" in plant.log_text(), plant.log_text()
        assert offline(plant, "--restore", "one.db").returncode == 0
        plant.start()
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == 1


def where_nothing_was_nothing_is_kept_and_no_way_back_is_named():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "one.db", check=0)
        backup = next(plant.state.glob("backups/one.db"))
        plant.stop()
        fresh = plant.dir / "fresh"
        fresh.mkdir(0o700)
        done = subprocess.run([BINARIES / "oddloafd", "--state", fresh, "--restore", backup],
                              capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=300)
        assert done.returncode == 0 and "Nothing was there before." in done.stdout, done
        assert "goes back" not in done.stdout and "kept" not in done.stdout, done.stdout
        assert "nothing could be read" not in done.stderr.lower(), done.stderr
        assert not (fresh / "replaced").exists(), list(fresh.iterdir())
        plant.state = fresh
        plant.start()
        status = plant.get("/v1/status")[1]
        assert status["counts"]["complaints"] == 1 and status["restored"]["kept"] == "", status


# ---- status always answers ----

def status_answers_over_a_database_that_cannot_be_read():
    for name, cut in (("oddloaf.db", 8192), ("oddloaf.db-wal", 0)):
        with Plant(BINARIES) as plant:
            plant.load_small()
            plant.stop()  # all of it is in the database itself by then
            plant.start()
            assert plant.post("/v1/complaints", complaint())[0] == 201
            plant.wait_idle()

            def noticed():
                if (plant.state / name).stat().st_size != cut:  # a commit that was under way makes it long again
                    os.truncate(plant.state / name, cut)
                return "nothing is written" in plant.log_text()
            until(noticed, "not noticed")
            code, status = plant.get("/v1/status")
            assert code == 200 and "was cut short" in status["store"]["lost"], status
            said = plant.client("status", check=1).stdout
            assert "NOT WRITING" in said and "was cut short" in said, said
            assert said.index("Needs a hand") < said.index("Plant and rules"), said
            assert plant.request("GET", "/v1/metrics")[0] == 200
            shown = plant.request("GET", "/v1/cases")  # requests say what is the matter, not SQLite's words
            assert shown[0] == 200 or "cut short" in shown[1]["detail"], shown


def a_damaged_database_is_found_at_the_start():
    with Plant(BINARIES) as plant:
        plant.load_small()
        until(lambda: "integrity check: the database is sound" in plant.log_text(), plant.log_text)
        plant.stop()
        with open(database(plant), "r+b") as file:  # an index page in the middle: most answers still come
            name = "lot_fold"
            page = sqlite3.connect(f"file:{database(plant)}?mode=ro", uri=True).execute(
                "SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)).fetchone()[0]
            file.seek((page - 1) * 4096 + 2048)
            file.write(b"\x5a" * 1024)
        plant.start()
        until(lambda: "is damaged" in plant.log_text(), "not found")
        need = needs(plant)["damaged"]
        assert "is damaged" in need["says"] and "BACKUP AND RESTORE" in need["do"], need
        assert plant.get("/v1/status")[1]["store"]["integrity"]["state"] == "damaged"
        assert "integrity       damaged" in plant.client("status", check=1).stdout


# ---- backups ----

def a_bare_name_goes_to_the_folder_of_backups():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        said = plant.client("backup", "monday.db", check=0).stdout
        path = plant.state / "backups" / "monday.db"
        assert str(path) in said.replace("\n  ", ""), said
        assert sqlite3.connect(path).execute("SELECT count(*) FROM complaint").fetchone() == (1,)
        assert path.stat().st_mode & 0o077 == 0
        status = plant.get("/v1/status")[1]
        assert status["backup"]["path"] == str(path) and status["backup"]["there"], status["backup"]
        done = plant.client("backup", "monday.db", check=1)  # nothing is overwritten
        assert "exists already" in done.stderr, done
        path.unlink()
        assert "gone" in needs(plant)["no-backup"]["says"]


def a_place_that_may_not_be_written_is_refused_and_says_what_may():
    with Plant(BINARIES) as plant:
        for place in ("/proc/nothing/b.db", str(plant.dir / "no folder" / "b.db"), str(plant.dir)):
            done = plant.client("backup", place, check=1)
            assert place in done.stderr.replace("\n  ", " "), done.stderr
        done = plant.client("backup", "/proc/nothing/b.db", check=1)
        assert "a bare name is written to the folder backups" in done.stderr, done.stderr


def backups_by_the_clock_are_made_and_thinned():
    with Plant(BINARIES, config={"backup": {"every_h": 1, "keep": 2}}) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        folder = plant.state / "backups"
        folder.mkdir()
        by_hand = folder / "by hand.db"
        plant.client("backup", str(by_hand), check=0)
        made = 0
        for hour in (3, 2):
            plant.stop()
            with sqlite3.connect(database(plant)) as db:  # as if the last one were that old
                db.execute("UPDATE setting SET value = ? WHERE key = 'backup/at_ms'",
                           (str(int(time.time() * 1000) - hour * 3600000),))
            db.close()
            old = folder / f"oddloaf-2026010{hour}T000000Z.db"
            old.write_text("an older one")
            plant.start()
            made += 1
            until(lambda: plant.log_text().count("backed up path=") == made, plant.log_text)
            if made == 1:  # not of the same second as the next
                newest = max(folder.glob("oddloaf-*.db"))
                newest.rename(folder / "oddloaf-20260201T000000Z.db")
        dated = sorted(p.name for p in folder.glob("oddloaf-*.db"))
        assert len(dated) == 2 and "oddloaf-20260102T000000Z.db" not in dated, dated
        assert by_hand.exists()
        status = plant.get("/v1/status")[1]
        assert status["backup"]["path"] == str(folder / dated[-1]), (status["backup"], dated)
        assert "no-backup" not in needs(plant) and "old-backup" not in needs(plant)


def an_old_backup_needs_a_hand():
    with Plant(BINARIES, config={"backup": {"every_h": 0}}) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "old.db", check=0)
        plant.stop()
        with sqlite3.connect(database(plant)) as db:
            db.execute("UPDATE setting SET value = ? WHERE key = 'backup/at_ms'",
                       (str(int(time.time() * 1000) - 200 * 3600000),))
        db.close()
        plant.start()
        assert "200 hours old" in needs(plant)["old-backup"]["says"]


# ---- restoring ----

def contacts(path):
    return sqlite3.connect(f"file:{path}?mode=ro", uri=True).execute("SELECT count(*) FROM contact").fetchone()[0]


def a_backup_comes_back_and_what_was_there_is_kept():
    with Plant(BINARIES) as plant:
        plant.load_small()
        one, two, three = complaint(), complaint(contact=CALLER), complaint(symptom="staling")
        cases = [plant.post("/v1/complaints", one)[1]["case"], plant.post("/v1/complaints", three)[1]["case"]]
        sign, confirmed = ("--by", "mira"), ("--confirmed-by", "judgement", "--by", "mira")
        plant.client("settle", cases[1], "overbaked", *confirmed, check=0)
        plant.client("hold", "L1 6318 A0400", "--reason", "mold", *sign, check=0)
        plant.client("backup", "b.db", check=0)
        again = complaint(contact=CALLER, same_as=one["id"])
        hurt = complaint("", symptom="off-odor", harm=["illness"])
        for more in (two, again, hurt):
            assert plant.post("/v1/complaints", more)[0] == 201
        plant.client("correct", one["id"], "packs=3", "route=N4", "--reason", "misheard", check=0)
        plant.client("withdraw", two["id"], "--reason", "another bakery's", check=0)
        plant.client("release", "L1 6318 A0400", "--reason", "sound", "--disposition", "divert", *sign, check=0)
        for code in ("L1 6317 A0400", "L1 6316 A0400"):
            plant.client("hold", code, "--reason", "mold", *sign, check=0)
        plant.client("settle", cases[0], "warm-storage", *confirmed, check=0)
        plant.client("settle", cases[1], "--reopen", *sign, check=0)
        plant.client("follow", cases[1], "--note", "rang the store", *sign, check=0)
        plant.client("action", "--line", "1", "--note", "cooler cleaned", *sign, check=0)
        plant.load_text("products", PRODUCTS)
        pid = plant.daemon.pid
        code, shown = plant.answer_on_a_terminal(["restore", "b.db"], "no")
        shown = " ".join(shown.split())
        assert code == 1 and "Nothing was restored" in shown and "complaints 2, complaints of harm 1" in shown, shown
        assert re.search(r"holds what came until \S.*lacks .*holds 2.*first complaint it lacks came \S", shown), shown
        plant.client("restore", "b.db", check=2)
        assert plant.get(f"/v1/complaints/{two['id']}")[0] == 200 and plant.daemon.pid == pid
        told = plant.client_json("restore", "--yes", "b.db")
        assert told["missing"] == {"complaints": 2, "complaints_of_harm": 1, "joined_reports": 1, "corrections": 1, "withdrawals": 1,
                                   "holds": 2, "ended_holds": 1, "verdicts": 1, "reopened_verdicts": 1,
                                   "follow_notes": 1, "actions": 1, "loaded_files": 1}, told
        assert told["past_read"] and "holds 2, ended_holds 1, verdicts 1" in plant.log_text(), told
        assert plant.daemon.poll() is None and plant.daemon.pid == pid
        assert plant.get(f"/v1/complaints/{one['id']}")[0] == 200
        assert plant.get(f"/v1/complaints/{two['id']}")[0] == 404
        kept = pathlib.Path(told["kept"]) / "oddloaf.db"
        assert plant.get("/v1/status")[1]["restored"] == told
        assert "none yet" not in plant.client("status", check=None).stdout, "the backup is still there"
        said = plant.client("restore", "--yes", str(kept), check=0).stdout  # and back again
        assert "Restored from" in said and "kept only: nothing" in said.replace("\n  ", " "), said
        assert plant.get(f"/v1/complaints/{two['id']}")[0] == 200
        assert "restored" in plant.client("status").stdout
        plant.client("action", "--line", "1", "--note", "belts changed", *sign, check=0)
        numbers = lambda: ([h["hold"] for h in plant.client_json("holds")["holds"]],
                           [a["action"] for a in plant.client_json("action", "--list")["actions"]])
        used = numbers()
        known = plant.post("/v1/complaints", hurt)[1]["case"]
        plant.client_json("restore", "--yes", "b.db")
        anew = plant.post("/v1/complaints", complaint("", symptom="off-odor", harm=["injury"]))[1]["case"]
        assert int(anew[1:]) > int(known[1:]), "no number is given twice"
        plant.client("hold", "L1 6316 A0400", "--reason", "mold", *sign, check=0)
        plant.client("action", "--line", "1", "--note", "belts changed", *sign, check=0)
        (held, done), number = numbers(), lambda hold: int(str(hold).lstrip("H"))
        assert max(map(number, held)) > max(map(number, used[0])) and max(done) > max(used[1]), (held, done, used)
        assert plant.stop() == 0


def what_an_earlier_restore_kept_is_not_in_the_way():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "b.db", check=0)
        taken = {plant.state / "replaced" / time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(time.time() + s))
                 for s in range(30)}
        for folder in taken:  # of this second and those to come
            folder.mkdir(parents=True)
            (folder / "oddloaf.db").write_text("kept")
        kept = pathlib.Path(plant.client_json("restore", "--yes", "b.db")["kept"])
        assert kept not in taken and (kept / "oddloaf.db").stat().st_size > 4, kept
        assert all((folder / "oddloaf.db").read_text() == "kept" for folder in taken)


def a_state_named_from_here_or_through_a_link_is_told_of_by_its_whole_path():
    with tempfile.TemporaryDirectory(prefix="oddloaf-e2e-") as folder:
        link = pathlib.Path(folder) / "link"
        link.symlink_to(folder)
        for state in (os.path.relpath(pathlib.Path(folder) / "state"), link / "linked"):
            with Plant(BINARIES, state=state) as plant:
                one, two = complaint(), complaint()
                assert plant.post("/v1/complaints", one)[0] == 201
                made = plant.client_json("backup", "first.db")["backup"]
                assert os.path.isabs(made) and os.path.samefile(made, plant.state / "backups" / "first.db")
                assert plant.post("/v1/complaints", two)[0] == 201
                told = plant.client_json("restore", "--yes", "first.db")
                assert os.path.isabs(told["kept"]) and os.path.samefile(told["file"], made), told
                assert plant.get(f"/v1/complaints/{two['id']}")[0] == 404
                plant.client("restore", "--yes", told["kept"] + "/oddloaf.db", check=0)
                assert plant.get(f"/v1/complaints/{two['id']}")[0] == 200


def a_restore_that_cannot_be_finished_says_so_and_the_next_start_goes_on():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "b.db", check=0)
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.stop()
        (plant.state / "replaced").write_text("in the way")
        done = offline(plant, "--restore", "b.db")
        assert done.returncode == 1 and "nothing was restored" not in done.stderr, done
        assert "the next start goes on with it" in done.stderr and str(plant.state / "replaced") in done.stderr, done
        (plant.state / "replaced").unlink()
        plant.start()
        status = plant.get("/v1/status")[1]
        assert status["counts"]["complaints"] == 1 and status["restored"]["missing"]["complaints"] == 1, status


def what_is_no_backup_is_refused_before_anything_stops():
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.client("backup", "good.db", check=0)
        good = plant.state / "backups" / "good.db"
        bad = plant.dir / "bad.db"

        def refused(word):
            done = plant.client("restore", "--yes", str(bad), check=1)
            assert str(bad) in done.stderr and word in done.stderr, done.stderr
            assert offline_refused(word)

        def offline_refused(word):
            done = offline(plant, "--restore", str(bad))
            return done.returncode == 1 and word in done.stderr

        done = plant.client("restore", "--yes", str(bad), check=1)
        assert "No such file" in done.stderr, done.stderr
        bad.write_bytes(b"")
        refused("empty")
        bad.write_text("not a database, but long enough to be looked at" * 50)
        refused("not a database")
        with sqlite3.connect(bad.with_name("other.db")) as db:
            db.execute("CREATE TABLE recipe(id)")
        db.close()
        bad.with_name("other.db").rename(bad)
        refused("not an oddloaf database")
        shutil.copy(good, bad)
        with sqlite3.connect(bad) as db:
            db.execute("PRAGMA user_version = 999")
        db.close()
        refused("has schema 999")
        shutil.copy(good, bad)
        os.truncate(bad, bad.stat().st_size // 2)
        refused("is not restored")
        shutil.copy(good, bad)
        with open(bad, "r+b") as file:
            file.seek(40 * 4096)
            file.write(b"\x5a" * 4096 * 4)
        refused("damaged")
        assert plant.get("/v1/status")[1]["restored"] is None
        assert "process" in offline(plant, "--restore", str(good)).stderr  # a daemon has the state
        plant.daemon.send_signal(0)


def who_was_erased_stays_erased():
    with Plant(BINARIES) as plant:
        kept = {"name": "Bo Reed", "phone": "555-0102"}
        for contact in (CALLER, kept):
            assert plant.post("/v1/complaints", complaint(contact=contact))[0] == 201
        plant.client("backup", "b.db", check=0)
        plant.client("erase", "--yes", CALLER["phone"], check=0)
        told = plant.client_json("restore", "--yes", "b.db")
        assert told["erased"] == 1, told
        plant.client("erase", "--yes", CALLER["phone"], check=5)
        plant.client("erase", "--yes", kept["phone"], check=0)
        raw = b"".join(path.read_bytes() for path in plant.state.glob("oddloaf.db*"))
        assert CALLER["name"].encode() not in raw


def a_daemon_that_could_not_start_again_restores_nothing_and_says_why():
    with Plant(BINARIES) as plant:
        plant.load_small()
        plant.client("backup", "b.db", check=0)
        (plant.dir / "config.json").write_text('{"plant": 7}')
        done = plant.client("restore", "--yes", "b.db", check=1)
        assert "plant" in done.stderr and "would not start again" in done.stderr, done.stderr
        assert plant.get("/v1/status")[1]["restored"] is None and plant.daemon.poll() is None


def mail_program(plant):
    program = plant.dir / "mail"
    program.write_text(f"#!/bin/sh\ncat >>{plant.dir}/box; echo >>{plant.dir}/box; exit $(cat {plant.dir}/code)\n")
    program.chmod(0o755)
    (plant.dir / "code").write_text("75")
    plant.config["mail"] = {"program": str(program), "to": ["qa@mill.example"],
                            "urgent_to": ["lead@mill.example"], "retry_s": 1}


def sent(plant):
    return plant.get("/v1/outbox")[1]


def mail_sent_or_stale_is_held_back():
    plant = Plant(BINARIES)
    mail_program(plant)
    with plant:
        plant.load_small()
        for _ in range(3):
            assert plant.post("/v1/complaints", complaint())[0] == 201
        until(lambda: sent(plant)["waiting"] == 1, sent(plant))
        plant.client("backup", "b.db", check=0)  # with a mail that waits
        (plant.dir / "code").write_text("0")
        plant.client("outbox", "--send", "all", check=0)
        until(lambda: sent(plant)["sent"] == 1, sent(plant))
        letters = (plant.dir / "box").read_text().count("Message-ID")
        told = plant.client_json("restore", "--yes", "b.db")
        assert told["held_mails"] == 1, told
        outbox = sent(plant)
        mail = outbox["mails"][0]
        assert mail["state"] == "parked" and "sent before" in mail["last_error"], outbox
        assert "sent before" in plant.client("outbox", check=0).stdout
        assert "mail-parked" in needs(plant)
        plant.client("outbox", "--send", "all", check=0)  # not that one
        plant.stop()
        plant.start()
        assert sent(plant)["mails"][0]["state"] == "parked"
        assert (plant.dir / "box").read_text().count("Message-ID") == letters
        plant.client("outbox", "--send", str(mail["id"]), check=0)  # unless somebody says so
        until(lambda: sent(plant)["sent"] == 1, sent(plant))


def with_nothing_to_compare_only_harm_is_mailed_again():
    plant = Plant(BINARIES)
    mail_program(plant)
    with plant:
        plant.load_small()
        for _ in range(3):
            assert plant.post("/v1/complaints", complaint())[0] == 201
        assert plant.post("/v1/complaints", complaint(harm=["illness"]))[0] == 201
        until(lambda: sent(plant)["waiting"] >= 2, sent(plant))
        plant.client("backup", "b.db", check=0)
        plant.stop()
        database(plant).write_bytes(b"\x5a" * 40960)
        (plant.dir / "code").write_text("0")
        done = offline(plant, "--restore", "b.db")
        assert done.returncode == 0 and "could be read of what was there" in done.stdout, done
        plant.start()
        until(lambda: sent(plant)["waiting"] == 0, sent(plant))
        held = [m for m in sent(plant)["mails"] if m["state"] == "parked"]
        assert held and all(m["event"] != "urgent" for m in held), sent(plant)
        assert "is not known" in held[0]["last_error"], held
        assert any(m["event"] == "urgent" and m["state"] == "sent" for m in sent(plant)["mails"])
        kept = pathlib.Path(plant.get("/v1/status")[1]["restored"]["kept"])
        assert (kept / "oddloaf.db").read_bytes() == b"\x5a" * 40960


def other_rules_rank_again():
    with Plant(BINARIES) as plant:
        plant.load_small()
        case = plant.post("/v1/complaints", complaint())[1]["case"]
        plant.wait_idle()
        plant.client("backup", "b.db", check=0)
        before = plant.get(f"/v1/cases/{case}")[1]
        plant.stop()
        rules = plant.dir / "rules"
        shutil.copytree(plant.rules, rules)
        path = next(iter(sorted((rules / "causes").glob("packed-hot.json"))))
        rule = json.loads(path.read_text())
        rule["title"] += " indeed"
        path.write_text(json.dumps(rule))
        plant.rules = rules
        plant.start()
        plant.client_json("restore", "--yes", "b.db")
        plant.wait_idle()
        after = plant.get(f"/v1/cases/{case}")[1]
        assert after["rules"] != before["rules"] and after["revision"] > before["revision"], after


def a_restore_cut_off_is_finished_at_the_next_start():
    """What is ready is put in place, at whatever step it was cut off."""
    with Plant(BINARIES) as plant:
        one, two = complaint(), complaint()
        assert plant.post("/v1/complaints", one)[0] == 201
        plant.client("backup", "b.db", check=0)
        assert plant.post("/v1/complaints", two)[0] == 201
        plant.stop()
        ready = plant.state / "restore-ready-20261120T141400Z"
        for linked in (False, True):
            ready.mkdir()
            shutil.copy(plant.state / "backups" / "b.db", ready / "oddloaf.db")
            (plant.state / "oddloaf.db-wal").write_bytes(b"a log of the old one")
            if linked:
                (ready / "replaced").mkdir()
                os.link(database(plant), ready / "replaced" / "oddloaf.db")
            plant.start()
            assert plant.get(f"/v1/complaints/{two['id']}")[0] == 404
            assert not ready.exists()
            kept = plant.state / "replaced" / "20261120T141400Z"
            assert (kept / "oddloaf.db").exists()
            plant.stop()
            shutil.copy(kept / "oddloaf.db", database(plant))
            shutil.rmtree(kept)


# ---- conversion ----

def a_conversion_keeps_a_copy_and_says_how_to_go_back():
    with Plant(BINARIES) as plant:
        plant.stop()
        for path in plant.state.glob("oddloaf.db*"):
            path.unlink()
        with sqlite3.connect(database(plant)) as db:
            db.executescript((pathlib.Path(__file__).parents[1] / "store/schema5.sql").read_text())
        db.close()
        plant.start()
        copies = list((plant.state / "backups").glob("schema-5-*.db"))
        assert len(copies) == 1, copies
        old = sqlite3.connect(copies[0])
        assert old.execute("PRAGMA user_version").fetchone() == (5,)
        assert old.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        said = plant.log_text()
        assert "converted from schema 5 to" in said and str(copies[0]) in said and "--restore" in said, said
        plant.stop()
        plant.start()  # once
        assert len(list((plant.state / "backups").glob("schema-5-*.db"))) == 1


# ---- what has been kept long enough ----

def old_rows_go_by_kind_and_what_was_said_and_done_stays():
    plant = Plant(BINARIES, config={"keep": {"rankings_days": 400, "mail_days": 90, "replaced_days": 400, "loads_days": 400}})
    mail_program(plant)
    (plant.dir / "code").write_text("0")
    with plant:
        plant.load_small()
        plant.load_text("targets", "product,quantity,target,low,high\nW24,crumb_ph,5.4,5.0,5.5\n")  # replaces a row
        case = plant.post("/v1/complaints", complaint(harm=["illness"]))[1]["case"]
        for _ in range(2):  # doubled, each time: mailed again
            plant.wait_idle()
            for _ in range(plant.get("/v1/status")[1]["counts"]["complaints"]):
                assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.wait_idle()
        plant.client("settle", case, "packed-hot", "--confirmed-by", "assay", "--anyway", "seen to", check=0)
        plant.client("hold", "L1 6318 A0400", "--reason", "wet", check=0)
        plant.wait_idle()
        plant.stop()
        counts = ["SELECT count(*) FROM " + table for table in
                  ("complaint", "verdict", "hold", "complaint_case", "reading", "lot", "erased", "complaint_change")]
        gone = {"SELECT count(*) FROM outbox WHERE event = 'case'": 0, "SELECT count(*) FROM outbox_text": 0,
                "SELECT count(*) FROM outbox WHERE event = 'urgent'": 2, "SELECT count(*) FROM replaced_row": 0,
                "SELECT count(*) FROM load_file WHERE kind <> 'readings'": 0,
                "SELECT count(*) FROM load_file WHERE kind = 'readings'": 1}
        with sqlite3.connect(database(plant)) as db:
            assert db.execute("SELECT count(*) FROM ranking WHERE why IS NOT NULL").fetchone()[0] >= 2
            before = [db.execute(sql).fetchone() for sql in counts]
            old = int(time.time() * 1000) - 401 * 86400000
            db.execute("UPDATE outbox SET sent_ms = ?", (old,))
            db.execute("UPDATE replaced_row SET replaced_ms = ?", (old,))
            db.execute("UPDATE load_file SET accepted_ms = ?", (old,))
            db.execute("UPDATE ranking SET as_of_ms = ?", (old,))
        db.close()
        plant.start()
        until(lambda: "kept long enough" in plant.log_text(), plant.log_text)
        with sqlite3.connect(f"file:{database(plant)}?mode=ro", uri=True) as db:
            assert [db.execute(sql).fetchone() for sql in counts] == before
            for sql, count in gone.items():
                until(lambda: db.execute(sql).fetchone()[0] == count, sql)
            revisions = [row[0] for row in db.execute("SELECT revision FROM ranking ORDER BY 1")]
            settled = db.execute("SELECT revision FROM verdict").fetchone()[0]
            mailed = db.execute("SELECT max(revision) FROM ranking WHERE why IS NOT NULL").fetchone()[0]
            assert set(revisions) <= {settled, mailed, max(revisions)}, (revisions, settled, mailed)
        db.close()
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == 4
        plant.client("status", "--recount", check=0)


TESTS = (an_empty_database_beside_its_log_is_no_first_start,
         where_nothing_was_nothing_is_kept_and_no_way_back_is_named,
         a_database_gone_where_backups_are_is_no_first_start,
         status_answers_over_a_database_that_cannot_be_read,
         a_damaged_database_is_found_at_the_start,
         a_bare_name_goes_to_the_folder_of_backups,
         a_place_that_may_not_be_written_is_refused_and_says_what_may,
         backups_by_the_clock_are_made_and_thinned,
         an_old_backup_needs_a_hand,
         a_backup_comes_back_and_what_was_there_is_kept,
         what_an_earlier_restore_kept_is_not_in_the_way,
         a_state_named_from_here_or_through_a_link_is_told_of_by_its_whole_path,
         a_restore_that_cannot_be_finished_says_so_and_the_next_start_goes_on,
         what_is_no_backup_is_refused_before_anything_stops,
         who_was_erased_stays_erased,
         a_daemon_that_could_not_start_again_restores_nothing_and_says_why,
         mail_sent_or_stale_is_held_back,
         with_nothing_to_compare_only_harm_is_mailed_again,
         other_rules_rank_again,
         a_restore_cut_off_is_finished_at_the_next_start,
         old_rows_go_by_kind_and_what_was_said_and_done_stays,
         a_conversion_keeps_a_copy_and_says_how_to_go_back)


def run(test):
    test()
    print(test.__name__, flush=True)


with concurrent.futures.ThreadPoolExecutor(3) as pool:  # each has a plant of its own, and mostly waits
    list(pool.map(run, [test for test in TESTS if len(sys.argv) < 3 or sys.argv[2] in test.__name__]))
