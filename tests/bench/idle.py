"""How long the desk waits while others hold connections open and say nothing.    usage: idle.py BINARIES [IDLE [ASKED]]

Logs complaints and asks for status, one after the other, without and with IDLE (10,000) silent connections to
the same socket, and prints median and p99 of both."""
import pathlib
import resource
import socket
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint  # noqa: E402


def measure(plant, asked):
    took = []
    for n in range(asked):
        begin = time.perf_counter()
        if n % 2:
            status = plant.post("/v1/complaints?rank=0", complaint(lot=f"L1 63{10 + n % 9} A0400"))[0]
        else:
            status = plant.get("/v1/status")[0]
        took.append(time.perf_counter() - begin)
        assert status in (200, 201), status
    took.sort()
    return 1000 * took[asked // 2], 1000 * took[asked * 99 // 100]


def hold(path, count):
    held = []
    while len(held) < count:
        one = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        one.connect(path)
        held.append(one)
    return held


def main():
    idle = int(sys.argv[2]) if len(sys.argv) > 2 else 10000
    asked = int(sys.argv[3]) if len(sys.argv) > 3 else 2000
    hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    assert hard > idle + 500, f"only {hard} files may be open here: ulimit -Hn"
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    limits = {"connections": idle + 100, "peer_connections": idle + 100, "idle_s": 3600, "request_s": 3600}
    with Plant(sys.argv[1], config={"limits": limits}) as plant:
        plant.load_small()
        measure(plant, asked // 10)
        alone = measure(plant, asked)
        held = hold(plant.socket, idle)
        beside = measure(plant, asked)
        open_files = len(list(pathlib.Path(f"/proc/{plant.daemon.pid}/fd").iterdir()))
        assert open_files > len(held), f"only {open_files} are held"
        for count, (median, p99) in ((0, alone), (idle, beside)):
            print(f"{count:6} silent connections: median {median:.2f} ms, p99 {p99:.2f} ms")



main()
