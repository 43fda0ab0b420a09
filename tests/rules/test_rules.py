#!/usr/bin/python3
"""The shipped rule files, looked over: complete, each item reasoned and sourced, valid by their
schemas; and what they say of plain situations. usage: test_rules.py RULES_DIR"""
import json
import os
import re
import sys
import unittest

from scenarios import HINTS, NORMAL, SITUATIONS, UNCLEAR, bits, num, word
from weigh import load_causes, rank, weigh

RULES = sys.argv.pop(1) if len(sys.argv) > 1 else "rules"
MOLD = """inhibitor-underdosed inhibitor-ineffective-ph inhibitor-spent packed-hot underbaked
contamination-cooler-air contamination-cooler-belt contamination-slicer contamination-bagger
contamination-film contamination-hands contamination-returns contamination-ingredient-store
contamination-waste pack-leak warm-storage old-stock gas-wrong gas-leak scavenger-spent stacked-warm
store-swings filling-moist filling-heat-resistant recipe-changed""".split()
ODOR = """inhibitor-overdosed acid-overdosed over-fermented rope wild-yeast fat-rancid pack-taint
cleaning-residue inhibitor-broken-down mold-hidden taint-haloanisole pest-taint oil-taint
recipe-changed""".split()
STALING = """softener-underdosed softener-overdosed enzyme-window-missed overbaked underbaked-gummy
overcooled-dry pack-leak-dry cold-storage old-stock-stale rope-crumb flour-sprouted
dough-water-off frozen-chain emulsifier-underdosed film-off-spec recipe-changed""".split()
CAUSES = load_causes(RULES)
AFTER_DISPATCH = {n for n, c in CAUSES.items() if c.get("after_dispatch")}
MOST_BITS = 7  # what a plant says of itself is never surer: 1 in 128


def json_files(*folder):
    return [n for n in os.listdir(os.path.join(RULES, *folder)) if n.endswith(".json")]


def read(*path):
    with open(os.path.join(RULES, *path), encoding="utf-8") as f:
        return json.load(f)


