#!/usr/bin/python3
"""What the service manager is told and hands down, without one: we stand at NOTIFY_SOCKET ourselves.

Readiness, a reload good and bad, the watchdog's sign of life, the stop with the time it may take; and
the socket handed down, which outlives the daemon and keeps those who connect meanwhile."""
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time

from oddloaf import ROOT, UnixConnection

WAIT_S = 60


class Manager:
    """Starts the daemon as a service manager does and hears what it says."""

    def __init__(self, folder, config):
        self.folder = folder
        self.config = os.path.join(folder, "config.json")
        self.write_config(config)
        self.heard = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.heard.bind(os.path.join(folder, "notify"))
        self.heard.settimeout(WAIT_S)
        self.path = os.path.join(folder, "s.sock")
        self.listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.listening.bind(self.path)
        self.listening.listen(8)
        self.daemon = None

    def write_config(self, config):
        with open(self.config, "w", encoding="utf-8") as file:
            json.dump(config, file)

    def start(self, binary, sockets=1, **options):
        """The shell between us sets LISTEN_PID, which must be the daemon's own."""
        os.set_inheritable(self.listening.fileno(), True)
        handed = " ".join(f"{3 + i}<&{self.listening.fileno()}" for i in range(sockets))
        script = f'exec {handed}; LISTEN_FDS={sockets} LISTEN_PID=$$ exec "$@"'
        self.daemon = subprocess.Popen(
            ["sh", "-c", script, "sh", binary, "--config", self.config, "--state", self.folder + "/state", "--rules",
             ROOT / "rules"], env={**os.environ, "NOTIFY_SOCKET": self.heard.getsockname()}, close_fds=False, **options)

    def hear(self, alive=False):
        """The next thing said, as a dict: the next sign of life, or the next that is none."""
        until = time.monotonic() + WAIT_S
        while time.monotonic() < until:
            said = dict(line.split("=", 1) for line in self.heard.recv(4096).decode().splitlines())
            if (said == {"WATCHDOG": "1"}) == alive:
                return said
        raise AssertionError("the manager waits for a word and hears signs of life only")

    def status(self):
        connection = UnixConnection(self.path, WAIT_S)
        connection.request("GET", "/v1/status")
        answer = connection.getresponse()
        try:
            return json.loads(answer.read())
        finally:
            connection.close()

    def stop(self):
        self.daemon.send_signal(signal.SIGTERM)
        return self.daemon.wait(WAIT_S)


def reload_says(manager, config):
    manager.write_config(config)
    manager.daemon.send_signal(signal.SIGHUP)
    begun, ended = manager.hear(), manager.hear()
    assert begun["RELOADING"] == "1" and int(begun["MONOTONIC_USEC"]) > 0, begun
    assert ended == {"READY": "1"}, ended
    return manager.status()


def run(binary, manager):
    manager.start(binary)
    assert manager.hear() == {"READY": "1"}
    manager.hear(alive=True)
    print("ok: ready, and alive")

    good = {"limits": {"stop_s": 70}, "mail": {"program": ""}, "plant": "Harrow Mill Bakery"}
    taken = reload_says(manager, good)
    assert taken["plant"] == good["plant"] and not taken["rules"]["last_error"], taken
    refused = reload_says(manager, {"plan": "misspelt"})
    assert refused["plant"] == good["plant"] and "plan" in refused["rules"]["last_error"], refused
    print("ok: a reload ends with READY, taken or refused")

    manager.daemon.send_signal(signal.SIGTERM)
    said = manager.hear()
    assert said["STOPPING"] == "1" and int(said["EXTEND_TIMEOUT_USEC"]) >= 70_000_000, said
    assert manager.daemon.wait(WAIT_S) == 0
    print("ok: a stop says how long it may take")

    waiting = UnixConnection(manager.path, WAIT_S)
    waiting.request("GET", "/v1/status")
    manager.write_config(good)
    manager.start(binary)
    assert waiting.getresponse().status == 200
    waiting.close()
    assert manager.stop() == 0
    assert os.path.exists(manager.path)
    print("ok: the socket handed down outlives the daemon, and who connects meanwhile is answered")

    manager.start(binary, sockets=5, stderr=subprocess.PIPE, text=True)
    told = manager.daemon.communicate(timeout=WAIT_S)[1]
    assert manager.daemon.returncode and "5 sockets are handed down, more than 4" in told, told
    print("ok: more sockets than it takes are told as such")


def main():
    with tempfile.TemporaryDirectory(prefix="oddloaf-service-") as folder:
        manager = Manager(folder, {"limits": {"stop_s": 70}, "mail": {"program": ""}})
        try:
            run(os.path.join(sys.argv[1], "oddloafd"), manager)
        finally:
            manager.daemon.kill()


main()
