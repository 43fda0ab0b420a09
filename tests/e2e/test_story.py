"""The main job end to end through the client: records in, complaints in, ranked causes out, their
working, questions, other lots at risk, a verdict, a hold, the week.      usage: test_story.py BINARIES"""
import json
import sys

from oddloaf import Plant, complaint

HOT = "L1 6318 A0400"


def plant_with_a_hot_lot(plant):
    plant.load_small()
    rows = [f"{HOT},core_at_pack_c,{v},2026-11-14T04:{m:02d}:00-05:00"
            for m, v in ((10, 47.0), (30, 48.5), (50, 46.2))]
    plant.load_text("readings", "lot,quantity,value,at\n" + "\n".join(rows) + "\n")


def check_log_and_rank(plant):
    """A wet bag, early mold, a core of 47 °C where 36 is the target: packed hot must lead."""
    first = complaint(HOT, product="W24", observed={"where": "side", "wet_inside_bag": True,
                                                    "colour": "blue-green", "bag": "sound"})
    answer = plant.client_json("log", "--from", "-", stdin=json.dumps(first) + "\n")
    assert answer["complaint"] == first["id"] and answer["lot"] == HOT, answer
    assert answer["ranked"][0]["cause"] == "packed-hot", answer["ranked"]
    assert len(answer["ranked"]) == 3 and answer["cautions"], answer
    again = plant.client_json("log", "--from", "-", stdin=json.dumps(first) + "\n")
    assert again["case"] == answer["case"], "the same id is the same complaint"
    case = answer["case"]
    rank = plant.client_json("rank", case)
    assert rank["lot"] == HOT and rank["complaints"] == [first["id"]], rank
    total = sum(cause["probability"] for cause in rank["ranked"])
    assert abs(total - 1) < 1e-6, total
    assert rank["rules"].startswith("sha256:") and rank["as_of"], rank
    assert len(rank["ranked"]) >= 18, "17 mold causes and not-known"
    top = rank["ranked"][0]
    core = [f for f in top["for"] if f["fact"] == "core_at_pack_c"]
    assert core and abs(core[0]["value"] - 46.6) < 0.1 and core[0]["target"] == 36, top["for"]
    by_complaint = plant.client_json("rank", first["id"])
    assert by_complaint["case"] == case
    return case


def check_working(plant, case):
    why = plant.client_json("why", case, "packed-hot")
    facts = why["causes"][0]["facts"]
    assert all(f["because"] and f["source"] for f in facts), facts
    answer = plant.client_json("ask", case)
    ask = answer["ask"]
    assert all(a["of"] in ("caller", "plant", "lab") for a in ask), ask
    assert bool(ask) == (answer["says"] is None), "a question, or the sentence that none decides"
    known = {"where", "wet_inside_bag", "colour", "bag", "core_at_pack_c"}
    assert not known & {a["fact"] for a in ask}, "never asks what is known"
    reach = plant.client_json("reach", case)
    assert reach["cause"] == "packed-hot" and isinstance(reach["lots"], list), reach
    assert HOT not in [lot["lot"] for lot in reach["lots"]], "other lots"


def check_bought_late(plant):
    """Sold a day past its code date: that day is a fact, and it outweighs how late it was found."""
    one = complaint("L1 6300 A0800", received="2026-11-09T09:00:00-05:00", bought_on="2026-11-07", found_on="2026-11-08")
    told = plant.client_json("log", "--from", "-", stdin=json.dumps(one) + "\n")
    why = plant.client_json("why", told["case"], "old-stock")
    facts = {fact["fact"]: fact for fact in why["causes"][0]["facts"]}
    assert abs(facts["bought_life_share"]["value"] - 1.1) < .001 and facts["bought_life_share"]["bits"] > 4, facts["bought_life_share"]
    assert not facts.get("days_past_code", {}).get("bits"), facts["days_past_code"]
    assert told["ranked"][0]["cause"] == "old-stock", told["ranked"]


def check_lot(plant):
    lot = plant.client_json("lot", HOT)
    assert lot["exact"] is True and lot["product"] == "W24" and lot["line"] == "1", lot
    assert any(r["quantity"] == "core_at_pack_c" and r["target"] == 36 for r in lot["readings"])
    days = lot["prediction"]["mold_free_days"]
    for way in ("as_made", "as_specified"):
        assert days[way]["low"] <= days[way]["typical"] <= days[way]["high"], days
    smudged = plant.client_json("lot", "L1 6318 A04O0")
    assert smudged["candidates"][0]["lot"] == HOT, smudged["candidates"]
    plant.client("--json", "lot", "QQQQQQQQ", check=5)


def check_cases(plant, case):
    plant.wait_idle()
    listed = plant.client_json("cases", "--symptom", "mold", "--line", "1")["cases"]
    assert [c["case"] for c in listed] == [case], listed
    assert listed[0]["top"]["cause"] == "packed-hot", listed
    assert plant.client_json("cases", "--symptom", "staling")["cases"] == []


