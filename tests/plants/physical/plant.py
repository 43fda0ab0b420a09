"""A bakery: lines, products, days, materials, the state of its places, its habits of record-keeping."""
import datetime as dt, random
import numpy as np
from planting import begins, times
import physics as ph

FAM = {  # shelf, unit_g, pH, aw, moist, bake, core_end, cool, core_pack, inhibitor kind, bounds of dose
    "pan-bread": ((9, 14), (400, 800), (5.05, 5.45), (.950, .964), (37, 40), (20, 27), (94.5, 97), (70, 110), (33, 37), "propionate", (.12, .45)),
    "bun": ((8, 13), (240, 480), (5.1, 5.5), (.935, .952), (33.5, 36), (9, 13), (94, 97), (24, 42), (31, 36), "propionate", (.10, .45)),
    "flatbread": ((18, 32), (240, 480), (4.9, 5.35), (.905, .93), (30, 33), (1, 2.4), (92, 96), (8, 16), (27, 32), "sorbate", (.08, .35)),
    "sweet-good": ((14, 24), (120, 420), (5.2, 5.8), (.85, .90), (23, 28), (12, 20), (93, 97), (35, 60), (26, 31), "sorbate", (.03, .30))}
LP = ["cooler-air", "cooler-belt", "slicer", "bagger", "hands"]           # places each line has
PP = ["film-store", "returns-dock", "ingredient-store", "waste-area", "dead-spot", "compressed-air", "dispatch-dock"]


class Lot:
    pass


