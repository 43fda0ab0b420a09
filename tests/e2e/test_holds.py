"""QA's day with holds, from the client alone: the list of what is held, several holds on one lot, all that
reach names at once, nonsense refused with what is so, and where it is marked.
                                                                     usage: test_holds.py BINARIES [CHECK]"""
import json
import os
import pwd
import sys

from oddloaf import Plant, complaint, plant_day

LOT, OTHER, THIRD, UNKNOWN = "L1 6314 A0400", "L1 6315 A0400", "L1 6316 A0400", "L1 6399 A0400"
HOT = "L1 6318 A0400"  # its core temperature at packing and, less so, that of lots about it
READINGS = "lot,quantity,value,at\n" + "".join(
    f"{lot},core_at_pack_c,{core},2026-11-14T04:30:00-05:00\n" for lot, core in (
        (HOT, 47), ("L1 6318 A0800", 46), ("L1 6318 A1200", 42), ("L1 6318 A1600", 41), ("L1 6317 A1600", 43)))
DISPATCH = "lot,route,at,units,store\n" + "".join(
    f"{lot},{route},2026-11-12T05:00:00-05:00,900,010{n}\n" for lot in (LOT, OTHER)
    for n, route in enumerate(("R4", "R11")))


def words(text):
    return " ".join(text.split())


def hold(plant, *more, reason="wet bags", by="mira", **kw):
    return plant.client("hold", *more, "--reason", reason, "--by", by, **kw)


def release(plant, lot, *more, disposition="release", by="mira", anyway="samples are clean", **kw):
    return plant.client("release", lot, "--disposition", disposition, "--reason", "looked at", "--by", by,
                        "--anyway", anyway, *more, **kw)


def standing(plant, lot=None):
    holds = plant.client_json("holds")["holds"]
    return [h for h in holds if lot in (None, h["lot"])]


def refused(done, *said):
    assert done.returncode in (1, 5), done
    for word in said:
        assert word in words(done.stderr), (word, done.stderr)


def log(plant, lot, **more):
    status, answer = plant.post("/v1/complaints", complaint(lot=lot, **more))
    assert status in (200, 201), answer
    return answer["case"]


def check_list(plant):
    """Lot, units, still in code, where it went, reason, who, age, case; codes on no record, too."""
    assert "No lot is on hold." in plant.client("holds", check=0).stdout
    case = log(plant, LOT)
    hold(plant, LOT, "--case", case, check=0)
    hold(plant, UNKNOWN, reason="glass", check=0)
    known, unknown = standing(plant)
    me = pwd.getpwuid(os.geteuid()).pw_name
    assert known["lot"] == LOT and known["units"] == 5000 and known["code_date"] == "2026-11-20", known
    assert known["routes"] == ["R11", "R4"] and known["case"] == case and known["on_record"], known
    assert (known["reason"], known["by"], known["user"]) == ("wet bags", "mira", me), known
    assert known["age_days"] == 0 and isinstance(known["in_code"], bool), known
    assert not unknown["on_record"] and unknown["code_date"] is None and unknown["case"] is None, unknown
    shown = plant.client("holds", check=0).stdout
    assert all(len(line) <= 80 for line in shown.splitlines()), shown
    for text in (LOT, "5 000", "R11, R4", case + ": wet", "mira", "not on"):
        assert text in words(shown), (text, shown)
    release(plant, LOT, check=0)
    release(plant, UNKNOWN, check=0)
    assert standing(plant) == []


