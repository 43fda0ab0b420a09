"""How sure a lot is, from the desk to the mail: one lot is told alone only where it is exact or likely,
a code on no record is said to be that, and lots that come later set all right.

usage: test_standing.py BINARIES [COMPLAINTS]"""
import email
import email.policy
import json
import random
import sys
import time

from oddloaf import Plant, complaint, lot_rows

COMPLAINTS = int(sys.argv[2]) if len(sys.argv) > 2 else 300
HOT = "L1 6318 A0400"
PROGRAM = "#!/bin/sh\nmail=$(mktemp {box}/.XXXXXX)\ncat >$mail\nmv $mail {box}/$(basename $mail | cut -c2-).eml\n"


class Post:
    """A plant that writes its mails into a folder."""

    def __init__(self):
        self.plant = Plant(sys.argv[1])
        self.box = self.plant.dir / "box"
        self.box.mkdir()
        program = self.plant.dir / "mail-program"
        program.write_text(PROGRAM.format(box=self.box))
        program.chmod(0o755)
        self.plant.config["mail"] = {"program": str(program), "from": "oddloaf@mill.example",
                                     "to": ["qa@mill.example"], "urgent_to": ["lead@mill.example"]}
        self.read = set()

    def __enter__(self):
        self.plant.start()
        return self

    def __exit__(self, *_):
        self.plant.__exit__()

    def new(self):
        """Mails since the last call, all the plant's work done: (to, subject, plain, html). What they change of
        cases beside theirs is another matter, told in a summary."""
        self.plant.wait_idle()
        found = []
        for path in sorted(self.box.glob("*.eml"), key=lambda p: p.stat().st_mtime_ns):
            if path in self.read:
                continue
            self.read.add(path)
            m = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
            if m["Subject"].endswith("than mailed"):
                continue
            found.append((m["To"], m["Subject"], " ".join(m.get_body(("plain",)).get_content().split()),
                          m.get_body(("html",)).get_content()))
        return found

    def log(self, **more):
        status, answer = self.plant.post("/v1/complaints", complaint(**more))
        assert status == 201, answer
        return answer


def lots_of(day, rows):
    """The header and the rows of one day of the year."""
    lines = rows.splitlines()
    return "\n".join([lines[0]] + [line for line in lines[1:] if f" 6{day:03d} " in line]) + "\n"


def without(days, rows):
    lines = rows.splitlines()
    return "\n".join([lines[0]] + [line for line in lines[1:]
                                   if not any(f" 6{day:03d} " in line for day in days)]) + "\n"


def load(plant, lots):
    from oddloaf import PRODUCTS, TARGETS
    for kind, text in (("products", PRODUCTS), ("targets", TARGETS), ("lots", lots)):
        plant.load_text(kind, text)


