"""Scripted events: what happened, to which lots, and which of the plant's records it would show in."""
import re
from datetime import timedelta

from planting import in_stores

CAUSES = {
    "mold": "inhibitor-underdosed inhibitor-ineffective-ph inhibitor-spent packed-hot underbaked contamination-cooler-air contamination-cooler-belt "
            "contamination-slicer contamination-bagger contamination-film contamination-hands contamination-returns contamination-ingredient-store "
            "contamination-waste pack-leak warm-storage old-stock".split(),
    "off-odor": "inhibitor-overdosed acid-overdosed over-fermented rope wild-yeast fat-rancid pack-taint cleaning-residue inhibitor-broken-down mold-hidden".split(),
    "staling": "softener-underdosed softener-overdosed enzyme-window-missed overbaked underbaked-gummy overcooled-dry pack-leak-dry cold-storage old-stock-stale "
               "rope-crumb".split()}
SYMPTOM = {c: s for s, cs in CAUSES.items() for c in cs}
DUR = {"lot": (0, .01), "run": (.05, .35), "day": (.4, 1), "days": (1.5, 5), "week": (5, 10), "weeks": (9, 21)}


class Event:
    def __init__(s, P, number, cause, r):
        s.P, s.n, s.cause, s.r = P, number, cause, r
        s.symptom, s.lots, s.note, s.dest, s.spec = SYMPTOM[cause], [], "", None, None
        s.k = r.lognormvariate(0, .3)  # how bad

    def when(s, durs, pred=lambda L: True, line=True):
        """lots of one line (or of the plant) in a window"""
        r, P = s.r, s.P
        for _ in range(60):
            lo, hi = DUR[r.choice(durs)]
            ok = [L for L in P.lots if pred(L) and 4 <= L["day"] < P.days - 2]
            if not ok: return []
            first = r.choice(ok)
            t0, t1 = first["pa"], first["pb"] + timedelta(days=r.uniform(lo, hi))
            s.ln = first["line"]
            s.lots = [L for L in ok if t0 <= L["pa"] < t1 and (not line or L["line"] == s.ln)]
            if sum(any(SYMPTOM[c] == s.symptom for c in L["troubles"].values()) for L in s.lots) <= .3 * len(s.lots): break
        s.t0, s.t1 = t0, t1
        return s.lots

    def material(s, mat, pred=lambda L: True, most=120):
        """the lots made with one delivery of a material"""
        ok = [q for q in s.P.matlots.values() if q["mat"] == mat and not q["bad"] and 1 <= sum(map(pred, q["lots"])) <= most
              and 4 <= q["lots"][0]["day"] < s.P.days - 3]
        if not ok: return None
        q = s.r.choice(ok)
        q["bad"] = s.cause
        s.lots = [L for L in q["lots"] if pred(L)]
        s.ln, s.t0, s.t1 = s.lots[0]["line"], s.lots[0]["pa"] - timedelta(hours=8), s.lots[-1]["pb"]
        return q

    def shift(s, **ch):
        for L in s.lots:
            for k, (how, v, sd) in ch.items():
                y = s.r.gauss(v, sd)
                L["x"][k] = L["x"][k] * max(.02, y) if how == "*" else L["x"][k] + y

    def log(s, place, quantity, mult=None, value=None, line=True, before=1.0, after=.3, p=1.0):
        if s.lots:
            s.P.bumps.append(dict(place=place, quantity=quantity, line=s.ln if line else None, t0=s.t0 - timedelta(days=before), t1=s.t1 + timedelta(days=after), mult=mult, value=value, p=p))

    def write(s, t):
        """place/quantity, * low:high or = value, @days before, ! whole plant, ?chance"""
        place, q, op, v, rest = re.match(r"([a-z-]+)/([a-z_0-9]+)([*=])([\w.:]+)(.*)", t).groups()
        num = lambda ch, d: float((re.search(re.escape(ch) + r"([\d.]+)", rest) or [0, d])[1])
        val = None if op == "*" else v if v == "skip" else int(v)
        mult = s.r.uniform(*map(float, v.split(":"))) if op == "*" else None
        s.log(place, q, mult=mult, value=val, line="!" not in rest, before=num("@", 1), p=num("?", 1))

    def seed(s, src, m, table):
        """more spores on the loaf from a place; mostly one clone"""
        s.spec = None if s.r.random() < .25 else pick_word(s.r, table)
        for L in s.lots: L["src"][src] = L["src"].get(src, 0) + m * s.k * s.r.lognormvariate(0, .4)
        s.src = src


