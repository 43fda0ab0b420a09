"""`oddloaf log` without a terminal: options, files, the spool and its replay."""

import json
import os
import pathlib
import re
import signal
import subprocess
import time
import unittest

import fake_daemon
from support import PROGRAM, ClientTest

UUID7 = r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"
ROW = {"id": "01a1f94e-9840-7000-8000-%012d", "received_at": "2026-11-20T09:14:00-05:00",
       "channel": "phone", "symptom": "mold", "lot_text": "L2 6321"}


def row(number, **more):
    complaint = dict(ROW, id=ROW["id"] % number)
    complaint.update(more)
    return complaint


def lines(*rows):
    return "".join(json.dumps(r) + "\n" for r in rows)


class Options(ClientTest):
    def test_a_best_by_date_is_read_back_before_what_is_said(self):
        _, out, _ = self.run_client("log", "--symptom", "mold", "--code-date", "2026-11-27")
        self.assertRegex(out, r"\ADate on bag: Fri 2026-11-27")
        self.assertNotIn("Date on bag", self.run_client("log", "--symptom", "mold")[1])

    def test_options_become_the_complaint(self):
        code, documents = self.json(
            "log", "--symptom", "mould", "--lot", "L2 6321", "--product", "W24", "--code-date",
            "2026-11-27", "--store", "0417", "--route", "R4", "--bought", "2026-11-16", "--found",
            "2026-11-19", "--colour", "green", "--where", "top", "--spots", "four", "--bag", "ok",
            "--kept", "cupboard", "--opened-days", "1", "--wet-inside", "yes", "--packs", "2",
            "--odor", "sour", "--odor", "cheesy", "--harm", "no", "--note", "it was fuzzy",
            "--name", "A Caller", "--phone", "555 0100", "--channel", "store",
            "--received-at", "2026-11-20T09:14:00-05:00")
        self.assertEqual(code, 0)
        sent = json.loads(self.daemon.bodies("/v1/complaints")[0])
        self.assertRegex(sent.pop("id"), UUID7)
        self.assertEqual(sent, {
            "symptom": "mold", "lot_text": "L2 6321", "product": "W24",
            "code_date": "2026-11-27", "store": "0417", "route": "R4", "bought_on": "2026-11-16",
            "found_on": "2026-11-19", "packs": 2, "harm": [], "note": "it was fuzzy",
            "channel": "store", "received_at": "2026-11-20T09:14:00-05:00",
            "observed": {"colour": "blue-green", "where": "top-crust", "spots": 4, "bag": "sound",
                         "kept": "counter", "opened_days": 1, "wet_inside_bag": True,
                         "odor": ["sour", "cheesy"]},
            "contact": {"name": "A Caller", "phone": "555 0100"}})
        self.assertEqual(documents[0]["case"], "C1")
        self.assertEqual([c["cause"] for c in documents[0]["ranked"]],
                         ["packed-hot", "inhibitor-underdosed", "warm-storage"])

    def test_what_is_not_said_is_not_sent(self):
        self.ok("log", "--symptom", "mold")
        sent = json.loads(self.daemon.bodies("/v1/complaints")[0])
        self.assertEqual(sorted(sent), ["channel", "id", "received_at", "symptom"])
        self.assertRegex(sent["received_at"], r"^20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d-0[45]:00$")

    def test_dates_count_from_the_day_of_receipt(self):
        self.ok("log", "--symptom", "mold", "--found", "yesterday", "--received-at",
                "2031-11-20T09:14:00-05:00")
        sent = json.loads(self.daemon.bodies("/v1/complaints")[0])
        self.assertEqual(sent["found_on"], "2031-11-19")

    def test_a_return(self):
        self.ok("log", "--symptom", "mold", "--channel", "return", "--units", "40", "--measured",
                "crumb_ph=5.9,crumb_aw=0.95", "--reason", "mold at the store", "--put-at",
                "returns-dock", "--disposition", "destroy", "--inspected-at",
                "2026-11-20T10:00:00-05:00")
        sent = json.loads(self.daemon.bodies("/v1/complaints")[0])
        self.assertEqual(sent["measured"], {"crumb_ph": 5.9, "crumb_aw": 0.95})
        self.assertEqual((sent["units"], sent["put_at"], sent["disposition"]),
                         (40, "returns-dock", "destroy"))

    def test_the_answer_on_a_terminal(self):
        out = self.ok("log", "--symptom", "mold", "--lot", "L2 6321", "--note", "smells sour")
        self.assertRegex(out, r"^C1  complaint [0-9a-f-]{13}\n")
        self.assertIn("lot             L2-6321-B0412: the code read is on record. Harrow White 24,\n"
                      "                  line 2, packed", out)
        self.assertIn("from the note   Smell: sour (words in the note)\n", out)
        self.assertIn("81 %", out)
        self.assertIn("Where on the loaf is the mold?", out)
        self.assertNotIn("crumb pH", out)  # a test for the lab is no question to the caller
        self.assertNotIn("bits", out)  # what an answer is worth is for QA
        self.assertIn("Cautions\n  - Do not smell", out)
        self.assertIn("Tell the caller\n  \"Thank you for telling us. Please do not eat", out)

    def test_an_open_lot_shows_its_candidates(self):
        out = self.ok("log", "--symptom", "mold", "--lot", "63?1")
        self.assertIn("  lot             not certain: the likeliest lot has 70 %; the code as read:\n"
                      "                  63?1\n", out)
        self.assertIn("  70 %  ━━━━━╸··  L2-6321-B0412\n  20 %  ━╸······  L2-6327-B0412\n"
                      "  10 %  none of these, or not on record\n", out)
        self.assertIn("  would decide    the line (2, 1); a photo of the code\n", out)

    def test_doubts_stand_in_the_answer(self):
        self.daemon.doubts = [{"field": "found_on", "value": "2026-11-10",
                               "says": "before lot L2-6321-B0412 was packed, on 2026-11-17"}]
        out = self.ok("log", "--symptom", "mold", "--lot", "L2 6321 B0412")
        self.assertIn("  in doubt        Found 2026-11-10: before lot L2-6321-B0412 was packed, on\n"
                      "                  2026-11-17\n", out)

    def test_harm_gives_words_to_read_and_no_cause(self):
        out = self.ok("log", "--symptom", "mold", "--harm", "illness")
        self.assertIn("HARM REPORTED. Read out to the caller:", out)
        self.assertIn("call a doctor", out)
        self.assertIn("The law may set a\ndeadline", out)
        self.assertNotIn("Packed too hot", out)
        self.daemon.script = "Words of the plant."
        self.assertIn("Words of the plant.", self.ok("log", "--symptom", "mold", "--harm", "1"))
        self.assertNotIn("mail", out, "the daemon said nothing of it")

    def test_whether_a_mail_about_harm_leaves_is_the_daemon_s_to_say(self):
        for alarm, said in (("an urgent mail goes out at once", "An urgent mail goes out at once."),
                            ("no mail is set up: phone the lead", "No mail is set up: phone the lead.")):
            self.daemon.alarm = alarm
            self.assertIn(said, self.ok("log", "--symptom", "mold", "--harm", "illness"))
            out = self.ok("log", "--from", "-", stdin=lines(row(1, harm=["injury"])).encode())
            self.assertIn(said, out.replace("\n  ", " "))

    def test_refused(self):
        code, out, err = self.run_client("log", "--symptom", "mold", "--product", "NOPE")
        self.assertEqual((code, out), (1, ""))
        self.assertEqual(err, "oddloaf: log: the complaint is refused (leave the product out if it "
                              "is not known)\n  product 'NOPE': no such product\n")
        self.assertEqual(self.waiting(), [])
        code, _, err = self.run_client("log", "--symptom", "mold", "--colour", "white")
        self.assertEqual(code, 1)
        self.assertRegex(err, r"^oddloaf: log: --colour 'white': not one of blue-green [^\n]+\n$")

    def test_a_phone_number_never_gets_into_an_error(self):
        code, _, err = self.run_client("log", "--symptom", "mold", "--phone", "555 0100",
                                       "--found", "someday")
        self.assertEqual(code, 1)
        self.assertNotIn("0100", err)


