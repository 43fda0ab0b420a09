"""Every statement of store/ is one that PostgreSQL can prepare, with our schema: each text of the
sources, its macros put in, as dialect.c gives it. What its parameters are is what the first caller
binds; here it is found by trying. Statements of SQLite's own (PRAGMA, what a
restore asks of another file) are left out."""

import ctypes
import ctypes.util
import itertools
import json
import pathlib
import re
import shlex
import subprocess
import sys
import unittest

import postgresql

ROOT = pathlib.Path(__file__).resolve().parents[2]
BUILD, PRINT, SERVER = pathlib.Path(sys.argv[1]), sys.argv[2], sys.argv[3]
del sys.argv[1:]

BEGIN = re.compile(r"(SELECT|INSERT INTO|UPDATE|DELETE FROM|WITH|VALUES) ?")
OWN = re.compile(r"schema|engine_|server|dialect|restore|backup|integrity|sqlite|relocate")
SQLITE = re.compile(r"'optimize'|json_extract|json_each|sqlite_schema|\bpast\.|main\.")
KINDS = INT8, TEXT, FLOAT8, BYTEA = 20, 25, 701, 17
RUN = re.compile(r'"(?:\\.|[^"\\])*"(?:\s*"(?:\\.|[^"\\])*")*')


def commands():
    for entry in json.loads((BUILD / "compile_commands.json").read_text()):
        file = pathlib.Path(entry["file"])
        if file.parent == ROOT / "daemon/store" and not OWN.match(file.name):
            yield file.name, entry


def unescape(text):
    def letter(match):
        said = match[1]
        return bytes([int(said[1:], 16)]) if said[:1] == b"x" else {b"n": b"\n"}.get(said, said)
    return re.sub(rb"\\(x[0-9A-Fa-f]{2}|.)", letter, text.encode()).decode()


def texts():
    """(file, statement) of all sources."""
    for name, entry in commands():
        words = shlex.split(entry["command"])
        words = words[words.index(next(w for w in words if w.endswith("cc"))):]
        words = [w for w in words[:words.index("-o")] if w not in ("-MD", "-MT", "-MF")]
        out = subprocess.run([*words, "-E", "-P", entry["file"]], cwd=entry["directory"],
                             capture_output=True, text=True, check=True).stdout
        for run in RUN.findall(out):
            text = unescape("".join(s[1:-1] for s in re.findall(r'"(?:\\.|[^"\\])*"', run)))
            for one in re.findall(r"(?:'[^']*'|[^';])+", text):
                if BEGIN.match(one) and "%s" not in one and not SQLITE.search(one):
                    yield name, one


class Server:
    def __init__(self):
        self.pq = ctypes.CDLL(ctypes.util.find_library("pq"))
        for name in ("PQconnectdb", "PQprepare", "PQexec"):
            getattr(self.pq, name).restype = ctypes.c_void_p
        self.pq.PQresultErrorMessage.restype = self.pq.PQresultErrorField.restype = ctypes.c_char_p
        self.pq.PQresultErrorField.argtypes = [ctypes.c_void_p, ctypes.c_int]
        self.pq.PQresultErrorMessage.argtypes = self.pq.PQclear.argtypes = [ctypes.c_void_p]
        # a template must have no connections
        postgresql.ask(SERVER, "DROP DATABASE IF EXISTS statements WITH (FORCE)")
        postgresql.ask(SERVER, "CREATE DATABASE statements TEMPLATE empty STRATEGY FILE_COPY")
        address = f"postgresql:///statements?host={SERVER}&user=oddloaf"
        self.connection = ctypes.c_void_p(self.pq.PQconnectdb(address.encode()))
        self.pq.PQexec(self.connection, b"SET search_path = oddloaf")

    def refuses(self, sql, types):
        """Why, and where; ("", 0) if it does not."""
        oids = (ctypes.c_uint * max(len(types), 1))(*types)
        result = self.pq.PQprepare(self.connection, b"", sql.encode(), len(types), oids)
        message = self.pq.PQresultErrorMessage(result).decode()
        place = self.pq.PQresultErrorField(result, ord("P"))
        self.pq.PQclear(result)
        return message, int(place or 0)

    def takes(self, sql):
        """"", or the last reason against it. The parameter next to what is refused becomes another, until
        it is taken; of few all kinds are tried in the end."""
        at = [(int(m[1]) - 1, m.start()) for m in re.finditer(r"\$(\d+)", sql)]
        count = max((i for i, _ in at), default=-1) + 1
        for first in (INT8, TEXT):
            types, left = [first] * count, {i: [k for k in KINDS if k != first] for i, _ in at}
            why, place = self.refuses(sql, types)
            while why and any(left.values()):
                near = min((p for p in at if left[p[0]]), key=lambda p: abs(p[1] - place))[0]
                types[near] = left[near].pop(0)
                why, place = self.refuses(sql, types)
            if not why:
                return ""
        return "" if count < 5 and any(not self.refuses(sql, types)[0]
                                       for types in itertools.product(KINDS, repeat=count)) else why


class Statements(unittest.TestCase):
    def test_each_can_be_prepared(self):
        named = sorted(set(texts()))
        self.assertGreater(len(named), 250)
        out = subprocess.run([PRINT], input="".join(t + "\0" for _, t in named).encode(),
                             capture_output=True, check=True).stdout.decode()
        server = Server()
        for (name, text), sql in zip(named, out.split("\0")):
            with self.subTest(name):
                self.assertEqual(server.takes(sql), "", sql)

    def test_the_check_finds_one(self):
        server = Server()
        self.assertIn("does not exist", server.takes("SELECT nothing FROM lot WHERE id = $1"))
        self.assertEqual(server.takes("SELECT id FROM lot WHERE $1 IS NULL OR line = $1"), "")


if __name__ == "__main__":
    unittest.main()
