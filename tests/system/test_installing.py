#!/usr/bin/python3
"""The service as a plant meets it: README's section "Installing" word for word, packages made on one Debian and
installed on a bare other one that boots, and then what happens to a daemon in its years: stops, crashes, hangs, wrong
settings, an upgrade, power cuts, the end.

    test_installing.py CACHE_FOLDER

Needs root, debootstrap and systemd-nspawn, else it says so and is skipped (77). The first run makes the cache, which
takes two minutes and the network; a run takes two minutes and no network."""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time
import uuid

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "e2e"))
from sheet import write_sheet  # noqa: E402

import container  # noqa: E402
from container import ROOT, Container  # noqa: E402

HOME, SOURCE = "/home/anna", "/home/anna/oddloaf"
DROP_INS = "/etc/systemd/system/oddloafd.service.d"
SETTINGS = "/etc/oddloaf/oddloafd.json"
READY_WITHIN_S = 5
EXPOSURE_MOST = 1.5


def readme_blocks():
    """The shell commands of README's section "Installing", block by block."""
    section = re.search(r"^## Installing\n(.*?)^## ", (ROOT / "README.md").read_text(), re.M | re.S).group(1)
    return re.findall(r"^```sh\n(.*?)^```", section, re.M | re.S)


def manual_literal(first_line):
    """The literal block of oddloafd(8) that begins so."""
    page = (ROOT / "daemon/oddloafd.8").read_text()
    return re.search(rf"^\.Bd -literal -offset indent\n({re.escape(first_line)}\n.*?)^\.Ed", page, re.M | re.S).group(1)


def complaint(**more):
    return json.dumps({"id": str(uuid.uuid4()), "received_at": "2026-11-20T09:14:00-05:00", "channel": "phone",
                       "symptom": "mold", "lot_text": "L1 6318 A0400", "found_on": "2026-11-19", **more})


def add_anna(box):
    """Somebody who may use sudo."""
    box.run("useradd -m anna && usermod -a -G sudo anna && echo 'anna ALL=(ALL) NOPASSWD: ALL' >/etc/sudoers.d/anna")


def make_packages(cache, folder):
    """By README's first block, in a container that has the source and nothing else of ours; into the folder."""
    with Container(cache, "build") as box:
        add_anna(box)
        target = box.root / SOURCE.lstrip("/")
        names = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True).stdout
        for name in filter(None, names.decode().split("\0")):
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, target / name)
        box.run(f"chown -R anna:anna {SOURCE}")
        box.run(readme_blocks()[0], user="anna", folder=SOURCE)
        for package in target.glob("build/release/*.deb"):
            shutil.copy(package, folder)


def newer(folder, version):
    """The packages of the folder as a later release's, one of whose rules has changed."""
    for package in sorted(folder.glob("*.deb")):
        tree = folder / "tree"
        subprocess.run(["dpkg-deb", "-R", package, tree], check=True)
        control = tree / "DEBIAN/control"
        control.write_text(re.sub(r"^Version: .*$", f"Version: {version}", control.read_text(), flags=re.M))
        rule = tree / "usr/share/oddloaf/rules/causes/rope.json"
        if rule.exists():
            rule.write_text(re.sub(r'("title": ")', r"\1Newer: ", rule.read_text(), count=1))
        subprocess.run(["dpkg-deb", "--root-owner-group", "-b", tree, folder / f"newer/{package.name}"], check=True,
                       capture_output=True)
        shutil.rmtree(tree)


