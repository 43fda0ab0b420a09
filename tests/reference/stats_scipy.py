#!/usr/bin/python3
"""Asks the calculator (stats_print) and compares with NumPy and SciPy.

usage: stats_scipy.py STATS_PRINT

Run lengths come from fine Markov chains, gains from differences of entropies. Exit 77 (skipped) where SciPy is not installed.
"""
import math
import subprocess
import sys

try:
    import numpy as np
    from scipy import optimize, stats
except ImportError:
    print("SciPy is not installed: skipped")
    sys.exit(77)

rng = np.random.default_rng(7)
checks = []


def ask(command, arguments, want, relative=1e-8, absolute=1e-12):
    line = command + " " + " ".join(repr(float(a)) for a in arguments)
    checks.append((line, [float(w) for w in np.atleast_1d(want)], relative, absolute))


def poisson_counts():
    for x in [0, 1, 2, 5, 9, 14, 60, 400]:
        low = stats.chi2.ppf(.025, 2 * x) / 2 if x else 0.0
        high = stats.chi2.ppf(.975, 2 * x + 2) / 2
        ask("limits", [x, .95], [low, high])
    for _ in range(40):
        t = rng.uniform(.5, 4, 2)
        x = rng.poisson(12 * t * rng.uniform(.3, 1.5, 2))
        test = stats.binomtest(int(x[0]), int(x.sum()), t[0] / t.sum())
        limits = test.proportion_ci(.95, "exact")
        odds = [q / (1 - q) * t[1] / t[0] if q < 1 else math.inf for q in (limits.low, limits.high)]
        ratio = (x[0] / t[0]) / (x[1] / t[1]) if x[1] else math.inf
        ask("two-counts", [x[0], t[0], x[1], t[1]],
            [ratio, *odds, test.pvalue] + [math.nan] * 4, 1e-7)


def reference_value(e, ratio, size):
    if not size:
        return e * (ratio - 1) / math.log(ratio)
    up = math.log(ratio * (e + size) / (ratio * e + size))
    return size * math.log((ratio * e + size) / (e + size)) / up


def counts_cusum(expected, ratio, h, actual, size, fine):
    """Fundamental matrix of the chain on a lattice of 1/fine, over one cycle of expectations."""
    states = int(round(h * fine))
    product, total = np.eye(states), np.zeros(states)
    for e in reversed(expected):
        k = reference_value(e, ratio, size)
        law = stats.nbinom(size, size / (size + actual * e)) if size else stats.poisson(actual * e)
        x = np.arange(0, int(h + k) + 2)
        q = np.zeros((states, states))
        rows = np.arange(states)
        for m, p in zip(np.rint((x - k) * fine).astype(int), law.pmf(x)):
            to = np.clip(rows + m, 0, None)
            inside = to < states
            q[rows[inside], to[inside]] += p
        product, total = q @ product, 1 + q @ total
    return np.linalg.solve(np.eye(states) - product, total)[0]


def ratio_for(e, k):
    return optimize.brentq(lambda r: reference_value(e, r, 0) - k, 1.0001, 50, xtol=1e-14)


def count_run_lengths():
    # references on the lattice: exact here, interpolated there (0.07 and 0.13 fit no denominator)
    for e, k, h in ((4.0, 5.61, 9.33), (1.3, 1.97, 4.41), (.4, .73, 3.17), (25.0, 29.43, 16.03)):
        for actual in (1.0, ratio_for(e, k)):
            ask("cusum-counts", [h, 0, ratio_for(e, k), actual, 0, e],
                counts_cusum([e], ratio_for(e, k), h, actual, 0, 100), .015)
    season = [3 * math.exp(.4 * math.sin(2 * math.pi * i / 13)) for i in range(13)]
    for expected, ratio, h, size in ((season, 2, 7.7, 0), (season, 2, 9.1, 5.0)):
        for actual in (1.0, ratio):
            ask("cusum-counts", [h, 0, ratio, actual, size, *expected],
                counts_cusum(expected, ratio, h, actual, size, 80), .03)


