"""A state on a PostgreSQL server that is killed, and whose daemon is: every acknowledged complaint, correction and
row of a file is there once. While the server is away a complaint is answered "not now" at once, stays with its
sender, and comes when the server is back; nobody has to do anything.

usage: test_server.py BINARIES [kills]
"""
import contextlib
import json
import os
import pathlib
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[0] / "store"), str(HERE.parents[0] / "e2e"), str(HERE)]
import postgresql  # noqa: E402
from oddloaf import ROOT, Plant, complaint, until  # noqa: E402
from photos import phone_photo  # noqa: E402
from test_kill import Load, check_complaints, check_counts, post  # noqa: E402


def check_away(plant, server):
    """What the desk sees of a server that is away."""
    postgresql.kill(server)
    began = time.time()
    status, answer = plant.post("/v1/complaints?rank=0", complaint())
    assert status == 503, (status, answer)
    assert "PostgreSQL server is away" in answer["hint"], answer
    assert time.time() - began < 20, time.time() - began
    one = complaint(packs=3)
    out = plant.client("log", "--from", "-", stdin=json.dumps(one), check=3)
    assert "kept" in out.stdout + out.stderr, out
    status, answer = plant.get("/v1/cases")
    assert status == 503, (status, answer)
    postgresql.launch(server)
    until(lambda: plant.post("/v1/complaints?rank=0", complaint())[0] in (200, 201))
    plant.client("log", "--from", "-", stdin=json.dumps(complaint()), check=0)
    until(lambda: plant.get(f"/v1/complaints/{one['id']}")[0] == 200)  # it came with the next


def check_lost_answer(plant, server):
    """The server keeps a complaint, and is lost before it says so: it is told as kept, and stands once."""
    postgresql.ask(server, "ALTER SYSTEM SET synchronous_standby_names = 'nobody'")
    postgresql.ask(server, "SELECT pg_reload_conf()")
    one, answers = complaint(), []
    sender = threading.Thread(target=lambda: answers.append(plant.post("/v1/complaints?rank=0", one)))
    sender.start()
    waits = "SELECT pid FROM pg_stat_activity WHERE wait_event = 'SyncRep' AND datname = 'plant'"
    pid = until(lambda: postgresql.ask(server, waits))
    postgresql.ask(server, "ALTER SYSTEM RESET synchronous_standby_names")
    postgresql.ask(server, f"SELECT pg_terminate_backend({pid.split()[0]})")
    postgresql.ask(server, "SELECT pg_reload_conf()")
    sender.join()
    assert answers[0][0] in (200, 201), answers
    assert plant.post("/v1/complaints?rank=0", one)[0] in (200, 201)
    assert plant.get("/v1/status/recount")[1]["differences"]["cases"] == 0


def check_refused(plant):
    """What is the server's tools' work says so."""
    status, answer = plant.post("/v1/backup", {"path": "x.db"})
    assert status == 409 and "server's tools' work" in answer["detail"], answer
    assert "pg_dump" in answer["hint"], answer
    out = plant.client("backup", "x.db")
    assert out.returncode and "pg_dump" in out.stdout + out.stderr, out
    needs = [need["what"] for need in plant.get("/v1/status")[1]["needs"]]
    assert "no-backup" not in needs and "not-writing" not in needs, needs


def check_setting(plant):
    """The folder remembers the server; without the setting nothing begins anew."""
    store = plant.config.pop("store")
    plant.start(expect_ready=False)
    assert plant.daemon.wait(60) == 1
    assert "is kept on a PostgreSQL server, and the settings name none" in plant.log_text()
    plant.log.close()
    plant.config["store"] = store
    assert not (plant.state / "oddloaf.db").exists()


def of_manual():
    """The commands and the setting that oddloafd(8) prints, for a role of our own."""
    text = (ROOT / "daemon/oddloafd.8").read_text()
    text = text[text.index(".Sh ON A POSTGRESQL SERVER"):]
    commands = re.search(r"\.Bd -literal.*?\n(.*?)\.Ed", text, re.S)[1].splitlines()
    address = re.search(r'"postgresql://[^"]+', text)[0][1:]
    return [command.replace("oddloaf", "keeper").replace(" plant", " plant2") for command in commands], address.replace("oddloaf@", "keeper@")


