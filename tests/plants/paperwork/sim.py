#!/usr/bin/python3
"""sim.py SEED OUTDIR: a made-up bakery, its records as it kept them, its complaints, and the truth."""
import json
import os
import random
import sys
from datetime import timedelta

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
sys.path.append(os.path.dirname(sys.path[0]))
from people import Desk
from plant import Plant
from planting import dealt, times
from records import keep
from troubles import CAUSES, Event, decoys, strike


def counts(seed):
    r = random.Random(f"paperwork counts {seed}")
    n = r.randint(8, 14)
    off, sta = [max(1, round(n * .2 + r.uniform(-.6, .6))) for _ in "ab"]
    return {"mold": n - off - sta, "off-odor": off, "staling": sta}


def deck(seed):
    """causes of this seed, dealt from shuffled decks that run on from seed to seed"""
    seed %= 20000
    at, hand = {k: 0 for k in CAUSES}, []
    for i in range(seed):
        for k, v in counts(i).items(): at[k] += v
    for k, v in counts(seed).items():
        for j in range(at[k], at[k] + v):
            n = len(CAUSES[k])
            d = CAUSES[k][:]
            random.Random(f"paperwork deck {k} {j // n}").shuffle(d)
            hand.append(d[j % n])
    return hand


def background(P, desk, r, n):
    W = []
    for L in P.lots: W.append(L["units"] * (1 + .06 * max(0, L["out"] - 18)) * (.25 if L["troubles"] else 1) / L["p"]["shelf"])
    i = 0
    while i < n:
        L = r.choices(P.lots, W)[0]
        sy = r.choices(["mold", "off-odor", "staling"], [.6, .17, .23])[0]
        if desk.tell(sy, L, None, "bg-odor" if sy == "off-odor" else "bg-stale"): i += 1


def main(seed, out):
    r = random.Random(f"paperwork plant {seed}")
    P = Plant(seed, r)
    P.bumps, events = [], []
    for cause in dealt([c for i in range(times()) for c in deck(seed + i)], seed):
        e = Event(P, len(events), cause, r)
        same = [c for c, s in [(c, k) for k, v in CAUSES.items() for c in v] if s == e.symptom]
        while not strike(e): e = Event(P, len(events), r.choice(same), r)
        events.append(e)
    decoys(P, r)
    desk = Desk(P, r)
    want = [max(2, min(28, round(r.lognormvariate(1.95, .7)))) for _ in events]
    while sum(want) > 150 * times(): want = [max(2, int(x * .9)) for x in want]
    while sum(want) < 68 * times(): want[r.randrange(len(want))] += 2
    for e, n in zip(events, want):
        if len(e.lots) > 60: n = min(45, int(n * 1.3))
        n = min(n, 6 * len(e.lots) + 5)
        w = desk.weights(e, max(8, min(150, 3000 // len(e.lots))))
        k = bad = 0
        while k < n and bad < 6:
            L = r.choices(e.lots, w)[0]
            got = desk.tell(e.symptom, L, e, e.cause)
            if not got:
                bad += 1
                for M in e.lots:  # too mild to be noticed: make it worse
                    M["src"] = {q: 2 * v for q, v in M["src"].items()}
                    M["wet"] = min(1.6, M["wet"] * 1.4)
                continue
            k += 1
            c, recv = got
            if c["channel"] in ("store", "return") and r.random() < .3 and k < n:  # the same shelf: other lots in one call
                near = [M for M in e.lots if M is not L and abs(M["day"] - L["day"]) <= 3 and M["p"] is L["p"] and any(d["store"] == c.get("store") for d in M["disp"])]
                for M in r.sample(near, min(len(near), r.randint(1, 2))):
                    d = {q: v for q, v in c.items() if q not in ("lot_text", "code_date", "measured")}
                    d["packs"] = r.randint(1, 6)
                    how, t = desk.read(M)
                    d.update({"lot_text": t} if t else {})
                    when = recv + timedelta(minutes=r.randint(1, 9))
                    if when > M["pb"] + timedelta(days=1):
                        desk.put(d, when, e.cause, M, e.n, how)
                        k += 1
            elif c["channel"] == "phone" and r.random() < .05:  # the same person again, by web form
                d = dict(c, channel="web")
                d.pop("observed", None)
                desk.put(d, recv + timedelta(days=r.uniform(.2, 2)), e.cause, L, e.n, desk.truth[-1]["reading"])
                k += 1
    b = r.uniform(.42, .58)
    planted = len(desk.out)
    background(P, desk, r, max(120 * times() - planted, min(345 * times() - planted, round(planted * b / (1 - b)))))
    os.makedirs(out, exist_ok=True)
    keep(P, r, out)
    order = sorted(range(len(desk.out)), key=lambda i: (desk.out[i][0], desk.out[i][1]["id"]))
    with open(f"{out}/complaints.ndjson", "w") as f:
        for i in order: f.write(json.dumps(desk.out[i][1]) + "\n")
    T = [dict(number=e.n, cause=e.cause, lots=[L["id"] for L in e.lots], note=e.note,
              sold=e.dest and (e.dest[0], [e.dest[1]] if e.dest[1] else [])) for e in events]
    with open(f"{out}/truth.json", "w") as f:
        json.dump(dict(seed=seed, complaints=[desk.truth[i] for i in order], troubles=T), f, indent=0)
    with open(f"{out}/answers.json", "w") as f:
        f.write("{}\n")


if __name__ == "__main__":
    if len(sys.argv) != 3: sys.exit("usage: sim.py SEED OUTDIR")
    main(int(sys.argv[1]), sys.argv[2])
