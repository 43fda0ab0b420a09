"""What the plant wrote down: its own habits, its instruments, its gaps."""
import csv
import math
from datetime import timedelta
from plant import MATS

# quantity: (how likely a plant measures it, true value, instrument noise, decimals, likely rhythms)
READ = {
    "inhibitor_kg": (.22, None, .01, 2, "mix"), "inhibitor_pct_flour": (.3, None, .012, 3, "lot"), "acid_kg": (.15, None, .02, 2, "mix"), "acid_grain": (.12, None, 2, 0, "weekly"),
    "softener_pct_flour": (.28, None, .01, 3, "lot"), "water_pct_flour": (.3, lambda L: L["x"]["water"], .2, 1, "lot mix"), "dough_temp_c": (.75, lambda L: L["x"]["dt"], .4, 1, "lot mix"),
    "dough_ph": (.35, lambda L: L["x"]["dph"], .05, 2, "lot some daily"), "ferment_min": (.4, lambda L: L["x"]["ferm"], 3, 0, "lot"), "proof_min": (.5, lambda L: L["x"]["proof"], 1, 0, "lot"),
    "bake_min": (.65, lambda L: L["x"]["bake"], .1, 1, "lot"), "core_end_bake_c": (.65, lambda L: L["x"]["end"], .5, 1, "lot some daily"), "core_temp_c": (.1, None, .8, 1, "daily"),
    "cool_min": (.5, lambda L: L["x"]["cool"], 1.5, 0, "lot"), "cooler_air_c": (.45, lambda L: L["x"]["cair"], .4, 1, "lot daily"), "cooler_rh_pct": (.3, lambda L: min(97, max(25, L["x"]["crh"])), 2, 0, "lot daily"),
    "core_at_slicing_c": (.25, lambda L: L["x"]["core"] + 1, .7, 1, "lot some"), "core_at_pack_c": (.65, lambda L: L["x"]["core"], .7, 1, "lot some"), "crumb_ph": (.5, lambda L: L["x"]["ph"], .04, 2, "some daily weekly"),
    "crumb_aw": (.3, lambda L: L["x"]["aw"], .003, 3, "some daily weekly"), "crumb_moisture_pct": (.5, lambda L: L["x"]["moist"], .4, 1, "lot some daily"),
    "propionate_ppm": (.22, lambda L: L["x"]["dose"] * L["x"]["active"] * 5304, 60, 0, "weekly"), "aerobic_spores_cfu_g": (.15, lambda L: L["spores"], 0, 0, "weekly daily"),
    "seal_fail_pct": (.4, lambda L: max(0, L["x"]["seal"]), .35, 1, "lot some"), "line_stop_min": (.45, lambda L: max(0, L["x"]["stop"]), 0, 0, "lot"), "pack_room_c": (.5, lambda L: L["room"], .4, 1, "lot daily"),
    "pack_room_rh_pct": (.35, lambda L: max(20, min(92, L["x"]["prh"])), 2, 0, "lot daily"), "mold_free_days": (.4, None, 0, 0, "daily weekly")}
