"""Do the tests notice a small change of the code?    usage: mutate.py FOLDER [--seed N] [--each N] [PATH…]

Makes random changes, one at a time, in a copy of the tree under FOLDER (kept, with its build, for the
next run), builds what it takes, runs the tests likeliest to notice first, and prints a table by layer and
the diff of each change that no test noticed. `--each` changes a layer or room (4); PATH…: only there.

A comparison is turned or moved by one, && and || or + and - are exchanged, a condition is negated, a call
whose result nobody uses is dropped, an error's code becomes 0, a number changes; in SQL, too. Not changed:
what is said (texts, formats, the log, hints), what only frees, room of arrays, assertions.
`mutate_same.txt` has the changes that change nothing, each with its reason: path, line, line changed.
"""
import argparse
import concurrent.futures
import difflib
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
import time

ROOT = pathlib.Path(__file__).resolve().parents[1]
SAME = ROOT / "tests" / "mutate_same.txt"
RELEASES = r"(x?free|\w+_free|\w+_unref|json_decref|f?close|\w+_close|sqlite3_finalize|\w+_destroy|\w+_done)"
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
                 lambda m: m.group(1) + ";", False),
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
    if kind == "call":
        return not re.fullmatch(RELEASES + "|" + SAYS, found.group(2))
    if kind == "number":  # buffers, shifts and exit codes of text are none of it; nor a table of published figures
        return not re.search(r"\[\w*\]\s*=\s*\{|\{0\}|\[\d+\];", line) and line.count(",") < 6
    return True


def changes_of(path, rng):
    """All changes of a file, by kind: (start, end, new text)."""
    text = (ROOT / path).read_text()
    code, sql = masked(text)
    found = {}
    for kind, (pattern, becomes, in_sql) in kinds(rng).items():
        for m in re.finditer(pattern, sql if in_sql else code):
            if not wanted(kind, sql if in_sql else code, m):
                continue
            if kind == "condition":
                end = end_of_bracket(code, m.start())
                if end:
                    found.setdefault(kind, []).append((m.start(), end, f"(!{text[m.start():end]})"))
            else:
                found.setdefault(kind, []).append((m.start(), m.end(), becomes(m)))
    return text, found


def layer_of(path):
    return "/".join(path.split("/")[:2])


def sample(rng, each, only):
    listed = subprocess.run(["git", "ls-files", "daemon/*/*.c", "client/*/*.c"], cwd=ROOT, check=True,
                            capture_output=True, text=True).stdout.split()
    same = {tuple(part.strip() for part in row.split("\t")[:3])
            for row in SAME.read_text().splitlines() if row.count("\t") == 3}
    layers = {}
    for path in listed:
        if not only or any(path == one or path.startswith(one.rstrip("/") + "/") for one in only):
            layers.setdefault(layer_of(path), []).append(path)
    chosen = []
    for paths in layers.values():
        sizes = [(ROOT / path).stat().st_size for path in paths]
        taken = set()
        for _ in range(each * 50):
            if len(taken) == each:
                break
            path = rng.choices(paths, sizes)[0]
            text, by_kind = changes_of(path, rng)
            if not by_kind:
                continue
            start, end, new = rng.choice(by_kind[rng.choice(sorted(by_kind))])
            changed = text[:start] + new + text[end:]
            was, now = (next_line(t, start) for t in (text, changed))
            if (path, was, now) not in same and (path, start) not in taken:
                taken.add((path, start))
                chosen.append((path, changed))
    return chosen


def next_line(text, at):
    return text[text.rfind("\n", 0, at) + 1:(text + "\n").find("\n", at)].strip()


# ---- one copy of the tree, its build and its tests ----


