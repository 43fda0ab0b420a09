"""A server that dies and whose replica takes its place, under two daemons that know both by their address; and one
whose disk is full. What was acknowledged is there, nobody has to do anything, a mail leaves once.

usage: test_failover.py BINARIES     by hand: needs root, who may mount a small disk in memory
"""
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[0] / "store"), str(HERE.parents[0] / "e2e"), str(HERE)]
import postgresql  # noqa: E402
import test_kill  # noqa: E402
from oddloaf import Plant, complaint, until  # noqa: E402
from test_kill import Load, check_complaints, check_counts  # noqa: E402
from test_two_daemons import Pair, check_mailed_once, check_ranked_once, mails, post  # noqa: E402


def replicate(first, second):
    """What the first has acknowledged the second has on its disk."""
    second.mkdir(mode=0o755)
    owner = postgresql.as_user()
    if owner:
        shutil.chown(second, owner["user"], owner["group"])
    with open(first / "data/pg_hba.conf", "a", encoding="ascii") as rules:
        rules.write("local replication all trust\n")
    postgresql.ask(first, "SELECT pg_reload_conf()")
    postgresql.run("pg_basebackup", "-h", first, "-U", "oddloaf", "-D", second / "data", "-R", "-X", "stream", **owner)
    postgresql.launch(second)
    postgresql.ask(first, "ALTER SYSTEM SET synchronous_standby_names = '*'")
    postgresql.ask(first, "SELECT pg_reload_conf()")
    until(lambda: postgresql.ask(first, "SELECT sync_state FROM pg_stat_replication") == "sync")


def fail_over(binaries, folder):
    first, second, mailbox = folder / "first", folder / "second", folder / "mail"
    postgresql.start(first)
    postgresql.ask(first, "CREATE DATABASE plant")
    replicate(first, second)
    store = f"postgresql:///plant?host={first},{second}&user=oddloaf&target_session_attrs=read-write"
    a, b = (Plant(binaries, config={"store": store}) for _ in "ab")
    post((a, b), mailbox)
    try:
        a.start()
        b.start()
        a.load_small()
        readings = a.get("/v1/status")[1]["counts"]["readings"]
        load = Load(Pair(a, b))
        try:
            until(lambda: len(load.logged) > 50 and load.files and load.corrected and len(mails(mailbox)) > 5, seconds=300)
            postgresql.kill(first)
            began = time.monotonic()
            status, answer = a.post("/v1/complaints?rank=0", complaint())
            assert status == 503, (status, answer)
            refused_s = time.monotonic() - began
            postgresql.run("pg_ctl", "-D", second / "data", "-w", "promote", **postgresql.as_user())
            promoted = time.monotonic()
            until(lambda: a.post("/v1/complaints?rank=0", complaint())[0] in (200, 201))
            until(lambda: b.post("/v1/complaints?rank=0", complaint())[0] in (200, 201))
            healed_s = time.monotonic() - promoted
            logged = len(load.logged)
            until(lambda: len(load.logged) > logged + 20)
        finally:
            load.stop()
        status = a.wait_idle(900)
        b.wait_idle(900)
        cases, counted = check_complaints(b, load, status)
        check_counts(b, load, readings)
        check_ranked_once(second)
        check_mailed_once(mailbox)
        assert a.stop() == 0 and b.stop() == 0
        print(f"failed over: refused after {refused_s:.1f} s, both write {healed_s:.1f} s after the replica was promoted; "
              f"acknowledged {len(load.logged)} complaints, {counted} on record, {len(cases)} cases, {len(mails(mailbox))} mails")
    finally:
        for plant in (a, b):
            if plant.daemon and plant.daemon.poll() is None:
                print(plant.log_text()[-3000:], file=sys.stderr)
                plant.kill()
        postgresql.stop(second)
    for plant in (a, b):
        shutil.rmtree(plant.dir)


def fill_up(binaries, folder):
    server, small = folder / "server", folder / "small"
    postgresql.start(server)
    small.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=96m", "tmpfs", small], check=True)
    try:
        owner = postgresql.as_user()
        shutil.chown(small, owner["user"], owner["group"])
        postgresql.ask(server, f"CREATE TABLESPACE small LOCATION '{small}'")
        postgresql.ask(server, "CREATE DATABASE plant TABLESPACE small")
        with Plant(binaries, config={"store": f"postgresql:///plant?host={server}&user=oddloaf"}) as plant:
            plant.load_small()
            assert plant.post("/v1/complaints", complaint())[0] == 201
            filler = small / "filler"
            with open(filler, "wb") as file:
                try:
                    while file.write(b"\0" * 65536):
                        file.flush()
                except OSError:
                    pass
            told = []
            until(lambda: told.append(plant.post("/v1/complaints?rank=0", complaint(note="crust " * 300))) or
                  told[-1][0] == 507, lambda: told[-1])
            assert "free space on the disk of the PostgreSQL server" in told[-1][1]["hint"], told[-1]
            out = plant.client("log", "--from", "-", stdin=json.dumps(complaint(note="crust " * 300)))
            kept = out.returncode
            filler.unlink()
            until(lambda: plant.post("/v1/complaints?rank=0", complaint())[0] in (200, 201))
            plant.wait_idle(300)
            accepted = sum(status in (200, 201) for status, _ in told)
            counts = plant.get("/v1/status")[1]["counts"]
            assert counts["complaints"] >= accepted + 2, (counts, accepted)
            assert not any(plant.get("/v1/status/recount")[1]["differences"].values())
            print(f"the server's disk was full: {accepted} taken, then 507; the client ended with {kept}; healed by itself")
    finally:
        postgresql.stop(server)
        subprocess.run(["umount", small], check=True)


def main():
    test_kill.CLIENTS = 6
    folder = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-failover-"))
    folder.chmod(0o755)
    try:
        fail_over(sys.argv[1], folder)
        fill_up(sys.argv[1], folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
