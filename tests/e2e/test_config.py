"""The settings file and what it names: every fault at once, with its place; certificate, key and
tokens over TLS.

    test_config.py BUILD_FOLDER
"""
import hashlib
import http.client
import json
import os
import pathlib
import re
import shutil
import signal
import ssl
import subprocess
import sys
import tempfile

from oddloaf import ROOT, Plant, free_port, until

BINARIES = pathlib.Path(sys.argv[1])
REFUSED = 78  # EX_CONFIG
TOKEN = "a token of the desk"
HASH = hashlib.sha256(TOKEN.encode()).hexdigest()


class Folder:
    def __init__(self):
        self.path = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-config-"))

    def write(self, name, text, mode=0o600):
        path = self.path / name
        path.write_text(text)
        path.chmod(mode)
        return str(path)

    def check(self, text, rules=ROOT / "rules", **environment):
        """Exit code and the lines said of a settings file."""
        self.write("c.json", text if isinstance(text, str) else json.dumps(text))
        run = subprocess.run([BINARIES / "oddloafd", "--config", self.path / "c.json", "--rules", rules,
                              "--check"], capture_output=True, text=True, env={**os.environ, **environment})
        return run.returncode, (run.stderr + run.stdout).splitlines()


def expect(lines, *parts):
    assert any(all(part in line for part in parts) for line in lines), (parts, lines)


def check_every_fault(f):
    code, lines = f.check('{"plant": 5,\n "colour": "red",\n "readers": 65,\n'
                          ' "mail": {"to": "qa@x.example",\n  "retry": 3, "urgent_to": [""]},\n'
                          ' "queue": 16.5,\n "hook": 7}')
    assert code == REFUSED, lines
    for where, key, reason in (
            ("c.json:1:11", "plant '5'", "must be a text"),
            ("c.json:2:12", "colour 'red'", "is not a setting (oddloafd --help-config"),
            ("c.json:3:13", "readers '65'", "must be a whole number from 1 to 64"),
            ("c.json:4:17", "mail/to 'qa@x.example'", "must be a list"),
            ("c.json:5:12", "mail/retry '3'", "is not a setting"),
            ("c.json:5:29", "mail/urgent_to/0", "must be a text that says something"),
            ("c.json:6:11", "queue '16.5'", "must be a whole number from 16 to 1000000"),
            ("c.json:7:10", "hook '7'", "is not a setting")):
        expect(lines, where, key, reason)


def check_plants(f):
    """Each fault names file, line, plant and key."""
    code, lines = f.check('{"time_zone": "America/New_York",\n "plants": {\n  "Larkfen": {"title": 5,\n   "contact_days": 3,\n'
                          '   "mail": {"to": "x", "program": ""}},\n  "a/b": {},\n  "Quarrhill": 7,\n  "": {}}}')
    assert code == REFUSED, lines
    for where, key, reason in (
            ("c.json:3:24", "plants/Larkfen/title '5'", "must be a text"),
            ("c.json:4:20", "plants/Larkfen/contact_days '3'", "is not a setting of a plant (oddloafd --help-config"),
            ("c.json:5:19", "plants/Larkfen/mail/to 'x'", "must be a list"),
            ("c.json:5:35", "plants/Larkfen/mail/program", "is not a setting of a plant"),
            ("c.json:6:10", "plants/a~1b", "is named as its lots name it"),
            ("c.json:7:16", "plants/Quarrhill '7'", "must be an object"),
            ("c.json:8:7", "plants/", "is named as its lots name it")):
        expect(lines, where, key, reason)
    code, lines = f.check('{"time_zone": "America/New_York",\n "plants": {\n  "Larkfen": {\n   "time_zone": "Mars/Olympus"}}}')
    assert code == REFUSED, lines
    expect(lines, "c.json:4:17", "plants/Larkfen/time_zone 'Mars/Olympus'", "no such time zone")
    most = int(re.search(r"^Up to (\d+) plants may be named", (ROOT / "daemon/oddloafd.json.5").read_text(), re.M)[1])
    for count, is_code in ((most, 0), (most + 1, REFUSED)):
        code, lines = f.check(json.dumps({"plants": {f"plant {n}": {} for n in range(count)}}))
        assert code == is_code, (count, code, lines)
    expect(lines, "c.json:1:12", "plants", f"1 to {most} members")
    code, lines = f.check('{"plants": {"Larkfen": {"mail": {"to": ["qa@larkfen.example", "at home"]}}}}')
    assert code == REFUSED, lines
    expect(lines, "c.json:1:40", "plants/Larkfen/mail/to 'at home'", "is not a mail address")
    for plants, name, reason in (
            ({"Larkfen": {}, "larkfen": {}}, "plants/larkfen", "reads like the plant Larkfen"),
            ({"Süd Mill": {}, "Su\u0308d\u00a0 mill": {}}, "plants/Su", "reads like the plant Süd Mill"),
            ({"Larkfen\u00a0": {}}, "plants/Larkfen", "is named as its lots name it"),
            ({"Lark\u202efen": {}}, "plants/Lark", "is named as its lots name it"),
            ({"Larkfen": {"title": "Larkfen\r\nBcc: them@x.example"}}, "plants/Larkfen/title", "holds a control character"),
            ({"Larkfen": {"mail": {"to": ["qa@x.example\n"]}}}, "plants/Larkfen/mail/to", "holds a control character")):
        code, lines = f.check({"plants": plants})
        assert code == REFUSED, (plants, lines)
        expect(lines, name, reason)
    code, lines = f.check({"plant": "Mill\u2028Two"})
    assert code == REFUSED, lines
    expect(lines, "c.json:1:", "holds a control character")
    page = (ROOT / "daemon/oddloafd.json.5").read_text().split(".Sh PLANTS")[1]
    example = re.search(r"\.Bd -literal\n(.*?)\.Ed", page, re.S).group(1)
    code, lines = f.check(example.replace('"mail": {', '"mail": {"program": "/bin/true", ', 1))
    assert code == 0, lines


