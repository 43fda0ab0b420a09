#!/usr/bin/python3
"""A plant's own rule files stand for the shipped ones file by file, and those of one plant of a company for the company's
there; which came from where, and what a release changed since, is told.                                                     usage: test_own_rules.py BINARIES"""
import json
import shutil
import signal
import subprocess
import sys

from oddloaf import PRODUCTS, ROOT, TARGETS, Plant, complaint, lot_rows, until


def edit(path, **members):
    path.write_text(json.dumps({**json.loads(path.read_text()), **members}))


def reloaded(plant, before):
    plant.daemon.send_signal(signal.SIGHUP)
    until(lambda: plant.log_text().count("settings reloaded") > before, plant.log_text)
    return plant.get("/v1/rules")[1]


class OwnRules(Plant):
    def __init__(self, binaries):
        super().__init__(binaries)
        self.own, self.shipped = self.dir / "own", self.dir / "shipped"
        shutil.copytree(ROOT / "rules", self.shipped)
        self.rules = f"{self.own}:{self.shipped}"


def reload_refused(plant):
    before = plant.log_text().count("reload refused")
    plant.daemon.send_signal(signal.SIGHUP)
    until(lambda: plant.log_text().count("reload refused") > before, plant.log_text)
    return plant.get("/v1/status")[1]["rules"]["last_error"]


def checked(plant):
    return subprocess.run([plant.binaries / "oddloafd", "--check", "--config", plant.dir / "config.json", "--state", plant.state,
                           "--rules", plant.rules], capture_output=True, text=True)


def load_lots(plant):
    lots, readings = lot_rows(days=2, start=(2026, 11, 13))
    plant.load_text("products", PRODUCTS)
    plant.load_text("targets", TARGETS)
    rows = lots.splitlines()
    for name, line in (("north", "L1"), ("south", "L2")):
        own = [rows[0] + ",plant"] + [row.replace("L1 ", line + " ") + "," + name for row in rows[1:]]
        plant.load_text("lots", "\n".join(own) + "\n")
        plant.load_text("readings", readings.replace("L1 ", line + " "))


def of_plants(plant, done):
    """Two plants of one company, the same complaint, and another ranking, severity and action where one has files of its
    own; a file of one that is wrong leaves all as it was. `done`: reloads so far."""
    load_lots(plant)
    plant.config["plants"] = {"north": {}, "south": {}}
    (plant.dir / "config.json").write_text(json.dumps(plant.config))
    north = plant.own / "plants/north"
    plant.client("rules", "copy", "plants/north/causes/packed-hot.json", "plants/north/severity.json", "--dir", plant.rules, check=0)
    edit(north / "causes/packed-hot.json", symptoms={"mold": 50}, actions=["Open north's second cooler"])
    points = json.loads((north / "severity.json").read_text())["points"]
    points["complaints"]["steps"] = [[1, 8]]
    edit(north / "severity.json", points=points)
    (plant.own / "plants/west").mkdir()
    shutil.copy(plant.shipped / "harm.json", north / "harm.json")
    said = reloaded(plant, done)
    assert [one["plant"] for one in said["of_plants"]] == ["north"], said["of_plants"]
    cases = {}
    for name, lot in (("north", "L1 6318 A0400"), ("south", "L2 6318 A0400")):
        got, told = plant.post("/v1/complaints", complaint(lot))
        assert got == 201, told
        plant.wait_idle()
        whole = plant.get(f"/v1/cases/{told['case']}")[1]
        follow = plant.get(f"/v1/cases/{told['case']}/follow")[1]
        cases[name] = (told["ranked"][0]["cause"], whole["rules"], whole["actions"], follow["severity"])
        assert whole["ranked"][0]["cause"] == told["ranked"][0]["cause"]
    assert cases["north"][0] == "packed-hot" != cases["south"][0], cases
    assert (cases["north"][1], cases["south"][1]) == (said["of_plants"][0]["rules"], said["rules"]), cases
    assert cases["north"][2][0] == "Open north's second cooler" and cases["north"][3] == "urgent" != cases["south"][3], cases

    # who looks after them is told what differs, and what is not read
    shown = " ".join(plant.client("rules", "check", plant.rules).stdout.split())
    assert f"Good, too: the rules of north, {cases['north'][1]}" in shown, shown
    assert f"{north}/causes/packed-hot.json: changed /symptoms/mold: " in shown and "now \"Open north's second cooler\"" in shown, shown
    assert f"{north}/harm.json: is not read: no plant has one of its own" in shown, shown
    assert "plants' own rules north" in " ".join(plant.client("status").stdout.split())
    whole = checked(plant)
    assert f"rules of its own: north, {cases['north'][1]}" in whole.stdout, whole
    for warning in (f"{north}/harm.json: is not read: no plant has one of its own",
                    "rules of the plant west (plants/west) are not read: the settings name no plant west"):
        assert warning in whole.stderr and warning in plant.log_text(), whole

    # wrong at one plant: nothing of the company's, nor of the other's, comes either
    edit(plant.own / "causes/rope.json", title="Rope, once more")
    edit(north / "causes/packed-hot.json", cautions=[])
    why = reload_refused(plant)
    assert f"{north}/causes/packed-hot.json:" in why and "leaves out 'hold' of the company's" in why, why
    assert plant.get("/v1/rules")[1] == said
    whole = checked(plant)
    assert whole.returncode == 78 and f"{north}/causes/packed-hot.json:" in whole.stderr, whole
    refused = plant.client("rules", "check", plant.rules)
    assert refused.returncode != 0 and f"{north}/causes/packed-hot.json:" in refused.stderr, refused