def check_hold(plant):
    plant.client_json("hold", HOT, "--reason", "wet bags", "--by", "mira")
    assert plant.client_json("lot", HOT)["hold"]["what"] == "hold"
    refused = plant.client("--json", "release", HOT, "NOPE", "--disposition", "destroy", "--reason",
                           "x", "--by", "mira", check=5)
    assert "NOPE" in refused.stderr + refused.stdout, refused
    assert plant.client_json("lot", HOT)["hold"]["what"] == "hold"
    plant.client_json("release", HOT, "--disposition", "destroy", "--reason", "moldy", "--by", "mira")
    assert plant.client_json("lot", HOT)["hold"]["disposition"] == "destroy"


def check_settle(plant, case):
    plant.client("settle", case, "rope", "--confirmed-by", "assay", "--by", "mira", check=1)
    plant.client("settle", case, "packed-hot", "--confirmed-by", "assay", "--note", "cooler fan",
                 "--by", "mira", check=0)
    rank = plant.client_json("rank", case)
    assert rank["state"] == "settled" and rank["verdict"]["cause"] == "packed-hot", rank
    scores = plant.client_json("scores")
    assert scores["verdicts"] == 1 and scores["top1"] == 1, scores
    plant.client("settle", case, "--reopen", "--by", "mira", check=0)
    assert plant.client_json("rank", case)["state"] == "open"


def check_week(plant):
    week = plant.client_json("week", "2026-W47")
    assert week["complaints"]["mold"] == 1, week["complaints"]
    # 16 to 18 November: lots end on the 18th; 4 a day of 5000
    assert week["units"] == 3 * 4 * 5000, week["units"]
    line = [r for r in week["by"]["line"] if r["level"] == "1" and r["symptom"] == "mold"][0]
    assert line["complaints"] == 1 and line["units"] == 60000, line
    # Garwood 1936, one event: 0.0253 to 5.572
    assert abs(line["low"] - 0.0253178 / 0.06) < 1e-3, line
    assert abs(line["high"] - 5.571643 / 0.06) < 1e-2, line
    expected = sum(c["expected"] for c in week["causes"])
    assert abs(expected - 1) < 0.02, week["causes"]
    plant.client("week", "2027-W53", check=1)


def check_bad_input(plant):
    good = complaint(HOT)
    lines = [json.dumps(good), "{not json", json.dumps(complaint(HOT, symptom="wet")),
             json.dumps(complaint(HOT, observed={"colour": "purple"}))]
    done = plant.client("log", "--from", "-", stdin="\n".join(lines) + "\n", check=1)
    said = done.stdout + done.stderr
    for word in ("line 2", "line 3", "symptom", "wet", "line 4", "colour", "purple"):
        assert word in said.replace(":2:", " line 2 ").replace(":3:", " line 3 ").replace(
            ":4:", " line 4 "), (word, said)
    assert plant.get("/v1/complaints/" + good["id"])[0] == 200, "the good one is kept"
    bad = ("lot,quantity,value\n" f"{HOT},core_at_pack_c,900\n" f"{HOT},nonsense,1\n"
           "L9 0000 X,crumb_ph,5.3\n" f"{HOT},crumb_ph,5.6\n")
    (plant.dir / "bad.csv").write_text(bad)
    done = plant.client("--json", "load", "readings", str(plant.dir / "bad.csv"), check=1)
    answer = json.loads(done.stdout.splitlines()[0])
    assert answer["new"] == answer["changed"] == 0 and len(answer["refused"]) == 3, answer
    assert {r["line"] for r in answer["refused"]} == {2, 3, 4}, answer["refused"]
    done = plant.client("--json", "load", "--keep-good", "readings", str(plant.dir / "bad.csv"),
                        check=1)
    assert json.loads(done.stdout.splitlines()[0])["new"] == 1, done.stdout


def check_away(plant):
    """The daemon away: spooled, said, exit 3; sent once when it is back."""
    plant.stop()
    one = complaint(HOT)
    done = plant.client("log", "--from", "-", stdin=json.dumps(one) + "\n", check=3)
    assert "kept" in done.stdout + done.stderr, done
    plant.start()
    plant.client("log", "--replay", check=0)
    assert plant.get("/v1/complaints/" + one["id"])[0] == 200
    plant.client("log", "--replay", check=0)


def main():
    with Plant(sys.argv[1]) as plant:
        plant_with_a_hot_lot(plant)
        case = check_log_and_rank(plant)
        for check in (check_working, check_cases):
            check(plant, case)
            print(check.__name__, "ok")
        check_lot(plant)
        check_bought_late(plant)
        check_hold(plant)
        check_settle(plant, case)
        check_week(plant)
        check_bad_input(plant)
        check_away(plant)
        print("the whole story ok")


main()
