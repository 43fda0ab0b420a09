#!/usr/bin/python3
"""strangers_test.py BINARIES: what tropics and northern write is the same for a seed and is taken whole; and the
figures that are made of such plants."""
import json
import pathlib
import random
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import plantrun                                                         # noqa: E402
import scoring                                                          # noqa: E402
import studies                                                          # noqa: E402

DAYS = "21"
BINARIES = pathlib.Path()


def written(by, seed, folder):
    subprocess.run([sys.executable, plantrun.HERE / plantrun.SIMULATORS[by], str(seed), folder, DAYS], check=True,
                   stdout=subprocess.DEVNULL)
    return {f.name: f.read_bytes() for f in sorted(folder.iterdir())}


class Strangers(unittest.TestCase):
    def setUp(self):
        temporary = tempfile.TemporaryDirectory(prefix="oddloaf-strangers-")
        self.addCleanup(temporary.cleanup)
        self.work = pathlib.Path(temporary.name)

    def test_a_seed_repeats(self):
        for by in ("tropics", "northern"):
            with self.subTest(by):
                once = written(by, 7, self.work / f"{by}-once")
                self.assertEqual(set(once), {f"{k}.csv" for k in plantrun.KINDS} | {"complaints.ndjson", "truth.json", "answers.json"})
                self.assertTrue(once == written(by, 7, self.work / f"{by}-again"))
                other = written(by, 8, self.work / f"{by}-other")
                self.assertNotEqual(once["lots.csv"], other["lots.csv"])

    def test_all_is_taken(self):
        for by in ("tropics", "northern"):
            with self.subTest(by), plantrun.oddloaf.Plant(BINARIES, rules=plantrun.oddloaf.ROOT / "rules") as plant:
                folder = self.work / by
                files = written(by, 7, folder)
                for kind in plantrun.KINDS:
                    self.assertEqual(plantrun.send(plant, kind, files[f"{kind}.csv"]), [], kind)
                sent = plantrun.complaints_of(folder)
                self.assertGreater(len(sent), 5)
                self.assertEqual(len(plantrun.log_complaints(plant, sent)), len(sent))
                self.check_truth(plant, json.loads(files["truth.json"]), sent)

    def check_truth(self, plant, truth, sent):
        """Every complaint has a cause that is one of its symptom's."""
        symptoms = {json.loads(c)["id"]: json.loads(c)["symptom"] for c in sent}
        self.assertEqual(symptoms.keys(), {c["id"] for c in truth["complaints"]})
        causes = {c["cause"]: set(c["symptoms"]) for c in plant.get("/v1/rules")[1]["causes"]}
        for c in truth["complaints"]:
            self.assertIn(symptoms[c["id"]], causes[c["cause"]], c)

    def test_what_no_simulator_answers_is_asked(self):
        folder = self.work / "northern"
        written("northern", 7, folder)
        told = {c["id"]: c for c in json.loads((folder / "truth.json").read_text())["complaints"]}
        one = next(iter(told))
        asked = {"C1": [{"ask": "Was anybody ill?"}, {"fact": "kept"}]}
        rows = [{"case": "C1", "ids": [one], "true_lot": told[one]["lot"]}]
        answers = json.loads((folder / "answers.json").read_text())["complaints"][one]
        plant = studies.Asked(folder, rows)
        *_, count = studies.with_answers(plant, asked)
        self.assertEqual(count, int("kept" in answers))
        self.assertEqual(len(plant.answered(asked)["C1"]), count)

    def test_who_can_answer(self):
        """What nobody can say is passed over; a truck's temperature is known where the simulator knows it."""
        lot = {"places": {}, "mixes": [], "readings": {"cool_min": 70}, "active_pct": 98, "transit_c": 24.0}
        self.assertEqual(studies.answer("transit_c", lot, {}), ("transit", 24.0))
        self.assertEqual(studies.answer("cool_min", lot, {}), ("reading", ("cool_min", 70)))
        for fact in ("acid_pct_flour", "slicer.swab_cfu.next", "mold_genus"):
            self.assertIsNone(studies.answer(fact, lot, {}), fact)
        self.assertIsNone(studies.answer("transit_c", None, {}))


class Scores(unittest.TestCase):
    def test_so_few_cases_are_off_by_chance(self):
        """Beside drawn truths of which every probability holds."""
        rng, errors = random.Random(1), []
        said = [.15 + .8 * rng.random() for _ in range(300)]
        for _ in range(300):
            errors.append(scoring.calibration([{"ranked": [("rope", p)], "truth": ["rope"] if rng.random() < p else []}
                                               for p in said])[0])
        chance = scoring.chance_error([{"ranked": [("rope", p)]} for p in said])
        self.assertAlmostEqual(chance, sum(errors) / len(errors), delta=.003)
        self.assertGreater(chance, .03)


if __name__ == "__main__":
    BINARIES = pathlib.Path(sys.argv.pop(1))
    unittest.main()
