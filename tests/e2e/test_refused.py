"""However much of a file is refused, the answer says how much, what was applied and the first
refusals, and --refused gets every one.

usage: test_refused.py BINARIES
"""
import datetime
import json
import pathlib
import sys
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import Plant, complaint, lot_rows  # noqa: E402

BAD = 7500
ANSWER_BYTES = 1 << 20  # the most that a client of ours reads as one document


def many_bad(good):
    """Readings whose times lack an offset, and `good` rows that are right."""
    lots = [row.split(",")[0] for row in lot_rows()[0].splitlines()[1:]]
    rows = ["lot,quantity,value,at"]
    rows += [f"{lots[i % len(lots)]},core_at_pack_c,36.{i:05d},2026-11-1{i % 9} 08:{i % 60:02d}:00"
             for i in range(BAD)]
    rows += [f"{lots[i]},core_temp_c,40,2026-11-19T08:00:00-05:00" for i in range(good)]
    return "\n".join(rows) + "\n"


def named(plant):
    """Without --refused: the total, what was applied, the first refusals."""
    path = plant.dir / "readings.csv"
    path.write_text(many_bad(3))
    done = plant.client("load", "readings", str(path), check=1)
    assert "7 503 rows read: 0 new, 0 changed, 0 the same, 7 500 refused" in done.stdout, done
    assert "Nothing of a file with refused rows was applied" in done.stdout, done
    assert "readings.csv:2: at" in done.stderr, done.stderr
    assert done.stderr.count("refused:") == 20 and "--refused FILE" in done.stderr, done.stderr
    document = plant.client_json("load", "readings", str(path), "--keep-good", check=1)
    assert (document["read"], document["new"], document["refused_total"],
            document["applied"]) == (BAD + 3, 3, BAD, True), document
    assert [r["line"] for r in document["refused"][:3]] == [2, 3, 4], document["refused"][:3]


def every_one(plant):
    path, refused = plant.dir / "again.csv", plant.dir / "refused.ndjson"
    path.write_text(many_bad(3))
    done = plant.client("load", "readings", str(path), "--keep-good", "--refused", str(refused),
                        check=1)
    assert "7 503 rows read: 0 new, 0 changed, 3 the same, 7 500 refused" in done.stdout, done
    rows = [json.loads(line) for line in refused.read_text().splitlines()]
    assert [r["line"] for r in rows] == list(range(2, BAD + 2)), len(rows)
    assert all(r["column"] == "at" and r["reason"] for r in rows)


def contradictions(plant):
    """Refusals that only the end of a file brings."""
    path, refused = plant.dir / "twice.csv", plant.dir / "twice.ndjson"
    lot = lot_rows()[0].splitlines()[1].split(",")[0]
    path.write_text("lot,quantity,value,at\n" + "".join(
        f"{lot},core_temp_c,{20 + i % 50}.{i},2026-11-18T08:00:00-05:00\n" for i in range(BAD)))
    done = plant.client("load", "readings", str(path), "--keep-good", "--refused", str(refused),
                        check=1)
    assert "7 500 rows read: 0 new, 0 changed, 0 the same, 7 500 refused" in done.stdout, done
    lines = {json.loads(line)["line"] for line in refused.read_text().splitlines()}
    assert lines == set(range(2, BAD + 2)), len(lines)
    done = plant.client("load", "readings", str(path), "--take", "last", "--dry-run")
    assert "1 new, 0 changed, 0 the same, 0 refused, 7 499 passed over" in " ".join(done.stdout.split()), done


def pages(plant):
    """What any other client sees of a file sent whole."""
    status, answer = plant.request("POST", "/v1/records/readings?source=r.csv",
                                   many_bad(0).encode(), "text/csv")
    assert status == 200 and len(json.dumps(answer)) < ANSWER_BYTES, (status, len(str(answer)))
    assert (answer["read"], answer["refused_total"], answer["applied"]) == (BAD, BAD, False)
    assert len(answer["refused"]) + answer["refused_more"] == BAD, answer["refused_more"]
    at, lines = 0, []
    while True:
        status, page = plant.get(f"{answer['rest']}?from={at}")
        assert status == 200 and len(page) < ANSWER_BYTES
        if not page:
            break
        at += len(page)
        lines += [json.loads(line)["line"] for line in page.splitlines()]
    told = [r["line"] for r in answer["refused"]]
    assert told + lines == list(range(2, BAD + 2)), (len(told), len(lines))
    status, answer = plant.get("/v1/loads/00000000-0000-7000-8000-000000000000/refused")
    assert status == 404 and "hour" in answer["hint"], answer


# a sanitizer keeps what was freed, to catch its use: then memory says nothing of the daemon
SANITIZED = any(word in pathlib.Path(sys.argv[1], "oddloafd").read_bytes()
                for word in (b"__asan_init", b"__tsan_init"))


def peak_kib(plant):
    text = pathlib.Path(f"/proc/{plant.daemon.pid}/status").read_text()
    return int(text.split("VmHWM:")[1].split()[0])


