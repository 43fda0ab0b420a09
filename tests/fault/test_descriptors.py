"""A daemon that runs out of file descriptors goes on living, and answers once there are some again.
                                                                  usage: test_descriptors.py BINARIES"""
import os
import pathlib
import resource
import socket
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, until  # noqa: E402

FEW = 64  # descriptors
CROWD = 80  # clients that connect and say nothing


def crowd(plant):
    held = []
    for _ in range(CROWD):
        s = socket.socket(socket.AF_UNIX)
        s.setblocking(False)
        try:
            s.connect(plant.socket)
        except OSError:
            pass  # more than wait in the kernel's queue
        held.append(s)
    return held


def answers(plant):
    try:
        return plant.request("GET", "/v1/status", timeout=2)[0] == 200
    except OSError:
        return False


def cpu_s(plant):
    fields = pathlib.Path(f"/proc/{plant.daemon.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def check_lowered(binaries):
    """Fewer descriptors than connections are allowed: said at the start, and no client is refused one."""
    few = lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (FEW, FEW))  # noqa: E731
    with Plant(binaries, before_exec=few) as plant:
        assert "limits/connections lowered" in plant.log_text(), plant.log_text()
        held = crowd(plant)
        until(lambda: "connections full" in plant.log_text(), "the crowd is taken")
        for s in held:
            s.close()
        until(lambda: answers(plant), "answers after the crowd left")
        plant.load_small()
        assert "cannot take connections" not in plant.log_text(), plant.log_text()
        assert plant.stop() == 0, plant.log_text()


def check_raised(binaries):
    """What the hard limit allows is taken; a limit below it is no reason to serve fewer."""
    few = lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (FEW, 4096))  # noqa: E731
    with Plant(binaries, before_exec=few) as plant:
        assert "lowered" not in plant.log_text(), plant.log_text()
        soft, hard = resource.prlimit(plant.daemon.pid, resource.RLIMIT_NOFILE)
        assert 256 < soft <= hard == 4096, (soft, hard)


def check_none_left(binaries):
    """accept() fails: the daemon says so once, does not spin, and serves again when it can."""
    with Plant(binaries) as plant:
        used = len(os.listdir(f"/proc/{plant.daemon.pid}/fd"))
        resource.prlimit(plant.daemon.pid, resource.RLIMIT_NOFILE, (used + 3, 4096))
        held = crowd(plant)
        until(lambda: "cannot take connections" in plant.log_text()
              or plant.daemon.poll() is not None, "the log says why")
        assert plant.daemon.poll() is None, plant.daemon.returncode
        before, start = cpu_s(plant), time.monotonic()
        time.sleep(1)  # the time in which it could spin
        assert cpu_s(plant) - before < 0.5 * (time.monotonic() - start), "it spins"
        assert plant.log_text().count("cannot take connections") == 1, plant.log_text()
        resource.prlimit(plant.daemon.pid, resource.RLIMIT_NOFILE, (1024, 4096))
        until(lambda: answers(plant), "answers with the crowd still there")
        for s in held:
            s.close()
        assert "connections are taken again" in plant.log_text(), plant.log_text()
        assert plant.stop() == 0, plant.log_text()


def main():
    for check in (check_lowered, check_none_left, check_raised):
        check(sys.argv[1])
        print(check.__name__, "ok")


main()
