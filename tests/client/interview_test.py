"""The interview, driven through a real terminal (a pty) as a person at the desk would."""

import datetime
import fcntl
import json
import os
import pathlib
import pty
import re
import select
import signal
import struct
import termios
import time
import unittest
import zoneinfo

from support import PROGRAM, ClientTest

WAIT_S = 60
SCREENS = pathlib.Path(__file__).resolve().parent / "interview"
CALLS = [  # name, story, what is typed
    ("doubts", "", ["?", "broken", "mold", "yes", "", "-", "sick", "correct email", "stale", "a@b.example", "correct store", "stale",
                    "0417", "correct lot", "yes", "L2 6321 B0412", "correct product", "white pan", "2", "correct phone", "12", "12",
                    "list", "correct 9", "correct symptom", "-", "staling", "help", "?", "done", "list", ""]),
    ("odor", "it smells sour like vinegar", ["?", "no", "63?1", "skip", "back", "", "not sure", "", "", "more", "", ""]),
    ("stopped", "dry and moldy", ["mold", "quit", "no", "no", "done", "exit", "", "quit", "yes"]),
    ("glass", "a piece of glass in the mold", ["list", "6321", "done", ""]),
]


class Terminal:
    """One run of the program on an 80-column terminal; say() answers the prompt."""

    def __init__(self, args, env, columns=80):
        self.text = ""
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            try:
                os.execve(PROGRAM, [PROGRAM, *args], env)
            finally:
                os._exit(127)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))

    def read(self, until):
        """What came since the last call, up to the prompt (or the end)."""
        new = b""
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            if not select.select([self.fd], [], [], 0.1)[0]:
                continue
            try:
                data = os.read(self.fd, 65536)
            except OSError:
                data = b""
            new += data
            if not data or (until and new.endswith(until)):
                break
        else:
            raise AssertionError("no prompt came after: " + new.decode())
        self.text += new.decode().replace("\r\n", "\n")
        return new.decode().replace("\r\n", "\n")

    def prompt(self):
        return self.read(b"> ")

    def say(self, words):
        os.write(self.fd, words.encode() + b"\n")

    def ends(self):
        self.read(None)
        os.close(self.fd)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def ago(days):
    """A day of the plant's: it may be another one where the tests run."""
    return datetime.datetime.now(zoneinfo.ZoneInfo("America/New_York")).date() - datetime.timedelta(days=days)


