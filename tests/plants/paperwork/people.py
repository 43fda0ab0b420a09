"""What eaters, stores and drivers find, and what reaches the desk."""
import math
import uuid
from datetime import timedelta
from plant import acid_mm, pick
from troubles import SPECIES

#        days uninhibited at its optimum, MIC mmol/L, T opt, width, aw min, colour as seen
MOLD = {"pen": (2.7, 15, 25, 9.5, .80, {"blue-green": .9, "white-fluffy": .1}), "nig": (2.5, 14.5, 31, 10.5, .77, {"black": .95, "blue-green": .05}),
        "rhi": (1.7, 10.5, 27, 9, .90, {"white-fluffy": .7, "black": .3}), "chalk": (3.2, 19, 28, 11, .82, {"white-chalky": 1}),
        "neu": (1.5, 12.5, 29, 9, .88, {"pink-orange": 1}), "eur": (4.2, 13.5, 29, 10, .71, {"yellow": .75, "blue-green": .25})}
WHERE = {"air": "top-crust 6 side 1.5 cut-face 1 all-over 1 heel .5", "belt": "base 7.5 side 1 heel 1 all-over .8", "slicer": "cut-face 8 all-over 1 top-crust .6",
         "bagger": "heel 3 near-closure 3 side 2 top-crust 1.2 cut-face .8", "film": "side 5 top-crust 2.5 heel 1.5 base 1", "hands": "heel 3 near-closure 2.5 top-crust 2.5 side 2",
         "returns": "top-crust 3.5 side 2 heel 1.5 near-closure 1.5 cut-face 1.5", "store": "top-crust 5.5 base 2 side 1.5 all-over 1", "waste": "top-crust 4 all-over 2.5 cut-face 2 near-closure 1.5",
         "leak": "near-closure 6 heel 2.5 all-over 1.5", "home": "cut-face 3 heel 3 top-crust 1.5 all-over 1.5 near-closure 1", "hot": "side 3.5 top-crust 2 base 2 all-over 1.5 cut-face 1"}
WHERE = {k: dict(zip(v.split()[::2], map(float, v.split()[1::2]))) for k, v in WHERE.items()}
BASE = dict(air=.42, slicer=.2, belt=.12, bagger=.14, hands=.12)
LOOKS = {  # off-odor and staling: smells, crumbs, age rule
    "inhibitor-overdosed": ("cheesy .55 sour .25 chemical .1 vinegar .1", "normal .9 firm .1"), "acid-overdosed": ("vinegar .65 sour .4", "normal .85 crumbly .15"),
    "over-fermented": ("sour .6 alcohol .45 vinegar .1", "normal .6 crumbly .3 dry .1"), "rope": ("fruity .65 musty .12 cheesy .15", "sticky .5 stringy .22 discoloured .2 gummy .1"),
    "wild-yeast": ("solvent .35 fruity .3 alcohol .5", "normal .9 discoloured .1"), "fat-rancid": ("rancid .7 musty .15 plastic .05", "normal .85 dry .15"),
    "pack-taint": ("plastic .5 solvent .3 chemical .3", "normal 1"), "cleaning-residue": ("chemical .85 solvent .1", "normal 1"),
    "inhibitor-broken-down": ("hydrocarbon .65 plastic .15 solvent .15 chemical .15", "normal 1"), "mold-hidden": ("musty .8 sour .1", "normal .9 discoloured .1"),
    "softener-underdosed": ("", "firm .65 crumbly .25 dry .15"), "softener-overdosed": ("", "gummy .65 sticky .35"), "enzyme-window-missed": ("", "firm .6 crumbly .35 dry .15"),
    "overbaked": ("", "dry .6 crumbly .3 firm .3"), "underbaked-gummy": ("", "gummy .7 sticky .3"), "overcooled-dry": ("", "dry .65 crumbly .25 firm .25"),
    "pack-leak-dry": ("", "dry .65 firm .35"), "cold-storage": ("", "firm .65 crumbly .35"), "old-stock-stale": ("", "firm .5 dry .4 crumbly .2"), "rope-crumb": ("fruity .3", "sticky .55 stringy .25 gummy .2 discoloured .2"),
    "bg-odor": ("sour .3 musty .25 chemical .12 cheesy .1 alcohol .1 plastic .08 vinegar .08 rancid .08", "normal .9 dry .1"), "bg-stale": ("", "firm .4 dry .35 crumbly .2 normal .05")}
