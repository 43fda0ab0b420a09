"""Every command but log against a stand-in daemon: what it asks for, what it prints, how it ends."""

import json
import os
import pathlib
import re
import shutil
import subprocess
import unittest
import unicodedata

import fake_daemon
from support import PROGRAM, ClientTest

SOURCE = pathlib.Path(__file__).resolve().parents[2]

VIEWS = [["status"], ["cases"], ["rank", "C1"], ["why", "C1"], ["ask", "C1"], ["reach", "C1"],
         ["lot", "L2-6321-B0412"], ["lot", "63?1"], ["week"], ["week", "--by", "line"], ["scores"], ["rules", "list"],
         ["trace", "--symptom", "mold"], ["action", "--list"], ["action", "7", "--effect"],
         ["calibrate"], ["returns"], ["gaps"], ["whatif", "C1"], ["outbox"], ["holds"], ["follow", "C1"],
         ["follow", "--call-backs"], ["cases", "--order", "urgent"],
         ["help"], ["help", "log"], ["help", "week"], ["rank", "--all"]]


# Of each command what --plant means, or why it has none.
OF_A_PLANT = {"log", "find", "cases", "rank", "hold", "holds", "follow", "action", "week", "trace", "returns", "gaps", "scores"}
OF_NO_PLANT = {
    "complaint": "one by its id", "correct": "as complaint; plant is one of the fields it takes", "withdraw": "as complaint",
    "history": "of what it names", "join": "as complaint", "load": "rows name their plant", "lot": "of what it names",
    "measure": "of a lot", "attach": "to a case", "why": "of a case", "ask": "of a case", "reach": "of a case",
    "release": "names its lot and hold", "settle": "of a case", "whatif": "of a lot, a case, a product", "calibrate": "the company's models",
    "rules": "the company's", "status": "of the daemon", "outbox": "all mail", "backup": "the state", "restore": "the state",
    "export": "everything", "erase": "a caller", "help": "of the program"}


def columns(line):
    return sum(0 if unicodedata.combining(c) else
               2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in line)


class Table(ClientTest):
    serves = False

    def test_every_command_that_is_written_is_in_the_table(self):
        written = []
        for path in (SOURCE / "client" / "commands").glob("cmd_*.c"):
            names = re.findall(r"^const struct command cmd_(\w+) =", path.read_text(), re.M)
            self.assertTrue(names, path.name)
            written += names
        _, documents = self.json("help")
        self.assertEqual(sorted(written), sorted(c["command"] for c in documents[0]["commands"]))

    def test_of_every_command_it_is_said_whether_it_takes_a_plant(self):
        _, documents = self.json("help")
        takes = {c["command"] for c in documents[0]["commands"] if "plant" in [o["option"] for o in c["options"]]}
        self.assertEqual(takes, OF_A_PLANT)
        self.assertEqual({c["command"] for c in documents[0]["commands"]} - takes, set(OF_NO_PLANT))


