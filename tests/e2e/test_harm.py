"""What a caller says of harm: said or only possible, whose it is, what the desk and QA are shown.
                                                                      usage: test_harm.py BINARIES"""
import grp
import json
import os
import sys

from oddloaf import Plant, UnixConnection, complaint

LOT = "L1 6314 A0400"


def log(plant, **more):
    status, answer = plant.post("/v1/complaints", complaint(**more))
    assert status in (200, 201), answer
    return answer


def check_levels(plant):
    said = log(plant, note="it was fine to look at but my son was throwing up after two slices")
    assert said["harm"] == ["illness"] and said["harm_possible"] is False, said
    assert "Stop eating" in said["script"].replace("stop", "Stop"), said
    perhaps = log(plant, lot="L1 6315 A0400", note="the dog ate the moldy loaf before I saw it")
    assert perhaps["harm"] == [] and perhaps["harm_possible"] is True, perhaps
    assert "?" in perhaps["script"] and perhaps["ranked"] == [] and perhaps["alarm"], perhaps
    taken = [t for t in perhaps["taken"] if t["field"] == "harm_possible"]
    assert taken and taken[0]["from"], perhaps["taken"]
    none = log(plant, lot="L1 6316 A0400", note="green spots on top, nobody ate it, no one is sick")
    assert none["harm"] == [] and none["harm_possible"] is False, none
    assert "script" not in none and "alarm" not in none, none
    unread = log(plant, lot="L1 6310 A0400", note="Oğlum ekmeği yedikten sonra hastaneye kaldırıldı")
    assert unread["harm"] == [] and unread["harm_possible"] is True and unread["alarm"], unread
    assert unread["taken"][0]["from"].startswith("in a language that is not read here: Oğlum"), unread["taken"]
    after = log(plant, lot="L1 6312 A0400", note="Moldy on the heel. Oglum ekmegi yedikten sonra hastaneye kaldirildi")
    assert after["harm_possible"] is True, after
    within = log(plant, lot="L1 6312 A0400", note="mold, 我儿子吃了面包后呕吐")
    assert within["harm_possible"] is True, within
    short = log(plant, lot="L1 6311 A0400", note="musty, like a bsmt. Bt 11/21 fnd 11/24")
    assert short["harm_possible"] is False, short
    chosen = log(plant, lot="L1 6317 A0400", harm=["injury"], note="and she threw up twice")
    assert chosen["harm"] == ["injury", "illness"], chosen


def check_whose(plant):
    first = log(plant, lot=LOT, harm=["illness"])
    assert first["harm"] == ["illness"] and "earlier_harm" not in first, first
    second = log(plant, lot=LOT, note="moldy on the heel", received="2026-11-20T10:00:00-05:00")
    assert second["case"] == first["case"] and second["harm"] == [], second
    assert "script" not in second, "the script is of this caller"
    assert second["earlier_harm"] == "an earlier caller reported harm on this lot", second
    assert "unwell or hurt" in second["ask"][0]["ask"] and second["ask"][0]["of"] == "caller", second["ask"]
    assert second["ranked"] == [], "no cause is shown to the desk beside another caller's harm"
    other = log(plant, lot="L1 6319 A0400", symptom="other", harm=["foreign-matter"], note="glass")
    mold = log(plant, lot="L1 6319 A0400", note="green spots")
    assert mold["case"] != other["case"] and mold["ranked"] == [], mold
    assert mold["earlier_harm"] == "an earlier caller reported harm on this lot", mold
    assert plant.get("/v1/cases/" + mold["case"])[1]["harm_elsewhere"]["case"] == other["case"]
    assert f"Mind {other['case']}: harm is reported on the same lot" in plant.client("rank", mold["case"]).stdout
    return first["case"]


def check_rank(plant, case):
    ranking = plant.get("/v1/cases/" + case)[1]
    assert ranking["harm"] is True and ranking["harm_possible"] is False, ranking
    assert "medical help" in ranking["cautions"][0], ranking["cautions"]
    shown = plant.client("rank", case).stdout
    assert "HARM IS REPORTED" in shown and "Likely causes" not in shown, shown
    assert "(complaint " in shown and "oddloaf hold" in shown, shown
    perhaps = log(plant, lot="L1 6309 A0400", note="could it be that a child got sick from this")
    shown = plant.client("rank", perhaps["case"]).stdout
    assert "MAY SPEAK OF HARM" in shown and "Likely causes" not in shown, shown
    listed = [c for c in plant.get("/v1/cases?limit=500")[1]["cases"] if c["case"] == perhaps["case"]]
    assert listed[0]["harm_possible"] and "top" not in listed[0], listed
    of_lot = plant.get("/v1/lots/L1%206309%20A0400")[1]["cases"]
    assert of_lot[0]["harm_possible"] and "top" not in of_lot[0], of_lot
    assert "MAY BE HARM" in plant.client("cases", "--order", "urgent").stdout


