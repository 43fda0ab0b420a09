"""Mail end to end: a real MTA-compatible program (msmtp) and a real SMTP server (aiosmtpd) on
loopback; the message parsed back with Python's email package.            usage: test_mail.py BINARIES"""
import email
import email.policy
import html as html_module
import json
import re
import sqlite3
import sqlite3
import sys

from aiosmtpd.controller import Controller

from oddloaf import Plant, complaint, free_port, until

SECRET = {"name": "Dana Quillfeather", "phone": "555-0142", "email": "dana@example.invalid"}


class Keeper:
    def __init__(self):
        self.got, self.refuse = [], 0

    async def handle_DATA(self, server, session, envelope):
        if self.refuse > 0:
            self.refuse -= 1
            return "451 4.3.0 try again later"
        self.got.append((envelope.mail_from, envelope.rcpt_tos, envelope.content))
        return "250 kept"


def wait_for(keeper, count):
    until(lambda: len(keeper.got) >= count, lambda: f"{len(keeper.got)} of {count} mails came")


def parse(content):
    message = email.message_from_bytes(content, policy=email.policy.default)
    for line in content.split(b"\r\n"):
        assert len(line) <= 998, "RFC 5322 2.1.1"
    plain = message.get_body(("plain",)).get_content()
    html = message.get_body(("html",)).get_content()
    return message, plain, html


def check_case_mail(plant, keeper):
    one = complaint(contact=SECRET, store="x\r\nBcc: evil@example.invalid",
                    note="ask for Dana\r\nBcc: evil@example.invalid, ring 555.0142, it was damp",
                    observed={"where": "cut-face", "colour": "blue-green", "spots": 4,
                              "wet_inside_bag": True, "kept": "counter", "opened_days": 2},
                    packs=3, bought_on="2026-11-16")
    status, answer = plant.post("/v1/complaints", one)
    assert status == 201, answer
    wait_for(keeper, 1)
    sender, to, content = keeper.got[0]
    message, plain, html = parse(content)
    assert sender == "oddloaf@harrowmill.example" and to == ["qa@harrowmill.example"], (sender, to)
    assert message["Subject"].startswith("[Bäckerei Harrow Mill] " + answer["case"] + " mold"), (
        message["Subject"])
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["Message-ID"].endswith("@harrowmill.example>")
    assert message["Date"].datetime.utcoffset() is not None
    assert message["Bcc"] is None and b"evil@" not in content.split(b"\r\n\r\n")[0]
    ranked = plant.get("/v1/cases/" + answer["case"])[1]
    for body in (plain, html):
        assert ranked["ranked"][0]["title"].split(":")[0] in body.replace("\n    ", " "), body
        assert not re.search("Dana|Quillfeather|555.0142|@example.invalid", body), body
        check_told(body, "Where on the loaf: cut-face; Colour of the mold: blue-green; Spots: 4; "
                   "Wet inside the bag: yes; Kept at: counter; Days open: 2", "ask for [name] Bcc: [mail address], ring [phone], it "
                   "was damp", "W24, Mill Wheat Loaf", "2026-11-14 04:00 to 05:00", "2026-11-24",
                   "5000", "L1 6318 A0400", "2026-11-16", "Packs", "phone", "Line")
    for word in ("Likely causes", "Checks", "Cautions", "What to ask", "oddloaf settle", "Severity", "Due"):
        assert word in plain, (word, plain)
    assert max(len(line) for line in plain.splitlines()) <= 78
    for outside in ("http:", "https:", "<script", "<img"):
        assert outside not in html
    return message["Message-ID"]


def check_kept(plant, case):
    """What was mailed is told again from what is kept, and the mail's own text isn't kept twice."""
    now = plant.get(f"/v1/cases/{case}")[1]
    status, kept = plant.get(f"/v1/cases/{case}?revision={now['revision']}")
    assert status == 200 and kept["mailed"] == "a new case", kept
    assert kept["rules"] == now["rules"] and kept["complaints"] == len(now["complaints"]), kept
    for cause in kept["ranked"] + now["ranked"]:
        for side in ("for", "against"):  # of equal strength: in any order
            cause[side].sort(key=lambda item: (-abs(item["bits"]), item["fact"]))
            for item in cause[side]:
                item.pop("because", None)
    for place, (told, was) in enumerate(zip(kept["ranked"], now["ranked"], strict=True)):
        if place > 0 and (place > 2 or was["probability"] < .05):  # the mail doesn't explain it
            was.update({"for": [], "against": []})
        was["probability"] = round(was["probability"], 6)  # kept in millionths
        assert told == was, (told, was)
    shown = plant.client("rank", case, "--revision", str(now["revision"])).stdout
    assert kept["ranked"][0]["cause"] in shown, shown
    assert plant.get(f"/v1/cases/{case}?revision=99")[0] == 404
    assert plant.get(f"/v1/cases/{case}?revision=-1")[0] == 400
    plant.wait_idle()
    db = sqlite3.connect(f"file:{plant.state}/oddloaf.db?mode=ro", uri=True)
    left = db.execute("SELECT x.payload FROM outbox LEFT JOIN outbox_text x ON x.mail_id = outbox.id WHERE event = 'case' AND state = 'sent'")
    assert [row[0] for row in left] == [None], "a mail that has left is kept by its ranking"
    db.close()


