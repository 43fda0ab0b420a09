"""The house as DEVELOPERS.md describes it: which folders there are, in what order, and who may know
which outside library. What a folder sees is what the build has linked into its `sees` folder; the
compiler is asked as well, with a file that crosses the order on purpose.

    house_test.py BUILD_FOLDER
"""

import json
import os
import pathlib
import re
import shlex
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD = pathlib.Path(sys.argv.pop(1)).resolve()
INCLUDE = re.compile(r'^\s*#\s*include\s+(["<])([^">]+)[">]', re.MULTILINE)

# Outside libraries: the headers, and the folders that may include them.
EVERYWHERE = object()
OUTSIDE = {
    "sqlite3.h": {"daemon/store"},
    "libpq-fe.h": {"daemon/store"},
    "gsl/": {"daemon/stats", "daemon"},  # main.c turns off GSL's own error handler
    "pcre2.h": {"daemon/lots"},
    "csv.h": {"daemon/tables", "client/deliver"},
    "zip.h": {"daemon/tables"},
    "expat.h": {"daemon/tables"},
    "event2/": {"daemon/serve", "daemon/notify", "daemon"},
    "curl/": {"client/deliver", "client"},
    "magic.h": {"daemon/serve"},
    "openssl/": {"daemon/store", "daemon/rules", "daemon/rank", "daemon/serve", "client/deliver"},
    "systemd/": {"daemon/serve", "daemon"},
    "jansson.h": EVERYWHERE,
}
# No clock, no log, no JSON, no threads: C itself and numbers.
PURE = {"daemon/models", "daemon/stats"}
PURE_OUTSIDE = {"assert.h", "ctype.h", "errno.h", "float.h", "limits.h", "math.h", "stdarg.h",
                "stdbool.h", "stddef.h", "stdint.h", "stdio.h", "stdlib.h", "string.h", "gsl/"}
PURE_BASE = {"base/error.h", "base/text.h"}


def sources(folder):
    return sorted(f for f in (ROOT / folder).glob("*.[ch]"))


def folders_of(top):
    """Folders of daemon/ or client/ that hold code."""
    return {f.name for f in (ROOT / top).iterdir() if f.is_dir() and sources(f)}


def sees(folder):
    """Its own room and those that the build shows it: "daemon/rules" -> {"rules", "base", …}."""
    top, name = folder.split("/")
    view = name if top == "daemon" else "client_" + name
    return set(os.listdir(BUILD / "sees" / view / top))


def of_daemon(room):
    """Folders of daemon/ that a room of the client sees besides those of tables/."""
    folder = BUILD / "sees" / f"client_{room}" / "daemon"
    return set(os.listdir(folder)) if folder.exists() else set()


def guide():
    """The folder table of DEVELOPERS.md: {"daemon": ["base", …], …}, in its order."""
    text = (ROOT / "DEVELOPERS.md").read_text()
    table = re.search(r"```\n(daemon/.*?)```", text, re.DOTALL).group(1)
    rooms, top = {}, None
    for line in table.splitlines():
        name = re.match(r"( *)(\w+)/\s", line)
        if name and not name[1]:
            top = name[2]
            rooms[top] = []
        elif name:
            rooms[top].append(name[2])
    return rooms


def allowed(name, table):
    return next((row for head, row in table.items()
                 if name == head or head.endswith("/") and name.startswith(head)), None)


def crossings(folder, text, seen):
    """What of the includes in `text` a file of `folder` may not have."""
    wrong = []
    for quote, name in INCLUDE.findall(text):
        if quote == '"':
            room = name.split("/")[0]
            if "/" not in name or room not in seen or folder in PURE and room == "base" \
                    and name not in PURE_BASE:
                wrong.append(name)
            continue
        owners = allowed(name, OUTSIDE)
        if owners is None and "/" in name and not (pathlib.Path("/usr/include") / name).exists():
            continue  # sys/…: the compiler's own
        if owners not in (None, EVERYWHERE) and folder not in owners:
            wrong.append(name)
        elif folder in PURE and allowed(name, dict.fromkeys(PURE_OUTSIDE, True)) is None:
            wrong.append(name)
    return wrong