class Views(ClientTest):
    def test_no_line_is_wider_than_80_columns(self):
        for view in VIEWS:
            for line in self.run_client(*view)[1].splitlines():
                self.assertLessEqual(columns(line), 80, (view, line))
                self.assertEqual(line, line.rstrip(), view)

    def test_plain_ascii_where_the_locale_is_not_utf8(self):
        for view in VIEWS:
            out = self.run_client(*view, env={"LC_ALL": "C"})[1]
            self.assertTrue(out and out.isascii(), view)

    def test_no_escape_sequences_in_a_pipe(self):
        for view in VIEWS:
            self.assertNotIn("\x1b", self.run_client(*view, env={"TERM": "xterm"})[1])

    def test_json_is_one_document_and_nothing_else(self):
        for view in VIEWS:
            if view == ["rank", "--all"]:
                continue
            code, documents = self.json(*view)
            self.assertEqual((code, len(documents)), (int(view == ["status"]), 1), view)

    def test_rank(self):
        self.assertEqual(self.ok("rank", "C1"), """\
C1  mold, as of 2026-11-20 09:14
  lot             L2-6321-B0412: the code read is on record
  state           open, 1 complaint

Likely causes
  81 %  ━━━━━━━━━━━━━···  Packed too hot        packed-hot
  12 %  ━━··············  Too little inhibitor  inhibitor-underdosed
   4 %  ╸···············  Kept warm after sale  warm-storage
   3 %  ╸···············  Not known             not-known

Packed too hot: very likely
  for      Core temperature at packing: 47.5 degC, target 38 (strongly). Warm
           bread sweats in the bag, and the wet crust lets spores grow.
  against  Wet inside the bag: no (somewhat); one would rather see: A loaf
           packed hot leaves drops inside the bag.

Would tell most
  - Where on the loaf is the mold? [on the cut slices, on the base] (tells
    something, effort seconds)
  - Where was the bread kept at home? (tells something)
  - Measure the crumb pH of a retained loaf. (tells something, effort hours)

Checks
  - Read the chart of the cooler for that hour. (plant, minutes)

If it is so
  - Cool longer before the slicer.

Cautions
  - Do not smell moldy bread closely: spores can harm the lungs.

All facts: oddloaf why C1
""")

    def test_why_shows_both_sides_in_bits_with_sources(self):
        out = self.ok("why", "C1", env={"LC_ALL": "C"})
        self.assertIn("Packed too hot (packed-hot): 81 %, very likely", out)
        self.assertIn("   +3.1  =====.....  Core temperature at packing: 47.5 degC,", out)
        self.assertIn("   -0.8  =-........  Wet inside the bag: no\n"
                      "                     One would rather see: A loaf packed hot", out)
        self.assertIn("source: common practice\n", out)
        self.assertNotIn("core_at_pack_c", out)
        self.assertIn("rule file: packed-hot.json\n", out)
        self.assertIn("already counted with a stronger one\n   +1.2", out)
        self.assertIn("Not known, and could speak: Crumb water activity", out)

    def test_lot_says_in_words_what_is_out_of_line(self):
        out = self.ok("lot", "L2-6321-B0412")
        self.assertIn("TOO HIGH", out)
        self.assertTrue(out.startswith("Lot L2-6321-B0412: the code read is on record\n"), out)
        self.assertNotIn("90 %", out)
        self.assertIn("as made         4.5 days (3 to 6)", out)

    def test_a_lot_that_is_not_certain_is_not_named_alone(self):
        out = self.ok("lot", "63?1")
        self.assertIn("Lot not certain: the likeliest lot has 70 %; the code as read: 63?1\n", out)
        self.assertIn("  90 %  ━━━━━━━·  L2-6321-B0412\n  10 %  ━·······  L2-6327-B0412\n", out)
        self.assertIn("  would decide    the line (2, 1); a photo of the code\n", out)
        self.assertIn("On record of the likeliest\n  L2-6321-B0412", out)

    def test_lot_shows_mold_by_day_and_what_costs_most(self):
        out = self.ok("lot", "L2-6321-B0412", env={"LC_ALL": "C"})
        self.assertIn("against that    packed warm: 6 days lost, the most\n"
                      "                  temperature: 0.50 days gained\n", out)
        self.assertIn("   12     57 %  =========.......          29 %  ====-...........\n", out)

    def test_status_says_what_is_amiss_with_the_mail(self):
        code, out, _ = self.run_client("status")
        self.assertEqual(code, 1)
        self.assertIn("Needs a hand\n  - No mail is set up: reports of harm reach nobody by mail\n"
                      "    set mail/program, mail/to and mail/urgent_to, then reload\n", out)
        self.assertLess(out.index("Needs a hand"), out.index("Plant and rules"))
        self.assertIn("  line 1          lots 2026-11-20 04:12, readings 2026-11-19 20:12\n", out)
        self.assertIn("last backup     2026-11-20 03:00, /var/lib/oddloaf/backups/b.db\n", out)
        self.assertIn("integrity       sound when looked at, 2026-11-20 09:15; harm done to the file\n", out)
        self.assertIn("mail            No mail is set up: reports of harm reach nobody by mail\n", out)
        self.assertIn("wrong setting   mail/to 'q a': is not a mail address\n", out)
        self.assertIn("urgent mail     2 not yet with everybody: oddloaf outbox shows why\n", out)

    def test_outbox_shows_each_recipient_with_its_reason(self):
        out = self.ok("outbox")
        self.assertIn("  12  urgent C5: waiting, queued 2026-11-20 09:14\n"
                      "    lead@mill.example: waiting, next try 2026-11-20 09:20, tried 3 times:\n"
                      "        /usr/bin/msmtp exited 75: no route\n"
                      "    qa@mill.example: sent 2026-11-20 09:14, tried 1 time\n"
                      "  13  digest: waiting, queued 2026-11-23 06:00\n"
                      "    nobody is set up to get it\n", out)

    def test_calibrate_shows_the_fit_and_asks_nobody_in_a_pipe(self):
        out = self.ok("calibrate")
        self.assertIn("in force        the fit of 2026-10-01 08:00, adopted by mira", out)
        self.assertIn("mold times      times 1.4 (1.3 to 1.5)", out)
        self.assertIn("L2-6321-B0413  W24            13.9  7.9          3\n", out)
        self.assertLess(out.index("B0413  W24"), out.index("B0412  W24"), "the farthest first")
        self.assertEqual(self.run_client("calibrate", "--adopt")[0], 2)
        self.assertEqual(self.run_client("calibrate", "--yes")[0], 2)
        self.assertEqual(self.run_client("calibrate", "--adopt", "--forget")[0], 2)
        self.ok("calibrate", "--adopt", "--yes", "--by", "mira")
        sent = json.loads(self.daemon.requests[-1]["body"])
        self.assertEqual((sent["adopt"], sent["by"]), (True, "mira"))
        self.assertEqual(sent["fit"], fake_daemon.CALIBRATION["fit"])
        self.ok("calibrate", "--forget", "--by", "jon")
        self.assertEqual(json.loads(self.daemon.requests[-1]["body"]), {"forget": True, "by": "jon"})

    def test_gaps(self):
        out = " ".join(self.ok("gaps", "--weeks", "4").split())
        self.assertIn("an estimated 0.110 bits a case (0.020 to 0.200)", out)
        self.assertIn("1 uses film 40 24 2026-W47: 4 of 20", out)
        self.assertIn("line 1, crumb_ph stands still: 5.3, 31 times since", out)
        self.assertIn("line 1, core_at_pack_c drifted: 39.8 in the last week, usual 36.2", out)

    def test_whatif(self):
        out = " ".join(self.ok("whatif", "C7", "core_at_pack_c=39", "crumb_ph=5.2", "--hold", "9", "--share", "90").split())
        self.assertEqual(self.daemon.requests[-1]["query"],
                         {"of": "C7", "set": "core_at_pack_c=39,crumb_ph=5.2", "hold": "9", "share": "90"})
        self.assertIn("Core temperature at packing: 39 degC, was 51.9", out)
        self.assertIn("as made 6.3 (3.3 to 11.8)", out)
        self.assertIn("Packs without mold on day 9: as made 38 %, as changed 74 % (with as many spores a pack as the models take, not ", out)
        self.assertIn("What the law allows - The limit in force here is that of prepacked sliced bread, European Union", out)
        self.assertIn("try it at the bench, and have a licensed person approve", out)
        self.assertEqual(self.run_client("whatif")[0], 2)
        self.assertEqual(self.run_client("whatif", "C7", "core_at_pack_c")[0], 2)
        self.assertEqual(self.run_client("whatif", "C7", "a=1,b=2")[0], 2)
        self.assertEqual(self.run_client("whatif", "C7", "--share", "90")[0], 2)

    def test_returns(self):
        out = self.ok("returns", "--from", "2026-11-09", "--to", "2026-11-15")
        self.assertEqual(self.daemon.requests[-1]["query"],
                         {"from": "2026-11-09", "to": "2026-11-15"})
        self.assertIn("beside the slicer of line 2", out)
        self.assertIn("never stand near cooling", out)

    def test_control_characters_of_data_do_not_reach_the_terminal(self):
        self.daemon.refuse = fake_daemon.problem(400, "invalid", "bad \x1b[31m value\x07")
        code, _, err = self.run_client("rank", "C1")
        self.assertEqual(code, 1)
        self.assertNotIn("\x1b", err)
        self.assertNotIn("\x07", err)


