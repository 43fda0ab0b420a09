"""SIGHUP: everything that can change while the daemon runs does, what cannot is named, a refused reload
changes nothing and says why, and none is lost or done more often than needed.
                                                                       usage: test_reload.py BINARIES"""
import contextlib
import json
import pathlib
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, free_port, until  # noqa: E402

DONE = "settings reloaded"
REFUSED = "reload refused"


def write(plant):
    (plant.dir / "config.json").write_text(json.dumps(plant.config))


def reload(plant, marker=DONE):
    before = plant.log_text().count(marker)
    write(plant)
    plant.daemon.send_signal(signal.SIGHUP)
    until(lambda: plant.log_text().count(marker) > before, plant.log_text())
    return plant.log_text()[plant.log_text().rindex(marker):]


def threads(plant):
    return len(list(pathlib.Path(f"/proc/{plant.daemon.pid}/task").iterdir()))


def check_limits(binaries):
    with Plant(binaries, config={"limits": {"body_bytes": 4096, "connections": 8}, "readers": 2}) as plant:
        big = b"x" * 10000
        assert plant.request("POST", "/v1/complaints", big)[0] == 413
        plant.config["limits"] = {"body_bytes": 65536, "connections": 40, "request_s": 1}
        reload(plant)
        until(lambda: plant.request("POST", "/v1/complaints", big)[0] == 400, "a body of 10 kB is read")
        held = []
        for _ in range(20):
            held.append(socket.socket(socket.AF_UNIX))
            held[-1].connect(plant.socket)
        assert plant.get("/v1/status")[0] == 200, "20 connections are open, 40 allowed"
        held[0].settimeout(15)
        held[0].sendall(b"GET /v1/sta")  # and no more of it: cut after limits/request_s
        assert held[0].recv(100).startswith(b"HTTP/1.1 408 ")
        for s in held:
            s.close()
        assert "connections full" not in plant.log_text(), plant.log_text()


def check_readers(binaries):
    with Plant(binaries, config={"readers": 2}) as plant:
        plant.load_small()
        before = threads(plant)
        for readers in (7, 1, 3):
            plant.config["readers"] = readers
            reload(plant)
            until(lambda: threads(plant) == before + readers - 2, f"{readers} readers")
            assert plant.get("/v1/cases")[0] == 200


def check_queue(binaries):
    """While the writer is held, one reader waits for it and 16 requests wait for the reader: the next is
    refused. A reload then waits its turn and is not lost; with a longer queue more may wait."""
    with Plant(binaries, config={"readers": 1, "queue": 16}) as plant:
        plant.load_small()

        def hold(n):
            codes.append(plant.post("/v1/lots/hold", {"lots": ["L1 6318 A0400"], "reason": str(n), "by": "QA"})[0])

        for queue, clients in ((16, 40), (1000, 40)):
            codes = []
            with contextlib.closing(sqlite3.connect(plant.state / "oddloaf.db", isolation_level=None)) as lock:
                lock.execute("BEGIN IMMEDIATE")
                asking = [threading.Thread(target=hold, args=(n,)) for n in range(clients)]
                for thread in asking:
                    thread.start()
                if queue == 16:
                    until(lambda: 503 in codes, "some are refused")
                    plant.config["queue"] = 1000
                    plant.config["plant"] = "Harrow Mill Bakery No. 2"
                    write(plant)
                    plant.daemon.send_signal(signal.SIGHUP)
                else:
                    until(lambda: plant_connections(plant) >= clients, "all wait")
            for thread in asking:
                thread.join(300)
            assert (503 in codes) == (queue == 16), codes
            until(lambda: DONE in plant.log_text(), "the reload was lost")
            assert plant.get("/v1/status")[1]["plant"] == "Harrow Mill Bakery No. 2"


def plant_connections(plant):
    links = pathlib.Path(f"/proc/{plant.daemon.pid}/fd").iterdir()
    count = 0
    for link in links:
        with contextlib.suppress(OSError):
            count += str(link.readlink()).startswith("socket:")
    return count


def certificate(plant, name):
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-days", "2", "-subj", f"/CN={name}", "-keyout", plant.dir / "key.pem", "-out",
                    plant.dir / "cert.pem"], check=True, capture_output=True)
    return ssl.PEM_cert_to_DER_cert((plant.dir / "cert.pem").read_text())


def shown(port):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with socket.create_connection(("127.0.0.1", port), 10) as s, context.wrap_socket(s) as tls:
        return tls.getpeercert(binary_form=True)


def check_certificates(binaries):
    plant, port = Plant(binaries), free_port()
    first = certificate(plant, "one")
    plant.config["tcp"] = {"listen": f"127.0.0.1:{port}", "certificate": str(plant.dir / "cert.pem"),
                           "key": str(plant.dir / "key.pem")}
    with plant:
        assert shown(port) == first
        second = certificate(plant, "two")
        reload(plant)
        assert shown(port) == second, "the old certificate is still shown"

        (plant.dir / "cert.pem").write_text("no certificate\n")
        plant.config["limits"] = {"body_bytes": 4096}
        assert "certificate" in reload(plant, REFUSED)
        assert shown(port) == second
        assert "certificate" in plant.get("/v1/status")[1]["rules"]["last_error"]
        assert plant.request("POST", "/v1/complaints", b"x" * 10000)[0] == 400, "half of a refused reload is in force"

        certificate(plant, "three")
        other = free_port()
        plant.config["tcp"]["listen"] = f"127.0.0.1:{other}"
        assert "tcp/listen" in reload(plant, "needs a restart")
        assert shown(port), "the port changed without a restart"
        assert plant.get("/v1/status")[1]["rules"]["needs_restart"] == ["tcp/listen"]
        assert "tcp/listen" in plant.client("status", check=1).stdout
        assert plant.request("POST", "/v1/complaints", b"x" * 10000)[0] == 413, "the rest was not taken"
        plant.config["tcp"]["listen"] = f"127.0.0.1:{port}"
        reload(plant)
        assert plant.get("/v1/status")[1]["rules"]["needs_restart"] == []
        assert plant.log_text().count("needs a restart") == 1, plant.log_text()


def check_storm(binaries):
    """However many signals: what was written before the last of them is in force, for the price of a few."""
    with Plant(binaries) as plant:
        plant.load_small()
        before = plant.log_text().count(DONE)
        for n in range(200):
            plant.config["plant"] = f"Bakery {n}"
            write(plant)
            plant.daemon.send_signal(signal.SIGHUP)
            if n % 20 == 0:
                assert plant.get("/v1/status")[0] == 200
        until(lambda: plant.get("/v1/status")[1]["plant"] == "Bakery 199", "the last one is in force")
        done = plant.log_text().count(DONE) - before
        assert 1 <= done < 100, done
        assert plant.stop() == 0, plant.log_text()
        print(done, "reloads for 200 signals")


def check_stop(binaries):
    """A reload under way is no reason to die."""
    with Plant(binaries) as plant:
        for _ in range(5):
            plant.daemon.send_signal(signal.SIGHUP)
        assert plant.stop() == 0, plant.log_text()


def main():
    for check in (check_limits, check_readers, check_queue, check_certificates, check_storm, check_stop):
        check(sys.argv[1])
        print(check.__name__, "ok")


main()
