#!/usr/bin/python3
"""A bread plant with medium-good books. sim.py SEED OUTDIR"""
import sys, os, json, random, datetime as dt, uuid
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
sys.path.append(os.path.dirname(sys.path[0]))
import numpy as np
import physics as ph, troubles as T, records
from planting import dealt, times
from plant import Plant

M = 380


def deck(seed):
    """troubles of this seed: one shuffled deck runs across the seeds"""
    pos = sum(random.Random(s * 31 + 5).randint(8, 14) for s in range(1, max(1, seed)))
    n = random.Random(seed * 31 + 5).randint(8, 14)
    out = []
    for i in range(pos, pos + n):
        d = list(T.DECK)
        random.Random(900 + i // len(d)).shuffle(d)
        out.append(d[i % len(d)])
    return out


def on_route(t, L):
    tot = sum(x[2] for x in L.disp)
    return sum(x[2] for x in L.disp if not t.where_sold or (x[0] == t.where_sold[0] and (not t.where_sold[1] or x[1] in t.where_sold[1]))) / tot


def simulate(P, troubles):
    """expected complaints by lot and cause, each with the packs they come from"""
    R, N = P.R, P.N
    bg = {"mold": [], "staling": []}
    tr = {t.number: [] for t in troubles}
    for L in P.lots:
        pr = P.products[L.prod]
        pk = ph.Pack(P.seed * 7368787 + L.key, M, pr["shelf"], P.out[L.day + 3], 0)
        s0 = T.copy(L.base)
        s0["load"] = P.loads(L, {})
        tv, src, sp, wet, leak = ph.mold(pk, s0, pr, P.m0)
        a0, w0 = ph.found(pk, tv, pr["shelf"])
        bg["mold"].append((L, a0, w0, pk, src, sp, wet, leak))
        sd, mech = ph.stale(pk, s0, pr, pr["shelf"])
        sa0, sw0 = ph.found(pk, sd, pr["shelf"])
        bg["staling"].append((L, sa0, sw0, pk, mech, sp, wet, leak))
        for t in L.tr:
            s = T.copy(L.base)
            t.apply(s, L, t.x[L.id])
            ex = s["load"]
            s["load"] = P.loads(L, t.boost)
            for k, v in ex.items():
                s["load"][k] *= v
            buy = None
            if t.late:
                g = np.random.default_rng(P.seed + L.key)
                buy = pr["shelf"] + g.uniform(t.late[0], t.late[1], M)
            f = on_route(t, L)
            if t.sym == "mold":
                tv1, src1, sp1, wet1, leak1 = ph.mold(pk, s, pr, P.m0)
                if t.late:                            # opened later, but the plant's spores had the time
                    tv1 = np.where(src1 == 10, tv1 + buy - pk.buy, tv1)
                a1, w1 = ph.found(pk, tv1, pr["shelf"], buy)
                if t.late: w1 = np.where(np.isfinite(a1), .7, 0)
                ours = np.isfinite(a1) & (~np.isfinite(a0) | (a0 > a1 + .9))
                tr[t.number].append((L, a1, np.where(ours, w1, 0) * f, pk, src1, sp1, wet1, leak1))
            elif t.sym == "staling" and t.cause != "rope-crumb":
                sd1, me1 = ph.stale(pk, s, pr, pr["shelf"], buy)
                if t.cause == "pack-leak-dry":
                    me1 = np.where(pk.uleak < s["leak"], 1, me1)
                a1, w1 = ph.found(pk, sd1, pr["shelf"], buy)
                if t.late: w1 = np.where(np.isfinite(a1), .7, 0)
                ours = np.isfinite(a1) & (~np.isfinite(sa0) | (sa0 > a1 + .9))
                tr[t.number].append((L, a1, np.where(ours, w1, 0) * f, pk, me1, sp, wet, pk.uleak < s["leak"]))
            else:
                share = T.odor_share(P, t, L, s)
                g = np.random.default_rng(P.seed * 3 + L.key)
                m, sdv = t.odor["age"]
                if m < 2: a = pk.buy + g.gamma(1.3, 1.0, M)
                else: a = np.maximum(pk.buy + .3, g.normal(min(m, pr["shelf"] * .8), sdv * .5, M) - .35 * (pk.kept == 2))
                if t.cause.startswith("rope"):
                    a = np.maximum(pk.buy, a - .12 * (pk.temp - 22))
                ok = (a <= pk.buy + pk.span + 1) & (pk.kept != 1)
                tr[t.number].append((L, np.ceil(a), np.where(ok, .12 * share, 0) * f, pk, np.zeros(M, int), sp, wet, leak))
    return bg, tr


def shorten(P, t, tr, raw, want):
    """what bites hard is noticed and ended early"""
    if getattr(t, "mlot", None) and t.cause != "inhibitor-spent" or t.where_sold or raw < 2 * want:
        return
    k = max(1, int(np.ceil(len(t.lots) * 1.5 * want / raw)))
    for L in t.lots[k:]:
        L.tr.remove(t)
        L.mat.update({m: P.msched[m, L.line if m in ("film", "closure") else None, L.day] for m in L.mat} if t.cause == "inhibitor-spent" else {})
    t.lots = t.lots[:k]
    ids, last = {L.id for L in t.lots}, t.lots[-1].day
    tr[t.number] = [x for x in tr[t.number] if x[0].id in ids]
    t.boost = {q: v for q, v in t.boost.items() if q[2] <= last}
    ev = {q: v for q, v in t.events.items() if q[0] <= last}
    for q, v in t.events.items():                     # put right on the day after
        if q[0] > last and v == 1 and q[3] in ("cleaned", "filter_changed"): ev[last + 1, q[1], q[2], q[3]] = 1
    t.events = ev


def main():
    seed, out = int(sys.argv[1]), sys.argv[2]
    os.makedirs(out, exist_ok=True)
    causes = dealt([c for i in range(times()) for c in deck(seed + i)], seed)
    need = []
    for c in causes:
        if c in T.FAMILY and not ({"pan-bread"} | set(need)) & set(T.FAMILY[c]):
            need.append(T.FAMILY[c][0])
    P = Plant(seed, need)
    R, N = P.R, P.N
    ts = []
    for i, c in enumerate(causes):
        for _ in range(8):
            t = T.plan(P, c, i)
            clash = sum(len(L.tr) > 1 for L in t.lots)
            if t.lots and (clash <= .3 * len(t.lots) or _ == 7):
                break
            for L in t.lots:
                L.tr.remove(t)
                L.mat.update({m: P.msched[m, L.line if m in ("film", "closure") else None, L.day] for m in L.mat})
        ts.append(t)
    ts = [t for t in ts if t.lots]
    for i, t in enumerate(ts):
        t.number = i
        for k, v in t.boost.items():
            P.boost[k] = P.boost.get(k, 0) + v
    bg, tr = simulate(P, ts)
    total = R.uniform(150, 310) * times()
    share = R.uniform(.42, .58)
    jobs = []

    def draw(items, expected, t, sym):
        w = np.array([x[0].units * x[2].mean() for x in items])
        if w.sum() <= 0: return
        w = w * N.gamma(2.0 if t is None else .8, 1, len(w))
        if w.sum() <= 0: return
        for i, n in enumerate(N.poisson(expected * w / w.sum())):
            x = items[i]
            for _ in range(n):
                jobs.append((t, sym, x, int(N.choice(M, p=x[2] / x[2].sum()))))
    B = total * share
    od = []
    for (L, a, w, pk, *_), (_, a2, *_r) in zip(bg["mold"], bg["staling"]):
        od.append((L, np.ceil(pk.buy + pk.use * np.minimum(pk.span, 6)), np.where(pk.kept == 1, .4, 1.), pk, np.zeros(M, int), np.zeros(M, int), np.zeros(M, bool), np.zeros(M, bool)))
    rho = B * .58 / max(1e-9, sum(x[0].units * x[2].mean() for x in bg["mold"]))
    rho_s = min(rho, B * .23 / max(1e-9, sum(x[0].units * x[2].mean() for x in bg["staling"])))
    raws = {t.number: (rho if t.sym != "staling" else rho_s) * sum(x[0].units * x[2].mean() for x in tr[t.number]) for t in ts}
    want = {t.number: N.gamma(1.7, 1) + .35 for t in ts}
    z = total * (1 - share) / sum(want.values())
    es = {t.number: max(1.5, min(want[t.number] * z, max(2.5, raws[t.number] * 4), 8. * len(t.lots), 42.)) for t in ts}
    up = max(1.0, max(72 * times(), .9 * total * (1 - share)) / sum(es.values()))
    P.boost = {}
    for t in ts:
        e = min(es[t.number] * up, 36.)
        shorten(P, t, tr, raws[t.number], e)
        for k, v in t.boost.items():
            P.boost[k] = P.boost.get(k, 0) + v
        draw(tr[t.number], e, t, t.sym)
    B = min(B, len(jobs) * share / (1 - share))
    draw(bg["mold"], B * .58, None, "mold")
    draw(bg["staling"], B * .23, None, "staling")
    draw(od, B * .19, None, "off-odor")
    import callers
    cs = [callers.complaint(P, *j) for j in jobs]
    cs.sort(key=lambda c: c[0]["received_at_dt"])
    truth = []
    with open(f"{out}/complaints.ndjson", "w") as f:
        for c, tru in cs:
            t0 = c.pop("received_at_dt")
            ms = int(t0.timestamp() * 1000)
            h = (ms << 80) | (7 << 76) | (R.getrandbits(12) << 64) | (2 << 62) | R.getrandbits(62)
            c = {"id": str(uuid.UUID(int=h)), **c}
            tru["id"] = c["id"]
            truth.append({k: tru[k] for k in ("id", "cause", "lot", "trouble", "reading")})
            f.write(json.dumps(c, ensure_ascii=False) + "\n")
    records.all_records(P, ts, out)
    with open(f"{out}/truth.json", "w") as f:
        json.dump({"seed": seed, "complaints": truth, "troubles": [{"number": t.number, "cause": t.cause, "lots": [L.id for L in t.lots], "note": t.note, "sold": t.where_sold and (t.where_sold[0], t.where_sold[1] or [])} for t in ts]}, f, indent=1)
    if "-v" in sys.argv:
        print("lots", len(P.lots), "days", P.days, "lines", P.nl, "complaints", len(cs), "background", sum(j[0] is None for j in jobs), "rho", rho)
        for t in ts:
            js = [j for j in jobs if j[0] is t]
            print(f"  {t.number:2d} {t.cause:30s} lots {len(t.lots):3d} raw {raws[t.number]:8.1f} got {len(js):3d} median age {np.median([j[2][1][j[3]] for j in js]) if js else 0:.0f} shelf {np.median([P.products[L.prod]['shelf'] for L in t.lots]):.0f}  {t.note}")
        for sy in ("mold", "off-odor", "staling"):
            js = [j for j in jobs if j[0] is None and j[1] == sy]
            print("   background", sy, len(js), "age/shelf", np.percentile([j[2][1][j[3]] / P.products[j[2][0].prod]["shelf"] for j in js] or [0], [10, 50, 90]).round(2), [ph.SOURCES[j[2][4][j[3]]] for j in js].count("home") if sy == "mold" else "")
    with open(f"{out}/answers.json", "w") as f:
        f.write("{}\n")


main()
