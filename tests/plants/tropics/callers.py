"""Callers who say little: shop keepers through the driver, short calls, packs that come back on the truck."""
import datetime

from strangers import FLORA, QUIET, complaint_id, pick, poisson, stamp, told_code

READINGS = {"exact": .46, "misread": .22, "part": .07, "none": .22, "other": .03}
CHANNELS = {"route": .33, "store": .30, "phone": .24, "return": .13}
SAID = {"product": .85, "store": .5, "code_date": .35, "bought_on": .3, "found_on": .45, "colour": .33, "where": .25, "spots": .08,
        "wet_inside_bag": .15, "bag": .2, "kept": .12, "opened_days": .08, "odor": .6, "crumb": .5}
WHERE = {"cooler-air": {"top-crust": 7, "side": 2, "all-over": 1}, "slicer": {"cut-face": 8, "side": 1, "all-over": 1},
         "hands": {"heel": 5, "near-closure": 3, "top-crust": 2}, "cooler-belt": {"base": 8, "side": 2},
         "bagger": {"near-closure": 5, "heel": 3, "side": 2}, "returns-dock": {"top-crust": 4, "side": 3, "cut-face": 3},
         "ingredient-store": {"top-crust": 5, "base": 2, "side": 3}}
OF_CAUSE = {"packed-hot": {"side": 4, "top-crust": 3, "all-over": 3}, "pack-leak": {"near-closure": 5, "side": 3, "heel": 2}}
NOTES = {"mold": ("moldy", "has mold", "tiene moho", "green and moldy", ""), "staling": ("hard bread", "stale", "pan duro", ""),
         "off-odor": ("smells bad", "huele mal", "bad smell", "")}
ODORS = ({"odor": ["sour"]}, {"odor": ["musty"]}, {"odor": ["chemical"]}, {"odor": ["rancid"]})


def could_say(rng, source):
    """All that the pack would tell."""
    seen = {"kept": pick(rng, {"counter": 6, "warm": 2, "fridge": 2}), "opened_days": rng.choice((0, 0, 1, 2)),
            "bag": pick(rng, {"sound": 92, "torn": 4, "closure-missing": 2, "seal-open": 2}),
            "wet_inside_bag": rng.random() < .10}
    if source.cause in ("pack-leak", "pack-leak-dry"):
        seen["bag"] = pick(rng, {"sound": 4, "seal-open": 4, "torn": 2})
    if source.cause == "packed-hot":
        seen["wet_inside_bag"] = rng.random() < .7
    if source.symptom == "mold":
        colour = FLORA[source.flora].colour
        if rng.random() < .1:
            colour = rng.choice(("blue-green", "black", "white-fluffy"))
        seen |= {"colour": colour, "spots": 1 + poisson(rng, 1.5),
                 "where": pick(rng, OF_CAUSE.get(source.cause, WHERE[source.place]))}
    elif source.symptom == "staling":
        seen["crumb"] = source.signs.get("crumb") or rng.choice(("firm", "dry", "dry"))
    else:
        signs = source.signs or rng.choice(ODORS)
        seen |= {**signs, "odor": [rng.choice(signs["odor"])]}
    return seen


def call(rng, desk, source, others):
    lot = source.lot
    age = rng.choices(range(len(source.by_day)), source.by_day)[0] + 1
    sent = rng.choice([s for s in lot.sent if not source.stores or s.store in source.stores])
    found = max(lot.packed + datetime.timedelta(days=age), sent.at + datetime.timedelta(hours=20))
    found = found.replace(hour=rng.randint(7, 19), minute=rng.randrange(60))
    channel = pick(rng, CHANNELS)
    received = found + datetime.timedelta(days=rng.lognormvariate(.5, .7) + (1 if channel in ("route", "return") else 0))
    received = received.replace(hour=rng.randint(8, 17))
    how, text = told_code(rng, lot.code, READINGS, others)
    seen = could_say(rng, source)
    c = {"id": complaint_id(rng, received), "received_at": stamp(received), "channel": channel, "symptom": source.symptom,
         "packs": 1 + poisson(rng, .3), "observed": {k: v for k, v in seen.items() if rng.random() < SAID[k]}}
    note = rng.choice(NOTES[source.symptom])
    bought = sent.at.date() + datetime.timedelta(days=max(0, (found.date() - sent.at.date()).days - rng.randint(1, 3)))
    rough = min(received.date(), found.date() + datetime.timedelta(days=rng.choice((-1, 0, 0, 0, 1, 2))))
    facts = {"product": lot.product.code, "store": sent.store, "code_date": lot.code_date.isoformat(),
            "bought_on": bought.isoformat(),
             "found_on": max(rough, bought).isoformat()}
    c |= {k: v for k, v in facts.items() if v and rng.random() < SAID[k]}
    c |= {k: v for k, v in (("lot_text", text), ("note", note)) if v}
    if channel == "return":
        c |= {"units": rng.randint(2, 30), "inspected_at": stamp(received)}
    if channel in ("route", "return"):
        c["route"] = sent.route
    desk.take(c, {"cause": source.cause, "lot": lot.code, "reading": how,
                  "trouble": source.trouble.number if source.trouble else QUIET}, seen)
