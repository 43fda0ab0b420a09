"""Who comes to the door and means no good, or is only slow: the desk at the Unix socket and honest clients
over TLS are answered meanwhile, and every refusal says why.               usage: test_door.py BINARIES"""
import concurrent.futures
import http.client
import json
import os
import pathlib
import pwd
import select
import socket
import sys
import time
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import complaint, until  # noqa: E402
from remote import Remote  # noqa: E402

HELLO_S, REQUEST_S, IDLE_S = 2, 2, 2
ROOM, OF_PEER = 32, 16
PROMPT_S = 1.5  # an answer takes milliseconds; this is for sanitizers on a busy machine
LIMITS = {"connections": ROOM, "tcp_connections": ROOM, "peer_connections": OF_PEER, "hello_s": HELLO_S,
          "idle_s": IDLE_S, "request_s": REQUEST_S, "uploads": 3, "upload_mb": 1}
STATUS = b"GET /v1/status HTTP/1.1\r\nHost: localhost\r\n"


def is_prompt(plant):
    began = time.monotonic()
    assert plant.request("GET", "/v1/status", timeout=PROMPT_S)[0] == 200
    assert time.monotonic() - began < PROMPT_S


def local(plant, data=b""):
    s = socket.socket(socket.AF_UNIX)
    s.settimeout(20)
    s.connect(plant.socket)
    if data:  # nothing, too, cannot be sent to one who has closed already
        s.sendall(data)
    return s


def read_all(s):
    answer = b""
    try:
        while piece := s.recv(65536):
            answer += piece
    except OSError:
        pass
    return answer


def one_answer(s):
    """The next one on a connection that stays open."""
    answer = b""
    while b"\r\n\r\n" not in answer:
        answer += s.recv(65536) or b"\r\n\r\n"
    head, _, body = answer.partition(b"\r\n\r\n")
    length = int((head.lower() + b"\r\n").partition(b"content-length: ")[2].split(b"\r\n")[0] or b"0")
    while len(body) < length:
        body += s.recv(65536)
    return head + b"\r\n\r\n" + body


def status(answer):
    return int(answer.split(b" ", 2)[1]) if answer.startswith(b"HTTP/1.1 ") else None


def problem(answer):
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"application/problem+json" in head, answer[:300]
    told = json.loads(body)
    assert told["detail"] and told["title"] and told["status"] == status(answer), told
    return told


def until_closed(s, seconds):
    """What came until the other end closed, which is soon."""
    s.settimeout(seconds)
    began, answer = time.monotonic(), read_all(s)
    assert time.monotonic() - began < seconds - .1, "it is left open"
    return answer


# ---- slow and silent ----

