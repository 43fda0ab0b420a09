"""What belongs to a case, from the client alone: results of laboratories rank it again, are corrected and taken
back; photos and reports are attached without what they tell, given back, detached, erased; both come back from an
export.
                                                                     usage: test_belongs.py BINARIES [CHECK]"""
import json
import sys

import photos
from oddloaf import Plant, UnixConnection, complaint, tells_phone

LOT, HURT = "L1 6318 A0400", "L1 6318 A0800"
WHO = ("--lab", "Northgate", "--sample", "26-114", "--by", "mira")
ANN = {"name": "Ann Beeker", "phone": "555-0101"}


def words(text):
    return " ".join(text.split())


def measure(plant, *more, lot=LOT, who=WHO, check=0):
    return plant.client("measure", lot, *more, *who, check=check)


def measured(plant, *more, lot=LOT, who=WHO):
    return plant.client_json("measure", lot, *more, *who)


def shown(plant, *command):
    return words(plant.client(*command, check=0).stdout)


def log(plant, lot, **more):
    status, answer = plant.post("/v1/complaints", complaint(lot=lot, **more))
    assert status in (200, 201), answer
    return answer["case"]


def top(plant, case):
    first = plant.client_json("rank", case)["ranked"][0]
    return first["cause"], first["probability"]


def check_evidence(plant):
    """A known quantity ranks again and says so; the same again does not; a correction does, and is in history."""
    case = log(plant, LOT)
    assert top(plant, case)[0] == "not-known"
    done = measure(plant, "crumb_ph=6.4", "--at", "2026-11-24", "--method", "probe")
    assert f"{case} is ranked again: Crumb not sour enough" in words(done.stdout), done.stdout
    assert "leads now; before it was Not known" in words(done.stdout), done.stdout
    assert "Open moldy packs away from the line" in words(done.stdout), done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines()), done.stdout
    assert top(plant, case)[0] == "inhibitor-ineffective-ph"
    again = measure(plant, "crumb_ph=6.4").stdout
    assert "On record already" in again and "Nothing was changed." in again, again
    for command in (("lot", LOT), ("rank", case), ("why", case)):
        text = shown(plant, *command)
        assert "Crumb pH 6.4 pH: Northgate, sample 26-114, 2026-11-24 12:00, probe" in text, (command, text)
    answer = measured(plant, "crumb_ph=5.3", "--reason", "typed wrong")
    assert answer["results"][0]["was"] == "6.4" and answer["cases"][0]["changed"], answer
    assert top(plant, case)[0] == "not-known"
    events = [(e["what"], e.get("field"), e["was"], e["is"], e.get("why"), e["by"])
              for e in plant.client_json("history", LOT)["events"]]
    assert events == [
        ("measured", "crumb_ph", None, "6.4", "Northgate, sample 26-114", "mira"),
        ("result corrected", "crumb_ph", "6.4", "5.3", "Northgate, sample 26-114: typed wrong", "mira")], events
    assert "measured crumb_ph" in shown(plant, "history", case)


def check_word(plant):
    """The genus is evidence for the place that its source names, and its whole name is kept."""
    case = log(plant, LOT)
    before = {r["cause"]: r["probability"] for r in plant.client_json("rank", case)["ranked"]}
    answer = measured(plant, "mold_genus=Wallemia sebi")
    assert answer["results"][0]["word"] == "wallemia" and answer["results"][0]["evidence"], answer
    after = {r["cause"]: r["probability"] for r in plant.client_json("rank", case)["ranked"]}
    assert after["contamination-ingredient-store"] > 2 * before["contamination-ingredient-store"], (before, after)
    assert "Mold identified Wallemia sebi: Northgate" in shown(plant, "lot", LOT)
    assert "Garcia et al. 2019" in shown(plant, "why", case, "contamination-ingredient-store")
    unknown = measured(plant, "mold_genus=Fusarium", who=("--lab", "Northgate", "--sample", "9"))["results"][0]
    assert unknown["known"] and not unknown["evidence"] and unknown["said"] == "Fusarium", unknown


