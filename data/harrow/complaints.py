"""Complaints as the desk gets them: half-read codes, vague callers, late returns."""
import json
import os
import random
from datetime import timedelta

from .lots import code_date
from .physics import happenings
from .plant import (HISTORY_ENDS, LAST, PRODUCTS, SHOWN_LOT, gtin, local, minutes, stamp,
                    write_csv)
from .troubles import BY_NAME, EVEN, d


CHANNELS = {"phone": 38, "web": 27, "store": 17, "route": 6, "return": 12}
DELAY_DAYS = {"phone": (0, 0, 0, 1, 1, 2, 3), "web": (0, 0, 1, 1, 2, 3, 5),
              "store": (1, 1, 2, 2, 3, 4), "route": (1, 1, 2, 3), "return": (2, 2, 3, 3, 4, 6)}
TOLD = {"phone": .8, "web": .6, "store": .5, "route": .35, "return": .8}  # how much one hears
COLOURS = {"blue-green": 62, "black": 12, "white-fluffy": 9, "white-chalky": 9, "yellow": 4,
           "pink-orange": 2}
ODORS = "sour cheesy vinegar fruity solvent alcohol musty rancid plastic chemical".split()
CRUMBS = ("firm", "dry", "crumbly", "firm", "gummy", "normal")
FIRST_NAMES = "Odelle Marvin Tansy Corbin Yvaine Lester Bryony Amadeo Wilma Teodoro".split()
LAST_NAMES = "Pettibrook Quennell Marlowe-Ash Drummle Farrowby Okonedge Tillery Vassbinder".split()
SAID = {
    "blue-green": ("blue-green spots", "greenish fuzz", "green mold"), "black": ("black specks",
    "black spots"), "white-fluffy": ("white fluffy mold", "white fuzz"), "white-chalky":
    ("white chalky patches", "looks like chalk dust"), "yellow": ("yellow spots",),
    "pink-orange": ("pink-orange mold",), "cut-face": ("on the cut side of the slices",
    "on the slices"), "top-crust": ("on top", "on the top crust"), "side": ("on the side",),
    "base": ("on the bottom",), "heel": ("on the heel",), "near-closure": ("near the tie",),
    "all-over": ("all over",)}
SPANISH = {"mold": "pan con moho", "off-odor": "huele mal", "staling": "pan duro"}
VAGUE = {"mold": ("bread went moldy", "mold on it", "moldy again"), "off-odor":
         ("smells wrong", "smell is off", "funny smell"), "staling": ("stale", "hard already",
                                                                      "not fresh")}


def uuid7(at, rng):
    """RFC 9562 version 7, from the time and the seeded generator."""
    n = int(at.timestamp() * 1000) << 80 | 7 << 76 | rng.getrandbits(12) << 64
    text = f"{n | 2 << 62 | rng.getrandbits(62):032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def misread(code, rng):
    """What a caller makes of a smudged or badly lit code."""
    kind = rng.randrange(6)
    at = rng.randrange(len(code))
    if kind == 0:  # one character lost
        return code[:at] + code[at + 1:]
    if kind == 5:  # one character smudged
        return code[:at] + "?" + code[at + 1:]
    if kind == 1:  # look-alikes
        for a, b in ("0O", "1I", "5S", "8B", "2Z", "B8", "6G"):
            if a in code[1:]:
                where = code.index(a, 1)
                return code[:where] + b + code[where + 1:]
    if kind == 2:  # only the front
        return code[:rng.choice((7, 8, 9))].strip()
    if kind == 3:  # only the end
        return code[rng.choice((3, 4)):]
    at = rng.randrange(4, len(code) - 1)  # neighbours swapped
    return code[:at] + code[at + 1] + code[at] + code[at + 2:]


def lot_text(lot, other, rng):
    x = rng.random()
    if x < .58:
        return lot.code
    if x < .68:
        return rng.choice((lot.code.replace(" ", ""), lot.code.lower(), "LOT " + lot.code))
    if x < .70:
        return f"(01){gtin(101 + list(PRODUCTS).index(lot.product.code))}" \
               f"(10){lot.code.replace(' ', '')}(17){code_date(lot):%y%m%d}"
    if x < .86:
        return misread(lot.code, rng)
    if x < .885:
        return other.code  # read off another pack
    return None


