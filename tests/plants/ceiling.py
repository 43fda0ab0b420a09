#!/usr/bin/python3
"""What the facts allow: classifiers trained on the truth of other seeds, beside the ranker.

    ceiling.py --train TRAIN.ndjson [--train ...] --report REPORT.ndjson [--keep FILE]

Both files come from run.py --facts. Two references are fitted per symptom on the training seeds:
  plain    the facts alone
  stacked  the facts and the ranker's own log odds: harder, for it starts from what the rules know
Each is the best, by cross-validation over seeds, of balanced random forest, gradient boosting, multinomial logistic
regression and their mean.

Most complaints are background, so a classifier free to choose calls nearly everything not-known and finds few faults;
top-1 over planted cases then says nothing. Its weight of not-known is therefore set, on the training seeds, so that
as many background cases come right as with the ranker there. Calibration and log score are of the classifier as it
was fitted. A reference is no proof of a limit: it is what these methods reach from this many seeds. A ratio above 1
says the rules know what the training seeds are too few to teach.
"""
import argparse
import collections
import json
import math
import os
import pathlib
import pickle
import sys
import warnings

os.environ.setdefault("OMP_NUM_THREADS", "1")      # threads that wait for each other cost more than they bring
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.feature_selection import VarianceThreshold
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import RobustScaler, FunctionTransformer

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import scoring                                                          # noqa: E402

SYMPTOMS = ("mold", "off-odor", "staling")
warnings.filterwarnings("ignore")


def read(paths):
    rows = []
    for path in paths:
        with open(path, encoding="utf-8") as f:
            rows += [json.loads(line) for line in f]
    return rows


def matrix(rows, names, stacked):
    at = {n: k for k, n in enumerate(names)}
    x = np.full((len(rows), len(names)), np.nan)
    for i, row in enumerate(rows):
        for name, value in features(row, stacked).items():
            if name in at:
                x[i, at[name]] = value
        # a word that was not said while another was: not this one
        for name, k in at.items():
            if "=" in name and np.isnan(x[i, k]):
                x[i, k] = 0.0
    return x


def clip(x):
    return np.clip(x, -6, 6)


def candidates():
    return {
        "random forest": lambda: make_pipeline(
            SimpleImputer(strategy="constant", fill_value=-99),
            RandomForestClassifier(250, min_samples_leaf=3, max_features=0.15, class_weight="balanced_subsample",
                                   n_jobs=1, random_state=1)),
        "gradient boosting": lambda: HistGradientBoostingClassifier(
            max_iter=60, learning_rate=0.08, max_leaf_nodes=8, min_samples_leaf=8, l2_regularization=3.0,
            early_stopping=False, random_state=1),
        "multinomial logistic": lambda: make_pipeline(
            SimpleImputer(strategy="median", add_indicator=True), RobustScaler(), FunctionTransformer(clip),
            VarianceThreshold(1e-6), LogisticRegression(C=0.003, max_iter=200)),
    }


def aligned(model, x, classes):
    p = np.full((len(x), len(classes)), 1e-5)
    raw = model.predict_proba(x)
    for k, c in enumerate(model.classes_):
        p[:, classes.index(c)] = np.maximum(1e-5, raw[:, k])
    return p / p.sum(axis=1, keepdims=True)


def features(row, stacked):
    if not stacked:
        return row["facts"]
    odds = {f"ranker:{c}": max(-14.0, math.log2(max(p, 1e-5) / max(1 - p, 1e-5))) for c, p in row["ranked"]}
    return {**row["facts"], **odds}


def lean(p, classes, factor):
    out = p.copy()
    out[:, classes.index("not-known")] *= factor
    return out / out.sum(axis=1, keepdims=True)


def hits(p, classes, mine):
    """Planted top-1 and background right."""
    top = [classes[k] for k in np.argmax(p, axis=1)]
    planted = [c in r["truth"] for c, r in zip(top, mine) if r["planted"]]
    quiet = [scoring.right(r, c) for c, r in zip(top, mine) if not r["planted"]]
    return float(np.mean(planted)), float(np.mean(quiet))


def matched(p, classes, mine, goal):
    """The weight of not-known at which as many background cases come right as with the ranker."""
    low, high = -8.0, 3.0
    for _ in range(30):
        mid = (low + high) / 2
        low, high = (mid, high) if hits(lean(p, classes, 2 ** mid), classes, mine)[1] < goal else (low, mid)
    return 2 ** high


