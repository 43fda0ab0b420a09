"""People of one plant of a company see that plant alone: every route of the daemon's table is asked as each of
them about another plant's lots, cases, complaints, callers, files, holds and actions, and its answer searched for
whatever is that plant's. What one may not see is answered in the words of what does not exist.

    test_plants.py BUILD_FOLDER
"""
import csv
import hashlib
import json
import os
import pathlib
import re
import subprocess
import sys
import uuid

from kept_apart import check_half_read_codes, check_holds_of_codes
from oddloaf import ROOT, complaint, lot_rows, PRODUCTS, TARGETS
from remote import Remote
from routes import routes
from oddloaf import Plant, until

BINARIES = pathlib.Path(sys.argv[1])
OWN, OTHER = "Larkfen", "Quarrhill"
PEOPLE = [f"{role}@{OWN}" for role in ("desk", "qa", "manager")]
ALL = ["desk", "qa", "manager", "admin", *PEOPLE, f"qa@{OTHER}", f"desk@{OTHER}"]
NAME = {who: f"person {n}" for n, who in enumerate(ALL)}
LINE = {OWN: "1", OTHER: "2"}
MADE = {OWN: "L1 6318 A0400", OTHER: "L2 6318 B0800"}
WORD = {OWN: "larkword", OTHER: "quarrword"}
PHONE = {OWN: "607 555 0142", OTHER: "607 555 0199"}
CALLER = {OWN: "Ottilie Larkin", OTHER: "Zebedee Quarring"}
NEVER = {"case": "C977", "lot": "L2 6319 B0811", "complaint": str(uuid.uuid4()), "file": "977", "action": "977"}


class Company(Remote):
    def __init__(self):
        plants = {OWN: {"title": "The Larkfen Bakery"}, OTHER: {
            "settle_lot_at": 97, "time_zone": "America/Chicago", "mail": {"to": ["qa@quarrhill.example"], "urgent_to": ["safety@quarrhill.example"]}}}
        super().__init__(BINARIES, config={"plants": plants, "plant": "Two Mills", "limits": {"idle_s": 3600}})
        tokens = {hashlib.sha256(f"token of {who}".encode()).hexdigest(): {"role": who, "name": NAME[who]} for who in ALL}
        (self.dir / "tokens.json").write_text(json.dumps(tokens))
        self.open = {}
        program = self.dir / "sendmail"  # keeps each mail, its recipient before it
        (self.dir / "mails").mkdir()
        program.write_text(f"""#!/bin/sh
for to; do :; done
file=$(mktemp {self.dir}/mails/XXXXXX)
{{ echo "$to"; cat; }} >"$file" """)
        program.chmod(0o755)
        self.config["mail"] = {"program": str(program), "to": ["qa@twomills.example"], "cases_apart": 3,
                               "urgent_to": ["safety@twomills.example"]}

    def ask(self, who, method, path, body=None, type_="application/json"):
        """Status and text."""
        if who not in self.open:
            self.open[who] = self.by_token(who)
        data = json.dumps(body) if isinstance(body, (dict, list)) else body
        headers = {"Authorization": "Bearer " + f"token of {who}"}
        if method == "POST":
            headers["Content-Type"] = type_
        self.open[who].request(method, "/v1/" + path, body=data if method == "POST" else None, headers=headers)
        answer = self.open[who].getresponse()
        return answer.status, answer.read().decode(errors="replace")

    def do(self, who, path, body, status=(200, 201)):
        got, text = self.ask(who, "POST", path, body)
        assert got in status, (who, path, got, text)
        return json.loads(text)

    # ---- what there is ----
    def fill(self):
        self.load_text("products", PRODUCTS)
        self.load_text("targets", TARGETS)
        lots, readings = lot_rows(days=30)
        for plant in (OWN, OTHER):
            rows = lots.splitlines()
            own = [rows[0] + ",plant"] + [self.of(plant, row) + "," + plant for row in rows[1:]]
            self.load_text("lots", "\n".join(own) + "\n")
            self.load_text("readings", self.of(plant, readings))
            self.load_text("uses", "lot,material,material_lot,amount,unit,mix,supplier\n"
                           f"{MADE[plant]},film,F-0911,12,kg,,Tern Film\n"
                           + self.of(plant, "L1 6318 A0800,film,F-0911,12,kg,,Tern Film\n"))
        return {plant: self.fill_plant(plant) for plant in (OTHER, OWN)}

    @staticmethod
    def of(plant, text):
        if plant == OWN:
            return text
        return re.sub(r",W24,1,", ",W24,2,", re.sub(r"L1 (\d{4}) A", r"L2 \1 B", text))

    def fill_plant(self, plant):
        """All kinds of things of that plant, by people of the company; their names."""
        word, lot = WORD[plant], MADE[plant]
        one = complaint(lot, note=f"green {word} spots", reference=f"T-{word}", store=f"store {word}",
                        contact={"name": CALLER[plant], "phone": PHONE[plant]})
        case = self.do("desk", "complaints", one)["case"]
        harm = complaint(self.of(plant, "L1 6318 A0800"), harm=["illness"], note=f"ill of {word}")
        harmed = self.do("desk", "complaints", harm)["case"]
        twin = complaint(lot, same_as=one["id"], note=f"again {word}")
        self.do("desk", "complaints", twin)
        self.do("qa", f"cases/{case}/follow", {"by": word, "owner": word, "note": f"asked {word}"})
        self.do("qa", f"cases/{case}/follow", {"by": word, "call_back": "2099-01-01", "complaint": one["id"]})
        self.do("qa", "lots/hold", {"lots": [lot], "reason": f"held {word}", "by": word, "case": case})
        self.do("qa", "lots/measure", {"lot": lot, "by": word, "lab": word, "sample": word,
                                       "results": [{"quantity": "crumb_ph", "value": 5.9}]})
        upload = str(uuid.uuid4())
        got = self.ask("qa", "POST", f"attachments/parts?upload={upload}&part=0", f"file {word}\n",
                       "application/octet-stream")
        assert got[0] == 200, got
        file = self.do("qa", "attachments", {"to": case, "upload": upload, "name": f"{word}.txt", "by": word})
        action = self.do("qa", "actions", {"line": LINE[plant], "cause": "packed-hot", "symptom": "mold",
                                           "at": "2026-11-10", "note": f"fan {word}", "by": word})
        self.do("qa", f"complaints/{one['id']}/correct", {"fields": {"packs": 2}, "reason": f"misheard {word}"})
        return {"case": case, "harmed": harmed, "lot": lot, "complaint": one["id"], "twin": twin["id"],
                "ticket": one["reference"], "file": str(file["attachment"]), "action": str(action["action"]),
                "others": [self.of(plant, row.split(",")[0]) for row in lot_rows()[0].splitlines()[1:]]}