def check_cautions(plant):
    """The desk is told what a caller needs; lock-outs and ovens are for the plant."""
    answer = log(plant, lot="L1 6308 A0400", observed={"where": "cut-face"})
    ranking = plant.get("/v1/cases/" + answer["case"])[1]
    plants = set(ranking["cautions"]) - set(ranking["caller_cautions"])
    assert plants and answer["cautions"], ranking["cautions"]
    assert not plants & set(answer["cautions"]), answer["cautions"]
    return answer["case"]


def check_written(plant):
    """The reason of a hold, the note of a verdict and why a file goes are heard; the week counts what nobody read."""
    possible = len(plant.get("/v1/weeks/2026-W47")[1]["harm_possible"])
    case = log(plant, lot="L1 6307 A0400")["case"]
    held = {"lots": ["L2 6307 A0400"], "by": "mira", "case": case, "reason": "a child was throwing up after eating it"}
    told = plant.post("/v1/lots/hold", held)[1]
    assert told["heard"]["harm"] == ["illness"] and told["heard"]["complaint"], told
    assert "heard" not in plant.post("/v1/lots/hold", dict(held, reason="it is wet", case=None))[1]
    week = plant.get("/v1/weeks/2026-W47")[1]
    assert len(week["harm_possible"]) == possible + 1, week["harm_possible"]
    assert any("may speak of harm, nobody has read" in line for line in map(str, week["headline"])), week["headline"]
    shown = plant.client("history", case).stdout
    assert "spoke of harm" in shown and "corrected" not in shown, shown
    status, refused = plant.post("/v1/lots/release", {"lots": ["L2 6307 A0400"], "by": "mira", "reason": "ok", "all": True,
                                                      "disposition": "release"})
    assert status == 409 and "harm is open of " + case in str(refused), refused
    settled = log(plant, lot="L1 6306 A0400")["case"]
    told = plant.post(f"/v1/cases/{settled}/verdict", {"cause": "not-known", "confirmed_by": "inspection", "by": "mira",
                                                       "note": "she found a piece of glass in it"})
    assert told[0] == 200 and told[1]["heard"]["harm"], told
    listed = [c for c in plant.get("/v1/cases?limit=500")[1]["cases"] if c["case"] == settled]
    assert listed and listed[0]["harm_since_settled"], listed