def bounded_memory(plant):
    """A row of two bytes is refused with a hundred times as many: not in memory."""
    before = peak_kib(plant)
    plant.request("POST", "/v1/records/readings?source=r.csv",
                  b"lot,quantity,value\n" + b"x\n" * 500000, "text/csv")
    grown = peak_kib(plant) - before
    assert grown < 16 << 10 or SANITIZED, grown


def bounded_batch(plant):
    """As many complaints as a request can hold, each a case of its own: not all ranked at once."""
    before = peak_kib(plant)
    lines = "".join(json.dumps({"id": str(uuid.uuid4()), "received_at": "2026-11-20T09:14:00Z",
                                "channel": "web", "symptom": "mold"}) + "\n" for _ in range(7500))
    status, answer = plant.request("POST", "/v1/complaints?rank=1", lines.encode(),
                                   "application/x-ndjson", timeout=300)
    assert status == 200 and answer.count(b"\n") == 7500, (status, answer[:300])
    grown = peak_kib(plant) - before
    assert grown < 160 << 10 or SANITIZED, grown


def complaints(plant):
    """A file of complaints of which all are refused, and one with many good ones."""
    path = plant.dir / "calls.ndjson"
    path.write_text("".join(json.dumps({**complaint(), "product": "X" * 300}) + "\n"
                            for _ in range(3000)))
    done = plant.client("--json", "log", "--from", str(path), check=1)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) == 3000 and all("error" in line for line in lines), len(lines)
    path.write_text("".join(json.dumps(complaint()) + "\n" for _ in range(1500)))
    done = plant.client("log", "--from", str(path), check=0)
    assert "1 500 rows: 1500 new, 0 logged before, 0 refused" in done.stdout, done.stdout[-300:]


def when(seconds):
    now = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(seconds=seconds)
    return now.isoformat(timespec="seconds")


def dates(plant):
    """A clock that is wrong costs a desk no complaint; a row of a file from the future, or from before there
    was a plant, is none of this one."""
    for stamp in (when(7200), "1970-01-01T00:00:10Z"):
        ahead = complaint(received=stamp)
        status, answer = plant.post("/v1/complaints", ahead)
        assert status == 201, (status, answer)
        assert [d["value"] for d in answer["doubts"] if d["field"] == "received_at"] == [stamp], answer
        status, again = plant.post("/v1/complaints", ahead)
        assert status == 200 and again["complaint"] == answer["complaint"], (status, again)
        kept = plant.get(f"/v1/complaints/{answer['complaint']}")[1]
        late = datetime.datetime.now(datetime.timezone.utc) - datetime.datetime.fromisoformat(kept["received_at"])
        assert kept["sent"]["received_at"] == stamp and abs(late.total_seconds()) < 600, kept
        assert stamp in [d["value"] for d in kept["doubts"]], kept
        lines = json.dumps(complaint(received=stamp)) + "\n"
        status, text = plant.request("POST", "/v1/complaints?source=calls.csv", lines.encode(), "application/x-ndjson")
        error = json.loads(text)["error"]
        assert (error["field"], error["value"]) == ("received_at", stamp), error
        assert "lies in the future: it is 20" in error["reason"] or "before the year 2000" in error["reason"], error
    status, answer = plant.post("/v1/complaints", complaint(received=when(300)))
    assert status == 201, answer  # another machine's clock
    early = {**complaint(received="2026-06-01T09:00:00Z"), "lot_text": ""}
    status, answer = plant.post("/v1/complaints", early)
    doubts = {d["field"]: d["says"] for d in answer["doubts"]}
    assert status == 201 and "first lot on record" in doubts["received_at"], answer
    assert plant.post("/v1/complaints/preview", early)[1]["doubts"] == answer["doubts"]


def all_faults_at_once(plant):
    bad = {**complaint(received=when(3600), symptom="grey"), "packs": 0,
           "measured": {"crumb_ph": 77}}
    fields = ["symptom", "packs", "measured/crumb_ph"]
    status, answer = plant.post("/v1/complaints", bad)
    assert status == 400, (status, answer)
    assert sorted(e["field"] for e in answer["errors"]) == sorted(fields), answer
    status, lines = plant.request("POST", "/v1/complaints?source=s", (json.dumps(bad) + "\n"
                                  + json.dumps(complaint()) + "\n").encode(),
                                  "application/x-ndjson")
    refused, taken = [json.loads(line) for line in lines.splitlines()]
    assert sorted(f["field"] for f in refused["error"]["faults"]) == sorted([*fields, "received_at"]), refused
    assert "complaint" in taken, taken
    path = plant.dir / "one.ndjson"
    path.write_text(json.dumps({**complaint(received=when(3600)),
                                "measured": {"crumb_ph": 77}}) + "\n")
    done = plant.client("log", "--from", str(path), check=1)
    assert "received_at" in done.stderr and "measured/crumb_ph" in done.stderr, done.stderr


with Plant(sys.argv[1]) as plant:
    plant.load_small()
    bounded_memory(plant)
    named(plant)
    every_one(plant)
    contradictions(plant)
    pages(plant)
    dates(plant)
    all_faults_at_once(plant)
    complaints(plant)
    bounded_batch(plant)
