"""One daemon a state, and none that acknowledges into a file that is no longer there.

usage: test_state.py BINARIES
"""
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, until  # noqa: E402

BINARIES = sys.argv[1]


def second(plant, socket):
    """Another daemon of the same state: its exit code and what it said."""
    return subprocess.run([plant.binaries / "oddloafd", "--state", plant.state, "--rules",
                           plant.rules, "--socket", socket],
                          stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=300)


def one_daemon_a_state():
    with Plant(BINARIES) as plant:
        done = second(plant, str(plant.dir / "other.sock"))
        assert done.returncode == 1, done
        assert f"process {plant.daemon.pid}" in done.stderr, done.stderr
        assert str(plant.state) in done.stderr, done.stderr
        assert not (plant.dir / "other.sock").exists()
        assert plant.post("/v1/complaints", complaint())[0] == 201
        for name in os.listdir(plant.state):  # no file to be removed "because it is stuck"
            if not name.startswith("oddloaf.db"):
                path = plant.state / name
                shutil.rmtree(path) if path.is_dir() else path.unlink()
        assert second(plant, str(plant.dir / "other.sock")).returncode == 1
        plant.kill()  # the kernel gives the state free, whatever the daemon left behind
        plant.start()
        assert plant.post("/v1/complaints", complaint())[0] == 201


def refused(plant, words):
    """A complaint that is not acknowledged, and why it isn't; status and log say so too."""
    status, answer = plant.post("/v1/complaints?rank=0", complaint())
    assert status == 507, (status, answer)
    log_says(plant, words)
    assert answer["type"] == "urn:oddloaf:problem:lost", answer
    assert words in answer["detail"] and "oddloaf.db" in answer["detail"], answer
    assert answer["hint"], answer
    store = plant.get("/v1/status")[1]["store"]
    assert words in store["lost"], store
    assert words in plant.client("status", check=1).stdout


def log_says(plant, words):
    until(lambda: words in plant.log_text(), plant.log_text)


def notices(change, words, undo=None):
    """`change` is done to the files of a running daemon that has one complaint."""
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.wait_idle()
        change(plant.state / "oddloaf.db", plant)
        refused(plant, words)
        if not undo:
            return
        log_says(plant, "nothing is written any more")  # it looks once a second
        undo(plant.state / "oddloaf.db")
        assert plant.post("/v1/complaints?rank=0", complaint())[0] == 201
        log_says(plant, "as it was left")
        assert plant.get("/v1/status")[1]["store"]["lost"] is None


def beside(path):
    return path.with_name("aside")


def unlink(path, _):
    path.unlink()


def empty(path, _):
    os.truncate(path, 0)


def unreadable(tries=3):
    """Without its log the database cannot even be read: that, too, is told as what it is. A commit that was under
    way puts the log's length right again: then it is cut once more."""
    with Plant(BINARIES) as plant:
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.wait_idle()
        log = plant.state / "oddloaf.db-wal"
        os.truncate(log, 0)
        assert plant.post("/v1/complaints?rank=0", complaint())[0] >= 500
        if log.stat().st_size and tries:
            return unreadable(tries - 1)
        log_says(plant, "oddloaf.db-wal was cut short")
        status, answer = plant.post("/v1/complaints?rank=0", complaint())
        assert status == 507 and "oddloaf.db-wal was cut short" in answer["detail"], answer
        told = plant.client("status")
        assert "was cut short" in told.stdout + told.stderr, told


def unlink_log(path, _):
    os.unlink(str(path) + "-wal")


def replace(path, _):
    shutil.copy(path, beside(path))
    beside(path).rename(path)


def idle(path, plant):
    """Noticed without a write, too: nobody need complain before the operator is told."""
    path.unlink()
    log_says(plant, "was removed")


def rescue():
    """What the daemon still holds can be saved by a backup before it is stopped."""
    with Plant(BINARIES) as plant:
        one = complaint()
        assert plant.post("/v1/complaints", one)[0] == 201
        plant.wait_idle()
        (plant.state / "oddloaf.db").unlink()
        refused(plant, "was removed")
        plant.client("backup", str(plant.dir / "saved.db"), check=0)
        rows = sqlite3.connect(plant.dir / "saved.db").execute("SELECT count(*) FROM complaint")
        assert rows.fetchone()[0] == 1


