"""The manual page names every command and every option of the program, in its words."""

import os
import re
import unittest

from support import ClientTest

PAGE = os.environ.get("ODDLOAF_PAGE") or os.path.join(os.path.dirname(__file__), "..", "..", "client", "oddloaf.1")


class Man(ClientTest):
    serves = False

    def test_commands_and_options_are_those_of_the_program(self):
        _, documents = self.json("help")
        with open(PAGE, encoding="utf-8") as f:
            page = f.read()
        self.assertEqual(re.findall(r"^\.It Cm (\S+)", page, re.M),
                         [c["command"] for c in documents[0]["commands"]])
        sections = re.split(r"^\.It Cm ", page.split(".Sh ENVIRONMENT")[0], flags=re.M)
        tables = [documents[0]] + documents[0]["commands"]
        for section, table in zip(sections, tables):
            found = re.findall(r"^\.It Fl -(\S+)", section, re.M)
            self.assertEqual(found, [o["option"] for o in table["options"]], table.get("command"))

    def test_no_quotation_stands_in_another(self):
        # of several on one line of mdoc each begins inside the one before and ends with it
        root = os.path.join(os.path.dirname(__file__), "..", "..")
        for page in PAGE, os.path.join(root, "daemon", "oddloafd.8"), os.path.join(root, "daemon", "oddloafd.json.5"):
            with open(page, encoding="utf-8") as f:
                nested = re.findall(r"^\..*\b(?:Dq|Sq|Ql|Qq) .*\b(?:Dq|Sq|Ql|Qq) .*", f.read(), re.M)
            self.assertEqual(nested, [], page)

    def test_exit_statuses_are_those_of_the_program(self):
        root = os.path.join(os.path.dirname(__file__), "..", "..")
        with open(PAGE, encoding="utf-8") as page, open(os.path.join(root, "client/deliver/client.h"), encoding="utf-8") as header:
            said = re.findall(r"^\.It (\d)$", page.read().split(".Sh EXIT STATUS")[1].split(".Sh EXAMPLES")[0], re.M)
            self.assertEqual(said, re.findall(r"^    EXIT_\w+ = (\d)", header.read(), re.M))

    def test_fields_of_a_complaint_are_said_in_the_words_of_the_program(self):
        _, documents = self.json("help")
        log = next(c for c in documents[0]["commands"] if c["command"] == "log")
        with open(PAGE, encoding="utf-8") as f:
            page = f.read()
        section = page.split(".It Cm log", 1)[1].split(".Bl -tag -width Ds\n", 1)[1]
        said = {}
        for row in section.split("\n.El")[0].split(".It Fl -")[1:]:
            first, text = row.split("\n", 1)
            name, _, arg = first.partition(" Ar ")
            said[name] = (arg.replace(" | ", "|").replace("...", "…"), " ".join(text.split()))
        self.assertEqual(said, {o["option"]: (o["arg"] or "", o["help"] + ".")
                                for o in log["options"]})

    def test_words_of_options_are_those_of_the_program(self):
        _, documents = self.json("help")
        with open(PAGE, encoding="utf-8") as f:
            page = f.read()
        sections = re.split(r"^\.It Cm ", page.split(".Sh ENVIRONMENT")[0], flags=re.M)
        checked = 0
        for section, command in zip(sections[1:], documents[0]["commands"]):
            for option in command["options"]:
                said = re.search(rf"^\.It Fl -{option['option']}\b.*\n((?:.*\n)*?)(?=^\.(?:It|El))", section, re.M)
                for word in option["words"]:
                    self.assertRegex(said[1], rf"(?<![\w-]){word}(?![\w-])",
                                     f"{command['command']} --{option['option']}")
                    checked += 1
        self.assertGreater(checked, 60)

    def test_cuts_are_said_in_the_words_of_the_program(self):
        _, documents = self.json("help")
        week = next(c for c in documents[0]["commands"] if c["command"] == "week")
        by = next(o for o in week["options"] if o["option"] == "by")
        with open(PAGE, encoding="utf-8") as f:
            page = f.read()
        said = re.search(r"^\.It Fl -by Ar CUTS\n(.*?)^\.It ", page, re.M | re.S).group(1)
        self.assertEqual(" ".join(said.split()), by["help"] + ".")


if __name__ == "__main__":
    unittest.main()
