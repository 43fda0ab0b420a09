"""What people of one plant ask and are told of what no plant's records bear yet: codes that are held before their lot is
loaded, codes of which a part was read. Checks of test_plants.py, whose company they are given."""
import json
from urllib.parse import quote

from oddloaf import complaint

CODE = "L1 6355 A0400"  # no lot's yet


def holds_of(company, who):
    return json.loads(company.ask(who, "GET", "holds")[1])["holds"]


def held_of_code(company, who, code=CODE):
    """As its lists and its lot tell it: of each its number, reason and who, which have to agree."""
    listed = {(h["hold"], h["reason"], h["by"]) for h in holds_of(company, who) if h["lot"] == code}
    got, text = company.ask(who, "GET", "lots/" + quote(code))
    told = {(h["hold"], h["reason"], h["by"]) for h in json.loads(text).get("holds", [])} if got == 200 else set()
    assert listed == told, (who, listed, told)
    return listed


def check_holds_of_codes(company, own, other):
    """A code that no lot bears yet, held in two plants: each plant's people see and end what is theirs, the company's all."""
    body = {plant: {"lots": [CODE], "reason": f"glass seen in {plant}", "by": f"person of {plant}"} for plant in (own, other)}
    secret = [f"glass seen in {own}", f"person of {own}"]
    end = {"lots": [CODE], "reason": "looked at", "by": "jo", "disposition": "release", "all": True}
    company.do(f"qa@{own}", "lots/hold", body[own])
    assert {h[1] for h in held_of_code(company, f"qa@{own}")} == {secret[0]}
    found = json.loads(company.ask(f"qa@{own}", "GET", "found?word=glass%20seen")[1])
    assert secret[0] in json.dumps(found), found
    assert company.ask(f"qa@{other}", "POST", "lots/release", end)[0] == 404
    for path, asked in (("lots/hold", body[other]), ("lots/hold", body[other]), ("lots/release", {**end, "hold": "H999"})):
        got, text = company.ask(f"qa@{other}", "POST", path, asked)
        assert got == (200 if path == "lots/hold" else 409) and not any(s in text for s in secret), text
    assert not any(s in company.ask(f"qa@{other}", "GET", path)[1] for s in secret for path in ("holds", "found?word=glass%20seen"))
    assert len(held_of_code(company, f"qa@{other}")) == 1 and len(held_of_code(company, "qa")) == 2
    company.do(f"qa@{other}", "lots/release", end)
    assert not held_of_code(company, f"qa@{other}") and len(held_of_code(company, f"qa@{own}")) == 1
    number = next(iter(held_of_code(company, "qa")))[0]
    company.do("qa", "lots/hold", {"lots": [CODE], "reason": "the company's", "by": "cora"})
    assert len(held_of_code(company, f"qa@{own}")) == 1 and len(held_of_code(company, "qa")) == 2
    company.do("qa", "lots/release", {**end, "all": False, "hold": number})
    assert not held_of_code(company, f"qa@{own}") and len(held_of_code(company, "qa")) == 1
    company.do("qa", "lots/release", end)


def check_half_read_codes(company, own, other, line):
    """A code of which a part was read fits lots of both plants: each plant's people are told of theirs, with the weight that
    it has among all, and that there are others; what is read out of records is their own lot's."""
    says, code = "lots of other plants fit", "L? 6318 ??800"
    one = complaint(code, note="it is furry")
    preview = {k: v for k, v in one.items() if k != "id"}
    for plant in (own, other):
        told = [company.do(f"desk@{plant}", "complaints/preview", preview)]
        if plant == own:
            told.append(company.do(f"desk@{plant}", "complaints", one))
            company.wait_idle()
            told.append(json.loads(company.ask(f"desk@{plant}", "GET", f"cases/{told[1]['case']}")[1]))
        told.append(json.loads(company.ask(f"desk@{plant}", "GET", "lots/" + quote(code))[1]))
        for answer in told:
            lots = {lot["lot"]: lot["weight"] for lot in answer["lots"]}
            assert lots and all(lot.startswith(f"L{line[plant]} ") for lot in lots), (plant, lots)
            assert answer["lot"] is None and max(lots.values()) < 0.6 and says in answer["lot_says"], answer
            assert f"L{3 - int(line[plant])} 63" not in json.dumps(answer), (plant, answer)
    whole = json.loads(company.ask("qa", "GET", f"cases/{told_case(company, one)}")[1])
    assert {lot["lot"][:2] for lot in whole["lots"]} == {"L1", "L2"} and says not in whole["lot_says"], whole


def told_case(company, one):
    return json.loads(company.ask("qa", "GET", "complaints/" + one["id"])[1])["case"]