def commands():
    """How the build compiles one file of each folder: {"daemon/rules": ["cc", …]}."""
    found = {}
    for row in json.loads((BUILD / "compile_commands.json").read_text()):
        file = pathlib.Path(row["file"])
        folder = file.parent.relative_to(ROOT) if ROOT in file.parents else file.parent
        if len(folder.parts) == 2 and folder.parts[0] in ("daemon", "client"):
            words = [w for w in shlex.split(row["command"]) if "ccache" not in w]
            at = words.index("-o")
            found[str(folder)] = words[:at]
    return found


def compile_text(command, text, mode):
    with tempfile.NamedTemporaryFile("w", suffix=".c") as file:
        file.write(text)
        file.flush()
        return subprocess.run([*command, mode, file.name], cwd=BUILD, capture_output=True, text=True,
                              check=False, env=dict(os.environ, LC_ALL="C"))


class Folders(unittest.TestCase):
    def test_the_guide_names_each_folder_and_no_other(self):
        rooms = guide()
        for top in ("daemon", "client"):
            self.assertEqual(sorted(rooms[top]), sorted(folders_of(top)), top)
            self.assertEqual(len(rooms[top]), len(set(rooms[top])))
        tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True,
                                 check=False).stdout.split("\n")
        tops = {f.split("/")[0] for f in tracked if "/" in f} or set(rooms)
        self.assertEqual(set(rooms), {t for t in tops if not t.startswith(".")})

    def test_a_folder_sees_only_those_above_it_in_the_guide(self):
        rooms = guide()
        for top in ("daemon", "client"):
            for at, name in enumerate(rooms[top]):
                self.assertLessEqual(sees(f"{top}/{name}"), set(rooms[top][:at + 1]), name)
        self.assertEqual(sees("daemon/models"), {"base", "models"})
        self.assertEqual(sees("daemon/stats"), {"base", "stats"})
        self.assertNotIn("store", sees("daemon/rules") | sees("daemon/intake"))

    def test_a_folder_of_tests_is_one_of_the_code(self):
        rooms = guide()
        own = {"house", "reference", "plants", "e2e", "system", "fault", "fuzz", "bench", "client"}
        for top, names, extra in (("tests", rooms["daemon"], own),
                                  ("tests/client", rooms["client"], set())):
            folders = {f.name for f in (ROOT / top).iterdir()
                       if f.is_dir() and f.name != "__pycache__"
                       and any(g.is_file() for g in f.rglob("*"))}
            self.assertLessEqual(folders, set(names) | extra, top)

    def test_guards_follow_the_path(self):
        for top in ("daemon", "client"):
            for room in folders_of(top):
                for file in sources(f"{top}/{room}"):
                    if file.suffix == ".h":
                        path = f"{'client/' if top == 'client' else ''}{room}/{file.name}"
                        guard = "ODDLOAF_" + re.sub(r"[/.]", "_", path).upper()
                        self.assertIn(f"#ifndef {guard}\n#define {guard}\n", file.read_text(), file)


class Assertions(unittest.TestCase):
    """They ask; they do nothing, for another build may leave them out."""
    WORK = re.compile(r"\bassert\([^=;]*\b(mk\w+|unlink|remove|system|f?open|f?write|f?close|rename|must|"
                      r"\w+_(?:run|start|stop|put|add|save|load|take|submit))\(|\bassert\([^;=<>!]*(?:\+\+|--|[^=<>!]=[^=])")

    def test_none_works(self):
        for top in ("daemon", "client", "tests"):
            for file in sorted((ROOT / top).rglob("*.[ch]")):
                self.assertIsNone(self.WORK.search(file.read_text()), file)

    def test_the_check_finds_one_that_works(self):
        for text, works in (("assert(mkdtemp(dir));", True), ("assert(unlink(path) == 0);", True),
                            ("assert(n++ < 5);", True), ("assert((x = f()));", True),
                            ("assert(count > 0);", False), ("assert(a == b && c <= d);", False),
                            ("assert_int_equal(unlink(path), 0);", False)):
            self.assertEqual(bool(self.WORK.search(text)), works, text)

    def test_no_build_type_leaves_them_out(self):
        for row in json.loads((BUILD / "compile_commands.json").read_text()):
            self.assertNotIn("-DNDEBUG", row["command"])


