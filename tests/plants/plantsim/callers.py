"""What people say: from a spoiled pack to a complaint as the desk would log it."""
import datetime
import json

import numpy as np

from .spoilage import COLOURS, FLORA, SPOT, WHERE

ODORS = ("sour", "cheesy", "vinegar", "fruity", "solvent", "alcohol", "musty", "rancid", "plastic", "hydrocarbon",
         "chemical", "smoky")
CRUMBS = ("normal", "firm", "dry", "crumbly", "gummy", "sticky", "stringy", "discoloured")
SMELL = {                       # words people use, with weights
    "plain": {"sour": 3, "musty": 3, "alcohol": 2, "chemical": 2, "rancid": 1.5, "plastic": 1.5, "vinegar": 1.5,
              "cheesy": 1, "smoky": 1, "fruity": .7, "solvent": .7, "hydrocarbon": .3},
    "inhibitor-overdosed": {"cheesy": 5, "vinegar": 2, "sour": 2, "rancid": 1, "chemical": .8},
    "acid-overdosed": {"vinegar": 6, "sour": 4, "cheesy": .3, "chemical": .3},
    "over-fermented": {"sour": 4, "alcohol": 4, "cheesy": .8, "vinegar": .8, "fruity": .5},
    "rope": {"fruity": 6, "cheesy": .8, "musty": .8, "sour": .6, "rancid": .5},
    "wild-yeast": {"solvent": 4, "alcohol": 3, "fruity": 2, "chemical": .7},
    "fat-rancid": {"rancid": 7, "musty": .7, "cheesy": .6, "chemical": .4},
    "pack-taint": {"plastic": 6, "solvent": 2, "chemical": 2, "hydrocarbon": .5},
    "cleaning-residue": {"chemical": 7, "solvent": .7, "plastic": .6, "alcohol": .3},
    "inhibitor-broken-down": {"hydrocarbon": 6, "solvent": 1.2, "plastic": 1, "chemical": 1.2},
    "mold-hidden": {"musty": 7, "sour": .6, "rancid": .4},
}
FEEL = {
    "plain": {"firm": 4, "dry": 3.5, "crumbly": 2, "gummy": .6, "sticky": .3, "normal": .3},
    "softener-underdosed": {"firm": 6, "crumbly": 2.2, "dry": 1.6},
    "softener-overdosed": {"gummy": 6, "sticky": 3, "discoloured": .1},
    "enzyme-window-missed": {"firm": 5.5, "crumbly": 1.8, "dry": 1.6},
    "overbaked": {"dry": 5, "firm": 2.2, "crumbly": 2},
    "underbaked-gummy": {"gummy": 5, "sticky": 3.2, "normal": .2},
    "overcooled-dry": {"dry": 5, "crumbly": 2.6, "firm": 2},
    "pack-leak-dry": {"dry": 6, "firm": 2.2, "crumbly": 1},
    "cold-storage": {"firm": 5, "crumbly": 3, "dry": 1},
    "old-stock-stale": {"firm": 4, "dry": 3, "crumbly": 2},
    "rope-crumb": {"sticky": 4.5, "stringy": 3.5, "discoloured": 1.6, "gummy": 1},
}
ALIKE = {"0": "O8D", "1": "I7L", "5": "S6", "8": "B3", "2": "Z7", "6": "8G", "3": "8", "7": "1", "4": "9", "9": "4",
         "A": "4", "B": "8", "C": "G", "L": "1I"}


def pick(rng, weights):
    words = list(weights)
    w = np.array([weights[k] for k in words], float)
    return words[rng.choice(len(words), p=w / w.sum())]


