"""Two daemons on one PostgreSQL database, under load, one of them killed now and then: what either acknowledged is
there once, whichever was asked; a case is ranked once for what is known of it, by one; a mail leaves once. What one
was at when it died the other goes on with.

usage: test_two_daemons.py BINARIES [kills]     by hand with kills: a file, and mail, that a daemon was at when it was killed
                                                or stood still go on at the other, mail within a minute
"""
import collections
import email
import http.client
import json
import pathlib
import random
import shutil
import signal
import stat
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[0] / "store"), str(HERE.parents[0] / "e2e"), str(HERE)]
import postgresql  # noqa: E402
import test_kill  # noqa: E402
from oddloaf import Plant, complaint, until  # noqa: E402
from test_kill import LOTS, ROWS, Load, check_complaints, check_counts  # noqa: E402

TAKEN_OVER_S, FILE_ROWS = 60, 16000


class Pair:
    """Asked, either answers."""

    def __init__(self, first, second):
        self.both = (first, second)

    def request(self, *words, **how):
        return random.choice(self.both).request(*words, **how)


class Same:
    """The same report to both at once: whoever sends it twice is heard once."""

    def __init__(self, plants):
        self.plants, self.stopping, self.sent = plants, threading.Event(), []
        self.thread = threading.Thread(target=self.run)
        self.thread.start()

    def send(self, plant, one, told):
        try:
            told.append(plant.post("/v1/complaints", one)[0])
        except (OSError, ValueError, http.client.HTTPException):
            told.append(0)

    def run(self):
        while not self.stopping.is_set():
            one, told = complaint(lot=random.choice(LOTS), packs=1), []
            senders = [threading.Thread(target=self.send, args=(p, one, told)) for p in self.plants]
            for sender in senders:
                sender.start()
            for sender in senders:
                sender.join()
            if 201 in told or 200 in told:
                self.sent.append(one["id"])
                assert told.count(201) <= 1, told
            time.sleep(0.05)

    def stop(self):
        self.stopping.set()
        self.thread.join()


def post(plants, mailbox):
    """One mailbox; a program that takes its time, so that both daemons look at what one has begun with."""
    mailbox.mkdir()
    program = mailbox.with_suffix(".sh")
    program.write_text(f"#!/bin/sh\nsleep 0.1\nfor to; do :; done\nexec cat > {mailbox}/$(date +%s%N).$$.$to\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    for plant in plants:
        plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example", "retry_s": 1,
                                "to": ["qa@harrowmill.example", "second@harrowmill.example"]}


def mails(mailbox):
    """(Message-ID, recipient) of all that left."""
    read = [(email.message_from_string(p.read_text(errors="replace")), p.name) for p in mailbox.iterdir()]
    return [(m["Message-ID"], name.split(".", 2)[2]) for m, name in read if m["Message-ID"]]


def check_mailed_once(mailbox, at_most=0):
    """at_most: what may have been under way when a daemon was killed, which leaves again."""
    often = {mail: n for mail, n in collections.Counter(mails(mailbox)).items() if n > 1}
    assert len(often) <= at_most, often


def check_ranked_once(server):
    """Of two rankings of a case that follow each other, something differs."""
    rows = json.loads(postgresql.ask(server, "SELECT coalesce(json_agg(r ORDER BY r.case_id, r.revision), '[]')"
                                             " FROM oddloaf.ranking r", "plant"))
    assert rows
    for one, next_ in zip(rows, rows[1:]):
        if one["case_id"] != next_["case_id"]:
            continue
        same = [key for key in one if key not in ("revision", "why") and one[key] != next_[key]]
        assert same, (one, next_)


def check_seen_at_once(a, b):
    """What one daemon has written the other tells: kept pages, too; what was decided at one is in force at both."""
    week = "/v1/weeks/2026-W47"
    was = [plant.get(week)[1]["complaints"]["mold"] for plant in (a, b)]
    assert was[0] == was[1], was
    assert a.post("/v1/complaints?rank=0", complaint())[0] == 201
    assert b.get(week)[1]["complaints"]["mold"] == was[1] + 1
    assert a.get(week)[1]["complaints"]["mold"] == was[0] + 1
    hashes = lambda: {plant.get("/v1/status")[1]["rules"]["hash"] for plant in (a, b)}
    before = hashes()
    assert len(before) == 1, before
    status, answer = a.post("/v1/scores", {"learn": True, "by": "Ada"})
    if status == 409:
        status, answer = a.post("/v1/scores", {"learn": False, "by": "Ada"})
    assert status == 200, answer
    until(lambda: hashes() == {answer["rules"]} and answer["rules"] not in before)


def check_loads_taken_over(a, b):
    """A file that a daemon accepted and died over is applied to its end by the other."""
    rows = "".join(f"{LOTS[n % len(LOTS)]},core_at_pack_c,{30 + n % 97 / 10:.1f},2026-10-{1 + n % 20:02}"
                   f"T{n // 20 // 60 % 24:02}:{n // 20 % 60:02}:{n // 28800 % 60:02}-05:00\n" for n in range(FILE_ROWS))
    before = b.get("/v1/status")[1]["counts"]["readings"]
    path = a.dir / "readings.csv"
    path.write_text("lot,quantity,value,at\n" + rows)
    sender = threading.Thread(target=a.client, args=("load", "readings", str(path)))
    sender.start()
    until(lambda: b.get("/v1/status")[1]["counts"]["readings"] > before)
    a.kill()
    assert b.get("/v1/status")[1]["counts"]["readings"] < before + FILE_ROWS, "it was through already"
    sender.join()
    began = time.monotonic()
    until(lambda: b.get("/v1/status")[1]["counts"]["readings"] == before + FILE_ROWS, seconds=600)
    a.start()
    return time.monotonic() - began


