"""Retained samples in, a fit looked at, adopted, in force (rankings name other rules), kept over a
restart, forgotten; and goods that come back.                     usage: test_calibrate.py BINARIES"""
import json
import random
import sys

from oddloaf import Plant, complaint, lot_rows

LOT = "L1 6318 A0400"


def samples(seed=7):
    """A retained pack of every other lot: mold after a lognormal time, watched for 20 days."""
    import datetime

    rng = random.Random(seed)
    rows = ["lot,quantity,value,at,point,note"]
    for line in lot_rows()[0].splitlines()[1::2]:
        code, _, _, _, _, packed = line.split(",")[:6]
        if code == LOT:
            continue
        days = max(1, round(11 * rng.lognormvariate(0, .18)))
        note = "none yet" if days > 14 else ""
        seen = datetime.datetime.fromisoformat(packed) + datetime.timedelta(days=min(days, 14))
        if seen.isoformat() > "2026-11-24":
            continue
        rows.append(f"{code},mold_free_days,{min(days, 14)},{seen.isoformat()},retained,{note}")
    return "\n".join(rows) + "\n"


def rules_of(plant):
    return plant.get("/v1/status")[1]["rules"]["hash"]


def check_too_few(plant):
    report = plant.client_json("calibrate")
    assert report["samples"] == 0 and not report["valid"] and report["fit"] is None, report
    assert "too few" in plant.client("calibrate", check=0).stdout
    done = plant.client("calibrate", "--adopt", "--yes", "--by", "mira", check=1)
    assert "too few" in done.stderr, done


def check_fit(plant):
    plant.load_text("readings", samples())
    report = plant.client_json("calibrate")
    assert report["valid"] and report["samples"] > 30 and report["adopted"] is None, report
    assert 0 < report["found"] < report["samples"], report
    for factor in ("time_scale", "spores_scale", "new_lot"):
        f = report["fit"][factor]
        assert f["low"] < f["typical"] < f["high"], report["fit"]
    miss = report["before_after"]
    assert miss["after"] < 2 and miss["after"] <= miss["before"] + .1, miss
    assert len(report["residuals"]) == report["samples"]
    shown = plant.client("calibrate", check=0).stdout
    assert "in force" in shown and "Farthest" in shown, shown
    assert max(map(len, shown.splitlines())) <= 80, shown
    return report


def check_adopt(plant, report):
    before = rules_of(plant)
    case = plant.client_json("log", "--from", "-", stdin=json.dumps(complaint(LOT)) + "\n")["case"]
    plant.wait_idle()
    assert plant.client_json("rank", case)["rules"] == before
    days = plant.client_json("lot", LOT)["prediction"]["mold_free_days"]["as_specified"]
    plant.client("calibrate", "--adopt", check=2)  # nobody there to ask
    assert rules_of(plant) == before
    code, shown = plant.answer_on_a_terminal(["calibrate", "--adopt", "--by", "mira"], "no")
    assert code == 1 and "Nothing was adopted" in shown, (code, shown)
    assert rules_of(plant) == before
    status, stale = plant.post("/v1/calibration", {"adopt": True, "by": "x", "fit": {"a": 1}})
    assert status == 409 and "changed" in stale["detail"], stale
    assert plant.post("/v1/calibration", {"adopt": True})[0] == 400
    code, shown = plant.answer_on_a_terminal(["calibrate", "--adopt", "--by", "mira"], "yes")
    assert code == 0 and "Adopted" in shown, (code, shown)
    after = rules_of(plant)
    assert after != before and after.startswith("sha256:"), after
    plant.wait_idle()
    ranks = plant.get("/v1/ranks")[1].decode()
    assert json.loads(ranks.splitlines()[0])["rules"] == after, ranks
    now = plant.client_json("lot", LOT)["prediction"]["mold_free_days"]["as_specified"]
    assert now["typical"] != days["typical"], (days, now)
    again = plant.client_json("calibrate")
    assert again["fit"] == report["fit"], "a fit is made on the rules as they are"
    assert again["adopted"]["by"] == "mira" and again["adopted"]["at"], again["adopted"]
    assert again["before_after"]["now"] <= again["before_after"]["before"] + .1, again
    return before, after


def check_restart_and_forget(plant, before, after):
    plant.stop()
    plant.start()
    assert rules_of(plant) == after, "what was adopted outlives a restart"
    plant.client("calibrate", "--forget", "--adopt", check=2)
    answer = plant.client_json("calibrate", "--forget", "--by", "mira")
    assert answer == {"adopted": None, "rules": before}, answer
    plant.client_json("calibrate", "--adopt", "--yes", "--by", "jon")
    assert rules_of(plant) == after, "the same fit is the same rules"
    plant.client("calibrate", "--forget", check=0)
    assert rules_of(plant) == before


def check_returns(plant):
    plant.load_text("dispatch", "lot,route,store,at,units\n"
                    f"{LOT},R1,S1,2026-11-15T03:00:00-05:00,600\n"
                    f"{LOT},R2,S2,2026-11-15T03:00:00-05:00,400\n")
    base = ["log", "--symptom", "mold", "--channel", "return", "--lot", LOT, "--received-at",
            "2026-11-14T12:00:00-05:00", "--units", "24", "--store", "S1", "--reason", "moldy"]
    case = plant.client_json(*base, "--put-at", "slicer")
    assert "Move the returned goods" in case["cautions"][0], case["cautions"]
    assert case["case"] == "C1", "a return with a symptom joins its case"
    unknown = plant.client_json(*base)
    assert "Say where" in unknown["cautions"][0], unknown["cautions"]
    right = plant.client_json(*base, "--put-at", "Returns dock")
    assert not any("eturned goods" in c for c in right["cautions"]), right["cautions"]
    assert "Move the returned" in plant.client(*base, "--put-at", "bagger", check=0).stdout
    report = plant.client_json("returns", "--from", "2026-11-09", "--to", "2026-11-15")
    assert (report["returns"], report["units"], report["dispatched"]) == (4, 96, 1000), report
    route = [r for r in report["by"]["route"] if r["level"] == "R1"][0]
    assert (route["units"], route["dispatched"]) == (96, 600) and abs(route["share"] - .16) < 1e-6
    assert route["low"] < .16 < route["high"], route
    assert len(report["stand"]) == 3, report["stand"]
    shown = plant.client("returns", "--from", "2026-11-09", "--to", "2026-11-15", check=0).stdout
    assert "R1" in shown and "Look where these stand" in shown, shown
    assert max(map(len, shown.splitlines())) <= 80, shown
    week = plant.client_json("week", "2026-W46")["returns"]
    assert week["units"] == 96 and "stand" not in week, week
    plant.client("returns", "--from", "2026-11-20", "--to", "2026-11-09", check=1)


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        check_too_few(plant)
        report = check_fit(plant)
        before, after = check_adopt(plant, report)
        print("adopted ok")
        check_restart_and_forget(plant, before, after)
        check_returns(plant)
        print("calibration and returns ok")


main()
