"""Walks the ways of DEVELOPERS.md that change no more than rule files and tables, each in a copy: as the guide
says, and again with one step forgotten, which some test must see. A table is compiled anew, and what the guide
asks to be run is linked with it in place of the build's.

    walk_test.py BUILD_FOLDER
"""

import json
import pathlib
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(sys.argv.pop(1)).resolve()
CAUSE = "rules/causes/proofer-drip.json"
SITUATIONS = "tests/rules/scenarios.py"
QUANTITIES = "rules/quantities.json"

# A cause of mold that a new quantity shows, as a contributor would write it.
NEW_CAUSE = {
    "$schema": "../schema/cause.schema.json", "id": "proofer-drip", "title": "Proofer dripped on the dough",
    "symptoms": {"mold": 0.01},
    "evidence": [
        {"fact": "proofer_rh_pct", "as": "z", "curve": [[0, -1.5], [2, 1], [5, 5]],
         "because": "The proofer was wetter than for the recent lots", "source": "plant experience"},
        {"fact": "where", "table": {"top-crust": 1.5, "*": -0.3},
         "because": "Drops fall on the top", "source": "plant experience"}],
    "reach": ["line-hours"],
    "checks": [{"do": "Look at the proofer's humidity and ceiling", "who": "plant", "effort": "minutes",
                "settles": 0.6},
               {"do": "Clean the ceiling", "who": "plant", "effort": "hours", "settles": 0.3, "mind": ["chemicals"]}],
    "actions": ["Lag the ceiling"], "cautions": ["hold"], "sources": ["plant experience"]}
NEW_QUANTITY = {"quantity": "proofer_rh_pct", "title": "Proofer humidity", "unit": "%", "low": 20, "high": 100,
                "of": "lot", "about": "Relative humidity of the proofer's air"}
NEW_SITUATION = '    ("mold", "proofer-drip", {"proofer_rh_pct": num(1.1, 5, 95), "where": word("top-crust")}),\n'
NEW_NORMAL = 'NORMAL["proofer_rh_pct"] = num(value=82)\n'


def run(*command, **more):
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True, check=False, **more)
    return done.returncode, done.stdout + done.stderr


def rules_tests(copy, *cases):
    """What the guide asks for after a change of rules. What the first says that fails."""
    for command in ((BUILD / "tests/rules/rules_check", copy / "rules"), (BUILD / "tests/rules_test_words", copy),
                    (sys.executable, copy / "tests/rules/test_rules.py", copy / "rules", *cases)):
        code, said = run(*command)
        if code:
            return said
    return ""


def edit(path, change):
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document, indent=1, ensure_ascii=False))


def put(path, before, text):
    whole = path.read_text()
    assert whole.count(before) == 1, (path, before)
    path.write_text(whole.replace(before, text + before))