FAKE = {"core": ("core_at_pack_c",), "ph": ("crumb_ph",), "moist": ("crumb_moisture_pct",), "ferm": ("ferment_min",), "bake": ("bake_min",), "cool": ("cool_min",), "prh": ("pack_room_rh_pct",)}
# place: quantity -> (chance kept, typical level, log spread, days between, per line?)
LOG = {
    "cooler-air": {"settle_plate_cfu": (.6, 3, .6, (2, 4, 7), 1), "air_cfu_m3": (.35, 60, .5, (7, 7, 14), 1), "filter_changed": (.45, 1, 0, (14, 28), 1), "pressure_pa": (.3, 14, .15, (1, 7), 1)},
    "cooler-belt": {"swab_cfu": (.5, 7, .8, (3.5, 7), 1), "cleaned": (.7, 1, 0, (3.5, 7), 1), "atp_rlu": (.3, 60, .5, (3.5, 7), 1)},
    "slicer": {"swab_cfu": (.6, 6, .8, (3.5, 7), 1), "cleaned": (.8, 1, 0, (1, 1, 2), 1), "atp_rlu": (.4, 50, .5, (1, 3.5, 7), 1)},
    "bagger": {"swab_cfu": (.5, 5, .8, (3.5, 7), 1), "cleaned": (.7, 1, 0, (1, 2, 7), 1), "atp_rlu": (.3, 50, .5, (3.5, 7), 1), "settle_plate_cfu": (.5, 2.5, .6, (3.5, 7), 1), "condensation_seen": (.2, 0, 0, (1,), 1)},
    "film-store": {"settle_plate_cfu": (.25, 3, .7, (7, 14), 0), "condensation_seen": (.25, 0, 0, (1, 7), 0)},
    "hands": {"swab_cfu": (.45, 5, .9, (3.5, 7), 1)},
    "returns-dock": {"returns_staged": (.5, 0, 0, (1,), 0), "settle_plate_cfu": (.3, 8, .7, (7,), 0), "cleaned": (.3, 1, 0, (7,), 0)},
    "ingredient-store": {"settle_plate_cfu": (.4, 5, .7, (7, 14), 0), "cleaned": (.5, 1, 0, (7,), 0), "condensation_seen": (.2, 0, 0, (7,), 0)},
    "waste-area": {"waste_emptied": (.6, 1, 0, (1,), 0), "settle_plate_cfu": (.3, 10, .7, (7,), 0), "cleaned": (.3, 1, 0, (7,), 0)},
    "dead-spot": {"swab_cfu": (.2, 15, .9, (7, 14), 1), "cleaned": (.2, 1, 0, (7,), 1)},
    "compressed-air": {"filter_changed": (.25, 1, 0, (28,), 0), "air_cfu_m3": (.15, 15, .6, (28,), 0)},
    "dispatch-dock": {"door_open_min": (.35, 40, .5, (1,), 0), "settle_plate_cfu": (.25, 7, .6, (7,), 0)}}


def stamp(t, utc):
    return (t.astimezone(utc) if utc else t).isoformat(timespec="seconds")


def habits(P, r):
    wide = r.random() < .3
    h = dict(wide=wide, degf=wide and r.random() < .6, utc=None, targets=r.choice(["none", "none", "some", "all", "all"]), band=r.random() < .6, shift=r.random() < .65,
             inh=r.choice(["uses-mix", "uses-mix", "uses-lot", "reading", "both", "no-amount"]), backflush=r.random() < .25, act=r.random() < .3, sup=r.random() < .5,
             hush={m for m in MATS if r.random() < .18}, amounts={m for m in MATS if r.random() < .6}, grams=r.choice(["kg", "kg", "g", "lb"]),
             plog=r.choice([0, .5, .9, 1, 1, 1.15, 1.25]), clean=r.choice(["both", "both", "done-only", "pencil", "missed-only"]), linecol=r.random() < .8, strict=r.uniform(.75, .98),
             store=r.random() < .6, transit=r.choice([0, 0, .3, .9]), gap=r.sample(range(3, P.days - 5), r.choice([0, 1, 2])), gtin=r.random() < .4, typo=r.uniform(0, .004),
             mixes=r.random() < .85, round=r.random() < .25, lb=r.random() < .15, point=r.random() < .4)
    h["hush"].discard("inhibitor")
    if r.random() < .12:
        from datetime import timezone
        h["utc"] = timezone.utc
    h["q"] = {}
    for q, (pr, _, _, _, rhythm) in READ.items():
        if r.random() < pr * r.choice([.75, 1, 1.2]) or (h["inh"] in ("reading", "both") and q == "inhibitor_pct_flour"):
            k = r.choice(rhythm.split())
            h["q"][q] = dict(rhythm="lot" if k == "mix" and (wide or not h["mixes"]) else k, p=r.uniform(.86, 1) if k != "some" else r.uniform(.25, .6), bias=r.gauss(0, .6), drift=r.gauss(0, .8) if r.random() < .2 else 0)
    return h


