"""An invented plant as rows of the store, and where each of its planted troubles was."""
import collections
import csv
import datetime
import json

DAY_MS = 86_400_000
BY_MATERIAL = {"contamination-film": "film", "pack-taint": "film", "fat-rancid": "fat", "inhibitor-spent": "inhibitor",
               "inhibitor-broken-down": "inhibitor", "rope": "flour", "rope-crumb": "flour", "pack-leak": "closure",
               "pack-leak-dry": "closure"}
BY_STORE = {"warm-storage", "cold-storage", "old-stock", "old-stock-stale"}
MOSTLY, STORES_MOST = .9, 3


# ---- a plant as rows ----

def local(text):
    return datetime.datetime.fromisoformat(text).replace(tzinfo=datetime.timezone.utc)


def ms(at):
    return int(at.timestamp() * 1000)


def week_of(at_ms):
    return (at_ms // DAY_MS + 3) // 7


def rows_of(folder, name):
    with (folder / name).open(encoding="utf-8") as f:
        return list(csv.DictReader(f))


class Plant:
    """Lots, and the complaints whose code could be read, in the plant's own time."""

    def __init__(self, folder):
        self.lots = {r["lot"]: r for r in rows_of(folder, "lots.csv")}
        for lot in self.lots.values():
            lot["at"] = ms(local(lot["packed_from"]))
        self.sent, self.uses, self.mixes = (rows_of(folder, name) for name in ("dispatch.csv", "uses.csv", "mixes.csv"))
        truth = json.loads((folder / "truth.json").read_text())
        self.troubles = {t["number"]: t for t in truth["troubles"]}
        told = {c["id"]: c for c in truth["complaints"]}
        routes = {(d["lot"], d["store"]): d["route"] for d in self.sent if d.get("store")}
        self.complaints = []
        for line in (folder / "complaints.ndjson").read_text().splitlines():
            c = json.loads(line)
            t = told.get(c["id"])
            if t and t["reading"] in ("exact", "misread") and t["lot"] in self.lots:
                store = c.get("store") or ""
                route = c.get("route") or routes.get((t["lot"], store), "")
                self.complaints.append({"id": c["id"], "symptom": c["symptom"], "at": ms(local(c["received_at"])),
                                        "lot": t["lot"], "route": route, "store": store, "trouble": t["trouble"]})
        self.material = collections.defaultdict(set)
        for u in self.uses:
            self.material[u["lot"]].add((u["material"], u["material_lot"]))

    def sql(self, quiet=False):
        out, products = ["PRAGMA defer_foreign_keys=ON;"], {}
        for n, (code, lot) in enumerate(self.lots.items(), 1):
            lot["id"] = n
            p = products.setdefault(lot["product"], len(products) + 1)
            out.append(f"INSERT INTO lot(id,lot,fold,product_id,line,shift,made_from_ms,made_to_ms,packed_from_ms,packed_to_ms,units,"
                       f"code_day) VALUES({n},'{code}','{code}',{p},'{lot['line']}','{lot.get('shift') or ''}',{lot['at']},{lot['at']},"
                       f"{lot['at']},{lot['at']},{lot['units']},1);")
        for code, p in products.items():
            out.append(f"INSERT INTO product(id,product,name,family,shelf_life_days,unit_g) VALUES({p},'{code}','{code}','bread',9,500);")
        for d in self.sent:
            out.append(f"INSERT INTO dispatch(lot_id,route,store,at_ms,units) VALUES({self.lots[d['lot']]['id']},'{d['route']}',"
                       f"'{d.get('store') or ''}',{ms(local(d['at']))},{d['units']}) ON CONFLICT DO NOTHING;")
        for u in self.uses:
            if u["lot"] in self.lots:
                out.append(f"INSERT INTO material_use(lot_id,material,material_lot,supplier) VALUES({self.lots[u['lot']]['id']},"
                           f"'{u['material']}','{u['material_lot']}','{u.get('supplier') or ''}') ON CONFLICT DO NOTHING;")
        for m in self.mixes:
            if m["lot"] in self.lots:
                out.append(f"INSERT INTO mix VALUES('{m['mix']}',{self.lots[m['lot']]['id']},{ms(local(m['at']))},100) ON CONFLICT DO NOTHING;")
        cases = {}
        for n, c in enumerate(self.complaints, 1):
            if quiet and c["trouble"] != -1:
                continue
            lot = self.lots[c["lot"]]["id"]
            case = cases.setdefault((lot, c["symptom"]), len(cases) + 1)
            out.append(f"INSERT INTO complaint(id,uuid,received_ms,logged_ms,channel,symptom,case_id,lot_id,store,route,body,lot_state)"
                       f" VALUES({n},'{c['id']}',{c['at']},{c['at']},'phone','{c['symptom']}',{case},{lot},'{c['store']}','{c['route']}','{{}}','exact');")
        for (lot, symptom), case in cases.items():
            out.append(f"INSERT INTO complaint_case(id,symptom,lot_id,opened_ms,as_of_ms,complaints,packs)"
                       f" VALUES({case},'{symptom}',{lot},1,1,1,1);")
        return "\n".join(out)


# ---- where a trouble was ----

def mostly(levels, most=1):
    """The few levels that nine in ten bear, or nothing."""
    named = [x for x in levels if x]
    top = collections.Counter(named).most_common(most)
    for n in range(1, len(top) + 1):
        if sum(count for _, count in top[:n]) >= MOSTLY * len(named):
            return [level for level, _ in top[:n]]
    return []


def where_sold(sold, mine):
    """A whole route, whoever names a store, or those stores that somebody names."""
    route, stores = sold
    if not stores:
        return "route", [("route", route)]
    named = [s for s in stores if any(c["store"] == s for c in mine)]
    return ("store", [("store", s) for s in named] + [("route", route)] * (len(named) > 1)) if named else None


def true_factors(plant, trouble, mine):
    """(kind, what may rightly be named) of a trouble's complaints; None where it was all over the plant. Stores or a
    route are told by what was planted, or else by those who name one, a lot of material by the causes that materials
    bring, all else is somewhere if nine in ten complaints are of one line, for hands of one shift, for a wrong recipe
    of one product."""
    lots = [plant.lots[c["lot"]] for c in mine]
    if trouble["cause"] in BY_STORE:
        if trouble.get("sold"):
            return where_sold(trouble["sold"], mine)
        stores, routes = mostly([c["store"] for c in mine], STORES_MOST), mostly([c["route"] for c in mine])
        if stores:
            return "store", [("store", s) for s in stores] + [("route", r) for r in routes if len(stores) > 1]
        return ("route", [("route", routes[0])]) if routes else None
    material = BY_MATERIAL.get(trouble["cause"])
    if material:
        code = mostly([next((lot for m, lot in plant.material[c["lot"]] if m == material), "") for c in mine])
        made = [lot for lot in plant.lots if code and (material, code[0]) in plant.material[lot]]
        if code and len(set(made) & set(trouble["lots"])) >= .6 * len(made):
            return "material", [(material, code[0])]
    found = [("line", line) for line in mostly([lot["line"] for lot in lots])]
    if trouble["cause"] == "contamination-hands":
        found += [("shift", shift) for shift in mostly([lot.get("shift") for lot in lots])]
    if "recipe" in trouble["note"]:
        found += [("product", product) for product in mostly([lot["product"] for lot in lots])]
    return (found[0][0], found) if found else None
