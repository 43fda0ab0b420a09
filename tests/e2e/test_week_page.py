"""The week as a manager gets it: by line and by route, and its page in a real browser.

usage: test_week_page.py BUILD_FOLDER

The page, and the HTML part of Monday's digest, are opened in headless Chromium as on a phone and on a desk, light, dark and on paper;
pictures of it are left in BUILD_FOLDER/week-page. Every check is also shown pages that are broken
on purpose, and has to object to them.
"""
import csv
import datetime
import email
import email.policy
import io
import json
import pathlib
import random
import sqlite3
import sys
import tempfile
import time

from browser import Browser
from oddloaf import PRODUCTS, Plant, complaint, plant_day, until
from page_checks import COLOURS, DESK, PAPER, PHONE, problems

WEEKS, LINES = 26, ("1", "2", "3")
MONDAY = plant_day(-plant_day().weekday())  # of this week


# ---- a plant with something to tell -------------------------------------------------------------

def records():
    """Lots of every day, dispatched; line 2 goes wrong in the newest three weeks."""
    dice = random.Random(20)
    lots = ["lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift"]
    sent = ["lot,route,at,units"]
    complaints = []
    now = datetime.datetime.now(datetime.timezone.utc)
    for day in range(7 * WEEKS):
        date = MONDAY - datetime.timedelta(days=7 * WEEKS - day)
        for line in LINES:
            packed = datetime.datetime.combine(date, datetime.time(12), datetime.timezone.utc)
            code = f"L{line} {packed.year % 10}{packed.timetuple().tm_yday:03d} A1200"
            made, end = packed - datetime.timedelta(hours=3), packed + datetime.timedelta(hours=2)
            lots.append(f"{code},{'B08' if line == '3' else 'W24'},{line},{made:%FT%TZ},"
                        f"{made:%FT%TZ},{packed:%FT%TZ},{end:%FT%TZ},15000,"
                        f"{date + datetime.timedelta(days=10)},{'AB'[day % 2]}")
            route = f"R{1 + day % 3}"
            sent.append(f"{code},{route},{end:%FT%TZ},15000")
            bad = line == "2" and day >= 7 * (WEEKS - 3)
            for symptom, mean in (("mold", 4 if bad else 0.3), ("staling", 0.15),
                                  ("off-odor", 0.06)):
                while dice.random() < mean / (1 + mean):
                    came = packed + datetime.timedelta(days=2 + 8 * dice.random())
                    if came < now:
                        complaints.append(complaint(code, symptom, f"{came:%FT%TZ}"))
    return "\n".join(lots) + "\n", "\n".join(sent) + "\n", complaints


def fill(plant):
    lots, sent, complaints = records()
    plant.load_text("products", PRODUCTS)
    plant.load_text("lots", lots)
    plant.load_text("dispatch", sent)
    lines = "\n".join(json.dumps(c) for c in complaints)
    logged = plant.client_json("log", "--from", "-", stdin=lines)
    assert len(logged) == len(complaints)
    plant.wait_idle(120)
    ranked = {a["case"]: a["ranked"][0]["cause"] for a in logged if a.get("ranked")}
    for case, cause in list(ranked.items())[-6:]:
        plant.client("settle", case, cause, "--by", "QA", "--confirmed-by", "inspection", check=0)
    return len(complaints)


def digest_of(plant, mails):
    """The HTML part of the digest that a daemon sends which was away on Monday."""
    plant.stop()
    with sqlite3.connect(plant.state / "oddloaf.db") as db:
        db.execute("UPDATE setting SET value = '2020-W01' WHERE key = 'digest/last'")
    db.close()
    plant.start()
    return until(lambda: next((mail.get_body(("html",)).get_content() for mail in (
        email.message_from_bytes(path.read_bytes(), policy=email.policy.default) for path in mails.glob("*.eml"))
        if " Week 20" in str(mail["Subject"])), None), "no digest came")


def mailbox(plant):
    """A mail program that keeps what it is given."""
    mails = plant.dir / "mails"
    mails.mkdir()
    program = plant.dir / "keep"
    program.write_text(f'#!/bin/sh\ncat >{mails}/$$.new && mv {mails}/$$.new {mails}/$$.eml\n')
    program.chmod(0o755)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example",
                            "to": ["qa@harrowmill.example"], "digest_hour": 0}
    return mails


