"""Seen from outside: OpenMetrics by a parser of others, and what status asks a person to see to.

    test_seen.py BUILD_FOLDER
"""
import datetime
import os
import pathlib
import re
import sys
import tempfile

from oddloaf import ROOT, Plant, complaint, until

try:
    from prometheus_client.openmetrics.parser import text_string_to_metric_families
except ImportError:
    print("python3-prometheus-client is not installed")
    sys.exit(77)

BINARIES = pathlib.Path(sys.argv[1])
DAY_S = 86400


def samples(plant):
    """{(name, labels as a sorted tuple): value}; the parser refuses what is no OpenMetrics."""
    status, text = plant.request("GET", "/v1/metrics")
    assert status == 200
    families = list(text_string_to_metric_families(text.decode()))
    return {(s.name, tuple(sorted(s.labels.items()))): s.value for f in families for s in f.samples}


def value(plant, name, **labels):
    return samples(plant).get((name, tuple(sorted(labels.items()))))


def needs(plant):
    return {need["what"]: need["says"] for need in plant.get("/v1/status")[1]["needs"]}


def lot(code, line, packed):
    stamp = "%Y-%m-%dT%H:%M:00Z"
    hour = datetime.timedelta(hours=1)
    return (f"{code},W24,{line},{packed - hour:{stamp}},{packed - hour:{stamp}},{packed:{stamp}},{packed + hour:{stamp}},"
            f"5000,{(packed + 240 * hour):%Y-%m-%d},A\n")


LOT_HEAD = "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift\n"
PRODUCTS = "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat Loaf,pan-bread,10,680\n"


def a_real_parser_reads_all_of_it():
    with Plant(BINARIES) as plant:
        plant.load_small()
        plant.load_text("plantlog", 'at,place,quantity,value,line\n2026-11-10T04:00:00-05:00,slicer,cleaned,1,"a ""b"" \\c"\n'
                                    "2026-11-11T04:00:00-05:00,slicer,cleaned,1,\n")
        assert plant.post("/v1/complaints", complaint())[0] == 201
        plant.wait_idle()
        assert value(plant, "oddloaf_complaints") == 1
        assert value(plant, "oddloaf_lots") == 120
        newest = datetime.datetime(2026, 11, 18, 17, tzinfo=datetime.timezone(-datetime.timedelta(hours=5)))
        for kind in ("lots", "readings"):
            said = value(plant, "oddloaf_record_last_timestamp_seconds", kind=kind, line="1")
            assert said == newest.timestamp(), (kind, said, newest.timestamp())
        assert value(plant, "oddloaf_record_last_timestamp_seconds", kind="mixes", line="1") is None
        odd = value(plant, "oddloaf_record_last_timestamp_seconds", kind="plantlog", line='a "b" \\c')
        none = value(plant, "oddloaf_record_last_timestamp_seconds", kind="plantlog", line="")
        assert none - odd == DAY_S, samples(plant)
        assert value(plant, "oddloaf_backup_age_seconds") is None
        plant.client("backup", "b.db", check=0)
        assert 0 <= value(plant, "oddloaf_backup_age_seconds") < 60
        jobs = value(plant, "oddloaf_write_jobs_total")
        assert plant.post("/v1/complaints", complaint())[0] == 201
        assert value(plant, "oddloaf_write_jobs_total") > jobs
        assert value(plant, "oddloaf_write_refused_total") is not None
        assert value(plant, "oddloaf_needs_hand") == len(needs(plant))


def the_manual_lists_every_metric():
    page = (ROOT / "daemon/oddloafd.8").read_text()
    said = set(re.findall(r"^\.It (oddloaf_\w+) Ta ", page, re.M))
    with tempfile.TemporaryDirectory() as inbox, Plant(BINARIES, config={"inbox": {"folder": inbox}}) as plant:
        plant.load_small()
        plant.client("backup", "b.db", check=0)
        until(lambda: value(plant, "oddloaf_store_sound") == 1, "no check of the database")
        assert {name for name, _ in samples(plant)} == said, {name for name, _ in samples(plant)} ^ said


