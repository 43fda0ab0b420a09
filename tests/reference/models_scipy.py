#!/usr/bin/python3
"""Computes the models' quantities with SciPy, independently, and compares.

usage: models_scipy.py PRINT_PROGRAM MODELS_JSON

Equilibria are solved as root problems, series coefficients by quadrature of the eigenfunctions,
saturation from the implicit IAPWS-IF97 region 4 equation, mold, rope and staling by integrating
their rates as differential equations and their spreads by adaptive quadrature. Exit 77 (skipped)
when SciPy is not installed.
"""
import json
import math
import subprocess
import sys

try:
    import numpy as np
    from scipy import integrate, optimize, special, stats
except ImportError:
    print("SciPy is not installed: skipped")
    sys.exit(77)

ours = dict(line.rstrip("\n").split("\t") for line in
            subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout.splitlines())
ours = {k: float(v) for k, v in ours.items()}
rows = {r["name"]: r for r in json.load(open(sys.argv[2], encoding="utf-8"))["parameters"]}
P = {name: r["typical"] for name, r in rows.items()}
worst = {}
bad = []


def compare(name, reference, relative=0.0, absolute=0.0):
    kind = name.split(".")[0]
    got = ours[name]
    if math.isinf(reference) and math.isinf(got):
        return
    gap = abs(got - reference)
    worst[kind] = max(worst.get(kind, 0.0), gap / max(abs(reference), 1e-300) if relative else gap)
    if not gap <= absolute + relative * abs(reference):
        bad.append(f"{name}: got {got!r}, SciPy {reference!r}")


def keys(prefix):
    return [k for k in ours if k.startswith(prefix + ".")]


# --- acids: charge-free mass balance solved for the undissociated concentration of 1 mol/L
PKA = {"propionic": (4.87,), "acetic": (4.756,), "sorbic": (4.76,), "benzoic": (4.204,),
       "lactic": (3.86,), "tartaric": (2.98, 4.34)}
for k in keys("acid"):
    _, acid, a, b = k.split(".")
    h = 10.0 ** -float(a + "." + b)

    def balance(ha, acid=acid, h=h):
        one = ha * 10.0 ** -PKA[acid][0] / h
        two = one * 10.0 ** -PKA[acid][1] / h if len(PKA[acid]) == 2 else 0.0
        return ha + one + two - 1.0
    compare(k, optimize.brentq(balance, 0, 1, xtol=1e-15), relative=1e-9)

# --- heat: roots by brentq, coefficients by projecting the uniform start on the eigenfunctions
SHAPES = {
    "wall": (lambda l, bi: l * np.tan(l) - bi, np.pi / 2, lambda x: np.cos(x), lambda r: 1.0),
    "cylinder": (lambda l, bi: l * special.j1(l) / special.j0(l) - bi, special.jn_zeros(0, 1)[0],
                 special.j0, lambda r: r),
    "sphere": (lambda l, bi: 1 - l / np.tan(l) - bi, np.pi, lambda x: np.sinc(x / np.pi), lambda r: r * r),
}


def root_of(shape, bi, n=0):
    f, limit, _, _ = SHAPES[shape]
    if n == 0:
        return optimize.brentq(f, 1e-9, limit - 1e-10, args=(bi,), xtol=1e-15)
    # further roots: scan for sign changes without poles
    grid = np.linspace(1e-6, (n + 2) * np.pi, 4000 * (n + 2))
    g = {"wall": lambda l: l * np.sin(l) - bi * np.cos(l),
         "cylinder": lambda l: l * special.j1(l) - bi * special.j0(l),
         "sphere": lambda l: (1 - bi) * np.sin(l) - l * np.cos(l)}[shape]
    values = g(grid)
    places = np.where(np.sign(values[1:]) != np.sign(values[:-1]))[0]
    return optimize.brentq(g, grid[places[n]], grid[places[n] + 1], xtol=1e-14)


def coefficient_of(shape, root):
    _, _, phi, weight = SHAPES[shape]
    top = integrate.quad(lambda r: phi(root * r) * weight(r), 0, 1, epsabs=1e-13)[0]
    norm = integrate.quad(lambda r: phi(root * r) ** 2 * weight(r), 0, 1, epsabs=1e-13)[0]
    return top / norm