def check_several(plant):
    """A second hold hides nothing, and the lot is held until the last one has ended."""
    case = log(plant, LOT)
    hold(plant, LOT, reason="glass", by="jo", check=0)
    second = hold(plant, LOT, "--case", case, check=0)
    assert "Held for other reasons, too" in words(second.stdout) and "glass, jo" in second.stdout, second
    glass, wet = standing(plant, LOT)
    shown = words(plant.client("lot", LOT, check=0).stdout)
    assert "glass, jo" in shown and "wet bags, mira" in shown and shown.count("ON HOLD") == 2, shown
    refused(release(plant, LOT), "2 holds stand", glass["hold"], wet["hold"], "glass", "--all")
    refused(release(plant, LOT, "--hold", "H9999"), "does not stand", glass["hold"])
    ended = release(plant, LOT, "--hold", glass["hold"], check=0)
    assert "STILL ON HOLD" in ended.stdout and "wet bags" in ended.stdout, ended.stdout
    assert [h["hold"] for h in standing(plant, LOT)] == [wet["hold"]]
    assert plant.client_json("lot", LOT)["hold"]["what"] == "hold"
    hold(plant, LOT, reason="glass", by="jo", check=0)
    release(plant, LOT, "--case", case, check=0)
    assert [h["reason"] for h in standing(plant, LOT)] == ["glass"]
    hold(plant, LOT, check=0)
    both = plant.client_json("release", LOT, "--all", "--disposition", "divert", "--reason", "x", "--by", "m")
    assert both["still_held"] == [] and standing(plant) == [], both
    assert plant.client_json("lot", LOT)["hold"]["disposition"] == "divert"
    events = [(e["what"], e["is"], e["why"]) for e in plant.client_json("history", LOT)["events"]][-2:]
    assert events == [("held", None, "wet bags"), ("released", "divert", "x")], "two ended, told once"


def check_again(plant):
    """A retry is the same hold; another person's, or one for another reason, is another."""
    first = plant.client_json("hold", OTHER, "--reason", "wet bags", "--by", "mira")
    again = plant.client_json("hold", OTHER, "--reason", "wet bags", "--by", "mira")
    assert first["already"] == [] and again["already"] == [OTHER] == again["held"], (first, again)
    assert len(standing(plant, OTHER)) == 1
    other = plant.client_json("hold", OTHER, "--reason", "wet bags", "--by", "jo")
    assert other["already"] == [] and [h["by"] for h in other["others"]] == ["mira"], other
    release(plant, OTHER, "--all", check=0)


def check_nonsense(plant):
    refused(release(plant, THIRD), "not on hold and never was", "oddloaf holds")
    refused(release(plant, UNKNOWN.replace("A", "B")), "no hold on that code")
    hold(plant, THIRD, check=0)
    release(plant, THIRD, disposition="destroy", by="jo", check=0)
    refused(release(plant, THIRD), "it was destroyed (by jo: looked at)")
    refused(hold(plant, THIRD), "was destroyed", "jo", "--still-about")
    together = hold(plant, OTHER, THIRD)
    refused(together, "nothing was recorded")
    assert standing(plant) == [], "of several lots all or none"
    hold(plant, THIRD, "--still-about", check=0)
    assert len(standing(plant, THIRD)) == 1
    release(plant, THIRD, check=0)
    refused(hold(plant, LOT, "--case", "C999"), "C999")
    assert hold(plant).returncode == 2 and hold(plant, LOT, "--at-least", "5").returncode == 2
    assert standing(plant) == []