def pick_word(r, t):
    ks = list(t)
    return r.choices(ks, [t[k] for k in ks])[0]


SPECIES = {"air": dict(pen=.6, nig=.2, chalk=.06, rhi=.1, neu=.02, eur=.02), "slicer": dict(pen=.62, chalk=.28, nig=.1), "belt": dict(pen=.65, rhi=.2, nig=.15),
           "bagger": dict(pen=.7, nig=.15, chalk=.15), "film": dict(pen=.5, nig=.3, eur=.2), "hands": dict(pen=.7, chalk=.2, nig=.1),
           "returns": dict(pen=.55, nig=.2, rhi=.15, neu=.1), "store": dict(pen=.3, nig=.25, rhi=.2, eur=.25), "waste": dict(neu=.35, rhi=.25, pen=.3, nig=.1),
           "home": dict(pen=.55, rhi=.2, nig=.2, chalk=.05)}


# cause: how long | whose lots | spores: place low high, species | shifts key op low:high ?chance | log place/quantity op low:high @days-before !whole-plant ?chance | note
PLAIN = {
    "contamination-cooler-air": ("days week weeks", "", "air 1.2 4", "", "cooler-air/air_cfu_m3*4:14 cooler-air/settle_plate_cfu*3:10 cooler-air/filter_changed=skip@20 cooler-air/pressure_pa*.1:.5?.5", "cooler intake filter torn and overdue"),
    "contamination-cooler-belt": ("days week weeks", "", "belt .9 3.5", "", "cooler-belt/swab_cfu*4:20 cooler-belt/atp_rlu*2:5 cooler-belt/cleaned=0@4?.7", "crumb build-up on cooler belt, belt cleaning missed"),
    "contamination-slicer": ("run day days week", "sliced", "slicer 1.2 5", "", "slicer/swab_cfu*4:25 slicer/atp_rlu*2:6 slicer/cleaned=0@2?.6", "slicer band oil and crumb grew mold"),
    "contamination-bagger": ("run day days week", "", "bagger .9 3.5", "", "bagger/swab_cfu*4:15 bagger/atp_rlu*1.8:4 bagger/settle_plate_cfu*1.5:4 bagger/cleaned=0@2?.5", "bag-opening blower and scoop dirty"),
    "contamination-film": ("film", "", "film .9 3.5", "", "film-store/settle_plate_cfu*2:6@8! film-store/condensation_seen=1@8!?.6", "film reels stood damp, mold on reel edges"),
    "contamination-hands": ("day days week weeks", "shift", "hands .9 3.5", "", "hands/swab_cfu*3:12?.6", "glove discipline of the packers of one shift"),
    "contamination-returns": ("day days week", "all", "returns .8 3", "", "returns-dock/returns_staged=1@.5!?.8 returns-dock/settle_plate_cfu*3:10! dispatch-dock/settle_plate_cfu*1.5:4! bagger/settle_plate_cfu*1.3:3!?.6", "moldy returns staged beside the packing room"),
    "contamination-ingredient-store": ("days week weeks", "topped all", "store .9 3.5", "", "ingredient-store/settle_plate_cfu*3:9@4! ingredient-store/condensation_seen=1@5!?.5 ingredient-store/cleaned=0@5!?.5", "roof leak over toppings and dusting flour"),
    "contamination-waste": ("day days week", "any", "waste .8 3.2", "", "waste-area/waste_emptied=0@1.5!?.85 waste-area/settle_plate_cfu*3:12! bagger/settle_plate_cfu*1.2:2.6?.6", "waste bread stood for days near the packing hall"),
    "underbaked": ("lot run day days", "", "", "end+-6.5:-2.5 bake*.84:.97 moist+1.2:2.8 aw+.006:.013", "", "burner fault, core at end of bake low"),
    "inhibitor-overdosed": ("lot lot run day", "", "", "dose*1.6:2.6 proof*1.04:1.15", "", "inhibitor weighed twice"),
    "acid-overdosed": ("lot run day", "acid", "", "acid*1.6:2.8 ph+-.55:-.25 dph+-.55:-.25 proof*1.02:1.1", "", "acid overdosed"),
    "over-fermented": ("lot run day", "", "", "ferm*1.35:2.1 dt+.8:3 dph+-.45:-.2 ph+-.3:-.12 stop+30:90?.6", "", "sponges stood through a stop"),
    "fat-rancid": ("fat", "", "", "", "", "fat delivery oxidised"),
    "pack-taint": ("film", "", "", "", "", "solvent held in the print of a film lot"),
    "softener-underdosed": ("lot run day days week", "", "", "soft*.1:.5", "", "softener short"),
    "softener-overdosed": ("lot run day days week", "", "", "soft*1.8:3", "", "softener doubled"),
    "enzyme-window-missed": ("run day days week", "", "", "ramp*1.4:1.9 bake*.82:.92 end+-.2:1", "", "oven profile run hotter and shorter to gain rate"),
    "overbaked": ("lot run day days", "", "", "bake*1.1:1.25 end+.8:2.2 moist+-2.6:-1.2 aw+-.01:-.004 stop+10:30?.5", "", "oven slowed behind a stop"),
    "underbaked-gummy": ("lot run day", "", "", "end+-6:-2.5 bake*.82:.95 moist+1.2:2.8 aw+.004:.01", "", "short bake, gummy core"),
}


