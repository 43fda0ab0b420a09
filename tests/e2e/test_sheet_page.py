"""The case sheet in a real browser: of a mold case with records of all kinds, of one whose lot is in doubt,
of one that tells of harm, and of the largest there can be; served, written by the client, and mailed.

usage: test_sheet_page.py BUILD_FOLDER

Opened as on a phone and on a desk, light, dark and on paper; pictures of it are left in
BUILD_FOLDER/sheet-page.
"""
import datetime
import email
import email.policy
import pathlib
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

from browser import Browser
from oddloaf import Plant, UnixConnection, complaint, tells_phone
from page_checks import COLOURS, DESK, PAPER, PHONE, problems

HOT, FAR = "L1 6318 A0400", "L1 6321 A0800"
CALLER = {"name": "Wilhelmina Featherstone", "phone": "555-013-4711", "email": "minnie@featherstone.example"}
CODE = "X" * 60  # names as long as they may be, without a place to break at
NAME = 'Nine-grain <b>loaf</b> with honey & "oats" ' * 3 + "Z" * 60
LARGEST = 200_000


# ---- a plant with something to draw -------------------------------------------------------------

def minutes(text, later):
    when = datetime.datetime.fromisoformat(text) + datetime.timedelta(minutes=later)
    return when.isoformat()


def core_series(lot, start, packed_c):
    """Into the oven, out of it after 25 minutes, cooling for 75."""
    rows = [(m, 28 + 69 * min(1, (m / 24) ** 2)) for m in range(0, 25, 4)]
    rows += [(m, packed_c + (97 - packed_c) * 0.5 ** ((m - 25) / 15)) for m in range(25, 101, 5)]
    return "".join(f"{lot},core_temp_c,{c:.1f},{minutes(start, m)}\n" for m, c in rows)


def lots_of_days(days):
    return [(f"L1 6{day:03d} A{hour:02d}00", day, hour) for day in days for hour in (4, 8, 12, 16)]


def records():
    readings = "lot,quantity,value,at\n"
    sent = "lot,route,at,units,store,transit_c\n"
    for lot, day, hour in lots_of_days(range(310, 322)):
        date = datetime.date(2026, 1, 1) + datetime.timedelta(days=day - 1)
        start = f"{date}T{hour - 3:02d}:00:00-05:00"
        readings += f"{lot},cool_min,{72 + day % 7},{minutes(start, 170)}\n"
        if lot == HOT or hour == 4:
            readings += core_series(lot, start, 47 if lot == HOT else 36)
        for route in range(3 if lot != HOT else 15):
            for store in range(4):
                sent += f"{lot},R{route:02d},{minutes(start, 300)},{90 + 7 * route},{store:04d},21\n"
    readings += f"{HOT},core_at_pack_c,47.5,2026-11-14T04:10:00-05:00\n"
    readings += f"{HOT},core_at_pack_c,46.1,2026-11-14T04:20:00-05:00\n"
    return readings, sent


def long_names(plant):
    """A lot whose every name is as long as it can be."""
    plant.load_text("products", f"product,name,family,shelf_life_days,unit_g\n{CODE},\"" +
                    NAME.replace('"', '""') + "\",pan-bread,10,680\n")
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift\n"
                    f"{CODE},{CODE},{CODE},2026-11-17T01:00:00-05:00,2026-11-17T02:00:00-05:00,"
                    f"2026-11-17T04:00:00-05:00,2026-11-17T05:00:00-05:00,99999999,2026-11-27,{CODE}\n")
    plant.load_text("dispatch", f"lot,route,at,units,store\n{CODE},{CODE},2026-11-17T09:00:00-05:00,99999999,{CODE}\n")
    plant.client("hold", CODE, "--reason", "W" * 255, "--by", "M" * 63, check=0)
    return log(plant, lot=CODE, observed={"where": "side"}, route=CODE)


def log(plant, **of):
    said = complaint(contact=CALLER, note=f"{CALLER['name']} says call {CALLER['phone']}", **of)
    status, told = plant.post("/v1/complaints", said)
    assert status == 201, told
    return told["case"]


