#!/usr/bin/python3
"""tropics/sim.py SEED FOLDER [DAYS [START]]: a bakery in a hot and humid place, its records, complaints and the truth."""
import pathlib
import sys

sys.path[:0] = [str(pathlib.Path(__file__).resolve().parent), str(pathlib.Path(__file__).resolve().parent.parent)]
import callers                                                          # noqa: E402
import plant                                                            # noqa: E402
import records                                                          # noqa: E402
import strangers                                                        # noqa: E402
import troubles                                                         # noqa: E402

PLACES = {"cooler-air": (.34, {"blue": 5, "black": 4, "fluffy": 1}), "slicer": (.22, {"blue": 5, "chalk": 3, "black": 2}),
          "hands": (.16, {"blue": 4, "black": 4, "chalk": 2}), "cooler-belt": (.08, {"black": 5, "blue": 5}),
          "bagger": (.08, {"blue": 5, "black": 5}), "returns-dock": (.06, {"blue": 4, "black": 2, "pink": 3, "fluffy": 1}),
          "ingredient-store": (.06, {"yellow": 5, "black": 3, "blue": 2})}


def acids_of(values):
    return {"propionic": .7956 * values["propionate_pct"] * values["active"],
            "sorbic": .7464 * values["sorbate_pct"] * values["active"]}


def main(args):
    seed, rng, folder, days, start = strangers.arguments(args, "tropics")
    climate = plant.Climate(rng)
    lots = plant.make_lots(rng, climate, start, days)
    planned = troubles.plan(rng, lots, start, days)
    strangers.apply(planned, lots)

    def chain_of(lot):
        return strangers.Chain(store_c=round(climate.hall_c(lot.day)), home_c=round(climate.hall_c(lot.day)) - 1)

    model = strangers.Plant(PLACES, acids_of, chain_of, {"mold": 2.2, "staling": 1.2, "off-odor": .9}, 1e-4)
    desk, codes = strangers.Desk(), [x.code for x in lots]
    for source in strangers.all_sources(rng, model, lots, planned):
        for _ in range(strangers.poisson(rng, source.expected)):
            callers.call(rng, desk, source, codes)
    files = strangers.Files()
    records.write(rng, files, climate, lots, planned, start, days)
    files.write(folder)
    desk.write(folder, seed, planned, lots, start)
    print(f"seed {seed}: {len(lots)} lots, {len(desk.taken)} complaints, {len(planned)} troubles")


if __name__ == "__main__":
    main(sys.argv)