def check_unknown(plant):
    """What the rules do not know is kept and told on one line with the nearest names; it can be taken back."""
    done = measure(plant, "crumb_hp=5.2", "yeasts=<10")
    said = words(done.stdout)
    assert 'NOT USED: no rule knows "crumb_hp". It ranks nothing and is only kept as written, 5.2. ' in said, done.stdout
    assert "nearest: crumb_ph, " in said, done.stdout
    assert 'no rule knows "yeasts"' in said and len(done.stdout.splitlines()) <= 8, done.stdout
    assert "crumb_ph" in words(plant.client("rules", "quantities").stdout)
    assert "yeasts <10: Northgate" in shown(plant, "lot", LOT)
    assert "crumb_hp 5.2: Northgate" in shown(plant, "lot", LOT)
    assert "reason" in measure(plant, "crumb_hp=", check=1).stderr
    assert "Taken back: crumb_hp 5.2" in measure(plant, "crumb_hp=", "--reason", "misspelled").stdout
    assert "crumb_hp" not in shown(plant, "lot", LOT)
    last = plant.client_json("history", LOT)["events"][-1]
    assert (last["what"], last["field"], last["was"]) == ("result taken back", "crumb_hp", "5.2"), last
    assert "misspelled" in last["why"], last


def check_mute(plant):
    """Of what rules only compare they say nothing where the product has nothing to compare it with, and that is told; it
    is not asked for either."""
    case = log(plant, LOT)
    asked = [q["fact"] for q in plant.client_json("ask", case)["ask"]]
    assert asked and "propionate_ppm" not in asked, asked
    done = measure(plant, "propionate_ppm=900")
    assert "the rules compare it with the product's target or with what is usual, and there is neither: they say nothing" in words(done.stdout), done.stdout
    told = {r["quantity"]: r["mute"] for r in measured(plant, "propionate_ppm=900", "inhibitor_pct_flour=0.3")["results"]}
    assert told == {"propionate_ppm": True, "inhibitor_pct_flour": False}, told          # the second has a target


def check_refused(plant):
    """What cannot be so is refused, all of it named, and nothing is recorded."""
    before = plant.client_json("lot", LOT)["measured"]
    done = measure(plant, "crumb_ph=52", "settle_plate_cfu=4", "mold_free_days=300", "crumb_aw=0.95", check=1)
    for said in ("outside the plausible range 2.5 to 9.5 pH", "of a place of the plant", "days before that look"):
        assert said in words(done.stderr), done.stderr
    assert "was made from" in words(measure(plant, "crumb_aw=0.95", "--at", "2026-11-01", check=1).stderr)
    assert "lies ahead" in measure(plant, "crumb_aw=0.95", "--at", "2199-01-01T00:00:00Z", check=1).stderr
    assert "no record bears" in measure(plant, "crumb_aw=0.95", lot="L9 6399 Z9999", check=5).stderr
    other = log(plant, HURT)
    assert "is about another lot" in measure(plant, "crumb_aw=0.95", "--case", other, check=1).stderr
    assert "needed" in measure(plant, "crumb_aw=0.95", who=("--lab", "Northgate"), check=2).stderr
    assert plant.client_json("lot", LOT)["measured"] == before


def check_harm(plant):
    """Beside harm no cause is named."""
    case = log(plant, HURT, harm=["illness"])
    answer = measured(plant, "crumb_ph=6.4", lot=HURT)
    assert [(c["case"], c["was"], c["is"]) for c in answer["cases"]] == [(case, None, None)], answer
    letter = attach(plant, case, "letter.txt", b"Sirs,\n\nmy daughter vomited all night.\n")
    assert letter["heard"]["harm"] == ["illness"] and "heard" not in attach(
        plant, case, "report.txt", b"crumb pH 5.8, glass: none\n"), letter