class Plant:
    """A container with a user who may use sudo, and the packages in that user's home."""

    def __init__(self, box, packages):
        self.box = box
        add_anna(box)
        for package in packages.glob("*.deb"):
            shutil.copy(package, box.root / HOME.lstrip("/"))
        shutil.copytree(packages / "newer", box.root / HOME.lstrip("/") / "newer")

    def readme(self, block):
        return self.box.run(block, user="anna", folder=HOME)

    # ---- the unit ----
    def show(self, key, unit="oddloafd.service"):
        return self.box.run(f"systemctl show -P {key} {unit}").stdout.strip()

    def wait_state(self, state, seconds=30):
        self.box.wait(lambda: self.show("ActiveState") == state, seconds,
                      f"{state}: {self.box.run('journalctl -u oddloafd -n 20 --no-pager', check=False).stdout}")

    def log(self, since="-1h"):
        return self.box.run(f"journalctl -u oddloafd --since={since} -o cat --no-pager").stdout

    def settle(self, settings):
        self.box.write(SETTINGS, json.dumps(settings))

    def drop_in(self, name, text):
        self.box.write(f"{DROP_INS}/{name}.conf", text)
        self.box.run("systemctl daemon-reload && systemctl restart oddloafd.service")

    def drop_out(self, name):
        self.box.run(f"rm {DROP_INS}/{name}.conf && systemctl daemon-reload && systemctl restart oddloafd.service")

    # ---- the client ----
    def client(self, words, user="root", check=0, stdin=None):
        done = self.box.run(f"oddloaf {words}", user=user, check=False, stdin=stdin)
        assert check is None or done.returncode == check, (words, user, done.returncode, done.stdout, done.stderr)
        return done

    def status(self):
        return json.loads(self.client("--json status", check=None).stdout)

    def complaints(self):
        return self.status()["counts"]["complaints"]


def usec(text):
    return int(text) / 1e6


def open_files(box, pid):
    """Soft and hard limit; a container has no more than the machine around it."""
    return [int(word) for word in box.run(f"grep 'Max open files' /proc/{pid}/limits").stdout.split()[3:5]]


def installs_as_the_readme_says(plant):
    libraries = ("libgsl27", "libsqlite3-0", "libevent-2.1-7", "libcsv3", "libzip4", "libmagic1")
    for library in (*libraries, "cmake"):
        assert plant.box.run(f"dpkg-query -W {library}", check=False).returncode, f"{library}: the machine is not bare"
    said = plant.readme(readme_blocks()[1].rstrip() + " || [ $? -eq 1 ]\n")
    assert "complaints" in said.stdout, said.stdout
    for library in (*libraries, "libexpat1"):  # dbus has brought that one already
        plant.box.run(f"dpkg-query -W {library}")
    assert plant.show("ActiveState") == "active"
    took_s = usec(plant.show("ActiveEnterTimestampMonotonic")) - usec(plant.show("InactiveExitTimestampMonotonic"))
    assert took_s < READY_WITHIN_S, took_s
    assert f"({SETTINGS})" in plant.box.run("oddloafd --check").stdout
    for shell, path in (("bash", "bash-completion/completions/oddloaf"), ("zsh", "zsh/vendor-completions/_oddloaf")):
        plant.box.run(f"oddloaf help --completion {shell} | cmp - /usr/share/{path}")
    plant.box.run("man -w oddloaf && man -w oddloafd && man -w oddloafd.json")
    assert "mail/to" in plant.box.run("oddloafd --help-config").stdout
    assert plant.box.run("systemd-analyze verify oddloafd.service oddloafd.socket").stderr == ""
    plant.box.run(f"systemd-analyze security --no-pager --threshold={EXPOSURE_MOST * 10:.0f} oddloafd.service")
    most = min(65536, *(open_files(plant.box, pid)[1] for pid in ("1", plant.show("MainPID"))))
    assert plant.show("LimitNOFILE") == "65536" and open_files(plant.box, plant.show("MainPID"))[0] == most
    return f"ready after {took_s:.2f} s"


def roles_go_by_groups(plant):
    for user in ("desk", "qa", "manager", "admin", "stranger"):
        groups = "" if user == "stranger" else f" && usermod -a -G oddloaf-{user} {user}"
        plant.box.run(f"useradd -m {user}{groups}")
    plant.client("log --from -", user="desk", stdin=complaint())
    plant.client("cases", user="qa")
    plant.client("week 2026-W47", user="manager")
    plant.client("week 2026-W47", user="desk", check=4)
    plant.client("status", user="admin", check=1)  # no mail is set up
    denied = plant.client("status", user="stranger", check=4)
    plant.box.run("usermod -a -G oddloaf-desk stranger")
    plant.client("status", user="stranger", check=1)
    plant.box.run("chmod 600 /run/oddloaf/oddloafd.sock")
    assert "SocketMode" in plant.client("status", user="stranger", check=4).stderr
    plant.box.run("chmod 666 /run/oddloaf/oddloafd.sock")
    return denied.stderr.strip()