def name_of(day):
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def check_by(plant, week):
    """--by is answered by the daemon, the same in every form."""
    whole = plant.client_json("week", week)
    assert set(whole["by"]) == {"line", "product", "cause", "place", "route", "shift"}
    assert whole["signals"] and whole["to_come"], "the plant tells too little for this test"
    some = plant.client_json("week", week, "--by", "line,shift")
    assert list(some["by"]) == ["line", "shift"] and some["by_only"] == ["line", "shift"], some
    for one, other in zip(some["by"]["line"], whole["by"]["line"], strict=True):
        # what is due, and what is on sale, goes by the second
        now = {"made": 0, "per_million_on_sale": 0}
        assert {**one, **now} == {**other, **now}, (one, other)
    out = plant.client("week", week, "--by", "line", check=0).stdout
    assert "By line: complaints received" in out and "about what was packed" in out, out
    assert "By product" not in out and "By route" not in out, out
    assert all(len(line) <= 80 for line in out.splitlines()), out
    table = list(csv.DictReader(io.StringIO(
        plant.client("week", week, "--by", "line", "--csv", "-", check=0).stdout)))
    assert {row["factor"] for row in table} == {"line"}
    for row, told in zip(table, some["by"]["line"]):
        assert row["level"] == told["level"] and int(row["complaints"]) == told["complaints"]
        assert int(row["made_complaints"]) == told["made"]["complaints"]
        assert abs(float(row["per_million"]) - told["per_million"]) < 1e-6 * told["per_million"] + 1e-9
    page = plant.client("week", week, "--by", "route", "--html", "-", check=0).stdout
    assert "<h3>By route</h3>" in page and "<h3>By line</h3>" not in page
    refused = plant.client("week", week, "--by", "line,moon")
    assert refused.returncode == 1 and "moon" in refused.stderr, refused
    status, problem = plant.get(f"/v1/weeks/{week}?by=moon")
    assert status == 400 and "line, product, cause" in json.dumps(problem), problem


def check_kept(plant, week):
    """Asked again a second later it is the same answer, until something is written. What the daemon still ranks and
    mails is written, too: it is waited for."""
    def asked():
        return plant.get(f"/v1/weeks/{week}")[1]["as_of"]

    def again():
        first, second = asked(), int(time.time())
        until(lambda: int(time.time()) > second + 1, "the clock stands")
        return first if asked() == first else None
    kept = until(again, "a week is made anew each time")
    plant.client_json("log", "--symptom", "mold", "--note", "green spots")
    assert asked() != kept


# ---- broken on purpose --------------------------------------------------------------------------

END = "</main>"
BROKEN = [  # what is put where, and which check has to object
    ("console", END, "<script>console.log('here')</script>" + END),
    ("console", END, "<script>nothing.there()</script>" + END),
    ("structure", END, "<script></script>" + END),
    ("request", END, "<img src='https://pictures.example.invalid/a.png' alt='a'>" + END),
    ("request", "<style>", "<link rel='stylesheet' href='other.css'><style>"),
    ("request", END, "<style>h1{background:url(paper.png)}</style>" + END),
    ("wide", END, "<p style='width:900px;max-width:none'>wide</p>" + END),
    ("wide", END, "<div class='scroll'><table><tr><td class='n'>" + "9" * 90 +
     "</td></tr></table></div>" + END),
    ("wide", "</style>", "@media (max-width:34rem){.wide{display:none}}</style>"),
    ("column", END, "<table style='width:40px'><tr><td>what a caller has to say of it</td></tr>"
     "</table>" + END),
    ("contrast", END, "<p style='color:#8a8a8a'>faint</p>" + END),
    ("contrast", "--soft:#", "--soft:#bbb;--unused:#"),
    ("contrast", "--blue:#", "--blue:#cde;--unused:#"),
    ("structure", "<svg viewBox", "<svg viewBox='0 0 9 9'></svg><svg viewBox"),
    ("structure", " aria-labelledby=", " data-labelledby="),
    ("structure", "-d\">", "-d\"></desc><desc>"),
    ("overlap", "</desc>", "</desc><text x='60' y='60'>one</text><text x='64' y='62'>other</text>"),
    ("structure", "<h2>", "<h4>x</h4><h1>x</h1><h2>"),
]


