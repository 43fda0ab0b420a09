"""Requests no honest client sends: bounded, and answered with a problem document where there is
somebody to answer.                                             usage: test_hostile.py BINARIES"""
import json
import pathlib
import socket
import sys
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402


def raw(plant, data, timeout=10):
    s = socket.socket(socket.AF_UNIX)
    s.settimeout(timeout)
    s.connect(plant.socket)
    try:
        s.sendall(data)
        s.shutdown(socket.SHUT_WR)
    except OSError:
        pass  # cut off in the middle: fine, the answer tells why
    answer = b""
    try:
        while chunk := s.recv(65536):
            answer += chunk
    except OSError:
        pass
    s.close()
    return answer


def post(body, extra=b"", length=None):
    return (b"POST /v1/complaints HTTP/1.1\r\nHost: x\r\nConnection: close\r\n" + extra +
            b"Content-Length: %d\r\n\r\n" % (len(body) if length is None else length) + body)


def status(answer):
    return int(answer.split(b" ", 2)[1]) if answer.startswith(b"HTTP/1.1 ") else None


def problem(answer):
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head, answer[:300]
    return json.loads(body)


def check_bodies(plant):
    base = json.dumps(complaint())
    bad = {
        "not JSON": b"{nope",
        "deep": b"[" * 5000 + b"]" * 5000,
        "bad UTF-8": base.replace("L1 6318", "L1\udc80").encode("utf-8", "surrogateescape"),
        "duplicate key": base.replace("{", '{"symptom":"staling",', 1).encode(),
        "NaN": base.replace("{", '{"packs":NaN,', 1).encode(),
        "huge number": base.replace("{", '{"packs":1e999,', 1).encode(),
        "NUL": base.replace("L1 6318", "L1\\u0000").encode(),
        "lone surrogate": base.replace("L1 6318", "L1\\ud800").encode(),
        "trailing": base.encode() + b" {}",
        "an array": b"[1,2]",
        "empty": b"",
    }
    for name, body in bad.items():
        answer = raw(plant, post(body))
        assert status(answer) == 400, (name, answer[:300])
        assert problem(answer)["detail"], name


def check_sizes(plant):
    answer = raw(plant, post(b"x" * (2 << 20)))
    assert status(answer) == 413, answer[:200]
    problem(answer)
    answer = raw(plant, b"GET /v1/status HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 100000 + b"\r\n\r\n")
    assert status(answer) in (400, 431), answer[:200]


def check_framing(plant):
    body = json.dumps(complaint()).encode()
    two = b"Content-Length: 0\r\n"
    smuggled = raw(plant, post(body, two))
    assert status(smuggled) == 400, smuggled[:200]
    assert smuggled.count(b"HTTP/1.1 ") == 1, "a second request was answered"
    for extra in (b"Transfer-Encoding: xchunked\r\n", b"Transfer-Encoding: gzip, chunked\r\n",
                  b"Host: y\r\n"):
        answer = raw(plant, post(body, extra))
        assert status(answer) == 400, (extra, answer[:200])
    nohost = raw(plant, b"GET /v1/status HTTP/1.1\r\nConnection: close\r\n\r\n")
    assert status(nohost) == 400, nohost[:200]


def check_paths(plant):
    close = b"Host: x\r\nConnection: close\r\n\r\n"
    assert status(raw(plant, b"GET /nowhere HTTP/1.1\r\n" + close)) == 404
    wrong = raw(plant, b"DELETE /v1/cases HTTP/1.1\r\n" + close)
    assert status(wrong) == 405 and b"Allow: GET" in wrong, wrong[:200]
    for path in (b"/v1/cases/C999999999", b"/v1/cases/xyz", b"/v1/complaints/7",
                 b"/v1/lots/%00%ff", b"/v1/weeks/2027-W53", b"/v1/cases?limit=abc",
                 b"/v1/records/nothing"):
        answer = raw(plant, b"GET " + path + b" HTTP/1.1\r\n" + close)
        assert status(answer) in (400, 404, 405), (path, answer[:200])


def check_slow(plant):
    """A byte now and then never ends a request; it must not hold its place for ever, nor keep
    honest clients waiting."""
    for _ in range(40):  # as many as are allowed come and go just before
        s = socket.socket(socket.AF_UNIX)
        s.connect(plant.socket)
        s.close()
    start = time.time()
    cut = []

    def drip():
        s = socket.socket(socket.AF_UNIX)
        s.connect(plant.socket)
        s.settimeout(1)
        try:
            for byte in post(b"{}" * 400):
                s.send(bytes([byte]))
                time.sleep(0.2)
        except OSError:
            cut.append(time.time() - start)
        s.close()

    threads = [threading.Thread(target=drip, daemon=True) for _ in range(20)]
    for thread in threads:
        thread.start()
    while any(t.is_alive() for t in threads) and time.time() - start < 30:
        before = time.time()
        assert plant.get("/v1/status")[0] == 200
        assert time.time() - before < 2, "honest clients wait for slow ones"
        time.sleep(0.2)
    assert len(cut) == 20, f"{len(cut)} of 20 slow clients were cut"
    assert max(cut) < 12, max(cut)


def check_many(plant):
    """More connections than allowed: the rest wait, nobody spins or dies."""
    held = []
    for _ in range(60):
        s = socket.socket(socket.AF_UNIX)
        s.settimeout(2)
        try:
            s.connect(plant.socket)
            held.append(s)
        except OSError:
            break
    time.sleep(0.5)
    for s in held:
        s.close()
    for _ in range(100):
        try:
            if plant.get("/v1/status")[0] == 200:
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("no answer after the crowd left")


def main():
    limits = {"connections": 32, "request_s": 5, "idle_s": 8}
    with Plant(sys.argv[1], config={"limits": limits}) as plant:
        plant.load_small()
        for check in (check_bodies, check_sizes, check_framing, check_paths, check_slow,
                      check_many):
            check(plant)
            print(check.__name__, "ok")
        assert plant.daemon.poll() is None


main()