def words_of(plant, things):
    """What tells of that plant wherever it stands."""
    ids = [things["complaint"], things["twin"]]
    words = [re.escape(w) for w in (plant, WORD[plant], CALLER[plant].split()[0], CALLER[plant].split()[1],
                                    *ids, *(i[:13] for i in ids), *things["others"])]
    words += [r"\b%s\b" % things[c] for c in ("case", "harmed")]
    words += [PHONE[plant].replace(" ", r"\W{0,2}")[8:]]
    return words


def found_in(text, words, asked):
    """Those that stand in it; what was asked for by its name may be said again."""
    for name in asked:
        text = text.replace(name, "")
    return [w for w in words if re.search(w, text, re.IGNORECASE)]


def paths_of(route, things):
    """The ways to ask this route about one plant's things, each with what it names."""
    path = route["path"].removeprefix("/v1/")
    kinds = ("case", "complaint", "lot", "file") + (("harmed", "twin", "action", "ticket") if route["method"] == "GET" else ())
    names = [things[k] for k in kinds]
    ways = [(path.replace("*", quote(name)), [name]) for name in names] if "*" in path else [(path, [])]
    ways += [(path.replace("*", span), []) for span in ("2026-W47", "2026-11", "current", "complaints.csv")] if "*" in path else []
    queries = {"of": things["case"], "word": WORD[OTHER], "phone": PHONE[OTHER], "name": CALLER[OTHER].split()[1],
               "ticket": things["ticket"], "lot": things["lot"], "store": "store " + WORD[OTHER],
               "cases": things["case"], "owner": WORD[OTHER], "product": "W24", "plant": OTHER, "all": "1",
               "state": "all", "format": "csv", "by": "line"}
    times = [way for way in ways if way[0].endswith(("2026-W47", "2026-11", "2026-W47.html"))]
    for name in route["query"].split():
        if name in queries:
            ways += [(way + "?" + f"{name}={quote(queries[name])}", [*asked, queries[name]]) for way, asked in [*ways[:2], *times]]
    if "of" in route["query"].split():
        ways += [(f"{path}?of={quote(things[k])}", [things[k]]) for k in ("complaint", "lot", "harmed")]
    if "symptom" in route["query"].split() and "from" in route["query"].split():
        ways.append((path + "?symptom=mold&from=2026-10-20&to=2026-11-30", []))
    return ways


def quote(text):
    return text.replace(" ", "%20")


def bodies_of(route, things):
    """What may be sent to a route that takes something, about that plant's things."""
    if route["method"] == "GET":
        return [None]
    t, by = things, {"by": "mira", "reason": "because"}
    return [{}, {"same_as": t["complaint"], **by}, {"fields": {"packs": 3}, **by}, by,
            {"lots": [t["lot"]], **by}, {"lots": [t["lot"]], "case": t["case"], **by},
            {"lots": [t["lot"]], "disposition": "destroy", "all": True, **by},
            {"lot": t["lot"], "results": [{"quantity": "crumb_ph", "value": 5.1}], "lab": "x", "sample": "1", **by},
            {"to": t["case"], "upload": str(uuid.uuid4()), "name": "x.txt", **by},
            {"cause": "packed-hot", "confirmed_by": "assay", **by}, {"reopen": True, **by}, {"note": "seen", **by},
            {"note": "seen", "complaint": t["complaint"], "answered": "yes", **by},
            {"contact": PHONE[OTHER]}, {"learn": True, **by}, {"adopt": True, **by}]


def check_nothing_is_told(company, table, things):
    """Every route, as everybody of one plant, about the other's things: nothing of it is in any answer."""
    asked, told = 0, []
    words = words_of(OTHER, things[OTHER])
    for who in PEOPLE:
        for route in table:
            if route["path"] == "/v1/complaints" and route["method"] == "POST":
                continue  # check_passed_on()
            if who.split("@")[0] not in route["roles"]:
                continue  # as test_roles.py sees: refused by the role
            for path, names in paths_of(route, things[OTHER]):
                for body in bodies_of(route, things[OTHER])[:1 if route["about"] == "company" else None]:
                    status, text = company.ask(who, route["method"], path, body)
                    mentioned = [str(v) for v in (body or {}).values() if isinstance(v, str)] + (body or {}).get("lots", [])
                    asked += 1
                    assert status < 500, (who, route, path, body, status, text)
                    if found := found_in(text, words, [*names, *mentioned]):
                        told.append((who, route["method"], path, body, status, found, text[:400]))
    assert not told, "\n".join(map(str, told[:12])) + f"\n{len(told)} of {asked}"
    return asked


def check_as_if_it_were_not_there(company, table, things):
    """What is another plant's and what does not exist are answered alike, but for the name that was asked."""
    asked = 0
    for who in PEOPLE:
        for route in table:
            path = route["path"].removeprefix("/v1/")
            if "*" not in path or who.split("@")[0] not in route["roles"] or route["about"] in ("company", "plant"):
                continue
            for kind in ("case", "complaint", "file", "action") + (("lot",) if path != "lots/*" else ()):
                there, never = things[OTHER][kind], NEVER[kind]
                for body in bodies_of(route, things[OTHER])[:None if who.startswith("qa") else 1]:
                    asked += 2
                    got = company.ask(who, route["method"], path.replace("*", quote(there)), body)
                    want = company.ask(who, route["method"], path.replace("*", quote(never)), body)
                    assert got[0] == want[0], (who, route, kind, body, got, want)
                    if got[0] >= 400:
                        same = got[1].replace(there, "~").replace(there.replace(" ", ""), "~")
                        assert same == want[1].replace(never, "~").replace(never.replace(" ", ""), "~"), (who, path, kind, got, want)
    return asked