def as_desk(plant, path):
    """GET by a user who is in the desk's group and no other."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(grp.getgrnam("nogroup").gr_gid)
        os.setuid(65534)
        connection = UnixConnection(plant.socket)
        connection.request("GET", path)
        os.write(write, connection.getresponse().read())
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as answer:
        text = answer.read()
    os.waitpid(child, 0)
    return json.loads(text)


def check_role(plant, case, harmed):
    if os.geteuid() != 0:
        print("what the desk alone is told takes root: left out")
        return
    os.chmod(plant.dir, 0o755)
    os.chmod(plant.socket, 0o666)
    desk, everyone = as_desk(plant, "/v1/cases/" + case), plant.get("/v1/cases/" + case)[1]
    assert desk["cautions"] == everyone["caller_cautions"], desk["cautions"]
    assert everyone["cautions"] != everyone["caller_cautions"]
    assert "medical help" in as_desk(plant, "/v1/cases/" + harmed)["cautions"][0]


def check_unreadable(plant):
    """Letters of another writing, escapes of what is no JSON, columns that mean nothing: harm in them is heard."""
    old = '{"id":"x","symptom":"mold","note":"mi hija vomit\u00f3 toda la noche"}'.encode("latin-1")
    for body in (old, b'{"symptom":"mold","note":"mi hija vomit\\u00f3 toda la noche"'):
        status, answer = plant.request("POST", "/v1/complaints", body)
        assert status == 400 and answer["harm"] == ["illness"] and "alarm" in answer, (body, answer)
    rows = plant.dir / "old.csv"
    rows.write_bytes(b"received_at,symptom,lot_text,note,Clerk remarks\n"
                     b"2026-11-20T09:14:00-05:00,mold,L1 6318 A0400,mi ni\xf1o vomit\xf3 toda la noche,\n"
                     b"2026-11-20T09:15:00-05:00,mold,L1 6318 A0400,green,her child vomited\n"
                     b"2026-11-20T09:16:00-05:00,mold,L1 6318 A0400,green,called back\n")
    done = plant.client("log", "--from", str(rows), "--channel", "phone", check=1)
    said = " ".join((done.stdout + done.stderr).split())
    assert "is not UTF-8" in said and "HARM is reported in this row" in said, said
    assert "columns not used: Clerk remarks" in said and "2 new" in said, said
    assert "1 may speak of harm" in said, said
    found = plant.get("/v1/complaints?word=vomited")[1]["complaints"]
    assert len(found) == 1, found


def check_refused(plant, case):
    """Whatever was asked: nothing of it is kept, and who asked is told that nobody else hears of it."""
    words = "her son was throwing up all night after two slices"
    for path, body in (("complaints?rank=x", complaint(note=words)), (f"cases/{case}/follow", {"due": "soon", "note": words}),
                       ("lots/hold", {"lots": [], "reason": words}), ("complaints/preview", {"symptom": 7, "note": words})):
        status, answer = plant.post("/v1/" + path, body)
        assert status == 400 and answer["harm"] == ["illness"], (path, answer)
        assert ("script" in answer) == (path != "lots/hold"), (path, answer)  # QA has nobody on the line
        assert answer["alarm"].startswith("it was not kept and no mail leaves"), (path, answer)
    done = plant.client("follow", case, "--due", "1999-01-01", "--note", words)
    assert done.returncode == 1 and "HARM REPORTED" in done.stderr and "no mail leaves" in done.stderr, done
    assert plant.post("/v1/lots/hold", {"lots": [], "reason": "wet bags"})[1].get("harm") is None
    lines = json.dumps({"note": words}) + "\n{}" * 20001
    status, answer = plant.request("POST", "/v1/complaints", lines.encode(), "application/x-ndjson")
    assert status == 413 and answer["harm"] == ["illness"], answer
    status, answer = plant.post(f"/v1/cases/{case}/folow", {"note": words})
    assert status == 404 and "phone the food-safety lead now" in answer["hint"], answer


def check_kept_beside(plant):
    """What is written where a hold ends, and of what was done, is heard as all else is."""
    lot = "L1 6311 A0400"
    assert plant.post("/v1/lots/hold", {"lots": [lot], "reason": "wet bags", "by": "m"})[0] == 200
    said = {"by": "m", "lots": [lot], "disposition": "release", "reason": "dry, but her son was taken to hospital after it"}
    status, answer = plant.post("/v1/lots/release", said)
    assert status == 200 and answer["heard"]["harm"] == ["illness"] and answer["heard"]["alarm"], answer
    gone, held, why = "L1 6312 A0400", "L1 6313 A0400", "glass was found in the bread"
    assert plant.post("/v1/lots/hold", {"by": "m", "lots": [gone], "reason": "wet bags"})[0] == 200
    assert plant.post("/v1/lots/release", {"by": "m", "lots": [gone], "disposition": "destroy", "reason": "wet"})[0] == 200
    assert "alarm" in plant.post("/v1/lots/hold", {"by": "m", "lots": [held], "reason": why})[1]["heard"]
    again = plant.post("/v1/lots/hold", {"by": "m", "lots": [gone, held], "reason": why, "skip_gone": True})[1]
    assert "no_mail" in again["heard"], again  # of those that something is recorded of, all was told before
    status, answer = plant.post("/v1/actions", {"by": "m", "line": "1", "cause": "packed-hot",
                                                "note": "belt mended after a customer broke a tooth on metal in the bread"})
    assert status == 201 and answer["heard"]["harm"], answer
    assert "alarm" in answer["heard"], answer


def main():
    with Plant(sys.argv[1], config={"roles": {"desk": ["nogroup"]}}) as plant:
        plant.load_small()
        check_levels(plant)
        harmed = check_whose(plant)
        check_rank(plant, harmed)
        check_role(plant, check_cautions(plant), harmed)
        check_written(plant)
        check_unreadable(plant)
        check_refused(plant, harmed)
        check_kept_beside(plant)
    print("harm: ok")


main()