def stop_and_start_leave_the_socket(plant):
    before = plant.complaints()
    plant.box.run("systemctl stop oddloafd.service")
    plant.box.run("test -S /run/oddloaf/oddloafd.sock")
    assert plant.show("ActiveState", "oddloafd.socket") == "active"
    assert plant.complaints() == before, "who connects starts it again"
    plant.box.run("systemctl restart oddloafd.service")
    plant.client("status", user="desk", check=1)
    plant.box.run("systemctl stop oddloafd.socket oddloafd.service")
    plant.client("log --from -", user="desk", check=3, stdin=complaint())
    plant.box.run("systemctl start oddloafd.service")
    assert plant.complaints() == before
    plant.client("log --from -", user="desk", stdin=complaint())
    assert plant.complaints() == before + 2, "the one kept meanwhile is sent along"


def reload_good_and_bad(plant):
    pid = plant.show("MainPID")
    plant.settle({"plant": "Harrow Mill Bakery"})
    plant.box.run("sudo systemctl reload oddloafd")
    plant.box.wait(lambda: plant.status()["plant"] == "Harrow Mill Bakery", 10, "the new settings")
    plant.settle({"plan": "misspelt"})
    assert plant.box.run("systemctl reload oddloafd", check=False).returncode != 0
    assert "plan" in plant.log() and plant.status()["plant"] == "Harrow Mill Bakery"
    assert plant.show("ActiveState") == "active" and plant.show("MainPID") == pid
    plant.settle({"plant": "Harrow Mill Bakery"})


def kill_minus_nine(plant):
    before, pid = plant.complaints(), plant.show("MainPID")
    plant.box.run("systemctl kill -s KILL oddloafd.service")
    assert plant.complaints() == before, "who asks meanwhile is answered"
    assert plant.show("MainPID") not in ("0", pid)


def a_hang_is_noticed(plant):
    # a stopped process doesn't die of the watchdog's SIGABRT: it takes the SIGKILL after it
    plant.drop_in("soon", "[Service]\nWatchdogSec=3\nTimeoutAbortSec=1\n")
    plant.box.wait(lambda: plant.status()["uptime_s"] > 3, 20, "an idle daemon to outlive the limit")
    pid = plant.show("MainPID")
    assert plant.show("NRestarts") == "0"
    plant.box.run(f"kill -STOP {pid}")
    plant.box.wait(lambda: plant.show("NRestarts") == "1" and plant.show("ActiveState") == "active", 30, "the restart")
    plant.drop_out("soon")
    assert plant.show("WatchdogUSec") == "1min"


def wrong_settings_are_tried_again(plant):
    plant.settle({"plan": "misspelt"})
    plant.box.run("systemctl restart oddloafd.service", check=False)
    plant.box.wait(lambda: int(plant.show("NRestarts")) >= 3, 60, "the third try")
    tries = [float(at) for at in plant.box.run(
        "journalctl -u oddloafd -o short-unix --no-pager | grep 'cannot start' | cut -d' ' -f1").stdout.split()]
    assert len(tries) >= 3 and min(b - a for a, b in zip(tries, tries[1:])) >= 4.5, tries
    assert plant.show("StartLimitIntervalUSec") == "0" and plant.show("ActiveState", "oddloafd.socket") == "active"
    plant.settle({"plant": "Mended Mill"})
    plant.wait_state("active", 15)
    assert plant.status()["plant"] == "Mended Mill"


def an_upgrade_keeps_what_a_plant_changed(plant):
    mine, before = "/etc/oddloaf/rules/causes/rope.json", plant.complaints()
    plant.settle({"plant": "Harrow Mill Bakery"})
    plant.readme(readme_blocks()[2])
    plant.box.run(f"sed -i 's/\"title\": \"/&Mine: /' {mine} && systemctl reload oddloafd")
    plant.box.wait(lambda: "Mine: " in plant.client("rules list").stdout, 10, "the plant's rules")
    assert "(/etc/oddloaf/rules:/usr/share/oddloaf/rules)" in plant.box.run("oddloafd --check").stdout
    pid = plant.show("MainPID")
    plant.readme("cd newer\n" + readme_blocks()[1].rstrip() + " || [ $? -eq 1 ]\n")
    assert plant.show("MainPID") not in ("0", pid) and plant.complaints() == before
    assert plant.status()["plant"] == "Harrow Mill Bakery"
    causes = {cause["cause"]: cause for cause in json.loads(plant.client("--json rules list").stdout)["causes"]}
    assert causes["rope"]["title"].startswith("Mine: ") and causes["rope"]["file"] == mine, causes["rope"]
    checked = json.loads(plant.client("--json rules check").stdout)["own"]
    assert [(file["file"], file["release"]) for file in checked] == [("causes/rope.json", "changed")], checked
    assert [change["at"] for change in checked[0]["released"]] == ["/title"], checked
    assert plant.status()["rules"]["release_changed"] == 1
    plant.box.run("systemctl disable oddloafd.service")
    plant.readme("cd newer\nsudo apt-get install -y --reinstall ./oddloafd_*.deb")
    assert plant.show("UnitFileState") == "disabled", "who disabled it is heeded"
    plant.box.run("systemctl enable oddloafd.service")


