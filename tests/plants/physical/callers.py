"""People on the phone: what they saw, what they remember, what they can read off a bag."""
import datetime as dt
import numpy as np
import physics as ph
from troubles import SYMPTOM

LOOK = {"0": "OD", "O": "0", "1": "I7", "I": "1L", "5": "S", "S": "5", "8": "B3", "B": "8", "2": "Z", "6": "8", "7": "1", "L": "1", "3": "8", "9": "4", "4": "9"}
NOTES = {"mold": ["there is mould on it", "green bits all over the slice", "found fuzz when i made toast for the kids", "it was fine yesterday", "moldy before the date!!", "mold on bread, want refund", "wife noticed spots", "black specks, maybe mould"],
         "off-odor": ["smells funny", "smell when you open the bag", "had to throw it out, odd smell", "tastes and smells off", "smell like something is off, not mouldy", "bad smell but looks ok"],
         "staling": ["hard as a board", "stale already", "not fresh when bought", "dry and crumbles when i butter it", "like day old bread", "rough and old tasting"]}
SMELL = {"sour": ["smells sour", "sourish"], "cheesy": ["like sweaty socks", "smells of cheese"], "vinegar": ["vinegar smell", "reeks of vinegar"], "fruity": ["like overripe melon", "pineapple smell"], "solvent": ["nail polish smell", "like glue"],
         "alcohol": ["smells like beer", "boozy smell"], "musty": ["musty, like a cellar"], "rancid": ["like old oil", "rancid"], "plastic": ["tastes of plastic"], "hydrocarbon": ["smells like petrol", "kerosene smell"], "chemical": ["like cleaning stuff", "chemical taste"]}
EXTRA = {"wet": ["bag was wet inside", "water drops in the bag"], "warm": ["it has been hot in the kitchen"], "open": ["the bag was not closed properly", "seal was open"]}


def pick(R, pairs):
    x = R.random() * sum(p for _, p in pairs)
    for v, p in pairs:
        x -= p
        if x <= 0: return v
    return pairs[-1][0]


def read_code(P, code, L):
    R = P.R
    u = R.random()
    if u < .54: return code, "exact"
    if u < .70:
        c = list(code.upper())
        for _ in range(1 if R.random() < .75 else 2):
            i, k = R.randrange(len(c)), R.random()
            if k < .6:
                js = [j for j in range(len(c)) if c[j] in LOOK] or [i]
                i = R.choice(js); c[i] = R.choice(LOOK.get(c[i], "0"))
            elif k < .75 and len(c) > 3: del c[i]
            elif k < .87: c.insert(i, c[i])
            elif i: c[i - 1], c[i] = c[i], c[i - 1]
        s = "".join(c)
        return s, "misread" if s != code.upper() else "exact"
    if u < .81:
        n = R.randint(3, max(4, len(code) - 3))
        return (code[:n] if R.random() < .5 else code[-n:]), "partial"
    if u < .84: return R.choice(P.lots[max(0, L.key - 120):L.key + 60]).id, "none"
    return None, "none"


