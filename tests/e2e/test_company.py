"""The demo company (data/make_company.py): a film that two of three plants had is found across them, at either by
one complaint; a line is its plant's own; a week of one plant is a part of all.   usage: test_company.py BINARIES
"""
import csv
import json
import pathlib
import subprocess
import sys

from oddloaf import ROOT, Plant, complaint

FILM = "PF-4519"


class Company(Plant):
    def __init__(self, binaries):
        super().__init__(binaries, config={"plants": {"alder": {"title": "Tarnbrook, Alder"}, "quay": {}, "mill": {}}})
        self.made = self.dir / "company"
        subprocess.run([sys.executable, ROOT / "data/make_company.py", self.made], check=True, stdout=subprocess.DEVNULL)
        self.rules = f"{self.made}/rules:{ROOT / 'rules'}"
        with open(self.made / "truth.csv", encoding="utf-8") as f:
            self.truth = list(csv.DictReader(f))

    def newest(self, plant, why):
        return [row for row in self.truth if (row["plant"], row["why"]) == (plant, why)][-1]

    def weeks(self, query=""):
        status, week = self.get("/v1/weeks/2026-W46" + query)
        assert status == 200, week
        return week


def check_causes(company):
    for plant, why, cause in (("alder", "dirty", "contamination-film"), ("quay", "dirty", "contamination-film"),
                              ("mill", "hot", "packed-hot")):
        case = company.client_json("rank", company.newest(plant, why)["complaint"])
        assert case["ranked"][0]["cause"] == cause, (plant, case["ranked"][:3])


def check_trace(company):
    said = company.client_json("trace", "--symptom", "mold", "--from", "2026-10-20", "--to", "2026-11-22")
    likeliest = [story["factors"][0] for story in said["stories"] if story["told"]]
    told = {(factor["factor"], factor["level"], factor.get("plant")) for factor in likeliest}
    assert told == {("film", FILM, None), ("line", "1", "mill")}, said["stories"]


def check_week(company):
    """Line 1 of Mill rose; line 1 of Alder, which had neither trouble, did not. Plants sum up to all."""
    whole, parts = company.weeks(), [company.weeks(f"?plant={plant}") for plant in ("alder", "quay", "mill")]
    assert whole["complaints"]["mold"] == sum(part["complaints"]["mold"] for part in parts) > 30, parts
    assert whole["units"] == sum(part["units"] for part in parts)
    lines = {(row["plant"], row["level"]): row["complaints"] for row in whole["by"]["line"] if row["symptom"] == "mold"}
    assert lines["mill", "1"] > 10 > 3 > lines.get(("alder", "1"), 0), lines
    rose = {(signal["factor"], signal["level"], signal.get("plant")) for signal in whole["signals"]}
    assert ("line", "1", "mill") in rose and ("line", "1", "alder") not in rose, rose
    page = company.client("week", "2026-W46", "--by", "plant", check=0).stdout
    assert f"Mold with film {FILM}" in page and "line 1 (mill)" in page, page
    page = company.client("week", "2026-W46", "--plant", "alder", check=0).stdout
    assert page.startswith("Week 2026-W46 of alder, "), page
    if "oddloaf trace" in page:
        assert "--plant alder" in " ".join(page.split()), page
    company.client("week", "2026-W46", "--plant", "mill", "--html", str(company.dir / "week.html"))
    html = (company.dir / "week.html").read_text()
    assert "<h1>Complaints of mill, week 2026-W46</h1>" in html and "--to 2026-11-15 --plant mill</code>" in html, html[:2000]
    assert "(mill)" not in page and "(quay)" not in page and "(alder)" in page, page


