"""A file of complaints from years ago, logged through the client: complaints a second, until the file is
answered and until nothing is left to be ranked, and the daemon's processor time.

    old.py BINARIES [--complaints 20000] [--lots-a-day 24]
"""
import argparse
import datetime
import json
import os
import pathlib
import random
import sys
import time
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from oddloaf import PRODUCTS, TARGETS, Plant  # noqa: E402

START = datetime.datetime(2021, 3, 1, tzinfo=datetime.timezone.utc)
DAYS = 300
NOTES = ["bought it two days before and it was already going off, green spots on three slices near the heel",
         "whole bottom is spotted and there is a musty smell when you open the bag, kept on the counter", ""]


def records(lots_a_day):
    rows, codes = ["lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift"], []
    stamp = "%Y-%m-%dT%H:%M:00Z"
    for day in range(DAYS):
        for n in range(lots_a_day):
            at = START + datetime.timedelta(days=day, minutes=n * 1440 // lots_a_day)
            end = at + datetime.timedelta(minutes=1440 // lots_a_day)
            code = f"L{n % 3 + 1} {at.year % 10}{at.timetuple().tm_yday:03d} A{at:%H%M}"
            rows.append(f"{code},W24,{n % 3 + 1},{at:{stamp}},{at:{stamp}},{at:{stamp}},{end:{stamp}},5000,"
                        f"{at.date() + datetime.timedelta(days=10)},A")
            codes.append((at, code))
    return "\n".join(rows) + "\n", codes


def complaint(rng, codes):
    packed, code = rng.choice(codes)
    at = packed + datetime.timedelta(days=rng.uniform(2, 12))
    if rng.random() < .15:
        code = code[:-1] + rng.choice("?0123456789")
    said = {"id": str(uuid.UUID(int=rng.getrandbits(128), version=4)), "received_at": at.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "channel": rng.choice(["phone", "web", "store"]), "symptom": rng.choice(["mold", "mold", "staling", "off-odor"]),
            "lot_text": code, "product": "W24", "store": f"{rng.randrange(300):04d}",
            "contact": {"name": f"Caller {rng.randrange(99999)}", "phone": f"555-{rng.randrange(10**7):07d}"}}
    note = rng.choice(NOTES)
    if note:
        said["note"] = note
    if said["symptom"] == "mold":
        said["observed"] = {"colour": rng.choice(["blue-green", "black"]), "where": rng.choice(["heel", "base"])}
    return said


def cpu_s(pid):
    with open(f"/proc/{pid}/stat") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("binaries")
    parser.add_argument("--complaints", type=int, default=20000)
    parser.add_argument("--lots-a-day", type=int, default=24)
    args = parser.parse_args()
    rng = random.Random(1)
    lots, codes = records(args.lots_a_day)
    config = {"time_zone": "UTC", "mail": {"program": "/bin/true", "to": ["qa@mill.example"]}}
    with Plant(args.binaries, config=config) as plant:
        for kind, text in (("products", PRODUCTS), ("targets", TARGETS), ("lots", lots)):
            plant.load_text(kind, text)
        plant.wait_idle()
        path = plant.dir / "old.ndjson"
        path.write_text("".join(json.dumps(complaint(rng, codes)) + "\n" for _ in range(args.complaints)))
        pid, start = plant.daemon.pid, time.monotonic()
        before = cpu_s(pid)
        plant.client("log", "--from", str(path), check=0)
        took, used = time.monotonic() - start, cpu_s(pid) - before
        print(f"answered: {args.complaints / took:.0f} complaints a second; daemon's processor time"
              f" {used / args.complaints * 1e6:.0f} us each")
        plant.wait_idle(3600)
        took, used = time.monotonic() - start, cpu_s(pid) - before
        status = plant.get("/v1/status")[1]
        print(f"until all is ranked: {args.complaints / took:.0f} a second; {used / args.complaints * 1e6:.0f} us each;"
              f" {status['counts']['cases_open']} cases, {status['outbox']['sent']} mails")


main()
