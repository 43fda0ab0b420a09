"""Do the tests notice a small change of the code?    usage: mutate.py FOLDER [--seed N] [--each N] [--units | --own | --near] [PATH…]

Makes random changes, one at a time, in a copy of the tree under FOLDER, builds the file that was changed and
runs the tests that go through the changed line, the quickest first, until one fails. Prints a table by layer
and the diff of each change that no test noticed. `--each`: so many judged of each layer or room (4); PATH…:
only there. `--units`: unit tests alone are asked, which takes minutes; what they miss a whole system may notice.
FOLDER keeps the copies with their builds and which test goes through which line (`map.json`), made anew only for
what has changed. Needs clang and llvm-cov.
`--own`: FOLDER is a build of the tree as it is, and only the changed layer's unit tests that go through the changed
function are asked, the quickest first, each linked with the changed file before what was built: a few seconds a
change, no copy. Which do, is asked of the built programs as they are (gone_through.c) and kept in FOLDER/gone_through.
`--near`: and then those of all other layers, counted apart. `--whole`: the few tests
of whole programs in WHOLE are asked about what they miss, counted apart. Others may notice more.

A comparison is turned or moved by one, && and || or + and - are exchanged, a condition is negated, a call
whose result nobody uses is dropped, an error's code becomes 0, a number changes; in SQL, too. Not changed:
what is said (texts, formats, the log, hints), what only frees, room of arrays, assertions. Not counted: what
does not compile, and what compiles to the same object code.
`mutate_same.txt` has the changes that change nothing, each with its reason: path, line, line changed.
"""
import argparse
import concurrent.futures
import difflib
import functools
import hashlib
import json
import os
import pathlib
import random
import re
import resource
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parents[1]
SAME = ROOT / "tests" / "mutate_same.txt"
# and what makes zeros of zeros (glibc)
RELEASES = r"(pthread_(mutex|cond)_init|x?free|\w+_free|\w+_unref|json_decref|f?close|\w+_close|sqlite3_finalize|\w+_destroy|\w+_done)"
# a few seconds each, the quickest first
WHOLE = {"client": ("client/pages", "client/commands", "client/log", "client/completion", "client/interview"),
         "daemon": ("e2e/query", "fault/read", "e2e/story", "e2e/answers")}
ALWAYS = WHOLE["client"]  # the client's own tests run it whole
SAYS = r"(log_\w+|error_hint|printf|fputs|puts|fprintf|putc|putchar|fputc|fflush|assert|static_assert|va_\w+)"

# ---- what may change ----


def masked(text):
    """The text with comments, preprocessor lines and what stands in quotes blank; of SQL the other way."""
    pattern = r'//[^\n]*|/\*.*?\*/|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])+\'|^[ \t]*#(?:\\\n|[^\n])*'
    blank = lambda m: re.sub(r"[^\n]", " ", m.group())  # noqa: E731
    code = re.sub(pattern, blank, text, flags=re.S | re.M)
    sql = list(re.sub(r"[^\n]", " ", text))
    for found in re.finditer(r'(?:"(?:\\.|[^"\\\n])*"\s*)+', text):
        if re.match(r'"\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\b', found.group()):
            sql[found.start():found.end()] = found.group()
    return code, "".join(sql)


def other_number(rng):
    def change(found):
        number, suffix = re.match(r"([\d.e+-]+)(\w*)", found.group()).groups()
        if re.search(r"[.e]", number):
            return (f"{float(number) * rng.choice((0.5, 2)):g}" if float(number) else "0.5") + suffix
        value = int(number)
        new = value + rng.choice((-1, 1)) if value <= 16 else value // 2
        return f"{max(new, 0) if value else 1}{suffix}"

    return change


TURNED = {"<": (">=", "<="), ">": ("<=", ">="), "<=": (">", "<"), ">=": ("<", ">"), "==": ("!=",), "!=": ("==",)}