def check_named_in_bodies(company, things):
    """What a body or a parameter names is answered as a name that nothing has."""
    own, by = things[OWN], {"by": "mira", "reason": "because"}
    result = {"results": [{"quantity": "crumb_ph", "value": 5.1}], "lab": "x", "sample": "1", **by}
    ways = [("case", "POST", "lots/hold", lambda v: {"lots": [own["lot"]], "case": v, **by}),
            ("complaint", "POST", "lots/hold", lambda v: {"lots": [own["lot"]], "case": v, **by}),
            ("case", "POST", "lots/measure", lambda v: {"lot": own["lot"], "case": v, **result}),
            ("case", "POST", "attachments", lambda v: {"to": v, "upload": NEVER["complaint"], "name": "x.txt", **by}),
            ("complaint", "POST", "attachments", lambda v: {"to": v, "upload": NEVER["complaint"], "name": "x.txt", **by}),
            ("complaint", "POST", f"complaints/{own['complaint']}/join", lambda v: {"same_as": v}),
            ("complaint", "POST", f"cases/{own['case']}/follow", lambda v: {"by": "x", "answered": "y", "complaint": v}),
            *((kind, "GET", path, None) for kind, path in (
                ("case", "attachments?of="), ("complaint", "attachments?of="), ("lot", "whatif?of="), ("case", "whatif?of="),
                ("lot", "complaints?lot="), ("complaint", "complaints?word=")))]
    for kind, method, path, body in ways:
        got = []
        for name in (things[OTHER][kind], NEVER[kind]):
            asked = company.ask("qa@" + OWN, method, path + ("" if body else quote(name)), body and body(name))
            got.append((asked[0], asked[1].replace(name, "~").replace(name.replace(" ", ""), "~")))
        assert got[0] == got[1], (kind, path, got)
    stands = [hold["lot"] for hold in json.loads(company.ask("qa", "GET", "holds")[1])["holds"]]
    assert things[OTHER]["lot"] in stands, "nobody of another plant ends its holds"


def check_codes_of_another(company, things):
    """A code that is another plant's is said to be that, and no lot of one's own is named as what it may be, misread: a
    hold on it stands there, and its people see it; what was decided of it and measured is theirs to write."""
    who, by, code = "qa@" + OWN, {"by": "mira", "reason": "glass in it"}, things[OTHER]["lot"]
    words, own = words_of(OTHER, things[OTHER]), words_of(OWN, things[OWN])
    for text in (code, code.replace(" ", "").lower()):
        got, said = company.ask(who, "GET", "lots/" + quote(text))
        told = json.loads(said)
        assert got == 200 and told["elsewhere"] and told["lots"] == [] and told["lot"] is None, said
        assert "another plant's" in told["lot_says"] and not found_in(said, words + own, [code]), said
        told = company.do("desk@" + OWN, "complaints/preview", {"lot_text": text, "symptom": "mold", "channel": "phone"})
        assert told["elsewhere"] and told["lots"] == [] and not found_in(json.dumps(told), words + own, [code]), told
    mixed = company.do(who, "lots/hold", {"lots": [code, things[OWN]["lot"]], "case": things[OWN]["case"], **by})
    assert mixed["passed_on"] == [code] and mixed["held"] == [code, things[OWN]["lot"]], mixed
    assert not mixed["not_on_record"] and not mixed["likely"] and not found_in(json.dumps(mixed), words, [code]), mixed
    holds = {plant: [hold for hold in json.loads(company.ask("qa@" + plant, "GET", "holds")[1])["holds"] if hold["reason"] == by["reason"]]
             for plant in (OWN, OTHER)}
    assert [hold["lot"] for hold in holds[OTHER]] == [code] and [hold["lot"] for hold in holds[OWN]] == [things[OWN]["lot"]], holds
    assert not found_in(json.dumps(holds[OTHER]), own, []), holds[OTHER]
    result = {"results": [{"quantity": "crumb_ph", "value": 5.1}], "lab": "x", "sample": "1", **by}
    for path, body in (("lots/release", {"lots": [code], "disposition": "destroy", "all": True, **by}), ("lots/measure", {"lot": code, **result})):
        got, said = company.ask(who, "POST", path, body)
        assert got == 409 and "another plant's" in said and not found_in(said, words, [code]), (path, got, said)
    company.do("qa@" + OTHER, "lots/release", {"lots": [code], "disposition": "release", "hold": holds[OTHER][0]["hold"],
                                               "anyway": "looked at", **by})


def check_one_sees_ones_own(company, things):
    own = things[OWN]
    for path in (f"cases/{own['case']}", f"cases/{own['case']}/why", f"cases/{own['case']}/facts", f"cases/{own['case']}/ask",
                 f"cases/{own['case']}/reach", f"cases/{own['case']}.html", f"cases/{own['harmed']}/reach",
                 f"cases/{own['case']}/follow", f"complaints/{own['complaint']}", f"complaints/{own['twin']}",
                 f"history/{own['case']}", f"history/{own['complaint']}", f"history/{quote(own['lot'])}",
                 f"lots/{quote(own['lot'])}", f"attachments?of={own['case']}", f"attachments/{own['file']}",
                 f"whatif?of={own['case']}", "rules"):
        status, text = company.ask("qa@" + OWN, "GET", path)
        assert status == 200, (path, status, text)
    told = json.loads(company.ask("desk@" + OWN, "GET", "complaints/" + own["complaint"])[1])
    assert told["contact"]["phone"] == PHONE[OWN], told
    assert "contact" not in json.loads(company.ask("qa@" + OWN, "GET", "complaints/" + own["complaint"])[1]), told
    for who in ("qa", "qa@" + OTHER):
        assert company.ask(who, "GET", f"cases/{things[OTHER]['case']}/why")[0] == 200, who
    assert company.ask("qa@" + OTHER, "GET", f"cases/{own['case']}")[0] == 404