one_term_gap = 0.0
for k in keys("root"):
    _, shape, bi = k.split(".", 2)
    compare(k, root_of(shape, float(bi)), relative=1e-9)
    compare(k.replace("root", "coefficient"), coefficient_of(shape, ours[k]), relative=1e-8)
for shape in SHAPES:
    for bi in (0.05, 0.1, 0.5, 1, 2, 5, 10, 50):
        roots = [root_of(shape, bi, n) for n in range(6)]
        parts = [coefficient_of(shape, r) for r in roots]
        for fo in (0.2, 0.3, 0.5, 1):
            full = sum(c * math.exp(-r * r * fo) for c, r in zip(parts, roots))
            name = f"core.{shape}.{bi:g}.{fo:g}"
            one_term_gap = max(one_term_gap, abs(ours[name] - full))
            compare(name, parts[0] * math.exp(-roots[0] ** 2 * fo), relative=1e-8)
            compare(name, full, absolute=0.02)  # what the one-term form costs from Fo 0.2 on

radius = P["heat.loaf_radius_mm"] / 1000
for k in keys("enzyme"):
    bake = float(k.split(".", 1)[1])
    wall = P["heat.crust_boil_c"]
    l1 = special.jn_zeros(0, 1)[0]
    a1 = coefficient_of("cylinder", l1)

    def core(t, rate):
        return wall + (P["heat.dough_c"] - wall) * a1 * math.exp(-rate * t)
    rate = optimize.brentq(lambda r: core(bake, r) - 97, 1e-3, 10)
    window = [min(optimize.brentq(lambda t, c=c: core(t, rate) - c, 0, 1000), bake)
              for c in (P["heat.enzyme_from_c"], P["heat.enzyme_to_c"])]
    compare(k, window[1] - window[0], relative=1e-6)
for k in keys("pack"):
    minutes = float(k.split(".", 1)[1])
    r = root_of("cylinder", P["heat.cool_biot"])
    fo = P["heat.cool_diffusivity_m2_s"] * minutes * 60 / radius ** 2
    compare(k, 23 + (97 - 23) * coefficient_of("cylinder", r) * math.exp(-r * r * fo), relative=1e-7)

# --- water: IF97 region 4 in its implicit form, beta^2 th^2 + n1 beta^2 th + ... = 0
N = [0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5,
     -0.32325550322333e7, 0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6,
     -0.23855557567849, 0.65017534844798e3]


def implicit(beta, kelvin):
    th = kelvin + N[8] / (kelvin - N[9])
    return (beta * beta * th * th + N[0] * beta * beta * th + N[1] * beta * beta + N[2] * beta * th * th
            + N[3] * beta * th + N[4] * beta + N[5] * th * th + N[6] * th + N[7])


def psat(celsius):
    guess = 610.94 * math.exp(17.625 * celsius / (celsius + 243.04)) / 1e6
    low, high = (guess * 0.7) ** 0.25, (guess * 1.4) ** 0.25
    return 1e6 * optimize.brentq(implicit, low, high, args=(celsius + 273.15,), xtol=1e-16) ** 4


for k in keys("psat"):
    celsius = float(k.split(".", 1)[1])
    compare(k, psat(celsius), relative=1e-9)
    compare(k.replace("psat", "tsat"), celsius + 273.15, relative=1e-9)


def latent(t):
    return np.interp(t, [20, 50], [2453.5, 2382.0])


def free_water(core, room, aw, grams):
    surface = room + P["wet.surface_share"] * (core - room)
    vapour = aw * psat(surface)
    dew = optimize.brentq(lambda t: psat(t) - vapour, 1, 90)
    if dew <= room:
        return 0.0
    density = lambda e, t: e * 18.01528 / (8.314462618 * (t + 273.15))
    air = max(0.0, P["wet.headspace_l"] / 1000 * (density(vapour, surface) - density(psat(room), room)))
    heat = grams / 1000 * P["wet.cp_kj_kg_k"] * ((core + surface) / 2 - room)
    fed = 1000 * P["wet.evaporation_share"] * heat / latent(surface)
    return max(0.0, air + fed - P["wet.crust_uptake_g_kg"] * grams / 1000)