def check_what_it_names(f):
    code, lines = f.check('{"time_zone": "Mars/Olympus",\n "mail": {"to": ["qa at home"]}}')
    assert code == REFUSED
    expect(lines, "c.json:1:15", "time_zone 'Mars/Olympus'", "no such time zone")
    code, lines = f.check('{"mail": {"program": "/none/such",\n "to": ["qa at home"]}}')
    assert code == REFUSED
    expect(lines, "c.json:1:22", "mail/program '/none/such'", "No such file")
    expect(lines, "c.json:2:8", "mail/to 'qa at home'", "is not a mail address")
    code, lines = f.check("{}")
    assert code == 0 and "are sound" in "".join(lines), lines
    code, lines = f.check('{"roles": {"desk": ["no-such-group"]}}')  # a warning is nothing wrong
    assert code == 0 and "are sound" in "".join(lines), lines
    expect(lines, "warning: ", "c.json:1:20", "roles/desk 'no-such-group'", "no such Unix group")
    code, lines = f.check('{"plant": }')
    assert code == REFUSED
    expect(lines, "c.json:1:11", "not JSON")


def check_rules_beside_settings(f):
    """Wrong settings do not hide what is wrong with the rules, nor one rule file another."""
    rules = f.path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    for name in ("places.json", "lots.json", "harm.json", "lexicon/es.json", "lexicon/common/en.json",
                 "lexicon/weights/harm.json", "causes/rope.json", "ranking.json", "models.json"):
        document = json.loads((rules / name).read_text())
        document["surprise"] = 1
        (rules / name).write_text(json.dumps(document))
    code, lines = f.check({"mail": {"to": ["qa at home"]}}, rules)
    assert code == REFUSED
    expect(lines, "c.json:1:", "mail/to 'qa at home'", "is not a mail address")
    code, lines = f.check({"surprise": 1}, rules)
    assert code == REFUSED
    expect(lines, "c.json:1:", "surprise")
    for name in ("places.json", "lots.json", "harm.json", "lexicon/es.json", "lexicon/common/en.json",
                 "lexicon/weights/harm.json", "causes/rope.json", "ranking.json", "models.json"):
        expect(lines, f"{name}:1:", "/surprise '1'", "no such member (known here: ")
    shutil.rmtree(rules)


def make_certificate(f, name="tls"):
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
                    "-nodes", "-keyout", f.path / f"{name}.key", "-out", f.path / f"{name}.pem", "-days",
                    "30", "-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"],
                   check=True, capture_output=True)
    (f.path / f"{name}.key").chmod(0o600)
    return str(f.path / f"{name}.pem"), str(f.path / f"{name}.key")


