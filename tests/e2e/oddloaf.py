"""A daemon of one's own in a folder of its own, and the client that talks to it.

    with Plant(binaries) as plant:
        plant.load_small()
        out = plant.client_json("log", "--from", "-", stdin=line)
"""
import contextlib
import datetime
import http.client
import json
import os
import pathlib
import pty
import random
import re
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import uuid
import zoneinfo

ROOT = pathlib.Path(__file__).resolve().parents[2]

PRODUCTS = """product,name,family,shelf_life_days,unit_g
W24,Mill Wheat Loaf,pan-bread,10,680
B08,Mill Burger Bun 8,bun,8,480
"""
TARGETS = """product,quantity,target,low,high
W24,core_at_pack_c,36,30,40
W24,crumb_ph,5.3,5.0,5.5
W24,inhibitor_pct_flour,0.30,0.27,0.33
"""


class UnixConnection(http.client.HTTPConnection):
    def __init__(self, path, timeout=120):
        super().__init__("localhost", timeout=timeout)
        self.path = path

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(self.timeout)
        self.sock.connect(self.path)


def lot_rows(days=30, lots_a_day=4, start=(2026, 10, 20)):
    """Lots of one product on one line, four hours apart, and their readings."""
    lots = ["lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift"]
    readings = ["lot,quantity,value,at"]
    first = datetime.datetime(*start, 4, 0)
    for day in range(days):
        for n in range(lots_a_day):
            packed = first + datetime.timedelta(days=day, hours=4 * n)
            doy = packed.timetuple().tm_yday
            code = f"L1 {packed.year % 10}{doy:03d} A{packed:%H%M}"
            stamp = "%Y-%m-%dT%H:%M:00-05:00"
            made = packed - datetime.timedelta(hours=3)
            end = packed + datetime.timedelta(hours=1)
            best = packed.date() + datetime.timedelta(days=10)
            lots.append(f"{code},W24,1,{made:{stamp}},{made:{stamp}},{packed:{stamp}},"
                        f"{end:{stamp}},5000,{best},A")
            core = 36 + (day * 7 + n * 3) % 5 * 0.4
            readings.append(f"{code},core_at_pack_c,{core:.1f},{packed:{stamp}}")
            readings.append(f"{code},crumb_ph,5.3,{packed:{stamp}}")
            readings.append(f"{code},inhibitor_pct_flour,0.30,{packed:{stamp}}")
    return "\n".join(lots) + "\n", "\n".join(readings) + "\n"


def until(happens, said="it did not come true", seconds=120):
    """Waits for what a loaded machine does late; returns what `happens` says in the end. `said`: what is told if it
    does not, or a function that tells it."""
    end = time.monotonic() + seconds
    while not (found := happens()):
        assert time.monotonic() < end, f"not within {seconds} s: {said() if callable(said) else said}"
        time.sleep(0.02)
    return found


def plant_day(days=0, zone="America/New_York"):
    """A day as the plant counts them, whatever the machine thinks."""
    return datetime.datetime.now(zoneinfo.ZoneInfo(zone)).date() + datetime.timedelta(days=days)


def tells_phone(text, phone):
    """Its last two groups of digits, whatever stands between: by chance every page holds some four digits."""
    return re.search(r"\W{0,2}".join(re.findall(r"\d+", phone)[-2:]), text) is not None


def free_port():
    """Below those that the system gives out by itself: between now and its use no other connection takes it."""
    while True:
        with contextlib.suppress(OSError), socket.create_server(("127.0.0.1", random.randrange(15000, 32000))) as probe:
            return probe.getsockname()[1]


def complaint(lot="L1 6318 A0400", symptom="mold", received="2026-11-20T09:14:00-05:00", **more):
    return {"id": str(uuid.uuid4()), "received_at": received, "channel": "phone",
            "symptom": symptom, "lot_text": lot, "found_on": received[:10], **more}