class Interview(ClientTest):
    def start(self, *args, env=None, columns=80, story=""):
        """`story`: what is said to the first question; None: it is not asked, or by the test."""
        environment = dict(self.env, TERM="xterm", TZ="UTC")
        environment.update(env or {})
        terminal = Terminal(["log", *args], environment, columns)
        self.addCleanup(self.reap, terminal)
        if story is not None:
            self.answers(terminal, ("What does the caller say?", story))
        return terminal

    def reap(self, terminal):
        try:
            os.kill(terminal.pid, signal.SIGKILL)
            os.waitpid(terminal.pid, 0)
            os.close(terminal.fd)
        except OSError:
            pass

    def answers(self, terminal, *answers):
        """Each answer with the words that its question must hold."""
        for question, answer in answers:
            shown = terminal.prompt()
            self.assertIn(question, shown)
            terminal.say(answer)

    def drafts(self):
        return [n for n in os.listdir(self.spool) if n.startswith("draft-") and
                n.endswith(".json")]

    def sent(self):
        return list(self.daemon.complaints.values())

    def test_a_whole_call(self):
        t = self.start()
        self.answers(
            t, ("What is wrong with the bread?", "1"),
            ("Is anyone unwell or hurt", "no"),
            ("The code printed on the bag", "L2 6321 B0412"))
        shown = t.prompt()
        self.assertIn("Read back: lot L2-6321-B0412: the code read is on record. Harrow White 24,",
                      shown)
        self.assertIn("When was it first noticed?", shown)  # the lot is sure: nothing to narrow
        t.say("yesterday")
        shown = t.prompt()
        self.assertIn("= %s, yesterday" % ago(1).strftime("%a %Y-%m-%d"), shown)
        self.assertIn("Where on the loaf is the mold?", shown)  # the daemon's most telling one
        t.say("3")
        # it is enough; who wants to know more asks for more
        self.answers(t, ("phone number", "555 0100"), ("Enter logs it. more: further questions", "more"),
                     ("Where was the bread kept at home?", "bread box"),
                     ("When was it bought?", "2 days ago"), ("Which store", ""), ("name", "correct note"),
                     ("What does the caller say?", "it smells sour"))
        shown = t.prompt()
        self.assertIn('= from the story: Smell: sour ("', shown)
        self.assertIn("correct odor changes it", " ".join(shown.split()))
        t.say("")  # the name
        self.answers(t, ("A mail address?", ""))
        self.assertIn("Enter logs it.", t.prompt())
        t.say("")
        self.assertEqual(t.ends(), 0)
        self.assertIn("Likely causes", t.text)
        complaint = self.sent()[0]
        self.assertRegex(complaint.pop("id"), "^[0-9a-f-]{36}$")
        complaint.pop("received_at")
        self.assertEqual(complaint, {
            "channel": "phone", "symptom": "mold", "harm": [], "lot_text": "L2 6321 B0412",
            "found_on": ago(1).isoformat(), "bought_on": ago(2).isoformat(),
            "observed": {"where": "base", "kept": "counter"}, "note": "it smells sour",
            "contact": {"phone": "555 0100"}})
        self.assertEqual(self.drafts(), [])

    def test_what_stands_on_the_screen(self):
        """Calls whole, as interview/<name>.txt has them. After a change that was meant, PAGES=write writes them anew."""
        self.daemon.doubts = [{"field": "product", "value": "white pan", "says": "fits W20 (White 20), W24 (White 24)",
                               "choices": [{"value": "W20", "says": "White 20"}, {"value": "W24", "says": "White 24"}]}]
        for name, story, said in CALLS:
            with self.subTest(name):
                self.daemon.requests.clear()
                t = self.start(story=story)
                for answer in said:
                    t.prompt()
                    t.say(answer)
                code = t.ends()
                t.text += f"---- {code}\n"
                asked = "".join("{method} {path}\n".format(**one) for one in self.daemon.requests)
                shown = re.sub(r"[0-9a-f]{8}-[0-9a-f-]{4,}", "ID", t.text + asked).replace("\x1b", "^")
                path = SCREENS / f"{name}.txt"
                if os.environ.get("PAGES") == "write":
                    path.write_text(shown)
                self.assertEqual(shown, path.read_text())

    def test_a_plain_complaint_is_soon_told(self):
        """The story is read, and only what it lacks is asked: six questions, thirty keys."""
        t = self.start(story=None)
        keys = questions = 0
        for question, answer in (("What does the caller say?", "mold on top"),
                                 ("Is anyone unwell or hurt", "n"), ("The code printed", "L26321B0412"),
                                 ("When was it first noticed?", ""), ("Where on the loaf", ""),
                                 ("phone number", "")):
            self.answers(t, (question, answer))
            keys += len(answer) + 1
            questions += 1
        self.assertIn("= from the story: mold; correct symptom changes it", t.text)
        self.assertNotIn("What is wrong with the bread?", t.text)
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertLessEqual((questions, keys + 1), (6, 30))
        self.assertEqual(self.sent()[0]["symptom"], "mold")
        last = re.sub(r"\x1b\[[0-9;]*m", "", t.text).rstrip().splitlines()[-24:]
        self.assertTrue(any(line.startswith("Tell the caller") for line in last), last)
        self.assertIn("report", last[-1])
        self.assertNotIn(self.sent()[0]["id"], t.text)

    def test_a_story_of_two_things_or_of_none_is_asked(self):
        for story in ("dry and moldy", "no mold, but", "the store was rude"):
            t = self.start(story=story)
            self.answers(t, ("What is wrong", "mold"), ("Is anyone", "quit"), ("Stop here?", "yes"))
            self.assertEqual(t.ends(), 1)

    def test_a_yes_to_harm_is_asked_which(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone unwell", "yes"), ("Which? The number", ""),
                     ("After a yes it is needed", "-"), ("This one is needed", "done"), ("Is anyone", "sick"))
        self.assertIn("HARM REPORTED", t.prompt())
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        t.ends()
        self.assertEqual(self.sent()[0]["harm"], ["illness"])

    def test_what_is_needed_is_not_taken_away(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "correct symptom"), ("now: mold", "-"),
                     ("This one is needed", "staling"), ("Is anyone", "done"), ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual(self.sent()[0]["symptom"], "staling")

    def test_an_answer_of_another_question_is_doubted(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "correct email"),
                     ("A mail address?", "stale"), ("no mail address", "a@b.example"),
                     ("Is anyone", "correct store"), ("Which store", "stale"),
                     ("an answer to another question", "0417"),
                     ("Is anyone", "correct lot"), ("The code printed", "yes"), ("yes or no, not which", "L2 6321"),
                     ("Is anyone", "done"), ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual((self.sent()[0]["store"], self.sent()[0]["lot_text"]), ("0417", "L2 6321"))

    def test_what_fits_several_is_picked_from_a_list(self):
        self.daemon.doubts = [{"field": "product", "value": "white pan", "says": "fits W20 (White 20), W24 (White 24)",
                               "choices": [{"value": "W20", "says": "White 20"}, {"value": "W24", "says": "White 24"}]}]
        for picked, product in (("2", "W24"), ("", "white pan")):
            t = self.start()
            self.answers(t, ("What is wrong", "mold"), ("Is anyone", "correct product"),
                         ("Which product?", "white pan"), ("2  W24  White 24", picked), ("Is anyone", "done"),
                         ("Enter logs it.", ""))
            self.assertEqual(t.ends(), 0)
            self.assertEqual(self.sent()[-1]["product"], product)

    def test_what_the_story_names_is_picked_from_a_list_once(self):
        self.daemon.doubts = [{"field": "product", "value": "white pan", "says": "fits W20 (White 20), W24 (White 24)",
                               "choices": [{"value": "W20", "says": "White 20"}, {"value": "W24", "says": "White 24"}]}]
        for picked, product in (("2", "W24"), ("", None)):
            t = self.start(story="a loaf of white pan, moldy")
            shown = t.prompt()
            self.assertIn('= from the story: Product told: white pan ("white pan"); correct product', shown)
            self.assertIn("white pan fits several. Which one?", shown)
            t.say(picked)
            self.answers(t, ("Is anyone", "no"))
            shown = t.prompt()
            self.assertNotIn("fits several", shown)
            self.assertNotIn("Which product?", shown)
            t.say("done")
            self.answers(t, ("Enter logs it.", ""))
            self.assertEqual(t.ends(), 0)
            self.assertEqual(self.sent()[-1].get("product"), product)

    def test_every_question_may_be_skipped_but_two(self):
        t = self.start()
        self.answers(t, ("What is wrong", ""), ("This one is needed.", "moldy"))
        for _ in range(30):
            shown = t.prompt()
            t.say("skip" if "Is anyone" in shown else "")
            if "Enter logs it." in shown:
                break
        self.assertEqual(t.ends(), 0)
        self.assertEqual(sorted(self.sent()[0]), ["channel", "id", "received_at", "symptom"])

    def test_done_ends_the_questions(self):
        t = self.start()
        self.answers(t, ("What is wrong", "done"), ("One thing is needed first", "2"),
                     ("Is anyone unwell", "done"), ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual(self.sent()[0]["symptom"], "off-odor")

    def test_back_correct_and_list(self):
        t = self.start()
        self.answers(t, ("What is wrong", "back"), ("What does", "back"), ("This is the first question.", ""),
                     ("What is wrong", "staling"),
                     ("Is anyone unwell", "back"))
        shown = t.prompt()
        self.assertIn("What is wrong", shown)
        self.assertIn("now: staling", shown)
        t.say("mold")
        self.answers(t, ("Is anyone unwell", "not asked"), ("The code printed", "63?1"))
        shown = t.prompt()
        self.assertIn("The lot: not certain: the likeliest lot has 70 %", shown)
        self.assertIn("70 %", shown)
        self.assertIn("Which product?", shown)  # narrows the lot down
        t.say("list")
        shown = t.prompt()
        self.assertRegex(shown, r"3  What is wrong with the bread\? +mold")
        self.assertRegex(shown, r"1  HARM +NOT ASKED")
        self.assertRegex(shown, r"4  The code printed on the bag or the clip.*")
        t.say("correct 4")
        self.answers(t, ("now: 63?1", "6321"))
        shown = t.prompt()
        self.assertIn("Read back: lot L2-6321-B0412", shown)
        t.say("correct 9")
        self.assertIn("Say which one: correct 3", t.prompt())
        t.say("done")
        self.answers(t, ("Enter logs it.", "correct 3"), ("now: mold", "staling"))
        t.prompt()
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual((self.sent()[0]["symptom"], self.sent()[0]["lot_text"]),
                         ("staling", "6321"))

    def test_an_answer_not_understood_is_asked_again(self):
        t = self.start("--lot", "6321")
        self.answers(t, ("What is wrong", "broken"),
                     ("Not taken: not one of mold off-odor staling", "mold"),
                     ("Is anyone unwell", "?"), ("Ask it in these words", "5, 1"))
        shown = t.prompt()
        self.assertIn("= illness (somebody felt or feels unwell)", shown.replace("\n    ", " ")
                      .replace("tampering (the pack looks opened or altered on purpose), ", ""))
        t.say("tomorrow")
        self.answers(t, ("Not taken: is in the future", "11/19/2099"),
                     ("Not taken: is in the future", "Mon"))
        self.assertRegex(t.prompt(), r"= Mon 20\d\d-\d\d-\d\d, (\d days ago|today|yesterday)")
        t.say("quit")
        self.answers(t, ("Stop here?", "yes"))
        self.assertEqual(t.ends(), 1)
        self.assertEqual((self.sent(), self.drafts()), ([], []))

    def test_not_knowing_is_an_answer(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", ""),
                     ("This one is answered: yes or no", "not sure"), ("= HARM: NOT ASKED", "I can't read it"), ("left open", "done"),
                     ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertNotIn("lot_text", self.sent()[0])
        self.assertNotIn("harm", self.sent()[0])
        self.assertRegex(t.text, r"(?s)not asked.*1  HARM +NOT ASKED.*Enter logs it")

    def test_a_wrong_label_is_harm_however_it_is_told(self):
        """Picked as something else and asked, typed as what is wrong, or told in the story's words."""
        for story, answers in (("", (("What is wrong", "4"), ("label another product's", ""),
                                     ("This one is answered", "wrong label"))),
                               ("", (("What is wrong", "wrong label"),)),
                               ("it has the wrong label", ())):
            t = self.start(story=story)
            self.answers(t, *answers)
            self.assertIn("HARM REPORTED", t.prompt())
            t.say("done")
            self.assertRegex(t.prompt(), r"1  HARM +wrong-label")
            t.say("")
            self.assertEqual(t.ends(), 0)
            self.assertEqual((self.sent()[-1]["symptom"], self.sent()[-1]["harm"]), ("other", ["wrong-label"]))

    def test_harm_in_the_story_is_read_out_before_anything_is_asked(self):
        t = self.start(story="my son vomited")
        shown = t.prompt()
        self.assertLess(shown.index("HARM REPORTED"), shown.index("What is wrong with the bread?"))
        t.say("mold")
        t.prompt()
        t.say("done")
        self.assertRegex(t.prompt(), r"1  HARM +illness, from the story")
        t.say("correct 1")
        self.answers(t, ("Is anyone unwell", "injury"))
        t.prompt()
        t.say("done")
        self.answers(t, ("1  HARM", ""))
        t.ends()
        self.assertEqual(self.sent()[0]["harm"], ["injury"])

    def test_all_harm_of_the_story_is_listed(self):
        t = self.start(story="bit on metal, tooth is chipped")
        self.answers(t, ("What is wrong", "mold"))
        t.prompt()
        t.say("done")
        shown = " ".join(t.prompt().split())
        self.assertIn('HARM foreign-matter, from the story ("bit on metal"); injury, from the story ("tooth is chipped")', shown)
        t.say("")
        t.ends()

    def test_a_sentence_for_the_symptom_is_kept_and_heard(self):
        t = self.start()
        said = "moldy, and the little girl vomited after eating it"
        self.answers(t, ("What is wrong", said))
        self.assertIn("HARM REPORTED. Read out", t.prompt())
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        t.ends()
        self.assertEqual((self.sent()[0]["symptom"], self.sent()[0]["note"]), ("mold", said))
        t = self.start()  # of which no symptom can be taken
        said = "the little girl vomited after eating it"
        self.answers(t, ("What is wrong", said))
        shown = t.prompt()
        self.assertIn("HARM REPORTED. Read out", shown)
        t.say("mold")
        t.prompt()
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        t.ends()
        self.assertEqual(self.sent()[1]["note"], said)

    def test_what_the_story_gave_is_listed_and_reached_by_its_number(self):
        t = self.start(story="mold, and it smells sour")
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "n"))
        t.prompt()
        t.say("done")
        shown = t.prompt()
        number = re.search(r"(\d)  What does it smell or taste of\? +sour, from the story", shown)
        self.assertTrue(number, shown)
        t.say("correct " + number.group(1))
        self.answers(t, ("What does it smell", "musty"))
        t.prompt()
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual(self.sent()[0]["observed"], {"odor": ["musty"]})

    def test_harm_that_was_told_is_not_left_behind_in_silence(self):
        """Broken off, thrown away or for later: it is said, by status and by the next log too."""
        told = "HARM was told and nobody has been mailed: phone the food-safety lead"
        for story, answers in (("my son vomited", ()), ("", (("What is wrong", "mold"), ("Is anyone", "1"))),
                               ("", (("What is wrong", "mold"), ("Is anyone", "y")))):
            t = self.start(story=story)
            self.answers(t, *answers)
            t.prompt()
            os.write(t.fd, b"\x03")
            self.assertEqual(t.ends(), 130)
            self.assertIn(told, t.text)
            status = self.run_client("status")[1]
            self.assertIn(told, " ".join(status.split()))
            t = self.start(story=None)
            shown = " ".join(t.prompt().split())
            self.assertIn(told, shown)
            self.assertIn("was not finished (HARM, ", shown)
            t.say("log")
            if "y" in (answer for _, answer in answers):
                self.answers(t, ("Is anyone unwell", "ill"))
            self.assertEqual(t.ends(), 0)
            self.assertTrue("note" in self.sent()[-1] or self.sent()[-1]["harm"] == ["illness"])
            self.assertNotIn("harm_told", self.sent()[-1])
            self.assertEqual(self.drafts(), [])
        t = self.start(story="my son vomited")
        self.answers(t, ("What is wrong", "quit"))
        self.assertIn(told, " ".join(t.prompt().split()))
        t.say("later")
        self.assertEqual(t.ends(), 1)
        self.assertGreaterEqual(" ".join(t.text.split()).count(told), 2)

    def test_harm_is_first_and_its_words_are_read_out_at_once(self):
        self.daemon.script = "Words of the plant: see a doctor."
        self.daemon.alarm = "no mail is set up: phone the lead"
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone unwell", "illness"))
        shown = t.prompt()
        self.assertIn("HARM REPORTED. Read out to the caller:", shown)
        self.assertIn("Words of the plant: see a doctor.", shown)
        self.assertIn("food-safety lead", shown)
        self.assertIn("No mail is set up: phone the lead.", shown)
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        t.ends()
        self.assertNotIn("Packed too hot", t.text)
        self.assertEqual(self.sent()[0]["harm"], ["illness"])
        last = " ".join(t.text.split()).rindex("HARM REPORTED. Read out to the caller:")
        self.assertNotIn("Cautions", " ".join(t.text.split())[last:])
        self.assertIn("No mail is set up: phone the lead.", t.text.rstrip().splitlines()[-1])

    def test_an_answer_to_another_question_is_asked_again(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "no"), ("The code printed", ""),
                     ("Which product?", "next friday"), ("reads like a date", "W24"))
        t.prompt()
        for line in ("back", "Mon"):  # said twice, it is meant
            t.say(line)
            t.prompt()
        t.say("Mon")
        t.prompt()
        t.say("correct email")
        self.answers(t, ("A mail address?", "not a mail address"),
                     ("no mail address", "ann@mill.example"))
        t.prompt()
        t.say("correct phone")
        self.answers(t, ("to call back?", "home"), ("no phone number", "555 0100"))
        t.prompt()
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        sent = self.sent()[0]
        self.assertEqual(sent["product"], "Mon")
        self.assertEqual(sent["contact"], {"email": "ann@mill.example", "phone": "555 0100"})

    def test_a_note_nobody_has_read_is_said_to_be_unread(self):
        self.away()
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("cannot reach the daemon", "no"))
        t.prompt()
        t.say("correct note")
        self.answers(t, ("What does the caller say?", "my son vomited"))
        self.assertIn("Nobody has read this for harm", t.prompt())

    def test_a_likely_duplicate_is_offered_not_merged(self):
        self.daemon.similar = [{"complaint": "01a1f94e-9840-7000-8000-000000000001",
                                "received_at": "2026-11-20T09:14:00-05:00",
                                "why": "same phone, same lot"}]
        first = self.daemon.similar[0]["complaint"]
        for said, confirm, same_as in (("same", "Enter joins it to", first),
                                       ("1", "Enter joins it to", first),
                                       ("", "Enter logs it.", None),
                                       ("no", "Enter logs it.", None)):
            t = self.start()
            self.answers(t, ("What is wrong", "mold"), ("Is anyone", "done"),
                         ("Perhaps it was logged already:", "perhaps"), ("a number of", said),
                         (confirm, ""))
            self.assertEqual(t.ends(), 0)
            self.assertEqual(self.sent()[-1].get("same_as"), same_as)
        self.assertIn("received 2026-11-20 09:14", t.text)
        self.assertIn("same phone, same lot", " ".join(t.text.split()))

    def test_what_was_joined_in_haste_is_logged_apart(self):
        self.daemon.similar = [{"complaint": "01a1f94e-9840-7000-8000-000000000001",
                                "received_at": "2026-11-20T09:14:00-05:00", "why": "same phone"}]
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "done"),
                     ("Perhaps it was logged already:", "same"), ("Enter joins it to", "apart"),
                     ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertNotIn("same_as", self.sent()[0])

    def test_without_a_daemon_the_usual_questions_and_the_spool(self):
        self.away()
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("cannot reach the daemon", "no"))
        self.assertIn("Going on with the usual questions", t.text)
        self.answers(t, ("The code printed", "6321"), ("Which product?", ""),
                     ("best-by date", "11/27"), ("Which store", ""), ("first noticed", "Mon"),
                     ("phone number", "done"), ("Enter logs it.", "more"), ("Where on the loaf", "cut"),
                     ("What colour", "green"),
                     ("Where was the bread kept", "1"), ("wet or fogged", "y"),
                     ("How was the bag", "done"), ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 3)
        self.assertIn("Tell the caller:", t.text)
        self.assertEqual(len(self.waiting()), 1)
        self.assertEqual(self.drafts(), [])
        self.serve()
        self.run_client("log", "--replay")
        self.assertEqual(self.sent()[0]["observed"], {
            "where": "cut-face", "colour": "blue-green", "kept": "counter",
            "wet_inside_bag": True})

    def test_the_daemon_comes_and_goes(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "n"))
        t.prompt()
        self.away()
        t.say("6321")
        self.answers(t, ("cannot reach the daemon", "done"))
        self.serve()
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual(len(self.sent()), 1)

    def test_a_cut_connection_keeps_the_answers(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "n"), ("The code printed", "6321"))
        t.prompt()
        os.close(t.fd)  # the terminal is gone
        os.waitpid(t.pid, 0)
        self.assertEqual(len(self.drafts()), 1)
        t = self.start(story=None)
        self.answers(t, ("was not finished (mold, lot 6321)", "yes"), ("What does", ""), ("first noticed", "done"),
                     ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertEqual(self.sent()[0]["lot_text"], "6321")
        self.assertEqual(self.drafts(), [])

    def test_quit_can_keep_it_for_later(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "quit"), ("Stop here?", ""),
                     ("Is anyone", "quit"), ("Stop here?", "later"))
        self.assertEqual(t.ends(), 1)
        t = self.start(story=None)
        self.answers(t, ("was not finished", "throw"), ("What does", ""), ("What is wrong", "quit"),
                     ("Stop here?", "yes"))
        self.assertEqual(t.ends(), 1)
        self.assertEqual(self.drafts(), [])

    def test_two_desks_do_not_take_each_others_draft(self):
        first = self.start()
        self.answers(first, ("What is wrong", "mold"))
        first.prompt()
        second = self.start()
        shown = second.prompt()
        self.assertNotIn("was not finished", shown)

    def test_control_c(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"))
        t.prompt()
        os.write(t.fd, b"\x03")
        self.assertEqual(t.ends(), 130)
        self.assertIn("The answers so far are kept", t.text)
        self.assertEqual(len(self.drafts()), 1)

    def test_the_end_of_input_is_no_decision(self):
        t = self.start()
        self.answers(t, ("What is wrong", "mold"))
        t.prompt()
        os.write(t.fd, b"\x04\x04")
        self.assertEqual(t.ends(), 1)
        self.assertEqual(len(self.drafts()), 1)

    def test_what_the_daemon_refuses_can_be_corrected(self):
        t = self.start("--product", "NOPE")
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "done"), ("Enter logs it.", ""),
                     ("no such product", "correct product"), ("now: NOPE", "-"))
        t.prompt()
        t.say("done")
        self.answers(t, ("Enter logs it.", ""))
        self.assertEqual(t.ends(), 0)
        self.assertNotIn("product", self.sent()[0])

    def test_what_the_daemon_leaves_out_is_not_asked(self):
        """It ranked the complaint and has no question left: none could change anything. Without it the usual ones are."""
        self.daemon.ask = []
        t, asked = self.start("--lot", "L2 6321 B0412"), ""
        for _ in range(12):
            shown = t.prompt()
            asked += shown
            if "Enter logs it." in shown:
                break
            t.say("mold" if "What is wrong" in shown else "n" if "Is anyone" in shown else "")
        self.assertIn("call back", asked)
        for question in ("Where on the loaf", "What colour", "Where was the bread kept"):
            self.assertNotIn(question, asked)

    def test_a_return_asks_for_its_own(self):
        self.daemon.ask = []
        t = self.start("--channel", "return", "--lot", "6321")
        for _ in range(30):
            shown = t.prompt()
            if "Enter logs it." in shown:
                t.say("")
                break
            if "What is wrong" in shown:
                t.say("mold")
            elif "How many units came back?" in shown:
                t.say("40")
            elif "Anything measured" in shown:
                t.say("crumb_ph=5.9")
            elif "Where do the goods stand now?" in shown:
                self.assertIn("never stand near cooling, slicing or packing", shown)
                t.say("returns-dock")
            elif "Is anyone unwell" in shown:
                t.say("n")
            else:
                t.say("")
        self.assertEqual(t.ends(), 0)
        sent = self.sent()[0]
        self.assertEqual((sent["units"], sent["measured"], sent["put_at"]),
                         (40, {"crumb_ph": 5.9}, "returns-dock"))

    def test_lines_fit_and_move_no_cursor(self):
        t = self.start("--note", "it smells sour", story=None)
        self.answers(t, ("Is anyone", "1"), ("The code", "63?1"),
                     ("Which product?", "?"), ("", "list"), ("", "done"), ("Enter logs", ""))
        t.ends()
        plain = re.sub(r"\x1b\[[0-9;]*m", "", t.text)
        self.assertNotIn("\x1b", plain)
        self.assertNotIn("\r", plain.replace("\r\n", "\n"))
        for line in plain.splitlines():
            self.assertLessEqual(len(line), 80, line)

    def test_no_color(self):
        for env in ({"NO_COLOR": "1"}, {"TERM": "dumb"}):
            t = self.start(env=env)
            self.answers(t, ("What is wrong", "quit"), ("Stop here?", "yes"))
            t.ends()
            self.assertNotIn("\x1b", t.text)

    def test_a_narrow_terminal(self):
        t = self.start(columns=50)
        time.sleep(0.1)
        self.answers(t, ("What is wrong", "mold"), ("Is anyone", "quit"), ("Stop", "yes"))
        t.ends()
        for line in re.sub(r"\x1b\[[0-9;]*m", "", t.text).splitlines()[3:]:
            self.assertLessEqual(len(line), 80, line)

    def test_json_leaves_stdout_to_the_document(self):
        out = os.path.join(self.folder, "out")
        env = dict(self.env, TERM="xterm")
        pid, fd = pty.fork()
        if pid == 0:
            os.dup2(os.open(out, os.O_WRONLY | os.O_CREAT), 1)
            os.execve(PROGRAM, [PROGRAM, "--json", "log"], env)
        for answer in ("mold", "done", ""):
            os.read(fd, 65536)
            time.sleep(0.3)
            os.write(fd, answer.encode() + b"\n")
        end = time.monotonic() + WAIT_S
        try:
            while time.monotonic() < end and os.read(fd, 65536):
                pass
        except OSError:
            pass
        self.assertEqual(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), 0)
        os.close(fd)
        with open(out, encoding="utf-8") as f:
            self.assertEqual(json.loads(f.read())["case"], "C1")


if __name__ == "__main__":
    unittest.main()
