#!/usr/bin/python3
"""simulate.py SEED OUTDIR [DAYS [START]]: an invented plant's records, complaints and the truth about them."""
import datetime
import json
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from plantsim import answers                                           # noqa: E402
from plantsim.callers import Callers                                   # noqa: E402
from plantsim.hygiene import Hygiene                                   # noqa: E402
from plantsim.making import make_lots                                  # noqa: E402
from plantsim.records import Records                                   # noqa: E402
from plantsim.spoilage import FLORA, Source, Spoilage                  # noqa: E402
from plantsim.troubles import Planner                                  # noqa: E402
from plantsim.world import PLACES, World                               # noqa: E402


def background(world, lot, hygiene, spoilage, troubles):
    """What would be reported with no fault, and what a changed lot adds to it."""
    p, rng = lot.product, world.rng
    now, plain = lot.state(), lot.state(only=-99)
    out = []
    for place in PLACES:
        level = hygiene.level(place, lot.line, lot.packed, faults=False)
        spores = spoilage.spores[p.code] * world.place_share[place] * level
        flora = FLORA[place]
        rate = spoilage.mold_rate(lot, now, flora, spores)
        base = spoilage.mold_rate(lot, plain, flora, spores)
        ages = spoilage.mold_ages(lot, now, flora)
        out.append(Source("mold", "not-known", lot.units * min(rate, base), -1, "plain", place, flora, ages))
        if rate > base * 1.02 and lot.changes:
            blame = blamed(lot, spoilage, "mold", troubles, flora, spores)
            if blame is not None:
                cause = troubles[blame].causes["mold"]
                out.append(Source("mold", cause, lot.units * (rate - base), blame,
                                  "packed-hot" if cause == "packed-hot" else "plain", place, flora, ages))
    rate, base = spoilage.stale_rate(lot, now), spoilage.stale_rate(lot, plain)
    out.append(Source("staling", "not-known", lot.units * min(rate, base), -1, "plain", ages=spoilage.stale_ages(lot, plain)))
    if rate > base * 1.02 and lot.changes:
        blame = blamed(lot, spoilage, "staling", troubles)
        if blame is not None:
            cause = troubles[blame].causes["staling"]
            out.append(Source("staling", cause, lot.units * (rate - base), blame, cause, ages=spoilage.stale_ages(lot, now)))
    out.append(Source("off-odor", "not-known", lot.units * world.rate["off-odor"], -1, "plain",
                      ages=spoilage.odor_ages(lot, 3.5, 2.0)))
    return [s for s in out if s.expected > 0] + lot.extra


def blamed(lot, spoilage, symptom, troubles, flora=None, spores=None):
    """Which of the lot's changes does most; only faults that have a cause for the symptom."""
    best, most = None, 0.0
    for number in {n for n, _ in lot.changes}:
        if symptom not in troubles[number].causes:
            continue
        s = lot.state(only=number)
        rate = spoilage.mold_rate(lot, s, flora, spores) if symptom == "mold" else spoilage.stale_rate(lot, s)
        if rate > most:
            best, most = number, rate
    return best


def simulate(seed, folder, days=None, start=None):
    folder.mkdir(parents=True, exist_ok=True)
    world = World(seed, days, start)
    lots = make_lots(world)
    # keys that only some faults set
    for lot in lots:
        lot.inputs.update(written_dose=0.0, written_soft=0.0, assayed=0.0)
    hygiene = Hygiene(world)
    spoilage = Spoilage(world, lots)
    troubles = Planner(world, lots, hygiene, spoilage).plan()
    callers = Callers(world, lots)
    for lot in lots:
        for source in background(world, lot, hygiene, spoilage, troubles):
            callers.calls(lot, source)
    truth = callers.write(folder)
    records = Records(world, lots, hygiene, spoilage, folder)
    records.write()
    (folder / "answers.json").write_text(json.dumps(answers.all_answers(callers, records, lots, truth)))
    (folder / "truth.json").write_text(json.dumps({
        "seed": seed, "days": world.days, "start": world.start.isoformat(), "lots": len(lots),
        "complaints": truth,
        "troubles": [{"number": t.number, "cause": t.cause, "causes": t.causes, "lots": [x.code for x in t.lots],
                      "places": t.places, "note": t.note, "sold": t.sold} for t in troubles]}, indent=1))
    return truth, troubles, lots


def main(args):
    if not 3 <= len(args) <= 5:
        print(__doc__, file=sys.stderr)
        return 2
    days = int(args[3]) if len(args) > 3 else None
    start = datetime.date.fromisoformat(args[4]) if len(args) > 4 else None
    truth, troubles, lots = simulate(int(args[1]), pathlib.Path(args[2]), days, start)
    known = sum(c["cause"] != "not-known" for c in truth)
    print(f"seed {args[1]}: {len(lots)} lots, {len(truth)} complaints, {known} of {len(troubles)} planted troubles")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