def keep(P, r, out):
    h = habits(P, r)
    S = lambda t: stamp(t, h["utc"])
    files = {}

    def put(kind, head, rows):
        with open(f"{out}/{kind}.csv", "w", newline="") as f:
            w = csv.writer(f)
            w.writerow(head)
            w.writerows(rows)

    prods = list(P.products.values())
    put("products", ["product", "name", "family", "shelf_life_days", "unit_g"] + ["gtin"] * h["gtin"],
        [[p["id"], p["name"], p["fam"], p["shelf"], p["g"]] + ([gtin(40000 + i, P.seed)] if h["gtin"] else []) for i, p in enumerate(prods)])
    put("lots", ["lot", "product", "line", "made_from", "made_to", "packed_from", "packed_to", "units", "code_date"] + ["shift"] * h["shift"],
        [[L["id"], L["p"]["id"], L["line"], S(L["a"]), S(L["b"]), S(L["pa"]), S(L["pb"]), L["units"], L["code"].isoformat()] + ([L["shift"] if r.random() < .97 else ""] if h["shift"] else []) for L in P.lots])
    targets(P, r, h, put, prods)
    mixes, uses = doses(P, r, h, S)
    put("mixes", ["mix", "lot", "at", "flour_kg" if not h["lb"] else "flour [lb]"], [[m, l, a, round(f / (.45359 if h["lb"] else 1), 1)] for m, l, a, f in mixes])
    put("uses", ["lot", "material", "material_lot", "amount", "unit", "mix"] + ["active_pct"] * h["act"] + ["supplier"] * h["sup"], uses)
    readings(P, r, h, S, put, mixes)
    put("plantlog", ["at", "place", "quantity", "value"] + ["line"] * h["linecol"] + ["note"], plantlog(P, r, h, S))
    send = []
    for L in P.lots:
        if h["store"]: rows = [(d["route"], d["at"], d["units"], d["store"], d) for d in L["disp"]]
        else:
            g = {}
            for d in L["disp"]: g.setdefault((d["route"], d["at"]), []).append(d)
            rows = [(k[0], k[1], sum(d["units"] for d in v), "", v[0]) for k, v in g.items()]
        for a, at, u, st, d in rows:
            if r.random() < .985:
                t = d["t"] + r.gauss(0, .5)
                send.append([L["id"], a, S(at), u, st, (round(t * 1.8 + 32 if h["degf"] else t, 1) if r.random() < h["transit"] else "")])
    cols = ["lot", "route", "at", "units", "store", "transit [degF]" if h["degf"] else "transit_c"]
    cut = [i for i, c in enumerate(cols) if not (c == "store" and not h["store"] or c.startswith("transit") and not h["transit"])]
    put("dispatch", [cols[i] for i in cut], [[x[i] for i in cut] for x in send])


def gtin(i, seed):
    d = f"20{seed % 1000:03d}{i:07d}"[:12]
    return "0" + d + str(-sum(int(c) * (3 if k % 2 else 1) for k, c in enumerate(d)) % 10)


def targets(P, r, h, put, prods):
    rows = []
    T = {"inhibitor_pct_flour": ("dose", .06, 3), "softener_pct_flour": ("soft", .08, 3), "crumb_ph": ("ph", .03, 2), "core_at_pack_c": ("core", .08, 0), "core_end_bake_c": ("end", .015, 0), "crumb_moisture_pct": ("moist", .035, 1),
         "crumb_aw": ("aw", .01, 3), "bake_min": ("bake", .05, 1), "proof_min": ("proof", .1, 0), "cool_min": ("cool", .1, 0), "ferment_min": ("ferm", .15, 0), "water_pct_flour": ("water", .03, 1)}
    if h["targets"] != "none":
        qs = [q for q in T if h["targets"] == "all" or r.random() < .4]
        for p in prods:
            if h["targets"] == "some" and r.random() < .3: continue
            for q in qs:
                k, band, dec = T[q]
                v = p[k] * (1 + r.choice([-1.4, 1.4]) * band if r.random() < .03 else 1)  # a sheet nobody brought up to date
                rows.append([p["id"], q, min(round(v, dec), .985) if q == "crumb_aw" else round(v, dec)] + [round(v * (1 - band), dec), min(round(v * (1 + band), dec), .99 if q == "crumb_aw" else 108 if q == "core_end_bake_c" else 9e9)])
            if h["targets"] == "all" and r.random() < .5: rows.append([p["id"], "seal_fail_pct", .5, 0, 2])
            if h["targets"] == "all" and r.random() < .4: rows.append([p["id"], "mold_free_days", p["shelf"] + 2, p["shelf"], ""])
    put("targets", ["product", "quantity", "target"] + ["low", "high"] * h["band"], [x if h["band"] else x[:3] for x in rows])