def script(e, c):
    """an event told by the table"""
    r = e.r
    durs, whose, seed, shifts, logs, e.note = PLAIN[c]
    if durs in ("film", "fat"):
        if not e.material(durs): return False
    else:
        sh = r.choice(e.P.shifts)
        one = r.choice([p for p in e.P.products.values() if p["topped"]] or list(e.P.products.values()))["id"]
        pred = {"sliced": lambda L: L["p"]["sliced"], "acid": lambda L: L["p"]["acid"] > 0, "shift": lambda L: L["shift"] == sh, "topped": lambda L: L["p"]["id"] == one}.get(whose.split()[0] if whose else "", lambda L: True)
        if not e.when(durs.split(), pred, line="all" not in whose and not (whose == "any" and r.random() < .4)): return False
    if c == "contamination-returns" and r.random() < .5:  # only one line stands in the draught
        keep = r.choice(e.P.lines)
        e.lots = [L for L in e.lots if L["line"] == keep] or e.lots
    if seed:
        src, lo, hi = seed.split()
        e.seed(src, r.uniform(float(lo), float(hi)), SPECIES[src])
    for t in shifts.split():
        t, _, chance = t.partition("?")
        k, op, v = re.match(r"([a-z]+)([*+])(.*)", t).groups()
        lo, hi = map(float, v.split(":"))
        if r.random() < float(chance or 1):
            y = r.uniform(lo, hi)
            e.shift(**{k: (op, y, abs(y) * (.03 if op == "*" else .1))})
    for t in logs.split(): e.write(t)
    return True


def strike(e):
    """make the event happen; False when this plant cannot have it"""
    r, c = e.r, e.cause
    u = r.uniform
    ok = script(e, c) if c in PLAIN else special(e, c, r, u)
    if c == "underbaked":
        for L in e.lots: L["wet"] += .35
    for L in e.lots if ok else []: L["troubles"][e.n] = c
    return ok and bool(e.lots)


