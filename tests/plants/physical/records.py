"""Imperfect instruments: what the plant's books hold of the state of lots and places."""
import csv, datetime as dt
import numpy as np
import physics as ph
import troubles as T
from plant import LP, PP


def write(path, head, rows):
    with open(path, "w", newline="") as f:
        w = csv.writer(f); w.writerow(head); w.writerows(rows)


def iso(t):
    return t.isoformat(timespec="seconds")


def tidy(x, nd):
    return ("%.*f" % (nd, x)) if nd else str(int(round(x)))


def values(P, L, pr, s):
    """true values by quantity: (value, gauge noise, decimals, minute it is read at)"""
    k = P.noise
    return {"core_at_pack_c": (s["core_pack"], .8 * k, 1, L.p0 + 20), "cool_min": (s["cool"], 1.0, 0, L.p0), "bake_min": (s["bake"], .01 * s["bake"], 1, L.m0 + 90), "core_end_bake_c": (s["core_end"], .45 * k, 1, L.p0 - s["cool"]),
            "ferment_min": (s["ferm"], 2, 0, L.m0 + s["ferm"]), "proof_min": (s["proof"], 1, 0, L.m0 + s["ferm"] + s["proof"]), "crumb_ph": (s["ph"] + float(s["dph"][0]), .04 * k, 2, L.p1 + 200),
            "crumb_aw": (s["aw"], .003 * k, 3, L.p1 + 240), "crumb_moisture_pct": (s["moist"], .35 * k, 1, L.p1 + 180), "aerobic_spores_cfu_g": (s["spores"], s["spores"] * .35, 0, L.p1 + 2900),
            "line_stop_min": (s["stop"], 1, 0, L.p1), "pack_room_c": (s["room_c"], .4, 1, L.p0 + 30), "pack_room_rh_pct": (s["room_rh"], 2, 0, L.p0 + 30), "cooler_air_c": (s["cooler_c"], .5, 1, L.p0 - 20),
            "cooler_rh_pct": (s["cooler_rh"], 2.5, 0, L.p0 - 20), "core_at_slicing_c": (s["core_pack"] + s["slice_d"], .7 * k, 1, L.p0 + 5), "acid_grain": (s["grain"], 1.5, 0, L.m0 - 60),
            "softener_pct_flour": (pr["soft_pct"] * (s["soft_rec"] or s["soft"]), .006, 3, L.m0), "water_pct_flour": (s["water"], .2, 1, L.m0), "inhibitor_pct_flour": (float(s["inh"].mean()) / s["inh_active"] if s["inh_rec"] is None else pr["inh"], .004, 3, L.m0)}


SPEC = {"core_at_pack_c": ("core_pack", 3, 1), "cool_min": ("cool", 8, 0), "bake_min": ("bake", .8, 1), "core_end_bake_c": ("core_end", 1.2, 1), "dough_temp_c": ("dough_t", 1.5, 1), "dough_ph": ("dough_ph", .15, 2), "ferment_min": ("ferm", 8, 0), "proof_min": ("proof", 5, 0),
        "crumb_ph": ("ph", .12, 2), "crumb_aw": ("aw", .008, 3), "crumb_moisture_pct": ("moist", 1.2, 1), "softener_pct_flour": ("soft_pct", .03, 3), "inhibitor_pct_flour": ("inh", .02, 3), "water_pct_flour": ("water", 1, 1), "acid_grain": ("acid_grain", 4, 0), "core_at_slicing_c": ("slice_c", 3, 1)}
PER_MIX = ("dough_temp_c", "dough_ph", "inhibitor_kg", "acid_kg")