def told(P, h, L, key, val):
    """what a slip of the pen or a wrong probe makes of it"""
    return val + P.fake.get(L["id"], {}).get(key, 0)


def doses(P, r, h, S):
    mixes, uses = [], []
    unit = h["grams"]
    conv = {"kg": 1, "g": .001, "lb": .45359}[unit]
    for n, L in enumerate(P.lots):
        p, x = L["p"], L["x"]
        flour = L["units"] * p["g"] / 1000 / 1.52
        k = max(1, min(4, round(flour / 1200)))
        L["mx"] = []
        shape = [r.uniform(.9, 1.1) for _ in range(k)]
        for j in range(k):
            m = f"{L['day']:03d}{L['line']}-{n % 100:02d}{j}" if P.fmt % 2 else f"MX{n * 4 + j + 1000}"
            f = flour * shape[j] / sum(shape)
            L["mx"].append((m, f, L["a"] + (L["b"] - L["a"]) * (j / k)))
            if h["mixes"]: mixes.append((m, L["id"], S(L["a"] + (L["b"] - L["a"]) * (j / k) - timedelta(minutes=r.randint(5, 40))), f))
        bad = "inhibitor-underdosed" in L["troubles"].values() and (h["backflush"] or L.get("dose_hidden"))
        L["dose_said"] = told(P, h, L, "dose", p["dose"] * r.gauss(1, .006) if bad or h["backflush"] else x["dose"])
        L["soft_said"] = told(P, h, L, "soft", p["soft"] if h["backflush"] else x["soft"])
        pct = dict(flour=100, yeast=p["yeast"], fat=p["fat"], inhibitor=max(.0, L["dose_said"]), softener=max(0, L["soft_said"]), acid=p["acid"] if h["backflush"] else x["acid"])
        for m, q in L["mats"].items():
            if m in h["hush"]: continue
            bymix = h["mixes"] and (m == "inhibitor" and h["inh"] in ("uses-mix", "both") or m == "acid" and h["inh"] == "uses-mix")
            give = m in h["amounts"] if m != "inhibitor" else h["inh"] in ("uses-mix", "uses-lot", "both")
            for mx, f, _ in (L["mx"] if bymix else [("", flour, None)]):
                amt = u = ""
                if give and m in pct:
                    u = unit if m in ("inhibitor", "softener", "acid") else "kg"
                    v = max(0, f * pct[m]) / 100 / (conv if u == unit else 1) * r.gauss(1, .008)
                    amt = round(v) if u == "g" else round(v, 2)
                row = [L["id"], m, q["id"], amt, u, mx]
                if h["act"]: row.append(q["active"] if m == "inhibitor" else "")
                if h["sup"]: row.append(q["sup"])
                uses.append(row)
    return mixes, uses


def retained(L, P, r):
    """days a kept pack stays clean on the QA shelf at 22 C; a few packs of each lot are kept"""
    from people import rate
    best, m = 99, P.hygiene + sum(L["src"].values())
    for _ in range(3):
        if r.random() < 1 - math.exp(-m): best = min(best, min(r.lognormvariate(0, .27) / rate("pen", 22, L, L["wet"]) for _ in range(max(1, int(m)))))
    end = L["p"]["shelf"] + 3
    return (math.ceil(best), "") if best < end else (end, r.choice(["none yet", "none yet", "no mold, none yet"]))