def observed(symptom, trouble, lot, days, kept, told, rng):
    """What the caller saw, as far as told."""
    seen, leaky = {}, trouble and trouble.name == "film-lot"
    if symptom == "mold":
        where = dict((trouble.where if trouble else None) or EVEN)
        if not lot.product.sliced:
            where.pop("cut-face", None)
            where.pop("heel", None)
        seen["colour"] = rng.choices(list(COLOURS), list(COLOURS.values()))[0]
        seen["where"] = rng.choices(list(where), list(where.values()))[0]
        seen["spots"] = min(40, 1 + int(rng.expovariate(1 / 3)))
        hot = trouble and trouble.name == "cooler-fan"
        seen["wet_inside_bag"] = rng.random() < (.75 if hot else .12)
    elif symptom == "off-odor":
        seen["odor"] = sorted({rng.choice(trouble.odor if trouble else ODORS)
                               for _ in range(rng.choice((1, 1, 2)))})
    if symptom == "staling" or trouble and trouble.name == "rope-flour":
        seen["crumb"] = rng.choice(trouble.crumb if trouble and trouble.crumb else CRUMBS)
    seen["bag"] = rng.choice(("seal-open", "seal-open", "torn", "sound")) if leaky else \
        rng.choices(("sound", "torn", "seal-open", "closure-missing"), (93, 3, 2, 2))[0]
    seen["kept"] = kept
    seen["opened_days"] = min(days - 1, rng.choice((0, 0, 1, 1, 2, 3)))
    return {k: v for k, v in seen.items() if rng.random() < told}


def spoken_note(symptom, seen, rng):
    words = [rng.choice(SAID[seen[k]]) for k in ("colour", "where") if k in seen]
    if rng.random() < .05:
        words = [SPANISH[symptom]]
    if not words:
        words = [rng.choice(VAGUE[symptom])]
    if symptom == "mold" and rng.random() < .15:
        words.append("no smell")
    return " ".join(words) if len(words) < 3 else f"{words[0]} {words[1]}, {words[2]}"


def background_kept(symptom, trouble, rng):
    """A home keeps bread in its own way; a lone complaint often has its cause there."""
    usual = ("counter", "counter", "counter", "fridge", "freezer", "unknown", "warm")
    if trouble:
        return rng.choice(usual[:4] + ("unknown",))
    if symptom == "staling" and rng.random() < .45:
        return "fridge"
    return "warm" if symptom == "mold" and rng.random() < .25 else rng.choice(usual)


def contact(rng):
    first, last = rng.choice(FIRST_NAMES), rng.choice(LAST_NAMES)
    who = {"name": f"{first} {last}"}
    if rng.random() < .7:
        who["phone"] = f"(585) 555-01{rng.randrange(100):02d}"
    if rng.random() < .6:
        who["email"] = f"{first}.{last}".lower() + "@example.invalid"
    return who


def dates(lot, symptom, trouble, days, vague, rng):
    found = lot.day + timedelta(days=days)
    late = trouble and trouble.name == "late-shelf"
    bought = found - timedelta(days=rng.choice((0, 1)) if late else
                               rng.randint(0, min(4, days - 1)))
    out = {"code_date": code_date(lot), "bought_on": bought, "found_on": found}
    if rng.random() < .04:  # a week off, or the wrong pack's date
        wrong = rng.choice(("code_date", "bought_on"))
        out[wrong] -= timedelta(days=7)
    chance = .15 if vague else .75
    return {k: v.isoformat() for k, v in out.items() if rng.random() < chance}


def complaint(event, lots, rng):
    """One complaint as the desk gets it; None if it comes after the story ends."""
    lot, symptom, trouble, days, route, store = event
    channel = rng.choices(list(CHANNELS), list(CHANNELS.values()))[0]
    wait = rng.choice(DELAY_DAYS[channel])
    at = local(lot.day + timedelta(days=days + wait), rng.randint(480, 1080)) + \
        timedelta(seconds=rng.randrange(60))
    if at > HISTORY_ENDS:
        return None
    vague = rng.random() < .13
    told = .12 if vague else TOLD[channel]
    c = {"id": uuid7(at, rng), "received_at": stamp(at), "channel": channel, "symptom": symptom}
    text = None if vague and rng.random() < .6 else lot_text(lot, rng.choice(lots), rng)
    if text:
        c["lot_text"] = text
    if rng.random() < (.4 if vague else .85):
        c["product"] = lot.product.code
    c.update(dates(lot, symptom, trouble, days, vague, rng))
    if store and rng.random() < (.3 if vague else .85):
        c["store"] = store
    if channel in ("route", "return"):
        c["route"] = route
    kept = background_kept(symptom, trouble, rng)
    seen = observed(symptom, trouble, lot, days, kept, told, rng)
    if seen:
        c["observed"] = seen
    c["packs"] = rng.choice((1, 1, 1, 1, 2, 2, 3))
    if channel == "return":
        add_return(c, lot, at, rng)
    if rng.random() < .75:
        c["note"] = rng.choice(VAGUE[symptom]) if vague else spoken_note(symptom, seen, rng)
    if channel in ("phone", "web"):
        c["contact"] = contact(rng)
    return at, c


