#!/usr/bin/python3
"""What `cmake --install` puts down agrees with itself: unit, daemon, manuals and folders, for two prefixes.

Nothing of the machine is touched (DESTDIR). The real thing, under a real systemd: test_installing.py.

    test_units.py BUILD_FOLDER
"""
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
EXPOSURE_MOST = 1.5
OBJECT = "CMakeFiles/oddloaf_serve.dir/daemon/serve/service.c.o"


def run(*words, check=True, **more):
    done = subprocess.run([str(word) for word in words], text=True, capture_output=True, **more)
    assert not check or done.returncode == 0, (words, done.stdout, done.stderr)
    return done


def settings_of(unit, key):
    return re.findall(rf"^{key}=(.*)$", unit, re.M)


class Stage:
    """A build installed below a folder."""

    def __init__(self, build, folder):
        self.folder = pathlib.Path(folder)
        run("cmake", "--install", build, env={**os.environ, "DESTDIR": folder})
        self.prefix = next(line.split("=", 1)[1] for line in (build / "CMakeCache.txt").read_text().splitlines()
                           if line.startswith("CMAKE_INSTALL_PREFIX:"))

    def at(self, path):
        return self.folder / path.lstrip("/")

    def text(self, path):
        return self.at(self.prefix + path).read_text()


def check_paths(stage):
    """Every path that the unit, the daemon and the manuals name is one that was installed."""
    daemon = f"{stage.prefix}/sbin/oddloafd"
    said = run(stage.at(daemon), "--help").stdout
    config = re.search(r"\(default (\S+), if it is there\)", said).group(1)
    own_rules, rules = re.search(r"\(default (\S+):(\S+)\)", said).groups()
    state, socket = (re.search(rf"--{option} .*\(default (\S+)\)", said).group(1) for option in ("state", "socket"))
    assert (stage.at(rules) / "causes/not-known.json").exists(), rules
    assert stage.at(config).parent.is_dir() and not stage.at(config).exists(), config
    assert pathlib.Path(config).parent == pathlib.Path(own_rules).parent

    unit, listener = stage.text("/lib/systemd/system/oddloafd.service"), stage.text("/lib/systemd/system/oddloafd.socket")
    programs = {line.split()[0] for line in settings_of(unit, "Exec[A-Za-z]*")}
    assert programs == {daemon, "/bin/sh"} and stage.at(daemon).exists(), programs
    assert state == "/var/lib/" + settings_of(unit, "StateDirectory")[0]
    assert socket == settings_of(listener, "ListenStream")[0]
    assert f'"{socket}"' in (ROOT / "client/deliver/transport.h").read_text()
    users = stage.text("/lib/sysusers.d/oddloaf.conf")
    assert re.search(rf"^u +{settings_of(unit, 'User')[0]} ", users, re.M)

    pages = [stage.text("/share/man/man8/oddloafd.8"), stage.text("/share/man/man5/oddloafd.json.5")]
    for path in (config, own_rules, rules, state, socket):
        assert f".Pa {path}" in pages[0], path
    assert config in pages[1] and not any(re.search("@[A-Z_]+@", page) for page in pages)
    answers = re.search(r"^\.Pa (\S+/answers) ,$", pages[0], re.M).group(1)
    assert (stage.at(answers) / "rank.schema.json").exists() and answers.endswith("/share/oddloaf/answers")
    assert "`/usr/share/oddloaf/answers`" in (ROOT / "README.md").read_text()
    roles = re.findall(r"^g +(oddloaf-\S+)", users, re.M)
    # no role: who may put records into the inbox, with the daemon, as its manual says
    roles.remove("oddloaf-records")
    assert "oddloaf:oddloaf-records" in pages[0] and re.search(r"^m +oddloaf +oddloaf-records$", users, re.M)
    assert settings_of(unit, "ReadWritePaths") == ["-/var/spool/oddloaf"]
    assert roles == re.findall(r'^Default \["(oddloaf-\S+)"\]', pages[1], re.M), roles


def check_units(stage):
    """systemd finds no fault in them and little to gain by more armour."""
    folder = stage.folder / "verified"
    folder.mkdir()
    for name in ("oddloafd.service", "oddloafd.socket"):
        text = stage.text(f"/lib/systemd/system/{name}")
        (folder / name).write_text(text.replace(f"{stage.prefix}/sbin", str(stage.at(stage.prefix + "/sbin"))))
    done = run("systemd-analyze", "verify", "--man=no", folder / "oddloafd.service", folder / "oddloafd.socket")
    assert "oddloafd" not in done.stderr, done.stderr
    run("systemd-analyze", "security", "--offline=true", f"--threshold={EXPOSURE_MOST * 10:.0f}", "--no-pager",
        folder / "oddloafd.service")


def configure(build, *options):
    return run("cmake", "-S", ROOT, "-B", build, "-G", "Ninja", *options).stdout


def compiled_in(build):
    """The folders of settings and rules that the daemon is told."""
    commands = (build / "compile_commands.json").read_text()
    return tuple(re.search(rf'-D{name}=[\\"]+([^\\"]+)', commands).group(1)
                 for name in ("ODDLOAF_CONFIG_DIR", "ODDLOAF_RULES_DIR"))


def pkg_config_without(folder, package):
    """A pkg-config that doesn't know one package."""
    script = pathlib.Path(folder, "pkg-config")
    script.write_text(f'#!/bin/sh\ncase "$*" in *{package}*) exit 1 ;; esac\nexec {shutil.which("pkg-config")} "$@"\n')
    script.chmod(0o755)
    return f"-DPKG_CONFIG_EXECUTABLE={script}"


def main():
    build = pathlib.Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory(prefix="oddloaf-units-") as folder:
        stage = Stage(build, folder + "/stage")
        check_paths(stage)
        check_units(stage)
        print("ok: what is installed agrees with itself")

        other = run("cmake", "--install", build, "--prefix", folder + "/other", check=False)
        assert other.returncode and "-DCMAKE_INSTALL_PREFIX" in other.stderr, other.stderr
        assert not os.path.exists(folder + "/other")
        print("ok: another prefix than the build's is refused before anything is installed")

        usr = pathlib.Path(folder, "usr")
        said = configure(usr, "-DCMAKE_INSTALL_PREFIX=/usr", pkg_config_without(folder, "cmocka"))
        assert "no tests are built" in said, said
        unit = (usr / "systemd/oddloafd.service").read_text()
        assert settings_of(unit, "ExecStart") == ["/usr/sbin/oddloafd"]
        assert compiled_in(usr) == ("/etc/oddloaf", "/usr/share/oddloaf/rules")
        print("ok: the prefix /usr, on a machine without cmocka")

        bare = pathlib.Path(folder, "bare")
        said = configure(bare, "-DODDLOAF_WERROR=ON", "-DODDLOAF_TESTS=OFF", pkg_config_without(folder, "libsystemd"))
        assert "no units are installed" in said and not (bare / "systemd/oddloafd.service").exists(), said
        assert compiled_in(bare) == ("/etc/oddloaf", "/usr/local/share/oddloaf/rules")
        run("ninja", "-C", bare, OBJECT)
        print("ok: without libsystemd")


main()
