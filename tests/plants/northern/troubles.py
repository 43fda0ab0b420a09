"""What goes wrong in the cold. One function a kind; what a trouble does to bread is in what it changes."""
from plant import ROUTES, STORES
from strangers import planned


def some_stores(r):
    return r.sample([s for route in r.sample(ROUTES, 2) for s in STORES[route]], r.randint(4, 7))


def cold_depot(r, lot):
    """Bread waits days in a chilled hall: nothing firms it faster."""
    stores = tuple(s for route in r.sample(ROUTES, 2) for s in STORES[route])
    return dict(causes={"staling": "cold-storage"}, stores=stores, note="two routes over one chilled hall",
                chain={"cold_c": r.uniform(1, 5), "cold_days": r.randint(4, 7), "late_days": r.randint(2, 3)}, days=(18, 40))


def cold_room(r, lot):
    stores = tuple(some_stores(r))
    return dict(causes={"staling": "cold-storage"}, stores=stores, note="stores that keep bread in the cold room",
                chain={"cold_c": r.uniform(2, 5), "cold_days": r.randint(4, 7), "late_days": 2}, days=(30, 60))


def thaw_hall(r, lot):
    stores = tuple(s for route in r.sample(ROUTES, 2) for s in STORES[route])
    return dict(causes={"mold": "warm-storage"}, stores=stores, note="thawed in a heated hall", days=(8, 18),
                chain={"store_c": r.uniform(27, 31), "late_days": 2, "sweat": r.uniform(.3, .7)})


def stock_turned(r, lot):
    stores = tuple(some_stores(r))
    late = r.randint(3, 5)
    return dict(causes={"staling": "old-stock-stale", "mold": "old-stock"}, stores=stores, chain={"late_days": late},
                note="old packs put in front late", days=(20, 45))


def softener_short(r, lot):
    return dict(causes={"staling": "softener-underdosed"}, lines=(lot.line,), change={"softener": (r.uniform(0, .35), 0)},
                days=(3, 10))


def softener_weak(r, lot):
    return dict(causes={"staling": "softener-underdosed"}, material=("softener", lot.material["softener"]), hidden=("softener",),
                change={"softener": (r.uniform(.05, .4), 0)}, note="a lot of enzyme that has lost its strength", days=(12, 20))


def softener_heavy(r, lot):
    return dict(causes={"staling": "softener-overdosed"}, lines=(lot.line,), change={"softener": (r.uniform(1.9, 2.8), 0)},
                strength=r.uniform(15, 45), odors={"crumb": "gummy"}, days=(3, 9))


def overbaked(r, lot):
    change = {"bake_min": (1, r.uniform(3, 6)), "core_end_bake_c": (1, r.uniform(.6, 1.6)),
              "crumb_moisture_pct": (1, -r.uniform(2.5, 4.5))}
    return dict(causes={"staling": "overbaked"}, lines=(lot.line,), change=change, days=(3, 10))


def fast_profile(r, lot):
    """The crumb goes through the enzyme's warm range too quickly."""
    change = {"window": (r.uniform(.1, .4), 0), "rise_min": (r.uniform(.4, .6), 0), "bake_min": (1, -r.uniform(0, 1.5))}
    return dict(causes={"staling": "enzyme-window-missed"}, lines=(lot.line,), change=change, days=(4, 12))


def underbaked(r, lot):
    change = {"bake_min": (1, -r.uniform(2.5, 5)), "core_end_bake_c": (1, -r.uniform(4, 8)),
              "crumb_moisture_pct": (1, r.uniform(1, 2.2))}
    return dict(causes={"staling": "underbaked-gummy"}, lines=(lot.line,), change=change, strength=r.uniform(15, 50),
                odors={"crumb": "gummy"}, days=(2, 8))


def dry_cooler(r, lot):
    change = {"cool_min": (1, r.uniform(50, 110)), "cooler_rh_pct": (1, -r.uniform(18, 32)), "core_at_pack_c": (1, -7),
              "core_at_slicing_c": (1, -7), "crumb_moisture_pct": (1, -r.uniform(2.5, 4.5))}
    return dict(causes={"staling": "overcooled-dry"}, lines=(lot.line,), change=change, days=(3, 10))


def water_short(r, lot):
    """No cause of the list is a wrong weight of water."""
    change = {"water_pct_flour": (1, -r.uniform(5, 8)), "crumb_moisture_pct": (1, -r.uniform(2.5, 4))}
    return dict(causes={"staling": "not-known"}, lines=(lot.line,), product=lot.product.code, change=change,
                note="wrong water in the recipe", days=(4, 10))


