"""How bread spoils: growth of molds on crumb, firming, and what a pack goes through at home.
Everything is per virtual pack and driven by common random numbers, so that the same pack can be
looked at with and without a fault; the difference is what the fault did."""
import numpy as np

_q = np.linspace(1e-5, 1 - 1e-5, 4001)
from statistics import NormalDist as _N
_z = np.array([_N().inv_cdf(x) for x in _q])


def probit(p):
    return np.interp(p, _q, _z)


# lag at 25 degC without acid (d), radial mm/d, Tmin, Topt, Tmax, aw min, MIC propionic, MIC sorbic (mmol/L undissociated)
SPECIES = ["pen", "roq", "nig", "eur", "rhi", "neu", "yst"]
SP = np.array([[1.8, 3.0, 0, 26, 37, .81, 18, 6.0],
               [1.8, 3.2, 0, 25, 36, .82, 25, 10.],
               [1.7, 6.0, 8, 33, 45, .78, 12, 4.6],
               [2.7, 2.4, 6, 30, 41, .70, 15, 5.2],
               [1.1, 15., 4, 26, 33, .92, 10, 4.4],
               [0.9, 20., 5, 30, 42, .90, 10, 4.4],
               [2.6, 1.1, 3, 27, 37, .86, 23, 8.5]])
COLOURS = {"pen": [("blue-green", .93), ("white-fluffy", .07)], "roq": [("blue-green", .95), ("white-fluffy", .05)],
           "nig": [("black", .85), ("white-fluffy", .15)], "eur": [("yellow", .6), ("blue-green", .4)],
           "rhi": [("white-fluffy", .7), ("black", .3)], "neu": [("pink-orange", .95), ("white-fluffy", .05)],
           "yst": [("white-chalky", 1.)]}
# ways onto the pack: share of the usual spores, which species ride on it, where on the loaf they land
SOURCES = ["cooler-air", "cooler-belt", "slicer", "bagger", "hands", "film-store", "returns-dock", "ingredient-store",
           "waste-area", "leak", "home"]
SHARE = dict(zip(SOURCES, [.30, .10, .20, .09, .10, .03, .07, .06, .05, 0., 0.]))
FLORA = {"cooler-air": [.66, .06, .10, .05, .03, .02, .08], "cooler-belt": [.50, .10, .12, .05, .08, .02, .13],
         "slicer": [.55, .14, .06, .04, .02, .03, .16], "bagger": [.64, .08, .10, .06, .04, .03, .05],
         "hands": [.62, .05, .16, .05, .06, .02, .04], "film-store": [.60, .04, .15, .16, .03, .01, .01],
         "returns-dock": [.52, .24, .06, .03, .06, .07, .02], "ingredient-store": [.34, .02, .26, .24, .12, .01, .01],
         "waste-area": [.40, .08, .10, .03, .16, .19, .04], "leak": [.62, .03, .18, .05, .10, .01, .01],
         "home": [.60, .03, .17, .04, .12, .01, .03]}
WHERES = ["cut-face", "top-crust", "base", "side", "heel", "near-closure", "all-over"]
LANDS = {"cooler-air": [.05, .60, .03, .20, .08, .02, .02], "cooler-belt": [.04, .03, .74, .12, .05, .0, .02],
         "slicer": [.76, .05, .05, .06, .04, .0, .04], "bagger": [.08, .22, .05, .22, .25, .14, .04],
         "hands": [.05, .20, .10, .18, .30, .15, .02], "film-store": [.02, .32, .14, .36, .06, .05, .05],
         "returns-dock": [.26, .36, .04, .14, .13, .05, .02], "ingredient-store": [.18, .44, .05, .17, .11, .03, .02],
         "waste-area": [.24, .36, .05, .14, .12, .05, .04], "leak": [.12, .08, .03, .08, .26, .40, .03],
         "home": [.24, .14, .06, .08, .24, .16, .08]}