def a_backup_is_where_it_says(plant):
    plant.client("backup monday.db", user="admin")
    plant.box.run("test -s /var/lib/oddloaf/backups/monday.db")
    plant.client("restore monday.db --yes", user="admin")  # the unit brings the daemon back
    plant.box.run("rm -r /var/lib/oddloaf/backups/monday.db /var/lib/oddloaf/replaced")
    assert "only the daemon sees" in plant.client("backup /tmp/backup.db", user="admin", check=1).stderr
    own = "/tmp/systemd-private-*-oddloafd.service-*/tmp/backup.db"
    plant.box.run(f"test -s {own}\nsystemctl restart oddloafd.service\n! test -e {own}")
    assert "cannot write there" in plant.client("backup /srv/backup.db", user="admin", check=1).stderr


def mails_by_msmtp(plant):
    """Postfix is the machine's mail server; its own sendmail can't be run, mail waits, and msmtp brings it there."""
    box, mailbox = plant.box, "/var/mail/qa"
    box.run("postconf -e inet_protocols=ipv4 && systemctl restart postfix")
    mail = {"to": ["qa@localhost"], "from": "oddloaf@localhost", "retry_s": 1}
    plant.settle({"mail": {"program": "/usr/sbin/sendmail", "timeout_s": 5, **mail}})
    box.run("systemctl restart oddloafd.service")
    plant.client("log --from -", user="desk", stdin=complaint(harm=["illness"]))
    box.wait(lambda: "exited" in plant.client("outbox", user="qa").stdout, 20, "the reason in the outbox")
    box.run(f"! test -s {mailbox}")
    box.write("/etc/msmtprc", manual_literal("account default"))
    plant.settle({"mail": {"program": "/usr/bin/msmtp", **mail}})
    box.run("systemctl reload oddloafd")
    box.wait(lambda: box.run(f"grep -q illness {mailbox}", check=False).returncode == 0, 30,
             "the urgent mail in QA's mailbox")
    plant.settle({})
    box.run("systemctl reload oddloafd")


def records_come_by_the_inbox(plant):
    """The folder made as the manual says, for a group of its own; a sheet is unpacked by a process that can open
    nothing, and an attached file known by its bytes, under the unit's own view of the file system."""
    box, folder, spool = plant.box, "/var/spool/oddloaf/inbox", "/var/spool/oddloaf"
    box.run("usermod -a -G oddloaf-records qa")
    plant.settle({"inbox": {"folder": folder, "steady_s": 0}})
    box.run(manual_literal("cd /var/spool && mkdir -p oddloaf/inbox/done oddloaf/inbox/refused"))
    box.run("systemctl restart oddloafd.service")
    write_sheet(box.root / "home/qa/products-1.xlsx",
                enumerate([("product", "name", "family", "shelf_life_days", "unit_g"),
                           ("Z9", "Mill Rye", "pan-bread", 12, 750)], 1))
    box.run(f"cp products-1.xlsx {spool}/new && mv {spool}/new {folder}/products-1.xlsx", user="qa", folder="/home/qa")
    box.wait(lambda: box.run(f"ls {folder}/done").stdout, 20, "a file in done: " + plant.log("-10s"))
    assert plant.status()["counts"]["products"] == 1, plant.status()["counts"]
    box.run(f"! touch {folder}/lots-1.csv", user="desk")
    one = complaint()
    plant.client("log --from -", user="desk", stdin=one)
    box.run("echo crumb 5.9 >report.txt", user="desk", folder="/home/desk")
    plant.client(f"attach {json.loads(one)['id']} /home/desk/report.txt --by Ada", user="desk")
    plant.settle({})
    box.run("systemctl restart oddloafd.service")