def check_that_it_can_fail(browser, folder, page):
    shown = None
    for n, (kind, where, instead) in enumerate(BROKEN):
        assert where in page, where
        path = folder / f"broken-{n}.html"
        path.write_text(page.replace(where, instead, 1))
        shown = shown.show(path, *PHONE) if shown else browser.open(path, width=390, height=844)
        kinds = {k for k, _ in problems(shown, PHONE[0])}
        assert kind in kinds, f"nobody minds {instead}: {kinds}"
    print(f"{len(BROKEN)} pages broken on purpose, each objected to")


# ---- the page -----------------------------------------------------------------------------------

def check_views(browser, path, pictures):
    page = None
    for scheme in ("light", "dark"):
        for name, (width, height) in (("phone", PHONE), ("desktop", DESK)):
            view = {"width": width, "height": height, "scheme": scheme}
            page = page.show(path, **view) if page else browser.open(path, **view)
            wrong = problems(page, width)
            page.screenshot(pictures / f"{name}-{scheme}.png")
            assert not wrong, f"{name}, {scheme}: {wrong}"
            counted = page.value(COLOURS)
            assert counted["texts"] > 100 and counted["shapes"] > 50, counted
            dark = page.value("getComputedStyle(document.body).backgroundColor")
            assert (sum(map(int, dark[4:-1].split(","))) < 200) == (scheme == "dark"), dark
    assert (pictures / "phone-light.png").read_bytes() != (pictures / "phone-dark.png").read_bytes()
    for picture in pictures.glob("*.png"):
        data = picture.read_bytes()
        assert data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) > 50_000, picture
        width = int.from_bytes(data[16:20], "big")
        assert width == (PHONE[0] if "phone" in picture.name else DESK[0]), (picture, width)
    return page


def check_paper(page, path, pictures):
    page.show(path, *PAPER, scheme="dark", media="print")
    wrong = problems(page, PAPER[0])
    assert not wrong, f"on paper: {wrong}"
    assert page.value("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    # no sheet is left half empty: charts that do not fit beneath the head go to the next
    for name, width, height, most in (("a4", 8.27, 11.69, 6), ("letter", 8.5, 11, 6)):
        page.pdf(pictures / f"{name}.pdf", width, height)
        data = (pictures / f"{name}.pdf").read_bytes()
        sheets = data.count(b"/Type /Page\n")
        assert data.startswith(b"%PDF") and 2 <= sheets <= most, (name, sheets)


def main():
    binaries = pathlib.Path(sys.argv[1]).resolve()
    pictures = binaries / "week-page"
    pictures.mkdir(exist_ok=True)
    for old in pictures.iterdir():
        old.unlink()
    plant = Plant(binaries)
    mails = mailbox(plant)
    with plant, tempfile.TemporaryDirectory() as scratch:
        complaints = fill(plant)
        week = name_of(MONDAY - datetime.timedelta(days=7))
        check_by(plant, week)
        check_kept(plant, week)
        plant.client("week", week, "--html", str(pictures / "week.html"), check=0)
        path = pictures / "week.html"
        text = path.read_text()
        others = {"2019-W07": "No case was settled",  # before the plant was there
                  "current": "The week is not over"}
        for name, words in others.items():
            other = pathlib.Path(scratch, name + ".html")
            plant.client("week", name, "--html", str(other), check=0)
            assert words in other.read_text(), name
        digest = pictures / "digest.html"
        digest.write_text(digest_of(plant, mails))
        with Browser() as browser:
            page = check_views(browser, path, pictures)
            check_paper(page, path, pictures)
            for name in others:
                page.show(pathlib.Path(scratch, name + ".html"), *PHONE)
                assert not problems(page, PHONE[0]), name
            page.show(digest, *PHONE)
            page.screenshot(pictures / "digest.png")
            assert not (wrong := problems(page, PHONE[0])), wrong
            check_that_it_can_fail(browser, pathlib.Path(scratch), text)
    print(f"{complaints} complaints, week {week}: pictures in {pictures}")


if __name__ == "__main__":
    main()
