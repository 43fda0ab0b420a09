"""A bakery as it is: what it makes, its weather, its days, its materials, and what truly happened in each lot."""
import math
from datetime import datetime, timedelta, timezone
from planting import begins, times

FAM = {  # name, shelf life, unit g, crumb ph, aw, moisture, bake min, proof, ferment, cool min, core at pack, sliced
    "pan-bread": (["White Sandwich", "Farmhouse Wholemeal", "Oat & Honey", "Soft Rye", "Toast Thick", "Seeded Batch", "Milk Loaf"],
                  (8, 13), (400, 800), (5.15, 5.5), (.945, .962), (36.5, 39), 26, 58, 190, 95, (33, 38), .95),
    "bun": (["Burger Bun 6", "Hot Dog Roll", "Brioche Bun", "Sesame Bun 4", "Slider 12"],
            (7, 12), (240, 450), (5.2, 5.5), (.925, .95), (32, 35), 10, 62, 150, 42, (32, 36), .7),
    "flatbread": (["Wheat Wrap 8", "Pitta 6", "Naan Plain", "Thin Wrap"],
                  (12, 24), (240, 420), (5.0, 5.4), (.91, .945), (29, 33), 2.2, 25, 60, 30, (28, 33), 0.0),
    "sweet-good": (["Raisin Loaf", "Cinnamon Swirl", "Lemon Slice", "Plum Cake", "Custard Twist"],
                   (10, 20), (250, 450), (5.3, 5.8), (.87, .92), (24, 29), 22, 70, 120, 75, (28, 34), .3),
}
MATS = ["flour", "yeast", "fat", "inhibitor", "softener", "acid", "film", "closure"]
LIFE = {"flour": 2.2, "yeast": 4, "fat": 8, "inhibitor": 9, "softener": 12, "acid": 11, "film": 6, "closure": 9}


def undiss(ph, pka=4.87):
    return 1 / (1 + 10 ** (ph - pka))


def acid_mm(dose, ph, moist):
    """undissociated propionic in the crumb water, mmol/L, from % salt on flour"""
    return dose * 5304 / (74.08 * moist / 100) * undiss(ph)


def pick(r, table):
    """weighted choice from {word: weight}"""
    x = r.random() * sum(table.values())
    for k, w in table.items():
        x -= w
        if x <= 0: return k
    return k