def desks_elsewhere_are_let_through(plant):
    """A stand-in for another machine: an address of this one that is not localhost."""
    box, address = plant.box, "192.0.2.1"
    box.run(f"""ip address add {address}/32 dev lo
        mkdir -p /etc/oddloaf/tls && cd /etc/oddloaf/tls
        openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -keyout key.pem -out cert.pem \
          -subj /CN=oddloaf -addext subjectAltName=IP:{address}
        printf '{{"%s": "desk"}}' "$(printf loaf | sha256sum | cut -d' ' -f1)" >tokens.json
        chown oddloaf key.pem tokens.json && chmod 600 key.pem tokens.json""")
    folder = "/etc/oddloaf/tls"
    plant.settle({"tcp": {"listen": f"{address}:8443", "certificate": f"{folder}/cert.pem", "key": f"{folder}/key.pem",
                          "tokens": f"{folder}/tokens.json"}})
    box.run("systemctl restart oddloafd.service")
    desk = (f"ODDLOAF_TOKEN=loaf ODDLOAF_CA={folder}/cert.pem timeout 5 oddloaf --server https://{address}:8443 cases")
    assert box.run(desk, user="stranger", check=False).returncode not in (0, 4)
    plant.drop_in("network", manual_literal("[Service]"))
    box.run(desk, user="stranger")
    plant.drop_out("network")
    plant.settle({})
    box.run("systemctl restart oddloafd.service")


def a_reboot_brings_it_up(plant):
    before = plant.complaints()
    plant.box.reboot()
    plant.wait_state("active")
    assert plant.show("NRestarts") == "0"
    assert plant.complaints() == before
    plant.client("status", user="desk", check=1)


def removed_and_purged(plant):
    box, before = plant.box, plant.complaints()
    remove, purge = readme_blocks()[3].splitlines()
    plant.readme(remove)
    assert plant.show("ActiveState") != "active" and plant.show("ActiveState", "oddloafd.socket") != "active"
    box.run(f"test -s /var/lib/oddloaf/oddloaf.db && test -s {SETTINGS} && test -s /etc/oddloaf/rules/causes/rope.json")
    assert plant.client("status", check=3).stdout == ""
    plant.readme("cd newer\nsudo apt-get install -y ./oddloafd_*.deb")
    assert plant.complaints() == before and plant.show("UnitFileState") == "enabled"
    plant.readme(purge)
    box.run("! test -e /var/lib/oddloaf && ! test -e /etc/oddloaf && ! test -e /usr/share/oddloaf")
    assert box.run("find /etc/systemd /var/lib/systemd /run/systemd -name '*oddloaf*' -not -path '*/oddloafd.service.d*'"
                   ).stdout == ""
    assert "deinstall" not in box.run("dpkg --get-selections '*oddloaf*'").stdout
    box.run("getent group oddloaf-desk")


STEPS = (installs_as_the_readme_says, roles_go_by_groups, stop_and_start_leave_the_socket, reload_good_and_bad,
         kill_minus_nine, a_hang_is_noticed, wrong_settings_are_tried_again, an_upgrade_keeps_what_a_plant_changed,
         a_backup_is_where_it_says,
         mails_by_msmtp, records_come_by_the_inbox, desks_elsewhere_are_let_through, a_reboot_brings_it_up, removed_and_purged)


def main():
    reason = container.cannot()
    if reason:
        print("skipped:", reason)
        sys.exit(77)
    packages = pathlib.Path(sys.argv[1]).resolve() / "packages"
    shutil.rmtree(packages, ignore_errors=True)
    (packages / "newer").mkdir(parents=True)
    make_packages(sys.argv[1], packages)
    newer(packages, "9999")
    print("ok: packages are made as the readme says", flush=True)
    with Container(sys.argv[1], "plant") as box:
        plant = Plant(box, packages)
        for step in STEPS:
            began = time.monotonic()
            said = step(plant)
            print(f"ok: {step.__name__.replace('_', ' ')}{': ' + said if said else ''} "
                  f"({time.monotonic() - began:.1f} s)", flush=True)


main()