def tcp(f, **changes):
    settings = {"listen": "127.0.0.1:8443", "certificate": str(f.path / "tls.pem"),
                "key": str(f.path / "tls.key"), "tokens": str(f.path / "tokens.json")}
    settings.update(changes)
    return {"tcp": {k: v for k, v in settings.items() if v is not None}}


def check_credentials(f):
    certificate, key = make_certificate(f)
    other = make_certificate(f, "other")
    tokens = f.write("tokens.json", json.dumps({HASH: "desk"}))
    assert f.check(tcp(f))[0] == 0, f.check(tcp(f))
    f.write("tokens.json", "{}")
    code, lines = f.check(tcp(f))
    assert code == 0, lines
    expect(lines, "warning: ", "tcp/listen '127.0.0.1:8443'", "nobody can log on there")
    f.write("tokens.json", json.dumps({HASH: "desk"}))
    # without TCP none of them is used
    assert f.check(tcp(f, listen="", key="/none"))[0] == 0

    def refused(settings, *parts):
        code, lines = f.check(settings)
        assert code == REFUSED, lines
        expect(lines, *parts)
        return lines

    refused(tcp(f, certificate=None), "tcp/certificate", "is not set")
    refused(tcp(f, key="/none/key"), "c.json:1:", "tcp/key '/none/key'", "No such file")
    refused(tcp(f, client_ca=str(f.path)), "tcp/client_ca", "is not a file")
    refused(tcp(f, key=tokens), "tcp/key", "cannot be used")
    refused(tcp(f, key=other[1]), "tcp/key", "cannot be used: key values mismatch")
    refused(tcp(f, certificate=tokens), "tcp/certificate", "cannot be used")
    for name, path in (("tcp/key", key), ("tcp/tokens", tokens)):
        os.chmod(path, 0o644)
        refused(tcp(f), "c.json:1:", name, "may be read by anybody", "chmod o=")
        os.chmod(path, 0o640)
        assert f.check(tcp(f))[0] == 0
    os.chmod(certificate, 0o646)
    refused(tcp(f), "tcp/certificate", "may be written by anybody")
    os.chmod(certificate, 0o644)
    assert f.check(tcp(f))[0] == 0
    # a token written where its hash belongs is not repeated in the log
    f.write("tokens.json", json.dumps({HASH: "baker"}) + "\n")
    refused(tcp(f), "tokens.json:1:", "tcp/tokens", "one of desk, qa, manager, admin", "and not baker")
    f.write("tokens.json", '{\n "' + TOKEN + '": "desk"}')
    lines = refused(tcp(f), "tokens.json:2:", "tcp/tokens", "64 hex digits")
    assert TOKEN not in "".join(lines), lines
    plants = {"plants": {"Larkfen": {}, "Quarrhill": {}}}
    for roles, name, reason in ((("desk@Larkfen", "desk@Quarrhill"), "Front desk", "a token of the same name is of another plant"),
                                (("desk", "qa@Quarrhill"), "front  DESK", "a token of the same name is of another plant"),
                                (("desk@Larkfen", "qa@Larkfen"), "Front desk", None),
                                (("desk@Larkfen", "qa@Quarrhill"), "Quality", None),
                                (("desk@Larkfen", "qa@Quarrhill"), "root", "a login of this machine has the token's name")):
        f.write("tokens.json", json.dumps({HASH: {"role": roles[0], "name": "Front desk"}, HASH[::-1]: {"role": roles[1], "name": name}}))
        if reason:
            refused({**tcp(f), **plants}, "tokens.json:1:", "tcp/tokens", reason)
        else:
            code, lines = f.check({**tcp(f), **plants})
            assert code == 0, lines
    f.write("tokens.json", "[")
    refused(tcp(f), "tokens.json:1:", "not JSON")
    f.write("tokens.json", json.dumps({HASH: "desk"}))


def ask(f, port, token):
    context = ssl.create_default_context(cafile=f.path / "tls.pem")
    connection = http.client.HTTPSConnection("127.0.0.1", port, timeout=120, context=context)
    connection.request("GET", "/v1/cases", headers={"Authorization": "Bearer " + token})
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status


