"""Mail under bad luck: programs that hang, die, flood us, refuse for now or for good or are not there,
addresses that are none, nobody set up at all, a daemon killed between two of them. What reports harm
leaves at once, whatever hangs, and in the end everything leaves.
usage: test_mail.py BINARIES [threads | rest | NAME of one check]"""
import concurrent.futures
import email
import email.policy
import json
import pathlib
import signal
import subprocess
import sys
import time
import traceback

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, until  # noqa: E402

BINARIES = sys.argv[1]
SOON_S = 20.0  # on a busy machine; who waits for a program that hangs waits for a minute

# Takes a message for one recipient. What it does then is in the file do.RECIPIENT, or do.urgent,
# do.case by the message's subject; the message is kept if that is nothing.
PROGRAM = """#!/bin/sh
box={box}
for to; do :; done
cat >"$box/.coming.$$"
kind=case
grep -q '^Subject:.*URGENT' "$box/.coming.$$" && kind=urgent
act=
[ -e "$box/do.$kind" ] && act=$(cat "$box/do.$kind")
[ -e "$box/do.$to" ] && act=$(cat "$box/do.$to")
: >"$box/tried.$kind.$to.$$"
case $act in
  hang) exec sleep 1000 ;;
  die) kill -9 $$ ;;
  flood) yes 'no room here' | head -c 4000000 >&2; exit 75 ;;
  [0-9]*) echo "told to" >&2; exit "$act" ;;
esac
mv "$box/.coming.$$" "$box/$to.$kind.$$.eml"
[ "$act" = murder ] && rm "$box/do.$to" && kill -9 $PPID
exit 0
"""


class Post:
    """A plant whose mail program is a fake, and that program's box."""

    def __init__(self, hook=None, **mail):
        self.plant = Plant(BINARIES)
        self.box = self.plant.dir / "box"
        self.box.mkdir()
        self.program = self.write("mail-program", PROGRAM)
        self.plant.config["mail"] = {"program": str(self.program), "from": "oddloaf@mill.example",
                                     "to": ["qa@mill.example"],
                                     "urgent_to": ["lead@mill.example", "deputy@mill.example"],
                                     "retry_s": 1, **mail}
        if hook:
            self.plant.config["hook"] = {"program": str(self.write("hook-program", hook))}

    def write(self, name, text):
        path = self.plant.dir / name
        path.write_text(text.format(box=self.box))
        path.chmod(0o755)
        return path

    def __enter__(self):
        self.plant.start()
        return self

    def __exit__(self, kind, *_):
        code, said = self.plant.stop(), self.plant.log_text()
        self.plant.__exit__()
        assert kind or (code == 0 and "Sanitizer" not in said), (code, said)

    def do(self, what, act):
        path = self.box / f"do.{what}"
        path.write_text(act) if act else path.unlink()

    def mails(self, to="*", kind="*"):
        found = []
        for path in self.box.glob(f"{to}.{kind}.*.eml"):
            found.append(email.message_from_bytes(path.read_bytes(), policy=email.policy.default))
        return found

    def tried(self, to="*", kind="*"):
        return len(list(self.box.glob(f"tried.{kind}.{to}.*")))

    def log(self, **more):
        status, answer = self.plant.post("/v1/complaints", complaint(**more))
        assert status == 201, answer
        return answer

    def harm(self):
        return self.log(harm=["illness"])

    def outbox(self):
        return self.plant.get("/v1/status")[1]["outbox"]

    def reload(self):
        (self.plant.dir / "config.json").write_text(json.dumps(self.plant.config))
        before = self.plant.log_text()
        self.plant.daemon.send_signal(signal.SIGHUP)
        until(lambda: "reload" in self.plant.log_text()[len(before):], "a word about the reload")
        return self.plant.log_text()[len(before):]

    def check(self):
        (self.plant.dir / "config.json").write_text(json.dumps(self.plant.config))
        return subprocess.run([self.plant.binaries / "oddloafd", "--config",
                               self.plant.dir / "config.json", "--rules", self.plant.rules,
                               "--check"], capture_output=True, text=True, timeout=300)


def check_past_hanging_programs():
    """Sixteen mails about cases hang: what reports harm leaves all the same."""
    with Post() as post:
        post.do("case", "hang")
        for _ in range(16):
            post.log()
        until(lambda: post.tried(kind="case"), "a program that hangs")
        post.harm()
        until(lambda: len(post.mails(kind="urgent")) == 2, "both urgent mails", SOON_S)