class Includes(unittest.TestCase):
    def test_none_crosses(self):
        for top in ("daemon", "client"):
            for room in sorted(folders_of(top)):
                folder = f"{top}/{room}"
                seen = sees(folder) | (sees("daemon/tables") | of_daemon(room) if top == "client" else set())
                for file in sources(folder):
                    self.assertEqual(crossings(folder, file.read_text(), seen), [], file)
            main = ROOT / top / "main.c"
            self.assertEqual(crossings(top, main.read_text(), folders_of(top)), [], main)

    def test_the_check_finds_what_crosses(self):
        for folder, include, crosses in (
                ("daemon/rules", '"store/store.h"', True), ("daemon/rules", '"base/error.h"', False),
                ("daemon/facts", '"rank/rank.h"', True), ("daemon/rank", '"facts/facts.h"', False),
                ("daemon/models", '"base/log.h"', True), ("daemon/models", '"base/error.h"', False),
                ("daemon/models", "<time.h>", True), ("daemon/models", "<math.h>", False),
                ("daemon/stats", "<jansson.h>", True), ("daemon/stats", "<gsl/gsl_cdf.h>", False),
                ("daemon/serve", "<sqlite3.h>", True), ("daemon/store", "<sqlite3.h>", False),
                ("daemon/desk", "<event2/http.h>", True), ("daemon/serve", "<event2/http.h>", False),
                ("daemon/base", '"error.h"', True), ("daemon/serve", "<sys/socket.h>", False)):
            text = f"/* a file */\n#include {include}\nint x;\n"
            self.assertEqual(bool(crossings(folder, text, sees(folder))), crosses,
                             (folder, include))

    def test_the_compiler_sees_no_more(self):
        heads = {top: {room: next(f for f in sources(f"{top}/{room}") if f.suffix == ".h").name
                       for room in folders_of(top)} for top in ("daemon", "client")}
        found = commands()
        self.assertEqual(len(found), len(heads["daemon"]) + len(heads["client"]))
        for folder, command in sorted(found.items()):
            top = folder.split("/")[0]
            text = "".join(f'#if __has_include("{room}/{head}")\nsees {room}\n#endif\n'
                           for room, head in heads[top].items())
            out = compile_text(command, text, "-E").stdout
            self.assertEqual(set(re.findall(r"^sees (\w+)$", out, re.MULTILINE)), sees(folder),
                             folder)

    def test_a_file_that_crosses_does_not_compile(self):
        good = '#include "rules/rules.h"\nint rules_x(void);\nint rules_x(void)\n{\nreturn 1;\n}\n'
        command = commands()["daemon/rules"]
        built = compile_text(command, good, "-fsyntax-only")
        self.assertEqual(built.returncode, 0, built.stderr)
        for header in ("store/store.h", "facts/facts.h", "serve/app.h"):
            built = compile_text(command, f'#include "{header}"\n' + good, "-fsyntax-only")
            self.assertNotEqual(built.returncode, 0, header)
            self.assertRegex(built.stderr, "No such file|not found")


def circles(edges):
    """What of a graph leads back to itself."""
    left = {a: set(b) for a, b in edges.items()}
    for name in set().union(*edges.values()):
        left.setdefault(name, set())
    while True:
        reached = set().union(*left.values()) if left else set()
        ends = {name for name, to in left.items() if not to or name not in reached}
        if not ends:
            return left
        left = {name: to - ends for name, to in left.items() if name not in ends}


def objects(library):
    """{file: files of the same library it needs something of}, from the symbols."""
    out = subprocess.run(["nm", "-A", BUILD / f"liboddloaf_{library}.a"], capture_output=True,
                         text=True, check=True).stdout
    rows = re.findall(r"(\w+)\.c\.o:\s*[0-9a-f]* ([A-Za-z]) (\w+)$", out, re.MULTILINE)
    home = {name: file for file, kind, name in rows if kind in "TDBRC"}
    needs = {file: set() for file, _, _ in rows}
    for file, kind, name in rows:
        if kind == "U" and home.get(name, file) != file:
            needs[file].add(home[name])
    return needs


