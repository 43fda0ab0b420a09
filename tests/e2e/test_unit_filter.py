#!/usr/bin/python3
"""The daemon at work under the system-call filter of the shipped unit.

A call that the filter forbids kills the process, and no other test would show it. The filter's groups
are resolved by systemd-analyze, the filter is loaded by libseccomp, and the daemon does a day's work under
it: records, complaints, ranking in the background, a mail, a reload, a backup, a week. It must live; without
the unit's last line, which allows what background work asks for, it must die."""
import json
import os
import signal
import subprocess
import sys

import seccomp
from oddloaf import ROOT, Plant, complaint

UNIT = ROOT / "systemd/oddloafd.service.in"


def members(name):
    """The calls of a group, or the call itself."""
    if not name.startswith("@"):
        return {name}
    text = subprocess.run(["systemd-analyze", "syscall-filter", name], check=True, capture_output=True, text=True).stdout
    words = [line.strip() for line in text.splitlines()[1:]]
    return set().union(*(members(word) for word in words if word and not word.startswith("#")))


def allowed_by(lines):
    """What a list of SystemCallFilter= lines lets through: a ~ takes away, the rest adds, in their order."""
    allowed = set()
    for line in lines:
        calls = set().union(*(members(word) for word in line.lstrip("~").split()))
        allowed = allowed - calls if line.startswith("~") else allowed | calls
    return allowed


def filter_lines():
    key = "SystemCallFilter="
    return [line[len(key):] for line in UNIT.read_text().splitlines() if line.startswith(key)]


def loader(allowed):
    """For the child, before it becomes the daemon. As root, which the unit is not, SQLite keeps a file's owner."""
    kernel_filter = seccomp.SyscallFilter(seccomp.KILL_PROCESS)
    for call in sorted(allowed | ({"fchown"} if os.geteuid() == 0 else set())):
        try:
            kernel_filter.add_rule(seccomp.ALLOW, call)
        except RuntimeError:
            pass  # a call that this machine has not
    return kernel_filter.load


def work_a_day(plant):
    plant.load_small()
    said = plant.client_json("log", "--from", "-", stdin=json.dumps(complaint(found_on="2026-11-18")))
    assert said["ranked"], said
    plant.wait_idle()
    assert "Message-ID" in (plant.dir / "mailed").read_text()
    plant.daemon.send_signal(signal.SIGHUP)
    assert plant.client("backup", str(plant.dir / "backup.db")).returncode == 0
    assert plant.client_json("week", "2026-W47")["complaints"]["mold"] == 1
    assert plant.client("rules", "list").returncode == 0
    assert plant.get("/v1/status")[0] == 200


def main():
    binaries, lines = sys.argv[1], filter_lines()
    assert len(lines) == 3, lines
    plant = Plant(binaries, before_exec=loader(allowed_by(lines)))
    script = plant.dir / "mail.sh"
    script.write_text(f'#!/bin/sh\ncat > "{plant.dir}/mailed"\n')
    script.chmod(0o755)
    plant.config["mail"] = {"program": str(script), "to": ["qa@harrowmill.example"], "from": "oddloaf@harrowmill.example"}
    with plant:
        work_a_day(plant)
        assert plant.stop() == 0, plant.log_text()
    print("ok: a day's work under the unit's filter")

    tight = Plant(binaries, before_exec=loader(allowed_by(lines[:2])))
    try:
        tight.start(expect_ready=False)
        assert tight.daemon.wait(60) == -signal.SIGSYS, tight.daemon.returncode
    finally:
        tight.stop()
    print("ok: without its last line the daemon is killed")


main()
