#!/usr/bin/python3
"""A plant's own rule files stand for the shipped ones file by file; which came from where, and what a release
changed since, is told.                                                     usage: test_own_rules.py BINARIES"""
import json
import shutil
import signal
import subprocess
import sys

from oddloaf import ROOT, Plant, until


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
        checked = subprocess.run([plant.binaries / "oddloafd", "--check", "--config", plant.dir / "config.json", "--state", plant.state,
                                  "--rules", plant.rules], capture_output=True, text=True, check=True)
        assert stray in checked.stderr and "are sound" in checked.stdout, checked
    print("ok")


main()