WORDS = {"blue-green": ["green mould", "bluey green fuzz", "green spots"], "black": ["black mold", "black dots"], "white-fluffy": ["white fur", "cotton wool like mold"], "white-chalky": ["white powder", "chalky white dots"],
         "pink-orange": ["orange mold", "pinkish stuff"], "yellow": ["yellow mold"], "cut-face": ["on the slices", "in the middle slices"], "top-crust": ["on top of the crust", "on the top"], "base": ["underneath", "on the bottom"],
         "side": ["on the sides", "down the side"], "heel": ["on the end piece", "on the crusts at the end"], "near-closure": ["by the tie", "at the open end"], "all-over": ["all over", "everywhere"]}


def rate(sp, T, L, wet=0.0):
    t0, mic, to, w, awm, _ = MOLD[sp]
    x = L["x"]
    inh = max(.12, 1 - (max(0, acid_mm(x["dose"] * x["active"], x["ph"], x["moist"])) / mic) ** 1.3)
    aw = max(.15, min(1.3, (x["aw"] + .012 * wet - awm) / (.955 - awm)))
    return max(.04, math.exp(-((T - to) / w) ** 2)) * aw * inh * (1 + .4 * wet) / t0


class Desk:
    def __init__(s, P, r):
        s.P, s.r, s.out, s.truth, s.mute = P, r, [], [], r.uniform(.35, .6)
        s.chan = {"phone": r.uniform(.2, .6), "web": r.uniform(.15, .5), "store": r.uniform(.1, .35), "route": r.uniform(.02, .08), "return": r.uniform(.03, .15)}

    def story(s, L, e):
        """a pack's way to the eater: where, how old at sale, how kept"""
        r, P = s.r, s.P
        D = L["disp"]
        if e and e.dest: D = [d for d in D if d["route"] == e.dest[0] and e.dest[1] in (None, d["store"])]
        d = r.choices(D, [x["units"] for x in D])[0]
        shelf = L["p"]["shelf"]
        sale = max(0, (d["at"] - L["pb"]).total_seconds() / 86400) + P.routes[d["route"]]["t"] + d["late"] + min(r.gammavariate(1.6, 1.0), .75 * shelf)
        if d["late"] == 0: sale = min(sale, .92 * shelf + .5)
        out = P.out[min(len(P.out) - 1, L["day"] + int(sale))]
        kept = pick(r, {"counter": .74, "warm": .07, "fridge": .14, "freezer": .01})
        house = 20.5 + .35 * max(-4, out - 14) + r.gauss(0, 1.4)
        home = {"counter": house, "warm": house + r.uniform(4, 8), "fridge": r.gauss(5.5, 1.2), "freezer": -18}[kept]
        return dict(d=d, sale=sale, store_t=20 + .22 * (out - 14) + r.gauss(0, 1) + d["dT"], home=home, kept=kept, span=r.gammavariate(2.4, 2.0) + .2, opened=r.expovariate(1 / 1.2) if r.random() < .9 else 99)

    def grow(s, sp, L, t, wet, start=0.0):
        need = s.r.lognormvariate(0, .27)
        a = rate(sp, t["store_t"], L, wet) * max(0, t["sale"] - start)
        if a >= need: return start + need / rate(sp, t["store_t"], L, wet)
        return max(start, t["sale"]) + (need - a) / rate(sp, t["home"], L, wet)

    def mold(s, L, e):
        """one pack: (age found, source, species, spots, story), or None when it was eaten clean"""
        r = s.r
        t = s.story(L, e)
        c = e.cause if e else None
        cont = c and (c.startswith("contamination") or c in ("pack-leak", "mold-hidden", "wild-yeast"))
        wet = L["wet"] * r.uniform(.3, 1.1) + (.5 if c == "warm-storage" else 0)
        start = 0.0
        if not e:
            src = "home" if r.random() < .6 else pick(r, BASE)
            m = .5
            start = t["sale"] + t["opened"] if src == "home" else 0
        elif cont: src, m = e.src, L["src"].get(e.src, 1)
        else: src, m = pick(r, BASE), s.P.hygiene
        n = 1
        while n < 30 and r.random() < m / (m + 1): n += 1
        t["p"] = 1 - math.exp(-m)
        sp = e.spec if e and e.spec and r.random() < .85 else pick(r, SPECIES["air" if src == "leak" else src])
        T = min(s.grow(sp, L, t, wet, start) for _ in range(n))
        if T > t["sale"] + t["span"]: return None
        found = max(T, t["sale"] + r.uniform(.02, .4)) + r.expovariate(1 / .7)
        shelf = L["p"]["shelf"]
        if r.random() > (1 if found < .75 * shelf else .7 if found <= shelf else .18 if not (e and e.dest) else .8): return None
        return found, ("hot" if src in BASE and wet > .4 and r.random() < .75 else src), sp, n, t

    def other(s, L, e, kind):
        """off-odor and staling: age found and story, or None"""
        r = s.r
        t, x, p = s.story(L, e), L["x"], L["p"]
        use = t["sale"] + min(r.uniform(.05, 1) * t["span"], 6)
        t["p"] = 1
        if kind in ("inhibitor-overdosed", "acid-overdosed", "over-fermented", "cleaning-residue", "pack-taint"):
            use = t["sale"] + r.expovariate(1 / .7)
            ok = math.exp(-use * (.22 if kind == "inhibitor-overdosed" else .08))
        elif kind in ("rope", "rope-crumb"):
            T = t["home"] if t["sale"] < 1 else .5 * (t["home"] + t["store_t"])
            on = 1.9 * math.exp((30 - T) * .085) * r.lognormvariate(0, .25) * (1 + max(0, .3 * (5.35 - x["ph"]) / .2)) * (1.2 if x["dose"] > .3 else 1)
            if on > t["sale"] + t["span"] + 1: return None
            use, ok = max(on, t["sale"] + .1) + r.expovariate(1 / .6), .9
        elif kind in ("wild-yeast", "mold-hidden"):
            g = s.mold(L, e)
            return g and (max(g[4]["sale"] + .1, g[0] * (.85 if kind == "mold-hidden" else .8)), g[4])
        elif kind == "fat-rancid": ok = min(1, (use / 7) ** 1.5)
        elif kind == "inhibitor-broken-down":
            on = r.gauss(.5, .12) * p["shelf"]
            if on > t["sale"] + t["span"] + 3: return None
            use, ok = max(on, t["sale"] + .1) + r.expovariate(1), .9
        elif kind == "bg-odor": ok = .6
        elif kind in ("softener-overdosed", "underbaked-gummy"): use, ok = t["sale"] + r.expovariate(1 / 1.2), .8
        else:  # firmness: first-order, faster the colder; dry crumb is firmer
            tau = lambda T: max(1.3, 1.5 + .105 * max(-2, T)) if T > -5 else 20
            f = max(.35, min(1.5, .45 + .55 * x["soft"] / p["soft"])) * (.62 if x["ramp"] > 1.28 * 4.2 * 26 / p["bake"] else 1)
            z = t["sale"] / (tau(t["store_t"]) * f) + max(0, use - t["sale"]) / (tau(t["home"]) * f)
            lost = p["moist"] - x["moist"] + (min(5, use * x["seal"] / 12) if kind == "pack-leak-dry" else 0) + (.5 * max(0, use - t["sale"] - t["opened"]) if kind == "bg-stale" else 0)
            ok = (1 / (1 + math.exp(-(1 + 4 * (1 - math.exp(-z)) + .45 * lost - 4.1) / .35))) * (1 if use <= p["shelf"] + .5 else .35 if not (e and e.dest) else .8)
        return (use, t) if r.random() < ok else None

    def weights(s, e, tries):
        """how often packs of each of the event's lots end as found trouble"""
        w = []
        for L in e.lots:
            hit = 0
            for _ in range(tries):
                g = s.mold(L, e) if e.symptom == "mold" else s.other(L, e, e.cause)
                hit += g[-1]["p"] if g else 0
            w.append((hit / tries + 1e-5) * sum(d["units"] for d in L["disp"] if not e.dest or (d["route"] == e.dest[0] and e.dest[1] in (None, d["store"]))))
        return w

    def tell(s, symptom, L, e, kind):
        """one complaint from a pack of this lot"""
        r, P, p = s.r, s.P, L["p"]
        for _ in range(1500):
            g = s.mold(L, e) if symptom == "mold" else s.other(L, e, kind)
            if g: break
        else: return None
        age, t = g[0], g[-1]
        found = L["pb"] + timedelta(days=age)
        sale = min(L["pb"] + timedelta(days=t["sale"]), found)
        in_store = e and (e.dest or r.random() < .15) and age - t["sale"] < 1.5
        ch = pick(r, {**s.chan, "store": s.chan["store"] * (4 if in_store else .4), "return": s.chan["return"] * (3 if in_store else .6)})
        c = dict(id=None, received_at=None, channel=ch, symptom=symptom)
        ob, x = {}, L["x"]
        cause = e.cause if e else "not-known"
        if symptom == "mold":
            _, src, sp, n, _ = g
            ob["colour"] = pick(r, MOLD[sp][5])
            wh = pick(r, WHERE[src])
            ob["where"] = "top-crust" if wh == "cut-face" and not p["sliced"] and src != "home" else wh if r.random() < .93 else r.choice(list(WHERE["home"]))
            ob["spots"] = max(1, int(n * r.lognormvariate(.3, .6)))
            ob["wet_inside_bag"] = r.random() < (min(.9, .1 + .6 * L["wet"]) if cause != "warm-storage" else .4)
            if r.random() < .25: ob["odor"] = ["musty"]
            if cause == "underbaked" and r.random() < .5: ob["crumb"] = r.choice(["gummy", "sticky"])
        else:
            od, cr = LOOKS[kind]
            sm = od.split()
            ob["odor"] = [w for w, q in zip(sm[::2], sm[1::2]) if r.random() < float(q)] or ([pick(r, dict(zip(sm[::2], map(float, sm[1::2]))))] if sm else [])
            if symptom == "staling" and not (ob["odor"] and r.random() < .8): del ob["odor"]
            elif r.random() < .08:
                ob["odor"] = [r.choice("sour musty chemical cheesy".split())]  # people name smells badly
            cs = cr.split()
            ob["crumb"] = pick(r, dict(zip(cs[::2], map(float, cs[1::2]))))
            if kind == "wild-yeast" and r.random() < .4: ob["colour"] = "white-chalky"
            if kind == "mold-hidden" and r.random() < .15: ob["where"] = r.choice(["base", "near-closure"])
        leak = cause.startswith("pack-leak")
        ob["bag"] = pick(r, {"seal-open": .4, "sound": .33, "closure-missing": .17, "torn": .1} if leak else {"sound": .95, "torn": .03, "seal-open": .01, "closure-missing": .01})
        if ch in ("phone", "web") and not in_store:
            ob["kept"] = t["kept"] if r.random() < .85 else r.choice(["unknown", "counter"])
            od = age - t["sale"] - t["opened"]
            ob["opened_days"] = int(max(0, od)) if od > -1 else 0
        miss = {"phone": .35, "web": .5, "store": .6, "route": .7, "return": .25}[ch] + s.mute - .45
        full = dict(ob)
        for k in list(ob):
            if r.random() < miss: del ob[k]
        if "odor" in full and symptom == "off-odor" and r.random() < .75 or "crumb" in full and symptom == "staling" and r.random() < .6:
            k = "odor" if symptom == "off-odor" else "crumb"
            ob[k] = full[k]
        note = s.note(symptom, full, ch, e, t, in_store) if r.random() < (.7 if ch == "web" else .35) else ""
        if ch == "web" and r.random() < .35 and note:
            ob = {}  # notes only
        # what was read, and when it was told
        lag = {"phone": 1.2, "web": .9, "store": .8, "route": 1.0, "return": 3.0}[ch]
        recv = found + timedelta(days=r.expovariate(1 / lag) + .02)
        if not 7 <= recv.hour < 20 and ch != "web": recv += timedelta(hours=7 if recv.hour < 7 else 12)
        how, text = s.read(L)
        if text: c["lot_text"] = text
        if r.random() < .82: c["product"] = p["id"] if r.random() < .96 else r.choice(list(P.products))
        if r.random() < (.5 if how == "exact" else .6):
            c["code_date"] = (L["code"] + timedelta(days=0 if r.random() < .94 else r.choice([-10, -1, 1, 7, 30]))).isoformat()
        if ch in ("store", "route", "return") and r.random() < .9 or r.random() < .35: c["store"] = t["d"]["store"]
        slip = lambda d: (d + timedelta(days=r.choice([-7, -1, -1, 1]) if r.random() < .06 else 0)).date().isoformat()
        if not in_store and ch in ("phone", "web") and r.random() < .55: c["bought_on"] = slip(sale)
        if r.random() < .7: c["found_on"] = slip(found)
        if c.get("bought_on", "") > c.get("found_on", "9"): del c["bought_on"]
        for k in ("bought_on", "found_on"):
            if c.get(k, "") > recv.date().isoformat(): c[k] = recv.date().isoformat()
        if ob: c["observed"] = ob
        c["packs"] = r.randint(2, 14) if ch in ("store", "return", "route") and in_store else r.choice([1, 1, 1, 1, 1, 2])
        if note: c["note"] = note
        if ch == "return":
            c["units"] = max(c["packs"], r.randint(1, 20))
            c["inspected_at"] = (recv - timedelta(hours=r.uniform(.3, 5))).isoformat(timespec="seconds")
            m = {"crumb_ph": (.55, round(x["ph"] + r.gauss(0, .05), 2)), "crumb_aw": (.25, round(min(.99, x["aw"] + .012 * L["wet"] + r.gauss(0, .004)), 3)),
                 "crumb_moisture_pct": (.4, round(x["moist"] - min(4, age * x["seal"] / 12 if leak else 0) - .1 * age + r.gauss(0, .5), 1)),
                 "propionate_ppm": (0 if p["sorbate"] else .15, int(x["dose"] * x["active"] * 5304 * r.gauss(.95, .06)))}
            c["measured"] = {k: v for k, (q, v) in m.items() if r.random() < q}
            if not c["measured"]: del c["measured"]
        if not e and r.random() < .012: c["harm"] = [r.choice(["illness", "allergic-reaction"])]
        return s.put(c, recv, cause, L, e.n if e else -1, how)

    def put(s, c, recv, cause, L, n, how):
        c["received_at"] = recv.isoformat(timespec="seconds")
        ms = int(recv.timestamp() * 1000)
        c["id"] = str(uuid.UUID(int=(ms << 80) | (7 << 76) | (s.r.getrandbits(12) << 64) | (2 << 62) | s.r.getrandbits(62)))
        s.out.append((recv, c))
        s.truth.append(dict(id=c["id"], cause=cause, lot=L["id"], trouble=n, reading=how))
        return c, recv

    def note(s, symptom, o, ch, e, t, in_store):
        r = s.r
        w = lambda k: r.choice(WORDS[o[k]])
        if symptom == "mold":
            a = r.choice([f"{w('colour')} {w('where')}", f"Found {w('colour')} {w('where')} when I opened it", f"mouldy, {w('colour')}", "loaf was moldy before the date", f"{w('colour')} in the pack, kids nearly ate it"])
        elif symptom == "off-odor":
            od = (o.get("odor") or ["bad"])[0]
            a = r.choice([f"smells {od}", f"a {od} smell when the bag was opened", "smells off, not like bread", f"tastes of {od}? threw it away", "does not smell right"])
        else:
            cr = o.get("crumb", "dry")
            a = r.choice([f"bread was {cr}", f"very {cr}, not fresh at all", "stale well before the date", f"{cr} in the middle", "hard as a brick"])
        if e and e.cause == "warm-storage" and r.random() < .2: a += r.choice([". Shelf is next to the rotisserie", ", cage stood in the sun"])
        elif e and e.dest and "old" in e.cause and r.random() < .2: a += r.choice([". Shelf full of old dates", ", found at the back of the shelf"])
        elif e and e.cause == "cold-storage" and r.random() < .15: a += ", pack felt cold"
        elif o.get("wet_inside_bag") and r.random() < .4: a += ", bag was wet inside"
        elif o.get("bag") in ("seal-open", "closure-missing") and r.random() < .5: a += ", bag was not closed properly"
        elif r.random() < .15: a += r.choice([". Kept in the bread bin", ". Kept in the fridge", ". Very disappointed", " - second time this month", ". Want a refund"])
        if ch in ("store", "route") and in_store and r.random() < .5: a = f"{r.randint(2, 14)} packs, " + a
        return a

    def read(s, L):
        """how the caller read the code: (how, text)"""
        r, code = s.r, L["id"]
        x = r.random()
        if x < .58: return "exact", code
        if x < .73:
            t = list(code)
            for _ in range(r.choice([1, 1, 1, 2])):
                i, k = r.randrange(len(t)), r.random()
                con = {"0": "O", "O": "0", "1": "I", "I": "1", "5": "S", "S": "5", "8": "B", "B": "8", "2": "Z", "6": "G", "3": "8", "7": "1", "9": "4"}
                if k < .55:
                    j = [n for n, ch in enumerate(t) if ch in con]
                    if j:
                        i = r.choice(j)
                        t[i] = con[t[i]]
                elif k < .72 and len(t) > 4: del t[i]
                elif k < .82: t.insert(i, t[i])
                elif i + 1 < len(t): t[i], t[i + 1] = t[i + 1], t[i]
            text = "".join(t)
            return ("exact" if text == code else "misread"), text
        if x < .83:
            n = max(3, int(len(code) * r.uniform(.4, .75)))
            return "partial", code[:n] if r.random() < .6 else code[-n:]
        if x < .86: return "none", r.choice(s.P.lots)["id"] if r.random() < .5 else r.choice(["B22", "000143", "lot on bag", "PAT PEND"])
        return "none", None
