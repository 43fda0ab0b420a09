"""What parts of the ranking are worth: ablations, the first two questions, verdicts."""
import csv
import datetime
import io
import json
import pathlib
import shutil
import tempfile

import nearby
import plantrun
import scoring

oddloaf = plantrun.oddloaf
WITHOUT = ("models", "company", "places")


# ---- ablations ----

def is_part(fact, part, places):
    if part == "models":
        return fact.startswith("model.")
    if part == "company":
        return fact.startswith("company.")
    return fact.split(".")[0] in places


def rules_without(rules, part, folder):
    """A copy of the rules whose causes lack the evidence of one kind."""
    copy = folder / f"rules-without-{part}"
    shutil.copytree(rules, copy)
    places = {p["place"] for p in json.loads((copy / "places.json").read_text())["places"]}
    for path in (copy / "causes").glob("*.json"):
        cause = json.loads(path.read_text(encoding="utf-8"))
        cause["evidence"] = [e for e in cause.get("evidence", []) if not is_part(e["fact"], part, places)]
        path.write_text(json.dumps(cause), encoding="utf-8")
    return copy


def ablate(args):
    """Prints what is lost without each kind of evidence."""
    with tempfile.TemporaryDirectory() as folder:
        kinds = {"shipped rules": args.rules}
        for part in WITHOUT:
            kinds[f"without {part}"] = rules_without(args.rules, part, pathlib.Path(folder))
        for name, rules in kinds.items():
            f = scoring.figures([row for seed in args.seeds for row in plantrun.run_seed(seed, args, rules)])
            print(f"{name:18} planted {f['planted']['top1']:.3f} {f['planted']['top3']:.3f}  "
                  f"places {f['contamination places']['top1']:.3f} {f['contamination places']['top3']:.3f}  "
                  f"background {f['background']['right']:.3f}  ECE {f['all']['ece']:.3f}  "
                  f"log score {f['all']['log_score']:.3f} bits", flush=True)


# ---- the first two questions answered ----

MIXED = {"inhibitor_weighed_pct_flour": ("inhibitor_kg", 1), "acid_pct_flour": ("acid_kg", 2)}   # by mix: as what, which number


def answer(fact, lot, told):
    """("observed", value) or rows of records, or None when nobody can say."""
    if fact in told:
        return "observed", told[fact]
    if lot is None:
        return None
    parts = fact.split(".")
    if parts[0] in lot["places"] and len(parts) > 1 and parts[1] in lot["places"][parts[0]]:
        return "plantlog", (parts[0], parts[1], lot["places"][parts[0]][parts[1]], lot["places"][parts[0]]["line"])
    name = parts[0]
    if name in MIXED:
        return ("mixes", MIXED[name]) if lot["mixes"] else None
    if name == "inhibitor_active_pct":
        return "active", lot["active_pct"]
    if name == "transit_c" and name in lot:
        return "transit", lot[name]
    if name in lot["readings"]:
        return "reading", (name, lot["readings"][name])
    return None


class Asked:
    """A plant's cases and all that would be answered about them."""

    def __init__(self, folder, rows):
        known = json.loads((folder / "answers.json").read_text())
        received = {json.loads(c)["id"]: json.loads(c)["received_at"] for c in plantrun.complaints_of(folder)}
        self.folder = folder
        self.newest = {r["case"]: max(r["ids"], key=received.get) for r in rows}
        self.lots = {r["case"]: (r["true_lot"], known["lots"].get(r["true_lot"])) for r in rows}
        self.told = {case: known["complaints"][c] for case, c in self.newest.items()}

    def answer(self, case, question):
        """None where nobody can say, and of harm, of which no simulator has any."""
        return answer(question["fact"], self.lots[case][1], self.told[case]) if "fact" in question else None

    def answered(self, ask_of, most=None):
        """Of each case the first questions that anybody can answer."""
        return {case: [q for q in asked if self.answer(case, q) is not None][:most]
                for case, asked in ask_of.items() if case in self.newest}