class Callers:
    def __init__(self, world, lots):
        self.world, self.lots = world, lots
        # callers draw from a stream of their own
        self.rng = np.random.default_rng([20262, world.seed])
        self.out, self.truth = [], []
        self.asked = {}
        self.number = 0
        self.midnight = datetime.datetime.combine(world.start, datetime.time())

    def calls(self, lot, source):
        n = int(self.rng.poisson(source.expected))
        if n == 0:
            return 0
        drawn = source.ages(self.rng, n)
        for k in range(n):
            colour = drawn[3][k] if len(drawn) > 3 else None
            self.one(lot, source, float(drawn[0][k]), float(drawn[1][k]), str(drawn[2][k]), colour)
        return n

    # ---- one call ----
    def one(self, lot, source, found_age, opened_age, kept, colour):
        w, rng = self.world, self.rng
        rows = source.routes or lot.dispatch
        row = rows[rng.choice(len(rows), p=np.array([r["units"] for r in rows], float) /
                              sum(r["units"] for r in rows))]
        store = str(rng.choice(row["stores"]))
        arrives = (row["at"] - lot.packed) / 1440
        found_age = max(found_age, arrives + 0.4)
        channel = str(rng.choice(["phone", "web", "store", "return", "route"], p=[.45, .27, .12, .10, .06]))
        found = self.midnight + datetime.timedelta(minutes=lot.packed + found_age * 1440)
        wait = rng.gamma(1.2, 1.4) + (1.5 if channel in ("return", "route") else 0)
        received = (found + datetime.timedelta(days=float(wait))).replace(
            hour=int(rng.integers(8, 19)), minute=int(rng.integers(0, 60)), second=0, microsecond=0)
        received = max(received, found.replace(second=0, microsecond=0))
        bought = self.midnight + datetime.timedelta(
            minutes=lot.packed + min(found_age, max(arrives + .2, found_age * rng.uniform(.3, .7))) * 1440)
        c = {"id": self.uuid(received), "received_at": self.stamp(received), "channel": channel,
             "symptom": source.symptom}
        reading = self.code(c, lot)
        trade = channel in ("store", "return", "route")
        if rng.random() < (.95 if trade else .8):
            c["product"] = lot.product.code if rng.random() > .025 else str(rng.choice([p.code for p in w.products]))
        if rng.random() < .6:
            c["code_date"] = self.date_said(lot.code_date, .05)
        if rng.random() < (.95 if trade else .55):
            c["store"] = store
        if rng.random() < .4 and not trade:
            c["bought_on"] = self.date_said(bought.date(), .08, latest=received.date())
        if rng.random() < .82:
            c["found_on"] = self.date_said(found.date(), .06, latest=received.date())
        observed = self.observe(lot, source, kept, colour, found_age, opened_age, trade)
        if observed:
            c["observed"] = observed
        c["packs"] = 1 if rng.random() < .93 else int(rng.integers(2, 4))
        if channel == "return":
            self.inspect(c, lot, received)
        self.asked[c["id"]] = (lot, source, kept, colour, found_age, opened_age, trade)
        self.out.append(c)
        self.truth.append({"id": c["id"], "cause": source.cause, "lot": lot.code, "trouble": source.trouble,
                           "reading": reading, "place": source.place, "kept": kept, "how": source.how,
                           "found_age": round(found_age, 2), "symptom": source.symptom})

    def uuid(self, when):
        self.number += 1
        ms = int((when - datetime.datetime(1970, 1, 1)).total_seconds() * 1000) + 18_000_000
        low = self.rng.integers(0, 2 ** 62)
        text = f"{ms:012x}7{self.number % 4096:03x}{(0x8000000000000000 | int(low)):016x}"
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"

    def stamp(self, when):
        from .records import stamp_local
        return stamp_local(when)

    def date_said(self, date, wrong, latest=None):
        if self.rng.random() < wrong:
            date = date + datetime.timedelta(days=int(self.rng.choice([-7, -2, -1, -1, 1, 1, 2, 7])))
        if latest and date > latest:
            date = latest
        return date.isoformat()

    def code(self, c, lot):
        """The lot code as told. Returns exact, misread, part, wrong or none."""
        rng = self.rng
        good = self.world.lot_text_good
        u = rng.random()
        text = lot.code
        if u < good:
            c["lot_text"] = text if rng.random() < .7 else text.replace(" ", "") if rng.random() < .6 else text.lower()
            return "exact"
        u = (u - good) / (1 - good)
        if u < .40:
            c["lot_text"] = self.misread(text)
            return "misread"
        if u < .58:
            parts = text.split()
            c["lot_text"] = " ".join(parts[:2]) if rng.random() < .5 else parts[2] if rng.random() < .3 else \
                text[:int(rng.integers(6, len(text) - 1))]
            return "part"
        if u < .68:
            near = [x for x in self.lots if abs(x.packed - lot.packed) < 6 * 1440 and x is not lot]
            other = near[rng.integers(0, len(near))]
            c["lot_text"] = other.code
            return "wrong"
        return "none"

    def misread(self, text):
        rng = self.rng
        for _ in range(1 if rng.random() < .75 else 2):
            spots = [i for i, ch in enumerate(text) if ch in ALIKE]
            i = spots[rng.integers(0, len(spots))]
            u = rng.random()
            if u < .65:
                text = text[:i] + str(rng.choice(list(ALIKE[text[i]]))) + text[i + 1:]
            elif u < .85:
                text = text[:i] + text[i + 1:]
            elif i + 1 < len(text):
                text = text[:i] + text[i + 1] + text[i] + text[i + 2:]
            if not [ch for ch in text if ch in ALIKE]:
                break
        return text

    # ---- observations ----
    def observe(self, lot, source, kept, colour, found_age, opened_age, trade, everything=False):
        rng, w = self.rng, self.world
        o = {}
        hide = w.vague * (0.7 if trade else 1.0) * rng.uniform(.4, 1.6)

        def told(share=1.0):
            return rng.random() < share * (1 - min(.9, hide)) or everything

        def wrong():
            return rng.random() < w.wrong_words

        s = lot.state()
        if source.symptom == "mold":
            where = source.place and SPOT[source.place] or (.12, .25, .12, .2, .14, .07, .1)
            if source.how == "packed-hot" and rng.random() < .6:
                where = (.06, .14, .10, .48, .06, .04, .12)
            if source.how == "pack-leak":
                where = (.04, .10, .05, .14, .28, .32, .07)
            if told(.9):
                o["where"] = str(rng.choice(WHERE)) if wrong() else str(rng.choice(WHERE, p=np.array(where) / sum(where)))
            if told(.95):
                o["colour"] = str(rng.choice(COLOURS)) if wrong() else colour or str(
                    rng.choice(COLOURS, p=FLORA[source.place or "cooler-air"]))
            if told(.5):
                o["spots"] = int(1 + rng.poisson(1.2 + (6 if source.trouble >= 0 and rng.random() < .5 else 0)))
        if source.symptom == "off-odor":
            if told(.97):
                first = str(rng.choice(ODORS)) if wrong() else pick(rng, SMELL[source.how])
                o["odor"] = [first]
                if rng.random() < .25:
                    second = pick(rng, SMELL[source.how])
                    if second != first:
                        o["odor"].append(second)
            if source.how == "rope" and told(.6):
                o["crumb"] = pick(rng, FEEL["rope-crumb"]) if rng.random() < .6 else "normal"
            elif told(.2):
                o["crumb"] = "normal"
        if source.symptom == "staling":
            if told(.95):
                o["crumb"] = str(rng.choice(CRUMBS)) if wrong() else pick(rng, FEEL[source.how])
            if source.how == "rope-crumb" and told(.5) and rng.random() < .6:
                o["odor"] = [pick(rng, SMELL["rope"])]
        if told(.7 if source.symptom == "mold" else .4):
            wet = rng.random() < (.06 + .6 * min(1.0, s["wet"]) + (.06 if kept == "warm" else 0))
            o["wet_inside_bag"] = bool(wet) if not wrong() else bool(not wet)
        if told(.7):
            leak = source.how in ("pack-leak", "pack-leak-dry")
            if leak and rng.random() < .62:
                bag = str(rng.choice(["seal-open", "closure-missing", "torn"], p=[.45, .35, .2]))
            else:
                bag = "sound" if rng.random() < .95 else str(rng.choice(["torn", "seal-open", "closure-missing"]))
            o["bag"] = bag
        if told(.7):
            said = kept if not wrong() else str(rng.choice(["counter", "fridge", "warm", "unknown"]))
            o["kept"] = said
        if told(.55) and found_age > opened_age:
            o["opened_days"] = int(round(found_age - opened_age))
        return o

    def inspect(self, c, lot, received):
        """The plant looks at what came back."""
        rng = self.rng
        c["units"] = int(1 + rng.poisson(1.0))
        if rng.random() < .5:
            s = lot.state()
            at = received + datetime.timedelta(days=float(rng.uniform(.2, 3)))
            c["inspected_at"] = self.stamp(at.replace(second=0, microsecond=0))
            m = {}
            if rng.random() < .7:
                m["crumb_ph"] = round(s["ph"] + rng.normal(0, .07), 2)
            if rng.random() < .3:
                m["crumb_moisture_pct"] = round(s["moisture"] - rng.uniform(0, 1.2) + rng.normal(0, .4), 1)
            if m:
                c["measured"] = m

    def write(self, folder):
        order = sorted(range(len(self.out)), key=lambda i: self.out[i]["received_at"])
        with open(folder / "complaints.ndjson", "w", encoding="utf-8") as f:
            for i in order:
                f.write(json.dumps(self.out[i]) + "\n")
        return [self.truth[i] for i in order]