def check_silent_tcp(plant):
    """However many connect over TCP and say nothing, or half a handshake, or half a head: neither the
    desk nor an honest client waits, and they are gone after hello_s."""
    began, held = time.monotonic(), []
    for n in range(3 * ROOM):
        try:
            s = socket.create_connection(("127.0.0.1", plant.port), 5, source_address=(f"127.0.0.{2 + n % 4}", 0))
            s.sendall((b"", b"\x16\x03\x01", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03")[n % 3])
            held.append(s)
        except OSError:
            pass  # sent away at the door
        if n % 16 == 0:
            is_prompt(plant)
    assert len(held) > ROOM
    half = plant.tls(source=("127.0.0.7", 0))
    half.sendall(STATUS)  # and no end of it
    with plant.tls(source=("127.0.0.8", 0)) as honest:
        honest.sendall(STATUS + b"Authorization: Bearer token of desk\r\nConnection: close\r\n\r\n")
        assert status(read_all(honest)) == 200
    is_prompt(plant)
    until_closed(half, HELLO_S + PROMPT_S)
    for s in held:
        until_closed(s, HELLO_S + PROMPT_S)
    assert time.monotonic() - began < 4 * HELLO_S


def check_one_peer(plant):
    """One address takes no more than its share of TCP, and its own idle ones go first."""
    mine = []
    for _ in range(OF_PEER):
        mine.append(plant.tls(source=("127.0.0.9", 0)))
        mine[-1].sendall(STATUS + b"Authorization: Bearer token of desk\r\n\r\n")
        assert status(one_answer(mine[-1])) == 200
    other = plant.tls(source=("127.0.0.10", 0))
    other.sendall(STATUS + b"Authorization: Bearer token of desk\r\n\r\n")
    assert status(one_answer(other)) == 200
    one_more = plant.tls(source=("127.0.0.9", 0))
    one_more.sendall(STATUS + b"Authorization: Bearer token of desk\r\n\r\n")
    assert status(one_answer(one_more)) == 200
    assert read_all(mine[0]) == b"", "the longest idle one stays"
    other.sendall(STATUS + b"Authorization: Bearer token of desk\r\nConnection: close\r\n\r\n")
    assert status(read_all(other)) == 200, "another's idle one went"
    for s in (*mine, one_more, other):
        s.close()


def check_idle_socket(plant):
    """Idle connections at the Unix socket keep nobody out: the longest idle one goes."""
    held = [local(plant) for _ in range(ROOM + 8)]
    is_prompt(plant)
    kept = local(plant, STATUS + b"\r\n")
    assert status(one_answer(kept)) == 200
    assert read_all(held[0]) == b""
    kept.sendall(STATUS + b"Connection: close\r\n\r\n")
    assert status(read_all(kept)) == 200, "the youngest one went"
    for s in held:
        s.close()


def check_another_user(plant):
    """A local user without any role, with a crowd of half requests: the desk has room all the same."""
    stranger = next((u for u in pwd.getpwall() if u.pw_name in ("games", "nobody")), None)
    if os.geteuid() != 0 or not stranger:
        print("another user's crowd takes root: left out")
        return
    plant.dir.chmod(0o711)
    os.seteuid(stranger.pw_uid)
    try:
        crowd = [local(plant, STATUS if n < OF_PEER else b"") for n in range(OF_PEER + 20)]
    finally:
        os.seteuid(0)
    is_prompt(plant)
    refused = read_all(crowd[-1])
    assert status(refused) == 503 and "too many" in problem(refused)["detail"], refused
    assert "phone the food-safety lead now" in problem(refused)["hint"], refused
    for s in crowd:
        s.close()


def check_slow_request(plant):
    """A body that never ends is told so, and cut."""
    s = local(plant, b"POST /v1/complaints HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\n{")
    answer = until_closed(s, REQUEST_S + PROMPT_S)
    assert status(answer) == 408 and "request_s" in problem(answer)["detail"], answer


def check_half_closed(plant):
    """A client that has said all it will, and still reads, gets every byte; a cut request an answer."""
    for make in (lambda: local(plant), lambda: plant.tls()):
        s = make()
        s.sendall(b"GET /v1/export/readings.csv HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer token of desk\r\n\r\n")
        socket.socket.shutdown(s, socket.SHUT_WR)  # of an SSLSocket its own would end TLS both ways
        time.sleep(.2)  # the answer fills what the system holds for a reader who does not read yet
        answer = read_all(s).removeprefix(b"HTTP/1.1 100 Continue\r\n\r\n")  # asked whether it is there, past two seconds
        head, _, body = answer.partition(b"\r\n\r\n")
        length = int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])
        assert len(body) == length > 500000, (len(body), length)
    s = local(plant, STATUS)
    s.shutdown(socket.SHUT_WR)
    answer = read_all(s)
    assert status(answer) == 400 and "middle" in problem(answer)["detail"], answer


def check_slow_reader(plant):
    """Who does not read an answer keeps a connection for idle_s, and not for ever."""
    s = local(plant, b"GET /v1/export/readings.csv HTTP/1.1\r\nHost: localhost\r\n\r\n")
    gone = select.poll()
    gone.register(s, select.POLLHUP)
    began = time.monotonic()
    assert gone.poll(10000 * IDLE_S), "an answer nobody reads is held for ever"
    assert time.monotonic() - began > IDLE_S / 2
    s.close()


# ---- refusals ----

def ask(plant, request, remote=False):
    s = plant.tls() if remote else local(plant)
    s.sendall(request)
    return read_all(s)