def special(e, c, r, u):
    if c == "inhibitor-underdosed":
        kind = r.choice(["feeder", "hand", "recipe"])
        one = r.choice([L["p"]["id"] for L in e.P.lots])
        e.when(["lot", "run"] if kind == "hand" else ["run", "day", "days", "week"], (lambda L: L["p"]["id"] == one) if kind == "recipe" else (lambda L: True))
        e.shift(dose=("*", u(.12, .35) if kind == "hand" else u(.35, .68), .05))
        for L in e.lots:
            L["dose_hidden"] = kind == "hand" and r.random() < .5 or kind == "feeder" and r.random() < .25  # ticked as added
        e.note = {"feeder": "minor-ingredient feeder bridged and ran low", "hand": "hand addition left out of part of the mixes", "recipe": "wrong dose keyed in the recipe"}[kind]
    elif c == "inhibitor-ineffective-ph":
        e.when(["run", "day", "days", "week"])
        up = u(.35, .75)
        e.shift(ph=("+", up, .05), dph=("+", up * .85, .06))
        if r.random() < .7: e.shift(acid=("*", u(.05, .45), .03))
        e.note = f"crumb pH {up:.2f} too high: acid short or buffered flour"
    elif c == "inhibitor-spent":
        q = e.material("inhibitor")
        if not q: return False
        left = u(.25, .55)
        q["active"], q["born"] = round(100 * left + r.gauss(0, 1.5), 1), q["born"] - u(60, 250)
        q["id"] = e.P.mat_id("inhibitor", q["born"], q["serial"])
        for L in e.lots: L["x"]["active"] = left
        e.note = "inhibitor delivery caked and old; active " + f"{left:.2f}"
    elif c == "packed-hot":
        e.when(["lot", "run", "day", "days"])
        d = u(6, 14)
        e.shift(core=("+", d, 1))
        how = r.choice(["cooler", "hurry", "hurry", "room"])
        if how == "cooler": e.shift(cair=("+", u(3, 7), .6))
        elif how == "hurry": e.shift(cool=("*", u(.62, .8), .03))
        else:
            for L in e.lots: L["room"] += u(3, 6)
        for L in e.lots: L["wet"] += d / 10
        e.log("bagger", "condensation_seen", value=1, p=.6, before=0)
        e.note = f"core {d:.0f} C over at packing ({how})"
    elif c in ("pack-leak", "pack-leak-dry"):
        if r.random() < .5 and e.material("closure"): e.note = "closures of one delivery do not grip"
        elif e.when(["lot", "run", "day", "days"]): e.note = "sealing jaw / closer out of adjustment"
        else: return False
        e.shift(seal=("+", u(2.5, 9), .8))
        if c == "pack-leak":
            for L in e.lots: L["src"]["leak"] = u(1, 3)
        e.src = "leak"
    elif c in ("warm-storage", "cold-storage", "old-stock", "old-stock-stale"):
        R = r.choice(list(e.P.routes))
        deep = not in_stores(r.random() >= .45)
        e.dest = (R, None) if deep else (R, r.choice(e.P.routes[R]["stores"]))
        one = None if r.random() < .6 else r.choice([L["p"]["fam"] for L in e.P.lots])
        hit = lambda D: D["route"] == e.dest[0] and e.dest[1] in (None, D["store"])
        if not e.when(["days", "week", "weeks"] if c != "warm-storage" else ["day", "days", "week"],
                      lambda L: any(hit(D) for D in L["disp"]) and one in (None, L["p"]["fam"]), line=False):
            return False
        d = u(6, 11) if c == "warm-storage" else u(-16, -11)
        for L in e.lots:
            for D in filter(hit, L["disp"]):
                if "storage" in c:
                    D["dT"] = d
                    if deep: D["t"] = D["t"] + r.gauss(d, 1) if c[0] == "w" else r.gauss(3.5, 1)
                else:
                    D["late"] = u(.5, .85) * L["p"]["shelf"]
                    if deep:  # the plant's own depot sent it late
                        D["at"] += timedelta(days=D["late"])
                        D["late"] = .3
        where = f"route {e.dest[0]}" + ("" if deep else f" store {e.dest[1]}")
        e.note = {"warm-storage": "stood hot on ", "cold-storage": "kept chilled on ", "old-stock": "no rotation, sold old on ", "old-stock-stale": "no rotation, sold old on "}[c] + where
    elif c in ("rope", "rope-crumb"):
        hot = sorted(set(L["day"] for L in e.P.lots), key=lambda d: -e.P.out[d])[:max(10, e.P.days // 3)]
        if r.random() < .75:
            q = e.material("flour", lambda L: L["day"] in hot and L["p"]["aw"] > .93, most=60) or e.material("flour", most=60)
            if not q: return False
            e.note = "flour delivery heavy with rope spores"
        elif e.when(["day", "days"], lambda L: L["day"] in hot) or e.when(["day", "days"]): e.note = "rework and dough residues seeded rope on one line"
        for L in e.lots:
            L["spores"] = 10 ** r.gauss(3.1, .3)
            L["x"]["ph"] += abs(r.gauss(.06, .05))
    elif c == "wild-yeast":
        e.when(["day", "days", "week"])
        e.place = r.choice(["slicer", "cooler-belt", "bagger"])
        e.seed("slicer" if e.place == "slicer" else "belt" if e.place == "cooler-belt" else "bagger", u(1, 3), dict(chalk=1))
        e.spec = "chalk"
        e.log(e.place, "swab_cfu", mult=u(3, 12))
        e.log(e.place, "atp_rlu", mult=u(1.5, 3))
        e.log(e.place, "condensation_seen", value=1, p=.5)
        e.note = f"wild yeast film at {e.place}"
    elif c == "cleaning-residue":
        e.when(["lot", "lot", "run"])
        pl = r.choice(["slicer", "cooler-belt", "bagger"])
        e.log(pl, "cleaned", value=1, before=.4, after=-.1)
        e.log(pl, "atp_rlu", mult=.3, before=.4)
        if e.lots: e.P.bumps[-2]["note"] = r.choice(["foam clean, sanitiser", "new detergent", "rinse short, start-up late", "deep clean"])
        e.note = f"first lots after a clean at {pl}, not rinsed"
    elif c == "inhibitor-broken-down":
        q = e.material("inhibitor", lambda L: L["p"]["sorbate"])
        if not q: return False
        q["active"] = round(u(70, 92), 1)
        for L in e.lots:
            L["x"]["active"] = q["active"] / 100
            L["src"]["air"] = L["src"].get("air", 0) + .5
        e.note = "sorbate decarboxylated by tolerant penicillia"
    elif c == "mold-hidden":
        e.when(["day", "days", "week"])
        src, pl = r.choice([("air", "cooler-air"), ("belt", "cooler-belt"), ("bagger", "bagger")])
        e.seed(src, u(1, 3), SPECIES[src])
        e.log(pl, "settle_plate_cfu" if src == "air" else "swab_cfu", mult=u(3, 9))
        e.note = f"growth inside folds, spores of {pl}"
    elif c == "overcooled-dry":
        e.when(["lot", "run", "day", "days"])
        if r.random() < .6: e.shift(cool=("*", u(1.35, 2.2), .06), stop=("+", u(25, 80), 8))
        else: e.shift(crh=("+", -u(14, 26), 3), cair=("+", -u(1, 4), .4))
        e.shift(core=("+", -u(5, 9), .7), moist=("+", -u(1, 2.4), .25))
        for L in e.lots: L["x"]["core"] = max(L["x"]["core"], L["room"] - 1)
        e.note = "loaves stood in the cooler"
    return bool(e.lots)


def decoys(P, r):
    """things out of line that hurt nobody: they touch the records only"""
    P.fake = {}
    for _ in range(r.randint(6, 14)):
        L = r.choice(P.lots)
        e = Event(P, -1, "packed-hot", r)
        e.ln, e.t0, e.t1 = L["line"], L["pa"], L["pb"] + timedelta(days=r.choice([.1, .5, 2, 6]))
        near = [M for M in P.lots if M["line"] == e.ln and e.t0 <= M["pa"] <= e.t1]
        k = r.randrange(10)
        pl = r.choice(["slicer", "bagger", "cooler-belt"])
        if k == 0: e.log(pl, "cleaned", value=0)
        elif k == 1: e.log(pl, "swab_cfu", mult=r.uniform(4, 15))
        elif k == 2: e.log(r.choice(["cooler-air", "bagger", "film-store", "ingredient-store", "waste-area"]), "settle_plate_cfu", mult=r.uniform(3, 9), line=False)
        elif k == 3: e.log("waste-area", "waste_emptied", value=0, line=False)
        elif k == 4: e.log("returns-dock", "returns_staged", value=1, line=False)
        elif k == 5: e.log("dispatch-dock", "door_open_min", mult=r.uniform(2, 5), line=False)
        elif k == 6: e.log("cooler-air", "filter_changed", value="skip", before=18)
        else:
            q, v = r.choice([("core", 6), ("core", -5), ("ph", .3), ("ph", -.25), ("moist", 1.5), ("ferm", 40), ("bake", 2), ("dose", -.08), ("dose", .1), ("soft", -.2), ("cool", 25), ("prh", 12)])
            for M in near[:1] if q in ("dose", "soft") else near:
                P.fake.setdefault(M["id"], {})[q] = v  # a wrong probe, a slip of the pen