for k in keys("free_g"):
    compare(k, free_water(float(k.split(".")[1]), 22, 0.955, 800), absolute=1e-6)

# --- lots
def hermite(nodes):
    z, w = np.polynomial.hermite_e.hermegauss(nodes)
    return z, w / math.sqrt(2 * math.pi)


HERMITE = hermite(5)
STRAINS = np.linspace(-2.7, 2.7, 7)
STRAIN_WEIGHTS = stats.norm.pdf(STRAINS) / stats.norm.pdf(STRAINS).sum()
GROUPS = ["penicillium", "aspergillus", "xerophile", "roqueforti", "chalk-yeast", "paecilomyces"]


def cpm(x, low, best, high, n):
    if not low < x < high:
        return 0.0
    return ((x - high) * (x - low) ** n / ((best - low) ** (n - 1)
            * ((best - low) * (x - best) - (best - high) * ((n - 1) * best + low - n * x))))


def lot_at(i):
    return {"propionate": 0.08 * (i % 5) * 0.9, "vinegar": 0.5 * (i % 3) * 0.12, "ph": 5.2 + 0.1 * (i % 4),
            "aw": 0.94 + 0.01 * (i % 3), "core": 36 + 4 * (i % 4), "m": 0.5 + i % 3,
            "history": [(18 / 24, 24.0), (30 / 24, 12.0 + 3 * (i % 5)), (math.inf, 20.0 + i % 7)],
            "spores": 10.0 * (1 + i)}


def temperature(history, day):
    for length, temp in history:
        if day < length:
            return temp
        day -= length
    return history[-1][1]


def breaks(history, day):
    out, at = [], 0.0
    for length, _ in history[:-1]:
        at += length
        if at < day:
            out.append(at)
    return out


def integral(history, day, rate):
    edges = [0.0] + breaks(history, day) + [day]
    total = 0.0
    for a, b in zip(edges, edges[1:]):
        total += integrate.solve_ivp(lambda t, y: [rate(temperature(history, min(max(t, a), b - 1e-12)))],
                                     (a, b), [0.0], rtol=1e-10, atol=1e-12).y[0, -1]
    return total


def crumb(lot):
    moisture, bread = 0.38, P["usual.bread_per_flour"]
    keep = 1 - P["acid.bake_loss_share"]
    grams = {"propionic": lot["propionate"] * 2 * 74.079 / 186.22, "acetic": lot["vinegar"]}
    molar = {"propionic": 74.079, "acetic": 60.052}
    free = {}
    for acid, g in grams.items():
        total = g / (100 * bread) / molar[acid] * 1e6 / moisture * keep
        free[acid] = total / (1 + 10 ** (lot["ph"] - PKA[acid][0]))
    wet = -math.expm1(-free_water(lot["core"], P["wet.pack_room_c"], lot["aw"], P["wet.loaf_g"])
                      / P["wet.full_effect_g"])
    spot_aw = lot["aw"] + wet * max(P["wet.spot_aw"] - lot["aw"], 0)
    spot = {a: c * (1 - wet * P["wet.spot_dilution_share"]) for a, c in free.items()}
    return free, spot, spot_aw, lot["m"] * (1 + wet * (P["wet.spot_spread"] - 1))