class Circles(unittest.TestCase):
    def test_the_check_finds_one(self):
        self.assertEqual(circles({"a": {"b", "c"}, "b": {"c"}}), {})
        self.assertEqual(set(circles({"a": {"b"}, "b": {"c"}, "c": {"b", "d"}})), {"b", "c"})
        self.assertIn("csv_rows", objects("tables")["table_rows"])

    def test_no_two_files_of_a_folder_need_each_other(self):
        rooms = guide()
        for library in rooms["daemon"] + ["client_" + room for room in rooms["client"]]:
            self.assertEqual(circles(objects(library)), {}, library)


# SQL that another engine would not take as it is: {what: (pattern, why it stays, the files that have
# it)}. What only migrations run (schema*.c) is of this engine's own files, as are those of engines.
CONFLICT = "one statement where asking first would be two; PostgreSQL has it too"
ORDER = "tells the order of a join, that no statistics of the tables are there to choose"
NOT_PLAIN = {
    "a query into JSON": (r"\bjson_\w+\(|->>?", "a list of reports for SQLite's own table of words; all series of a complaint in one "
                         "statement, where a server would be asked seventy times", {"entry_words.c", "pattern_count.c"}),
    "INDEXED BY": (r"INDEXED BY", None, set()),
    "a recursion": (r"WITH RECURSIVE", None, set()),
    "INSTEAD OF": (r"INSTEAD OF", None, set()),
    "a trigger": (r"CREATE TRIGGER", None, set()),
    "RETURNING": (r"\bRETURNING\b", "the revision given, read where it is counted up", {"ranking.c"}),
    "ON CONFLICT": (r"ON CONFLICT", CONFLICT, {
        "company_count.c", "contact.c", "entry.c", "entry_words.c", "erasures.c", "joined.c", "material_first.c", "outbox.c", "pattern_count.c",
        "ranking.c", "record_find.c", "record_sql.c", "restore.c", "store.c", "work.c"}),
    "OR IGNORE, OR REPLACE": (r"\b(?:INSERT OR|REPLACE INTO)\b", None, set()),
    "row values": (r"\([\w.]+, [\w., ]+\) *(?:[<>=]+|IN) *\(", "a page begins behind the last row of "
                   "the one before, and several columns are counted in one look at the rows",
                   {"case.c", "freshness.c", "lot_find.c", "material_first.c", "move.c", "recount.c", "retention.c"}),
    "max or min of two": (r"\b(?:max|min)\([^()]*,", None, set()),
    "the row's number": (r"\browid\b(?<!WITHOUT ROWID)", "the order in which files were accepted; the "
                         "table of words has no other key", {"entry_words.c", "entry_find.c", "export.c", "load_file.c",
                                                         "restore.c"}),
    "a table of words": (r"\bMATCH\b|'optimize'", "every engine has one of its own",
                         {"entry_words.c", "entry_find.c"}),
    "CROSS JOIN": (r"CROSS JOIN", ORDER,
                   {"case.c", "contact.c", "entry_find.c", "evidence.c", "open_harm.c", "pattern.c", "pattern_count.c", "pattern_cuts.c",
                    "retained.c"}),
    "a function of the engine": (
        r"\b(?:ifnull|iif|total|group_concat|instr|typeof|strftime|unixepoch|printf|julianday|hex|"
        r"quote|likely|unlikely|last_insert_rowid|changes)\(|\bGLOB\b",
        "PostgreSQL is given an instr()", {"entry_find.c", "outbox.c", "written_find.c"}),
}
LITERALS = re.compile(r'(?:"(?:\\.|[^"\\\n])*"\s*(?:[A-Z_][A-Z_0-9]*\s*)*)+')


def statements(text):
    """The strings of a C file, those that stand side by side as one."""
    text = re.sub(r"/\*.*?\*/", " ", text, flags=re.DOTALL)
    return ["".join(re.findall(r'"((?:\\.|[^"\\\n])*)"', run)) for run in LITERALS.findall(text)]