def kinds(rng):
    """name: (pattern, what it becomes, in SQL?)"""
    word = {"AND": "OR", "OR": "AND", "IS NULL": "IS NOT NULL", "IS NOT NULL": "IS NULL", "DESC": "ASC",
            "<": "<=", ">": ">=", "<=": "<", ">=": ">", "count(*)": "1", "min(": "max(", "max(": "min("}
    return {
        "comparison": (r"(?<= )(<|>|<=|>=|==|!=)(?= )", lambda m: rng.choice(TURNED[m.group()]), False),
        "and-or": (r"&&|\|\|", lambda m: "||" if m.group() == "&&" else "&&", False),
        "plus-minus": (r"(?<=[\w)\]] )[+-](?= [\w(*&])|(?<=[\w)\]] )[+-](?== )",
                       lambda m: "-" if m.group() == "+" else "+", False),
        "condition": (r"(?<=\bif )\((?=.)", None, False),
        "call": (r"(?<=[;{})]\n)([ \t]+)(?!return\b|if\b|while\b|for\b|switch\b)([a-z]\w+)\([^;{}]*\);(?=\n)",
                 lambda m: m.group(1) + ";" + "\n" * m.group().count("\n"), False),
        "error": (r"(?<=\breturn )(rc|error_set\([^;]*\)|-1|true|false)(?=;)",
                  lambda m: {"true": "false", "false": "true"}.get(m.group(), "0"), False),
        "step": (r"(?<=[\s(])if \(!rc\)(?=\n)", lambda m: "if (1)", False),
        "number": (r"(?<![\w.\[\"-])\d+(\.\d+)?(e-?\d+)?[fuUlL]*(?![\w.\]x])", other_number(rng), False),
        "sql": (r"\bAND\b|\bOR\b|IS NULL|IS NOT NULL|\bDESC\b|(?<= )[<>]=?(?= )|count\(\*\)|\b(?:min|max)\(",
                lambda m: word[m.group()], True),
    }


def end_of_bracket(code, start):
    depth = 0
    for at in range(start, len(code)):
        depth += {"(": 1, ")": -1}.get(code[at], 0)
        if depth == 0:
            return at + 1
    return None


def wanted(kind, code, found):
    line = code[code.rfind("\n", 0, found.start()) + 1:(code + "\n").find("\n", found.end())]
    if re.match(r"\s*" + SAYS + r"\(", line) or "assert(" in line:
        return False
    if re.match(r"\s*(?:\w+ )+\w+(?:\[[^\]]*\])+;", line):  # how much room an array has
        return False
    if kind == "call":
        return not re.fullmatch(RELEASES + "|" + SAYS, found.group(2))
    if kind == "number":  # buffers, shifts and exit codes of text are none of it; nor a table of published figures
        return not re.search(r"\[\w*\]\s*=\s*\{|\{0\}|\[\d+\];|xcalloc\(1, ", line) and line.count(",") < 6
    return True


@functools.lru_cache(None)
def places_of(path):
    """Its text, and all that may change of it, by kind: (start, end, what was found)."""
    text = (ROOT / path).read_text()
    code, sql = masked(text)
    found = {}
    for kind, (pattern, _, in_sql) in kinds(None).items():
        for m in re.finditer(pattern, sql if in_sql else code):
            if not wanted(kind, sql if in_sql else code, m):
                continue
            if kind == "condition":
                end = end_of_bracket(code, m.start())
                if end:
                    found.setdefault(kind, []).append((m.start(), end, None))
            else:
                found.setdefault(kind, []).append((m.start(), m.end(), m))
    return text, found


def layer_of(path):
    return "/".join(path.split("/")[:2])


def sample(rng, each, only):
    """Changes of each layer, more than are judged: (path, line number, changed text)."""
    listed = subprocess.run(["git", "ls-files", "daemon/*/*.c", "client/*/*.c"], cwd=ROOT, check=True,
                            capture_output=True, text=True).stdout.split()
    same = {tuple(part.strip() for part in row.split("\t")[:3])
            for row in SAME.read_text().splitlines() if row.count("\t") == 3}
    layers = {}
    for path in listed:
        if not only or any(path == one or path.startswith(one.rstrip("/") + "/") for one in only):
            layers.setdefault(layer_of(path), []).append(path)
    for layer, paths in layers.items():
        layers[layer] = changes_of_layer(rng, paths, each, same)
    return layers


def changes_of_layer(rng, paths, each, same):
    sizes = [(ROOT / path).stat().st_size for path in paths]
    taken, chosen = set(), []
    for _ in range(each * 50):
        if len(chosen) == each:
            break
        path = rng.choices(paths, sizes)[0]
        text, by_kind = places_of(path)
        if not by_kind:
            continue
        kind = rng.choice(sorted(by_kind))
        start, end, found = rng.choice(by_kind[kind])
        new = kinds(rng)[kind][1](found) if found else f"(!{text[start:end]})"
        changed = text[:start] + new + text[end:]
        was, now = (next_line(t, start) for t in (text, changed))
        if (path, was, now) not in same and (path, start) not in taken:
            taken.add((path, start))
            chosen.append((path, text.count("\n", 0, start) + 1, changed))
    return chosen


def next_line(text, at):
    return text[text.rfind("\n", 0, at) + 1:(text + "\n").find("\n", at)].strip()


# ---- a copy of the tree, its build and its tests ----