def check_refused_files(plant):
    """What a file that is not attached says of harm is told to who sent it."""
    case, letter = log(plant, HURT), b"Sirs,\n\nmy daughter vomited all night.\n"
    for to, name, bytes_, code in ((case, "letter.html", b"<html><body>" + letter + b"</body></html>", 1),
                                   (case, "letter.txt", letter + b"\xff\x1b", 1), ("C99999", "letter.txt", letter, 5)):
        said = attach(plant, to, name, bytes_, check=code)
        assert "HARM" in said and "phone the food-safety lead" in said, (name, said)
    assert "HARM" not in attach(plant, "C99999", "loaf.jpg", photos.phone_photo(), check=5)
    rows = b'{"lot":"L1","quantity":"glass splinters found in the loaf","value":"she vomited all night"}\n'
    status, answer = plant.request("POST", "/v1/records/reading?source=r", rows, "application/x-ndjson")
    answer = json.loads(answer) if isinstance(answer, (str, bytes)) else answer
    assert status >= 400 and "detail" in answer and "alarm" not in answer and "harm" not in answer, answer


def check_private(plant):
    """What QA writes is without contact data, those known now and those that become known."""
    case = log(plant, LOT, contact=ANN)
    answer = measured(plant, "crumb_aw=0.95", "--note", "Ann Beeker, 555-0101, wants to know", "--case", case)
    note = answer["results"][0]["note"]
    assert "Ann" not in note and "0101" not in note and answer["results"][0]["sample"] == "26-114", answer
    measured(plant, "crumb_aw=0.96", "--note", "asked for by Zebedee Quill")
    for lab in ("Zebedee", "Quill"):  # two that are one without the name
        measured(plant, "crumb_aw=0.97", who=("--lab", lab, "--sample", "Quill 9"))
    log(plant, LOT, contact={"name": "Zebedee Quill"}, received="2026-11-21T09:14:00-05:00")
    complaints = plant.client_json("rank", case)["complaints"]
    plant.client("correct", complaints[0], "name=Zebedee Quill", "--reason", "his", check=0)
    told = shown(plant, "lot", LOT)
    assert "Quill" not in told and "Zebedee" not in told and told.count("0.97") == 2, told


# ---- photos and reports ----

def attach(plant, to, name, bytes_, check=0, by="mira"):
    path = plant.dir / name
    path.write_bytes(bytes_)
    done = plant.client("--json", "attach", to, str(path), "--by", by)
    assert done.returncode == check, (name, done)
    return json.loads(done.stdout) if check == 0 else words(done.stderr)


def given(plant, to, number):
    path = plant.dir / f"given-{number}"
    path.unlink(missing_ok=True)
    plant.client("attach", to, "--get", str(number), "--output", str(path), check=0)
    return path.read_bytes()


def attached(plant, of):
    return plant.client_json("attach", of, "--list")["attachments"]


def complaint_of(plant, lot=LOT, **more):
    status, answer = plant.post("/v1/complaints", complaint(lot=lot, **more))
    assert status in (200, 201), answer
    return answer["complaint"], answer["case"]


def check_photos(plant):
    """The picture comes back as it was; of what it told only which way is up."""
    uuid, case = complaint_of(plant)
    one = attach(plant, uuid, "loaf.jpg", photos.phone_photo())
    assert one["type"] == "image/jpeg" and one["complaint"] == uuid and one["removed"] > 100, one
    back = given(plant, uuid, one["attachment"])
    assert b"GPS" not in back and b"Ann" not in back, back
    before, picture = photos.segments(photos.jpeg())
    found, follows = photos.segments(back)
    assert follows == picture and sorted(s for s in found if s[0] != 0xE1) == sorted(before), found
    assert [body for marker, body in found if marker == 0xE1] == [
        b"Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06" + bytes(6)], found
    shot = attach(plant, case, "screen.png", photos.screenshot())
    assert given(plant, case, shot["attachment"]) == photos.png() and shot["case"] == case, shot
    assert [a["attachment"] for a in attached(plant, case)] == [one["attachment"], shot["attachment"]]
    assert [a["attachment"] for a in attached(plant, uuid)] == [one["attachment"]]
    assert attach(plant, uuid, "again.jpg", photos.phone_photo())["again"] is True
    history = [e["what"] for e in plant.client_json("history", case)["events"]]
    assert history.count("attached") >= 2, history
    assert "loaf.jpg" in shown(plant, "attach", case, "--list")