class Plant:
    def __init__(s, seed, r):
        s.seed, s.r = seed, r
        s.off = r.choice([-8, -6, -5, -5, -3, 0, 1, 1, 2, 5.5, 9, 10])
        s.tz = timezone(timedelta(hours=s.off))
        s.days = 7 * r.randint(8, 16) * times()
        first = begins((datetime(2025, 1, 6) + timedelta(days=7 * r.randint(0, 66))).date(), s.days)
        s.start = datetime(first.year, first.month, first.day, tzinfo=s.tz)
        s.south = r.random() < .15
        s.make_weather()
        s.hygiene = r.uniform(.15, .55)  # spores a pack on a plain day
        nl = r.choice([2, 3, 3, 4, 4, 5])
        style = r.choice([["1", "2", "3", "4", "5"], ["A", "B", "C", "D", "E"], ["L1", "L2", "L3", "L4", "L5"],
                          ["10", "20", "30", "40", "50"]])
        s.lines = style[:nl]
        s.make_products(nl)
        s.week_days = r.choice([5, 6, 6, 7])
        s.holidays = set(r.sample(range(10, s.days - 5), r.choice([0, 1, 1, 2])))
        s.shifts = r.choice([["E", "L", "N"], ["1", "2", "3"], ["day", "night"], ["Blue", "Green", "Red"]])
        s.fmt = r.randint(0, 5)
        s.make_routes()
        s.make_lots()

    def make_weather(s):
        r, a, heat, s.out = s.r, 0, 0, []
        base = s.r.uniform(9, 19)
        for d in range(s.days + 60):
            doy = (s.start + timedelta(days=d)).timetuple().tm_yday
            season = -math.cos((doy - 20) / 365 * 2 * math.pi) * (-1 if s.south else 1)
            a = .75 * a + r.gauss(0, 1.9)
            if heat <= 0 and r.random() < .015: heat = r.randint(3, 7)
            heat -= 1
            s.out.append(base + 9 * season + a + (6 if heat > 0 else 0))

    def make_products(s, nl):
        r = s.r
        fams = r.sample(list(FAM), r.choice([2, 2, 3, 3, 4]))
        if "pan-bread" not in fams and r.random() < .8: fams[0] = "pan-bread"
        s.products, s.line_fam, s.by_line = {}, {}, {}
        for i, ln in enumerate(s.lines): s.line_fam[ln] = fams[i] if i < len(fams) else r.choice(fams)
        n = r.randint(max(4, len(set(s.line_fam.values()))), 10)
        idf = r.choice([lambda i, f: f"{f[0].upper()}{10 + i * 3}", lambda i, f: str(40100 + i * 7), lambda i, f: f"SKU-{i + 1:02d}"])
        used = list(dict.fromkeys(s.line_fam.values()))
        for i in range(n):
            f = used[i] if i < len(used) else r.choice(used)
            names, shelf, ug, ph, aw, mo, bake, proof, ferm, cool, cp, sl = FAM[f]
            p = dict(id=idf(i, f), fam=f, name=names[i % len(names)] + ("" if i < len(names) else f" {i}"), shelf=r.randint(*shelf), g=r.randrange(*ug, 25),
                     ph=r.uniform(*ph), aw=r.uniform(*aw), moist=r.uniform(*mo), bake=bake * r.uniform(.9, 1.12), proof=proof * r.uniform(.85, 1.15),
                     ferm=ferm * r.uniform(.7, 1.3), cool=cool * r.uniform(.85, 1.2), core=r.uniform(*cp), end=r.uniform(94.5, 98), sliced=r.random() < sl,
                     acid=round(r.uniform(.3, 1.2), 2) if r.random() < .6 else 0, soft=round(r.uniform(.25, .6), 2),
                     water=r.uniform(58, 66) if f == "pan-bread" else r.uniform(48, 60), fat=r.uniform(1.5, 10), yeast=r.uniform(2, 4.5),
                     sorbate=f in ("flatbread", "sweet-good") and r.random() < .6, topped=r.random() < .35, pop=r.uniform(.5, 2))
            need = 2.9 / ((p["aw"] - .80) / .155 * .95)  # days with no inhibitor
            inh = max(.12, min(.9, need / (p["shelf"] * r.uniform(1.3, 1.75))))
            c = 15 * (1 - inh) ** (1 / 1.3)
            p["dose"] = round(max(.08, min(.55, c / acid_mm(1, p["ph"], p["moist"]))), 3)
            s.products[p["id"]] = p
        for ln in s.lines:
            ok = [p for p in s.products.values() if p["fam"] == s.line_fam[ln]]
            s.by_line[ln] = r.sample(ok, max(1, min(len(ok), r.randint(1, 4))))
        for p in s.products.values():  # every product has a line
            if not any(p in q for q in s.by_line.values()): s.by_line[r.choice([l for l in s.lines if s.line_fam[l] == p["fam"]])].append(p)

    def make_routes(s):
        r = s.r
        s.routes = {}
        rf = r.choice([lambda i: f"R{i + 1:02d}", lambda i: str(200 + 5 * i), lambda i: ["North", "Coast", "Hill", "City", "Ring", "Lake", "Valley", "Port"][i]])
        k = r.randint(100, 800)
        for i in range(r.randint(3, 8)):
            s.routes[rf(i)] = dict(stores=[f"{k + 10 * i + j:04d}" for j in range(r.randint(3, 8))], t=r.uniform(.1, .6), warm=r.gauss(0, 1.2), size=r.uniform(.5, 2))

    def mat_lot(s, mat, key, day):
        """the lot of a material in use at `key` (line or product) on this day"""
        r, q = s.r, s.queue.get((mat, key))
        if q is None or q["until"] <= day:
            s.serial += r.randint(1, 9)
            born = day - r.expovariate(1 / 25) - 4
            mid = s.mat_id(mat, born, s.serial)
            q = dict(id=mid, mat=mat, key=key, serial=s.serial, until=day + max(.8, r.gauss(LIFE[mat], LIFE[mat] * .3)), born=born, active=round(min(100, r.gauss(98.3, .8)), 1),
                     sup=r.choice(s.suppliers[mat]), lots=[], bad=None)
            s.queue[(mat, key)] = q
            s.matlots[mid] = q
        return q

    def mat_id(s, mat, born, serial):
        """a supplier's code; most tell the date"""
        date = (s.start + timedelta(days=born)).strftime("%y%m%d")
        return [f"{mat[:2].upper()}{date}-{serial:04d}", f"{serial + 70000}", f"{date}{chr(65 + serial % 26)}{serial}"][s.mat_style[mat]]

    def make_lots(s):
        r = s.r
        s.queue, s.matlots, s.serial, s.lots = {}, {}, r.randint(0, 3000), []
        s.mat_style = {m: r.randint(0, 2) for m in MATS}
        s.suppliers = {m: [f"{m}-{c}" for c in r.sample(["Elm", "Quay", "Moor", "Brig"], r.choice([1, 2, 2]))] for m in MATS}
        per = {ln: r.uniform(1.8, 5) for ln in s.lines}
        tot = sum(per.values())
        if tot > 22: per = {k: v * 22 / tot for k, v in per.items()}
        rot = {ln: 0 for ln in s.lines}
        drift = {ln: [0.0, 0.0, 0.0] for ln in s.lines}
        seen = set()
        for d in range(s.days):
            wd = d % 7
            if d in s.holidays or (wd == 6 and s.week_days < 7) or (wd == 5 and s.week_days < 6): continue
            out = s.out[d]
            for ln in s.lines:
                t = s.start + timedelta(days=d, hours=r.choice([3, 4, 4.5, 5]), minutes=r.randint(0, 30))
                n = max(1, min(6, round(r.gauss(per[ln] * (1.2 if wd in (3, 4) else .95), .6))))
                dr = drift[ln] = [.9 * x + r.gauss(0, .1) for x in drift[ln]]
                for k in range(n):
                    p = s.by_line[ln][rot[ln] % len(s.by_line[ln])]
                    rot[ln] += r.random() < .8
                    units = int(max(2000, min(20000, r.lognormvariate(math.log(6500 * p["pop"]), .35))))
                    dur = max(.7, min(units / r.uniform(3000, 4200), 20 / n))
                    lead = (p["ferm"] + p["proof"] + p["bake"] + p["cool"]) / 60
                    a, b = t, t + timedelta(hours=dur)
                    pa, pb = a + timedelta(hours=lead), b + timedelta(hours=lead + .2)
                    hour = (pa - s.start).total_seconds() / 3600 % 24
                    sh = s.shifts[(int(hour // 12) if len(s.shifts) == 2 else int((hour + 2) // 8)) % len(s.shifts)]
                    packday = int((pa - s.start).total_seconds() // 86400)
                    lid = s.code(ln, p, pa, k, sh, seen)
                    room = 20 + .3 * max(-5, out - 12) + r.gauss(0, .6)
                    L = dict(id=lid, p=p, line=ln, day=d, a=a, b=b, pa=pa, pb=pb, units=units, shift=sh, code=(pa + timedelta(days=p["shelf"])).date(),
                             room=room, out=out, troubles={}, mats={}, src={}, wet=0.0, spores=10 ** r.gauss(1.1, .35), taint=None,
                             x=dict(dose=p["dose"] * r.gauss(1, .025), active=1.0, acid=p["acid"] * r.gauss(1, .02), soft=p["soft"] * r.gauss(1, .03),
                                    water=p["water"] + r.gauss(0, .35), dt=26.5 + .12 * (room - 21) + dr[0] * 2 + r.gauss(0, .5),
                                    dph=p["ph"] + .12 + r.gauss(0, .04), ferm=p["ferm"] * r.gauss(1, .04), proof=p["proof"] * r.gauss(1, .035),
                                    bake=p["bake"] * r.gauss(1, .02), end=p["end"] + dr[1] * 1.2 + r.gauss(0, .45), ramp=4.2 * 26 / p["bake"] * r.gauss(1, .05),
                                    cool=p["cool"] * r.gauss(1, .04), cair=min(30, 20.5 + .3 * (room - 21) + r.gauss(0, .5)), crh=76 + .5 * dr[2] * 8 + r.gauss(0, 3),
                                    core=p["core"] + .25 * (room - 21) + dr[2] * 2 + r.gauss(0, .9), ph=p["ph"] + r.gauss(0, .035), aw=p["aw"] + r.gauss(0, .0025),
                                    moist=p["moist"] + r.gauss(0, .35), seal=abs(r.gauss(.35, .2)), stop=r.expovariate(1 / 6) if r.random() < .6 else 0,
                                    prh=54 + .5 * (out - 12) + r.gauss(0, 4)))
                    for m in MATS:
                        if m == "acid" and not p["acid"]: continue
                        key = p["id"] if m == "film" else ln if m == "closure" else ("S" if p["sorbate"] else "P") if m == "inhibitor" else ""
                        q = s.mat_lot(m, key, d + k * .12)
                        q["lots"].append(L)
                        L["mats"][m] = q
                    s.lots.append(L)
                    s.send(L, packday)
                    t = b + timedelta(minutes=r.randint(5, 35))

    def code(s, ln, p, pa, k, sh, seen):
        l = ln[-2:] if len(ln) > 1 else ln
        doy = pa.timetuple().tm_yday
        best = pa + timedelta(days=p["shelf"])
        f = [lambda: f"{l}{pa:%y}{doy:03d}{chr(65 + k)}", lambda: f"{best:%d%b}".upper() + f" {l} {pa:%H%M}", lambda: f"{doy:03d}-{l}-{pa:%H}{k}",
             lambda: f"{pa:%y%m%d}/{l}{k + 1}", lambda: f"{p['id'][-2:]}{l}{pa:%j}{sh[0].upper()}{k}", lambda: f"{'QWERTYUIPASD'[pa.month - 1]}{pa:%d}{l}{pa:%H%M}"][s.fmt]
        c = f()
        n = 0
        while c in seen:
            n += 1
            c = f() + "BCDEFGHJ"[n % 8]
        seen.add(c)
        return c

    def send(s, L, packday):
        r = s.r
        names = r.sample(list(s.routes), min(len(s.routes), r.randint(2, 4)))
        w = [s.routes[n]["size"] for n in names]
        L["disp"], left = [], int(L["units"] * r.uniform(.94, 1))
        for n, x in zip(names, w):
            R = s.routes[n]
            st = r.sample(R["stores"], max(1, int(len(R["stores"]) * r.uniform(.4, 1))))
            at = L["pb"] + timedelta(hours=r.uniform(1.5, 14))
            for z in st:
                L["disp"].append(dict(route=n, store=z, at=at, units=max(20, int(left * x / sum(w) / len(st))),
                                      t=15 + .35 * (L["out"] - 10) + R["warm"] + r.gauss(0, 1.3), dT=0.0, late=0.0))