def mail_is_counted_with_its_age():
    config = {"mail": {"program": "/bin/false", "to": ["qa@mill.example"]}}
    with Plant(BINARIES, config=config) as plant:
        plant.load_small()
        assert value(plant, "oddloaf_mail_oldest_age_seconds") == 0
        for _ in range(3):
            assert plant.post("/v1/complaints", complaint())[0] == 201
        until(lambda: value(plant, "oddloaf_mail_waiting") == 1, "no mail waits")
        until(lambda: value(plant, "oddloaf_mail_oldest_age_seconds") > 0, "it has no age")
        assert value(plant, "oddloaf_mail_parked") == 0
        said = plant.client("status", check=0).stdout
        assert "othing needs a hand" in said, said


def parked_mail_needs_a_hand():
    program = pathlib.Path(os.environ.get("TMPDIR", "/tmp")) / f"oddloaf-refuses-{os.getpid()}"
    program.write_text("#!/bin/sh\nexit 67\n")
    program.chmod(0o755)
    config = {"mail": {"program": str(program), "to": ["qa@mill.example"]}}
    with Plant(BINARIES, config=config) as plant:
        plant.load_small()
        for _ in range(3):
            assert plant.post("/v1/complaints", complaint())[0] == 201
        until(lambda: value(plant, "oddloaf_mail_parked") == 1, "none is parked")
        assert needs(plant) == {"mail-parked": "parked mails: 1"}, needs(plant)
        said = plant.client("status", check=1).stdout
        assert "Needs a hand\n  - Parked mails: 1\n" in said, said
        log = plant.log_text()
        assert re.search(r"mail.*case=C1\b", log), log  # the operator finds the case from the log
    program.unlink()


def a_line_that_packs_without_readings_needs_a_hand():
    now = datetime.datetime.now(datetime.timezone.utc).replace(minute=0, second=0, microsecond=0)
    days = datetime.timedelta(days=1)
    with Plant(BINARIES, config={"mail": {"program": "/bin/true", "to": ["qa@mill.example"]}}) as plant:
        plant.load_text("products", PRODUCTS)
        lots = [("A1", "1", now - 4 * days), ("A2", "1", now - 0.2 * days),  # measured until four days ago
                ("B1", "2", now - 4 * days), ("B2", "2", now - 0.2 * days),  # measured
                ("C1", "3", now - 0.2 * days),                              # never
                ("D1", "4", now - 9 * days), ("D2", "4", now - 5 * days)]    # stands still
        plant.load_text("lots", LOT_HEAD + "".join(lot(*row) for row in lots))
        measured = ("A1", "B1", "B2", "D1")
        plant.load_text("readings", "lot,quantity,value\n" + "".join(f"{code},crumb_ph,5.3\n" for code in measured))
        assert list(needs(plant)) == ["no-readings"], needs(plant)
        assert needs(plant)["no-readings"].startswith("line 1 packs"), needs(plant)
        shown = plant.client("status", check=1).stdout
        assert "Line 1 packs, and its newest lot with readings is of" in shown, shown
        plant.load_text("readings", "lot,quantity,value\nA2,crumb_ph,5.3\n")
        assert needs(plant) == {}


def a_full_disk_needs_a_hand():
    with Plant(BINARIES, config={"disk_low_mb": 1000000,
                                 "mail": {"program": "/bin/true", "to": ["qa@mill.example"]}}) as plant:
        assert "MB left" in needs(plant)["disk-low"]
        assert plant.client("status", check=1)


for test in (a_real_parser_reads_all_of_it, the_manual_lists_every_metric, mail_is_counted_with_its_age,
             parked_mail_needs_a_hand, a_line_that_packs_without_readings_needs_a_hand, a_full_disk_needs_a_hand):
    if len(sys.argv) < 3 or sys.argv[2] in test.__name__:
        test()
        print(test.__name__)