class Copy:
    def __init__(self, folder, units):
        self.tree, self.build, self.units = folder, folder / "build" / "plain", units

    def make(self):
        self.tree.mkdir(parents=True, exist_ok=True)
        listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT,
                                check=True, capture_output=True, text=True).stdout.split("\0")[:-1]
        for name in listed:
            self.put(name, (ROOT / name).read_bytes() if (ROOT / name).exists() else None)
        for old in self.tree.rglob("*"):
            if old.is_file() and not {".git", "__pycache__", "build"} & set(old.relative_to(self.tree).parts) \
                    and str(old.relative_to(self.tree)) not in set(listed):
                old.unlink()
        if not (self.tree / ".git").exists():  # tests ask git for the files there are
            subprocess.run("git init -q && git add -A", shell=True, cwd=self.tree, check=True)
        gold = " -fuse-ld=gold" if shutil.which("ld.gold") else ""
        # without debugging's data, so that object code that is the same looks the same
        self.configure(self.build, "-DODDLOAF_WERROR=ON", "-DCMAKE_BUILD_TYPE=Release",
                       f"-DCMAKE_EXE_LINKER_FLAGS={gold}")
        assert self.builds("oddloafd", "oddloaf", "tests/route_table"), "it does not build unchanged"

    def configure(self, build, *options):
        subprocess.run(["cmake", "-S", self.tree, "-B", build, "-G", "Ninja", "-DODDLOAF_BENCHES=OFF", *options],
                       check=True, capture_output=True)

    def put(self, name, data):
        path = self.tree / name
        if data is None:
            path.unlink(missing_ok=True)
        elif not path.exists() or path.read_bytes() != data:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            shutil.copymode(ROOT / name, path)

    def builds(self, *targets, build=None):
        return subprocess.run(["ninja", "-j1" if targets else "-j2", "-C", build or self.build, *targets],
                              capture_output=True).returncode == 0

    def tests(self, build=None):
        build = build or self.build
        shown = subprocess.run(["ctest", "--test-dir", build, "--show-only=json-v1"], check=True,
                               capture_output=True, text=True).stdout
        commands = {}  # ctest names no command of what is not built yet
        for file in build.rglob("CTestTestfile.cmake"):
            for name, words in re.findall(r"^add_test\(\[=\[(.+?)\]=\] (.*)\)$", file.read_text(), re.M):
                commands[name] = shlex.split(words)
        tests = [Test(one, commands[one["name"]], self.tree, build) for one in json.loads(shown)["tests"]]
        return {one.name: one for one in tests if not one.skipped and (one.is_unit or not self.units)}


class Test:
    def __init__(self, shown, command, tree, build):
        properties = {one["name"]: one["value"] for one in shown["properties"]}
        self.name, self.command, self.build = shown["name"], command, build
        self.env = dict(one.split("=", 1) for one in properties.get("ENVIRONMENT", []))
        self.folder = properties.get("WORKING_DIRECTORY")
        self.layer = ("" if self.name.startswith("client/") else "daemon/") + self.name.rpartition("/")[0]
        if self.layer == "daemon/postgresql":  # the same programs on a server
            self.layer = "daemon/" + self.name.partition("/")[2].partition("_")[0]
        words = [*self.command, *self.env.values()]
        self.is_unit = self.command[0].startswith(f"{build}/")
        self.targets = [word[len(f"{build}/"):] for word in words if word.startswith(f"{build}/")]
        if str(build) in words:
            self.targets += ["oddloafd", "oddloaf", "tests/route_table"]
        self.scripts = [word for word in words if word.startswith(f"{tree}/tests/")]
        # those that look at the text, and that kill what would tell which lines it went through
        self.skipped = not self.targets or "slow" in properties.get("LABELS", []) or self.name in (
            "house", "walks", "unused_functions", "fault/kill") or "system/" in self.name
        self.is_long = "once" in properties.get("LABELS", [])
        self.trusted = False
        self.tmp = build / "tmp" / self.name.replace("/", "-")

    def run(self, cpu_s, wall_s, env=None, program=None, words=None):
        """The exit code within so much of the processor's time (a busy machine is no reason) and of the clock's."""
        limit = lambda: resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 1))  # noqa: E731
        self.tmp.mkdir(parents=True, exist_ok=True)
        words = words or self.command
        done = subprocess.Popen([program or words[0], *words[1:]], cwd=self.folder,
                                start_new_session=True, stdin=subprocess.DEVNULL,
                                env={**os.environ, **self.env, "TMPDIR": str(self.tmp), **(env or {})},
                                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=limit)
        try:
            return done.wait(wall_s)
        except subprocess.TimeoutExpired:
            return -1
        finally:
            try:
                os.killpg(done.pid, signal.SIGKILL)
            except ProcessLookupError:
                pass
            done.wait()
            shutil.rmtree(self.tmp, ignore_errors=True)


# ---- which test goes through which line ----