class Asking(ClientTest):
    def last(self):
        return self.daemon.requests[-1]

    def test_words_are_escaped_in_the_path(self):
        self.ok("lot", "L2/63 21?#ü", "--product", "W 24&x", "--code-date", "2026-11-27")
        self.assertEqual(self.last()["path"], "/v1/lots/L2%2F63%2021%3F%23%C3%BC")
        self.assertEqual(self.last()["query"], {"product": "W 24&x", "code_date": "2026-11-27"})

    def test_harm_is_not_explained_by_a_ranking(self):
        line = self.ok("cases").splitlines()[-1]
        self.assertRegex(line, r" HARM, on hold$")

    def test_cases_passes_its_filters(self):
        self.ok("cases", "--symptom", "mold", "--line", "2", "--since", "2026-11-01",
                "--order", "urgent", "--limit", "7")
        self.assertEqual(self.last()["query"],
                         {"symptom": "mold", "line": "2", "since": "2026-11-01",
                          "order": "urgent", "limit": "7"})

    def test_rank_all_walks_every_page(self):
        code, documents = self.json("rank", "--all")
        self.assertEqual(code, 0)
        self.assertEqual([d["case"] for d in documents], ["C%d" % n for n in range(1, 251)])

    def test_hold_and_release(self):
        out = self.ok("hold", "L1", "L2", "--reason", "packed hot", "--by", "qa")
        self.assertIn("On hold: L1, L2", out)
        self.assertEqual(json.loads(self.last()["body"]),
                         {"lots": ["L1", "L2"], "reason": "packed hot", "by": "qa"})
        self.ok("release", "L1", "--disposition", "rework", "--reason", "fine", "--by", "qa")
        self.assertEqual(json.loads(self.last()["body"])["disposition"], "rework")
        self.assertIn("H3: wet bags", out)
        out = self.ok("release", "L1", "--disposition", "rework", "--reason", "x", "--hold", "H5")
        self.assertIn("STILL ON HOLD", out)
        self.assertEqual(json.loads(self.last()["body"])["hold"], "H5")

    def test_holds_fit_the_terminal(self):
        out = self.ok("holds")
        self.assertTrue(all(len(line) <= 80 for line in out.splitlines()), out)
        for text in ("L2-6321-B0412", "12 400", "2026-11-27", "C12: wet", "mira", "R11", "not on"):
            self.assertIn(text, " ".join(out.split()))

    def test_follow_shows_how_it_stands_and_why(self):
        out = " ".join(self.ok("follow", "C1").split())
        for text in ("severity high, as somebody set it; by the rules it is usual (3 points; usual from 2 on)",
                     "owner mira", "OVERDUE since 2026-11-21", "2 for complaints: 4, because few complain (common",
                     "1 for how sure its likeliest cause is: 81 %", "none for harm is reported",
                     "mira (mira1) owner: mira", "severity: high, was usual: a brand owner's bread",
                     "jo (desk1) answered the caller 2026-11-20 10:25, complaint 0199a000-0000: told the lot is held",
                     "2026-11-21 LATE C1 Ann Bee, 555 0101 T-77 the lab's result (mira)"):
            self.assertIn(text, out)
        self.assertNotIn("call back by", out, "whom the rules put on the list of calls stands there")

    def test_follow_changes(self):
        self.ok("follow", "C1", "--owner", "jo", "--due", "2099-01-05", "--severity", "low", "--reason", "a mix-up",
                "--note", "n", "--by", "qa")
        self.assertEqual(json.loads(self.last()["body"]), {
            "owner": "jo", "due": "2099-01-05", "severity": "low", "reason": "a mix-up", "note": "n", "by": "qa"})
        self.ok("follow", "C1", "--owner", "none", "--due", "none", "--severity", "rules", "--reason", "x", "--by", "qa")
        self.assertEqual(json.loads(self.last()["body"]), {
            "owner": None, "due": None, "severity": None, "reason": "x", "by": "qa"})
        self.ok("follow", "C1", "--owner", "me", "--by", "qa")
        self.assertEqual(json.loads(self.last()["body"])["owner"], "qa")
        self.ok("follow", "C1", "--answered", "it is held", "--at", "2026-11-20 10:25", "--complaint", "T-77", "--by", "jo")
        sent = json.loads(self.last()["body"])
        self.assertEqual((sent["answered"], sent["answered_at"][:16], sent["complaint"]),
                         ("it is held", "2026-11-20T10:25", "T-77"))
        self.ok("follow", "C1", "--call-back", "2099-01-05", "--why", "the lab's result", "--by", "jo")
        self.assertEqual(json.loads(self.last()["body"]), {"call_back": "2099-01-05", "why": "the lab's result", "by": "jo"})

    def test_follow_refuses_what_is_no_question(self):
        for words in ((), ("C1", "--call-backs"), ("C1", "--severity", "low"), ("C1", "--severity", "dire", "--reason", "x"),
                      ("C1", "--due", "soonish"), ("C1", "--answered", "x", "--at", "25:00")):
            self.assertEqual(self.run_client("follow", *words)[0], 2, words)

    def test_call_backs(self):
        out = " ".join(self.ok("follow", "--call-backs").split())
        for text in ("2026-11-21 LATE", "C1 settled", "Ann Bee, 555 0101", "T-77", "7 wait; the first 2 are shown."):
            self.assertIn(text, out)

    def asked_cases(self):
        return [r for r in self.daemon.requests if r["path"] == "/v1/cases"][-1]["query"]

    def test_cases_by_owner_and_day(self):
        self.ok("cases", "--owner", "mira", "--overdue", "--order", "urgent")
        self.assertEqual(self.asked_cases(), {"owner": "mira", "overdue": "1", "order": "urgent", "limit": "50"})
        self.ok("cases", "--mine")
        self.assertTrue(self.asked_cases()["owner"])
        self.assertEqual(self.run_client("cases", "--mine", "--owner", "jo")[0], 2)

    def test_what_is_past_its_day_and_how_long_it_took(self):
        week = " ".join(self.ok("week").split())
        for text in ("C5 urgent HARM 2026-11-21 2 nobody mold not certain", "C12 high 2026-11-20 3 mira staling",
                     "12 in all: oddloaf cases --overdue", "days until taken in 0.01, owned 0.40 (median"):
            self.assertIn(text, week)
        scores = " ".join(self.ok("scores").split())
        self.assertIn("owned logged to its first owner 9 0.40 2.5 12", scores)

    def test_scores_tell_what_verdicts_nearby_are_worth_and_switch_them(self):
        scores = " ".join(self.ok("scores").split())
        for text in ("yes (oddloaf scores --unlearn", "50 % without them, 61 % with them, of 18 settled", "switched on by mira"):
            self.assertIn(text, scores)
        for words in (("--learn", "--unlearn"), ("--learn", "--from", "2026-11-01"), ("--by", "mira")):
            self.assertEqual(self.run_client("scores", *words)[0], 2, words)
        self.assertIn("from now on", self.ok("scores", "--learn", "--by", "mira"))
        self.assertIn("without", self.ok("scores", "--unlearn", "--by", "mira"))

    def test_hold_reach_says_that_it_is_not_all(self):
        for words in ((), ("--yes",)):
            code, out, err = self.run_client("hold", "--reach", "C9", "--reason", "hot", *words)
            self.assertIn("not all lots that share it are named", err)
            self.assertEqual(json.loads(self.run_client("--json", "hold", "--reach", "C9", "--reason", "hot")[1])["held"],
                             ["L2-6321-C0600"])
        self.assertNotIn("not all", self.run_client("hold", "--reach", "C1", "--reason", "hot", "--yes")[2])

    def test_hold_reach_asks_before_it_holds(self):
        code, out, err = self.run_client("hold", "--reach", "C1", "--reason", "hot")
        self.assertEqual(code, 2)
        self.assertIn("L2-6321-C0600  90 %, 12 400 units", out)
        self.assertIn("--yes", err)
        self.assertEqual(self.last()["method"], "GET")
        self.ok("hold", "--reach", "C1", "--reason", "hot", "--by", "qa", "--yes")
        self.assertEqual(json.loads(self.last()["body"]), {
            "lots": ["L2-6321-C0600"], "reason": "hot", "by": "qa", "case": "C1", "skip_gone": True})
        code, out, err = self.run_client("hold", "--reach", "C1", "--reason", "hot", "--yes",
                                         "--at-least", "91")
        self.assertEqual((code, out), (5, ""), err)

    def test_by_is_the_login_name_unless_given(self):
        self.ok("hold", "L1", "--reason", "x")
        self.assertTrue(json.loads(self.last()["body"])["by"])

    def test_settle_and_reopen(self):
        self.ok("settle", "C1", "packed-hot", "--confirmed-by", "assay", "--note", "n", "--by", "q")
        self.assertEqual(json.loads(self.last()["body"]),
                         {"cause": "packed-hot", "confirmed_by": "assay", "note": "n", "by": "q"})
        self.assertEqual(self.ok("settle", "C1", "--reopen", "--by", "q"), "C1 is open again.\n")
        self.assertEqual(json.loads(self.last()["body"]), {"by": "q", "reopen": True})

    def test_action(self):
        self.ok("action", "--cause", "packed-hot", "--line", "2", "--date", "2026-11-20",
                "--note", "fan", "--by", "q")
        self.assertEqual(json.loads(self.last()["body"]),
                         {"cause": "packed-hot", "line": "2", "at": "2026-11-20", "note": "fan",
                          "by": "q"})
        self.ok("action", "7", "--effect", "--days", "14")
        self.assertEqual((self.last()["path"], self.last()["query"]),
                         ("/v1/actions/7/effect", {"days": "14"}))

    def test_a_ratio_that_is_none_is_told_in_words(self):
        def shown(ratio, before):
            self.daemon.refuse = 200, "application/json", {
                "action": 7, "before": before, "ratio": ratio,
                "after": {"complaints": 8, "units": 310000, "per_million": 25.8, "low": 11.1,
                          "high": 50.8}}
            return self.ok("action", "7", "--effect")
        none = {"complaints": 0, "units": 0, "per_million": None, "low": None, "high": None}
        out = shown({"ratio": None, "low": 1.4, "high": None, "word": "none before, 1 after"}, none)
        self.assertRegex(out, r"ratio +none before, 1 after \(1\.4 times or more\)\n")
        self.assertRegex(out, r"before +0 complaints, 0 units: no rate yet\n")
        out = shown({"ratio": None, "low": None, "high": None, "word": "too few to tell"}, none)
        self.assertRegex(out, r"ratio +too few to tell\n")
        out = shown({"ratio": 0, "low": 0, "high": 0.4, "word": "9 before, none after"}, none)
        self.assertRegex(out, r"ratio +9 before, none after \(0 to 0\.40 times\)\n")

    def test_week_page_and_table(self):
        out = self.ok("week", "2026-W47", "--html", "w.html", "--csv", "w.csv")
        self.assertEqual(out, "Written: w.html\nWritten: w.csv\n")
        with open(os.path.join(self.folder, "w.html"), encoding="utf-8") as f:
            self.assertEqual(f.read(), "<!doctype html><title>week</title>\n")
        self.assertEqual(self.ok("week", "--csv", "-"), "factor,level\r\nline,2\r\n")
        by = self.ok("week", "--by", "line,route")
        self.assertEqual(self.last()["query"], {"by": "line,route"})
        self.assertIn("about what was packed this week", by)
        self.assertNotIn("Causes:", by)

    def test_week_starts_with_what_matters(self):
        first = "\n".join(self.ok("week").split("\n")[:24])
        self.assertRegex(first, r"\AWeek 2026-W47, .*\nMold on line 2: 21 complaints since 2 November, usual 9")
        self.assertIn("1 lot on hold", first)
        self.assertRegex(first, r"line 2 +mold +W45, over +21 +9 +Packed too hot\n")
        self.assertNotRegex(first, r"\bq\b|\bseen\b|\d\.\d seen")

    def test_week_rates_by_what_is_on_sale_where_packing_misleads(self):
        out = " ".join(self.ok("week").split())
        self.assertIn("per million on sale: 2 mold 69.9", out)

    def test_week_tables(self):
        self.ok("week", "--csv", "-", "--table", "complaints")
        self.assertEqual(self.last()["query"], {"format": "csv", "table": "complaints"})

    def test_week_takes_spans(self):
        out = self.ok("week", "2026-11", "--against", "2026-10")
        self.assertEqual((self.last()["path"], self.last()["query"]), ("/v1/spans/2026-11", {"against": "2026-10"}))
        self.assertRegex(out, r"2026-11, 2026-11-01 to 2026-11-30 \(not over\)\n")
        self.assertRegex(out, r"mold +31 +20 +50 +1\.5 times \(0\.90 to 2\.6\)\n")
        self.assertRegex(out, r"off-odor +4 +0 +50 +none then\n")
        self.assertIn("One of them is not over", out)
        for span in ("2026-Q4", "2026"):
            self.ok("week", span)
            self.assertEqual(self.last()["path"], "/v1/spans/" + span)
        self.assertIn("Against 2025, ", self.ok("week", "2026-W47", "--against", "2025"))
        self.assertEqual((self.last()["path"], self.last()["query"]), ("/v1/weeks/2026-W47", {"against": "2025"}))

    def test_week_says_what_rose_and_how_sure(self):
        out = self.ok("week")
        self.assertIn("above its limits; a", out)
        self.assertRegex(out, r"line 2 +mold +W45, over +21 +9.2 +2.2 \(1.4 to 3.3\) +0.004")
        self.assertIn("<0.001", out)
        self.assertIn("oddloaf trace --symptom mold --from 2026-10-26", out)
        self.assertRegex(out, r"verdicts +12 in 13 weeks; ranked first 75 %")

    def test_trace_says_what_is_shared_and_where(self):
        out = self.ok("trace", "--symptom", "mold")
        self.assertRegex(out, r"F-0911 = store +9 of 11 +5 % +85.5 \(17.2 to 800\) +<1 %")
        self.assertRegex(out, r"11 of 11 +80 % +0.55 or more +1.3 +33 %")
        self.assertIn("- line 2, 2026-11-16 04:00 to 2026-11-17 10:00: 9 complaints on 2 lots, "
                      "0.60", out)

    def test_trace_says_what_explains_best_and_what_else_would(self):
        out = self.ok("trace", "--symptom", "mold")
        self.assertIn("Line 2, packed 2026-11-16 to 2026-11-17 (62 %) 9 complaints, usual 0.61, on 4 lots packed 2026-11-16 04:00 to 2026-11-17 10:00 or film",
                      " ".join(out.split()))
        self.assertIn("  or film F-0911 (35 %): 9 complaints, usual 0.90\n  The records do not tell these apart.\n", out)
        self.assertRegex(out, r"Store 0103 \(97 %\)\n +5 complaints")
        self.assertEqual(out.count("The records do not tell"), 1)

    def test_trace_by_cases(self):
        self.ok("trace", "--cases", "C1,C2", "C3")
        self.assertEqual(self.last()["query"], {"cases": "C1,C2,C3"})

    def test_status_ends_well_when_nothing_needs_a_hand(self):
        self.daemon.needs = []
        self.assertIn("All is well: nothing needs a hand.\n", self.ok("status"))

    def test_backup_places_a_bare_name_and_tells_another_whole(self):
        self.ok("backup", "./b.db")
        self.assertEqual(json.loads(self.last()["body"])["path"],
                         os.path.join(os.path.realpath(self.folder), "./b.db"))
        self.run_client("backup", "b.db")
        self.assertEqual(json.loads(self.last()["body"])["path"], "b.db")

    def test_restore_waits_until_the_daemon_is_back_and_says_what_came_of_it(self):
        code, out, _ = self.run_client("restore", "--yes", "b.db")
        self.assertEqual(code, 0)
        self.assertIn("Restored from b.db\n", out)
        self.assertIn("erased again    2 contacts\n", out)
        self.assertIn("missing         came after the backup, and in what is kept only: complaints 7,\n"
                      "                  ended holds 1\n", out)
        self.daemon.restores = False
        code, out, err = self.run_client("restore", "--yes", "b.db")
        self.assertEqual((code, out), (1, ""))
        self.assertIn("nothing was restored: the daemon is back as it was", " ".join(err.split()))

    def test_restore_asks_nobody_where_nobody_is(self):
        for words in (("b.db",), ("b.db", "--json")):
            code, out, err = self.run_client("restore", *words)
            self.assertEqual((code, out), (2, ""))
            self.assertIn("nobody can be asked here: give --yes too", err)

    def test_restore_says_what_it_waits_for_and_ends_when_the_daemon_stays_away(self):
        self.assertIn("this waits for it, 30 seconds at most", self.run_client("restore", "--yes", "b.db")[2])
        self.daemon.comes_back, self.daemon.within_s = False, 1
        code, out, err = self.run_client("restore", "--yes", "b.db")
        self.assertEqual((code, out), (3, ""))
        self.assertIn("the daemon has not come back in 1 seconds: it cannot start, or is at it still",
                      " ".join(err.split()))
        self.assertIn("journalctl -u oddloafd", err)

    def test_a_backup_that_only_the_daemon_sees_is_none(self):
        self.daemon.own_tmp = True
        code, out, err = self.run_client("backup", "./hidden.db")
        self.assertEqual((code, out), (1, ""))
        self.assertIn("only the daemon sees it", err)

    def test_erase(self):
        self.assertEqual(self.ok("erase", "5550100"),
                         "Erased the contact data of 1 complaint.\n")
        self.assertEqual(self.run_client("erase", "nobody")[0], 5)

    def test_a_busy_daemon_is_asked_again(self):
        self.daemon.busy = 3
        self.ok("rules", "list")
        self.assertEqual(len(self.daemon.requests), 4)
        self.daemon.busy = 99
        code, _, err = self.run_client("status")
        self.assertEqual(code, 3)
        self.assertIn("too much is waiting", err)


