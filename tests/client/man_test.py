"""The manual page names every command and every option of the program."""

import os
import re
import unittest

from support import ClientTest

PAGE = os.path.join(os.path.dirname(__file__), "..", "..", "client", "oddloaf.1")


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
            self.assertEqual(re.findall(r"^\.It Fl -(\S+)", section, re.M),
                             [o["option"] for o in table["options"]], table.get("command"))


if __name__ == "__main__":
    unittest.main()