def readings(P, r, h, S, put, mixes):
    rows, last = [], {}
    for L in P.lots:
        wk = {}
        hit = any(g <= L["day"] < g + 4 for g in h["gap"])
        for q, c in h["q"].items():
            _, true, sd, dec, _ = READ[q]
            key = (q, L["p"]["id"] if c["rhythm"] != "daily" else (L["line"], L["p"]["id"]))
            every = {"weekly": 7, "daily": 1}.get(c["rhythm"], 0)
            if every and L["day"] - last.get(key, -99) < every or r.random() > c["p"] or hit and r.random() < .85: continue
            last[key] = L["day"]
            dev = sd * (c["bias"] + c["drift"] * L["day"] / P.days * 2)
            flour = sum(f for _, f, _ in L["mx"])
            at, note, point = L["pa"] + (L["pb"] - L["pa"]) * r.random(), "", ""
            if q == "mold_free_days":
                v, note = retained(L, P, r)
                rows.append((L, q, v, L["pb"] + timedelta(days=v, hours=2), "", "", note))
                continue
            if q == "core_temp_c":
                if not h["wide"]:
                    for i in range(8):
                        f = i / 5
                        core = 32 + (L["x"]["end"] - 32) * (1 - math.exp(-(f * 2.1) ** 1.6 * L["x"]["ramp"] / (4.2 * 26 / L["p"]["bake"]))) if f <= 1 else L["x"]["end"] - (f - 1) * 20
                        rows.append((L, q, round(core + r.gauss(0, sd), 1), L["a"] + timedelta(minutes=L["p"]["ferm"] + L["p"]["proof"] + f * L["x"]["bake"]), "", "centre", ""))
                continue
            if q == "inhibitor_kg" or q == "acid_kg":
                share = max(0, L["dose_said"] if q[0] == "i" else L["x"]["acid"]) / 100
                if q == "acid_kg" and not L["p"]["acid"]: continue
                per = L["mx"] if c["rhythm"] == "mix" else [("", flour, L["a"])]
                for m, f, a in per: rows.append((L, q, max(0, round(f * share * r.gauss(1, sd), dec)), a, m, "", ""))
                continue
            v = {"inhibitor_pct_flour": L.get("dose_said"), "softener_pct_flour": L.get("soft_said"), "acid_grain": 100}.get(q)
            if q == "acid_grain" and not L["p"]["acid"] or q == "propionate_ppm" and L["p"]["sorbate"]: continue
            v = true(L) if v is None else v
            for fk, names in FAKE.items():
                if q in names: v = told(P, h, L, fk, v)
            times = [("", at)]
            if c["rhythm"] == "mix": times = [(m, a) for m, _, a in L["mx"]]
            elif h["point"] and q in ("core_at_pack_c", "seal_fail_pct") and r.random() < .5 and not h["wide"]:
                times = [("", L["pa"] + (L["pb"] - L["pa"]) * f) for f in (.1, .5, .9)]
            for i, (m, a) in enumerate(times):
                y = v + dev + r.gauss(0, sd)
                if q == "aerobic_spores_cfu_g": y = v * 10 ** r.gauss(0, .25)
                y = round(y, 0 if h["round"] and dec == 1 and not q.startswith("seal") else dec)
                if r.random() < h["typo"] and 10 < y < 99:
                    y = round(min(max(y + r.choice([-1, 1, 2]) * r.choice([1, 3, 9]), 8), 108), dec)  # a digit slipped, not absurd
                if q in ("seal_fail_pct", "line_stop_min", "softener_pct_flour", "inhibitor_pct_flour"): y = max(0, y)
                rows.append((L, q, int(y) if dec == 0 else y, a, m, ["start", "middle", "end"][i] if len(times) == 3 and not m else "", ""))
    if h["wide"]:
        qs = list(dict.fromkeys(x[1] for x in rows))
        hot = [q for q in qs if h["degf"] and q.endswith("_c")]
        tab = {}
        for L, q, v, *_, note in rows:
            if note and "none yet" in note:
                continue  # a wide sheet has no room for "not yet"
            tab.setdefault(L["id"], {})[q] = round(v * 1.8 + 32, 1) if q in hot else v
        put("readings", ["lot"] + [q[:-2] + " [degF]" if q in hot else q for q in qs], [[k] + [v.get(q, "") for q in qs] for k, v in tab.items()])
    else:
        put("readings", ["lot", "quantity", "value", "at", "mix", "point", "note"], [[L["id"], q, v, S(a), m if h["mixes"] else "", pt, nt] for L, q, v, a, m, pt, nt in rows])


