#!/usr/bin/env python3
"""Fails for a function of daemon/ or client/ that neither program uses, tests being no use; and for one that a header
declares and no other file uses, tests being such: it is its file's own.

usage: unused.py BUILD_FOLDER

A function is dead if the linker dropped its section from every program and no other line of the
sources names it (one that the compiler inlined everywhere in its own file is dropped too). What a
dead function alone calls shows up once that one is gone.
"""
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]

# function: why it stays though no program calls it
KEPT = {
    "record_find_replaced": "what a changed row of records was",
}


def functions(path):
    lines = subprocess.run(["nm", "--defined-only", path], capture_output=True, text=True,
                           check=True).stdout.splitlines()
    # a compiler's variant of f is f.part.0, f.cold, …
    return {line.split()[2].split(".")[0] for line in lines if re.match(r"[0-9a-f]+ [tT] ", line)}


def names_used():
    """How often each name stands in the sources, comments and strings left out."""
    count = {}
    for folder in ("daemon", "client"):
        for path in sorted((ROOT / folder).rglob("*.c")):
            text = re.sub(r'/\*.*?\*/|"(?:\\.|[^"\\\n])*"', " ", path.read_text(), flags=re.S)
            for name in re.findall(r"[A-Za-z_]\w*", text):
                count[name] = count.get(name, 0) + 1
    return count


def shown(folder="."):
    """Functions that headers declare, each with the header."""
    for part in ("daemon", "client"):
        for path in sorted((ROOT / folder / part).rglob("*.h")):
            text = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.S)
            text = re.sub(r"static inline.*?\n}\n", "", text, flags=re.S)
            for found in re.finditer(r"^(?!typedef|static|extern|#|struct \w+ \{)[\w\s*]*?[\s*](\w+)\([^;{]*\)[^;{]*;", text, re.M):
                yield found[1], path


def users():
    """Name: the files that name it. Of a header what is done in it: macros, and functions written there."""
    found = {}
    for part in ("daemon", "client", "tests"):
        for path in (ROOT / part).rglob("*.[ch]"):
            text = path.read_text()
            if path.suffix == ".h":
                text = re.sub(r"/\*.*?\*/", "", text, flags=re.S)
                text = "".join(re.findall(r"static inline.*?\n}\n|#define(?:.*\\\n)*.*\n", text, flags=re.S))
            text = re.sub(r'/\*.*?\*/|"(?:\\.|[^"\\\n])*"', " ", text, flags=re.S)
            for name in set(re.findall(r"[A-Za-z_]\w*", text)):
                found.setdefault(name, set()).add(path)
    return found


def main():
    build = pathlib.Path(sys.argv[1])
    programs, libraries = [build / "oddloafd", build / "oddloaf"], build.glob("liboddloaf_*.a")
    ours = set().union(*map(functions, libraries))
    linked = set().union(*map(functions, programs))
    count = names_used()
    if len(ours) < 500 or not ours & linked:
        print(f"{len(ours)} functions in the libraries, {len(ours & linked)} of them linked: "
              "nm shows too little to judge by")
        return 1
    dead = {name for name in ours - linked if count.get(name, 0) == 1}
    for name in sorted(dead - KEPT.keys()):
        print(f"{name}: no program uses it; use it or delete it with its tests")
    for name in sorted(KEPT.keys() - dead):
        print(f"{name}: is used now, or gone; take it off the list in tests/house/unused.py")
    used = users()
    own = [(name, header) for name, header in shown() if len(used.get(name, ())) < 2 and name not in KEPT]
    for name, header in own:
        print(f"{header.relative_to(ROOT)}: {name} is used in its own file only: static there, and no word here")
    return 1 if own or dead ^ KEPT.keys() else 0


if __name__ == "__main__":
    sys.exit(main())