class Sql(unittest.TestCase):
    def test_it_is_plain_but_for_the_places_named(self):
        files = {f.name: statements(f.read_text()) for f in sources("daemon/store")
                 if f.suffix == ".c" and not f.name.startswith(("schema", "engine_", "server", "dialect"))}
        for what, (pattern, why, named) in NOT_PLAIN.items():
            have = {name for name, texts in files.items()
                    if any(re.search(pattern, text) for text in texts)}
            with self.subTest(what):
                self.assertEqual(have, named, f"say it plainly, or name the file here ({why})")

    def test_the_check_finds_each(self):
        for what, sql in (
                ("a query into JSON", "SELECT json_extract(body, '$.x') FROM t"),
                ("a recursion", "WITH RECURSIVE n(x) AS (SELECT 1)"), ("INDEXED BY", "t INDEXED BY i"),
                ("row values", "WHERE (a.b, c) < (SELECT d, e FROM t)"),
                ("max or min of two", "SELECT max(a, b) FROM t"), ("ON CONFLICT", "ON CONFLICT(a) DO"),
                ("OR IGNORE, OR REPLACE", "INSERT OR IGNORE INTO t"), ("RETURNING", "RETURNING id"),
                ("a trigger", "CREATE TRIGGER t"), ("INSTEAD OF", "t INSTEAD OF INSERT"),
                ("the row's number", "ORDER BY rowid"), ("CROSS JOIN", "a CROSS JOIN b"),
                ("a function of the engine", "SELECT total(x)")):
            found = {name for name, (pattern, _, _) in NOT_PLAIN.items() if re.search(pattern, sql)}
            self.assertEqual(found, {what}, sql)
        self.assertEqual(statements('x = "SELECT a" /* "no" */ COLUMNS\n " FROM t"; y = "z";'),
                         ["SELECT a FROM t", "z"])


PARAMETERS = 6  # at most: more are a struct
DEFINED = re.compile(r"^[a-z][\w *]*?\b(\w+)\(([^;{}]*?)\)\n\{", re.MULTILINE)


def parameters(text):
    """{function: how many parameters it has}."""
    found = {}
    for name, inside in DEFINED.findall(bare(text)):
        while re.search(r"\([^()]*\)", inside):
            inside = re.sub(r"\([^()]*\)", "", inside)
        found[name] = 0 if inside.strip() == "void" else inside.count(",") + 1
    return found


class Parameters(unittest.TestCase):
    def test_no_function_has_more_than_six(self):
        many = [f"{file.relative_to(ROOT)}: {name}()" for top in ("daemon", "client", "tests")
                for file in sorted((ROOT / top).rglob("*.[ch]"))
                for name, count in parameters(file.read_text()).items() if count > PARAMETERS]
        self.assertEqual(many, [], "what belongs together is a struct")

    def test_the_check_counts(self):
        text = ("static int f(int a, /* b, c */ int (*each)(void *, int),\n      char d[static 3])\n{\n}\n"
                "void none(void)\n{\n}\nint g(int a, int b, int c, int d, int e, int f, int g)\n{\n}\n")
        self.assertEqual(parameters(text), {"f": 3, "none": 0, "g": 7})


LINES = 60  # of a function's body at most
BODY = re.compile(r"^[a-z][\w *]*?\b(\w+)\([^;{}]*?\)\n\{\n(.*?)^\}", re.MULTILINE | re.DOTALL)


def lengths(text):
    """{function: lines between its braces}."""
    return {name: body.count("\n") for name, body in BODY.findall(text)}


class Lengths(unittest.TestCase):
    def test_a_function_can_be_seen_at_once(self):
        long = [f"{file.relative_to(ROOT)}: {name}()" for top in ("daemon", "client")
                for file in sorted((ROOT / top).rglob("*.[ch]"))
                for name, count in lengths(file.read_text()).items() if count > LINES]
        self.assertEqual(long, [], "what part of it has a name of its own?")

    def test_the_check_counts(self):
        text = "static int f(int a)\n{\n    if (a) {\n        a = 1;\n    }\n}\n\nvoid g(void)\n{\n}\n"
        self.assertEqual(lengths(text), {"f": 3, "g": 0})


