"""Commands whole: what each asks the daemon and all that it prints, as commands/pages/<name>.txt has it. After a change
that was meant, PAGES=write in the environment writes them anew: read the difference."""

import json
import os
import pathlib
import re
import shlex
import unittest

import fake_daemon
from support import ClientTest

PAGES = pathlib.Path(__file__).resolve().parent / "commands" / "pages"
EXACT, SEVERAL, CANDIDATES, HOLD = (fake_daemon.EXACT, fake_daemon.SEVERAL, fake_daemon.CANDIDATES, fake_daemon.HOLD)
AT = "2019-11-20T09:14:00-05:00"
NOTHING_DECIDES = ("No answer would put another cause first or change what is done; this test would tell most: Measure crumb pH "
                   "of the retained sample.")

CASES = [
    {"case": "C1", "symptom": "mold", **EXACT, "line": "2", "complaints": 1200, "as_of": AT, "state": "open",
     "top": {"cause": "packed-hot", "probability": 0.814}},
    {"case": "C2", "symptom": "staling", **SEVERAL, "line": None, "complaints": 1, "opened": "2018-01-02T00:00:00Z",
     "state": "settled", "hold": True, "settled_on": "not-known", "top": {"cause": "packed-hot", "probability": 0.45}},
    {"case": "C3", "symptom": "mold", "lot": "L9", "complaints": 2, "as_of": AT, "state": "settled", "harm": True,
     "harm_since_settled": True, "top": {"cause": "packed-hot", "probability": 0.9}},
    {"case": "C4", "symptom": "mold", "complaints": 2, "as_of": "", "harm": True, "hold": True}]
FOUND = [
    {"complaint": "01990000-0000-7000-8000-000000000001", "short": "01990000-0000-7", "received_at": AT, "case": "C1", "symptom": "mold", **EXACT,
     "reference": "T-7", "contact": {"name": "Ann", "phone": "555 01"}, "store": "Elm Street", "note": "n" * 91},
    {"complaint": "0199", "received_at": AT, "case": "C2", "symptom": "staling", "lot_named": "lot not known",
     "withdrawn": True, "note": "n" * 90}]
EVENTS = [
    {"at": AT, "by": "dana", "what": "logged", "complaint": "01990000-0000-7000-8000-000000000001",
     "short": "01990000-0000-7"},
    {"at": AT, "by": "mira", "what": "corrected", "field": "observed/colour", "was": "black", "is": "green",
     "why": "misheard", "complaint": "0199"},
    {"at": AT, "by": "mira", "what": "corrected", "field": "harm", "was": "[\"illness\"]", "is": "", "why": ""},
    {"at": AT, "by": "mira", "what": "withdrawn", "field": "withdrawn", "was": "", "is": "1", "why": "twice"},
    {"at": AT, "by": "qa", "what": "hold", "lot": "L1", "is": "glass"},
    {"what": "moved", "field": "lot", "was": "L1", "is": ""}]
FACTS = [
    {"fact": "core", "name": "Core", "value": 47.5, "unit": "degC", "target": 38, "usual": 38.44, "bits": 6.5,
     "because": "Warm.", "source": "s", "file": "/a/b.json", "for": True, "counted": True},
    {"fact": "side", "bits": 0.05, "value": "no"}, {"fact": "quiet", "bits": 0.049, "value": "yes"},
    {"fact": "still", "bits": -0.04, "value": 3}, {"fact": "lone", "bits": -0.05, "because": "Drops."},
    {"fact": "cool", "bits": 1.2, "counted": False, "value": 38}, {"fact": "odd", "bits": 2, "for": False}]
WHY = {"case": "C1", "symptom": "mold", "as_of": AT, **SEVERAL, "harm_possible": True, "causes": [
    {"cause": "hot", "title": "Hot", "probability": 0.5, "prior": 0.12, "facts": FACTS, "missing": ["aw", "ph"], "missing_names": ["Crumb water", "Crumb pH"]},
    {"cause": "bare", "probability": 0.004, "facts": []}],
    "flips": [{"fact": "core", "from": 47.5, "to": 37.0}, {"fact": "x", "text": "With x it would."}]}
LOT = {"lot": "L1", "probability": 0.9, "units": 12400, "code_date": "2019-11-27", "in_code": True, "routes": ["R1", "R2"],
       "because": "hot"}