class Files(unittest.TestCase):
    def test_every_cause_is_there(self):
        for symptom, ids in (("mold", MOLD), ("off-odor", ODOR), ("staling", STALING)):
            for name in ids + ["not-known"]:
                self.assertIn(symptom, CAUSES[name]["symptoms"], name)

    def test_only_not_known_is_background(self):
        self.assertEqual([n for n, c in CAUSES.items() if c.get("background")], ["not-known"])
        self.assertLessEqual({"warm-storage", "old-stock", "cold-storage", "old-stock-stale"}, AFTER_DISPATCH)

    def test_items_say_why(self):
        for name, cause in CAUSES.items():
            for item in cause["evidence"]:
                self.assertTrue(item.get("because", "").strip(), (name, item["fact"]))
                self.assertFalse(item["because"].endswith("."), (name, item["because"]))

    def test_no_item_alone_decides(self):
        for name, cause in CAUSES.items():
            for item in cause["evidence"]:
                bits = [*item.get("table", {}).values(), *(y for _, y in item.get("curve", [])), *item.get("limit", [])]
                self.assertLessEqual(max(map(abs, bits), default=0), MOST_BITS, (name, item["fact"]))

    def test_causes_can_be_acted_on(self):
        for name, cause in CAUSES.items():
            self.assertTrue(cause["checks"] and cause["actions"] and cause["sources"], name)
            if name not in ("not-known", *AFTER_DISPATCH):
                self.assertTrue(cause["reach"], name)

    def test_two_groups_never_hold_the_same_fact(self):
        for name, cause in CAUSES.items():
            groups = {}
            for item in cause["evidence"]:
                if item["fact"] == "model.mold_age" or "limit" in item:
                    continue
                # what a sample after the lot says against its place stands beside the one before it
                against = item["fact"].endswith(".next") and max(y for _, y in item["curve"]) <= 0
                key = (item["fact"], item.get("as"), against)
                self.assertEqual(groups.setdefault(key, item.get("group")), item.get("group"),
                                 (name, item["fact"]))

    def test_asks_move_some_cause(self):
        facts = {item["fact"] for c in CAUSES.values() for item in c["evidence"]}
        for ask in read("asks.json")["asks"]:
            self.assertIn(ask["fact"], facts)
            uses = {item["as"] for c in CAUSES.values() for item in c["evidence"]
                    if item["fact"] == ask["fact"] and "as" in item}
            for answer in ask["answers"]:
                self.assertTrue("word" in answer or uses <= set(answer), (ask["fact"], uses))

    def test_callers_are_asked_what_fits(self):
        """What a caller with mold sees, a caller with a smell does not: nobody is asked for the color of a smell."""
        seen, any_ = {"where", "colour", "spots"}, {"wet_inside_bag", "bag", "kept", "opened_days"}
        fits = {"mold": seen | any_, "off-odor": {"odor", "crumb"} | any_, "staling": {"odor", "crumb"} | any_}
        for symptom, facts in fits.items():
            asked = {a["fact"] for a in read("asks.json")["asks"] if a["of"] == "caller" and symptom in a.get("symptoms", fits)}
            self.assertEqual(asked, facts, symptom)

    def test_what_can_be_measured_is_read(self):
        """A quantity that no rule reads is loaded for nothing."""
        models = {"core_temp_c", "pack_room_c", "mold_free_days"}       # the models and calibrate read them
        computed = {"inhibitor_kg", "acid_kg"}                          # doses on flour are made of them
        counted = {"cleaned", "filter_changed"}                         # hours and days since
        read_by = {part for c in CAUSES.values() for item in c["evidence"] for part in item["fact"].split(".")}
        for row in read("quantities.json")["quantities"]:
            self.assertIn(row["quantity"], read_by | models | computed | counted)
            self.assertTrue(row.get("about"), row["quantity"])

    def test_lexicon_phrases_mean_one_thing(self):
        for name in json_files("lexicon"):
            for field in read("lexicon", name)["fields"]:
                seen = {}
                for word, phrases in field["words"].items():
                    for phrase in phrases:
                        other = seen.setdefault(phrase, word)
                        self.assertEqual(other, word, (name, field["field"], phrase))

    def test_schemas(self):
        try:
            from jsonschema import Draft202012Validator, RefResolver
        except ImportError:
            self.skipTest("python3-jsonschema is not installed")
        schemas = {n: read("schema", n) for n in os.listdir(os.path.join(RULES, "schema"))}
        files = [("cause.schema.json", ("causes", f"{n}.json")) for n in CAUSES]
        files += [("lexicon.schema.json", ("lexicon", n)) for n in json_files("lexicon")]
        files += [("harm_words.schema.json", ("lexicon", "harm", n))
                  for n in json_files("lexicon", "harm")]
        files += [("harm_weights.schema.json", ("lexicon", "weights", n))
                  for n in json_files("lexicon", "weights")]
        files += [("common_words.schema.json", ("lexicon", "common", n))
                  for n in json_files("lexicon", "common")]
        files += [(f"{n}.schema.json", (f"{n}.json",))
                  for n in ("asks", "cautions", "harm", "limits", "lots", "models", "places", "preservers", "quantities", "ranking",
                            "severity")
                  if os.path.exists(os.path.join(RULES, f"{n}.json"))]
        for schema, path in files:
            with self.subTest(path=path):
                self.assertIn(schema, schemas)
                resolver = RefResolver("", schemas[schema], store=schemas)
                validator = Draft202012Validator(schemas[schema], resolver=resolver)
                self.assertEqual([e.message for e in validator.iter_errors(read(*path))], [])


LABELS = ("common practice, no source", "plant experience", "from memory")


def looked_up():
    """The citations of SOURCES.md: first cells of its tables, a remark in brackets at the end left out."""
    with open(os.path.join(RULES, "SOURCES.md"), encoding="utf-8") as f:
        cells = [m[1] for m in re.finditer(r"^\| ([^|]+) \|.*\|.*\|$", f.read(), re.M)]
    cells = [re.sub(r"(?<=.) \([^)]* from memory[^)]*\)$", "", c) for c in cells]
    return {c for c in cells if c != "Source" and not c.startswith(("---", "(not cited"))}


class Sources(unittest.TestCase):
    """Each citation says where and of when it is, and what was looked up of it stands in one file."""

    def cited(self):
        for name, cause in CAUSES.items():
            for text in [i["source"] for i in cause["evidence"]] + cause["sources"]:
                for one in text.split("; "):
                    if one not in LABELS:
                        yield name, one

    def test_citations_were_looked_up(self):
        known = looked_up()
        self.assertGreater(len(known), 40)
        for name, one in self.cited():
            self.assertIn(one, known, name)

    def test_citations_have_year_and_place(self):
        for one in looked_up():
            year = re.search(r"\b(19|20)\d\d\b", one)
            self.assertTrue(year, one)
            dated_last = re.match(r"ISO |\d+ CFR|.*, as of ", one)
            place = one if dated_last else one[year.end():]
            self.assertRegex(place, r"[A-Za-z]{2,}", one)

    def test_a_cause_lists_what_its_items_cite(self):
        for name, cause in CAUSES.items():
            for item in cause["evidence"]:
                for one in item["source"].split("; "):
                    if one not in LABELS:
                        self.assertIn(one, cause["sources"], name)

    def test_parameters_cite_only_what_was_looked_up(self):
        known = sorted(looked_up(), key=len, reverse=True)
        rows = read("models.json")["parameters"] + [{**row, "name": row["kind"]} for row in read("preservers.json")["preservers"]]
        for row in rows:
            rest = row["source"]
            for one in known:
                rest = rest.replace(one, "")
            self.assertNotRegex(rest, r"\b(19|20)\d\d\b(?! mg)", row["name"])
            if row["mark"] == "R":
                self.assertTrue(rest != row["source"], row["name"])