def check_past_hanging_urgent_ones():
    """Sixteen urgent mails hang for one address: the other gets each at once, and so does the first
    the next one that doesn't hang."""
    with Post() as post:
        post.do("lead@mill.example", "hang")
        for _ in range(16):
            post.harm()
        until(lambda: len(post.mails("deputy@mill.example")) == 16, "the deputy's", SOON_S)
        until(lambda: post.tried("lead@mill.example") == 16, "the lead's, which hang")
        post.do("lead@mill.example", None)
        post.harm()
        until(lambda: post.mails("lead@mill.example", "urgent"), "the lead's next", SOON_S)


def check_many_past_one_that_hangs():
    """Forty reports while one address hangs: the other has all of them at once."""
    with Post() as post:
        post.do("lead@mill.example", "hang")
        for _ in range(40):
            post.harm()
        until(lambda: len(post.mails("deputy@mill.example")) == 40, "the deputy's", SOON_S)
        assert not post.mails("lead@mill.example"), "the lead's program hangs"


def check_harm_in_a_repeat():
    """The same id again, now with harm: it contradicts what is on record, where the harm stands from then on, so that the
    next is no contradiction; the alarm is raised once."""
    with Post() as post:
        first = complaint()
        for harm, status, alarm in ([], 201, None), (["illness"], 409, "goes out"), (["illness"], 200, "was queued"):
            said, answer = post.plant.post("/v1/complaints", {**first, "harm": harm})
            assert said == status, answer
            assert alarm is None or alarm in answer["alarm"], answer
        until(lambda: len(post.mails(kind="urgent")) == 2, "an urgent mail to both", SOON_S)
        post.plant.wait_idle()
        assert len(post.mails(kind="urgent")) == 2, "once each"


def check_each_address_by_itself():
    """One address is refused for good: urgent mail goes on trying it, the other is not held up."""
    with Post() as post:
        post.do("lead@mill.example", "67")
        post.harm()
        until(lambda: post.mails("deputy@mill.example", "urgent"), "the other's mail", SOON_S)
        until(lambda: post.tried("lead@mill.example") >= 2, "a second try")
        assert post.outbox()["parked"] == 0, post.outbox()
        assert "told to" in post.outbox()["last_error"], post.outbox()
        assert post.outbox()["urgent"] == 1, post.outbox()
        needs = lambda: [need["what"] for need in post.plant.get("/v1/status")[1]["needs"]]
        assert "urgent-mail" in needs(), needs()  # at once: it was tried, and has not left
        post.do("lead@mill.example", None)
        until(lambda: post.mails("lead@mill.example", "urgent"), "the refused one's mail")
        until(lambda: "urgent-mail" not in needs(), "it has left, and no hand is needed")
        assert len(post.mails("deputy@mill.example", "urgent")) == 1, "once each"
        ids = {mail["Message-ID"] for mail in post.mails(kind="urgent")}
        assert len(ids) == 1, ids
        post.plant.wait_idle()


def check_bad_luck_of_each_kind():
    """A program that dies, floods, says 75: tried again, the same Message-ID arrives in the end."""
    luck = {"a@mill.example": "die", "b@mill.example": "flood", "c@mill.example": "75"}
    with Post(to=list(luck), urgent_to=list(luck)) as post:
        for to, act in luck.items():
            post.do(to, act)
        post.harm()
        until(lambda: all(post.tried(to, kind) for to in luck for kind in ("urgent", "case")),
              "a try of each")
        assert not post.mails()
        for to in luck:
            post.do(to, None)
        until(lambda: len(post.mails()) == 6, "all six mails")
        post.plant.wait_idle()
        assert len(post.mails()) == 6, "each once"
        for kind in ("urgent", "case"):
            assert len({mail["Message-ID"] for mail in post.mails(kind=kind)}) == 1


def check_a_mail_program_that_is_not_there():
    """Gone after the start: urgent mail waits for it; the daemon says so."""
    with Post() as post:
        away = post.program.rename(post.program.with_name("away"))
        post.harm()
        until(lambda: "cannot run" in (post.outbox()["last_error"] or ""), "the failure")
        faults = post.plant.get("/v1/status")[1]["mail"]["faults"]
        assert "mail/program" in faults[0], faults
        assert "mail/program" in post.plant.client("status").stdout
        away.rename(post.program)
        until(lambda: len(post.mails(kind="urgent")) == 2, "both urgent mails")