def evidence():
    for _ in range(30):
        causes, answers = rng.integers(2, 12), rng.integers(2, 6)
        prior = rng.dirichlet(np.ones(causes))
        given = rng.dirichlet(np.ones(answers) * .7, causes).T
        joint = given * prior
        answer = joint.sum(1)
        before = stats.entropy(prior, base=2)
        after = sum(a * stats.entropy(j / a, base=2) for a, j in zip(answer, joint) if a > 0)
        ask("gain", [causes, *prior, *given.ravel()], [before - after], 1e-8, 1e-12)


def scores():
    for _ in range(10):
        n, bins = 200, 10
        p = rng.beta(.7, 1.2, n)
        y = (rng.random(n) < p ** 1.3).astype(int)
        at = np.minimum((p * bins).astype(int), bins - 1)
        base = y.mean()
        said = np.array([p[at == b].mean() if (at == b).any() else 0 for b in range(bins)])
        was = np.array([y[at == b].mean() if (at == b).any() else 0 for b in range(bins)])
        share = np.bincount(at, minlength=bins) / n
        ask("brier", [bins, *p, *y],
            [np.mean((p - y) ** 2), (share * (said - was) ** 2).sum(),
             (share * (was - base) ** 2).sum(), base * (1 - base), (share * abs(said - was)).sum()],
            1e-9)


def plain():
    for _ in range(20):
        x = np.round(rng.standard_cauchy(rng.integers(1, 60)), 1)
        mad = stats.median_abs_deviation(x, scale="normal")
        ask("robust", x, [np.median(x), mad, np.quantile(x, .3)], 1e-9, 1e-12)


def scan():
    counts = np.array([2, 1, 3, 2, 1, 0, 2, 6, 6, 4, 2, 1, 0, 3, 2])
    exposure = rng.uniform(.7, 1.3, counts.size)
    longest, total = 5, counts.sum()
    expected = exposure / exposure.sum() * total

    def best(c):
        top = (0.0, 0, 0)
        for i in range(c.size):
            for j in range(i, min(c.size, i + longest)):
                o, e = c[i:j + 1].sum(), expected[i:j + 1].sum()
                if o > e:
                    ratio = o * math.log(o / e)
                    ratio += (total - o) * math.log((total - o) / (total - e)) if total > o else 0
                    if ratio > top[0] * (1 + 1e-10):
                        top = (ratio, i, j)
        return top
    ratio, first, last = best(counts)
    draws = rng.multinomial(total, exposure / exposure.sum(), 3000)
    p = (1 + sum(best(d)[0] >= ratio * (1 - 1e-10) for d in draws)) / 3001
    error = 4 * math.sqrt(p * (1 - p) * (1 / 3000 + 1 / 1000)) + .002
    ask("scan", [longest, 20000, *counts, *exposure], [first, last, ratio, math.nan], 1e-9)
    return p, error


def main():
    for part in (poisson_counts, count_run_lengths, evidence, scores, plain):
        part()
    p, error = scan()
    out = subprocess.run([sys.argv[1]], input="\n".join(c[0] for c in checks) + "\n", text=True,
                         capture_output=True, check=True).stdout.splitlines()
    bad, worst = 0, {}
    for (line, want, relative, absolute), answer in zip(checks, out, strict=True):
        name = line.split()[0]
        got = [float(w) for w in answer.split()] if not answer.startswith("error") else []
        if name == "scan":
            want = want[:3] + [p]
            relative, absolute = 1e-9, error if len(got) == 4 else 0
        ok = len(got) == len(want)
        for g, w in zip(got, want):
            if math.isnan(w) or g == w:
                continue
            ok = ok and abs(g - w) <= absolute + relative * abs(w)
            worst[name] = max(worst.get(name, 0), abs(g - w) / max(abs(w), 1e-12))
        if not ok:
            bad += 1
            print("DIFFERS:", line[:120], "\n  SciPy:", want, "\n  ours: ", answer)
    print(f"{len(checks)} comparisons, {bad} differ; worst relative difference "
          + ", ".join(f"{k} {v:.1e}" for k, v in sorted(worst.items())))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