_rare = np.array([1, .15, 1, 1, .5, .5, .5])       # the hardy and the fast ones are a small part of what flies
_fcum = np.array([np.cumsum(np.array(FLORA[s]) * _rare) / sum(np.array(FLORA[s]) * _rare) for s in SOURCES])
SIGMA = .28          # spread of single-spore visible times (log)


def undiss(ph, pka):
    return 1 / (1 + 10 ** (ph - pka))


def acid_water(inh_pct, moist, kind):
    """mmol acid per L of crumb water from % salt on flour (150 g bread per 100 g flour)"""
    gg, mw = (.7956, 74.08) if kind == "propionate" else (.7464, 112.1)
    return inh_pct * gg / 150 * 1e6 / mw / (moist / 100)


def gamma_t(t, lo, opt, hi):
    num = (t - hi) * (t - lo) ** 2
    den = (opt - lo) * ((opt - lo) * (t - opt) - (opt - hi) * (opt + lo - 2 * t))
    return np.where((t > lo) & (t < hi), np.clip(num / np.where(den == 0, 1, den), .02, 1), .02)


def visible_days(sp, t, aw, ph, inh, moist, kind):
    """median days from spore to a colony one sees, by species index"""
    S = SP[sp]
    lag, mu, lo, opt, hi, awm = (S[..., i] for i in range(6))
    mic = S[..., 6] if kind == "propionate" else S[..., 7]
    c = acid_water(inh, moist, kind) * undiss(ph, 4.87 if kind == "propionate" else 4.76)
    gi = np.clip(1 - c / mic, .03, 1)
    ga = np.clip((aw - awm) / (.97 - awm), .04, 1.05)
    gt = gamma_t(t, lo, opt, hi)
    return lag / (gt * ga * gi) + 1.4 / (mu * gt * ga * np.sqrt(gi))


def psat(t):
    return 6.112 * np.exp(17.62 * t / (243.12 + t))


class Pack:
    """what the packs of one lot live through after the plant, drawn once per lot"""
    def __init__(self, seed, M, shelf, outdoor, day_hot):
        g = np.random.default_rng(seed)
        self.M = M
        self.E = g.exponential(1, (M, len(SOURCES)))
        self.us = g.random((M, len(SOURCES)))
        self.umix, self.uwet, self.uleak, self.uz = g.random(M), g.random(M), g.random(M), g.normal(0, 1, M)
        self.ustale, self.use = g.normal(0, 1, M), g.random(M)
        room = 20.6 + .38 * max(0, outdoor - 17) + g.normal(0, 1.5, M)
        k = g.random(M)
        self.kept = np.where(k < .055, 1, np.where(k < .135, 2, 0))           # counter, fridge, warm
        self.temp = np.where(self.kept == 1, 6.0, np.where(self.kept == 2, room + 4.5, room))
        self.buy = np.minimum(.7 + g.gamma(2.2, .75, M), shelf + .3)
        span = g.gamma(3, 1.6 if shelf < 16 else 3.2, M)
        late = g.random(M) < .08
        self.span = span + late * g.gamma(2, .35 * shelf, M)
        self.open = self.buy + np.minimum(g.exponential(1.2, M), self.span)
        self.homem = g.gamma(.5, .6, M)
        self.g = g