class Copy:
    def __init__(self, folder):
        self.tree, self.build = folder, folder / "build" / "plain"  # as usual: the compiler's cache

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
        # the usual flags: the compiler's cache knows what did not change
        subprocess.run(["cmake", "-S", self.tree, "-B", self.build, "-G", "Ninja", "-DODDLOAF_WERROR=ON",
                        "-DODDLOAF_BENCHES=OFF", "-DCMAKE_EXE_LINKER_FLAGS=-Wl,--strip-debug" + (
                            " -fuse-ld=gold" if shutil.which("ld.gold") else "")], check=True, capture_output=True)
        assert self.builds("oddloafd", "oddloaf", "route_table"), "it does not build unchanged"
        shown = subprocess.run(["ctest", "--test-dir", self.build, "--show-only=json-v1"], check=True,
                               capture_output=True, text=True).stdout
        commands = {}  # ctest names no command of what is not built yet
        for file in self.build.rglob("CTestTestfile.cmake"):
            for name, words in re.findall(r"^add_test\(\[=\[(.+?)\]=\] (.*)\)$", file.read_text(), re.M):
                commands[name] = shlex.split(words)
        return [Test(one, commands[one["name"]], self.build) for one in json.loads(shown)["tests"]]

    def put(self, name, data):
        path = self.tree / name
        if data is None:
            path.unlink(missing_ok=True)
        elif not path.exists() or path.read_bytes() != data:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            shutil.copymode(ROOT / name, path)

    def builds(self, *targets):
        return subprocess.run(["ninja", "-j1", "-C", self.build, *targets], capture_output=True).returncode == 0


class Test:
    def __init__(self, shown, command, build):
        properties = {one["name"]: one["value"] for one in shown["properties"]}
        self.name, self.command = shown["name"], command
        self.env = dict(one.split("=", 1) for one in properties.get("ENVIRONMENT", []))
        self.folder = properties.get("WORKING_DIRECTORY")
        # those that measure patience would notice a busy machine
        self.skipped = properties.get("RUN_SERIAL") or {"slow", "once"} & set(properties.get("LABELS", []))
        self.skipped = self.skipped or self.name in ("house", "unused_functions") or "system/" in self.name
        self.is_unit = "/test_" in self.name
        self.layer = self.name.rsplit("/", 1)[0]
        self.targets = [pathlib.Path(word).name for word in self.command if word.startswith(f"{build}/")]
        if not self.is_unit:
            self.targets += ["oddloafd", "oddloaf", "route_table"]

    def passes(self, cpu_s, wall_s=300):
        """Within so much of the processor's time (a busy machine is no reason) and, asleep, of the clock's."""
        limit = lambda: resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s) + 1, int(cpu_s) + 1))  # noqa: E731
        done = subprocess.Popen(self.command, cwd=self.folder, env={**os.environ, **self.env}, start_new_session=True,
                                stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                                preexec_fn=limit)
        try:
            return done.wait(wall_s) in (0, 77)
        except subprocess.TimeoutExpired:
            return False
        finally:
            try:
                os.killpg(done.pid, signal.SIGKILL)
            except ProcessLookupError:
                pass
            done.wait()


PURE = ("models", "stats", "facts", "rank", "lots", "rules", "patterns", "base")


def likeliest_first(tests, path, costs):
    """Own unit tests; then, for what is computed, those of the layers above, else the whole system."""
    side, layer = path.split("/")[:2]
    own = layer if side == "daemon" else f"client/{layer}"

    def order(test):
        if test.is_unit and test.layer == own:
            rank = 0
        elif side == "client" and test.name.startswith("client/"):
            rank = 1
        elif test.layer == own:
            rank = 1
        elif test.is_unit:
            rank = 2 if layer in PURE else 4
        else:
            rank = 3
        return rank + (10 if costs[test.name] > 15 else 0), costs[test.name]

    return sorted((t for t in tests if t.name in costs), key=order)