PAST = {**LOT, "lot": "L2", "in_code": False, "probability": 0.004, "routes": [], "holds": [HOLD]}
REACH = {"case": "C1", **EXACT, "cause": "hot", "title": "Packed hot", "in_code_on": "2019-11-22", "within_days": 14}
STATUS = {"version": "9", "plant": "", "time_zone": "UTC", "uptime_s": 3599, "needs": [], "counts": {},
          "rules": {"hash": "sha256:" + "a" * 40, "causes": 1200, "loaded_at": AT, "release_changed": 1, "own_files": 3,
                    "last_error": "a.json:1:2: bad", "needs_restart": ["tcp/listen"]},
          "records": [{"line": "", "kind": "lots", "last_at": AT}, {"line": "", "kind": "readings", "last_at": None},
                      {"line": "1", "kind": "lots", "last_at": None}, {"line": "2", "kind": "lots", "last_at": None}],
          "mail": {"gap": None, "faults": []}, "outbox": {"waiting": 0, "parked": 0, "urgent": 0, "last_error": ""},
          "store": {"db_bytes": 1500000, "wal_bytes": 5e4, "lost": "no room", "unread": "x",
                    "disk_free_bytes": 0, "integrity": {"state": "unknown", "at": None}},
          "backup": {"at": None, "every_h": 0}, "restored": {"at": AT, "file": "b.db"},
          "work": {"rank": 3, "rematch": 1}, "writer": {"queued": 2, "groups": 1200}}
BUSY = {**STATUS, "uptime_s": 3600, "plant": "Harrow", "needs": [{"says": "no room", "do": "make some"}],
        "rules": {"hash": "x", "causes": 1, "release_changed": 2, "own_files": 3},
        "counts": {"cases_open": 2, "lots": 3640}, "records": [{"line": "1", "kind": "lots", "last_at": AT},
        {"line": "1", "kind": "readings", "last_at": AT}, {"line": "2", "kind": "lots", "last_at": AT}],
        "store": {"db_bytes": 0, "wal_bytes": 0, "lost": None, "unread": "damaged"},
        "outbox": {"waiting": 3, "parked": 1, "urgent": 1, "last_error": "no route"},
        "backup": {"at": AT, "path": "/b.db", "there": False, "every_h": 24}, "restored": None, "work": {"rank": 0}}
TRACED = {"factor": "film", "level": "F1", "case_lots_exposed": 9, "case_lots": 11, "other_lots_exposed": 20,
          "other_lots": 400, "odds_ratio": 85.5, "low": 17.2, "high": 800, "q": 0.001}
BLAMED = {"factor": "line-hour", "level": "2 04:00", "share": 0.9, "throughout": False, "from": AT, "to": AT, "lots": 1, "observed": 1,
          "expected": 0.04, "ratio": 9}
RUN = {"line": "2", "from": AT, "to": AT, "lots": ["A"], "observed": 9, "expected": 0.6, "p": 0.0001}
RANK = {"case": "C1", "symptom": "mold", **EXACT, "as_of": AT, "complaints": ["a", "b"], "state": "settled", "harm": True,
        "harms": [{"complaint": "a", "at": AT, "harm": ["illness", "injury"]}, {"complaint": "b", "at": AT, "harm": ["illness"]}], "cautions": ["Call the lead."], "joined": [{"complaint": "01", "same_as": "02", "received_at": AT}] * 2,
        "moved_here": ["C7", "C8"], "verdict": {"cause": "hot", "confirmed_by": "assay", "by": "qa", "note": "seen"},
        "ranked": [{"cause": "hot", "title": "Hot", "probability": 0.6, "for": FACTS[:1] * 5, "against": FACTS[4:5]}]
        + [{"cause": f"c{n}", "probability": 0.05} for n in range(9)]}
KEPT = {**RANK, "ranked": [{**RANK["ranked"][0], "for": [{"fact": "core", "bits": 6.5, "value": 47.5}] * 4,
                            "against": [{"fact": "lone", "bits": -1}]}, *RANK["ranked"][1:]], "revision": 3, "complaints": 2, "rules": "sha256:" + "a" * 40, "mailed": "a complaint came"}
MAIL = {"id": 12, "event": "case", "case": "C5", "to": ["a@b.example"], "state": "sent", "queued_at": AT, "recipients": [
    {"to": "a@b.example", "state": "sent", "attempts": 1, "sent_at": AT, "next_at": None},
    {"to": "c@b.example", "state": "parked", "attempts": 2, "last_error": "no"}]}
EFFECT = {"action": 7, "note": "fan", "verdict": "fewer", "caution": "Mind.", "p": 0.01,
          "before": {"complaints": 1200, "units": 300000, "per_million": 133, "low": 95, "high": 181}}

# what a command reads, in the folder that it runs in
FILES = {"crumb.jpg": "pictured", "report.pdf": "%PDF-", "empty.txt": "", "large.txt": "x" * (512 * 1024),
         "measured.ndjson": '{"lot":"L1","lab":"N","sample":"1","results":[]}\n\n \r\n{"lot":\n{"lot":"L2"}\n',
         "attached.ndjson": '{"attachment":7,"to":"C1","name":"crumb.jpg","by":"ann"}\n{"attachment":8,"to":"C2","name":"x","by":"b"}\n',
         "attachments/7": "pictured"}
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")
ATTACHED = {"attachment": 7, "name": "crumb.jpg", "type": "image/jpeg", "bytes": 12400, "removed": 3}
LISTED = {"attachments": [{**ATTACHED, "case": "C1", "by": "ann", "at": AT},
                          {"attachment": 8, "name": "report.pdf", "type": "application/pdf", "bytes": 1240000,
                           "complaint": "01990000-0000-7000-8000-000000000001", "by": "mira ortiz", "at": "2019-11-21T09:14:00-05:00"}]}
