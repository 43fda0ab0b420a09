"""GET /v1/ranks?all=1: every case once, in the order of packing, made as the client takes it. A client that
reads slowly keeps no thread, no look at the database and no memory, and the desk never waits.

    test_ranks.py BUILD_FOLDER
"""
import json
import pathlib
import select
import socket
import sqlite3
import sys
import time

from oddloaf import Plant, complaint, lot_rows

BINARIES = pathlib.Path(sys.argv[1])
CASES, IDLE_S, LONG_MOST = 60, 1, 16  # more than the slow readers below
ALL = b"GET /v1/ranks?all=1 HTTP/1.1\r\nHost: x\r\n"


def take(plant, request=ALL + b"\r\n"):
    s = socket.socket(socket.AF_UNIX)
    s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    s.settimeout(30)
    s.connect(plant.socket)
    s.sendall(request)
    return s


def packed_at(plant):
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    rows = db.execute("SELECT 'C' || c.id, l.packed_from_ms FROM complaint_case c LEFT JOIN lot l ON l.id = c.lot_id")
    packed = dict(rows)
    db.close()
    return packed


def check_order(plant):
    """The same cases as page by page; those without a lot at the end."""
    status, text = plant.get("/v1/ranks?all=1")
    assert status == 200
    cases = [json.loads(line)["case"] for line in text.decode().splitlines()]
    packed = packed_at(plant)
    assert len(cases) == CASES + 2 == len(set(cases)), len(cases)
    key = [(packed[case] is None, packed[case] or 0) for case in cases]
    assert key == sorted(key) and key[-2][0] and not key[-3][0], key
    pages = plant.client_json("rank", "--all")
    assert {told["case"]: told for told in pages} == {json.loads(line)["case"]: json.loads(line) for line in text.decode().splitlines()}


def check_old(plant):
    """A client of HTTP/1.0 gets it without chunks; HEAD nothing but its head."""
    s = take(plant, b"GET /v1/ranks?all=1 HTTP/1.0\r\nHost: x\r\n\r\n")
    answer = b"".join(iter(lambda: s.recv(65536), b""))
    assert b"chunked" not in answer and answer.count(b"\n{") == CASES + 2, answer[:300]
    s = take(plant, ALL.replace(b"GET", b"HEAD") + b"Connection: close\r\n\r\n")
    answer = b"".join(iter(lambda: s.recv(65536), b""))
    assert answer.endswith(b"\r\n\r\n") and b"chunked" in answer, answer
    status, problem = plant.get("/v1/ranks?all=1&limit=5")
    assert status == 400 and "without" in problem["detail"], problem


def check_heads(plant):
    """HEAD ends with its head: on a connection that is kept, more of them than one may have of long work at once."""
    s = take(plant, b"")
    for _ in range(LONG_MOST + 2):
        s.sendall(ALL.replace(b"GET", b"HEAD") + b"\r\n")
        answer = b""
        while not answer.endswith(b"\r\n\r\n"):
            answer += s.recv(65536)
        assert answer.startswith(b"HTTP/1.1 200 ") and b"chunked" in answer, answer
    assert plant.get("/v1/ranks?all=1")[0] == 200
    s.close()


def answer_times(plant, count):
    took = []
    for _ in range(count):
        began = time.monotonic()
        assert plant.get("/v1/cases/C1")[0] == 200
        took.append(time.monotonic() - began)
    return sorted(took)


def check_slow_readers(plant):
    """With more slow readers than the daemon has threads: files are loaded, the database's log can be
    emptied, the desk's answers take what they took."""
    alone = answer_times(plant, 40)
    readers = [take(plant) for _ in range(12)]
    for s in readers:
        assert s.recv(2048).startswith(b"HTTP/1.1 200 ")
    beside = answer_times(plant, 40)
    assert beside[20] < 3 * alone[20] + .05, (alone, beside)
    plant.load_text("lots", lot_rows(days=31)[0])  # long work has a thread
    db = sqlite3.connect(plant.state / "oddloaf.db")
    busy, left, moved = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    db.close()
    assert not busy, "a look at the database is held"
    for s in readers:
        s.close()


def check_given_up(plant):
    """Who takes nothing for idle_s is given up; who takes a little all the time gets everything."""
    silent, slow = take(plant), take(plant, ALL + b"Connection: close\r\n\r\n")
    answer = b""
    while not answer.endswith(b"\r\n0\r\n\r\n"):
        piece = slow.recv(16384)
        assert piece, "broken off"
        answer += piece
        time.sleep(.01)
    gone = select.poll()
    gone.register(silent, select.POLLHUP)
    assert gone.poll(10000 * IDLE_S), "it is held for ever"
    cut = b"".join(iter(lambda: silent.recv(65536), b""))
    assert not cut.endswith(b"\r\n0\r\n\r\n") and len(cut) < len(answer)
    assert plant.get("/v1/status")[0] == 200


def main():
    with Plant(BINARIES, config={"limits": {"idle_s": IDLE_S, "peer_long": LONG_MOST}}) as plant:
        plant.load_small()
        lots = [line.split(",")[0] for line in lot_rows()[0].splitlines()[1:]]
        lines = [json.dumps(complaint(lot)) for lot in reversed(lots[:CASES])]
        lines += [json.dumps(complaint("no code at all", received=f"2026-11-2{n}T09:00:00-05:00")) for n in range(2)]
        assert plant.request("POST", "/v1/complaints?rank=0", "\n".join(lines).encode(), "application/x-ndjson")[0] == 200
        plant.wait_idle()
        for check in (check_order, check_old, check_heads, check_slow_readers, check_given_up):
            began = time.monotonic()
            check(plant)
            print(f"{check.__name__} ok, {time.monotonic() - began:.1f} s")
        take(plant).recv(100)  # a stop waits for nobody who does not read
        began = time.monotonic()
        assert plant.stop() == 0, plant.log_text()
        assert time.monotonic() - began < 60, "the stop waited for a slow reader"


main()
