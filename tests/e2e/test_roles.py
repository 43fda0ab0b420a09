"""Who may do what: every route of the daemon's table as every role and as none, over the Unix socket
(roles by the groups of local users, which takes root) or over TLS (by bearer token, or by the OU of a
client certificate).

    test_roles.py BUILD_FOLDER socket|tokens|certificates
"""
import grp
import hashlib
import http.client
import json
import os
import pathlib
import pwd
import re
import ssl
import sys
import time

from oddloaf import ROOT, Plant, UnixConnection, complaint, tells_phone
from remote import Remote
from routes import ROLES, routes

BINARIES = pathlib.Path(sys.argv[1])
SKIPPED = 77


# ---- the ways to be somebody: each is a plant and connect(role), role None for a stranger ----

def users_apart(count):
    """So many local users, none of whom is in a group of another: a system's own (games, mail, …)."""
    users, taken = [], set()
    for user in pwd.getpwall():
        groups = set(os.getgrouplist(user.pw_name, user.pw_gid))
        if user.pw_uid != 0 and not groups & taken and len(groups) == 1:
            users.append(user)
            taken |= groups
    return users[:count] if len(users) >= count else None


class AsUser(UnixConnection):
    """What the daemon sees of a peer are the effective ids at connect(2)."""

    def __init__(self, path, uid):
        super().__init__(path)
        self.uid = uid

    def connect(self):
        os.seteuid(self.uid)
        try:
            super().connect()
        finally:
            os.seteuid(0)


def over_socket():
    people = users_apart(len(ROLES) + 1) if os.geteuid() == 0 else None
    if not people:
        print("to be users of other groups takes root and five local users without common groups")
        sys.exit(SKIPPED)
    who = dict(zip([*ROLES, None], people))
    groups = {role: [grp.getgrgid(who[role].pw_gid).gr_name] for role in ROLES}
    plant = Plant(BINARIES, config={"roles": groups})
    plant.dir.chmod(0o711)
    names = {role: user.pw_name for role, user in who.items()}
    return plant, lambda role: AsUser(plant.socket, who[role].pw_uid), names


def over_tokens():
    plant = Remote(BINARIES)
    qa = hashlib.sha256(b"token of qa").hexdigest()
    return plant, plant.by_token, {"desk": "Front desk", "qa": "token " + qa[:8]}


def over_certificates():
    plant = Remote(BINARIES)
    return plant, plant.by_certificate, {role: f"{role} of the mill" for role in ROLES}


def check_unfit_certificates(plant):
    """Of another authority by the same name, run out, for servers, signed by itself: none gets in. One without a
    name does, and is called that."""
    plant.certificate("expired", "/OU=desk/CN=Old", days=-1)
    plant.certificate("serving", "/OU=desk/CN=Web", "extendedKeyUsage=serverAuth")
    plant.certificate("nameless", "/OU=desk")
    plant.make_authority("other")
    plant.certificate("foreign", "/OU=desk/CN=Eve", authority="other")
    for name in ("expired", "serving", "foreign", "other"):
        connection = http.client.HTTPSConnection("127.0.0.1", plant.port, timeout=30, context=plant.context(name))
        try:
            connection.request("GET", "/v1/cases")
            raise AssertionError((name, connection.getresponse().status))
        except (ssl.SSLError, OSError):
            pass
    one = complaint()
    nameless = http.client.HTTPSConnection("127.0.0.1", plant.port, timeout=30, context=plant.context("nameless"))
    assert ask(nameless, "POST", "/v1/complaints?rank=0", one)[0] == 201
    told = json.loads(ask(nameless, "GET", "/v1/complaints/" + one["id"])[2])
    assert told["logged_by"] == "a certificate without a name", told


# ---- the matrix ----

def ask(connection, method, path, body=None):
    headers = {"Content-Type": "application/json"} if method == "POST" else {}
    if hasattr(connection, "token"):
        headers["Authorization"] = "Bearer " + connection.token
    connection.request(method, path, body=json.dumps(body or {}) if method == "POST" else None, headers=headers)
    answer = connection.getresponse()
    return answer.status, answer.getheader("Content-Type"), answer.read()


def is_denied(route, status, kind, body):
    """True for a refusal by role, which must say what role it takes; an allowed request may still be
    wrong, but never for who asks."""
    needed = "this needs the role " + " or ".join(route["roles"])
    if status != 403:
        assert b"this needs the role" not in body, (route, status, body)
        return False
    problem = json.loads(body)
    assert kind == "application/problem+json" and problem["status"] == 403, (route, kind, body)
    assert problem["type"] == "urn:oddloaf:problem:denied" and problem["detail"] == needed, problem
    return True


def check_matrix(connect, table):
    for role in [*ROLES, None]:
        connection = connect(role)
        for route in table:
            # the last digit is no case, lot, load or action of an empty plant
            answer = ask(connection, route["method"], route["path"].replace("*", "C7"))
            assert answer[0] not in (401, 405, 500, 501), (role, route, answer)
            assert is_denied(route, *answer) == (role not in route["roles"]), (role, route, answer)
        connection.close()
    return (len(ROLES) + 1) * len(table)


