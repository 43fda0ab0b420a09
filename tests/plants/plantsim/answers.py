"""What callers, the plant and the lab would answer if asked: for trying out the questions.

Drawn from a stream of its own after everything else, so the files of a seed do not depend on it.
"""
import numpy as np

from .records import DIGITS, READINGS


def all_answers(callers, records, lots, truth):
    """{"complaints": {id: observed}, "lots": {code: {"readings", "mixes", "places", "active_pct", "transit_c"}}}"""
    rng = np.random.default_rng([20264, callers.world.seed])
    callers.rng = records.rng = rng
    told = {}
    for uuid, (lot, source, kept, colour, found, opened, trade) in callers.asked.items():
        told[uuid] = callers.observe(lot, source, kept, colour, found, opened, trade, everything=True)
    wanted = {c["lot"] for c in truth}
    return {"complaints": told, "lots": {x.code: of_lot(records, x) for x in lots if x.code in wanted and not x.lost}}


def of_lot(records, x):
    s = x.state()
    readings = {}
    for q in READINGS:
        if q in ("acid_kg", "inhibitor_kg", "core_temp_c", "mold_free_days") or (q == "propionate_ppm" and x.product.sorbate):
            continue
        readings[q] = round(float(max(0, records.value(x, s, q))), DIGITS.get(q, 1))
    flour = sum(m.flour_kg for m in x.mixes)
    mixes = [[m.name, round(m.flour_kg * records.written_dose(x, s) / 100, 3),
              round(m.flour_kg * x.product.acid * s["acid_ratio"] / 100, 2)] for m in x.mixes]
    units = sum(r["units"] for r in x.dispatch)
    return {"readings": readings, "mixes": mixes, "flour_kg": round(flour, 1), "places": places(records, x),
            "active_pct": round(98 * s["active"], 1) if s["active"] < .9 else 98.0,
            "transit_c": round(sum(r["transit_c"] * r["units"] for r in x.dispatch) / units, 1), "packed": records.at(x.packed),
            "packed_to": records.at(x.packed_to)}


def places(records, x):
    """A swab and a plate of every place, taken a day after the lot was packed."""
    out, w, rng = {}, records.w, records.rng
    for place, line in records.h.keys():
        if line not in ("", x.line):
            continue
        level = records.h.level(place, line, x.packed + 300) * rng.lognormal(0, .35)
        out[place] = {"line": line, "settle_plate_cfu": int(rng.poisson(w.plate_scale[place] * level)),
                      "air_cfu_m3": int(rng.poisson(w.plate_scale[place] * 12 * level)),
                      "swab_cfu": int(rng.poisson(w.swab_scale[place] * level))}
    return out
