"""Walks the guide's "Add a language": tests/intake/language/de.json was made by it and is not shipped. Its notes
are read, and with one step of the guide forgotten they are not.

    language_test.py BUILD_FOLDER
"""

import json
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(sys.argv.pop(1)).resolve()
OWN = ROOT / "tests/intake/language"


def wholly_right(document):
    with tempfile.TemporaryDirectory() as folder, open(OWN / "notes.tsv", encoding="utf-8") as notes:
        (pathlib.Path(folder) / "de.json").write_text(json.dumps(document), encoding="utf-8")
        done = subprocess.run([BUILD / "tests/notes_measure", folder], stdin=notes, capture_output=True,
                              text=True, check=True)
    return [int(n) for n in re.search(r"(\d+) of (\d+) notes wholly right", done.stdout).groups()]


def guide():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return text.split("## Add a language\n", 1)[1].split("\n## ", 1)[0]


class AddALanguage(unittest.TestCase):
    document = json.loads((OWN / "de.json").read_text(encoding="utf-8"))

    def test_as_the_guide_says(self):
        right, notes = wholly_right(self.document)
        self.assertEqual(right, notes)

    def test_the_guide_names_every_part(self):
        for name in self.document.keys() - {"$schema", "language", "note"}:
            self.assertIn(f"`{name}`", guide())

    def test_what_is_forgotten_is_missed(self):
        for name in self.document.keys() - {"$schema", "language", "note", "fields", "sets"}:
            less = {key: value for key, value in self.document.items() if key != name}
            right, notes = wholly_right(less)
            self.assertLess(right, notes, name)

    def test_each_field_is_read(self):
        for field in self.document["fields"]:
            less = dict(self.document, fields=[f for f in self.document["fields"] if f is not field])
            right, notes = wholly_right(less)
            self.assertLess(right, notes, field["field"])


unittest.main()