def check_told(body, *texts):
    """All of it stands in the mail, in whatever lines."""
    flat = re.sub(r"\s+", " ", html_module.unescape(re.sub(r"</?[a-z][^>]*>", " ", body)))
    for text in texts:
        assert text in flat, (text, body)


def check_retry(plant, keeper):
    """A server that says 'later' twice: the same Message-ID arrives in the end, once accepted."""
    keeper.refuse = 2
    status, answer = plant.post("/v1/complaints", complaint(lot="L1 6310 A0400"))
    wait_for(keeper, 2)
    assert answer["case"] in parse(keeper.got[1][2])[0]["Subject"]
    assert plant.wait_idle()["outbox"]["parked"] == 0


def check_harm(plant, keeper):
    status, answer = plant.post("/v1/complaints", complaint(
        lot="L1 6311 A0400", harm=["illness"], contact=SECRET, store="0417",
        note="my son threw up, dana quillfeather 555 0142", observed={"odor": ["musty", "sour"]}))
    assert answer.get("harm"), answer
    wait_for(keeper, 4)  # the urgent one and the case's
    urgent = [parse(c) for _, to, c in keeper.got if to == ["safety@harrowmill.example"]]
    assert len(urgent) == 1, [to for _, to, _ in keeper.got]
    message, plain, html = urgent[0]
    for body in (plain, html):
        check_told(body, "my son threw up, [name] [name] [phone]", "musty and sour", "0417",
                   "W24, Mill Wheat Loaf", "2026-11-07 04:00 to 05:00", "2026-11-17", "5000",
                   "L1 6311 A0400")
        assert not re.search("(?i)dana|quillfeather|555.0142", body), body
    assert "URGENT" in message["Subject"] and "illness" in plain
    assert "medical help" in plain and "law" in plain
    assert "Dana" not in plain


def urgent_mails(keeper):
    return [parse(c) for _, to, c in keeper.got if to == ["safety@harrowmill.example"]]


def check_refused_harm(plant, keeper):
    """What is refused is not kept, but harm in it is told at once: one alone, one row of a file, a
    report of a complaint nobody knows, and a body that is no JSON at all."""
    before = len(urgent_mails(keeper))
    alone = complaint(note="my son vomited, ask Dana, 607 555 0142", contact=SECRET,
                      observed={"where": "base", "odor": {}})
    alone["symptom"] = "blue"
    status, answer = plant.post("/v1/complaints", alone)
    assert status == 400 and answer["harm"] == ["illness"] and "script" in answer, answer
    good, bad = complaint(lot="L1 6313 A0400"), complaint(harm=["injury"], packs=-1)
    lines = "\n".join([json.dumps(good), json.dumps(bad), '{"note": "she choked", ', "[]"])
    status, answers = plant.request("POST", "/v1/complaints?source=w.ndjson", lines,
                                    "application/x-ndjson")
    rows = [json.loads(line) for line in answers.splitlines()]
    assert status == 200 and "case" in rows[0] and "harm" not in rows[3], rows
    assert rows[1]["harm"] == ["injury"] and rows[1]["error"]["field"] == "packs", rows[1]
    assert rows[2]["harm"] == ["injury"] and "error" in rows[2], rows[2]
    status, answer = plant.post("/v1/complaints", complaint(
        harm=["tampering"], same_as="01990000-0000-7000-8000-000000000000"))
    assert status == 400 and answer["harm"] == ["tampering"], answer
    status, answer = plant.request("POST", "/v1/complaints", "it made my daughter vomit")
    assert status == 400 and answer["harm"] == ["illness"], answer
    status, answer = plant.request("POST", "/v1/complaints", "it made my daughter laugh")
    assert status == 400 and "harm" not in answer, answer
    plant.wait_idle()
    mails = urgent_mails(keeper)[before:]
    assert len(mails) == 5, [m[0]["Subject"] for m in mails]
    for message, plain, html in mails:
        assert "harm reported in a refused complaint" in message["Subject"], message["Subject"]
        assert "log it again" in plain.replace("\n", " ") and "Dana" not in plain + html, plain
    alone = [plain for _, plain, _ in mails if "my son vomited" in plain]
    check_told(alone[0], "my son vomited, ask [name], [phone]", "Where on the loaf: base", "L1 6318 A0400")
    assert any("w.ndjson" in plain and "packs" in plain for _, plain, _ in mails)