def check_not_on_record():
    """Lots end on day 318: a clear code of day 320 is that, in the answer and in both mails, and its
    lot's records put all right when they come."""
    rows, _ = lot_rows()
    with Post() as post:
        plant = post.plant
        load(plant, without(range(319, 400), rows))
        code = "L1 6320 A0400"
        answer = post.log(lot=code, harm=["illness"], found_on="2026-11-19")
        assert answer["lot"] is None and answer["lot_state"] == "not-on-record", answer
        assert answer["lot_text"] == code and code in answer["lot_says"], answer
        assert "after the last lots loaded, which end on 2026-11-14" in answer["lot_says"], answer
        mails = post.new()
        assert sorted(to for to, *_ in mails) == ["lead@mill.example", "qa@mill.example"], mails
        for _, subject, plain, html in mails:
            assert f"{code}, not on record" in subject, subject
            for body in (plain, " ".join(html.split())):
                assert f"{code} is on no record" in body and "after the last lots loaded" in body, body
                assert "L1 6316" not in body, "a neighbour is named"
        for words in (("rank", answer["case"]), ("why", answer["case"]), ("reach", answer["case"]),
                      ("lot", code)):
            out = " ".join(plant.client(*words, check=0).stdout.split())
            assert f"{code} is on no record" in out, (words, out)
        case = plant.client_json("cases")["cases"][0]
        assert case["lot"] is None and case["lot_state"] == "not-on-record", case
        assert f"{code}, not on" in plant.client("cases").stdout

        may_be = post.log(lot="L1 6320 A0800", harm_possible=True)
        assert [to for to, *_ in post.new()] == ["lead@mill.example", "qa@mill.example"]

        plant.load_text("lots", lots_of(320, rows))
        mails = post.new()
        of_other = [(to, subject) for to, subject, *_ in mails if may_be["case"] in subject]
        assert ("lead@mill.example", f"[Harrow Mill Bakery] To read {may_be['case']}: a complaint may speak of harm, "
                f"L1 6320 A0800") in of_other, of_other
        assert not any("harm_possible" in plain for _, _, plain, _ in mails), "a word of the program's"
        mails = [one for one in mails if may_be["case"] not in one[1]]
        one = plant.client_json("rank", answer["case"])
        assert one["case"] == answer["case"] and one["lot"] == code and one["lot_state"] == "exact", one
        assert sorted(to for to, *_ in mails) == ["lead@mill.example", "qa@mill.example"], mails
        assert all(f"{code}: the code read is on record" in plain for _, _, plain, _ in mails), mails
        assert any("its lot is known now" in plain for _, _, plain, _ in mails), mails
        kept = plant.get("/v1/complaints/" + answer["complaint"])[1]
        assert [(c["field"], c["was"], c["is"], c["by"]) for c in kept["changes"]] == [
            ("lot", None, code, "oddloaf"), ("lot_state", "not-on-record", "exact", "oddloaf")], kept
        assert all(c["at"] and c["reason"] for c in kept["changes"])


def check_no_single_lot():
    """Product and date alone, or nothing legible: no text names one lot."""
    rows, _ = lot_rows()
    with Post() as post:
        load(post.plant, rows)
        answer = post.log(lot="", product="W24", code_date="2026-11-24", harm=["illness"])
        assert answer["lot"] is None and answer["lot_state"] == "several", answer
        assert answer["lot_text"] is None and len(answer["lots"]) >= 4, answer
        assert answer["lots"][0]["weight"] < 0.4, answer
        mails = post.new()
        assert len(mails) == 2
        for _, subject, plain, html in mails:
            assert "one of several lots" in subject and "L1 6318" not in subject, subject
            for body in (plain, html):
                for lot in answer["lots"][:4]:
                    assert lot["lot"] in body, (lot, body)
                assert "time of packing in the code" in body and "photo of it" in body, body
        shown = post.plant.client("log", "--symptom", "mold", "--lot", "L? ???? ?????",
                                  "--received-at", "2026-11-20T09:14:00-05:00", check=0).stdout
        assert "not known; the code as read: L? ???? ?????" in shown and "L1 6" not in shown, shown
        for to, subject, plain, html in post.new():
            assert "lot not known" in subject and "L1 6" not in plain and "L1 6" not in html, plain