def complaint(P, t, sym, item, i):
    R, N = P.R, P.N
    L, age, w, pk, a4, sp, wet, leak = item
    pr = P.products[L.prod]
    a = max(1, int(age[i]))
    buy = pk.buy[i]
    if t and t.late: buy = min(a, pr["shelf"] + R.uniform(t.late[0], t.late[1]))
    buy = min(buy, a)
    packed = (P.time(L.day, L.p0)).date()
    found, bought = packed + dt.timedelta(days=a), packed + dt.timedelta(days=int(buy))
    lag = 0 if R.random() < .5 else min(14, 1 + int(R.expovariate(.55)))
    channel = pick(R, [("phone", .42), ("web", .34), ("store", .18), ("route", .02), ("return", .04)])
    at = dt.datetime.combine(found + dt.timedelta(days=lag), dt.time(0), P.tz) + dt.timedelta(minutes=R.randint(440, 1290), seconds=R.randint(0, 59))
    rows = [x for x in L.disp if not (t and t.where_sold) or (x[0] == t.where_sold[0] and (not t.where_sold[1] or x[1] in t.where_sold[1]))]
    store = R.choices(rows, [x[2] for x in rows])[0][1]
    care = R.betavariate(1.6, 1.8)                 # how much this caller tells
    tells = lambda p: R.random() < p * (.35 + 1.1 * care)
    kept = "counter" if pk.kept[i] == 0 else "fridge" if pk.kept[i] == 1 else R.choice(["warm", "warm", "counter"])
    ob, note = {}, []
    is_wet, is_leak = bool(wet[i]), bool(leak[i])
    if sym == "mold":
        s = ph.SOURCES[int(a4[i])]
        where = pick(R, list(zip(ph.WHERES, ph.LANDS[s])))
        if is_wet and R.random() < .45 and s not in ("slicer", "cooler-belt"): where = R.choice(["side", "top-crust", "side", "base"])
        if R.random() < .13: where = R.choice(ph.WHERES)
        colour = pick(R, ph.COLOURS[ph.SPECIES[int(sp[i])]])
        if R.random() < .10: colour = R.choice(["blue-green", "white-fluffy", "black"])
        if tells(.62): ob["colour"] = colour
        if tells(.5): ob["where"] = where
        if tells(.3): ob["spots"] = 1 + int(N.geometric(.35 if not is_wet else .2)) - 1 + (R.randint(1, 6) if t else 0)
        if tells(.15): ob["odor"] = [R.choice(["musty", "musty", "sour"])]
    elif sym == "off-odor" or (t and t.cause == "rope-crumb"):
        words = t.odor["words"] if t else [("sour", .28), ("musty", .18), ("cheesy", .12), ("chemical", .1), ("vinegar", .08), ("rancid", .08), ("plastic", .07), ("alcohol", .08), ("fruity", .05), ("solvent", .04)]
        os = {pick(R, words)}
        if R.random() < .25: os.add(pick(R, words))
        if t and R.random() < .14: os = {R.choice(["sour", "musty", "chemical", "cheesy"])}
        if tells(.9 if sym == "off-odor" else .3): ob["odor"] = sorted(os)
        elif tells(.6): note.append(R.choice(SMELL[sorted(os)[0]]))
        if t and t.cause.startswith("rope") and tells(.55 if sym == "off-odor" else .85): ob["crumb"] = pick(R, [("sticky", .45), ("discoloured", .2), ("stringy", .2), ("gummy", .15)])
        if t and t.cause == "wild-yeast" and tells(.25): ob["colour"] = "white-chalky"
        if t and t.cause == "over-fermented" and tells(.2): ob["crumb"] = R.choice(["crumbly", "normal", "dry"])
    else:
        mech = int(a4[i])
        crumb = pick(R, {0: [("firm", .6), ("dry", .2), ("crumbly", .2)], 1: [("dry", .6), ("crumbly", .2), ("firm", .2)], 2: [("gummy", .65), ("sticky", .3), ("firm", .05)]}[mech])
        if R.random() < .1: crumb = R.choice(["firm", "dry", "crumbly"])
        if tells(.75): ob["crumb"] = crumb
    if tells(.32) and R.random() < .85: ob["wet_inside_bag"] = R.random() < (.72 if is_wet else .07)
    if is_leak:
        if tells(.6): ob["bag"] = R.choice(["seal-open", "closure-missing", "torn", "seal-open"])
        elif R.random() < .25: note.append(R.choice(EXTRA["open"]))
    elif tells(.38): ob["bag"] = "sound" if R.random() < .95 else R.choice(["torn", "seal-open", "closure-missing"])
    if tells(.45): ob["kept"] = kept if R.random() < .9 else R.choice(["unknown", "counter"])
    if tells(.3): ob["opened_days"] = max(0, int(a - min(a, max(pk.open[i], buy))))
    c = {"received_at_dt": at, "received_at": at.isoformat(timespec="seconds"), "channel": channel, "symptom": sym}
    code, reading = read_code(P, L.id, L)
    if code is not None:
        c["lot_text"] = R.choice([code, code, code.lower() if R.random() < .3 else code, "lot " + code if R.random() < .2 else code])
    if R.random() < .76: c["product"] = L.prod if R.random() < .95 else R.choice(list(P.products))
    if R.random() < .45: c["code_date"] = (L.code + dt.timedelta(days=0 if R.random() < .93 else R.choice([-1, 1, 10, -10]))).isoformat()
    if R.random() < .55 or channel == "return": c["store"] = store if R.random() < .96 else R.choice(R.choice(list(P.routes.values())))
    if R.random() < .45: c["bought_on"] = (bought + dt.timedelta(days=0 if R.random() < .8 else R.choice([-1, 1, -2]))).isoformat()
    if R.random() < .68:
        f = found + dt.timedelta(days=0 if R.random() < .87 else R.choice([-1, -1, 1, -2]))
        c["found_on"] = min(f, at.date()).isoformat()
    if "bought_on" in c and c["bought_on"] > c.get("found_on", at.date().isoformat()):
        del c["bought_on"]
    if ob: c["observed"] = ob
    c["packs"] = 1 if R.random() < .9 else R.randint(2, 4)
    if R.random() < .35: note.insert(0, R.choice(NOTES[sym]))
    if is_wet and "wet_inside_bag" not in ob and R.random() < .15: note.append(R.choice(EXTRA["wet"]))
    if pk.kept[i] == 2 and R.random() < .2: note.append(EXTRA["warm"][0])
    if note:
        s = ", ".join(note)
        if R.random() < .12 and len(s) > 6:
            j = R.randrange(2, len(s) - 2); s = s[:j] + s[j + 1] + s[j] + s[j + 2:]
        c["note"] = s
    if channel == "return":
        c["units"] = R.randint(1, 24)
        c["inspected_at"] = (at + dt.timedelta(hours=R.randint(1, 20))).isoformat(timespec="seconds")
        if R.random() < .5:
            st = dict(L.base); x = st["ph"]
            if t and not t.where_sold:
                from troubles import copy
                s2 = copy(L.base); t.apply(s2, L, t.x[L.id]); x = s2["ph"]
            c["measured"] = {"crumb_ph": round(x + N.normal(0, .06), 2)}
    return c, {"cause": t.cause if t else "not-known", "lot": L.id, "trouble": t.number if t else -1, "reading": reading}