class Map:
    """Of each test: how long it takes, and the lines it goes through, by path. One that fails unchanged has none."""

    def __init__(self, file):
        self.file = file
        self.known = json.loads(file.read_text()) if file.exists() else {}

    def learn(self, copy, jobs):
        build = copy.tree / "build" / "lines"
        copy.configure(build, "-DCMAKE_C_COMPILER=clang", "-DCMAKE_BUILD_TYPE=Lines",
                       "-DCMAKE_C_FLAGS=-O0 -fprofile-instr-generate -fcoverage-mapping")
        assert copy.builds(build=build), "it does not build for coverage"
        tests = copy.tests(build)
        self.known = {name: one for name, one in self.known.items() if name in tests}
        new = [one for one in tests.values() if self.known.get(one.name, {}).get("key") != self.key_of(one)
               or not self.known[one.name]["lines"]]
        with concurrent.futures.ThreadPoolExecutor(jobs) as pool:
            for test, found in zip(new, pool.map(lambda one: self.lines_of(one, copy.tree), new)):
                self.known[test.name] = {"key": self.key_of(test), **found}
                self.file.write_text(json.dumps(self.known))
                if not found["lines"]:
                    print(f"left out, fails or shows nothing unchanged: {test.name}", flush=True)

    @staticmethod
    def key_of(test):
        digest = hashlib.sha256()
        for file in [*(test.build / target for target in test.targets), *test.scripts]:
            digest.update(pathlib.Path(file).read_bytes() if pathlib.Path(file).is_file() else b"")
        return digest.hexdigest()

    @staticmethod
    def lines_of(test, tree):
        raw = test.build / "raw" / test.name.replace("/", "-")
        shutil.rmtree(raw, ignore_errors=True)
        begin = time.monotonic()
        code = test.run(600, 900, {"LLVM_PROFILE_FILE": f"{raw}/%m.profraw"})
        took = time.monotonic() - begin  # on a busy machine one may fail for want of time
        code = code and test.run(600, 900, {"LLVM_PROFILE_FILE": f"{raw}/%m.profraw"})
        files = list(raw.glob("*.profraw")) if raw.exists() else []
        lines = {}
        if code == 0 and files:
            merged = raw / "all"
            subprocess.run(["llvm-profdata", "merge", "--failure-mode=all", "-o", merged, *files], capture_output=True)
            programs = [str(test.build / t) for t in dict.fromkeys(test.targets) if not t.endswith(".so")]
            objects = [word for one in programs[1:] for word in ("-object", one)]
            told = subprocess.run(["llvm-cov", "export", "-format=lcov", f"-instr-profile={merged}", programs[0],
                                   *objects], capture_output=True, text=True).stdout
            for row in told.splitlines():
                if row.startswith("SF:"):
                    path = os.path.relpath(row[3:], tree)
                elif row.startswith("DA:") and not row.endswith(",0") and path.startswith(("daemon/", "client/")):
                    lines.setdefault(path, []).append(int(row[3:].split(",")[0]))
        shutil.rmtree(raw, ignore_errors=True)
        return {"took": took, "lines": lines}

    def through(self, path, line):
        """The tests that go through the line, the quickest first; of a table or a constant, through its file."""
        here = [name for name, one in self.known.items() if line in one["lines"].get(path, ())]
        if not here and not self.is_code(path, line):
            here = [name for name, one in self.known.items() if path in one["lines"]]
        return sorted(here, key=lambda name: self.known[name]["took"])

    @staticmethod
    def is_code(path, line):
        """Within a function, as our style has it: after a brace of its own line, before one that ends it."""
        for row in reversed((ROOT / path).read_text().splitlines()[:line - 1]):
            if row[:1] in "{}":
                return row == "{"
        return False


# ---- the judgement ----


def object_of(path):
    side, layer, _ = path.split("/", 2)
    library = f"oddloaf_{layer}" if side == "daemon" else f"oddloaf_client_{layer}"
    return f"CMakeFiles/{library}.dir/{path}.o"


def judge(copy, tests, lines, cap_s, change):
    """'noticed', 'unnoticed', 'time up' (not all were run), 'not built' or 'the same', and by which test."""
    path, line, changed = change
    original, code = (copy.tree / path).read_bytes(), copy.build / object_of(path)
    before = code.read_bytes()
    (copy.tree / path).write_text(changed)
    try:
        if not copy.builds(object_of(path)):
            return "not built", ""
        if code.read_bytes() == before:
            return "the same", ""
        until = time.monotonic() + cap_s
        for name in lines.through(path, line):
            if time.monotonic() > until:
                return "time up", ""
            if name not in tests or not notices(copy, tests[name], lines.known[name]["took"]):
                continue
            if tests[name].is_unit or passes_unchanged(copy, tests[name], (path, original, changed)):
                return "noticed", name
            print(f"left out, fails unchanged: {tests.pop(name).name}", flush=True)
        return "unnoticed", ""
    finally:
        (copy.tree / path).write_bytes(original)
        copy.builds(object_of(path))


