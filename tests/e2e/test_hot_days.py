"""A cooler's fan is down for days: every lot that was recorded hot is named and held by the case of one of
them, however far apart they were packed, and none that was recorded cool.   usage: test_hot_days.py BINARIES"""
import json
import sys

from oddloaf import Plant, complaint, lot_rows

DAYS = ("6314", "6315", "6316", "6317", "6318")
HOURS = ("0400", "0800", "1200", "1600")
COOL = "L1 6316 A0800"  # in the middle of it
HOT = [lot for day in DAYS for hour in HOURS if (lot := f"L1 {day} A{hour}") != COOL]
FIRST, LATER = HOT[0], HOT[9]
BESIDE = "L2 6316 A0900"  # recorded hot as well, on the other line


def load(plant):
    plant.load_small()
    packed = {row.split(",")[0]: row.split(",")[5] for row in lot_rows()[0].splitlines()[1:]}
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift\n"
                    f"{BESIDE},W24,2,2026-11-12T06:00:00-05:00,2026-11-12T06:30:00-05:00,"
                    "2026-11-12T09:00:00-05:00,2026-11-12T10:00:00-05:00,4000,2026-11-22,A\n")
    packed[BESIDE] = "2026-11-12T09:00:00-05:00"
    plant.load_text("readings", "lot,quantity,value,at\n" + "".join(
        f"{lot},core_at_pack_c,{value},{packed[lot].replace(':00:00', f':{minute}:00')}\n"
        for lot in [*HOT, BESIDE] for minute, value in ((20, 48.9), (40, 49.7), (50, 49.3))))


def log(plant, lot, received):
    told = plant.client_json("log", "--from", "-", stdin=json.dumps(complaint(
        lot, received=received, product="W24", observed={"where": "side", "wet_inside_bag": True})) + "\n")
    plant.wait_idle()
    return told["case"]


def check_reach(plant):
    case = log(plant, FIRST, "2026-11-13T09:00:00-05:00")  # before the last of them were packed
    other = log(plant, LATER, "2026-11-15T09:00:00-05:00")
    told = plant.client_json("reach", case)
    assert told["cause"] == "packed-hot" and told["probability"] > .9 and not told["more"], told
    assert told["within_days"] == 14, told
    lots = {lot["lot"]: lot for lot in told["lots"]}
    missing = sorted({*HOT, BESIDE} - {FIRST} - set(lots))
    assert not missing, missing
    for lot in [*HOT[1:], BESIDE]:
        assert lots[lot]["probability"] > .8, lots[lot]
        said = lots[lot]["because"]
        assert "its own core temperature at packing: 49" in said and "degC, target 36" in said, lots[lot]
    assert f"its own case {other}, >99 %" in lots[LATER]["because"], lots[LATER]
    likely = {lot["lot"] for lot in told["lots"] if lot["probability"] >= .2}
    assert likely == {*HOT[1:], BESIDE}, "what was recorded cool is not: " + str(likely ^ {*HOT[1:], BESIDE})
    shown = " ".join(plant.client("reach", case, check=0).stdout.split())
    assert "by their own records: lots packed within 14 days" in shown, shown
    assert "Not all" not in shown, shown
    held = plant.client_json("hold", "--reach", case, "--at-least", "50", "--yes", "--reason", "fan down")
    assert set(held["held"]) == {*HOT, BESIDE}, held


def main():
    with Plant(sys.argv[1]) as plant:
        load(plant)
        check_reach(plant)
    print("hot days: ok")


main()
