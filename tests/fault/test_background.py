"""What the daemon does by itself: a case that cannot be saved keeps no other waiting, and the thread that
does it runs behind the desk's without ever standing still.           usage: test_background.py BINARIES"""
import contextlib
import pathlib
import sqlite3
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import Plant, complaint, until  # noqa: E402

CASES, POLICY_OTHER, NICE = 12, 0, 10


def execute(plant, sql):
    with contextlib.closing(sqlite3.connect(plant.state / "oddloaf.db", timeout=30)) as db, db:
        return db.execute(sql).fetchall()


def priorities(plant):
    """(policy, nice) of each thread: fields 41 and 19 of stat, counted from 1."""
    rows = []
    for task in pathlib.Path(f"/proc/{plant.daemon.pid}/task").iterdir():
        fields = (task / "stat").read_text().rsplit(")", 1)[1].split()
        rows.append((int(fields[41 - 3]), int(fields[19 - 3])))
    return rows


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        execute(plant, "CREATE TRIGGER refuse_one BEFORE INSERT ON ranking WHEN NEW.case_id = 1"
                       " BEGIN SELECT RAISE(ABORT, 'on purpose'); END")
        for n in range(CASES):
            assert plant.post("/v1/complaints?rank=0", complaint(lot=f"no such lot {n}"))[0] == 201
        ranked = lambda: execute(plant, "SELECT count(DISTINCT case_id) FROM ranking")[0][0]  # noqa: E731
        until(lambda: ranked() == CASES - 1, lambda: f"{ranked()} of {CASES - 1} are ranked: {plant.log_text()}")
        until(lambda: "cannot save the ranking" in plant.log_text(), plant.log_text)
        assert "on purpose" in plant.log_text() and "case=C1 " in plant.log_text(), plant.log_text()
        until(lambda: plant.get("/v1/status")[1]["work"]["rank"] == 1, plant.log_text)
        assert plant.log_text().count("on purpose") == 1, "it is tried again without a pause"
        execute(plant, "DROP TRIGGER refuse_one")
        execute(plant, "UPDATE work SET due_ms = 0")
        plant.wait_idle()
        assert ranked() == CASES

        assert sorted(priorities(plant))[-1] == (POLICY_OTHER, NICE), priorities(plant)
        behind = 3  # who ranks in the background, who keeps the state, and who looks into the inbox
        assert sum(nice == NICE for _, nice in priorities(plant)) == behind, priorities(plant)
        print("ok")


if __name__ == "__main__":
    main()