def check_kinds(plant):
    """By what it holds, not by its name; what cannot be read to its end is refused, and nothing is left of it."""
    case = log(plant, LOT)
    before = attached(plant, case)
    script = b"<!DOCTYPE html><html><script>alert(1)</script></html>"
    for name, bytes_, said in (
            ("loaf.jpg", script, "text/html"), ("loaf.png", b"MZ" + bytes(200), "whatever it is called"),
            ("torn.jpg", photos.phone_photo()[:-120], "cannot be read as a JPEG"), ("empty.txt", b"", "empty"),
            ("torn.png", photos.screenshot()[:60], "cannot be read as a PNG"), ("torn.pdf", photos.PDF[:-7], "as a PDF"),
            ("run.sh", b"#!/bin/sh\nrm -rf /\n", "shellscript"), (".hidden", b"text\n", "a dot before it"),
            ("latin.txt", "caf\u00e9, au lait, tr\u00e8s bon\n".encode("latin-1") * 3, "UTF-8"),
            ("big.txt", b"crumb pH 5.9\n" * (11 << 20 >> 3), "larger than 10 MB")):
        assert said in attach(plant, case, name, bytes_, check=1), name
    assert attached(plant, case) == before
    kinds = [attach(plant, case, name, bytes_)["type"] for name, bytes_ in (
        ("assay", photos.PDF), ("notes.txt", b"crumb pH 5.9\nsee page 2\n"), ("plates.csv", b"plate,cfu\n1,40\n2,55\n"),
        ("photo.pdf", photos.jpeg()))]
    assert kinds == ["application/pdf", "text/plain", "text/csv", "image/jpeg"], kinds
    assert given(plant, case, attached(plant, case)[-4]["attachment"]) == photos.PDF


def check_served(plant):
    """As a file to keep, never as a page of ours."""
    case = log(plant, LOT)
    name = attach(plant, case, "r\u00f6 \"1\".txt", b"crumb pH 5.8\n")
    connection = UnixConnection(plant.socket)
    connection.request("GET", f"/v1/attachments/{name['attachment']}")
    answer = connection.getresponse()
    assert answer.read() == b"crumb pH 5.8\n"
    head = {k.lower(): v for k, v in answer.getheaders()}
    connection.close()
    assert head["content-type"] == "text/plain; charset=utf-8" and head["x-content-type-options"] == "nosniff", head
    assert head["content-disposition"] == "attachment; filename*=UTF-8''r%C3%B6%20%221%22.txt", head
    assert head["content-security-policy"] == "sandbox; default-src 'none'" and head["cache-control"] == "no-store", head


def check_detached(plant):
    case = log(plant, LOT)
    one = attach(plant, case, "wrong.txt", b"another case\n")["attachment"]
    assert "--reason" in plant.client("attach", case, "--detach", str(one), check=2).stderr
    plant.client("attach", case, "--detach", str(one), "--reason", "another case", "--by", "jo", check=0)
    assert one not in [a["attachment"] for a in attached(plant, case)]
    event = [e for e in plant.client_json("history", case)["events"] if e["what"] == "detached"][-1]
    assert (event["by"], event["was"], event["why"]) == ("jo", "wrong.txt", "another case"), event
    assert "no attachment" in plant.client("attach", case, "--detach", str(one), "--reason", "x", check=5).stderr


def on_disk(plant, bytes_):
    return [p.name for p in plant.state.rglob("*") if p.is_file() and bytes_ in p.read_bytes()]


def check_erased(plant):
    """With the caller's contact data, from the disk as well; a torn upload leaves nothing at all."""
    mark = b"SEEN BY NOBODY ELSE 7361"
    uuid, _ = complaint_of(plant, contact={"name": "Ida Quernstone", "phone": "555-0177"})
    attach(plant, uuid, "ida.txt", mark + b"\n")
    assert on_disk(plant, mark), "it is kept nowhere"
    plant.client("erase", "Ida Quernstone", "--yes", check=0)
    assert attached(plant, uuid) == [] and on_disk(plant, mark) == [], on_disk(plant, mark)
    torn = b"TORN ON ITS WAY 9152"
    status, _ = plant.request("POST", "/v1/attachments/parts?upload=0199a000-0000-7000-8000-0000000000aa&part=0", torn,
                              "application/octet-stream")
    assert status == 200 and on_disk(plant, torn) == []