def check_manual(binaries, server):
    """As oddloafd(8) says: a role without rights over TLS with a password from a file; dumped, and put back."""
    postgresql.stop(server)
    postgresql.serve_tls(server)
    commands, address = of_manual()
    tools = dict(check=True, capture_output=True, env={**os.environ, "PGHOST": str(server), "PGUSER": "oddloaf"})
    for command in commands:
        subprocess.run(command.split(), **tools)
    postgresql.ask(server, "ALTER ROLE keeper PASSWORD 'dough'")
    passwords = server / "pgpass"
    passwords.write_text("localhost:*:plant2:keeper:dough\n")
    passwords.chmod(0o600)
    for printed, ours in (("db.example/plant", f"localhost:{os.environ['PGPORT']}/plant2"),
                          ("/etc/ssl/certs/ca-certificates.crt", str(server / "tls.crt")),
                          ("/etc/oddloaf/pgpass", str(passwords))):
        assert printed in address, address
        address = address.replace(printed, ours)
    with Plant(binaries, config={"store": address}) as plant:
        plant.load_small()
        status, answer = plant.post("/v1/complaints", complaint(contact={"name": "Ada Marsh", "phone": "555-0101"}))
        assert status == 201, answer
        sessions = postgresql.ask(server, "SELECT bool_and(ssl) FROM pg_stat_ssl JOIN pg_stat_activity USING (pid)"
                                          " WHERE usename = 'keeper'")
        assert sessions == "t", sessions
        dump = server / "plant.dump"
        subprocess.run(["pg_dump", "-Fc", "-f", dump, "plant2"], **tools)
        assert plant.client_json("erase", "555-0101")["erased"] == 1
        assert plant.stop() == 0
        subprocess.run(["dropdb", "plant2"], **tools)
        subprocess.run(commands[1].split(), **tools)
        subprocess.run(["pg_restore", "-d", "plant2", dump], **tools)
        plant.start()
        assert "Ada" not in json.dumps(plant.get(f"/v1/complaints/{answer['complaint']}")[1])
        assert postgresql.ask(server, "SELECT count(*) FROM oddloaf.contact", "plant2") == "0"
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == 1


def told(plant):
    """What people see of a state, but what goes by the clock or the engine."""
    cases = [case["case"] for case in plant.get("/v1/cases?limit=200")[1]["cases"]]
    ranked = [plant.get(f"/v1/cases/{case}")[1] for case in cases]
    status, week = plant.get("/v1/status")[1], plant.get("/v1/weeks/2026-W47")[1]
    seen = {"cases": cases, "ranked": [[r["lot"], r["ranked"]] for r in ranked], "counts": status["counts"],
            "week": [week["complaints"], week["by"], week["causes"]], "holds": plant.client_json("holds"),
            "found": plant.client_json("find", "fuzzy")}
    return json.loads(json.dumps(seen), parse_float=lambda text: round(float(text), 4))  # sums of another order


def move(plant, to, code=0):
    done = subprocess.run([plant.binaries / "oddloafd", "--move-to", to, "--state", plant.state],
                          capture_output=True, text=True)
    assert done.returncode == code, done
    return done.stdout + done.stderr


def given(plant, case):
    path = plant.dir / "given.jpg"
    path.unlink(missing_ok=True)
    plant.client("attach", case, "--get", "1", "--output", str(path), check=0)
    return path.read_bytes()