def passes_unchanged(copy, test, of):
    """Asked once: a whole system may fail for reasons of the copy or of the machine."""
    path, original, changed = of
    if not test.trusted:
        (copy.tree / path).write_bytes(original)
        test.trusted = copy.builds(*test.targets) and test.run(600, 900) in (0, 77)
        (copy.tree / path).write_text(changed)
    return test.trusted


def notices(copy, test, took):
    if not copy.builds(*test.targets):
        return True
    passes = lambda: test.run(max(10, 5 * took), max(60, 20 * took)) in (0, 77)  # noqa: E731
    return not passes() and (test.is_unit or not passes())


# ---- which unit test goes through which function, in the build there is ----


class GoneThrough:
    """By test: how long it takes and the functions it goes through, of a static one with its file's name before it.
    One that cannot be asked so is taken for going through all."""

    def __init__(self, build):
        self.folder, self.library = build / "gone_through", None
        self.known = {}

    def of(self, test, wanted):
        """What was kept stands while the test is as it was and the function was there: what else changed, few go through."""
        program = pathlib.Path(test.command[0])
        if test.name not in self.known:
            kept = self.folder / test.name.replace("/", "-")
            known = json.loads(kept.read_text()) if kept.exists() else {}
            asked = kept.exists() and kept.stat().st_mtime
            built = max((one.stat().st_mtime for one in (self.folder.parent / "tests").glob(
                f"**/CMakeFiles/{program.name}.dir/**/*.o")), default=program.stat().st_mtime)
            current = bool(asked and asked >= program.stat().st_mtime)
            if "had" not in known or asked < built:
                known, current = self.asked(test, program, kept), True
            self.known[test.name] = self.sets(known, current)
        if not self.known[test.name]["current"] and not wanted <= self.known[test.name]["had"]:
            self.known[test.name] = self.sets(self.asked(test, program, self.folder / test.name.replace("/", "-")), True)
        return self.known[test.name]

    def asked(self, test, program, kept):
        kept.parent.mkdir(exist_ok=True)
        known = self.ask(test, program)
        kept.write_text(json.dumps(known))
        return known

    @staticmethod
    def sets(known, current):
        return {"took": known["took"], "names": None if known["names"] is None else set(known["names"]),
                "had": set(known["had"]), "current": current}

    @functools.lru_cache(None)
    def functions(self, program):
        rows = (row.rsplit(maxsplit=1) for row in self.rows_of(program))
        return {sys.intern(row[1].split(".")[0]) for row in rows if row and " FUNC " in row[0] and " UND" not in row[0]}

    def by_method(self, test, program):
        """Of a test of the whole client: the functions that each of its methods goes through."""
        kept, script = self.folder / test.name.replace("/", "-"), pathlib.Path(test.command[-1])
        if not kept.exists() or kept.stat().st_mtime < max(program.stat().st_mtime, script.stat().st_mtime):
            kept.parent.mkdir(exist_ok=True)
            rows = self.rows_of(program)
            with tempfile.TemporaryDirectory() as folder:
                test.run(120, 600, {"GONE_THROUGH_FOLDER": folder, "GONE_THROUGH_LIBRARY": self.made(),
                                    "GONE_THROUGH_ROWS": str(len(rows))})
                kept.write_text(json.dumps({one.name.removeprefix("__main__."): sorted(self.names(rows, one.read_bytes()))
                                            for one in sorted(pathlib.Path(folder).iterdir())}))
        return json.loads(kept.read_text())

    @staticmethod
    def rows_of(program):
        told = subprocess.run(["readelf", "-sW", program], check=True, capture_output=True, text=True).stdout
        return told.partition("'.symtab'")[2].splitlines()[2:]

    def ask(self, test, program):
        rows, out = self.rows_of(program), self.folder / f"rows-{os.getpid()}"
        out.write_bytes(bytes(len(rows)))
        begin = time.monotonic()
        code = test.run(120, 600, {"GONE_THROUGH_PROGRAM": str(program), "GONE_THROUGH": str(out),
                                  "LD_PRELOAD": self.made()})
        took, gone = time.monotonic() - begin, out.read_bytes()
        out.unlink()
        return {"took": took, "names": sorted(self.names(rows, gone)) if code == 0 else None,
                "had": sorted(self.names([row for row in rows if " FUNC " in row or " FILE " in row], b"\1" * len(rows)))}

    @staticmethod
    def names(rows, gone):
        file = ""
        for row, was in zip(rows, gone):
            _, _, _, kind, bind, _, _, name = (row.split(maxsplit=7) + [""] * 8)[:8]
            file = name if kind == "FILE" else file
            if was:
                yield f"{file}:" * (bind == "LOCAL") + name.split(".")[0]

    def made(self):
        library = str(self.folder / "gone_through.so")
        if not self.library:
            subprocess.run(["cc", "-O1", "-shared", "-fPIC", ROOT / "tests" / "gone_through.c", "-o", library], check=True)
        self.library = library
        return library


