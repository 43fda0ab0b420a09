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
    if name in ("inhibitor_weighed_pct_flour", "acid_pct_flour"):
        return "mixes", "inhibitor_kg" if name.startswith("inh") else "acid_kg"
    if name == "inhibitor_active_pct":
        return "active", lot["active_pct"]
    if name in lot["readings"]:
        return "reading", (name, lot["readings"][name])
    return None


def with_answers(plant, folder, rows, ask_of):
    """Extra records and the observed facts by complaint, for the first two questions of each case."""
    known = json.loads((folder / "answers.json").read_text())
    readings, log, observed, count = [], [], {}, 0
    actives = {}
    received = {json.loads(c)["id"]: json.loads(c)["received_at"] for c in plantrun.complaints_of(folder)}
    for row in rows:
        code, newest = row["true_lot"], max(row["ids"], key=received.get)
        lot, told = known["lots"].get(code), known["complaints"][newest]
        for question in ask_of[row["case"]][:2]:
            given = answer(question["fact"], lot, told) if "fact" in question else None     # of harm: no simulator has any
            if given is None:
                continue
            count += 1
            how, value = given
            if how == "observed":
                observed.setdefault(newest, {})[question["fact"]] = value
            elif how == "reading":
                readings.append([code, value[0], value[1], lot["packed_to"], ""])
            elif how == "mixes":
                readings += [[code, value, m[1] if value == "inhibitor_kg" else m[2], lot["packed"], m[0]] for m in lot["mixes"]]
            elif how == "active":
                actives[code] = value
            else:
                at = datetime.datetime.fromisoformat(lot["packed_to"]) + datetime.timedelta(hours=5)
                log.append([at.isoformat(), value[0], value[1], value[2], value[3]])
    return readings, log, observed, actives, count


def csv_bytes(header, rows):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue().encode()


def uses_with(folder, actives):
    rows = list(csv.DictReader((folder / "uses.csv").open(encoding="utf-8")))
    for row in rows:
        if row["material"] == "inhibitor" and row["lot"] in actives:
            row["active_pct"] = actives[row["lot"]]
    return csv_bytes(list(rows[0]), [list(r.values()) for r in rows])


def ask(args):
    """Top-1 before and after the first two questions of every case are answered."""
    before, after, asked, asks = [], [], 0, []
    for seed in args.seeds:
        folder = plantrun.simulated(seed, args.work, by=args.simulator, times=args.times)
        with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
            plantrun.load(plant, folder)
            plantrun.log_complaints(plant, plantrun.complaints_of(folder))
            rows = plantrun.cases_of(seed, folder, plantrun.ranks(plant))
            ask_of = {r["case"]: plant.get(f"/v1/cases/{r['case']}/ask")[1]["ask"] for r in rows}
            asks += ask_of.values()
            readings, log, observed, actives, count = with_answers(plant, folder, rows, ask_of)
        asked += count
        before += rows
        with oddloaf.Plant(args.binaries, rules=args.rules) as plant:
            plantrun.load(plant, folder)
            refused = plantrun.send(plant, "readings", csv_bytes(["lot", "quantity", "value", "at", "mix"], readings))
            refused += plantrun.send(plant, "plantlog", csv_bytes(["at", "place", "quantity", "value", "line"], log))
            refused += plantrun.send(plant, "uses", uses_with(folder, actives))
            if refused:
                print(f"  {len(refused)} answers refused, first {refused[0]}")
            lines = []
            for line in plantrun.complaints_of(folder):
                c = json.loads(line)
                if c["id"] in observed:
                    c["observed"] = {**c.get("observed", {}), **observed[c["id"]]}
                lines.append(json.dumps(c).encode() + b"\n")
            plantrun.log_complaints(plant, lines)
            after += plantrun.cases_of(seed, folder, plantrun.ranks(plant))
    a, b = scoring.figures(before), scoring.figures(after)
    print(f"{asked} answers for {len(before)} cases, {sum(not q for q in asks)} of which nothing is asked")
    for name in ("planted", "three or more complaints", "contamination places"):
        print(f"{name:28} top-1 {a[name]['top1']:.3f} -> {b[name]['top1']:.3f}  top-3 {a[name]['top3']:.3f} -> {b[name]['top3']:.3f}")
    print(f"background right {a['background']['right']:.3f} -> {b['background']['right']:.3f}  "
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