def mold(pk, st, prod, m0):
    """(visible day, source, species, wet, leak) of every pack; inf where nothing grows"""
    M = pk.M
    inh = st["inh"][(pk.umix * len(st["inh"])).astype(int)]
    ph = st["ph"] + st["dph"][(pk.umix * len(st["dph"])).astype(int)]
    # water that condenses in the bag: driving pressure between core and cold film
    drive = psat(st["core_pack"] + .0) - psat(prod["core_pack"])
    pw = 1 / (1 + np.exp(-(drive - 24) / 5.0)) * .9 + .004 + st["wet"]
    wet = pk.uwet < pw
    leak = pk.uleak < st["leak"]
    t = pk.temp + st["dtemp"]
    aw = np.where(wet, np.maximum(.982, st["aw"]), st["aw"])
    aw = np.where(leak, aw - .01, aw)
    inh_s = np.where(wet, inh * .84, inh)
    m = np.empty((M, len(SOURCES)))
    for j, s in enumerate(SOURCES):
        if s == "leak":
            m[:, j] = np.where(leak, 1.1, 0)
        elif s == "home":
            m[:, j] = pk.homem
        else:
            m[:, j] = m0 * SHARE[s] * st["load"].get(s, 1.) * np.where(wet, 2.0, 1)
    sp = (pk.us[:, :, None] > _fcum[None]).sum(2).clip(0, 6)
    for s, k in st["flora"].items():                    # a house strain took the place over
        j = SOURCES.index(s)
        sp[:, j] = np.where((pk.us[:, j] * 7919) % 1 < .8, k, sp[:, j])
    t50 = visible_days(sp, t[:, None], aw[:, None], ph[:, None], inh_s[:, None], st["moist"], prod["inh_kind"])
    q = pk.E / np.maximum(m, 1e-9)
    T = np.where(q < 1, t50 * np.exp(SIGMA * probit(np.clip(q, 1e-5, 1 - 1e-5))), np.inf)
    T[:, 10] += pk.open                                 # seeded when opened
    T[:, 9] += .5
    src = T.argmin(1)
    i = np.arange(M)
    return T[i, src], src, sp[i, src], wet, leak


def found(pk, tvis, shelf, buy=None):
    """day found (inf if eaten first) and how readily one complains"""
    buy = pk.buy if buy is None else buy
    opn = np.maximum(buy + .05, pk.open + (buy - pk.buy))
    age = np.maximum(np.ceil(tvis + .15 * np.abs(pk.uz)), np.ceil(opn))
    end = buy + pk.span
    ok = np.isfinite(age) & (age <= np.maximum(end, opn + 1)) & (age < 60)
    w = np.interp(age / shelf, [0, .7, 1, 1.1, 1.6], [.9, 1, .85, .2, .04])
    return np.where(ok, age, np.inf), np.where(ok, w, 0)


def tau(t):
    return np.interp(t, [-1, 4, 10, 21, 32, 40], [1.45, 1.75, 2.25, 3.75, 5.6, 6.2])


def stale(pk, st, prod, shelf, buy=None):
    """(day the crumb passes what this buyer bears, mechanism) 0 firm, 1 dry, 2 gummy"""
    buy = pk.buy if buy is None else buy
    dm = prod["moist"] - st["moist"]
    leak = pk.uleak < st["leak"]
    t = pk.temp + st["dtemp"]
    e = 6 * np.exp(-.55 * (min(st["soft"], 1.6) - 1)) * (1.42 if st["enz_missed"] > .5 else 1 + .42 * st["enz_missed"])
    e = e * np.exp(.10 * (dm + np.where(leak, 4.0, 0)))
    f0 = 1.7 * np.exp(.06 * dm)
    ref = 1.7 + 6 * (1 - np.exp(-.75 * shelf / tau(21.5)))
    need = ref * np.exp(.33 + .17 * pk.ustale)
    x = (need - f0) / e
    days = np.where(x < 1, -np.log(np.clip(1 - x, 1e-6, 1)) * tau(t) * (.8 if shelf < 16 else 1.4), np.inf)
    days = np.where(x <= 0, .5, days)
    dry = leak | (dm > 1.0)
    g = st["gum"]
    gummy = pk.use < (1 / (1 + np.exp(-(g - 2.6) * 2.2)) * .5 if g > 0 else 0)
    days = np.where(gummy, np.maximum(buy, .8), days)
    return days, np.where(gummy, 2, np.where(dry, 1, 0))