def check_settle_level(company):
    """What is taken as the lot goes by the level of the plant whose lot it would be."""
    states = [json.loads(company.ask("qa", "GET", "lots/" + quote(code))[1])["lot_state"] for code in ("L1 6318 A04O0", "L2 6318 B08O0")]
    assert states == ["likely", "several"], states


def check_reach_is_counted(company, things):
    """A supplier's lot goes to both plants: whose lots else it is in is a number to people of one."""
    paths = [f"cases/{things[OWN]['harmed']}/reach"]
    told = [json.loads(company.ask("qa@" + OWN, "GET", path)[1]) for path in paths]
    full = [json.loads(company.ask("qa", "GET", path)[1]) for path in paths]
    for part, whole in zip(told, full):
        others = [lot["lot"] for lot in whole["lots"] if lot["lot"] in things[OTHER]["others"]]
        assert others, whole
        assert part["elsewhere"] == len(others) and "elsewhere" not in whole, (part, whole)
        assert [lot["lot"] for lot in part["lots"]] == [lot["lot"] for lot in whole["lots"] if lot["lot"] not in others]


LISTS = ("cases?state=all", "ranks", "ranks?all=1", "holds", "call-backs", "complaints?word=%s", "found?word=%s")


def check_lists(company, things):
    """A list has what is one's own, all of it, and with a plant that plant's; another's is no plant at all."""
    own, other = (words_of(plant, things[plant]) for plant in (OWN, OTHER))
    for path in LISTS:
        for who, query in (("qa@" + OWN, ""), ("desk@" + OWN, ""), ("qa", OWN), ("admin", OWN), ("qa@" + OWN, OWN)):
            ask = path.replace("%s", WORD[OWN]) + (("&" if "?" in path else "?") + "plant=" + query if query else "")
            got, text = company.ask(who, "GET", ask)
            assert got == 200 and found_in(text, own, []) and not found_in(text, other, []), (who, ask, got, text)
        full = company.ask("qa", "GET", path.replace("%s", WORD[OTHER]))[1]
        assert found_in(full, other, []), (path, full)
        refused = [company.ask("qa@" + OWN, "GET", path.replace("%s", "x") + ("&" if "?" in path else "?") + "plant=" + plant)
                   for plant in (OTHER, "Nowhere")]
        assert refused[0][0] == 400 and refused[0][1].replace(OTHER, "~") == refused[1][1].replace("Nowhere", "~"), refused
    refused = {company.ask("qa", "GET", path + "plant=Nowhere") for path in (
        "cases?", "holds?", "call-backs?", "weeks/2026-W47?", "spans/2026-11?", "returns?", "trace?symptom=mold&from=2026-10-20&to=2026-11-30&")}
    assert len(refused) == 1 and refused.pop()[0] == 400, refused
    status, text = company.ask("qa", "GET", "returns?plant=Nowhere")
    assert f"one of: {OWN}, {OTHER}" in text, text
    calls = json.loads(company.ask("desk@" + OWN, "GET", "call-backs")[1])
    assert calls["waiting"] == len(calls["call_backs"]) == 1 and len(calls["unreachable"]) == 1, calls
    some = json.loads(company.ask("qa@" + OWN, "GET", "cases?state=all&limit=1")[1])
    assert len(some["cases"]) == 1 and some["next"], some


def check_actions(company, things):
    """QA of one plant records an action of that plant, sees its own and is told their effect on that plant; the company's
    people see all, and what is of all plants is theirs."""
    def actions(who, query=""):
        return {a["note"]: a for a in json.loads(company.ask(who, "GET", "actions" + query)[1])["actions"]}
    new = {"cause": "packed-hot", "symptom": "mold", "at": "2026-11-09", "by": "mira"}
    told = company.do("qa@" + OWN, "actions", {**new, "note": "belt slowed"})
    whole = company.do("qa", "actions", {**new, "note": "every plant's"})
    company.do("qa@" + OTHER, "actions", {**new, "line": LINE[OTHER], "note": "slower there", "plant": OTHER})
    assert actions("qa")["belt slowed"]["plant"] == OWN and "plant" not in actions("qa")["every plant's"]
    assert set(actions("qa@" + OWN)) == set(actions("manager@" + OWN)) == set(actions("qa", "?plant=" + OWN)) == {
        "belt slowed", "fan " + WORD[OWN]}, actions("qa@" + OWN)
    assert set(actions("qa@" + OTHER)) == {"slower there", "fan " + WORD[OTHER]}, actions("qa@" + OTHER)
    refused = [company.ask("qa@" + OWN, "POST", "actions", {**new, "note": "x", "plant": plant}) for plant in (OTHER, "Nowhere")]
    assert refused[0][0] == 400 and refused[0][1].replace(OTHER, "~") == refused[1][1].replace("Nowhere", "~"), refused
    refused = [company.ask("qa@" + OWN, "POST", "actions", {**new, "note": "x", "line": line}) for line in (LINE[OTHER], "9")]
    assert refused[0][0] == 400 and refused[0][1].replace(f'"{LINE[OTHER]}"', '"9"') == refused[1][1], refused
    ask = f"actions/{told['action']}/effect"
    own, full = (json.loads(company.ask(who, "GET", ask)[1]) for who in ("qa@" + OWN, "qa"))
    all_plants = json.loads(company.ask("qa", "GET", f"actions/{whole['action']}/effect")[1])
    assert own["compared"] == full["compared"] and own["verdict"] == full["verdict"], (own, full)
    assert 0 < own["before"]["units"] == full["before"]["units"] < all_plants["before"]["units"], (own, full, all_plants)
    assert company.ask("qa@" + OTHER, "GET", ask)[0] == 404
    assert company.ask("qa@" + OWN, "GET", f"actions/{whole['action']}/effect")[0] == 404
    week = json.loads(company.ask("qa@" + OWN, "GET", "weeks/2026-W47")[1])
    assert {a["note"] for a in week["actions"]} == set(actions("qa@" + OWN)), week["actions"]
    found = [json.loads(company.ask(who, "GET", "found?word=belt")[1])["found"] for who in ("qa@" + OWN, "qa@" + OTHER, "qa")]
    assert [[f["kind"] for f in one] for one in found] == [["action"], [], ["action"]], found