def slicer_dirty(r, lot):
    return dict(causes={"mold": "contamination-slicer"}, lines=(lot.line,), place="slicer", spores=r.uniform(30, 120),
                days=(4, 14))


def belt_dirty(r, lot):
    return dict(causes={"mold": "contamination-cooler-belt"}, lines=(lot.line,), place="cooler-belt", spores=r.uniform(70, 200),
                days=(5, 14))


def air_dirty(r, lot):
    return dict(causes={"mold": "contamination-cooler-air"}, lines=(lot.line,), place="cooler-air", spores=r.uniform(25, 80),
                note="filters past their time", days=(6, 16))


def film_dirty(r, lot):
    return dict(causes={"mold": "contamination-film"}, material=("film", lot.material["film"]), place="film-store",
                spores=r.uniform(300, 800), note="a film lot that lay open and damp", days=(10, 10))


def film_leaks(r, lot):
    air = .75 if lot.product.air_in < 0 else r.uniform(.4, .8)
    return dict(causes={"mold": "pack-leak", "staling": "pack-leak-dry"}, material=("film", lot.material["film"]), change={
        "seal_fail_pct": (1, r.uniform(4, 12)), "air_in": (1, air), "crumb_moisture_pct": (1, -2.5)}, days=(10, 10))


def film_taints(r, lot):
    return dict(causes={"off-odor": "pack-taint"}, material=("film", lot.material["film"]), strength=r.uniform(25, 90),
                odors={"odor": ["plastic", "plastic", "solvent"]}, days=(10, 10))


def oil_taints(r, lot):
    return dict(causes={"off-odor": "fat-rancid"}, material=("fat", lot.material["fat"]), strength=r.uniform(8, 25),
                odors={"odor": ["rancid"]}, note="pan oil that has turned", days=(16, 16))


def acid_twice(r, lot):
    change = {"acetic_pct": (r.uniform(1.7, 2.3), 0), "crumb_ph": (1, -.25), "dough_ph": (1, -.25)}
    return dict(causes={"off-odor": "acid-overdosed"}, lines=(lot.line,), product=lot.product.code, change=change,
                strength=r.uniform(40, 120), odors={"odor": ["vinegar", "vinegar", "sour"]}, note="recipe with the vinegar twice",
                days=(3, 8))


def sour_long(r, lot):
    change = {"ferment_min": (1, r.uniform(70, 160)), "dough_ph": (1, -.4), "crumb_ph": (1, -.35), "dough_temp_c": (1, 2)}
    return dict(causes={"off-odor": "over-fermented"}, lines=("1",), change=change, strength=r.uniform(40, 120),
                odors={"odor": ["sour", "sour", "alcohol"]}, days=(2, 6))


def sour_weak(r, lot):
    rise = r.uniform(.55, .9)
    return dict(causes={"mold": "inhibitor-ineffective-ph"}, lines=("1",), change={"crumb_ph": (1, rise), "dough_ph": (1, rise)},
                note="sourdough that no longer sours", days=(6, 16))


def wild_yeast(r, lot):
    return dict(causes={"off-odor": "wild-yeast"}, lines=("3",), strength=r.uniform(30, 90),
                odors={"odor": ["solvent", "alcohol", "fruity"]}, days=(5, 12))


def vinegar_short(r, lot):
    share = r.uniform(0, .35)
    return dict(causes={"mold": "inhibitor-underdosed"}, lines=(lot.line,), change={
        "acetic_pct": (share, 0), "propionic_pct": (share, 0), "crumb_ph": (1, .1)}, days=(8, 20))


KINDS = {cold_depot: 3, cold_room: 2, thaw_hall: 2, stock_turned: 3, softener_short: 2, softener_weak: 2, softener_heavy: 1,
         overbaked: 2, fast_profile: 2, underbaked: 1, dry_cooler: 2, water_short: 1, slicer_dirty: 3, belt_dirty: 1,
         air_dirty: 1, film_dirty: 2, film_leaks: 2, film_taints: 2, oil_taints: 2, acid_twice: 1, sour_long: 1, sour_weak: 2,
         wild_yeast: 1, vinegar_short: 1}


def plan(rng, lots, start, days):
    return planned(rng, lots, start, days, KINDS, "1223")