def with_answers(asked, ask_of):
    """What is answered, as records and observed facts by complaint: readings, log, observed, actives, transits, how many."""
    readings, log, observed, actives, transits, count = [], [], {}, {}, {}, 0
    for case, questions in ask_of.items():
        code, lot = asked.lots[case]
        for question in questions:
            given = asked.answer(case, question)
            if given is None:
                continue
            count += 1
            how, value = given
            if how == "observed":
                observed.setdefault(asked.newest[case], {})[question["fact"]] = value
            elif how == "reading":
                readings.append([code, value[0], value[1], lot["packed_to"], ""])
            elif how == "mixes":
                readings += [[code, value[0], m[value[1]], lot["packed"], m[0]] for m in lot["mixes"]]
            elif how == "active":
                actives[code] = value
            elif how == "transit":
                transits[code] = value
            else:
                at = datetime.datetime.fromisoformat(lot["packed_to"]) + datetime.timedelta(hours=5)
                log.append([at.isoformat(), value[0], value[1], value[2], value[3]])
    return readings, log, observed, actives, transits, count


def csv_bytes(header, rows):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue().encode()


def file_with(folder, kind, column, answers, of=lambda row: True):
    """A plant's file again, with what was answered of some lots."""
    rows = list(csv.DictReader((folder / f"{kind}.csv").open(encoding="utf-8")))
    for row in rows:
        if of(row) and row["lot"] in answers:
            row[column] = answers[row["lot"]]
    return csv_bytes(list(rows[0]), [list(r.values()) for r in rows])


def tell(plant, asked, ask_of):
    """The answers to these questions, to a plant that has all the rest; how many there were."""
    readings, log, observed, actives, transits, count = with_answers(asked, ask_of)
    refused = plantrun.send(plant, "readings", csv_bytes(["lot", "quantity", "value", "at", "mix"], readings))
    refused += plantrun.send(plant, "plantlog", csv_bytes(["at", "place", "quantity", "value", "line"], log))
    if actives:
        refused += plantrun.send(plant, "uses", file_with(asked.folder, "uses", "active_pct", actives,
                                                          lambda row: row["material"] == "inhibitor"))
    if transits:
        refused += plantrun.send(plant, "dispatch", file_with(asked.folder, "dispatch", "transit_c", transits))
    for complaint, seen in observed.items():
        fields = {f"observed/{name}": value for name, value in seen.items()}
        status, text = plant.post(f"/v1/complaints/{complaint}/correct", {"fields": fields, "reason": "asked"})
        refused += [text] if status != 200 else []
    if refused:
        print(f"  {len(refused)} answers refused, first {refused[0]}")
    return count


def asks_of(plant, rows):
    return {r["case"]: plant.get(f"/v1/cases/{r['case']}/ask")[1]["ask"] for r in rows}


def answered_anew(seed, args, asked, first):
    """Each case's first question that anybody can answer, and, with its answer in, the first then."""
    with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
        plantrun.load(plant, asked.folder)
        plantrun.log_complaints(plant, plantrun.complaints_of(asked.folder))
        tell(plant, asked, asked.answered(first, 1))
        rows = plantrun.cases_of(seed, asked.folder, plantrun.ranks(plant))
        tell(plant, asked, asked.answered(asks_of(plant, rows), 1))
        return plantrun.cases_of(seed, asked.folder, plantrun.ranks(plant))


def answered_once(seed, args, asked, ask_of):
    with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
        plantrun.load(plant, asked.folder)
        plantrun.log_complaints(plant, plantrun.complaints_of(asked.folder))
        count = tell(plant, asked, ask_of)
        return plantrun.cases_of(seed, asked.folder, plantrun.ranks(plant)), count


