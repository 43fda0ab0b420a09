"""What goes wrong in the heat. One function a kind; what a trouble does to bread is in what it changes."""
from plant import ROUTES, STORES
from strangers import planned


def fans_off(r, lot):
    """Fans of the cooling hall stand after a power cut, or racks go to the slicer early."""
    heat = r.uniform(7, 13)
    return dict(causes={"mold": "packed-hot"}, lines=(lot.line,), change={"core_at_pack_c": (1, heat), "cool_min": (1, -3 * heat)},
                days=(3, 9))


def scale_drifts(r, lot):
    share = r.uniform(.3, .6)
    return dict(causes={"mold": "inhibitor-underdosed"}, lines=(lot.line,), hidden=("propionate_pct", "sorbate_pct"),
                change={"propionate_pct": (share, 0), "sorbate_pct": (share, 0)}, note="scale drift", days=(8, 18))


def short_weighed(r, lot):
    share = r.uniform(.25, .6)
    return dict(causes={"mold": "inhibitor-underdosed"}, lines=(lot.line,), shift=r.choice("AB"),
                change={"propionate_pct": (share, 0), "sorbate_pct": (share, 0)}, note="weighed short and written so",
                days=(4, 12))


def old_inhibitor(r, lot):
    return dict(causes={"mold": "inhibitor-spent"}, material=("inhibitor", lot.material["inhibitor"]),
                change={"active": (r.uniform(.35, .6), 0)}, note="caked in the damp store", days=(30, 30))


def slicer_dirty(r, lot):
    return dict(causes={"mold": "contamination-slicer"}, lines=("1",), place="slicer", spores=r.uniform(30, 120), days=(5, 14))


def ceiling_drips(r, lot):
    return dict(causes={"mold": "contamination-cooler-air"}, lines=(lot.line,), place="cooler-air", spores=r.uniform(25, 90),
                note="drips from the ceiling of the cooling hall", days=(6, 16))


def bare_hands(r, lot):
    return dict(causes={"mold": "contamination-hands"}, lines=(r.choice("23"),), shift=r.choice("AB"), place="hands",
                spores=r.uniform(40, 160), days=(6, 16))


def returns_near(r, lot):
    return dict(causes={"mold": "contamination-returns"}, lines=tuple(r.sample("123", 2)), place="returns-dock",
                spores=r.uniform(150, 500), note="returns stacked beside packing", days=(5, 13))


def flour_dust(r, lot):
    return dict(causes={"mold": "contamination-ingredient-store"}, lines=(lot.line,), place="ingredient-store",
                spores=r.uniform(200, 600), note="flour dust over the racks", days=(5, 14))


def film_leaks(r, lot):
    return dict(causes={"mold": "pack-leak", "staling": "pack-leak-dry"}, material=("film", lot.material["film"]),
                change={"seal_fail_pct": (1, r.uniform(5, 14)), "air_in": (1, r.uniform(.5, 1.1)),
                        "crumb_moisture_pct": (1, -3.0)}, days=(12, 12))


def rope(r, lot):
    return dict(causes={"off-odor": "rope", "staling": "rope-crumb"}, material=("flour", lot.material["flour"]),
                change={"rope_spores": (1, r.uniform(3, 9))}, odors={"odor": ["fruity", "musty"], "crumb": "sticky"},
                days=(8, 8))


def kept_warm(r, lot):
    stores = tuple(r.sample(STORES[r.choice(list(ROUTES))], r.randint(2, 4)))
    return dict(causes={"mold": "warm-storage"}, stores=stores, note="in the sun and beside ovens: hot by day, wet by night",
                chain={"store_c": r.uniform(32, 34), "late_days": 2, "sweat": r.uniform(.5, 1)}, days=(20, 40))


def old_stock(r, lot):
    stores = tuple(r.sample(STORES[r.choice(list(ROUTES))], r.randint(2, 4)))
    return dict(causes={"mold": "old-stock", "staling": "old-stock-stale"}, stores=stores, chain={"late_days": r.randint(4, 6)},
                days=(20, 40))


def sour_dough(r, lot):
    return dict(causes={"off-odor": "over-fermented"}, lines=(lot.line,), strength=r.uniform(30, 90),
                odors={"odor": ["sour", "alcohol"]}, change={
                    "dough_temp_c": (1, r.uniform(3, 5)), "ferment_min": (1, r.uniform(30, 70)), "line_stop_min": (1, 60)},
                note="dough stood through power cuts", days=(2, 6))


def rancid_fat(r, lot):
    return dict(causes={"off-odor": "fat-rancid"}, material=("fat", lot.material["fat"]), strength=r.uniform(8, 25),
                odors={"odor": ["rancid"]}, days=(15, 15))


def sorbate_gone(r, lot):
    return dict(causes={"off-odor": "inhibitor-broken-down"}, lines=("2",), strength=r.uniform(20, 60),
                odors={"odor": ["hydrocarbon"]}, note="molds of old returns that live on sorbate", days=(4, 10))


def softener_short(r, lot):
    return dict(causes={"staling": "softener-underdosed"}, lines=(r.choice("13"),), change={"softener": (r.uniform(.05, .4), 0)},
                days=(4, 12))


KINDS = {fans_off: 3, scale_drifts: 2, short_weighed: 2, old_inhibitor: 2, slicer_dirty: 2, ceiling_drips: 2, bare_hands: 2,
         returns_near: 2, flour_dust: 2, film_leaks: 2, rope: 2, kept_warm: 2, old_stock: 2, sour_dough: 1, rancid_fat: 1,
         sorbate_gone: 1, softener_short: 1}


def plan(rng, lots, start, days):
    return planned(rng, lots, start, days, KINDS, "123")