# Public functions that begin otherwise: {header: {beginning: why}}.
NAMED_OTHERWISE = {
    "daemon/base/text.h": {"x": "xmalloc() and its kin are known by these names in every C program"},
    "daemon/base/when.h": {
        "clock_": "a clock, a day and a week are nouns of their own; when_day_format() reads worse",
        "day_": "as clock_", "iso_week_": "as clock_"},
    "daemon/rules/vocabulary.h": {"symptom_": "the words of one field, by number", "material_": "as symptom_"},
}
STATIC = re.compile(r"^static (?:inline )?[\w ]+?[ *](\w+)\(", re.MULTILINE)


def bare(text):
    """Without comments and strings."""
    return re.sub(r'/\*.*?\*/|"(?:\\.|[^"\\\n])*"', " ", text, flags=re.DOTALL)


def fits(name, stems):
    return any(name.lower() == stem or name.lower().startswith(stem + "_") for stem in stems)


def misnamed(folder, homes, headers):
    """(header, function) of what begins neither with its header's name nor with its .c's.
    `homes`: {function: stem of the .c}; `headers`: {stem: text}. X_inside.h is of the family X."""
    wrong = []
    for stem, text in headers.items():
        text = bare(text)
        calls = set(re.findall(r"\b(\w+)\(", text))
        declared = {name: {homes[name]} for name in calls & homes.keys()}
        declared.update({name: set() for name in STATIC.findall(text)})
        wrong += [(f"{folder}/{stem}.h", name) for name, home in sorted(declared.items())
                  if not fits(name, home | {stem, stem.removesuffix("_inside")})]
    return wrong


def public(library):
    """{function: the .c it stands in}, from the symbols."""
    out = subprocess.run(["nm", "-A", BUILD / f"liboddloaf_{library}.a"], capture_output=True,
                         text=True, check=True).stdout
    return {name: file for file, name in re.findall(r"(\w+)\.c\.o:[0-9a-f]+ T (\w+)$", out,
                                                    re.MULTILINE)}


class Names(unittest.TestCase):
    def test_a_public_function_begins_with_its_files_name(self):
        wrong, used = [], set()
        for top, rooms in guide().items():
            for room in rooms if top in ("daemon", "client") else []:
                headers = {f.stem: f.read_text() for f in sources(f"{top}/{room}")
                           if f.suffix == ".h"}
                homes = public(room if top == "daemon" else "client_" + room)
                self.assertTrue(homes, room)
                for header, name in misnamed(f"{top}/{room}", homes, headers):
                    kept = next((k for k in NAMED_OTHERWISE.get(header, {}) if name.startswith(k)), None)
                    if kept:
                        used.add((header, kept))
                    else:
                        wrong.append(f"{header}: {name}()")
        self.assertEqual(wrong, [])
        self.assertEqual({(h, k) for h, kept in NAMED_OTHERWISE.items() for k in kept} - used, set(),
                         "no longer there: take it off the list")

    def test_the_check_finds_one(self):
        headers = {"jam": "int jam_open(void);\nint spread(void);\n/* butter() */\n",
                   "jam_inside": "static inline int thin(int x) {\n    return cut(x);\n}\nint jam_x(int a);"}
        homes = {"jam_open": "jam", "spread": "spread", "cut": "knife", "butter": "jam", "jam_x": "jar"}
        self.assertEqual(misnamed("daemon/base", homes, headers),
                         [("daemon/base/jam_inside.h", "cut"), ("daemon/base/jam_inside.h", "thin")])


class Programs(unittest.TestCase):
    def needed(self, program):
        out = subprocess.run(["readelf", "-d", BUILD / program], capture_output=True, text=True,
                             check=True).stdout
        return set(re.findall(r"NEEDED.*\[lib([\w-]+)", out))

    def test_the_client_knows_no_database_and_no_statistics(self):
        self.assertIn("curl", self.needed("oddloaf"))
        self.assertEqual({n for n in self.needed("oddloaf")
                          if re.match("sqlite|gsl|event", n)}, set())
        self.assertIn("sqlite3", self.needed("oddloafd"))


if __name__ == "__main__":
    unittest.main()