def judge(copy, tests, costs, path, changed, cap_s):
    """'noticed', 'not built', 'unnoticed' or 'time up' (not all were run), and by which test."""
    original = (copy.tree / path).read_bytes()
    (copy.tree / path).write_text(changed)
    try:
        if not copy.builds(object_of(path)):
            return "not built", ""
        until = time.monotonic() + cap_s
        for test in likeliest_first(tests, path, costs):
            left = until - time.monotonic()
            if left <= 0:
                return "time up", ""
            if not copy.builds(*test.targets):
                return "not built", ""
            patience = max(10, 5 * costs[test.name])
            if not test.passes(patience) and (test.is_unit or not test.passes(patience)):
                return "noticed", test.name
        return "unnoticed", ""
    finally:
        (copy.tree / path).write_bytes(original)


def object_of(path):
    side, layer, _ = path.split("/", 2)
    library = f"oddloaf_{layer}" if side == "daemon" else f"oddloaf_client_{layer}"
    return f"CMakeFiles/{library}.dir/{path}.o"


def cpu_of_children():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def costs_of(copy, tests, cache):
    """The processor's time of each test unchanged; those that fail here are left out, and said."""
    known = json.loads(cache.read_text()) if cache.exists() else {}
    for test in tests:
        if test.skipped or test.name in known:
            continue
        begin = cpu_of_children() if copy.builds(*test.targets) else 0
        if test.passes(300):
            known[test.name] = cpu_of_children() - begin
        else:
            print(f"left out, fails unchanged: {test.name}", flush=True)
        cache.write_text(json.dumps(known))
    return known


# ---- all of it ----


def worker(copies, costs, cap_s, one):
    path, changed = one
    copy, tests = copies.pop()
    begin = time.monotonic()
    try:
        verdict, by = judge(copy, tests, costs, path, changed, cap_s)
    finally:
        copies.append((copy, tests))
    print(f"{verdict:10} {path:44} {by} ({time.monotonic() - begin:.0f} s)", flush=True)
    if verdict in ("unnoticed", "time up"):
        sys.stdout.writelines(difflib.unified_diff((ROOT / path).read_text().splitlines(True),
                                                   changed.splitlines(True), path, path, n=2))
        sys.stdout.flush()
    return layer_of(path), verdict


def table(results):
    verdicts = ("noticed", "unnoticed", "time up", "not built")
    print(f"\n{'layer':20}" + "".join(f"{verdict:>11}" for verdict in verdicts) + f"{'share':>8}")
    for layer in [*dict.fromkeys(layer for layer, _ in results), "all"]:
        mine = [verdict for one, verdict in results if layer in (one, "all")]
        counts = [mine.count(verdict) for verdict in verdicts]
        print(f"{layer:20}" + "".join(f"{count:11}" for count in counts) + f"{counts[0] / max(sum(counts[:3]), 1):8.2f}")


def main():
    parse = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parse.add_argument("folder", type=pathlib.Path)
    parse.add_argument("path", nargs="*")
    parse.add_argument("--seed", type=int, default=1)
    parse.add_argument("--each", type=int, default=4)
    parse.add_argument("--cap", type=float, default=240, help="seconds a change; of those that it ends not all tests were run")
    parse.add_argument("--jobs", type=int, default=2)
    parse.add_argument("--list", action="store_true", help="the changes, nothing run")
    o = parse.parse_intermixed_args()
    chosen = sample(random.Random(o.seed), o.each, o.path)
    if o.list:
        for path, changed in chosen:
            sys.stdout.writelines(difflib.unified_diff((ROOT / path).read_text().splitlines(True),
                                                       changed.splitlines(True), path, path, n=0))
        return
    folder = o.folder.resolve()
    copies = []
    for n in range(o.jobs):
        copy = Copy(folder / str(n))
        copies.append((copy, copy.make()))
    costs = costs_of(*copies[0], folder / "costs.json")
    random.Random(o.seed).shuffle(chosen)  # cut off, it has a bit of each layer
    print(f"{len(chosen)} changes, seed {o.seed}, {len(costs)} tests", flush=True)
    with concurrent.futures.ThreadPoolExecutor(o.jobs) as pool:
        results = list(pool.map(lambda one: worker(copies, costs, o.cap, one), chosen))
    table(results)


main()