def kept_by_the_client():
    with Plant(BINARIES) as plant:
        (plant.state / "oddloaf.db").unlink()
        done = plant.client("log", "--symptom", "mold", "--channel", "web", check=3)
        assert "kept in" in done.stderr, done.stderr


def damaged():
    """Pages that can't be read are no fault of the complaint: it is kept and sent again, not refused."""
    with Plant(BINARIES) as plant:
        plant.load_small()
        plant.stop()
        plant.start()
        with open(plant.state / "oddloaf.db", "r+b") as file:
            file.seek(0, os.SEEK_END)
            pages = file.tell() // 4096
            file.seek(2 * 4096)
            file.write(b"\x5a" * 4096 * (pages - 2))
        status, answer = plant.post("/v1/complaints", complaint())
        assert status >= 500, (status, answer)
        status, answer = plant.request("POST", "/v1/complaints", json.dumps(complaint()).encode(),
                                       "application/x-ndjson")
        assert status >= 500, (status, answer)
        done = plant.client("log", "--symptom", "mold", "--lot", "L1 6318 A0412", check=3)
        assert "kept in" in done.stderr, done.stderr
        done = plant.client("log", "--replay", check=3)
        spool = plant.dir / "spool"
        assert list(spool.iterdir()) and not (spool / "refused").exists(), (done.stderr, list(spool.iterdir()))


def no_socket_is_left_alone():
    plant = Plant(BINARIES)
    target = plant.dir / "s.sock"
    target.write_text("somebody's file")
    plant.start(expect_ready=False)
    assert plant.daemon.wait(60) == 1, plant.log_text()
    assert "no socket" in plant.log_text(), plant.log_text()
    assert target.read_text() == "somebody's file"
    target.unlink()
    plant.start()
    target.unlink()  # what stands there when the daemon stops is not its socket any more
    target.write_text("another file")
    plant.stop()
    assert target.read_text() == "another file"
    shutil.rmtree(plant.dir)


def refuses_to_start(plant, words):
    plant.start(expect_ready=False)
    assert plant.daemon.wait(60) == 1, plant.log_text()
    assert words in plant.log_text(), plant.log_text()


def not_ones_own():
    """A state that another user has, or anybody may write to, and links in the place of files: nothing is
    written through them."""
    plant = Plant(BINARIES)
    with plant:
        target, link = plant.dir / "elsewhere", plant.dir / "link"
        link.symlink_to(target)
        code, told = plant.post("/v1/backup", {"path": str(link)})
        assert code >= 400 and "link" in told["detail"], told
        assert not target.exists() and link.is_symlink(), "written through a link"
        code, told = plant.post("/v1/backup", {"path": "a\nb"})
        assert code == 400 and "control character" in told["detail"], told
        plant.keep = True
    pid = plant.state / "oddloafd.pid"
    pid.symlink_to(target)
    plant.start()
    plant.stop()
    assert not target.exists(), "written through a link"
    plant.state.chmod(0o777)
    refuses_to_start(plant, "may be written to by anybody")
    plant.state.chmod(0o700)
    if os.geteuid() == 0:
        os.chown(plant.state, 65534, -1)
        refuses_to_start(plant, "belongs to another user")
        os.chown(plant.state, 0, -1)
    pathlib.Path(plant.socket).symlink_to(plant.dir / "other.sock")
    refuses_to_start(plant, "no socket")
    shutil.rmtree(plant.dir)


one_daemon_a_state()
not_ones_own()
notices(unlink, "was removed")
notices(replace, "was replaced")
notices(empty, "was cut short")
notices(unlink_log, "was removed")
unreadable()
notices(idle, "was removed")
notices(lambda path, _: path.rename(beside(path)), "was removed",
        undo=lambda path: beside(path).rename(path))
rescue()
kept_by_the_client()
damaged()
no_socket_is_left_alone()