class Ends(ClientTest):
    def ends(self, code, *args):
        got, out, err = self.run_client(*args)
        self.assertEqual(got, code, (args, out, err))
        self.assertEqual(out, "", args)
        self.assertTrue(err.startswith("oddloaf"), err)
        return err

    def test_usage(self):
        for args in ([], ["frobnicate"], ["why"], ["rank"], ["rank", "--all", "C1"],
                     ["hold", "L1"], ["release", "L1", "--reason", "x"],
                     ["release", "L1", "--reason", "x", "--disposition", "sell"],
                     ["settle", "C1"], ["settle", "C1", "packed-hot"],
                     ["settle", "C1", "packed-hot", "--confirmed-by", "guess"],
                     ["load", "lost", "f"], ["load", "lots"], ["rules"], ["rules", "copy"], ["rules", "check", "a", "b"], ["rules", "chek"],
                     ["action"], ["action", "--line", "2"], ["action", "7"], ["trace"],
                     ["cases", "--limit", "x"], ["cases", "--since", "someday"],
                     ["log", "--dry-run", "--symptom", "mold"], ["log"],
                     ["--server", "http://localhost", "status"],
                     ["--server", "https://localhost", "--socket", "s", "status"]):
            self.ends(2, *args)

    def test_a_problem_tells_what_which_why_and_what_to_do(self):
        self.assertEqual(self.ends(5, "rank", "C404"),
                         "oddloaf: rank: there is no case C404\n")
        self.daemon.refuse = fake_daemon.problem(
            403, "denied", "settling needs the role qa", hint="ask QA to settle the case")
        self.assertEqual(
            self.ends(4, "settle", "C1", "packed-hot", "--confirmed-by", "assay"),
            "oddloaf: settle: settling needs the role qa (ask QA to settle the case)\n")
        self.daemon.refuse = fake_daemon.problem(
            400, "invalid", "the body is refused",
            [{"source": "", "line": 0, "column": 0, "field": "lots", "value": "L 0",
              "reason": "is empty"}])
        self.assertEqual(self.ends(1, "hold", "L 0", "--reason", "x"),
                         "oddloaf: hold: the body is refused\n  lots 'L 0': is empty\n")

    def test_server_errors_and_answers_that_are_not_json(self):
        self.daemon.refuse = (500, "text/plain", "oops")
        self.assertIn("status 500", self.ends(3, "status"))
        self.daemon.refuse = (200, "application/json", "<html>")
        self.assertIn("not JSON", self.ends(3, "status"))

    def test_no_daemon(self):
        self.away()
        err = self.ends(3, "status")
        self.assertIn("cannot reach the daemon at " + self.socket, err)
        self.assertIn("--socket", err)

    def test_a_socket_that_may_not_be_opened(self):
        if os.geteuid() == 0:
            self.skipTest("root may open any socket")
        os.chmod(self.socket, 0)
        self.ends(4, "status")

    def test_a_full_disk_below_stdout_is_said(self):
        if not os.path.exists("/dev/full"):
            self.skipTest("no /dev/full")
        with open("/dev/full", "wb") as full:
            done = subprocess.run([PROGRAM, "status"], stdout=full, stderr=subprocess.PIPE,
                                  env=self.env, timeout=300)
        self.assertEqual(done.returncode, 1)
        self.assertIn(b"cannot write", done.stderr)


