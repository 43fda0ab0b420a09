#!/usr/bin/python3
"""A reload with other rules ranks every open case again and tells QA of all that changed in one mail; what was
told then is what the next one compares with.                       usage: test_reload_mail.py BINARIES"""
import contextlib
import json
import shutil
import signal
import sqlite3
import sys

from oddloaf import ROOT, Plant, complaint, lot_rows, until

LOTS = [row.split(",")[0] for row in lot_rows()[0].splitlines()[-12:-4]]
MAIL = """#!/usr/bin/python3
import pathlib, sys
folder = pathlib.Path(__file__).parent
(folder / f"mail{len(list(folder.glob('mail*')))}.eml").write_bytes(sys.stdin.buffer.read())
"""


def queued(plant):
    with contextlib.closing(sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)) as db:
        return [event for event, in db.execute("SELECT event FROM outbox ORDER BY id")]


def weigh(plant, cause, weight):
    """The prior of a cause, as a plant might change it."""
    path = plant.rules / f"causes/{cause}.json"
    rule = json.loads(path.read_text())
    rule["symptoms"]["mold"] = weight
    path.write_text(json.dumps(rule))


def reload(plant):
    count = plant.log_text().count("settings reloaded")
    plant.daemon.send_signal(signal.SIGHUP)
    until(lambda: plant.log_text().count("settings reloaded") > count, plant.log_text)


def tops(plant):
    return {c["case"]: c["top"]["cause"] for c in plant.client_json("cases")["cases"]}


def check_one_mail(plant, before):
    was = tops(plant)
    weigh(plant, "contamination-hands", 1000)
    reload(plant)
    until(lambda: len(queued(plant)) > before, "nobody is told")
    plant.wait_idle()
    now = tops(plant)
    changed = [case for case in was if now[case] != was[case]]
    assert len(changed) > 3, (was, now)
    assert queued(plant)[before:] == ["summary"], queued(plant)
    told = [m.read_text() for m in plant.dir.glob("mail*.eml") if "otherwise than mailed" in m.read_text()]
    assert len(told) == 1, told
    for case in changed:
        assert f"{case} mold" in told[0].replace("=\n", ""), (case, told[0])


def check_many(plant):
    """However many there are, and though nothing is known of some any more."""
    many = 600
    plant.wait_idle()
    before = queued(plant)
    plant.stop()
    with contextlib.closing(sqlite3.connect(plant.state / "oddloaf.db")) as db, db:
        db.executemany("INSERT INTO work(kind, subject_id, due_ms) VALUES('news', ?, 0)",
                       [(1,)] + [(1000 + n,) for n in range(1, many)])
    plant.start()
    plant.wait_idle()
    assert queued(plant) == before + ["summary"], queued(plant)
    until(lambda: any(f"{many} cases rank" in m.read_text() for m in plant.dir.glob("mail*.eml")),
          "the mail does not count all")


def check_past(plant):
    """Complaints of years ago: a file of them is ranked once it is in, and QA gets no mail of them."""
    before, past = queued(plant), "2024-02-01T09:00:00-05:00"
    lines = lambda n: "".join(json.dumps(complaint(None, received=past)) + "\n" for _ in range(n)).encode()
    answers = lambda n: [json.loads(a) for a in plant.request("POST", "/v1/complaints?rank=1", lines(n),
                                                              "application/x-ndjson")[1].splitlines()]
    cases = [a["case"] for a in answers(30) if "ranked" not in a]
    assert len(cases) == 30
    plant.wait_idle()
    assert queued(plant) == before, queued(plant)
    assert all(tops(plant)[case] for case in cases)
    assert all(a["ranked"] for a in answers(3)), "a few lines are ranked at once whatever their age"


def check_file(plant):
    """A first day's file: more cases than are mailed one by one are one mail, the most urgent first; harm waits for
    none of them. The text of oddloafd.json(5) names the number."""
    page = " ".join((ROOT / "daemon" / "oddloafd.json.5").read_text().split())
    apart = int(page.split(".It Ic mail/cases_apart", 1)[1].split("Default ", 1)[1].split()[0])
    send = lambda bodies: plant.request("POST", "/v1/complaints", "".join(
        json.dumps(b) + "\n" for b in bodies).encode(), "application/x-ndjson")
    plant.wait_idle()
    before = queued(plant)
    few = [complaint(None) for _ in range(apart)]
    send(few)
    plant.wait_idle()
    assert queued(plant) == before + ["case"] * apart, queued(plant)
    before = queued(plant)
    lot = lot_rows()[0].splitlines()[-14].split(",")[0]  # two complaints of it are one case
    many = [complaint(lot if n in (17, 18) else None) for n in range(apart + 16)]
    hurt = complaint(None, harm=["illness"])
    answers = [json.loads(a) for a in send(many + [hurt])[1].splitlines()]
    plant.wait_idle()
    assert sorted(queued(plant)[len(before):]) == ["case", "summary", "urgent"], queued(plant)
    assert queued(plant)[len(before)] == "urgent", "harm goes first"
    told = plant.dir.glob("mail*.eml")
    mail = [m.read_text().replace("=\n", "") for m in told if "of a file of complaints" in m.read_text()]
    assert len(mail) == 1 and f"{apart + 15} cases of a file of complaints" in mail[0], mail
    at = [mail[0].index(f"- {a['case']}, ") for a in answers[:-1]]
    assert min(at) == at[17] == at[18] and f"- {answers[-1]['case']}, " not in mail[0], mail


def main():
    program = None
    with Plant(sys.argv[1]) as plant:
        plant.stop()
        plant.rules = plant.dir / "rules"
        shutil.copytree(ROOT / "rules", plant.rules)
        program = plant.dir / "mailer"
        program.write_text(MAIL)
        program.chmod(0o755)
        plant.config["mail"] = {"program": str(program), "to": ["qa@mill.example"]}
        plant.start()
        plant.load_small()
        for lot in LOTS:
            assert plant.post("/v1/complaints", complaint(lot))[0] == 201
        plant.wait_idle()
        before = queued(plant)
        assert before == ["case"] * len(LOTS), before
        check_one_mail(plant, len(before))
        reload(plant)
        plant.wait_idle()
        assert len(queued(plant)) == len(before) + 1, "the same rules change nothing"
        plant.post("/v1/complaints", complaint(LOTS[0]))
        plant.wait_idle()
        assert queued(plant)[-1] in ("case", "summary") and queued(plant).count("summary") == 1, queued(plant)
        check_past(plant)
        check_file(plant)
        check_many(plant)
        print("ok: one mail for all that other rules changed")


main()