class Mold:
    """Share of spores visible: strains as the models have them, or in fine steps."""

    def __init__(self, lot):
        self.lot = lot
        _, self.acids, self.aw, self.m = crumb(lot)
        self.works = {}
        self.cache = {}
        self.sigma = math.sqrt(math.log1p(P["mold.spore_spread_cv"] ** 2))
        self.mic_sigma = math.sqrt(math.log1p(P["mold.mic_spread_cv"] ** 2))
        self.weight_sum = sum(P[f"mold.{g}.weight"] for g in GROUPS)

    def work(self, group, day):
        key = (group, round(day, 9))
        if key not in self.works:
            limits = [P[f"mold.{group}.t_{w}_c"] for w in ("min", "opt", "max")]
            self.works[key] = integral(self.lot["history"], day, lambda t: cpm(t, *limits, 2)) if day > 0 else 0.0
        return self.works[key]

    def strains(self, group, z):
        """Lag and growth in days at temperature factor 1, per strain."""
        key = (group, len(z))
        if key not in self.cache:
            g = lambda field: P[f"mold.{group}.{field}"]
            base = 10 ** (-100 * (P["mold.aw_line_slope"] * max(g("aw_line") - self.aw, 0)
                                  + P["mold.aw_wet_slope"] * max(g("aw_opt") - max(self.aw, g("aw_line")), 0)))
            inhibitor = np.ones_like(z)
            for acid, c in self.acids.items():
                mic = g(f"mic_{acid}_mmol_l") * np.exp(z * self.mic_sigma)
                inhibitor /= 1 + (P["mold.mic_lag_factor"] - 1) * (c / mic) ** P["mold.mic_order"]
            growth = P["mold.visible_diameter_mm"] / 2 / (g("radial_opt_mm_d") * base
                                                          * (1 - P["mold.growth_share"] * (1 - inhibitor)))
            with np.errstate(divide="ignore"):
                lag = g("lag_opt_h") / 24 / (base * inhibitor)
            self.cache[key] = lag, growth
        return self.cache[key]

    def visible(self, day, factor=1.0, fine=False):
        if not fine:
            z, w = STRAINS, STRAIN_WEIGHTS
        else:
            z = np.linspace(-6, 6, 2401)
            w = stats.norm.pdf(z) * (z[1] - z[0])
        total = 0.0
        for group in GROUPS:
            lag, growth = self.strains(group, z)
            left = self.work(group, day) / factor - growth
            with np.errstate(divide="ignore", invalid="ignore"):
                share = special.ndtr(np.log(np.where(left > 0, left, 1e-300) / lag) / self.sigma)
            total += P[f"mold.{group}.weight"] / self.weight_sum * float(w @ np.where(left > 0, share, 0.0))
        return total

    def found(self, day, look, factor=1.0, spores=1.0):
        m = self.m * spores
        return (math.exp(-m * self.visible(day - look, factor))
                - math.exp(-m * self.visible(day, factor)))


sigma_time = math.log(rows["mold.time_scale"]["high"] / rows["mold.time_scale"]["low"]) / (2 * stats.norm.ppf(0.95))
molds = [Mold(lot_at(i)) for i in range(24)]
strain_gap = density_gap = 0.0
for i, mold in enumerate(molds):
    for day in range(2, 15, 3):
        compare(f"visible.{i}.{day}", mold.visible(day), absolute=1e-7)
        if i % 2 == 0:
            exact = mold.visible(day, fine=True)
            strain_gap = max(strain_gap, abs(ours[f"visible.{i}.{day}"] - exact))
            compare(f"visible.{i}.{day}", exact, absolute=0.01)  # what seven strains cost
        mixed = sum(wi * mold.found(day, 1, math.exp(sigma_time * zi)) for zi, wi in zip(*HERMITE))
        compare(f"density.{i}.{day}", mixed, absolute=1e-7)
        if i % 8 == 0:
            grid = np.linspace(-4, 4, 121)
            fine = integrate.simpson([mold.found(day, 1, math.exp(sigma_time * zi)) * stats.norm.pdf(zi)
                                      for zi in grid], x=grid)
            density_gap = max(density_gap, abs(ours[f"density.{i}.{day}"] - fine))
    half = -math.log1p(-0.5 * -math.expm1(-mold.m)) / mold.m
    days = optimize.brentq(lambda d: mold.visible(d) - half, 0.1, 1000, xtol=1e-5)
    compare(f"days.{i}", days, relative=1e-3)

# --- staling: k integrated over the history
TABLE = [(-18, "minus_18"), (-1, "minus_1"), (10, "10"), (21, "21"), (32, "32")]


def firming(temp):
    return math.exp(-np.interp(temp, [t for t, _ in TABLE],
                               [math.log(P[f"staling.tau_d_at_{n}_c"]) for _, n in TABLE]))


for i, mold in enumerate(molds):
    for day in range(2, 15, 3):
        work = integral(mold.lot["history"], day, firming)
        theta = math.exp(-work ** P["staling.avrami_n"])
        compare(f"firm.{i}.{day}", P["staling.limit_ratio"] - (P["staling.limit_ratio"] - 1) * theta, relative=1e-6)