def check_who(connect, names):
    """A complaint says who logged it: the user the daemon knows the peer by."""
    for role in ("desk", "qa"):
        connection, one = connect(role), complaint()
        assert ask(connection, "POST", "/v1/complaints", one)[0] == 201
        whole = json.loads(ask(connection, "GET", "/v1/complaints/" + one["id"])[2])
        assert whole["logged_by"] == names[role], (whole["logged_by"], names)
        connection.close()


def check_hidden(connect):
    """What a correction brought of contact data is the desk's alone."""
    one, number = complaint(note="mold"), "607 555 0177"
    desk, qa = connect("desk"), connect("qa")
    assert ask(desk, "POST", "/v1/complaints", one)[0] == 201
    change = {"fields": {"note": "mold, ring " + number}, "reason": "she left " + number}
    path = "/v1/complaints/" + one["id"]
    assert ask(desk, "POST", path + "/correct", change)[0] == 200
    for shown in (path, "/v1/history/" + one["id"], "/v1/complaints?word=ring"):
        status, _, body = ask(qa, "GET", shown)
        assert status == 200 and b"[phone]" in body and not tells_phone(body.decode(), number), (shown, body)
    assert number in json.loads(ask(desk, "GET", path)[2])["note"]
    desk.close()
    qa.close()


def check_found(plant, connect):
    """Each kind that is found, as each role: what was done in the plant is not the desk's."""
    lot, own = "L1 6320 A0400", ("--by", "zephyr")
    plant.load_text("products", "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat,pan-bread,10,680\n")
    plant.load_text("lots", "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" + lot +
                    ",W24,1" + ",2026-11-16T04:00:00-05:00" * 4 + ",5000,2026-11-26\n")
    case = plant.post("/v1/complaints", complaint(lot=lot))[1]["case"]
    (plant.dir / "zephyr.txt").write_text("a laboratory's report")
    for words in (("follow", case, "--owner", "zephyr", "--note", "zephyr"), ("hold", lot, "--reason", "zephyr"),
                  ("measure", lot, "crumb_ph=5.2", "--lab", "zephyr", "--sample", "1"),
                  ("attach", case, str(plant.dir / "zephyr.txt")),
                  ("action", "--cause", "packed-hot", "--note", "zephyr")):
        plant.client(*words, *own, check=0)
    for role in ROLES:
        connection, kinds = connect(role), set()
        for word in ("zephyr", "L16320"):
            status, _, body = ask(connection, "GET", "/v1/found?word=" + word)
            kinds |= {row["kind"] for row in json.loads(body).get("found", [])} if status == 200 else {status}
        all_ = {"lot", "case", "note", "result", "hold"}
        of = {"desk": all_ | {"attachment"}, "qa": all_ | {"attachment", "action"}, "admin": all_, "metrics": {403}}
        assert kinds == of.get(role, all_ | {"action"}), (role, kinds)
        connection.close()


def check_no_delay(connect):
    """On a connection that stays open no answer waits for a delayed acknowledgement (40 ms on Linux)."""
    connection, took = connect("qa"), []
    for _ in range(40):
        began = time.monotonic()
        assert ask(connection, "GET", "/v1/cases")[0] == 200
        took.append(time.monotonic() - began)
    connection.close()
    assert min(took[20:]) < 0.04, took  # the first ones are acknowledged at once


def check_unknown_paths(connect):
    """What is no route says so to everybody, and nothing else."""
    for role in (*ROLES, None):
        connection = connect(role)
        for method, path, status in (("GET", "/v1/nothing", 404), ("GET", "/status", 404),
                                     ("GET", "/v1/status/", 404), ("POST", "/v1/status", 405)):
            assert ask(connection, method, path)[0] == status, (role, method, path)
        connection.close()


def check_manual(table):
    """oddloafd(8) lists the same routes and roles, in the order of the table."""
    text = (ROOT / "daemon/oddloafd.8").read_text()
    rows = re.findall(r"^\.It (GET|POST) Ta (/v1/\S+) Ta (.+)$", text, re.MULTILINE)
    said = [(method, path, roles.split(", ")) for method, path, roles in rows]
    true = [(route["method"], route["path"], route["roles"]) for route in table]
    assert said == true, [row for row in [*said, *true] if said.count(row) != true.count(row)]


def main():
    table = routes(BINARIES)
    assert len({(route["method"], route["path"]) for route in table}) == len(table) > 30
    check_manual(table)
    plant, connect, names = {"socket": over_socket, "tokens": over_tokens,
                             "certificates": over_certificates}[sys.argv[2]]()
    with plant:
        asked = check_matrix(connect, table)
        check_unknown_paths(connect)
        check_no_delay(connect)
        assert plant.get("/v1/status")[1]["counts"]["complaints"] == 0
        check_who(connect, names)
        check_hidden(connect)
        if sys.argv[2] == "tokens":
            check_found(plant, connect)
        if sys.argv[2] == "certificates":
            check_unfit_certificates(plant)
    print(f"{asked} questions of {len(ROLES)} roles and a stranger are answered as the table says")


main()