def all_records(P, troubles, out):
    R, N = P.R, P.N
    write(f"{out}/products.csv", ["product", "name", "family", "shelf_life_days", "unit_g"], [[c, p["name"], p["family"], p["shelf"], p["unit_g"]] for c, p in P.products.items()])
    tg = []
    for c, p in P.products.items():
        for q, (k, w, nd) in SPEC.items():
            if (P.tgt[q] or q in ("inhibitor_pct_flour", "core_at_pack_c")) and (P.tgt_all or hash_share(P, c)):
                w = min(w, .15 * p[k]) if q.endswith("_min") else w
                lim = P.tgt_lim and q not in ("water_pct_flour",)
                tg.append([c, q, tidy(p[k], nd), tidy(p[k] - w, nd) if lim else "", tidy(p[k] + w, nd) if lim else ""])
        for q, v, h in (("seal_fail_pct", "0", "2"), ("aerobic_spores_cfu_g", "20", "100")):
            if P.tgt[q] and q in P.kept and P.tgt_all:
                tg.append([c, q, v, "", h])
    write(f"{out}/targets.csv", ["product", "quantity", "target", "low", "high"], tg)
    lots, mixes, uses, reads, disp = [], [], [], [], []
    show_shift, show_plant = R.random() < .75, R.random() < .6
    for L in P.lots:
        pr = P.products[L.prod]
        s = T.copy(L.base)
        for t in L.tr:
            if not t.where_sold:
                t.apply(s, L, t.x[L.id])
        lots.append([L.id, L.prod, L.line, iso(P.time(L.day, L.m0)), iso(P.time(L.day, L.m1)), iso(P.time(L.day, L.p0)), iso(P.time(L.day, L.p1)), L.units, L.code.isoformat(), L.shift if show_shift else "", P.plant if show_plant else ""])
        step = (L.m1 - L.m0) / L.nmix
        for i, m in enumerate(L.mixes):
            mixes.append([m, L.id, iso(P.time(L.day, L.m0 + step * i)), tidy(L.flour * (1 + N.normal(0, .004)), 1)])
        # materials
        fl = L.flour * L.nmix
        for m in P.hold:
            if m not in P.use_kept or R.random() < .015:
                continue
            sup = P.msup[L.mat[m]] if R.random() < .6 else ""
            act = ""
            if m == "inhibitor":
                if P.coa == "coa": act = tidy(99.0, 1)
                if P.coa == "assay": act = tidy(min(100, 98.5 * s["inh_active"] + N.normal(0, .7)), 1)
            amt = {"flour": fl, "softener": pr["soft_pct"] / 100 * fl * (s["soft_rec"] or s["soft"]), "acid": pr["acid_pct"] / 100 * fl * (1.0 if P.setpoint else s["acid"]), "yeast": .025 * fl, "fat": .03 * fl}.get(m)
            if m == "inhibitor":
                kg = s["inh"] / s["inh_active"] * L.flour / 100
                if s["inh_rec"] is not None:
                    kg = kg * 0 + pr["inh"] * L.flour / 100
                if P.use_mix:
                    for i, mx in enumerate(L.mixes):
                        if kg[i] > .001:
                            uses.append([L.id, m, L.mat[m], tidy(kg[i] * (1 + N.normal(0, .01)), 3) if P.use_amount else "", "kg" if P.use_amount else "", mx, act, sup])
                    continue
                amt = float(kg.sum())
            uses.append([L.id, m, L.mat[m], tidy(amt * (1 + N.normal(0, .008)), 2) if amt and P.use_amount else "", "kg" if amt and P.use_amount else "", "", act, sup])
        # readings
        gap = P.gap[0] <= L.day < P.gap[1]
        vals = values(P, L, pr, s)
        rec = lambda q, v, at, mix="", point="", note="": reads.append([L.id, q, v, iso(P.time(L.day, at)) if at is not None else "", mix, point, note])
        for q, f in P.kept.items():
            if R.random() > f * (.25 if gap else 1):
                continue
            b = .25 * P.bias[q]
            if q == P.drift[0] and L.line == P.drift[1] and P.drift[2] <= L.day < P.drift[3]:
                b += P.drift[4]
            if q in vals:
                v, sd, nd, at = vals[q]
                v = v + N.normal(0, 1) * sd + b * sd * .8
                if q in ("aerobic_spores_cfu_g", "line_stop_min", "ferment_min", "softener_pct_flour"):
                    v = max(0, v)
                if q.endswith("rh_pct"):
                    v = min(98, v)
                rec(q, tidy(v, nd), at + R.randint(0, 12), point=R.choice(["", "", "", "left", "middle", "right"]) if q == "core_at_pack_c" else "")
            elif q in PER_MIX:
                for i, mx in enumerate(L.mixes):
                    if i and R.random() < .35:
                        continue
                    at = L.m0 + step * i + 10
                    v, nd = {"dough_temp_c": (s["dough_t"] + N.normal(0, .4) + b * .3, 1), "dough_ph": (s["dough_ph"] + s["dph"][i] + N.normal(0, .04) + b * .02, 2),
                             "inhibitor_kg": (s["inh"][i] / s["inh_active"] * L.flour / 100 * (1 + N.normal(0, .012)), 3), "acid_kg": (pr["acid_pct"] * L.flour / 100 * s["acid"] * (1 + N.normal(0, .015)), 3)}[q]
                    rec(q, tidy(v, nd), at, mx)
            elif q == "propionate_ppm" and pr["inh_kind"] == "propionate":
                rec(q, tidy(float(s["inh"].mean()) * .7956 / 150 * 1e6 * .96 * (1 + N.normal(0, .05)), 0), L.p1 + 2000)
            elif q == "seal_fail_pct":
                n = R.choice([20, 40, 50])
                rec(q, tidy(100 * N.binomial(n, min(.9, s["seal"] / 100 * max(.3, 1 + .1 * b))) / n, 1), L.p0 + 45)
            elif q == "mold_free_days":
                g = ph.Pack(P.seed * 65537 + L.key, 4, pr["shelf"], 12, 0)
                s["load"] = P.loads(L, P.boost) if not s["load"] else {**P.loads(L, P.boost), **{k: v * P.loads(L, P.boost)[k] for k, v in s["load"].items()}}
                g.homem[:] = 0; g.temp[:] = 22 + N.normal(0, .6)
                tv = float(ph.mold(g, s, pr, P.m0)[0].min())
                end = pr["shelf"] + 4
                n = int(np.ceil(tv)) if tv <= end else end
                rec(q, str(n), L.p1 + 1440 * n, note="" if tv <= end else R.choice(["none yet", "none yet", "clean, none yet"]))
            elif q == "core_temp_c":
                t0, bk = L.m0 + pr["ferm"] + pr["proof"], s["bake"]
                rate = 1.7 if s["enz_missed"] > .5 else 1.0
                for x in (.2, .35, .45, .55, .65, .75, .9, 1.0):
                    y = 32 + (s["core_end"] - 32) / (1 + np.exp(-(x * (1.12 if rate > 1 else 1) - .52) * 11 * rate)) * (1 + (np.exp(-(1 - .52) * 11)) if rate == 1 else 1)
                    rec(q, tidy(min(y, s["core_end"]) + N.normal(0, .5), 1), t0 + x * bk, point=f"oven {x*100:.0f}%")
                for x in (.15, .5, 1.0):
                    y = s["core_pack"] + (s["core_end"] - s["core_pack"]) * (np.exp(-2.6 * x) - np.exp(-2.6)) / (1 - np.exp(-2.6))
                    rec(q, tidy(y + N.normal(0, .5), 1), t0 + bk + x * s["cool"], point="cooler")
        for r, st, u, tc in L.disp:
            disp.append([L.id, r, iso(P.time(L.day, L.dtime + 3 * (list(P.routes).index(r)))), u, st if P.store_rows else "", tidy(tc + R.gauss(0, .6), 1) if P.transit and R.random() < .8 else ""])
    if not P.store_rows:                             # one line a route
        agg = {}
        for x in disp:
            k = (x[0], x[1], x[2])
            if k in agg: agg[k][3] += x[3]
            else: agg[k] = list(x)
        disp = list(agg.values())
    for _ in range(R.randint(0, 2)):                 # slips of the pen: a lost decimal point
        x = R.choice([r for r in reads if r[1] in ("core_at_pack_c", "crumb_ph", "dough_temp_c", "crumb_moisture_pct", "core_end_bake_c")] or reads)
        if "." in x[2]: x[2] = x[2].replace(".", "")
    write(f"{out}/lots.csv", "lot product line made_from made_to packed_from packed_to units code_date shift plant".split(), lots)
    write(f"{out}/mixes.csv", "mix lot at flour_kg".split(), mixes)
    write(f"{out}/uses.csv", "lot material material_lot amount unit mix active_pct supplier".split(), uses)
    write(f"{out}/dispatch.csv", "lot route at units store transit_c".split(), disp)
    if P.wide:
        wide(P, reads, out)
    else:
        write(f"{out}/readings.csv", "lot quantity value at mix point note".split(), reads)
    plantlog(P, troubles, out)


