"""A PostgreSQL server for the tests, from Debian's packages, in a folder of its own: no network, no
service, run by a user who is not root.

    postgresql.py start FOLDER [PROGRAM]   PROGRAM STATE makes an empty state: the database `empty`
    postgresql.py stop FOLDER

Its address is postgresql:///DATABASE?host=FOLDER&user=oddloaf. Nothing is synced to disk unless it is
asked for: no power is lost here."""

import contextlib
import os
import pathlib
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time

BIN = max(pathlib.Path("/usr/lib/postgresql").glob("*/bin"), default=None,
          key=lambda p: int(p.parent.name))
SETTINGS = {"listen_addresses": "", "shared_buffers": "32MB", "max_connections": "100",
            "autovacuum": "off", "log_min_messages": "error", "timezone": "UTC"}


def as_user():
    """PostgreSQL refuses root."""
    if os.geteuid() != 0:
        return {}
    try:
        user = pwd.getpwnam("postgres")
    except KeyError:
        user = pwd.getpwnam("nobody")
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def run(*command, **how):
    return subprocess.run([BIN / command[0], *command[1:]], check=True, stdin=subprocess.DEVNULL,
                          stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/", **how)


def launch(folder, tries=50):
    """What a killed one left of itself may take a moment to go."""
    settings = dict(SETTINGS, unix_socket_directories=folder)
    if not (folder / "sync").exists():
        settings |= {"fsync": "off", "full_page_writes": "off"}
    if (folder / "tls.crt").exists():
        settings |= {"listen_addresses": "localhost", "ssl": "on", "ssl_cert_file": folder / "tls.crt",
                     "ssl_key_file": folder / "tls.key", "port": os.environ["PGPORT"]}
    options = " ".join(f"-c {name}='{value}'" for name, value in settings.items())
    while True:
        try:
            run("pg_ctl", "-D", folder / "data", "-w", "-t", "60", "-l", folder / "log", "-o", options,
                "start", **as_user())
            return
        except subprocess.CalledProcessError:
            tries -= 1
            if not tries:
                raise
            time.sleep(0.1)


def ask(folder, sql, database="postgres"):
    return subprocess.run(["psql", "-qXtA", "-v", "ON_ERROR_STOP=1", "-d",
                           f"postgresql:///{database}?host={folder}&user=oddloaf", "-c", sql],
                          check=True, capture_output=True, text=True).stdout.strip()


def start(folder, program=None, sync=False):
    if (folder / "data/postmaster.pid").exists():
        with contextlib.suppress(subprocess.CalledProcessError):  # one that was killed left it
            stop(folder)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True, mode=0o755)
    owner = as_user()
    if owner:
        os.chown(folder, owner["user"], owner["group"])
    if sync:
        (folder / "sync").touch()
    run("initdb", "-D", folder / "data", "-A", "trust", "-U", "oddloaf", "--no-sync", "--locale=C",
        "-E", "UTF8", **owner)
    launch(folder)
    if program:
        ask(folder, "CREATE DATABASE empty")
        with tempfile.TemporaryDirectory(prefix="oddloaf-empty-") as state:
            pathlib.Path(state, "server").write_text(
                f"postgresql:///empty?host={folder}&user=oddloaf\n")
            subprocess.run([program, state], check=True)


def serve_tls(folder):
    """Started anew it listens on localhost, on a port that $PGPORT says to all that ask it from here on; a
    role that is not the first comes in by TLS and its password alone."""
    with socket.socket() as free:
        free.bind(("localhost", 0))
        os.environ["PGPORT"] = str(free.getsockname()[1])
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost", "-days", "7",
                    "-keyout", folder / "tls.key", "-out", folder / "tls.crt"], check=True, capture_output=True)
    if owner := as_user():
        os.chown(folder / "tls.key", owner["user"], owner["group"])
    rules = folder / "data/pg_hba.conf"
    rules.write_text("local all oddloaf trust\nhostssl all all localhost scram-sha-256\n")
    launch(folder)


def stop(folder, how="immediate"):
    run("pg_ctl", "-D", folder / "data", "-m", how, "-w", "stop", **as_user())


def kill(folder):
    """All of its processes at once, as a machine that dies."""
    first = int((folder / "data/postmaster.pid").read_text().split()[0])
    children = pathlib.Path(f"/proc/{first}/task/{first}/children").read_text().split()
    for pid in [first, *map(int, children)]:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    while pathlib.Path(f"/proc/{first}").exists() and \
            pathlib.Path(f"/proc/{first}/stat").read_text().split()[2] != "Z":
        time.sleep(0.01)


def main():
    does, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    if does == "start":
        start(folder, *sys.argv[3:])
    elif does == "stop":
        stop(folder)
        shutil.rmtree(folder)
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main()
