"""What the environment asks of a plant whose simulator takes no days: more troubles of one kind, to judge those by
that simulators seldom plant (every other one is of that kind, or, "mixed", three of four are of stores, routes or
materials; decks of causes only: tropics and northern plant enough of stores), and a life so many times as long, with
as many times the troubles and complaints."""
import datetime
import os
import random

from planted import BY_MATERIAL, BY_STORE

VARIABLE = "ODDLOAF_PLANT"
TIMES = "ODDLOAF_PLANT_TIMES"
BEFORE = datetime.date(2026, 10, 12)    # a Monday
KINDS = {"stores": [sorted(BY_STORE)], "routes": [["cold-storage", "warm-storage"]], "materials": [sorted(BY_MATERIAL)],
         "mixed": [sorted(BY_STORE), sorted(BY_STORE), sorted(BY_MATERIAL)]}


def times():
    return int(os.environ.get(TIMES) or 1)


def kind():
    return os.environ.get(VARIABLE, "")


def begins(day, days):
    """That of a plant, or earlier where it lives longer: no complaint of it may lie ahead."""
    return day if times() == 1 else min(day, BEFORE - datetime.timedelta(days=days))


def dealt(causes, seed):
    """The causes of a plant, or, in turn, one of each wanted list and one of them."""
    wanted = KINDS.get(kind())
    if not wanted:
        return causes
    rng, out = random.Random(f"planted {kind()} {seed}"), []
    for n, cause in enumerate(causes):
        turn = n % (len(wanted) + 1)
        out.append(rng.choice(wanted[turn]) if turn < len(wanted) else cause)
    return out


def in_stores(drawn):
    """Whether what went wrong behind the plant's door did so in stores, not along a whole route: as drawn, unless the
    wanted kind is one of the two."""
    return {"stores": True, "routes": False}.get(kind(), drawn)