class Server(ClientTest):
    serves = False

    def setUp(self):
        super().setUp()
        pem = os.path.join(self.folder, "pem")
        made = subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
             "-nodes", "-days", "2", "-subj", "/CN=localhost", "-addext",
             "subjectAltName=DNS:localhost", "-keyout", pem, "-out", pem + ".crt"],
            capture_output=True)
        if made.returncode != 0:
            self.skipTest("no openssl to make a certificate")
        with open(pem, "a", encoding="ascii") as f, open(pem + ".crt", encoding="ascii") as crt:
            f.write(crt.read())
        self.daemon = fake_daemon.TlsDaemon(pem).start()
        self.env["ODDLOAF_CA"] = pem + ".crt"

    def test_tls_with_a_token(self):
        self.daemon.needs = []
        out = self.ok("--server", self.daemon.url(), "status", env={"ODDLOAF_TOKEN": "t-123"})
        self.assertIn("oddloafd 9 at https://localhost:", out)
        self.assertEqual(self.daemon.requests[-1]["auth"], "Bearer t-123")

    def test_a_path_of_here_is_none_of_another_machine(self):
        before = len(self.daemon.requests)
        for words in (("backup", "./x.db"), ("backup", "a/x.db"), ("restore", "--yes", "../x.db")):
            code, out, err = self.run_client("--server", self.daemon.url(), *words)
            self.assertEqual((code, out), (2, ""), err)
            self.assertIn("is a path from this folder here, and the daemon is on another machine", " ".join(err.split()))
        self.assertEqual(len(self.daemon.requests), before)

    def test_a_certificate_that_nobody_vouches_for(self):
        self.env.pop("ODDLOAF_CA")
        code, out, err = self.run_client("status", "--server", self.daemon.url())
        self.assertEqual((code, out), (3, ""))
        self.assertIn("certificate", err)
        self.assertEqual(self.daemon.requests, [])

    def test_a_token_that_is_not_known(self):
        self.daemon.refuse = fake_daemon.problem(401, "denied", "the token is not known")
        self.assertEqual(self.run_client("status", "--server", self.daemon.url())[0], 4)


