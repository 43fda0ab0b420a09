"""Figures from cases with their truth and ranking: hit rates, calibration, scores, confusion."""
import collections
import math

AFTER_DISPATCH = {"warm-storage", "old-stock", "cold-storage", "old-stock-stale"}
FLOOR = 1e-6           # a probability of 0 given to what came true counts as this in the log score


def counted(rows):
    return [r for r in rows if r["readable"]]


def place(row):
    return any(c.startswith("contamination-") for c in row["truth"])


def right(row, ranked):
    """Is this cause right for this case?"""
    if row["planted"]:
        return ranked in row["truth"] and ranked != "not-known" or ranked in row["truth"]
    return ranked == "not-known" or ranked in AFTER_DISPATCH


def hit(row, k):
    return any(c in row["truth"] for c, _ in row["ranked"][:k])


def share(rows, test):
    return sum(map(test, rows)) / len(rows) if rows else float("nan")


def groups(rows):
    planted = [r for r in counted(rows) if r["planted"]]
    return {"planted": planted, "three or more complaints": [r for r in planted if r["complaints"] >= 3],
            "contamination places": [r for r in planted if place(r)]}


def calibration(rows):
    """Expected calibration error of the top probability in ten bins, and the table."""
    bins = [[] for _ in range(10)]
    for r in rows:
        cause, p = r["ranked"][0]
        bins[min(9, int(p * 10))].append((p, cause in r["truth"]))
    table, error = [], 0.0
    for b in bins:
        if b:
            said, was = sum(p for p, _ in b) / len(b), sum(h for _, h in b) / len(b)
            table.append((said, was, len(b)))
            error += abs(said - was) * len(b) / len(rows)
    return error, table


def chance_error(rows):
    """That error as it would be on average if every first cause came true as often as was said: so few cases are
    never quite as often right. Of each bin the mean of a normal's distance from 0, by its variance p (1 - p)."""
    bins = [0.0] * 10
    for r in rows:
        p = r["ranked"][0][1]
        bins[min(9, int(p * 10))] += p * (1 - p)
    return sum(math.sqrt(2 * b / math.pi) for b in bins) / len(rows)


def log_score(rows):
    """Bits; the truth's probability, of tied truths together."""
    return sum(-math.log2(max(FLOOR, sum(p for c, p in r["ranked"] if c in r["truth"]))) for r in rows) / len(rows)


def brier(rows):
    total = 0.0
    for r in rows:
        weight = 1 / len(r["truth"])
        total += sum((p - (weight if c in r["truth"] else 0)) ** 2 for c, p in r["ranked"])
    return total / len(rows)


def recall(rows):
    """cause -> (right on top, in the top three, cases)"""
    out = collections.defaultdict(lambda: [0, 0, 0])
    for r in rows:
        for c in r["truth"]:
            out[c][2] += 1
            out[c][0] += r["ranked"][0][0] == c
            out[c][1] += c in [x for x, _ in r["ranked"][:3]]
    return out


def figures(rows):
    rows_in = counted(rows)
    out = {}
    for name, some in groups(rows).items():
        out[name] = {"n": len(some), "top1": share(some, lambda r: hit(r, 1)), "top3": share(some, lambda r: hit(r, 3))}
    quiet = [r for r in rows_in if not r["planted"]]
    out["background"] = {"n": len(quiet), "right": share(quiet, lambda r: right(r, r["ranked"][0][0]))}
    out["all"] = {"n": len(rows_in), "ece": calibration(rows_in)[0], "log_score": log_score(rows_in), "brier": brier(rows_in),
                  "lot_right": share(rows_in, lambda r: r["lot"] == r["true_lot"])}
    return out


def report(rows, short=False):
    f = figures(rows)
    for name in ("planted", "three or more complaints", "contamination places"):
        print(f"{name:28} n {f[name]['n']:5}  top-1 {f[name]['top1']:.3f}  top-3 {f[name]['top3']:.3f}")
    print(f"{'background':28} n {f['background']['n']:5}  not-known or after dispatch on top {f['background']['right']:.3f}")
    a = f["all"]
    print(f"{'all counted':28} n {a['n']:5}  ECE {a['ece']:.3f} (by chance {chance_error(counted(rows)):.3f})  "
          f"log score {a['log_score']:.3f} bits  Brier {a['brier']:.3f}  lot right {a['lot_right']:.3f}")
    open_ = [r for r in rows if not r["readable"] and r["planted"]]
    if open_:
        print(f"{'lot open (not counted)':28} n {len(open_):5}  top-1 {share(open_, lambda r: hit(r, 1)):.3f}  "
              f"top-3 {share(open_, lambda r: hit(r, 3)):.3f}")
    print("calibration (said, was, n): " + "  ".join(f"{s:.2f} {w:.2f} {n}" for s, w, n in calibration(counted(rows))[1]))
    if not short:
        confusion(rows)


def confusion(rows):
    taken = collections.defaultdict(collections.Counter)
    for r in counted(rows):
        if len(r["truth"]) == 1:
            taken[r["symptom"], r["truth"][0]][r["ranked"][0][0]] += 1
    print("true cause: cases, share on top, taken for")
    for (symptom, cause), c in sorted(taken.items()):
        n = sum(c.values())
        others = ", ".join(f"{k} {v}" for k, v in c.most_common(6) if k != cause)
        print(f"  {symptom:8} {cause:32} {n:4}  {c[cause] / n:.2f}  {others}")