def check_doubts():
    """What the records contradict is said with every answer, and unknown names weigh nothing."""
    rows, _ = lot_rows()
    with Post() as post:
        plant = post.plant
        load(plant, rows)
        plant.load_text("dispatch", "lot,route,store,at,units\n" + "".join(
            f"{HOT},R1,{store},2026-11-14T06:00:00-05:00,2500\n" for store in ("0417", "0418")))
        for more, field, says in (
                ({"found_on": "2026-11-01"}, "found_on", "before lot L1 6318 A0400 was packed, on 2026-11-14"),
                ({"bought_on": "2026-11-10"}, "bought_on", "before lot L1 6318 A0400 was packed"),
                ({"product": "NOPE"}, "product", "no product of that code or name is on record"),
                ({"product": "B08"}, "product", "lot L1 6318 A0400 is W24"),
                ({"store": "9999"}, "store", "no dispatch on record went there"),
                ({"route": "R9"}, "route", "no dispatch on record went there"),
                ({"code_date": "2026-11-20"}, "code_date", "lot L1 6318 A0400 is best by 2026-11-24")):
            one = complaint(**{"lot": HOT, "found_on": "2026-11-19", **more})
            preview = plant.post("/v1/complaints/preview", one)[1]
            status, answer = plant.post("/v1/complaints", one)
            assert status == 201, answer
            assert answer["doubts"] == preview["doubts"], (preview, answer)
            assert any(d["field"] == field and says in d["says"] for d in answer["doubts"]), (more, answer["doubts"])
            if "on record" in says:  # a name no record knows weighs nothing
                assert answer["lot_state"] == "exact", (more, answer)
            else:
                assert answer["lot_state"] == "exact" or answer["lot"] is None, (more, answer)
        check_called(post)
        shown = plant.client("log", "--symptom", "mold", "--lot", HOT, "--product", "NOPE",
                             "--received-at", "2026-11-20T09:14:00-05:00", check=0).stdout
        assert "in doubt        Product told NOPE: no product of that code" in shown, shown
        row = json.dumps(complaint(product="NOPE")) + "\n"
        shown = plant.client("log", "--from", "-", stdin=row, check=0).stdout
        assert "in doubt: Product told NOPE" in shown, shown
        post.new()
        last = post.log(lot="L1 6319 A0800", harm=["illness"], store="9999")
        mails = post.new()
        assert sorted(to for to, *_ in mails) == ["lead@mill.example", "qa@mill.example"], mails
        assert all("Store 9999: no dispatch on record" in plain for _, _, plain, _ in mails), mails
        ranked = plant.client_json("rank", last["case"])
        assert [(d["field"], d["complaint"]) for d in ranked["doubts"]] == [("store", last["complaint"])], ranked
        assert "Store 9999: no dispatch on record" in " ".join(
            plant.client("rank", last["case"], check=0).stdout.split())


def check_called(post):
    """Products and stores as people call them are those on record; what fits several is told, to pick from."""
    plant = post.plant
    plant.load_text("products", "product,name,family,shelf_life_days,unit_g,also\n"
                    "W24,Mill Wheat Loaf,pan-bread,10,680,WHL; Old Mill\nW20,Mill Wheat Half,pan-bread,10,340,\n")
    for said, store in (("wheat loaf", "store 417"), ("Old Mill", "417"), ("whl", "#0418")):
        one = complaint(lot_text=HOT, product=said, store=store, channel="store")
        status, answer = plant.post("/v1/complaints", one)
        assert status == 201 and answer["doubts"] == [] and answer["lot_state"] == "exact", answer
        whole = plant.client_json("complaint", one["id"])
        assert whole["sent"]["product"] == said and whole["sent"]["store"] == store, "as it was said"
    found = plant.client_json("find", "--store", "0417")["complaints"]
    assert {row["store"] for row in found} >= {"store 417", "417"}, found
    several = plant.post("/v1/complaints/preview", complaint(lot_text="", product="mill wheat"))[1]
    doubt, = several["doubts"]
    assert "fits W20 (Mill Wheat Half), W24 (Mill Wheat Loaf)" in doubt["says"], doubt
    assert [c["value"] for c in doubt["choices"]] == ["W20", "W24"], doubt
    listed = plant.client_json("cases", "--product", "mill wheat")
    assert [p["product"] for p in listed["products"]] == ["W20", "W24"] and listed["cases"], listed
    by_old, by_code = ([c["case"] for c in plant.client_json("cases", "--product", said)["cases"]] for said in ("WHL", "W24"))
    assert by_old == by_code, (by_old, by_code)
    assert plant.client_json("cases", "--product", "pan-bread")["family"] == "pan-bread"
    refused = plant.client("cases", "--product", "rye", check=1)
    assert "no product on record is so called" in refused.stderr, refused.stderr
    lot = plant.client_json("lot", HOT)
    assert [n["side"] for n in lot["neighbours"]] == sorted((n["side"] for n in lot["neighbours"]), reverse=True)
    assert lot["cases"][0]["symptom"] == "mold" and lot["neighbours"] and lot["samples"] == [], lot
    shown = plant.client("lot", HOT, check=0, env={"COLUMNS": "80"}).stdout
    for word in ("\nCases\n", "Beside it on its line", lot["cases"][0]["case"], lot["neighbours"][0]["lot"]):
        assert word in shown, (word, shown)
    plant.load_text("readings", f"lot,quantity,value,at\n{HOT},crumb_ph,5.2,2026-11-14T06:00:00-05:00\n"
                                f"{HOT},mold_free_days,8,2026-11-22T06:00:00-05:00\n")
    plant.load_text("readings", f"lot,quantity,value,at\n{HOT},crumb_ph,5.9,2026-11-14T06:00:00-05:00\n")
    changed = [e for e in plant.client_json("history", HOT)["events"] if e["what"] == "record changed"]
    assert [(e["kind"], e["field"], e["was"], e["is"]) for e in changed] == [("readings", "value", "5.2", "5.9")], changed
    assert changed[0]["row"] == "crumb_ph, 2026-11-14T06:00:00-05:00", changed
    shown = plant.client("history", HOT, check=0, env={"COLUMNS": "120"}).stdout
    assert "record changed: readings" in shown and "value (crumb_ph," in shown and "{" not in shown, shown
    assert plant.client_json("lot", HOT)["samples"][0]["value"] == 8