MEASURED = {"lot": "L1", "lab": "Northgate", "sample": "26-114", "cautions": ["Mind."], "cases": [
    {"case": "C1", "changed": True, "was": {"cause": "hot", "probability": 0.6}, "is": {"title": "Low acid", "probability": 0.7}},
    {"case": "C2", "changed": False, "was": {"cause": "hot", "probability": 0.6}, "is": {"title": "Packed hot", "probability": 0.62}},
    {"case": "C3", "was": None, "is": None}], "results": [
    {"quantity": "crumb_ph", "title": "Crumb pH", "outcome": "new", "lab": "Northgate", "sample": "26-114", "method": "probe",
     "note": "twice", "at": AT, "value": 5.9, "unit": "pH", "said": "5.9", "known": True, "evidence": True},
    {"quantity": "core_at_pack_c", "outcome": "corrected", "was": "39 degC", "lab": "N", "sample": "1", "at": AT, "value": 40,
     "unit": "degC", "said": "104 degF", "mute": True},
    {"quantity": "mold_genus", "outcome": "new", "lab": "N", "sample": "1", "at": AT, "said": "Odd", "evidence": False},
    {"quantity": "crumb_aw", "outcome": "new", "lab": "N", "sample": "1", "at": AT, "value": 0.95, "unit": "1", "said": ".95",
     "evidence": False},
    {"quantity": "yeasts", "outcome": "new", "said": "<10", "nearest": ["yeast_cfu", "mold_cfu"]},
    {"quantity": "ash", "outcome": "new", "said": "2", "nearest": []},
    {"quantity": "old", "outcome": "taken back", "was": "7"}, {"quantity": "swab_cfu", "outcome": "same"}]}
FOLLOWED = {"case": "C1", "state": "open", "severity": "high", "owner": "mira", "due": None, "call_backs": [
    {"complaint": "0199", "due": "2026-11-19", "why": "results", "by": "mira", "at": AT}], "entries": [
    {"at": AT, "by": "mira", "what": "owner", "was": "", "is": "mira"}, {"at": AT, "by": "qa", "what": "note", "is": "rang the store"}],
    "working": {"set": True, "by_rule": "medium", "points": 1, "levels": [{"severity": "medium", "from": 1}, {"severity": "high", "from": 4}],
                "working": [{"fact": "complaints", "value": 3, "points": 1, "because": "several"}, {"fact": "sure", "value": 0.8, "points": 0},
                            {"fact": "harm", "value": 1, "points": 0}]}}
DENIED = fake_daemon.problem(403, "not-allowed", "this is for the desk and QA")