def work(cause):
    """What a cause's checks and actions say is to be done, and the cautions each names."""
    for one in cause["checks"] + cause["actions"]:
        yield (one, []) if isinstance(one, str) else (one["do"], one.get("mind", []))


class Cautions(unittest.TestCase):
    """By check, action and symptom: whatever touches a hazard says so, and only that."""
    # written anew from the trade's side: what is handled, and what must then be minded
    TOUCHES = (
        (r"^(strip|clean|dry clean|disinfect)|; (clean|disinfect)|titrate|vinegar or acid drum|rinse and", "chemicals"),
        (r"feeder|reference weight|bags weighed|weigh one mix|caked, damp", "powders"),
        (r"sifters|toppings that go on|flour handling|dust removed", "flour-dust"),
        (r"\b(hopper|ducts|soakers|hollow)", "confined-space"),
        (r"^(swab|strip|clean).*(blades|slicer|belt|scoops)|feeder|closing head|hollow rollers|exchanger|cooler fans|guides instead", "lock-out"),
        (r"burner|zone|probe cores|temperature series|before and after the oven|70 °C", "heat"),
        (r"burner|exchanger|flush(ing|er)", "gas"),
        (r"cylinder", "confined-space"),
        (r"grease[?]|drip pans|degreaser", "oils"),
        (r"(?<!fragments of )insects|licensed controller", "pests"),
        (r"^look into the freezer|alarm on the freezer", "freezers"),
        (r"sealing jaws", "lock-out"),
        (r"compressor|nozzles of the bagger|drain and dry the lines", "compressed-air"),
        (r"\bsmell (crumb|fat|the inside|test)|odor panel|smell for pineapple", "smelling"),
        (r"35 °C|^set (settle )?plates|^swab|contact plates|heat-resistant spores", "cultures"),
        (r"rework containers|quarantine the (flour|fat|inhibitor)|preservative system|recipe in grams", "allergens"))
    PAPER = re.compile(r"^(Look at (core|bake|cooling|swabs|samples|hand|plates|the gas|seal temp)|Compare|List|Ask|Read the|Visit)")

    def rows(self):
        return {row["id"]: row for row in read("cautions.json")["cautions"]}

    def test_what_touches_a_hazard_names_its_caution(self):
        met = set()
        for name, cause in CAUSES.items():
            for text, mind in work(cause):
                for pattern, caution in self.TOUCHES:
                    if not self.PAPER.match(text) and re.search(pattern, text, re.I):
                        met.add(caution)
                        self.assertIn(caution, mind, (name, text))
        self.assertEqual(met, {caution for _, caution in self.TOUCHES})

    def test_moldy_packs_are_opened_with_care(self):
        for name, cause in CAUSES.items():
            for text, mind in work(cause):
                if "mold" in cause["symptoms"] and re.search(r"returned (packs|loaves)|and the returns|mold of", text):
                    self.assertIn("mold-open", mind, (name, text))

    def test_each_caution_says_who_and_is_used(self):
        used = {i for c in CAUSES.values() for _, mind in work(c) for i in mind}
        used |= {i for c in CAUSES.values() for i in c["cautions"]}
        for name, row in self.rows().items():
            self.assertTrue(row["for"] and row["text"].endswith("."), name)
            self.assertTrue(name in used or row.get("symptoms"), name)
            for one in row["source"].split("; "):
                self.assertTrue(one in LABELS or one in looked_up(), one)

    def test_when_in_doubt_hold_it(self):
        for name, cause in CAUSES.items():
            if re.match("contamination-|rope|pack-leak|inhibitor-|pack-taint|taint-|cleaning|gas-|scavenger"
                        "|pest-|oil-|filling-|stacked-|store-", name):
                self.assertIn("hold", cause["cautions"], name)
        self.assertIn("when in doubt hold it", self.rows()["hold"]["text"])

    def test_what_holds_for_one_family_says_so(self):
        """A filling is a sweet good's: whatever its records say of a pan loaf, it is not ranked."""
        for name in ("filling-moist", "filling-heat-resistant"):
            own = {"filling_aw": num(1.1, 9, .9), "heat_mold_cfu_g": num(z=6, value=50)}
            loaf = rank(CAUSES, {**NORMAL, **own}, "mold")
            self.assertLess(dict((n, p) for p, n in loaf)[name], .001, name)

    def test_mold_cautions_are_molds(self):
        rows = self.rows()
        self.assertEqual(rows["mold-spores"]["symptoms"], ["mold"])
        self.assertIn("desk", rows["mold-spores"]["for"])
        for name, cause in CAUSES.items():
            if list(cause["symptoms"]) == ["staling"]:
                said = cause["cautions"] + [i for _, mind in work(cause) for i in mind]
                self.assertFalse({"mold-spores", "mold-open"} & set(said), name)

    def test_nobody_tastes(self):
        for name, cause in CAUSES.items():
            for text, _ in work(cause):
                self.assertNotRegex(text, r"(?i)\btaste", name)
        for name in ("mold-spores", "no-taste", "rope-ill"):
            self.assertRegex(self.rows()[name]["text"], "taste")