class Walk(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.copy = pathlib.Path(folder.name)
        for part in ("rules", "tests/rules"):
            shutil.copytree(ROOT / part, self.copy / part)
        (self.copy / "daemon/serve").mkdir(parents=True)
        shutil.copytree(ROOT / "daemon/serve/answers", self.copy / "daemon/serve/answers")

    def touched(self):
        """Files that differ from those in the tree."""
        return sorted(str(f.relative_to(self.copy)) for f in self.copy.rglob("*.*") if "__pycache__" not in f.parts
                      and f.is_file() and (not (ROOT / f.relative_to(self.copy)).exists()
                                           or f.read_bytes() != (ROOT / f.relative_to(self.copy)).read_bytes()))

    def seen(self, what, by):
        said = rules_tests(self.copy, "Files", "Sources", "Cautions", "Situations.test_every_cause_has_a_situation")
        self.assertRegex(said, by, f"forgotten, and no test sees it: {what}")


class ACauseAndAQuantity(Walk):
    def write(self, cause=NEW_CAUSE, quantity=NEW_QUANTITY, situation=True, normal=True):
        (self.copy / CAUSE).write_text(json.dumps(cause))
        if quantity:
            edit(self.copy / QUANTITIES, lambda d: d["quantities"].append(quantity))
        put(self.copy / SITUATIONS, "# symptom, the cause that should come first", NEW_NORMAL if normal else "")
        if situation:
            put(self.copy / SITUATIONS, '    ("mold", "inhibitor-spent", {"inhibitor_active_pct"', NEW_SITUATION)

    def test_as_the_guide_says(self):
        self.write()
        self.assertEqual(rules_tests(self.copy), "")
        self.assertEqual(self.touched(), [CAUSE, QUANTITIES, SITUATIONS])

    def without(self, **what):
        cause = json.loads(json.dumps({**NEW_CAUSE, **what}))
        return {k: v for k, v in cause.items() if v is not None}

    def item(self, number=0, **what):
        items = json.loads(json.dumps(NEW_CAUSE["evidence"]))
        items[number] = {k: v for k, v in {**items[number], **what}.items() if v is not None}
        return self.without(evidence=items)

    def test_what_is_forgotten_of_a_cause_is_seen(self):
        check = NEW_CAUSE["checks"]
        for what, cause, by in (
                ("its title", self.without(title=None), "'title' is missing"),
                ("its name is the file's", self.without(id="drip"), "must be the file's name"),
                ("prior weights", self.without(symptoms={}), "symptoms"),
                ("why an item speaks", self.item(because=None), "'because' is missing"),
                ("whence", self.item(source=None), "'source' is missing"),
                ("the citation in SOURCES.md", self.item(source="Nobody 1999 J Bread 1:2"), "test_citations_were_looked_up"),
                ("the citation in its list", self.item(source="Hallberg, Chinachoti 2002 J Food Sci 67:1092"),
                 "test_a_cause_lists_what_its_items_cite"),
                ("a word's spelling", self.item(1, table={"top": 1.5}), "has no such word"),
                ("that bits are rough", self.item(1, table={"top-crust": 9}), "test_no_item_alone_decides"),
                ("checks", self.without(checks=[]), "checks"), ("actions", self.without(actions=[]), "actions"),
                ("who does a check", self.without(checks=[{**check[0], "who": None}]), "/checks/0/who"),
                ("what a check touches", self.without(checks=[check[0], {**check[1], "mind": []}]), "mind"),
                ("cautions", self.without(cautions=None), "cautions"),
                ("an id of cautions", self.without(cautions=["holt"]), "no such caution"),
                ("what affected lots share", self.without(reach=None), "reach|proofer-drip")):
            with self.subTest(what):
                self.setUp()
                self.write(cause)
                self.seen(what, by)

    def test_what_else_is_forgotten_is_seen(self):
        with self.subTest("a situation"):
            self.write(situation=False)
            self.seen("a situation", "test_every_cause_has_a_situation")
        with self.subTest("the quantity"):
            self.setUp()
            self.write(quantity=None)
            self.seen("the quantity", "/evidence/0/fact 'proofer_rh_pct': no such fact")

    def test_what_is_forgotten_of_a_quantity_is_seen(self):
        for what, row, by in (
                ("its title", {"title": None}, "'title' is missing"), ("its unit", {"unit": None}, "'unit' is missing"),
                ("its range", {"high": None}, "'high' is missing"), ("whose it is", {"of": None}, "'of' is missing"),
                ("what it is", {"about": None}, "test_what_can_be_measured_is_read"),
                ("its unit's conversions", {"unit": "dew"}, "unit is not known"),
                ("that its name tells another unit", {"unit": "degC"}, "ends in _pct is of %")):
            with self.subTest(what):
                self.setUp()
                self.write(quantity={k: v for k, v in {**NEW_QUANTITY, **row}.items() if v is not None})
                self.seen(what, by)

    def test_a_quantity_alone(self):
        for what, row, by in (
                ("a rule that reads it", NEW_QUANTITY, "test_what_can_be_measured_is_read"),
                ("the suffix of its unit", {**NEW_QUANTITY, "quantity": "proofer_mist", "unit": "g"}, "does not end in g")):
            with self.subTest(what):
                self.setUp()
                edit(self.copy / QUANTITIES, lambda d, row=row: d["quantities"].append(row))
                self.seen(what, by)


class AWord(Walk):
    """Taken away where adding it would have put it: the program has it in intake/fields.c."""

    def take(self, path, change):
        for file in self.copy.glob(path):
            edit(file, change)

    def test_a_question_that_lacks_it_is_seen(self):
        def change(asks):
            for ask in asks["asks"]:
                if ask["fact"] == "colour":
                    ask["answers"] = [a for a in ask["answers"] if a["word"] != "yellow"]
        self.take("rules/asks.json", change)
        self.seen("the answer", "colour yellow: no answer of its question")

    def test_causes_that_do_not_weigh_it_are_seen(self):
        def change(cause):
            for item in cause["evidence"]:
                if item["fact"] == "colour":
                    item["table"].pop("yellow", 0)
        self.take("rules/causes/*.json", change)
        self.seen("a weight", "colour yellow: no cause weighs it")

    def test_notes_that_are_not_read_for_it_are_seen(self):
        def change(lexicon):
            for field in lexicon["fields"]:
                field["words"].pop("yellow", 0)
        self.take("rules/lexicon/??.json", change)
        self.seen("the lexicon", "observed/colour yellow: no lexicon reads it")

    def test_a_manual_that_does_not_say_it_is_seen(self):
        page = self.copy / "oddloaf.1"
        whole = (ROOT / "client/oddloaf.1").read_text()
        for gone in (" yellow", ".It Fl -spots Ar N\nhow many spots.\n"):
            page.write_text(whole.replace(gone, ""))
            self.assertNotEqual(page.read_text(), whole)
            code, said = run(sys.executable, ROOT / "tests/client/man_test.py",
                             env={"ODDLOAF": str(BUILD / "oddloaf"), "ODDLOAF_PAGE": str(page), "PATH": "/usr/bin:/bin"})
            self.assertEqual(code, 1, said)
            self.assertTrue(re.search(r"FAILED \(failures=", said), said)


class Table(unittest.TestCase):
    """A row of a table of the program, and the line of the manual that goes with it."""

    table = ""  # in the tree

    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.copy = pathlib.Path(folder.name)
        for part in ("rules", "daemon/serve/answers"):
            shutil.copytree(ROOT / part, self.copy / part)
        for file in (self.table, "client/oddloaf.1"):
            (self.copy / file).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / file, self.copy / file)

    def compile(self):
        commands = json.loads((BUILD / "compile_commands.json").read_text())
        words = next(shlex.split(c["command"]) for c in commands if c["file"] == str(ROOT / self.table))
        words = [str(self.copy / self.table) if w == str(ROOT / self.table) else w for w in words]
        words[words.index("-o") + 1] = str(self.copy / "table.o")
        code, said = run(*words, cwd=BUILD)
        self.assertEqual(code, 0, said)

    def program(self, target):
        """Linked as the build does it, the new table before the library that holds the old one."""
        code, said = run("ninja", "-C", BUILD, "-t", "commands", target)
        self.assertEqual(code, 0, said)
        link = shlex.split(said.strip().splitlines()[-1])
        at = link.index("-o") + 1
        self.assertEqual(link[at], target)
        made = self.copy / target
        made.parent.mkdir(parents=True, exist_ok=True)
        link[at:at + 1] = [str(made), str(self.copy / "table.o")]
        code, said = run(*[w for w in link if w not in (":", "&&")], cwd=BUILD)
        self.assertEqual(code, 0, said)
        return made

    def unit(self, target, *words):
        """What it says if it fails."""
        code, said = run(self.program(target), *words, cwd=ROOT)
        return said if code else ""

    def manual(self):
        code, said = run(sys.executable, ROOT / "tests/client/man_test.py",
                         env={"ODDLOAF": str(self.program("oddloaf")), "ODDLOAF_PAGE": str(self.copy / "client/oddloaf.1"),
                              "PATH": "/usr/bin:/bin"})
        return said if code else ""

    def row(self, before, row):
        put(self.copy / self.table, before, row)
        self.compile()


