#!/usr/bin/python3
"""Makes the demo plant: 26 weeks of an invented bakery, with known troubles planted in it.

    python3 data/make_plant.py [--seed N] [--quiet] FOLDER

writes into FOLDER
    products.csv targets.csv lots.csv mixes.csv uses.csv        what was made, and of what
    readings.csv readings_packing.csv readings_core.csv         measured: by mix and lab (long),
                                                                at packing (wide, some in degF),
                                                                core temperature series
    plantlog.csv                                                plates, swabs, cleaning, ...
    dispatch_1.csv .. dispatch_4.csv                            what went where
    complaints.ndjson                                           the history of complaints
    desk.ndjson                                                 three more, for the desk to log
    truth.csv                                                   what each complaint came from

truth.csv is for people and tests; it is never loaded. The same seed gives the same bytes.
Everything here is invented: the bakery, its products, suppliers, stores and callers. Phone
numbers are 555-01xx, mail addresses end in example.invalid, trade item numbers use prefix 952,
which GS1 keeps for examples.

How it works: every lot gets the conditions it was made under (dose, pH, core at packing, spores a
pack, ...). A trouble changes the conditions of the lots it touches. Simple physics turns
conditions into expected complaints by day; a Poisson draw makes them happen; the records show the
conditions through instrument noise and gaps. The physics is the generator's own: the constants
are chosen to give plausible counts, not taken from anywhere.
"""
import argparse
import os

from harrow.complaints import write_complaints
from harrow.lots import make_lots
from harrow.physics import BY_DAY
from harrow.plantlog import write_plant_log
from harrow.records import (dispatch_lots, write_dispatch, write_products_and_lots,
                            write_readings, write_targets, write_uses)
from harrow.troubles import BY_NAME, TROUBLES, plant_troubles


def summary(lots, truth):
    print(f"{len(lots)} lots, {sum(x.units for x in lots):,} packs, {len(truth)} complaints")
    for name in ["background"] + [t.name for t in TROUBLES]:
        rows = [r for r in truth if r[1] == name]
        by = {s: sum(r[3] == s for r in rows) for s in BY_DAY}
        what = BY_NAME[name].what if name in BY_NAME else "no trouble of the plant"
        print(f"{name:18} {len(rows):4}  {by}  {what}")


def main():
    ap = argparse.ArgumentParser(description="Makes the records of the demo plant.")
    ap.add_argument("folder")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--quiet", action="store_true", help="no summary of what was planted")
    args = ap.parse_args()
    os.makedirs(args.folder, exist_ok=True)
    lots = make_lots(args.seed)
    plant_troubles(lots, args.seed)
    dispatch_lots(lots, args.seed)
    write_products_and_lots(args.folder, lots)
    write_targets(args.folder)
    write_uses(args.folder, lots, args.seed)
    write_readings(args.folder, lots, args.seed)
    write_plant_log(args.folder, args.seed)
    write_dispatch(args.folder, lots)
    truth = write_complaints(args.folder, lots, args.seed)
    if not args.quiet:
        summary(lots, truth)


if __name__ == "__main__":
    main()