def check_misread(plant):
    """A code on no record that may be a lot's, misread: held as written, the lot named, never held silently."""
    text, case = "L1 6318 AO4OO", log(plant, LOT)
    known = plant.client_json("lot", text)
    assert (known["lot_state"], known["lot"]) == ("likely", HOT), known
    done = plant.client_json("hold", text, "--reason", "wet", "--by", "mira")
    likely = done["likely"][0]
    assert len(done["likely"]) == 1 and likely["lot"] == HOT and "holds" not in likely, done
    assert abs(likely["weight"] - known["candidates"][0]["weight"]) < 0.001, (likely, known)
    assert done["held"] == done["not_on_record"] == [likely["text"]] == [h["lot"] for h in standing(plant)], done
    shown = words(hold(plant, text, "--case", case, reason="it's wet", check=0).stdout)
    assert "THAT LOT IS NOT HELD" in shown and f"{likely['weight']:.0%}".rstrip("%") + " %" in shown, shown
    assert f"oddloaf hold '{HOT}' --reason 'it'\\''s wet' --case {case}" in shown, shown
    assert standing(plant, HOT) == []
    ask = ("hold", text, "--reason", "wet", "--by", "mira")
    code, shown = plant.answer_on_a_terminal(ask, "no")
    assert code == 0 and "oddloaf hold '" in words(shown) and standing(plant, HOT) == [], shown
    code, shown = plant.answer_on_a_terminal(ask, "yes")
    assert code == 0 and [h["reason"] for h in standing(plant, HOT)] == ["wet"], shown
    shown = words(hold(plant, text, check=0).stdout)
    assert "on hold, too" in shown and "NOT HELD" not in shown, shown
    guessed = plant.client_json("hold", UNKNOWN, "--reason", "wet", "--by", "mira")["likely"]
    assert [x["lot"] for x in guessed] == ["L1 6309 A0400", "L1 6319 A0400"], guessed
    clear = plant.client_json("hold", "L1 6330 A0400", "--reason", "wet", "--by", "mira")
    assert clear["not_on_record"] and clear["likely"] == [], clear
    for held in {h["lot"] for h in standing(plant)}:
        release(plant, held, "--all", check=0)


def check_lost_quotes(plant):
    """The words of one code on record are no lots of their own; nothing is held by mistake, nor given free."""
    refused(hold(plant, *LOT.split()), f"they are lot {LOT}", f"'{LOT}'", "nothing was recorded")
    refused(hold(plant, OTHER, *LOT.split()), f"they are lot {LOT}")
    assert standing(plant) == []
    hold(plant, "L1", check=0)  # alone, a code on no record, as any
    hold(plant, LOT, check=0)
    refused(plant.client("release", *LOT.split(), "--disposition", "release", "--reason", "dry", "--by", "mira"),
            f"they are lot {LOT}")
    assert len(standing(plant)) == 2
    release(plant, LOT, check=0)
    release(plant, "L1", check=0)


def check_reach(plant):
    """All that reach names at or above a risk, shown before it is held, once."""
    case = log(plant, HOT, observed={"where": "side", "wet_inside_bag": True})
    reach = plant.client_json("reach", case)["lots"]
    risks = sorted((lot["probability"] for lot in reach), reverse=True)
    assert len(risks) > 3, reach
    percent = int(risks[2] * 100)
    wanted = {lot["lot"] for lot in reach if lot["probability"] >= percent / 100}
    assert 0 < len(wanted) < len(reach) and HOT not in wanted, risks
    wanted.add(HOT)
    asked = hold(plant, "--reach", case, "--at-least", str(percent))
    assert asked.returncode == 2 and "--yes" in asked.stderr and standing(plant) == [], asked
    assert all(lot in asked.stdout for lot in wanted), asked.stdout
    ask = ("hold", "--reach", case, "--at-least", str(percent), "--reason", "asked", "--by", "mira")
    code, shown = plant.answer_on_a_terminal(ask, "no")
    assert code == 1 and "Nothing was recorded" in shown and standing(plant) == [], shown
    code, shown = plant.answer_on_a_terminal(ask, "yes")
    assert code == 0 and {h["lot"] for h in standing(plant)} == wanted, shown
    for lot in wanted:
        release(plant, lot, check=0)
    one = sorted(wanted)[0]
    hold(plant, one, reason="glass", by="jo", check=0)
    done = json.loads(plant.client("--json", "hold", "--reach", case, "--at-least", str(percent), "--reason",
                                   "may be hot", "--by", "mira", check=0).stdout)
    assert set(done["held"]) == wanted and done["already"] == [], done
    assert [h["lot"] for h in done["others"]] == [one], done
    again = json.loads(plant.client("--json", "hold", "--reach", case, "--at-least", str(percent), "--reason",
                                    "may be hot", "--by", "mira", check=0).stdout)
    assert set(again["already"]) == wanted and len(standing(plant)) == len(wanted) + 1, again
    assert all(h["case"] == case for h in standing(plant) if h["reason"] == "may be hot")
    told = plant.client_json("reach", case)
    marked = {lot["lot"] for lot in [told["own"], *told["lots"]] if lot.get("holds")}
    assert marked == wanted, marked
    assert words(plant.client("reach", case, check=0).stdout).count("ON HOLD;") == len(wanted)
    alone = hold(plant, "--reach", case, "--at-least", "100", "--yes", reason="may be hot", check=0)
    assert "only the case's own is held" in words(alone.stderr) and HOT in alone.stdout, alone
    release(plant, one, "--hold", next(h["hold"] for h in standing(plant, one) if h["by"] == "jo"), check=0)
    for lot in wanted:
        release(plant, lot, "--case", case, check=0)
    assert standing(plant) == []