def slips_of_plants_are_named(plant):
    """Of a company, a limit or a target of a plant that the settings do not name is nobody's; README, limits.json."""
    limit = {"family": "pan-bread", "propionic_mg_kg": 3000, "what": "x", "source": "x"}
    edit(plant.shipped / "limits.json", limits=[limit, {**limit, "plant": "Larkfen"}, {**limit, "plant": "Larkfenn"}])
    edit(plant.shipped / "targets.json", targets=[{"plant": "Quarr", "symptom": "mold", "per_million": 5}])
    config = plant.dir / "company.json"
    for plants, told in (({"Larkfen": {}}, True), ({}, False)):
        config.write_text(json.dumps({"plants": plants} if plants else {}))
        said = subprocess.run([plant.binaries / "oddloafd", "--check", "--config", config, "--state", plant.state,
                               "--rules", plant.shipped], capture_output=True, text=True, check=True).stderr
        for slip in (f'{plant.shipped}/limits.json: row 3, plant "Larkfenn": is no plant',
                     f'{plant.shipped}/targets.json: row 1, plant "Quarr": is no plant'):
            assert (slip in said) == told, (plants, said)
        assert "row 2" not in said, said


def main():
    with OwnRules(sys.argv[1]) as plant:
        said = plant.get("/v1/rules")[1]
        assert said["folders"] == plant.rules and said["own"] == [], said
        count, was = len(said["causes"]), said["rules"]

        plant.client("rules", "copy", "causes/rope.json", "--dir", plant.rules)
        said = reloaded(plant, 0)
        assert said["rules"] == was, "a copy says the same"
        edit(plant.own / "causes/rope.json", title="Rope, as we say")
        edit(plant.shipped / "causes/rope.json", title="Rope, as a release says")
        (plant.own / "causes/overbaked.json").symlink_to("/dev/null")
        said = reloaded(plant, 1)
        causes = {cause["cause"]: cause for cause in said["causes"]}
        assert len(causes) == count - 1 and "overbaked" not in causes and said["rules"] != was
        assert causes["rope"]["title"] == "Rope, as we say"
        assert causes["rope"]["file"] == str(plant.own / "causes/rope.json")
        assert causes["rope-crumb"]["file"] == str(plant.shipped / "causes/rope-crumb.json")
        folder = str(plant.own)
        assert said["own"] == [
            {"file": "causes/overbaked.json", "folder": folder, "is": "removed", "release": "unknown"},
            {"file": "causes/rope.json", "folder": folder, "is": "changed", "release": "changed"}], said["own"]
        listed = " ".join(plant.client("rules", "list").stdout.split())
        assert f"{folder}/causes/overbaked.json: takes the shipped one away" in listed, listed
        rules = plant.get("/v1/status")[1]["rules"]
        assert (rules["own_files"], rules["release_changed"]) == (2, 1), rules
        shown = " ".join(plant.client("status").stdout.split())
        assert "a release changed what 1 of 2 files was copied from" in shown, shown

        # a file one folder too deep is said, where people look: in the log and by --check
        (plant.own / "causes/deep").mkdir()
        shutil.copy(plant.shipped / "causes/rope.json", plant.own / "causes/deep/rope.json")
        reloaded(plant, 2)
        stray = f"{folder}/causes/deep/rope.json: is not read: no rule file has that name"
        until(lambda: stray in plant.log_text(), plant.log_text)
        whole = checked(plant)
        assert stray in whole.stderr and whole.returncode == 0 and "are sound" in whole.stdout, whole
        of_plants(plant, 3)
        slips_of_plants_are_named(plant)
    print("ok")


main()