def ask(args):
    """Before and after: the first two questions of every case, each whether or not anybody can answer it; two that somebody
    can, the second asked when the first is answered; and, what no choice of questions can exceed by much, all of the list."""
    before, asks, count = [], [], 0
    after = {"the first two": [], "two answered, the second asked anew": [], "all that is asked": []}
    for seed in args.seeds:
        folder = plantrun.simulated(seed, args.work, by=args.simulator, times=args.times)
        with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
            plantrun.load(plant, folder)
            plantrun.log_complaints(plant, plantrun.complaints_of(folder))
            rows = plantrun.cases_of(seed, folder, plantrun.ranks(plant))
            ask_of = asks_of(plant, rows)
        asked = Asked(folder, rows)
        two = {case: questions[:2] for case, questions in ask_of.items()}
        told, given = answered_once(seed, args, asked, two)
        count += given
        after["the first two"] += told
        after["two answered, the second asked anew"] += answered_anew(seed, args, asked, ask_of)
        after["all that is asked"] += answered_once(seed, args, asked, ask_of)[0]
        before += rows
        asks += ask_of.values()
    print(f"{count} answers to {sum(len(q[:2]) for q in asks)} questions about {len(before)} cases, {sum(not q for q in asks)} of "
          f"which nothing is asked")
    a = scoring.figures(before)
    for how, rows in after.items():
        b = scoring.figures(rows)
        print(f"{how}:")
        for name in ("planted", "three or more complaints", "contamination places"):
            print(f"  {name:28} top-1 {a[name]['top1']:.3f} -> {b[name]['top1']:.3f}  top-3 {a[name]['top3']:.3f} -> {b[name]['top3']:.3f}")
        print(f"  background right {a['background']['right']:.3f} -> {b['background']['right']:.3f}  "
              f"log score {a['all']['log_score']:.3f} -> {b['all']['log_score']:.3f} bits")


# ---- what verdicts confirmed nearby ----

def learn(args):
    """The same cases of a plant as they come, ranked without and with what was confirmed nearby."""
    rows = []
    for seed in args.seeds:
        folder = plantrun.simulated(seed, args.work, by=args.simulator, times=args.times)
        rows.append(nearby.placed(plantrun.run_seed(seed, args), folder))
    nearby.report(rows, args.after)
    return [row for of in rows for row in of]


# ---- verdicts ----

VERDICTS = 200
WEEKS_BEFORE, WEEKS_AFTER = 24, 16


def verdicts(args):
    """The same later cases of a plant, ranked without and with verdicts on 200 earlier ones. A verdict counts
    from the moment it is given, so these plants live around today."""
    plain, taught, given = [], [], 0
    today = datetime.date.today()
    start = today - datetime.timedelta(weeks=WEEKS_BEFORE)
    now = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(minutes=30)
    for seed in args.seeds:
        folder = plantrun.simulated(seed, args.work, str(7 * (WEEKS_BEFORE + WEEKS_AFTER)), start.isoformat())
        with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
            plantrun.load(plant, folder)
            plantrun.log_complaints(plant, plantrun.complaints_of(folder))
            rows = plantrun.cases_of(seed, folder, plantrun.ranks(plant))
            early = [r for r in rows if datetime.datetime.fromisoformat(r["as_of"]) < now]
            late = {r["case"] for r in rows} - {r["case"] for r in early}
            plain += [r for r in rows if r["case"] in late]
            for row in scoring.counted(early)[:VERDICTS]:
                status, text = plant.post(f"/v1/cases/{row['case']}/verdict", {
                    "cause": row["truth"][-1], "confirmed_by": "inspection", "note": "", "by": "QA"})
                assert status == 200, text
                given += 1
            rows = plantrun.cases_of(seed, folder, plantrun.ranks(plant))
            if args.facts:
                for row in rows:
                    if row["case"] in late:
                        row["facts"] = plantrun.facts.flatten(plant.get(f"/v1/cases/{row['case']}/facts")[1])
            taught += [r for r in rows if r["case"] in late]
    print(f"{given} verdicts on {len(args.seeds)} plants; the later cases without them:")
    scoring.report(plain, short=True)
    print("and with them:")
    scoring.report(taught, short=True)
    return taught
