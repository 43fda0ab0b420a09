"""What goes wrong in a bakery, in physical terms. Each trouble changes the state of lots, of places or of what
happens after dispatch; what the records make of it is not decided here."""
import numpy as np
import physics as ph
from planting import in_stores

MOLD = "inhibitor-underdosed inhibitor-ineffective-ph inhibitor-spent packed-hot underbaked contamination-cooler-air contamination-cooler-belt contamination-slicer contamination-bagger contamination-film contamination-hands contamination-returns contamination-ingredient-store contamination-waste pack-leak warm-storage old-stock".split()
ODOR = "inhibitor-overdosed acid-overdosed over-fermented rope wild-yeast fat-rancid pack-taint cleaning-residue inhibitor-broken-down mold-hidden".split()
STALE = "softener-underdosed softener-overdosed enzyme-window-missed overbaked underbaked-gummy overcooled-dry pack-leak-dry cold-storage old-stock-stale rope-crumb".split()
DECK = MOLD * 2 + ODOR + STALE                     # about six in ten are mold
SYMPTOM = {c: s for s, cs in (("mold", MOLD), ("off-odor", ODOR), ("staling", STALE)) for c in cs}
FAMILY = {"inhibitor-broken-down": ["flatbread", "sweet-good"], "rope": ["pan-bread", "bun"], "rope-crumb": ["pan-bread"], "enzyme-window-missed": ["pan-bread", "bun"], "softener-overdosed": ["pan-bread", "bun"],
          "over-fermented": ["pan-bread", "bun"], "underbaked-gummy": ["pan-bread", "bun"], "packed-hot": ["pan-bread", "bun", "flatbread"], "contamination-slicer": ["pan-bread", "bun"], "mold-hidden": ["pan-bread", "bun"], "wild-yeast": ["pan-bread", "bun"], "fat-rancid": ["sweet-good", "bun", "flatbread"],
          "inhibitor-overdosed": ["pan-bread", "bun"]}


class Trouble:
    def __init__(t, cause, number):
        t.cause, t.number, t.sym = cause, number, SYMPTOM[cause]
        t.lots, t.boost, t.events, t.note, t.apply = [], {}, {}, "", (lambda s, L, x: None)
        t.where_sold = None                         # (route, stores or None): only packs that went there
        t.late, t.odor = None, None
        t.frac = 1.0