def hang(plant, hold):
    """Its mail program does not come to an end while `hold` is there."""
    slow = hold.with_name("hangs.sh")
    slow.write_text(f"#!/bin/sh\nwhile [ -e {hold} ]; do sleep 0.2; done\nexit 75\n")
    slow.chmod(0o700)
    program = plant.config["mail"]["program"]
    plant.config["mail"]["program"] = str(slow)
    plant.start()
    plant.config["mail"]["program"] = program


def check_mail_taken_over(a, b, mailbox, how):
    """What a daemon was mailing when it died (SIGKILL) or stood still (SIGSTOP) leaves by the other."""
    hold = mailbox.with_suffix(".hold")
    hold.touch()
    assert a.stop() == 0 and b.stop() == 0
    hang(a, hold)
    status, answer = a.post("/v1/complaints", complaint(lot="L1 6300 A0800"))
    assert status == 201, answer
    until(lambda: a.get("/v1/outbox")[1]["mails"])
    time.sleep(3)  # under way
    b.start()
    time.sleep(2)
    before = len(mails(mailbox))
    a.daemon.send_signal(how)
    began = time.monotonic()
    until(lambda: len(mails(mailbox)) > before, seconds=TAKEN_OVER_S + 20)
    took = time.monotonic() - began
    hold.unlink()
    a.daemon.send_signal(signal.SIGCONT)
    a.kill()
    a.start()
    b.wait_idle()
    assert took < TAKEN_OVER_S, took
    return took


def under_load(a, b, server, mailbox, kills, rng):
    load, same = Load(Pair(a, b)), Same((a, b))
    try:
        if not kills:
            until(lambda: len(load.logged) >= 40 and len(same.sent) >= 5 and load.files and load.corrected)
        for n in range(kills):
            time.sleep(rng.uniform(0.5, 2))
            one = (a, b)[n % 2]
            one.kill()
            time.sleep(rng.uniform(0.2, 2))
            one.start()
    finally:
        load.stop()
        same.stop()
    status = a.wait_idle(600)
    assert b.wait_idle(600)["counts"] == status["counts"]
    return load, same, status


def main():
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    test_kill.CLIENTS = 16 if kills else 4
    rng = random.Random(11)
    folder = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-two-"))
    server, mailbox = folder / "server", folder / "mail"
    folder.chmod(0o755)
    postgresql.start(server)
    postgresql.ask(server, "CREATE DATABASE plant")
    a, b = (Plant(sys.argv[1], config={"store": f"postgresql:///plant?host={server}&user=oddloaf"}) for _ in "ab")
    post((a, b), mailbox)
    try:
        starts = [threading.Thread(target=plant.start) for plant in (a, b)]  # both make the schema
        for start in starts:
            start.start()
        for start in starts:
            start.join()
        a.load_small()
        readings = a.get("/v1/status")[1]["counts"]["readings"]
        load, same, status = under_load(a, b, server, mailbox, 0, rng)
        cases, counted = check_complaints(a, load, status)
        assert not [i for i in [*load.logged[::5], *same.sent] if b.get(f"/v1/complaints/{i}")[0] != 200]
        check_counts(a, load, readings)
        check_mailed_once(mailbox)
        check_ranked_once(server)
        first = len(mails(mailbox))
        check_seen_at_once(a, b)
        print(f"no kill: {counted} complaints, {len(same.sent)} of them sent to both, {len(load.files)} files, "
              f"{len(cases)} cases, {first} mails")
        if kills:
            print(f"a file was taken over and through after {check_loads_taken_over(a, b):.0f} s")
            readings = a.get("/v1/status")[1]["counts"]["readings"]
            load, same, status = under_load(a, b, server, mailbox, kills, rng)
            cases, counted = check_complaints(a, load, status)
            assert not [i for i in [*load.logged, *same.sent] if b.get(f"/v1/complaints/{i}")[0] != 200]
            check_ranked_once(server)
            check_mailed_once(mailbox, 4 * kills)
            print(f"{kills} kills: {counted} complaints, {len(load.files)} files, {len(cases)} cases, {len(mails(mailbox))} mails")
            for how in (signal.SIGKILL, signal.SIGSTOP):
                print(f"mail under way taken over after {how.name} in {check_mail_taken_over(a, b, mailbox, how):.0f} s")
        assert a.stop() == 0 and b.stop() == 0
    finally:
        for plant in (a, b):
            if plant.daemon and plant.daemon.poll() is None:
                print(plant.log_text()[-3000:], file=sys.stderr)
                plant.kill()
        postgresql.stop(server)
        shutil.rmtree(folder)
    for plant in (a, b):
        shutil.rmtree(plant.dir)


if __name__ == "__main__":
    main()