def rows_of(company, kind):
    with open(company.made / f"{kind}.csv", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def check_common(company):
    """What most lots of the plant share is counted of that plant; those of others are a number of their own."""
    plant = {row["lot"]: row["plant"] for row in rows_of(company, "lots")}
    lot = next(row["lot"] for row in rows_of(company, "uses") if row["material_lot"] == FILM and plant[row["lot"]] == "alder")
    status, logged = company.post("/v1/complaints", complaint(lot, "other", harm=["illness"], note="ill"))
    status, reach = company.get(f"/v1/cases/{logged['case']}/reach")
    assert status == 200 and reach["common"], reach
    spans = 0
    for told in reach["common"]:
        material, level = told["shares"].removeprefix("same ").split(" lot ") if " lot " in told["shares"] else ("mix", "")
        having = {plant_of: len({row["lot"] for row in rows_of(company, "uses") if (row["material"], row["material_lot"]) == (material, level)
                                 and (plant[row["lot"]] == "alder") == plant_of}) for plant_of in (True, False)}
        assert (told["lots"], told.get("elsewhere", 0)) == (having[True], having[False]), (told, having)
        spans += having[False] > 0
    assert spans, reach["common"]
    page = company.client("reach", logged["case"], check=0).stdout
    assert " of other plants" in " ".join(page.split()), page


def check_codes(company):
    """A code is one lot's: the file of another plant does not take it."""
    lots = (company.made / "lots.csv").read_text().splitlines()
    clash = "\n".join([lots[0], lots[1].replace(",alder,", ",quay,")]) + "\n"
    status, answer = company.request("POST", "/v1/records/lots?source=clash.csv", clash.encode(), "text/csv")
    assert answer["refused_total"] == 1 and "plant alder's" in json.dumps(answer), answer
    row = "\n".join([lots[0], lots[1].replace(",alder,", ',"al,der",')]) + "\n"
    status, answer = company.request("POST", "/v1/records/lots?source=comma.csv", row.encode(), "text/csv")
    assert answer["refused_total"] == 1 and "no comma" in json.dumps(answer), answer
    row = f"lot,material,material_lot\n{lots[1].split(',')[0]},bag film,F-1\n"
    status, answer = company.request("POST", "/v1/records/uses?source=uses.csv", row.encode(), "text/csv")
    assert answer["refused_total"] == 1, answer  # oddloaf(1): a material is one word
    for plant in (",,", ",quay,"):  # what was a mistake is put right in two steps
        row = "\n".join([lots[0], lots[1].replace(",alder,", plant)]) + "\n"
        status, answer = company.request("POST", "/v1/records/lots?source=right.csv", row.encode(), "text/csv")
        assert status == 200 and answer["changed"] == 1, answer


def check_names(company):
    """A slip in the settings is told of by status and --check, and refused by neither."""
    def told():
        needs = {need["what"]: need["says"] for need in company.get("/v1/status")[1]["needs"] if need["what"].startswith("plant-")}
        check = subprocess.run([company.binaries / "oddloafd", "--config", company.dir / "config.json", "--state", company.state,
                                "--rules", company.rules, "--check"], capture_output=True, text=True)
        assert check.returncode == 0, check
        return needs, [line for line in check.stdout.splitlines() if "plant" in line]
    assert told() == ({}, []), told()
    company.config["plants"]["mil"] = company.config["plants"].pop("mill")
    company.stop()
    company.start()
    needs, lines = told()
    assert needs["plant-without-lots"].endswith(": mil") and needs["plant-not-named"].endswith(": mill"), needs
    assert len(lines) == 2 and lines[0].endswith(": mil") and lines[1].endswith(": mill"), lines


def main():
    with Company(pathlib.Path(sys.argv[1])) as company:
        for kind in ("products", "lots", "uses", "readings", "plantlog", "dispatch"):
            company.client("load", kind, str(company.made / f"{kind}.csv"))
        company.client("log", "--from", str(company.made / "complaints.ndjson"))
        company.wait_idle()
        check_causes(company)
        check_trace(company)
        check_week(company)
        check_codes(company)
        check_common(company)
        company.wait_idle()
        assert not any(company.get("/v1/status/recount")[1]["differences"].values())
        check_names(company)


if __name__ == "__main__":
    main()