def check_parked_mail_is_due_again():
    """Refused for good, an ordinary mail is parked; a start, and a reload, send it."""
    for again in ("start", "reload"):
        with Post() as post:
            post.do("case", "67")
            post.log()
            until(lambda: post.outbox()["parked"] == 1, "a parked mail")
            post.do("case", None)
            if again == "start":
                post.plant.stop()
                post.plant.start()
            else:
                post.reload()
            until(lambda: post.mails(kind="case"), "the parked mail")
            post.plant.wait_idle()
            assert post.outbox()["sent"] == 1 and post.outbox()["parked"] == 0, post.outbox()


def check_the_outbox_lists_and_sends():
    """What is stuck is listed with its reason; QA sends it by its number, or all of it."""
    with Post() as post:
        post.do("case", "67")
        post.do("lead@mill.example", "75")
        post.plant.config["mail"]["retry_s"] = 3600
        post.reload()
        case = post.harm()["case"]
        until(lambda: (post.outbox()["parked"], post.outbox()["waiting"]) == (1, 1), "both stuck")
        post.log()
        until(lambda: post.outbox()["parked"] == 2, "the next parked")
        listed = post.plant.client_json("outbox")["mails"]
        assert [(m["event"], m["state"]) for m in listed] == [
            ("urgent", "waiting"), ("case", "parked"), ("case", "parked")], listed
        urgent, first, second = listed
        assert urgent["case"] == first["case"] == case and second["case"] != case
        assert sorted(urgent["to"]) == ["deputy@mill.example", "lead@mill.example"], urgent
        assert urgent["attempts"] == 1 and urgent["last_error"].endswith("exited 75: told to")
        shown = post.plant.client("outbox").stdout
        assert "deputy@mill.example: sent" in shown and "lead@mill.example: waiting" in shown, shown
        post.do("case", None)
        post.do("lead@mill.example", None)
        post.plant.client("outbox", "--send", str(first["id"]), check=0)
        until(lambda: post.outbox()["sent"] == 1, "the one sent by its number")
        assert len(post.mails(kind="case")) == 1
        post.plant.client("outbox", "--send", str(first["id"]), check=1)
        post.plant.client("outbox", "--send", "999", check=5)
        post.plant.client("outbox", "--send", "some", check=2)
        assert post.plant.client_json("outbox", "--send", "all") == {"due": 2}
        until(lambda: post.outbox()["sent"] == 3, "all of it")
        listed = post.plant.client_json("outbox")["mails"]
        assert [m["state"] for m in listed] == ["sent"] * 3, listed


def check_killed_between():
    """Killed after the program took the message and before we knew: sent again, same Message-ID."""
    with Post() as post:
        post.do("lead@mill.example", "murder")
        try:
            post.harm()
        except (OSError, AssertionError):
            pass
        post.plant.daemon.wait(60)
        post.plant.log.close()
        assert len(post.mails("lead@mill.example")) == 1
        post.plant.start()
        until(lambda: len(post.mails("lead@mill.example", "urgent")) == 2, "the second time")
        until(lambda: post.mails("deputy@mill.example", "urgent"), "the deputy's")
        assert len({mail["Message-ID"] for mail in post.mails(kind="urgent")}) == 1


def check_nobody_set_up():
    """Nothing is marked sent, everybody is told, and all leaves once there is an address."""
    for again in ("start", "reload"):
        with Post(to=[], urgent_to=[]) as post:
            answer = post.harm()
            assert answer["alarm"] == "no mail is set up: phone the food-safety lead", answer
            shown = post.plant.client("log", "--from", "-", stdin=json.dumps(
                complaint(harm=["injury"]))).stdout
            assert "no mail is set up: phone the food-safety lead" in shown.lower().replace(
                "\n  ", " "), shown
            assert "goes out" not in shown, shown
            until(lambda: post.plant.get("/v1/status")[1]["work"]["rank"] == 0, "rankings")
            assert post.outbox()["sent"] == 0 and post.outbox()["waiting"] == 4, post.outbox()
            assert "No mail is set up" in post.plant.client("status").stdout
            assert "no mail is set up" in post.plant.log_text()
            checked = post.check()
            assert checked.returncode == 0 and "no mail is set up" in checked.stdout, checked
            post.plant.config["mail"]["to"] = ["qa@mill.example"]
            if again == "start":
                post.plant.stop()
                post.plant.start()
            else:
                post.reload()
            until(lambda: len(post.mails("qa@mill.example")) == 4, "what waited")
            post.plant.wait_idle()
            assert post.outbox()["sent"] == 4, post.outbox()
            answer = post.harm()
            assert answer["alarm"] == "an urgent mail goes out at once", answer


