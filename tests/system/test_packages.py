#!/usr/bin/python3
"""The Debian packages, looked at and not installed: what is in them, what they ask for, what their scripts are about.
The real thing, on a bare machine: test_installing.py.

    test_packages.py BUILD_FOLDER

They are built in BUILD_FOLDER/packages, anew only where sources have changed."""
import gzip
import hashlib
import json
import os
import pathlib
import re
import shutil
import stat
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAMS = {"oddloaf": "usr/bin/oddloaf", "oddloafd": "usr/sbin/oddloafd"}
MANUALS = {"oddloaf": ["man1/oddloaf.1"], "oddloafd": ["man5/oddloafd.json.5", "man8/oddloafd.8"]}
SETTINGS = "etc/oddloaf/oddloafd.json"


def run(*words, **more):
    done = subprocess.run([str(word) for word in words], text=True, capture_output=True, **more)
    assert done.returncode == 0, (words, done.stdout, done.stderr)
    return done.stdout


class Package:
    def __init__(self, name, path, folder):
        self.name, self.path, self.root, self.control = name, path, folder / name, folder / name / "DEBIAN"
        run("dpkg-deb", "-R", path, self.root)
        self.fields = dict(re.findall(r"^([A-Z]\S*): (.*)$", (self.control / "control").read_text(), re.M))
        self.entries = [line.split(None, 5) for line in run("dpkg-deb", "-c", path).splitlines()]
        self.files = sorted(str(file.relative_to(self.root)) for file in self.root.rglob("*")
                            if file.is_file() and self.control not in file.parents)

    def depends(self):
        return {re.split(r"[ (|]", one)[0] for one in self.fields["Depends"].split(", ")}


def build(folder):
    run("cmake", "-S", ROOT, "-B", folder, "-G", "Ninja", "-DCMAKE_INSTALL_PREFIX=/usr", "-DODDLOAF_TESTS=OFF",
        "-DODDLOAF_WERROR=ON")
    for old in folder.glob("*.deb"):
        old.unlink()
    run("ninja", "-C", folder, "package")
    return sorted(folder.glob("*.deb"))


def needed(program):
    """The packages that have the libraries which a program is linked with."""
    sonames = re.findall(r"\(NEEDED\).*\[(.*)\]", run("readelf", "-d", program))
    # of several architectures the first is the machine's own
    paths = dict(reversed(re.findall(r"^\s*(\S+) .*=> (\S+)$", run("/sbin/ldconfig", "-p"), re.M)))
    found = set()
    for soname in sonames:
        path = pathlib.Path(paths[soname])
        names = [path, path.resolve(), pathlib.Path("/usr") / str(path).lstrip("/"),
                 pathlib.Path(re.sub("^/usr", "", str(path)))]
        done = subprocess.run(["dpkg", "-S", *map(str, names)], text=True, capture_output=True, check=False)
        found.add(done.stdout.split(":")[0])
    return found


def check_control(package, version):
    fields = package.fields
    assert fields["Package"] == package.name and fields["Version"] == version, fields
    assert fields["Architecture"] == run("dpkg", "--print-architecture").strip()
    assert package.path.name == f"{package.name}_{version}_{fields['Architecture']}.deb"
    assert re.fullmatch(r"[^<>]+ <\S+@\S+>", fields["Maintainer"]), fields
    assert fields["Section"] and fields["Priority"] == "optional"
    synopsis = fields["Description"]
    assert len(synopsis) <= 80 and not synopsis.endswith(".") and not synopsis.startswith(package.name), synopsis
    said = re.search(r"^Description: .*\n((?: .*\n)+)", (package.control / "control").read_text(), re.M)[1]
    assert all(re.match(r" \S.{0,78}$", line) for line in said.splitlines()), said
    libraries = needed(package.root / PROGRAMS[package.name])
    assert "" not in libraries and len(libraries) > 4 and libraries <= package.depends(), (libraries, fields)