def check_export(plant):
    """A fresh daemon takes it again, all but the case, which has another number there."""
    def results(of):
        return [{**m, "case": None} for m in of.client_json("lot", LOT)["measured"]]

    folder = plant.dir / "out"
    plant.client("export", str(folder), check=0)
    lines = [json.loads(line) for line in (folder / "measured.ndjson").read_text().splitlines()]
    stands = [(m["quantity"], m["said"]) for m in plant.client_json("lot", LOT)["measured"]]
    assert sorted((r["quantity"], r["value"]) for line in lines if line["lot"] == LOT
                  for r in line["results"]) == sorted(stands), lines
    assert "typed wrong" in (folder / "measured.csv").read_text()
    done = plant.client("measure", "--from", str(folder / "measured.ndjson"), check=0)
    assert done.stdout.count("sample") == len(lines), done.stdout
    with Plant(sys.argv[1]) as fresh:
        fresh.load_small()
        fresh.client("log", "--from", str(folder / "complaints.ndjson"), check=0)
        fresh.client("attach", "--from", str(folder / "attached.ndjson"), check=0)
        mine = [json.loads(line) for line in (folder / "attached.ndjson").read_text().splitlines()]
        hashes = [sorted((a["sha256"], a["name"]) for word in {m["to"] for m in mine}
                         for a in attached(of, of.client_json("complaint", word)["case"])) for of in (plant, fresh)]
        assert mine and hashes[0] == hashes[1], hashes
        fresh.client("measure", "--from", str(folder / "measured.ndjson"), check=0)
        assert results(fresh) == results(plant)


def sheet_of(plant, case):
    path = plant.dir / "sheet.html"
    path.unlink(missing_ok=True)
    plant.client("rank", case, "--html", str(path), check=0)
    return path.read_text()


def check_sheet(plant):
    """A case's page has its results, what is attached, and who follows it up; one of other things what was said."""
    uuid, case = complaint_of(plant, contact={"name": "Odile Farrow"}, lot="L1 6317 A1200")
    measured(plant, "crumb_ph=5.9", "--note", "twice", lot="L1 6317 A1200", who=("--lab", "Eastbank", "--sample", "E7"))
    attach(plant, uuid, "report.txt", b"BYTES OF THE FILE\n")
    plant.wait_idle()
    plant.client("follow", case, "--owner", "Mira", "--due", "2026-12-24", check=0)
    page = sheet_of(plant, case)
    for said in ("Eastbank, sample E7", "report.txt", "text/plain", "<dd>Mira</dd>", "2026-12-24", "owned, not settled"):
        assert said in page, said
    assert "BYTES OF" not in page and "Farrow" not in page
    told = shown(plant, "complaint", uuid)
    assert "report.txt, text/plain, 18 bytes" in told and told.endswith(f"Next: oddloaf rank {case}"), told
    for harm in ([], ["illness"]):
        uuid, case = complaint_of(plant, symptom="other", lot="L1 6319 A0400" if harm else "", harm=harm,
                                  note="half <the> weight; call 555-013-4711", contact={"phone": "555-013-4711"})
        page = sheet_of(plant, case)
        assert "half &lt;the&gt; weight" in page and not tells_phone(page, "013-4711") and "no picture" not in page, page


CHECKS = (check_evidence, check_word, check_unknown, check_mute, check_refused, check_harm, check_refused_files, check_private, check_photos,
          check_kinds, check_served, check_detached, check_sheet, check_erased, check_export)


def main():
    with Plant(sys.argv[1]) as plant:
        plant.load_small()
        for check in CHECKS:
            if len(sys.argv) < 3 or sys.argv[2] in check.__name__:
                check(plant)


main()