def plantlog(P, r, h, S):
    rows = []
    for place, qs in LOG.items():
        for q, (chance, base, spread, gaps, perline) in qs.items():
            if r.random() > chance * h["plog"]: continue
            every, p_done = r.choice(gaps), h["strict"]
            for ln in (P.lines if perline else [None]):
                if q in ("swab_cfu", "cleaned", "atp_rlu") and place == "slicer" and not any(p["sliced"] for p in P.by_line[ln]): continue
                level, walk, d = base * r.lognormvariate(0, spread * .5), 0, r.uniform(0, every)
                made = {L["day"] for L in P.lots if ln in (None, L["line"])}
                while d < P.days:
                    day, d = d, d + (every if every < 14 else every * r.uniform(.85, 1.2))
                    if int(day) not in made and r.random() < .9:
                        day = next((x for x in range(int(day), P.days) if x in made), None)
                        if day is None or every <= 1: continue
                    at = P.start + timedelta(days=int(day), hours=r.choice([2, 6, 6, 10, 14, 21]), minutes=r.randint(0, 59))
                    on = [b for b in P.bumps if b["place"] == place and b["quantity"] == q and (b["line"] is None or ln in (None, b["line"])) and b["t0"] <= at <= b["t1"] and r.random() < b["p"]]
                    skip = r.random() > p_done
                    note = next((b["note"] for b in on if b.get("note")), "")
                    said = next((b["value"] for b in on if b["value"] is not None), None)
                    if q in ("cleaned", "waste_emptied", "filter_changed"):
                        v = said if said is not None else 1
                        if v == "skip": continue
                        if skip and v == 1: v = 0 if r.random() < .25 else None
                        if q == "filter_changed": v = v or None
                        elif h["clean"] == "done-only": v = v or None
                        elif h["clean"] == "pencil": v = 1
                        elif h["clean"] == "missed-only" and every <= 1: v = None if v == 1 else v
                        if v is None: continue
                        if v == 1 and not note and r.random() < .03: note = r.choice(["new operator", "half clean, late start", "contractor", "ok"])
                    elif q in ("returns_staged", "condensation_seen"):
                        v = said if said is not None else int(r.random() < .03)
                        if skip: continue
                    else:
                        if skip: continue
                        walk = .7 * walk + r.gauss(0, spread * .4)
                        m = math.prod(b["mult"] or 1 for b in on)
                        hot = 1 + .02 * max(0, P.out[int(day)] - 18) if q.endswith("m3") or q.endswith("plate_cfu") else 1
                        v = level * m * hot * math.exp(walk + r.gauss(0, spread * .6))
                        if q == "door_open_min": v = min(v * (1.2 if P.out[int(day)] > 22 else 1), 600)
                        elif q.endswith("cfu") or q.endswith("m3"): v = min(v, 250 if q.endswith("plate_cfu") else 4000)
                        v = round(v, 1) if q == "pressure_pa" else int(v + r.random())
                    rows.append((at, place, q, v, ln or "", note))
    rows = list({(x[0], x[1], x[2], x[4] if h["linecol"] else ""): x for x in rows}.values())
    rows.sort(key=lambda x: x[0])
    return [[S(a), pl, q, v] + ([ln] if h["linecol"] else []) + [n] for a, pl, q, v, ln, n in rows]
