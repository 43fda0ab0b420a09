"""A stand-in for oddloafd: HTTP/1.1 over a Unix socket, a few invented answers in the shapes of
the API, and switches that make it busy, full or gone. Tests run it in their own process and look
at what it was sent (`daemon.requests`, `daemon.complaints`)."""

import http.server
import json
import os
import pathlib
import socket
import socketserver
import ssl
import sys
import threading
import urllib.parse

sys.path.append(str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
try:
    import answers
except ImportError:
    print("python3-jsonschema is not installed: the stand-in's answers are not checked", file=sys.stderr)
    answers = None

HOLD = {"hold": "H3", "lot": "L2-6321-B0412", "reason": "wet bags on the whole pallet", "by": "mira",
        "user": "mira", "at": "2026-11-17T10:20:00-05:00", "case": "C12"}
CAUSES = [
    {"cause": "packed-hot", "title": "Packed too hot", "probability": 0.81},
    {"cause": "inhibitor-underdosed", "title": "Too little inhibitor", "probability": 0.12},
    {"cause": "warm-storage", "title": "Kept warm after sale", "probability": 0.04},
    {"cause": "not-known", "title": "Not known", "probability": 0.03},
]
UNDERSTOOD = {"lot": "L2-6321-B0412", "product": "W24", "name": "Harrow White 24", "line": "2",
              "packed_from": "2026-11-17T04:12:00-05:00", "code_date": "2026-11-27"}
FOR = [{"fact": "core_at_pack_c", "name": "Core temperature at packing", "value": 47.5, "target": 38, "unit": "degC", "bits": 3.1,
        "because": "Warm bread sweats in the bag, and the wet crust lets spores grow."}]
AGAINST = [{"fact": "wet_inside_bag", "name": "Wet inside the bag", "value": False, "bits": -0.8,
            "because": "A loaf packed hot leaves drops inside the bag."}]
ASK = [
    {"fact": "where", "ask": "Where on the loaf is the mold?", "of": "caller", "gain_bits": 0.42,
     "effort": "seconds", "choices": [{"word": "cut-face", "label": "on the cut slices"},
                                      {"word": "base", "label": "on the base"}]},
    {"fact": "kept", "ask": "Where was the bread kept at home?", "of": "caller", "gain_bits": 0.2},
    {"fact": "crumb_ph", "ask": "Measure the crumb pH of a retained loaf.", "of": "lab",
     "gain_bits": 0.31, "effort": "hours"},
]
OUTBOX = {"waiting": 2, "parked": 1, "sent": 7, "gap": None, "mails": [
    {"id": 12, "event": "urgent", "case": "C5", "to": ["lead@mill.example", "qa@mill.example"],
     "state": "waiting", "attempts": 3, "last_error": "/usr/bin/msmtp exited 75: no route",
     "queued_at": "2026-11-20T09:14:00-05:00", "sent_at": None, "recipients": [
         {"to": "lead@mill.example", "state": "waiting", "attempts": 3, "sent_at": None,
          "next_at": "2026-11-20T09:20:00-05:00",
          "last_error": "/usr/bin/msmtp exited 75: no route"},
         {"to": "qa@mill.example", "state": "sent", "attempts": 1, "last_error": None,
          "next_at": None, "sent_at": "2026-11-20T09:14:01-05:00"}]},
    {"id": 13, "event": "digest", "case": None, "to": [], "state": "waiting", "attempts": 0,
     "last_error": "nobody is set up to get it", "queued_at": "2026-11-23T06:00:00-05:00",
     "sent_at": None, "recipients": []}]}
CAUTIONS = ["Do not smell moldy bread closely: spores can harm the lungs."]


STAGES = [{"stage": "taken-in", "what": "received to logged", "n": 40, "median_days": 0.01, "most_days": 0.5,
           "waiting": None},
          {"stage": "owned", "what": "logged to its first owner", "n": 9, "median_days": 0.4, "most_days": 2.5,
           "waiting": 12},
          {"stage": "answered", "what": "logged to the caller's answer", "n": 0, "median_days": None,
           "most_days": None, "waiting": 3}]
OVERDUE = [{"case": "C5", "symptom": "mold", "severity": "urgent", "harm": True, "owner": None, "due": "2026-11-21",
            "days": 2, "complaints": 1, "lot": None, "line": None},
           {"case": "C12", "symptom": "staling", "severity": "high", "harm": False, "owner": "mira",
            "due": "2026-11-20", "days": 3, "complaints": 4, "lot": "L2-6321-B0412", "line": "2"}]
CALL = {"complaint": "0199a000-0000-7000-8000-000000000001", "short": "0199a000-0000", "reference": "T-77",
        "case": "C1", "symptom": "mold", "state": "open", "due": "2026-11-21", "overdue": True, "why": "the lab's result", "by": "mira",
        "user": "mira1", "asked_at": "2026-11-20T10:00:00-05:00", "contact": {"name": "Ann Bee", "phone": "555 0101"}}
LEVELS = [{"severity": s, "from": f, "due_days": d, "call_back_days": None, "source": "common practice, no source"}
          for s, f, d in (("low", 0, 30), ("usual", 2, 14), ("high", 4, 3), ("urgent", 8, 1))]


def followed(case):
    return {"case": case, "symptom": "mold", **EXACT, "state": "open", "harm": False, "complaints": 4, "lots": [],
            "moved_here": [], "severity": "high", "owner": "mira", "due": "2026-11-21", "overdue": True,
            "working": {"points": 3, "levels": LEVELS, "by_rule": "usual", "set": True, "working": [
                {"fact": "complaints", "title": "complaints", "value": 4, "points": 2,
                 "because": "few complain", "source": "common practice, no source"},
                {"fact": "sure", "title": "how sure its likeliest cause is", "value": 0.81, "points": 1,
                 "because": "it can be looked for", "source": "common practice, no source"},
                {"fact": "harm", "title": "harm is reported", "value": 0, "points": 0, "because": "it may hurt",
                 "source": "common practice, no source"}]},
            "entries": [{"at": "2026-11-20T09:20:00-05:00", "what": "owner", "by": "mira", "user": "mira1", "was": "",
                         "is": "mira", "text": ""},
                        {"at": "2026-11-20T09:21:00-05:00", "what": "severity", "by": "mira", "user": "mira",
                         "was": "usual", "is": "high", "text": "a brand owner's bread"},
                        {"at": "2026-11-20T09:22:00-05:00", "what": "call-back", "by": "oddloaf", "user": "",
                         "was": "", "is": "2026-11-21", "text": "by the rules", "complaint": CALL["complaint"],
                         "short": CALL["short"]},
                        {"at": "2026-11-20T10:30:00-05:00", "what": "answered", "by": "jo", "user": "desk1", "was": "",
                         "is": "2026-11-20T10:25:00-05:00", "text": "told the lot is held",
                         "complaint": CALL["complaint"], "short": CALL["short"]}],
            "call_backs": [CALL]}


def problem(status, word, detail, errors=(), hint=""):
    return status, "application/problem+json", {
        "type": "urn:oddloaf:problem:" + word, "title": word, "status": status, "detail": detail,
        "errors": list(errors), "hint": hint}


# what the daemon says of a lot, by how sure it is
EXACT = {"lot": "L2-6321-B0412", "lot_text": "L2 6321 B0412", "lot_state": "exact", "lot_named": "L2-6321-B0412",
         "lot_says": "L2-6321-B0412: the code read is on record", "lot_decides": []}
SEVERAL = {"lot": None, "lot_text": "63?1", "lot_state": "several", "lot_named": "one of several lots",
           "lot_says": "not certain: the likeliest lot has 70 %; the code as read: 63?1",
           "lot_decides": ["the line (2, 1)", "a photo of the code"]}
CANDIDATES = [{"lot": "L2-6321-B0412", "weight": 0.9}, {"lot": "L2-6327-B0412", "weight": 0.1}]

CALIBRATION = {
    "samples": 3, "found": 2, "left_out": {"blamed": 4, "outside": 1},
    "fit": {"time_scale": {"low": 1.29, "typical": 1.37, "high": 1.46},
            "spores_scale": {"low": 8.1, "typical": 10.2, "high": 12.8},
            "new_lot": {"low": 1.09, "typical": 1.37, "high": 1.73}, "lot_sigma": 0.14,
            "position_gap": 0.99},
    "before_after": {"before": 2.24, "after": 1.44, "now": 2.24, "unit": "d"},
    "residuals": [{"lot": "L2-6321-B0412", "product": "W24", "before": 13.9, "predicted": 7.9,
                   "observed": 8, "none_yet": False, "position": 0.5},
                  {"lot": "L2-6321-B0413", "product": "W24", "before": 13.9, "predicted": 7.9,
                   "observed": 3, "none_yet": False, "position": 0.02},
                  {"lot": "L2-6321-B0414", "product": "W24", "before": 36.8, "predicted": 9.4,
                   "observed": 14, "none_yet": True, "position": 0.8}],
    "adopted": {"by": "mira", "at": "2026-10-01T08:00:00-04:00", "samples": 90, "found": 80,
                "fit": {"time_scale": {"low": 1.1, "typical": 1.2, "high": 1.3},
                        "spores_scale": {"low": 1, "typical": 2, "high": 3}}},
    "valid": True, "reason": ""}
RATES = {"share": 0.04, "low": 0.0256, "high": 0.0595, "per_million": 1666.7,
         "per_million_low": 42.2, "per_million_high": 9286}
SENT = [dict(RATES, level="R11", returns=1, units=24, dispatched=600),
        {"level": "not given", "returns": 1, "units": 2, "dispatched": 0}]
GAPS = {
    "from": "2026-10-26", "to": "2026-11-22", "cases": 60, "months": 2.5,
    "records": [{"kind": "uses", "what": "film", "line": "1", "lots": 40, "with": 24, "share": 0.6,
                 "weeks": [{"week": "2026-W46", "lots": 20, "with": 20}, {"week": "2026-W47", "lots": 20, "with": 4}]},
                {"kind": "mixes", "what": "", "line": "1", "lots": 40, "with": 40, "share": 1, "weeks": []}],
    "late": [],
    "still": [{"line": "1", "quantity": "crumb_ph", "value": 5.3, "times": 31, "since": "2026-11-12T08:00:00-05:00"}],
    "drifted": [{"line": "1", "quantity": "core_at_pack_c", "usual": 36.2, "now": 39.8, "z": 9.1}],
    "tells": [{"kind": "uses", "what": "film", "with": 36, "without": 24, "share": 0.6,
               "gain": {"bits": 0.11, "low": 0.02, "high": 0.2}, "more_a_month": {"cases": 2.9, "low": 0.4, "high": 5.4},
               "says": "film in uses: recorded for the lots of 36 of 60 cases; of all, an estimated 0.110 bits a "
               "case (0.020 to 0.200), and 2.9 more cases a month at 80 % (0.4 to 5.4)"}]}
SPAN = {"low": 3.32, "typical": 6.26, "high": 11.78, "beyond": False, "valid": True, "reason": ""}
UNSAID = dict(SPAN, valid=False, reason="crumb outside the range of the acid formulas")
WHATIF = {
    "case": "C7", "lot": "L2 6321 B0412", "product": "W24", "name": "White Pan 24 oz", "family": "pan-bread",
    "changed": [{"quantity": "core_at_pack_c", "title": "Core temperature at packing", "unit": "degC", "was": 51.9, "is": 39},
                {"quantity": "crumb_ph", "title": "Crumb pH", "unit": "pH", "was": None, "is": 5.2}],
    "ways": [{"way": "as made", "mold_free_days": SPAN, "short_of": 12, "without_mold": 0.38, "odor": UNSAID, "firmness": dict(SPAN, day=5),
              "preserving": []},
             {"way": "as changed", "mold_free_days": dict(SPAN, typical=60, beyond=True), "short_of": None, "without_mold": 0.74,
              "odor": SPAN, "firmness": dict(SPAN, day=5), "preserving": [
                  {"kind": "cultured-wheat", "title": "Cultured wheat", "applied": "dough", "acid": "propionic",
                   "pct_flour": 1.5, "strength_pct": {"low": 4, "typical": 10, "high": 25, "told": False, "from_memory": True}, "mmol_l": 4.2},
                  {"kind": "potassium-sorbate", "title": "Potassium sorbate", "applied": "surface", "acid": "sorbic",
                   "pct_flour": 0.1, "strength_pct": {"low": 100, "typical": 100, "high": 100, "told": False, "from_memory": False},
                   "mmol_l": 6.1}]}],
    "hold": {"days": 9, "share": 0.9, "without_mold": 0.74, "says": "One of these changes alone would hold so long.",
             "levers": [{"quantity": "core_at_pack_c", "title": "Core temperature at packing", "unit": "degC", "now": 39,
                         "needs": None, "last": 21, "good": False, "against": "no value in reach holds so long"},
                        {"quantity": "inhibitor_pct_flour", "title": "Inhibitor dose", "unit": "%", "now": 0.3, "needs": 0.62,
                         "last": 1, "good": False, "against": "3100 mg/kg of propionic acid, above 3000"},
                        {"quantity": "crumb_ph", "title": "Crumb pH", "unit": "pH", "now": None, "needs": None, "last": 4.5,
                         "good": False, "against": "it is on no record, nor a target for it"},
                        {"quantity": None, "title": "Spores that reach a pack", "unit": "of today's", "now": 1, "needs": 0.17,
                         "last": 0.001, "good": True, "against": ""}]},
    "heat": "Packed at 51.9 °C in a room of 21 °C. Drops that stay on the crust the models do not hold.",
    "law": ["The limit in force here is that of prepacked sliced bread, European Union: local law decides."], "assumes": [],
          "calibrated": False, "cautions": ["Keep to local law."]}
RETURNS = dict(
    RATES, **{"from": "2026-11-09", "to": "2026-11-15", "returns": 2, "units": 26,
              "dispatched": 600, "on_record": True, "by": {
                  "route": SENT, "store": SENT, "product": SENT,
                  "symptom": [{"level": "mold", "returns": 2, "units": 26, "share": 1}],
                  "reason": [{"level": "crushed on the lorry and then wet from the rain at the dock",
                              "returns": 1, "units": 24, "share": 0.92},
                             {"level": "not given", "returns": 1, "units": 2, "share": 0.08}],
                  "disposition": [{"level": "not given", "returns": 2, "units": 26, "share": 1}]},
              "stand": [{"complaint": "0199", "case": "C7", "at": "2026-11-12T09:00:00-05:00",
                         "put_at": "beside the slicer of line 2", "units": 24, "caution": "Move"}]})


SAY = "Stop eating it, says the plant."


class Daemon(socketserver.ThreadingMixIn, socketserver.UnixStreamServer):
    daemon_threads = True
    request_queue_size = 64

    def __init__(self, path):
        self.path = path
        self.requests = []
        self.complaints = {}
        self.uploads = {}
        self.busy = 0          # so many requests are answered 503 first
        self.own_tmp = False   # what it writes for a backup, nobody sees
        self.month_first = True
        self.needs = [{"what": "mail-not-set-up", "says": "no mail is set up: reports of harm reach nobody by mail",
                       "do": "set mail/program, mail/to and mail/urgent_to, then reload"}]
        self.started = 0       # it comes back so often from a restore
        self.restores = True   # and has restored
        self.comes_back, self.within_s = True, 30
        self.restored = None
        self.refuse = None     # problem() for everything
        self.script_of_answers = ()  # one after the other, as a test has them
        self.similar = []
        self.doubts = []
        self.ask = ASK
        self.script = None
        self.alarm = None  # what it says of mail about harm
        self.gone = False      # open connections get no answer any more
        self.faults = []       # of its answers, by the schemas that the real daemon's keep to
        self.lock = threading.Lock()
        super().__init__(path, Handler)

    def start(self):
        threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True).start()
        return self

    def stop(self):
        self.gone = True
        self.shutdown()
        self.server_close()
        if os.path.exists(self.path):
            os.unlink(self.path)

    def bodies(self, path):
        return [r["body"] for r in self.requests if r["path"] == path]

    # ---- answers ----

    def logged(self, complaint):
        again = complaint["id"] in self.complaints
        if not again:
            self.complaints[complaint["id"]] = complaint
        number = list(self.complaints).index(complaint["id"]) + 1
        answer = self.understood(complaint)
        answer.update({"complaint": complaint["id"], "short": complaint["id"][:13], "case": "C%d" % number, "again": again})
        return answer

    def understood(self, complaint):
        sure = "6321" in complaint.get("lot_text", "")
        lots = [{"lot": "L2-6321-B0412", "weight": 1.0 if sure else 0.7}]
        if not sure:
            lots.append({"lot": "L2-6327-B0412", "weight": 0.2})
        observed = complaint.get("observed", {})
        taken = []
        note = complaint.get("note", "")
        if "sour" in note and "odor" not in observed:
            taken = [{"field": "observed.odor", "value": "sour", "from": "words in the note"}]
        if "white pan" in note and "product" not in complaint:
            taken.append({"field": "product", "value": "white pan", "from": "white pan"})
        if "tooth" in note and "harm" not in complaint:
            taken += [{"field": "harm", "value": kind, "from": words}
                      for kind, words in (("foreign-matter", "bit on metal"), ("injury", "tooth is chipped"))]
        told = dict(EXACT if sure else SEVERAL, lot_text=complaint.get("lot_text"))
        answer = {**told, "lots": lots if complaint.get("lot_text") else [],
                  "understood": UNDERSTOOD if sure else {}, "ranked": CAUSES[:3],
                  "ask": [a for a in self.ask if a["fact"] not in observed],
                  "cautions": CAUTIONS, "taken": taken,
                  "doubts": [d for d in self.doubts if d.get("value") == complaint.get(d["field"], d.get("value"))],
                  "similar": self.similar, "harm": complaint.get("harm", []) or ["illness"] * ("vomit" in note),
                  "harm_possible": "itch" in note}
        if self.script:
            answer["script"] = self.script
        if self.alarm and answer["harm"]:
            answer["alarm"] = self.alarm
        return answer

    def post_complaints(self, query, body, content_type):
        if content_type.startswith("application/x-ndjson"):
            lines = []
            for number, line in enumerate(body.splitlines(), 1):
                complaint = json.loads(line)
                if "refused" in complaint:
                    harm = "vomit" in complaint.get("note", "") + complaint.get("reason", "")
                    lines.append({"error": dict(complaint["refused"]["faults"][0], source="", line=number,
                                                 faults=complaint["refused"]["faults"]),
                                  **({"harm": ["illness"], "script": SAY} if harm else {})})
                elif complaint.get("product") == "NOPE":
                    lines.append({"error": {"source": query.get("source", ""), "line": number,
                                            "field": "product", "value": "NOPE",
                                            "reason": "no such product"}})
                else:
                    lines.append(self.logged(complaint))
            return 200, "application/x-ndjson", "".join(json.dumps(x) + "\n" for x in lines)
        complaint = json.loads(body)
        if complaint.get("product") == "NOPE":
            status, kind, document = problem(
                400, "invalid", "the complaint is refused",
                [{"source": "", "line": 0, "column": 0, "field": "product", "value": "NOPE",
                  "reason": "no such product"}], "leave the product out if it is not known")
            if complaint.get("harm"):
                document.update(harm=complaint["harm"], script=SAY)
            return status, kind, document
        answer = self.logged(complaint)
        return (200 if answer["again"] else 201), "application/json", answer

    def post_records(self, kind, query, body):
        load = self.uploads.setdefault(query["load"], {"kind": kind, "parts": [], "query": query})
        if int(query["part"]) != len(load["parts"]):
            return problem(409, "conflict", "part %s is out of order" % query["part"])
        load["parts"].append(body)
        text = "".join(load["parts"])
        rows = text.split("\n")[1:]
        rows = [r for r in rows if r]
        if query["last"] != "1":
            return 200, "application/json", {"load": query["load"], "part": int(query["part"]),
                                             "read": len(rows), "refused": [], "refused_total": 0}
        refused = [{"source": query["source"], "line": i + 2, "column": "value", "value": "x",
                    "reason": "not a number"} for i, r in enumerate(rows) if r.endswith(",x")]
        applied = (query["keep_good"] == "1" or not refused) and query["dry_run"] == "0"
        new = len(rows) - len(refused) if applied else 0
        return 200, "application/json", {
            "kind": kind, "read": len(rows), "new": new, "changed": 0, "same": 0,
            "refused": refused, "refused_total": len(refused), "applied": applied}

    def rank(self, case):
        return {"case": case, "symptom": "mold", **EXACT,
                "as_of": "2026-11-20T09:14:00-05:00", "rules": "sha256:00", "complaints": ["a"],
                "state": "open", "revision": 1, "lots": [{"lot": "L2-6321-B0412", "weight": 1.0}],
                "ranked": [dict(CAUSES[0], **{"for": FOR, "against": AGAINST})] + CAUSES[1:],
                "harm": False, "harm_possible": False, "caller_cautions": CAUTIONS, "joined": [], "ask": ASK, "checks": [{"do": "Read the chart of the cooler for that hour.", "who": "plant",
                            "effort": "minutes", "settles": 0.6}],
                "actions": ["Cool longer before the slicer."],
                "cautions": CAUTIONS}

    def why(self, case):
        facts = [dict(FOR[0], **{"usual": 38.4, "z": 6.1, "for": True, "counted": True, "unit": "degC", "group": "heat",
                                 "source": "common practice", "file": "packed-hot.json"}),
                 {"fact": "cool_min", "name": "Cooling time", "usual": 61, "z": -4.2, "value": 38, "target": 60, "unit": "min", "bits": 1.2,
                  "for": True, "counted": False, "group": "heat", "because": "Less cooling, "
                  "warmer bread.", "source": "common practice", "file": "packed-hot.json"},
                 dict(AGAINST[0], **{"usual": None, "z": None, "target": None, "unit": None, "group": None,
                                     "for": False, "counted": True, "source": "common practice",
                                     "file": "packed-hot.json"})]
        return {"case": case, "symptom": "mold", "as_of": "2026-11-20T09:14:00-05:00", **EXACT,
                "rules": "sha256:00", "pool_exponent": 0.8,
                "causes": [dict(CAUSES[0], prior=0.12, bits=2.3, facts=facts, missing=["crumb_aw"],
                                missing_names=["Crumb water activity"])],
                "flips": [{"fact": "core_at_pack_c", "from": 47.5, "to": 37.0,
                           "text": "With 37 degC at packing, too little inhibitor would lead."}]}

    def get(self, path, query):
        parts = [urllib.parse.unquote(p) for p in path.split("/")[2:]]
        if parts[0] == "cases" and len(parts) > 1 and parts[1] == "C404":
            return problem(404, "not-found", "there is no case C404")
        if parts[0] == "cases" and len(parts) == 1:
            case = {"case": "C1", "symptom": "mold", **EXACT, "product": "W24",
                    "name": "Harrow White 24", "line": "2", "complaints": 3, "packs": 4,
                    "opened": "2026-11-19T08:00:00-05:00", "as_of": "2026-11-20T09:14:00-05:00",
                    "state": "open", "top": CAUSES[0], "harm": True, "hold": True}
            return 200, "application/json", {"cases": [case], "next": None}
        routes = {
            "status": lambda: {"version": "9", "plant": "Harrow Mill Bakery",
                               "time_zone": "America/New_York", "month_first": self.month_first, "uptime_s": 7260, "needs": self.needs,
                               "started_at": "2026-11-20T09:%02d:00.000-05:00" % self.started,
                               "records": [
                                   {"line": "1", "kind": "lots", "last_at": "2026-11-20T04:12:00-05:00"},
                                   {"line": "1", "kind": "readings", "last_at": "2026-11-19T20:12:00-05:00"}],
                               "backup": {"at": "2026-11-20T03:00:00-05:00", "there": True, "every_h": 24,
                                          "path": "/var/lib/oddloaf/backups/b.db", "last_error": None},
                               "restored": self.restored, "inbox": None,
                               "rules": {"hash": "sha256:00", "causes": 36,
                                         "loaded_at": "2026-11-20T09:14:00-05:00",
                                         "own_files": 2, "release_changed": 1, "needs_restart": [], "last_error": None},
                               "counts": {"products": 6, "lots": 3640, "readings": 51200,
                                          "complaints": 12, "cases_open": 2, "cases_settled": 9},
                               "mail": {"gap": "no mail is set up: reports of harm reach nobody by mail",
                                        "faults": ["mail/to 'q a': is not a mail address"]},
                               "outbox": {"waiting": 2, "urgent": 2, "parked": 1, "sent": 7,
                                          "oldest_at": "2026-11-20T09:14:00-05:00", "last_error": None},
                               "work": {"rank": 0, "rematch": 0},
                               "store": {"db_bytes": 1500000, "wal_bytes": 0, "lost": None, "unread": None,
                                         "disk_free_bytes": 50000000000,
                                         "integrity": {"state": "sound", "found": None,
                                                       "at": "2026-11-20T09:15:00-05:00"}},
                               "writer": {"jobs": 9, "groups": 7, "refused": 0, "queued": 0,
                                          "largest_group": 2}},
            "outbox": lambda: OUTBOX,
            "call-backs": lambda: {"call_backs": [CALL, dict(CALL, due="2026-11-30", overdue=False, reference=None,
                                                             state="settled")], "waiting": 7,
                                   "unreachable": [dict({k: CALL[k] for k in ("complaint", "short", "reference", "case", "symptom", "state")},
                                                        why="illness reported")]},
            "holds": lambda: {"holds": [
                dict(HOLD, units=12400, in_code=True, code_date="2026-11-27", on_record=True,
                     product="W24", line="2", routes=["R11", "R4"], age_days=3),
                dict(HOLD, hold="H12", lot="L2-6399-A0400", case=None, units=0, in_code=False,
                     code_date=None, on_record=False, product="", line="", routes=[],
                     age_days=11)]},
            "rules": lambda: {"rules": "sha256:00", "causes": [
                {"cause": "packed-hot", "title": "Packed too hot", "symptoms": {"mold": 0.1},
                 "file": "/own/causes/packed-hot.json"}], "quantities": [
                    {"quantity": "crumb_ph", "title": "Crumb pH", "unit": "pH", "of_lot": True},
                    {"quantity": "mold_genus", "title": "Mold identified", "unit": "", "of_lot": True},
                    {"quantity": "swab_cfu", "title": "Swab", "unit": "cfu", "of_lot": False}],
                "places": [{"place": "cooling", "title": "Cooling area", "zone": 2}], "folders": "/own:/shipped", "own": [
                {"file": "causes/packed-hot.json", "folder": "/own", "is": "changed", "release": "changed"},
                {"file": "lots.json", "folder": "/own", "is": "same", "release": "unknown"}]},
            "scores": lambda: {"stages": STAGES, "from": None, "to": None, "verdicts": 20, "top1": 0.75, "top3": 0.95, "top1_range": {"low": 0.531, "high": 0.888}, "top3_range": {"low": 0.764, "high": 0.991}, "log_score": 0.61,
                               "case_brier": 0.21, "floored": 0, "calibration_error": 0.03,
                               "top_calibration": [{"said": 0.81, "was": 0.78, "n": 9}],
                               "top_calibration_error": 0.03, "proposals": [],
                               "learning": {"on": True, "cases": 18, "top1_without": 0.5, "top1_with": 0.61, "switches": [
                                   {"on": True, "by": "mira", "at": "2026-11-02T09:00:00-05:00"}]},
                               "brier": {"score": 0.2, "reliability": 0.01, "resolution": 0.15,
                                         "uncertainty": 0.34},
                               "calibration": [{"said": 0.81, "was": 0.78, "n": 9}]},
            "calibration": lambda: CALIBRATION,
            "returns": lambda: RETURNS,
            "gaps": lambda: GAPS,
            "whatif": lambda: WHATIF,
            "trace": lambda: {"symptom": "mold", "tested": 32, "factors": [
                {"factor": "film", "level": "F-0911", "case_lots_exposed": 9, "case_lots": 11,
                 "other_lots_exposed": 20, "other_lots": 400, "odds_ratio": 85.5, "low": 17.2,
                 "high": 800, "p": 1e-9, "exact": True, "q": 3.2e-7,
                 "same_lots": [{"factor": "store", "level": "0103"},
                               {"factor": "store", "level": "0110"}]},
                {"factor": "supplier", "level": "film from Pellow Film", "case_lots_exposed": 11,
                 "case_lots": 11, "other_lots_exposed": 320, "other_lots": 400,
                 "odds_ratio": None, "low": 0.55, "high": None, "p": 0.2, "exact": True, "q": 0.33,
                 "beside_first": {"odds_ratio": 1.29, "low": 0.04, "high": 18.5, "p": 0.4}}],
                "runs": [{"line": "2", "from": "2026-11-16T04:00:00-05:00",
                          "to": "2026-11-17T10:00:00-05:00", "lots": ["A", "B"], "observed": 9,
                          "expected": 0.6, "ratio": 15, "p": 0.001}],
                "stories": [
                    {"told": True, "factors": [
                        {"factor": "line", "level": "2", "share": 0.62, "throughout": False, "from": "2026-11-16T04:00:00-05:00",
                         "to": "2026-11-17T10:00:00-05:00", "lots": 4, "observed": 9, "expected": 0.61, "ratio": 14},
                        {"factor": "film", "level": "F-0911", "share": 0.35, "throughout": True, "from": "2026-11-16T04:00:00-05:00",
                         "to": "2026-11-18T02:00:00-05:00", "lots": 6, "observed": 9, "expected": 0.9, "ratio": 9}]},
                    {"told": True, "factors": [
                        {"factor": "store", "level": "0103", "share": 0.97, "throughout": True, "from": "2026-11-02T04:00:00-05:00",
                         "to": "2026-11-18T02:00:00-05:00", "lots": 80, "observed": 5.3, "expected": 0.5, "ratio": 8}]}]},
            "actions": lambda: {"actions": [
                {"action": 7, "cause": "packed-hot", "line": "2", "at": "2026-11-20",
                 "note": "Second fan at the cooler", "by": "qa"}]},
        }
        if parts[0] in routes and len(parts) == 1:
            return 200, "application/json", routes[parts[0]]()
        if parts[0] == "ranks":
            after = int(query.get("after", "C0")[1:])
            cases = ["C%d" % n for n in range(after + 1, 251)][:int(query["limit"])]
            return 200, "application/x-ndjson", "".join(
                json.dumps(self.rank(c)) + "\n" for c in cases)
        if parts[0] == "cases":
            case = parts[1]
            part = parts[2] if len(parts) > 2 else ""
            answers = {"": self.rank, "why": self.why, "follow": followed,
                       "ask": lambda c: {"case": c, **EXACT, "as_of": "2026-11-20T09:14:00-05:00", "ask": ASK, "says": None},
                       "reach": lambda c: {"case": c, **EXACT, "cause": "packed-hot", "title": "Packed too hot",
                           "probability": 0.81, "as_of": "2026-11-20T09:14:00-05:00", "in_code_on": "2026-11-22", "more": c == "C9", "words_alone": c == "C9", "within_days": 14, "lots": [
                           {"product": "W24", "line": "2", "lot": "L2-6321-C0600", "probability": 0.9, "units": 12400,
                            "code_date": "2026-11-27", "in_code": True, "routes": ["R4", "R11"],
                            "because": "packed at 46 degC"}]}}
            return 200, "application/json", answers[part](case)
        if parts[0] == "lots":
            return 200, "application/json", {
                **(EXACT if parts[1] == "L2-6321-B0412" else SEVERAL), "shown": "L2-6321-B0412",
                "exact": parts[1] == "L2-6321-B0412", "product": "W24",
                "line": "2", "code_date": "2026-11-27", "units": 12400,
                "name": "Harrow White 24", "family": "pan-bread", "plant": "", "shift": "B",
                "made_from": "2026-11-17T01:05:00-05:00",
                "packed_from": "2026-11-17T04:12:00-05:00",
                "packed_to": "2026-11-17T07:00:00-05:00",
                "lots": CANDIDATES, "candidates": CANDIDATES,
                "readings": [{"quantity": "core_at_pack_c", "title": "Core temperature at packing",
                              "computed": False, "low": None,
                              "at": "2026-11-17T04:12:00-05:00", "value": 47.5, "unit": "degC",
                              "target": 38, "high": 41, "usual": 38.4, "z": 6.1, "n": 2,
                              "min": 46, "max": 49}],
                "materials": [{"material": "film", "material_lot": "F-0911", "supplier": "Tern",
                               "kg": None, "active_pct": None}],
                "dispatch": [{"route": "R4", "store": "0417", "units": 600,
                              "at": "2026-11-17T09:00:00-05:00", "transit_c": 21.5}],
                "cases": [{"case": "C12", "symptom": "mold", "complaints": 3, "harm": False, "state": "open",
                           "as_of": "2026-11-20T09:14:00-05:00",
                           "top": {"cause": "packed-hot", "title": "Packed too hot", "probability": 0.81}},
                          {"case": "C13", "symptom": "staling", "complaints": 1, "harm": True, "state": "settled",
                           "as_of": "2026-11-21T09:14:00-05:00"}],
                "may_be": 1,
                "samples": [{"quantity": "mold_free_days", "value": 9, "at": "2026-11-26T08:00:00-05:00",
                             "note": "none yet"}],
                "neighbours": [{"lot": "L2-6321-A2200", "product": "W24", "side": "before", "complaints": 0,
                                "packed_from": "2026-11-16T22:00:00-05:00", "packed_to": "2026-11-17T03:50:00-05:00"}],
                "prediction": {"mold_free_days": {
                    "as_made": {"low": 3, "typical": 4.5, "high": 6},
                    "as_specified": {"low": 8, "typical": 10, "high": 13},
                    "terms": [{"term": "packed warm", "days_lost": 6},
                              {"term": "temperature", "days_lost": -0.5}],
                    "costliest": "packed warm", "calibrated": False,
                    "curve": [{"day": d, "as_made": d / 21, "as_specified": d / 42}
                              for d in range(1, 22)]},
                    "firmness": {"day": 4, "as_made": 1.1, "as_specified": 1.0},
                    "odor": {"cold": 0.2, "warm": 0.4, "valid": True}, "condensate_g": 0.3}}
        if parts[0] in ("spans", "weeks"):
            compared = {"complaints": 20, "units": 400000, "per_million": 50, "ratio": 1.5, "low": 0.9, "high": 2.6}
            none = {**compared, "complaints": 0, "ratio": None, "high": None}
            against = {"against": {"span": query.get("against"), "from": "2026-10-01", "to": "2026-10-31", "over": True,
                                   "units": 400000, "mold": compared, "off-odor": none, "staling": compared}}
        if parts[0] == "spans":
            return 200, "application/json", {
                "span": parts[1], "from": "2026-11-01", "to": "2026-11-30", "as_of": "2026-11-23T06:00:00-05:00",
                "over": False, "complaints": {"mold": 31, "off-odor": 4, "staling": 9}, "units": 412300,
                "rates": {"mold": 75.2}, "causes": [], "headline": [], "harm_since": [], "by": {"line": [
                    {"level": "2", "symptom": "mold", "complaints": 21, "units": 140200, "per_million": 149.8,
                     "low": 92.7, "high": 229.0}]}, **(against if "against" in query else {})}
        if parts[0] == "weeks":
            if query.get("format") == "html":
                return 200, "text/html", "<!doctype html><title>week</title>\n"
            if query.get("format") == "csv":
                return 200, "text/csv", "factor,level\r\nline,2\r\n"
            asked = {"by_only": ["line"]} if "by" in query else {}
            weeks = [{"week": f"2026-W{w}", "complaints": 10, "on_sale": 3.2e5, "low": 12,
                      "per_million": 30 + w % 5, "expected": 9.6, "signal": int(w == 47), "sum": 0}
                     for w in range(10, 48)]
            return 200, "application/json", {
                "as_of": "2026-11-23T06:00:00-05:00", "over": True,
                "headline": ["Mold on line 2: 21 complaints since 2 November, usual 9; most likely packed too hot",
                             "1 lot on hold, 15 000 packs; 15 000 of them still in code"],
                "standing": {"mold": {"up": True, "says": "above its limits; a lasting rise since 2026-W45"},
                             "off-odor": {"up": True, "says": "up since 2 November"},
                             "staling": {"up": False, "says": "within its limits"}},
                "stories": [{"symptom": "mold", "led_by": {"factor": "line", "level": "2"},
                             "beneath": [{"factor": "cause", "level": "packed-hot", "title": "Packed too hot"}],
                             "since": "2026-W45", "observed": 21, "expected": 9.2, "still": False,
                             "course": "over", "newest": 1, "newest_usual": 2.1,
                             "lots": {"complained_of": 9, "at_risk": 12, "in_code": 2, "units_in_code": 13200,
                                      "on_hold": 1}}],
                "fell": [],
                "before": {symptom: {"week": 8, "four_weeks": 7.5, "year": None} for symptom in ("mold", "off-odor", "staling")},
                "harm": [], "harm_since": [], "holds": [], "overdue": OVERDUE, "overdue_count": 12, "stages": STAGES, "actions": [],
                "tested": {"series": 60, "false_share": 0.1, "recent_weeks": 4,
                           "baseline_weeks": 26},
                "charts": {"mold": {"center": 31, "sigma_factor": 1.2, "dispersion": 1.5,
                                    "season": False, "trend": False, "weeks": weeks, "made": [],
                                    "sum": {"limit": 20, "rise": 1.5, "run_length": 200,
                                            "alarm": True, "since": "2026-W45"}}},
                "right": {"week": {"verdicts": 0, "ranked": 0},
                          "quarter": {"verdicts": 12, "ranked": 12, "top1": 0.75, "top3": 1,
                                      "log_score": 0.6, "brier": 0.2,
                                      "days_to_verdict": {"median": 2.4, "most": 9}}},
                "open_cases": [{"age": "this week or last", "mold": 20, "off-odor": 1,
                                "staling": 2, "other": 0, "cases": 23}], "unplaced": {"line": {"staling": 3}}, **asked,
                **(against if "against" in query else {}),
                "week": "2026-W47", "complaints": {"mold": 31, "off-odor": 4, "staling": 9},
                "units": 412300,
                "by": {"line": [{"level": "2", "symptom": "mold", "complaints": 21,
                                 "units": 140200, "per_million": 149.8, "low": 92.7,
                                 "high": 229.0, "trend": [40, 52, 48, 150], "on_sale": 300400, "per_million_on_sale": 69.9,
                                 "made": {"complaints": 8, "share_in": 0.39, "per_million": 64.1,
                                          "low": 27.7, "high": 126}}]},
                "causes": [{"cause": "packed-hot", "title": "Packed too hot", "symptom": "mold",
                            "expected": 17.3, "share": 0.39, "cumulative": 0.39, "vital": True}],
                "to_come": [{"made_week": "2026-W47", "symptom": "mold", "reported": 31,
                             "expected_final": 52.4, "low": 41, "high": 66, "share": 0.59,
                             "too_early": False, "units": 412300}],
                "signals": [{"factor": "line", "level": "2", "symptom": "mold",
                             "since": "2026-W45", "observed": 21, "expected": 9.2, "p": 0.001, "q": 0.004,
                             "ratio": 2.2, "low": 1.4, "high": 3.3, "still": False, "course": "over"},
                            {"factor": "cause", "level": "inhibitor-ineffective-ph",
                             "symptom": "off-odor", "since": "2026-W45", "observed": 1234.5,
                             "expected": 0.12, "p": 1e-31, "q": 1e-30, "ratio": 100.2, "low": 90.4,
                             "high": 123.3, "still": True, "course": "up"}]}
        if parts[0] == "actions":
            return 200, "application/json", {
                "action": 7, "at": "2026-11-20", "note": "Second fan at the cooler",
                "verdict": "fewer complaints", "text": "Fewer than before.",
                "compared": "Lots packed 2026-10-23 to 2026-11-19 (28 days) beside those packed "
                            "2026-11-20 to 2026-12-17 (28 days).",
                "caution": "Lots before and after differ in more than this.",
                "before": {"complaints": 40, "units": 300000, "per_million": 133,
                                        "low": 95, "high": 181},
                "after": {"complaints": 0.4, "units": 310000, "per_million": 1.3, "low": 11.1,
                          "high": 50.8},
                "ratio": {"ratio": 0.19, "low": 0.08, "high": 0.42}, "p": 0.00001}
        return problem(404, "not-found", "there is nothing at " + path)

    def answer(self, method, path, query, body, content_type):
        if self.busy > 0:
            self.busy -= 1
            return problem(503, "busy", "too much is waiting")
        if self.refuse:
            return self.refuse
        if self.script_of_answers and (path != "/v1/status" or "needs" in self.script_of_answers[0][2]):
            return self.script_of_answers.pop(0)
        if method == "GET":
            return self.get(path, query)
        if path == "/v1/complaints":
            return self.post_complaints(query, body, content_type)
        if path == "/v1/complaints/preview":
            return 200, "application/json", self.understood(json.loads(body))
        if path.startswith("/v1/records/"):
            return self.post_records(path.split("/")[3], query, body)
        sent = json.loads(body)
        if path == "/v1/calibration":
            return 200, "application/json", {
                "adopted": CALIBRATION["adopted"] if sent.get("adopt") else None,
                "rules": "sha256:01"}
        if path == "/v1/scores":
            return 200, "application/json", {"on": sent["learn"], "rules": "sha256:02"}
        if path == "/v1/lots/hold":
            if "L0" in sent["lots"]:
                return problem(404, "not-found", "there is no lot L0; nothing was recorded")
            return 200, "application/json", {"held": sent["lots"], "already": [], "not_on_record": [],
                                             "others": [HOLD] if "L2" in sent["lots"] else []}
        if path == "/v1/lots/release":
            return 200, "application/json", {"released": sent["lots"], "not_on_record": [],
                                             "disposition": sent["disposition"],
                                             "still_held": [HOLD] if "hold" in sent else []}
        if path == "/v1/actions":
            return 201, "application/json", {"action": 7, "at": sent.get("at", "2026-11-20")}
        if path.endswith("/follow"):
            return 200, "application/json", followed(path.split("/")[3])
        if path.endswith("/verdict"):
            state = "open" if sent.get("reopen") else "settled"
            return 200, "application/json", {"case": path.split("/")[3], "state": state}
        if path == "/v1/erase":
            return 200, "application/json", {"erased": 1 if "5550100" in sent["contact"] else 0, "copies": []}
        if path == "/v1/restore":
            asked = {"restoring": sent["file"], "started_at": "2026-11-20T09:%02d:00.000-05:00" % self.started,
                     "within_s": self.within_s}
            self.started += 2 if self.comes_back else 0
            if self.restores:
                self.restored = {"at": "2026-11-20T09:%02d:30.000-05:00" % (self.started - 1), "file": sent["file"],
                                 "kept": "/var/lib/oddloaf/replaced/20261120T141400Z", "past_read": True,
                                 "erased": 2, "held_mails": 1, "missing": {"complaints": 7, "holds": 0, "ended_holds": 1}, "past_fault": None}
            return 200, "application/json", asked
        if path == "/v1/backup":
            if not self.own_tmp and "/" in sent["path"]:
                open(sent["path"], "w", encoding="utf-8").close()
            return 200, "application/json", {"backup": sent["path"]}
        return problem(404, "not-found", "there is nothing at " + path)


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def address_string(self):
        return "unix"

    def log_message(self, *args):
        pass

    def take(self, method):
        url = urllib.parse.urlsplit(self.path)
        query = dict(urllib.parse.parse_qsl(url.query))
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0)).decode()
        content_type = self.headers.get("Content-Type") or ""
        if self.server.gone:
            self.close_connection = True
            return
        with self.server.lock:
            self.server.requests.append({
                "method": method, "path": url.path, "query": query, "body": body,
                "type": content_type, "auth": self.headers.get("Authorization")})
            scripted = len(self.server.script_of_answers)
            status, kind, answer = self.server.answer(method, url.path, query, body, content_type)
        text = answer if isinstance(answer, str) else json.dumps(answer)
        if answers and not self.server.refuse and not scripted:  # a test's own
            self.server.faults += answers.faults(method, url.path, status, kind, text)
        data = text.encode()
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        if status == 503:
            self.send_header("Retry-After", "0")
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self):
        self.take("GET")

    def do_POST(self):
        self.take("POST")


class TlsDaemon(Daemon):
    """The same behind TLS on a port of the loopback, for --server."""

    address_family = socket.AF_INET

    def __init__(self, certificate):
        super().__init__(("127.0.0.1", 0))
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        self.socket = context.wrap_socket(self.socket, server_side=True)
        self.path = "/nowhere"

    def url(self):
        return "https://localhost:%d" % self.server_address[1]


if __name__ == "__main__":
    import sys
    print("serving on", sys.argv[1])
    Daemon(sys.argv[1]).serve_forever()
