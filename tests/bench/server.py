"""How much of what a PostgreSQL server does by itself a daemon on it does, each beside a bare baseline in the same run:

    intake   complaints that clients log, kept by the server's log on disk, beside the same new rows of the same tables,
             keys and indexes, put in by psql a row a statement, as many rows to a commit as the daemon's
    load     readings of a file, checked, compared with what is there and noted, beside COPY of the rows into the table
    rank     a case's ranking asked for again and again, beside the same on SQLite

usage: server.py BINARIES [complaints [rows]]
"""
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[0] / "store"), str(HERE.parents[0] / "e2e")]
import postgresql  # noqa: E402
from oddloaf import Plant, complaint  # noqa: E402

LOTS = [f"L1 6{day} A0400" for day in range(300, 320)]
CLIENTS = 16


def psql(server, database, *words, **how):
    return subprocess.run(["psql", "-qX", "-v", "ON_ERROR_STOP=1", "-d",
                           f"postgresql:///{database}?host={server}&user=oddloaf", *words], check=True, **how)


def copy_of(server, plant, name):
    """The database as it stands, beside it: a template has nobody at it."""
    assert plant.stop() == 0
    postgresql.ask(server, f"CREATE DATABASE {name} TEMPLATE plant")
    plant.start()


def new_rows(server, before):
    def rows(database):
        out = subprocess.run(["pg_dump", "-h", server, "-U", "oddloaf", "--data-only", "--inserts", "--disable-triggers",
                              "--on-conflict-do-nothing", database], check=True, capture_output=True, text=True).stdout
        return re.findall(r"^INSERT INTO .*? ON CONFLICT DO NOTHING;$", out, re.S | re.M)
    there = set(rows(before))
    return [row for row in rows("plant") if row not in there]


def log_all(plant, count):
    left = iter([complaint(lot=LOTS[n % len(LOTS)], packs=1, note="fuzzy on the heel") for n in range(count)])
    lock = threading.Lock()

    def run():
        while True:
            with lock:
                one = next(left, None)
            if one is None:
                return
            assert plant.post("/v1/complaints?rank=0", one)[0] == 201
    threads = [threading.Thread(target=run) for _ in range(CLIENTS)]
    began = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.monotonic() - began


def intake(server, plant, count):
    copy_of(server, plant, "bare")
    took = log_all(plant, count)
    rows = new_rows(server, "bare")
    group = max(len(rows) // max(count // CLIENTS, 1), 1)
    path = server / "rows.sql"
    with open(path, "w", encoding="utf-8") as file:
        file.write("SET session_replication_role = replica;\n")  # keys to other tables are not checked
        for n, row in enumerate(rows):
            file.write(("BEGIN;\n" if n % group == 0 else "") + row + "\n" +
                       ("COMMIT;\n" if n % group == group - 1 or n == len(rows) - 1 else ""))
    began = time.monotonic()
    psql(server, "bare", "-f", path, stdout=subprocess.DEVNULL)
    bare = time.monotonic() - began
    print(f"intake: {count / took:.0f} complaints/s, {len(rows)} rows; the rows alone {count / bare:.0f}/s: ratio {bare / took:.2f}")


def load(server, plant, count):
    copy_of(server, plant, "bare_load")
    path = plant.dir / "readings.csv"
    path.write_text("lot,quantity,value,at\n" + "".join(
        f"{LOTS[n % len(LOTS)]},core_at_pack_c,{30 + n % 97 / 10:.1f},2026-11-{1 + n // 86400:02}"
        f"T{n // 3600 % 24:02}:{n // 60 % 60:02}:{n % 60:02}-05:00\n" for n in range(count)))
    began = time.monotonic()
    plant.client("load", "readings", str(path), check=0)
    took = time.monotonic() - began
    rows = server / "readings.copy"
    with open(rows, "wb") as file:
        psql(server, "plant", "-c", "COPY oddloaf.reading TO STDOUT", stdout=file)
    postgresql.ask(server, "DELETE FROM oddloaf.reading", "bare_load")
    began = time.monotonic()
    with open(rows, "rb") as file:
        psql(server, "bare_load", "-c", "COPY oddloaf.reading FROM STDIN", stdin=file)
    bare = time.monotonic() - began
    print(f"load: {count / took:.0f} rows/s; COPY {count / bare:.0f} rows/s: ratio {bare / took:.3f}")


def rank_ms(plant, case):
    times = []
    for _ in range(30):
        began = time.monotonic()
        assert plant.get(f"/v1/cases/{case}/facts")[0] == 200
        times.append(1000 * (time.monotonic() - began))
    return sorted(times)[len(times) // 4]


def rank(plant, binaries):
    with Plant(binaries) as file:
        file.load_small()
        for one in (plant, file):
            for n in range(12):
                assert one.post("/v1/complaints", complaint(lot="L1 6318 A0400"))[0] == 201
        case = [one.post("/v1/complaints", complaint(lot="L1 6318 A0400"))[1]["case"] for one in (plant, file)]
        there, here = rank_ms(plant, case[0]), rank_ms(file, case[1])
    print(f"rank: facts of a case {there:.1f} ms, on SQLite {here:.1f} ms: ratio {there / here:.2f}")


def main():
    complaints, rows = ([int(word) for word in sys.argv[2:]] + [2000, 50000][len(sys.argv) - 2:])[:2]
    folder = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-bench-"))
    folder.chmod(0o755)
    server = folder / "server"
    postgresql.start(server, sync=True)
    postgresql.ask(server, "CREATE DATABASE plant")
    try:
        with Plant(sys.argv[1], config={"store": f"postgresql:///plant?host={server}&user=oddloaf"}) as plant:
            plant.load_small()
            intake(server, plant, complaints)
            load(server, plant, rows)
            rank(plant, sys.argv[1])
    finally:
        postgresql.stop(server)
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