def check_possible_harm(plant, keeper):
    """What may be harm goes to the same people at once, with a softer subject."""
    before = len(urgent_mails(keeper))
    status, answer = plant.post("/v1/complaints", complaint(
        lot="L1 6306 A0400", note="the kids ate some before we saw the mold, I am a bit worried"))
    assert answer["harm_possible"] is True and answer["harm"] == [], answer
    status, refused = plant.post("/v1/complaints", complaint(packs=-1, note="is it dangerous? my "
                                                             "pregnant wife ate moldy bread"))
    assert status == 400 and refused["harm_possible"] is True, refused
    plant.wait_idle()
    mails = urgent_mails(keeper)[before:]
    subjects = sorted(m[0]["Subject"].split("] ")[1] for m in mails)
    assert subjects == [f"To read {answer['case']}: a complaint may speak of harm, L1 6306 A0400",
                        "To read: a refused complaint may speak of harm"], subjects
    for _, plain, html in mails:
        assert "A person must read" in plain and "A person must read" in html, plain
        assert "Urgent" not in plain, plain


def check_no_second_mail(plant, keeper):
    """A second complaint that changes nothing QA would act on sends nothing."""
    plant.wait_idle()
    before = len(keeper.got)
    for n in range(3):
        case = plant.post("/v1/complaints", complaint(lot="L1 6312 A0400"))[1]["case"]
    plant.wait_idle()
    subjects = [parse(c)[0]["Subject"].split("] ")[1] for _, _, c in keeper.got[before:]]
    own = [s for s in subjects if s.startswith(case + " ")]
    assert 1 <= len(own) <= 3, subjects
    # what it changes of cases beside it is told in one mail after each at most, none a case
    beside = [s for s in subjects if s not in own]
    assert len(beside) <= 3 and not any(re.match(r"(HARM REPORTED: |MAY BE HARM: )?C\d+ ", s) for s in beside), subjects


def check_digest(plant, keeper):
    """A daemon that was away on Monday sends last week's digest once when it is back."""
    plant.stop()
    with sqlite3.connect(plant.state / "oddloaf.db") as db:
        db.execute("UPDATE setting SET value = '2020-W01' WHERE key = 'digest/last'")
    db.close()
    before = len(keeper.got)
    plant.start()
    wait_for(keeper, before + 1)
    sender, to, content = keeper.got[before]
    message, plain, html = parse(content)
    assert to == ["manager@harrowmill.example"], to
    assert re.search(r"\] Week \d{4}-W\d\d: \d+ complaints?, ", message["Subject"]), message["Subject"]
    for word in ("Units packed", "Open cases", "What rose", "oddloaf week 20", "not a finding"):
        assert word in plain and word in html, (word, plain)
    assert not re.search(r"\de[-+]\d|nan|inf\b", plain), plain
    assert max(len(line) for line in plain.splitlines()) <= 78


def main():
    keeper = Keeper()
    port = free_port()
    controller = Controller(keeper, hostname="127.0.0.1", port=port)
    controller.start()
    plant = Plant(sys.argv[1])
    settings = plant.dir / "msmtprc"
    settings.write_text(f"account default\nhost 127.0.0.1\nport {port}\ntls off\nauth off\n")
    settings.chmod(0o600)
    program = plant.dir / "sendmail"
    program.write_text(f'#!/bin/sh\nexec /usr/bin/msmtp -C {settings} "$@"\n')
    program.chmod(0o755)
    plant.config["plant"] = "Bäckerei Harrow Mill"
    plant.config["mail"] = {"program": str(program), "from": "oddloaf@harrowmill.example",
                            "to": ["qa@harrowmill.example"], "retry_s": 1,
                            "urgent_to": ["safety@harrowmill.example"],
                            "digest_to": ["manager@harrowmill.example"], "digest_hour": 0}
    with plant:
        plant.load_small()
        check_case_mail(plant, keeper)
        check_kept(plant, "C1")
        check_retry(plant, keeper)
        check_harm(plant, keeper)
        check_refused_harm(plant, keeper)
        check_possible_harm(plant, keeper)
        check_no_second_mail(plant, keeper)
        check_digest(plant, keeper)
        ids = [parse(c)[0]["Message-ID"] for _, _, c in keeper.got]
        assert len(ids) == len(set(ids)), "each mail once here"
        status = json.dumps(plant.get("/v1/status")[1])
        assert "Dana" not in status + plant.log_text()
        print(f"{len(ids)} mails, all as they should be")
    controller.stop()


main()