def fill(plant):
    """The cases: hot, in doubt, of harm, without a lot."""
    plant.load_small()
    readings, sent = records()
    plant.load_text("readings", readings)
    plant.load_text("dispatch", sent)
    wet = {"where": "side", "wet_inside_bag": True, "kept": "counter"}
    cases = {"hot": log(plant, lot=HOT, observed=wet, route="R02")}
    for later in ("2026-11-21", "2026-11-22"):
        log(plant, lot=HOT, observed=wet, received=later + "T09:00:00-05:00", store="0001")
    for lot in ("L1 6318 A0800", "L1 6317 A1200", "L1 6318 A0800"):
        log(plant, lot=lot)
    cases["stale"] = log(plant, lot=FAR, symptom="staling", observed={"crumb": "firm"})
    cases["doubt"] = log(plant, lot="", product="W24", code_date="2026-11-24")
    cases["harm"] = log(plant, lot=FAR, harm=["illness"])
    cases["none"] = log(plant, lot="", symptom="off-odor")
    cases["long"] = long_names(plant)
    plant.client("hold", "L1 6318 A0800", "--reason", "sweats in the bag", "--by", "Mira", check=0)
    plant.wait_idle()
    return cases


def mailbox(plant):
    mails = plant.dir / "mails"
    mails.mkdir()
    program = plant.dir / "keep"
    program.write_text(f'#!/bin/sh\ncat >{mails}/$$.new && mv {mails}/$$.new {mails}/$$.eml\n')
    program.chmod(0o755)
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example",
                            "to": ["qa@harrowmill.example"]}
    return mails


# ---- what it says -------------------------------------------------------------------------------

def served(plant, path):
    connection = UnixConnection(plant.socket)
    connection.request("GET", path)
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer, text


def check_excess(plant, cases):
    """A count above chance that speaks against a cause is told with the reason."""
    told = []
    for case in (cases["hot"], cases["stale"]):
        why = plant.get(f"/v1/cases/{case}/why")[1]
        told += [(f["fact"], f.get("although", "")) for cause in why["causes"] for f in cause["facts"]
                 if f["bits"] < 0 and f.get("observed") and f["observed"] > f["expected"]]
    assert any("explained better by: " in words or "too few" in words for _, words in told), told


def check_served(plant, cases, week):
    for path in (f"/v1/cases/{cases['hot']}.html", f"/v1/weeks/{week}.html"):
        answer, text = served(plant, path)
        assert answer.status == 200 and answer.getheader("Content-Type") == "text/html; charset=utf-8"
        policy = answer.getheader("Content-Security-Policy")
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy, policy
        assert answer.getheader("X-Content-Type-Options") == "nosniff"
        assert answer.getheader("Cache-Control") == "no-store"
        assert answer.getheader("Referrer-Policy") == "no-referrer"
        assert text.startswith("<!DOCTYPE html>") and "<script" not in text
    assert served(plant, "/v1/cases/C999.html")[0].status == 404
    assert served(plant, "/v1/weeks/2026-W99.html")[0].status == 400
    assert served(plant, f"/v1/cases/{cases['hot']}")[0].getheader("Content-Security-Policy") is None
    assert plant.client("rank", "--all", "--html", "-").returncode == 2


def words_of(text):
    page = ElementTree.fromstring(text.replace("<!DOCTYPE html>", ""))  # well-formed as XML
    body = page.find("{http://www.w3.org/1999/xhtml}body")
    return page, " ".join(" ".join(body.itertext()).split())


def check_words(pages):
    for name, text in pages.items():
        page, words = words_of(text)
        told = [part for part in (*CALLER.values(), "Featherstone") if part in text]
        assert not told and not tells_phone(text, CALLER["phone"]), (name, told)
        svg = "{http://www.w3.org/1999/xhtml}"
        pictures = [p for p in page.iter(svg + "svg") if p.get("role") == "img"]
        assert all(p.find(svg + "title").text and p.find(svg + "desc").text for p in pictures), name
        assert len(text.encode()) < LARGEST, (name, len(text))
    hot = words_of(pages["hot"])[1]
    for said in ("Packed too hot", "46.1 °C", "Core temperature through bake and cooling",
                 "Packs with visible mold by day", "Found on day", "This lot has 3 of these complaints",
                 "those of its line have 3", "And 3 more routes", "the case's own lot",
                 "usual 36.8", "What was done", "8 recent lots"):
        assert said in hot, (said, hot)
    doubt = words_of(pages["doubt"])[1]
    assert "no picture is drawn of any one lot" in doubt and "The lot in pictures" not in doubt
    long = words_of(pages["long"])[1]
    assert CODE in long and '<b>loaf</b> with honey & "oats"' in long and "W" * 255 in long, long
    harm = words_of(pages["harm"])[1]
    assert "Harm is reported in this case" in harm and "This sheet offers no cause" in harm
    for cause in ("What most likely went wrong", "Lots at risk", "What was measured", "%", "bits"):
        assert cause not in harm, cause
    assert "Where its packs went" in harm