class Plant:
    def __init__(self, seed, need):
        self.seed = seed
        R = self.R = random.Random(seed * 7919 + 13)
        self.N = np.random.default_rng(seed * 104729 + 7)
        self.days = R.randint(8, 16) * 7 * times()
        self.start = begins(dt.date(2025, 9, 1) + dt.timedelta(days=R.randint(0, 330)), self.days)
        self.off = R.choice([-360, -300, -300, 0, 60, 60, 120, 120, 330, 600])
        self.tz = dt.timezone(dt.timedelta(minutes=self.off))
        self.plant = R.choice(["north", "P1", "millroad", "K2", "ost"])
        self.nl = R.randint(2, 5)
        lines = R.choice([["1", "2", "3", "4", "5"], ["A", "B", "C", "D", "E"], ["L1", "L2", "L3", "L4", "L5"], ["10", "20", "30", "40", "50"]])
        self.lines = lines[:self.nl]
        fams = ["pan-bread"] + R.sample(["bun", "flatbread", "sweet-good"], R.randint(1, min(3, max(1, self.nl - 1))))
        for f in need:
            if f not in fams:
                fams.append(f)
        if self.nl < len(fams):
            self.nl = len(fams); self.lines = lines[:self.nl]
        self.lfam = {l: fams[i] if i < len(fams) else R.choice(fams[:2]) for i, l in enumerate(self.lines)}
        self.products = {}
        npro = max(R.randint(4, 10), self.nl)
        for i in range(npro):
            fam = self.lfam[self.lines[i]] if i < self.nl else R.choice(list(self.lfam.values()))
            (s, g, p, a, m, b, ce, cl, cp, kind, lim) = FAM[fam]
            pr = dict(family=fam, unit_g=R.randrange(g[0], g[1] + 1, 10), shelf=R.randint(*s), inh_kind=kind, inh_lim=lim,
                      ph=R.uniform(*p), aw=R.uniform(*a), moist=R.uniform(*m), bake=R.uniform(*b), core_end=R.uniform(*ce), cool=R.uniform(*cl),
                      core_pack=R.uniform(*cp), dough_t=R.uniform(24.5, 28) + (3 if fam == "flatbread" else 0), dough_ph=R.uniform(5.3, 5.7),
                      ferm=R.choice([20, 45, 90, 150]) if fam in ("pan-bread", "bun") else R.choice([10, 20]), proof=R.uniform(50, 65) if fam in ("pan-bread", "bun") else R.uniform(8, 40),
                      soft_pct=R.uniform(.25, .7), acid_pct=R.uniform(.2, .5), water=R.uniform(55, 64), acid_grain=R.choice([100, 120, 200]))
            pr["slice_c"] = pr["core_pack"] + R.uniform(.6, 2)
            for d in np.arange(lim[0], lim[1], .01):       # the plant doses for its code date
                if ph.visible_days(np.array(0), 21.5, pr["aw"], pr["ph"], d, pr["moist"], kind) > 1.55 * pr["shelf"]:
                    break
            pr["inh"] = round(float(d), 2)
            code = R.choice(["%s%02d", "%s-%d", "%s%d0"]) % ({"pan-bread": "PB", "bun": "BN", "flatbread": "FL", "sweet-good": "SW"}[fam], 10 + 3 * i)
            pr["name"] = R.choice(["plain", "wheat", "soft", "grain", "milk", "country", "small", "large"]) + " " + fam.replace("-", " ")
            self.products[code] = pr
        self.makes = {l: [c for c, p in self.products.items() if p["family"] == self.lfam[l]] for l in self.lines}
        self.weather()
        self.make_lots()
        self.materials()
        self.places()
        self.habits()
        self.routes_stores()

    def weather(self):
        N, x = self.N, 0
        self.out = []
        for d in range(self.days + 60):
            x = .75 * x + N.normal(0, 2.1)
            doy = (self.start + dt.timedelta(days=d)).timetuple().tm_yday
            self.out.append(12.5 + 8.5 * np.cos((doy - 205) / 365 * 2 * np.pi) + x)
        self.heat = None
        if self.R.random() < .6:
            h = self.R.randint(5, self.days - 8); self.heat = (h, h + self.R.randint(3, 7))
            for d in range(*self.heat):
                self.out[d] += self.R.uniform(5, 8)
        self.room = {d: 22 + .33 * max(-5, self.out[d] - 15) + N.normal(0, .5) for d in range(self.days)}

    def time(self, day, minutes):
        t = dt.datetime.combine(self.start, dt.time(0), self.tz) + dt.timedelta(days=day, minutes=int(round(minutes)))
        return t

    def make_lots(self):
        R, N = self.R, self.N
        fmt = R.randint(0, 5)
        closed = R.choice([[], [6], [6], [5]])
        self.holiday = R.randint(10, self.days - 5) if R.random() < .5 else None
        rate = R.uniform(5, min(25, 6 * self.nl))
        self.cut_op = R.choice([None, R.randint(7, self.days - 14)])       # new operator from this day on one line
        self.op_line = R.choice(self.lines)
        shifts = R.choice([["A", "B", "C"], ["1", "2", "3"], ["early", "late", "night"]])
        self.lots, self.by = [], {}
        cap = {c: int(np.clip(N.lognormal(np.log(7500), .45), 2000, 19000)) for c in self.products}
        for d in range(self.days):
            wd = (self.start + dt.timedelta(days=d)).weekday()
            if wd in closed or d == self.holiday:
                continue
            for li, l in enumerate(self.lines):
                n = min(8, max(1, int(N.poisson(rate / self.nl))))
                t = 240 + R.randint(-20, 40)
                for k in range(n):
                    L = Lot()
                    L.day, L.line = d, l
                    L.prod = R.choice(self.makes[l]); pr = self.products[L.prod]
                    L.units = int(np.clip(cap[L.prod] * N.lognormal(0, .18), 2000, 20000))
                    dur = min(1150 / n, L.units / 5000 * 60 + 15)
                    lead = pr["ferm"] + pr["proof"] + pr["bake"] + pr["cool"] + 15
                    L.p0, L.p1 = t, t + dur
                    L.m0, L.m1 = t - lead, t - lead + dur
                    L.shift = shifts[int(((t - 300) // 480) % 3)]
                    sd = self.start + dt.timedelta(days=d)
                    L.code = sd + dt.timedelta(days=pr["shelf"])
                    doy, yy, le, hh = sd.timetuple().tm_yday, sd.year % 100, l[-1] if not l.endswith("0") else l[0], int(t // 60) % 24
                    sq = len([x for x in self.lots[-40:] if x.day == d]) + 1
                    L.id = [f"{yy:02d}{doy:03d}{le}{k+1}{hh:02d}", f"{le}{doy:03d}{yy % 10}-{hh:02d}{int(t % 60):02d}", f"{sd:%d%m%y}/{le}{'ABCDEFGHJK'[k]}",
                            f"{'KLMNPQRSTUVW'[sd.month-1]}{sd.day:02d}{yy%10}{le}{k+1:02d}", f"L{le}{yy:02d}{doy:03d}{L.shift[0].upper()}{k+1}", f"{L.prod[:2]}{doy:03d}{yy % 10}{le}{sq:03d}"][fmt]
                    L.nmix = max(1, min(6, round(L.units / 2500)))
                    L.flour = L.units * pr["unit_g"] / 1500 / L.nmix
                    L.mixes = [f"{d+1:03d}{le}{k+1}{m+1}" if fmt % 2 else f"M{doy}{le}-{k+1}{m+1}" for m in range(L.nmix)]
                    L.key = len(self.lots)
                    L.tr = []
                    self.base_state(L, pr)
                    self.lots.append(L)
                    self.by.setdefault((d, l), []).append(L)
                    t += dur + R.uniform(8, 25)
                    if t > 1400:
                        break

    def base_state(self, L, pr):
        N, hot = self.N, self.room[L.day] - 23
        stop = float(N.exponential(14)) if N.random() < .3 else 0.0
        sloppy = 1.5 if self.cut_op is not None and L.line == self.op_line and self.cut_op <= L.day < self.cut_op + 10 else 1.0
        n = lambda s: float(N.normal(0, s * sloppy))
        b = n(.02)
        cool = n(.035) + stop * .25 / pr["cool"] * .2
        s = dict(inh=pr["inh"] * (1 + N.normal(0, .025 * sloppy, L.nmix)), dph=N.normal(0, .025 * sloppy, L.nmix), ph=pr["ph"] + n(.035), aw=pr["aw"] + n(.0025) - b * .02,
                 moist=pr["moist"] + n(.28) - b * 9, bake=pr["bake"] * (1 + b), core_end=pr["core_end"] + n(.35) + b * 14, cool=pr["cool"] * (1 + cool),
                 core_pack=pr["core_pack"] + n(.65) + .32 * max(0, hot) - cool * 16, slice_d=pr["slice_c"] - pr["core_pack"] + n(.3), cooler_c=21.5 + .4 * hot + n(.6), cooler_rh=80 + n(3),
                 dough_t=pr["dough_t"] + .25 * max(0, hot) + n(.45), dough_ph=pr["dough_ph"] + n(.04), ferm=pr["ferm"] * (1 + n(.04)) + stop * .3, proof=pr["proof"] * (1 + n(.03)) + stop * .25,
                 soft=1 + n(.03), water=pr["water"] + n(.4), grain=pr["acid_grain"] * (1 + n(.015)), acid=1 + n(.02), seal=max(0., .25 + n(.2)), stop=stop,
                 room_c=self.room[L.day] + n(.4), room_rh=54 + n(5), spores=10 ** (1.1 + n(.35)), leak=.0015, wet=0., dtemp=0., enz_missed=0., gum=0., load={}, flora={},
                 ppm_f=1., inh_rec=None, soft_rec=None, acid_rec=None, inh_active=1.)
        s["leak"] += s["seal"] / 100 * .25
        L.base = s

    def materials(self):
        """which lot of each material is in use; film reels and closures per line, the rest per plant"""
        R = self.R
        self.hold = {"flour": (1, 2), "inhibitor": (9, 24), "acid": (9, 20), "yeast": (3, 6), "fat": (7, 15), "softener": (10, 24), "film": (2, 6), "closure": (6, 14)}
        self.msched, self.mstart = {}, {}
        style = R.randint(0, 2)
        self.mserial = R.randint(100, 700)
        self.mname = lambda m: (setattr(self, "mserial", self.mserial + R.randint(1, 4)) or
                                [f"{m[:2].upper()}{self.mserial}", f"{self.mserial}{R.randint(10, 99)}", f"{m[:3]}-{self.mserial}"][style])
        self.supp = {m: R.sample(["Harrow", "Lindal", "Oster", "Quill", "Tamsin", "Verdo"], R.randint(1, 2)) for m in self.hold}
        self.msup = {}
        for m, (a, b) in self.hold.items():
            for l in (self.lines if m in ("film", "closure") else [None]):
                d = -R.randint(0, b - 1)
                while d < self.days:
                    e, name = d + R.randint(a, b), self.mname(m)
                    self.msup[name] = R.choice(self.supp[m])
                    self.mstart[name] = max(0, d)
                    for x in range(max(0, d), min(e, self.days)):
                        self.msched[m, l, x] = name
                    d = e
        for L in self.lots:
            L.mat = {m: self.msched[m, L.line if m in ("film", "closure") else None, L.day] for m in self.hold}

    def places(self):
        """log10 of the spore load of a place against its usual, day by day; cleaning takes it down, days put it back"""
        R, N = self.R, self.N
        self.load, self.events = {}, {}
        self.cl_every = {"slicer": R.choice([1, 1, 2]), "cooler-belt": R.choice([3, 7]), "bagger": R.choice([1, 2, 3]), "waste-area": R.choice([1, 2]), "returns-dock": R.choice([2, 7]), "ingredient-store": 7, "dead-spot": 14}
        for p, l in [(p, l) for p in LP for l in self.lines] + [(p, None) for p in PP]:
            x, ev = N.normal(0, .15), self.cl_every.get(p, 0)
            for d in range(self.days):
                x = .8 * x + N.normal(0, .11) + (.015 * max(0, self.out[d] - 20))
                if ev and d % ev == 0:
                    if N.random() < .94:
                        x -= .02 * min(ev, 7); self.events[d, p, l, "cleaned"] = 1
                    else:
                        x += .12; self.events[d, p, l, "cleaned"] = 0
                self.load[p, l, d] = x
            fd = R.randint(0, 20)
            if p in ("cooler-air", "compressed-air"):
                for d in range(fd, self.days, R.choice([14, 28, 42])):
                    self.events[d, p, l, "filter_changed"] = 1
        for d in range(self.days):
            self.events[d, "waste-area", None, "waste_emptied"] = int(N.random() < .96)
            self.events[d, "returns-dock", None, "returns_staged"] = int(N.random() < .04)
            for l in self.lines:
                if N.random() < .02:
                    self.events[d, "cooler-air", l, "condensation_seen"] = 1
            if N.random() < .03:
                self.events[d, "dead-spot", None, "condensation_seen"] = 1
        self.boost = {}                                     # (place, line, day) -> log10 a trouble adds
        self.m0 = R.uniform(.05, .13)

    def loads(self, L, boost):
        out = {}
        for p in ph.SOURCES[:9]:
            l = L.line if p in LP else None
            out[p] = 10 ** (self.load[p, l, L.day] + boost.get((p, l, L.day), 0) + boost.get((p, "L" + L.line, L.day), 0))
        return out

    def habits(self):
        """how this plant keeps its books: which quantities, how often, how well"""
        R = self.R
        keep = lambda p: R.random() < p
        fr = {"core_at_pack_c": (.8, .45, 1), "cool_min": (.7, .6, 1), "bake_min": (.65, .7, 1), "core_end_bake_c": (.7, .4, .9), "dough_temp_c": (.8, .7, 1), "dough_ph": (.35, .15, .5), "ferment_min": (.55, .5, 1),
              "proof_min": (.6, .6, 1), "crumb_ph": (.6, .12, .4), "crumb_aw": (.35, .06, .25), "crumb_moisture_pct": (.5, .12, .4), "propionate_ppm": (.35, .03, .1), "aerobic_spores_cfu_g": (.25, .03, .12),
              "seal_fail_pct": (.6, .4, 1), "line_stop_min": (.6, .7, 1), "pack_room_c": (.5, .4, 1), "pack_room_rh_pct": (.4, .4, 1), "mold_free_days": (.45, .08, .3), "inhibitor_kg": (.7, .7, 1), "inhibitor_pct_flour": (.2, .5, 1),
              "acid_kg": (.5, .6, 1), "acid_grain": (.25, .1, .5), "softener_pct_flour": (.4, .6, 1), "water_pct_flour": (.4, .6, 1), "cooler_air_c": (.5, .5, 1), "cooler_rh_pct": (.4, .5, 1), "core_at_slicing_c": (.3, .3, .8), "core_temp_c": (.22, .03, .12)}
        self.kept = {q: R.uniform(a, b) for q, (p, a, b) in fr.items() if keep(p)}
        self.tgt = {q: keep(.8) for q in fr}
        self.tgt_all, self.tgt_lim = keep(.85), keep(.6)
        self.plkept = {}
        for p in LP + PP:
            for q, pr, every in (("settle_plate_cfu", .55, (3, 7)), ("swab_cfu", .55, (3, 7)), ("air_cfu_m3", .3, (7, 14)), ("atp_rlu", .5, (1, 3)), ("cleaned", .75, (1, 1)), ("filter_changed", .7, (1, 1)),
                                 ("pressure_pa", .4, (1, 3)), ("returns_staged", .55, (1, 1)), ("condensation_seen", .6, (1, 1)), ("door_open_min", .45, (1, 1)), ("waste_emptied", .6, (1, 1))):
                ok = {"settle_plate_cfu": ["cooler-air", "slicer", "bagger", "ingredient-store", "returns-dock", "waste-area", "dispatch-dock"], "swab_cfu": ["slicer", "cooler-belt", "bagger", "hands", "film-store", "dead-spot", "returns-dock"],
                      "air_cfu_m3": ["cooler-air", "slicer", "compressed-air", "ingredient-store", "waste-area"], "atp_rlu": ["slicer", "cooler-belt", "bagger"], "cleaned": list(self.cl_every), "filter_changed": ["cooler-air", "compressed-air"],
                      "pressure_pa": ["slicer", "cooler-air"], "returns_staged": ["returns-dock"], "condensation_seen": ["cooler-air", "dead-spot"], "door_open_min": ["dispatch-dock", "returns-dock"], "waste_emptied": ["waste-area"]}[q]
                if p in ok and keep(pr):
                    self.plkept[p, q] = R.randint(*every)
        self.pl_line = keep(.75)                        # the log names the line
        self.zero_rows = keep(.5)                       # writes down the ordinary, too
        self.use_mix, self.use_amount, self.coa = keep(.5), keep(.75), R.choice([None, None, "coa", "assay"])
        self.setpoint = keep(.45)                       # amounts in the use list are what the recipe asked for
        self.use_kept = {m for m in self.hold if keep({"inhibitor": .97, "flour": .92, "film": .88, "softener": .85, "closure": .6}.get(m, .75))}
        self.store_rows, self.transit, self.wide = keep(.6), keep(.35), keep(.2)
        self.gap = (lambda d: (d, d + R.randint(2, 6)))(R.randint(5, self.days - 8)) if keep(.6) else (-1, -1)
        self.noise = R.uniform(.8, 1.5)
        self.bias = {q: R.gauss(0, 1) for q in fr}
        qd = R.choice(["core_at_pack_c", "crumb_ph", "dough_temp_c", "seal_fail_pct", "crumb_moisture_pct"])
        d0 = R.randint(3, self.days - 12)               # an instrument that drifted and hurt nobody
        self.drift = (qd, R.choice(self.lines), d0, d0 + R.randint(4, 10), R.choice([-1, 1]) * R.uniform(2, 4))
        self.odd = []                                   # places that look bad without reaching the bread
        for _ in range(R.randint(1, 3)):
            d0 = R.randint(3, self.days - 14)
            p = R.choice(["dead-spot", "waste-area", "dispatch-dock", "compressed-air", "film-store", "slicer", "hands", "returns-dock"])
            self.odd.append((p, R.choice(self.lines), d0, d0 + R.randint(3, 9), R.uniform(.5, 1.0)))

    def routes_stores(self):
        R = self.R
        nr = R.randint(3, 9)
        st = R.choice(["r%d", "R%02d", "T%d", "%d00"])
        self.routes = {st % (i + 1): [f"{R.randint(100, 999):04d}" for _ in range(R.randint(4, 9))] for i in range(nr)}
        self.rw = {r: R.uniform(.5, 1.5) for r in self.routes}
        for L in self.lots:
            rs = [r for r in self.routes if R.random() < .75] or [R.choice(list(self.routes))]
            w = np.array([self.rw[r] for r in rs]); w = w / w.sum()
            L.disp = []
            for r, x in zip(rs, w):
                ss = R.sample(self.routes[r], min(len(self.routes[r]), R.randint(2, 4)))
                for s in ss:
                    L.disp.append([r, s, max(20, int(L.units * x / len(ss))), 19 + .35 * max(0, self.out[L.day] - 17) + R.gauss(0, .8)])
            L.dtime = L.p1 + R.uniform(120, 700)