NEW_ASK = {"fact": "sliced", "ask": "Was the loaf sliced?", "of": "caller", "effort": "seconds",
           "answers": [{"word": "yes", "label": "yes", "share": 0.9}, {"word": "no", "label": "no", "share": 0.1}]}
NEW_FIELD = {".name": '"observed/sliced"', ".option": '"sliced"', ".type": "FIELD_BOOL", ".title": '"Sliced"',
             ".help": '"the loaf was sliced"', ".ask": '"Was the loaf sliced?"'}
NEW_WEIGHT = {"fact": "sliced", "table": {"yes": 0.1, "no": -1},
              "because": "An unsliced loaf meets no slicer", "source": "plant experience"}


class AComplaintField(Table):
    table = "daemon/intake/fields.c"

    def walk(self, field=None, ask=True, weight=True, page=True):
        if ask:
            edit(self.copy / "rules/asks.json", lambda d: d["asks"].append(NEW_ASK))
        if weight:
            edit(self.copy / "rules/causes/contamination-slicer.json", lambda d: d["evidence"].append(NEW_WEIGHT))
        if page:
            put(self.copy / "client/oddloaf.1", ".It Fl -wet-inside Ar YES", ".It Fl -sliced Ar YES | NO\nthe loaf was sliced.\n")
        row = ", ".join(f"{k} = {v}" for k, v in {**NEW_FIELD, **(field or {})}.items() if v)
        self.row('    {.name = "observed/wet_inside_bag"', "    {" + row + "},\n")

    def words(self):
        return self.unit("tests/rules_test_words", self.copy)

    def test_as_the_guide_says(self):
        self.walk()
        self.assertEqual(self.unit("tests/intake_test_fields"), "")
        self.assertEqual(self.words(), "")
        self.assertEqual(self.manual(), "")
        code, said = run(BUILD / "tests/rules/rules_check", self.copy / "rules")
        self.assertNotEqual(code, 0, "the old program took a rule of the new field: this walk shows nothing")
        self.assertEqual(self.unit("tests/rules/rules_check", self.copy / "rules"), "")

    def test_what_is_forgotten_is_seen(self):
        fields = lambda: self.unit("tests/intake_test_fields")  # noqa: E731
        for what, given, tried, by in (
                ("a label", {"field": {".title": None}}, fields, "title or question is missing"),
                ("a question", {"field": {".ask": None}}, fields, "title or question is missing"),
                ("an option", {"field": {".option": None}}, fields, "option, help or words are missing"),
                ("another's option", {"field": {".option": '"bag"'}}, fields, "have one name or option"),
                ("the rules' question", {"ask": False}, self.words, "sliced"),
                ("a cause", {"weight": False}, self.words, "no cause weighs it"),
                ("the manual", {"page": False}, self.manual, "sliced")):
            with self.subTest(what):
                self.setUp()
                self.walk(**given)
                self.assertRegex(tried(), by, f"forgotten, and no test sees it: {what}")


class ACut(Table):
    table = "daemon/base/cuts.c"

    def walk(self, column="family", page=True):
        if page:
            put(self.copy / "client/oddloaf.1", "; rates by these", ", family")
        self.row("    {0}};", f'    {{"family", CUT_PRODUCT, 0, "{column}", "of family"}},\n')

    def test_as_the_guide_says(self):
        self.walk()
        self.assertEqual(self.unit("tests/patterns_test_pattern_counts"), "")
        self.assertEqual(self.manual(), "")

    def test_what_is_forgotten_is_seen(self):
        for what, given, tried, by in (
                ("the manual", {"page": False}, self.manual, "family"),
                ("a column that is there", {"column": "kin"}, lambda: self.unit("tests/patterns_test_pattern_counts"), "kin")):
            with self.subTest(what):
                self.setUp()
                self.walk(**given)
                self.assertRegex(tried(), by, f"forgotten, and no test sees it: {what}")


if __name__ == "__main__":
    unittest.main()