def plan(P, cause, number):
    R = P.R
    t = Trouble(cause, number)
    fam = FAMILY.get(cause)
    lines = [l for l in P.lines if not fam or P.lfam[l] in fam] or P.lines
    line = R.choice(lines)
    d0 = R.randint(4, P.days - 6)
    used = lambda a, b, ll=None: [L for L in P.lots if a <= L.day <= b and (ll is None or L.line in ll)]

    def window(lo, hi):                             # days, then the lots of the line
        b = min(P.days - 1, d0 + R.randint(lo, hi) - 1)
        return [L for L in used(d0, b, [line])], b

    def few(k0, k1):                                # some neighbouring lots of a line on one or two days
        ls = used(d0, P.days, [line])
        i = R.randint(0, max(0, min(4, len(ls) - 1)))
        return ls[i:i + R.randint(k0, k1)]

    def material(m, ok=None):                       # everything made with one lot of a material
        ns = sorted({L.mat[m] for L in P.lots if L.day >= 3 and (not ok or P.lfam[L.line] in ok)})
        n = R.choice(ns)
        return n, [L for L in P.lots if L.mat[m] == n and (not ok or P.lfam[L.line] in ok)]

    def ramp(p, l, a, b, peak, also=()):            # spores build up, then the place is cleaned
        up = R.choice([0, 0, 1, 2, 3])
        for d in range(a - 1, b + 1):
            y = peak * min(1, (d - a + 2) / (up + 1)) * R.uniform(.85, 1.1)
            t.boost[p, l, d] = y
            for q, f in also:
                for ll in (P.lines if l is None else [l]):
                    t.boost[q, ll, d] = y * f
    strain = R.choice([None, None, 1, 0, 6])

    def flora(src):
        def f(s, L, x):
            if strain is not None and src:
                s["flora"][src] = strain
        return f

    if cause == "inhibitor-underdosed":
        mode = R.choice(["feeder", "feeder", "mix", "mix", "recipe"])
        t.mode = mode
        if mode == "mix":
            t.lots = few(1, 3)
            pick = {L.id: R.sample(range(L.nmix), R.randint(1, max(1, L.nmix - 1))) for L in t.lots}
            low = R.choice([0., 0., .35])
            def f(s, L, x):
                s["inh"][pick[L.id]] *= low
            t.note = "scaling left out of some mixes" if low == 0 else "part bag in some mixes"
        else:
            t.lots, _ = window(2, 12) if mode == "feeder" else (few(2, 6), 0)
            k = R.uniform(.4, .66)
            def f(s, L, x):
                s["inh"] *= np.clip(k + .06 * x, .2, .8)
                if mode == "feeder" and P.setpoint:
                    s["inh_rec"] = 1.0                 # the book keeps the recipe's figure
            t.note = "feeder screw short" if mode == "feeder" else "dose of another recipe used"
        t.apply = f
    elif cause == "inhibitor-ineffective-ph":
        t.lots, _ = window(2, 10)
        up, weak = R.uniform(.28, .6), R.random() < .5
        def f(s, L, x):
            s["ph"] += up * (1 + .1 * x); s["dough_ph"] += .7 * up
            if weak: s["grain"] *= .5
            else: s["acid"] *= .45
        t.apply, t.note = f, "weak vinegar" if weak else "acid dose halved"
    elif cause == "inhibitor-spent":
        t.lots, _ = window(4, 16)
        t.lots = [L for L in P.lots if t.lots and t.lots[0].day <= L.day <= t.lots[-1].day and (L.line == line or R.random() < .0)]
        old, act = P.mname("inhibitor"), R.uniform(.4, .68)
        old = old[:-3] + f"{R.randint(10, 99)}x" if R.random() < .2 else old
        P.msup[old] = P.supp["inhibitor"][0]
        for L in t.lots: L.mat["inhibitor"] = old
        def f(s, L, x):
            s["inh"] *= act; s["inh_active"] = act; s["inh_rec"] = 1.0
        t.apply, t.note, t.mlot = f, f"old damp pallet {old}, active share {act:.2f}", old
    elif cause == "packed-hot":
        t.lots = few(1, 5) if R.random() < .6 else window(2, 5)[0]
        up, fan = R.uniform(5, 12), R.random() < .4
        def f(s, L, x):
            s["core_pack"] += up * (1 + .15 * x)
            if fan: s["cooler_c"] += up * .6; s["cooler_rh"] += 5
            else: s["cool"] *= 1 - .028 * up
            s["aw"] += .002; s["moist"] += .25
            s["wet"] += .10
        t.apply, t.note = f, "cooler fans down" if fan else "cooler run fast to catch up"
    elif cause in ("underbaked", "underbaked-gummy"):
        t.lots = few(2, 6)
        gg = 1.0 if cause == "underbaked" else 1.25
        def f(s, L, x):
            s["core_end"] -= 4.5 * gg * (1 + .2 * x); s["moist"] += 1.5 * gg; s["aw"] += .009 * gg; s["bake"] *= .91 if R0 else .985
            s["wet"] += .20; s["core_pack"] += 1.4
            s["gum"] += 3.0 if cause == "underbaked-gummy" else .3
        R0 = R.random() < .6
        t.apply, t.note = f, "short bake" if R0 else "burners low in one zone"
    elif cause == "contamination-cooler-air":
        t.lots, b = window(5, 18)
        ramp("cooler-air", line, d0, b, R.uniform(1.1, 1.7), [("slicer", .12)])
        if R.random() < .5:
            t.events = {(d, "cooler-air", line, "filter_changed"): None for d in range(0, b)}
            t.events[min(b + 1, P.days - 1), "cooler-air", line, "filter_changed"] = 1
        if R.random() < .4:
            t.events[d0, "cooler-air", line, "condensation_seen"] = 1
        t.apply, t.note = flora("cooler-air"), "filters overdue / coil pan"
    elif cause in ("contamination-cooler-belt", "contamination-slicer", "contamination-bagger", "contamination-hands"):
        p = cause[14:]
        t.lots, b = window(2, 10)
        if p == "hands":                            # one shift's crew
            sh = R.choice([L.shift for L in t.lots]) if t.lots else ""
            t.lots = [L for L in t.lots if L.shift == sh]
        ramp(p, line, d0, b, R.uniform(1.3, 2.0), [("bagger", .2)] if p == "slicer" else [])
        if p != "hands":
            for d in range(d0 - 1, b + 1):
                if R.random() < .7 and (d, p, line, "cleaned") in P.events:
                    t.events[d, p, line, "cleaned"] = 0 if R.random() < .75 else 1     # signed, not done
            t.events[min(b + 1, P.days - 1), p, line, "cleaned"] = 1
        t.apply, t.note = flora(p), "missed cleaning" if p != "hands" else "gloves not changed by one crew"
    elif cause == "contamination-film":
        n, t.lots = material("film")
        d0 = t.lots[0].day
        R.random()
        k = 10 ** R.uniform(2.1, 2.6)
        def f(s, L, x):
            s["load"]["film-store"] = s["load"].get("film-store", 1) * k
        for d in range(max(0, d0 - 3), t.lots[-1].day + 1):
            t.boost["film-store", None, d] = R.uniform(.3, .9)
        for d in range(max(0, d0 - 3), t.lots[-1].day + 1):      # the store's swabs rise, other reels stay clean inside
            t.boost["film-store", "only-log", d] = t.boost.pop(("film-store", None, d))
        t.apply, t.note, t.mlot = f, f"reels {n} stood damp", n
    elif cause in ("contamination-returns", "contamination-ingredient-store", "contamination-waste"):
        p = {"contamination-returns": "returns-dock", "contamination-ingredient-store": "ingredient-store", "contamination-waste": "waste-area"}[cause]
        b = min(P.days - 1, d0 + R.randint(1, 5))
        t.lots = used(d0, b, [line])
        pk = R.uniform(1.5, 2.1)
        for d in range(d0 - 1, b + 1):
            y = pk * R.uniform(.8, 1.1)
            t.boost[p, "L" + line, d] = y           # reaches the line next to it
            t.boost[p, "only-log", d] = y * .8
            t.boost["slicer", line, d] = y * .15; t.boost["cooler-air", line, d] = y * .2
            if p == "returns-dock":
                t.events[d, p, None, "returns_staged"] = 1
            if p == "waste-area" and R.random() < .7:
                t.events[d, p, None, "waste_emptied"] = 0
            if p == "ingredient-store" and R.random() < .5:
                t.events[d, p, None, "cleaned"] = 0
        t.apply, t.note = flora(p if R.random() < .5 else None), {"r": "moldy returns staged by the line", "i": "dust cloud from a split flour bag / store door", "w": "waste bins left open by the line"}[p[0]]
    elif cause in ("pack-leak", "pack-leak-dry"):
        t.lots, _ = window(1, 6)
        lk = R.uniform(.05, .16) * (1 if cause == "pack-leak" else 1.3)
        if R.random() < .3:                          # a closure lot
            n, t.lots = material("closure")
            t.lots = t.lots[:R.randint(4, 16)]
        def f(s, L, x):
            s["leak"] += lk * (1 + .2 * x); s["seal"] += lk * 22 * (1 + .3 * x)
        t.apply, t.note = f, "jaw worn / clips loose"
    elif cause in ("warm-storage", "cold-storage"):
        route = R.choice(list(P.routes))
        b = min(P.days - 1, d0 + R.randint(2, 9))
        st = R.sample(P.routes[route], R.randint(1, 3)) if in_stores(R.random() < .35) else None
        t.where_sold = (route, st)
        t.lots = [L for L in used(d0, b) if any(x[0] == route and (not st or x[1] in st) for x in L.disp)]
        t.lots = [L for L in t.lots if fam is None or P.lfam[L.line] in fam]
        dT = R.uniform(6, 9) if cause == "warm-storage" else -R.uniform(13, 17)
        def f(s, L, x):
            s["dtemp"] += dT * (.9 if st else .7)
            if dT > 0: s["wet"] += .04                  # warm by day, cool by night: some sweat
        for L in t.lots:
            for x in L.disp:
                if x[0] == route and not st:
                    x[3] += dT * R.uniform(.8, 1.2)
        t.apply, t.note = f, f"route {route}" + (f" stores {','.join(st)}" if st else " van") + (" hot" if dT > 0 else " chilled")
    elif cause in ("old-stock", "old-stock-stale"):
        route = R.choice(list(P.routes))
        st = R.sample(P.routes[route], R.randint(1, 2))
        b = min(P.days - 1, d0 + R.randint(5, 16))
        t.where_sold = (route, st)
        t.lots = [L for L in used(d0, b) if any(x[0] == route and x[1] in st for x in L.disp)]
        t.late = (-1.0, 5.0)
        t.note = f"store {','.join(st)} sells at and past code"
    elif cause == "inhibitor-overdosed":
        t.lots = few(1, 4)
        k = R.uniform(1.8, 2.6)
        half = R.random() < .6
        pick = {L.id: R.sample(range(L.nmix), max(1, L.nmix // 2)) if half else list(range(L.nmix)) for L in t.lots}
        def f(s, L, x):
            s["inh"][pick[L.id]] *= k; s["proof"] *= 1.04 + .03 * k
        t.apply, t.note = f, "double scaling"
        t.odor = dict(words=[("cheesy", .45), ("sour", .2), ("rancid", .15), ("vinegar", .12), ("chemical", .1)], age=(1.2, 3.0))
    elif cause == "acid-overdosed":
        t.lots = few(1, 4)
        k = R.uniform(1.6, 2.4)
        def f(s, L, x):
            s["acid"] *= k; s["ph"] -= .22 * k; s["dough_ph"] -= .2 * k
        t.apply, t.note = f, "vinegar pump stuck open"
        t.odor = dict(words=[("vinegar", .65), ("sour", .4), ("cheesy", .05)], age=(1.2, 3.2))
    elif cause == "over-fermented":
        t.lots = few(1, 4)
        m = R.uniform(45, 110)
        def f(s, L, x):
            s["ferm"] += m; s["proof"] *= 1.12; s["stop"] += m * .8; s["dough_ph"] -= .16; s["ph"] -= .10; s["dough_t"] += 1.3
        t.apply, t.note = f, "stop of the line with dough in the troughs"
        t.odor = dict(words=[("alcohol", .5), ("sour", .45), ("vinegar", .1), ("fruity", .08)], age=(1.2, 3.0))
    elif cause in ("rope", "rope-crumb"):
        n, t.lots = material("flour", ["pan-bread", "bun"])
        t.lots = [L for L in t.lots if P.lfam[L.line] in fam]
        up, a = R.uniform(1.6, 2.6), R.uniform(.05, .3)
        def f(s, L, x):
            s["spores"] *= 10 ** up; s["ph"] += a; s["dough_ph"] += a * .6
        t.apply, t.note, t.mlot = f, f"flour {n} full of rope spores", n
        t.odor = dict(words=[("fruity", .75), ("cheesy", .08), ("musty", .1), ("sour", .08)], age=(3.2, 2.2))
        hot = float(np.mean([P.out[L.day] for L in t.lots])) if t.lots else 15
        t.hot = hot
    elif cause == "wild-yeast":
        t.lots, b = window(3, 9)
        for p in R.sample(["slicer", "cooler-belt", "bagger"], 1):
            ramp(p, line, d0, b, R.uniform(.9, 1.4))
            t.events[d0, "cooler-air", line, "condensation_seen"] = 1
            j = p
        def f(s, L, x):
            s["flora"][j] = 6; s["cooler_rh"] += 5
        t.apply, t.note = f, f"yeast film on the {j}"
        t.odor = dict(words=[("solvent", .6), ("alcohol", .25), ("fruity", .2), ("chemical", .12)], age=(4.5, 2.0))
    elif cause == "fat-rancid":
        n, t.lots = material("fat", [P.lfam[line]])
        t.note, t.mlot = f"fat {n} oxidised", n
        t.odor = dict(words=[("rancid", .65), ("musty", .15), ("cheesy", .1), ("plastic", .12)], age=(4.0, 2.6))
    elif cause == "pack-taint":
        n, t.lots = material("film")
        t.note, t.mlot = f"ink solvent held in film {n}", n
        t.odor = dict(words=[("plastic", .5), ("chemical", .3), ("solvent", .35), ("hydrocarbon", .06)], age=(1.2, 2.5))
    elif cause == "cleaning-residue":
        t.lots = few(1, 2)
        d0 = t.lots[0].day if t.lots else d0
        p = R.choice(["slicer", "cooler-belt", "bagger"])
        t.events[d0, p, line, "cleaned"] = 1
        t.wetclean = (d0, p, line)
        for d in (d0, d0 + 1):
            t.boost[p, line, d] = -.35
        t.note = f"{p} not rinsed after the deep clean"
        t.odor = dict(words=[("chemical", .75), ("solvent", .15), ("plastic", .12)], age=(1.2, 2.4))
    elif cause == "inhibitor-broken-down":
        t.lots, b = window(5, 14)
        p = R.choice(["cooler-air", "slicer", "bagger"])
        ramp(p, line, d0, b, R.uniform(.8, 1.3))
        def f(s, L, x):
            s["flora"][p] = 1
        t.apply, t.note = f, f"sorbate-eating Penicillium at the {p}"
        t.odor = dict(words=[("hydrocarbon", .65), ("plastic", .22), ("solvent", .12), ("chemical", .15)], age=(9, 3))
    elif cause == "mold-hidden":
        t.lots, b = window(4, 10)
        p = R.choice(["slicer", "cooler-belt", "cooler-air"])
        ramp(p, line, d0, b, R.uniform(.9, 1.4))
        t.note = f"{p} dirty; colonies between the slices before they show"
        t.odor = dict(words=[("musty", .85), ("cheesy", .05), ("chemical", .03)], age=(7, 2.2))
    elif cause == "softener-underdosed":
        t.lots = few(2, 8)
        k = R.uniform(.1, .5)
        def f(s, L, x):
            s["soft"] *= k
            if P.setpoint: s["soft_rec"] = 1.0
        t.apply, t.note = f, "softener hopper empty / bridged"
    elif cause == "softener-overdosed":
        t.lots = few(1, 5)
        k = R.uniform(1.7, 2.6)
        def f(s, L, x):
            s["soft"] *= k; s["gum"] += 1.9 + k * .45
        t.apply, t.note = f, "softener scaled twice"
    elif cause == "enzyme-window-missed":
        t.lots, _ = window(2, 6)
        def f(s, L, x):
            s["enz_missed"] = .95; s["bake"] *= .93; s["core_end"] += .4
        t.apply, t.note = f, "oven zone 1 too hot: core races through 65-85 degC"
    elif cause == "overbaked":
        t.lots = few(2, 6)
        def f(s, L, x):
            s["bake"] *= 1.14; s["core_end"] += 1.6; s["moist"] -= 2.5; s["aw"] -= .006; s["core_pack"] += .6
        t.apply, t.note = f, "oven slowed during a jam behind it"
    elif cause == "overcooled-dry":
        t.lots = few(2, 6)
        def f(s, L, x):
            s["cool"] *= 1.55 + .1 * x; s["core_pack"] -= 4; s["moist"] -= 2.3; s["aw"] -= .005; s["cooler_rh"] -= 11; s["stop"] += 25
        t.apply, t.note = f, "bread stood in a dry cooler"
    t.lots = t.lots[:60]
    g = np.random.default_rng(P.seed * 1009 + number)
    t.x = {L.id: float(g.normal(0, .6)) for L in t.lots}
    for L in t.lots:
        L.tr.append(t)
    return t


def copy(s):
    c = dict(s); c["load"], c["flora"] = dict(s["load"]), dict(s["flora"])
    c["inh"], c["dph"] = s["inh"].copy(), s["dph"].copy()
    return c


def odor_share(P, t, L, s):
    """share of packs whose buyer would smell it: log dose over threshold, people differ by half a decade"""
    pr = P.products[L.prod]
    c = t.cause
    if c == "inhibitor-overdosed":
        o = np.log10(s["inh"] / .30)
        dose = float(np.mean(1 / (1 + np.exp(-(o - .22) * 14))))
    elif c == "acid-overdosed":
        dose = 1 / (1 + np.exp(-(s["acid"] - 1.8) * 4))
    elif c == "over-fermented":
        dose = 1 / (1 + np.exp(-((s["ferm"] - pr["ferm"]) - 60) / 14))
    elif c in ("rope", "rope-crumb"):
        dose = 1 / (1 + np.exp(-(np.log10(s["spores"]) - 2.9) * 2 - (t.hot - 20) * .12 - (s["ph"] - 5.3) * 4))
    else:
        dose = .35 + .3 * t.x[L.id] * .5
    return float(np.clip(dose, .02, 1))
