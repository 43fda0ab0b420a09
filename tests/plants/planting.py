"""More troubles of one kind, to judge those by that simulators seldom plant: every other one is of that kind if the
environment says so. Decks of causes only: tropics and northern plant enough of stores."""
import os
import random

from planted import BY_MATERIAL, BY_STORE

VARIABLE = "ODDLOAF_PLANT"
KINDS = {"stores": sorted(BY_STORE), "materials": sorted(BY_MATERIAL)}


def dealt(causes, seed):
    """The causes of a plant, or every other one of them and as many of the wanted kind."""
    wanted = KINDS.get(os.environ.get(VARIABLE, ""))
    if not wanted:
        return causes
    rng, out = random.Random(f"planted {os.environ[VARIABLE]} {seed}"), []
    for n, cause in enumerate(causes):
        out.append(cause if n % 2 else rng.choice(wanted))
    return out