def add_return(c, lot, at, rng):
    c["units"] = rng.randint(3, 36)
    c["inspected_at"] = stamp(at - minutes(rng.randint(20, 240)))
    measured = {"crumb_ph": round(lot.made.ph + rng.gauss(0, .05), 2),
                "crumb_moisture_pct": round(lot.made.moisture_pct + rng.gauss(0, .3), 1)}
    measured = {k: v for k, v in measured.items() if rng.random() < .45}
    if measured:
        c["measured"] = measured


def background_cause(symptom, c):
    kept = c.get("observed", {}).get("kept")
    return {("mold", "warm"): "warm-storage", ("staling", "fridge"): "cold-storage"}.get(
        (symptom, kept), "not-known")


def desk_complaints(lots):
    """Three calls of the last afternoon, for the desk to log one by one."""
    rng = random.Random("desk")
    last = {x.code: x for x in lots}
    shown = next(x for x in lots if (x.day, x.line, x.slot) == SHOWN_LOT)
    hot = [x for x in lots if "cooler-fan" in (t.name for t in x.troubles)
           and x.product.code == "H24"]
    half = next(x for x in hot if x.day == d(11, 16))
    for lot, hour, text, extra in (
            (shown, 20, shown.code, {
                "channel": "phone", "observed": {
                    "colour": "blue-green", "where": "side", "spots": 4, "wet_inside_bag": True,
                    "bag": "sound", "kept": "counter", "opened_days": 1},
                "note": "bought it Thursday, bag was wet inside"}),
            (half, 38, half.code.replace("0", "O")[:-1] + "?", {
                "channel": "store", "observed": {"colour": "black", "wet_inside_bag": True},
                "note": "end of the code is smudged"}),
            (hot[-1], 55, hot[-1].code.replace(" ", ""), {
                "channel": "phone", "observed": {"where": "side", "kept": "counter"},
                "harm": ["illness"], "note": "child ate a slice and was sick in the evening"})):
        at = local(LAST, 900 + hour)
        route, _, stores, _ = lot.sent[0]
        c = {"id": uuid7(at, rng), "received_at": stamp(at), "symptom": "mold",
             "lot_text": text, "product": lot.product.code, "code_date": str(code_date(lot)),
             "found_on": str(LAST), "packs": 1, **extra}
        if c["channel"] == "phone":
            c["contact"] = contact(rng)
        c["store"] = next(s for _, _, stores, _ in lot.sent for s in stores if s)
        yield at, c, (last[lot.code], "mold", BY_NAME["cooler-fan"], 5, route, c["store"])


def write_complaints(folder, lots, seed):
    rng, told = random.Random(f"{seed}/desk"), []
    for event in happenings(lots, seed):
        made = complaint(event, lots, rng)
        if made:
            told.append((*made, event))
    told.sort(key=lambda x: x[0])
    sick = [c for _, c, e in told if e[2] and e[2].name in ("rope-flour", "returns-by-cooler")
            and c["channel"] == "phone"]
    for c in (sick[0], sick[-1]):
        c["harm"] = ["illness"]
        c["note"] = c.get("note", "") + ", felt ill after eating it"
    desk = list(desk_complaints(lots))
    for name, rows in (("complaints.ndjson", told), ("desk.ndjson", desk)):
        with open(os.path.join(folder, name), "w", encoding="utf-8") as f:
            f.writelines(json.dumps(c, ensure_ascii=False) + "\n" for _, c, _ in rows)
    truth = [(c["id"], t.name if t else "background",
              t.causes[symptom] if t else background_cause(symptom, c), symptom, lot.code,
              lot.line, lot.product.code, route, store)
             for _, c, (lot, symptom, t, _, route, store) in told + desk]
    write_csv(folder, "truth.csv",
              "complaint trouble cause symptom lot line product route store".split(), truth)
    return truth
