"""Callers who take their time: colour, place, store, days, and a letter's worth of words."""
import datetime

from strangers import FLORA, QUIET, complaint_id, pick, poisson, stamp, told_code

READINGS = {"exact": .72, "misread": .14, "part": .04, "none": .08, "other": .02}
CHANNELS = {"phone": .40, "web": .38, "store": .14, "return": .08}
SAID = {"product": .97, "store": .88, "code_date": .75, "bought_on": .8, "found_on": .92, "colour": .85, "where": .8, "spots": .5,
        "wet_inside_bag": .6, "bag": .7, "kept": .75, "opened_days": .6, "odor": .95, "crumb": .9}
WHERE = {"cooler-air": {"top-crust": 7, "side": 2, "all-over": 1}, "slicer": {"cut-face": 8, "side": 1, "heel": 1},
         "hands": {"heel": 5, "near-closure": 3, "top-crust": 2}, "cooler-belt": {"base": 8, "side": 2},
         "bagger": {"near-closure": 6, "heel": 3, "side": 1}, "film-store": {"side": 6, "top-crust": 3, "base": 1}}
OF_CAUSE = {"pack-leak": {"near-closure": 5, "side": 3, "heel": 2}}
ODORS = ({"odor": ["sour"]}, {"odor": ["musty"]}, {"odor": ["chemical"]}, {"odor": ["cheesy"]}, {"odor": ["plastic"]})
CRUMB = {"overbaked": ("dry", "crumbly", "firm"), "overcooled-dry": ("dry", "crumbly"), "cold-storage": ("firm", "firm", "crumbly"),
         "pack-leak-dry": ("dry", "dry", "firm")}
BEGIN = ("We have bought this bread for years.", "I am writing about a pack from my usual shop.", "Quite a disappointment.", "")


def could_say(rng, source):
    seen = {"kept": pick(rng, {"counter": 80, "fridge": 12, "warm": 8}), "opened_days": rng.choice((0, 0, 0, 1, 2, 3)),
            "bag": pick(rng, {"sound": 95, "torn": 2, "closure-missing": 1, "seal-open": 2}), "wet_inside_bag": rng.random() < .05}
    if source.cause in ("pack-leak", "pack-leak-dry"):
        seen["bag"] = pick(rng, {"sound": 4, "seal-open": 5, "torn": 1})
    if source.symptom == "mold":
        colour = FLORA[source.flora].colour if rng.random() < .95 else rng.choice(("blue-green", "white-fluffy"))
        seen |= {"colour": colour, "spots": 1 + poisson(rng, 2), "where": pick(rng, OF_CAUSE.get(source.cause,
            WHERE[source.place]))}
    elif source.symptom == "staling":
        seen["crumb"] = source.signs.get("crumb") or rng.choice(CRUMB.get(source.cause, ("firm", "firm", "dry")))
    else:
        signs = source.signs or rng.choice(ODORS)
        seen |= {"odor": [rng.choice(signs["odor"])], "crumb": "normal"}
    return seen


def letter(rng, symptom, said):
    parts = [rng.choice(BEGIN)]
    if symptom == "mold":
        where = f" on the {said['where'].replace('-', ' ')}" if said.get("where") in ("cut-face", "top-crust", "base") else ""
        parts.append(f"There was mold{where}.")
    elif symptom == "staling":
        parts.append("It was stale well before its date.")
    else:
        parts.append("The smell was not right as soon as we opened it.")
    if said.get("kept") == "counter":
        parts.append("It was kept on the counter.")
    parts.append(rng.choice(("Please tell us what went wrong.", "I still have the bag.", "")))
    return " ".join(p for p in parts if p)


def call(rng, desk, source, others):
    lot = source.lot
    age = rng.choices(range(len(source.by_day)), source.by_day)[0] + 1 + lot.frozen_days
    sent = rng.choice([s for s in lot.sent if not source.stores or s.store in source.stores])
    found = max(lot.packed + datetime.timedelta(days=age), sent.at + datetime.timedelta(hours=20))
    found = found.replace(hour=rng.randint(6, 20), minute=rng.randrange(60))
    received = found + datetime.timedelta(days=rng.lognormvariate(.1, .8))
    received = received.replace(hour=rng.randint(8, 18))
    how, text = told_code(rng, lot.code, READINGS, others)
    seen = could_say(rng, source)
    said = {k: v for k, v in seen.items() if rng.random() < SAID[k]}
    bought = max(sent.at.date(), found.date() - datetime.timedelta(days=rng.choice((0, 1, 1, 2, 2, 3, 4))))
    facts = {"product": lot.product.code, "store": sent.store, "code_date": lot.code_date.isoformat(),
            "bought_on": bought.isoformat(),
             "found_on": found.date().isoformat()}
    channel = pick(rng, CHANNELS)
    c = {"id": complaint_id(rng, received), "received_at": stamp(received), "channel": channel, "symptom": source.symptom,
         "packs": 1 + poisson(rng, .12), "observed": said, "note": letter(rng, source.symptom, said)}
    c |= {k: v for k, v in facts.items() if rng.random() < SAID[k]}
    if text:
        c["lot_text"] = text
    if channel == "return":
        c |= {"units": rng.randint(1, 20), "inspected_at": stamp(received), "route": sent.route,
              "measured": {"crumb_ph": round(lot.values["crumb_ph"] + rng.gauss(0, .04), 2)}}
    desk.take(c, {"cause": source.cause, "lot": lot.code, "reading": how,
                  "trouble": source.trouble.number if source.trouble else QUIET}, seen)