def check_over_tls(f):
    port = free_port()
    with Plant(BINARIES, config=tcp(f, listen=f"127.0.0.1:{port}")) as plant:
        assert ask(f, port, TOKEN) == 200
        assert ask(f, port, "another") in (401, 403)
        os.chmod(f.path / "tokens.json", 0o644)
        plant.daemon.send_signal(signal.SIGHUP)
        until(lambda: "may be read by anybody" in (plant.get("/v1/status")[1]["rules"]["last_error"] or ""))
        os.chmod(f.path / "tokens.json", 0o600)
        plant.daemon.send_signal(signal.SIGHUP)
        until(lambda: not plant.get("/v1/status")[1]["rules"]["last_error"])
        assert ask(f, port, TOKEN) == 200
    # and it does not start with a key that anybody has
    os.chmod(f.path / "tls.key", 0o604)
    plant = Plant(BINARIES, config=tcp(f, listen=f"127.0.0.1:{port}"))
    plant.start(expect_ready=False)
    assert plant.daemon.wait(60) == REFUSED
    assert "may be read by anybody" in plant.log_text()
    plant.log.close()
    shutil.rmtree(plant.dir)


def check_the_manual():
    """The settings stand in the manual as the daemon has them: meaning, default, range."""
    listed = subprocess.run([BINARIES / "oddloafd", "--help-config"], capture_output=True, text=True,
                            check=True).stdout.splitlines()
    page = (ROOT / "daemon/oddloafd.json.5").read_text()
    written = re.findall(r"^\.It Ic (\S+)\n((?:(?!\.It).*\n)*?)Default (.*)\.\n", page, re.M)
    written = [(key, text[0].lower() + " ".join(text.split()).rstrip(".")[1:], default)
               for key, text, default in written]
    have = []
    for line in listed:
        key, default, rest = re.match(r"(\S+) +(\".*?\"|\[.*?\]|\d+) +(.*)", line).groups()
        text, span = re.fullmatch(r"(.*?)(?: \((\d+ to \d+)\))?", rest).groups()
        have.append((key, text[0].lower() + text[1:],
                     default + (f" (from {span})" if span else "")))
    assert [(key, default) for key, _, default in have] == [(key, d) for key, _, d in written]
    for (key, text, _), (_, page_text, _) in zip(have, written):
        assert page_text.startswith(text.replace(" (a change needs a restart)", "")), (key, page_text)
        assert ("a change needs a restart" in text) == ("A change needs a restart" in page_text), key
    kept = {key for key, text, _ in have if "a change needs a restart" in text}
    assert kept == set(re.search(r"^All but\n\.Ic (\S+)\nand\n\.Ic (\S+)\ntake effect at a reload", page, re.M).groups()), kept


def check_what_a_server_needs(f):
    """libpq is loaded where the state is kept on a server, and nowhere else."""
    if " libpq " not in subprocess.run([BINARIES / "oddloafd", "--version"], capture_output=True, text=True).stdout:
        return
    f.write("libpq.so.5", "no library")
    code, lines = f.check({"store": "postgresql:///state"}, LD_LIBRARY_PATH=str(f.path))
    assert code == REFUSED, lines
    expect(lines, "store", "libpq", "cannot be loaded", str(f.path / "libpq.so.5"))
    code, lines = f.check('{\n "store": "nonsense"}')
    assert code == REFUSED, lines
    expect(lines, "c.json:2:11", "store: is no address of a PostgreSQL server")
    run = subprocess.run([BINARIES / "oddloafd", "--config", f.path / "c.json", "--rules", ROOT / "rules", "--state", f.path / "none"],
                         capture_output=True, text=True)
    assert run.returncode == REFUSED, run  # as --check says it
    code, lines = f.check({"store": ""}, LD_LIBRARY_PATH=str(f.path))
    assert code == 0, lines
    code, lines = f.check({"store": "postgresql:///state"})
    assert code == 0, lines


def main():
    f = Folder()
    try:
        check_every_fault(f)
        check_what_it_names(f)
        check_plants(f)
        check_rules_beside_settings(f)
        check_what_a_server_needs(f)
        check_the_manual()
        if not shutil.which("openssl"):
            print("openssl is not installed: certificates are not tested")
            return 77
        check_credentials(f)
        check_over_tls(f)
    finally:
        shutil.rmtree(f.path)
    print("settings are checked whole")
    return 0


if __name__ == "__main__":
    sys.exit(main())