def function_at(text, line):
    """The name of the function about the line, '' outside of any: braces of their own lines, as our style has it."""
    rows = text.splitlines()[:line]
    for at in range(len(rows) - 1, 0, -1):
        if rows[at][:1] == "}" and at < len(rows) - 1:
            return ""
        if rows[at] == "{":
            head = at
            while head and rows[head - 1][:1] not in ("", "}", "#", "/"):
                head -= 1
            found = re.search(r"(\w+)\(", " ".join(rows[head:at]))
            return found.group(1) if found else ""
    return ""


# ---- the layer's own tests, in the build there is ----


class Own:
    """The changed file is compiled elsewhere and linked before the libraries: the build stays as it is."""

    def __init__(self, build, layers, whole, near=False):
        self.gone, self.took, self.near = GoneThrough(build), {}, near
        self.build, self.tmp = build, pathlib.Path(tempfile.mkdtemp(prefix="mutate-"))
        rows = json.loads((build / "compile_commands.json").read_text())
        self.compiles = {os.path.relpath(row["file"], ROOT): shlex.split(row["command"]) for row in rows}
        plain = Copy(build, True)
        plain.tree, plain.build = ROOT, build
        subprocess.run(["cmake", build], check=True, capture_output=True)  # tests that are new
        known = plain.tests()
        served = {test.layer for name, test in known.items() if name.startswith("postgresql/")}
        of_server = served & set(layers) and subprocess.run(
            ["ctest", "--test-dir", build, "-R", "^postgresql/start$"], capture_output=True).returncode == 0
        self.tests = {name: test for name, test in known.items()
                      if (near or test.layer in layers) and "/fuzz" not in name
                      and (of_server if name.startswith("postgresql/") else not test.is_long)}
        assert plain.builds(*[target for test in self.tests.values() for target in test.targets]), "it does not build"
        self.linker = ["-fuse-ld=gold"] if shutil.which("ld.gold") else []
        self.trusted, self.names = set(), {}
        plain.units = False
        asked = WHOLE["client"] + WHOLE["daemon"] if whole else ALWAYS
        self.whole = {name: test for name, test in plain.tests().items() if name in asked}
        self.folder = self.tmp / "whole"
        self.folder.mkdir()
        for one in build.iterdir():
            (self.folder / one.name).symlink_to(one)

    @functools.lru_cache(None)
    def link_of(self, target):
        told = subprocess.run(["ninja", "-C", self.build, "-t", "commands", "-s", target], check=True,
                              capture_output=True, text=True).stdout
        return shlex.split(told.strip().splitlines()[-1].removeprefix(": && ").removesuffix(" && :"))

    def compile(self, path, text, level):
        """The object file, None if it does not build."""
        source, out = self.tmp / pathlib.Path(path).name, self.tmp / "changed.o"
        source.write_text(text)
        words = list(self.compiles[path])
        words[words.index("-o") + 1], words[-1] = str(out), str(source)
        words[-1:-1] = ["-g0", "-Wno-error", level, "-iquote", str((ROOT / path).parent)]
        done = subprocess.run(words, cwd=self.build, capture_output=True, env={**os.environ, "CCACHE_DISABLE": "1"})
        return None if done.returncode else out.read_bytes()

    def judge(self, change, cap_s):
        path, line, changed = change
        if not self.compile(path, changed, "-O0"):
            return "not built", ""
        spent_s = 0
        for name in self.through(path, line):
            if spent_s > cap_s:
                return "time up", ""
            begin = time.monotonic()
            notices = self.notices(name)
            took_s = time.monotonic() - begin
            self.took.setdefault(name, took_s)
            spent_s += took_s
            if notices:
                return "noticed" if self.tests[name].layer == layer_of(path) else "near", name
        was, now = (self.compile(path, text, "-O2") for text in ((ROOT / path).read_text(), changed))
        if now == was or not now:
            return ("the same" if now else "not built"), ""
        by = self.noticed_whole(path, line)
        return ("whole" if by else "unnoticed"), by

    def through(self, path, line):
        """Those of the layer first, of these the one of the file's name, and then the quickest. Whether others go
        through it is asked when these are through; on a server only of what the test on a file does not."""
        own, here = f"{layer_of(path).removeprefix('daemon/')}/test_{pathlib.Path(path).stem}", []
        of_server = lambda name: name.startswith("postgresql/")  # noqa: E731
        for near, server in ((False, False), (False, True), (True, False), (True, True))[:4 if self.near else 2]:
            some = [name for name, test in self.tests.items() if (test.layer != layer_of(path)) == near
                    and of_server(name) == server and test.layer.split("/")[0] == path.split("/")[0]
                    and name.removeprefix("postgresql/").replace("_", "/test_", 1) not in here]
            asked = self.gone_through(path, line, some) if self.gone else self.having(path, some)
            yield from sorted(asked, key=lambda name: (name != own, self.took.get(name, 0),
                                                       -len(os.path.commonprefix((name, own)))))
            here += asked

    def having(self, path, some):
        names = self.names_in(self.tmp / "changed.o", "--extern-only")
        return [name for name in some if names & self.names_in(self.build / self.tests[name].targets[0])]

    def functions_at(self, path, line):
        """The function about the line; if the compiler left none of its name, all of the file."""
        function, file = function_at((ROOT / path).read_text(), line), pathlib.Path(path).name
        told = subprocess.run(["nm", "--defined-only", self.tmp / "changed.o"], check=True, capture_output=True, text=True)
        kinds = {name: kind for _, kind, name in (row.split() for row in told.stdout.splitlines()) if kind in "tT"}
        keys = {name: f"{file}:" * (kind == "t") + name for name, kind in kinds.items()}
        built = self.names_in(next(self.build.glob(f"CMakeFiles/*.dir/{path}.o")))
        return {keys[function]} if function in keys and function in built else set(keys.values())

    def gone_through(self, path, line, some):
        wanted, asked = self.functions_at(path, line), {}
        if not wanted:
            return self.having(path, some)
        for name in some:
            functions = self.gone.functions(self.tests[name].command[0])
            has = {one for one in wanted if one.rpartition(":")[2] in functions}
            if has:
                asked[name] = self.gone.of(self.tests[name], has)
        self.took.update((name, one["took"]) for name, one in asked.items())
        return [name for name, one in asked.items() if one["names"] is None or wanted & one["names"]]

    def names_in(self, file, *options):
        if file in self.names:
            return self.names[file]
        told = subprocess.run(["nm", "--defined-only", *options, file], check=True, capture_output=True, text=True).stdout
        names = {row.split()[-1] for row in told.splitlines()}
        if not options:
            self.names[file] = names
        return names

    def linked(self, name, program):
        # of what a test has a stand-in of its own for, that is the first
        words = list(self.link_of(self.tests[name].targets[0] if name in self.tests else name))
        at = words.index("-o")
        words[at:at + 2] = [str(self.tmp / "changed.o"), *self.linker, "-Wl,-S,-z,muldefs", "-o", str(program)]
        subprocess.run(words, cwd=self.build, check=True, capture_output=True)
        return program

    def methods(self, test, path, line):
        """Those of a test of the whole client that go through the function, None if all are asked."""
        wanted = self.functions_at(path, line) if self.gone and path.startswith("client/") else None
        if not wanted:
            return None
        by = self.gone.by_method(test, self.build / "oddloaf")
        return [name for name, names in by.items() if wanted & set(names)]

    def noticed_whole(self, path, line):
        """The name of the test of a whole program that fails, '' if none does."""
        side = path.split("/")[0]
        program = self.folder / {"client": "oddloaf", "daemon": "oddloafd"}[side]
        program.unlink()
        self.linked(program.name, program)
        try:
            for name in [name for name in WHOLE[side] if name in self.whole]:
                test, methods = self.whole[name], self.methods(self.whole[name], path, line)
                words = [*self.instead(test.command), *(methods or ())]
                passes = lambda: test.run(120, 240, self.instead(test.env), words=words) in (0, 77)  # noqa: E731,B023
                if methods == [] or passes() or passes():  # a busy machine is no reason
                    continue
                if name in self.trusted or test.run(120, 240, words=[*test.command, *(methods or ())]) in (0, 77):
                    self.trusted.add(name)
                    return name
                print(f"left out, fails unchanged: {self.whole.pop(name).name}", flush=True)
            return ""
        finally:
            program.unlink()
            program.symlink_to(self.build / program.name)

    def instead(self, of):
        """The folder with the changed program for the build's."""
        if isinstance(of, dict):
            return dict(zip(of, self.instead(list(of.values()))))
        programs = {f"{self.build}": self.folder, f"{self.build}/oddloaf": self.folder / "oddloaf"}
        words = [str(programs.get(word, word)) for word in of]
        return words + ["--failfast"] * (words[-1:] != [] and words[-1].endswith("_test.py"))

    def notices(self, name):
        program = self.linked(name, self.tmp / "test")
        cpu_s = max(4, 3 * self.took.get(name, 0))
        wall_s = max(60, 20 * self.took.get(name, 0))  # of one that waits for ever
        passes = lambda what: self.tests[name].run(cpu_s, wall_s, program=what) in (0, 77)  # noqa: E731
        if passes(program):
            return False
        if name not in self.trusted and not passes(None):
            print(f"left out, takes long or fails unchanged: {self.tests.pop(name).name}", flush=True)
            return False
        self.trusted.add(name)
        return True