COMMANDS = {
    "attach": (["attach", "C1", "crumb.jpg", "report.pdf", "none.png", "--by", "ann"], [
        {}, ATTACHED, {}, {**ATTACHED, "attachment": 8, "name": "report.pdf", "type": "application/pdf", "removed": 0, "again": True,
                           "bytes": 5}]),
    "attach-refused": (["attach", "C1", "crumb.jpg", "empty.txt", "--by", "ann"], [
        fake_daemon.problem(413, "too-large", "no room"), {}, {**ATTACHED, "name": "empty.txt", "type": "text/plain", "bytes": 0}]),
    "attach-parts": (["attach", "C1", "large.txt", "--by", "ann"], [{}, {**ATTACHED, "name": "large.txt"}]),
    "attach-list": (["attach", "C1", "--list"], [LISTED]), "attach-list-none": (["attach", "C1", "--list"], [{"attachments": []}]),
    "attach-get": (["attach", "C1", "--get", "8"], [LISTED, "bytes of it"]),
    "attach-get-there": (["attach", "C1", "--get", "7"], [LISTED, "bytes of it"]),
    "attach-get-into": (["attach", "C1", "--get", "7", "--output", "out.jpg"], [LISTED, "bytes of it"]),
    "attach-get-none": (["attach", "C1", "--get", "9"], [LISTED]), "attach-get-denied": (["attach", "C1", "--get", "8"], [LISTED, DENIED]),
    "attach-get-zero": (["attach", "C1", "--get", "0"], []), "attach-get-two": (["attach", "C1", "C2", "--get", "1"], []),
    "attach-detach": (["attach", "C1", "--detach", "7", "--reason", "wrong", "--by", "ann"], [{"detached": 7}]),
    "attach-detach-why": (["attach", "C1", "--detach", "7"], []), "attach-nothing": (["attach"], []), "attach-no-file": (["attach", "C1"], []),
    "attach-from": (["attach", "--from", "attached.ndjson", "--by", "x"], [{}, ATTACHED]),
    "attach-from-none": (["attach", "--from", "none.ndjson"], []), "attach-from-case": (["attach", "C1", "--from", "attached.ndjson"], []),
    "measure": (["measure", "L1", "crumb_ph=5.9", "old=", "core_at_pack=104 degF", "--lab", "Northgate", "--sample", "26-114", "--method",
                 "probe", "--note", "twice", "--case", "C1", "--reason", "r", "--at", "2019-11-20", "--by", "mira"], [MEASURED]),
    "measure-instant": (["measure", "L1", "a=1", "--lab", "N", "--sample", "1", "--at", "2026-11-24T10:00:00-05:00", "--by", "mira"], [
        {**MEASURED, "results": MEASURED["results"][4:6], "heard": {"harm": ["illness"], "words": "salmonella"}}]),
    "measure-same": (["measure", "L1", "a=1", "--lab", "N", "--sample", "1", "--by", "m"], [
        {"lot": "L1", "lab": "N", "sample": "1", "results": MEASURED["results"][7:], "cases": []}]),
    "measure-no-case": (["measure", "L1", "a=1", "--lab", "N", "--sample", "1", "--by", "m"], [
        {"lot": "L1", "lab": "N", "sample": "1", "results": MEASURED["results"][6:], "cases": []}]),
    "measure-word": (["measure", "L1", "crumb_ph", "--lab", "N", "--sample", "1"], []),
    "measure-no-name": (["measure", "L1", "=5", "--lab", "N", "--sample", "1"], []),
    "measure-no-lab": (["measure", "L1", "a=5", "--sample", "1"], []), "measure-no-sample": (["measure", "L1", "a=5", "--lab", "N"], []),
    "measure-no-result": (["measure", "L1", "--lab", "N", "--sample", "1"], []),
    "measure-when": (["measure", "L1", "a=5", "--lab", "N", "--sample", "1", "--at", "whenever"], []),
    "measure-from": (["measure", "--from", "measured.ndjson"], [{"lot": "L1", "lab": "N", "sample": "1"}, fake_daemon.problem(404, "not-found", "no L2")]),
    "measure-from-denied": (["measure", "--from", "measured.ndjson"], [DENIED]),
    "measure-from-none": (["measure", "--from", "none.ndjson"], []), "measure-from-lot": (["measure", "L1", "--from", "measured.ndjson"], []),
    "follow": (["follow", "C1"], [FOLLOWED]),
    "follow-all": (["follow", "C1", "--owner", "me", "--due", "none", "--severity", "rules", "--reason", "r", "--note", "n", "--why", "w", "--answered",
                    "a", "--at", "2019-11-28 14:05", "--complaint", "0199", "--by", "mira"], [FOLLOWED]),
    "follow-none": (["follow", "C1", "--owner", "none", "--by", "mira"], [
        {**FOLLOWED, "owner": None, "working": {**FOLLOWED["working"], "set": False, "points": 2}, "call_backs": []}]),
    "follow-why": (["follow", "C1", "--severity", "high"], []), "follow-when": (["follow", "C1", "--at", "24:00"], []),
    "follow-nothing": (["follow"], []), "follow-both": (["follow", "C1", "--call-backs"], []), "follow-plant": (["follow", "C1", "--plant", "n"], []),
    "export": (["export", "all"], [{"files": ["README.md", "a/b"]}, {"text": "# All\n", "next": 2}, {"text": "end\n"}]),
    "export-whole": (["export", "whole", "--contacts"], [
        {"files": ["attached.ndjson"]}, {"text": '{"attachment":7}\n{"attachment":8}\n'}, "bytes", DENIED]),
    "export-there": (["export", "attachments"], [{"files": ["README.md"]}]),
    "complaint": (["complaint", "0199"], [{"complaint": "01990000-0000-7000-8000-000000000001", "received_at": AT, "channel": "phone", "case": "C1",
                                           "symptom": "mold", **EXACT, "note": "black", "by": "dana"}]),
    "complaint-perhaps": (["complaint", "0199"], [{"complaint": "01990000-0000-7000-8000-000000000001", "received_at": AT, "channel": "phone",
                                                   "case": "C1", "symptom": "mold", **EXACT, "harm_possible": True, "changes": [
        {"at": AT, "by": "jo", "field": "harm", "was": None, "is": "\"possible\"", "reason": "a repeat of it may speak of harm: felt odd"}]}]),
    "cases": (["cases", "--state", "all", "--symptom", "mold", "--line", "2", "--product", "W", "--order", "urgent"],
              [{"cases": CASES, "next": None}]),
    "cases-none": (["cases"], [{"cases": [], "next": None}]),
    "cases-more": (["cases", "--limit", "2"], [{"cases": CASES[:2], "next": "9"}]),
    "find": (["find", "black", "top", "--phone", "1", "--name", "a", "--ticket", "t", "--store", "s", "--lot", "l",
              "--since", "2019-11-01"], [{"complaints": FOUND, "next": None}]),
    "find-none": (["find"], [{"complaints": [], "next": None}]),
    "history": (["history", "0199"], [{"complaint": "0199", "events": EVENTS}]),
    "history-long": (["history", "L2 6321 A"], [{"lot": "L2 6321 A", "events": [
        {"at": "2019-11-20T09:14:00-05:00", "by": "mira ortiz", "what": "corrected", "field": "note", "was": "black spots near the "
         "clip, kept in the bread box for a day", "is": "black spots near the clip, kept on the counter", "why": "the caller rang again and "
         "said where it stood"},
        {"at": "2019-11-21T09:14:00-05:00", "by": "qa", "what": "hold", "lot": "L2 6321 A", "why": "glass found at the slicer of "
         "line 2, all of the shift is set aside until it is known"}]}]),
    "history-none": (["history", "C1"], [{"case": "C1", "events": []}]),
    "why": (["why", "C1"], [WHY]), "why-one": (["why", "C1", "hot"], [{**WHY, "flips": [], "harm": True}]),
    "reach": (["reach", "C1"], [{**REACH, "own": LOT, "lots": [PAST, LOT], "more": True, "words_alone": True}]),
    "reach-none": (["reach", "C1", "hot"], [{**REACH, "own": PAST, "lots": [], "none_because": "nobody knows"}]),
    "reach-open": (["reach", "C1"], [{**REACH, **SEVERAL, "lots": [], "candidates": CANDIDATES}]),
    "status-new": (["status"], [STATUS]), "status-behind": (["status"], [{**STATUS, "records_behind_days": 7, "work": {"rank": 0}}]), "status-needs": (["status"], [BUSY]),
    "status-old": (["status"], [{**BUSY, "uptime_s": 172800, "rules": None, "store": {**BUSY["store"], "unread": None}}]),
    "status-day": (["status"], [{**BUSY, "uptime_s": 172799}]),
    "recount": (["status", "--recount"], [{"differences": {"weeks": 0, "cases": 2, "company": 0, "materials": 0}}]),
    "recount-well": (["status", "--recount"], [{"differences": {}}]),
    "scores": (["scores", "--from", "2019-01-01", "--to", "2019-02-01"], [
        {"from": "2019-01-01", "to": "2019-02-01", "verdicts": 1200, "top1": 0.75, "top3": 0.95, "top1_range": {"low": 0.725, "high": 0.774}, "top3_range": {"low": 0.936, "high": 0.961}, "log_score": 0.6123, "brier": {"score": 0.2, "reliability": 0.01,
         "resolution": 0.15, "uncertainty": 0.34}, "calibration": [{"said": 0.81, "was": 0.5, "n": 9}],
         "proposals": [{"cause": "hot", "fact": "core", "at": "47", "bits": 1.2, "proposed": -0.3, "low": -1, "high": 0.4,
                        "seen": 4, "of": 9, "file": "hot.json"}]}]),
    "scores-none": (["scores"], [{"verdicts": 0}]),
    "trace": (["trace", "--symptom", "mold", "--from", "2019-10-01", "--to", "2019-11-01"], [
        {"factors": [TRACED, {**TRACED, "q": 0.0009, "beside_first": {"odds_ratio": 1.29}, "same_lots": [
            {"factor": "store", "level": "1"}, {"factor": "store", "level": "2"}]}, {**TRACED, "high": None, "other_lots": 0,
             "same_lots": [{"factor": "route", "level": "R"}]}] + [TRACED] * 14,
         "runs": [RUN, {**RUN, "lots": ["A", "B"]}], "stories": [{"told": True, "factors": [BLAMED]}, {"told": True, "factors": [{**BLAMED, "share": 0.5, "one_lot": {"lot": "L9", "complaints": 3, "of": 3}}, {**BLAMED, "factor": "route", "level": "R2", "share": 0.2, "one_lot": {"lot": "L9", "complaints": 3, "of": 3}}, {**BLAMED, "one_lot": {"lot": "L8", "complaints": 3, "of": 4}}]}, {"told": True, "factors": [{**BLAMED, "one_lot": {"lot": "L8", "complaints": 3, "of": 4}}]}]}]),
    "whatif": (["whatif", "C7", "core_at_pack_c=39", "--hold", "9"], [fake_daemon.WHATIF]),
    "trace-unsure": (["trace", "--symptom", "mold", "--to", "2019-11-01"], [
        {"factors": [], "runs": [], "stories": [{"told": False, "factors": [BLAMED]}]}]),
    "trace-weeks": (["trace", "--symptom", "mold", "--from", "2019-10-28", "--to", "2019-11-01"], [
        {"factors": [], "runs": [], "stories": [{"told": False, "factors": [BLAMED]}],
         "eight_weeks": {"from": "2019-09-07", "to": "2019-11-01", "stories": [{"told": True, "factors": [BLAMED]}]}}]),
    "trace-neither": (["trace", "--symptom", "mold", "--from", "2019-10-28", "--to", "2019-11-01"], [
        {"factors": [], "runs": [], "stories": [{"told": False, "factors": [BLAMED]}],
         "eight_weeks": {"from": "2019-09-07", "to": "2019-11-01", "stories": [{"told": False, "factors": [BLAMED]}]}}]),
    "trace-to": (["trace", "--symptom", "mold", "--to", "2019-11-01"], [{"factors": [], "runs": [], "stories": []}]),
    "rank": (["rank", "C1"], [RANK]),
    "rank-plain": (["rank", "C1"], [{**RANK, "harm": False, "words_alone": True, "complaints": ["a"], "joined": [], "moved_here": [],
                                     "verdict": None, "cautions": [], "state": "open"}]),
    "rank-although": (["rank", "C1"], [{**RANK, "harm": False, "ranked": [{**RANK["ranked"][0], "for": [
        {"fact": "line", "bits": 1, "because": "Line 2 has more.", "although": "more than by chance, but explained better by: film"}]}]}]),
    "rank-kept": (["rank", "C1", "--revision", "3"], [KEPT]),
    "rank-kept-one": (["rank", "C1", "--revision", "0"], [{**KEPT, "complaints": 1, "mailed": None}]),
    "ask": (["ask", "C1"], [{"case": "C1", **SEVERAL, "as_of": AT, "ask": fake_daemon.ASK, "says": None}]),
    "ask-none": (["ask", "C1"], [{"case": "C1", **EXACT, "as_of": AT, "ask": [], "says": NOTHING_DECIDES}]),
    "outbox": (["outbox"], [{"waiting": 1, "parked": 1200, "sent": 7, "gap": "no mail is set up", "mails": [MAIL]}]),
    "outbox-send": (["outbox", "--send", "12"], [{"due": 2}]), "outbox-send-one": (["outbox", "--send", "all"], [{"due": 1}]),
    "outbox-send-what": (["outbox", "--send", "12x"], []),
    "holds-none": (["holds"], [{"holds": []}]), "holds": (["holds"], None),
    "hold": (["hold", "L1", "L'2", "--reason", "glass's", "--case", "C1", "--by", "qa", "--still-about"], [
        {"held": ["L1"], "already": ["L2"], "not_on_record": ["L'2"], "others": [HOLD], "likely": [
            {"text": "L'2", "lot": "L2", "weight": 0.7}, {"text": "L'2", "lot": "L3", "weight": 0.2, "holds": [HOLD]}]}]),
    "hold-reach": (["hold", "--reach", "C1", "--reason", "r", "--by", "qa", "--yes"], [
        {**REACH, "own": LOT, "lots": [PAST]}, {"held": ["L1", "L2"], "already": [], "not_on_record": []}]),
    "hold-reach-own": (["hold", "--reach", "C1", "--reason", "r", "--by", "qa", "--yes", "--at-least", "50"], [
        {**REACH, "own": LOT, "lots": [PAST], "none_because": "few share it"}, {"held": ["L1"], "already": []}]),
    "hold-reach-none": (["hold", "--reach", "C1", "--reason", "r", "--at-least", "100"], [{**REACH, "lots": [LOT]}]),
    "hold-reach-asks": (["hold", "--reach", "C1", "--reason", "r"], [{**REACH, "own": LOT, "lots": [PAST]}]),
    "hold-at-least": (["hold", "L1", "--at-least", "5", "--reason", "r"], []),
    "hold-at-least-far": (["hold", "--reach", "C1", "--at-least", "101", "--reason", "r"], []),
    "hold-both": (["hold", "L1", "--reach", "C1", "--reason", "r"], []),
    "hold-no-reason": (["hold", "L1", "--reason", ""], []),
    "release": (["release", "L1", "--disposition", "rework", "--reason", "r", "--by", "q", "--case", "C1", "--all"], [
        {"released": ["L1"], "disposition": "rework", "not_on_record": ["X"], "still_held": [HOLD, HOLD]}]),
    "release-anyway": (["release", "L1", "--disposition", "divert", "--reason", "r", "--by", "q", "--anyway", "a virus"], [
        {"released": ["L1"], "disposition": "divert", "alarm": "an urgent mail goes out at once", "open_harm": [
            {"case": "C1", "symptom": "other", "complaint": "u", "received_at": AT, "harm": ["injury"], "note": "a stone"},
            {"case": "C2", "symptom": "mold", "possible": True}]}]),
    "release-heard": (["release", "L1", "--disposition", "destroy", "--reason", "a stone in it", "--by", "q"], [
        {"released": ["L1"], "disposition": "destroy", "heard": {"harm": ["injury"], "harm_possible": False,
                                                                 "alarm": "an urgent mail goes out at once"}}]),
    "release-moldy": (["release", "L1", "--disposition", "rework", "--reason", "r", "--by", "q", "--anyway", "a virus"], [
        {"released": ["L1"], "disposition": "rework", "alarm": "an urgent mail goes out at once", "open_harm": [
            {"case": "C1", "symptom": "mold", "unfit": "Packed too hot: the bag sweats", "probability": 0.97}]}]),
    "settle-anyway": (["settle", "C1", "hot", "--confirmed-by", "assay", "--by", "q", "--anyway", "a virus"], [{"case": "C1", "open_harm": [
        {"case": "C1", "symptom": "mold", "complaint": "u", "received_at": AT, "harm": ["illness"]}]}]),
    "settle": (["settle", "C1", "hot", "--confirmed-by", "assay", "--by", "q"], [{"case": "C1"}]),
    "settle-two": (["settle", "C1", "hot", "--reopen"], []),
    "action-list": (["action", "--list"], [{"actions": [
        {"action": 7, "cause": "hot", "line": "2", "place": "slicer", "symptom": "mold", "at": AT, "note": "fan", "by": "qa"},
        {"action": 8, "line": "2", "at": "2019"}]}]),
    "action-list-none": (["action", "--list"], [{"actions": []}]),
    "action": (["action", "--place", "slicer", "--symptom", "mold", "--note", "n", "--by", "q"], [{"action": 7, "at": "2019-11-20"}]),
    "action-effect": (["action", "7", "--effect", "--days", "14"], [EFFECT]),
    "action-effect-share": (["action", "7", "--effect", "--days", "28"], [{**EFFECT, "after": {
        "complaints": 0.38, "units": 76000, "per_million": 5.0, "low": 0, "high": 52}}]),
    "action-effect-text": (["action", "7", "--effect"], [{**EFFECT, "text": "Fewer than before.", "p": 1e-9,
                           "after": {"complaints": 0, "units": 1200, "per_million": None},
                           "ratio": {"ratio": 0.19, "low": 0.08, "high": 0.42}}]),
    "action-word": (["action", "x", "--effect"], []), "action-two": (["action", "7"], []),
    "action-nothing": (["action", "--note", "n", "--symptom", "mold"], []),
    "withdraw": (["withdraw", "01", "--reason", "twice", "--by", "q"], [
        {"complaint": "01", "case": "C1", "withdrawn": True, "again": False, "by": "q", **EXACT}]),
    "withdraw-undo": (["withdraw", "01", "--undo", "--reason", "twice", "--by", "q"], [
        {"complaint": "01", "case": "C1", "withdrawn": False, "again": False, "by": "q", **EXACT}]),
    "correct": (["correct", "01", "packs=3", "where=", "observed/odor=sour,musty", "--reason", "r", "--by", "q"], [
        {"complaint": "01", "case": "C1", "again": False, "by": "q", **EXACT,
         "changed": [{"field": "packs", "was": "2", "is": "3"}]}]),
    "correct-no-field": (["correct", "01", "colourr=3", "--reason", "r"], []),
    "correct-no-value": (["correct", "01", "packs", "--reason", "r"], []),
    "correct-wrong": (["correct", "01", "packs=many", "--reason", "r"], []),
    "correct-person": (["correct", "01", "contact/email=nobody", "--reason", "r", "--by", "q"], [
        {"complaint": "01", "case": "C1", "again": True, "by": "q", **EXACT}]),
    "join": (["join", "01", "02"], [{"complaint": "01", "same_as": "02", "case": "C1", "brought": ["packs"]}]),
    "join-undo": (["join", "01", "--undo"], [{"complaint": "01", "case": "C1"}]),
    "erase": (["erase", "x"], [{"erased": 2, "copies": [
        {"where": "/var/lib/oddloaf/backups", "count": 7, "oldest": "2026-11-20T14:14:00-05:00"},
        {"where": "/var/lib/oddloaf/replaced", "count": 1, "oldest": "2026-11-02T06:00:00-05:00"}]}]),
    "erase-none": (["erase", "x"], [{"erased": 0, "copies": []}]),
    "calibrate-forget": (["calibrate", "--forget", "--by", "q"], [{"adopted": None}]),
    "calibrate-adopt": (["calibrate", "--adopt", "--yes", "--by", "q"], None),
    "calibrate-invalid": (["calibrate", "--adopt", "--yes"], [{**fake_daemon.CALIBRATION, "valid": False, "reason": "few"}]),
    "rules-list": (["rules", "list"], None), "rules-quantities": (["rules", "quantities"], None),
    "rules-places": (["rules", "places"], None), "rules-list-two": (["rules", "list", "x"], []),
    "reach-elsewhere": (["reach", "C1"], [{**REACH, "own": LOT, "lots": [], "elsewhere": 28, "by": "harm", "common": [
        {"shares": "same film lot F-77", "lots": 28, "elsewhere": 1200}]}]),
    "hold-reach-elsewhere": (["hold", "--reach", "C1", "--reason", "r", "--by", "qa", "--yes"], [
        {**REACH, "own": LOT, "lots": [PAST], "elsewhere": 1}, {"held": ["L1", "L2"], "already": [], "not_on_record": []}]),
    "hold-elsewhere": (["hold", "L1", "L2", "--reason", "glass", "--by", "qa"], [
        {"held": ["L1", "L2"], "already": [], "not_on_record": [], "others": [], "likely": [], "passed_on": ["L2"]}]),
    "lot-elsewhere": (["lot", "L2"], [{"exact": False, "elsewhere": True, "lot": None, "lot_text": None, "lot_state": "unknown", "lots": [],
        "lot_named": "another plant's", "lot_says": "another plant's: ask that plant's people, or the company's", "lot_decides": [],
        "candidates": [], "doubts": [], "holds": []}]),
    "holds-plants": (["holds"], [{"holds": [{"hold": "H1", "lot": "L1 6318 A0400", "plant": "north", "units": 1200, "in_code": True,
        "code_date": "2019-11-27", "reason": "glass", "by": "qa", "at": AT, "age_days": 2}]}]),
    "cases-plants": (["cases", "--order", "urgent"], [{"cases": [{**CASES[0], "plant": "north"}, {**CASES[1], "plant": "north"}], "next": None}]),
    "cases-plants-newest": (["cases"], [{"cases": [{**CASES[0], "plant": "north"}, {**CASES[1], "plant": "north"}], "next": None}]),
    "week-plant": (["week", "2019-W47", "--plant", "the north"], [{"week": "2019-W47", "plant": "the north", "complaints": {"mold": 1200}, "signals": [
        {"factor": "line", "level": "1", "plant": "the north", "symptom": "mold", "since": "2019-W45", "observed": 1200, "expected": 6, "q": 0.0001}]}]),
    "trace-plant": (["trace", "--symptom", "mold", "--to", "2019-11-01", "--plant", "north"], [
        {"plant": "north", "factors": [], "runs": [], "stories": []}]),
    "returns-plant": (["returns", "--plant", "north"], [{"from": "2019-10-01", "to": "2019-11-01", "plant": "north", "on_record": False,
        "returns": 0, "units": 0, "dispatched": 1200, "by": {}, "stand": []}]),
    "week": (["week", "2026-W47"], None), "lot": (["lot", "63?1"], None), "returns": (["returns"], None),
    "complaint-unknown": (["complaint", "01"], fake_daemon.problem(404, "not-found", "there is none", hint="look")),
    "help-hold": (["help", "hold"], []),
}


