"""Places: how dirty each is hour by hour, when it was cleaned, what plates and swabs would show."""
import numpy as np

from .world import PLACES, PLACES_BY_LINE


class Hygiene:
    def __init__(self, world):
        self.world = world
        self.rng = world.rng
        self.faults = []           # dicts: place line from to factor
        self.cleanings = {}        # (place, line) -> sorted minutes
        self.missed = {}           # (place, line) -> minutes when it was due and not done
        self.weekly = {}
        for key in self.keys():
            gap = world.clean_days[key[0]] * 1440
            t, times = self.rng.uniform(-gap, 0), []
            while t < world.days * 1440:
                times.append(t)
                t += gap * self.rng.uniform(.9, 1.12)
            self.cleanings[key] = times
            self.missed[key] = []
            walk = np.cumsum(self.rng.normal(0, .18, world.days // 7 + 3))
            self.weekly[key] = np.exp(walk - walk.mean())
            # now and then one is missed and nothing comes of it
            for k in range(len(times) - 2, 0, -1):
                if self.rng.random() < 0.02:
                    self.missed[key].append(times.pop(k))

    def keys(self):
        return [(place, line) for place in PLACES for line in self.lines_of(place)]

    def lines_of(self, place):
        if place not in PLACES_BY_LINE or (place == "cooler-air" and self.world.shared_cooler):
            return [""]
        return self.world.lines

    def key(self, place, line):
        return (place, line) if (place, line) in self.cleanings else (place, "")

    def miss(self, place, line, start, end):
        """The cleanings due in a time are not done."""
        key = self.key(place, line)
        gone = [t for t in self.cleanings[key] if start <= t < end]
        self.cleanings[key] = [t for t in self.cleanings[key] if not start <= t < end]
        self.missed[key] += gone
        return len(gone)

    def clean(self, place, line, at):
        key = self.key(place, line)
        self.cleanings[key] = sorted(self.cleanings[key] + [at])

    def level(self, place, line, minute, faults=True):
        """Dirt beside the usual."""
        key = self.key(place, line)
        times = self.cleanings[key]
        k = int(np.searchsorted(times, minute)) - 1
        since = (minute - times[k]) / 1440 if k >= 0 else self.world.clean_days[place]
        level = 0.55 + 0.65 * min(4.0, since / self.world.clean_days[place])
        level *= self.weekly[key][max(0, int(minute // 10080)) if minute >= 0 else 0]
        if place in ("cooler-air", "returns-dock", "waste-area", "ingredient-store"):
            level *= np.exp(0.03 * (self.world.outside_c(minute / 1440) - 13))
        if faults:
            for f in self.faults:
                if f["place"] == place and f["line"] in ("", key[1], line) and f["from"] <= minute < f["to"]:
                    level *= f["factor"]
        return level