def check_scores(company, things):
    """Scores and gaps of one plant are of its verdicts and lots."""
    for plant, n in ((OWN, 2), (OTHER, 1)):
        for i in range(n):
            one = complaint(things[plant]["others"][40 + i], symptom="staling", note="dry")
            case = company.do("qa", "complaints", one)["case"]
            company.wait_idle()
            company.do("qa", f"cases/{case}/verdict", {"cause": "old-stock-stale", "confirmed_by": "assay", "by": "mira"})
    told = {who + query: json.loads(company.ask(who, "GET", "scores" + query)[1])
            for who, query in (("qa", ""), ("qa", "?plant=" + OWN), ("qa@" + OWN, ""), ("qa", "?plant=" + OTHER))}
    counts = [(one["verdicts"], one["learning"]["cases"], one.get("plant")) for one in told.values()]
    assert counts == [(3, 3, None), (2, 2, OWN), (2, 2, OWN), (1, 1, OTHER)], counts
    assert told["qa@" + OWN] == told["qa?plant=" + OWN]
    gaps = {query: json.loads(company.ask("qa", "GET", "gaps?within=1" + query)[1])["records"] for query in ("", "&plant=" + OWN)}
    own = {(row["kind"], row["what"], row["line"], row["plant"]): row for row in gaps["&plant=" + OWN]}
    assert {key[3] for key in own} == {OWN} and {row["plant"] for row in gaps[""]} == {OWN, OTHER}, own
    assert own == {key: row for row in gaps[""] for key in [(row["kind"], row["what"], row["line"], row["plant"])] if key[3] == OWN}
    page = company.client("scores", "--plant", OTHER, check=0).stdout
    assert page.startswith(f"How good the rankings of {OTHER} were"), page
    page = company.client("gaps", "--plant", OTHER, check=0).stdout
    assert page.startswith(f"Records of lots of {OTHER} packed") and OWN not in page, page
    lines = company.client("--json", "rank", "--all", "--plant", OTHER, check=0).stdout.splitlines()
    assert things[OTHER]["case"] in [json.loads(line)["case"] for line in lines]
    assert things[OWN]["case"] not in [json.loads(line)["case"] for line in lines]