def alike(a, b):
    """The same but for what the hour alone changes: how many reports of a week are still to come."""
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= 1e-3 * max(abs(a), abs(b))
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(alike(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(alike, a, b))
    return a == b


def fill_plants(plant):
    """Something of two plants in every column that names one."""
    rows = "".join(f"{name[0].upper()}7 1,W24,1,2026-11-14T01:00:00Z,2026-11-14T02:00:00Z,2026-11-14T04:00:00Z,"
                   f"2026-11-14T05:00:00Z,900,2026-11-24,{name}\n" for name in ("north", "south"))
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,plant\n" + rows)
    plant.load_text("plantlog", "at,place,quantity,value,line,plant\n" + "".join(
        f"2026-11-13T04:00:00Z,slicer,swab_cfu,{n},1,{name}\n" for n, name in enumerate(("north", "south"))))
    for name in ("north", "south"):
        for lot in (f"{name[0].upper()}7 1", ""):
            status, answer = plant.post("/v1/complaints", complaint(lot, plant=name, note=f"fuzzy in the {name}"))
            assert status == 201, answer
        plant.client("hold", "Z9 1234", "--plant", name, "--reason", "glass", check=0)
        plant.client("action", "--plant", name, "--line", "1", "--note", "fan", check=0)


def plants_of(columns, ask):
    """How often each column names which plant."""
    return {(table, column): sorted(ask(f"SELECT '=' || coalesce({column}, '-') || ' ' || count(*) FROM {table} GROUP BY {column}"))
            for table, column in columns}


def plants_on(server, database):
    ask = lambda sql: postgresql.ask(server, sql, database).splitlines()
    columns = [line.split() for line in ask(
        "SELECT table_name || ' ' || column_name FROM information_schema.columns JOIN information_schema.tables USING"
        " (table_schema, table_name) WHERE table_schema = 'oddloaf' AND column_name LIKE 'plant%' AND table_type = 'BASE TABLE'")]
    return plants_of(columns, lambda sql: ask(sql.replace("FROM ", "FROM oddloaf.")))


def plants_in(state):
    with contextlib.closing(sqlite3.connect(f"file:{state}/oddloaf.db?mode=ro", uri=True)) as db:
        columns = db.execute("SELECT t.name, c.name FROM sqlite_schema t JOIN pragma_table_info(t.name) c"
                             " WHERE t.type = 'table' AND c.name LIKE 'plant%'").fetchall()
        return plants_of(columns, lambda sql: [row for row, in db.execute(sql)])


def check_moved(plant, server):
    """To a file in the folder and back to another database: the same answers, bytes and words, and what is
    logged on the way as well."""
    plant.start()
    status, answer = plant.post("/v1/complaints", complaint(note="fuzzy on the heel\nand a \\ in it"))
    assert status == 201, answer
    plant.client("hold", "L1 6318 A0800", "--reason", "wet bags", check=0)
    photo = plant.dir / "loaf.jpg"
    photo.write_bytes(phone_photo())
    plant.client("attach", answer["case"], str(photo), check=0)
    fill_plants(plant)
    plant.wait_idle(600)
    before, bytes_ = told(plant), given(plant, answer["case"])
    plants = plants_on(server, "plant")
    for column, named in plants.items():
        assert [row for row in named if row.startswith("=north ")] and [row for row in named if row.startswith("=south ")], (column, named)
    assert before["found"]["complaints"] and before["holds"]["holds"], before
    said = move(plant, "folder", 1)
    assert "belongs to a running daemon" in said, said
    assert plant.stop() == 0
    store = plant.config.pop("store")
    for to in ("folder", store.replace("/plant?", "/plant3?")):
        said = move(plant, to)
        assert "each table counts as many on both sides" in said, said
        assert (plants_in(plant.state) if to == "folder" else plants_on(server, "plant3")) == plants, plants
        if to != "folder":
            plant.config["store"] = to
        plant.start()
        now = told(plant)
        assert alike(now, before), [(now[key], before[key]) for key in now if now[key] != before[key]]
        assert not any(plant.get("/v1/status/recount")[1]["differences"].values())
        assert given(plant, answer["case"]) == bytes_
        assert plant.post("/v1/complaints", complaint(note="fuzzy again"))[0] == 201
        plant.wait_idle(600)
        before, plants = told(plant), plants_in(plant.state) if to == "folder" else plants_on(server, "plant3")
        assert plant.stop() == 0
        assert "already" in move(plant, to, 1)
    assert not (plant.state / "oddloaf.db").exists() and list(plant.state.glob("oddloaf.db.moved-*"))


def main():
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    rng = random.Random(7)
    server = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-server-"))
    postgresql.start(server, sync=True)
    postgresql.ask(server, "CREATE DATABASE plant")
    zones = {"north": {"time_zone": "America/Chicago"}, "south": {"time_zone": "America/Denver"}}
    plant = Plant(sys.argv[1], config={"store": f"postgresql:///plant?host={server}&user=oddloaf", "plants": zones})
    try:
        mailbox = post(plant)
        plant.start()
        plant.load_small()
        check_away(plant, server)
        check_lost_answer(plant, server)
        check_refused(plant)
        readings = plant.get("/v1/status")[1]["counts"]["readings"]
        load = Load(plant)
        try:
            for n in range(kills):
                time.sleep(rng.uniform(0.1, 0.5))
                if n % 3 != 1:
                    postgresql.kill(server)
                if n % 3 == 2 or n % 3 == 1:
                    plant.kill()
                time.sleep(rng.uniform(0, 0.3))
                if n % 3 != 1:
                    postgresql.launch(server)
                if n % 3:
                    plant.start()
            time.sleep(1)
        finally:
            load.stop()
        status = plant.wait_idle(600)
        cases, counted = check_complaints(plant, load, status)
        check_counts(plant, load, readings)
        assert plant.stop() == 0
        check_setting(plant)
        plant.start()
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == counted
        assert plant.stop() == 0
        postgresql.ask(server, "CREATE DATABASE plant3")
        check_moved(plant, server)
        check_manual(sys.argv[1], server)
        print(f"{kills} kills; acknowledged: {len(load.logged)} complaints, {len(load.corrected)} corrections, "
              f"{len(load.files)} files; {counted} on record, {len(cases)} cases, {len(list(mailbox.iterdir()))} mails")
    finally:
        if plant.daemon and plant.daemon.poll() is None:
            print(plant.log_text()[-3000:], file=sys.stderr)
            plant.kill()
        postgresql.stop(server)
        shutil.rmtree(server)
    shutil.rmtree(plant.dir)


if __name__ == "__main__":
    main()
