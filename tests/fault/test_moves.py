"""Random sequences of all that changes where a complaint stands, or what it counts for: logged, joined, separated,
lots loaded late or changed, corrected, withdrawn, brought back, contact erased, settled, reopened. Every few of
them all kept counts are counted again.
                                                     usage: test_moves.py BINARIES [MOVES [SEED [kill]]]
The long form, with kill -9 among the moves:         test_moves.py build/plain 10000 7 kill"""
import json
import pathlib
import random
import signal
import sys
import threading

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import PRODUCTS, TARGETS, Plant, complaint, lot_rows  # noqa: E402

EVERY = 30
HEAD, *LOTS = lot_rows(days=12, lots_a_day=2, start=(2026, 11, 1))[0].splitlines()


def code_of(row):
    return row.split(",")[0]


class Life:
    def __init__(self, plant, seed):
        self.plant, self.dice = plant, random.Random(seed)
        self.ids, self.joined, self.withdrawn, self.cases, self.loaded = [], {}, set(), set(), set()
        self.done = {}

    def ask(self, path, body, fine=(200, 201, 400, 404, 409)):
        status, answer = self.plant.post(path, body)
        assert status in fine, (status, path, body, answer)
        return status < 300, answer

    def some(self):
        return self.dice.choice(self.ids)

    def log(self):
        more = {"packs": self.dice.randrange(1, 5), "route": self.dice.choice(["R1", "R2", ""])}
        if self.dice.random() < 0.3:
            more["contact"] = {"phone": f"555-01{self.dice.randrange(10)}0"}
        if self.dice.random() < 0.1:
            more["harm"] = ["illness"]
        if self.ids and self.dice.random() < 0.2:
            more["same_as"] = self.some()
        lot = self.dice.choice([code_of(self.dice.choice(LOTS)), "L1 63?? A0400", "unread"])
        sent = complaint(lot, symptom=self.dice.choice(["mold", "staling"]),
                         received=f"2026-11-{self.dice.randrange(14, 29)}T09:00:00-05:00", **more)
        good, answer = self.ask("/v1/complaints?rank=0", sent)
        if good:
            self.ids.append(sent["id"])
            self.cases.add(answer["case"])

    def join(self):
        self.ask(f"/v1/complaints/{self.some()}/join", {"same_as": self.some()})

    def separate(self):
        self.ask(f"/v1/complaints/{self.some()}/separate", {})

    def load(self):
        """Lots that come late, or come again otherwise."""
        rows = []
        for row in self.dice.sample(LOTS, 3):
            cells = row.split(",")
            if row in self.loaded:
                cells[1], cells[7] = self.dice.choice(["W24", "B08"]), str(self.dice.randrange(1000, 9000))
                day = self.dice.randrange(1, 13)
                for at in (3, 4, 5, 6):
                    cells[at] = f"2026-11-{day:02d}T{10 + at}:00:00-05:00"
            self.loaded.add(row)
            rows.append(",".join(cells))
        self.plant.load_text("lots", "\n".join([HEAD, *rows]) + "\n")
        self.plant.load_text("dispatch", "lot,route,at,units\n" + "".join(
            f"{code_of(row)},R{self.dice.randrange(1, 3)},2026-11-14T09:00:00-05:00,{self.dice.randrange(100, 900)}\n"
            for row in rows))

    def correct(self):
        field, value = self.dice.choice([
            ("packs", self.dice.randrange(1, 9)), ("lot_text", code_of(self.dice.choice(LOTS))), ("lot_text", None),
            ("symptom", self.dice.choice(["mold", "staling", "off-odor"])), ("route", "R3"), ("channel", "web"),
            ("received_at", f"2026-11-{self.dice.randrange(14, 29)}T07:00:00-05:00"), ("product", "B08"),
            ("note", self.dice.choice(["it smells sour", "my son was sick from it", "black mold"])), ("harm", [])])
        self.ask(f"/v1/complaints/{self.some()}/correct", {"fields": {field: value}, "reason": "random"})

    def withdraw(self):
        self.ask(f"/v1/complaints/{self.some()}/withdraw", {"reason": "random", "undo": self.dice.random() < 0.5})

    def settle(self):
        if not self.cases:
            return
        body = {"by": "qa", "cause": "not-known", "confirmed_by": "judgement", "anyway": "random"}
        if self.dice.random() < 0.5:
            body = {"by": "qa", "reopen": True, "note": "random"}
        self.ask(f"/v1/cases/{self.dice.choice(sorted(self.cases))}/verdict", body)

    def erase(self):
        self.ask("/v1/erase", {"contact": f"555-01{self.dice.randrange(10)}0"})

    def step(self):
        moves = [(self.log, 5), (self.join, 2), (self.separate, 1), (self.load, 1), (self.correct, 6),
                 (self.withdraw, 4), (self.settle, 2), (self.erase, 0.3)]
        move = self.dice.choices([m for m, _ in moves], [w for _, w in moves])[0] if self.ids else self.log
        self.done[move.__name__] = self.done.get(move.__name__, 0) + 1
        move()

    def check(self):
        told = self.plant.get("/v1/status/recount")[1]["differences"]
        assert not any(told[name] for name in ("weeks", "cases", "company", "materials")), (told, self.done)


def killed(life):
    """Ended without a word while moves are under way; what was acknowledged is there, and all is counted."""
    plant = life.plant
    timer = threading.Timer(life.dice.random() * 0.3, lambda: plant.daemon.send_signal(signal.SIGKILL))
    timer.start()
    try:
        for _ in range(1000):
            life.step()
    except (OSError, AssertionError, json.JSONDecodeError) as e:
        assert not isinstance(e, AssertionError) or plant.daemon.poll() is not None, e
    timer.join()
    plant.kill()
    plant.start()


def main():
    moves = int(sys.argv[2]) if len(sys.argv) > 2 else 150
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 20261129
    kill = "kill" in sys.argv
    with Plant(sys.argv[1]) as plant:
        plant.load_text("products", PRODUCTS)
        plant.load_text("targets", TARGETS)
        life = Life(plant, seed)
        for i in range(moves):
            life.step()
            if i % EVERY == EVERY - 1:
                life.check()
            if kill and i % 200 == 199:
                killed(life)
                life.check()
        plant.wait_idle(60 + moves / 10)
        life.check()
        print(f"counts are right after {moves} moves: {json.dumps(life.done)}")


main()
