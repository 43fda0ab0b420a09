#!/usr/bin/python3
"""What the facts allow: classifiers trained on the truth of other seeds, beside the ranker.

    ceiling.py --train TRAIN.ndjson [--train …] --report REPORT.ndjson

Both files come from run.py --facts. Per symptom a random forest, gradient boosting and a multinomial logistic
regression are compared by cross-validation over seeds (log loss); the best is fitted on all training seeds. It has
seen the habits of invented plants, the ranker has not, so it is a hard reference.
"""
import argparse
import json
import pathlib
import sys
import warnings

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier
from sklearn.feature_selection import VarianceThreshold
from sklearn.impute import SimpleImputer
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import log_loss
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


def matrix(rows, names):
    at = {n: k for k, n in enumerate(names)}
    x = np.full((len(rows), len(names)), np.nan)
    for i, row in enumerate(rows):
        seen = row["facts"]
        for name, value in seen.items():
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
            RandomForestClassifier(400, min_samples_leaf=2, max_features=0.15, n_jobs=1, random_state=1)),
        "gradient boosting": lambda: HistGradientBoostingClassifier(
            max_iter=60, learning_rate=0.08, max_leaf_nodes=8, min_samples_leaf=8, l2_regularization=3.0, random_state=1),
        "multinomial logistic": lambda: make_pipeline(
            SimpleImputer(strategy="median", add_indicator=True), RobustScaler(), FunctionTransformer(clip),
            VarianceThreshold(1e-6), LogisticRegression(C=0.03, max_iter=400)),
    }


def aligned(model, x, classes):
    p = np.full((len(x), len(classes)), 1e-5)
    raw = model.predict_proba(x)
    for k, c in enumerate(model.classes_):
        p[:, classes.index(c)] = np.maximum(1e-5, raw[:, k])
    return p / p.sum(axis=1, keepdims=True)


def fit_symptom(rows, symptom, say=print):
    mine = [r for r in scoring.counted(rows) if r["symptom"] == symptom]
    y = np.array([r["truth"][0] if r["truth"][0] != "not-known" else r["truth"][-1] for r in mine])
    group = np.array([r["seed"] for r in mine])
    seen = {}
    for r in mine:
        for name in r["facts"]:
            seen[name] = seen.get(name, 0) + 1
    names = sorted(n for n, c in seen.items() if c >= max(8, len(mine) * 0.01))
    x = matrix(mine, names)
    classes = sorted(set(y))
    losses = {}
    for name, make in candidates().items():
        p = np.zeros((len(y), len(classes)))
        for train, test in GroupKFold(4).split(x, y, group):
            model = make().fit(x[train], y[train])
            p[test] = aligned(model, x[test], classes)
        losses[name] = log_loss(y, p, labels=classes)
    best = min(losses, key=losses.get)
    say(f"  {symptom}: {len(mine)} cases, {len(names)} facts, {len(classes)} causes; log loss " +
        ", ".join(f"{k} {v:.3f}" for k, v in losses.items()) + f": {best}")
    model = candidates()[best]().fit(x, y)
    return model, names, classes


def predict(fitted, rows):
    """Rows with the ceiling's ranking in place of the daemon's."""
    out = []
    for symptom in SYMPTOMS:
        mine = [r for r in rows if r["symptom"] == symptom]
        if not mine:
            continue
        model, names, classes = fitted[symptom]
        for row, p in zip(mine, aligned(model, matrix(mine, names), classes)):
            order = np.argsort(-p)
            out.append(dict(row, ranked=[(classes[k], float(p[k])) for k in order]))
    return out


GOALS = (("planted", .9, .95), ("three or more complaints", .9, .95), ("contamination places", .9, .95))


def beside(ours, theirs):
    """The ranker beside its ceiling; returns the goals that are missed."""
    f, g, missed = scoring.figures(ours), scoring.figures(theirs), []
    for name, one, three in GOALS:
        a, b = f[name], g[name]
        r1, r3 = a["top1"] / max(b["top1"], 1e-9), a["top3"] / max(b["top3"], 1e-9)
        print(f"{name:26} n {a['n']:4}  top-1 {a['top1']:.3f} of {b['top1']:.3f} = {r1:.3f} (goal {one})  "
              f"top-3 {a['top3']:.3f} of {b['top3']:.3f} = {r3:.3f} (goal {three})")
        missed += [f"{name} top-1"] * (r1 < one) + [f"{name} top-3"] * (r3 < three)
    print(f"background right {f['background']['right']:.3f} (ceiling {g['background']['right']:.3f}, goal .85)  "
          f"ECE {f['all']['ece']:.3f} (ceiling {g['all']['ece']:.3f}, goal .05)  "
          f"log score {f['all']['log_score']:.3f} ({g['all']['log_score']:.3f}) bits  "
          f"Brier {f['all']['brier']:.3f} ({g['all']['brier']:.3f})")
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
    args = parser.parse_args()
    train, report = read(args.train), read(args.report)
    if {r["seed"] for r in train} & {r["seed"] for r in report}:
        sys.exit("training and report seeds overlap")
    print(f"trained on {len({r['seed'] for r in train})} seeds, reported on {len({r['seed'] for r in report})}")
    fitted = {s: fit_symptom(train, s) for s in SYMPTOMS}
    missed = beside(report, predict(fitted, report))
    print("goals missed: " + (", ".join(missed) or "none"))


if __name__ == "__main__":
    main()