def fit_symptom(rows, symptom, stacked):
    mine = [r for r in scoring.counted(rows) if r["symptom"] == symptom]
    goal = scoring.share([r for r in mine if not r["planted"]], lambda r: scoring.right(r, r["ranked"][0][0]))
    y = np.array([r["truth"][0] if r["truth"][0] != "not-known" else r["truth"][-1] for r in mine])
    group = np.array([r["seed"] for r in mine])
    seen = collections.Counter(name for r in mine for name in features(r, stacked))
    names = sorted(n for n, c in seen.items() if c >= max(8, len(mine) * 0.01))
    x, classes = matrix(mine, names, stacked), sorted(set(y))
    held = {name: np.zeros((len(y), len(classes))) for name in candidates()}
    for train, test in GroupKFold(3).split(x, y, group):
        for name, make in candidates().items():
            held[name][test] = aligned(make().fit(x[train], y[train]), x[test], classes)
    held["mean of the three"] = sum(held.values()) / 3
    factors = {n: matched(p, classes, mine, goal) for n, p in held.items()}
    scores = {n: hits(lean(p, classes, factors[n]), classes, mine)[0] for n, p in held.items()}
    best = max(scores, key=scores.get)
    ours = scoring.share([r for r in mine if r["planted"]], lambda r: scoring.hit(r, 1))
    print(f"  {symptom}: {len(mine)} cases, {len(names)} facts, {len(classes)} causes; planted top-1 held out at background "
          f"{goal:.3f}: " + ", ".join(f"{n} {v:.3f}" for n, v in scores.items()) + f": {best} (ranker {ours:.3f})", flush=True)
    used = list(candidates()) if best.startswith("mean") else [best]
    return {"models": [candidates()[n]().fit(x, y) for n in used], "names": names, "classes": classes,
            "factor": factors[best], "stacked": stacked}


def predict(fitted, rows, leaning=True):
    """Rows with the reference's ranking in place of the daemon's."""
    out = []
    for symptom in SYMPTOMS:
        mine = [r for r in rows if r["symptom"] == symptom]
        if not mine:
            continue
        f = fitted[symptom]
        x = matrix(mine, f["names"], f["stacked"])
        p = sum(aligned(m, x, f["classes"]) for m in f["models"]) / len(f["models"])
        if leaning:
            p = lean(p, f["classes"], f["factor"])
        for row, q in zip(mine, p):
            out.append(dict(row, ranked=[(f["classes"][k], float(q[k])) for k in np.argsort(-q)]))
    return out


GOALS = (("planted", .9, .95), ("three or more complaints", .9, .95), ("contamination places", .9, .95))


def beside(ours, theirs, unleaning):
    """The ranker beside a reference; returns the goals that are missed."""
    f, g, missed = scoring.figures(ours), scoring.figures(theirs), []
    fit = scoring.figures(unleaning)["all"]
    for name, one, three in GOALS:
        a, b = f[name], g[name]
        r1, r3 = a["top1"] / max(b["top1"], 1e-9), a["top3"] / max(b["top3"], 1e-9)
        print(f"{name:26} n {a['n']:4}  top-1 {a['top1']:.3f} of {b['top1']:.3f} = {r1:.3f} (goal {one})  "
              f"top-3 {a['top3']:.3f} of {b['top3']:.3f} = {r3:.3f} (goal {three})")
        missed += [f"{name} top-1"] * (r1 < one) + [f"{name} top-3"] * (r3 < three)
    print(f"background right {f['background']['right']:.3f} (ceiling {g['background']['right']:.3f}, goal .85)  "
          f"ECE {f['all']['ece']:.3f} (ceiling {fit['ece']:.3f}, goal .05)  "
          f"log score {f['all']['log_score']:.3f} ({fit['log_score']:.3f}) bits  "
          f"Brier {f['all']['brier']:.3f} ({fit['brier']:.3f})")
    missed += ["background"] * (f["background"]["right"] < .85) + ["calibration"] * (f["all"]["ece"] > .05)
    return missed + recalls(ours, theirs)


def recalls(ours, theirs):
    missed = []
    print("cause: cases, recall top-1 (ceiling), top-3 (ceiling)")
    for symptom in SYMPTOMS:
        a = scoring.recall([r for r in scoring.counted(ours) if r["symptom"] == symptom])
        b = scoring.recall([r for r in scoring.counted(theirs) if r["symptom"] == symptom])
        for cause in sorted(a):
            (h1, h3, n), (c1, c3, _) = a[cause], b[cause]
            low = n >= 5 and h1 < c1 / 2
            print(f"  {symptom:8} {cause:32} {n:4}  {h1 / n:.2f} ({c1 / n:.2f})  {h3 / n:.2f} ({c3 / n:.2f})"
                  f"{'  below half' if low else ''}")
            if low:
                missed.append(f"recall of {cause} ({symptom})")
    return missed


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--train", action="append", required=True)
    parser.add_argument("--report", action="append", required=True)
    parser.add_argument("--keep", help="file of one's own where the fitted classifiers are kept and taken from")
    args = parser.parse_args()
    train, report = read(args.train), read(args.report)
    if {r["seed"] for r in train} & {r["seed"] for r in report}:
        sys.exit("training and report seeds overlap")
    print(f"trained on {len({r['seed'] for r in train})} seeds, reported on {len({r['seed'] for r in report})}")
    kept = {}
    if args.keep and os.path.exists(args.keep):
        with open(args.keep, "rb") as f:
            kept = pickle.load(f)
    for name in ("plain", "stacked"):
        print(f"\n== {name} reference", flush=True)
        if name not in kept:
            kept[name] = {s: fit_symptom(train, s, name == "stacked") for s in SYMPTOMS}
        missed = beside(report, predict(kept[name], report), predict(kept[name], report, leaning=False))
        print("goals missed: " + (", ".join(missed) or "none"), flush=True)
    if args.keep:
        with open(args.keep, "wb") as f:
            pickle.dump(kept, f)


if __name__ == "__main__":
    main()
