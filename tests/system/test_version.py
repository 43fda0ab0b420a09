#!/usr/bin/python3
"""A version, the schema of the database and the notes of releases go together.

    test_version.py BUILD_FOLDER
"""
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(sys.argv[1])
LIBRARIES = {"oddloafd": {"libevent", "sqlite", "jansson", "gsl", "pcre2", "openssl", "csv", "zip", "expat", "magic"},
             "oddloaf": {"curl", "jansson", "pcre2", "openssl", "csv", "zip", "expat"}}


def said(program):
    return subprocess.run([BUILD / program, "--version"], check=True, capture_output=True, text=True).stdout


def newest_schema():
    table = (ROOT / "daemon/store/schema.c").read_text().split("MIGRATIONS[] = {")[1].split("};")[0]
    return max(int(number) for number in re.findall(r"\{(\d+),", table))


def main():
    for program, libraries in LIBRARIES.items():
        found = re.fullmatch(rf"{program} 0\.(\d+)\.(\d+)\nschema (\d+)\nbuilt with (.+)\n", said(program))
        assert found, said(program)
        assert int(found[1]) == int(found[3]) == newest_schema(), said(program)
        named = dict(library.split(" ") for library in found[4].split(", "))
        assert libraries <= set(named) <= libraries | {"systemd", "libpq"}, named
        assert all(re.match(r"\d", version) for version in named.values()), named
    notes = re.findall(r"^### 0\.(\d+)$", (ROOT / "README.md").read_text(), re.M)
    assert notes and notes == sorted(notes, key=int, reverse=True), notes
    assert int(notes[0]) >= newest_schema(), f"README's Changes say nothing of 0.{newest_schema()}"
    print("ok")


main()
