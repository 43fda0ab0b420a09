#!/usr/bin/python3
"""northern/sim.py SEED FOLDER [DAYS [START]]: a bakery in a cold country, its records, complaints and the truth."""
import pathlib
import sys

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parent), str(pathlib.Path(__file__).resolve().parent.parent)]
import callers                                                          # noqa: E402
import plant                                                            # noqa: E402
import records                                                          # noqa: E402
import strangers                                                        # noqa: E402
import troubles                                                         # noqa: E402

PLACES = {"cooler-air": (.40, {"blue": 8, "chalk": 1, "black": 1}), "slicer": (.24, {"blue": 5, "chalk": 5}),
          "hands": (.12, {"blue": 7, "chalk": 3}), "cooler-belt": (.10, {"blue": 7, "black": 3}),
          "bagger": (.09, {"blue": 8, "chalk": 2}), "film-store": (.05, {"blue": 6, "yellow": 2, "black": 2})}


def main(args):
    seed, rng, folder, days, start = strangers.arguments(args, "northern")
    lots = plant.make_lots(rng, start, days)
    planned = troubles.plan(rng, lots, start, days)
    strangers.apply(planned, lots)
    model = strangers.Plant(PLACES, lambda v: {"acetic": v["acetic_pct"], "propionic": v["propionic_pct"]},
                            lambda lot: strangers.Chain(store_c=19, home_c=21), {"mold": 1.6, "staling": 1.4, "off-odor": .7}, 1e-4)
    desk, codes = strangers.Desk(), [x.code for x in lots]
    for source in strangers.all_sources(rng, model, lots, planned):
        for _ in range(strangers.poisson(rng, source.expected)):
            callers.call(rng, desk, source, codes)
    files = strangers.Files()
    records.write(rng, files, lots, planned, start, days)
    files.write(folder)
    desk.write(folder, seed, planned, lots, start)
    print(f"seed {seed}: {len(lots)} lots, {len(desk.taken)} complaints, {len(planned)} troubles")


if __name__ == "__main__":
    main(sys.argv)