def check_other():
    """What is of no kind that has causes is kept, counted and settled, and nothing ranks it; a wrong label is harm."""
    rows, _ = lot_rows()
    with Post() as post:
        plant = post.plant
        load(plant, rows)
        one = complaint(lot_text=HOT, symptom="other", note="feels underweight")
        status, answer = plant.post("/v1/complaints", one)
        assert status == 201 and answer["ranked"] == [] and answer["ask"] == [] and answer["harm"] == [], answer
        told = plant.client_json("rank", answer["case"])
        assert told["symptom"] == "other" and told["ranked"] == [] and told["complaints"] == [one["id"]], told
        assert plant.client_json("lot", HOT)["cases"][0]["symptom"] == "other"
        refused = plant.client("why", answer["case"])
        assert refused.returncode and "none of the kinds that have causes" in refused.stderr, refused
        plant.wait_idle()
        told = post.new()
        assert len(told) == 1 and f"{answer['case']} other" in told[0][1], told
        week = plant.client_json("week", "2026-W47")
        assert week["other"] == 1 and sum(week["complaints"].values()) == 0, week["complaints"]
        assert "And 1 complaint of other things" in " ".join(plant.client("week", "2026-W47", check=0).stdout.split())
        for span in ("2026-11", "2026-Q4"):
            assert plant.client_json("week", span)["other"] == 1, span
            assert "And 1 complaint of other things" in " ".join(plant.client("week", span, check=0).stdout.split())
        assert plant.client_json("week", "2026-10")["other"] == 0
        refused = plant.client("settle", answer["case"], "packed-hot", "--confirmed-by", "judgement")
        assert "is not a cause of other" in refused.stderr, refused.stderr
        plant.client("settle", answer["case"], "not-known", "--confirmed-by", "judgement", check=0)
        label = complaint(lot_text=HOT, symptom="other", note="the wrong label is on it, it says rye")
        status, answer = plant.post("/v1/complaints", label)
        assert status == 201 and answer["harm"] == ["wrong-label"] and answer["script"], answer
        assert any("HARM" in subject.upper() for _, subject, _, _ in post.new())
        plant.client_json("correct", label["id"], "symptom=mold", "--reason", "said so")
        plant.client("status", "--recount", check=0)


def check_changed_lots():
    """A lot's units and dates change which lot is meant: what is not exact is looked for again, and a
    case that turns out to be another's becomes part of it, told and on record."""
    rows, _ = lot_rows(lots_a_day=2)
    with Post() as post:
        plant = post.plant
        load(plant, rows)
        first = post.log(lot=HOT, found_on="2026-11-19")
        several = post.log(lot="", product="W24", code_date="2026-11-24")
        assert several["lot_state"] == "several" and several["case"] != first["case"], several
        post.new()
        row = [line for line in rows.splitlines() if line.startswith(HOT)][0]
        plant.load_text("lots", rows.splitlines()[0] + "\n" + row.replace(",5000,", ",5000000,") + "\n")
        mails = post.new()
        kept = plant.get("/v1/complaints/" + several["complaint"])[1]
        assert kept["lot"] == HOT and kept["lot_state"] == "likely" and kept["case"] == first["case"], kept
        assert any("another case was found to be about this lot" in plain for _, _, plain, _ in mails), mails
        ranking = plant.client_json("rank", several["case"])
        assert ranking["case"] == first["case"] and ranking["moved_here"] == [several["case"]], ranking
        assert ranking["lot_state"] == "exact" and len(ranking["complaints"]) == 2, ranking
        assert ("case", several["case"], first["case"]) in [
            (c["field"], c["was"], c["is"]) for c in kept["changes"]], kept
        # its best-by date was wrong: nothing speaks for it any more, though it was placed
        plant.load_text("lots", rows.splitlines()[0] + "\n" + row.replace("2026-11-24", "2026-12-24") + "\n")
        post.new()
        kept = plant.get("/v1/complaints/" + several["complaint"])[1]
        assert kept["lot"] != HOT and kept["case"] != first["case"], kept
        assert plant.get("/v1/complaints/" + first["complaint"])[1]["lot"] == HOT, "exact stays"


