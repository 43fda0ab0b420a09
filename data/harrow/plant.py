"""The plant: products, lines, routes, stores, suppliers, and its wall clock. All of it invented."""
import csv
import math
import os
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/New_York")
FIRST, LAST = date(2026, 5, 25), date(2026, 11, 22)  # Monday of 2026-W22 .. Sunday of 2026-W47
HISTORY_ENDS = datetime(2026, 11, 22, 15, 0, tzinfo=ZONE)
RECORDS_END = datetime(2026, 11, 23, 6, 0, tzinfo=ZONE)  # when the records were exported
SHOWN_LOT = (date(2026, 11, 17), "2", 0)  # this line's first lot of the day is L2 6321 B0412

@dataclass(frozen=True)
class Product:
    code: str
    name: str
    family: str
    shelf_days: int
    unit_g: int
    lines: str
    per_hour: int  # packs
    inhibitor_pct: float  # calcium propionate, % of flour
    ph: float
    moisture_pct: float
    aw: float
    bake_min: float
    core_end_c: float
    cool_min: float
    core_pack_c: float
    softener_pct: float
    fat_pct: float  # % of flour
    vinegar: bool
    sliced: bool


PRODUCTS = {p.code: p for p in (
    Product("W24", "Harrow White Pan 24 oz", "pan-bread", 10, 680, "12", 3000,
            .30, 5.35, 38.0, .950, 22, 96.5, 78, 38, .50, 2.5, True, True),
    Product("H24", "Honey Oat Pan 24 oz", "pan-bread", 10, 680, "12", 2900,
            .30, 5.40, 37.5, .946, 23, 96.5, 80, 38, .50, 3.0, True, True),
    Product("M20", "Millstone Seven-Grain 20 oz", "pan-bread", 9, 567, "1", 2600,
            .28, 5.30, 38.5, .952, 24, 96.8, 84, 38, .45, 2.0, True, True),
    Product("C06", "Orchard Cinnamon Swirls 6s", "sweet-good", 12, 510, "2", 2700,
            .22, 5.45, 31.0, .905, 18, 94.5, 45, 34, .40, 9.0, False, False),
    Product("B08", "Ferry Street Burger Buns 8s", "bun", 9, 480, "3", 3100,
            .28, 5.40, 36.0, .940, 10, 95.0, 36, 35, .55, 5.0, False, True),
    Product("D12", "Dovecote Dinner Rolls 12s", "bun", 9, 450, "3", 2900,
            .26, 5.45, 36.5, .942, 11, 95.0, 36, 35, .55, 6.0, False, False),
    Product("P06", "Lantern Pocket Flatbread 6s", "flatbread", 8, 420, "3", 2800,
            .32, 5.40, 33.0, .935, 4, 97.0, 22, 33, .25, 1.0, False, False),
    Product("T10", "Sunfield Wraps 10s", "flatbread", 21, 560, "3", 3000,
            .38, 5.25, 31.0, .915, 2, 96.0, 18, 32, .30, 7.0, False, False),
)}
PLAN = {  # what each line runs through a day, in the order of its lots
    "1": "W24 W24 H24 M20 W24 H24 M20".split(),
    "2": "W24 H24 C06 W24 C06 H24 W24".split(),
    "3": "B08 D12 P06 B08 T10 D12 P06".split(),
}
PACK_START_MIN = {"1": 246, "2": 256, "3": 268}  # minutes after midnight of the first lot
LOT_EVERY_MIN = 180

ROUTES = [f"R{n:02d}" for n in range(1, 13)]
STORES = {r: [f"{int(r[1:]):02d}{3 + 7 * k:02d}" for k in range(8)] for r in ROUTES[:10]}
STORES["R11"] = STORES["R12"] = [""]  # two depots: no store behind them is known
RETAILERS = ("Larkfield Markets", "Pennywell Grocers", "Corner Lamp", "")  # some stores are nobody's but their own
NO_LOGGER = {"R03", "R05", "R11", "R12"}  # trucks without a temperature logger
SUPPLIERS = {
    "flour": "Alder Creek Milling", "inhibitor": "Quill & Marrow Ingredients",
    "softener": "Tessel Baking Systems", "acid": "Bramble Vinegar Works",
    "yeast": "Northlock Yeast", "fat": "Saltash Shortenings", "film": "Pellow Film",
    "closure": "Wick & Tabb Closures"}
# material: prefix of its lot numbers, days a delivery lasts, deliveries in use side by side
MATERIALS = {
    "flour": ("FL", 4, 2), "inhibitor": ("CP", 9, 1), "softener": ("SO", 12, 1),
    "acid": ("VN", 8, 1), "yeast": ("YE", 3, 1), "fat": ("SH", 9, 2), "film": ("PF", 8, 2),
    "closure": ("CL", 14, 1)}
SHELF_C = 21.5


def local(day, minute):
    """The instant `minute` minutes of wall clock after local midnight, in UTC."""
    wall = datetime(day.year, day.month, day.day) + timedelta(minutes=minute)
    return wall.replace(tzinfo=ZONE).astimezone(timezone.utc)


def stamp(at):
    return at.astimezone(ZONE).isoformat(timespec="seconds")


def minutes(n):
    return timedelta(minutes=n)


def home_c(day):
    """Where bread is kept: a little warmer in July, and in one warm spell."""
    season = 1.2 * math.cos((day.timetuple().tm_yday - 205) / 365 * 2 * math.pi)
    return SHELF_C + season + (1.5 if date(2026, 8, 3) <= day <= date(2026, 8, 13) else 0.0)


def gtin(number):
    body = f"952{number:09d}"
    total = sum(int(c) * (3 if i % 2 else 1) for i, c in enumerate(body))
    return "0" + body + str(-total % 10)


def poisson(mean, rng):
    if mean <= 0:
        return 0
    limit, n, product = math.exp(-mean), 0, rng.random()
    while product > limit:
        n, product = n + 1, product * rng.random()
    return n


def write_csv(folder, name, header, rows):
    with open(os.path.join(folder, name), "w", newline="", encoding="utf-8") as f:
        w = csv.writer(f, lineterminator="\r\n")
        w.writerow(header)
        w.writerows(rows)
