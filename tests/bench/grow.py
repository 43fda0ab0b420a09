"""What a year of complaints costs on disk: weeks of them against an invented plant, as they would come, with
rankings and mail, and what each table takes.

    grow.py BINARIES [--weeks 2] [--complaints 3000] [--seed 1]

Prints bytes a complaint by table and two figures of the year that follows: before anything is old enough to
go, and with what goes by date. For the second the state is made 91 days older and the daemon lets go of what
it does not keep by default (mail that has left, contact data); of that a year holds 90 days. Records (lots,
readings) are loaded before and not counted: they grow with the plant, not with its complaints. Days are
compressed: the week's complaints are logged in chunks of an eighth of a day, each ranked and mailed before
the next comes.
"""
import argparse
import datetime
import json
import pathlib
import random
import sqlite3
import sys
import time
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import PRODUCTS, TARGETS, Plant  # noqa: E402

CHUNKS, DAYS_KEPT = 56, 90
LINES, LOTS_A_DAY = 4, 24
HOUR = datetime.timedelta(hours=1)
NOTES = ["bought it two days before and it was already going off, green spots on three slices near the heel, bag was closed",
         "customer says the whole bottom is spotted and there is a musty smell when you open the bag, kept on the counter",
         "second time this month she says, would like somebody to call back after five, loaf is still in the freezer", ""]


def records(weeks):
    lots = ["lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift"]
    readings, codes = ["lot,quantity,value,at"], []
    stamp = "%Y-%m-%dT%H:%M:00Z"
    for day in range(-21, 7 * weeks):
        for line in range(1, LINES + 1):
            for n in range(LOTS_A_DAY):
                packed = START + datetime.timedelta(days=day, hours=n * 24 / LOTS_A_DAY)
                code = f"L{line} {packed.year % 10}{packed.timetuple().tm_yday:03d} A{packed:%H%M}"
                made, end = packed - 3 * HOUR, packed + HOUR * 24 / LOTS_A_DAY
                lots.append(f"{code},W24,{line},{made:{stamp}},{made:{stamp}},{packed:{stamp}},{end:{stamp}},5000,"
                            f"{packed.date() + datetime.timedelta(days=10)},A")
                for quantity, value in (("core_at_pack_c", 36 + (day * 7 + n) % 5 * .4), ("crumb_ph", 5.3)):
                    readings.append(f"{code},{quantity},{value:.1f},{packed:{stamp}}")
                codes.append((packed, code))
    codes.sort()
    return "\n".join(lots) + "\n", "\n".join(readings) + "\n", codes


def one(rng, at, lots):
    """A caller: two days to two weeks after packing; some lots are much worse than others."""
    packed, code = lots[min(int(len(lots) * rng.betavariate(1, 3)), len(lots) - 1)]
    if rng.random() < .15:
        code = code[:-1] + rng.choice("?0123456789")
    note = rng.choice(NOTES)
    said = {"id": str(uuid.UUID(int=rng.getrandbits(128), version=4)), "received_at": at.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "channel": rng.choice(["phone", "web", "store"]), "symptom": rng.choices(["mold", "staling", "off-odor"], [6, 2, 2])[0],
            "lot_text": code, "product": "W24", "store": f"{rng.randrange(300):04d}", "found_on": at.strftime("%Y-%m-%d"),
            "contact": {"name": f"Caller {rng.randrange(99999)}", "phone": f"555-{rng.randrange(10**7):07d}"}}
    if note:
        said["note"] = note
    if said["symptom"] == "mold":
        said["observed"] = {"colour": rng.choice(["blue-green", "white-fluffy", "black"]), "where": rng.choice(["heel", "base", "cut-face"]),
                            "bag": "sound", "kept": "counter"}
    return said


def chunk_of(rng, week, chunk, count, codes):
    at = START + datetime.timedelta(weeks=week, hours=chunk * 168 / CHUNKS)
    hit = rng.sample([c for c in codes if datetime.timedelta(days=2) < at - c[0] < datetime.timedelta(days=14)], 300)
    return [one(rng, at + datetime.timedelta(minutes=i), hit) for i in range(count)]


def sizes(plant):
    with sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True) as db:
        return dict(db.execute("SELECT m.tbl_name, sum(s.pgsize) FROM dbstat s JOIN sqlite_schema m ON m.name = s.name"
                               " GROUP BY 1"))


def let_go(plant):
    """What a daemon by default keeps 90 days goes."""
    back = (DAYS_KEPT + 1) * 86400000
    with sqlite3.connect(f"{plant.state}/oddloaf.db") as db:
        db.execute("UPDATE outbox SET sent_ms = sent_ms - ?", (back,))
        db.execute("UPDATE contact SET purge_after_ms = purge_after_ms - ?", (back,))
        db.execute("UPDATE setting SET value = value - 2 * 86400000 WHERE key = 'clock/steady_since_ms'")
    plant.start()
    while plant.get("/v1/status")[1]["outbox"]["sent"] or rows_of(plant, "contact"):
        time.sleep(1)
    plant.stop()


def rows_of(plant, table):
    with sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True) as db:
        return db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--weeks", type=int, default=2)
    parser.add_argument("--complaints", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = random.Random(args.seed)
    global START  # so that the last complaints are of yesterday: old ones bring no mails
    today = datetime.datetime.now(datetime.timezone.utc).replace(hour=0, minute=0, second=0, microsecond=0)
    START = today - datetime.timedelta(weeks=args.weeks)
    lots, readings, codes = records(args.weeks)
    config = {"time_zone": "UTC", "mail": {"program": "/bin/true", "to": ["qa@mill.example"], "urgent_to": ["lead@mill.example"]}}
    with Plant(args.binaries, config=config) as plant:
        for kind, text in (("products", PRODUCTS), ("targets", TARGETS), ("lots", lots), ("readings", readings)):
            plant.load_text(kind, text)
        before, logged = sizes(plant), 0
        for week in range(args.weeks):
            for chunk in range(CHUNKS):
                said = chunk_of(rng, week, chunk, args.complaints // CHUNKS, codes)
                body = "".join(json.dumps(c) + "\n" for c in said).encode()
                status, _ = plant.request("POST", "/v1/complaints?rank=0", body, "application/x-ndjson")
                assert status == 200, status
                logged += len(said)
                plant.wait_idle(600)
        status = plant.get("/v1/status")[1]
        plant.stop()
        after = sizes(plant)
        let_go(plant)
        stays = sum(size - before.get(name, 0) for name, size in sizes(plant).items())
        grown = {name: size - before.get(name, 0) for name, size in after.items() if size > before.get(name, 0)}
        for name, size in sorted(grown.items(), key=lambda row: -row[1]):
            print(f"{name:22} {size / logged:9.0f} bytes a complaint")
        total = sum(grown.values())
        kept = stays * 52 + (total - stays) * DAYS_KEPT / 7
        print(f"{logged} complaints, {status['counts']['cases_open']} cases, {status['outbox']['sent']} mails: "
              f"{total / logged:.0f} bytes a complaint, {total / args.weeks * 52 / 1e6:.0f} MB a year, "
              f"{kept / args.weeks / 1e6:.0f} MB with what is kept {DAYS_KEPT} days")


main()