def check_readme(company, things):
    """Its commands, as a person of the company gives them."""
    section = (ROOT / "README.md").read_text().split("## Several plants")[1].split("## ")[0]
    lines = re.search(r"```sh\n(.*?)```", section, re.S).group(1).splitlines()
    assert len(lines) == 4, lines
    for line in lines:
        said = company.client(*line.split()[1:], check=0).stdout
        assert not found_in(said, words_of(OTHER, things[OTHER]), []), (line, said)
    assert things[OWN]["case"] in company.client(*lines[0].split()[1:], check=0).stdout
    assert company.client("follow", things[OWN]["case"], "--plant", OWN).returncode == 2
    assert company.client("cases", "--plant", "Nowhere", check=1).stderr
    sample = json.loads("{" + re.search(r"```json\n(.*?),\n```", section, re.S).group(1) + "}")
    own = company.dir / "codes"
    company.client("rules", "copy", "lots.json", "--dir", f"{own}:{ROOT / 'rules'}", check=0)
    file = next(own.rglob("lots.json"))
    file.write_text(json.dumps({**json.loads(file.read_text()), **sample}))
    check = [BINARIES / "oddloafd", "--rules", f"{own}:{ROOT / 'rules'}", "--state", company.dir / "none", "--check"]
    assert subprocess.run(check, stdout=subprocess.DEVNULL).returncode == 0
    file.write_text(file.read_text().replace("04:00", "04:01"))  # its examples are read
    assert subprocess.run(check, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode != 0
    assert "oddloafd.json(5)" in section and ".Sh PLANTS" in (ROOT / "daemon/oddloafd.json.5").read_text()


PATTERNS = ("weeks/2026-W47", "weeks/2026-W47.html", "weeks/2026-W47?by=line,route,store,shift&against=2026-W46", "spans/2026-11",
            "trace?symptom=mold&from=2026-10-20&to=2026-11-30", "trace?cases=%s", "scores", "gaps?within=1", "returns?from=2026-11-01&to=2026-11-30",
            *(f"weeks/2026-W47?format=csv&table={table}" for table in (
                "rates", "causes", "signals", "holds", "harm", "actions", "returns", "complaints", "cases")))


def check_patterns(company, things):
    """The week of a plant is its people's: what the company's people are told of that plant, without being asked which;
    nothing of another's, whoever asked before; who is of two plants says which."""
    own, other = (words_of(plant, things[plant]) for plant in (OWN, OTHER))
    for path in PATTERNS:
        ask = path.replace("%s", things[OWN]["case"])
        of = ask + ("&" if "?" in ask else "?") + "plant="
        full, whole = company.ask("qa", "GET", of + OWN), company.ask("qa", "GET", of + OTHER)
        for who in ("qa@" + OWN, "manager@" + OWN):
            got, named = (company.ask(who, "GET", way) for way in (ask, of + OWN))
            assert got[0] == named[0] == full[0] == 200, (who, path, got, named, full)
            assert not found_in(got[1], other, []) and not found_in(named[1], other, []), (who, path, found_in(got[1], other, []), got)
            if path.startswith(("trace", "returns")):
                assert got[1] == named[1] == full[1], (who, path, got, named, full)
            if "format=csv" in path:  # digits move with the hour
                assert len(got[1].splitlines()) == len(named[1].splitlines()) == len(full[1].splitlines()), (who, path, got, full)
            refused = [company.ask(who, "GET", of + plant) for plant in (OTHER, "Nowhere")]
            assert refused[0][0] == 400 and refused[0][1].replace(OTHER, "~") == refused[1][1].replace("Nowhere", "~"), refused
        if "cases=" not in path:
            assert whole[0] == 200, (path, whole)
        both = company.by_certificate("manager@" + OTHER)
        told = []
        for way in (ask, of + OTHER):
            both.request("GET", "/v1/" + way, headers={"Authorization": f"Bearer token of manager@{OWN}"})
            answer = both.getresponse()
            told.append((answer.status, answer.read().decode()))
        assert told[0][0] == 400 and f"one of: {OWN}, {OTHER}" in told[0][1], told
        assert told[1][0] == (404 if "cases=" in path else 200), (path, told)
    week = json.loads(company.ask("manager@" + OWN, "GET", "weeks/2026-W47")[1])
    assert week["plant"] == OWN and week["harm"] and week["holds"] and week["actions"], week
    assert found_in(json.dumps(week), own, []), week


def check_status(company, things):
    """Who sees one plant is told what clients read days by, and no count; the client shows it."""
    full = json.loads(company.ask("qa", "GET", "status")[1])
    told = json.loads(company.ask("qa@" + OWN, "GET", "status")[1])
    assert told["plants"] == [OWN] and told["time_zone"] == full["time_zone"] == "America/New_York", told
    there = json.loads(company.ask("qa@" + OTHER, "GET", "status")[1])
    assert there["time_zone"] == "America/Chicago", there
    assert (full["time_zones"], told["time_zones"], there["time_zones"]) == (["America/Chicago"], [], ["America/Chicago"])
    assert set(told) == {"version", "plant", "time_zone", "time_zones", "month_first", "uptime_s", "started_at", "plants", "needs"}, told


def check_passed_on(company, things):
    """A complaint whose code is another plant's is taken, is that plant's, and tells nothing of it."""
    words = words_of(OTHER, things[OTHER])
    for who in PEOPLE[:2]:
        one = complaint(things[OTHER]["lot"], note="it is green", harm=["illness"])
        for status in (201, 200):
            got, text = company.ask(who, "POST", "complaints", one)
            told = json.loads(text)
            assert got == status and told["passed_on"] and told["script"] and told["case"] is None, (got, text)
            assert not found_in(text, words, [things[OTHER]["lot"]]), text
        assert company.ask(who, "GET", "complaints/" + one["id"])[0] == 404
        whole = json.loads(company.ask("qa@" + OTHER, "GET", "complaints/" + one["id"])[1])
        assert whole["case"] == things[OTHER]["case"] and whole["logged_by"] == NAME[who], whole
        assert whole["harm"] == ["illness"]
        # the same id with other words is refused, and what is kept is not said
        got, text = company.ask(who, "POST", "complaints", {**complaint(MADE[OWN], note="x"), "id": things[OTHER]["complaint"]})
        assert got == 409 and not found_in(text, words, [things[OTHER]["complaint"]]), (got, text)
        # a repeat of what is another plant's repeats nothing
        twins = [complaint(MADE[OWN], same_as=same) for same in (things[OTHER]["complaint"], NEVER["complaint"])]
        there, never = (company.ask(who, "POST", "complaints", twin) for twin in twins)
        assert there[0] == never[0] == 400, (there, never)
        assert there[1].replace(twins[0]["same_as"], "~") == never[1].replace(twins[1]["same_as"], "~"), (there, never)
        lines = "\n".join(json.dumps(complaint(lot, note="soft")) for lot in (MADE[OTHER], MADE[OWN]))
        got, text = company.ask(who, "POST", "complaints", lines, "application/x-ndjson")
        batch = [json.loads(line) for line in text.splitlines()]
        assert [bool(told.get("passed_on")) for told in batch] == [True, False], text
        assert not found_in(text, words, [things[OTHER]["lot"]]), text
        assert batch[1]["case"] == things[OWN]["case"], batch


UNPLACED = {  # how a complaint may come that no lot places
    "no code": {}, "nobody knows the code": {"lot_text": "Z9 1234 Q7777"}, "harm": {"harm": ["illness"]},
    "a slip in the plant": {"plant": "Larkfenn"}, "in a file": {}, "a return": {"channel": "return", "units": 3}}


def check_unplaced(company, things):
    """A complaint without a lot is of the plant whose people took it, after a correction, too, in all of its lists; of
    another's lots alone it is that one's."""
    days = "from=2026-11-01&to=2026-11-30"
    for n, (what, said) in enumerate(UNPLACED.items()):
        word = f"unplaced{n}word"
        one = {**complaint("", note=f"green spots, {word}", contact={"phone": "607 555 0177"}), **said}
        returns = json.loads(company.ask("qa", "GET", f"returns?{days}&plant={OWN}")[1])["returns"]
        if what == "in a file":
            got, text = company.ask("desk@" + OWN, "POST", "complaints", json.dumps(one), "application/x-ndjson")
            told = json.loads(text)
        else:
            told = company.do("desk@" + OWN, "complaints", one)
        assert not told.get("passed_on"), told
        taken = [item for item in told["taken"] if item["field"] == "plant"]
        assert taken and not told["doubts"], (what, told)
        assert ("Larkfenn is no plant" in taken[0]["from"]) == (what == "a slip in the plant"), (what, taken)
        for who in ("desk@" + OWN, "desk") if "plant" not in said else ("desk@" + OWN,):  # by somebody else: the same complaint
            again = company.ask(who, "POST", "complaints", one)
            assert again[0] == 200 and json.loads(again[1])["again"], again
        company.do("qa@" + OWN, f"complaints/{one['id']}/correct", {"fields": {"packs": 2}, "reason": "misheard"})
        company.do("qa@" + OWN, f"complaints/{one['id']}/correct", {"fields": {"note": f"spots, {word}"}, "reason": "typed anew"})
        case = told["case"]
        for who, sees in (("qa@" + OWN, True), ("desk@" + OWN, True), ("qa@" + OTHER, False), ("qa", True)):
            for path, name in (("cases?state=all&limit=100", case), ("complaints?word=" + word, one["id"]),
                               ("ranks?all=1", case)):
                for plant in ("", OWN) if sees else ("",):
                    text = company.ask(who, "GET", path + (("&plant=" + plant) if plant else ""))[1]
                    assert bool(re.search(rf"\b{name}\b", text)) == sees, (what, who, path, plant, text)
            got = company.ask(who, "GET", "complaints/" + one["id"])[0]
            assert got == (200 if sees else 404), (what, who, got)
            text = company.ask(who, "GET", "cases?state=all&limit=100&plant=" + OTHER)[1]
            assert not re.search(rf"\b{case}\b", text), (what, who, text)
        if said.get("harm"):
            company.wait_idle()
            calls = [company.ask(who, "GET", "call-backs")[1] for who in ("desk@" + OWN, "desk@" + OTHER)]
            assert one["id"] in calls[0] and one["id"] not in calls[1], (what, calls)
        now = json.loads(company.ask("qa", "GET", f"returns?{days}&plant={OWN}")[1])["returns"]
        assert now == returns + (what == "a return"), (what, now)
    whole = company.ask("desk@" + OWN, "GET", "complaints/" + one["id"])[1]
    assert json.loads(whole)["plant"] == OWN and "plant" not in json.loads(whole)["sent"], whole


def check_named_plants(company, things):
    """Who is of several plants or of the company says whose it is; a slip is told apart from a plant that there is."""
    for said, plant in ((OTHER, OTHER), ("quarrhill", OTHER), ("Quarhill", ""), ("", "")):
        one = complaint("", note="it is furry", plant=said, harm=["illness"])
        told = company.do("desk", "complaints", one)
        assert [doubt["field"] for doubt in told["doubts"]] == (["plant"] if said and not plant else []), told["doubts"]
        for who, sees in (("qa@" + OTHER, bool(plant)), ("qa@" + OWN, False), ("qa", True)):
            assert company.ask(who, "GET", "complaints/" + one["id"])[0] == (200 if sees else 404), (said, who)
        things[f"named {said}"] = told["case"]
    told = company.do("desk@" + OTHER, "complaints", complaint("", note="soft", plant=OTHER))
    assert not told["doubts"] and told["case"], told
    own = company.do("desk@" + OTHER, "complaints", complaint("", note="ill", harm=["illness"]))
    things["unplaced"] = own["case"]
    got, text = company.ask("desk@" + OWN, "POST", "complaints", complaint("", note="furry", plant=OTHER))
    assert json.loads(text)["passed_on"], text


def check_moved_away(company, things):
    """A correction that makes it another plant's: who corrected it is told that, and sees it no more."""
    one = complaint(MADE[OWN], note="it is furry")
    company.do("desk@" + OWN, "complaints", one)
    change = {"fields": {"lot_text": things[OTHER]["lot"]}, "reason": "read again"}
    got, text = company.ask("desk@" + OWN, "POST", f"complaints/{one['id']}/correct", change)
    assert got == 200 and json.loads(text)["passed_on"], (got, text)
    assert not found_in(text, words_of(OTHER, things[OTHER]), [things[OTHER]["lot"]]), text
    assert company.ask("desk@" + OWN, "GET", "complaints/" + one["id"])[0] == 404
    for who, what in (("desk@" + OWN, things[OWN]["case"]), ("qa@" + OTHER, one["id"])):
        got, text = company.ask(who, "GET", "history/" + what)
        other = OTHER if who.endswith(OWN) else OWN
        assert got == 200 and not found_in(text, words_of(other, things[other]), []), (who, text)


def check_file(company, things):
    """What a file brings is told in one mail to each plant's own list, of its cases alone, and the rest to the company's."""
    company.wait_idle()
    lines = [complaint(things[plant]["others"][n], symptom="staling", note="dry") for n in range(20, 24) for plant in (OWN, OTHER)]
    got, text = company.ask("desk", "POST", "complaints", "\n".join(map(json.dumps, lines)), "application/x-ndjson")
    cases = [json.loads(line)["case"] for line in text.splitlines()]
    assert got == 200 and len(set(cases)) == 8, (got, text)
    told = lambda: [text for text in (file.read_text() for file in (company.dir / "mails").iterdir()) if "cases of a file" in text]
    until(lambda: len(told()) >= 2)
    company.wait_idle()
    assert len(told()) == 2, told()
    for plant, to, own in ((OWN, "qa@twomills.example", cases[::2]), (OTHER, "qa@quarrhill.example", cases[1::2])):
        mail = [text for text in told() if text.startswith(to + "\n")]
        assert len(mail) == 1, (plant, told())
        named = set(re.findall(r"\b(C\d+), ", mail[0]))
        assert named == set(own), (plant, named, own, mail)
        assert mail[0].split("text/html")[0].count(f"({plant})") == 4, mail


def of_each(plant):
    """What is told of each plant, but for numbers of cases."""
    told = {}
    for name in (OWN, OTHER):
        found = plant.client_json("find", "--plant", name, "--limit", "200")["complaints"]
        week = plant.get(f"/v1/weeks/2026-W47?plant={name}")[1]
        cases = plant.client_json("cases", "--plant", name, "--state", "all", "--limit", "200")["cases"]
        told[name] = [sorted(one["complaint"] for one in found), week["complaints"], week["units"],
                      sorted((case["symptom"], case["complaints"], case["lot"] or "") for case in cases),
                      sorted((hold["lot"], hold["reason"]) for hold in plant.client_json("holds", "--plant", name)["holds"])]
    return told


def check_export(company, things):
    """Exported and loaded anew, everything is each plant's as it was: what no lot places, too."""
    code, why = "Z7 4321", {"reason": "glass", "by": "jo"}  # no lot's, held by each for itself
    for who in (f"qa@{OWN}", f"qa@{OTHER}"):
        company.do(who, "lots/hold", {"lots": [code], **why})
    company.client("hold", code, "--plant", OWN, "--reason", "told by phone", check=0)
    company.client("hold", code, "--reason", "everywhere", check=0)
    assert "is no plant" in company.client("hold", code, "--plant", "Larkfenn", "--reason", "x").stderr
    company.wait_idle()
    before, folder = of_each(company), company.dir / "out"
    assert {(code, "glass"), (code, "told by phone")} <= set(before[OWN][4]) and (code, "glass") in before[OTHER][4], before
    assert not [why for name in before for lot, why in before[name][4] if why == "everywhere" or name == OTHER and "phone" in why]
    assert things["unplaced"] and all(before[name][0] for name in before), before
    company.client("export", str(folder), "--contacts", check=0)
    commands = re.search(r"^    for kind.*?^$", (folder / "README.md").read_text(), re.M | re.S).group(0)
    with open(folder / "holds.csv", newline="", encoding="utf-8") as file:
        of_code = sorted((row["plant"], row["reason"]) for row in csv.DictReader(file) if row["lot"] == code)
    assert of_code == sorted([(OWN, "glass"), (OTHER, "glass"), (OWN, "told by phone"), ("", "everywhere")]), of_code
    with Plant(BINARIES, config={"plants": {OWN: {}, OTHER: {}}, "queue": 4096}) as fresh:
        program = fresh.dir / "bin" / "oddloaf"
        program.parent.mkdir()
        program.write_text(f"#!/bin/sh\nexec {fresh.binaries}/oddloaf --socket {fresh.socket} \"$@\"\n")
        program.chmod(0o755)
        done = subprocess.run(["sh", "-e", "-c", commands], cwd=folder, capture_output=True, text=True,
                              env={**os.environ, "PATH": f"{program.parent}:{os.environ['PATH']}"})
        assert done.returncode == 0, done
        fresh.wait_idle()
        after = of_each(fresh)
        assert after == before, [(name, a, b) for name in before for a, b in zip(before[name], after[name]) if a != b]
        assert not any(fresh.get("/v1/status/recount")[1]["differences"].values())


def check_mails(company, things):
    """Mail of a plant's cases and harm goes to that plant's people; where it has no lists, to the company's."""
    company.do(f"qa@{OTHER}", "lots/hold", {"lots": ["Q7 7777"], "reason": "a caller bit on glass in it", "by": "x"})
    refused = {"channel": "phone", "symptom": "mold", "note": "her child vomited all night", "packs": -4}
    company.do(f"desk@{OTHER}", "complaints", refused, (400,))
    company.wait_idle()

    def read():
        return [file.read_text().split("\n", 1) for file in (company.dir / "mails").iterdir()]

    for told in ("Q7 7777", "in a refused complaint"):  # of no case: the company's people and the plant's
        both = {"safety@twomills.example", "safety@quarrhill.example"}
        until(lambda: {who for who, text in read() if re.search(rf"^Subject:.*{told}", text, re.M)} == both, read)
    sent = read()
    for plant, where, title in ((OWN, "twomills", "The Larkfen Bakery"), (OTHER, "quarrhill", OTHER)):
        for kind, to in (("harmed", f"safety@{where}.example"), ("case", f"qa@{where}.example")):
            case = things[plant][kind]
            got = {(who, re.search(r"^To: (.*)$", text, re.M).group(1)) for who, text in sent
                   if re.search(rf"^Subject:.*\b{case}\b", text, re.M)}
            assert got and {who for who, _ in got} <= {f"qa@{where}.example", f"safety@{where}.example"}, (plant, case, got)
            assert to in {who for who, _ in got} and all(who in said for who, said in got), (plant, case, got)
        assert any(title in text for who, text in sent if who.endswith(where + ".example")), (title, sent[:1])
    for kind, to in (("unplaced", "quarrhill"), (f"named {OTHER}", "quarrhill"), ("named Quarhill", "twomills"), ("named ", "twomills")):
        got = {who for who, text in sent if re.search(rf"^Subject:.*\b{things[kind]}\b", text, re.M)}
        assert f"safety@{to}.example" in got <= {f"qa@{to}.example", f"safety@{to}.example"}, (kind, got)


def check_of_the_company(company, table):
    """What cannot be told of one plant is refused to whoever has a role there and none in the company, with the reason;
    oddloafd(8) lists it."""
    page = (ROOT / "daemon/oddloafd.8").read_text().split(".Sh PLANTS")[1].split(".Sh ")[0]
    said = re.findall(r"^\.It (GET|POST) Ta (/v1/\S+)$", page, re.MULTILINE)
    assert said == [(route["method"], route["path"]) for route in table if route["about"] == "company"], said
    for route in table:
        for who in PEOPLE:
            if route["about"] != "company" or who.split("@")[0] not in route["roles"]:
                continue
            got, text = company.ask(who, route["method"], route["path"].removeprefix("/v1/").replace("*", "C7"), {})
            assert got == 403 and "of the company" in text, (who, route, got, text)


def main():
    table = routes(BINARIES)
    with Company() as company:
        things = company.fill()
        company.wait_idle()
        check_one_sees_ones_own(company, things)
        check_settle_level(company)
        check_reach_is_counted(company, things)
        check_lists(company, things)
        check_patterns(company, things)
        check_status(company, things)
        check_named_in_bodies(company, things)
        check_codes_of_another(company, things)
        check_holds_of_codes(company, OWN, OTHER)
        check_half_read_codes(company, OWN, OTHER, LINE)
        check_readme(company, things)
        asked = check_nothing_is_told(company, table, things)
        asked += check_as_if_it_were_not_there(company, table, things)
        check_of_the_company(company, table)
        check_passed_on(company, things)
        check_moved_away(company, things)
        check_unplaced(company, things)
        check_named_plants(company, things)
        check_mails(company, things)
        check_actions(company, things)
        check_scores(company, things)
        check_file(company, things)
        check_export(company, things)
    print(f"{asked} questions of people of {OWN} told nothing of {OTHER}")


main()