def check_head(plant):
    end = b"Host: x\r\nConnection: close\r\n\r\n"
    whole, head = (ask(plant, method + b" /v1/cases HTTP/1.1\r\n" + end) for method in (b"GET", b"HEAD"))
    assert status(head) == 200 and head.endswith(b"\r\n\r\n") and b"Content-Length" in head, head
    size = len(whole.partition(b"\r\n\r\n")[2])
    assert b"Content-Length: %d\r\n" % size in head, head
    denied = ask(plant, b"HEAD /v1/nothing HTTP/1.1\r\n" + end)
    assert status(denied) == 404 and denied.endswith(b"\r\n\r\n"), denied


def check_unread_bodies(plant):
    """What is refused before its body was read is answered and closed, whatever is sent on: over TLS too
    the answer arrives, and not one byte of the body is taken for a request."""
    smuggled = STATUS + b"\r\n"
    for line, code in ((b"POST /v1/nothing", 404), (b"DELETE /v1/cases", 405), (b"PURGE /v1/cases", 501),
                       (b"POST /v1/complaints", 413)):
        big = smuggled * (30000 if code == 413 else 10000)
        for remote in (False, True):
            s = plant.tls() if remote else local(plant)
            s.sendall(line + b" HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer token of desk\r\n"
                      b"Content-Length: %d\r\n\r\n" % len(big))
            try:
                s.sendall(big)
            except OSError:
                pass  # closed meanwhile
            answer = read_all(s)
            assert status(answer) == code and answer.count(b"HTTP/1.1 ") == 1, (line, remote, answer[:300])
            assert b"Connection: close" in answer
            problem(answer)


def check_browsers(plant):
    """What a page of another site has a browser send changes nothing."""
    before = plant.get("/v1/status")[1]["counts"]["complaints"]
    body = json.dumps(complaint()).encode()

    def post(*lines):
        head = [b"POST /v1/complaints HTTP/1.1", b"Host: localhost", b"Connection: close",
                b"Content-Length: %d" % len(body), *lines]
        return ask(plant, b"\r\n".join(head) + b"\r\n\r\n" + body)

    json_type = b"Content-Type: application/json"
    for lines, code in (((json_type, b"Origin: https://news.example"), 403), ((json_type, b"Origin: null"), 403),
                        ((json_type, b"Origin: http://localhost"), 403),
                        ((json_type, b"Sec-Fetch-Site: cross-site"), 403),
                        ((json_type, b"Sec-Fetch-Site: same-site"), 403),
                        ((b"Content-Type: text/plain",), 415), ((b"Content-Type: Text/Plain; charset=utf-8",), 415),
                        ((b"Content-Type: application/x-www-form-urlencoded",), 415),
                        ((b"Content-Type: multipart/form-data; boundary=x",), 415)):
        answer = post(*lines)
        assert status(answer) == code, (lines, answer[:300])
        assert "phone the food-safety lead now" in problem(answer)["hint"]  # nobody read what it says
    assert plant.get("/v1/status")[1]["counts"]["complaints"] == before
    assert status(post(json_type)) == 201
    assert status(ask(plant, STATUS + b"Origin: https://news.example\r\nConnection: close\r\n\r\n")) == 200


def check_hosts(plant):
    """Over TLS the host is one that the certificate names."""
    rest = b"Authorization: Bearer token of desk\r\nConnection: close\r\n\r\n"
    for host, code in ((b"localhost", 200), (b"127.0.0.1:%d" % plant.port, 200), (b"LOCALHOST:1", 200),
                       (b"evil.example", 421), (b"127.0.0.2", 421), (b"localhost.evil.example", 421)):
        answer = ask(plant, b"GET /v1/status HTTP/1.1\r\nHost: " + host + b"\r\n" + rest, remote=True)
        assert status(answer) == code, (host, answer[:200])
        if code == 421:
            assert host.decode() in problem(answer)["detail"]


def check_strangers(plant):
    """Who brings neither token nor certificate is not read any further than the head."""
    s = plant.tls()
    s.sendall(b"POST /v1/complaints HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000000\r\n\r\n")
    answer = until_closed(s, PROMPT_S + 2)
    assert status(answer) == 403 and "role desk or qa" in problem(answer)["detail"], answer


# ---- uploads ----

