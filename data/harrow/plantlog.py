"""The plant log: plates, swabs, cleaning, filters, pressure, and what a daily walk sees."""
import math
import random
from datetime import date, datetime, timedelta

from .plant import FIRST, LAST, local, poisson, stamp, write_csv
from .troubles import BY_NAME


def log_factor(place, line, day):
    """How much dirtier than usual a place of a line is, and what goes with it."""
    for name, places, factor in (
            ("returns-by-cooler", {"cooler-air": 9, "returns-dock": 6}, 1),
            ("cooler-filter", {"cooler-air": 22, "cooler-belt": 2}, 1),
            ("dirty-slicer", {"slicer": 30}, 1)):
        t = BY_NAME[name]
        if line in t.lines and t.first <= day <= t.last and place in places:
            return places[place] * factor
    return 1


def in_trouble(name, line, day):
    t = BY_NAME[name]
    return line in t.lines and t.first <= day <= t.last


def daily_log(day, line, rng):
    """Rows (minute of the day, place, quantity, value, note) of one line."""
    weekday, g = day.weekday(), rng.gauss

    def count(place, usual):
        mean = usual * math.exp(g(0, .45)) * log_factor(place, line, day)
        return poisson(mean, rng) if mean < 400 else round(mean)
    for place, minute in (("slicer", 95), ("bagger", 120)):
        missed = place == "slicer" and in_trouble("dirty-slicer", line, day) \
            or rng.random() < .012
        yield minute, place, "cleaned", 0 if missed else 1, \
            "late changeover, no time" if missed else ""
        if not missed:
            yield minute + 20, place, "atp_rlu", round(70 * math.exp(g(0, .4))), ""
        elif rng.random() < .3:
            yield minute + 20, place, "atp_rlu", round(900 * math.exp(g(0, .4))), ""
    for place, quantity, usual, days, minute in (
            ("slicer", "swab_cfu", 6, (0, 2, 4), 600), ("bagger", "swab_cfu", 5, (0, 2, 4), 605),
            ("cooler-belt", "swab_cfu", 8, (1, 4), 610), ("hands", "swab_cfu", 7, (2,), 540),
            ("cooler-air", "settle_plate_cfu", 2, (0, 2, 4, 6), 570),
            ("bagger", "settle_plate_cfu", 1.5, (1, 4), 575),
            ("cooler-air", "air_cfu_m3", 60, (1, 3), 580),
            ("compressed-air", "air_cfu_m3", 4, (3,), 590),
            ("dead-spot", "swab_cfu", 25, (3,), 620)):
        if weekday in days and rng.random() > .07:
            yield minute + rng.randint(0, 25), place, quantity, count(place, usual), ""
    if weekday == 5:
        yield 1020, "cooler-belt", "cleaned", 1, "weekly wet clean"
    due = (day - FIRST).days % 28 == {"1": 4, "2": 13, "3": 3}[line]
    if due and not (line == "3" and date(2026, 8, 10) < day < date(2026, 9, 12)):
        yield 1050, "cooler-air", "filter_changed", 1, ""
    if line == "3" and day == BY_NAME["cooler-filter"].last + timedelta(days=1):
        yield 1050, "cooler-air", "filter_changed", 1, "old one torn along the frame"
    torn = in_trouble("cooler-filter", line, day)
    yield 330, "bagger", "pressure_pa", round(14 + g(0, 1.2), 1), ""
    yield 335, "cooler-air", "pressure_pa", round((3 if torn else 9) + g(0, 1), 1), ""
    wet = in_trouble("cooler-fan", line, day) and rng.random() < .7
    yield 700, "cooler-air", "condensation_seen", 1 if wet else 0, \
        "drops on the cooler roof" if wet else ""
    staged = in_trouble("returns-by-cooler", line, day)
    yield 710, "returns-dock", "returns_staged", 1 if staged else 0, \
        f"racks of returns standing beside the line {line} cooler" if staged else ""


def plant_wide_log(day, rng):
    weekday, g = day.weekday(), rng.gauss
    for place, quantity, usual, at_weekday in (
            ("film-store", "settle_plate_cfu", 1.5, 3), ("returns-dock", "settle_plate_cfu", 9, 1),
            ("ingredient-store", "settle_plate_cfu", 5, 0),
            ("waste-area", "settle_plate_cfu", 14, 1), ("dispatch-dock", "air_cfu_m3", 110, 2)):
        if weekday == at_weekday:
            dirty = log_factor(place, "3", day)
            yield 640, place, quantity, poisson(usual * math.exp(g(0, .4)) * dirty, rng), ""
    for minute in (420, 1140):
        yield minute, "waste-area", "waste_emptied", 0 if rng.random() < .03 else 1, ""
    yield 1300, "dispatch-dock", "door_open_min", max(20, round(140 + g(0, 30))), ""
    yield 1305, "returns-dock", "door_open_min", max(10, round(65 + g(0, 20))), ""


def write_plant_log(folder, seed):
    rng, rows, day = random.Random(f"{seed}/plantlog"), [], FIRST
    while day <= LAST:
        for line in ("1", "2", "3", ""):
            entries = daily_log(day, line, rng) if line else plant_wide_log(day, rng)
            rows += [(stamp(local(day, minute)), place, quantity, value, line, note)
                     for minute, place, quantity, value, note in entries]
        day += timedelta(days=1)
    rows.sort(key=lambda r: datetime.fromisoformat(r[0]))
    write_csv(folder, "plantlog.csv", "at place quantity value line note".split(), rows)