class Plant:
    def __init__(self, binaries, state=None, config=None, keep=False, rules=None,
                 before_exec=None):
        self.binaries = pathlib.Path(binaries)
        self.dir = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-e2e-"))
        self.state = pathlib.Path(state) if state else self.dir / "state"
        self.socket = str(self.dir / "s.sock")
        self.config = {"plant": "Harrow Mill Bakery", "time_zone": "America/New_York",
                       "mail": {"program": ""}, **(config or {})}
        self.keep, self.database = keep, None
        if os.environ.get("ODDLOAF_TEST_SERVER") and "store" not in self.config:
            self.database = f"e{uuid.uuid4().hex}"
            self.ask_server(f"CREATE DATABASE {self.database} TEMPLATE empty STRATEGY FILE_COPY")
            self.config["store"] = f"postgresql:///{self.database}?{os.environ['ODDLOAF_TEST_SERVER']}"
        self.rules = pathlib.Path(rules) if rules else ROOT / "rules"
        self.before_exec = before_exec  # called in the child before it becomes the daemon
        self.daemon = None

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, failed=None, *_):
        if failed:
            print(self.log_text()[-2000:], file=sys.stderr)  # what it said before it died, if it did
        self.stop()
        if self.database:
            self.ask_server(f"DROP DATABASE {self.database} WITH (FORCE)")
        if not self.keep:
            shutil.rmtree(self.dir, ignore_errors=True)

    @staticmethod
    def ask_server(sql):
        """Of the tests' PostgreSQL server (tests/store/postgresql.py), where they are told of one."""
        subprocess.run(["psql", "-qX", "-d", f"postgresql:///postgres?{os.environ['ODDLOAF_TEST_SERVER']}",
                        "-c", sql], check=True)

    # ---- daemon ----
    def start(self, expect_ready=True):
        (self.dir / "config.json").write_text(json.dumps(self.config))
        self.log = open(self.dir / "daemon.log", "ab")
        self.daemon = subprocess.Popen(
            [self.binaries / "oddloafd", "--config", self.dir / "config.json", "--state",
             self.state, "--rules", self.rules, "--socket", self.socket],
            stderr=self.log, stdin=subprocess.DEVNULL, preexec_fn=self.before_exec)
        if not expect_ready:
            return
        used, still = None, 0
        while still < 60:  # as long as it lives and gets on: on a busy machine a start takes what it takes
            if self.daemon.poll() is not None:
                raise RuntimeError("the daemon ended: " + self.log_text())
            try:
                if self.get("/v1/status")[0] == 200:
                    return
            except OSError:
                pass
            time.sleep(0.05)
            still, used = (still + 0.05, used) if self.used() == used else (0, self.used())
        raise RuntimeError("the daemon does not answer and does nothing: " + self.log_text())

    def used(self):
        """The daemon's time of the processor and what it waited for the disk, in ticks."""
        try:
            fields = pathlib.Path(f"/proc/{self.daemon.pid}/stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            return None
        return int(fields[11]) + int(fields[12]) + int(fields[39])

    def wait_anew(self):
        """Until a daemon that stops to restore has come back."""
        def back():
            with contextlib.suppress(OSError):
                return self.get("/v1/status")[1].get("restored")  # while it stops it says that it is busy
        until(back, lambda: "not restored: " + self.log_text())

    def log_text(self):
        return (self.dir / "daemon.log").read_text(errors="replace")

    def stop(self):
        """Gracefully; returns the exit code."""
        if self.daemon and self.daemon.poll() is None:
            self.daemon.terminate()
        code = self.daemon.wait(120) if self.daemon else None
        self.log.close()
        return code

    def kill(self):
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.log.close()

    # ---- HTTP ----
    def request(self, method, path, body=None, type_="application/json", timeout=120):
        connection = UnixConnection(self.socket, timeout)
        try:
            headers = {"Content-Type": type_} if body is not None else {}
            connection.request(method, path, body=body, headers=headers)
            answer = connection.getresponse()
            text = answer.read()
            kind = answer.getheader("Content-Type", "")
            return answer.status, json.loads(text) if "json" in kind and "nd" not in kind else text
        finally:
            connection.close()

    def get(self, path):
        return self.request("GET", path)

    def post(self, path, value):
        return self.request("POST", path, json.dumps(value).encode())

    def load_text(self, kind, text):
        status, answer = self.request("POST", f"/v1/records/{kind}?source={kind}.csv",
                                      text.encode(), "text/csv")
        assert status == 200 and not answer["refused"], answer
        return answer

    def load_small(self):
        lots, readings = lot_rows()
        for kind, text in (("products", PRODUCTS), ("targets", TARGETS), ("lots", lots),
                           ("readings", readings)):
            self.load_text(kind, text)

    def send_gathered(self):
        soon = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(seconds=20)
        for mail in self.get("/v1/outbox")[1]["mails"]:
            waits = mail["event"] == "urgent" and mail["state"] == "waiting" and not mail["attempts"]
            if waits and any(r["next_at"] and datetime.datetime.fromisoformat(r["next_at"]) > soon for r in mail["recipients"]):
                self.post(f"/v1/outbox/{mail['id']}/send", {})

    def wait_idle(self, seconds=120):
        """Until nothing waits to be ranked or, if anybody is set up to get mail, to be mailed; urgent mail that
        waits for more of its case is sent."""
        end = time.monotonic() + seconds
        while True:
            status = self.get("/v1/status")[1]
            mailed = status["mail"]["gap"] or status["outbox"]["waiting"] == 0
            if not any(status["work"].values()) and mailed:
                return status
            assert time.monotonic() < end, "still busy: " + json.dumps(status)
            if not mailed:
                self.send_gathered()
            time.sleep(0.1)

    # ---- client ----
    def client(self, *words, stdin=None, check=None, env=None):
        done = subprocess.run([self.binaries / "oddloaf", "--socket", self.socket, *words],
                              input=stdin, capture_output=True, text=True, timeout=300,
                              env={**os.environ, "ODDLOAF_SPOOL": str(self.dir / "spool"),
                                   "LC_ALL": "C.UTF-8", **(env or {})})
        if check is not None:
            assert done.returncode == check, (words, done.returncode, done.stdout, done.stderr)
        return done

    def client_json(self, *words, stdin=None, check=0):
        out = self.client("--json", *words, stdin=stdin, check=check).stdout
        lines = [json.loads(line) for line in out.splitlines() if line.strip()]
        return lines[0] if len(lines) == 1 else lines

    def answer_on_a_terminal(self, words, said):
        """Runs the client on a terminal of 80 columns; returns its exit code and what it showed."""
        primary, secondary = pty.openpty()
        done = subprocess.Popen([self.binaries / "oddloaf", "--socket", self.socket, *words],
                                stdin=secondary, stdout=secondary, stderr=secondary,
                                env={**os.environ, "COLUMNS": "80", "TERM": "xterm"})
        os.close(secondary)
        shown, until = b"", time.time() + 60
        while time.time() < until:
            if not select.select([primary], [], [], 1)[0]:
                continue
            try:
                piece = os.read(primary, 4096)
            except OSError:  # the other end is closed
                break
            if not piece:
                break
            shown += piece
            if said and b"yes:" in shown:
                os.write(primary, said.encode() + b"\n")
                said = None
        os.close(primary)
        return done.wait(60), shown.decode(errors="replace")