def check_malformed_addresses():
    """Named by --check with key and value, refused by a reload, and no bar to the others."""
    wrong = {"to": ["qa@mill.example", "Q A <qa@mill.example>"],
             "urgent_to": ["lead@mill.example", "-oQ/tmp@mill.example"],
             "digest_to": ["boss@mill..example"]}
    with Post(**wrong) as post:
        checked = post.check()
        assert checked.returncode == 78, checked
        for key, values in wrong.items():
            assert f"mail/{key} '{values[-1]}'" in checked.stderr, checked.stderr
            assert f"mail/{key} '{values[-1]}'" in post.plant.log_text()
        assert len(post.plant.get("/v1/status")[1]["mail"]["faults"]) == 3
        post.harm()
        until(lambda: post.mails("lead@mill.example", "urgent"), "the sound address's", SOON_S)
        until(lambda: post.mails("qa@mill.example", "case"), "QA's")
        post.plant.wait_idle()
        assert len(post.mails()) == 2 == post.outbox()["sent"], (post.mails(), post.outbox())


def check_a_reload_refuses():
    """What --check names keeps the old settings in force."""
    wrong = ({"mail": {"to": ["qa@mill.example", "qa at mill.example"]}},
             {"mail": {"from": "mill.example"}},
             {"mail": {"program": "/nowhere/sendmail"}},
             {"mail": {"program": "/usr"}},
             {"mail": {"program": "sendmail"}},
             {"hook": {"program": None}})
    with Post() as post:
        text = post.plant.dir / "hook-text"
        text.write_text("no program")
        wrong[-1]["hook"]["program"] = str(text)
        sound = json.loads(json.dumps(post.plant.config))
        for part in wrong:
            (group, setting), = part.items()
            (name, value), = setting.items()
            post.plant.config = {**sound, group: {**sound.get(group, {}), name: value}}
            value = value[-1] if isinstance(value, list) else value
            checked = post.check()
            assert checked.returncode == 78, (part, checked)
            assert f"{group}/{name} '{value}'" in checked.stderr, checked.stderr
            assert "refused" in post.reload(), part
            assert value in post.plant.get("/v1/status")[1]["rules"]["last_error"]
        post.harm()
        until(lambda: len(post.mails()) == 3, "mails by the old settings")


def check_the_hook_by_itself():
    """A hook that refuses or hangs holds up no mail, and no mail is sent twice for its sake."""
    with Post(hook="#!/bin/sh\ncat >/dev/null\n: >{box}/hook.$1.$$\n"
                   "[ -e {box}/hook.ok ] && exit 0\n[ $1 = case ] && exec sleep 1000\nexit 75\n"
              ) as post:
        post.harm()
        until(lambda: len(post.mails()) == 3, "all mails")
        until(lambda: len(list(post.box.glob("hook.urgent.*"))) >= 2, "a second try of the hook")
        assert len(post.mails()) == 3, "each once"
        assert post.outbox()["sent"] == 0, "the hook has not had them"
        (post.box / "hook.ok").touch()
        until(lambda: post.outbox()["sent"] >= 1, "the urgent one done")


CHECKS = [value for name, value in list(globals().items()) if name.startswith("check_")]
# where senders hang, die or end under each other: what the sanitizer of threads is asked about
THREADS = [check_past_hanging_programs, check_past_hanging_urgent_ones, check_bad_luck_of_each_kind,
           check_killed_between, check_a_reload_refuses, check_the_hook_by_itself]


def chosen(word):
    if word in ("threads", "rest"):
        return [check for check in CHECKS if (check in THREADS) == (word == "threads")]
    return [check for check in CHECKS if word in check.__name__]


def timed(check):
    began = time.monotonic()
    try:
        check()
        said = "ok"
    except Exception:
        said = traceback.format_exc()
    print(f"{check.__name__}: {said}, {time.monotonic() - began:.1f} s", flush=True)
    return said == "ok"


# Each waits for its own daemon most of the time, hanging programs and stops: several wait at once.
with concurrent.futures.ThreadPoolExecutor(3) as crowd:
    passed = list(crowd.map(timed, chosen(sys.argv[2] if sys.argv[2:] else "check")))
sys.exit(0 if passed and all(passed) else 1)