# ---- in the browser -----------------------------------------------------------------------------

VIEWS = (("phone", PHONE, "light", ""), ("desk", DESK, "dark", ""), ("phone", PHONE, "dark", ""),
         ("desk", DESK, "light", ""), ("paper", PAPER, "dark", "print"))


def check_views(browser, files, pictures):
    """The fullest one in all views, of the others what differs."""
    page, counted = None, {}
    for name, path in files.items():
        for where, (width, height), scheme, media in VIEWS if name == "hot" else VIEWS[:2]:
            view = {"width": width, "height": height, "scheme": scheme, "media": media}
            page = page.show(path, **view) if page else browser.open(path, **view)
            page.screenshot(pictures / f"{name}-{where}-{scheme}.png")
            wrong = problems(page, width)
            assert not wrong, f"{name}, {where}, {scheme}: {wrong}"
            if media:
                page.pdf(pictures / "a4.pdf", 8.27, 11.69)
        counted[name] = page.value(COLOURS)
    sheets = (pictures / "a4.pdf").read_bytes().count(b"/Type /Page\n")
    assert 1 <= sheets <= 8, sheets
    assert counted["hot"]["texts"] > 100 and counted["hot"]["shapes"] > 60, counted["hot"]
    return page


def check_that_it_can_fail(page, folder, text):
    for n, (kind, where, instead) in enumerate([
            ("wide", "</main>", "<p style='width:900px;max-width:none'>wide</p></main>"),
            ("contrast", ".lot{fill:var(--blue)}", ".lot{fill:#eee}"),
            ("overlap", "</desc>", "</desc><text x='60' y='60'>one</text><text x='64' y='62'>b</text>"),
            ("structure", " aria-labelledby=", " data-labelledby=")]):
        assert where in text, where
        broken = folder / f"broken-{n}.html"
        broken.write_text(text.replace(where, instead, 1))
        page.show(broken, *PHONE)
        kinds = {k for k, _ in problems(page, PHONE[0])}
        assert kind in kinds, f"nobody minds {instead}: {kinds}"


# ---- by mail ------------------------------------------------------------------------------------

def sheets_of(mails, case, ranked=True):
    """Of the mails about the case, which name causes but beside harm."""
    for path in mails.glob("*.eml"):
        mail = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
        if f" {case} " in str(mail["Subject"]):
            assert ("Ranked causes" in mail.get_body(("plain",)).get_content()) == ranked
            yield [(a.get_filename(), a.get_content_type(), a.get_content()) for a in mail.iter_attachments()]


def check_mail(plant, mails, cases):
    for name in ("hot", "harm"):
        sent = list(sheets_of(mails, cases[name], name != "harm"))
        assert sent and all(len(a) == 1 for a in sent), (name, sent)
        (file, kind, text), = sent[-1]
        assert (file, kind) == (f"{cases[name]}.html", "text/html"), (file, kind)
        words_of(text)
        assert not tells_phone(text, CALLER["phone"]) and "Featherstone" not in text
    plant.config["mail"]["sheet_kb"] = 1  # less than any
    plant.stop()
    plant.start()
    case = log(plant, lot="L1 6310 A1200")
    plant.wait_idle()
    assert list(sheets_of(mails, case)) == [[]]
    assert "goes without its sheet" in plant.log_text()


def main():
    binaries = pathlib.Path(sys.argv[1]).resolve()
    pictures = binaries / "sheet-page"
    pictures.mkdir(exist_ok=True)
    for old in pictures.iterdir():
        old.unlink()
    plant = Plant(binaries)
    mails = mailbox(plant)
    with plant, tempfile.TemporaryDirectory() as scratch:
        cases = fill(plant)
        check_excess(plant, cases)
        check_served(plant, cases, "2026-W47")
        files = {name: pictures / f"{name}.html" for name in cases}
        for name, case in cases.items():
            plant.client("rank", case, "--html", str(files[name]), check=0)
        pages = {name: path.read_text() for name, path in files.items()}
        check_words(pages)
        check_mail(plant, mails, cases)
        with Browser() as browser:
            page = check_views(browser, files, pictures)
            check_that_it_can_fail(page, pathlib.Path(scratch), pages["hot"])
    print({name: len(text) for name, text in pages.items()}, f"pictures in {pictures}")


if __name__ == "__main__":
    main()
