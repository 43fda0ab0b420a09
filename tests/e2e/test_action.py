"""What an action is against is known here, its date can be right, and no ratio is no 0.

usage: test_action.py BINARIES
"""
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from oddloaf import Plant, plant_day  # noqa: E402

GOOD = {"line": "1", "place": "slicer", "cause": "packed-hot", "symptom": "mold",
        "at": "2026-11-10", "note": "fan replaced", "by": "mira"}


def refused(plant, field, value, *words):
    status, answer = plant.post("/v1/actions", {**GOOD, field: value})
    assert status == 400, (field, value, status, answer)
    error = answer["errors"][0]
    assert error["field"] == field, answer
    for word in words:
        assert word in error["reason"], (word, answer)


with Plant(sys.argv[1]) as plant:
    status, answer = plant.post("/v1/actions", GOOD)
    assert status == 400 and "none is on record yet" in answer["errors"][0]["reason"], answer
    plant.load_small()
    refused(plant, "line", "9", "known are 1")
    refused(plant, "place", "slicr", "cooler-air", "slicer")
    refused(plant, "cause", "packed-hott", "is not a cause of mold; known are contamination-bagger")
    refused(plant, "cause", "overbaked", "is not a cause of mold")
    assert "rules list" in plant.post("/v1/actions", {**GOOD, "cause": "x"})[1]["hint"]
    refused(plant, "symptom", "mould", "mold", "off-odor", "staling")
    refused(plant, "product", "W24", "cause, line, place, symptom")
    refused(plant, "at", "2062-11-10", "lies ahead", "today is 20")
    refused(plant, "at", plant_day(2).isoformat(), "lies ahead")
    refused(plant, "at", "2020-01-01", "before the first lot on record", "2026-10-20")
    # what is too long is refused, never cut
    for field, most in (("note", 511), ("by", 63), ("place", 47), ("line", 60)):
        refused(plant, field, "x" * (most + 1), f"longer than {most} bytes")
    for field, most in (("reason", 500), ("by", 63)):
        status, answer = plant.post("/v1/lots/hold", {
            "lots": ["L1"], "reason": "mold", "by": "mira", field: "x" * (most + 1)})
        assert status == 400 and answer["errors"][0]["field"] == field, answer
        assert f"longer than {most} bytes" in answer["errors"][0]["reason"], answer
    assert not plant.get("/v1/actions")[1]["actions"]
    status, answer = plant.post("/v1/actions", GOOD)
    assert status == 201, answer
    done = plant.client("action", "--line", "9", "--note", "x", "--by", "mira")
    assert done.returncode == 1 and "known are 1" in done.stderr, done
    shown = plant.client("action", str(answer["action"]), "--effect", check=0).stdout
    assert "none before, none after" in shown, shown
    assert plant.client_json("action", str(answer["action"]), "--effect")["ratio"] == {
        "ratio": None, "low": None, "high": None, "word": "none before, none after"}

    # a line that two plants of a company have: whose is meant must be said
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,plant\n" + "".join(
        f"{name} 7,W24,7,2026-11-10T11:00:00Z,2026-11-10T12:00:00Z,2026-11-10T13:00:00Z,2026-11-10T14:00:00Z,900,"
        f"2026-11-19,{name}\n" for name in ("north", "harbor")))
    status, answer = plant.post("/v1/actions", {**GOOD, "line": "7"})
    assert status == 400 and answer["errors"][0]["field"] == "plant", answer
    assert "harbor" in answer["errors"][0]["reason"] and "north" in answer["errors"][0]["reason"], answer
    refused(plant, "plant", "south", "is not a plant; known are harbor north")
    status, answer = plant.post("/v1/actions", {**GOOD, "plant": "north"})  # it has no line 1
    assert status == 400 and answer["errors"][0]["field"] == "line", answer
    plant.client("action", "--plant", "north", "--line", "7", "--note", "new belt", "--by", "mira", check=0)
    assert "7 (north)" in plant.client("action", "--list", check=0).stdout
    done = plant.client("week", "2026-W46", "--plant", "south")
    assert done.returncode == 1 and "one of: harbor, north" in done.stderr, done
    assert plant.client_json("week", "2026-W46", "--plant", "north")["units"] == 900
    whole = plant.client_json("week", "2026-W46", "--by", "plant")
    assert [(r["level"], r["units"]) for r in whole["by"]["plant"] if r["symptom"] == "mold"] == [
        ("harbor", 900), ("north", 900)], whole["by"]