class Files(ClientTest):
    def test_json_lines_from_stdin_one_answer_a_line_in_order(self):
        code, documents = self.json(
            "log", "--from", "-",
            stdin=lines(row(1), row(2, product="NOPE"), row(3, symptom="grey"), row(4)).encode())
        self.assertEqual(code, 1)
        self.assertEqual([d.get("case") for d in documents], ["C1", None, None, "C2"])
        self.assertEqual(documents[1]["error"], {"source": "stdin", "line": 2, "field": "product",
                                                 "value": "NOPE", "reason": "no such product"})
        error = documents[2]["error"]
        self.assertEqual((error["line"], error["field"], error["value"]), (3, "symptom", "grey"))

    def test_large_files_go_in_batches(self):
        path = self.file("a.ndjson", lines(*[row(n, note="x" * 400) for n in range(2000)]))
        code, documents = self.json("log", "--from", path)
        self.assertEqual((code, len(documents)), (0, 2000))
        bodies = self.daemon.bodies("/v1/complaints")
        self.assertGreater(len(bodies), 3)
        self.assertTrue(all(len(b) <= 256 * 1024 for b in bodies))

    def test_the_same_csv_twice_changes_nothing(self):
        path = self.file("week.csv", """\
Received,Defect,Batch,Ref
2026-11-20,Mould,L2 6321,1
2026-11-20,Stale,L2 6321,2
2026-11-20,Mould,L2 6321,3
""")
        args = ["log", "--from", path, "--channel", "store", "--map", "Received=received_at",
                "--map", "Defect=symptom", "--map", "Batch=lot"]
        code, first, err = self.run_client(*args)
        self.assertEqual((code, err), (0, "oddloaf: log: week.csv: columns not used: Ref\n"))
        self.assertIn("week.csv: 3 rows: 3 new, 0 logged before, 0 refused\n", first)
        self.assertEqual(len(self.daemon.complaints), 3)  # the like rows 2 and 4 are two callers
        self.assertIn("0 new, 3 logged before", self.run_client(*args)[1])
        os.rename(path, os.path.join(self.folder, "again.csv"))
        args[2] = "again.csv"
        self.assertIn("0 new, 3 logged before",
                      self.run_client(*args, env={"TZ": "America/New_York"})[1])
        self.assertEqual(len(self.daemon.complaints), 3)

    def test_refused_rows_are_named(self):
        path = self.file("w.csv", "received_at,channel,symptom,found_on\n"
                                  "2026-11-20,store,mold,yesterday\n2026-11-20,store,,\n"
                                  "2026-11-20,store,mold,2026-11-19\n")
        code, out, err = self.run_client("log", "--from", path)
        self.assertEqual(code, 1)
        self.assertEqual(err, """\
oddloaf: log: refused: w.csv:2: found_on (Found) 'yesterday': must be a whole date like 2026-11-19
oddloaf: log: refused: w.csv:3: symptom: is missing (name its column with --map COLUMN=FIELD, or \
give the option for all rows)
""")
        self.assertIn("w.csv: 3 rows: 1 new, 0 logged before, 2 refused\n", out)

    def test_a_file_that_is_not_read_says_that_nobody_has_read_it_for_harm(self):
        head = b"received_at,channel,symptom,note"
        for name, content, says in (
                ("twice.csv", head + b",Note\n2026-11-20,store,mold,dry,in hospital\n",
                 "Note: this column is there twice: 'note', column 4"),
                ("quote.csv", head + b'\n2026-11-20,store,mold,"in hospital\n', "not CSV"),
                ("long.csv", head + b"\n2026-11-20,store,mold," + b"x" * (2 << 20) + b"\n", "over 1 MiB"),
                ("wide.csv", head.decode().encode("utf-16"), "is UTF-16")):
            with open(os.path.join(self.folder, name), "wb") as file:
                file.write(content)
            code, _, err = self.run_client("log", "--from", name)
            self.assertEqual(code, 1, err)
            self.assertIn(says, err)
            self.assertIn("nobody has read for harm what was not taken of this file", err)
            self.assertIn("phone the food-safety lead", err)
        self.assertNotIn("read for harm", self.run_client("log", "--from", "none.csv")[2])

    def test_all_faults_of_a_row_are_told_at_once(self):
        path = self.file("w.csv", "received_at,symptom,found_on,packs\n"
                                  "1999-12-31,grey,yesterday,0\n")
        code, documents = self.json("log", "--from", path)
        self.assertEqual((code, len(documents)), (1, 1))
        error = documents[0]["error"]
        self.assertEqual([f["field"] for f in error["faults"]],
                         ["symptom", "found_on", "packs", "channel", "received_at"])
        self.assertEqual((error["line"], error["field"]), (2, "symptom"))
        code, out, err = self.run_client("log", "--from", path)
        self.assertEqual(err.count("w.csv:2: "), 5, err)
        self.assertIn("w.csv:2: received_at (Received) '1999-12-31T00:00:00-05:00': "
                      "lies before the year 2000\n", err)
        self.assertIn("w.csv: 1 row: 0 new, 0 logged before, 1 refused\n", out)
        self.assertEqual(self.daemon.complaints, {})

    def test_dry_run_knows_the_future(self):
        path = self.file("w.csv", "received_at,channel,symptom\n2062-11-20,store,mold\n")
        code, _, err = self.run_client("log", "--from", path, "--dry-run")
        self.assertEqual(code, 1)
        self.assertIn("lies in the future: it is 20", err)

    def test_harm_in_refused_rows_is_heard(self):
        csv = self.file("h.csv", "received_at,channel,symptom,found_on,note\n"
                                 "2026-11-20,store,mold,yesterday,my son vomited\n"
                                 "2026-11-20,store,mold,2026-11-19,fine,she vomited\n"
                                 "2026-11-20,store,mold,yesterday,nothing more\n")
        code, out, err = self.run_client("log", "--from", csv)
        self.assertEqual(code, 1)
        self.assertEqual(err.count("HARM is reported in this row"), 2, err)
        self.assertIn("found_on (Found) 'yesterday': must be a whole date", err)
        self.assertIn("Harm is reported in line 2, line 3.", out)
        lines = self.file("h.ndjson", '{"note": "she vomited"\n')
        code, out, err = self.run_client("--json", "log", "--from", lines)
        self.assertEqual(json.loads(out)["harm"], ["illness"])
        self.assertEqual(code, 1)

    def test_harm_in_a_refused_complaint_is_said(self):
        code, out, err = self.run_client("log", "--symptom", "mold", "--product", "NOPE",
                                         "--harm", "illness")
        self.assertEqual(code, 1)
        self.assertIn("Stop eating it, says the plant.", err)
        self.assertIn("no such product", err)

    def test_dry_run_sends_nothing(self):
        path = self.file("w.csv", "received_at,channel,symptom\n2026-11-20,store,mold\n,,\n"
                                  "2026-11-20,shop,bad\n")
        code, out, _ = self.run_client("log", "--from", path, "--dry-run")
        self.assertEqual((code, out), (1, "w.csv: 2 rows, 1 would be sent, 1 refused\n"))
        self.assertEqual({r["method"] for r in self.daemon.requests}, {"GET"})

    def test_a_map_that_names_no_field(self):
        code, _, err = self.run_client("log", "--from", "-", "--map", "A=b", stdin=b"A\n1\n")
        self.assertEqual(code, 1)
        self.assertIn("no such field of a complaint", err)

    def test_harm_in_a_batch_is_not_overlooked(self):
        out = self.ok("log", "--from", "-", stdin=lines(row(1), row(2, harm=["illness"])).encode())
        self.assertIn("Harm is reported in C2.", out)
        self.assertIn("HARM", out)

    def test_a_file_that_is_not_there(self):
        code, _, err = self.run_client("log", "--from", "no.csv")
        self.assertEqual(code, 5)
        self.assertIn("no.csv: cannot open", err)