class Judged:
    """What is judged next: of the layer of which the fewest are; what is not counted is replaced."""

    def __init__(self, layers, each, minutes):
        self.waiting = {layer: list(reversed(changes)) for layer, changes in layers.items()}
        self.started, self.each, self.results = dict.fromkeys(layers, 0), each, []
        self.until = time.monotonic() + 60 * minutes
        self.lock = threading.Lock()

    def next(self):
        with self.lock:
            if time.monotonic() > self.until:
                return None
            open_ = [layer for layer, n in self.started.items() if n < self.each and self.waiting[layer]]
            if not open_:
                return None
            layer = min(open_, key=self.started.get)
            self.started[layer] += 1
            return layer, self.waiting[layer].pop()

    def told(self, layer, change, verdict, by, took_s):
        with self.lock:
            self.results.append((layer, verdict))
            if verdict in ("not built", "the same"):
                self.started[layer] -= 1
            print(f"{verdict:10} {change[0]}:{change[1]} {by} ({took_s:.0f} s)", flush=True)
            if verdict in ("unnoticed", "time up"):
                sys.stdout.writelines(diff(change, 2))
                sys.stdout.flush()


def diff(change, around):
    path, _, changed = change
    return difflib.unified_diff((ROOT / path).read_text().splitlines(True), changed.splitlines(True), path, path,
                                n=around)