def many_readings():
    lots = [f"L1 6{doy} A0400" for doy in range(293, 323)]
    return "lot,quantity,value,at\n" + "".join(
        f"{lots[n % len(lots)]},core_at_pack_c,{36 + n % 40 / 10},2026-11-01T{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}-05:00\n"
        for n in range(12000))


class Sender(http.client.HTTPConnection):
    """One connection, and parts of files on it; a new one if it was idle for too long."""

    def __init__(self, plant):
        super().__init__("localhost", timeout=30)
        self.plant = plant

    def connect(self):
        self.sock = local(self.plant)

    def ask(self, method, path, body=None, again=True):
        try:
            self.request(method, path, body=body, headers={"Content-Type": "text/csv"} if body else {})
            answer = self.getresponse()
            return answer.status, json.loads(answer.read())
        except (OSError, http.client.HTTPException):
            self.close()
            if not again:
                raise
            return self.ask(method, path, body, again=False)

    def part(self, upload, part, body, last=False):
        return self.ask("POST", f"/v1/records/readings?source=r.csv&load={upload}&part={part}&last={int(last)}", body)


def staged(plant):
    return len(list((plant.state / "loads").glob("*.rows")))


def check_uploads(plant):
    """Of one user so many and so much; what a dead client left is gone within seconds, what a living one
    has begun is not."""
    head, row = b"lot,quantity,value,at\n", b"L1 6318 A0400,crumb_ph,5.3,2026-11-14T04:10:00-05:00\n"
    sender, dying = Sender(plant), Sender(plant)
    kept, lost = str(uuid.uuid4()), [str(uuid.uuid4()), str(uuid.uuid4())]
    assert sender.part(kept, 0, head + row)[0] == 200
    for upload in lost:
        assert dying.part(upload, 0, head)[0] == 200
    code, told = sender.part(str(uuid.uuid4()), 0, head)
    assert code == 503 and "limits/uploads" in told["hint"], told
    assert dying.part(lost[0], 1, row * 10000)[0] == 200
    code, told = dying.part(lost[0], 2, row * 10000)
    assert code == 413 and "limits/upload_mb" in told["hint"], told
    assert sender.part(lost[0], 2, row)[0] == 404, "a file too large is kept"
    assert staged(plant) == 2
    assert dying.part(lost[1], 1, row)[0] == 200
    dying.close()
    until(lambda: sender.ask("GET", "/v1/status")[0] == 200 and staged(plant) == 1,  # who asks lives
          "what a dead client left stays")
    assert sender.part(kept, 1, row, last=True)[0] == 200
    sender.close()


def check_batches(plant):
    """A user who sends a multitude of batches at once is told to wait; the desk is not."""
    lines = "\n".join(json.dumps(complaint()) for _ in range(50)).encode()

    def send(_):
        code, told = plant.request("POST", "/v1/complaints?rank=0", lines, "application/x-ndjson")
        assert code == 200 or (code == 503 and told["detail"]), told
        return code

    with concurrent.futures.ThreadPoolExecutor(12) as crowd:
        sending = [crowd.submit(send, n) for n in range(24)]
        while not all(one.done() for one in sending):
            is_prompt(plant)
            time.sleep(.02)
    codes = [one.result() for one in sending]
    assert 200 in codes and 503 in codes, codes


def timed(check, plant):
    began = time.monotonic()
    check(plant)
    print(f"{check.__name__} ok, {time.monotonic() - began:.1f} s")


def main():
    limits = {**LIMITS, "peer_long": 2}
    with Remote(sys.argv[1], config={"limits": limits}) as plant, concurrent.futures.ThreadPoolExecutor(2) as waiting:
        plant.load_small()
        plant.load_text("readings", many_readings())
        slow = [waiting.submit(timed, check, plant) for check in (check_slow_request, check_slow_reader)]
        for check in (check_silent_tcp, check_one_peer, check_idle_socket, check_another_user, check_half_closed,
                      check_head, check_unread_bodies, check_browsers, check_hosts, check_strangers, check_uploads,
                      check_batches):
            timed(check, plant)
        for one in slow:
            one.result()
        assert plant.stop() == 0, plant.log_text()


main()