class Load(ClientTest):
    def test_a_file_goes_in_parts_and_is_summed(self):
        rows = "lot,quantity,value\n" + "".join("L%07d,crumb_ph,5.5\n" % n for n in range(60000))
        path = self.file("readings.csv", rows)
        out = self.ok("load", "readings", path)
        self.assertEqual(out, "readings: 60 000 rows read: 60 000 new, 0 changed, 0 the same, "
                              "0 refused\n")
        parts = [r for r in self.daemon.requests if r["path"] == "/v1/records/readings"]
        self.assertEqual("".join(p["body"] for p in parts), rows)
        self.assertEqual([p["query"]["part"] for p in parts], ["0", "1", "2"])
        self.assertEqual([p["query"]["last"] for p in parts], ["0", "0", "1"])
        self.assertEqual(len({p["query"]["load"] for p in parts}), 1)
        self.assertTrue(all(len(p["body"]) <= 512 * 1024 for p in parts))
        self.assertEqual(parts[0]["type"], "text/csv")
        self.assertEqual(parts[0]["query"]["source"], "readings.csv")

    def test_by_a_map_a_file_goes_in_parts_without_a_row_lost(self):
        """What a map makes is larger than the file: rows cut in two at a part's end come whole, in their order."""
        path = self.file("log.csv", "Batch,pH\n" + "".join("L%07d,%d.5\n" % (n, n % 9) for n in range(20000)))
        chart = self.file("map.json", json.dumps({"kinds": [{"kind": "readings", "columns": {"Batch": "lot", "pH": "crumb_ph"}}]}))
        self.ok("load", "readings", path, "--map", chart)
        parts = [r for r in self.daemon.requests if r["path"] == "/v1/records/readings"]
        self.assertEqual([p["query"]["last"] for p in parts], ["0"] * (len(parts) - 1) + ["1"])
        self.assertGreater(len(parts), 1)
        self.assertEqual({len(p["body"]) for p in parts[:-1]}, {512 * 1024})
        rows = [json.loads(line) for line in "".join(p["body"] for p in parts).splitlines() if line]
        self.assertEqual([row["lot"] for row in rows], ["L%07d" % n for n in range(20000)])
        self.assertEqual([row["crumb_ph"] for row in rows[:3]], ["0.5", "1.5", "2.5"])

    def test_a_file_of_exactly_one_part_and_an_empty_one(self):
        path = self.file("a.csv", "h\n" + "x" * (512 * 1024 - 3) + "\n")
        self.ok("load", "lots", path)
        self.assertEqual(len(self.daemon.requests), 1)
        self.ok("load", "lots", self.file("b.csv", ""))
        self.assertEqual(self.daemon.requests[-1]["query"]["last"], "1")

    def test_several_files_and_stdin(self):
        a = self.file("a.csv", "lot,value\n1,2\n3,4\n")
        code, documents = self.json("load", "lots", a, "-", stdin=b"lot,value\n5,6\n")
        self.assertEqual(code, 0)
        self.assertEqual(documents, [{"kind": "lots", "read": 3, "new": 3, "changed": 0,
                                      "same": 0, "refused": [], "refused_total": 0,
                                      "applied": True, "dry_run": False}])

    def test_json_lines_are_known_by_their_first_byte(self):
        self.ok("load", "lots", "-", stdin=b'{"lot":"1"}\n')
        self.assertEqual(self.daemon.requests[-1]["type"], "application/x-ndjson")

    def test_refused_rows_are_named_and_written(self):
        path = self.file("r.csv", "lot,value\n1,2\n3,x\n5,x\n")
        code, out, err = self.run_client("load", "readings", path, "--refused", "bad.ndjson")
        self.assertEqual(code, 1)
        self.assertIn("oddloaf: load: refused: r.csv:3: value 'x': not a number\n", err)
        self.assertIn("Nothing of a file with refused rows was applied", out)
        with open(os.path.join(self.folder, "bad.ndjson"), encoding="utf-8") as f:
            self.assertEqual([json.loads(line)["line"] for line in f], [3, 4])
        code, documents = self.json("load", "readings", path, "--keep-good")
        self.assertEqual((code, documents[0]["new"], documents[0]["refused_total"]), (1, 1, 2))

    def test_dry_run(self):
        path = self.file("r.csv", "lot,value\n1,2\n")
        self.assertIn("(dry run)", self.ok("load", "readings", path, "--dry-run"))
        self.assertEqual(self.daemon.requests[-1]["query"]["dry_run"], "1")

    def test_a_file_that_is_not_there(self):
        code, _, err = self.run_client("load", "lots", "nowhere.csv")
        self.assertEqual(code, 5)
        self.assertIn("nowhere.csv: cannot open: No such file", err)