def worker(judged, judge_one):
    while one := judged.next():
        layer, change = one
        begin = time.monotonic()
        verdict, by = judge_one(change)
        judged.told(layer, change, verdict, by, time.monotonic() - begin)


def table(results):
    verdicts = ("noticed", "near", "whole", "unnoticed", "time up", "not built", "the same")
    print(f"\n{'layer':20}" + "".join(f"{verdict:>11}" for verdict in verdicts) + f"{'share':>8}")
    for layer in [*dict.fromkeys(layer for layer, _ in results), "all"]:
        mine = [verdict for one, verdict in results if layer in (one, "all")]
        counts = [mine.count(verdict) for verdict in verdicts]
        print(f"{layer:20}" + "".join(f"{count:11}" for count in counts) + f"{sum(counts[:3]) / max(sum(counts[:5]), 1):8.2f}")


def main():
    parse = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parse.add_argument("folder", type=pathlib.Path)
    parse.add_argument("path", nargs="*")
    parse.add_argument("--seed", type=int, default=1)
    parse.add_argument("--each", type=int, default=4)
    parse.add_argument("--cap", type=float, default=240, help="seconds a change; of those that it ends not all tests were run")
    parse.add_argument("--minutes", type=float, default=1e6, help="no change is begun later; layers take turns")
    parse.add_argument("--jobs", type=int, default=2)
    parse.add_argument("--units", action="store_true", help="unit tests alone")
    parse.add_argument("--own", action="store_true", help="unit tests of the layer alone, in the build FOLDER")
    parse.add_argument("--near", action="store_true", help="then the unit tests of other layers that go through the function")
    parse.add_argument("--whole", action="store_true", help="with --own: then some whole programs")
    parse.add_argument("--list", action="store_true", help="the changes, nothing run")
    o = parse.parse_intermixed_args()
    layers = sample(random.Random(o.seed), 3 * o.each, o.path)
    if o.list:
        for change in [one for changes in layers.values() for one in changes[:o.each]]:
            sys.stdout.writelines(diff(change, 0))
        return
    folder = o.folder.resolve()
    judged = Judged(layers, o.each, o.minutes)
    if o.own or o.near:
        own = Own(folder, layers, o.whole, o.near)
        print(f"seed {o.seed}, {o.each} of each of {len(layers)}, {len(own.tests)} tests", flush=True)
        worker(judged, lambda change: own.judge(change, o.cap))
        shutil.rmtree(own.tmp)
        subprocess.run(["ctest", "--test-dir", folder, "-R", "^postgresql/stop$"], capture_output=True)
        return table(judged.results)
    copies = [Copy(folder / str(n), o.units) for n in range(o.jobs)]
    for copy in copies:
        copy.make()
    lines = Map(folder / ("map-units.json" if o.units else "map.json"))
    lines.learn(copies[0], o.jobs)
    print(f"seed {o.seed}, {o.each} of each of {len(layers)}, {len(lines.known)} tests", flush=True)
    with concurrent.futures.ThreadPoolExecutor(o.jobs) as pool:
        for done in [pool.submit(worker, judged, functools.partial(judge, copy, copy.tests(), lines, o.cap))
                     for copy in copies]:
            done.result()
    table(judged.results)


main()