class Spool(ClientTest):
    def kept(self):
        complaints = []
        for name in self.waiting():
            with open(os.path.join(self.spool, name), encoding="utf-8") as f:
                complaints += [json.loads(line) for line in f]
        return complaints

    def test_kept_while_the_daemon_is_away_and_sent_before_the_next(self):
        self.away()
        for number in range(3):
            code, out, err = self.run_client("log", "--symptom", "mold", "--note", str(number))
            self.assertEqual(code, 3)
            self.assertTrue(out.startswith("\nNOBODY HAS READ THE NOTE. Ask the caller:\n"), out)
            self.assertIn("kept in " + self.spool, err)
        self.assertEqual(os.stat(self.spool).st_mode & 0o777, 0o700)
        self.assertEqual([c["note"] for c in self.kept()], ["0", "1", "2"])
        ids = [c["id"] for c in self.kept()]
        self.serve()
        code, out, err = self.run_client("log", "--symptom", "staling", "--note", "3")
        self.assertEqual(code, 0)
        self.assertEqual(err, "oddloaf: log: kept complaints sent: 3 (C1, C2, C3)\n")
        self.assertTrue(out.startswith("C4  "))
        self.assertEqual(list(self.daemon.complaints)[:3], ids)
        self.assertEqual(self.waiting(), [])
        self.ok("log", "--replay")
        self.assertEqual(len(self.daemon.complaints), 4)

    def test_a_note_that_nobody_read_says_so(self):
        """Only the daemon has the word lists: refused here or kept, a note's harm is unheard."""
        code, _, err = self.run_client("log", "--product", "W24", "--note", "my son threw up")
        self.assertEqual(code, 2)
        self.assertIn("phone the food-safety lead", err)
        self.away()
        code, out, err = self.run_client("log", "--symptom", "mold", "--note", "she threw up")
        self.assertEqual(code, 3)
        self.assertIn("phone the food-safety lead", err)
        self.assertIn("NOBODY HAS READ THE NOTE. Ask the caller:\n  Was anyone, or a pet, unwell", out)
        self.assertIn("call a doctor or the emergency number now", " ".join(out.split()))
        code, out, err = self.run_client("--json", "log", "--symptom", "mold", "--note", "threw up")
        self.assertIn("call a doctor or the emergency number now", " ".join(err.split()))

    def test_json_says_that_it_was_kept(self):
        self.away()
        code, documents = self.json("log", "--symptom", "mold")
        self.assertEqual((code, documents[0]["kept"]), (3, True))
        self.assertEqual(self.kept()[0]["id"], documents[0]["complaint"])

    def test_replay_with_json_gives_the_answers(self):
        self.away()
        self.run_client("log", "--symptom", "mold")
        self.assertEqual(self.run_client("log", "--replay")[0], 3)
        self.assertEqual(len(self.waiting()), 1)
        self.serve()
        code, documents = self.json("log", "--replay")
        self.assertEqual((code, documents[0]["case"]), (0, "C1"))

    def test_harm_in_what_was_kept_is_told_when_it_is_sent(self):
        """Nobody has read a kept note: its harm is told as that of a file, whatever sends it."""
        told = ("Harm is reported in C2, a refused one. An urgent mail goes out at once. Tell the "
                "plant's food-safety lead at once. The law may set a deadline; they and a doctor "
                "decide.")
        notes = (("it was fuzzy",), ("he vomited after it",), ("she itched", ))
        for arguments, at in ((("log", "--replay"), 0), (("--json", "log", "--replay"), 1),
                              (("log", "--symptom", "staling"), 1)):
            self.away()
            for note in notes:
                self.run_client("log", "--symptom", "mold", "--lot", "L2 6321", "--note", *note)
            self.file("spool/00000009-x.ndjson", json.dumps(row(
                9, note="vomited", refused={"faults": [{"field": "packs", "value": "x",
                                                        "reason": "is no number"}]})) + "\n")
            self.serve()
            self.daemon.alarm = "an urgent mail goes out at once"
            code, *said = self.run_client(*arguments)
            text = said[at]
            self.assertRegex(text, r"(?m)^  C2 +L2-6321-B0412 +HARM$")
            self.assertRegex(text, r"(?m)^  C3 +L2-6321-B0412 +TO READ$")
            self.assertNotRegex(text, r"(?m)^  C1 ")
            self.assertIn("1 may speak of harm (TO READ): a person must read what was said.", text)
            self.assertIn(told, text.replace("\n  ", " "))
            read_out = " ".join(text.split())
            self.assertIn("phone them, and read out: Stop eating it, says the plant.", read_out)
            self.assertIn("phone them, and ask: Was anyone, or a pet", read_out)
            if arguments[0] == "--json":
                harm = [json.loads(line) for line in said[0].splitlines()]
                self.assertEqual([h.get("harm") for h in harm], [[], ["illness"], [], ["illness"]])
                self.assertTrue(harm[2]["harm_possible"])

    def test_a_busy_or_full_daemon_loses_nothing(self):
        for status, word in ((503, "busy"), (507, "no-space"), (500, "internal")):
            self.daemon.refuse = fake_daemon.problem(status, word, word)
            self.assertEqual(self.run_client("log", "--symptom", "mold")[0], 3)
        self.daemon.refuse = fake_daemon.problem(403, "denied", "needs the role desk")
        self.assertEqual(self.run_client("log", "--symptom", "mold")[0], 4)
        self.assertEqual(len(self.waiting()), 4)
        self.daemon.refuse = None
        self.run_client("log", "--replay")
        self.assertEqual(len(self.daemon.complaints), 4)

    def test_a_batch_is_kept_whole_and_in_order(self):
        self.away()
        path = self.file("a.ndjson", lines(*[row(n, note="x" * 500) for n in range(1500)]))
        code, documents = self.json("log", "--from", path)
        self.assertEqual((code, len(documents)), (3, 1500))
        self.assertTrue(all(d["kept"] for d in documents))
        self.serve()
        code, documents = self.json("log", "--replay")
        self.assertEqual(code, 0)
        self.assertEqual([c["id"] for c in self.daemon.complaints.values()],
                         [ROW["id"] % n for n in range(1500)])

    def test_an_answer_that_breaks_off_keeps_what_has_none(self):
        """What was answered is counted once, and the daemon is asked about the rest of the file."""
        self.daemon.script_of_answers = [(200, "application/x-ndjson", lines(
            *[{"complaint": row(n)["id"], "case": "C%d" % n, "again": False, "ranked": [], **fake_daemon.EXACT}
              for n in (1, 2)]))]
        path = self.file("a.ndjson", lines(*[row(n) for n in range(1, 601)]))
        code, out, err = self.run_client("log", "--from", path)
        self.assertEqual(code, 3)
        self.assertIn("the daemon answered 2 of ", err)
        kept = [c["id"] for c in self.kept()]
        self.assertEqual(kept, [row(n)["id"] for n in range(3, 3 + len(kept))])
        self.assertEqual(list(self.daemon.complaints), [row(n)["id"] for n in range(3 + len(kept), 601)])
        self.assertGreater(len(self.daemon.complaints), 0)
        self.assertTrue("600 rows: %d new, 0 logged before, 0 refused" % (600 - len(kept)) in out)

    def test_one_that_the_daemon_refuses_is_set_aside(self):
        self.away()
        self.run_client("log", "--symptom", "mold", "--product", "NOPE")
        self.run_client("log", "--symptom", "mold")
        self.serve()
        code, _, err = self.run_client("log", "--replay")
        self.assertEqual(code, 1)
        self.assertIn("a kept complaint is refused: Product told: no such product", err)
        path = re.search(r"refused ones are in (\S+)", err).group(1)
        with open(path, encoding="utf-8") as f:
            self.assertEqual(json.loads(f.read())["product"], "NOPE")
        self.assertEqual((self.waiting(), len(self.daemon.complaints)), ([], 1))

    def test_a_write_that_was_cut_off(self):
        self.away()
        self.run_client("log", "--symptom", "mold")
        name = os.path.join(self.spool, self.waiting()[0])
        # the machine went off before the rename: whole, and half
        self.file("spool/00000002-a.ndjson.new", json.dumps(row(7)) + "\n")
        self.file("spool/00000003-b.ndjson.new", '{"id":"x","sym')
        self.assertTrue(os.path.exists(name))
        self.serve()
        code, _, err = self.run_client("log", "--replay")
        self.assertEqual((code, len(self.daemon.complaints)), (1, 2), err)
        self.assertIn(ROW["id"] % 7, self.daemon.complaints)
        self.assert_set_aside({"00000003-b.ndjson.torn": '{"id":"x","sym'}, err)

    def assert_set_aside(self, files, err):
        """Nothing waits, and these are all that is left; the client and `status` say so."""
        self.assertRegex(err, r"\d+ kept files? (is|are) not whole")
        for name, text in files.items():
            with open(os.path.join(self.spool, name), encoding="utf-8") as f:
                self.assertEqual(f.read(), text)
        self.assertEqual(sorted(n for n in os.listdir(self.spool) if n[0].isdigit()), sorted(files))
        code, out, _ = self.run_client("status")
        self.assertEqual(code, 1)
        self.assertRegex(out, rf"Needs a hand\n  - {len(files)} kept files? (is|are) not whole")
        code, _, err = self.run_client("log", "--replay")
        self.assertEqual((code, err), (0, ""))

    def test_what_is_kept_is_the_first_that_needs_a_hand(self):
        self.away()
        self.run_client("log", "--symptom", "mold", "--note", "he vomited")
        code, _, err = self.run_client("status")
        self.assertEqual(code, 3)
        self.assertIn("1 kept file of complaints is not sent yet", err)
        self.serve()
        for needs in (self.daemon.needs, []):
            self.daemon.needs = needs
            code, out, _ = self.run_client("status")
            self.assertEqual(code, 1)
            self.assertIn("Needs a hand\n  - 1 kept file of complaints is not sent yet\n", out)
            self.assertNotIn("All is well", out)
            code, documents = self.json("status")
            self.assertEqual((code, documents[0]["needs"][0]["what"], len(documents[0]["needs"])),
                             (1, "kept-here", 1 + len(needs)))
        self.run_client("log", "--replay")
        self.assertIn("All is well: nothing needs a hand.\n", self.ok("status"))

    def test_status_names_each_kind_of_what_is_kept_as_the_manual_does(self):
        self.away()
        self.run_client("log", "--symptom", "mold")
        self.run_client("--socket", "/none", "log", "--symptom", "mold")
        self.file("spool/00000003-b.ndjson.torn", "{")
        self.file("spool/draft-1.json", json.dumps({"note": "moldy"}))
        self.file("spool/draft-2.json", json.dumps({"note": "he vomited", "harm_told": True}))
        self.serve()
        self.daemon.needs = []
        _, documents = self.json("status")
        page = pathlib.Path(__file__).parents[2] / "client/oddloaf.1"
        said = re.search(r"complaints kept on this machine\n\.Pq Ql --json : (.*) ,$", page.read_text(encoding="utf-8"), re.M)[1]
        self.assertEqual({need["what"] for need in documents[0]["needs"]}, set(said.split(" , ")))

    def test_a_kept_file_that_is_torn(self):
        """What is whole of it is sent, none of it goes; what is behind it is sent, too."""
        torn = {"00000001-a.ndjson": json.dumps(row(1)) + "\n" + json.dumps(row(2))[:40],
                "00000002-b.ndjson": "", "00000003-c.ndjson": "\0" * 600}
        self.away()
        os.makedirs(self.spool)
        for name, text in torn.items():
            self.file("spool/" + name, text)
        self.file("spool/00000004-d.ndjson", json.dumps(row(4)) + "\n")
        self.serve()
        code, _, err = self.run_client("log", "--replay")
        self.assertEqual((code, sorted(self.daemon.complaints)), (1, [ROW["id"] % 1, ROW["id"] % 4]))
        self.assert_set_aside({name + ".torn": text for name, text in torn.items()}, err)

    def test_a_long_kept_file_is_sent_to_its_end(self):
        rows = [row(n, note="mold " * 100000) for n in range(1, 21)]
        self.away()
        os.makedirs(self.spool)
        self.file("spool/00000001-a.ndjson", "".join(json.dumps(one) + "\n" for one in rows))
        self.serve()
        self.assertEqual(self.run_client("log", "--replay")[0], 0)
        self.assertEqual((len(self.daemon.complaints), self.waiting()), (len(rows), []))

    def test_a_spool_that_others_write_to_is_not_used(self):
        self.away()
        os.makedirs(self.spool)
        os.chmod(self.spool, 0o777)
        code, _, err = self.run_client("log", "--symptom", "mold")
        self.assertEqual(code, 3)
        self.assertIn("may be written to by anybody", err)
        self.assertEqual(os.listdir(self.spool), [])

    def test_two_replays_at_once_send_once(self):
        self.away()
        for _ in range(20):
            self.run_client("log", "--symptom", "mold")
        self.serve()
        both = [subprocess.Popen([PROGRAM, "log", "--replay"], env=self.env,
                                 stderr=subprocess.DEVNULL) for _ in range(2)]
        self.assertEqual([p.wait(300) for p in both], [0, 0])
        self.assertEqual(len(self.daemon.complaints), 20)
        self.assertEqual(len(self.daemon.bodies("/v1/complaints")), 20)

    def test_killed_at_any_moment_nothing_said_to_be_kept_is_lost(self):
        self.away()
        said = set()
        for number in range(40):
            process = subprocess.Popen([PROGRAM, "--json", "log", "--symptom", "mold"],
                                       stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
                                       env=self.env)
            time.sleep(number * 0.0005)
            process.send_signal(signal.SIGKILL)
            out = process.communicate()[0].decode()
            if out.endswith("\n"):
                said.add(json.loads(out)["complaint"])
        self.serve()
        self.assertIn(self.run_client("log", "--replay")[0], (0,))
        self.assertLessEqual(said, set(self.daemon.complaints))

    def test_no_room_to_keep_it_prints_it(self):
        self.away()
        for folder in ("/dev/full/spool", "/proc/none"):
            code, _, err = self.run_client("log", "--symptom", "mold", "--note", "typed with care",
                                           env={"ODDLOAF_SPOOL": folder})
            self.assertEqual(code, 3)
            self.assertIn("NOT KEPT", err)
            complaint = json.loads(err.split("-----\n")[1])
            self.assertEqual(complaint["note"], "typed with care")

    def test_a_full_disk(self):
        folder = os.path.join(self.folder, "small")
        os.mkdir(folder)
        if os.geteuid() != 0 or subprocess.run(
                ["mount", "-t", "tmpfs", "-o", "size=16k", "none", folder],
                capture_output=True).returncode != 0:
            self.skipTest("cannot mount a small file system here")
        try:
            with open(os.path.join(folder, "filler"), "wb") as f:
                try:
                    f.write(b"x" * 65536)
                    f.flush()
                except OSError:
                    pass
            self.away()
            code, _, err = self.run_client("log", "--symptom", "mold", "--note", "with care",
                                           env={"ODDLOAF_SPOOL": folder + "/spool"})
            self.assertEqual(code, 3)
            self.assertIn("No space left on device (free some space on this disk)", err)
            self.assertIn("with care", err)
        finally:
            subprocess.run(["umount", folder], check=True)

    def test_harm_is_told_even_when_kept(self):
        self.away()
        code, out, _ = self.run_client("log", "--symptom", "mold", "--harm", "injury")
        self.assertEqual(code, 3)
        self.assertIn("HARM REPORTED", out)
        self.assertIn("No mail goes out before the daemon has taken it: phone the food-safety lead.", out)

    def test_harm_of_a_file_is_told_even_when_kept(self):
        self.away()
        code, out, _ = self.run_client("log", "--from", "-",
                                       stdin=lines(row(1), row(2, harm=["injury"])).encode())
        self.assertEqual(code, 3)
        self.assertIn("Harm is reported in line 2. No mail goes out before the daemon has taken it: "
                      "phone the food-safety lead.", out.replace("\n  ", " "))

    def test_the_folder_follows_xdg(self):
        self.away()
        env = {"ODDLOAF_SPOOL": "", "XDG_STATE_HOME": os.path.join(self.folder, "state")}
        _, _, err = self.run_client("log", "--symptom", "mold", env=env)
        self.assertIn("state/oddloaf/spool/00000001-", err)
        env = {"ODDLOAF_SPOOL": ""}
        _, _, err = self.run_client("log", "--symptom", "mold", env=env)
        self.assertIn(".local/state/oddloaf/spool/00000001-", err)


if __name__ == "__main__":
    unittest.main()