class Rules(ClientTest):
    def test_check_names_every_error_with_its_place(self):
        rules = os.path.join(self.folder, "rules")
        shutil.copytree(os.path.join(SOURCE, "rules"), rules)
        with open(os.path.join(rules, "causes", "a.json"), "w", encoding="utf-8") as f:
            f.write('{\n  "cause": "a",\n  "title": 7\n}\n')
        code, out, err = self.run_client("rules", "check", rules)
        self.assertEqual((code, out), (1, ""))
        self.assertRegex(err, r"a\.json:3:\d+: ")
        code, documents = self.json("rules", "check", rules)
        self.assertEqual((code, documents[0]["good"]), (1, False))
        self.assertTrue(all(e["reason"] for e in documents[0]["errors"]))

    def test_check_reads_what_is_no_cause_too(self):
        rules = os.path.join(self.folder, "rules")
        shutil.copytree(os.path.join(SOURCE, "rules"), rules)
        self.assertIn("Good: ", self.ok("rules", "check", rules))
        for name in ("models.json", "quantities.json", "places.json", "lots.json", "lexicon/es.json",
                     "lexicon/common/en.json", "lexicon/weights/harm.json", "harm.json"):
            path = os.path.join(rules, name)
            with open(path, encoding="utf-8") as f:
                good = f.read()
            with open(path, "w", encoding="utf-8") as f:
                f.write(good.replace("{", '{"surprise": 1,', 1))
            code, _, err = self.run_client("rules", "check", rules)
            self.assertEqual(code, 1)
            self.assertRegex(err, re.escape(name) + r":1:\d+: /surprise '1': no such member")
            self.assertIn("1 error in", err)
            with open(path, "w", encoding="utf-8") as f:
                f.write(good)

    def test_check_tries_the_patterns_of_lot_codes(self):
        rules = os.path.join(self.folder, "rules")
        shutil.copytree(os.path.join(SOURCE, "rules"), rules)
        lots = os.path.join(rules, "lots.json")
        self.edit(lots, lambda d: d["plants"][0]["patterns"][0].update(pattern="L(?<line>[1-3]"))
        code, _, err = self.run_client("rules", "check", rules)
        self.assertEqual(code, 1)
        self.assertRegex(err, r"lots\.json:1:\d+: /plants/0/patterns/0/pattern ")

    def test_a_broken_file_is_told_once(self):
        rules = os.path.join(self.folder, "rules")
        shutil.copytree(os.path.join(SOURCE, "rules"), rules)
        for name in ("quantities.json", "places.json", "lots.json", "models.json", "asks.json"):
            path = os.path.join(rules, name)
            with open(path, encoding="utf-8") as f:
                good = f.read()
            with open(path, "w", encoding="utf-8") as f:
                f.write(good.replace(":", " ", 1))
            code, documents = self.json("rules", "check", rules)
            self.assertEqual((code, [os.path.basename(e["source"]) for e in documents[0]["errors"]]), (1, [name]))
            with open(path, "w", encoding="utf-8") as f:
                f.write(good)

    def folders(self):
        """A plant's folder, an empty one, and shipped rules of one's own to change."""
        own, shipped = (os.path.join(self.folder, name) for name in ("own", "shipped"))
        shutil.copytree(os.path.join(SOURCE, "rules"), shipped)
        return own, shipped, f"{own}:{shipped}"

    @staticmethod
    def edit(path, change):
        with open(path, encoding="utf-8") as f:
            document = json.load(f)
        change(document)
        with open(path, "w", encoding="utf-8") as f:
            json.dump(document, f)

    def own(self, dirs):
        code, documents = self.json("rules", "check", dirs)
        self.assertEqual(code, 0, documents)
        return {f["file"]: f for f in documents[0]["own"]}

    def test_a_copy_is_told_from_what_a_release_changed(self):
        own, shipped, dirs = self.folders()
        name = "causes/rope.json"
        self.assertEqual(self.ok("rules", "copy", name, "ranking.json", "--dir", dirs), "")
        with open(os.path.join(own, name), "rb") as mine, open(os.path.join(shipped, name), "rb") as theirs:
            self.assertEqual(mine.read(), theirs.read())
        self.assertEqual(os.stat(os.path.join(own, name)).st_mode & 0o777, 0o644)
        files = self.own(dirs)
        self.assertEqual({f: (x["is"], x["release"]) for f, x in files.items()},
                         {name: ("same", "same"), "ranking.json": ("same", "same")})
        self.assertIn("2 copies are as shipped", self.ok("rules", "check", dirs))

        self.edit(os.path.join(own, name), lambda d: d.update(title="Rope, as we say"))
        self.assertEqual([d["at"] for d in self.own(dirs)[name]["differs"]], ["/title"])
        self.assertEqual(self.own(dirs)[name]["released"], [])
        self.edit(os.path.join(shipped, name), lambda d: d["checks"].pop(0))
        file = self.own(dirs)[name]
        self.assertEqual((file["is"], file["release"]), ("changed", "changed"))
        self.assertEqual([d["at"] for d in file["released"]], ["/checks/0"])
        out = " ".join(self.ok("rules", "check", dirs).split())
        self.assertIn(f"{own}/{name}: changed", out)
        self.assertIn('/title: ', out)
        self.assertIn("A release changed what it was copied from: /checks/0: ", out)

        self.ok("rules", "seen", name, "--dir", dirs)
        self.assertEqual(self.own(dirs)[name]["release"], "same")
        self.assertEqual(self.own(dirs)["ranking.json"]["release"], "same")

    def test_files_added_taken_away_and_misplaced(self):
        own, shipped, dirs = self.folders()
        os.makedirs(os.path.join(own, "causes"))
        os.symlink("/dev/null", os.path.join(own, "causes", "rope.json"))
        shutil.copy(os.path.join(shipped, "lots.json"), own)
        self.edit(os.path.join(own, "lots.json"), lambda d: d.update(note="ours"))
        shutil.copy(os.path.join(shipped, "causes", "fat-rancid.json"), os.path.join(own, "fat-rancid.json"))
        files = self.own(dirs)
        self.assertEqual({f: x["is"] for f, x in files.items()},
                         {"causes/rope.json": "removed", "lots.json": "changed", "fat-rancid.json": "not read"})
        self.assertEqual(files["lots.json"]["release"], "unknown")
        _, both = self.json("rules", "check", dirs)
        _, alone = self.json("rules", "check", shipped)
        self.assertEqual(both[0]["causes"], alone[0]["causes"] - 1)
        self.assertEqual(alone[0]["own"], [])
        self.assertIn("is not read", self.ok("rules", "check", dirs))

    def test_every_shipped_file_is_known(self):
        own, _, dirs = self.folders()
        shutil.copytree(os.path.join(SOURCE, "rules"), own, ignore=shutil.ignore_patterns("schema"))
        files = self.own(dirs)
        self.assertGreater(len(files), 40)
        self.assertEqual({f: x["is"] for f, x in files.items()}, dict.fromkeys(files, "same"))

    def test_what_is_not_copied(self):
        own, _, dirs = self.folders()
        for name in ("rope.json", "causes/roap.json", "schema/cause.schema.json", "../rules/lots.json", "causes/.."):
            code, _, err = self.run_client("rules", "copy", name, "--dir", dirs)
            self.assertEqual(code, 5, name)
            self.assertIn("no rule file", err)
        self.ok("rules", "copy", "lots.json", "--dir", dirs)
        self.edit(os.path.join(own, "lots.json"), lambda d: d.update(note="ours"))
        code, _, err = self.run_client("rules", "copy", "lots.json", "--dir", dirs)
        self.assertEqual(code, 1)
        self.assertIn("there is a file already", err)
        self.assertEqual(self.own(dirs)["lots.json"]["is"], "changed")
        code, _, err = self.run_client("rules", "copy", "lots.json", "--dir", f"/proc/nowhere:{dirs}")
        self.assertEqual(code, 1)
        self.assertIn("cannot write /proc/nowhere/.shipped/lots.json", err)


if __name__ == "__main__":
    unittest.main()