def check_own(plant):
    """The case's own lot comes first and is held with the others; while it is open it is said that it is not.
    What is still in code is told of today, which is said."""
    case = log(plant, HOT, observed={"where": "side", "wet_inside_bag": True})
    told = plant.client_json("reach", case)
    own, today = told["own"], plant_day().isoformat()
    assert own["lot"] == HOT and own["probability"] == round(told["probability"], 4), own
    assert HOT not in [lot["lot"] for lot in told["lots"]]
    assert told["as_of"][:10] == "2026-11-20" and told["in_code_on"] == today, told
    for lot in [own, *told["lots"]]:
        assert lot["in_code"] == (lot["code_date"] >= today), (lot, today)
    shown = words(plant.client("reach", case, check=0).stdout)
    assert "still in code on " + today in shown, shown
    assert shown.index("the case's own") < shown.index(told["lots"][0]["lot"]), shown
    assert HOT + " " in asked(plant, case), "listed before it is held"
    hold(plant, "--reach", case, "--yes", check=0)
    assert {h["lot"] for h in standing(plant)} == {HOT, *(lot["lot"] for lot in told["lots"])}
    for held in standing(plant):
        release(plant, held["lot"], check=0)
    nowhere = log(plant, "", observed={"where": "side"})
    refused(hold(plant, "--reach", nowhere, "--yes"), "own lot is open and is not held")
    assert "own lot is open" in words(plant.client("reach", nowhere, check=0).stdout)
    assert "own" not in plant.client_json("reach", nowhere) and standing(plant) == []


def asked(plant, case):
    done = hold(plant, "--reach", case)
    assert done.returncode == 2 and standing(plant) == [], done
    return words(done.stdout)


def check_marked(plant):
    """The list of cases and the case itself say that the lot is held, and why."""
    case = log(plant, LOT)
    hold(plant, LOT, reason="glass", by="jo", check=0)
    listed = next(c for c in plant.client_json("cases")["cases"] if c["case"] == case)
    assert listed["hold"] is True and listed["holds"][0]["reason"] == "glass", listed
    assert "on hold" in words(plant.client("cases", check=0).stdout)
    for command in ("rank", "why", "ask", "reach"):
        assert plant.client_json(command, case)["holds"][0]["by"] == "jo", command
        shown = words(plant.client(command, case, check=0).stdout)
        assert "ON HOLD" in shown and "glass, jo" in shown, (command, shown)
    release(plant, LOT, check=0)
    assert "holds" not in plant.client_json("rank", case)


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        plant.load_text("dispatch", DISPATCH)
        plant.load_text("readings", READINGS)
        for check in CHECKS:
            check(plant)
        recount = plant.client_json("status", "--recount")
        assert not any(recount["differences"].values()), recount
    print("holds: ok")


CHECKS = [check_list, check_several, check_again, check_nonsense, check_misread, check_lost_quotes, check_reach,
          check_own, check_marked]
if len(sys.argv) > 2:
    CHECKS = [check for check in CHECKS if check.__name__ == sys.argv[2]]
main()