class Pages(ClientTest):
    def page(self, name):
        """By names within the folder: how long its own name is must break no line elsewhere."""
        args, answers = COMMANDS[name]
        self.daemon.requests.clear()
        self.daemon.refuse, self.daemon.script_of_answers = None, ()
        if isinstance(answers, tuple):
            self.daemon.refuse = answers
        elif answers is not None:
            self.daemon.script_of_answers = [one if isinstance(one, tuple) else (200, "application/json", one) for one in answers]
        code, out, err = self.run_client(*args, env={"ODDLOAF_SOCKET": "s", "ODDLOAF_SPOOL": f"spool-of-{name}"})
        asked = "".join("{method} {path}{query} {body}".format(**{**one, "query": self.query(one["query"])}).rstrip() + "\n"
                        for one in self.daemon.requests)
        asked = UUID.sub("ID", asked.replace("x" * (512 * 1024), "x…"))
        return f"$ oddloaf {shlex.join(args)}\n{asked}---- {code}\n{out}----\n{err}"

    @staticmethod
    def query(query):
        return "?" + json.dumps(query, sort_keys=True) if query else ""

    def setUp(self):
        super().setUp()
        os.mkdir(os.path.join(self.folder, "attachments"))
        for name, text in FILES.items():
            self.file(name, text)

    def test_pages(self):
        for name in COMMANDS:
            with self.subTest(name):
                shown, path = self.page(name), PAGES / f"{name}.txt"
                if os.environ.get("PAGES") == "write":
                    path.write_text(shown)
                self.assertEqual(shown, path.read_text())

    def test_no_page_without_its_command(self):
        self.assertEqual(sorted(one.stem for one in PAGES.iterdir()), sorted(COMMANDS))


if __name__ == "__main__":
    unittest.main()
