"""What the environment asks of a plant whose simulator takes no days: more troubles of one kind, to judge those by
that simulators seldom plant (every other one is of that kind; decks of causes only: tropics and northern plant enough
of stores), and a life so many times as long, with as many times the troubles and complaints."""
import os
import random

from planted import BY_MATERIAL, BY_STORE

VARIABLE = "ODDLOAF_PLANT"
TIMES = "ODDLOAF_PLANT_TIMES"
KINDS = {"stores": sorted(BY_STORE), "materials": sorted(BY_MATERIAL)}


def times():
    return int(os.environ.get(TIMES) or 1)


def dealt(causes, seed):
    """The causes of a plant, or every other one of them and as many of the wanted kind."""
    wanted = KINDS.get(os.environ.get(VARIABLE, ""))
    if not wanted:
        return causes
    rng, out = random.Random(f"planted {os.environ[VARIABLE]} {seed}"), []
    for n, cause in enumerate(causes):
        out.append(cause if n % 2 else rng.choice(wanted))
    return out