# --- rope: log10 count as a differential equation, stopped at the level noticed
for i, mold in enumerate(molds):
    lot, free = mold.lot, crumb(mold.lot)[0]
    factor = (cpm(lot["ph"], P["rope.ph_min"], P["rope.ph_opt"], P["rope.ph_max"], 1)
              * max(0, (lot["aw"] - P["rope.aw_min"]) / (1 - P["rope.aw_min"]))
              * max(0, 1 - free["propionic"] / P["rope.mic_propionic_mmol_l"])
              * max(0, 1 - free["acetic"] / P["rope.mic_acetic_mmol_l"]))
    limits = [P["rope.t_min_c"], P["rope.t_opt_c"], P["rope.t_max_c"]]
    start = math.log10(lot["spores"] * P["rope.spore_survival_share"])
    needed = P["rope.lag_opt_h"] + (P["rope.notice_log10_cfu_g"] - start) / P["rope.rate_opt_log10_h"]
    hours, done = 0.0, 0.0
    for length, temp in lot["history"]:
        rate = factor * cpm(temp, *limits, 2)
        end = min(length * 24, 365 * 24 - hours)
        stop = lambda t, y: y[0] - needed
        stop.terminal = True
        run = integrate.solve_ivp(lambda t, y: [rate], (0, end), [done], events=stop, rtol=1e-10, atol=1e-9)
        hours += run.t[-1]
        done = run.y[0, -1]
        if run.status == 1:
            break
    compare(f"rope.{i}", hours if run.status == 1 else math.inf, relative=1e-6)

# --- odor in a warm loaf
for i, mold in enumerate(molds):
    free = crumb(mold.lot)[0]
    warm = math.exp(P["odor.vapour_kj_mol"] / 8.314462618e-3
                    * (1 / (P["odor.cold_c"] + 273.15) - 1 / (P["odor.warm_c"] + 273.15)))
    ratio = (free["propionic"] * 74.079 * 0.38 / P["odor.propionic_mg_kg"]
             + free["acetic"] * 60.052 * 0.38 / P["odor.acetic_mg_kg"])
    compare(f"odor.{i}", warm * ratio, relative=1e-8)

# --- calibration: the same penalized likelihood, minimized by SciPy
found = [ours[f"sample.{i}"] for i in range(48)]
z5, w5 = HERMITE


def objective(at):
    total = (at[0] / 0.7) ** 2 / 2 + (at[1] / 1.5) ** 2 / 2 + ((at[2] + 1.6) / 0.6) ** 2 / 2
    for i, day in enumerate(found):
        mold = molds[i % 24]
        chance = 0.0
        for z, w in zip(z5, w5):
            factor = math.exp(at[0] + math.exp(at[2]) * z)
            if day < 0:
                chance += w * math.exp(-mold.m * math.exp(at[1]) * mold.visible(-day, factor))
            else:
                chance += w * mold.found(day, 1, factor, math.exp(at[1]))
        stray = max(1 + day / P["mold.horizon_days"], 0.01) if day < 0 else 1 / P["mold.horizon_days"]
        total -= math.log(0.98 * chance + 0.02 * stray)
    return total


ours_at = [math.log(ours["fit.time"]), math.log(ours["fit.spores"]), math.log(ours["fit.sigma"])]
start = np.array(ours_at) + [0.08, -0.1, 0.1]
fit = optimize.minimize(objective, start, method="Nelder-Mead",
                        options={"xatol": 2e-4, "fatol": 1e-6, "maxfev": 120})
compare("fit.time", math.exp(fit.x[0]), relative=0.01)
compare("fit.spores", math.exp(fit.x[1]), relative=0.03)
if objective(ours_at) > fit.fun + 1e-3:
    bad.append(f"calibration stopped short: {objective(ours_at)} against {fit.fun}")

for kind, gap in worst.items():
    print(f"{kind}: largest gap {gap:.3g}")
print(f"one-term form against six terms, Fo >= 0.2: {one_term_gap:.4f}")
print(f"seven strains against quadrature: {strain_gap:.4f} of F")
print(f"five plant scales against quadrature: {density_gap:.4f} of the density")
for line in bad[:40]:
    print("BAD", line)
print(f"{len(ours)} values compared, {len(bad)} bad")
sys.exit(1 if bad else 0)