def check_contents(package):
    for mode, owner, _, _, _, name in package.entries:
        assert owner == "root/root", (owner, name)
        program = name == "./" + PROGRAMS[package.name]
        assert mode == ("drwxr-xr-x" if name.endswith("/") else "-rwxr-xr-x" if program else "-rw-r--r--"), (mode, name)
        assert re.match(r"\./($|usr/($|(s?bin|lib|share)/)|etc/)", name) and "/usr/local" not in name, name
    sums = dict(reversed(line.split(None, 1)) for line in (package.control / "md5sums").read_text().splitlines())
    for file in package.files:
        digest = hashlib.md5((package.root / file).read_bytes(), usedforsecurity=False).hexdigest()
        assert sums.pop(file) == digest, file
    assert not sums, sums
    assert ".symtab" not in run("readelf", "-SW", package.root / PROGRAMS[package.name])
    pages = [file for file in package.files if "/share/man/" in file]
    assert pages == [f"usr/share/man/{page}.gz" for page in MANUALS[package.name]], pages
    for page in pages:
        assert re.search(rb"^\.Dt ODDLOAF", gzip.decompress((package.root / page).read_bytes()), re.M), page
    documents = package.root / "usr/share/doc" / package.name
    changes = gzip.decompress((documents / "changelog.gz").read_bytes()).decode()
    assert re.search(r"^### 0\.\d+$", changes, re.M) and changes.strip() in (ROOT / "README.md").read_text()
    assert "/usr/share/common-licenses/GPL-3" in (documents / "copyright").read_text()


def check_daemon(package):
    """Conffiles, scripts, units and users."""
    assert (package.control / "conffiles").read_text() == f"/{SETTINGS}\n"
    assert [file for file in package.files if file.startswith("etc/")] == [SETTINGS]
    assert (package.root / "etc/oddloaf/rules").is_dir() and not list((package.root / "etc/oddloaf/rules").iterdir())
    shipped = sorted(str(file.relative_to(ROOT)) for file in (ROOT / "rules").rglob("*") if file.is_file())
    assert [f"usr/share/oddloaf/{file}" for file in shipped] == \
        [file for file in package.files if file.startswith("usr/share/oddloaf/rules/")]
    units = [file for file in package.files if file.startswith("usr/lib/systemd/system/")]
    enabled = {pathlib.Path(unit).name for unit in units if "[Install]" in (package.root / unit).read_text()}
    for script in ("postinst", "prerm", "postrm"):
        path = package.control / script
        text = path.read_text()
        assert stat.S_IMODE(path.stat().st_mode) == 0o755 and text.startswith("#!/bin/sh\n") and "\nset -e\n" in text
        run("sh", "-n", path)
        assert set(re.search(r'^units="(.*)"$', text, re.M)[1].split()) == enabled, (script, enabled)
        assert not re.search("@[A-Z_]+@", text)
    users = re.search(r"systemd-sysusers (\S+)", (package.control / "postinst").read_text())[1]
    assert f"usr/lib/sysusers.d/{users}" in package.files
    assert not {"preinst", "config", "templates"} & set(os.listdir(package.control))


def check_settings(package):
    """The settings to fill in are sound and say what would hold without them."""
    daemon, rules = package.root / PROGRAMS["oddloafd"], package.root / "usr/share/oddloaf/rules"
    run(daemon, "--check", "--config", package.root / SETTINGS, "--rules", rules)
    defaults = dict(re.findall(r'^(\S+) +(\[.*?\]|".*?"|\d+) ', run(daemon, "--help-config"), re.M))

    def leaves(value, name=""):
        if isinstance(value, dict):
            for key, member in value.items():
                yield from leaves(member, f"{name}/{key}" if name else key)
        else:
            yield name, value

    for name, value in leaves(json.loads((package.root / SETTINGS).read_text())):
        assert json.loads(defaults[name]) == value, name


def check_apart(packages):
    names = [name for package in packages for *_, name in package.entries if not name.endswith("/")]
    assert len(names) == len(set(names)), "a file of both packages"
    client = packages[0]
    assert {"usr/share/bash-completion/completions/oddloaf", "usr/share/zsh/vendor-completions/_oddloaf"} <= \
        set(client.files)
    assert {package.name for package in packages} == set(PROGRAMS)
    assert not {"conffiles", "postinst", "prerm", "postrm"} & set(os.listdir(client.control))


def main():
    folder = pathlib.Path(sys.argv[1]).resolve() / "packages"
    paths = build(folder)
    version = run(folder / "oddloafd", "--version").split()[1]
    scratch = pathlib.Path(tempfile.mkdtemp(prefix="oddloaf-packages-"))
    try:
        packages = [Package(path.name.split("_")[0], path, scratch) for path in paths]
        check_apart(packages)
        for package in packages:
            check_control(package, version)
            check_contents(package)
        check_daemon(packages[1])
        check_settings(packages[1])
    finally:
        shutil.rmtree(scratch)
    print("ok")


main()