def hash_share(P, c):
    return (sum(map(ord, c)) + P.seed) % 3 > 0


def wide(P, reads, out):
    """one row a lot and moment, a column a quantity; temperatures in degF where the house thinks in them"""
    qs = sorted({r[1] for r in reads})
    degf = P.off < -100
    rows, first = {}, {}
    for lot, q, v, at, mix, pt, note in reads:
        if q in PER_MIX or q in ("core_temp_c", "mold_free_days"):
            k = (lot, mix, at, pt if q == "core_temp_c" else "")
        else:
            k = (lot, mix, first.setdefault(lot, at), "")
        d = rows.setdefault(k, {"note": ""})
        if degf and q.endswith("_c"):
            v = tidy(float(v) * 1.8 + 32, 1)
        d[q] = v
        d["note"] = d["note"] or note
    head = ["lot", "mix", "at", "point"] + [q + (" [degF]" if degf and q.endswith("_c") else "") for q in qs] + ["note"]
    write(f"{out}/readings.csv", head, [list(k) + [d.get(q, "") for q in qs] + [d["note"]] for k, d in rows.items()])


def plantlog(P, troubles, out):
    R, N = P.R, P.N
    ev, rows = dict(P.events), []
    boost = {}
    for t in troubles:
        for k, v in t.events.items():
            if v is None: ev.pop(k, None)
            else: ev[k] = v
        for (p, l, d), v in t.boost.items():
            if isinstance(l, str) and l.startswith("L") and l not in P.lines or (p in PP and l != "only-log" and l is not None):
                continue
            boost[p, l if p in LP else None, d] = boost.get((p, l if p in LP else None, d), 0) + v
    base = {p: R.uniform(.7, 1.4) for p in LP + PP}
    prod_days = {L.day for L in P.lots}
    deep = {t.wetclean for t in troubles if t.cause == "cleaning-residue"}
    bad_air = {(L.line, L.day) for t in troubles for L in t.lots if t.cause in ("contamination-cooler-air", "contamination-returns", "contamination-waste") and t.number % 2}
    staged = {L.day for t in troubles for L in t.lots if t.cause == "contamination-returns"}
    plate = {p: R.choice([(15, .0172), (30, .034), (60, .069)]) for p in LP + PP}
    phase = {k: R.randint(0, 6) for k in P.plkept}

    def row(d, mins, p, q, v, l=None, note=""):
        rows.append([iso(P.time(d, mins)), p, q, v, l or "" if P.pl_line else "", note])
    for (p, q), every in P.plkept.items():
        for l in (P.lines if p in LP else [None]):
            if not P.pl_line and p in LP and l != P.lines[0] and q not in ("swab_cfu", "atp_rlu", "settle_plate_cfu"):
                continue
            for d in range(P.days):
                if d not in prod_days or (P.gap[0] <= d < P.gap[1] and R.random() < .7):
                    continue
                if q in ("cleaned", "filter_changed", "returns_staged", "condensation_seen", "waste_emptied"):
                    v = ev.get((d, p, l, q))
                    normal = {"cleaned": None, "filter_changed": None, "returns_staged": 0, "condensation_seen": 0, "waste_emptied": 1}[q]
                    if v is None: v = normal if P.zero_rows else None
                    if v is None or (q == "waste_emptied" and v == 1 and not P.zero_rows) or (v == 0 and not P.zero_rows and R.random() < .5):
                        continue
                    if q == "returns_staged" and v == 0 and not P.zero_rows: continue
                    note = R.choice(["foam and rinse", "deep clean", ""]) if (d, p, l) in deep and q == "cleaned" else ""
                    row(d, {"cleaned": 190, "waste_emptied": 860}.get(q, 420) + R.randint(0, 25) + (P.lines.index(l) if l else 0), p, q, v, l, note)
                    continue
                if (d + phase[p, q]) % every:
                    continue
                # a swab meets the niche or not, a plate stands open while dust flies or not
                hit = R.random() > (.35 if q == "swab_cfu" else .2)
                x = P.load[p, l, d] + boost.get((p, l, d), 0) * (1 if hit else .25)
                for op, ol, a, b, y in P.odd:
                    if op == p and a <= d < b and (l is None or ol == l): x += y
                if q in ("settle_plate_cfu", "air_cfu_m3"):
                    a = {"cooler-air": 90, "slicer": 80, "bagger": 70, "ingredient-store": 260, "returns-dock": 240, "waste-area": 280, "dispatch-dock": 150, "compressed-air": 6}[p] * base[p] * 10 ** (x + N.normal(0, .12))
                    v = int(N.poisson(a * plate[p][1])) if q[0] == "s" else int(N.poisson(a / 10) * 10)
                    v = min(v, 300) if q[0] == "s" else min(v, 9000)
                elif q == "swab_cfu":
                    v = min(300, int(N.poisson({"slicer": 6, "cooler-belt": 9, "bagger": 5, "hands": 5, "film-store": 2.2, "dead-spot": 22, "returns-dock": 14}[p] * base[p] * 10 ** (x + N.normal(0, .2)))))
                elif q == "atp_rlu":
                    v = int(min(3000, 38 * base[p] * 10 ** (.45 * x + N.normal(0, .22)) + 3)) // (3 if any(dd == d and pp == p and ll == l for dd, pp, ll in deep) else 1)
                elif q == "pressure_pa":
                    v = tidy(12 * base[p] + N.normal(0, 2) - (7 if (l, d) in bad_air else 0), 1)
                else:
                    v = int(min(400, 24 * base[p] * np.exp(N.normal(0, .4)) * (2.2 if d in staged and p == "returns-dock" else 1)))
                row(d, 330 + R.randint(0, 200), p, q, v, l)
    rows.sort(key=lambda r: r[0])
    seen, uniq = set(), []
    for r in rows:
        k = (r[0], r[1], r[2], r[4])
        if k not in seen:
            seen.add(k); uniq.append(r)
    write(f"{out}/plantlog.csv", "at place quantity value line note".split(), uniq)
