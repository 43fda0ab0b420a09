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


def raw(plant, data, timeout=60):
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
    assert status(answer) == 413 and "phone the food-safety lead now" in problem(answer)["hint"], answer[:400]
    problem(answer)
    answer = raw(plant, b"GET /v1/status HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 100000 + b"\r\n\r\n")
    assert status(answer) == 431 and problem(answer)["detail"], answer[:200]
    answer = raw(plant, b"GET /v1/status HTTP/1.1\r\nHost: x\r\n" + b"a:\r\n" * 200 + b"\r\n")
    assert status(answer) == 431, answer[:200]


def check_framing(plant):
    """tests/serve/test_wire.c has the whole list; here is what comes of it: one answer that says why,
    and the end."""
    body = json.dumps(complaint()).encode()
    chunked = b"POST /v1/complaints HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n"
    hidden = b"GET /v1/status HTTP/1.1\r\nHost: x\r\n\r\n"
    size = b"%x" % len(body)
    for code, data in (
            (400, post(body, b"Content-Length: 0\r\n")), (400, post(body, b"Host: y\r\n")),
            (400, post(body, b"Transfer-Encoding: chunked\r\n")), (501, post(b"", b"X: y\r\n").replace(
                b"Content-Length: 0", b"Transfer-Encoding: xchunked") + hidden),
            (400, b"GET /v1/status HTTP/1.1\r\nConnection: close\r\n\r\n"),
            (400, post(body, b"X: a\0b\r\n")), (400, post(body, b"X: a\nY: b\r\n")),
            (400, post(body, b"X: a\r\n b\r\n")), (400, post(body, b"X: a\rb\r\n")),
            (400, chunked + b"0x" + size + b"\r\n" + body + b"\r\n0\r\n\r\n"),
            (400, chunked + b"+" + size + b"\r\n" + body + b"\r\n0\r\n\r\n"),
            (400, chunked + size + b"\r\n" + body + b"xx\r\n0\r\n\r\n"),
            (413, chunked + b"FFFFFFFFFFFFFFF0\r\n"), (415, post(body, b"Content-Encoding: gzip\r\n"))):
        answer = raw(plant, data + hidden)
        assert status(answer) == code, (code, data[:200], answer[:300])
        assert answer.count(b"HTTP/1.1 ") == 1, "a second request was answered"
        assert b"Connection: close" in answer and problem(answer)["detail"], answer
    answer = raw(plant, chunked.replace(b"Host", b"Connection: close\r\nHost") + size + b";a=b\r\n" + body + b"\r\n0\r\nTrailer: x\r\n\r\n")
    assert status(answer) == 201, answer[:300]


def check_pipeline(plant):
    """A hundred requests at once are answered in their order, what follows a bad one is not read."""
    asked = b"".join(b"GET /v1/%d HTTP/1.1\r\nHost: x\r\n\r\n" % n + b"GET /v1/status HTTP/1.1\r\nHost: x\r\n\r\n"
                     for n in range(50))
    answer = raw(plant, asked + b"GET / HTTP/1.1\n\n" + asked)
    codes = [int(one[:3]) for one in answer.split(b"HTTP/1.1 ")[1:]]
    assert codes == [404, 200] * 50 + [400], codes


def check_paths(plant):
    close = b"Host: x\r\nConnection: close\r\n\r\n"
    assert status(raw(plant, b"GET /nowhere HTTP/1.1\r\n" + close)) == 404
    wrong = raw(plant, b"DELETE /v1/cases HTTP/1.1\r\n" + close)
    assert status(wrong) == 405 and b"Allow: GET" in wrong, wrong[:200]
    for path, code in ((b"//v1/cases", 404), (b"/v1//cases", 404), (b"/v1/./cases", 404), (b"/v1/x/../cases", 404),
                       (b"/v1/%2e%2e/cases", 404), (b"/v1/c%61ses", 404), (b"/v1/cases/", 404), (b"/v1/cases;a=b", 404),
                       (b"/v1/cases%00", 400), (b"/v1/cases%2", 400), (b"/v1/cases#x", 400), (b"v1/cases", 400),
                       (b"*", 404), (b"http://x/v1/cases", 200), (b"http://y/v1/cases", 400),
                       (b"ftp://x/v1/cases", 400), (b"/v1/cases?" + b"a=b&" * 3000, 400),
                       (b"/v1/cases?limit=99999999999999999999999", 400)):
        answer = raw(plant, b"GET " + path + b" HTTP/1.1\r\n" + close)
        assert status(answer) == code, (path[:60], answer[:300])
        assert code == 200 or problem(answer)["detail"]
    for line, code in ((b"PROPFIND /v1/cases", 501), (b"CONNECT x:443", 400), (b"TRACE /v1/cases", 405),
                       (b"OPTIONS /v1/cases", 405), (b"GET /v1/cases HTTP/9.9", 400)):
        answer = raw(plant, line + b" HTTP/1.1\r\nX-HTTP-Method-Override: POST\r\n" + close)
        assert status(answer) == code, (line, answer[:300])
    for path in (b"/v1/cases/C999999999", b"/v1/cases/xyz", b"/v1/complaints/7",
                 b"/v1/lots/%00%ff", b"/v1/weeks/2027-W53", b"/v1/cases?limit=abc",
                 b"/v1/records/nothing"):
        answer = raw(plant, b"GET " + path + b" HTTP/1.1\r\n" + close)
        assert status(answer) in (400, 404, 405), (path, answer[:200])


def check_long_address(plant):
    """A client whose own end has a name as long as one can be."""
    s = socket.socket(socket.AF_UNIX)
    s.bind((str(plant.dir) + "/").ljust(107, "x"))
    s.connect(plant.socket)
    s.sendall(b"GET /v1/status HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
    assert status(s.recv(65536)) == 200
    s.close()


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
    while any(t.is_alive() for t in threads) and time.time() - start < 60:
        before = time.time()
        assert plant.get("/v1/status")[0] == 200
        assert time.time() - before < 4, "honest clients wait for slow ones"
        time.sleep(0.2)
    assert len(cut) == 20, f"{len(cut)} of 20 slow clients were cut"
    assert max(cut) < 60, max(cut)


def check_many(plant):
    """More busy connections than allowed: the rest wait to be taken, an honest one among them, and nobody
    spins or dies."""
    held = []
    for _ in range(60):
        s = socket.socket(socket.AF_UNIX)
        s.settimeout(2)
        s.connect(plant.socket)
        s.sendall(b"GET /v1/sta")
        held.append(s)
    answers = []
    honest = threading.Thread(target=lambda: answers.append(plant.get("/v1/status")[0]))
    honest.start()
    honest.join(0.5)
    assert honest.is_alive(), "more are taken than allowed"
    assert "connections full" in plant.log_text(), plant.log_text()
    for s in held:
        s.close()
    honest.join(60)
    assert answers == [200], answers


def main():
    limits = {"connections": 32, "request_s": 5, "idle_s": 8}
    with Plant(sys.argv[1], config={"limits": limits}) as plant:
        plant.load_small()
        for check in (check_many, check_bodies, check_sizes, check_framing, check_pipeline, check_paths, check_long_address, check_slow,
                      check_many):
            check(plant)
            print(check.__name__, "ok")
        assert plant.daemon.poll() is None


main()