class Situations(unittest.TestCase):
    """A normal lot with one thing out of line."""

    def test_each_planted_thing_comes_first(self):
        for symptom, cause, changes in SITUATIONS:
            facts = {**NORMAL, **changes}
            ranked = rank(CAUSES, facts, symptom)
            with self.subTest(cause=cause, changes=changes):
                self.assertEqual(ranked[0][1], cause, ranked[:3])
                self.assertGreater(ranked[0][0], 0.4, ranked[:3])

    def test_a_hint_is_among_the_first(self):
        for symptom, cause, changes in HINTS:
            ranked = rank(CAUSES, {**NORMAL, **changes}, symptom)
            with self.subTest(cause=cause, changes=changes):
                self.assertIn(cause, [name for _, name in ranked[:3]])
                self.assertGreater(dict((n, p) for p, n in ranked)[cause], .1, ranked[:4])

    def test_every_cause_has_a_situation(self):
        self.assertEqual({s[1] for s in SITUATIONS}, set(CAUSES) - {"not-known"})

    def test_a_normal_lot_says_nothing(self):
        for symptom in ("mold", "off-odor", "staling"):
            ranked = rank(CAUSES, NORMAL, symptom)
            self.assertEqual(ranked[0][1], "not-known")
            self.assertGreater(ranked[0][0], 0.5, (symptom, ranked[:4]))

    def test_summer_and_a_bad_week_are_no_warm_truck(self):
        """All mold comes sooner in summer, what is nobody's fault too; a plant that has more complaints than usual
        has them from a line of its own far oftener than from the weather."""
        summer = {**NORMAL, "season": word("summer"), "company.plant": bits(2.5, 2.5), "company.any": bits(.5, .5)}
        found = {cause: p for p, cause in rank(CAUSES, summer, "mold")}
        self.assertLess(found["warm-storage"], 0.2, found)
        self.assertGreater(found["not-known"], 0.5)

    def test_unclear_ones_stay_open(self):
        for symptom, changes in UNCLEAR:
            ranked = rank(CAUSES, {**NORMAL, **changes}, symptom)
            with self.subTest(changes=changes):
                self.assertIn(ranked[0][1], AFTER_DISPATCH | {"not-known"}, ranked[:3])

    def test_a_normal_reading_speaks_clearly_against(self):
        for cause, symptom, fact in (
                ("inhibitor-underdosed", "mold", "inhibitor_pct_flour"),
                ("inhibitor-ineffective-ph", "mold", "crumb_ph"),
                ("packed-hot", "mold", "core_at_pack_c"),
                ("pack-leak", "mold", "seal_fail_pct"),
                ("inhibitor-overdosed", "off-odor", "inhibitor_pct_flour"),
                ("rope", "off-odor", "aerobic_spores_cfu_g"),
                ("softener-underdosed", "staling", "softener_pct_flour"),
                ("overbaked", "staling", "bake_min")):
            bits = weigh(CAUSES[cause], {fact: NORMAL[fact]}, symptom)
            with self.subTest(cause=cause):
                self.assertTrue(-3.2 <= bits <= -1.4, bits)


if __name__ == "__main__":
    unittest.main()