def smudged(dice, code):
    """One character that cannot be read."""
    at = dice.choice([i for i, c in enumerate(code) if c != " "])
    return code[:at] + "?" + code[at + 1:]


def check_many():
    """A tenth of the complaints is about lots that are not loaded yet: none is told as another lot,
    and in the end all are on the right one. The desk does not wait for that."""
    dice = random.Random(9)
    rows, _ = lot_rows(days=40, start=(2026, 10, 10))
    codes = [line.split(",")[0] for line in rows.splitlines()[1:]]
    late = {day for day in range(313, 330)}
    later = [c for c in codes if int(c[4:7]) in late]
    there = [c for c in codes if int(c[4:7]) not in late]
    truth, lines = {}, []
    for n in range(COMPLAINTS):
        code = dice.choice(later if n % 10 == 0 else there)
        text = code if n % 10 == 0 or dice.random() < 0.7 else smudged(dice, code)
        day = int(code[4:7])
        import datetime
        received = datetime.date(2026, 1, 1) + datetime.timedelta(days=day - 1 + dice.randrange(4, 9))
        more = {"product": "W24"} if dice.random() < 0.5 else {}
        if dice.random() < 0.4:
            best = datetime.date(2026, 1, 1) + datetime.timedelta(days=day - 1 + 10)
            more["code_date"] = str(best)
        one = complaint(lot=text, received=f"{min(received, datetime.date(2026, 11, 28))}T09:14:00-05:00",
                        symptom=("mold", "staling")[n % 2], **more)
        truth[one["id"]] = (code, text == code, n % 10 == 0)
        lines.append(json.dumps(one))
    with Post() as post:
        plant = post.plant
        plant.config["mail"] = {"program": ""}
        plant.stop()
        plant.start()
        load(plant, without(late, rows))
        told = [json.loads(line) for line in plant.request(
            "POST", "/v1/complaints?rank=0", "\n".join(lines).encode(),
            "application/x-ndjson")[1].splitlines()]
        for answer in told:
            code, _, missing = truth[answer["complaint"]]
            if missing:
                assert answer["lot"] is None and answer["lot_state"] == "not-on-record", answer
            else:
                assert answer["lot"] in (None, code), (code, answer)
        start = time.time()
        plant.load_text("lots", rows)
        took = time.time() - start
        slowest = 0
        while plant.get("/v1/status")[1]["work"]["rematch"]:
            start = time.time()
            plant.post("/v1/complaints/preview", complaint(lot=HOT))
            slowest = max(slowest, time.time() - start)
        plant.wait_idle(300)
        for uuid, (code, whole, missing) in truth.items():
            kept = plant.get("/v1/complaints/" + uuid)[1]
            if whole:
                assert kept["lot"] == code and kept["lot_state"] == "exact", (code, kept)
            else:
                assert kept["lot"] in (None, code), (code, kept)
        assert took < 60 and slowest < 20, (took, slowest)
        print(f"{COMPLAINTS} complaints, {sum(m for _, _, m in truth.values())} not on record at first: "
              f"load {took:.2f} s, slowest preview meanwhile {slowest:.2f} s")


def main():
    for check in (check_other, check_not_on_record, check_no_single_lot, check_doubts, check_changed_lots, check_many):
        check()
        print(check.__name__, "ok")


main()
